package circuit

import (
	"errors"
	"maps"
	"math"
	"slices"
)

// ErrNoRegions says that no choice of working regions of the active parts is
// consistent within the bound of the search.
var ErrNoRegions = errors.New("the active parts of the circuit find no consistent state")

// ErrNoConvergence says that the junctions of the circuit did not settle.
var ErrNoConvergence = errors.New("the junctions of the circuit do not settle")

const (
	// maxSettle bounds the search for consistent regions.
	maxSettle = 64
	// maxEnumerate bounds how many choices of regions are tried one by one.
	maxEnumerate = 729
	// maxNewton bounds the steps of Newton's method at one choice of regions.
	maxNewton = 100
	// junctionVolts is how far the voltage of a junction may be off.
	junctionVolts = 1e-5
	// diesAmps is the share of its current that a junction which goes out has left.
	diesAmps = 0.05
)

// sourceSteps are the shares of their volts that the sources are raised
// through when the junctions do not settle at once.
var sourceSteps = [...]float64{0.01, 0.03, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1}

// unknowns gives a solved unknown by its index: node voltages in V, then branch
// currents in A.
type unknowns func(i int) float64

// volts returns the voltage of a node.
func (x unknowns) volts(node int) float64 {
	if node < 0 {
		return 0
	}
	return x(node)
}

// injection is a current driven into a node.
type injection struct {
	node int
	amps float64
}

// inject adds a share of the driven currents to a right side.
func inject(rhs []float64, drive []injection, share float64) {
	for _, d := range drive {
		if d.node >= 0 {
			rhs[d.node] += share * d.amps
		}
	}
}

// manyMoved is how many branches away from the base's point make it cheaper to
// factor the network anew with its old pivots than to move them one by one.
const manyMoved = 12

// manyJunctions is how many junctions make it likely that a fault moves many.
const manyJunctions = 50

// settle solves the base with the changed branches and joins, and moves the
// junctions and regions, from a point that may be near, until all are
// consistent. Low-rank steps do for few that move, fixed pivots for many; where
// neither gets there, the whole network is factored anew.
func (b *Bench) settle(ba *base, from point, changed map[int]branch, joins []conductance, drive ...injection) (*solution, error) {
	sol := &solution{bench: b, ba: ba, branches: changed, joins: joins, drive: drive, at: ba.at}
	if len(b.net.active) == 0 || ba.off && len(ba.diodes) == 0 {
		sol.prepare()
		return sol, sol.err
	}
	var c *change // once it has come to that
	var refused error
	defer func() {
		if c != nil {
			ba.spare.Put(c.repivot)
		}
	}()
	at, err := b.search(ba.branches, changed, from, ba.off, func(at point) (unknowns, error) {
		if (len(ba.diodes) > manyJunctions || sol.moved(at) > manyMoved) && refused == nil {
			if c == nil {
				c, refused = b.change(sol)
			}
			var x unknowns
			if refused == nil {
				x, refused = c.step(at)
			}
			if refused == nil {
				sol.ready, sol.x = false, nil
				return x, nil
			}
		}
		sol.at, sol.ready, sol.x = at.clone(), false, nil
		sol.prepare()
		return sol.value, sol.err
	})
	if errors.Is(err, ErrNoRegions) {
		return nil, err
	}
	if err != nil {
		all := slices.Clone(ba.branches)
		for i, br := range changed {
			all[i] = br
		}
		if at, err = b.full(all, joins, ba.at, ba.off, drive...); err != nil {
			return nil, err
		}
		sol.ready, sol.x = false, nil
	}
	sol.at = at
	if !sol.ready && c != nil && refused == nil {
		if sol.x, refused = c.whole(); refused == nil {
			return sol, nil
		}
	}
	sol.prepare()
	return sol, sol.err
}

// change returns a change that solves by fixed pivots.
func (b *Bench) change(sol *solution) (*change, error) {
	if r, ok := sol.ba.spare.Get().(*repivot); ok {
		return &change{repivot: r, b: b, sol: sol}, nil
	}
	r, err := b.repivot(sol.ba)
	if err != nil {
		return nil, err
	}
	return &change{repivot: r, b: b, sol: sol}, nil
}

// repivot factors a base with its active branches at any point, by fixed pivots.
type repivot struct {
	ba    *base
	o     *ordered
	rows  [][]term // the base's, with the active ones at the point
	rhs   []float64
	right *vector   // for rhs
	begun vector    // what the first steps make of the base's right side
	late  []float64 // the solution, as far as later steps find it
	room  []*vector // right, then those for the columns of a change
	unit  []float64 // zero but while a column is made
	anew  []bool    // by row: it has changed since the last step
	was   point     // that it stood at in the last step
}

