package trial_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/trial"
)

func cause(guide, id string, odds float64, handOff string) engine.GuideCause {
	return engine.GuideCause{Cause: engine.Cause{ID: id, Odds: odds, Mends: id, HandOff: handOff}, Origin: guide + " / " + id}
}

// asks is a look with two answers that tells one cause from all others.
func asks(guide, id, of string) engine.GuideCheck {
	return engine.GuideCheck{Check: engine.Check{ID: id, Mode: engine.Look, Power: engine.Off, Minutes: 1, Answers: []string{"no", "yes"}},
		Origin: guide + " / " + id, Table: map[string][]float64{of: {0.002, 0.998}}, Otherwise: []float64{0.998, 0.002}}
}

// pair is a guide that hands off to another, which hands off to a third.
func pair() (engine.Guides, trial.Tryer) {
	guides := engine.Guides{
		"lamp": {ID: "lamp", About: "x", Causes: []engine.GuideCause{cause("lamp", "bulb", 3, ""), cause("lamp", "no power", 2, "power"), cause("lamp", "switch", 3, "")},
			Checks: []engine.GuideCheck{asks("lamp", "does nothing work", "no power"), asks("lamp", "black glass", "bulb")},
			Facts:  []engine.Fact{{Name: "fitted", YesNo: true, Default: true}}},
		"power": {ID: "power", About: "x", Causes: []engine.GuideCause{cause("power", "pack empty", 2, ""), cause("power", "fuse", 2, "fuse"), cause("power", "key", 2, "")},
			Checks: []engine.GuideCheck{asks("power", "fuse looked at", "fuse"), asks("power", "key turned", "key")}},
		"fuse": {ID: "fuse", About: "x", Causes: []engine.GuideCause{cause("fuse", "short", 2, ""), cause("fuse", "fuse too small", 2, "")},
			Checks: []engine.GuideCheck{asks("fuse", "rating read", "fuse too small")}},
	}
	guides["lamp"].Causes[2].When = func(facts map[string]any) (bool, error) { return facts["fitted"].(bool), nil }
	return guides, trial.Tryer{Guide: guides["lamp"], Guides: guides}
}

func TestTry(t *testing.T) {
	_, lamp := pair()
	yes, no := trial.Answer{Result: engine.Result{Answer: "yes"}}, trial.Answer{Result: engine.Result{Answer: "no"}}
	for _, tt := range []struct {
		name    string
		c       trial.Case
		differs []trial.Difference
		unasked []string
	}{
		{"a cause", trial.Case{Cause: "bulb", Verdict: []string{"bulb"}, Ends: trial.Alone, AtMost: 2}, nil, nil},
		{"of the guide that takes over", trial.Case{Cause: "key", Verdict: []string{"key"}, Ends: trial.Alone}, nil, nil},
		{"of the one after that", trial.Case{Cause: "fuse too small", Verdict: []string{"fuse too small"}, Ends: trial.Alone}, nil, nil},
		{"one that hands off, by its own name", trial.Case{Cause: "no power", Verdict: []string{"no power"}, Ends: trial.Listed}, nil, nil},
		{"another verdict", trial.Case{Cause: "bulb", Verdict: []string{"fuse"}},
			[]trial.Difference{{Of: "verdict", Text: `"fuse" does not stand in the verdict; there are: bulb; switch`}}, nil},
		{"too many checks", trial.Case{Cause: "key", Verdict: []string{"key"}, AtMost: 1},
			[]trial.Difference{{Of: "at_most", Text: "it took 4 checks, more than 1"}}, nil},
		{"readings against the cause", trial.Case{Cause: "bulb", Answers: map[string]trial.Answer{"does nothing work": yes, "black glass": no},
			Verdict: []string{"bulb"}},
			[]trial.Difference{{Of: "verdict", Text: `"bulb" does not stand in the verdict; there are: pack empty; switch; fuse; key`}}, nil},
		{"readings alone", trial.Case{Answers: map[string]trial.Answer{"black glass": yes, "fuse looked at": yes}, Verdict: []string{"bulb"}}, nil, []string{"fuse looked at"}},
		{"all skipped", trial.Case{Cause: "bulb", Answers: map[string]trial.Answer{"does nothing work": {Skip: true}, "black glass": {Skip: true}},
			Verdict: []string{"bulb"}, Ends: trial.Alone},
			[]trial.Difference{{Of: "ends", Text: "more than one repair is left: bulb; switch; no power"}}, nil},
		{"a cause that these facts rule out", trial.Case{Cause: "switch", Facts: map[string]any{"fitted": false}, Verdict: []string{"switch"}},
			[]trial.Difference{{Of: "cause", Text: `a vehicle with these facts cannot have "switch"`}}, nil},
		{"an unknown fact", trial.Case{Cause: "bulb", Facts: map[string]any{"wheels": 3.0}, Verdict: []string{"bulb"}},
			[]trial.Difference{{Text: `it cannot be played: guide "lamp" has no fact "wheels"`}}, nil},
		{"an answer that does not fit", trial.Case{Cause: "bulb", Answers: map[string]trial.Answer{"black glass": {Result: engine.Result{Answer: "green"}}}, Verdict: []string{"bulb"}},
			[]trial.Difference{{Text: "it cannot be played: check black glass: answer one of: no, yes"}}, nil},
	} {
		o := lamp.Play(&tt.c)
		require.Equal(t, tt.differs, o.Differs, tt.name)
		require.Equal(t, len(tt.differs) == 0, o.Passed(), tt.name)
		require.Equal(t, tt.unasked, o.Unasked, tt.name)
	}
}

// TestAll: cases that are played side by side come out as one by one, in order.
func TestAll(t *testing.T) {
	guides, lamp := pair()
	var cases []trial.Case
	for _, id := range []string{"lamp", "power", "fuse"} {
		for _, c := range guides[id].Causes {
			cases = append(cases, trial.Case{ID: c.ID, Cause: c.ID, Verdict: []string{c.ID}})
		}
	}
	for i, o := range lamp.All(cases) {
		one := lamp.Play(&cases[i])
		require.True(t, o.Passed(), "%s: %v", cases[i].ID, o.Differs)
		require.Equal(t, one.Verdict.Repair, o.Verdict.Repair)
		require.Equal(t, len(one.Steps), len(o.Steps))
		for k := range o.Steps {
			require.Equal(t, one.Steps[k].Check.ID, o.Steps[k].Check.ID)
			require.Equal(t, one.Steps[k].Result, o.Steps[k].Result)
		}
	}
}
