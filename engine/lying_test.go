package engine_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/kb"
	"probable/rules"
)

// hides reports whether a cause shows only under load, when warm or when moved.
func hides(c *engine.GuideCause) bool {
	return slices.ContainsFunc(c.Traits, func(t string) bool { return t == "load" || t == "warm" || t == "moves" })
}

// atRest reports whether the check is of a vehicle that does nothing, so that the
// guide itself says it can lie: it names a check under stress, and none names it
// as such.
func atRest(g *engine.Guide, k *engine.GuideCheck) bool {
	return len(k.Stress) > 0 && k.Mode != engine.Wiggle && !slices.ContainsFunc(g.Checks, func(o engine.GuideCheck) bool {
		return slices.Contains(o.Stress, k.ID)
	})
}

// notAtRest are checks that name one under stress and yet load the vehicle
// themselves, by their own words; or, last, test by hand what comes loose.
var notAtRest = []string{
	"light dim: supply with the lights off and on",
	"strip colours wrong: volts at the near end on white",
	"systems disturb each other: plus loss while the other works",
	"connector hot: screws of the neighbours",
}

// maxLie is how many times less likely one good reading at rest may make a cause
// that hides, against the others.
const maxLie = 20

// TestGoodReadingsLie: in all shipped guides one good reading at rest makes a cause
// that shows only under load, warm or moved at most maxLie times less likely
// against the mean of the others.
func TestGoodReadingsLie(t *testing.T) {
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	pairs := 0
	var offenders []string
	for _, id := range base.GuideIDs() {
		g := base.Guide(id)
		m, err := engine.FromGuide(engine.Options{Guide: g, Guides: base.Guides()})
		require.NoError(t, err)
		for i := range g.Checks {
			k := &g.Checks[i]
			ch := m.Check(k.ID)
			if !atRest(g, k) || ch == nil || slices.Contains(notAtRest, id+": "+k.ID) {
				continue
			}
			good, ok := goodResult(m, ch)
			if !ok {
				continue
			}
			before, _ := engine.NewCourse(m, engine.Gate{}).Ranking()
			c := engine.NewCourse(m, engine.Gate{})
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: ch.ID, Result: good}))
			after, _ := c.Ranking()
			if len(c.HandOffs()) > 0 {
				continue
			}
			p := map[string]float64{}
			for _, r := range before {
				p[r.Cause.ID] = r.P
			}
			for _, r := range after {
				n := slices.IndexFunc(g.Causes, func(x engine.GuideCause) bool { return x.ID == r.Cause.ID })
				if n < 0 || !hides(&g.Causes[n]) {
					continue
				}
				pairs++
				odds := (r.P / (1 - r.P)) / (p[r.Cause.ID] / (1 - p[r.Cause.ID]))
				if odds < 1.0/maxLie {
					offenders = append(offenders, fmt.Sprintf("%s: %s good makes %q %.0f times less likely", id, ch.ID, r.Cause.ID, 1/odds))
				}
			}
		}
	}
	t.Logf("%d good readings at rest against causes that hide", pairs)
	require.Greater(t, pairs, 300)
	require.Empty(t, offenders)
}

// goodResult is what a healthy vehicle shows.
func goodResult(m *engine.Model, ch *engine.Check) (engine.Result, bool) {
	switch {
	case ch.Healthy != "":
		return m.Within(ch, ch.Healthy)
	case ch.Expect != nil && ch.Expect.High > 1e9:
		return engine.Result{Over: true}, true
	case ch.Expect != nil:
		return engine.Result{Value: (ch.Expect.Low + ch.Expect.High) / 2}, true
	}
	return engine.Result{}, false
}

// TestHiddenCausesAreKept plays the causes that hide, with results drawn from
// their tables: few are lost.
func TestHiddenCausesAreKept(t *testing.T) {
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	type job struct {
		guide, cause string
		m            *engine.Model
	}
	var jobs []job
	for _, id := range base.GuideIDs() {
		g := base.Guide(id)
		m, err := engine.FromGuide(engine.Options{Guide: g, Guides: base.Guides()})
		require.NoError(t, err)
		for i := range g.Causes {
			k := slices.IndexFunc(m.Causes, func(c engine.Cause) bool { return c.ID == g.Causes[i].ID })
			if k < 0 {
				continue
			}
			require.Equal(t, hides(&g.Causes[i]), m.Causes[k].Hides, "%s: %s", id, g.Causes[i].ID)
			if m.Causes[k].Hides {
				jobs = append(jobs, job{id, g.Causes[i].ID, m})
			}
		}
	}
	played, lost, checks, alone := 0, 0, 0, 0
	by := map[string]int{}
	for n, j := range jobs {
		for seed := range uint64(hiddenPlays) {
			w := search(t, j.m, j.cause, rand.New(rand.NewPCG(seed, uint64(n))), func(*engine.Course) *engine.Check { return nil })
			played++
			checks += w.checks
			if w.alone {
				alone++
			}
			if !w.found {
				lost++
				by[j.guide+": "+j.cause]++
			}
		}
	}
	t.Logf("%d causes that hide, %d plays: %d lost (%.2f %%), %d alone, %.1f checks each", len(jobs), played, lost,
		100*float64(lost)/float64(played), alone, float64(checks)/float64(played))
	t.Logf("lost: %v", by)
	require.Greater(t, played, 20)
	require.LessOrEqual(t, float64(lost), 0.02*float64(played))
}
