package engine

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"probable/engine/circuit"
)

// Options say how a model of a harness is made. The zero value of each has a meaning.
type Options struct {
	Symptom string        // ID of a symptom of the harness; empty: none is known
	Meter   circuit.Meter // zero: circuit.ReferenceMeter
	Guide   *Guide        // joined, or nil
	Guides  Guides        // to hand off to
	// Before counts how often each cause, by ID, was mended and proven on this very
	// vehicle before.
	Before map[string]int
	Facts  map[string]any // of the guide, by name; absent ones take their default
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
	b, err := newBuilder(h, o)
	if err != nil {
		return nil, err
	}
	if o.Guide != nil {
		b.m.Cautions = slices.Concat(GeneralCautions, o.Guide.Cautions)
	}
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
	b.follow()
	b.wiggles()
	if !b.comesAndGoes() {
		b.m.both = b.together() // what comes and goes need not be there at once
	}
	if j != nil {
		b.join(j)
	}
	b.m.remember(o.Before)
	b.addUnexplained()
	b.m.Checks = slices.DeleteFunc(b.m.Checks, func(c *Check) bool { return c != b.m.Short && !c.shows.informs() })
	b.m.finish()
	return b.m, nil
}

// newBuilder readies the bench of a harness with its hypotheses, from the
// options Symptom and Meter. No check is planned yet.
func newBuilder(h *circuit.Harness, o Options) (*builder, error) {
	b := &builder{h: h, m: &Model{Misreading: DefaultMisreading, Cautions: GeneralCautions, Highest: h.HighestVolts()}, meter: o.Meter}
	if b.meter.Counts == 0 {
		b.meter = circuit.ReferenceMeter
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
	b.faults = h.Faults()
	b.hypotheses()
	return b, nil
}

type builder struct {
	h         *circuit.Harness
	m         *Model
	bench     *circuit.Bench
	meter     circuit.Meter
	symptom   *circuit.Symptom
	state     circuit.State // of the symptom
	faults    []circuit.Fault
	scenarios []scenario
	points    int // over all scenarios; point 0 is the healthy vehicle
	plans     []*plan
	asked     map[*plan]bool      // by a guide
	wires     map[string][]string // by pin: what its wires are called
	fits      []float64           // by point: the chance that the symptom is what one sees
	misdrawn  []misdrawn          // wires that may go elsewhere
	astray    []int               // by point: which of these has the fault, or -1
}

// plan is a check to be computed.
type plan struct {
	check   *Check
	state   circuit.State
	mode    circuit.ProbeMode                // unless it is a look
	look    string                           // indicator, or empty
	turn    func(healthy *circuit.Situation) // settles which lead goes where, or nil
	probe   *circuit.Probe                   // of the healthy vehicle
	black   float64                          // V, of the black pin there
	others  []level                          // and of other pins
	healthy outcome
	moved   []movedPoint // by rising point: where the outcome is another
}

// outcome is what a check gives at a point.
type outcome struct {
	reading circuit.Reading
	word    string
	failed  bool // the circuit finds no consistent state
}

type movedPoint struct {
	point int
	outcome
}

// in returns the outcome in a situation, or where none was found, and nil where it
// is the healthy one.
func (p *plan) in(sit *circuit.Situation, err error) *outcome {
	switch {
	case err != nil:
		return &outcome{failed: true}
	case p.look != "":
		if w := sit.Shows(p.look); w != p.healthy.word {
			return &outcome{word: w}
		}
	case sit.Moves(p.probe):
		r, err := sit.Read(p.probe)
		return &outcome{reading: r, failed: err != nil}
	}
	return nil
}

// at returns the outcome at a point.
func (p *plan) at(point int) *outcome {
	i, found := slices.BinarySearchFunc(p.moved, point, func(m movedPoint, point int) int { return m.point - point })
	if found {
		return &p.moved[i].outcome
	}
	return &p.healthy
}

// scenario is a fault on a bench: one cause has two where a fuse blows.
type scenario struct {
	fault *circuit.Fault
	bench *circuit.Bench
	first int  // index of its first point
	loose bool // it may come and go, and that counts
}

// freshFuse is the chance that a fuse that the fault blows was replaced and has
// not been powered in the symptom's state since (common practice, no source).
const freshFuse = 0.2

// otherState is the chance that a vehicle has been powered in every declared
// state, and not only at rest and in the symptom's (common practice, no source).
const otherState = 0.5

// past is one way in which a fault can have come about: what has blown until now.
type past struct {
	bench *circuit.Bench
	share float64
	fits  []float64 // by point
}

// trials are the benches that tell what a fault blows: tried at rest and in the
// symptom's state, one fuse at a time, not at all, and in every state.
type trials struct{ bench, one, fresh, all *circuit.Bench }

// trials returns new ones, with nothing known of any fault; all is nil where it
// is not wanted.
func (b *builder) trials(all bool) trials {
	t := trials{fresh: b.bench.Fresh()}
	t.bench, _ = b.bench.Tried(circuit.State{}, b.state) // it was solved when the bench was made
	t.one = t.bench.OneByOne()
	if all {
		t.all, _ = b.bench.Tried(append([]circuit.State{{}}, b.h.States...)...) // a state without a solution is told when it is asked for
	}
	return t
}

// pasts returns the ways in which a fault can have come about.
func (b *builder) pasts(f *circuit.Fault, t trials) []past {
	most := func(bench *circuit.Bench) (n int) {
		for point := range f.Points() {
			n = max(n, bench.Blows(f, point))
		}
		return n
	}
	var pasts []past
	n := 0
	fits := make([]float64, f.Points()) // of t.bench
	for point := range fits {
		blows, last, err := t.bench.Try(f, point)
		n = max(n, blows)
		fits[point] = b.fit(last, err)
	}
	switch {
	case n > 1 && most(t.one) < n:
		// Several in series: perhaps all of them, perhaps only the first.
		pasts = []past{{bench: t.fresh, share: freshFuse}, {bench: t.one, share: (1 - freshFuse) / 2}, {bench: t.bench, share: (1 - freshFuse) / 2}}
	case n > 0:
		pasts = []past{{bench: t.fresh, share: freshFuse}, {bench: t.bench, share: 1 - freshFuse}}
	case t.all != nil && most(t.all) > 0:
		pasts = []past{{bench: t.all, share: otherState}, {bench: t.bench, share: 1 - otherState}}
	default:
		pasts = []past{{bench: t.bench, share: 1}}
	}
	for k := range pasts {
		if p := &pasts[k]; p.bench == t.bench {
			p.fits = fits
		} else {
			p.fits = b.weigh(f, p.bench)
		}
	}
	return pasts
}

func (b *builder) hypotheses() {
	// In every state only where there are not too many.
	t := b.trials(len(b.h.States)*len(b.faults) <= mostTried)
	pasts := make([][]past, len(b.faults))
	parallel(len(b.faults), func(i int) { pasts[i] = b.pasts(&b.faults[i], t) })
	b.points, b.fits = 1, []float64{1}
	for i := range b.faults {
		f := &b.faults[i]
		b.m.Causes = append(b.m.Causes, Cause{ID: f.ID, Odds: f.Odds, Source: f.Source, Repair: f.Repair, Mends: f.Mends, Cautions: f.Cautions,
			Key: "part " + f.Kind + " " + f.Mode, Effort: effortOf(f.Kind, f.Mode), Hides: b.loose(f)})
		for _, p := range pasts[i] {
			b.scenario(f, p.bench, i, p.share)
			b.fits = append(b.fits, p.fits...)
		}
	}
	b.misdraw()
}

func (b *builder) scenario(f *circuit.Fault, bench *circuit.Bench, cause int, share float64) {
	sc := scenario{f, bench, b.points, b.loose(f)}
	if b.comesAndGoes() {
		share *= steadyShare
	}
	b.scenarios = append(b.scenarios, sc)
	b.points += f.Points()
	for _, s := range f.Spans() {
		b.m.hyps = append(b.m.hyps, hypothesis{cause: cause, prior: math.Log(f.Odds * s.Weight * share)})
		if sc.loose {
			b.m.hyps = append(b.m.hyps, hypothesis{cause: cause, prior: math.Log(f.Odds * s.Weight * share / steadyShare * (1 - steadyShare))})
		}
	}
}

// Weight of what failed before: each earlier time adds so many times a cause's
// odds, up to a limit (common practice, no source).
const (
	againWeight = 2
	mostAgain   = 3
)

// remember raises the odds of what was mended on this vehicle before: what was
// repaired badly, or wears there, fails again.
func (m *Model) remember(before map[string]int) {
	for i := range m.hyps {
		if n := before[m.Causes[m.hyps[i].cause].ID]; n > 0 {
			m.hyps[i].prior += math.Log(1 + againWeight*float64(min(n, mostAgain)))
		}
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
}

// plan lists the checks that the harness offers.
func (b *builder) plan() {
	states := []circuit.State{b.state}
	if b.state.Name != "" {
		states = append(states, circuit.State{})
	}
	pairs := b.pairs()
	if len(pairs)*b.points > allPairs {
		near := b.near()
		pairs = slices.DeleteFunc(pairs, func(p pair) bool { return !near[p.red] || !near[p.black] })
	}
	for k, s := range states {
		if k == 0 {
			b.short(s)
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

// unused returns the pins that the harness leaves alone: no wire goes there,
// and no connector or splice brings anything there either.
func (b *builder) unused() map[string]bool {
	pins := map[string]bool{}
	for _, p := range b.h.Parts {
		if p.Ways == 0 && !p.Splice {
			for _, pin := range p.Pins {
				pins[p.Name+"."+pin] = true
			}
		}
	}
	for _, w := range b.h.Wires {
		delete(pins, w.From)
		delete(pins, w.To)
	}
	return pins
}

// pairs lists every pin in use against ground, the two ends of everything, and
// the neighbours of every connector.
func (b *builder) pairs() []pair {
	var ps []pair
	seen := map[[2]string]bool{}
	unused := b.unused()
	add := func(p pair) {
		if p.red == p.black || unused[p.red] || unused[p.black] || b.h.NoAccess[p.red] || b.h.NoAccess[p.black] ||
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
			if in.Volts[0] != "" {
				add(pair{red: p.Name + "." + in.Volts[0], black: p.Name + "." + in.Volts[1], across: p.Name, part: p.Name})
			}
		}
		for _, e := range p.Elements {
			add(pair{red: p.Name + "." + e.A, black: p.Name + "." + e.B, across: p.Name, part: p.Name, conductor: e.Blows > 0 || p.Kind == "switch"})
		}
		for _, ends := range b.outer(&p) {
			add(pair{red: ends[0], black: ends[1], across: p.Name, part: p.Name})
		}
		for i := 1; i <= p.Ways; i++ {
			way := fmt.Sprintf("%s.%d", p.Name, i)
			add(pair{red: way + "a", black: way + "b", across: "way " + way, part: p.Name, conductor: true})
		}
		for _, n := range p.Neighbours() {
			for _, side := range []string{"a", "b"} {
				add(pair{red: fmt.Sprintf("%s.%d%s", p.Name, n[0], side), black: fmt.Sprintf("%s.%d%s", p.Name, n[1], side),
					across: fmt.Sprintf("ways %d and %d of %s", n[0], n[1], p.Name), part: p.Name})
			}
		}
	}
	return ps
}

// mostOuter is how many pins a part may have for all pairs of them to be probed.
const mostOuter = 4

// outer returns all pairs of the pins of a small part whose elements lie
// between points inside it, where no probe reaches.
func (b *builder) outer(p *circuit.Part) [][2]string {
	if p.Ways > 0 || p.Splice {
		return nil
	}
	var pins []string
	for _, pin := range p.Pins {
		if !b.h.NoAccess[p.Name+"."+pin] {
			pins = append(pins, p.Name+"."+pin)
		}
	}
	if len(pins) == len(p.Pins) || len(pins) > mostOuter {
		return nil
	}
	var pairs [][2]string
	for i := range pins {
		for j := i + 1; j < len(pins); j++ {
			pairs = append(pairs, [2]string{pins[i], pins[j]})
		}
	}
	return pairs
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

// near returns the pins of what a likely fault touches, the likeliest first up
// to a bound, and the ground.
func (b *builder) near() map[string]bool {
	type weighed struct {
		scenario int
		p        float64
	}
	var faults []weighed
	best := slices.Max(b.fits)
	for i, sc := range b.scenarios {
		fit := 0.0
		for point := range sc.fault.Points() {
			fit = max(fit, b.fits[sc.first+point])
		}
		if fit >= likelyShare*best {
			faults = append(faults, weighed{i, fit * sc.fault.Odds})
		}
	}
	slices.SortStableFunc(faults, func(x, y weighed) int { return cmp.Compare(y.p, x.p) })
	near := map[string]bool{b.h.Ground: true}
	for _, f := range faults {
		if len(near) > nearPins {
			break
		}
		for _, pin := range b.scenarios[f.scenario].fault.Pins(b.h) {
			near[pin] = true
		}
	}
	return near
}

// at says where a pin is in the vehicle: its wires, by name and colour.
func (b *builder) at(pin string) string {
	if b.wires == nil {
		b.wires = map[string][]string{}
		for _, w := range b.h.Wires {
			name := strings.TrimSpace(w.Colour + " wire " + w.Name)
			b.wires[w.From] = append(b.wires[w.From], name)
			b.wires[w.To] = append(b.wires[w.To], name)
		}
	}
	at := slices.Clone(b.wires[pin])
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

func (b *builder) add(c *Check, s circuit.State, mode circuit.ProbeMode) *plan {
	c.State, c.Settings = s.Name, s.Settings
	if c.Power != Off {
		c.Cautions = append(b.m.liveCautions(), c.Cautions...)
	}
	p := &plan{check: c, state: s, mode: mode}
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
	plan := b.add(c, s, circuit.ProbeVolts)
	plan.turn = func(healthy *circuit.Situation) {
		// Red goes where a good vehicle is positive: a minus sign is easily
		// overlooked. Black stays on ground, and a guide's leads where it says.
		if b.asked[plan] || c.Black == b.h.Ground || healthy.Node(c.Red) >= healthy.Node(c.Black) {
			return
		}
		c.Red, c.Black = c.Black, c.Red
		c.ID = voltsID(c.Red, c.Black, s)
		c.Prepare = b.setting(s)
		b.words(c, "DC volts", p.across)
	}
}

func (b *builder) ohms(p pair, s circuit.State) {
	c := &Check{ID: fmt.Sprintf("ohms %s to %s%s", p.red, p.black, stateSuffix(s)), Part: p.part, Power: Off, Mode: Ohms,
		Red: p.red, Black: p.black, Minutes: minutesOhms, Prepare: "Pack unplugged. " + b.setting(s)}
	b.words(c, "Ohms", p.across)
	plan := b.add(c, s, circuit.ProbeOhms)
	plan.turn = func(healthy *circuit.Situation) {
		switch {
		case !b.asked[plan] && healthy.Stirs(&b.meter, c.Red, c.Black):
			// Through a junction ohms hang on the meter: its diode test says more.
			plan.mode, c.Mode = circuit.ProbeDiode, Diode
			c.ID = fmt.Sprintf("diode %s to %s%s", c.Red, c.Black, stateSuffix(s))
			c.Prepare = "Pack unplugged. " + b.setting(s)
			b.words(c, "Diode test", p.across)
		case b.fills(healthy, p.red, p.black):
			c.Prepare = "Pack unplugged. " + b.setting(s) + " " + filling
			b.words(c, "Ohms", p.across)
		}
	}
	if p.conductor {
		c := &Check{ID: fmt.Sprintf("continuity %s to %s%s", p.red, p.black, stateSuffix(s)), Part: p.part, Power: Off, Mode: Continuity,
			Red: p.red, Black: p.black, Minutes: minutesContinuity, Answers: []string{Beep, NoBeep}, Prepare: "Pack unplugged. " + b.setting(s)}
		b.words(c, "Continuity", p.across)
		b.add(c, s, circuit.ProbeOhms)
	}
}

// filling says what an ohmmeter across a capacitor does.
const filling = "A capacitor lies across these two: the reading starts low and rises while the meter fills it. Wait until it stands."

// besideOhms is the most in ohm between a probe and a capacitor's pin for the
// capacitor to be what the meter sees first (common practice, no source).
const besideOhms = 10

// fills reports whether an ohmmeter on two pins of the healthy vehicle, its
// power off, fills a capacitor.
func (b *builder) fills(healthy *circuit.Situation, red, black string) bool {
	near := func(x, y string) bool { return x == y || healthy.Ohms(&b.meter, x, y).Value < besideOhms }
	return slices.ContainsFunc(b.m.Charged, func(c [2]string) bool {
		return near(red, c[0]) && near(black, c[1]) || near(red, c[1]) && near(black, c[0])
	})
}

// short is the check before first power after a repair.
func (b *builder) short(s circuit.State) {
	supply, cells := b.h.FirstSupply()
	if supply == nil {
		return
	}
	red, black := b.reach(supply.Name+"."+cells.A), b.reach(supply.Name+"."+cells.B)
	if red == "" || black == "" || red == black {
		b.m.Short = guideShort() // the person knows where the vehicle's leads can be reached
		return
	}
	b.m.Short = &Check{
		ID: fmt.Sprintf("short check %s to %s%s", red, black, stateSuffix(s)), Part: supply.Name, Power: Off, Mode: Ohms,
		Red: red, Black: black, Minutes: minutesOhms,
		Say: fmt.Sprintf("Before any power: pack unplugged. %s Ohms between the vehicle's two supply leads, where %s and %s plug in.", b.setting(s), red, black),
		Why: "A short that is still there would burn the wiring or the pack.",
	}
	b.add(b.m.Short, s, circuit.ProbeOhms).turn = func(healthy *circuit.Situation) {
		if b.fills(healthy, red, black) {
			b.m.Short.Say += " " + filling
		}
	}
}

// reach returns the pin, or where a probe cannot reach it the other end of a wire
// on it that it can, or "".
func (b *builder) reach(pin string) string {
	if !b.h.NoAccess[pin] {
		return pin
	}
	for _, w := range b.h.Wires {
		for _, ends := range [][2]string{{w.From, w.To}, {w.To, w.From}} {
			if ends[0] == pin && !b.h.NoAccess[ends[1]] {
				return ends[1]
			}
		}
	}
	return ""
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
	}, s, circuit.ProbeAmps)
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
		if in.Volts[0] != "" {
			// An input's range is not seen; the meter asks for it.
			c.ID = voltsID(part.Name+"."+in.Volts[0], part.Name+"."+in.Volts[1], s)
		} else {
			b.add(c, s, 0).look = name
		}
		if b.symptom != nil && s.Name == b.symptom.State && len(b.symptom.Shows[name]) > 0 {
			b.m.Symptom = append(b.m.Symptom, c.ID)
		}
	}
}

// compute solves the harness in every setup with every point of every fault
// and turns the readings into predictions.
func (b *builder) compute() error {
	points := b.likely()
	for _, setup := range b.setups() {
		if err := b.solve(setup, points); err != nil {
			return err
		}
	}
	b.narrow()
	spans := make([][]int, b.points) // hypotheses that begin or end at each point
	var ends [][2]int                // by hypothesis
	var loose []bool
	b.each(func(hyp, from, to, _ int, _ *scenario, comes bool) {
		b.m.hyps[hyp].prior += math.Log((b.fits[from] + b.fits[to]) / 2)
		ends, loose = append(ends, [2]int{from, to}), append(loose, comes)
		spans[from] = append(spans[from], hyp)
		if to != from {
			spans[to] = append(spans[to], hyp)
		}
	})
	parallel(len(b.plans), func(i int) {
		p := b.plans[i]
		usual := b.predict(p, &p.healthy, &p.healthy)
		p.check.shows.usual(usual)
		last := -1
		astray := make([]bool, len(b.misdrawn))
		for _, m := range p.moved {
			if len(b.astray) > 0 && b.astray[m.point] >= 0 {
				astray[b.astray[m.point]] = true
			}
			for _, hyp := range spans[m.point] {
				if hyp > last {
					shows := b.predict(p, p.at(ends[hyp][0]), p.at(ends[hyp][1]))
					if loose[hyp] {
						shows = leftAlone(usual, shows)
					}
					p.check.shows.set(hyp, shows)
					last = hyp
				}
			}
		}
		if slices.Contains(astray, true) {
			elsewhere := b.elsewhere(p)
			for k, w := range b.misdrawn {
				if astray[k] {
					p.check.shows.set(w.hyp, elsewhere)
				}
			}
		}
		b.expect(p)
	})
	return nil
}

// setups returns the plans that are made with the vehicle standing alike.
func (b *builder) setups() [][]*plan {
	type setup struct {
		state string
		off   bool
	}
	var out [][]*plan
	at := map[setup]int{}
	for _, p := range b.plans {
		k := setup{p.state.Name, p.check.Power == Off}
		i, ok := at[k]
		if !ok {
			i = len(out)
			at[k] = i
			out = append(out, nil)
		}
		out[i] = append(out[i], p)
	}
	return out
}

// solve finds the outcomes of the plans of one setup at some points, in rising
// order.
func (b *builder) solve(plans []*plan, points []int) error {
	s, off := plans[0].state, plans[0].check.Power == Off
	healthy, err := b.bench.Put(nil, 0, s, off)
	if err != nil {
		return err
	}
	others := b.levels(healthy)
	// Its base network is factored now, so that the points only read it.
	parallel(len(plans), func(i int) {
		p := plans[i]
		if p.turn != nil {
			p.turn(healthy)
		}
		if p.look != "" {
			p.healthy.word = healthy.Shows(p.look)
			return
		}
		p.black, p.others = healthy.Node(p.check.Black), others
		p.probe = healthy.Probe(&b.meter, p.mode, p.check.Red, p.check.Black)
		p.healthy.reading = p.probe.Healthy
	})
	moved := make([][]*outcome, len(points)) // by plan, nil where it does not move
	parallel(len(points), func(k int) {
		sit, err := b.put(points[k], s, off)
		if err == nil && sit.Unchanged() {
			return
		}
		row := make([]*outcome, len(plans))
		for i, p := range plans {
			row[i] = p.in(sit, err)
		}
		moved[k] = row
	})
	parallel(len(plans), func(i int) {
		p := plans[i]
		for k, point := range points {
			if moved[k] != nil && moved[k][i] != nil {
				p.moved = append(p.moved, movedPoint{point, *moved[k][i]})
			}
		}
	})
	return nil
}

// Bounds of a model, so that a harness of any size is ready in seconds.
const (
	// allPairs is how many pairs of pins, at every point, are all looked at;
	// in bigger harnesses only those near a likely fault.
	allPairs = 5e6
	// nearPins is about how many pins those have.
	nearPins = 600
	// mostTried is how many faults, in every state, are tried for the fuses that
	// they blow.
	mostTried = 5000
	// allReadings is how many readings, of every check at every point, are no
	// work to speak of.
	allReadings = 1e7
	// keptAlike is how many checks are kept of those that the same points move.
	keptAlike = 4
	// likelyShare is the share of the best fit to the symptom that a point must
	// have for its checks to be kept in a harness with too many.
	likelyShare = 0.5
)

// big reports whether there are too many checks and points to work out all.
func (b *builder) big() bool { return len(b.plans)*b.points > allReadings }

// likely returns the points that fit the symptom, or all points of a harness
// that is not big. The others are taken to leave every check alone: what shows
// itself elsewhere is another case.
func (b *builder) likely() []int {
	best, big := slices.Max(b.fits), b.big()
	var points []int
	for point := 1; point < b.points; point++ {
		if !big || b.fits[point] >= likelyShare*best {
			points = append(points, point)
		}
	}
	return points
}

// moves returns a key of the setup, the mode and the points that move the check.
func (p *plan) moves() string {
	key := fmt.Appendf(nil, "%s|%s|%s", p.state.Name, p.check.Power, p.check.Mode)
	for _, m := range p.moved {
		key = fmt.Appendf(key, " %d", m.point)
	}
	return string(key)
}

// narrow drops from a big harness the checks that no likely point moves, and
// all but a few of those that the same points move.
func (b *builder) narrow() {
	if !b.big() {
		return
	}
	keep := map[*plan]bool{}
	alike := map[string]int{}
	for _, p := range b.plans {
		if len(p.moved) == 0 {
			continue
		}
		k := p.moves()
		alike[k]++
		keep[p] = alike[k] <= keptAlike
	}
	for _, p := range b.plans {
		keep[p] = keep[p] || p.check == b.m.Short || slices.Contains(b.m.Symptom, p.check.ID) || b.asked[p]
	}
	gone := map[*Check]bool{}
	b.plans = slices.DeleteFunc(b.plans, func(p *plan) bool {
		gone[p.check] = !keep[p]
		return !keep[p]
	})
	b.m.Checks = slices.DeleteFunc(b.m.Checks, func(c *Check) bool { return gone[c] })
}

// parallel calls do for every i below n, on all processors. The calls are
// independent, so that the outcome does not depend on their order; neighbours
// run one after the other, as they share what the circuit works out for them.
func parallel(n int, do func(i int)) {
	const most = 64 // at a stretch
	workers := runtime.GOMAXPROCS(0)
	stretch := max(1, min(most, n/(4*workers)))
	var wg sync.WaitGroup
	var taken atomic.Int64
	for range min(n, workers) {
		wg.Go(func() {
			for {
				first := int(taken.Add(int64(stretch))) - stretch
				if first >= n {
					return
				}
				for i := first; i < min(first+stretch, n); i++ {
					do(i)
				}
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

// weigh returns how well the symptom fits each point of a fault.
func (b *builder) weigh(f *circuit.Fault, bench *circuit.Bench) []float64 {
	fits := slices.Repeat([]float64{1}, f.Points())
	if b.symptom == nil {
		return fits
	}
	for point := range fits {
		fits[point] = b.fit(bench.Put(f, point, b.state, false))
	}
	return fits
}

// fit returns how well the symptom fits what a part does in its state; where no
// consistent state was found it may show anything.
func (b *builder) fit(sit *circuit.Situation, err error) float64 {
	if b.symptom == nil {
		return 1
	}
	if err != nil {
		return 0.5
	}
	fit := 1.0
	for _, name := range slices.Sorted(maps.Keys(b.symptom.Shows)) {
		if slices.Contains(b.symptom.Shows[name], sit.Shows(name)) {
			fit *= 1 - wrongWord
		} else {
			fit *= wrongWord
		}
	}
	return max(fit, wrongWord*wrongWord)
}

// predict returns what a check shows under a hypothesis that runs from one
// outcome to another.
func (b *builder) predict(p *plan, x, y *outcome) prediction {
	switch {
	case p.look != "":
		return prediction{row: mean(wordRow(p.check.Answers, x.word), wordRow(p.check.Answers, y.word))}
	case p.check.Mode == Continuity:
		return prediction{row: mean(b.beepRow(x), b.beepRow(y))}
	}
	out := prediction{spans: []span{{weight: 1, unknown: true}}}
	if !x.failed && !y.failed {
		out.spans = between(x.reading, y.reading, p.check.Mode)
	}
	out.danger = p.check.Mode == AmpsDC && (x.reading.Over || y.reading.Over || x.failed || y.failed)
	return out
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

func (b *builder) beepRow(o *outcome) []float64 {
	beep := 0.5
	switch {
	case o.failed:
	case o.reading.Over:
		beep = 0
	default:
		beep = normalCDF((b.meter.BeepOhms - o.reading.Value) / max(o.reading.Sigma, 1))
	}
	return []float64{beep, 1 - beep}
}

// leastOff is what a healthy reading may be off at the least: nobody calls a
// contact bad for less (V, ohm, A; common practice, no source).
var leastOff = map[Mode]float64{VoltsDC: 0.05, Ohms: 0.5, Diode: 0.05, AmpsDC: 0.02}

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
	c, r := p.check, p.healthy.reading
	switch {
	case c == b.m.Short:
		// Only a short matters here, not the exact load.
		c.Expect = &Range{min(r.Value/coldShare, noShortOhms), math.Inf(1)}
	case p.look != "":
		c.Healthy = p.healthy.word
	case c.Mode == Continuity:
		c.Healthy = NoBeep
		if !r.Over && r.Value < b.meter.BeepOhms {
			c.Healthy = Beep
		}
	case r.Over && c.Mode == Diode:
		c.Expect = &Range{b.meter.DiodeVolts, math.Inf(1)}
	case r.Over && c.Mode == Ohms:
		c.Expect = &Range{b.meter.LargestOhms / 10, math.Inf(1)}
	case !r.Over:
		off := max(expectSigmas*r.Sigma, leastOff[c.Mode])
		c.Expect = &Range{r.Value - off, r.Value + off}
		if c.Mode == Ohms && r.Value > leastOff[Ohms] {
			c.Expect.Low = max(c.Expect.Low, r.Value/coldShare)
		}
	}
}
