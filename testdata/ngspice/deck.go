package ngspice

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// The resistances that hold for every harness, in ohms.
const (
	openOhms    = 1e9
	closedOhms  = 0.005 // switch contact, connector way
	fuseOhms    = 0.01
	bridgeOhms  = 0.01
	jointOhms   = 0.001
	thinTimes   = 8.94427191 // a wire that is too thin: between 4 and 20 times its ohms, the middle of their ratio
	leakOhms    = 1e12       // from every node to ground
	meterOhms   = 10e6       // volts
	shuntOhms   = 0.03       // amps
	leadOhms    = 0.2
	testVolts   = 2.5 // source of the ohms range, behind its full scale
	leastRange  = 600 // ohms; the ranges go up by tens
	mostRange   = 60e6
	branchBelow = 10 // resistances below this have their current as an unknown
)

// rail is what the 5 V supply of a controller is doing.
type rail int

const (
	asleep     rail = iota // the key line is too low, or the power is off
	regulating             // 5 V behind 0.5 ohm
	limiting               // at its current limit
	blocked                // held up from outside; it takes no current
)

// element is one line of the deck.
type element struct {
	letter byte // R, H, V, I, E, D
	a, b   int
	c, d   int     // E: the controlling nodes
	value  float64 // D: volts at amps
	amps   float64
}

// circuit is one solved or unsolved network. Node 0 is ground.
type circuit struct {
	nodes    map[string]int // named ones
	count    int            // of all nodes but ground
	elements []element
	leaky    []int // nodes with a leak to ground
	fine     bool  // as of the job

	fuses  map[string]int // element of each fuse that can blow
	rails  map[string]int // element of each rail in the regulating mode
	red    int            // nodes of the probe
	black  int
	shunt  int // element of the amps shunt
	tester int // resistor of the ohms range
	tested int // node behind it

	volts []float64 // by node, after solving
	amps  []float64 // by element, for H and V
}

// node gives the number of a named node. The ground pin is node 0.
func (c *circuit) node(name string) int {
	n, ok := c.nodes[name]
	if !ok {
		n = c.hidden()
		c.nodes[name] = n
		c.leaky = append(c.leaky, n)
	}
	return n
}

// hidden adds a node inside a source or a wire, which has no leak of its own.
func (c *circuit) hidden() int {
	c.count++
	return c.count
}

// has reports whether the circuit has an element of the letter.
func (c *circuit) has(letter byte) bool {
	return slices.ContainsFunc(c.elements, func(e element) bool { return e.letter == letter })
}

func (c *circuit) add(e element) int {
	c.elements = append(c.elements, e)
	return len(c.elements) - 1
}

// resistor puts ohms between two nodes.
func (c *circuit) resistor(a, b int, ohms float64) int {
	if ohms < branchBelow {
		return c.add(element{letter: 'H', a: a, b: b, value: ohms})
	}
	return c.add(element{letter: 'R', a: a, b: b, value: ohms})
}

// diode puts a silicon junction of ideality 1.5 from a to b that drops some
// volts at some amps.
func (c *circuit) diode(a, b int, volts, amps float64) {
	c.add(element{letter: 'D', a: a, b: b, value: volts, amps: amps})
}

// saturation gives a diode's saturation current, and its volts for each factor
// e of current: ideality k T / q at 25 C.
func (e element) saturation() (amps, slope float64) {
	slope = 1.5 * 1.380649e-23 * 298.15 / 1.602176634e-19
	return e.amps / (math.Exp(e.value/slope) - 1), slope
}

// source puts volts behind ohms between two nodes. The current of the element
// that it gives is negative when the source delivers.
func (c *circuit) source(plus, minus int, volts, ohms float64) int {
	in := c.hidden()
	c.resistor(in, plus, ohms)
	return c.add(element{letter: 'V', a: in, b: minus, value: volts})
}

