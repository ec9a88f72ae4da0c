package circuit

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Fault is one single fault that a harness can have.
type Fault struct {
	ID       string // as in "wire w2 open", "ways p1.1 p1.2 swapped"
	Kind     string // of the part that has it, as in kb/parts
	Mode     string // of failure of that kind
	Mends    string // what its repair touches; faults with an equal Mends share one repair
	Odds     float64
	Source   string
	Repair   string
	Cautions []string

	points []alteration
	spans  []Span
	says   map[string]string // by indicator name
}

// Span is a share of a fault's possibilities, running between two of its
// points; both are the same where the fault has but one value there.
type Span struct {
	From, To int
	Weight   float64
}

// Spans returns how the fault's points share its possibilities; the weights sum to one.
func (f *Fault) Spans() []Span { return f.spans }

// Points returns how many points the fault has, each one circuit to solve.
func (f *Fault) Points() int { return len(f.points) }

// Last returns the fault at the last of its points alone: the greatest added
// resistance of a range.
func (f *Fault) Last() *Fault {
	one := *f
	one.single(f.points[len(f.points)-1])
	return &one
}

// alteration is one circuit change in terms of the network.
type alteration struct {
	set  map[string]Values  // by branch key
	add  map[string]float64 // added ohms
	cut  []string           // branches that carry nothing
	join []join
	taps []tap
}

// tap is a wire whose middle touches a pin.
type tap struct{ wire, pin string }

// join is a path between two pins.
type join struct {
	a, b string
	ohms float64
}

// resistiveSpans is how many parts the log-uniform range of an added
// resistance is cut into; within a part a reading is taken as uniform.
const resistiveSpans = 4

// Faults returns every single fault of the harness, in the order of the file.
func (h *Harness) Faults() []Fault {
	var faults []Fault
	kind := "wire"
	add := func(f Fault, m Failure) {
		f.Kind, f.Mode = kind, m.Mode
		f.Odds, f.Source, f.Repair, f.Cautions = m.Odds, m.Source, m.Repair, m.Cautions
		if f.Odds > 0 {
			faults = append(faults, f)
		}
	}
	plus := "" // of the first supply
	if p, e := h.FirstSupply(); p != nil {
		plus = p.Name + "." + e.A
	}
	for _, w := range h.Wires {
		for _, m := range w.Failures {
			f := Fault{ID: "wire " + w.Name + " " + m.Mode, Mends: "wire " + w.Name}
			switch {
			case m.Mode == "to ground":
				f.single(alteration{taps: []tap{{w.Name, h.Ground}}})
			case m.Mode == "to supply":
				if plus == "" || plus == h.Ground || w.From == plus || w.To == plus {
					continue // it is there anyway
				}
				f.single(alteration{taps: []tap{{w.Name, plus}}})
			case m.TimesOhms != [2]float64{}:
				added := logSpaced(m.TimesOhms[0], m.TimesOhms[1], resistiveSpans+1)
				for i, times := range added {
					added[i] = (times - 1) * w.Ohms
				}
				f.between(wireKey(w.Name), added)
			default:
				f.series(wireKey(w.Name), m)
			}
			add(f, m)
		}
	}
	for i := range h.Parts {
		p := &h.Parts[i]
		kind = p.Kind
		for _, m := range p.Failures {
			switch {
			case p.Splice:
				p.jointFaults(m, add)
			case p.Ways > 0:
				p.wayFaults(m, add)
			default:
				f := Fault{ID: "part " + p.Name + " " + m.Mode, Mends: "part " + p.Name}
				f.part(p, m)
				add(f, m)
			}
		}
	}
	return faults
}

// jointFaults adds the faults of one mode of a splice or of bars: a bad joint
// is any of them, bridged bars are any two, by the first joint of each.
func (p *Part) jointFaults(m Failure, add func(Fault, Failure)) {
	if m.Mode != "bridged" {
		for _, pin := range p.Pins {
			f := Fault{ID: "way " + p.Name + "." + pin + " " + m.Mode, Mends: "way " + p.Name + "." + pin}
			f.series(wayKey(p.Name, pin), m)
			add(f, m)
		}
		return
	}
	var bars, first []string
	for _, pin := range p.Pins {
		if b := p.Bar(pin); !slices.Contains(bars, b) {
			bars, first = append(bars, b), append(first, p.Name+"."+pin)
		}
	}
	for i := range bars {
		for j := i + 1; j < len(bars); j++ {
			pair := fmt.Sprintf("ways %s.%s %s.%s", p.Name, bars[i], p.Name, bars[j])
			f := Fault{ID: pair + " bridged", Mends: pair}
			f.single(alteration{join: []join{{first[i], first[j], BridgeOhms}}})
			add(f, m)
		}
	}
}

// Bar names the common point that a joint of a splice is on: what stands before
// the first underscore where it has bars, else nothing.
func (p *Part) Bar(pin string) string {
	if !p.Bars {
		return ""
	}
	bar, _, _ := strings.Cut(pin, "_")
	return bar
}

