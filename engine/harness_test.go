package engine_test

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

// TestFillingACapacitor checks that an ohms reading across the controller's
// capacitor, from its own pins or by thick wires from the pack's plug, says that
// it rises while the meter fills it, and that one along a wire does not.
func TestFillingACapacitor(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "testdata", "harness", "cart-throttle.yaml"))
	require.NoError(t, err)
	m, err := engine.FromHarness(made(t, string(data)), engine.Options{})
	require.NoError(t, err)
	rises := func(s string) bool { return strings.Contains(s, "starts low and rises") }
	require.True(t, rises(m.Short.Say), m.Short.Say)
	want := map[string]bool{
		"ohms ctl.plus to ctl.minus":   true,
		"ohms pack.plus to pack.minus": true, // by the main fuse and two wires
		"ohms ctl.key to pack.minus":   false,
		"ohms pack.plus to main.a":     false,
	}
	seen := 0
	for _, c := range m.Checks {
		if r, ok := want[c.ID]; ok {
			seen++
			require.Equal(t, r, rises(c.Say), "%s: %s", c.ID, c.Say)
			require.Equal(t, r, rises(c.Prepare), "%s: %s", c.ID, c.Prepare)
		}
	}
	require.Equal(t, len(want), seen)
}

// made reads a harness from its text.
func made(t testing.TB, text string) *circuit.Harness {
	t.Helper()
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	h, err := base.Harness("made.yaml", []byte(text))
	require.NoError(t, err)
	return h
}

// play answers every check as a cause predicts, from the first symptom to the
// verdict, and returns the verdict's causes and how many checks it took.
func play(t testing.TB, m *engine.Model, cause string) (causes []string, checks int) {
	t.Helper()
	c := engine.NewCourse(m, engine.Gate{})
	for checks := range 200 {
		step := c.Next()
		if step.Verdict != nil {
			return verdict(c), checks
		}
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: m.Likeliest(step.Check, cause)}))
	}
	t.Fatal("no verdict after 200 checks")
	return nil, 0
}

// TestOtherStateBlewTheFuse: a short that draws only with the horn on has blown
// the fuse that the lamp shares with it, and must be a cause of the dark lamp.
func TestOtherStateBlewTheFuse(t *testing.T) {
	m, err := engine.FromHarness(made(t, `
harness: lamp and horn on one fuse
ground: pack.minus
parts:
  pack: {kind: battery, volts: 36, inner_ohms: 0.1}
  f1: {kind: fuse, amps: 3}
  sw: {kind: switch}
  push: {kind: button}
  tail: {kind: lamp, volts: 36, watts: 10}
  horn: {kind: resistor, ohms: 100}
wires:
  - {name: w1, from: pack.plus, to: f1.a, gauge: 20 AWG, metres: 0.3}
  - {name: w2, from: f1.b, to: sw.a, gauge: 20 AWG, metres: 0.3}
  - {name: w3, from: sw.b, to: tail.plus, gauge: 20 AWG, metres: 0.3}
  - {name: w4, from: tail.minus, to: pack.minus, gauge: 20 AWG, metres: 0.3}
  - {name: h1, from: f1.b, to: push.a, gauge: 20 AWG, metres: 0.3}
  - {name: h2, from: push.b, to: horn.a, gauge: 20 AWG, metres: 0.3}
  - {name: h3, from: horn.b, to: pack.minus, gauge: 20 AWG, metres: 0.3}
states:
  tail on: {sw: closed}
  horn: {push: pressed}
symptoms:
  - {id: tail dark, state: tail on, shows: {tail: dark}}
`), engine.Options{Symptom: "tail dark"})
	require.NoError(t, err)
	prior := map[string]float64{}
	r, _ := engine.NewCourse(m, engine.Gate{}).Ranking()
	for _, x := range r {
		prior[x.Cause.ID] = x.P
	}
	require.Greater(t, prior["wire h2 to ground"], prior["wire h3 open"]*5)
	causes, _ := play(t, m, "wire h2 to ground")
	require.Contains(t, causes, "wire h2 to ground")
}

// rows is a cart with so many lamp circuits of five parts on one pack.
func rows(n int) string {
	var parts, wires, on strings.Builder
	for i := range n {
		fmt.Fprintf(&parts, "  f%d: {kind: fuse, amps: 3}\n  p%d: {kind: connector, ways: 2}\n  s%d: {kind: switch}\n  l%d: {kind: lamp, volts: 48, watts: 10}\n  r%d: {kind: resistor, ohms: 4700}\n", i, i, i, i, i)
		plus, minus := "pack.plus", "pack.minus"
		if i%10 != 0 {
			plus, minus = fmt.Sprintf("f%d.a", i-1), fmt.Sprintf("p%d.2a", i-1)
		}
		for _, w := range [][3]string{
			{"a", plus, "f%d.a"}, {"b", "f%d.b", "s%d.a"}, {"c", "s%d.b", "p%d.1a"}, {"d", "p%d.1b", "l%d.plus"},
			{"e", "l%d.minus", "p%d.2b"}, {"g", "p%d.2a", minus}, {"h", "r%d.a", "s%d.b"}, {"k", "r%d.b", "l%d.minus"},
		} {
			at := func(pin string) string { return strings.ReplaceAll(pin, "%d", strconv.Itoa(i)) }
			fmt.Fprintf(&wires, "  - {name: %s%d, from: %s, to: %s, gauge: 16 AWG, metres: 0.3}\n", w[0], i, at(w[1]), at(w[2]))
		}
		if i%2 == 0 {
			fmt.Fprintf(&on, "s%d: closed, ", i)
		}
	}
	return "harness: rows of lamps\nground: pack.minus\nparts:\n  pack: {kind: battery, volts: 48, inner_ohms: 0.05}\n" + parts.String() +
		"wires:\n" + wires.String() + "states:\n  lamps on: {" + strings.TrimSuffix(on.String(), ", ") + "}\n" +
		"symptoms:\n  - {id: lamp dark, state: lamps on, shows: {l4: dark}}\n"
}