// build writes the network of a job down, with the job's blown fuses and
// rail modes.
func (v *Vehicle) build(j *job) (*circuit, error) {
	c := &circuit{
		nodes:  map[string]int{v.ground: 0},
		fuses:  map[string]int{},
		rails:  map[string]int{},
		shunt:  -1,
		tester: -1,
		fine:   j.fine,
	}
	live := j.setup.Power == Live
	for _, w := range v.wires {
		v.buildWire(c, w)
	}
	for _, name := range v.names {
		p := v.parts[name]
		pin := func(short string) int { return c.node(name + "." + short) }
		bad := func(mode string) bool { return v.has("part", name, mode) }
		set := j.setup.State[name]
		for _, short := range p.pins {
			pin(short)
		}
		switch p.kind {
		case "battery":
			if !live {
				break
			}
			volts := p.num["volts"]
			if bad("low") {
				volts *= 0.6
			}
			if bad("no output") {
				volts = 0
			}
			c.source(pin("plus"), pin("minus"), volts, math.Max(p.num["inner_ohms"], 1e-6))
		case "fuse":
			if name == j.pulled {
				break
			}
			if j.blown[name] || bad("blown") || bad("holder open") {
				c.resistor(pin("a"), pin("b"), openOhms)
				break
			}
			// The rating is read off this element; a resistive holder is
			// behind it, at a node of its own.
			if add := v.added("part", name, ""); add > 0 {
				mid := c.hidden()
				c.fuses[name] = c.resistor(pin("a"), mid, fuseOhms)
				c.resistor(mid, pin("b"), add)
			} else {
				c.fuses[name] = c.resistor(pin("a"), pin("b"), fuseOhms)
			}
		case "switch":
			closed := set == "closed"
			if bad("stuck open") {
				closed = false
			}
			if bad("stuck closed") {
				closed = true
			}
			ohms := openOhms
			if closed {
				ohms = closedOhms
			}
			c.resistor(pin("a"), pin("b"), ohms+v.added("part", name, ""))
		case "resistor":
			ohms := p.num["ohms"]
			if bad("open") {
				ohms = openOhms
			}
			if bad("shorted") {
				ohms = bridgeOhms
			}
			if bad("wrong value") { // one colour ring read wrong
				ohms *= 10
			}
			c.resistor(pin("a"), pin("b"), ohms)
		case "lamp":
			c.resistor(pin("plus"), pin("minus"), v.lampOhms(p, j.cold))
		case "cluster":
			for _, id := range clusterLamps {
				c.resistor(pin("plus"), pin(id), v.clusterOhms(p, id))
			}
			if bad("tail to stop") {
				c.resistor(pin("tail"), pin("stop"), bridgeOhms)
			}
		case "connector":
			v.buildConnector(c, p)
		case "splice", "bus-bar":
			for _, f := range v.faults {
				if f.what == "ways" && f.name == name {
					c.resistor(c.node(name+" centre "+f.bars[0]), c.node(name+" centre "+f.bars[1]), bridgeOhms)
				}
			}
			for _, short := range p.pins {
				bar := ""
				if p.kind == "bus-bar" {
					bar, _, _ = strings.Cut(short, "_")
				}
				centre := c.node(name + " centre " + bar)
				ohms := jointOhms + v.added("way", name, short)
				if v.wayOpen(name, short) {
					ohms = openOhms
				}
				c.resistor(pin(short), centre, ohms)
			}
		case "throttle":
			supply, ground, signal := pin("supply"), pin("ground"), pin("signal")
			c.resistor(supply, ground, 5000/p.num["milliamps"])
			c.diode(ground, supply, 0.8, 0.1)
			c.diode(ground, signal, 0.7, 0.01)
			if bad("supply shorted") {
				c.resistor(supply, ground, bridgeOhms)
			}
			if !live || bad("no output") {
				break
			}
			if bad("stuck at rest") {
				set = "rest"
			}
			if bad("stuck at full") {
				set = "full"
			}
			gain := p.num["rest_volts"] / 5
			switch set {
			case "half":
				gain = (p.num["rest_volts"] + p.num["full_volts"]) / 10
			case "full":
				gain = p.num["full_volts"] / 5
			}
			in := c.hidden()
			c.add(element{letter: 'E', a: in, b: ground, c: supply, d: ground, value: gain})
			c.resistor(in, signal, p.num["output_ohms"])
		case "controller":
			five, ground := pin("five"), pin("ground")
			c.resistor(pin("plus"), pin("minus"), 100e3)
			c.resistor(pin("key"), pin("minus"), 3600)
			c.resistor(ground, pin("minus"), 0.01)
			c.resistor(five, ground, 10e3)
			for _, in := range []string{"brake", "ha", "hb", "hc"} {
				c.resistor(five, pin(in), 10e3)
			}
			c.resistor(five, pin("hall_five"), 0.01)
			c.resistor(pin("hall_ground"), ground, 0.01)
			for _, phase := range []string{"u", "v", "w"} {
				c.resistor(pin(phase), pin("minus"), 100e3)
			}
			if bad("phase shorted") { // one of six
				c.resistor(pin("u"), pin("minus"), bridgeOhms)
			}
			pulldown := p.num["pulldown_ohms"]
			if bad("signal input shorted") {
				pulldown = bridgeOhms
			}
			if bad("signal input open") {
				pulldown = openOhms
			}
			c.resistor(pin("signal"), ground, pulldown)
			c.resistor(pin("signal"), pin("chip"), 1000)
			c.diode(ground, pin("chip"), 0.7, 0.01)
			c.diode(pin("chip"), five, 0.7, 0.01)
			if !live || bad("no 5 V") {
				break
			}
			switch j.rails[name] {
			case regulating:
				c.rails[name] = c.source(five, ground, 5, 0.5)
			case limiting:
				// Current flows through a SPICE source from its first node.
				c.add(element{letter: 'I', a: ground, b: five, value: p.num["limit_milliamps"] / 1000})
			}
		default:
			return nil, fmt.Errorf("part %s: no model of a %s", name, p.kind)
		}
	}
	if err := v.connectMeter(c, j); err != nil {
		return nil, err
	}
	for _, n := range c.leaky {
		c.add(element{letter: 'R', a: n, value: leakOhms})
	}
	return c, nil
}

