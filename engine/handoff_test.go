package engine_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/kb"
	"probable/rules"
)

// question is a check with two answers, by the chance of the first.
func question(guide, id string, otherwise float64, rows map[string]float64) engine.GuideCheck {
	k := engine.GuideCheck{
		Check: engine.Check{ID: id, Mode: engine.Ask, Power: engine.Off, Minutes: 1, Answers: []string{"yes", "no"}},
		Table: map[string][]float64{}, Otherwise: []float64{otherwise, 1 - otherwise}, Origin: guide + " / " + id,
	}
	for cause, p := range rows {
		k.Table[cause] = []float64{p, 1 - p}
	}
	return k
}

func possible(guide, id string, odds float64, handOff string) engine.GuideCause {
	return engine.GuideCause{Cause: engine.Cause{ID: id, Odds: odds, Mends: id, HandOff: handOff, Prove: []string{"asked"}}, Origin: guide + " / " + id}
}

// feed and lamp are two guides; what is a dead feed in the one is a whole guide
// of its own, and would come back if it could.
func feedAndLamp() engine.Guides {
	lamp := &engine.Guide{ID: "lamp", Causes: []engine.GuideCause{
		possible("lamp", "feed dead", 4, "feed"),
		possible("lamp", "bulb", 1, ""),
		possible("lamp", "loose", 0.01, ""),
	}, Checks: []engine.GuideCheck{
		question("lamp", "asked", 0.5, map[string]float64{"feed dead": 0.9, "bulb": 0.2, "loose": 0.2}),
	}}
	feed := &engine.Guide{ID: "feed", Causes: []engine.GuideCause{
		possible("feed", "fuse", 3, ""),
		possible("feed", "wire", 1, "lamp"),
		possible("feed", "loose", 1, ""),
		{Cause: lamp.Causes[1].Cause, Origin: "lamp / bulb"}, // both have it
	}, Checks: []engine.GuideCheck{
		question("feed", "asked", 0.5, map[string]float64{"fuse": 0.8, "wire": 0.1, "loose": 0.3}),
		{Check: lamp.Checks[0].Check, Origin: "lamp / asked", Table: map[string][]float64{"fuse": {0.6, 0.4}}, Otherwise: []float64{0.5, 0.5}},
	}}
	feed.Checks[1].ID = "asked of the lamp"
	return engine.Guides{"lamp": lamp, "feed": feed}
}

// TestHandOff works the posterior of a case that is handed off by hand.
func TestHandOff(t *testing.T) {
	guides := feedAndLamp()
	m, err := engine.FromGuide(engine.Options{Guide: guides["lamp"], Guides: guides})
	require.NoError(t, err)
	c := engine.NewCourse(m, engine.Gate{})
	require.Equal(t, "asked", c.Next().Check.ID)
	answer := func(check, word string) {
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: check, Result: engine.Result{Answer: word}}))
	}
	answer("asked", "yes")
	handOffs := c.HandOffs()
	require.Len(t, handOffs, 1)
	require.Equal(t, "feed dead", handOffs[0].Cause)
	require.Equal(t, "feed", handOffs[0].Guide.ID)

	// seen is a row's chance with the misreadings in it.
	seen := func(p float64) float64 {
		return (1-engine.DefaultMisreading)*p + engine.DefaultMisreading/2
	}
	// The odds of the feed, 4, are shared 3:1:1; the bulb stays what it was. Of the
	// lamp's question the feed's guide has a row for the fuse, and none for the others.
	want := map[string]float64{
		"fuse":        4 * 3. / 5 * seen(0.6),
		"wire":        4 * 1. / 5 * seen(0.5),
		"loose, feed": 4 * 1. / 5 * seen(0.5), // the lamp's guide has a loose of its own
		"bulb":        seen(0.2),
		"loose":       0.01 * seen(0.2),
	}
	compare := func() {
		t.Helper()
		r, _ := c.Ranking()
		got := map[string]float64{}
		var listed, total float64
		for _, x := range r {
			if x.Cause.ID != engine.Unexplained {
				got[x.Cause.ID] = x.P
				listed += x.P
			}
		}
		for _, w := range want {
			total += w
		}
		require.Len(t, got, len(want), "%v", got)
		for id, w := range want {
			require.InDelta(t, w/total, got[id]/listed, 1e-9, id)
		}
	}
	compare()
	answer("asked, feed", "no")
	want["fuse"] *= seen(0.2)
	want["wire"] *= seen(0.9)
	want["loose, feed"] *= seen(0.7)
	want["bulb"] *= seen(0.5)
	want["loose"] *= seen(0.5)
	compare()
	require.Len(t, c.HandOffs(), 1, "a guide is not gone back to")

	// Undo goes back over the hand-off, and the same answers lead to the same place.
	after, bits := c.Ranking()
	for range 2 {
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Undone}))
	}
	require.Empty(t, c.HandOffs())
	require.Same(t, m, c.Model())
	require.Equal(t, "asked", c.Next().Check.ID)
	answer("asked", "yes")
	answer("asked, feed", "no")
	again, bitsAgain := c.Ranking()
	require.Equal(t, bits, bitsAgain)
	require.Equal(t, len(after), len(again))
	for i := range after {
		require.Equal(t, after[i].Cause.ID, again[i].Cause.ID)
		require.Equal(t, after[i].P, again[i].P)
	}
}

