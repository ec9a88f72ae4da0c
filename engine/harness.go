package engine

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"probable/engine/circuit"
)

// Options say how a model of a harness is made. The zero value of each has a meaning.
type Options struct {
	Symptom string         // ID of a symptom of the harness; empty: none is known
	Meter   circuit.Meter  // zero: circuit.ReferenceMeter
	Guide   *Guide         // joined, or nil
	Facts   map[string]any // of the guide, by name; absent ones take their default
}

// wrongWord is the chance that what a person saw is not what the part did
// (common practice, no source).
const wrongWord = 0.02

// unexplainedShare is the share of Unexplained before the first reading
// (common practice, no source).
const unexplainedShare = 0.02

// minutes of the checks on a harness (common practice, no source).
const (
	minutesVolts      = 0.5
	minutesOhms       = 0.6
	minutesContinuity = 0.4
	minutesAmps       = 2.0
	minutesLook       = 0.2
)

// answers of a continuity check.
const (
	Beep   = "beep"
	NoBeep = "no beep"
)

// FromHarness computes the model of a harness: its causes are all single
// faults, its predictions those of the solved circuit.
func FromHarness(h *circuit.Harness, o Options) (*Model, error) {
	b := &builder{h: h, m: &Model{Misreading: DefaultMisreading, Cautions: GeneralCautions, Highest: h.HighestVolts()}, meter: o.Meter}
	if b.meter.Counts == 0 {
		b.meter = circuit.ReferenceMeter
	}
	if o.Guide != nil {
		b.m.Cautions = slices.Concat(GeneralCautions, o.Guide.Cautions)
	}
	if o.Symptom != "" {
		sym, ok := h.Symptom(o.Symptom)
		if !ok {
			return nil, fmt.Errorf("the harness has no symptom %q", o.Symptom)
		}
		b.symptom = &sym
		b.state, _ = h.State(sym.State)
	}
	var err error
	if b.bench, err = circuit.NewBench(h, b.state); err != nil {
		return nil, err
	}
	for _, p := range h.Parts {
		b.m.Driven = b.m.Driven || p.Driven
		if p.Capacitor[0] != "" {
			b.m.Charged = append(b.m.Charged, [2]string{p.Name + "." + p.Capacitor[0], p.Name + "." + p.Capacitor[1]})
		}
	}
	b.m.scale = max(1.2*b.m.Highest, leastScale)
	b.hypotheses(h.Faults())
	b.plan()
	var j *joint
	if o.Guide != nil {
		if j, err = b.planGuide(o.Guide, o.Facts); err != nil {
			return nil, err
		}
	}
	if err := b.compute(); err != nil {
		return nil, err
	}
	if j != nil {
		b.join(j)
	}
	b.addUnexplained()
	b.m.Checks = slices.DeleteFunc(b.m.Checks, func(c *Check) bool { return c != b.m.Short && !c.informs() })
	b.m.finish()
	return b.m, nil
}

type builder struct {
	h         *circuit.Harness
	m         *Model
	bench     *circuit.Bench
	meter     circuit.Meter
	symptom   *circuit.Symptom
	state     circuit.State // of the symptom
	scenarios []scenario
	points    int // over all scenarios; point 0 is the healthy vehicle
	plans     []*plan
	fits      []float64 // by point: the chance that the symptom is what one sees
}

// plan is a check to be computed, with its readings by point.
type plan struct {
	check    *Check
	state    circuit.State
	read     func(*circuit.Situation) (circuit.Reading, error)
	look     string                           // indicator, instead of read
	turn     func(healthy *circuit.Situation) // settles which lead goes where
	readings []circuit.Reading
	failed   []bool
	words    []string
}

// scenario is a fault on a bench: one cause has two where a fuse blows.
type scenario struct {
	fault *circuit.Fault
	bench *circuit.Bench
	first int // index of its first point
}

// freshFuse is the chance that a fuse that the fault blows was replaced and has
// not been powered in the symptom's state since (common practice, no source).
const freshFuse = 0.2

func (b *builder) hypotheses(faults []circuit.Fault) {
	b.points = 1
	fresh := b.bench.Fresh()
	for i := range faults {
		f := &faults[i]
		b.m.Causes = append(b.m.Causes, Cause{ID: f.ID, Odds: f.Odds, Source: f.Source, Repair: f.Repair, Mends: f.Mends, Cautions: f.Cautions})
		blows := false
		for point := 0; point < f.Points() && !blows; point++ {
			// A point that finds no consistent state is dealt with when it is read.
			sit, err := b.bench.Put(f, point, circuit.State{}, false)
			blows = err == nil && len(sit.Blown()) > 0
		}
		share := 1.0
		if blows {
			share = 1 - freshFuse
			b.scenario(f, fresh, i, freshFuse)
		}
		b.scenario(f, b.bench, i, share)
	}
}