func (v *Vehicle) buildWire(c *circuit, w wire) {
	a, b := c.node(w.from), c.node(w.to)
	if v.has("wire", w.name, "open") {
		c.resistor(a, b, openOhms)
		return
	}
	ohms := w.ohms
	if v.has("wire", w.name, "too thin") {
		ohms *= thinTimes
	}
	mid := c.hidden()
	c.resistor(a, mid, ohms/2+v.added("wire", w.name, ""))
	c.resistor(mid, b, ohms/2)
	if v.has("wire", w.name, "to ground") {
		c.resistor(mid, 0, bridgeOhms)
	}
	if v.has("wire", w.name, "to supply") {
		c.resistor(mid, c.node(v.plus()), bridgeOhms)
	}
}

// buildConnector joins side a to side b. A way keeps its own contact at side
// a, so an open or a resistive way goes with its number there.
func (v *Vehicle) buildConnector(c *circuit, p *part) {
	side := func(i int, s string) int { return c.node(p.name + "." + strconv.Itoa(i) + s) }
	meets := make([]int, p.ways()+1)
	for i := range meets {
		meets[i] = i
	}
	for _, f := range v.faults {
		if f.name != p.name {
			continue
		}
		switch f.mode {
		case "swapped":
			meets[f.i], meets[f.j] = meets[f.j], meets[f.i]
		case "mirrored":
			was := append([]int(nil), meets...)
			for i := 1; i < len(meets); i++ {
				meets[i] = was[p.mirror(i)]
			}
		case "bridged":
			c.resistor(side(f.i, "a"), side(f.j, "a"), bridgeOhms)
		}
	}
	for i := 1; i < len(meets); i++ {
		ohms := closedOhms + v.added("way", p.name, strconv.Itoa(i))
		if v.wayOpen(p.name, strconv.Itoa(i)) {
			ohms = openOhms
		}
		c.resistor(side(i, "a"), side(meets[i], "b"), ohms)
	}
}

