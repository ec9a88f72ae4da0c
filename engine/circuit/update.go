package circuit

import (
	"maps"
	"math"
	"slices"
)

// solution is a base network with a change, solved by the
// Sherman-Morrison-Woodbury identity: with A' = A + U V', the inverse of A' is
// B - W S^-1 V' B, where B = A^-1, W = B U and S = I + V' W. Its unknowns are
// worked out when they are asked for.
type solution struct {
	bench    *Bench
	ba       *base
	branches map[int]branch // changed ones
	joins    []conductance
	drive    []injection
	at       point
	ready    bool      // what follows is there
	by       *factored // the base
	w        []sum     // columns of W
	v        [][]term  // rows of V'
	s        *denseLU  // of S
	vb       []sum     // rows of V' B, when they were asked for
	t        []float64 // room for lessOhms
	plus     sum       // what the change adds to the base's unknowns
	x        []float64 // the unknowns, where they were solved for as a whole
	err      error
}

// sum is a weighted sum of columns.
type sum []scaled

type scaled struct {
	f   float64
	col *column
}

// column is a column of an inverse, or a row of it.
type column struct {
	x    []float64
	most float64 // largest of x
}

func (s sum) value(i int) float64 {
	var x float64
	for _, c := range s {
		x += c.f * c.col.x[i]
	}
	return x
}

// add adds the sum to a whole column, each of its own columns in one go.
func (s sum) add(x []float64) {
	all := make([]float64, len(x))
	for _, c := range s {
		for i, y := range c.col.x[:len(x)] {
			all[i] += c.f * y
		}
	}
	for i, y := range all {
		x[i] += y
	}
}

// value returns an unknown of the solution.
func (sol *solution) value(i int) float64 {
	if sol.x != nil {
		return sol.x[i]
	}
	return sol.by.x[i] + sol.plus.value(i)
}

// amps returns the current of a branch from its a to its b.
func (sol *solution) amps(i int) float64 { return sol.value(sol.bench.net.nodes + i) }

func (sol *solution) branch(i int) *branch {
	if br, ok := sol.branches[i]; ok {
		return &br
	}
	return &sol.ba.branches[i]
}

// moved returns how many active branches stand elsewhere than in the base.
func (sol *solution) moved(at point) int {
	k := 0
	for s := range at.regions {
		if at.differs(&sol.ba.at, s) {
			k++
		}
	}
	return k
}

// The update loses digits where a branch is given so many ohms that the rounding
// of the current it had, a share roundOff of the largest in the circuit, is worth
// more than roundVolts, where what is added and cancels comes to more than
// grownVolts, and where less than leastPast leads past branches that are cut: of a
// pivot that is such a share of its row, rounding leaves 0.1 mV in a pack's 50 V. The
// row counts, as that of a fuse which is blown too is in OpenOhms. In
// networks of up to so many watched unknowns every equation is looked at, too: in
// V or A, nothing may miss one by more than missed, 0.1 mV on OpenOhms. All of it
// happens with islands that hang by their leakage alone, and such solutions are
// refined.
const (
	roundOff   = 1e-16
	roundVolts = 1e-4
	grownVolts = 1e5
	leastPast  = 1e-10 // S, or a share
	watched    = 2000
	missed     = 1e-13
)

// lowRank is the change under construction.
type lowRank struct {
	*solution
	now   map[int]changedRow // rows that differ from the base's
	rows  [][]term           // what stands for each row of V': the new row, or nil for a join
	rough bool
}

type changedRow struct {
	terms []term
	rhs   float64
}

// prepare builds the low-rank change and solves with it.
func (sol *solution) prepare() {
	if sol.ready {
		return
	}
	whole := sol.x // found with fixed pivots, at this very point
	sol.ready = true
	sol.w, sol.v, sol.s, sol.vb, sol.plus, sol.x, sol.err = nil, nil, nil, nil, nil, nil, nil
	if sol.by, sol.err = sol.ba.factored(); sol.err != nil {
		sol.x = whole
		return
	}
	c := lowRank{solution: sol, now: map[int]changedRow{}}
	for _, d := range sol.drive {
		if d.node >= 0 {
			sol.plus = append(sol.plus, scaled{d.amps, sol.by.columns.at(d.node)})
		}
	}
	for _, i := range slices.Sorted(maps.Keys(sol.branches)) {
		c.row(i)
	}
	for s, i := range sol.bench.net.active {
		if _, done := sol.branches[i]; !done && sol.at.differs(&sol.ba.at, s) {
			c.row(i)
		}
	}
	for _, j := range sol.joins {
		c.join(j)
	}
	if sol.err = c.factor(); sol.err != nil || len(sol.v) == 0 {
		return
	}
	if whole != nil {
		sol.x = whole
		return
	}
	grown := 0.0
	for j, z := range sol.weights(sol.value) {
		for _, part := range sol.w[j] {
			sol.plus = append(sol.plus, scaled{-z * part.f, part.col})
			grown += math.Abs(z*part.f) * part.col.most
		}
	}
	if c.rough = c.rough || grown > grownVolts; c.rough || len(sol.by.x) <= watched {
		c.refine()
	}
}

