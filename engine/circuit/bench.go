package circuit

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// Bench solves a harness, healthy or with a fault, in its states. Once it has
// put the healthy harness in a setup, any number of goroutines may put faults
// in the same setup.
type Bench struct {
	h     *Harness
	net   *network
	bases map[setup]*base
	tried []State  // states in which the vehicle has been powered: blown fuses stay blown
	one   bool     // of several fuses that are overloaded at once, only the most overloaded blows
	blew  sync.Map // by situated: what tried says of it, so that it is found once
	seen  sync.Map // indicators by name
}

// situated is a point of a fault.
type situated struct {
	fault *Fault
	point int
}

// setup is one way to stand the vehicle on the bench.
type setup struct {
	state string
	off   bool
}

// base is the healthy network in one setup, factored.
type base struct {
	off      bool
	branches []branch
	at       point
	diodes   []int // indexes of its diodes
	loose    []int // and of branches that are known to a tolerance only, or may be
	rows     [][]term
	rhs      []float64
	ordered  func() (*ordered, error)
	settled  *ordered  // factored at the base's point, where fixed pivots have found it
	spare    sync.Pool // of *repivot
	factored func() (*factored, error)
}

// factored is what low-rank changes to a base are made of. Where fixed pivots
// do for all faults nothing of it is asked for.
type factored struct {
	lu      *sparseLU
	x       []float64 // the base's unknowns
	largest float64   // A, of any branch
	columns vectors   // of the inverse
	across  vectors   // rows of the inverse
}

func (b *Bench) factor(ba *base) (*factored, error) {
	lu, err := factor(slices.Clone(ba.rows))
	if err != nil {
		return nil, err
	}
	f := &factored{lu: lu, x: lu.solve(slices.Clone(ba.rhs))}
	for _, amps := range f.x[b.net.nodes:] {
		f.largest = max(f.largest, math.Abs(amps))
	}
	f.columns = vectors{find: lu.solve, kept: make([]atomic.Pointer[column], len(f.x))}
	f.across = vectors{find: lu.solveTransposed, kept: make([]atomic.Pointer[column], len(f.x))}
	return f, nil
}

// find moves the base to its consistent point.
func (b *Bench) find(ba *base) error {
	c, err := b.change(&solution{bench: b, ba: ba})
	if err == nil {
		var at point
		if at, err = b.search(ba.branches, nil, ba.at, ba.off, c.step); err == nil {
			_, err = c.whole()
		}
		if err == nil {
			ba.at, ba.settled = at, c.o
			return nil
		}
	}
	ba.at, err = b.full(ba.branches, nil, ba.at, ba.off)
	return err
}

// order finds pivots for the base that serve wherever its active branches
// stand: their rows come last, by their own currents, so that no other pivot
// leans on them, and hold all that they may hold.
func (b *Bench) order(ba *base) (*ordered, error) {
	const little = 1e-6 // S
	const least = 1e-6  // of an own current's entry
	rows := slices.Clone(ba.rows)
	vary := &varying{row: make([]bool, len(rows)), col: make([]bool, len(rows))}
	look := func(nodes ...int) {
		for _, v := range nodes {
			if v >= 0 {
				vary.col[v] = true
			}
		}
	}
	for _, i := range b.net.active {
		br, r := ba.branches[i], b.net.nodes+i
		br.Cut, br.dead = false, false
		rows[r], _ = b.net.equation(i, &br, b.net.start(), 1)
		if br.typ == Diode {
			br.tangent(rows[r], r, little)
		}
		vary.row[r], vary.col[r] = true, true
		look(br.a, br.b)
		for _, w := range br.when {
			look(w.p, w.m)
		}
		if x, _ := entry(rows[r], r); math.Abs(x) >= least {
			vary.first = append(vary.first, r)
		}
	}
	o, err := fixPivots(rows, vary)
	if err != nil {
		return nil, err
	}
	return o, o.factor(ba.rows, nil) // what does not vary is done with that
}

// vectors are found when they are asked for, and kept while there is room.
type vectors struct {
	find func(unit []float64) []float64
	kept []atomic.Pointer[column]
	mu   sync.Mutex
	old  []int // indexes of what is kept, oldest first

	spare sync.Pool // of *[]float64, zero
}

// vectorBytes is how much memory in bytes the vectors of one base may take.
const vectorBytes = 64 << 20

func (vs *vectors) at(j int) *column {
	if v := vs.kept[j].Load(); v != nil {
		return v
	}
	unit, ok := vs.spare.Get().(*[]float64)
	if !ok {
		room := make([]float64, len(vs.kept))
		unit = &room
	}
	(*unit)[j] = 1
	v := &column{x: vs.find(*unit)}
	clear(*unit)
	vs.spare.Put(unit)
	for _, x := range v.x {
		if x < 0 {
			x = -x
		}
		if x > v.most {
			v.most = x
		}
	}
	vs.mu.Lock()
	defer vs.mu.Unlock()
	if vs.kept[j].Swap(v) == nil {
		vs.old = append(vs.old, j)
	}
	for len(vs.old) > max(64, vectorBytes/8/len(vs.kept)) {
		vs.kept[vs.old[0]].Store(nil)
		vs.old = vs.old[1:]
	}
	return v
}

