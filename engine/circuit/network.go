package circuit

import (
	"math"
	"slices"
	"strings"
)

// network is a harness as nodes and branches. Node -1 is the reference; the
// unknowns are the node voltages, then the branch currents from a to b.
type network struct {
	nodes    int
	node     map[string]int // by pin
	pins     []int          // nodes of the harness's pins, in its order
	branches []branch
	branch   map[string]int // by key, see the key functions below
	active   []int          // the branches that bend, see point
	slot     []int          // by branch: its place among the active ones, or -1
	fuses    []int
}

// branch is V(a) - V(b) - ohms*I - gain*(V(c) - V(d)) = volts.
type branch struct {
	key  string
	typ  ElementType
	a, b int
	c, d int // Follower: controlling nodes
	Values
	cold          float64
	coldTolerance float64
	alike         bool // its tolerance is that of a sort of part: all are off to the same side
	limit         float64
	when          []condition
	off           float64 // ohms when they do not hold
	dead          bool    // without power it carries nothing
	mirrors       int     // Mirror: index of the branch
	sat           float64
	slope         float64
	blows         float64
	tolerance     float64
}

// condition is a threshold between two nodes.
type condition struct {
	p, m         int
	above, below float64
}

func partKey(part, element string) string { return part + "/" + element }
func wayKey(part, way string) string      { return part + "." + way }
func wireKey(wire string) string          { return wire }

func (h *Harness) network() *network {
	many := len(h.Wires)
	for _, p := range h.Parts {
		many += len(p.Elements) + len(p.Pins) // joints and ways among these
	}
	n := &network{node: make(map[string]int, many), branch: make(map[string]int, many), branches: make([]branch, 0, many)}
	n.node[h.Ground] = -1
	for _, pin := range h.Pins() {
		if pin != h.Ground {
			n.node[pin] = n.nodes
			n.nodes++
		}
		n.pins = append(n.pins, n.node[pin])
	}
	for _, p := range h.Parts {
		at := func(pin string) int { return n.node[p.Name+"."+pin] }
		for _, e := range p.Elements {
			b := branch{key: partKey(p.Name, e.ID), typ: e.Type, a: at(e.A), b: at(e.B), Values: e.Values,
				cold: e.ColdOhms, coldTolerance: e.ColdTolerance, limit: e.Limit, blows: e.Blows, tolerance: e.Tolerance,
				off: e.OffOhms, sat: e.Saturation, slope: e.Slope}
			if e.Type == Mirror {
				b.mirrors = n.branch[partKey(p.Name, e.Mirrors)]
			}
			if e.Type == Follower {
				b.c, b.d = at(e.Of[0]), at(e.Of[1])
			}
			for _, w := range e.When {
				b.when = append(b.when, condition{at(w.Between[0]), at(w.Between[1]), w.Above, w.Below})
			}
			n.add(b)
		}
		switch {
		case p.Splice:
			centre := map[string]int{}
			for _, pin := range p.Pins {
				c, ok := centre[p.Bar(pin)]
				if !ok {
					c = n.nodes
					centre[p.Bar(pin)] = c
					n.nodes++
				}
				n.add(branch{key: wayKey(p.Name, pin), a: at(pin), b: c, Values: Values{Ohms: p.jointOhms()}})
			}
		case p.Ways > 0:
			for i := range p.Ways {
				w := wayName(i + 1)
				n.add(branch{key: wayKey(p.Name, w), a: at(w + "a"), b: at(w + "b"), Values: Values{Ohms: p.jointOhms()}})
			}
		}
	}
	for _, w := range h.Wires {
		n.add(branch{key: wireKey(w.Name), a: n.node[w.From], b: n.node[w.To], Values: Values{Ohms: w.Ohms}})
	}
	n.slot = make([]int, len(n.branches))
	for i := range n.branches {
		n.slot[i] = -1
		if br := &n.branches[i]; br.typ == Diode || br.limit > 0 || len(br.when) > 0 {
			n.slot[i] = len(n.active)
			n.active = append(n.active, i)
		}
		if n.branches[i].blows > 0 {
			n.fuses = append(n.fuses, i)
		}
	}
	return n
}

// fuse returns the branch of a part's fuse.
func (n *network) fuse(part string) (branch int, ok bool) {
	for _, i := range n.fuses {
		if strings.HasPrefix(n.branches[i].key, partKey(part, "")) {
			return i, true
		}
	}
	return 0, false
}

func (n *network) add(b branch) {
	n.branch[b.key] = len(n.branches)
	n.branches = append(n.branches, b)
}

// region is where an active branch works.
type region int8

const (
	conducting region = iota
	limited           // delivers its limit
	idle              // carries nothing
)

// point is where the active branches work, junctions and piecewise ones: their
// regions, and the voltages that junctions are linearised at.
type point struct {
	regions []region  // by slot
	at      []float64 // V, by slot; only diodes use it
}

// start is the point that a search begins at when nothing is known.
func (n *network) start() point {
	return point{make([]region, len(n.active)), make([]float64, len(n.active))}
}

// differs reports whether a slot stands elsewhere at another point.
func (p *point) differs(q *point, slot int) bool {
	return p.regions[slot] != q.regions[slot] || p.at[slot] != q.at[slot]
}

// region returns where a branch works.
func (n *network) region(i int, at point) region {
	if s := n.slot[i]; s >= 0 {
		return at.regions[s]
	}
	return conducting
}

func (p point) clone() point { return point{slices.Clone(p.regions), slices.Clone(p.at)} }

