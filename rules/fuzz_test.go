package rules_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"probable/engine"
	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

// seed adds the files that match a glob of the disk, and those of the shipped base.
func seed(f *testing.F, disk, base string) {
	f.Helper()
	files, err := filepath.Glob(disk)
	if err != nil || len(files) == 0 {
		f.Fatalf("%s: no seeds (%v)", disk, err)
	}
	for _, file := range files {
		data, err := os.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
	if base == "" {
		return
	}
	files, err = fs.Glob(kb.Files, base)
	if err != nil || len(files) == 0 {
		f.Fatalf("%s: no seeds (%v)", base, err)
	}
	for _, file := range files {
		data, err := kb.Files.ReadFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(data)
	}
}

// problems fails unless err is nil or Problems that each say where and what.
func problems(t *testing.T, data []byte, err error) {
	t.Helper()
	if err == nil {
		return
	}
	var ps rules.Problems
	if !errors.As(err, &ps) || len(ps) == 0 {
		t.Fatalf("the error is %T %v, not Problems", err, err)
	}
	// A byte order mark and the line ends of old systems count as YAML's do, so
	// the last line is only bounded from above.
	last := 1 + bytes.Count(data, []byte("\n")) + bytes.Count(data, []byte("\r")) +
		strings.Count(string(data), "\u0085") + strings.Count(string(data), "\u2028") + strings.Count(string(data), "\u2029")
	if bytes.HasPrefix(data, []byte("\xfe\xff")) || bytes.HasPrefix(data, []byte("\xff\xfe")) {
		last = len(data) // UTF-16, which YAML allows too: its line ends are other bytes
	}
	for _, p := range ps {
		switch {
		case p.Line < 1 || p.Column < 1 || strings.TrimSpace(p.Text) == "" || p.File != "x.yaml":
			t.Errorf("a problem without a place or a text: %#v", p)
		case p.Line > last+1:
			t.Errorf("a problem behind the end of the file (%d lines): %#v", last, p)
		case strings.ContainsAny(p.Text, "\n\r"):
			t.Errorf("a problem of several lines: %#v", p)
		}
	}
}

// FuzzHarness also solves what loads.
func FuzzHarness(f *testing.F) {
	seed(f, "../testdata/harness/*.yaml", "")
	seed(f, bad+"/harness-*.yaml", "")
	b, _ := shipped(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		h, err := b.Harness("x.yaml", data)
		problems(t, data, err)
		if err != nil {
			return
		}
		if h == nil || h.Ground == "" {
			t.Fatal("neither a harness nor a problem")
		}
		if h.Unknowns() <= mostUnknowns {
			answers(t, string(data), h, uint64(len(data)))
		}
	})
}

// FuzzLayer lays a guide file over a small base, where it may add to a guide or
// stand for one.
func FuzzLayer(f *testing.F) {
	for _, text := range []string{tiny, borrower,
		"extends: borrower\nversion: 2\ncauses:\n  - {use: borrower / wet, odds: 6, when: fitted}\nchecks:\n  - {use: borrower / volts, table: {wet: [0.5, 0.5]}}\n",
		"extends: lender\nversion: 2\nfacts:\n  cold: {kind: yes_no, ask: x, default: no}\ncauses:\n  - {id: wet, say: x, odds: 1, source: s1, repair: x, prove: [look], kills: x, hurts: x, when: cold}\n"} {
		f.Add([]byte(text))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		_, err := rules.ReadBase(under(), over(".", map[string]string{"guides/x.yaml": string(data)}))
		var ps rules.Problems
		if err != nil && !errors.As(err, &ps) {
			t.Fatalf("the error is %T %v, not Problems", err, err)
		}
		for _, p := range ps {
			if p.Line < 1 || p.Column < 1 || strings.TrimSpace(p.Text) == "" || p.File != "guides/x.yaml" && !strings.HasPrefix(p.File, "kb/guides/") {
				t.Errorf("a problem without a place or a text: %#v", p)
			}
		}
	})
}

func FuzzFirst(f *testing.F) {
	f.Add([]byte(firstOK))
	seed(f, "../kb/first.yaml", "")
	b, err := rules.ReadBase(under())
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		q, err := b.ReadFirst("x.yaml", data, b.GuideIDs())
		problems(t, data, err)
		if err == nil && (q == nil || len(q.Answers) == 0) {
			t.Fatal("neither questions nor a problem")
		}
	})
}

