//go:build !study

package main

// resistances are the values in ohm at which a resistive fault is played. With
// the tag study there are more.
var resistances = []float64{10}

// playedFault says that every so many faults are played. With the tag study all are.
const playedFault = 4

// noisyFault says that every so many faults are played with the meter's error
// too. With the tag study all are.
const noisyFault = 8

// noises is how often a fault is played with other errors of the meter.
const noises = 1

// leastPlayed is how many cases there are at least.
const leastPlayed = 30
