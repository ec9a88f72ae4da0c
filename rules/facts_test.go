package rules_test

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"

	"probable/engine"
	"probable/engine/circuit"
	"probable/rules"
)

// facts are the published figures of testdata/published/facts.yaml.
type facts struct {
	Hall  struct{ Turn []string }
	Valid struct{ Codes []string } `yaml:"hall_valid"`
	Cells []struct {
		Chemistry           string
		Nominal             []float64
		Full, Empty, Charge float64
	}
	Contacts []struct {
		Of       string
		Milliohm float64
	}
	Fuses struct{ Amps []float64 }
	Touch struct{ Volts float64 }
	Leds  struct{ Red, Blue [2]float64 }
}

func readFacts(t *testing.T, ids rules.SourceIDs) facts {
	t.Helper()
	data, err := os.ReadFile("../testdata/published/facts.yaml")
	require.NoError(t, err)
	var f facts
	require.NoError(t, yaml.Unmarshal(data, &f))
	named := 0
	for _, line := range strings.Split(string(data), "\n") {
		if _, rest, ok := strings.Cut(line, "source: "); ok {
			id := strings.FieldsFunc(rest, func(r rune) bool { return r == ',' || r == '}' })[0]
			require.True(t, ids[id], "the source %q is not in kb/sources.yaml", id)
			named++
		}
	}
	require.Equal(t, 5+len(f.Cells)+len(f.Contacts), named, "every table names its source")
	return f
}

// part reads a part of a kind with these keys.
func part(t *testing.T, b *rules.Base, kind, keys string) *circuit.Part {
	t.Helper()
	pin := "1a"
	if pins := b.Part(kind).Pins; len(pins) > 0 {
		pin = pins[0]
	}
	h, err := b.Harness("x.yaml", []byte(fmt.Sprintf("harness: x\nground: p.%s\nparts:\n  p: {kind: %s%s}\n", pin, kind, keys)))
	require.NoError(t, err)
	return h.Part("p")
}

// TestPublishedFacts compares figures of the knowledge base with what others
// have published.
func TestPublishedFacts(t *testing.T) {
	b, ids := shipped(t)
	f := readFacts(t, ids)

	t.Run("hall codes", func(t *testing.T) {
		motor := part(t, b, "motor", "")
		var turn []string
		for i := 1; i <= 6; i++ {
			code := ""
			for _, wire := range []string{"ha", "hb", "hc"} {
				if motor.Settings["p"+strconv.Itoa(i)][wire].Ohms > 1e5 {
					code += "1" // pulled up: the output is open
				} else {
					code += "0"
				}
			}
			turn = append(turn, code)
		}
		start := slices.Index(f.Hall.Turn, turn[0])
		require.GreaterOrEqual(t, start, 0)
		forward := slices.Concat(f.Hall.Turn[start:], f.Hall.Turn[:start])
		backward := append([]string{forward[0]}, forward[1:]...)
		slices.Reverse(backward[1:])
		require.Contains(t, [][]string{forward, backward}, turn, "one electrical turn, either way round")
		require.ElementsMatch(t, f.Valid.Codes, turn)
	})
	t.Run("cells", func(t *testing.T) {
		var full, volts rules.Key
		for _, k := range b.Part("bms-pack").Keys {
			switch k.Name {
			case "full_cell_volts":
				full = k
			case "cell_volts":
				volts = k
			}
		}
		require.Equal(t, "fact-cell-limits", full.Source)
		for _, c := range f.Cells {
			most := max(c.Full, c.Charge)
			part(t, b, "bms-pack", fmt.Sprintf(", cells: 10, cell_volts: %g, full_cell_volts: %g", c.Empty, most))
			if strings.Contains(c.Chemistry, "cobalt") {
				require.Equal(t, c.Full, *full.Default, "the usual cell when full")
				require.True(t, *volts.Default > c.Empty && *volts.Default < c.Full)
			}
			if c.Full < *full.Default && c.Chemistry != "lead" {
				require.Contains(t, full.About, strconv.FormatFloat(c.Full, 'g', -1, 64), "the key says what %s has", c.Chemistry)
			}
		}
	})
	t.Run("contacts", func(t *testing.T) {
		// A good contact here has no more than any class allows, and a bad one more.
		plug := part(t, b, "switch", "").Settings["closed"]["contact"].Ohms // what a way of a plug has too
		pressed := part(t, b, "button", "").Settings["pressed"]["contact"].Ohms
		bad := map[string]float64{}
		for kind, keys := range map[string]string{"connector": ", ways: 2", "switch": ""} {
			for _, x := range part(t, b, kind, keys).Failures {
				for _, span := range x.AddOhms {
					bad[kind] = span[0]
				}
			}
		}
		require.Len(t, bad, 2)
		for _, c := range f.Contacts {
			good := plug
			if c.Of == "tact switch" {
				good = pressed
			}
			require.Positive(t, good)
			require.LessOrEqual(t, 1000*good, c.Milliohm, c.Of)
			for kind, ohms := range bad {
				require.Greater(t, 1000*ohms, c.Milliohm, "%s and a %s", kind, c.Of)
			}
		}
	})
	t.Run("fuses", func(t *testing.T) {
		require.NotEmpty(t, f.Fuses.Amps)
		for _, amps := range f.Fuses.Amps {
			require.Contains(t, circuit.FuseRatings(), amps)
			require.Equal(t, amps, part(t, b, "fuse", fmt.Sprintf(", amps: %g", amps)).Elements[0].Blows)
		}
	})
	t.Run("extra-low voltage", func(t *testing.T) {
		require.Equal(t, f.Touch.Volts, float64(engine.ExtraLowVolts))
	})
	t.Run("LEDs", func(t *testing.T) {
		i := slices.IndexFunc(b.Part("led").Keys, func(k rules.Key) bool { return k.Name == "drop" })
		drop := b.Part("led").Keys[i]
		red, blue := *drop.Default, 3.2 // as the key says
		require.Contains(t, drop.About, "2 red, 3.2 blue")
		require.True(t, red >= f.Leds.Red[0] && red <= f.Leds.Red[1])
		require.True(t, blue >= f.Leds.Blue[0] && blue <= f.Leds.Blue[1])
	})
}

// TestFactsHaveSources looks for a published source of each kind of fact that
// the knowledge leans on.
func TestFactsHaveSources(t *testing.T) {
	b, _ := shipped(t)
	for what, words := range map[string][]string{
		"hall code sequence":            {"hall sensor", "100, 110, 010, 011, 001, 101"},
		"extra-low-voltage limit":       {"extra-low voltage", "60 V DC"},
		"cell voltage limits":           {"by chemistry", "4.20 V", "3.65 V"},
		"lead cells":                    {"lead", "1.75 V a cell"},
		"connector contact resistances": {"contact resistance", "milliohm"},
		"fuse ratings":                  {"blade fuses", "7.5"},
		"blade fuse standard":           {"iso 8820-3"},
		"copper":                        {"wire resistance table"},
		"copper in use":                 {"60364-5-52"},
		"LEDs":                          {"led data sheet", "forward 1.8 to 2.4 v red"},
	} {
		require.True(t, slices.ContainsFunc(b.Sources, func(s rules.Source) bool {
			title := strings.ToLower(s.Title)
			return !strings.Contains(strings.ToLower(s.Reached), "memory") &&
				!slices.ContainsFunc(words, func(w string) bool { return !strings.Contains(title, strings.ToLower(w)) })
		}), "no published source of: %s", what)
	}
}
