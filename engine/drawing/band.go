package drawing

import (
	"cmp"
	"math"
	"slices"

	"probable/engine/circuit"
)

// longest is how many channels a wire may cross; a longer one is cut, and each
// end says where it goes.
const longest = 12

// band is a run of layers that stand side by side across the page.
type band struct {
	*plan
	lo, hi   int       // layers lo to hi-1
	layers   [][]*node // from lo, each from top to bottom
	ports    [][2]*port
	channels []*channel // channels[i] is left of layer lo+i; one more at the end
	columns  []float64  // width of each layer
	width    float64
	rows     int
}

// node is a part, or a wire that passes a layer.
type node struct {
	part   *circuit.Part // nil of a passing wire
	ports  []*port
	rows   int   // the first is the part's head
	row    int   // where it stands
	ways   []int // of a connector: the first row of each way
	column int   // which layer of the band
}

// port is one end of a wire at a pin, or a pin without a wire, or where a
// passing wire enters and leaves.
type port struct {
	node    *node
	side    int
	pin     string
	order   int // of the pin, in the part
	wire    int // -1: the pin has none
	end     int // 0 at the wire's from, 1 at its to
	at      int // row in the node
	segment *segment
	first   bool // the wire's full label is here
	net     bool // and the net's name
}

func (p *port) row() int { return p.node.row + p.at }

// far is the port at the other end of the segment.
func (p *port) far() *port {
	if p.segment.a == p {
		return p.segment.b
	}
	return p.segment.a
}

// newBand lays out layers lo to hi-1.
func newBand(p *plan, lo, hi int) *band {
	b := &band{plan: p, lo: lo, hi: hi, layers: make([][]*node, hi-lo), ports: make([][2]*port, len(p.h.Wires))}
	for range hi - lo + 1 {
		b.channels = append(b.channels, &channel{})
	}
	nodes := make([]*node, len(p.h.Parts))
	for i := range p.h.Parts {
		if l := p.layer[i]; l >= lo && l < hi {
			nodes[i] = &node{part: &p.h.Parts[i], column: l - lo}
			b.layers[l-lo] = append(b.layers[l-lo], nodes[i])
		}
	}
	b.connect(nodes)
	for _, n := range nodes {
		if n != nil {
			n.addUnwired()
			n.arrange()
		}
	}
	b.order()
	b.align()
	b.mark()
	b.measure()
	return b
}

// connect makes the ports and the segments of all wires.
func (b *band) connect(nodes []*node) {
	for i := range b.h.Wires {
		w := &b.h.Wires[i]
		part, pin := b.ends(w)
		var at [2]*port
		var layer [2]int
		for k := range part {
			layer[k] = b.layer[part[k]]
		}
		for k := range part {
			n := nodes[part[k]]
			if n == nil {
				continue
			}
			side, fixed := b.fixedSide(part[k], pin[k])
			if !fixed {
				side = right
				if layer[1-k] < layer[k] {
					side = left
				} else if other, fixed := b.fixedSide(part[1-k], pin[1-k]); fixed && layer[0] == layer[1] {
					side = other
				}
			}
			at[k] = &port{node: n, side: side, pin: pin[k], order: slices.Index(n.part.Pins, pin[k]), wire: i, end: k}
			at[k].net = b.nets.at[b.nets.root(w.From)] == wireEnd{i, k}
			n.ports = append(n.ports, at[k])
		}
		b.ports[i] = at
		if at[0] == nil || at[1] == nil {
			continue
		}
		from, to := at[0], at[1]
		c, last := layer[0]-b.lo+from.side, layer[1]-b.lo+to.side
		if c > last {
			from, to, c, last = to, from, last, c
		}
		if last-c > longest {
			continue
		}
		for ; c < last; c++ {
			n := &node{rows: 1, column: c}
			in, out := &port{node: n, side: left, wire: i}, &port{node: n, side: right, wire: i}
			n.ports = []*port{in, out}
			b.layers[c] = append(b.layers[c], n)
			b.channels[c].add(i, from, in)
			from = out
		}
		b.channels[c].add(i, from, to)
	}
}

// addUnwired gives pins without a wire a port on the side that has fewer. What
// is inside the part is no pin that a person could find.
func (n *node) addUnwired() {
	var count [2]int
	wired := map[string]bool{}
	for _, p := range n.ports {
		wired[p.pin] = true
		count[p.side]++
	}
	for i, pin := range n.part.Pins {
		if wired[pin] || n.part.Ways > 0 || slices.Contains(n.part.Inner, pin) {
			continue
		}
		side := left
		if count[right] < count[left] {
			side = right
		}
		count[side]++
		n.ports = append(n.ports, &port{node: n, side: side, pin: pin, order: i, wire: -1})
	}
}

