package drawing

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"probable/engine/circuit"
)

// Sides of a part.
const (
	left = iota
	right
)

// plan is what the whole drawing shares: which layer each part is in, which
// half of a connector is on the left, and the nets.
type plan struct {
	h       *circuit.Harness
	index   map[string]int // of parts, by name
	layer   []int          // by part
	flipped []bool         // by part: side b of the connector is on the left
	layers  int
	nets    *nets
	marks   Marks
}

func newPlan(h *circuit.Harness) *plan {
	p := &plan{h: h, index: map[string]int{}, layer: make([]int, len(h.Parts)), flipped: make([]bool, len(h.Parts)), nets: newNets(h)}
	for i := range h.Parts {
		p.index[h.Parts[i].Name] = i
	}
	p.spread()
	p.flip()
	p.improve()
	p.close()
	p.nets.name(p)
	return p
}

// ends are the parts at a wire's two ends, and their pins.
func (p *plan) ends(w *circuit.Wire) (part [2]int, pin [2]string) {
	for i, s := range [2]string{w.From, w.To} {
		name, rest, _ := strings.Cut(s, ".")
		part[i], pin[i] = p.index[name], rest
	}
	return part, pin
}

// spread puts every part in the layer of its distance from a supply. Wires on
// ground are passed over where there is another way, or everything would be
// next to the pack.
func (p *plan) spread() {
	const unknown = -1
	next := make([][]int, len(p.h.Parts))
	earth := make([][]int, len(p.h.Parts))
	for i := range p.h.Wires {
		w := &p.h.Wires[i]
		part, _ := p.ends(w)
		to := next
		if p.nets.grounded(w) {
			to = earth
		}
		to[part[0]] = append(to[part[0]], part[1])
		to[part[1]] = append(to[part[1]], part[0])
	}
	var queue []int
	for i := range p.layer {
		p.layer[i] = unknown
		if isSupply(&p.h.Parts[i]) {
			p.layer[i] = 0
			queue = append(queue, i)
		}
	}
	all := []int{} // reached so far, in order
	reach := func(links [][]int) {
		for len(queue) > 0 {
			i := queue[0]
			queue = queue[1:]
			all = append(all, i)
			for _, j := range links[i] {
				if p.layer[j] == unknown {
					p.layer[j] = p.layer[i] + 1
					queue = append(queue, j)
				}
			}
		}
	}
	both := make([][]int, len(next))
	for i := range both {
		both[i] = append(slices.Clone(next[i]), earth[i]...)
	}
	reach(next)
	queue, all = all, nil
	reach(both)
	for i := range p.layer {
		if p.layer[i] == unknown && len(both[i]) > 0 {
			p.layer[i] = 0
			queue = append(queue, i)
			reach(both)
		}
	}
	deepest := 0
	for _, l := range p.layer {
		deepest = max(deepest, l)
	}
	for i := range p.layer {
		if p.layer[i] == unknown { // no wire at all
			p.layer[i] = deepest
		}
	}
}

func isSupply(p *circuit.Part) bool {
	return slices.ContainsFunc(p.Elements, func(e circuit.Element) bool { return e.Supply })
}

// flip puts the half of each connector that is nearer to the supply on the left.
func (p *plan) flip() {
	sum := make([][2]float64, len(p.layer))
	n := make([][2]float64, len(p.layer))
	for i := range p.h.Wires {
		part, pin := p.ends(&p.h.Wires[i])
		for k := range part {
			if p.h.Parts[part[k]].Ways > 0 {
				half := halfOf(pin[k])
				sum[part[k]][half] += float64(p.layer[part[1-k]])
				n[part[k]][half]++
			}
		}
	}
	for i := range sum {
		p.flipped[i] = n[i][0] > 0 && n[i][1] > 0 && sum[i][1]/n[i][1] < sum[i][0]/n[i][0]
	}
}

// halfOf returns 0 for a pin of side a and 1 for one of side b.
func halfOf(pin string) int {
	if strings.HasSuffix(pin, "b") {
		return 1
	}
	return 0
}

// wayOf returns the number of a connector's pin.
func wayOf(pin string) int {
	n, _ := strconv.Atoi(strings.TrimRight(pin, "ab")) // the pins of a connector are number and side
	return n
}

