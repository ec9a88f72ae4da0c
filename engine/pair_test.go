package engine_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// twoLamps is a guide of two faults that each darken one lamp.
func twoLamps() *engine.Guide {
	return &engine.Guide{ID: "lamps", Causes: []engine.GuideCause{
		possible("lamps", "left out", 1, ""),
		possible("lamps", "right out", 1, ""),
		possible("lamps", "feed out", 0.5, ""),
	}, Checks: []engine.GuideCheck{
		question("lamps", "left lit", 0.98, map[string]float64{"left out": 0.02, "feed out": 0.02}),
		question("lamps", "right lit", 0.98, map[string]float64{"right out": 0.02, "feed out": 0.02}),
		question("lamps", "feed lit", 0.98, map[string]float64{"feed out": 0.02}),
	}}
}

// TestPairs works the odds of two faults by hand: the feed is good and both lamps
// are dark, which no single cause explains.
func TestPairs(t *testing.T) {
	g := twoLamps()
	for i := range g.Checks {
		g.Checks[i].Good = "yes"
	}
	m, err := engine.FromGuide(engine.Options{Guide: g})
	require.NoError(t, err)
	c := engine.NewCourse(m, engine.Gate{})
	for _, a := range [][2]string{{"left lit", "no"}, {"right lit", "no"}, {"feed lit", "yes"}} {
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: a[0], Result: engine.Result{Answer: a[1]}}))
	}
	v := c.Next().Verdict
	require.NotNil(t, v)
	require.Len(t, v.Pairs, 1, "a pair with the feed does not explain that it is good: %v", v.Pairs)
	require.Equal(t, "left out", v.Pairs[0].A.ID)
	require.Equal(t, "right out", v.Pairs[0].B.ID)
	require.Contains(t, v.Repair, "Perhaps two repairs are needed: if this one does not prove, look next for right out.")

	// The chance that a lamp that is dark, or lit, is said to be so, and not so.
	right := (1-engine.DefaultMisreading)*0.98 + engine.DefaultMisreading/2
	wrong := (1-engine.DefaultMisreading)*0.02 + engine.DefaultMisreading/2
	const listed = 0.98 // the rest is for what is not listed
	lamp, feed := listed*1/2.5, listed*0.5/2.5
	// What is not listed shows half what the listed ones do, and half anything.
	dark := 0.5*(lamp*0.98+lamp*0.02+feed*0.98) + 0.25
	lit := 0.5*(2*lamp*0.98+feed*0.02) + 0.25
	both := lamp * lamp * right * right * right
	all := both +
		2*lamp*right*wrong*right + // one lamp alone
		feed*right*right*wrong +
		(1-listed)*dark*dark*lit +
		2*lamp*feed*right*right*wrong // a lamp and the feed
	require.InDelta(t, both/all, v.Pairs[0].P, 1e-9)
}

// TestSecondFault keeps what was read before a repair that did not prove: the
// right lamp was dark beside the left one, and still is likely to be out.
func TestSecondFault(t *testing.T) {
	g := twoLamps()
	for i := range g.Checks {
		g.Checks[i].Good = "yes"
	}
	for i := range g.Causes {
		g.Causes[i].Prove = []string{"left lit"}
	}
	g.Causes = append(g.Causes, possible("lamps", "horn out", 1, ""))
	g.Checks = append(g.Checks, question("lamps", "horn sounds", 0.98, map[string]float64{"horn out": 0.02}))
	g.Causes[0].Prove = []string{"left lit", "right lit"}
	m, err := engine.FromGuide(engine.Options{Guide: g})
	require.NoError(t, err)
	m.Short = nil
	c := engine.NewCourse(m, engine.Gate{})
	take := func(check, word string) {
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: check, Result: engine.Result{Answer: word}}))
	}
	take("left lit", "no")
	take("right lit", "no")
	take("feed lit", "yes")
	require.NoError(t, c.Apply(engine.Event{Kind: engine.Repaired, Cause: "left out"}))
	take("left lit", "yes")
	take("right lit", "no")
	require.Equal(t, engine.Finding, c.Phase())
	r, _ := c.Ranking()
	require.Equal(t, "right out", r[0].Cause.ID)
	require.Greater(t, r[0].P, 0.8)

	// That the feed was good is still known: it is not the feed.
	for _, x := range r {
		if x.Cause.ID == "feed out" {
			require.Less(t, x.P, 0.02)
		}
	}
}

// TestRevise wants a course with a changed answer to be what it would have been
// with that answer from the first.
func TestRevise(t *testing.T) {
	m, err := engine.FromGuide(engine.Options{Guide: twoLamps()})
	require.NoError(t, err)
	answers := []engine.Event{
		{Kind: engine.Read, Check: "left lit", Result: engine.Result{Answer: "no"}},
		{Kind: engine.Skipped, Check: "right lit", Why: "cannot see it"},
		{Kind: engine.Read, Check: "feed lit", Result: engine.Result{Answer: "yes"}},
	}
	for n := range answers {
		revised, direct := engine.NewCourse(m, engine.Gate{}), engine.NewCourse(m, engine.Gate{})
		now := engine.Result{Answer: "no"}
		if answers[n].Result.Answer == "no" {
			now.Answer = "yes"
		}
		for i, e := range answers {
			require.NoError(t, revised.Apply(e))
			if i == n {
				e = engine.Event{Kind: engine.Read, Check: e.Check, Result: now}
			}
			require.NoError(t, direct.Apply(e))
		}
		require.NoError(t, revised.Apply(engine.Event{Kind: engine.Revised, N: n + 1, Result: now}))
		require.Equal(t, direct.Events(), revised.Events())
		want, _ := direct.Ranking()
		got, _ := revised.Ranking()
		require.Equal(t, want, got)
	}
	c := engine.NewCourse(m, engine.Gate{})
	require.NoError(t, c.Apply(answers[0]))
	before, _ := c.Ranking()
	for _, e := range []engine.Event{
		{Kind: engine.Revised, N: 2, Result: engine.Result{Answer: "yes"}},
		{Kind: engine.Revised, N: 1, Result: engine.Result{Answer: "perhaps"}},
	} {
		require.Error(t, c.Apply(e))
		after, _ := c.Ranking()
		require.Equal(t, before, after, "what does not fit changes nothing")
		require.Equal(t, answers[:1], c.Events())
	}
}

// TestBefore raises what was mended on the vehicle before.
func TestBefore(t *testing.T) {
	for _, tt := range []struct {
		times int
		odds  float64
	}{{0, 1}, {1, 3}, {3, 7}, {9, 7}} {
		m, err := engine.FromGuide(engine.Options{Guide: twoLamps(), Before: map[string]int{"right out": tt.times}})
		require.NoError(t, err)
		r, _ := engine.NewCourse(m, engine.Gate{}).Ranking()
		p := map[string]float64{}
		for _, x := range r {
			p[x.Cause.ID] = x.P
		}
		require.InDelta(t, tt.odds, p["right out"]/p["left out"], 1e-9, "%d times before", tt.times)
	}
}