func FuzzLearned(f *testing.F) {
	f.Add([]byte("learned: odds\nversion: 1\ncases: [a, b]\nodds:\n  tiny / a: 9.5\n  part thing open: 3\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		_, err := rules.ReadLearned("x.yaml", data)
		problems(t, data, err)
	})
}

// FuzzPart also puts each part that loads into a harness, so that its
// expressions are evaluated.
func FuzzPart(f *testing.F) {
	seed(f, bad+"/part-*.yaml", "parts/*.yaml")
	_, ids := shipped(f)
	sources, err := kb.Files.ReadFile("sources.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := rules.ReadPart("x.yaml", data, ids)
		problems(t, data, err)
		if err != nil {
			return
		}
		if p == nil {
			t.Fatal("neither a part nor a problem")
		}
		b, err := rules.ReadBase(fstest.MapFS{"sources.yaml": {Data: sources}, "parts/x.yaml": {Data: data}})
		if err != nil {
			t.Fatalf("it loads alone and not in a base: %v", err)
		}
		var keys strings.Builder
		for _, k := range p.Keys {
			if k.Default == nil {
				fmt.Fprintf(&keys, ", %q: %g", k.Name, k.High)
			}
		}
		text := fmt.Sprintf("harness: x\nground: x.a\nparts:\n  x: {kind: %q%s}\n", p.Kind, keys.String())
		_, err = b.Harness("x.yaml", []byte(text))
		problems(t, []byte(text), err)
	})
}

func FuzzGuide(f *testing.F) {
	seed(f, bad+"/guide-*.yaml", "guides/*.yaml")
	b, ids := shipped(f)
	f.Fuzz(func(t *testing.T, data []byte) {
		g, err := b.ReadGuide("x.yaml", data, ids)
		problems(t, data, err)
		if err != nil {
			return
		}
		if g == nil || g.ID == "" {
			t.Fatal("neither a guide nor a problem")
		}
		facts := map[string]any{}
		for _, fact := range g.Facts {
			facts[fact.Name] = fact.Default
		}
		for _, k := range g.Checks {
			if k.When != nil {
				_, _ = k.When(engine.Known{
					Facts:   facts,
					Answer:  func(string) string { return "" },
					Reading: func(string) float64 { return 0 },
					Taken:   func(string) bool { return false },
					Setting: func(string) string { return "" },
				}) // no panic
			}
			if k.Band != nil {
				_, _ = k.Band(4.5, false, facts) // no panic
			}
		}
	})
}

func FuzzSources(f *testing.F) {
	seed(f, bad+"/part-*.yaml", "sources.yaml")
	f.Add([]byte("version: 1\nsources:\n  - {id: s1, title: x, where: y, reached: z}\n  - {id: s1, title: x, where: y}\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		_, err := rules.ReadSources("x.yaml", data)
		problems(t, data, err)
	})
}

// Bounds of what is solved for one harness, so that a hang shows.
const (
	mostPuts     = 8
	mostUnknowns = 300
)

// answers puts faults into a harness and asks for everything that a meter and a
// person see: whatever is answered is a number, or a word that the part can
// show. A circuit without a consistent state is refused with an error. The
// choice picks the settings of the state that is tried, and the first fault.
func answers(t *testing.T, text string, h *circuit.Harness, choice uint64) {
	t.Helper()
	on := circuit.State{Name: "on", Settings: map[string]string{}}
	for _, p := range h.Parts {
		if names := slices.Sorted(maps.Keys(p.Settings)); len(names) > 0 {
			on.Settings[p.Name] = names[choice%uint64(len(names))]
		}
	}
	bench, err := circuit.NewBench(h, on)
	if err != nil {
		return
	}
	pins, meter, puts := h.Pins(), circuit.ReferenceMeter, 0
	sound := func(x float64, what ...any) {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			t.Fatalf("%v: %g\n%s", what, x, text)
		}
	}
	faults := append([]circuit.Fault{{ID: "healthy"}}, h.Faults()...)
	for i := range faults {
		fault := faults[(uint64(i)+choice)%uint64(len(faults))]
		for _, off := range []bool{false, true} {
			if puts++; puts > mostPuts {
				return
			}
			put := &fault
			if fault.Points() == 0 {
				put = nil
			}
			sit, err := bench.Put(put, 0, on, off)
			if err != nil {
				continue
			}
			for i, red := range pins {
				black := pins[(i+1)%len(pins)]
				sound(sit.Node(red), fault.ID, off, red)
				if off {
					sound(sit.Ohms(&meter, red, black).Value, fault.ID, "ohms", red, black)
					sound(sit.Diode(&meter, red, black).Value, fault.ID, "diode", red, black)
				} else {
					r := sit.Volts(&meter, red, black)
					sound(r.Value, fault.ID, "volts", red, black)
					sound(r.Sigma, fault.ID, "spread of volts", red, black)
				}
			}
			for _, name := range h.Indicators() {
				if _, in := h.Indicator(name); !slices.Contains(in.Words(), sit.Shows(name)) {
					t.Fatalf("%s: %s shows %q\n%s", fault.ID, name, sit.Shows(name), text)
				}
			}
		}
	}
}

