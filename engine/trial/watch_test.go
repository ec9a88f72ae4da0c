package trial

import (
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// TestWatch: the second gate calls each unsafe check by its name, and lets its
// nearest safe neighbour pass.
func TestWatch(t *testing.T) {
	m, err := engine.FromGuide(engine.Options{Guide: &engine.Guide{ID: "x", About: "x", Driven: true, Charge: [2]string{"plus", "minus"},
		Causes: []engine.GuideCause{{Cause: engine.Cause{ID: "a", Odds: 1, Mends: "a"}}, {Cause: engine.Cause{ID: "b", Odds: 1, Mends: "b"}}},
		Checks: []engine.GuideCheck{{Check: engine.Check{ID: "socket", Mode: engine.Look, Power: engine.Off, Minutes: 1, Answers: []string{"good", "bad"}},
			Good: "good", Table: map[string][]float64{"a": {0.9, 0.1}}, Otherwise: []float64{0.1, 0.9}}},
	}})
	require.NoError(t, err)
	wheel := []string{"The driven wheel is off the ground."}
	drained := func(w *watch) {
		w.took(&engine.Check{ID: "discharged plus", Mode: engine.VoltsDC}, engine.Event{Kind: engine.Read})
	}
	socket := m.Check("socket")
	short := m.Short
	for _, tt := range []struct {
		name   string
		before func(*watch)
		c      engine.Check
		unsafe bool
	}{
		{"ohms live", nil, engine.Check{Mode: engine.Ohms, Power: engine.Live, Cautions: wheel}, true},
		{"ohms charged", nil, engine.Check{Mode: engine.Ohms, Power: engine.Off}, true},
		{"ohms drained", drained, engine.Check{Mode: engine.Ohms, Power: engine.Off}, false},
		{"ohms after it was live again", func(w *watch) {
			drained(w)
			w.took(&engine.Check{ID: "v", Mode: engine.VoltsDC, Power: engine.Live}, engine.Event{Kind: engine.Read})
		}, engine.Check{Mode: engine.Ohms, Power: engine.Off}, true},
		{"amps across the pack", nil, engine.Check{Mode: engine.AmpsDC, Power: engine.Live, Cautions: wheel, Red: "pack plus", Black: "the pack's minus"}, true},
		{"amps in series", nil, engine.Check{Mode: engine.AmpsDC, Power: engine.Live, Cautions: wheel, Red: "fuse holder", Black: "its far side"}, false},
		{"volts off", nil, engine.Check{ID: "v", Mode: engine.VoltsDC, Power: engine.Off}, true},
		{"live without the wheel", nil, engine.Check{Mode: engine.VoltsDC, Power: engine.Live, Cautions: []string{"Live."}}, true},
		{"live", nil, engine.Check{Mode: engine.VoltsDC, Power: engine.Live, Cautions: wheel}, false},
		{"live after a repair", (*watch).repaired, engine.Check{Mode: engine.VoltsDC, Power: engine.Live, Cautions: wheel}, true},
		{"live after a repair and its short check", func(w *watch) {
			w.repaired()
			w.took(short, engine.Event{Kind: engine.Read, Result: engine.Result{Answer: engine.NoBeep}})
		}, engine.Check{Mode: engine.VoltsDC, Power: engine.Live, Cautions: wheel}, false},
		{"live after a repair and a short check that beeped", func(w *watch) {
			w.repaired()
			w.took(short, engine.Event{Kind: engine.Read, Result: engine.Result{Answer: engine.Beep}})
		}, engine.Check{Mode: engine.VoltsDC, Power: engine.Live, Cautions: wheel}, true},
		{"a swap before anything", nil, engine.Check{Mode: engine.Swap, Power: engine.Off}, true},
		{"a swap before its socket is proven", nil, engine.Check{Mode: engine.Swap, Power: engine.Off, After: []string{"socket"}}, true},
		{"a swap after a bad socket", func(w *watch) {
			w.took(socket, engine.Event{Kind: engine.Read, Result: engine.Result{Answer: "bad"}})
		}, engine.Check{Mode: engine.Swap, Power: engine.Off, After: []string{"socket"}}, true},
		{"a swap after a good socket", func(w *watch) {
			w.took(socket, engine.Event{Kind: engine.Read, Result: engine.Result{Answer: "good"}})
		}, engine.Check{Mode: engine.Swap, Power: engine.Off, After: []string{"socket"}}, false},
		{"a jumper to a chip", nil, engine.Check{Mode: engine.Look, Power: engine.Off, Jumper: engine.ChipPin}, true},
	} {
		w := newWatch(nil, engine.NewCourse(m, engine.Gate{}))
		if tt.before != nil {
			tt.before(w)
		}
		require.Equal(t, tt.unsafe, w.offered(&tt.c) != "", "%s: %s", tt.name, w.offered(&tt.c))
	}
	m.Highest = 72
	require.NotEmpty(t, newWatch(nil, engine.NewCourse(m, engine.Gate{})).offered(&engine.Check{Mode: engine.VoltsDC, Power: engine.Live, Cautions: wheel}))
}
