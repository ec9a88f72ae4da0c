package engine

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestAttemptByHand: two causes of equal odds, a plug and a wire, and one check
// of 40 minutes that tells them apart.
//
// Measured on: 40 + 0.5*10 + 0.5*20 + proof. The proof takes 3 minutes of plugging
// and 0.4 of the short check, 3.4 together. So 58.4 minutes.
// The plug tried now: 10 + 3.4; of 1 - 0.5*0.97 = 0.515 cases it fails, and then
// there is the wire at 0.5/0.515 and the plug at 0.015/0.515: 0.189990 bit, which
// takes 0.189990*40 = 7.5996 minutes, 20 for the wire and 3.4 for its proof:
// 13.4 + 0.515*(7.5996 + 23.4) = 29.3648 minutes. It saves 29.0352.
// The wire tried now: 20 + 3.4 + 0.515*(7.5996 + 13.4) = 34.2158.
func TestAttemptByHand(t *testing.T) {
	model := func(minutes float64) *Model {
		m := byHand()
		m.Checks = m.Checks[:1]
		m.Checks[0].shows = predictions{}
		m.Checks[0].shows.set(0, prediction{row: []float64{1, 0}})
		m.Checks[0].shows.set(1, prediction{row: []float64{0, 1}})
		m.Checks[0].Minutes, m.Checks[0].Mode = minutes-minutesStep, Ask
		m.Causes[0].Effort, m.Causes[1].Effort = mendPlug, mendWire
		m.hyps[0].prior, m.hyps[1].prior = math.Log(0.5), math.Log(0.5)
		m.finish()
		return m
	}
	next := func(change func(*Model)) *Attempt {
		m := model(40)
		change(m)
		step := NewCourse(m, Gate{}).Next()
		require.Equal(t, "look", step.Check.ID)
		return step.Try
	}
	try := next(func(*Model) {})
	require.Equal(t, "a", try.Cause.ID)
	require.InDelta(t, 0.5, try.P, 1e-12)
	require.InDelta(t, 13.4, try.Minutes, 1e-9)
	require.InDelta(t, 29.0352, try.Saves, 0.001)
	require.Zero(t, try.Risk)

	require.Nil(t, next(func(m *Model) { m.Checks[0].Minutes = 5 }), "the check is cheaper")
	require.Equal(t, "b", next(func(m *Model) { m.Causes[0].Effort = newModule }).Cause.ID, "a new module is at risk")
	require.Nil(t, next(func(m *Model) { m.Causes[0].Effort, m.Causes[1].Effort = newModule, rePin }))
	require.Nil(t, next(func(m *Model) { m.Short = nil }), "no short check before power")
	require.Equal(t, "b", next(func(m *Model) { m.Causes[0].Effort = mendFuse }).Cause.ID, "no new fuse before the short check")
	require.Equal(t, "b", next(func(m *Model) { m.Causes[0].HandOff = "x" }).Cause.ID, "another guide comes first")

	// What has no whole proof is not tried, nor what could do more harm than the check.
	require.Equal(t, []string{"short check"}, try.Prove)
	proof := Check{ID: "proof", Mode: Look, Power: Live, Answers: []string{"lit", "dark"}, Minutes: 0.3}
	proof.shows.set(0, prediction{row: []float64{0, 1}})
	for _, tt := range []struct {
		name           string
		healthy        string
		module, person float64 // of the proof
		risk           float64 // of the check in whose place it would be tried, to either
		want           []string
	}{
		{"whole", "lit", 0, 0, 0, []string{"short check", "proof"}},
		{"nobody knows what it shows", "", 0, 0, 0, nil},
		{"risky to a module", "lit", 0.001, 0, 0, nil},
		{"risky to the person", "lit", 0, 0.001, 0, nil},
		{"no riskier than the check", "lit", 0.001, 0.001, 0.001, []string{"short check", "proof"}},
	} {
		got := next(func(m *Model) {
			k := proof
			k.Healthy, k.Module, k.Person = tt.healthy, tt.module, tt.person
			m.Checks[0].Module, m.Checks[0].Person = tt.risk, tt.risk
			m.Checks = append(m.Checks, &k)
			m.Causes[0].Prove, m.Causes[1].Prove = []string{"proof"}, []string{"proof"}
			m.finish()
		})
		if tt.want == nil {
			require.Nil(t, got, tt.name)
			continue
		}
		require.Equal(t, tt.want, got.Prove, tt.name)
	}

	// With the short check passed, the fuse.
	m := model(40)
	m.Causes[0].Effort = mendFuse
	c := NewCourse(m, Gate{})
	require.NoError(t, c.Apply(Event{Kind: Read, Check: "short check", Result: Result{Answer: NoBeep}}))
	require.Equal(t, "a", c.Next().Try.Cause.ID)
	// Not again once it was tried and did not prove.
	require.NoError(t, c.Apply(Event{Kind: Repaired, Cause: "a"}))
	require.Nil(t, c.Next().Try, "while a repair is being proven")
	require.NoError(t, c.Apply(Event{Kind: Read, Check: "short check", Result: Result{Answer: Beep}}))
	require.Nil(t, c.Next().Try, "power does not come back before the short check has passed")
}

// TestEffort: what is repaired by what is at fault.
func TestEffort(t *testing.T) {
	for _, tt := range []struct {
		kind, mode string
		want       Effort
	}{
		{"fuse", "blown", mendFuse}, {"breaker", "tripped", mendFuse}, {"diode", "reversed", rePin}, {"connector", "open", mendPlug}, {"connector", "swapped", rePin},
		{"wire", "open", mendWire}, {"lamp", "open", mendPart}, {"controller", "no output", newModule},
	} {
		require.Equal(t, tt.want, effortOf(tt.kind, tt.mode), tt.kind+" "+tt.mode)
	}
	for _, tt := range []struct {
		stands []string
		want   Effort
	}{
		{nil, newModule},
		{[]string{"wire sig* open", "way *.1 open"}, mendWire},
		{[]string{"way * open"}, mendPlug},
		{[]string{"part * blown"}, mendFuse},
		{[]string{"part * blown", "ways * swapped"}, Effort{Minutes: 30, Risk: 0.02, Fuse: true}},
		{[]string{"part * blown", "way * open"}, Effort{Minutes: 10, Fuse: true}},
	} {
		require.Equal(t, tt.want, (&GuideCause{StandsFor: tt.stands}).effort(), "%v", tt.stands)
	}
}
