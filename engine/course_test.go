package engine_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/kb"
	"probable/rules"
)

// models are every symptom of the small example harnesses, and every guide.
func models(t testing.TB) map[string]*engine.Model {
	t.Helper()
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	out := map[string]*engine.Model{}
	for _, name := range []string{"cart-tail", "cart-throttle"} {
		path := filepath.Join("..", "testdata", "harness", name+".yaml")
		data, err := os.ReadFile(path)
		require.NoError(t, err)
		h, err := base.Harness(path, data)
		require.NoError(t, err)
		for _, s := range h.Symptoms {
			m, err := engine.FromHarness(h, engine.Options{Symptom: s.ID, Guide: base.GuideFor(h, s.ID)})
			require.NoError(t, err)
			out[name+" "+s.ID] = m
		}
	}
	for _, id := range base.GuideIDs() {
		m, err := engine.FromGuide(engine.Options{Guide: base.Guide(id), Guides: base.Guides()})
		require.NoError(t, err)
		out["guide "+id] = m
	}
	return out
}

// anyResult is a result that a person might give, sensible or not.
func anyResult(rng *rand.Rand, c *engine.Check) engine.Result {
	switch {
	case !c.Mode.Numeric():
		return engine.Result{Answer: c.Answers[rng.IntN(len(c.Answers))]}
	case rng.IntN(8) == 0:
		return engine.Result{Over: true}
	case c.Expect != nil && !math.IsInf(c.Expect.High, 1) && rng.IntN(2) == 0:
		return engine.Result{Value: c.Expect.Low + rng.Float64()*(c.Expect.High-c.Expect.Low)}
	case c.Mode == engine.Ohms:
		return engine.Result{Value: math.Exp(rng.Float64()*18 - 2)}
	}
	return engine.Result{Value: rng.Float64()*80 - 20}
}

// view is all that a person sees of a course.
func view(c *engine.Course) string {
	s := c.Next()
	out := fmt.Sprint(c.Phase(), s.N, s.Bits, s.Proof)
	if s.Check != nil {
		out += s.Check.ID
	}
	if s.Verdict != nil {
		v := *s.Verdict
		out += fmt.Sprint(v.Bits, v.SameRepair, v.Repair, v.Prove, v.Groups, v.LeftOut, v.Status)
	}
	r, bits := c.Ranking()
	for _, x := range r {
		out += fmt.Sprintf(" %s=%v", x.Cause.ID, x.P)
	}
	return out + fmt.Sprint(bits)
}

// TestAnyCourse plays random answers, sensible and not, and holds every step
// to what must always be so: probabilities sum to one, no unsafe check is
// offered, undo is exact, and a replay gives the same.
func TestAnyCourse(t *testing.T) {
	for name, m := range models(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			for seed := range uint64(5) {
				rng := rand.New(rand.NewPCG(seed, 1))
				c := engine.NewCourse(m, engine.Gate{})
				shortPassed := true
				for range 40 {
					r, _ := c.Ranking()
					var sum float64
					for _, x := range r {
						require.False(t, math.IsNaN(x.P))
						sum += x.P
					}
					require.InDelta(t, 1, sum, 1e-9)
					step := c.Next()
					var e engine.Event
					if step.Verdict != nil {
						if step.Verdict.Status != engine.Open || len(step.Verdict.Causes) == 0 {
							break
						}
						cause := step.Verdict.Causes[rng.IntN(len(step.Verdict.Causes))].Cause
						e = engine.Event{Kind: engine.Repaired, Cause: cause.ID}
						shortPassed = false
					} else {
						safe(t, c.Model(), step.Check)
						require.True(t, shortPassed || step.Check.Power == engine.Off, "power after a repair without a short check: %s", step.Check.ID)
						e = engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: anyResult(rng, step.Check)}
						if rng.IntN(6) == 0 {
							e = engine.Event{Kind: engine.Skipped, Check: step.Check.ID}
						}
						if step.Check == c.Model().Short && e.Kind == engine.Read {
							shortPassed = shortPassed || healthy(step.Check, e.Result)
						}
					}
					before := view(c)
					require.NoError(t, c.Apply(e))
					after := view(c)
					if rng.IntN(4) == 0 {
						require.NoError(t, c.Apply(engine.Event{Kind: engine.Undone}))
						require.Equal(t, before, view(c), "undo is exact")
						require.NoError(t, c.Apply(e))
						require.Equal(t, after, view(c), "redo is exact")
					}
				}
				replay := engine.NewCourse(m, engine.Gate{})
				for _, e := range c.Events() {
					require.NoError(t, replay.Apply(e))
				}
				require.Equal(t, view(c), view(replay))
			}
		})
	}
}