// arrange gives each port a row: the pins of a part by where their wires go,
// the ways of a connector by number.
func (n *node) arrange() {
	if n.part == nil {
		return
	}
	type sums struct{ sum, n float64 }
	type pinSide struct {
		side int
		pin  string
	}
	by := map[pinSide]sums{}
	for _, p := range n.ports {
		if p.segment != nil {
			s := by[pinSide{p.side, p.pin}]
			by[pinSide{p.side, p.pin}] = sums{s.sum + float64(p.far().row()), s.n + 1}
		}
	}
	mean := func(p *port) float64 {
		if s := by[pinSide{p.side, p.pin}]; s.n > 0 {
			return s.sum / s.n
		}
		return math.Inf(1)
	}
	own := func(p *port) float64 {
		if p.segment == nil {
			return math.Inf(1)
		}
		return float64(p.far().row())
	}
	connector := n.part.Ways > 0
	slices.SortStableFunc(n.ports, func(a, b *port) int {
		if connector {
			return cmp.Or(cmp.Compare(wayOf(a.pin), wayOf(b.pin)), cmp.Compare(a.side, b.side), cmp.Compare(own(a), own(b)))
		}
		return cmp.Or(cmp.Compare(a.side, b.side), cmp.Compare(mean(a), mean(b)), cmp.Compare(a.order, b.order), cmp.Compare(own(a), own(b)))
	})
	if !connector {
		var used [2]int
		for _, p := range n.ports {
			used[p.side]++
			p.at = used[p.side]
		}
		n.rows = 1 + max(used[left], used[right], 1)
		return
	}
	n.ways = make([]int, n.part.Ways)
	row, i := 1, 0
	for way := 1; way <= n.part.Ways; way++ {
		n.ways[way-1] = row
		var used [2]int
		for ; i < len(n.ports) && wayOf(n.ports[i].pin) == way; i++ {
			n.ports[i].at = row + used[n.ports[i].side]
			used[n.ports[i].side]++
		}
		row += max(used[left], used[right], 1)
	}
	n.rows = max(row, 2)
}

// gap is how many rows stay free between two nodes, one above the other.
func gap(above, below *node) int {
	if above.part != nil && below.part != nil {
		return 1
	}
	return 0
}

// stack puts the nodes of a layer as close as they may be.
func stack(layer []*node) {
	row := 0
	for i, n := range layer {
		if i > 0 {
			row += gap(layer[i-1], n)
		}
		n.row = row
		row += n.rows
	}
}

// order sorts each layer by the mean row of what its nodes are wired to
// (barycentre), to and fro, and keeps the order with the fewest crossings.
func (b *band) order() {
	for _, l := range b.layers {
		stack(l)
	}
	best := b.crossings()
	kept := b.snapshot()
	for sweep := range 10 {
		for k := range b.layers {
			i, side := k, left
			if sweep%2 == 1 {
				i, side = len(b.layers)-1-k, right
			}
			layer := b.layers[i]
			middle := map[*node]float64{}
			for _, n := range layer {
				middle[n] = n.centre(side)
			}
			slices.SortStableFunc(layer, func(x, y *node) int { return cmp.Compare(middle[x], middle[y]) })
			stack(layer)
			for _, n := range layer {
				n.arrange()
			}
		}
		if c := b.crossings(); c < best {
			best, kept = c, b.snapshot()
		}
	}
	b.restore(kept)
}

// centre is the mean row of what a node's side is wired to, else its own.
func (n *node) centre(side int) float64 {
	sum, count := 0.0, 0.0
	for _, p := range n.ports {
		if p.segment != nil && p.side == side && p.far().node != n {
			sum += float64(p.far().row())
			count++
		}
	}
	if count == 0 {
		return float64(n.row) + float64(n.rows)/2
	}
	return sum / count
}

// kept is an order of the nodes in their layers, and of their ports.
type kept struct {
	layers [][]*node
	at     map[*port]int
}

func (b *band) snapshot() kept {
	k := kept{at: map[*port]int{}}
	for _, l := range b.layers {
		k.layers = append(k.layers, slices.Clone(l))
		for _, n := range l {
			for _, p := range n.ports {
				k.at[p] = p.at
			}
		}
	}
	return k
}

func (b *band) restore(k kept) {
	for i, l := range k.layers {
		b.layers[i] = l
		stack(l)
		for _, n := range l {
			for _, p := range n.ports {
				p.at = k.at[p]
			}
		}
	}
}