func (b *builder) scenario(f *circuit.Fault, bench *circuit.Bench, cause int, share float64) {
	b.scenarios = append(b.scenarios, scenario{f, bench, b.points})
	b.points += f.Points()
	for _, s := range f.Spans() {
		b.m.hyps = append(b.m.hyps, hypothesis{cause: cause, prior: math.Log(f.Odds * s.Weight * share)})
	}
}

func (b *builder) addUnexplained() {
	var total float64
	for _, h := range b.m.hyps {
		total += math.Exp(h.prior)
	}
	b.m.Causes = append(b.m.Causes, Cause{
		ID: Unexplained, Source: "practice", Mends: Unexplained,
		Say:    "None of the listed causes fits: a fault outside the drawing, two faults at once, or a drawing that does not match the vehicle.",
		Repair: "Compare the drawing with the vehicle, wire by wire; then start again with the drawing put right.",
	})
	b.m.hyps = append(b.m.hyps, hypothesis{cause: len(b.m.Causes) - 1, prior: math.Log(total * unexplainedShare / (1 - unexplainedShare))})
	for _, c := range b.m.Checks {
		if c.rows != nil {
			c.rows = append(c.rows, slices.Repeat([]float64{1 / float64(len(c.Answers))}, len(c.Answers)))
		} else {
			c.spans = append(c.spans, []span{{weight: 1, unknown: true}})
		}
		if c.danger != nil {
			c.danger = append(c.danger, false)
		}
	}
}

// informs reports whether any two hypotheses predict different readings.
func (c *Check) informs() bool {
	if c.rows != nil {
		for _, r := range c.rows[1 : len(c.rows)-1] {
			if !slices.Equal(r, c.rows[0]) {
				return true
			}
		}
		return false
	}
	first := c.spans[0]
	for _, mixture := range c.spans[1 : len(c.spans)-1] {
		if len(mixture) != len(first) {
			return true
		}
		for i, s := range mixture {
			tol := (s.sigma + first[i].sigma) / 2
			if s.over != first[i].over || s.unknown != first[i].unknown || math.Abs(s.low-first[i].low) > tol || math.Abs(s.high-first[i].high) > tol {
				return true
			}
		}
	}
	return false
}

// plan lists the checks that the harness offers.
func (b *builder) plan() {
	states := []circuit.State{b.state}
	if b.state.Name != "" {
		states = append(states, circuit.State{})
	}
	pairs := b.pairs()
	for k, s := range states {
		if k == 0 {
			b.short(b.supply(), s)
		}
		b.looks(s)
		for _, pair := range pairs {
			b.volts(pair, s)
		}
		for _, pair := range pairs {
			b.ohms(pair, s)
		}
		for _, p := range b.h.Parts {
			for _, e := range p.Elements {
				if e.Blows > 0 {
					b.amps(&p, e, s)
				}
			}
		}
	}
	for _, s := range b.h.States {
		if s.Name != b.state.Name {
			b.looks(s)
		}
	}
}

// pair is two pins that a meter's leads go to.
type pair struct {
	red, black string
	across     string // what lies between, in words, or empty
	part       string
	conductor  bool // a wire, way or fuse: continuity says something
}

func (b *builder) supply() *circuit.Part {
	for i := range b.h.Parts {
		for _, e := range b.h.Parts[i].Elements {
			if e.Supply {
				return &b.h.Parts[i]
			}
		}
	}
	return nil
}