// wayFaults adds the faults of one mode of a connector. Its swapped ways are
// any two of them, bridged ones neighbours in a row or from row to row.
func (p *Part) wayFaults(m Failure, add func(Fault, Failure)) {
	way := func(i int) string { return wayKey(p.Name, wayName(i)) }
	pinOut := "pin-out of " + p.Name
	switch m.Mode {
	case "open", "resistive":
		for i := 1; i <= p.Ways; i++ {
			f := Fault{ID: "way " + way(i) + " " + m.Mode, Mends: "way " + way(i)}
			f.series(way(i), m)
			add(f, m)
		}
	case "swapped":
		for i := 1; i <= p.Ways; i++ {
			for j := i + 1; j <= p.Ways; j++ {
				f := Fault{ID: fmt.Sprintf("ways %s %s swapped", way(i), way(j)), Mends: pinOut}
				f.single(p.repin(map[int]int{i: j, j: i}))
				add(f, m)
			}
		}
	case "bridged":
		for _, n := range p.Neighbours() {
			pair := fmt.Sprintf("ways %s %s", way(n[0]), way(n[1]))
			f := Fault{ID: pair + " bridged", Mends: pair}
			f.single(alteration{join: []join{{way(n[0]) + "a", way(n[1]) + "a", BridgeOhms}}})
			add(f, m)
		}
	case "mirrored":
		row := p.rowLength()
		to := map[int]int{}
		for i := 1; i <= p.Ways; i++ {
			first := (i-1)/row*row + 1
			last := min(first+row-1, p.Ways)
			if j := first + last - i; j != i {
				to[i] = j
			}
		}
		if len(to) > 0 {
			f := Fault{ID: "connector " + p.Name + " mirrored", Mends: pinOut}
			f.single(p.repin(to))
			add(f, m)
		}
	}
}

func (p *Part) rowLength() int { return (p.Ways + max(p.Rows, 1) - 1) / max(p.Rows, 1) }

// Neighbours returns the pairs of ways of a connector that lie side by side,
// in a row or one above the other.
func (p *Part) Neighbours() [][2]int {
	row := p.rowLength()
	var pairs [][2]int
	for i := 1; i <= p.Ways; i++ {
		if i < p.Ways && i%row != 0 {
			pairs = append(pairs, [2]int{i, i + 1})
		}
		if i+row <= p.Ways {
			pairs = append(pairs, [2]int{i, i + row})
		}
	}
	return pairs
}

// repin leads side a of each way i to side b of way to[i].
func (p *Part) repin(to map[int]int) alteration {
	var c alteration
	for i := 1; i <= p.Ways; i++ {
		if j, ok := to[i]; ok {
			c.cut = append(c.cut, wayKey(p.Name, wayName(i)))
			c.join = append(c.join, join{p.Name + "." + wayName(i) + "a", p.Name + "." + wayName(j) + "b", p.jointOhms()})
		}
	}
	return c
}

func wayName(i int) string { return strconv.Itoa(i) }

// jointOhms is the resistance of one way or joint (common practice, no source).
func (p *Part) jointOhms() float64 {
	if p.Splice {
		return 0.001
	}
	return 0.005
}

func (f *Fault) single(c alteration) { f.points, f.spans = []alteration{c}, []Span{{0, 0, 1}} }

// series is a fault of a plain conductor: open, or with resistance added.
func (f *Fault) series(key string, m Failure) {
	if r, ok := m.AddOhms[""]; ok {
		f.between(key, logSpaced(r[0], r[1], resistiveSpans+1))
		return
	}
	f.single(alteration{set: map[string]Values{key: {Ohms: OpenOhms}}})
}

// between makes the points and spans of an added resistance that runs through
// the values in ohm.
func (f *Fault) between(key string, added []float64) {
	for _, ohms := range added {
		f.points = append(f.points, alteration{add: map[string]float64{key: ohms}})
	}
	for i := range len(added) - 1 {
		f.spans = append(f.spans, Span{i, i + 1, 1 / float64(len(added)-1)})
	}
}

func (f *Fault) part(p *Part, m Failure) {
	for id, r := range m.AddOhms {
		f.between(partKey(p.Name, id), logSpaced(r[0], r[1], resistiveSpans+1))
	}
	for _, v := range m.Variants {
		c := alteration{set: map[string]Values{}}
		for id, values := range v.Set {
			c.set[partKey(p.Name, id)] = values
		}
		for _, b := range v.Bridge {
			c.join = append(c.join, join{p.Name + "." + b[0], p.Name + "." + b[1], BridgeOhms})
		}
		f.points = append(f.points, c)
	}
	switch {
	case len(m.Variants) > 1 && m.Spread:
		for i := range len(f.points) - 1 {
			f.spans = append(f.spans, Span{i, i + 1, 1 / float64(len(f.points)-1)})
		}
	case len(m.Variants) > 0:
		for i := range f.points {
			f.spans = append(f.spans, Span{i, i, 1 / float64(len(f.points))})
		}
	}
	if len(f.points) == 0 {
		f.single(alteration{})
	}
	for i := range p.Indicators {
		if word, ok := m.Says[p.Indicators[i].ID]; ok {
			if f.says == nil {
				f.says = map[string]string{}
			}
			f.says[p.indicatorName(i)] = word
		}
	}
}

// Pins returns the pins of what the fault's ID names: the ends of its wire, or
// those of its part or of its ways.
func (f *Fault) Pins(h *Harness) []string {
	var pins []string
	words := strings.Fields(f.ID)
	switch kind, name := words[0], words[1]; kind {
	case "wire":
		for _, w := range h.Wires {
			if w.Name == name {
				pins = append(pins, w.From, w.To)
			}
		}
	case "way", "ways":
		for _, way := range words[1:] {
			part, way, _ := strings.Cut(way, ".")
			p := h.Part(part)
			switch {
			case p == nil: // the mode
			case p.Splice:
				pins = append(pins, part+"."+way)
			default:
				pins = append(pins, part+"."+way+"a", part+"."+way+"b")
			}
		}
	default:
		for _, pin := range h.Part(name).Pins {
			pins = append(pins, name+"."+pin)
		}
	}
	return pins
}

// logSpaced returns n values from low to high in equal ratios.
func logSpaced(low, high float64, n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = low * math.Pow(high/low, float64(i)/float64(n-1))
	}
	return v
}
