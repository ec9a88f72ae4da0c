//go:build study

package circuit_test

const everyFault = 1