// improve moves parts to other layers where that shortens their wires by a lot:
// a switch in a ground line is better on the pack's side of a connector.
func (p *plan) improve() {
	wires := make([][]int, len(p.layer))
	for i := range p.h.Wires {
		part, _ := p.ends(&p.h.Wires[i])
		wires[part[0]] = append(wires[part[0]], i)
		if part[1] != part[0] {
			wires[part[1]] = append(wires[part[1]], i)
		}
	}
	for range 3 {
		moved := false
		for i := range p.layer {
			if isSupply(&p.h.Parts[i]) || len(wires[i]) == 0 || len(wires[i]) > 64 {
				continue
			}
			was := p.layer[i]
			best, least := was, p.length(wires[i])-1
			var tries []int
			for _, w := range wires[i] {
				part, _ := p.ends(&p.h.Wires[w])
				for _, j := range part {
					tries = append(tries, p.layer[j]-1, p.layer[j], p.layer[j]+1)
				}
			}
			slices.Sort(tries)
			for _, l := range slices.Compact(tries) {
				if p.layer[i] = l; l >= 1 && p.length(wires[i]) < least {
					best, least = l, p.length(wires[i])
				}
			}
			p.layer[i] = best
			moved = moved || best != was
		}
		if !moved {
			return
		}
	}
}

// length is how far wires go, in channels, with what bends count as more.
func (p *plan) length(wires []int) float64 {
	sum := 0.0
	for _, i := range wires {
		w := &p.h.Wires[i]
		part, pin := p.ends(w)
		if part[0] == part[1] {
			continue
		}
		far := p.layer[part[1]] - p.layer[part[0]]
		d := float64(max(far, -far))
		if far == 0 {
			d = 1.2
		}
		for k := range part {
			if side, fixed := p.fixedSide(part[k], pin[k]); fixed && (side == left && far >= 0 || side == right && far <= 0) {
				d += 2
			}
			far = -far
		}
		if p.nets.grounded(w) {
			d *= 0.3
		}
		sum += d
	}
	return sum
}

// fixedSide is the side of a connector's pin; other pins go where they are wanted.
func (p *plan) fixedSide(part int, pin string) (side int, fixed bool) {
	if p.h.Parts[part].Ways == 0 {
		return 0, false
	}
	side = halfOf(pin)
	if p.flipped[part] {
		side = 1 - side
	}
	return side, true
}

// close takes out layers that became empty.
func (p *plan) close() {
	used := slices.Clone(p.layer)
	slices.Sort(used)
	used = slices.Compact(used)
	for i, l := range p.layer {
		p.layer[i], _ = slices.BinarySearch(used, l)
	}
	p.layers = len(used)
}

// nets are the pins that are one conductor: joined by wires and splices, and
// parted by fuses, switches, connectors and everything else.
type nets struct {
	h      *circuit.Harness
	parent map[string]string
	names  map[string]string  // by root
	at     map[string]wireEnd // by root: where the name stands
}

// wireEnd is an end of a wire: 0 its from, 1 its to.
type wireEnd struct{ wire, end int }

func newNets(h *circuit.Harness) *nets {
	n := &nets{h: h, parent: map[string]string{}, names: map[string]string{}, at: map[string]wireEnd{}}
	for _, w := range h.Wires {
		n.join(w.From, w.To)
	}
	for _, p := range h.Parts {
		first := map[string]string{} // pin of each bar
		for _, pin := range p.Pins {
			if bar := p.Bar(pin); p.Splice && first[bar] == "" {
				first[bar] = pin
			} else if p.Splice {
				n.join(p.Name+"."+first[bar], p.Name+"."+pin)
			}
		}
	}
	return n
}

func (n *nets) root(pin string) string {
	for {
		up, ok := n.parent[pin]
		if !ok {
			return pin
		}
		if upper, ok := n.parent[up]; ok {
			n.parent[pin] = upper
		}
		pin = up
	}
}

func (n *nets) join(a, b string) {
	if a, b = n.root(a), n.root(b); a != b {
		n.parent[a] = b
	}
}

// grounded reports whether a wire is on the ground net.
func (n *nets) grounded(w *circuit.Wire) bool { return n.root(w.From) == n.root(n.h.Ground) }

// name names each net after its pin nearest to the supply, and chooses the end
// of a wire where the name stands.
func (n *nets) name(p *plan) {
	pins := p.h.Pins()
	layer := func(pin string) int {
		part, _, _ := strings.Cut(pin, ".")
		return p.layer[p.index[part]]
	}
	slices.SortStableFunc(pins, func(a, b string) int { return cmp.Compare(layer(a), layer(b)) })
	for _, pin := range pins {
		r := n.root(pin)
		if n.names[r] == "" {
			n.names[r] = pin
		}
	}
	nearest := map[string]int{}
	for i := range p.h.Wires {
		w := &p.h.Wires[i]
		r := n.root(w.From)
		for end, pin := range [2]string{w.From, w.To} {
			l := layer(pin)
			if pin == n.h.Ground {
				l = -1
			}
			if was, ok := nearest[r]; !ok || l < was {
				nearest[r], n.at[r] = l, wireEnd{i, end}
			}
		}
	}
	n.names[n.root(n.h.Ground)] = "ground"
}
