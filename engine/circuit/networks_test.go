package circuit_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
)

// bookNetwork is a worked network as testdata/published/networks.yaml gives it.
type bookNetwork struct {
	ID        string
	Source    string
	Inferred  []string
	Sources   []bookSource
	Resistors []bookResistor
	Diodes    []bookDiode
	Volts     []struct {
		Plus, Minus   string
		Volts, Within float64
	}
	Amps []struct {
		Through      string
		Amps, Within float64
	}
	SourceAmps []struct {
		From         string
		Amps, Within float64
	} `yaml:"source_amps"`
	Parallel []struct {
		Of           []string
		Ohms, Within float64
	}
	WhyWithin string `yaml:"why_within"`
}

type bookSource struct {
	Name, Plus, Minus string
	Volts             float64
	Limit             float64 // A; 0 is none
}

// bookDiode is an ideal junction from a to b.
type bookDiode struct {
	Name, A, B        string
	Saturation, Slope float64 // A, V
}

type bookResistor struct {
	Name, A, B string
	Ohms       float64
}

func (n *bookNetwork) resistor(t testing.TB, name string) bookResistor {
	for _, r := range n.Resistors {
		if r.Name == name {
			return r
		}
	}
	t.Fatalf("%s has no resistor %s", n.ID, name)
	return bookResistor{}
}

// linkOhms is what a wire between two parts of a book's network has: nothing
// that its printed figures could show.
const linkOhms = 1e-9

// built is a network of the book as a harness.
type built struct {
	*circuit.Harness
	pin map[string]string // of each of the book's nodes, one pin
}

// build makes every source, resistor and diode a part of its own, and joins the pins
// of each node by wires in a row. Each source has a fuse of its own in its plus
// lead, for the ammeter. The resistors in open become fuses: a place for a
// meter that is not there yet.
func (n *bookNetwork) build(open ...string) built {
	h := built{&circuit.Harness{Name: n.ID}, map[string]string{}}
	join := func(node, pin string) {
		if last := h.pin[node]; last != "" {
			h.Wires = append(h.Wires, circuit.Wire{Name: fmt.Sprintf("w%d", len(h.Wires)), From: last, To: pin, Ohms: linkOhms})
		}
		h.pin[node] = pin
	}
	part := func(name string, e circuit.Element, nodeA, nodeB string) {
		e.ID, e.A, e.B = "it", "a", "b"
		h.Parts = append(h.Parts, circuit.Part{Name: name, Pins: []string{"a", "b"}, Elements: []circuit.Element{e}})
		join(nodeA, name+".a")
		join(nodeB, name+".b")
	}
	for _, s := range n.Sources {
		lead := s.Name + " lead"
		part(s.Name, circuit.Element{Type: circuit.Source, Values: circuit.Values{Volts: s.Volts}, Limit: s.Limit}, lead, s.Minus)
		part("fuse_"+s.Name, circuit.Element{Values: circuit.Values{Ohms: linkOhms}, Blows: 1e6}, lead, s.Plus)
	}
	for _, r := range n.Resistors {
		e := circuit.Element{Values: circuit.Values{Ohms: r.Ohms}}
		for _, o := range open {
			if o == r.Name {
				e.Blows = 1e6
			}
		}
		part(r.Name, e, r.A, r.B)
	}
	for _, d := range n.Diodes {
		part(d.Name, circuit.Element{Type: circuit.Diode, Saturation: d.Saturation, Slope: d.Slope}, d.A, d.B)
	}
	h.Ground = h.pin["0"]
	return h
}

// without returns the network less one resistor.
func (n *bookNetwork) without(name string) *bookNetwork {
	less := *n
	less.Resistors = nil
	for _, r := range n.Resistors {
		if r.Name != name {
			less.Resistors = append(less.Resistors, r)
		}
	}
	return &less
}

func put(t testing.TB, h *circuit.Harness, off bool) *circuit.Situation {
	t.Helper()
	bench, err := circuit.NewBench(h)
	require.NoError(t, err)
	sit, err := bench.Put(nil, 0, circuit.State{}, off)
	require.NoError(t, err)
	return sit
}

// leak is how far GMin, which stands at every pin, may take the unloaded divider
// of gigohms from the book's figure: the two pins of its middle draw it at 12 V
// through 250 Mohm twice in parallel.
func (n *bookNetwork) leak() float64 {
	if n.ID == "high divider unloaded" {
		return 2 * circuit.GMin * 12 * 125e6
	}
	return 0
}

func books(t testing.TB) ([]bookNetwork, map[string]string) {
	t.Helper()
	var file struct {
		Source   []pageSource
		Note     string
		Networks []bookNetwork
	}
	published(t, "networks.yaml", &file)
	from := map[string]string{}
	for _, s := range file.Source {
		from[s.ID] = s.Title + ", " + s.Where
	}
	return file.Networks, from
}

