//go:build !study

package circuit_test

// everyFault is which share of the faults of the largest harness is compared:
// one in so many. With the tag study it is all of them.
const everyFault = 4

// pickedFaults is how many faults of a harness of so many parts are compared
// with ngspice, picked from a seed.
func pickedFaults(parts int) int {
	if parts <= everyPointUpTo {
		return 1e6 // all of them
	}
	return max(2, 200/parts)
}

// How much else of that comparison is done: the parts up to which every fault is
// put in at every point, one in how many circuits gets meter readings, and how
// many harnesses of 200 and of 500 parts are made.
const (
	everyPointUpTo = 5
	everyReading   = 4
	of200, of500   = 0, 0
)