func (b *Bench) repivot(ba *base) (*repivot, error) {
	pattern, err := ba.ordered()
	if err != nil {
		return nil, err
	}
	r := &repivot{ba: ba, o: pattern.like(), rows: slices.Clone(ba.rows), rhs: make([]float64, len(ba.rhs))}
	for _, i := range b.net.active {
		row := b.net.nodes + i
		r.rows[row] = slices.Clone(r.rows[row])
	}
	r.right, r.unit, r.anew = r.o.vector(), make([]float64, len(ba.rhs)), make([]bool, len(ba.rhs))
	r.room = []*vector{r.right}
	r.right.forward(ba.rhs, 0)
	r.begun = vector{y: slices.Clone(r.right.y[:r.o.done]), begun: slices.Clone(r.right.begun)}
	r.late = make([]float64, len(ba.rhs))
	return r, nil
}

// change is a solution's change to the base, on a repivot that it has for itself.
type change struct {
	*repivot
	b     *Bench
	sol   *solution
	put   []int // changed branches, sorted
	begin bool  // the first steps have still to take in the right side

	v     [][]term
	w     []*vector
	z     []float64 // weights of w
	full  []float64 // rhs with that of the change
	cut   bool      // a branch is cut
	known bool      // it is factored at was
}

// step solves at a point: the branches that are only active by fixed pivots, the
// change by low rank. The unknowns are good until the next step.
func (c *change) step(at point) (unknowns, error) {
	n := c.b.net.nodes
	fresh := c.put == nil
	if fresh {
		copy(c.rhs, c.ba.rhs)
		copy(c.right.y, c.begun.y)
		copy(c.right.begun, c.begun.begun)
		inject(c.rhs, c.sol.drive, 1)
		c.begin = len(c.sol.drive) > 0
		c.put = slices.AppendSeq([]int{}, maps.Keys(c.sol.branches))
		slices.Sort(c.put)
	}
	if err := c.stand(at, fresh); err != nil {
		return nil, err
	}
	c.v = c.v[:0]
	full := c.rhs
	for _, i := range c.put {
		terms, right := c.b.net.equation(i, c.sol.branch(i), at, 1)
		c.cut = c.cut || len(terms) == 1
		if right != c.rhs[n+i] {
			if &full[0] == &c.rhs[0] {
				full = slices.Clone(c.rhs)
			}
			full[n+i] = right
			c.begin = c.begin || fresh
		}
		c.unit[n+i] = 1
		c.column(less(terms, c.rows[n+i]), c.o.rowAt[n+i], fresh)
		c.unit[n+i] = 0
	}
	for _, j := range c.sol.joins {
		v, begin := ends(j.a, j.b), len(c.unit)
		for _, end := range v {
			c.unit[end.at] = end.x * j.g
			begin = min(begin, c.o.rowAt[end.at])
		}
		c.column(v, begin, fresh)
		for _, end := range v {
			c.unit[end.at] = 0
		}
	}
	c.full = full
	if c.begin {
		c.right.forward(full, 0)
		c.begin = false
	} else {
		c.right.later(full)
	}
	c.w = c.room[1 : 1+len(c.v)]
	c.o.backward(c.room[:1+len(c.v)])
	return c.value, c.weigh()
}

// stand puts the active branches at a point and factors. What the base's own
// point comes to is known, and most changes begin there; from one point to the
// next only what hangs on a branch that has moved is worked out.
func (c *change) stand(at point, fresh bool) error {
	n := c.b.net.nodes
	if fresh && c.ba.settled != nil {
		for _, i := range c.b.net.active {
			c.rows[n+i] = append(c.rows[n+i][:0], c.ba.rows[n+i]...)
		}
		c.o.take(c.ba.settled)
		c.was.copy(c.ba.at)
		c.known = true
	}
	clear(c.anew)
	moved := false
	for s, i := range c.b.net.active {
		if c.known && !at.differs(&c.was, s) {
			continue
		}
		br := &c.ba.branches[i]
		if _, done := c.sol.branches[i]; done {
			c.rows[n+i], c.rhs[n+i] = slices.Clone(c.ba.rows[n+i]), c.ba.rhs[n+i]
			continue
		}
		c.anew[n+i], moved = true, true
		if br.typ == Diode && at.regions[s] == conducting && !br.Cut && !br.dead && len(c.rows[n+i]) == len(c.o.pattern[n+i]) {
			g, amps := br.junction(at.at[s])
			br.tangent(c.rows[n+i], n+i, g)
			c.rhs[n+i] = g*at.at[s] - amps
			continue
		}
		c.rows[n+i], c.rhs[n+i] = c.b.net.equation(i, br, at, 1)
	}
	c.was.copy(at)
	if c.known && !moved {
		return nil
	}
	var anew []bool // all
	if c.known {
		anew = c.anew
	}
	err := c.o.factor(c.rows, anew)
	c.known = err == nil
	return err
}

