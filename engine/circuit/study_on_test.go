//go:build study

package circuit_test

const everyFault = 1

func pickedFaults(parts int) int {
	switch {
	case parts <= 60:
		return 1e6
	case parts <= 110:
		return 400
	case parts <= 210:
		return 150
	}
	return 40
}

const (
	everyPointUpTo = 30
	everyReading   = 3
	of200, of500   = 2, 1
)
