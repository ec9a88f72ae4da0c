package main

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// typedChecks are one check of each kind that a person types an answer to.
var typedChecks = map[string]*engine.Check{
	"volts":      {ID: "volts", Mode: engine.VoltsDC},
	"ohms":       {ID: "ohms", Mode: engine.Ohms},
	"amps":       {ID: "amps", Mode: engine.AmpsDC},
	"continuity": {ID: "continuity", Mode: engine.Continuity, Answers: []string{"beep", "no beep"}},
	"look":       {ID: "look", Mode: engine.Look, Answers: []string{"lit", "dark"}},
	"lamp":       {ID: "lamp", Mode: engine.Look, Answers: []string{"dark", "dim", "lit", "too bright"}},
	"ask":        {ID: "ask", Mode: engine.Ask, Answers: []string{"yes", "no", "not sure"}},
}

func TestParseTyped(t *testing.T) {
	over := engine.Result{Over: true}
	number := func(x float64) engine.Result { return engine.Result{Value: x} }
	word := func(s string) engine.Result { return engine.Result{Answer: s} }
	for _, c := range []struct {
		check, typed string
		want         engine.Result
	}{
		{"volts", "4.98", number(4.98)},
		{"volts", "4.98V", number(4.98)},
		{"volts", "4.98 v", number(4.98)},
		{"volts", "1 V", number(1)},
		{"volts", "49.8mV", number(0.0498)},
		{"volts", "49.8 mV", number(0.0498)},
		{"volts", "0,85", number(0.85)},
		{"volts", "0,85V", number(0.85)},
		{"volts", "-0.5", number(-0.5)},
		{"volts", "+0.5", number(0.5)},
		{"volts", ".5", number(0.5)},
		{"volts", "-.5", number(-0.5)},
		{"volts", "0", number(0)},
		{"volts", "36", number(36)},
		{"volts", "  36.1\t", number(36.1)},
		{"volts", "1.2kV", number(1200)},
		{"volts", "OL", over},
		{"volts", "ol", over},
		{"ohms", "OL", over},
		{"ohms", "O.L", over},
		{"ohms", "0L", over},
		{"ohms", "open", over},
		{"ohms", "Open", over},
		{"ohms", "12k", number(12e3)},
		{"ohms", "12K", number(12e3)},
		{"ohms", "12 k", number(12e3)},
		{"ohms", "1M", number(1e6)},
		{"ohms", "1 Mohm", number(1e6)},
		{"ohms", "12m", number(0.012)},
		{"ohms", "12 mohm", number(0.012)},
		{"ohms", "2.2kohm", number(2200)},
		{"ohms", "2.2 kOhm", number(2200)},
		{"ohms", "2,2 kohms", number(2200)},
		{"ohms", "2.2kΩ", number(2200)},
		{"ohms", "470 Ω", number(470)}, // Greek capital omega, U+03A9
		{"ohms", "1meg", number(1e6)},
		{"ohms", "0.2 ohm", number(0.2)},
		{"amps", "12mA", number(0.012)},
		{"amps", "140 uA", number(140e-6)},
		{"amps", "140 µA", number(140e-6)}, // micro sign, U+00B5
		{"amps", "140 μA", number(140e-6)}, // Greek mu, U+03BC
		{"amps", "0.14 A", number(0.14)},
		{"continuity", "beep", word("beep")},
		{"continuity", "b", word("beep")},
		{"continuity", "BEEP", word("beep")},
		{"continuity", "no beep", word("no beep")},
		{"continuity", "no", word("no beep")},
		{"continuity", "0.3", number(0.3)},
		{"continuity", "0.3 ohm", number(0.3)},
		{"continuity", "OL", over},
		{"continuity", "open", over},
		{"look", "dark", word("dark")},
		{"look", "d", word("dark")},
		{"look", "D", word("dark")},
		{"look", " Lit ", word("lit")},
		{"look", "2", word("dark")},
		{"lamp", "da", word("dark")},
		{"lamp", "di", word("dim")},
		{"lamp", "t", word("too bright")},
		{"ask", "y", word("yes")},
		{"ask", "no", word("no")}, // whole, though "not sure" begins so too
		{"ask", "not", word("not sure")},
	} {
		t.Run(c.check+" "+c.typed, func(t *testing.T) {
			got, err := parseTyped(typedChecks[c.check], c.typed)
			require.NoError(t, err)
			require.InDelta(t, c.want.Value, got.Value, 1e-12*math.Abs(c.want.Value))
			got.Value, c.want.Value = 0, 0
			require.Equal(t, c.want, got)
			require.NoError(t, typedChecks[c.check].Fits(normalised(typedChecks[c.check], c.want)))
		})
	}
}

