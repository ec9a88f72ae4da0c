package trial_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/trial"
)

// two is a guide of two causes that one look tells apart.
func two() *engine.Guide {
	return &engine.Guide{ID: "two", About: "x",
		Causes: []engine.GuideCause{
			{Cause: engine.Cause{ID: "wet", Odds: 1, Mends: "wet"}},
			{Cause: engine.Cause{ID: "worn", Odds: 1, Mends: "worn"}},
		},
		Checks: []engine.GuideCheck{
			{Check: engine.Check{ID: "look", Mode: engine.Look, Power: engine.Off, Minutes: 1, Answers: []string{"dry", "wet"}},
				Table: map[string][]float64{"wet": {0.001, 0.999}}, Otherwise: []float64{0.999, 0.001}},
		}}
}

func TestPlay(t *testing.T) {
	m, err := engine.FromGuide(engine.Options{Guide: two()})
	require.NoError(t, err)
	r, err := trial.Play(engine.NewCourse(m, engine.Gate{}), func(c *engine.Check) (engine.Result, bool) {
		return m.Likeliest(c, "wet"), true
	})
	require.NoError(t, err)
	require.Equal(t, "wet", r.Verdict.Causes[0].Cause.ID)
	require.Len(t, r.Steps, 1)
	require.Equal(t, "look", r.Steps[0].Check.ID)
	require.Equal(t, engine.Result{Answer: "wet"}, r.Steps[0].Result)
	require.Equal(t, 1, r.Checks())

	r, err = trial.Play(engine.NewCourse(m, engine.Gate{}), func(*engine.Check) (engine.Result, bool) { return engine.Result{}, false })
	require.NoError(t, err)
	require.Equal(t, 0, r.Checks(), "skipped")
	require.Len(t, r.Verdict.Causes, 2)

	_, err = trial.Play(engine.NewCourse(m, engine.Gate{}), func(*engine.Check) (engine.Result, bool) { return engine.Result{Answer: "blue"}, true })
	require.EqualError(t, err, "check look: answer one of: dry, wet")
}

// TestPlayDischarges: a charge is proven gone without being asked for.
func TestPlayDischarges(t *testing.T) {
	g := two()
	g.Charge = [2]string{"plus", "minus"}
	m, err := engine.FromGuide(engine.Options{Guide: g})
	require.NoError(t, err)
	r, err := trial.Play(engine.NewCourse(m, engine.Gate{}), func(c *engine.Check) (engine.Result, bool) {
		require.Equal(t, "look", c.ID)
		return m.Likeliest(c, "worn"), true
	})
	require.NoError(t, err)
	require.Equal(t, "worn", r.Verdict.Causes[0].Cause.ID)
	require.Equal(t, 1, r.Checks())
}