// pairs lists every pin against ground, the two ends of everything, and the
// neighbours of every connector.
func (b *builder) pairs() []pair {
	var ps []pair
	seen := map[[2]string]bool{}
	add := func(p pair) {
		if p.red == p.black || b.h.NoAccess[p.red] || b.h.NoAccess[p.black] ||
			seen[[2]string{p.red, p.black}] || seen[[2]string{p.black, p.red}] {
			return
		}
		seen[[2]string{p.red, p.black}] = true
		ps = append(ps, p)
	}
	for _, pin := range b.h.Pins() {
		part, _, _ := strings.Cut(pin, ".")
		add(pair{red: pin, black: b.h.Ground, part: part})
	}
	for _, w := range b.h.Wires {
		add(pair{red: w.From, black: w.To, across: "wire " + w.Name, conductor: true})
	}
	for _, p := range b.h.Parts {
		for _, in := range p.Indicators {
			if in.Watts == "" {
				add(pair{red: p.Name + "." + in.Volts[0], black: p.Name + "." + in.Volts[1], across: p.Name, part: p.Name})
			}
		}
		for _, e := range p.Elements {
			add(pair{red: p.Name + "." + e.A, black: p.Name + "." + e.B, across: p.Name, part: p.Name, conductor: e.Blows > 0 || p.Kind == "switch"})
		}
		for i := 1; i <= p.Ways; i++ {
			way := fmt.Sprintf("%s.%d", p.Name, i)
			add(pair{red: way + "a", black: way + "b", across: "way " + way, part: p.Name, conductor: true})
			if i < p.Ways {
				add(pair{red: way + "a", black: fmt.Sprintf("%s.%da", p.Name, i+1), across: fmt.Sprintf("ways %d and %d of %s", i, i+1, p.Name), part: p.Name})
				add(pair{red: way + "b", black: fmt.Sprintf("%s.%db", p.Name, i+1), across: fmt.Sprintf("ways %d and %d of %s", i, i+1, p.Name), part: p.Name})
			}
		}
	}
	return ps
}

func stateSuffix(s circuit.State) string {
	if s.Name == "" {
		return ""
	}
	return ", " + s.Name
}

func (b *builder) setting(s circuit.State) string {
	if s.Name == "" {
		var rest []string
		for _, p := range b.h.Parts {
			if p.Rest != "" {
				rest = append(rest, p.Name+" "+p.Rest)
			}
		}
		if len(rest) == 0 || len(rest) > 4 {
			return "Everything at rest."
		}
		return "Everything at rest: " + strings.Join(rest, ", ") + "."
	}
	return fmt.Sprintf("Set %s: %s.", s.Name, s.Describe())
}

// at says where a pin is in the vehicle: its wires, by name and colour.
func (b *builder) at(pin string) string {
	var at []string
	for _, w := range b.h.Wires {
		if w.From == pin || w.To == pin {
			at = append(at, strings.TrimSpace(w.Colour+" wire "+w.Name))
		}
	}
	if len(at) > 2 {
		at = append(at[:2], "...")
	}
	return strings.Join(at, ", ")
}

// words fills in what the check says from its pins and what comes before.
func (b *builder) words(c *Check, meter, across string) {
	c.RedAt, c.BlackAt = b.at(c.Red), b.at(c.Black)
	named := func(pin, at string) string {
		if at == "" {
			return pin
		}
		return fmt.Sprintf("%s (%s)", pin, at)
	}
	c.Say = fmt.Sprintf("%s %s, red on %s, black on %s.", c.Prepare, meter, named(c.Red, c.RedAt), named(c.Black, c.BlackAt))
	if across != "" {
		c.Say += " This is across " + across + "."
		c.Prepare += " The two leads go across " + across + "."
	}
}

func (b *builder) add(c *Check, s circuit.State, read func(*circuit.Situation) (circuit.Reading, error)) *plan {
	c.State, c.Settings = s.Name, s.Settings
	if c.Power != Off {
		c.Cautions = append(b.m.liveCautions(), c.Cautions...)
	}
	p := &plan{check: c, state: s, read: read}
	b.plans = append(b.plans, p)
	b.m.Checks = append(b.m.Checks, c)
	return p
}

func voltsID(red, black string, s circuit.State) string {
	return fmt.Sprintf("volts %s to %s%s", red, black, stateSuffix(s))
}

func (b *builder) volts(p pair, s circuit.State) {
	if b.h.NoAccess[p.red] || b.h.NoAccess[p.black] {
		return
	}
	c := &Check{ID: voltsID(p.red, p.black, s), Part: p.part, Power: Live, Mode: VoltsDC,
		Red: p.red, Black: p.black, Minutes: minutesVolts, Prepare: b.setting(s)}
	b.words(c, "DC volts", p.across)
	b.add(c, s, func(sit *circuit.Situation) (circuit.Reading, error) { return sit.Volts(&b.meter, c.Red, c.Black), nil }).turn = func(healthy *circuit.Situation) {
		// Red goes where a good vehicle is positive: a minus sign is easily
		// overlooked. Black stays on ground.
		if c.Black == b.h.Ground || healthy.Node(c.Red) >= healthy.Node(c.Black) {
			return
		}
		c.Red, c.Black = c.Black, c.Red
		c.ID = voltsID(c.Red, c.Black, s)
		c.Prepare = b.setting(s)
		b.words(c, "DC volts", p.across)
	}
}

