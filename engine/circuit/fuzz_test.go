package circuit

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// tape deals out the bytes of a fuzzer; when they run out it deals zeros.
type tape struct{ left []byte }

// upTo returns a number from 0 to n-1.
func (t *tape) upTo(n int) int {
	if len(t.left) == 0 {
		return 0
	}
	b := t.left[0]
	t.left = t.left[1:]
	return int(b) % n
}

// pick returns one of the choices.
func pick[T any](t *tape, choices ...T) T { return choices[t.upTo(len(choices))] }

// The values are those that a part file may give (rules/part.go), its limits
// among them.
func (t *tape) ohms() float64 {
	return pick(t, 0, 1e-9, 0.005, 0.1, 1, 47, 1000, 1e4, 1e6, OpenOhms, 1e12)
}

func (t *tape) volts() float64 {
	return pick(t, 0, 5, 12, 48, -48, 1e-9, 0.6, 1e6, -1e12, 1e12)
}

func (t *tape) gain() float64 { return pick(t, 0, 1, 0.5, -1, 2, 100, -100, 1e6, 1e12, -1e12) }

func (t *tape) values() Values {
	return Values{Ohms: t.ohms(), Volts: t.volts(), Gain: t.gain(), Cut: t.upTo(8) == 7}
}

// most bounds what a tape makes of each kind, so that an answer takes
// milliseconds and a hang shows.
const (
	mostParts    = 5
	mostPins     = 4
	mostElements = 4
	mostWires    = 9
	mostPuts     = 60
)

// harness makes a harness that the loader could make: every name in it exists.
func (t *tape) harness() *Harness {
	h := &Harness{Name: "fuzzed"}
	for i := range 1 + t.upTo(mostParts) {
		name := fmt.Sprintf("p%d", i)
		switch t.upTo(8) {
		case 6:
			h.Parts = append(h.Parts, t.connector(name))
		case 7:
			h.Parts = append(h.Parts, t.splice(name))
		default:
			h.Parts = append(h.Parts, t.part(name))
		}
	}
	pins := h.Pins()
	h.Ground = pins[t.upTo(len(pins))]
	for i := range t.upTo(mostWires + 1) {
		from, to := pins[t.upTo(len(pins))], pins[t.upTo(len(pins))]
		if from == to {
			continue
		}
		h.Wires = append(h.Wires, Wire{Name: fmt.Sprintf("w%d", i), From: from, To: to, Ohms: t.ohms(), Failures: []Failure{
			{Mode: "open", Odds: 1}, t.resistive(""), {Mode: "to ground", Odds: 1}}})
	}
	on := State{Name: "on", Settings: map[string]string{}}
	for _, p := range h.Parts {
		if len(p.Settings) > 0 {
			on.Settings[p.Name] = "on"
		}
	}
	h.States = []State{on}
	return h
}

func (t *tape) resistive(element string) Failure {
	return Failure{Mode: "resistive", Odds: 1, AddOhms: map[string][2]float64{element: pick(t, [2]float64{1, 100}, [2]float64{1e-3, 1e6})}}
}

func (t *tape) connector(name string) Part {
	p := Part{Name: name, Kind: "connector", Ways: 1 + t.upTo(4), Rows: 1 + t.upTo(2)}
	for i := 1; i <= p.Ways; i++ {
		p.Pins = append(p.Pins, fmt.Sprintf("%da", i), fmt.Sprintf("%db", i))
	}
	for _, mode := range []string{"open", "swapped", "bridged", "mirrored"} {
		p.Failures = append(p.Failures, Failure{Mode: mode, Odds: 1})
	}
	p.Failures = append(p.Failures, t.resistive(""))
	return p
}

func (t *tape) splice(name string) Part {
	p := Part{Name: name, Kind: "splice", Splice: true, Pins: []string{"x", "y", "z"}[:1+t.upTo(3)]}
	p.Failures = []Failure{{Mode: "open", Odds: 1}, t.resistive("")}
	return p
}

