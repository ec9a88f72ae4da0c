//go:build study

package engine

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// TestBarsOptimumLargest holds the engine against the optimum of the largest noisy
// problems that the exact search does in minutes: 12 causes and 12 checks, each
// with two outcomes, which are half a million states. With three outcomes they
// would be 17 million. Alone they are just above the 5 % that hold for all the small
// problems together.
func TestBarsOptimumLargest(t *testing.T) {
	var puzzles []puzzle
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 12))
		p := drawPuzzle(rng, 12, 12, 2, []float64{0.01, 0.03, 0.1}[seed%3])
		p.name = fmt.Sprintf("seed %d: %s", seed, p.name)
		puzzles = append(puzzles, p)
	}
	against(t, puzzles, 0.06)
}
