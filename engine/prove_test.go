package engine

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// proving is a case by hand in which a cause was repaired whose proof is of all
// sorts of checks, named in the order in which the guide does.
func proving(t *testing.T) *Course {
	t.Helper()
	m := byHand()
	for _, k := range []Check{
		{ID: "heat", Mode: Look, Power: Off, Warm: true},
		{ID: "flexed while warm", Mode: Look, Power: Live, Warm: true},
		{ID: "volts", Mode: Look, Power: Live},
		{ID: "label", Mode: Look, Power: Off},
		{ID: "run", Mode: Look, Power: Live},
	} {
		k.Answers, k.Healthy, k.Minutes = []string{"good", "bad"}, "good", 1
		k.shows.set(0, prediction{row: []float64{0.5, 0.5}})
		m.Checks = append(m.Checks, &k)
		m.Causes[0].Prove = append(m.Causes[0].Prove, k.ID)
	}
	m.Symptom = []string{"run"}
	m.finish()
	c := NewCourse(m, Gate{})
	require.NoError(t, c.Apply(Event{Kind: Repaired, Cause: "a"}))
	return c
}

// TestProofOrder: the short check, what else is done while the pack is off, the
// live checks with the run, and then what wants a warm vehicle.
func TestProofOrder(t *testing.T) {
	c := proving(t)
	var got []string
	for c.Phase() == Proving {
		step := c.Next()
		require.True(t, step.Proof)
		got = append(got, step.Check.ID)
		r := Result{Answer: "good"}
		if step.Check == c.Model().Short {
			r.Answer = NoBeep
		}
		require.NoError(t, c.Apply(Event{Kind: Read, Check: step.Check.ID, Result: r}))
	}
	require.Equal(t, []string{"short check", "label", "volts", "run", "flexed while warm", "heat"}, got)
	require.Equal(t, Proven, c.Status())
}

// TestProofWithoutShortCheck: where the short check is left out no power comes
// back, and so nothing gets warm either.
func TestProofWithoutShortCheck(t *testing.T) {
	c := proving(t)
	require.NoError(t, c.Apply(Event{Kind: Skipped, Check: "short check"}))
	require.Equal(t, "label", c.Next().Check.ID)
	require.NoError(t, c.Apply(Event{Kind: Read, Check: "label", Result: Result{Answer: "good"}}))
	require.Equal(t, Closed, c.Phase())
	require.Equal(t, Unproven, c.Status())
}

// TestLooksStand: after a repair that did not prove, what was seen of something
// else is not looked at again, as its answer cannot have changed; what the repair
// may have changed is.
func TestLooksStand(t *testing.T) {
	model := func() *Model {
		m := byHand()
		m.Misreading = DefaultMisreading
		other := &Check{ID: "other", Mode: Look, Power: Off, Answers: []string{"yes", "no"}, Healthy: "no", Minutes: 1}
		other.shows.usual(prediction{row: []float64{0.3, 0.7}})
		other.shows.set(1, prediction{row: []float64{0.7, 0.3}}) // a leaves it alone
		m.Checks = append(m.Checks, other)
		m.finish()
		return m
	}
	c := NewCourse(model(), Gate{})
	for _, e := range []Event{
		{Kind: Read, Check: "look", Result: Result{Answer: "yes"}},
		{Kind: Read, Check: "other", Result: Result{Answer: "no"}},
		{Kind: Repaired, Cause: "a"},
		{Kind: Read, Check: "short check", Result: Result{Answer: NoBeep}},
		{Kind: Read, Check: "look", Result: Result{Answer: "yes"}},
	} {
		require.NoError(t, c.Apply(e))
	}
	require.Equal(t, Finding, c.Phase())
	open := func(id string) bool {
		return slices.ContainsFunc(c.Open(), func(k *Check) bool { return k.ID == id })
	}
	require.False(t, open("other"))
	require.False(t, c.Taken()[1].Stale)
	require.True(t, c.Taken()[0].Stale, "the repair was of what it shows")

	f := c.Explain("b")
	i := slices.IndexFunc(f, func(f Factor) bool { return f.N == 2 })
	require.False(t, f[i].Before)
}
