//go:build study

package trial_test

const (
	offers       = 100_000
	unsafeGuides = 100
)

const looseBars = true