func healthy(c *engine.Check, r engine.Result) bool {
	if r.Answer != "" {
		return r.Answer == c.Healthy
	}
	if r.Over {
		return math.IsInf(c.Expect.High, 1)
	}
	return r.Value >= c.Expect.Low && r.Value <= c.Expect.High
}

// safe holds a check against the rules of design.md, written out anew.
func safe(t *testing.T, m *engine.Model, c *engine.Check) {
	t.Helper()
	switch c.Mode {
	case engine.Ohms, engine.Continuity, engine.Diode:
		require.Equal(t, engine.Off, c.Power, c.ID)
	case engine.AmpsDC:
		require.NotEqual(t, engine.Off, c.Power, c.ID)
		require.False(t, c.Across, c.ID)
	}
	if c.Power != engine.Off {
		require.NotEmpty(t, c.Cautions, c.ID)
		require.LessOrEqual(t, m.Highest, 60.0)
		if m.Driven {
			require.True(t, slices.ContainsFunc(c.Cautions, func(s string) bool { return s == "The driven wheel is off the ground and nobody is near it." }), c.ID)
		}
	}
	require.NotEqual(t, engine.ChipPin, c.Jumper)
}

// TestGate tries each refusal and its nearest allowed neighbour.
func TestGate(t *testing.T) {
	low, high := &engine.Model{Highest: 60}, &engine.Model{Highest: 60.1}
	for _, tt := range []struct {
		name   string
		gate   engine.Gate
		m      *engine.Model
		c      engine.Check
		danger float64
		refuse bool
	}{
		{"ohms off", engine.Gate{}, low, engine.Check{Mode: engine.Ohms, Power: engine.Off}, 0, false},
		{"ohms live", engine.Gate{}, low, engine.Check{Mode: engine.Ohms, Power: engine.Live}, 0, true},
		{"continuity limited", engine.Gate{}, low, engine.Check{Mode: engine.Continuity, Power: engine.Limited}, 0, true},
		{"diode live, qualified", engine.Gate{Qualified: true}, low, engine.Check{Mode: engine.Diode, Power: engine.Live}, 0, true},
		{"amps in series", engine.Gate{}, low, engine.Check{Mode: engine.AmpsDC, Power: engine.Live}, 0, false},
		{"amps across a source", engine.Gate{}, low, engine.Check{Mode: engine.AmpsDC, Power: engine.Live, Across: true}, 0, true},
		{"amps that may be a short", engine.Gate{}, low, engine.Check{Mode: engine.AmpsDC, Power: engine.Live}, 0.02, true},
		{"volts at 60 V", engine.Gate{}, low, engine.Check{Mode: engine.VoltsDC, Power: engine.Live}, 0, false},
		{"volts above 60 V", engine.Gate{}, high, engine.Check{Mode: engine.VoltsDC, Power: engine.Live}, 0, true},
		{"look above 60 V", engine.Gate{}, high, engine.Check{Mode: engine.Look, Power: engine.Live}, 0, true},
		{"ohms above 60 V", engine.Gate{}, high, engine.Check{Mode: engine.Ohms, Power: engine.Off}, 0, false},
		{"volts above 60 V, qualified", engine.Gate{Qualified: true}, high, engine.Check{Mode: engine.VoltsDC, Power: engine.Live}, 0, false},
		{"volts off", engine.Gate{}, low, engine.Check{Mode: engine.VoltsDC, Power: engine.Off}, 0, true},
		{"discharge proof", engine.Gate{}, low, engine.Check{ID: "discharged ctl.plus", Mode: engine.VoltsDC, Power: engine.Off}, 0, false},
		{"jumper on a chip", engine.Gate{Qualified: true}, low, engine.Check{Mode: engine.Look, Power: engine.Live, Jumper: engine.ChipPin}, 0, true},
		{"jumper on button pads", engine.Gate{}, low, engine.Check{Mode: engine.Look, Power: engine.Live, Jumper: engine.KnownPin}, 0, false},
		{"likely harm", engine.Gate{}, low, engine.Check{Mode: engine.Look, Power: engine.Off, Person: 0.1}, 0, true},
	} {
		require.Equal(t, tt.refuse, tt.gate.Refuse(tt.m, &tt.c, tt.danger) != "", tt.name)
	}
}

