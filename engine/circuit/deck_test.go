package circuit_test

import (
	"bytes"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"probable/engine/circuit"
	"probable/testdata/ngspice"
)

// What a harness does not say of its joints, in ohms (the design page: 5 mohm
// for a way of a connector; common practice, no source).
const (
	wayOhms   = 0.005
	jointOhms = 0.001
)

// damage is what a fault changes, worked out from its id and the harness's own
// list of failures, and not from the solver's.
type damage struct {
	set    map[string]circuit.Values // by part/element
	add    map[string]float64        // added ohms: by part/element, wire or part.way
	open   map[string]bool           // wires and ways that are broken
	times  map[string]float64        // wires that have so many times their ohms
	tapped string                    // wire whose middle touches a pin
	tap    string                    // that pin
	bridge [][2]string               // pins joined
	meets  map[string]string         // side b of which way side a of a way meets
}

// points is how many points of the range of an added resistance are tried.
const points = 5

// damageOf returns what one point of the fault does to the harness, and how
// many points it has.
func damageOf(h *circuit.Harness, id string, point int) (damage, int, error) {
	d := damage{set: map[string]circuit.Values{}, add: map[string]float64{}, open: map[string]bool{}, times: map[string]float64{}, meets: map[string]string{}}
	words := strings.Fields(id)
	if len(words) < 3 {
		return d, 0, fmt.Errorf("the fault %q is not what, which and how", id)
	}
	what, name := words[0], words[1]
	mode := strings.Join(words[2:], " ")
	switch what {
	case "wire":
		for _, w := range h.Wires {
			if w.Name == name {
				switch mode {
				case "to ground":
					d.tapped, d.tap = name, h.Ground
					return d, 1, nil
				case "to supply":
					d.tapped, d.tap = name, supplyPlus(h)
					return d, 1, nil
				}
				return d.conductor(name, mode, w.Failures, point)
			}
		}
	case "way":
		part, _, _ := strings.Cut(name, ".")
		if p := h.Part(part); p != nil {
			return d.conductor(name, mode, p.Failures, point)
		}
	case "ways":
		other, mode := words[2], strings.Join(words[3:], " ")
		switch mode {
		case "swapped":
			d.meets[name], d.meets[other] = other, name
			return d, 1, nil
		case "bridged":
			if part, bar, _ := strings.Cut(name, "."); h.Part(part) != nil && h.Part(part).Bars {
				_, second, _ := strings.Cut(other, ".")
				d.bridge = append(d.bridge, [2]string{jointOf(h.Part(part), bar), jointOf(h.Part(part), second)})
				return d, 1, nil
			}
			d.bridge = append(d.bridge, [2]string{name + "a", other + "a"})
			return d, 1, nil
		}
	case "connector":
		if p := h.Part(name); p != nil && mode == "mirrored" {
			length := p.Ways
			if p.Rows == 2 {
				length = (p.Ways + 1) / 2
			}
			for start := 1; start <= p.Ways; start += length {
				end := min(start+length-1, p.Ways)
				for i := start; i <= end; i++ {
					d.meets[fmt.Sprintf("%s.%d", name, i)] = fmt.Sprintf("%s.%d", name, start+end-i)
				}
			}
			return d, 1, nil
		}
	case "part":
		if p := h.Part(name); p != nil {
			return d.part(p, mode, point)
		}
	}
	return d, 0, fmt.Errorf("no meaning known of the fault %q", id)
}

// inRange is one point of a range of ohms, five in equal ratios.
func inRange(r [2]float64, point int) float64 {
	return math.Exp(math.Log(r[0]) + float64(point)/(points-1)*math.Log(r[1]/r[0]))
}

// failure returns the failure of a mode.
func failure(fs []circuit.Failure, mode string) (circuit.Failure, error) {
	i := slices.IndexFunc(fs, func(f circuit.Failure) bool { return f.Mode == mode })
	if i < 0 {
		return circuit.Failure{}, fmt.Errorf("no failure of the mode %q", mode)
	}
	return fs[i], nil
}