// NewBench returns a bench for the harness whose vehicle has been powered at
// rest and in the tried states. It fails where the healthy network has no
// consistent solution.
func NewBench(h *Harness, tried ...State) (*Bench, error) {
	b := &Bench{h: h, net: h.network(), bases: map[setup]*base{}}
	return b.Tried(append([]State{{}}, tried...)...)
}

// Tried returns a bench for the same harness whose vehicle has been powered in
// these states. It shares its setups with the bench that it comes from.
func (b *Bench) Tried(states ...State) (*Bench, error) {
	for _, s := range states {
		if _, err := b.base(s, false); err != nil {
			return nil, err
		}
	}
	return &Bench{h: b.h, net: b.net, bases: b.bases, tried: states}, nil
}

// OneByOne returns a bench for the same harness, tried in the same states, in
// which the most overloaded of several fuses blows first and may save the others.
func (b *Bench) OneByOne() *Bench {
	return &Bench{h: b.h, net: b.net, bases: b.bases, tried: b.tried, one: true}
}

// Fresh returns a bench for the same harness whose fuses are all new: none has
// blown before the state that is solved.
func (b *Bench) Fresh() *Bench { return &Bench{h: b.h, net: b.net, bases: b.bases} }

func (b *Bench) base(s State, off bool) (*base, error) {
	key := setup{s.Name, off}
	if ba := b.bases[key]; ba != nil {
		return ba, nil
	}
	ba := &base{off: off, branches: b.set(s), at: b.net.start()}
	if off {
		for i := range ba.branches {
			br := &ba.branches[i]
			switch {
			case br.typ == Source || br.typ == Follower || br.typ == Mirror:
				br.dead = true
			case slices.ContainsFunc(br.when, func(w condition) bool { return w.above >= 0 || w.below <= 0 }):
				ba.at.regions[b.net.slot[i]] = idle // its condition is not met by no voltage
			case br.cold > 0:
				br.Ohms = br.cold
				if br.coldTolerance > 0 {
					br.tolerance, br.alike = br.coldTolerance, true
				}
			}
		}
	}
	for _, i := range b.net.active {
		if ba.branches[i].typ == Diode {
			ba.diodes = append(ba.diodes, i)
		}
	}
	failed := func(err error) (*base, error) {
		return nil, fmt.Errorf("state %q of the healthy harness: %w", s.Name, err)
	}
	for i := range ba.branches {
		if br := &ba.branches[i]; br.tolerance > 0 || br.Ohms >= OpenOhms || b.net.slot[i] >= 0 {
			ba.loose = append(ba.loose, i)
		}
	}
	ba.rows, ba.rhs = b.net.matrix(ba.branches, nil, ba.at, 1)
	ba.ordered = sync.OnceValues(func() (*ordered, error) { return b.order(ba) })
	if len(b.net.active) > 0 && !(off && len(ba.diodes) == 0) {
		if err := b.find(ba); err != nil {
			return failed(err)
		}
		for _, i := range b.net.active {
			r := b.net.nodes + i
			ba.rows[r], ba.rhs[r] = b.net.equation(i, &ba.branches[i], ba.at, 1)
		}
	}
	ba.factored = sync.OnceValues(func() (*factored, error) { return b.factor(ba) })
	if ba.settled == nil {
		if _, err := ba.factored(); err != nil {
			return failed(err)
		}
	}
	b.bases[key] = ba
	return ba, nil
}

// set returns the branches with every part at its setting in the state.
func (b *Bench) set(s State) []branch {
	branches := slices.Clone(b.net.branches)
	for _, p := range b.h.Parts {
		setting := p.Rest
		if s.Settings[p.Name] != "" {
			setting = s.Settings[p.Name]
		}
		for id, v := range p.Settings[setting] {
			branches[b.net.branch[partKey(p.Name, id)]].Values = v
		}
	}
	return branches
}

// Situation is the vehicle on the bench with a fault in it, solved.
type Situation struct {
	bench       *Bench
	sol         *solution
	says        map[string]string
	blown       []int
	found       sync.Once
	all, strong []uncertain // found when first asked for
}

