//go:build study

package engine_test

// How much is played with -tags study.
const (
	everyCause  = 1
	hiddenEvery = 1
	hiddenPlays = 10
	hiddenLost  = 0.02
	tryPlays    = 10
)
