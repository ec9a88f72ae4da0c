package engine_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

func expectSheet(t testing.TB, name string) *engine.ExpectSheet {
	t.Helper()
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join("..", "testdata", "harness", name+".yaml"))
	require.NoError(t, err)
	h, err := base.Harness(name, data)
	require.NoError(t, err)
	s, err := engine.Expect(h, circuit.Meter{})
	require.NoError(t, err)
	return s
}

// TestExpectCartTail holds the sheet to figures worked out by hand.
//
// Copper at 25 C: 1.7241e-8 * (1 + 0.00393*5) = 1.75798e-8 ohm m. 20 AWG is
// 0.51759 mm2, 33.965 mohm a metre: w1 13.59, w3 10.19, w4 10.19, w5 50.95 mohm;
// w2 1.2 m of 0.5 mm2 42.19 mohm. Pack 100, fuse 10, way 5, switch 5 mohm; lamp
// 36*36/5 = 259.2 ohm. In all 259.4471 ohm, 138.757 mA.
//
//	pack.plus   36 - 0.1*0.138757                       = 35.9861 V
//	f1.b        36 - (0.1+0.01359+0.01)*0.138757        = 35.9829 V
//	p1.1a       f1.b - 0.04219*0.138757                 = 35.9770 V
//	tail.minus  0.05095*0.138757                        = 7.070 mV
//	tail.plus   7.070 mV + 259.2*0.138757               = 35.9729 V
//
// Spread of pack.plus: pack 2 % = 0.72 V, meter 0.5 % and 2 counts of 10 mV =
// 0.20 V, together 0.747 V. Off, nobody said what the lamp reads cold: 0.55 of
// its 259.2 ohm, a tenth to all of it: 142.56 + 0.05 + 0.2 = 142.81 ohm, +-142.56,
// beside which the meter's 0.8 % and 2 counts and the leads are nothing. The open
// switch leaves the plus side over-range.
func TestExpectCartTail(t *testing.T) {
	s := expectSheet(t, "cart-tail")
	require.Equal(t, "pack.minus", s.Ground)
	require.Len(t, s.States, 2)
	require.Equal(t, "tail on", s.States[1].Name)
	pins := map[string]engine.PinExpectation{}
	for _, p := range s.Pins {
		pins[p.Pin] = p
	}
	require.NotContains(t, pins, "sw.b", "no probe gets there")
	require.NotContains(t, pins, "pack.minus", "the black lead is there")
	require.Len(t, pins, 10)
	for pin, volts := range map[string]float64{"pack.plus": 35.9861, "f1.b": 35.9829, "p1.1a": 35.9770, "tail.plus": 35.9729} {
		e := pins[pin].Volts[1]
		require.InDelta(t, volts, e.Value, 2e-4, pin)
		require.InDelta(t, volts-0.747, e.Low, 2e-3, pin)
		require.InDelta(t, volts+0.747, e.High, 2e-3, pin)
	}
	require.InDelta(t, 7.070e-3, pins["tail.minus"].Volts[1].Value, 2e-6)
	require.InDelta(t, 36, pins["sw.a"].Volts[0].Value, 1e-3)
	require.InDelta(t, 0, pins["tail.plus"].Volts[0].Value, 1e-4)
	lamp := pins["tail.plus"].Ohms
	require.InDelta(t, 142.811, lamp.Value, 1e-3)
	require.InDelta(t, 142.57, lamp.High-lamp.Value, 0.02)
	require.InDelta(t, 0.251, pins["tail.minus"].Ohms.Value, 1e-3)
	for _, pin := range []string{"pack.plus", "f1.a", "f1.b", "p1.1a", "p1.1b", "sw.a", "p1.2a"} {
		require.True(t, pins[pin].Ohms.Over, pin)
	}
	require.False(t, s.Driven)
	require.Empty(t, s.Charged)
}

// TestExpectKnowsTheDangers: a controller drives a wheel and stays charged.
func TestExpectKnowsTheDangers(t *testing.T) {
	s := expectSheet(t, "cart-throttle")
	require.True(t, s.Driven)
	require.Equal(t, [][2]string{{"ctl.plus", "ctl.minus"}}, s.Charged)
	require.Equal(t, 42.0, s.Highest)
}

func TestExpectedInWords(t *testing.T) {
	for _, c := range []struct {
		e    engine.Expected
		unit string
		want string
	}{
		{engine.Expected{Over: true}, "ohm", "OL"},
		{engine.Expected{Low: 35.25, High: 36.75}, "V", "35.2 to 36.8 V"},
		{engine.Expected{Low: -0.1, High: 0.54}, "ohm", "0 to 0.54 ohm"},
		{engine.Expected{Low: 900, High: 1100}, "ohm", "900 ohm to 1.1 kohm"},
		{engine.Expected{Low: 5, High: 5}, "V", "5 V"},
	} {
		require.Equal(t, c.want, c.e.Range(c.unit))
	}
}

// TestExpectOfAnIsolatedSide: behind an isolated converter the black lead goes on
// that side's minus, where 12 V are, and not on the ground, where nothing is.
func TestExpectOfAnIsolatedSide(t *testing.T) {
	s := expectSheet(t, "cart-isolated")
	require.Equal(t, []string{"pack.minus", "conv.out_minus"}, s.Blacks())
	pins := map[string]engine.PinExpectation{}
	for _, p := range s.Pins {
		pins[p.Pin] = p
	}
	require.Equal(t, "pack.minus", pins["conv.in_plus"].Black)
	require.Equal(t, "conv.out_minus", pins["lamp.plus"].Black)
	require.NotContains(t, pins, "conv.out_minus", "the black lead is there")
	bright := pins["conv.out_plus"].Volts[2]
	require.Equal(t, "bright", s.States[2].Name)
	require.InDelta(t, 12, bright.Value, 0.1)
	require.False(t, bright.Leak)
}
