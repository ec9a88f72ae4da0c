//go:build !study

package circuit_test

// everyFault is which share of the faults of the largest harness is compared:
// one in so many. With the tag study it is all of them.
const everyFault = 4