// crossings counts the pairs of segments that must cross.
func (b *band) crossings() int {
	total := 0
	for _, c := range b.channels {
		var across [][2]int
		for _, s := range c.segments {
			if s.a.side != s.b.side {
				l, r := s.ends()
				across = append(across, [2]int{l.row(), r.row()})
			}
		}
		slices.SortFunc(across, func(x, y [2]int) int { return cmp.Or(cmp.Compare(x[0], y[0]), cmp.Compare(x[1], y[1])) })
		to := make([]int, len(across))
		for i, x := range across {
			to[i] = x[1]
		}
		total += inversions(to)
	}
	return total
}

// inversions counts the pairs that are out of order, and sorts (merge sort).
func inversions(x []int) int {
	if len(x) < 2 {
		return 0
	}
	low, high := slices.Clone(x[:len(x)/2]), slices.Clone(x[len(x)/2:])
	n := inversions(low) + inversions(high)
	for i := range x {
		if len(high) == 0 || len(low) > 0 && low[0] <= high[0] {
			x[i], low = low[0], low[1:]
		} else {
			x[i], high = high[0], high[1:]
			n += len(low)
		}
	}
	return n
}

// align moves the nodes of each layer, in their order, so that as many wires as
// may be run straight.
func (b *band) align() {
	for sweep := range 9 {
		for k := range b.layers {
			i, side := k, left
			switch {
			case sweep == 8:
				side = -1
			case sweep%2 == 1:
				i, side = len(b.layers)-1-k, right
			}
			settle(b.layers[i], side)
		}
	}
	b.closeUp()
}

// closeUp takes out the rows in which no layer has anything, but for one between
// what stands above and what stands below.
func (b *band) closeUp() {
	taken := map[int]bool{}
	top, bottom := math.MaxInt, math.MinInt
	for _, l := range b.layers {
		for _, n := range l {
			top, bottom = min(top, n.row), max(bottom, n.row+n.rows)
			for r := range n.rows {
				taken[n.row+r] = true
			}
		}
	}
	to := map[int]int{}
	for r := top; r < bottom; r++ {
		to[r] = b.rows
		if taken[r] || taken[r-1] {
			b.rows++
		}
	}
	for _, l := range b.layers {
		for _, n := range l {
			n.row = to[n.row]
		}
	}
}

// settle moves each node of a layer to the row that its wires of a side want
// (-1: of both), or as near as the others let it: isotonic regression by
// pooling neighbours that want to pass each other.
func settle(layer []*node, side int) {
	type pool struct {
		sum, weight float64
		nodes       int
	}
	var pools []pool
	offset := make([]int, len(layer))
	for i, n := range layer {
		if i > 0 {
			offset[i] = offset[i-1] + layer[i-1].rows + gap(layer[i-1], n)
		}
		var want []int
		for _, p := range n.ports {
			if p.segment != nil && (side < 0 || p.side == side) && p.far().node != n && p.far().side != p.side {
				want = append(want, p.far().row()-p.at)
			}
		}
		w := pool{0.1 * float64(n.row-offset[i]), 0.1, 1}
		if len(want) > 0 {
			slices.Sort(want)
			weight := 1.0
			if n.part == nil {
				weight = 2
			}
			w = pool{float64(want[(len(want)-1)/2]-offset[i]) * weight, weight, 1}
		}
		pools = append(pools, w)
		for k := len(pools) - 1; k > 0 && pools[k-1].sum/pools[k-1].weight > pools[k].sum/pools[k].weight; k-- {
			x, y := pools[k-1], pools[k]
			pools[k-1] = pool{x.sum + y.sum, x.weight + y.weight, x.nodes + y.nodes}
			pools = pools[:k]
		}
	}
	i := 0
	for _, p := range pools {
		for range p.nodes {
			layer[i].row = int(math.Round(p.sum/p.weight)) + offset[i]
			i++
		}
	}
}

// mark says where the label of each wire stands: at its end further left, else
// at the higher one.
func (b *band) mark() {
	place := func(p *port) [3]int { return [3]int{p.node.column + p.side, -p.side, p.row()} }
	for _, ends := range b.ports {
		f, t := ends[0], ends[1]
		switch {
		case f == nil && t == nil:
		case f == nil:
			t.first = true
		case t == nil:
			f.first = true
		case f.segment == nil: // cut: either end has all of it
			f.first, t.first = true, true
		default:
			x, y := place(f), place(t)
			f.first = slices.Compare(x[:], y[:]) <= 0
			t.first = !f.first
		}
	}
}
