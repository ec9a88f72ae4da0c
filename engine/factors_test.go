package engine

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestExplainByHand: causes a and b at odds 3 to 1; "yes" is shown with 0.8 and
// 0.4, "wet" with 0.1 and 0.5.
//
//	P(yes) = 0.7; yes makes a 0.8/0.7 = 1.142857 times as likely, b 0.4/0.7 = 0.571429 times
//	P(a) = 6/7, so P(wet) = 6/7*0.1 + 1/7*0.5 = 1.1/7; wet makes a 0.636364 times as likely, b 3.181818 times
//	P(a) = 6/7*0.636364 = 0.545455, P(b) = 0.454545
func TestExplainByHand(t *testing.T) {
	c := NewCourse(byHand(), Gate{})
	require.Empty(t, c.Explain("a"), "nothing was learned yet")
	require.Nil(t, c.Explain("no such cause"))
	require.NoError(t, c.Apply(Event{Kind: Read, Check: "look", Result: Result{Answer: "yes"}}))
	require.NoError(t, c.Apply(Event{Kind: Skipped, Check: "lift"}))
	require.NoError(t, c.Apply(Event{Kind: Read, Check: "touch", Result: Result{Answer: "wet"}}))
	for _, tt := range []struct {
		cause string
		times [2]float64
		p     float64
		say   [2]string
	}{
		{"a", [2]float64{0.8 / 0.7, 0.7 / 1.1}, 6 / 11.0, [2]string{
			"look: yes makes it 1.1 times as likely; it would show yes",
			"touch: wet makes it 1.6 times less likely; it would show dry"}},
		{"b", [2]float64{0.4 / 0.7, 3.5 / 1.1}, 5 / 11.0, [2]string{
			"look: yes makes it 1.7 times less likely; it would show no (60 %)",
			"touch: wet makes it 3.2 times as likely; it would show dry (50 %)"}},
	} {
		f := c.Explain(tt.cause)
		require.Len(t, f, 2, "a skipped check says nothing")
		require.Equal(t, []int{1, 3}, []int{f[0].N, f[1].N})
		for i := range f {
			require.InDelta(t, tt.times[i], f[i].Times, 1e-12)
			require.Equal(t, tt.say[i], f[i].Say())
			require.False(t, f[i].Little())
		}
		require.InDelta(t, tt.p, f[1].P, 1e-12)
		require.InDelta(t, map[string]float64{"a": 0.75, "b": 0.25}[tt.cause], Start(f), 1e-12)
	}
	for times, short := range map[float64]string{0.8 / 0.7: "x1.1", 3.5 / 1.1: "x3.2", 0.7 / 1.1: "/1.6", 12.4: "x12", 1e-4: "/>1000"} {
		require.Equal(t, short, (&Factor{Times: times}).Short())
	}
	for times, little := range map[float64]bool{1: true, 1.04: true, 0.96: true, 1.06: false, 0.94: false} {
		require.Equal(t, little, (&Factor{Times: times}).Little(), "%g", times)
	}
	// Read anew, the former reading says nothing any more.
	require.NoError(t, c.Apply(Event{Kind: Read, Check: "touch", Result: Result{Answer: "dry"}}))
	f := c.Explain("b")
	require.Len(t, f, 2)
	require.Equal(t, 4, f[1].N)
	require.Less(t, f[1].Times, 1.0)
}

// byHand is a model of two causes and three checks, without misreadings.
func byHand() *Model {
	look := &Check{ID: "look", Mode: Look, Power: Off, Answers: []string{"yes", "no"}, Healthy: "no", Minutes: 1}
	look.shows.usual(prediction{row: []float64{0.5, 0.5}})
	look.shows.set(0, prediction{row: []float64{0.8, 0.2}})
	look.shows.set(1, prediction{row: []float64{0.4, 0.6}})
	touch := &Check{ID: "touch", Mode: Look, Power: Off, Answers: []string{"dry", "wet"}, Healthy: "dry", Minutes: 1}
	touch.shows.set(0, prediction{row: []float64{0.9, 0.1}})
	touch.shows.set(1, prediction{row: []float64{0.5, 0.5}})
	lift := &Check{ID: "lift", Mode: Look, Power: Off, Answers: []string{"yes", "no"}, Healthy: "no", Minutes: 1}
	lift.shows.set(0, prediction{row: []float64{0.7, 0.3}})
	lift.shows.set(1, prediction{row: []float64{0.2, 0.8}})
	m := &Model{Causes: []Cause{{ID: "a", Mends: "a"}, {ID: "b", Mends: "b"}}, Checks: []*Check{look, touch, lift},
		Short: &Check{ID: "short check", Power: Off, Mode: Continuity, Answers: []string{Beep, NoBeep}, Healthy: NoBeep, Minutes: 0.4},
		hyps:  []hypothesis{{0, math.Log(3)}, {1, math.Log(1)}}}
	m.finish()
	return m
}

// TestExplainRepair: a repair that did not prove is told as what it does to the
// cause, and what was read before it counts less.
func TestExplainRepair(t *testing.T) {
	c := NewCourse(byHand(), Gate{})
	for _, e := range []Event{
		{Kind: Read, Check: "look", Result: Result{Answer: "yes"}},
		{Kind: Repaired, Cause: "a"},
		{Kind: Read, Check: "short check", Result: Result{Answer: NoBeep}},
	} {
		require.NoError(t, c.Apply(e))
		require.Len(t, c.Explain("a"), 1, "what proves a repair says nothing of the fault that was")
	}
	require.NoError(t, c.Apply(Event{Kind: Read, Check: "look", Result: Result{Answer: "yes"}}))
	f := c.Explain("a")
	require.Equal(t, "a repair that did not prove makes it 15 times less likely", f[0].Say())
	// 3 to 1 becomes 0.03*3 to 1.75, as b alone or beside a, which is there 0.75
	// times as often: 0.09/1.84 over 0.75
	require.InDelta(t, 0.09/1.84/0.75, f[0].Times, 1e-12)
	require.Len(t, f, 3)
	require.Contains(t, f[1].Say(), "read before a repair")
	p := 0.75
	for _, x := range f {
		p *= x.Times
	}
	r, _ := c.Ranking()
	require.Equal(t, "b", r[0].Cause.ID)
	require.InDelta(t, r[1].P, p, 1e-12)
}

// TestSafer: a check that may do harm waits while a safe one tells half as much.
func TestSafer(t *testing.T) {
	offer := func(bits, cost, module, person float64) Offer {
		return Offer{Check: &Check{Module: module, Person: person}, Bits: bits, Gain: bits, Cost: cost}
	}
	risky := offer(1, 1, 0.006, 0)
	for _, tt := range []struct {
		name   string
		others []Offer
		want   int
	}{
		{"alone", nil, 0},
		{"a safe one of half the bits", []Offer{offer(0.5, 9, 0.005, 0.005)}, 1},
		{"a safe one of less", []Offer{offer(0.49, 0.1, 0, 0)}, 0},
		{"another risky one", []Offer{offer(1, 0.5, 0, 0.02)}, 0},
		{"the better of two safe ones", []Offer{offer(0.6, 5, 0, 0), offer(0.6, 3, 0, 0)}, 2},
	} {
		require.Equal(t, tt.want, safer(append([]Offer{risky}, tt.others...), 0), tt.name)
	}
	require.Equal(t, 1, safer([]Offer{offer(3, 1, 0, 0), offer(1, 1, 0, 0)}, 1), "a safe choice stands")
}