// TestPublishedNetworks solves every worked network of the file and holds each
// printed voltage and current against it.
func TestPublishedNetworks(t *testing.T) {
	networks, from := books(t)
	require.Len(t, networks, 20)
	for i := range networks {
		n := &networks[i]
		t.Run(n.ID, func(t *testing.T) {
			require.NotEmpty(t, from[n.Source], "no source")
			h := n.build()
			sit := put(t, h.Harness, false)
			checked := 0
			hold := func(what string, got, want, within float64) {
				t.Helper()
				checked++
				if !(math.Abs(got-want) <= within) {
					t.Errorf("%s: %.9g, the page prints %g, within %g (%s)", what, got, want, within, from[n.Source])
				}
			}
			across := func(plus, minus string) float64 { return sit.Node(h.pin[plus]) - sit.Node(h.pin[minus]) }
			for _, v := range n.Volts {
				hold(v.Plus+" to "+v.Minus, across(v.Plus, v.Minus), v.Volts, v.Within+n.leak())
			}
			for _, a := range n.Amps {
				r := n.resistor(t, a.Through)
				hold("through "+a.Through, (sit.Node(a.Through+".a")-sit.Node(a.Through+".b"))/r.Ohms, a.Amps, a.Within)
			}
			meter := circuit.ReferenceMeter
			meter.ShuntOhms = linkOhms
			for _, a := range n.SourceAmps {
				got, err := sit.Amps(&meter, "fuse_"+a.From)
				require.NoError(t, err)
				hold("out of "+a.From, got.Value, a.Amps, a.Within)
			}
			for _, p := range n.Parallel {
				only := &bookNetwork{ID: n.ID}
				for _, name := range p.Of {
					only.Resistors = append(only.Resistors, n.resistor(t, name))
				}
				off := only.build()
				meter := circuit.ReferenceMeter
				meter.LeadOhms = 0
				got := put(t, off.Harness, true).Ohms(&meter, p.Of[0]+".a", p.Of[0]+".b")
				hold(fmt.Sprintf("ohms of %v", p.Of), got.Value, p.Ohms, p.Within)
			}
			require.Positive(t, checked, "nothing printed to hold it against")
		})
	}
}

// TestPublishedMeters takes the meter out of each network that has one, and
// reads the rest with a meter of the book's own resistance.
func TestPublishedMeters(t *testing.T) {
	networks, from := books(t)
	read := map[string]int{}
	for i := range networks {
		n := &networks[i]
		var at bookResistor
		for _, r := range n.Resistors {
			if r.Name == "meter" {
				at = r
			}
		}
		if at.Name == "" {
			continue
		}
		t.Run(n.ID, func(t *testing.T) {
			for _, a := range n.Amps {
				if a.Through != "meter" {
					continue
				}
				read["amps"]++
				h := n.build("meter")
				for i := range h.Parts {
					if h.Parts[i].Name == "meter" {
						h.Parts[i].Elements[0].Ohms = 0.005 // the fuse that the meter replaces
					}
				}
				meter := circuit.ReferenceMeter
				meter.ShuntOhms = at.Ohms
				got, err := put(t, h.Harness, false).Amps(&meter, "meter")
				require.NoError(t, err)
				require.False(t, got.Over)
				require.InDelta(t, a.Amps, got.Value, a.Within, from[n.Source])
			}
			h := n.without("meter").build()
			sit := put(t, h.Harness, false)
			for _, v := range n.Volts {
				var sign float64
				switch {
				case v.Plus == at.A && v.Minus == at.B:
					sign = 1
				case v.Plus == at.B && v.Minus == at.A:
					sign = -1
				default:
					continue // not where the book's meter is
				}
				read["volts"]++
				meter := circuit.ReferenceMeter
				meter.InputOhms = at.Ohms
				got := sit.Volts(&meter, h.pin[at.A], h.pin[at.B]).Value
				require.InDelta(t, sign*v.Volts, got, v.Within, from[n.Source])
				back := sit.Volts(&meter, h.pin[at.B], h.pin[at.A]).Value
				require.InDelta(t, -got, back, 1e-9, "leads the other way round")
			}
		})
	}
	require.Equal(t, map[string]int{"amps": 4, "volts": 6}, read)
}

// TestPublishedResistorsForLEDs puts every resistor of the table before the LED
// that it is meant for: the load line crosses the curve at the stated current or
// at a little less.
func TestPublishedResistorsForLEDs(t *testing.T) {
	var p struct {
		Source []pageSource
		Note   string
		Least  float64 `yaml:"least_share"`
		LEDs   []struct {
			Amps, Volts float64
			Ohms        map[float64]float64
		} `yaml:"leds"`
	}
	published(t, "leds.yaml", &p)
	require.Len(t, p.LEDs, 8)
	least := 1.0
	for _, led := range p.LEDs {
		require.Len(t, led.Ohms, 4)
		for supply, ohms := range led.Ohms {
			n := bookNetwork{
				Sources:   []bookSource{{Name: "v1", Plus: "1", Minus: "0", Volts: supply}},
				Resistors: []bookResistor{{Name: "r1", A: "1", B: "2", Ohms: ohms}},
				Diodes:    []bookDiode{{Name: "d1", A: "2", B: "0"}},
			}
			n.Diodes[0].Saturation, n.Diodes[0].Slope = circuit.Junction(led.Volts, led.Amps, 2)
			h := n.build()
			sit := put(t, h.Harness, false)
			share := (sit.Node("r1.a") - sit.Node("r1.b")) / ohms / led.Amps
			require.LessOrEqual(t, share, 1.001, "%g V and %g A from %g V by %g ohm", led.Volts, led.Amps, supply, ohms)
			require.GreaterOrEqual(t, share, p.Least, "%g V and %g A from %g V by %g ohm", led.Volts, led.Amps, supply, ohms)
			least = min(least, share)
		}
	}
	require.Less(t, least, p.Least+0.03, "the coarsest step of the table")
}
