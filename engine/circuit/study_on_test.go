//go:build study

package circuit_test

import (
	"flag"
	"fmt"
)

const everyFault = 1

// How many harnesses of 200 and of 500 parts are made.
const of200, of500 = 2, 1

func depthOf(parts int) depth {
	switch {
	case parts <= 60:
		return depth{faults: 1e6, everyPoint: true, rest: true, oneReadings: 3}
	case parts <= 110:
		return depth{faults: 1e6, oneReadings: 10}
	}
	return depth{faults: 1e6, oneReadings: 20}
}

var shard = flag.String("shard", "1/1", "compare this share of the faults of each harness, as 2/4")

// shard returns which share of the faults is compared, from 0, and of how many.
func (o *outside) shard() (share, shares int) {
	if n, err := fmt.Sscanf(*shard, "%d/%d", &share, &shares); n != 2 || share < 1 || share > shares {
		o.Fatalf("-shard %s: %v", *shard, err)
	}
	return share - 1, shares
}