// normalised stands in for the engine's own reading of ohms on a continuity check.
func normalised(c *engine.Check, r engine.Result) engine.Result {
	if c.Mode == engine.Continuity && r.Answer == "" {
		return engine.Result{Answer: "beep"}
	}
	return r
}

func TestParseTypedRefuses(t *testing.T) {
	for _, c := range []struct {
		check, typed string
		want         string // part of the message
	}{
		{"volts", "5 ohm", "reads V, not ohm"},
		{"volts", "5k ohm", ""},
		{"volts", "2.2kohm", "reads V, not ohm"},
		{"volts", "12mA", "reads V, not A"},
		{"ohms", "5 V", "reads ohm, not V"},
		{"amps", "5V", "reads A, not V"},
		{"continuity", "5 V", "reads ohm, not V"},
		{"volts", "", "not a reading"},
		{"volts", "   ", "not a reading"},
		{"volts", "banana", "not a reading"},
		{"volts", "beep", "not a reading"},
		{"volts", "dark", "not a reading"},
		{"volts", "5 bananas", "bananas"},
		{"volts", "4.9.8", "not a reading"},
		{"volts", "4,9,8", "not a reading"},
		{"volts", "--5", "not a reading"},
		{"volts", "-", "not a reading"},
		{"volts", ".", "not a reading"},
		{"volts", "V", "not a reading"},
		{"volts", "k", "not a reading"},
		{"volts", "NaN", "not a reading"},
		{"volts", "nan", "not a reading"},
		{"volts", "-inf", "not a reading"},
		{"volts", "Infinity", "not a reading"},
		{"volts", "0x10", ""},
		{"volts", "1e999", "not a number"},
		{"volts", "4 5", "not a reading"},
		{"volts", "4.98 V DC today", "not a reading"},
		{"look", "4.98", "lit, dark"},
		{"look", "3", "lit, dark"},
		{"look", "0", "lit, dark"},
		{"look", "OL", "lit, dark"},
		{"look", "", "lit, dark"},
		{"look", "bright", "lit, dark"},
		{"look", "darker", "lit, dark"},
		{"lamp", "d", "dark, dim"}, // dark or dim
		{"ask", "n", "not sure"},   // no or not sure
		{"continuity", "maybe", ""},
		{"continuity", "", ""},
	} {
		t.Run(c.check+" "+c.typed, func(t *testing.T) {
			got, err := parseTyped(typedChecks[c.check], c.typed)
			require.Error(t, err)
			require.ErrorContains(t, err, c.want)
			require.Equal(t, engine.Result{}, got)
		})
	}
}

// FuzzTyped holds that nothing typed makes a panic or a reading that is not a
// number, and that an answer taken is one of the check's.
func FuzzTyped(f *testing.F) {
	for _, s := range []string{
		"4.98", "4.98V", "49.8mV", "12k", "12K", "1M", "2.2kohm", "OL", "open", "beep", "0,85", "-0.5", ".5", "1 V",
		"5 ohm", "d", "NaN", "inf", "1e308k", "1e308M", "-1e308M", "0e9", "1e-400", "1 .", "µ", "Ω", "\xff", "0x1p-2", "1_000",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for name, c := range typedChecks {
			r, err := parseTyped(c, s)
			if err != nil {
				require.NotEmpty(t, strings.TrimSpace(err.Error()), "%s %q", name, s)
				continue
			}
			require.False(t, math.IsNaN(r.Value), "%s %q", name, s)
			if r.Answer != "" {
				require.Contains(t, c.Answers, r.Answer, "%s %q", name, s)
				require.Zero(t, r.Value)
				require.False(t, r.Over)
			}
			if r.Over {
				require.Zero(t, r.Value, "%s %q", name, s)
			}
			if !c.Mode.Numeric() && c.Mode != engine.Continuity {
				require.NotEmpty(t, r.Answer, "%s %q", name, s)
			}
			// What cannot be a reading is refused here or by the check itself.
			if math.IsInf(r.Value, 0) && c.Mode.Numeric() {
				require.Error(t, c.Fits(r), "%s %q", name, s)
			}
		}
	})
}
