//go:build !study

package circuit_test

// everyFault is which share of the faults of the largest harness is compared:
// one in so many. With the tag study it is all of them.
const everyFault = 4

// How many harnesses of 200 and of 500 parts are made.
const of200, of500 = 0, 0

// depthOf is how much of a harness of so many parts is compared with ngspice.
func depthOf(parts int) depth {
	d := depth{faults: max(2, 200/parts), everyPoint: parts <= 5, rest: true, oneReadings: 4}
	if parts <= 5 {
		d.faults = 1e6 // all of them
	}
	return d
}

func (o *outside) shard() (share, shares int) { return 0, 1 }