// part makes a part of elements of every type, one failure of each element,
// and settings that change all of them.
func (t *tape) part(name string) Part {
	p := Part{Name: name, Kind: "fuzzed"}
	for i := range 2 + t.upTo(mostPins-1) {
		p.Pins = append(p.Pins, fmt.Sprint(i))
	}
	pin := func() string { return p.Pins[t.upTo(len(p.Pins))] }
	set := Setting{}
	for i := range t.upTo(mostElements + 1) {
		e := Element{ID: fmt.Sprintf("e%d", i), Type: ElementType(t.upTo(5)), A: pin(), B: pin(), Values: t.values()}
		e.Cut = false
		e.Tolerance = pick(t, 0, 0.05, 1)
		switch e.Type {
		case Resistance:
			e.ColdOhms, e.Blows = pick(t, 0, t.ohms()), pick(t, 0, 0, 3, 1e-9)
			e.OffOhms = pick(t, 0, t.ohms())
		case Source:
			e.Supply = t.upTo(2) == 0
			e.Limit = pick(t, 0, 0, 0.02, 10, 1e12, 1e-12)
		case Follower:
			e.Of = [2]string{pin(), pin()}
		case Diode:
			e.Saturation, e.Slope = Junction(pick(t, 0.7, 0.05, 2, 12, 100), pick(t, 0.01, 1e-6, 1, 1000), pick(t, 1, 0.5, 2, 20))
		case Mirror:
			if i == 0 {
				e.Type = Resistance
				break
			}
			e.Mirrors = fmt.Sprintf("e%d", t.upTo(i))
		}
		for range pick(t, 0, 0, 1, 2) {
			e.When = append(e.When, Threshold{Between: [2]string{pin(), pin()},
				Above: pick(t, math.Inf(-1), t.volts()), Below: pick(t, math.Inf(1), t.volts())})
		}
		p.Elements = append(p.Elements, e)
		p.Failures = append(p.Failures, Failure{Mode: "faulty-" + e.ID, Odds: 1, Spread: t.upTo(2) == 1, Variants: []Alteration{
			{Set: map[string]Values{e.ID: t.values()}},
			{Bridge: [][2]string{{pin(), pin()}}},
			{Set: map[string]Values{e.ID: {Cut: true}}},
		}})
		if e.Type == Resistance {
			f := t.resistive(e.ID)
			f.Mode += "-" + e.ID
			p.Failures = append(p.Failures, f)
		}
		set[e.ID] = t.values()
		p.Indicators = append(p.Indicators, Indicator{ID: "w" + e.ID, Watts: e.ID, Per: pick(t, 0, 5, 1e12), Bands: []Band{{1, "dark"}, {0, "lit"}}},
			Indicator{ID: "a" + e.ID, Amps: e.ID, Bands: []Band{{1, "still"}, {0, "turns"}}})
	}
	p.Indicators = append(p.Indicators, Indicator{ID: "v", Volts: [2]string{pin(), pin()}, Bands: []Band{{1, "low"}, {5, "fair"}, {0, "high"}}})
	if t.upTo(2) == 1 {
		p.Settings, p.Rest = map[string]Setting{"on": set, "rest": {}}, "rest"
	}
	return p
}

// sound fails if a number is none.
func sound(t *testing.T, what string, x ...float64) {
	t.Helper()
	for _, v := range x {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%s: %g", what, x)
		}
	}
}

// FuzzNetwork puts every fault of a harness made from the bytes into it, at
// rest and switched on, powered and not, and asks for every answer. A circuit
// without a consistent state is refused with an error; whatever is answered is
// a number, an ohmmeter finds no ohms below none, and nothing stands at a
// voltage when the power is off.
func FuzzNetwork(f *testing.F) {
	for _, s := range []string{"", "\x01\x00\x01\x02\x00\x01\x00\x05\x03", "\x04\x06\x03\x01\x00\x07\x02\x00"} {
		f.Add([]byte(s))
	}
	for seed := range 40 { // bytes in no order, for a start
		s := make([]byte, 120)
		x := uint32(seed + 1)
		for i := range s {
			x = x*1664525 + 1013904223
			s[i] = byte(x >> 24)
		}
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		h := (&tape{left: data}).harness()
		bench, err := NewBench(h, h.States[0])
		if err != nil {
			return
		}
		faults := h.Faults()
		puts := 0
		for i := -1; i < len(faults); i++ {
			fault, points, id := (*Fault)(nil), 1, "healthy"
			if i >= 0 {
				fault, points, id = &faults[i], faults[i].Points(), faults[i].ID
			}
			for point := range points {
				for _, s := range []State{{}, h.States[0]} {
					for _, off := range []bool{false, true} {
						if puts++; puts > mostPuts {
							return
						}
						sit, err := bench.Put(fault, point, s, off)
						if err != nil {
							continue
						}
						ask(t, fmt.Sprintf("%s, point %d, state %q, off %t", id, point, s.Name, off), h, sit, off)
					}
				}
			}
		}
	})
}

// ask asks a situation everything that it can be asked.
func ask(t *testing.T, where string, h *Harness, sit *Situation, off bool) {
	t.Helper()
	meter := &ReferenceMeter
	pins := h.Pins()
	for _, p := range pins {
		v := sit.Node(p)
		sound(t, where+": "+p, v)
		if off && v != 0 {
			t.Fatalf("%s: %s stands at %g V", where, p, v)
		}
	}
	for i, red := range pins {
		black := pins[(i+1)%len(pins)]
		if i%2 == 1 {
			black = h.Ground
		}
		if red == black {
			continue
		}
		what := fmt.Sprintf("%s: %s to %s", where, red, black)
		if off {
			r := sit.Ohms(meter, red, black)
			sound(t, what+" ohms", r.Value, r.Sigma)
			if r.Value < 0 {
				t.Fatalf("%s: %g ohm", what, r.Value)
			}
			r = sit.Diode(meter, red, black)
			sound(t, what+" diode", r.Value, r.Sigma)
			continue
		}
		r := sit.Volts(meter, red, black)
		sound(t, what+" volts", r.Value, r.Sigma, r.Leak)
	}
	for _, name := range h.Indicators() {
		_, in := h.Indicator(name)
		if word := sit.Shows(name); !slices.Contains(in.Words(), word) {
			t.Fatalf("%s: %s shows %q", where, name, word)
		}
	}
	for _, p := range h.Parts {
		if off {
			break
		}
		if r, err := sit.Amps(meter, p.Name); err == nil {
			sound(t, where+": amps of "+p.Name, r.Value, r.Sigma)
		}
	}
	for _, name := range sit.Blown() {
		if h.Part(name) == nil {
			t.Fatalf("%s: %q blew", where, name)
		}
	}
}
