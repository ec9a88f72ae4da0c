package circuit

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
)

// Resistances that design and outside check share, in ohms (common practice,
// no source).
const (
	OpenOhms   = 1e9   // a break, an open switch: insulation and leakage are real
	BridgeOhms = 0.010 // a bridge, a short, a chafed wire on ground
	// GMin is the conductance in siemens from every node to the reference.
	GMin = 1e-12
)

// Harness is the wiring of one vehicle or sub-system with every value worked out.
type Harness struct {
	Name     string
	Ground   string  // the pin that is 0 V
	Celsius  float64 // around the wires
	Parts    []Part
	Wires    []Wire
	NoAccess map[string]bool // pins that a probe cannot reach
	States   []State
	Symptoms []Symptom
}

// Wire is a conductor between two pins.
type Wire struct {
	Name, From, To string
	Ohms           float64
	Gauge, Colour  string
	Metres         float64
	GaugeAssumed   bool // the file does not say
	MetresAssumed  bool
	Failures       []Failure
}

// Part is one part with its values worked out.
type Part struct {
	Name, Kind string
	Pins       []string   // names within the part, inner ones too
	Inner      []string   // of them: inside the part, out of reach of wires and probes
	Optional   [][]string // of them: often left without a wire, those of a group all together
	Elements   []Element
	Settings   map[string]Setting
	Rest       string // the setting it has when nothing else is said
	Failures   []Failure
	Indicators []Indicator
	Ways       int // of a connector, else 0
	Rows       int // rows that the ways stand in
	Splice     bool
	Bars       bool // a splice of several bars: a pin is BAR_JOINT
	Driven     bool // moves the driven wheel, or asks for it
	// Capacitor is the two pins across which a charge stays after the pack is
	// unplugged, or empty.
	Capacitor    [2]string
	HighestVolts float64 // of a supply: what it reads when full
}

// ElementType says what an element does between its two pins.
type ElementType int

const (
	Resistance ElementType = iota // I = V/Ohms
	Source                        // V = Volts - Ohms * I delivered
	Follower                      // V = Gain * V(Of) - Ohms * I delivered
	Diode                         // I = Saturation * (exp(V/Slope) - 1)
	Mirror                        // I from A to B = Gain * I delivered by the element Mirrors
)

// Element is one branch of a part. The zero value of what it does not use is right.
type Element struct {
	ID   string
	Type ElementType
	A, B string // pins; A is the plus of a source and the anode of a diode
	Values
	ColdOhms float64 // what ohms, continuity and diode see, when not Ohms
	// ColdTolerance is how well ColdOhms is known where Tolerance does not say
	// it. It stands for what sort of part it is and not for how well it was
	// made, so that all parts of a harness are off to the same side.
	ColdTolerance float64
	Of            [2]string   // Follower: the pins whose voltage it follows
	Mirrors       string      // Mirror: the element whose current it follows
	Saturation    float64     // A, of a Diode
	Slope         float64     // V, of a Diode: ideality times thermal voltage
	Limit         float64     // A; a Source with a limit delivers 0 to Limit and never takes
	When          []Threshold // all must hold, or the element carries nothing
	OffOhms       float64     // Resistance with When: what it is when they do not hold, 0 means nothing
	Supply        bool        // disconnected when the power is off
	Blows         float64     // A; rated current of a fuse
	Tolerance     float64     // of Ohms, Volts or Gain as a fraction, taken as two standard deviations
}

// Junction returns the saturation current in A and the slope in V of a diode
// that drops some volts at some amperes, with the ideality factor n, at 25 C.
// The slope is n k T / q (Shockley's diode equation).
func Junction(volts, amps, n float64) (saturation, slope float64) {
	const thermal = 1.380649e-23 * 298.15 / 1.602176634e-19 // V, k T / q at 25 C, SI constants of 2019
	slope = n * thermal
	return amps / math.Expm1(volts/slope), slope
}

// Values are what a setting or a fault changes in an element.
type Values struct {
	Ohms  float64 // ohm
	Volts float64 // V
	Gain  float64 // V per V
	Cut   bool    // carries nothing at all
}

// Threshold holds while the voltage between two pins lies within two values in volts.
type Threshold struct {
	Between      [2]string
	Above, Below float64
}

// Setting gives new values to elements, by element ID.
type Setting map[string]Values

// Failure is a failure mode of a part, wire, way or joint.
type Failure struct {
	Mode     string
	Odds     float64 // relative to all others
	Source   string
	Repair   string
	Cautions []string
	Variants []Alteration          // alternatives, taken as equally likely
	Spread   bool                  // anything from each variant to the next can be, not only the variants
	AddOhms  map[string][2]float64 // by element: an added resistance, log-uniform in the range
	// TimesOhms is a range of times its own resistance that a wire has instead, log-uniform.
	TimesOhms [2]float64
	Says      map[string]string // by indicator ID: what it shows whatever the circuit does
}

// Alteration is one way in which a failure changes a part.
type Alteration struct {
	Set    map[string]Values
	Bridge [][2]string // pins joined by BridgeOhms
}

// Indicator is what a person sees a part do.
type Indicator struct {
	ID    string    // empty when the part has one
	Watts string    // the element whose power is judged, or
	Amps  string    // the element whose current is judged, or
	Volts [2]string // the pins whose voltage is judged
	Per   float64   // what the measure is divided by, 0 means 1
	Bands []Band    // by rising Under; the last takes the rest
}

// Band is a range of an indicator's measure.
type Band struct {
	Under float64
	Is    string
}

// Words returns what the indicator can show.
func (in *Indicator) Words() []string {
	var w []string
	for _, b := range in.Bands {
		w = append(w, b.Is)
	}
	return w
}

