package ngspice

import (
	"context"
	"errors"
	"math"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"testing"
)

// need skips a test where ngspice is not installed.
func need(t testing.TB) {
	t.Helper()
	if _, err := exec.LookPath("ngspice"); err != nil {
		t.Skip("SKIPPED: ngspice is not installed, so nothing is compared with the outside oracle")
	}
}

func load(t testing.TB, name string) *Vehicle {
	t.Helper()
	v, err := Load(filepath.Join("..", "harness", name))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func mustParse(t testing.TB, text string) *Vehicle {
	t.Helper()
	v, err := parse([]byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func mustBreak(t testing.TB, v *Vehicle, fault string, ohms float64, states ...string) *Vehicle {
	t.Helper()
	b, err := v.Break(context.Background(), fault, ohms, states...)
	if err != nil {
		t.Fatalf("Break(%q): %v", fault, err)
	}
	return b
}

func measure(t testing.TB, v *Vehicle, p Probe) Reading {
	t.Helper()
	r, err := v.Measure(context.Background(), []Probe{p})
	if err != nil {
		t.Fatalf("%+v: %v", p, err)
	}
	return r[0]
}

func near(got, want float64) bool {
	return math.Abs(got-want) <= 1e-5*math.Abs(want)+1e-9
}

// The wires of the harnesses below are too short and thick to matter
// (100 mm2, 1 mm: 0.18 microohm).
const divider = `
ground: pack.minus
parts:
  pack: {kind: battery, volts: 12, inner_ohms: 0}
  r1: {kind: resistor, ohms: 1e6}
  r2: {kind: resistor, ohms: 1e6}
  f1: {kind: fuse, amps: 2}
  lamp: {kind: lamp, volts: 12, watts: 12, cold_ohms: 1.5}
wires:
  - {name: w1, from: pack.plus, to: r1.a, gauge: 100 mm2, metres: 0.001}
  - {name: w2, from: r1.b, to: r2.a, gauge: 100 mm2, metres: 0.001}
  - {name: w3, from: r2.b, to: pack.minus, gauge: 100 mm2, metres: 0.001}
  - {name: w4, from: pack.plus, to: f1.a, gauge: 100 mm2, metres: 0.001}
  - {name: w5, from: f1.b, to: lamp.plus, gauge: 100 mm2, metres: 0.001}
  - {name: w6, from: lamp.minus, to: pack.minus, gauge: 100 mm2, metres: 0.001}
`

func TestMeasureByHand(t *testing.T) {
	need(t)
	v := mustParse(t, divider)
	tests := []struct {
		fault            string
		ohms             float64
		mode, red, black string
		want             float64
	}{
		// 10M beside 1M is 10/11 M; 12 V over 1M and that.
		{"", 0, "volts_dc", "r2.a", "pack.minus", 12 * (10. / 11) / (1 + 10./11)},
		{"", 0, "volts_dc", "pack.minus", "r2.a", -12 * (10. / 11) / (1 + 10./11)},
		{"part pack low", 0, "volts_dc", "pack.plus", "pack.minus", 7.2},
		{"part pack no output", 0, "volts_dc", "pack.plus", "pack.minus", 0},
		// The same below 1e9 and 1M in series.
		{"wire w2 open", 0, "volts_dc", "r2.a", "pack.minus", 12 * (10e6 / 11) / (1.001e9 + 10e6/11)},
		// 1e9 beside 10M takes all of it; the lamp's 12 ohm in front are nothing.
		{"wire w6 open", 0, "volts_dc", "lamp.minus", "pack.minus", 12 / (1 + 12.01/(1e10/1010))},
		// 1e9 beside 10M above the lamp's 12 ohm.
		{"wire w5 open", 0, "volts_dc", "f1.b", "lamp.plus", 12 / (1 + 12.01/(1e10/1010))},
		// 12 V through the lamp's 12 ohm and the shunt.
		{"", 0, "amps_dc", "f1.a", "f1.b", 12 / 12.03},
		{"", 0, "amps_dc", "f1.b", "f1.a", -12 / 12.03},
		{"wire w6 resistive", 12, "amps_dc", "f1.a", "f1.b", 12 / 24.03},
		{"part f1 blown", 0, "amps_dc", "f1.a", "f1.b", 12 / 12.03},
		// Fuse and leads.
		{"", 0, "ohms", "f1.a", "f1.b", 0.01 + 0.2},
		{"part f1 resistive", 7, "ohms", "f1.a", "f1.b", 7.01 + 0.2},
		// The cold lamp; the rest of its loop is open, as the pack is out.
		{"", 0, "ohms", "lamp.plus", "lamp.minus", 1/(1/1.5+1/2e6) + 0.2},
		// 1M beside 1M and the cold lamp with its fuse.
		{"", 0, "ohms", "r1.a", "r1.b", 1/(1/1e6+1/1000001.51) + 0.2},
		{"part r1 open", 0, "ohms", "r1.a", "r1.b", 1/(1/1e9+1/1000001.51) + 0.2},
		{"part r1 shorted", 0, "continuity", "r1.a", "r1.b", 0.01 + 0.2},
		{"part lamp shorted", 0, "ohms", "lamp.plus", "lamp.minus", 0.01 + 0.2},
	}
	for _, tt := range tests {
		t.Run(tt.fault+" "+tt.mode+" "+tt.red+" "+tt.black, func(t *testing.T) {
			power := Live
			if tt.mode == "ohms" || tt.mode == "continuity" {
				power = Off
			}
			got := measure(t, mustBreak(t, v, tt.fault, tt.ohms), Probe{Setup{nil, power}, tt.mode, tt.red, tt.black})
			if !near(got.Value, tt.want) {
				t.Errorf("got %.9g, want %.9g", got.Value, tt.want)
			}
			if want := tt.mode == "continuity"; got.Beep != want {
				t.Errorf("beep %v, want %v", got.Beep, want)
			}
		})
	}
}

func TestOver(t *testing.T) {
	need(t)
	v := load(t, "cart-tail.yaml")
	b := mustBreak(t, v, "wire w2 open", 0, "tail on")
	r := measure(t, b, Probe{Setup{nil, Off}, "ohms", "f1.b", "p1.1a"})
	// 1e9 beside the leaks of two islands of some ten nodes: up to 1 % less.
	if !r.Over || math.Abs(r.Value-1e9) > 1e7 {
		t.Errorf("ohms across an open wire: %+v", r)
	}
	// 36 V over 0.1 ohm of the pack, 0.03 of the meter, 0.01 of the short, 0.014
	// of w1 and 0.021 of half of w2: some 200 A.
	b = mustBreak(t, v, "wire w2 to ground", 0)
	r = measure(t, b, Probe{Setup{nil, Live}, "amps_dc", "f1.a", "f1.b"})
	if !r.Over || math.Abs(r.Value-206) > 5 {
		t.Errorf("amps into a short: %+v", r)
	}
}

const bench = `
ground: pack.minus
parts:
  pack: {kind: battery, volts: 36, inner_ohms: 0}
  aux:  {kind: battery, volts: 12, inner_ohms: 0}
  key:  {kind: switch}
  feed: {kind: switch}
  r:    {kind: resistor, ohms: 100}
  ctl:  {kind: controller}
  grip: {kind: throttle}
wires:
  - {name: pos, from: pack.plus, to: ctl.plus, gauge: 100 mm2, metres: 0.001}
  - {name: neg, from: ctl.minus, to: pack.minus, gauge: 100 mm2, metres: 0.001}
  - {name: key1, from: pack.plus, to: key.a, gauge: 100 mm2, metres: 0.001}
  - {name: key2, from: key.b, to: ctl.key, gauge: 100 mm2, metres: 0.001}
  - {name: five, from: ctl.five, to: grip.supply, gauge: 100 mm2, metres: 0.001}
  - {name: gnd, from: ctl.ground, to: grip.ground, gauge: 100 mm2, metres: 0.001}
  - {name: sig, from: ctl.signal, to: grip.signal, gauge: 100 mm2, metres: 0.001}
  - {name: x1, from: aux.plus, to: feed.a, gauge: 100 mm2, metres: 0.001}
  - {name: x2, from: feed.b, to: r.a, gauge: 100 mm2, metres: 0.001}
  - {name: x3, from: r.b, to: ctl.five, gauge: 100 mm2, metres: 0.001}
  - {name: x4, from: aux.minus, to: pack.minus, gauge: 100 mm2, metres: 0.001}
`

func TestControllerByHand(t *testing.T) {
	need(t)
	v := mustParse(t, bench)
	// The chip draws 6 mA at 5 V: 833.33 ohm, beside the 10k bleed.
	load := 1 / (6./5000 + 1./10000)
	five := 5 * load / (load + 0.5)
	signal := func(gain float64) float64 { return gain * five * 47000 / 47100 }
	on := func(grip string) map[string]string { return map[string]string{"key": "closed", "grip": grip} }
	tests := []struct {
		name, fault  string
		ohms         float64
		state        map[string]string
		five, signal float64 // against ctl.ground
		shows        string
	}{
		{"rest", "", 0, on("rest"), five, signal(0.17), "too_low"},
		{"half", "", 0, on("half"), five, signal(0.505), "in_range"},
		{"full", "", 0, on("full"), five, signal(0.84), "in_range"},
		{"key off", "", 0, nil, 0, 0, "too_low"},
		{"deaf", "part ctl deaf", 0, on("full"), five, signal(0.84), "too_low"},
		{"no 5 V", "part ctl no 5 V", 0, on("full"), 0, 0, "too_low"},
		{"no output", "part grip no output", 0, on("full"), five, 0, "too_low"},
		{"stuck at full", "part grip stuck at full", 0, on("rest"), five, signal(0.84), "in_range"},
		{"stuck at rest", "part grip stuck at rest", 0, on("full"), five, signal(0.17), "too_low"},
		// The supply is at its limit of 0.1 A into 0.01 ohm.
		{"shorted", "part grip supply shorted", 0, on("full"), 0.001, 0.00084 * 47000 / 47100, "too_low"},
		{"input shorted", "part ctl signal input shorted", 0, on("full"), five, 0.84 * five * 0.01 / 100.01, "too_low"},
		{"input open", "part ctl signal input open", 0, on("full"), five, 0.84 * five, "too_low"},
		// 36 V behind 3600 ohm more leaves 18 V at the key pin, not above 18.
		{"weak key", "wire key1 resistive", 3700, on("full"), 0, 0, "too_low"},
		{"awake still", "wire key1 resistive", 3500, on("full"), five, signal(0.84), "in_range"},
		// 12 V through 100 ohm holds the rail above 5 V, and the rail takes nothing.
		{"held up", "", 0, map[string]string{"key": "closed", "feed": "closed"},
			12 * load / (load + 100 + 0.015), 12 * load / (load + 100 + 0.015) * 0.17 * 47000 / 47100, "in_range"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			ctx := context.Background()
			b := mustBreak(t, v, tt.fault, tt.ohms)
			s := Setup{tt.state, Live}
			n, err := b.Nodes(ctx, s)
			if err != nil {
				t.Fatal(err)
			}
			// A microvolt for the wires; with the key off 1e9 leaks a little.
			for pin, want := range map[string]float64{"ctl.five": tt.five, "ctl.signal": tt.signal} {
				if got := n[pin] - n["ctl.ground"]; math.Abs(got-want) > 1e-5*want+2e-5 {
					t.Errorf("%s: got %.9g, want %.9g", pin, got, want)
				}
			}
			shows, err := b.Shows(ctx, s)
			if err != nil {
				t.Fatal(err)
			}
			if shows["ctl"] != tt.shows {
				t.Errorf("shows %q, want %q", shows["ctl"], tt.shows)
			}
		})
	}
}

func TestBlownFuses(t *testing.T) {
	need(t)
	ctx := context.Background()
	v := load(t, "cart-tail.yaml")
	tests := []struct {
		fault  string
		states []string
		blown  []string
		tail   string // with the switch closed
	}{
		{"", []string{"tail on"}, nil, "lit"},
		// Before the fuse: some 16 mohm of 116 take 5 V of the 36, a fiftieth of the power.
		{"wire w1 to ground", nil, nil, "dark"},
		{"wire w2 to ground", nil, []string{"f1"}, "dark"},
		{"wire w4 to ground", []string{"tail on"}, []string{"f1"}, "dark"},
		{"wire w4 to ground", nil, nil, "dark"}, // only while the switch is closed
		{"part tail shorted", []string{"tail on"}, []string{"f1"}, "dark"},
		{"ways p1.1 p1.2 swapped", []string{"tail on"}, nil, "dark"},
		{"part f1 blown", []string{"tail on"}, nil, "dark"},
	}
	for _, tt := range tests {
		t.Run(tt.fault, func(t *testing.T) {
			b := mustBreak(t, v, tt.fault, 0, tt.states...)
			if got := b.Blown(); !slices.Equal(got, tt.blown) {
				t.Errorf("blown %v, want %v", got, tt.blown)
			}
			shows, err := b.Shows(ctx, Setup{v.States()["tail on"], Live})
			if err != nil {
				t.Fatal(err)
			}
			if shows["tail"] != tt.tail {
				t.Errorf("tail %s, want %s", shows["tail"], tt.tail)
			}
		})
	}
	b := mustBreak(t, v, "wire w2 to ground", 0)
	b, err := b.Repair("wire w2 to ground")
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(b.Blown(), []string{"f1"}) {
		t.Error("the fuse mended itself")
	}
	if b, err = b.Repair("part f1 blown"); err != nil {
		t.Fatal(err)
	}
	if shows, err := b.Shows(ctx, Setup{v.States()["tail on"], Live}); err != nil || shows["tail"] != "lit" {
		t.Errorf("after both repairs: %v, %v", shows, err)
	}
	if _, err := b.Repair("wire w2 open"); err == nil {
		t.Error("took out a fault that was not there")
	}
}

// TestKirchhoff checks, for every fault of the example harnesses, that the
// currents into each node of the solution add up to nothing and that each
// element obeys its own law. It proves that ngspice read the deck as meant. The
// 1e-14 A of rounding let through are 10 microvolts on a node behind 1e9 ohm; where
// a fault draws hundreds of amperes, their own rounding is more.
func TestKirchhoff(t *testing.T) {
	need(t)
	for _, name := range []string{"cart-tail.yaml", "cart-throttle.yaml", "cart-bars.yaml", "cart-lights.yaml"} {
		v := load(t, name)
		setups := []Setup{{nil, Live}}
		for _, s := range v.States() {
			setups = append(setups, Setup{s, Live})
		}
		for i, f := range v.Faults() {
			if len(v.Faults()) > 200 && i%10 != 0 {
				continue // a tenth of the large harness is enough
			}
			b := mustBreak(t, v, f, 10)
			var jobs []*job
			for _, s := range setups {
				jobs = append(jobs, &job{setup: s, fine: true})
			}
			if err := b.solve(context.Background(), jobs); err != nil {
				t.Fatalf("%s: %s: %v", name, f, err)
			}
			for _, j := range jobs {
				kirchhoff(t, name+": "+f, j.done)
			}
		}
	}
}

func kirchhoff(t *testing.T, what string, c *circuit) {
	t.Helper()
	sum := make([]float64, len(c.volts))
	most := make([]float64, len(c.volts))
	loose := 0.0
	for i, e := range c.elements {
		u := c.volts[e.a] - c.volts[e.b]
		amps := c.amps[i]
		law := 0.0
		switch e.letter {
		case 'R':
			amps = u / e.value
		case 'H':
			law = u - e.value*amps
		case 'V':
			law = u - e.value
		case 'E':
			law = u - e.value*(c.volts[e.c]-c.volts[e.d])
		case 'I':
			amps = e.value
		case 'D':
			is, slope := e.saturation()
			amps = is * (math.Exp(u/slope) - 1)
			// ngspice takes the junction as settled at 1e-6 of its volts, and puts gmin beside it.
			loose = max(loose, 1e-4*math.Abs(amps)+1e-15*math.Abs(u))
		}
		if math.Abs(law) > 1e-9 {
			t.Errorf("%s: %c%d is off by %g V", what, e.letter, i, law)
		}
		sum[e.a] += amps
		sum[e.b] -= amps
		most[e.a] = max(most[e.a], math.Abs(amps))
		most[e.b] = max(most[e.b], math.Abs(amps))
	}
	rounding := 1e-14 + 1e-15*slices.Max(most) + loose
	for n := 1; n < len(sum); n++ {
		if math.Abs(sum[n]) > 1e-9*most[n]+rounding {
			t.Errorf("%s: %g A of %g A are missing at node %d", what, sum[n], most[n], n)
		}
	}
}

func TestFaults(t *testing.T) {
	want := []string{
		"connector p1 mirrored",
		"part f1 blown", "part f1 holder open", "part f1 resistive",
		"part pack low", "part pack no output",
		"part sw resistive", "part sw stuck closed", "part sw stuck open",
		"part tail open", "part tail shorted",
		"way p1.1 open", "way p1.1 resistive", "way p1.2 open", "way p1.2 resistive",
		"ways p1.1 p1.2 bridged", "ways p1.1 p1.2 swapped",
	}
	for _, w := range []string{"w1", "w2", "w3", "w4", "w5"} {
		want = append(want, "wire "+w+" open", "wire "+w+" resistive", "wire "+w+" to ground")
		if w != "w1" { // it is on the supply
			want = append(want, "wire "+w+" to supply")
		}
		want = append(want, "wire "+w+" too thin")
	}
	if got := load(t, "cart-tail.yaml").Faults(); !slices.Equal(got, want) {
		t.Errorf("got %q\nwant %q", got, want)
	}
	// 68 wires * 5, one of them on the supply; pack 2, fuse 3, 3 switches * 3, 14 clusters * 4; splices of
	// 15 joints * 2, four of them; 4 ways * 2, 6 swapped, 3 bridged, mirrored.
	if got, want := len(load(t, "cart-lights.yaml").Faults()), 68*5-1+2+3+9+56+120+8+6+3+1; got != want {
		t.Errorf("lights: %d faults, want %d", got, want)
	}
}

// TestWays reads with an ohmmeter which way meets which.
func TestWays(t *testing.T) {
	need(t)
	v := mustParse(t, `
ground: p.1a
parts:
  p: {kind: connector, ways: 6, rows: 2}
`)
	tests := []struct {
		fault string
		ohms  float64
		meets [6]string // pins of side b that way 1 to 6 of side a beeps with
	}{
		{"", 0, [6]string{"1", "2", "3", "4", "5", "6"}},
		{"connector p mirrored", 0, [6]string{"3", "2", "1", "6", "5", "4"}},
		{"ways p.2 p.5 swapped", 0, [6]string{"1", "5", "3", "4", "2", "6"}},
		{"ways p.1 p.2 bridged", 0, [6]string{"12", "12", "3", "4", "5", "6"}},
		{"ways p.2 p.5 bridged", 0, [6]string{"1", "25", "3", "4", "25", "6"}},
		{"way p.4 open", 0, [6]string{"1", "2", "3", "", "5", "6"}},
		{"way p.4 resistive", 50, [6]string{"1", "2", "3", "", "5", "6"}},
	}
	for _, tt := range tests {
		b := mustBreak(t, v, tt.fault, tt.ohms)
		var probes []Probe
		for i := range 6 {
			for k := range 6 {
				probes = append(probes, Probe{Setup{nil, Off}, "continuity",
					"p." + strconv.Itoa(i+1) + "a", "p." + strconv.Itoa(k+1) + "b"})
			}
		}
		got, err := b.Measure(context.Background(), probes)
		if err != nil {
			t.Fatal(err)
		}
		var meets [6]string
		for i := range got {
			if got[i].Beep {
				meets[i/6] += strconv.Itoa(i%6 + 1)
			}
		}
		if meets != tt.meets {
			t.Errorf("%q: meets %v, want %v", tt.fault, meets, tt.meets)
		}
	}
	for _, id := range []string{"ways p.3 p.4 bridged", "ways p.2 p.1 swapped", "way p.7 open", "wire x open"} {
		if _, err := v.Break(context.Background(), id, 0); err == nil {
			t.Errorf("took the fault %q", id)
		}
	}
}

func TestLightsShow(t *testing.T) {
	need(t)
	v := load(t, "cart-lights.yaml")
	tests := []struct{ fault, state, symptom string }{
		{"wire l5_tail open", "tail on", "one tail dark"},
		{"way j_tail.5 open", "tail on", "one tail dark"},
		{"part l5 tail open", "tail on", "one tail dark"},
		{"part s_tail stuck open", "tail on", "every tail dark"},
		{"ways bus.2 bus.3 swapped", "stop on", "stop lights the tails"},
		{"part pack no output", "stop on", "everything dark"},
	}
	for _, tt := range tests {
		b := mustBreak(t, v, tt.fault, 0, tt.state)
		i := slices.IndexFunc(v.Symptoms(), func(s Symptom) bool { return s.ID == tt.symptom })
		s := v.Symptoms()[i]
		if !reflect.DeepEqual(s.State, v.States()[tt.state]) {
			t.Errorf("symptom %s is not of the state %s", tt.symptom, tt.state)
		}
		for _, x := range []struct {
			v    *Vehicle
			want bool
		}{{b, true}, {v, false}} {
			shows, err := x.v.Shows(context.Background(), Setup{s.State, Live})
			if err != nil {
				t.Fatal(err)
			}
			if s.Matches(shows) != x.want {
				t.Errorf("%s: matches %q is not %v: %v", tt.fault, tt.symptom, x.want, shows)
			}
		}
	}
}

// TestCopper compares with common wire tables at 20 C (ASTM B258, from memory).
func TestCopper(t *testing.T) {
	tests := []struct {
		gauge string
		mohm  float64 // per metre
	}{
		{"10 AWG", 3.277}, {"16 AWG", 13.17}, {"20 AWG", 33.31}, {"24 AWG", 84.22},
		{"0 AWG", 0.3224}, {"00 AWG", 0.2557}, {"2/0 AWG", 0.2557}, {"000 AWG", 0.2028}, {"4/0 awg", 0.1608},
		{"1 mm2", 17.241}, {"0.5 mm2", 34.482},
	}
	for _, tt := range tests {
		got, err := copper(tt.gauge, 1, 20)
		if err != nil || math.Abs(got*1e3-tt.mohm) > 1e-3*tt.mohm {
			t.Errorf("%s: got %g mohm (%v), want %g", tt.gauge, got*1e3, err, tt.mohm)
		}
	}
	for _, bad := range []string{"", "20", "AWG", "x AWG", "0 mm2", "1 m"} {
		if _, err := copper(bad, 1, 20); err == nil {
			t.Errorf("took the gauge %q", bad)
		}
	}
}

func TestRefuses(t *testing.T) {
	v := load(t, "cart-tail.yaml")
	for name, p := range map[string]Probe{
		"ohms live":    {Setup{nil, Live}, "ohms", "f1.a", "f1.b"},
		"no such pin":  {Setup{nil, Live}, "volts_dc", "f1.c", "f1.b"},
		"no such mode": {Setup{nil, Live}, "diode", "f1.a", "f1.b"},
		"no power":     {Setup{}, "volts_dc", "f1.a", "f1.b"},
		"amps at lamp": {Setup{nil, Live}, "amps_dc", "tail.plus", "tail.minus"},
		"bad setting":  {Setup{map[string]string{"sw": "half"}, Live}, "volts_dc", "f1.a", "f1.b"},
		"no such part": {Setup{map[string]string{"sv": "open"}, Live}, "volts_dc", "f1.a", "f1.b"},
	} {
		if _, err := v.Measure(context.Background(), []Probe{p}); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
	if _, err := v.Break(context.Background(), "wire w1 resistive", 0); err == nil {
		t.Error("a resistive fault without ohms: no error")
	}
	if _, err := v.Break(context.Background(), "", 0, "no such state"); err == nil {
		t.Error("an unknown state: no error")
	}
	for _, text := range []string{
		"parts: {x: {kind: gizmo}}",
		"parts: {x: {kind: fuse}}\nground: x.a",
		"parts: {x: {kind: connector, ways: 3, rows: 2}}\nground: x.1a",
		"parts: {x: {kind: switch}}\nground: x.c",
		"parts: {x: {kind: switch}}\nground: x.a\nwires: [{name: w, from: x.a, to: x.b, gauge: 20 AWG}]",
	} {
		if _, err := parse([]byte(text)); err == nil {
			t.Errorf("took %q", text)
		}
	}
}

func TestMissing(t *testing.T) {
	v := load(t, "cart-tail.yaml")
	t.Setenv("PATH", "")
	if _, err := v.Nodes(context.Background(), Setup{nil, Live}); !errors.Is(err, ErrMissing) {
		t.Errorf("got %v, want ErrMissing", err)
	}
}

// BenchmarkMeasure shows the time of one process (1) and of each further probe.
func BenchmarkMeasure(b *testing.B) {
	need(b)
	for _, name := range []string{"cart-tail.yaml", "cart-throttle.yaml", "cart-lights.yaml"} {
		for _, n := range []int{1, 10} {
			b.Run(name+"/"+strconv.Itoa(n), func(b *testing.B) {
				v := load(b, name)
				p := Probe{Setup{nil, Live}, "volts_dc", "pack.plus", "pack.minus"}
				for b.Loop() {
					if _, err := v.Measure(context.Background(), slices.Repeat([]Probe{p}, n)); err != nil {
						b.Fatal(err)
					}
				}
			})
		}
	}
}
