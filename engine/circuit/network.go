package circuit

import "slices"

// network is a harness as nodes and branches. Node -1 is the reference; the
// unknowns are the node voltages, then the branch currents from a to b.
type network struct {
	nodes    int
	node     map[string]int // by pin
	branches []branch
	branch   map[string]int // by key, see the key functions below
}

// branch is V(a) - V(b) - ohms*I - gain*(V(c) - V(d)) = volts.
type branch struct {
	key  string
	typ  ElementType
	a, b int
	c, d int // Follower: controlling nodes
	Values
	cold      float64
	limit     float64
	when      bool
	wp, wm    int // the threshold's nodes
	above     float64
	blows     float64
	tolerance float64
}

func partKey(part, element string) string { return part + "/" + element }
func wayKey(part, way string) string      { return part + "." + way }
func wireKey(wire string) string          { return wire }

func (h *Harness) network() *network {
	n := &network{node: map[string]int{h.Ground: -1}, branch: map[string]int{}}
	for _, pin := range h.Pins() {
		if pin != h.Ground {
			n.node[pin] = n.nodes
			n.nodes++
		}
	}
	for _, p := range h.Parts {
		at := func(pin string) int { return n.node[p.Name+"."+pin] }
		for _, e := range p.Elements {
			b := branch{key: partKey(p.Name, e.ID), typ: e.Type, a: at(e.A), b: at(e.B), Values: e.Values,
				cold: e.ColdOhms, limit: e.Limit, blows: e.Blows, tolerance: e.Tolerance}
			if e.Type == Follower {
				b.c, b.d = at(e.Of[0]), at(e.Of[1])
			}
			if e.When != nil {
				b.when, b.wp, b.wm, b.above = true, at(e.When.Between[0]), at(e.When.Between[1]), e.When.Above
			}
			n.add(b)
		}
		switch {
		case p.Splice:
			centre := n.nodes
			n.nodes++
			for _, pin := range p.Pins {
				n.add(branch{key: wayKey(p.Name, pin), a: at(pin), b: centre, Values: Values{Ohms: p.jointOhms()}})
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
	return n
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

// equation returns the branch's row of the matrix, sorted by column, and its
// right side, with the branch in the region.
func (n *network) equation(i int, b *branch, r region) (row []term, rhs float64) {
	current := n.nodes + i
	switch {
	case r == idle || b.Cut:
		return []term{{current, 1}}, 0
	case r == limited:
		return []term{{current, 1}}, -b.limit
	}
	add := func(node int, x float64) {
		if node >= 0 {
			row = append(row, term{node, x})
		}
	}
	add(b.a, 1)
	add(b.b, -1)
	if b.typ == Follower {
		add(b.c, -b.Gain)
		add(b.d, b.Gain)
	}
	row = append(row, term{current, -b.Ohms})
	rhs = 0
	if b.typ == Source {
		rhs = b.Volts
	}
	return compact(row), rhs
}

// compact sorts a row by column and sums entries of one column.
func compact(row []term) []term {
	slices.SortFunc(row, func(x, y term) int { return x.at - y.at })
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

// matrix returns all rows with branches and regions as given, and the right side.
func (n *network) matrix(branches []branch, regions []region) (rows [][]term, rhs []float64) {
	size := n.nodes + len(branches)
	rows = make([][]term, size)
	rhs = make([]float64, size)
	for v := range n.nodes {
		rows[v] = append(rows[v], term{v, GMin})
	}
	for i := range branches {
		b := &branches[i]
		if b.a == b.b {
			// both ends on one node: its current leaves and enters there
			rows[n.nodes+i], rhs[n.nodes+i] = n.equation(i, b, regions[i])
			continue
		}
		if b.a >= 0 {
			rows[b.a] = append(rows[b.a], term{n.nodes + i, 1})
		}
		if b.b >= 0 {
			rows[b.b] = append(rows[b.b], term{n.nodes + i, -1})
		}
		rows[n.nodes+i], rhs[n.nodes+i] = n.equation(i, b, regions[i])
	}
	return rows, rhs
}
