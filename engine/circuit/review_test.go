package circuit_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

// parse reads a harness from its text.
func parse(t testing.TB, file, text string) *circuit.Harness {
	t.Helper()
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	h, err := base.Harness(file, []byte(text))
	require.NoError(t, err)
	return h
}

// TestReviewFindsWhatIsWrong reviews a deliberately wrong harness for every
// kind of finding, and wants these findings and no others.
func TestReviewFindsWhatIsWrong(t *testing.T) {
	wrong := filepath.Join("..", "..", "testdata", "wrong")
	want := map[string][]string{ // severity, where, and a part of the text
		"bare-pins":          {"warning|part p1|no wire goes to 2a", "warning|part tail|puts any current through tail"},
		"floating":           {"error|wire h1|no path to the ground"},
		"own-circuit":        {"warning|wire c1|circuit of their own"},
		"thin-wire":          {"error|wire w4|melts before the fuse opens", "warning|wire w2|10 A, and such a wire carries 4.5 A"},
		"no-fuse":            {"error|part pack|no fuse before the first branching"},
		"idle-switch":        {"warning|part sw|switches nothing"},
		"short":              {"error|part pack|shorted in state \"tail on\""},
		"small-fuse":         {"error|part f1|it blows", "warning|part f2|carries 2.3"},
		"over-rated":         {"error|part tail|takes 11.2 W of its rated 5 W", "error|part mark|times its rated current"},
		"assumed-gauge":      {"warning|wire w2|so this one is assumed"},
		"floating-ground":    {"warning|part tail|puts any current through tail", "warning|part sw|switches nothing"},
		"half-a-pole":        {"warning|part sw|no wire goes to b2"},
		"shorted-converter":  {"error|part conv|shorted or overloaded with everything at rest"},
		"overloaded-wire":    {"warning|wire w3|the fuse upstream", "warning|wire w3|carries 4.68 A with everything at rest"},
		"polarity-converter": {"error|part ctl|shorted or overloaded", "error|part conv|its in_plus is below its in_minus", "error|part grip|its supply is below its ground", "warning|part tail|puts any current through tail"},
		"polarity":           {"error|part ctl|wrong way round", "warning|part ctl|no wire goes to five", "warning|part tail|a filament does not mind"},
		"shown-symptom":      {"warning|part tail|puts any current through tail", "warning|symptom tail dark|already shows"},
		"impossible-symptom": {"warning|symptom tail far too bright|no single fault"},
	}
	files, err := filepath.Glob(filepath.Join(wrong, "*.yaml"))
	require.NoError(t, err)
	require.Len(t, files, len(want))
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".yaml")
		t.Run(name, func(t *testing.T) {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			found := parse(t, file, string(data)).Review()
			require.Len(t, found, len(want[name]), "%v", found)
			for i, w := range want[name] {
				part := strings.Split(w, "|")
				require.Equal(t, circuit.Severity(part[0]), found[i].Severity)
				require.Equal(t, part[1], found[i].Where)
				require.Contains(t, found[i].Text, part[2])
				require.NotEmpty(t, found[i].Right)
			}
		})
	}
}

// TestReviewOfExamples: the shipped harnesses have no errors. The lights have
// thin wires behind one 10 A fuse, as such lights do; a motor that growls shows
// more than the file can say.
func TestReviewOfExamples(t *testing.T) {
	warnings := map[string]int{"cart-lights": 2, "cart-motor": 1}
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "harness", "*.yaml"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".yaml")
		h, _ := load(t, name)
		found := h.Review()
		require.Len(t, found, warnings[name], "%s: %v", name, found)
		for _, f := range found {
			require.Equal(t, circuit.Warning, f.Severity)
		}
	}
}

// TestReviewShortTap: a thin lead to its own fuse may leave a heavier wire
// where it is short.
func TestReviewShortTap(t *testing.T) {
	const text = `
harness: tap
ground: pack.minus
parts:
  pack: {kind: battery, volts: 36}
  main: {kind: fuse, amps: 30}
  f1: {kind: fuse, amps: 2}
  motor: {kind: resistor, ohms: 4}
  lamp: {kind: lamp, volts: 36, watts: 5}
wires:
  - {name: w1, from: pack.plus, to: main.a, gauge: 10 AWG}
  - {name: w2, from: main.b, to: motor.a, gauge: 10 AWG}
  - {name: w3, from: motor.b, to: pack.minus, gauge: 10 AWG}
  - {name: w4, from: main.b, to: f1.a, gauge: 22 AWG, metres: %g}
  - {name: w5, from: f1.b, to: lamp.plus, gauge: 22 AWG}
  - {name: w6, from: lamp.minus, to: pack.minus, gauge: 22 AWG}
`
	require.Empty(t, parse(t, "tap.yaml", fmt.Sprintf(text, 0.18)).Review())
	found := parse(t, "tap.yaml", fmt.Sprintf(text, 0.19)).Review()
	require.Len(t, found, 1)
	require.Equal(t, "wire w4", found[0].Where)
}

// TestReviewIsBounded: a review of a big harness ends, and says what it left out.
func TestReviewIsBounded(t *testing.T) {
	var parts, wires strings.Builder
	for i := range 400 {
		fmt.Fprintf(&parts, "  s%d: {kind: switch}\n  l%d: {kind: lamp, volts: 48, watts: 2}\n", i, i)
		fmt.Fprintf(&wires, "  - {name: a%d, from: f.b, to: s%d.a, gauge: 2 AWG}\n  - {name: b%d, from: s%d.b, to: l%d.plus, gauge: 2 AWG}\n  - {name: c%d, from: l%d.minus, to: pack.minus, gauge: 2 AWG}\n", i, i, i, i, i, i, i)
	}
	h := parse(t, "big.yaml", "harness: big\nground: pack.minus\nparts:\n  pack: {kind: battery, volts: 48}\n  f: {kind: fuse, amps: 40}\n"+parts.String()+
		"wires:\n  - {name: w, from: pack.plus, to: f.a, gauge: 2 AWG}\n"+wires.String()+
		"states:\n  first: {s0: closed}\n  second: {s1: closed}\nsymptoms:\n  - {id: dark, state: first, shows: {l0: dark}}\n")
	n := float64(h.Unknowns())
	start := time.Now()
	found := h.ReviewWithin(2*n*n, 10*n*n)
	require.Less(t, time.Since(start), time.Minute)
	require.Len(t, found, 1, "%v", found)
	require.Empty(t, found[0].Where)
	for _, s := range []string{"1 of 3 states", "what 390 switches do", "a single fault"} {
		require.Contains(t, found[0].Text, s)
	}
	require.Less(t, len(h.ReviewWithin(0, 0)), 5)
}
