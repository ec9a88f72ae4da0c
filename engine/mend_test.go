package engine_test

import (
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// job is how a whole case went, to its proof.
type job struct {
	minutes float64 // checks, repairs and proofs
	tries   int     // repairs offered and made before the verdict
	proven  bool
}

// mend plays a case to its end: checks as the engine asks them, its repairs in
// turn until one proves. With try it makes each repair that is offered in place of
// a check.
func mend(t testing.TB, m *engine.Model, cause *engine.Cause, try bool, rng *rand.Rand) job {
	t.Helper()
	c := engine.NewCourse(m, engine.Gate{})
	var j job
	repairs, mended := 0, false
	repair := func(x *engine.Cause) {
		repairs++
		j.minutes += x.Effort.Minutes
		mended = x.Mends == cause.Mends
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Repaired, Cause: x.ID}))
	}
	for range 200 {
		step := c.Next()
		switch {
		case c.Phase() == engine.Closed:
			j.proven = mended
			return j
		case step.Verdict != nil:
			if repairs == 6 || step.Verdict.Causes[0].Cause.ID == engine.Unexplained {
				return j
			}
			repair(step.Verdict.Causes[0].Cause)
			continue
		case step.Try != nil:
			safeTry(t, c, step.Try)
			if try && repairs < 6 {
				j.tries++
				repair(step.Try.Cause)
				continue
			}
		}
		ch := step.Check
		e := engine.Event{Kind: engine.Read, Check: ch.ID}
		j.minutes += ch.Minutes + 0.3
		for _, o := range c.Offers() {
			if o.Check == ch {
				j.minutes += o.Minutes - ch.Minutes - 0.3 // the way
				break
			}
		}
		if r, ok := goodResult(m, ch); mended && ok {
			e.Result = r
		} else if ch == m.Short && m.Check(ch.ID) == m.Short && ch.Mode == engine.Continuity && !slices.Contains(m.Checks, ch) {
			e.Result = engine.Result{Answer: engine.NoBeep}
		} else if !ch.Discharge() {
			e.Result = m.Draw(ch, cause.ID, rng)
		}
		require.NoError(t, c.Apply(e))
	}
	return j
}

// safeTry holds an offer against the rules for repairs that are tried, written
// out anew.
func safeTry(t testing.TB, c *engine.Course, a *engine.Attempt) {
	t.Helper()
	require.LessOrEqual(t, a.Risk, 0.005, a.Cause.ID)
	require.Equal(t, engine.Finding, c.Phase())
	require.NotEqual(t, engine.Unexplained, a.Cause.ID)
	if strings.HasSuffix(a.Cause.ID, " blown") {
		require.True(t, slices.ContainsFunc(c.Taken(), func(x engine.Taken) bool { return x.Check == c.Model().Short && x.Healthy && !x.Stale }), a.Cause.ID)
	}
}

// TestTryingPays: on the symptoms of the small harnesses cases in which offered
// repairs are tried take no more time to their proof than those in which all is
// measured out first. Each cause counts by its chance.
func TestTryingPays(t *testing.T) {
	var with, without, weight float64
	tries, proven := 0, [2]int{}
	all := models(t)
	names := []string{"cart-tail tail dark", "cart-tail tail dim"}
	if tryPlays > 1 {
		names = append(names, "cart-throttle no throttle response")
	}
	for _, name := range names {
		m := all[name]
		start, _ := engine.NewCourse(m, engine.Gate{}).Ranking()
		for _, x := range start {
			if x.Cause.ID == engine.Unexplained {
				continue
			}
			for seed := range uint64(tryPlays) {
				one := mend(t, m, x.Cause, true, rand.New(rand.NewPCG(seed, 1)))
				two := mend(t, m, x.Cause, false, rand.New(rand.NewPCG(seed, 1)))
				with, without, weight = with+x.P*one.minutes, without+x.P*two.minutes, weight+x.P
				tries += one.tries
				for i, j := range []job{one, two} {
					if j.proven {
						proven[i]++
					}
				}
				if one.tries > 0 {
					t.Logf("%s, %s: %.1f min with %d repairs tried, %.1f min without", name, x.Cause.ID, one.minutes, one.tries, two.minutes)
				}
			}
		}
	}
	t.Logf("%.2f min each with %d repairs tried, %d proven; %.2f min without, %d proven", with/weight, tries, proven[0], without/weight, proven[1])
	require.Positive(t, tries, "none was offered")
	require.LessOrEqual(t, with, without)
	require.GreaterOrEqual(t, proven[0], proven[1]-proven[1]/50)
}
