package circuit

import (
	"fmt"
	"math"
	"strconv"
)

// Fault is one single fault that a harness can have.
type Fault struct {
	ID       string // as in "wire w2 open", "ways p1.1 p1.2 swapped"
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

// alteration is one circuit change in terms of the network.
type alteration struct {
	set   map[string]Values  // by branch key
	add   map[string]float64 // added ohms
	cut   []string           // branches that carry nothing
	join  []join
	toGnd string // wire whose middle is on ground
}

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
	add := func(f Fault, m Failure) {
		f.Odds, f.Source, f.Repair, f.Cautions = m.Odds, m.Source, m.Repair, m.Cautions
		if f.Odds > 0 {
			faults = append(faults, f)
		}
	}
	for _, w := range h.Wires {
		for _, m := range w.Failures {
			f := Fault{ID: "wire " + w.Name + " " + m.Mode, Mends: "wire " + w.Name}
			switch m.Mode {
			case "to ground":
				f.single(alteration{toGnd: w.Name})
			default:
				f.series(wireKey(w.Name), m)
			}
			add(f, m)
		}
	}
	for i := range h.Parts {
		p := &h.Parts[i]
		for _, m := range p.Failures {
			switch {
			case p.Splice:
				for _, pin := range p.Pins {
					f := Fault{ID: "way " + p.Name + "." + pin + " " + m.Mode, Mends: "way " + p.Name + "." + pin}
					f.series(wayKey(p.Name, pin), m)
					add(f, m)
				}
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

// wayFaults adds the faults of one mode of a connector. Its swapped ways are
// any two of them, bridged ones neighbours of a row.
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
		row := p.rowLength()
		for i := 1; i < p.Ways; i++ {
			if i%row == 0 {
				continue
			}
			f := Fault{ID: fmt.Sprintf("ways %s %s bridged", way(i), way(i+1)), Mends: fmt.Sprintf("ways %s %s", way(i), way(i+1))}
			f.single(alteration{join: []join{{way(i) + "a", way(i+1) + "a", BridgeOhms}}})
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
		f.between(key, r)
		return
	}
	f.single(alteration{set: map[string]Values{key: {Ohms: OpenOhms}}})
}

// between makes the points and spans of a log-uniform added resistance.
func (f *Fault) between(key string, r [2]float64) {
	for _, ohms := range logSpaced(r[0], r[1], resistiveSpans+1) {
		f.points = append(f.points, alteration{add: map[string]float64{key: ohms}})
	}
	for i := range resistiveSpans {
		f.spans = append(f.spans, Span{i, i + 1, 1.0 / resistiveSpans})
	}
}

func (f *Fault) part(p *Part, m Failure) {
	for id, r := range m.AddOhms {
		f.between(partKey(p.Name, id), r)
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

// logSpaced returns n values from low to high in equal ratios.
func logSpaced(low, high float64, n int) []float64 {
	v := make([]float64, n)
	for i := range v {
		v[i] = low * math.Pow(high/low, float64(i)/float64(n-1))
	}
	return v
}
