//go:build study

package main

var resistances = []float64{1.5, 3, 10, 30, 70}

const playedFault = 1

const noisyFault = 1
