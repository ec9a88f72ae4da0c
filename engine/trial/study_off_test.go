//go:build !study

package trial_test

// offers is how many checks are played against the second gate, and
// unsafeGuides how many guides at the most.
const (
	offers       = 1000
	unsafeGuides = 6
)