// Put solves the harness in a state with one point of a fault; a nil fault is
// the healthy harness. With off, every source is disconnected. Fuses that the
// fault blows in a state tried before, or in this one, are blown.
func (b *Bench) Put(f *Fault, point int, s State, off bool) (*Situation, error) {
	var c alteration
	var says map[string]string
	if f != nil {
		c, says = f.points[point], f.says
	}
	blown, err := b.blowBefore(f, point, c)
	if err != nil {
		return nil, err
	}
	if off {
		ba, err := b.base(s, true)
		if err != nil {
			return nil, err
		}
		sol, err := b.settle(ba, ba.at, b.changed(ba, c, blown), b.joins(ba, c))
		if err != nil {
			return nil, err
		}
		return b.situation(f, sol, says, blown), nil
	}
	blown, sol, err := b.blow(s, c, blown)
	if err != nil {
		return nil, err
	}
	return b.situation(f, sol, says, blown), nil
}

// situation is what Put found. The healthy one is read by any number of
// goroutines, so that nothing of its solution is left to be worked out.
func (b *Bench) situation(f *Fault, sol *solution, says map[string]string, blown []int) *Situation {
	if f == nil {
		sol.prepare()
	}
	return &Situation{bench: b, sol: sol, says: says, blown: blown}
}

// blowBefore returns the fuses that the fault blows in the states tried before.
func (b *Bench) blowBefore(f *Fault, point int, c alteration) ([]int, error) {
	if len(b.net.fuses) == 0 {
		return nil, nil
	}
	if o, ok := b.blew.Load(situated{f, point}); ok {
		return o.(outcome).blown, o.(outcome).err
	}
	o, _, _ := b.try(f, point, c)
	return o.blown, o.err
}

// outcome is what trying a fault came to.
type outcome struct {
	blown []int
	err   error
}

// try solves the states tried before, one after the other. It returns what they came
// to, and the solution of the last state or why it has none. One that hunts has none,
// and what it blew is known all the same.
func (b *Bench) try(f *Fault, point int, c alteration) (outcome, *solution, error) {
	var o outcome
	var last *solution
	states := b.tried
	if len(b.net.fuses) == 0 {
		states = states[len(states)-1:] // nothing stays of the others
	}
	var err error
	for _, tried := range states {
		if o.blown, last, err = b.blow(tried, c, o.blown); err != nil && !errors.Is(err, errHunts) {
			o.err = err
			break
		}
	}
	b.blew.Store(situated{f, point}, o)
	return o, last, err
}

// Blows returns how many fuses the point of a fault blows in the states tried
// before. A point of which that cannot be worked out blows none.
func (b *Bench) Blows(f *Fault, point int) int {
	blown, err := b.blowBefore(f, point, f.points[point])
	if err != nil {
		return 0
	}
	return len(blown)
}

// Try is Blows and Put in the last of the states tried before, of which there is
// at least one: what that state has come to once all fuses have blown that blow.
func (b *Bench) Try(f *Fault, point int) (blows int, last *Situation, err error) {
	o, sol, err := b.try(f, point, f.points[point])
	if err != nil {
		return len(o.blown), nil, err
	}
	return len(o.blown), b.situation(f, sol, f.says, o.blown), nil
}

// errHunts says that something switches on and off in turn, so that there is no
// steady state, but that what it blows is known.
var errHunts = fmt.Errorf("something switches on and off in turn: %w", ErrNoRegions)

// blow solves a powered state and blows every fuse whose steady current
// exceeds twice its rating, until none does. With [errHunts] it returns the fuses
// all the same.
func (b *Bench) blow(s State, c alteration, blown []int) ([]int, *solution, error) {
	ba, err := b.base(s, false)
	if err != nil {
		return nil, nil, err
	}
	blown = slices.Clone(blown)
	joins := b.joins(ba, c)
	for {
		sol, err := b.settle(ba, ba.at, b.changed(ba, c, blown), joins)
		hunting := errors.Is(err, ErrNoRegions)
		if hunting {
			// Something switches on and off in turn. A fuse need not wait for it.
			var herr error
			if sol, herr = b.settle(ba, ba.at, b.held(ba, b.changed(ba, c, blown)), joins); herr != nil {
				return nil, nil, err
			}
		} else if err != nil {
			return nil, nil, err
		}
		var over []int
		for _, i := range b.net.fuses {
			if b.overload(sol, i) > 2 && !slices.Contains(blown, i) {
				over = append(over, i)
			}
		}
		more := len(over) > 0
		if b.one && more {
			over = []int{slices.MaxFunc(over, func(x, y int) int { return cmp.Compare(b.overload(sol, x), b.overload(sol, y)) })}
		}
		blown = append(blown, over...)
		if !more {
			if hunting {
				return blown, nil, errHunts
			}
			return blown, sol, nil
		}
	}
}

// overload is the current of a fuse by its rating.
func (b *Bench) overload(sol *solution, i int) float64 {
	return math.Abs(sol.amps(i)) / b.net.branches[i].blows
}