func (in *Indicator) word(x float64) string {
	if in.Per != 0 {
		x /= in.Per
	}
	for _, b := range in.Bands[:len(in.Bands)-1] {
		if x < b.Under {
			return b.Is
		}
	}
	return in.Bands[len(in.Bands)-1].Is
}

// State is a set of settings; parts that it does not name rest.
type State struct {
	Name     string
	Settings map[string]string // by part
}

// Symptom is what the person sees in a state.
type Symptom struct {
	ID    string
	State string              // empty: everything at rest
	Shows map[string][]string // by part or part.indicator: the words of which one is seen
	Guide string              // the guide to join, or empty
	// ComesAndGoes says that it is not there all the time: a contact may be loose.
	ComesAndGoes bool
}

// Part returns the part of that name, or nil.
func (h *Harness) Part(name string) *Part {
	for i := range h.Parts {
		if h.Parts[i].Name == name {
			return &h.Parts[i]
		}
	}
	return nil
}

// State returns the state of that name; the empty name is everything at rest.
func (h *Harness) State(name string) (State, bool) {
	if name == "" {
		return State{}, true
	}
	for _, s := range h.States {
		if s.Name == name {
			return s, true
		}
	}
	return State{}, false
}

// Symptom returns the symptom of that ID.
func (h *Harness) Symptom(id string) (Symptom, bool) {
	for _, s := range h.Symptoms {
		if s.ID == id {
			return s, true
		}
	}
	return Symptom{}, false
}

// HighestVolts is the highest voltage of any supply in the harness, when full.
func (h *Harness) HighestVolts() float64 {
	highest := 0.0
	for _, p := range h.Parts {
		highest = max(highest, p.HighestVolts)
	}
	return highest
}

// Supply is a part that is unplugged when the power is off, and what it gives.
type Supply struct {
	Part  string
	Volts float64
}

// FirstSupply returns the first part that is unplugged when the power is off, and
// its source, or nil.
func (h *Harness) FirstSupply() (*Part, *Element) {
	for i := range h.Parts {
		for k := range h.Parts[i].Elements {
			if e := &h.Parts[i].Elements[k]; e.Supply {
				return &h.Parts[i], e
			}
		}
	}
	return nil, nil
}

// Supplies returns every supply of the harness.
func (h *Harness) Supplies() []Supply {
	var out []Supply
	for _, p := range h.Parts {
		for _, e := range p.Elements {
			if e.Supply {
				out = append(out, Supply{p.Name, e.Volts})
			}
		}
	}
	return out
}

// Measured returns the harness with a supply at the volts that were measured
// on it, and its faults in the same proportion.
func (h *Harness) Measured(part string, volts float64) *Harness {
	out := *h
	out.Parts = slices.Clone(h.Parts)
	for i := range out.Parts {
		p := &out.Parts[i]
		if p.Name != part {
			continue
		}
		p.Elements = slices.Clone(p.Elements)
		ratio := map[string]float64{}
		for j := range p.Elements {
			if e := &p.Elements[j]; e.Supply && e.Volts > 0 {
				ratio[e.ID] = volts / e.Volts
				e.Volts = volts
			}
		}
		p.HighestVolts = max(p.HighestVolts, volts)
		p.Failures = slices.Clone(p.Failures)
		for j := range p.Failures {
			f := &p.Failures[j]
			f.Variants = slices.Clone(f.Variants)
			for k := range f.Variants {
				set := maps.Clone(f.Variants[k].Set)
				for id, v := range set {
					if r, ok := ratio[id]; ok {
						v.Volts *= r
						set[id] = v
					}
				}
				f.Variants[k].Set = set
			}
		}
	}
	return &out
}

// Unknowns is how many unknowns the harness has to solve for.
func (h *Harness) Unknowns() int {
	n := h.network()
	return n.nodes + len(n.branches)
}

// Pins returns every pin as part.pin, in the order of the file.
func (h *Harness) Pins() []string {
	var pins []string
	for _, p := range h.Parts {
		for _, pin := range p.Pins {
			pins = append(pins, p.Name+"."+pin)
		}
	}
	return pins
}

// OuterPins returns the names, within the part, of the pins that are not inside it.
func (p *Part) OuterPins() []string {
	if len(p.Inner) == 0 {
		return p.Pins
	}
	return slices.DeleteFunc(slices.Clone(p.Pins), func(pin string) bool { return slices.Contains(p.Inner, pin) })
}

// Indicators returns the names, part or part.indicator, of all that can be seen.
func (h *Harness) Indicators() []string {
	var names []string
	for _, p := range h.Parts {
		for i := range p.Indicators {
			names = append(names, p.indicatorName(i))
		}
	}
	return names
}

func (p *Part) indicatorName(i int) string {
	if id := p.Indicators[i].ID; id != "" {
		return p.Name + "." + id
	}
	return p.Name
}

// Indicator returns the indicator named part or part.indicator, and its part.
func (h *Harness) Indicator(name string) (*Part, *Indicator) {
	part, id, _ := strings.Cut(name, ".")
	p := h.Part(part)
	if p == nil {
		return nil, nil
	}
	i := slices.IndexFunc(p.Indicators, func(in Indicator) bool { return in.ID == id })
	if i < 0 {
		return p, nil
	}
	return p, &p.Indicators[i]
}

// Describe says how the state is set, in plain words: "sw closed, grip full".
func (s State) Describe() string {
	if len(s.Settings) == 0 {
		return "everything at rest"
	}
	var parts []string
	for p, set := range s.Settings {
		parts = append(parts, fmt.Sprintf("%s %s", p, set))
	}
	slices.Sort(parts)
	return strings.Join(parts, ", ")
}