// TestBigHarness finds faults in a harness that has too many checks and faults
// to work out all of them.
func TestBigHarness(t *testing.T) {
	m, err := engine.FromHarness(made(t, rows(60)), engine.Options{Symptom: "lamp dark"})
	require.NoError(t, err)
	require.Less(t, len(m.Checks), 1000)
	for _, cause := range []string{"wire d4 open", "part f4 blown", "way p4.2 open", "wire c4 to ground"} {
		causes, _ := play(t, m, cause)
		require.Contains(t, causes, cause)
	}
}

// BenchmarkModel is the time to the model of a harness, all of its single faults
// in it, and to its first check.
func BenchmarkModel(b *testing.B) {
	for _, circuits := range []int{20, 100, 400} {
		b.Run(fmt.Sprintf("%d parts", 5*circuits+1), func(b *testing.B) {
			h := made(b, rows(circuits))
			causes := 0
			for b.Loop() {
				m, err := engine.FromHarness(h, engine.Options{Symptom: "lamp dark"})
				if err != nil {
					b.Fatal(err)
				}
				causes = len(m.Causes)
				if engine.NewCourse(m, engine.Gate{}).Next().Check == nil {
					b.Fatal("no check")
				}
			}
			var mem runtime.MemStats
			runtime.ReadMemStats(&mem)
			b.ReportMetric(float64(causes), "causes")
			b.ReportMetric(float64(mem.Sys)/(1<<20), "MiB")
		})
	}
}

// TestHarnessesFindTheirCauses plays causes of every example harness as their own
// predictions say: the true cause is in the verdict, unless it does not show the
// symptom or no check tells it from health.
func TestHarnessesFindTheirCauses(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "testdata", "harness", "*.yaml"))
	require.NoError(t, err)
	played, found, checks := 0, 0, 0
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		h := made(t, string(data))
		m, err := engine.FromHarness(h, engine.Options{Symptom: h.Symptoms[0].ID})
		require.NoError(t, err)
		prior, _ := engine.NewCourse(m, engine.Gate{}).Ranking()
		// The likeliest reading of a drawing that is wrong is the one as drawn.
		prior = slices.DeleteFunc(prior, func(r engine.Ranked) bool { return r.Cause.ID == engine.DrawingWrong })
		for i, r := range prior {
			if i%19 != 0 || r.P < 0.002 || r.Cause.ID == engine.Unexplained || r.Cause.ID == engine.DrawingWrong {
				continue
			}
			causes, took := play(t, m, r.Cause.ID)
			checks += took
			played++
			if slices.Contains(causes, r.Cause.ID) {
				found++
			} else {
				t.Logf("%s: %s is not in %v", filepath.Base(file), r.Cause.ID, causes)
			}
		}
	}
	t.Logf("%d causes played, %d in the verdict, %.1f checks each", played, found, float64(checks)/float64(played))
	require.Greater(t, played, 25)
	require.GreaterOrEqual(t, float64(found), 0.95*float64(played))
}

// TestShortCheckWhereAProbeReaches: the check before first power goes to pins that
// a probe can reach, or is asked in words.
func TestShortCheckWhereAProbeReaches(t *testing.T) {
	text := func(noAccess string) string {
		return "no_access: [" + noAccess + "]\n" + strings.TrimPrefix(`
harness: a lamp
ground: g.x
parts:
  pack: {kind: battery, volts: 36, inner_ohms: 0.1}
  f1: {kind: fuse, amps: 3}
  tail: {kind: lamp, volts: 36, watts: 10}
  g: {kind: splice}
wires:
  - {name: w1, from: pack.plus, to: f1.a}
  - {name: w2, from: f1.b, to: tail.plus}
  - {name: w3, from: tail.minus, to: g.x}
  - {name: w4, from: g.y, to: pack.minus}
symptoms:
  - {id: tail dark, shows: {tail: dark}}
`, "\n")
	}
	for noAccess, want := range map[string][2]string{
		"f1.b":                        {"pack.plus", "pack.minus"},
		"pack.plus, pack.minus":       {"f1.a", "g.y"},
		"pack.plus, f1.a, pack.minus": {"the vehicle's plus supply lead", "the vehicle's minus supply lead"},
	} {
		m, err := engine.FromHarness(made(t, text(noAccess)), engine.Options{Symptom: "tail dark"})
		require.NoError(t, err)
		require.Equal(t, want, [2]string{m.Short.Red, m.Short.Black}, noAccess)
	}
}