// column adds a row of V', and at the first step the column of W for the right
// side in unit, which is zero before a step.
func (c *change) column(v []term, begin int, fresh bool) {
	c.v = append(c.v, v)
	if len(c.v) == len(c.room) {
		c.room = append(c.room, c.o.vector())
	}
	if fresh {
		c.room[len(c.v)].forward(c.unit, begin)
	}
}

// weigh finds how much of each column of W the solution takes.
func (c *change) weigh() error {
	k := len(c.v)
	c.z = nil
	late := c.o.colOf[c.o.done:]
	to, x := c.late, c.right.x[:len(c.late)]
	for _, i := range late {
		to[i] = x[i]
	}
	if k == 0 {
		return nil
	}
	s, t := make([]float64, k*k), make([]float64, k)
	for i := range c.v {
		for j := range c.w {
			s[i*k+j] = dot(c.v[i], c.w[j].value)
		}
		s[i*k+i]++
		t[i] = dot(c.v[i], c.right.value)
	}
	lu, err := factorDense(k, s)
	if err != nil {
		return err
	}
	if c.cut && lu.weak < leastPast {
		return errPattern // see lowRank
	}
	c.z = lu.solve(t)
	for i, z := range c.z {
		x := c.w[i].x[:len(to)]
		for _, k := range late {
			to[k] -= z * x[k]
		}
		if math.Abs(z) > grownVolts {
			return errPattern // see lowRank
		}
	}
	return nil
}

func (c *change) value(i int) float64 {
	if c.o.colAt[i] >= c.o.done {
		return c.late[i]
	}
	x := c.right.value(i)
	for j, z := range c.z {
		x -= z * c.w[j].value(i)
	}
	return x
}

// whole returns all unknowns of the last step. It fails where fixed pivots have
// lost digits.
func (c *change) whole() ([]float64, error) {
	right := c.right
	for j, z := range c.z {
		w := c.w[j]
		y := right.y[w.first:c.o.done]
		for k, x := range w.y[w.first:c.o.done] {
			if x != 0 {
				y[k] -= z * x
			}
		}
	}
	x := slices.Clone(c.late)
	c.o.back(x, right.y, 0, c.o.done)
	n := c.b.net.nodes
	touched := func(r int) bool {
		if r >= n {
			return slices.Contains(c.put, r-n)
		}
		return slices.ContainsFunc(c.sol.joins, func(j conductance) bool { return j.a == r || j.b == r })
	}
	if !holds(c.rows, c.full, x, c.o.rowOf[c.o.done:], touched) {
		return nil, errPattern
	}
	return x, nil
}

// holds reports whether a solution leaves next to nothing of some equations:
// fixed pivots can lose digits where a branch has moved far.
func holds(rows [][]term, rhs, x []float64, which []int, but func(row int) bool) bool {
	const share, little = 1e-7, 2e-13 // little: V, and A, which is 0.2 mV on an open
	for _, r := range which {
		row := rows[r]
		left, size := rhs[r], math.Abs(rhs[r])
		for _, t := range row {
			y := t.x * x[t.at]
			left -= y
			size += math.Abs(y)
		}
		if !(math.Abs(left) <= share*size+little) && !but(r) {
			return false
		}
	}
	return true
}

// full finds the consistent point of a whole network by factoring it anew in
// every step; sources are raised in steps where it does not settle at once.
func (b *Bench) full(branches []branch, joins []conductance, from point, off bool, drive ...injection) (point, error) {
	at := from
	run := func(share float64) error {
		next, err := b.search(branches, nil, at, off, func(at point) (unknowns, error) {
			rows, rhs := b.net.matrix(branches, joins, at, share)
			lu, err := factor(rows)
			if err != nil {
				return nil, err
			}
			inject(rhs, drive, share)
			x := lu.solve(rhs)
			return func(i int) float64 { return x[i] }, nil
		})
		if err == nil {
			at = next
		}
		return err
	}
	err := run(1)
	if !errors.Is(err, ErrNoConvergence) {
		return at, err
	}
	at = point{slices.Clone(from.regions), make([]float64, len(from.at))}
	for _, share := range sourceSteps {
		if err := run(share); err != nil {
			return at, err
		}
	}
	return at, nil
}