func (b *builder) ohms(p pair, s circuit.State) {
	read := func(sit *circuit.Situation) (circuit.Reading, error) { return sit.Ohms(&b.meter, p.red, p.black), nil }
	c := &Check{ID: fmt.Sprintf("ohms %s to %s%s", p.red, p.black, stateSuffix(s)), Part: p.part, Power: Off, Mode: Ohms,
		Red: p.red, Black: p.black, Minutes: minutesOhms, Prepare: "Pack unplugged. " + b.setting(s)}
	b.words(c, "Ohms", p.across)
	b.add(c, s, read)
	if p.conductor {
		c := &Check{ID: fmt.Sprintf("continuity %s to %s%s", p.red, p.black, stateSuffix(s)), Part: p.part, Power: Off, Mode: Continuity,
			Red: p.red, Black: p.black, Minutes: minutesContinuity, Answers: []string{Beep, NoBeep}, Prepare: "Pack unplugged. " + b.setting(s)}
		b.words(c, "Continuity", p.across)
		b.add(c, s, read)
	}
}

// short is the check before first power after a repair.
func (b *builder) short(supply *circuit.Part, s circuit.State) {
	if supply == nil {
		return
	}
	var cells circuit.Element
	for _, e := range supply.Elements {
		if e.Supply {
			cells = e
		}
	}
	red, black := supply.Name+"."+cells.A, supply.Name+"."+cells.B
	b.m.Short = &Check{
		ID: fmt.Sprintf("short check %s to %s%s", red, black, stateSuffix(s)), Part: supply.Name, Power: Off, Mode: Ohms,
		Red: red, Black: black, Minutes: minutesOhms,
		Say: fmt.Sprintf("Before any power: pack unplugged. %s Ohms between the vehicle's two supply leads, where %s and %s plug in.", b.setting(s), red, black),
		Why: "A short that is still there would burn the wiring or the pack.",
	}
	b.add(b.m.Short, s, func(sit *circuit.Situation) (circuit.Reading, error) { return sit.Ohms(&b.meter, red, black), nil })
}

func (b *builder) amps(p *circuit.Part, e circuit.Element, s circuit.State) {
	red, black := p.Name+"."+e.A, p.Name+"."+e.B
	if b.h.NoAccess[red] || b.h.NoAccess[black] {
		return
	}
	b.add(&Check{
		ID: fmt.Sprintf("amps in place of %s%s", p.Name, stateSuffix(s)), Part: p.Name, Power: Live, Mode: AmpsDC,
		Red: red, Black: black, Minutes: minutesAmps, Access: 1,
		Say:      fmt.Sprintf("Power off first. Pull %s, put the meter on its 10 A jack across the holder: red on %s, black on %s. Then power on. %s", p.Name, red, black, b.setting(s)),
		Cautions: []string{"Move the red lead back to the volts jack afterwards: an ammeter put across a supply is a short circuit."},
		Across:   b.isSource(red, black),
	}, s, func(sit *circuit.Situation) (circuit.Reading, error) { return sit.Amps(&b.meter, p.Name) })
}

// isSource reports whether the two pins are the poles of a source.
func (b *builder) isSource(red, black string) bool {
	for _, p := range b.h.Parts {
		for _, e := range p.Elements {
			x, y := p.Name+"."+e.A, p.Name+"."+e.B
			if e.Type == circuit.Source && (x == red && y == black || x == black && y == red) {
				return true
			}
		}
	}
	return false
}

func (b *builder) looks(s circuit.State) {
	for _, name := range b.h.Indicators() {
		part, in := b.h.Indicator(name)
		c := &Check{
			ID: fmt.Sprintf("look at %s%s", name, stateSuffix(s)), Part: part.Name, Power: Live, Mode: Look,
			Minutes: minutesLook, Answers: in.Words(),
			Say: fmt.Sprintf("%s What does %s show: %s?", b.setting(s), name, strings.Join(in.Words(), ", ")),
		}
		if in.Watts == "" {
			// An input's range is not seen; the meter asks for it.
			c.ID = voltsID(part.Name+"."+in.Volts[0], part.Name+"."+in.Volts[1], s)
		} else {
			b.add(c, s, nil).look = name
		}
		if b.symptom != nil && s.Name == b.symptom.State && len(b.symptom.Shows[name]) > 0 {
			b.m.Symptom = append(b.m.Symptom, c.ID)
		}
	}
}