// opposite is what a good reading of the 36 V lamp circuit becomes when it is as wrong as can be.
func opposite(t *testing.T, c *engine.Check, r engine.Result) engine.Result {
	switch {
	case c.Mode == engine.VoltsDC:
		return engine.Result{Value: 36 - r.Value}
	case c.Mode == engine.Ohms && r.Over:
		return engine.Result{Value: 0.2}
	case c.Mode == engine.Ohms:
		return engine.Result{Over: true}
	}
	require.Equal(t, engine.Continuity, c.Mode)
	if r.Answer == engine.Beep {
		return engine.Result{Answer: engine.NoBeep}
	}
	return engine.Result{Answer: engine.Beep}
}

// TestWrongReading gives one reading that is as wrong as can be, the truth
// otherwise. The truth is in the verdict, or is back there as soon as the wrong
// reading is taken again: nothing is ruled out for good.
func TestWrongReading(t *testing.T) {
	const cause = "wire w2 open"
	m := models(t)["cart-tail tail dark"]
	for wrong := range 3 {
		c := engine.NewCourse(m, engine.Gate{})
		var spoilt engine.Event
		for n := 0; ; n++ {
			step := c.Next()
			if step.Verdict != nil {
				break
			}
			require.Less(t, n, 40)
			r := m.Likeliest(step.Check, cause)
			e := engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: r}
			if n >= wrong && spoilt.Check == "" {
				spoilt = e
				e.Result = opposite(t, step.Check, r)
			}
			require.NoError(t, c.Apply(e))
		}
		require.NotEmpty(t, spoilt.Check)
		if !slices.Contains(verdict(c), cause) {
			require.NoError(t, c.Apply(spoilt))
			for step := c.Next(); step.Verdict == nil; step = c.Next() {
				require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: m.Likeliest(step.Check, cause)}))
			}
			require.Contains(t, verdict(c), cause, "wrong reading %d, taken again", wrong)
		}
	}
}

func verdict(c *engine.Course) []string {
	var ids []string
	for _, x := range c.Verdict().Causes {
		ids = append(ids, x.Cause.ID)
	}
	return ids
}

// TestGuidesFindTheirCauses answers every check of a guide as each cause in
// turn makes likeliest, and expects the cause in the verdict.
func TestGuidesFindTheirCauses(t *testing.T) {
	for name, m := range models(t) {
		if !strings.HasPrefix(name, "guide ") {
			continue
		}
		t.Run(name, func(t *testing.T) {
			checks, found, alone := 0, 0, 0
			for _, cause := range m.Causes {
				if cause.ID == engine.Unexplained {
					continue
				}
				handed := false // the cause stands for another guide
				c := engine.NewCourse(m, engine.Gate{})
				n := 0
				for step := c.Next(); step.Verdict == nil; step = c.Next() {
					require.Less(t, n, 100)
					require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: c.Model().Likeliest(step.Check, cause.ID)}))
					if n++; slices.ContainsFunc(c.HandOffs(), func(h engine.HandOff) bool { return h.Cause == cause.ID }) {
						handed = true
						break
					}
				}
				if handed {
					found++
					continue
				}
				checks += n
				ids := verdict(c)
				if slices.Contains(ids, cause.ID) {
					found++
				} else {
					t.Logf("%s: verdict %v after %d checks", cause.ID, ids, n)
				}
				if len(ids) == 1 {
					alone++
				}
			}
			n := len(m.Causes) - 1
			t.Logf("%d causes, %d in the verdict, %d alone, mean %.1f checks", n, found, alone, float64(checks)/float64(n))
			require.Equal(t, n, found)
		})
	}
}