func (d damage) conductor(name, mode string, fs []circuit.Failure, point int) (damage, int, error) {
	f, err := failure(fs, mode)
	if err != nil {
		return d, 0, err
	}
	if r, ok := f.AddOhms[""]; ok {
		d.add[name] = inRange(r, point)
		return d, points, nil
	}
	if f.TimesOhms[0] > 0 {
		d.times[name] = inRange(f.TimesOhms, point)
		return d, points, nil
	}
	if mode != "open" {
		return d, 0, fmt.Errorf("no meaning known of %q in a conductor", mode)
	}
	d.open[name] = true
	return d, 1, nil
}

// supplyPlus is the plus pin of the first supply in the file.
func supplyPlus(h *circuit.Harness) string {
	for _, p := range h.Parts {
		for _, e := range p.Elements {
			if e.Supply {
				return p.Name + "." + e.A
			}
		}
	}
	return ""
}

// jointOf is the first joint on a bar.
func jointOf(p *circuit.Part, bar string) string {
	for _, pin := range p.Pins {
		if strings.HasPrefix(pin, bar+"_") {
			return p.Name + "." + pin
		}
	}
	return ""
}

func (d damage) part(p *circuit.Part, mode string, point int) (damage, int, error) {
	f, err := failure(p.Failures, mode)
	if err != nil {
		return d, 0, err
	}
	n := len(f.Variants)
	if len(f.AddOhms) > 0 {
		n += points
		if point < points {
			for id, r := range f.AddOhms {
				d.add[p.Name+"/"+id] = inRange(r, point)
			}
			return d, n, nil
		}
		point -= points
	}
	if n == 0 {
		return d, 1, nil // it shows, and changes nothing that carries a current
	}
	v := f.Variants[point]
	for id, values := range v.Set {
		d.set[p.Name+"/"+id] = values
	}
	for _, b := range v.Bridge {
		d.bridge = append(d.bridge, [2]string{p.Name + "." + b[0], p.Name + "." + b[1]})
	}
	return d, n, nil
}

// bench is how a harness stands when its deck is written.
type bench struct {
	state   circuit.State
	off     bool
	damage  damage
	blown   []string          // parts whose fuses are blown
	regions map[string]string // by part/element, of what works in regions
}

// drawn is an element as it went into the deck.
type drawn struct {
	element *circuit.Element
	part    string
	circuit.Values
	region string
	a, b   int
	line   int // of its voltage source, if it has one
}

// deck is a harness as lines for ngspice. Node 0 is the harness's ground.
type deck struct {
	text  bytes.Buffer
	node  map[string]int // by pin
	nodes int
	lines int
	drawn []drawn
}

func (d *deck) hidden() int {
	d.nodes++
	return d.nodes
}

func nodeName(n int) string {
	if n == 0 {
		return "0"
	}
	return "n" + strconv.Itoa(n)
}

func (d *deck) line(letter byte, rest string, nodes ...int) int {
	d.lines++
	d.text.WriteByte(letter)
	d.text.WriteString(strconv.Itoa(d.lines))
	for _, n := range nodes {
		d.text.WriteByte(' ')
		d.text.WriteString(nodeName(n))
	}
	d.text.WriteByte(' ')
	d.text.WriteString(rest)
	d.text.WriteByte('\n')
	return d.lines
}

func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// resistor puts ohms between two nodes. Small ones are sources controlled by
// their own current, so that they do not drown what is large beside them.
func (d *deck) resistor(a, b int, ohms float64) {
	if ohms < 10 {
		d.line('h', "h"+strconv.Itoa(d.lines+1)+" "+number(ohms), a, b)
		return
	}
	d.line('r', number(ohms), a, b)
}

// thermalVolts is k T / q at 25 C in V (SI constants of 2019).
const thermalVolts = 1.380649e-23 * 298.15 / 1.602176634e-19

// options is the first line of a deck, with the least share that a pivot has.
// Relative tolerances are far below what is compared; gmin, which ngspice puts
// across every junction, is as good as nothing: the one that counts is a line
// of its own at each node.
func options(pivotShare float64) []byte {
	return fmt.Appendf(nil, ".options temp=25 tnom=25 gmin=1e-18 reltol=1e-6 vntol=1e-8 abstol=1e-11 itl1=200 pivtol=1e-30 pivrel=%g\n", pivotShare)
}

