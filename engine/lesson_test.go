package engine_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// TestLearnByHand: three causes at odds 5, 3 and 2, so shares 0.5, 0.3 and 0.2. A
// Dirichlet prior of 20 cases has the parameters 10, 6 and 4. Of five proven
// cases four were the third and one the first: 11, 6 and 8, of 25 in all. The
// means are 0.44, 0.24 and 0.32; on the scale of the odds, which sum to 10, that
// is 4.4, 2.4 and 3.2.
func TestLearnByHand(t *testing.T) {
	odds := map[string]float64{"g / a": 5, "g / b": 3, "g / c": 2, "h / x": 7}
	share := map[string]float64{"g / a": 0.5, "g / b": 0.3, "g / c": 0.2, "g / gone": 0}
	var lessons []engine.Lesson
	for _, was := range []string{"g / c", "g / c", "g / a", "g / c", "g / c"} {
		lessons = append(lessons, engine.Lesson{Was: []string{was}, Share: share})
	}
	got := engine.Learn(odds, lessons)
	require.Len(t, got, 3, "what no case could have been stays, and what is gone is left out")
	for i, want := range []engine.Moved{{"g / a", 5, 4.4, 1, 5}, {"g / b", 3, 2.4, 0, 5}, {"g / c", 2, 3.2, 4, 5}} {
		require.InDelta(t, want.New, got[i].New, 1e-12, want.Key)
		got[i].New = want.New
		require.Equal(t, want, got[i])
	}
	require.Empty(t, engine.Learn(odds, nil))
}

// TestLearnShares: what could have been the cause in one case of two only. In the
// first case a and b are at shares 0.5, in the second a, b and c at 0.4, 0.4 and
// 0.2. Both were a. Of a: mean share 0.45, odds 4 x (20 + 2/0.45) / 22 = 4.444;
// of b: 4 x 20/22 = 3.636; of c, that one case could have been: 2 x 20/21 = 1.905.
func TestLearnShares(t *testing.T) {
	got := engine.Learn(map[string]float64{"a": 4, "b": 4, "c": 2}, []engine.Lesson{
		{Was: []string{"a"}, Share: map[string]float64{"a": 0.5, "b": 0.5}},
		{Was: []string{"a"}, Share: map[string]float64{"a": 0.4, "b": 0.4, "c": 0.2}},
	})
	for i, want := range []float64{4 * (20 + 2/0.45) / 22, 4 * 20.0 / 22, 2 * 20.0 / 21} {
		require.InDelta(t, want, got[i].New, 1e-12, got[i].Key)
	}
}

// TestLearnBounds: no number of cases takes a cause below a tenth of its shipped
// odds, nor any odds out of the range that a file may give.
func TestLearnBounds(t *testing.T) {
	lessons := make([]engine.Lesson, 5000)
	for i := range lessons {
		lessons[i] = engine.Lesson{Was: []string{"a"}, Share: map[string]float64{"a": 0.001, "b": 0.998, "c": 0.001}}
	}
	got := engine.Learn(map[string]float64{"a": 2, "b": 1996, "c": 0.002}, lessons)
	require.Equal(t, 1000.0, got[0].New)
	require.InDelta(t, 199.6, got[1].New, 1e-9)
	require.Equal(t, 0.001, got[2].New)
}

// closeCase plays a course as the cause makes likeliest, repairs it and proves it.
func closeCase(t *testing.T, c *engine.Course, cause func(*engine.Model) string, repair string) {
	t.Helper()
	for step := c.Next(); step.Verdict == nil; step = c.Next() {
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: c.Model().Likeliest(step.Check, cause(c.Model()))}))
	}
	require.NoError(t, c.Apply(engine.Event{Kind: engine.Repaired, Cause: repair}))
	for step := c.Next(); step.Verdict == nil; step = c.Next() {
		r := engine.Result{Answer: step.Check.Healthy}
		if step.Check.Mode.Numeric() {
			r = engine.Result{Value: step.Check.Expect.Low}
		}
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: r}))
	}
}

// TestLessonOfAHarness: a wire found broken counts for wires.
func TestLessonOfAHarness(t *testing.T) {
	m := models(t)["cart-tail tail dark"]
	c := engine.NewCourse(m, engine.Gate{})
	_, err := c.Lesson()
	require.EqualError(t, err, "it is not proven, but open")
	closeCase(t, c, func(*engine.Model) string { return "wire w2 open" }, "wire w2 open")
	l, err := c.Lesson()
	require.NoError(t, err)
	require.Equal(t, []string{"part wire open"}, l.Was)
	var sum, wires, all float64
	for _, p := range l.Share {
		sum += p
	}
	require.InDelta(t, 1, sum, 1e-12)
	for _, x := range m.Causes {
		if x.Key == "" {
			continue // of this drawing alone
		}
		all += x.Odds
		if len(x.ID) > 5 && x.ID[:5] == "wire " && x.ID[len(x.ID)-5:] == " open" {
			wires += x.Odds
		}
	}
	require.InDelta(t, wires/all, l.Share["part wire open"], 1e-12, "all wires of it together")
}

// TestLessonOfAHandOff: a cause of the second guide counts there, and the cause
// that handed off to it counts in the first.
func TestLessonOfAHandOff(t *testing.T) {
	asks := func(guide, id, of string) engine.GuideCheck {
		return engine.GuideCheck{Check: engine.Check{ID: id, Mode: engine.Look, Power: engine.Off, Minutes: 1, Answers: []string{"no", "yes"}}, Good: "no",
			Origin: guide + " / " + id, Table: map[string][]float64{of: {0.002, 0.998}}, Otherwise: []float64{0.998, 0.002}}
	}
	cause := func(guide, id string, odds float64, handOff string) engine.GuideCause {
		return engine.GuideCause{Cause: engine.Cause{ID: id, Odds: odds, Mends: id, HandOff: handOff}, Origin: guide + " / " + id}
	}
	guides := engine.Guides{
		"lamp": {ID: "lamp", Causes: []engine.GuideCause{cause("lamp", "bulb", 3, ""), cause("lamp", "no power", 2, "power"), cause("lamp", "key", 5, "")},
			Checks: []engine.GuideCheck{asks("lamp", "nothing works", "no power"), asks("lamp", "black glass", "bulb")}},
		"power": {ID: "power", Causes: []engine.GuideCause{cause("power", "pack", 1, ""), cause("power", "key", 4, "")},
			Checks: []engine.GuideCheck{asks("power", "key turned", "key")}},
	}
	m, err := engine.FromGuide(engine.Options{Guide: guides["lamp"], Guides: guides})
	require.NoError(t, err)
	c := engine.NewCourse(m, engine.Gate{})
	// Both guides have a key, and they are two; the second one's gets its guide's name.
	truth := func(now *engine.Model) string {
		if now == m {
			return "no power"
		}
		return "key, power"
	}
	closeCase(t, c, truth, "key, power")
	l, err := c.Lesson()
	require.NoError(t, err)
	require.Equal(t, []string{"power / key", "lamp / no power"}, l.Was)
	require.InDeltaMapValues(t, map[string]float64{"lamp / bulb": 0.3, "lamp / no power": 0.2, "lamp / key": 0.5, "power / pack": 0.2, "power / key": 0.8}, l.Share, 1e-12)
}
