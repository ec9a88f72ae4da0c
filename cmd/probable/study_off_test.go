//go:build !study

package main

// resistances are the values in ohm at which a resistive fault is played. With
// the tag study there are more.
var resistances = []float64{10}