// held returns the changed branches with everything in them that waits for a
// voltage switched on, as it is for a moment where it switches on and off in turn.
func (b *Bench) held(ba *base, changed map[int]branch) map[int]branch {
	for i := range ba.branches {
		br, ok := changed[i]
		if !ok {
			br = ba.branches[i]
		}
		if len(br.when) > 0 && !slices.ContainsFunc(br.when, func(w condition) bool { return !math.IsInf(w.below, 1) }) {
			br.when = nil
			changed[i] = br
		}
	}
	return changed
}

// changed returns the branches that differ from the base's.
func (b *Bench) changed(ba *base, c alteration, blown []int) map[int]branch {
	m := map[int]branch{}
	get := func(i int) branch {
		if br, ok := m[i]; ok {
			return br
		}
		return ba.branches[i]
	}
	for key, v := range c.set {
		i := b.net.branch[key]
		br := get(i)
		br.Values = v
		if ba.off && br.cold > 0 && v.Ohms == b.net.branches[i].Ohms {
			br.Ohms = br.cold
		}
		m[i] = br
	}
	for key, ohms := range c.add {
		i := b.net.branch[key]
		br := get(i)
		br.Ohms += ohms
		m[i] = br
	}
	for _, key := range c.cut {
		i := b.net.branch[key]
		br := get(i)
		br.Cut = true
		m[i] = br
	}
	for _, t := range c.taps {
		i := b.net.branch[wireKey(t.wire)]
		br := get(i)
		br.Cut = true // its two halves are joins
		m[i] = br
	}
	for _, i := range blown {
		br := get(i)
		br.Ohms = OpenOhms
		m[i] = br
	}
	return m
}

// conductance is a path of some siemens between two nodes.
type conductance struct {
	a, b int
	g    float64
}

func (b *Bench) joins(ba *base, c alteration) []conductance {
	var js []conductance
	for _, j := range c.join {
		if a, z := b.net.node[j.a], b.net.node[j.b]; a != z {
			js = append(js, conductance{a, z, 1 / j.ohms})
		}
	}
	for _, t := range c.taps {
		// The wire's middle, joined to both ends by half its resistance and to
		// a pin by the fault, is a star; the equal triangle needs no new node.
		w := &ba.branches[b.net.branch[wireKey(t.wire)]]
		to := b.net.node[t.pin]
		half, down := 2/w.Ohms, 1/BridgeOhms
		sum := 2*half + down
		for _, j := range []conductance{{w.a, w.b, half * half / sum}, {w.a, to, half * down / sum}, {w.b, to, half * down / sum}} {
			if j.a != j.b {
				js = append(js, j)
			}
		}
	}
	return js
}

// Shows returns what the indicator, part or part.indicator, shows.
func (s *Situation) Shows(name string) string {
	if w, ok := s.says[name]; ok {
		return w
	}
	p, in := s.bench.indicator(name)
	if in == nil {
		return ""
	}
	if in.Amps != "" {
		return in.word(math.Abs(s.sol.amps(s.bench.net.branch[partKey(p.Name, in.Amps)])))
	}
	if in.Watts != "" {
		i := s.bench.net.branch[partKey(p.Name, in.Watts)]
		br := &s.bench.net.branches[i]
		return in.word((s.volts(br.a) - s.volts(br.b)) * s.sol.amps(i))
	}
	return in.word(s.volts(s.bench.net.node[p.Name+"."+in.Volts[0]]) - s.volts(s.bench.net.node[p.Name+"."+in.Volts[1]]))
}

// indicator is Harness.Indicator, looked up once.
func (b *Bench) indicator(name string) (*Part, *Indicator) {
	type found struct {
		p  *Part
		in *Indicator
	}
	if f, ok := b.seen.Load(name); ok {
		return f.(found).p, f.(found).in
	}
	p, in := b.h.Indicator(name)
	b.seen.Store(name, found{p, in})
	return p, in
}

// Node returns the voltage of a pin against ground with no meter connected.
func (s *Situation) Node(pin string) float64 { return s.volts(s.bench.net.node[pin]) }

// Nodes returns the voltage of every pin of the harness against ground, in its
// order, with no meter connected.
func (s *Situation) Nodes() []float64 {
	out := make([]float64, len(s.bench.net.pins))
	for i, node := range s.bench.net.pins {
		out[i] = s.volts(node)
	}
	return out
}

// Blown returns the names of the parts whose fuses are blown.
func (s *Situation) Blown() []string {
	var names []string
	for _, i := range s.blown {
		for _, p := range s.bench.h.Parts {
			for _, e := range p.Elements {
				if partKey(p.Name, e.ID) == s.bench.net.branches[i].key {
					names = append(names, p.Name)
				}
			}
		}
	}
	return names
}

func (s *Situation) volts(node int) float64 { return unknowns(s.sol.value).volts(node) }