// TestHandOffWithoutGuide leaves a cause that names a guide which is not there.
func TestHandOffWithoutGuide(t *testing.T) {
	guides := feedAndLamp()
	m, err := engine.FromGuide(engine.Options{Guide: guides["lamp"]})
	require.NoError(t, err)
	c := engine.NewCourse(m, engine.Gate{})
	require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: "asked", Result: engine.Result{Answer: "yes"}}))
	require.Empty(t, c.HandOffs())
	r, _ := c.Ranking()
	require.Equal(t, "feed dead", r[0].Cause.ID)
}

// TestAfter offers a check only once those before it have read well.
func TestAfter(t *testing.T) {
	first := question("g", "first", 0.5, map[string]float64{"a": 0.6})
	first.Good = "yes"
	then := question("g", "then", 0.5, map[string]float64{"a": 0.99, "b": 0.01})
	then.After = []string{"first"}
	g := &engine.Guide{ID: "g", Causes: []engine.GuideCause{possible("g", "a", 1, ""), possible("g", "b", 1, "")},
		Checks: []engine.GuideCheck{then, first}}
	m, err := engine.FromGuide(engine.Options{Guide: g})
	require.NoError(t, err)
	for _, tt := range []struct{ answer, next string }{{"yes", "then"}, {"no", ""}} {
		c := engine.NewCourse(m, engine.Gate{})
		require.Equal(t, "first", c.Next().Check.ID, "though the other tells more")
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: "first", Result: engine.Result{Answer: tt.answer}}))
		next := ""
		if k := c.Next().Check; k != nil {
			next = k.ID
		}
		require.Equal(t, tt.next, next)
	}
}

// TestHarnessKeepsItsGuide: a cause of a joined guide that would hand off to
// another leads in a harness's case, and stays.
func TestHarnessKeepsItsGuide(t *testing.T) {
	m := models(t)["cart-throttle no throttle response"]
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	hands := 0
	for _, gc := range base.Guide("throttle dead").Causes {
		if gc.HandOff == "" || !slices.ContainsFunc(m.Causes, func(c engine.Cause) bool { return c.ID == gc.ID }) {
			continue
		}
		hands++
		c := engine.NewCourse(m, engine.Gate{})
		for step := c.Next(); step.Verdict == nil; step = c.Next() {
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: m.Likeliest(step.Check, gc.ID)}))
		}
		require.Contains(t, verdict(c), gc.ID)
		require.Empty(t, c.HandOffs())
	}
	require.Positive(t, hands)
}