// copy is clone into the room of a point.
func (p *point) copy(from point) {
	p.regions, p.at = append(p.regions[:0], from.regions...), append(p.at[:0], from.at...)
}

// equation returns the branch's row of the matrix, sorted by column, and its
// right side, with the branch at the point; sources give the share of their
// volts.
func (n *network) equation(i int, b *branch, at point, share float64) (row []term, rhs float64) {
	current := n.nodes + i
	r := n.region(i, at)
	switch {
	case b.Cut, b.dead, r == idle && !(b.typ == Resistance && b.off > 0):
		return []term{{current, 1}}, 0
	case r == limited:
		return []term{{current, 1}}, -b.limit
	}
	add := func(node int, x float64) {
		if node >= 0 {
			row = append(row, term{node, x})
		}
	}
	switch b.typ {
	case Mirror:
		return compact([]term{{current, 1}, {n.nodes + b.mirrors, b.Gain}}), 0
	case Diode:
		v := at.at[n.slot[i]]
		g, amps := b.junction(v)
		if b.a != b.b {
			add(b.a, 1)
			add(b.b, 1)
		}
		row = sortedRow(append(row, term{at: current}))
		b.tangent(row, current, g)
		return row, g*v - amps
	}
	ohms := b.Ohms
	if r == idle {
		ohms = b.off
	}
	row = make([]term, 0, 5)
	add(b.a, 1)
	add(b.b, -1)
	if b.typ == Follower {
		add(b.c, -b.Gain)
		add(b.d, b.Gain)
	}
	row = append(row, term{current, -ohms})
	if b.typ == Source {
		rhs = share * b.Volts
	}
	return compact(row), rhs
}

// maxExponent keeps the exponential of a junction finite.
const maxExponent = 80

// junction returns the conductance in S and the current in A of a diode at v.
func (b *branch) junction(v float64) (g, amps float64) {
	x := min(v/b.slope, maxExponent)
	e := math.Exp(x)
	return b.sat / b.slope * e, b.sat * (e - 1)
}

// tangent writes a junction's conductance in S into the row of its equation,
// whose own current is the unknown at.
func (b *branch) tangent(row []term, at int, g float64) {
	for k := range row {
		switch row[k].at {
		case at:
			row[k].x = -1
		case b.a:
			row[k].x = g
		case b.b:
			row[k].x = -g
		}
	}
}

// limitStep keeps a Newton step of a junction from v to next within what the
// exponential can follow: beyond the knee the current, not the voltage, moves
// linearly (the limiting that circuit simulators use).
func (b *branch) limitStep(v, next float64) float64 {
	knee := b.slope * math.Log(b.slope/(math.Sqrt2*b.sat))
	if next <= knee || math.Abs(next-v) <= 2*b.slope {
		return next
	}
	if v > 0 {
		if x := 1 + (next-v)/b.slope; x > 0 {
			return v + b.slope*math.Log(x)
		}
		return knee
	}
	return b.slope * math.Log(next/b.slope)
}

// sortedRow sorts a row by column.
func sortedRow(row []term) []term {
	slices.SortFunc(row, func(x, y term) int { return x.at - y.at })
	return row
}

// less returns the difference of two rows.
func less(row, from []term) []term {
	delta := slices.Clone(row)
	for _, t := range from {
		delta = append(delta, term{t.at, -t.x})
	}
	return compact(delta)
}

// ends is the row whose product with the unknowns is V(a) - V(b).
func ends(a, b int) []term {
	var row []term
	for _, end := range []term{{a, 1}, {b, -1}} {
		if end.at >= 0 {
			row = append(row, end)
		}
	}
	return row
}

// compact sorts a row by column and sums entries of one column.
func compact(row []term) []term {
	sortedRow(row)
	out := row[:0]
	for _, t := range row {
		if k := len(out); k > 0 && out[k-1].at == t.at {
			out[k-1].x += t.x
		} else {
			out = append(out, t)
		}
	}
	return slices.DeleteFunc(out, func(t term) bool { return t.x == 0 })
}

// matrix returns all rows with branches and joins at the point, and the right side.
func (n *network) matrix(branches []branch, joins []conductance, at point, share float64) (rows [][]term, rhs []float64) {
	size := n.nodes + len(branches)
	rows = make([][]term, size)
	rhs = make([]float64, size)
	many := make([]int, n.nodes) // entries by node
	count := func(v, k int) {
		if v >= 0 {
			many[v] += k
		}
	}
	for _, j := range joins {
		count(j.a, 2)
		count(j.b, 2)
	}
	for i := range branches {
		count(branches[i].a, 1)
		count(branches[i].b, 1)
	}
	all := n.nodes
	for _, k := range many {
		all += k
	}
	room := make([]term, all)
	for v, k := range many {
		rows[v], room = append(room[:0:k+1], term{v, GMin}), room[k+1:]
	}
	stamp := func(r, c int, x float64) {
		if r >= 0 && c >= 0 {
			rows[r] = append(rows[r], term{c, x})
		}
	}
	for _, j := range joins {
		stamp(j.a, j.a, j.g)
		stamp(j.b, j.b, j.g)
		stamp(j.a, j.b, -j.g)
		stamp(j.b, j.a, -j.g)
	}
	for i := range branches {
		b := &branches[i]
		if b.a != b.b {
			stamp(b.a, n.nodes+i, 1)
			stamp(b.b, n.nodes+i, -1)
		}
		rows[n.nodes+i], rhs[n.nodes+i] = n.equation(i, b, at, share)
	}
	for v := range n.nodes {
		rows[v] = compact(rows[v])
	}
	return rows, rhs
}
