package engine_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/circuit"
)

// flickering is the tail circuit of the example cart with a lamp that is dark only
// at times, and its model.
func flickering(t testing.TB) (*circuit.Harness, *engine.Model) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "harness", "cart-tail.yaml"))
	require.NoError(t, err)
	h := made(t, strings.TrimRight(string(data), "\n")+"\n  - {id: tail flickers, state: tail on, shows: {tail: dark}, comes_and_goes: yes}\n")
	m, err := engine.FromHarness(h, engine.Options{Symptom: "tail flickers"})
	require.NoError(t, err)
	return h, m
}

// loosened are the causes of the tail circuit that may come and go, with what has
// to be flexed for each.
var loosened = map[string]string{
	"wire w1 open": "wire w1", "wire w2 open": "wire w2", "wire w3 open": "wire w3", "wire w4 open": "wire w4", "wire w5 open": "wire w5",
	"way p1.1 open": "connector p1", "part sw stuck open": "part sw", "part f1 holder open": "part f1",
}

// odds of a cause against all others.
func odds(t testing.TB, c *engine.Course, cause string) float64 {
	t.Helper()
	r, _ := c.Ranking()
	k := slices.IndexFunc(r, func(x engine.Ranked) bool { return x.Cause.ID == cause })
	require.GreaterOrEqual(t, k, 0, cause)
	return r[k].P / (1 - r[k].P)
}

// maxStill is how many times less likely any one good reading may make a contact
// that is loose while nobody moves it: one in twenty reads bad, so 1/0.95, and what
// the good reading does for the others.
const maxStill = 1.5

// TestGoodWhileStill: where a symptom comes and goes a good reading of what lies
// still hardly lowers a loose contact; where it stays it rules an open wire out.
func TestGoodWhileStill(t *testing.T) {
	_, m := flickering(t)
	_, steady := cartTail(t)
	tried, ruledOut := 0, 0
	for _, ch := range m.Checks {
		good, ok := goodResult(m, ch)
		if ch.Mode == engine.Wiggle || !ok {
			continue
		}
		for cause := range loosened {
			c := engine.NewCourse(m, engine.Gate{})
			before := odds(t, c, cause)
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: ch.ID, Result: good}))
			require.Greater(t, odds(t, c, cause), before/maxStill, "%s good: %s", ch.ID, cause)
			tried++
			if same := steady.Check(ch.ID); same != nil {
				c := engine.NewCourse(steady, engine.Gate{})
				before := odds(t, c, cause)
				require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: ch.ID, Result: good}))
				if odds(t, c, cause) < before/20 {
					ruledOut++
				}
			}
		}
	}
	require.Greater(t, tried, 300)
	require.Greater(t, ruledOut, 30)
}

// TestWiggleFinds works each loose contact of a cart that reads well whatever is
// measured while it lies still, and fails only while the right thing is flexed.
func TestWiggleFinds(t *testing.T) {
	h, m := flickering(t)
	state, _ := h.State("tail on")
	v := newVehicle(t, h, state)
	most := 0
	for cause, what := range loosened {
		c := engine.NewCourse(m, engine.Gate{})
		checks := 0
		for step := c.Next(); step.Verdict == nil; step = c.Next() {
			ch := step.Check
			var r engine.Result
			switch {
			case ch.Mode == engine.Wiggle:
				require.Equal(t, 2, ch.Wants())
				sit, err := v.bench.Put(nil, 0, circuit.State{Name: ch.State, Settings: ch.Settings}, false)
				require.NoError(t, err)
				good := sit.Volts(&circuit.ReferenceMeter, ch.Red, ch.Black).Value
				r.Values = []float64{good, good}
				if strings.HasPrefix(ch.ID, "flex "+what+":") {
					sit, err := newVehicle(t, h, state, looseAs(cause)).bench.Put(nil, 0, circuit.State{Name: ch.State, Settings: ch.Settings}, false)
					require.NoError(t, err)
					bad := sit.Volts(&circuit.ReferenceMeter, behind(cause, ch.Red), behind(cause, ch.Black)).Value
					r.Values = []float64{min(good, bad), max(good, bad)}
				}
			case strings.HasPrefix(ch.ID, "follow "):
				r.Answer = engine.AsDrawn
			default:
				r, _ = v.answers(ch)
			}
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: ch.ID, Result: r}), ch.ID)
			checks++
			require.Less(t, checks, 40)
		}
		verdict := c.Next().Verdict
		require.Equal(t, cause, verdict.Causes[0].Cause.ID)
		require.Greater(t, verdict.Causes[0].P, 0.6)
		most = max(most, checks)
	}
	t.Logf("%d loose contacts found, in %d checks at the most", len(loosened), most)
}

// behind is the pin that reads what a pin does: with a way open, its side b reads
// what the far end of the wire behind it does with that wire open.
func behind(cause, pin string) string {
	if cause == "way p1.1 open" && pin == "p1.1b" {
		return "sw.a"
	}
	return pin
}

// looseAs is a steady fault that does to the circuit what a loose contact does
// while it is open: the way of a plug as the wire behind it.
func looseAs(cause string) string {
	if cause == "way p1.1 open" {
		return "wire w3 open"
	}
	return strings.Replace(strings.Replace(cause, "stuck open", "stays open", 1), "holder open", "blown", 1)
}
