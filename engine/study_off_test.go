//go:build !study

package engine_test

// How much is played in the default run; see study_on_test.go.
const (
	everyCause  = 12
	hiddenEvery = 4
	hiddenPlays = 1
	hiddenLost  = 0.04 // of so few
	tryPlays    = 1
)
