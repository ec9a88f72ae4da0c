//go:build !study

package trial_test

// offers is how many checks are played against the second gate, and
// unsafeGuides how many guides at the most.
const (
	offers       = 1000
	unsafeGuides = 6
)

// looseBars plays the bars of a harness whose symptom comes and goes, which takes a minute.
const looseBars = false