// row puts the present equation of a branch in place of the base's.
func (c *lowRank) row(i int) {
	r := c.bench.net.nodes + i
	terms, rhs := c.bench.net.equation(i, c.branch(i), c.at, 1)
	c.now[r] = changedRow{terms, rhs}
	delta := less(terms, c.ba.rows[r])
	if len(delta) == 0 && rhs == c.ba.rhs[r] {
		return
	}
	col := c.by.columns.at(r)
	if d := rhs - c.ba.rhs[r]; d != 0 {
		c.plus = append(c.plus, scaled{d, col})
	}
	if len(delta) > 0 {
		c.v = append(c.v, delta)
		c.w = append(c.w, sum{{1, col}})
		c.rows = append(c.rows, terms)
	}
}

// join puts a path between two nodes.
func (c *lowRank) join(j conductance) {
	v := ends(j.a, j.b)
	var w sum
	for _, end := range v {
		w = append(w, scaled{end.x * j.g, c.by.columns.at(end.at)})
	}
	c.v = append(c.v, v)
	c.w = append(c.w, w)
	c.rows = append(c.rows, nil)
}

// factor builds S and factors it. A row of the base times a column of W is the
// one of I, or zero: for a changed row S is the new row times W, which does not
// cancel against the one.
func (c *lowRank) factor() error {
	k := len(c.v)
	if k == 0 {
		return nil
	}
	s, cut := make([]float64, k*k), false
	for i, v := range c.v {
		for j, w := range c.w {
			if row := c.rows[i]; row != nil {
				s[i*k+j] = dot(row, w.value)
				continue
			}
			s[i*k+j] = dot(v, w.value)
			if i == j {
				s[i*k+j]++
			}
		}
		size := 0.0 // of the currents' part of V'
		for _, t := range v {
			if t.at >= c.bench.net.nodes {
				size = max(size, math.Abs(t.x))
			}
		}
		c.rough = c.rough || size*c.by.largest*roundOff > roundVolts*math.Abs(s[i*k+i])
		cut = cut || len(c.rows[i]) == 1
	}
	var err error
	if c.s, err = factorDense(k, s); err != nil {
		return err
	}
	c.rough = c.rough || cut && c.s.weak < leastPast
	return nil
}

// refine finds what the equations still miss, solves for it and adds it.
func (c *lowRank) refine() {
	x := slices.Clone(c.by.x)
	c.plus.add(x)
	c.x = x
	at := func(i int) float64 { return x[i] }
	for range 2 {
		miss := make([]float64, len(x))
		for r, row := range c.ba.rows {
			sum := 0.0
			for _, t := range row {
				sum += t.x * x[t.at]
			}
			miss[r] = c.ba.rhs[r] - sum
		}
		for r, now := range c.now {
			miss[r] = now.rhs - dot(now.terms, at)
		}
		inject(miss, c.drive, 1)
		for _, j := range c.joins {
			v := ends(j.a, j.b)
			amps := j.g * dot(v, at)
			for _, end := range v {
				miss[end.at] -= end.x * amps
			}
		}
		if !c.rough && !slices.ContainsFunc(miss, func(x float64) bool { return math.Abs(x) > missed }) {
			return
		}
		y := c.by.lu.solve(miss)
		z := c.weights(func(i int) float64 { return y[i] })
		var mend sum
		for j, w := range c.w {
			for _, part := range w {
				mend = append(mend, scaled{-z[j] * part.f, part.col})
			}
		}
		mend.add(y)
		for i := range x {
			x[i] += y[i]
		}
	}
}

// lessOhms returns what the change takes from the resistance in ohms that a
// pair of nodes has in the base.
func (sol *solution) lessOhms(pair []term) float64 {
	if sol.vb == nil {
		sol.vb = make([]sum, len(sol.v))
		for i, row := range sol.v {
			for _, t := range row {
				sol.vb[i] = append(sol.vb[i], scaled{t.x, sol.by.across.at(t.at)})
			}
		}
		sol.t = make([]float64, len(sol.v))
	}
	seen := false
	for i := range sol.v {
		sol.t[i] = dot(pair, sol.vb[i].value)
		seen = seen || sol.t[i] != 0
	}
	if !seen {
		return 0
	}
	var less float64
	for j, z := range sol.s.solve(sol.t) {
		if z != 0 {
			less += z * dot(pair, sol.w[j].value)
		}
	}
	return less
}

// weights returns S^-1 V' y.
func (sol *solution) weights(y unknowns) []float64 {
	if len(sol.v) == 0 {
		return nil
	}
	t := make([]float64, len(sol.v))
	for i, row := range sol.v {
		t[i] = dot(row, y)
	}
	return sol.s.solve(t)
}

func dot(row []term, x unknowns) float64 {
	var sum float64
	for _, t := range row {
		sum += t.x * x(t.at)
	}
	return sum
}
