//go:build !study

package engine_test

// How much is played in the default run; see study_on_test.go.
const (
	everyCause  = 12
	hiddenPlays = 3
	tryPlays    = 1
)
