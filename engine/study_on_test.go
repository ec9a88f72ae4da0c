//go:build study

package engine_test

// How much is played with -tags study.
const (
	everyCause  = 1
	hiddenPlays = 10
	tryPlays    = 10
)
