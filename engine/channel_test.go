package engine_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// h2 is the entropy of a coin in bits.
func h2(p float64) float64 {
	if p <= 0 || p >= 1 {
		return 0
	}
	return -p*math.Log2(p) - (1-p)*math.Log2(1-p)
}

// TestCapacity: channels whose capacity is known in closed form (Cover and
// Thomas, Elements of Information Theory, chapter 7; memory).
func TestCapacity(t *testing.T) {
	tests := []struct {
		name string
		rows [][]float64
		want float64
	}{
		{"nothing", nil, 0},
		{"one input", [][]float64{{0.3, 0.7}}, 0},
		{"equal rows", [][]float64{{0.3, 0.7}, {0.3, 0.7}}, 0},
		{"noiseless, four ways", [][]float64{{1, 0, 0, 0}, {0, 1, 0, 0}, {0, 0, 1, 0}, {0, 0, 0, 1}}, 2},
		{"symmetric 0.1", [][]float64{{0.9, 0.1}, {0.1, 0.9}}, 1 - h2(0.1)},
		{"symmetric 0.01", [][]float64{{0.99, 0.01}, {0.01, 0.99}}, 1 - h2(0.01)},
		{"erasure 0.25", [][]float64{{0.75, 0, 0.25}, {0, 0.75, 0.25}}, 0.75},
		// Z channel: log2(1 + (1-f) f^(f/(1-f))) with f the chance of the one error.
		{"Z 0.5", [][]float64{{1, 0}, {0.5, 0.5}}, math.Log2(1 + 0.5*0.5)},
		{"Z 0.2", [][]float64{{1, 0}, {0.2, 0.8}}, math.Log2(1 + 0.8*math.Pow(0.2, 0.25))},
		// A third input that tells less than the other two is not used.
		{"useless input", [][]float64{{0.9, 0.1}, {0.1, 0.9}, {0.5, 0.5}}, 1 - h2(0.1)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := engine.Capacity(tt.rows)
			require.InDelta(t, tt.want, got, 2e-6)
			require.GreaterOrEqual(t, got, tt.want-1e-12, "never below the capacity")
		})
	}
}

func TestTellApart(t *testing.T) {
	require.Zero(t, engine.TellApart([]float64{0.2, 0.8}, []float64{0.2, 0.8}))
	require.InDelta(t, 1, engine.TellApart([]float64{1, 0}, []float64{0, 1}), 1e-12)
	require.InDelta(t, 1-h2(0.1), engine.TellApart([]float64{0.9, 0.1}, []float64{0.1, 0.9}), 1e-12)
	// 0.9/0.5: half of 0.9 log2(0.9/0.7) + 0.1 log2(0.1/0.3) + 0.5 log2(0.5/0.7) + 0.5 log2(0.5/0.3)
	want := (0.9*math.Log2(0.9/0.7) + 0.1*math.Log2(0.1/0.3) + 0.5*math.Log2(0.5/0.7) + 0.5*math.Log2(0.5/0.3)) / 2
	require.InDelta(t, want, engine.TellApart([]float64{0.9, 0.1}, []float64{0.5, 0.5}), 1e-12)
}