// newDeck writes the harness down as it stands; options go before it.
func newDeck(h *circuit.Harness, as bench) (*deck, error) {
	d := &deck{node: map[string]int{}}
	for _, pin := range h.Pins() {
		if pin == h.Ground {
			d.node[pin] = 0
			continue
		}
		d.node[pin] = d.leaky()
	}
	for i := range h.Parts {
		p := &h.Parts[i]
		if err := d.part(p, as); err != nil {
			return nil, err
		}
	}
	for _, w := range h.Wires {
		a, b := d.node[w.From], d.node[w.To]
		switch {
		case as.damage.open[w.Name]:
			d.resistor(a, b, circuit.OpenOhms)
		case as.damage.tapped == w.Name:
			middle := d.hidden()
			d.resistor(a, middle, w.Ohms/2)
			d.resistor(middle, b, w.Ohms/2)
			d.resistor(middle, d.node[as.damage.tap], circuit.BridgeOhms)
		default:
			ohms := w.Ohms
			if k := as.damage.times[w.Name]; k > 0 {
				ohms *= k
			}
			d.resistor(a, b, ohms+as.damage.add[w.Name])
		}
	}
	for _, br := range as.damage.bridge {
		if a, b := d.node[br[0]], d.node[br[1]]; a != b {
			d.resistor(a, b, circuit.BridgeOhms)
		}
	}
	return d, nil
}

// leaky is a node with its leak to the reference.
func (d *deck) leaky() int {
	n := d.hidden()
	d.line('r', number(1/circuit.GMin), n, 0)
	return n
}

func (d *deck) part(p *circuit.Part, as bench) error {
	at := func(pin string) int { return d.node[p.Name+"."+pin] }
	// way is the ohms of one joint, good or bad.
	way := func(name string, good float64) float64 {
		if as.damage.open[name] {
			return circuit.OpenOhms
		}
		return good + as.damage.add[name]
	}
	if p.Splice {
		centre := map[string]int{} // by bar
		for _, pin := range p.Pins {
			bar := ""
			if p.Bars {
				bar, _, _ = strings.Cut(pin, "_")
			}
			if centre[bar] == 0 {
				centre[bar] = d.leaky()
			}
			d.resistor(at(pin), centre[bar], way(p.Name+"."+pin, jointOhms))
		}
	}
	for i := 1; i <= p.Ways; i++ {
		name := fmt.Sprintf("%s.%d", p.Name, i)
		other := name
		if m := as.damage.meets[name]; m != "" {
			other = m
		}
		d.resistor(d.node[name+"a"], d.node[other+"b"], way(name, wayOhms))
	}
	setting := p.Rest
	if s := as.state.Settings[p.Name]; s != "" {
		setting = s
	}
	carries := map[string]int{} // line of an element's voltage source
	for i := range p.Elements {
		e := &p.Elements[i]
		key := p.Name + "/" + e.ID
		v := e.Values
		if s, ok := p.Settings[setting][e.ID]; ok {
			v = s
		}
		nominal := true
		if s, ok := as.damage.set[key]; ok {
			nominal, v = s.Ohms == e.Ohms, s
		}
		if as.off && e.ColdOhms > 0 && nominal {
			v.Ohms = e.ColdOhms
		}
		v.Ohms += as.damage.add[key]
		if e.Blows > 0 && slices.Contains(as.blown, p.Name) {
			v.Ohms = circuit.OpenOhms
		}
		region := "conducting"
		switch {
		case as.off:
			// Whatever gives is disconnected, and what waits for a voltage gets none.
			if e.Type == circuit.Source || e.Type == circuit.Follower || e.Type == circuit.Mirror ||
				slices.ContainsFunc(e.When, func(w circuit.Threshold) bool { return !(w.Above < 0 && 0 < w.Below) }) {
				region = "idle"
			}
		case e.Limit > 0 || len(e.When) > 0:
			var ok bool
			if region, ok = as.regions[key]; !ok {
				return fmt.Errorf("%s: nobody says where it works", key)
			}
		}
		a, b := at(e.A), at(e.B)
		line := 0
		switch {
		case v.Cut:
		case region == "idle":
			if e.OffOhms > 0 {
				d.resistor(a, b, e.OffOhms)
			}
		case region == "limited":
			inner := d.hidden()
			d.line('i', number(e.Limit), inner, a)
			line = d.line('v', "0", inner, b)
			carries[e.ID] = line
		case e.Type == circuit.Resistance:
			d.resistor(a, b, v.Ohms)
		case e.Type == circuit.Source:
			inner := d.hidden()
			d.resistor(a, inner, v.Ohms)
			line = d.line('v', number(v.Volts), inner, b)
			carries[e.ID] = line
		case e.Type == circuit.Follower:
			inner := d.hidden()
			d.resistor(a, inner, v.Ohms)
			line = d.line('e', nodeName(at(e.Of[0]))+" "+nodeName(at(e.Of[1]))+" "+number(v.Gain), inner, b)
		case e.Type == circuit.Diode:
			n := strconv.Itoa(d.lines + 1)
			d.line('d', "m"+n, a, b)
			fmt.Fprintf(&d.text, ".model m%s d is=%s n=%s\n", n, number(e.Saturation), number(e.Slope/thermalVolts))
		case e.Type == circuit.Mirror:
			if of, ok := carries[e.Mirrors]; ok {
				d.line('f', "v"+strconv.Itoa(of)+" "+number(-v.Gain), a, b)
			}
		default:
			return fmt.Errorf("%s: no line known for it", key)
		}
		d.drawn = append(d.drawn, drawn{e, p.Name, v, region, a, b, line})
	}
	return nil
}