// vehicle writes a harness of a battery and other shipped kinds with a wire at
// every pin. Each key stands at its default, an end of its range or somewhere
// between.
func vehicle(b *rules.Base, r *rand.Rand) string {
	var text strings.Builder
	var pins []string
	text.WriteString("parts:\n")
	kinds := b.Kinds()
	for i := range 2 + r.IntN(3) {
		kind := b.Part("battery")
		if i > 0 {
			kind = b.Part(kinds[r.IntN(len(kinds))])
		}
		name := fmt.Sprintf("p%d", i)
		fmt.Fprintf(&text, "  %s: {kind: %s", name, kind.Kind)
		ways := 0
		for _, k := range kind.Keys {
			high := k.High
			if k.Name == "ways" {
				high = 5
			}
			x := k.Low + (high-k.Low)*[]float64{0, 1e-6, 0.1, 0.5, 1}[r.IntN(5)]
			switch {
			case k.YesNo:
				fmt.Fprintf(&text, ", %s: %s", k.Name, []string{"yes", "no"}[r.IntN(2)])
				continue
			case k.Default != nil && r.IntN(2) == 0:
				continue
			case k.Whole:
				x = math.Ceil(x)
			case k.OverLow && x == k.Low:
				x += 1e-6
			}
			if k.Name == "ways" {
				ways = int(x)
			}
			fmt.Fprintf(&text, ", %s: %s", k.Name, strconv.FormatFloat(x, 'f', -1, 64))
		}
		text.WriteString("}\n")
		for _, pin := range kind.Pins {
			if !slices.Contains(kind.Inner, pin) {
				pins = append(pins, name+"."+pin)
			}
		}
		for w := 1; w <= ways; w++ {
			pins = append(pins, fmt.Sprintf("%s.%da", name, w), fmt.Sprintf("%s.%db", name, w))
		}
		if len(kind.Pins) == 0 && ways == 0 { // a splice has the pins that wires use
			pins = append(pins, name+".x", name+".y", name+".z")
		}
	}
	text.WriteString("wires:\n")
	for i, from := range pins {
		to := pins[(i+1+r.IntN(len(pins)-1))%len(pins)]
		gauge := []string{"40 AWG", "20 AWG", "4/0 AWG", "0.01 mm2", "1000 mm2"}[r.IntN(5)]
		fmt.Fprintf(&text, "  - {name: w%d, from: %s, to: %s, gauge: %s, metres: %g}\n", i, from, to, gauge, []float64{0.001, 0.5, 1000}[r.IntN(3)])
	}
	return fmt.Sprintf("harness: made up\nground: %s\n", pins[r.IntN(len(pins))]) + text.String()
}

// FuzzVehicle solves vehicles that are wired at random out of the shipped kinds:
// whatever loads is solved or refused with an error, and no answer of a meter
// is less than a number.
func FuzzVehicle(f *testing.F) {
	b, _ := shipped(f)
	read := func(seed uint64) (string, *circuit.Harness, error) {
		text := vehicle(b, rand.New(rand.NewPCG(seed, 1)))
		h, err := b.Harness("x.yaml", []byte(text))
		return text, h, err
	}
	const seeds = 40
	loaded := 0
	for seed := range uint64(seeds) {
		f.Add(seed)
		if _, _, err := read(seed); err == nil {
			loaded++
		}
	}
	if loaded < seeds/2 {
		f.Fatalf("only %d of %d made-up harnesses load", loaded, seeds)
	}
	f.Fuzz(func(t *testing.T, seed uint64) {
		text, h, err := read(seed)
		problems(t, []byte(text), err)
		if err != nil {
			return
		}
		answers(t, text, h, seed)
	})
}
