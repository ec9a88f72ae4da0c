package engine_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// way is how a search went.
type way struct {
	checks  int
	minutes float64
	found   bool // the cause stands in the verdict
	alone   bool // and so does nothing that another repair mends
	risky   int  // checks offered that are likelier to do harm than one in 200
}

// search plays a case to its verdict with results drawn under a cause. next
// picks the check.
func search(t testing.TB, m *engine.Model, cause string, rng *rand.Rand, next func(*engine.Course) *engine.Check) way {
	t.Helper()
	c := engine.NewCourse(m, engine.Gate{})
	var w way
	for range 100 {
		step := c.Next()
		if v := step.Verdict; v != nil {
			w.found = slices.ContainsFunc(v.Causes, func(r engine.Ranked) bool { return r.Cause.ID == cause })
			w.alone = w.found && v.SameRepair
			return w
		}
		if slices.ContainsFunc(c.HandOffs(), func(h engine.HandOff) bool { return h.Cause == cause }) {
			w.found, w.alone = true, true
			return w
		}
		ch := step.Check
		if !ch.Discharge() {
			if risky(ch) {
				w.risky++
				noNeed(t, c, ch)
			}
			if ch = next(c); ch == nil {
				ch = step.Check
			}
			w.checks++
			for _, o := range c.Offers() {
				if o.Check == ch {
					w.minutes += o.Minutes
					break
				}
			}
		}
		e := engine.Event{Kind: engine.Read, Check: ch.ID}
		if !ch.Discharge() {
			e.Result = c.Model().Draw(ch, cause, rng)
		}
		require.NoError(t, c.Apply(e))
	}
	t.Fatalf("no verdict on %s", cause)
	return w
}

func risky(ch *engine.Check) bool { return ch.Module > 0.005 || ch.Person > 0.005 }

// noNeed fails where a safe check with at least half the information of a risky
// one was open when that was offered.
func noNeed(t testing.TB, c *engine.Course, ch *engine.Check) {
	t.Helper()
	bits := 0.0
	for _, o := range c.Offers() {
		if o.Check == ch {
			bits = o.Bits
		}
	}
	for _, o := range c.Offers() {
		if !risky(o.Check) {
			require.False(t, o.Bits >= 0.02 && o.Bits >= bits/2, "%s of %.2f bits was offered while %s of %.2f bits was open", ch.ID, bits, o.Check.ID, o.Bits)
		}
	}
}

// oneStep is the check with the most information for its cost.
func oneStep(c *engine.Course) *engine.Check {
	var best *engine.Check
	score := 0.0
	for _, o := range c.Offers() {
		if s := o.Gain / o.Cost; s > score {
			best, score = o.Check, s
		}
	}
	return best
}

// TestAheadPays: on the shipped guides and the small harnesses looking ahead
// takes no more time than one step does, and loses no more causes.
func TestAheadPays(t *testing.T) {
	var ahead, one way
	n, risks := 0, 0
	var lost [2]int
	for name, m := range models(t) {
		var a, b way
		k := 0
		for i, cause := range m.Causes {
			if cause.ID == engine.Unexplained || cause.Odds == 0 || i%everyCause != 0 {
				continue
			}
			k++
			for p, next := range []func(*engine.Course) *engine.Check{func(*engine.Course) *engine.Check { return nil }, oneStep} {
				w := search(t, m, cause.ID, rand.New(rand.NewPCG(uint64(i), 3)), next)
				sum := []*way{&a, &b}[p]
				sum.checks += w.checks
				sum.minutes += w.minutes
				risks += w.risky
				if !w.found {
					lost[p]++
				}
			}
		}
		t.Logf("%s: %d causes; ahead %.1f checks, %.1f min; one step %.1f checks, %.1f min", name, k,
			float64(a.checks)/float64(k), a.minutes/float64(k), float64(b.checks)/float64(k), b.minutes/float64(k))
		ahead.checks, ahead.minutes = ahead.checks+a.checks, ahead.minutes+a.minutes
		one.checks, one.minutes = one.checks+b.checks, one.minutes+b.minutes
		n += k
	}
	t.Logf("%d causes: ahead %.2f checks, %.2f min, %d lost; one step %.2f checks, %.2f min, %d lost", n,
		float64(ahead.checks)/float64(n), ahead.minutes/float64(n), lost[0], float64(one.checks)/float64(n), one.minutes/float64(n), lost[1])
	t.Logf("%d risky checks offered, none while a safe one told half as much", risks)
	require.LessOrEqual(t, ahead.minutes, 1.02*one.minutes)
	require.LessOrEqual(t, lost[0], lost[1]+n/50)
}
