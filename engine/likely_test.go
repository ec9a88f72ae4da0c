package engine_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// narrow is a guide whose one reading has outcomes narrower than any grid.
func narrow() *engine.Guide {
	limits := []float64{4.1999, 4.2001}
	return &engine.Guide{ID: "narrow", About: "x",
		Causes: []engine.GuideCause{
			{Cause: engine.Cause{ID: "low", Odds: 1, Mends: "low"}},
			{Cause: engine.Cause{ID: "full", Odds: 2, Mends: "full"}},
			{Cause: engine.Cause{ID: "gone", Odds: 3, Mends: "gone"}},
		},
		Checks: []engine.GuideCheck{
			{Check: engine.Check{ID: "cell", Mode: engine.VoltsDC, Power: engine.Live, Minutes: 1, Answers: []string{"under", "full", "above", "open"}},
				Limits: func(map[string]any) []float64 { return limits },
				Band: func(v float64, over bool, _ map[string]any) (int, error) {
					switch {
					case over:
						return 3, nil
					case v < limits[0]:
						return 0, nil
					case v <= limits[1]:
						return 1, nil
					}
					return 2, nil
				},
				Table:     map[string][]float64{"low": {0.9, 0.05, 0.05, 0}, "full": {0.2, 0.8, 0, 0}},
				Otherwise: []float64{0.1, 0.1, 0.1, 0.7}},
			{Check: engine.Check{ID: "look", Mode: engine.Look, Power: engine.Off, Minutes: 1, Answers: []string{"dry", "wet"}},
				Table: map[string][]float64{"low": {0.3, 0.7}}, Otherwise: []float64{0.6, 0.4}},
		}}
}

// TestLikeliest: a reading of the likeliest outcome is in it, however narrow.
func TestLikeliest(t *testing.T) {
	m, err := engine.FromGuide(engine.Options{Guide: narrow()})
	require.NoError(t, err)
	cell, look := m.Check("cell"), m.Check("look")

	low := m.Likeliest(cell, "low").Value
	require.True(t, low >= 0 && low < 4.1999, "%g is not a reading of a cell", low)
	full := m.Likeliest(cell, "full").Value
	require.True(t, full >= 4.1999 && full <= 4.2001, "%g", full)
	require.Equal(t, engine.Result{Over: true}, m.Likeliest(cell, "gone"))
	require.Equal(t, "wet", m.Likeliest(look, "low").Answer)
	require.Equal(t, "dry", m.Likeliest(look, "full").Answer)
	// On the whole of the three, by odds 1, 2 and 3: open 3/6 x 0.7 = 0.35 is more than under
	// (0.9 + 2 x 0.2 + 3 x 0.1) / 6 = 0.27 and full (0.05 + 2 x 0.8 + 3 x 0.1) / 6 = 0.325.
	require.Equal(t, engine.Result{Over: true}, m.Likeliest(cell, engine.Unexplained))

	r, ok := m.Within(cell, "full")
	require.True(t, ok)
	require.InDelta(t, 4.2, r.Value, 1e-4)
	_, ok = m.Within(cell, "wet")
	require.False(t, ok)
}

// TestDraw: what is drawn comes as often as the table says, and the same seed
// draws the same.
func TestDraw(t *testing.T) {
	m, err := engine.FromGuide(engine.Options{Guide: narrow()})
	require.NoError(t, err)
	cell := m.Check("cell")
	const n = 20000
	draw := func(cause string) (counts [4]float64, values []float64) {
		rng := rand.New(rand.NewPCG(7, 7))
		for range n {
			r := m.Draw(cell, cause, rng)
			require.NoError(t, cell.Fits(r))
			k := 2
			switch {
			case r.Over:
				k = 3
			case r.Value < 4.1999:
				k = 0
			case r.Value <= 4.2001:
				k = 1
			}
			counts[k]++
			values = append(values, r.Value)
		}
		return counts, values
	}
	for cause, row := range map[string][]float64{"low": {0.9, 0.05, 0.05, 0}, "full": {0.2, 0.8, 0, 0}, "gone": {0.1, 0.1, 0.1, 0.7}} {
		got, _ := draw(cause)
		for k, p := range row {
			require.InDelta(t, p, got[k]/n, 5*math.Sqrt(p*(1-p)/n), "%s, outcome %d", cause, k) // five standard deviations
		}
	}
	_, one := draw("low")
	_, two := draw("low")
	require.Equal(t, one, two)
	require.Greater(t, len(slices.Compact(slices.Sorted(slices.Values(one)))), 20, "readings differ within an outcome")
}

// TestDrawOfAHarness: what is drawn from a computed reading is one that the
// check takes, and the healthy lamp's node reads about the pack.
func TestDrawOfAHarness(t *testing.T) {
	m := models(t)["cart-tail tail dark"]
	rng := rand.New(rand.NewPCG(1, 2))
	for _, c := range m.Checks {
		for _, cause := range m.Causes {
			require.NoError(t, c.Fits(m.Draw(c, cause.ID, rng)), "%s, %s", c.ID, cause.ID)
			require.NoError(t, c.Fits(m.Likeliest(c, cause.ID)), "%s, %s", c.ID, cause.ID)
		}
	}
	var sum, squares float64
	c := m.Check("volts f1.b to pack.minus")
	require.NotNil(t, c)
	const n = 2000
	for range n {
		v := m.Draw(c, "wire w2 open", rng).Value
		sum += v
		squares += v * v
	}
	mean := sum / n
	require.InDelta(t, 36, mean, 0.3)
	require.InDelta(t, (c.Expect.High-c.Expect.Low)/4, math.Sqrt(squares/n-mean*mean), 0.35, "the spread is that of a good reading")
}
