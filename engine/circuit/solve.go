package circuit

import (
	"errors"
	"slices"
)

// ErrNoRegions says that no choice of working regions of the active parts is
// consistent within the bound of the search.
var ErrNoRegions = errors.New("the active parts of the circuit find no consistent state")

// maxSettle bounds the search for consistent regions.
const maxSettle = 64

// solution is a base network with a low-rank change, solved by the
// Sherman-Morrison-Woodbury identity: with A' = A + U V', its inverse is
// B - W S^-1 V' B, where B = A^-1, W = B U and S = I + V' W.
type solution struct {
	ba       *base
	branches map[int]branch // changed ones
	regions  []region
	x        []float64
	w        [][]float64 // columns of W
	v        [][]term    // rows of V'
	s        *denseLU
}

// settle solves the base with the changed branches and joins, and moves the
// active branches between their regions until all are consistent.
func (b *Bench) settle(ba *base, changed map[int]branch, joins []conductance) (*solution, error) {
	regions := slices.Clone(ba.regions)
	var seen [][]region
	for try := range maxSettle {
		sol, err := b.solve(ba, changed, joins, regions)
		if err != nil {
			return nil, err
		}
		next := slices.Clone(regions)
		moved := false
		looping := slices.ContainsFunc(seen, func(r []region) bool { return slices.Equal(r, regions) })
		for i := range ba.branches {
			if r := b.want(sol, i); r != regions[i] {
				next[i], moved = r, true
				if looping && try%2 == 0 {
					break // move one at a time out of a loop
				}
			}
		}
		if !moved {
			return sol, nil
		}
		seen = append(seen, regions)
		regions = next
	}
	return nil, ErrNoRegions
}

// want returns the region that branch i belongs in, given the solution.
func (b *Bench) want(sol *solution, i int) region {
	const slack = 1e-9
	br := sol.branch(i)
	now := sol.regions[i]
	if sol.ba.off || br.Cut || br.limit == 0 && !br.when {
		return now
	}
	volts := func(n int) float64 {
		if n < 0 {
			return 0
		}
		return sol.x[n]
	}
	if br.when && volts(br.wp)-volts(br.wm) <= br.above {
		return idle
	}
	if br.limit == 0 {
		return conducting
	}
	v := volts(br.a) - volts(br.b)
	switch now {
	case conducting:
		out := -sol.x[b.net.nodes+i]
		switch {
		case out > br.limit+slack:
			return limited
		case out < -slack:
			return idle
		}
	case limited:
		switch {
		case v > br.Volts+slack:
			return idle
		case v > br.Volts-br.Ohms*br.limit+slack:
			return conducting
		}
	case idle:
		if v < br.Volts-slack {
			return conducting
		}
	}
	return now
}

func (sol *solution) branch(i int) *branch {
	if br, ok := sol.branches[i]; ok {
		return &br
	}
	return &sol.ba.branches[i]
}

func (b *Bench) solve(ba *base, changed map[int]branch, joins []conductance, regions []region) (*solution, error) {
	sol := &solution{ba: ba, branches: changed, regions: regions}
	n := b.net.nodes
	size := n + len(ba.branches)
	y := slices.Clone(ba.x)
	for i := range ba.branches {
		br, differs := changed[i]
		if !differs {
			if regions[i] == ba.regions[i] {
				continue
			}
			br = ba.branches[i]
		}
		was, wasRHS := b.net.equation(i, &ba.branches[i], ba.regions[i])
		now, nowRHS := b.net.equation(i, &br, regions[i])
		delta := slices.Clone(now)
		for _, t := range was {
			delta = append(delta, term{t.at, -t.x})
		}
		if d := nowRHS - wasRHS; d != 0 {
			for r, z := range ba.inv[n+i] {
				y[r] += d * z
			}
		}
		if delta = compact(delta); len(delta) > 0 {
			sol.v = append(sol.v, delta)
			sol.w = append(sol.w, ba.inv[n+i])
		}
	}
	for _, j := range joins {
		col := make([]float64, size)
		var row []term
		for _, end := range []struct {
			node int
			sign float64
		}{{j.a, 1}, {j.b, -1}} {
			if end.node < 0 {
				continue
			}
			row = append(row, term{end.node, end.sign})
			for r, z := range ba.inv[end.node] {
				col[r] += end.sign * j.g * z
			}
		}
		sol.v = append(sol.v, row)
		sol.w = append(sol.w, col)
	}
	k := len(sol.v)
	if k == 0 {
		sol.x = y
		return sol, nil
	}
	s := make([]float64, k*k)
	for i, row := range sol.v {
		for j, col := range sol.w {
			s[i*k+j] = dot(row, col)
		}
		s[i*k+i]++
	}
	var err error
	if sol.s, err = factorDense(k, s); err != nil {
		return nil, err
	}
	sol.x = sol.correct(y)
	return sol, nil
}

// correct takes a column y = B b of the base to A'^-1 b. y is used up.
func (sol *solution) correct(y []float64) []float64 {
	if len(sol.v) == 0 {
		return y
	}
	for j, z := range sol.weights(y) {
		if z == 0 {
			continue
		}
		for r, w := range sol.w[j] {
			y[r] -= z * w
		}
	}
	return y
}

// weights returns S^-1 V' y.
func (sol *solution) weights(y []float64) []float64 {
	t := make([]float64, len(sol.v))
	for i, row := range sol.v {
		t[i] = dot(row, y)
	}
	return sol.s.solve(t)
}

func dot(row []term, col []float64) float64 {
	var sum float64
	for _, t := range row {
		sum += t.x * col[t.at]
	}
	return sum
}