// amps is the current from a to b through an element in the answer. That of a
// resistance follows from the volts alone.
func (w *drawn) amps(ans ngspice.Answer) float64 {
	across := ans.Volts[w.a] - ans.Volts[w.b]
	switch {
	case w.Cut, w.region == "idle" && w.element.OffOhms == 0:
		return 0
	case w.region == "idle":
		return across / w.element.OffOhms
	case w.element.Type == circuit.Resistance:
		return across / w.Ohms
	}
	return ans.Amps[w.line]
}

// over returns the parts whose fuses carry more than twice their rating in
// ngspice's answer, and those that are too near to it to say.
func (d *deck) over(ans ngspice.Answer) (parts, near []string) {
	for i := range d.drawn {
		w := &d.drawn[i]
		if w.element.Blows == 0 {
			continue
		}
		switch share := math.Abs(w.amps(ans)) / (2 * w.element.Blows); {
		case math.Abs(share-1) < 1e-3:
			near = append(near, w.part)
		case share > 1:
			parts = append(parts, w.part)
		}
	}
	return parts, near
}

// contradictions lists the regions that ngspice's answer does not bear out,
// and counts those that it does.
func (d *deck) contradictions(ans ngspice.Answer) (wrong []string, right int) {
	for i := range d.drawn {
		w := &d.drawn[i]
		e := w.element
		if w.Cut || e.Limit == 0 && len(e.When) == 0 {
			continue
		}
		complain := func(format string, a ...any) {
			wrong = append(wrong, fmt.Sprintf("%s/%s %s: ", w.part, e.ID, w.region)+fmt.Sprintf(format, a...))
		}
		// The slack is what may be off between two solutions of one circuit.
		slack := func(x float64) float64 { return 1e-6 + 1e-5*math.Abs(x) }
		holds, fails := true, false // within the slack both may be so
		for _, t := range e.When {
			v := ans.Volts[d.node[w.part+"."+t.Between[0]]] - ans.Volts[d.node[w.part+"."+t.Between[1]]]
			near := slack(v)
			holds = holds && v > t.Above-near && v < t.Below+near
			fails = fails || v < t.Above+near || v > t.Below-near
		}
		v, amps := ans.Volts[w.a]-ans.Volts[w.b], -w.amps(ans)
		switch {
		case w.region != "idle" && !holds:
			complain("its conditions do not hold")
		case w.region == "idle" && fails:
			right++
		case e.Limit == 0 && w.region == "idle":
			complain("its conditions hold")
		case e.Limit == 0:
			right++
		case w.region == "conducting" && (amps < -1e-6 || amps > e.Limit+slack(e.Limit)):
			complain("it gives %.6g A of at most %.6g", amps, e.Limit)
		case w.region == "limited" && v > w.Volts-w.Ohms*e.Limit+slack(v):
			complain("%.6g V across it, and at its limit it could hold %.6g", v, w.Volts-w.Ohms*e.Limit)
		case w.region == "idle" && v < w.Volts-slack(v):
			complain("%.6g V across it, and it could give %.6g", v, w.Volts)
		default:
			right++
		}
	}
	return wrong, right
}
