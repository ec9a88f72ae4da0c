package engine_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// BenchmarkNext is the time from a reading to the next check, with all that the
// console shows beside it, on harnesses of 100, 500 and 2,000 parts: the mean and
// the longest wait of whole cases. The model is there already.
func BenchmarkNext(b *testing.B) {
	for _, size := range []struct {
		name     string
		circuits int
	}{{"101 parts", 20}, {"501 parts", 100}, {"2001 parts", 400}} {
		b.Run(size.name, func(b *testing.B) {
			m, err := engine.FromHarness(made(b, rows(size.circuits)), engine.Options{Symptom: "lamp dark"})
			require.NoError(b, err)
			var longest, total time.Duration
			readings := 0
			for b.Loop() {
				for _, cause := range []string{"wire d4 open", "part f4 blown", "wire c4 to ground"} {
					c := engine.NewCourse(m, engine.Gate{})
					step := c.Next()
					for step.Check != nil {
						result := m.Likeliest(step.Check, cause)
						from := time.Now()
						require.NoError(b, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: result}))
						step = c.Next()
						c.Left()
						c.Ranking()
						if step.Check != nil {
							c.Splits(step.Check, 12)
						}
						took := time.Since(from)
						longest, total, readings = max(longest, took), total+took, readings+1
					}
				}
			}
			b.ReportMetric(float64(total.Milliseconds())/float64(readings), "ms/reading")
			b.ReportMetric(float64(longest.Milliseconds()), "ms-longest")
		})
	}
}

// TestGainsAreWhatTheyMean holds the expected information of every check against
// its definition, before any reading and after some.
func TestGainsAreWhatTheyMean(t *testing.T) {
	for _, file := range []string{"cart-tail", "cart-lights", "cart-throttle"} {
		data, err := os.ReadFile(filepath.Join("..", "testdata", "harness", file+".yaml"))
		require.NoError(t, err)
		h := made(t, string(data))
		m, err := engine.FromHarness(h, engine.Options{Symptom: h.Symptoms[0].ID})
		require.NoError(t, err)
		c := engine.NewCourse(m, engine.Gate{})
		r, _ := c.Ranking()
		told := 0
		for range 4 {
			for _, ch := range m.Checks {
				reckoned, defined := c.Gains(ch)
				require.InDelta(t, defined, reckoned, 1e-5, "%s: %s", file, ch.ID)
				if reckoned > 0.1 {
					told++
				}
			}
			step := c.Next()
			if step.Check == nil {
				break
			}
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: m.Likeliest(step.Check, r[3].Cause.ID)}))
		}
		require.Greater(t, told, 10, file)
	}
}