func (v *Vehicle) lampOhms(p *part, cold bool) float64 {
	switch {
	case v.has("part", p.name, "open"):
		return openOhms
	case v.has("part", p.name, "shorted"):
		return bridgeOhms
	case cold && p.num["cold_ohms"] > 0:
		return p.num["cold_ohms"]
	}
	return p.num["volts"] * p.num["volts"] / p.num["watts"]
}

var clusterLamps = []string{"tail", "stop", "turn"}

func (v *Vehicle) clusterOhms(p *part, id string) float64 {
	if v.has("part", p.name, id+" open") {
		return openOhms
	}
	return p.num["volts"] * p.num["volts"] / p.num[id+"_watts"]
}

// connectMeter puts the meter of the job's probe into the circuit.
func (v *Vehicle) connectMeter(c *circuit, j *job) error {
	if j.mode == "" {
		return nil
	}
	c.red, c.black = c.node(j.red), c.node(j.black)
	switch j.mode {
	case "volts_dc":
		c.resistor(c.red, c.black, meterOhms)
	case "ohms", "continuity":
		in := c.hidden()
		c.add(element{letter: 'V', a: in, b: c.black, value: testVolts})
		c.tester = c.resistor(in, c.red, j.rangeOhms)
		c.tested = in
	case "diode":
		c.add(element{letter: 'I', a: c.black, b: c.red, value: diodeAmps})
		c.resistor(c.red, c.black, diodeOhms)
	case "amps_dc":
		c.shunt = c.resistor(c.red, c.black, shuntOhms)
	default:
		return fmt.Errorf("no model of the mode %q", j.mode)
	}
	return nil
}

// write writes the circuit as a deck. Without diodes it is linear, so that one
// solution is exact. The tolerances say only when ngspice stops asking for another:
// currents as small as rounding must not keep it going. A pivot may be as
// small as the leaks. A large pivrel has it choose the exact +-1 of a branch
// first, which takes four times as long.
func (c *circuit) write(w io.Writer) {
	pivrel := 0.001
	switch {
	case (c.tester >= 0 || c.has('I')) && c.has('D'):
		pivrel = 0.9 // with less, junctions that float in front of the test voltage come out as not a number
	case c.fine:
		pivrel = 0.5
	}
	fmt.Fprintln(w, ".options reltol=1e-6 vntol=1e-9 abstol=1e-9 gmin=1e-15 temp=25 tnom=25 pivtol=1e-30 pivrel="+
		strconv.FormatFloat(pivrel, 'g', -1, 64))
	name := func(n int) string {
		if n == 0 {
			return "0"
		}
		return "n" + strconv.Itoa(n)
	}
	for i, e := range c.elements {
		id := strings.ToLower(string(e.letter)) + strconv.Itoa(i)
		val := strconv.FormatFloat(e.value, 'g', -1, 64)
		switch e.letter {
		case 'H':
			fmt.Fprintln(w, id, name(e.a), name(e.b), id, val)
		case 'E':
			fmt.Fprintln(w, id, name(e.a), name(e.b), name(e.c), name(e.d), val)
		case 'D':
			is, _ := e.saturation()
			fmt.Fprintln(w, id, name(e.a), name(e.b), "m"+id)
			fmt.Fprintln(w, ".model", "m"+id, "d is="+strconv.FormatFloat(is, 'g', -1, 64), "n=1.5")
		default:
			fmt.Fprintln(w, id, name(e.a), name(e.b), val)
		}
	}
}