// compute solves the harness in every setup with every point of every fault
// and turns the readings into predictions.
func (b *builder) compute() error {
	type key struct {
		state string
		off   bool
	}
	bySetup := map[key][]*plan{}
	var order []key
	for _, p := range b.plans {
		k := key{p.state.Name, p.check.Power == Off}
		if bySetup[k] == nil {
			order = append(order, k)
		}
		bySetup[k] = append(bySetup[k], p)
		p.readings = make([]circuit.Reading, b.points)
		p.failed = make([]bool, b.points)
		p.words = make([]string, b.points)
	}
	b.fits = slices.Repeat([]float64{1}, b.points)
	if b.symptom != nil {
		if err := b.weigh(); err != nil {
			return err
		}
	}
	for _, k := range order {
		plans := bySetup[k]
		healthy, err := b.bench.Put(nil, 0, plans[0].state, k.off)
		if err != nil {
			return err
		}
		// Its base network is factored now, so that the points only read it.
		for _, p := range plans {
			if p.turn != nil {
				p.turn(healthy)
			}
		}
		parallel(b.points, func(point int) {
			sit, err := b.put(point, plans[0].state, k.off)
			for _, p := range plans {
				switch {
				case err != nil:
					p.failed[point] = true
				case p.look != "":
					p.words[point] = sit.Shows(p.look)
				default:
					var rerr error
					p.readings[point], rerr = p.read(sit)
					p.failed[point] = rerr != nil
				}
			}
		})
	}
	at := 0
	for _, sc := range b.scenarios {
		for _, s := range sc.fault.Spans() {
			from, to := sc.first+s.From, sc.first+s.To
			b.m.hyps[at].prior += math.Log((b.fits[from] + b.fits[to]) / 2)
			at++
			for _, p := range b.plans {
				b.predict(p, from, to)
			}
		}
	}
	for _, p := range b.plans {
		b.expect(p)
	}
	return nil
}

// parallel calls do for every i below n, on all processors. The calls are
// independent, so that the outcome does not depend on their order.
func parallel(n int, do func(i int)) {
	var wg sync.WaitGroup
	workers := min(n, runtime.GOMAXPROCS(0))
	for w := range workers {
		wg.Go(func() {
			for i := w; i < n; i += workers {
				do(i)
			}
		})
	}
	wg.Wait()
}

// put solves the vehicle at a point: 0 is the healthy one.
func (b *builder) put(point int, s circuit.State, off bool) (*circuit.Situation, error) {
	if point == 0 {
		return b.bench.Put(nil, 0, s, off)
	}
	i, found := slices.BinarySearchFunc(b.scenarios, point, func(sc scenario, p int) int { return sc.first - p })
	if !found {
		i--
	}
	sc := b.scenarios[i]
	return sc.bench.Put(sc.fault, point-sc.first, s, off)
}

// weigh works out how well the symptom fits each point.
func (b *builder) weigh() error {
	names := make([]string, 0, len(b.symptom.Shows))
	for name := range b.symptom.Shows {
		names = append(names, name)
	}
	slices.Sort(names)
	for point := range b.points {
		sit, err := b.put(point, b.state, false)
		if err != nil {
			if point == 0 {
				return err
			}
			continue
		}
		for _, name := range names {
			if slices.Contains(b.symptom.Shows[name], sit.Shows(name)) {
				b.fits[point] *= 1 - wrongWord
			} else {
				b.fits[point] *= wrongWord
			}
		}
		b.fits[point] = max(b.fits[point], wrongWord*wrongWord)
	}
	return nil
}

// predict adds a hypothesis that runs from one point to another to a check.
func (b *builder) predict(p *plan, from, to int) {
	c := p.check
	switch {
	case p.look != "":
		c.rows = append(c.rows, mean(wordRow(c.Answers, p.words[from]), wordRow(c.Answers, p.words[to])))
	case c.Mode == Continuity:
		c.rows = append(c.rows, mean(b.beepRow(p, from), b.beepRow(p, to)))
	default:
		x, y := p.readings[from], p.readings[to]
		if p.failed[from] || p.failed[to] {
			c.spans = append(c.spans, []span{{weight: 1, unknown: true}})
		} else {
			c.spans = append(c.spans, between(x, y, c.Mode))
		}
		if c.Mode == AmpsDC {
			c.danger = append(c.danger, x.Over || y.Over || p.failed[from] || p.failed[to])
		}
	}
}

