package engine_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/kb"
	"probable/rules"
)

// tailDark is the example of the tail light that stays dark.
func tailDark(t *testing.T) *engine.Model {
	t.Helper()
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	path := filepath.Join("..", "testdata", "harness", "cart-tail.yaml")
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	h, err := base.Harness(path, data)
	require.NoError(t, err)
	m, err := engine.FromHarness(h, engine.Options{Symptom: "tail dark"})
	require.NoError(t, err)
	return m
}

// TestDoubt: a verdict that hangs on one reading is not given before another route
// has borne that reading out; a reading that was wrong is found out by it, and
// the verdict says so.
func TestDoubt(t *testing.T) {
	const cause, misread = "part tail open", "volts tail.plus to pack.minus, tail on"
	m := tailDark(t)
	for _, tt := range []struct {
		name  string
		wrong bool
	}{{"all read well", false}, {"one wrong", true}} {
		t.Run(tt.name, func(t *testing.T) {
			c := engine.NewCourse(m, engine.Gate{})
			doubted := 0
			spoilt := false
			for n := 0; c.Next().Verdict == nil; n++ {
				require.Less(t, n, 40)
				step := c.Next()
				if step.Doubts != 0 {
					d := c.Taken()[step.Doubts-1]
					doubted++
					require.Greater(t, step.Bits, 0.29)
					if step.Check.ID != d.Check.ID {
						require.False(t, step.Check.Mode == d.Check.Mode && step.Check.Red == d.Check.Red && step.Check.Black == d.Check.Black,
							"%s is no other route than %s", step.Check.ID, d.Check.ID)
					}
				}
				r := m.Likeliest(step.Check, cause)
				if tt.wrong && step.Check.ID == misread && !spoilt {
					spoilt = true
					r = engine.Result{Value: 0.03} // the probe beside the pin
				}
				require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: r}))
			}
			require.Equal(t, tt.wrong, spoilt)
			require.Positive(t, doubted)
			v := c.Verdict()
			require.Equal(t, cause, v.Causes[0].Cause.ID)
			if !tt.wrong {
				require.Empty(t, v.Odd)
				return
			}
			var ids []string
			for _, n := range v.Odd {
				ids = append(ids, c.Taken()[n-1].Check.ID)
			}
			again := false
			for _, x := range c.Taken() {
				again = again || x.Check.ID == misread && x.Stale
			}
			require.True(t, again || len(ids) == 1 && ids[0] == misread, "read again, or said to be odd: %v", ids)
		})
	}
}

// TestDoubtEnds: a person who skips every check that doubts gets the verdict all
// the same.
func TestDoubtEnds(t *testing.T) {
	m := tailDark(t)
	c := engine.NewCourse(m, engine.Gate{})
	skipped := 0
	for n := 0; c.Next().Verdict == nil; n++ {
		require.Less(t, n, 40)
		step := c.Next()
		e := engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: m.Likeliest(step.Check, "part tail open")}
		if step.Doubts != 0 {
			skipped++
			e = engine.Event{Kind: engine.Skipped, Check: step.Check.ID}
		}
		require.NoError(t, c.Apply(e))
	}
	require.True(t, skipped >= 1 && skipped <= 4, "%d", skipped)
	require.Equal(t, "part tail open", c.Verdict().Causes[0].Cause.ID)
}

// TestJoinedHandOff: a cause of a guide that is joined to a harness leads without
// handing off; there is no guide to go on from.
func TestJoinedHandOff(t *testing.T) {
	m := models(t)["cart-throttle no throttle response"]
	const cause = "motor side at fault" // hands off in the guide
	c := engine.NewCourse(m, engine.Gate{})
	for n := 0; c.Next().Verdict == nil; n++ {
		require.Less(t, n, 100)
		ch := c.Next().Check
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: ch.ID, Result: m.Likeliest(ch, cause)}))
	}
	require.Contains(t, verdict(c), cause)
	require.Empty(t, c.HandOffs())
}

// TestUnlike: a verdict tells of the answer that what leads gives seldom, and of no
// other; the person may then look again.
func TestUnlike(t *testing.T) {
	cause := func(id string) engine.GuideCause {
		return engine.GuideCause{Cause: engine.Cause{ID: id, Odds: 1, Mends: id}}
	}
	asks := func(id string, seldom float64) engine.GuideCheck {
		return engine.GuideCheck{Check: engine.Check{ID: id, Mode: engine.Look, Power: engine.Off, Minutes: 1, Answers: []string{"no", "yes"}},
			Table: map[string][]float64{"worn": {seldom, 1 - seldom}}, Otherwise: []float64{1 - seldom, seldom}}
	}
	for _, tt := range []struct {
		seldom float64
		unlike []int
	}{
		{0.04, []int{2}},
		{0.06, nil},
	} {
		g := &engine.Guide{ID: "lamp", About: "x", Causes: []engine.GuideCause{cause("worn"), cause("loose")}}
		for _, id := range []string{"first", "second", "third", "fourth"} {
			g.Checks = append(g.Checks, asks(id, tt.seldom))
		}
		m, err := engine.FromGuide(engine.Options{Guide: g})
		require.NoError(t, err)
		c := engine.NewCourse(m, engine.Gate{})
		for _, x := range []struct{ check, answer string }{{"first", "yes"}, {"second", "no"}, {"third", "yes"}, {"fourth", "yes"}} {
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: x.check, Result: engine.Result{Answer: x.answer}}))
		}
		v := c.Verdict()
		require.Equal(t, "worn", v.Causes[0].Cause.ID)
		require.Equal(t, tt.unlike, v.Unlike, tt.seldom)
		require.Empty(t, v.Odd)
	}
}