// search moves junctions by Newton's method, and regions when the junctions
// have settled, until the solution at a point belongs to that point.
func (b *Bench) search(branches []branch, changed map[int]branch, from point, off bool, solve func(point) (unknowns, error)) (point, error) {
	at := from.clone()
	now := make([]*branch, len(b.net.active)) // by slot
	for s, i := range b.net.active {
		now[s] = &branches[i]
	}
	for i, br := range changed {
		if s := b.net.slot[i]; s >= 0 {
			now[s] = &br
		}
	}
	var seen [][]region
	for try := range maxSettle {
		x, err := b.newton(now, at, solve)
		if err != nil {
			return at, err
		}
		if off {
			return at, nil
		}
		next := slices.Clone(at.regions)
		moved := false
		looping := slices.ContainsFunc(seen, func(r []region) bool { return slices.Equal(r, at.regions) })
		for s, i := range b.net.active {
			if br := now[s]; br.limit == 0 && len(br.when) == 0 {
				continue
			}
			if r := b.want(now[s], i, at.regions[s], x); r != at.regions[s] {
				next[s], moved = r, true
				if looping && try%2 == 0 {
					break // move one at a time out of a loop
				}
			}
		}
		if !moved {
			return at, nil
		}
		seen = append(seen, at.regions)
		at.regions = next
	}
	return b.enumerate(now, at, solve)
}

// enumerate tries every choice of regions of the active branches, where there
// are few of them.
func (b *Bench) enumerate(now []*branch, at point, solve func(point) (unknowns, error)) (point, error) {
	var slots []int
	choices := 1
	regions := func(br *branch) []region {
		if br.limit == 0 {
			return []region{conducting, idle}
		}
		return []region{conducting, idle, limited}
	}
	for s, br := range now {
		if !br.Cut && (br.limit > 0 || len(br.when) > 0) {
			slots = append(slots, s)
			if choices *= len(regions(br)); choices > maxEnumerate {
				return at, ErrNoRegions
			}
		}
	}
	for c := range choices {
		for _, s := range slots {
			in := regions(now[s])
			at.regions[s] = in[c%len(in)]
			c /= len(in)
		}
		x, err := b.newton(now, at, solve)
		if err != nil {
			continue
		}
		if !slices.ContainsFunc(slots, func(s int) bool { return b.want(now[s], b.net.active[s], at.regions[s], x) != at.regions[s] }) {
			return at, nil
		}
	}
	return at, ErrNoRegions
}

// newton solves at the point and moves its junctions until they are settled.
func (b *Bench) newton(now []*branch, at point, solve func(point) (unknowns, error)) (unknowns, error) {
	dropped := make([]bool, len(now))
	for range maxNewton {
		x, err := solve(at)
		if err != nil {
			return nil, err
		}
		settled := true
		for s, br := range now {
			if br.typ != Diode {
				continue
			}
			v := x.volts(br.a) - x.volts(br.b)
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return nil, ErrNoConvergence
			}
			if br.Cut || at.regions[s] == idle {
				continue
			}
			if br.bends(at.at[s], v) {
				was := at.at[s]
				at.at[s], settled = br.limitStep(was, v), false
				if v <= 0 || v >= was || dropped[s] {
					continue
				}
				if _, amps := br.junction(was); x(b.net.nodes+b.net.active[s]) < diesAmps*amps {
					// It goes out. Newton's steps would take it down a slope at a
					// time; once is enough, or it could go up and down for ever.
					at.at[s], dropped[s] = 0, true
				}
			}
		}
		if settled {
			return x, nil
		}
	}
	return nil, ErrNoConvergence
}

// bends reports whether a junction that is linearised at v and comes to stand
// at next has left its tangent by more than junctionVolts: the tangent is off
// by slope/2 ((next-v)/slope)^2. Well in reverse it carries nothing either way.
func (b *branch) bends(v, next float64) bool {
	if d := next - v; d*d <= 2*junctionVolts*b.slope {
		return false
	}
	const least = 1e-13 // A, and S: below GMin's own share
	gv, iv := b.junction(v)
	if gv > least {
		return true
	}
	gn, in := b.junction(next)
	return gn > least || math.Abs(iv-in) > least
}

// want returns the region that branch i belongs in, given the solution.
func (b *Bench) want(br *branch, i int, now region, x unknowns) region {
	const slack = 1e-9
	if br.Cut {
		return now
	}
	for _, w := range br.when {
		if v := x.volts(w.p) - x.volts(w.m); v <= w.above || v >= w.below {
			return idle
		}
	}
	if br.limit == 0 {
		return conducting
	}
	v := x.volts(br.a) - x.volts(br.b)
	switch now {
	case conducting:
		out := -x(b.net.nodes + i)
		switch {
		case out > br.limit+slack:
			return limited
		case out < -slack:
			return idle
		}
	case limited:
		if v > br.Volts-br.Ohms*br.limit+slack {
			return conducting // and from there idle, if something else holds it up
		}
	case idle:
		switch {
		case v < br.Volts-br.Ohms*br.limit-slack:
			return limited // it may stand before a short
		case v < br.Volts-slack:
			return conducting
		}
	}
	return now
}