// noLeak is the chance that an open leaks nothing, and not what OpenOhms says
// (common practice, no source).
const noLeak = 0.4

// strayVolts is one standard deviation, in volts, of what no drawing tells:
// contacts that are not equal, a probe that slips, a meter on a coarse range
// (common practice, no source).
const strayVolts = 0.008

// drySigma is how well the reading without any leakage is known, as a share of
// the leakage (it is found by a linear step).
const drySigma = 0.04

// between is the prediction of a range that runs from one reading to another.
func between(x, y circuit.Reading, mode Mode) []span {
	if mode == VoltsDC {
		x.Sigma, y.Sigma = math.Hypot(x.Sigma, strayVolts), math.Hypot(y.Sigma, strayVolts)
	}
	switch {
	case x.Over && y.Over:
		return []span{{weight: 1, over: 1}}
	case x.Over:
		return []span{{weight: 1, over: 0.5, low: y.Value, high: y.Value, sigma: y.Sigma}}
	case y.Over:
		return []span{{weight: 1, over: 0.5, low: x.Value, high: x.Value, sigma: x.Sigma}}
	}
	sigma := max(x.Sigma, y.Sigma)
	s := span{weight: 1, low: min(x.Value, y.Value), high: max(x.Value, y.Value), sigma: sigma}
	leak := max(math.Abs(x.Leak), math.Abs(y.Leak))
	if leak < 3*sigma {
		return []span{s}
	}
	s.weight, s.sigma = 1-noLeak, math.Hypot(sigma, leak/2)
	dry, z := x.Value-x.Leak, y.Value-y.Leak
	return []span{s, {weight: noLeak, low: min(dry, z), high: max(dry, z), sigma: math.Hypot(sigma, drySigma*leak)}}
}

func mean(x, y []float64) []float64 {
	m := make([]float64, len(x))
	for i := range m {
		m[i] = (x[i] + y[i]) / 2
	}
	return m
}

// wordRow is the chance of each word when the part shows one.
func wordRow(words []string, shown string) []float64 {
	row := make([]float64, len(words))
	for i, w := range words {
		switch {
		case shown == "":
			row[i] = 1 / float64(len(words))
		case w == shown:
			row[i] = 1 - wrongWord
		default:
			row[i] = wrongWord / float64(len(words)-1)
		}
	}
	return row
}

func (b *builder) beepRow(p *plan, point int) []float64 {
	r := p.readings[point]
	beep := 0.5
	switch {
	case p.failed[point]:
	case r.Over:
		beep = 0
	default:
		beep = normalCDF((b.meter.BeepOhms - r.Value) / max(r.Sigma, 1))
	}
	return []float64{beep, 1 - beep}
}

// leastOff is what a healthy reading may be off at the least: nobody calls a
// contact bad for less (V, ohm, A; common practice, no source).
var leastOff = map[Mode]float64{VoltsDC: 0.05, Ohms: 0.5, AmpsDC: 0.02}

// expectSigmas is how many standard deviations a healthy reading may be off.
const expectSigmas = 3

// coldShare is how many times less a cold filament may have than a hot one
// (common practice, no source: about a tenth, and some reserve).
const coldShare = 20

// noShortOhms is a resistance in ohm between the supply leads that is no short
// on any vehicle; where the healthy load is lower, a part of it is the
// limit (common practice, no source).
const noShortOhms = 1000

// expect notes what the healthy vehicle shows.
func (b *builder) expect(p *plan) {
	c, r := p.check, p.readings[0]
	switch {
	case p.failed[0]:
	case c == b.m.Short:
		// Only a short matters here, not the exact load.
		c.Expect = &Range{min(r.Value/coldShare, noShortOhms), math.Inf(1)}
	case p.look != "":
		c.Healthy = p.words[0]
	case c.Mode == Continuity:
		c.Healthy = NoBeep
		if !r.Over && r.Value < b.meter.BeepOhms {
			c.Healthy = Beep
		}
	case r.Over && c.Mode == Ohms:
		c.Expect = &Range{b.meter.LargestOhms / 10, math.Inf(1)}
	case !r.Over:
		off := max(expectSigmas*r.Sigma, leastOff[c.Mode])
		c.Expect = &Range{r.Value - off, r.Value + off}
	}
}
