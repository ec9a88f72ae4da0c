package drawing

import (
	"cmp"
	"slices"
)

// channel is the room between two layers, where wires turn.
type channel struct {
	segments  []*segment
	labels    [2]float64 // width of the room for labels on its left and its right
	tracks    int
	crossover map[float64]bool // rows taken by crossovers
}

// segment is the stretch of a wire in one channel.
type segment struct {
	wire int
	a, b *port
	legs []*leg // none: it runs straight across
	via  float64
}

// leg is an upright piece of a segment, on a track.
type leg struct {
	of          *segment
	left, right []int // rows along which it reaches the left and the right wall
	top, bottom float64
	track       int
}

func (c *channel) add(wire int, a, b *port) {
	s := &segment{wire: wire, a: a, b: b}
	a.segment, b.segment = s, s
	c.segments = append(c.segments, s)
}

// ends returns the end at the left wall first. A port on the right side of its
// part is at the left wall of the channel.
func (s *segment) ends() (l, r *port) {
	if s.a.side == right {
		return s.a, s.b
	}
	return s.b, s.a
}

// route gives every segment that does not run straight a track, so that no two
// wires lie on each other. Along one row the wire from the left wall must turn
// before the wire from the right wall does; where such wishes go in a circle,
// one wire changes tracks half way, between two rows.
func (c *channel) route() {
	c.crossover = map[float64]bool{}
	var legs []*leg
	for _, s := range c.segments {
		l, r := s.ends()
		across := s.a.side != s.b.side
		if across && l.row() == r.row() {
			continue
		}
		g := &leg{of: s, top: float64(min(l.row(), r.row())), bottom: float64(max(l.row(), r.row()))}
		switch {
		case across:
			g.left, g.right = []int{l.row()}, []int{r.row()}
		case s.a.side == right:
			g.left = []int{l.row(), r.row()}
		default:
			g.right = []int{l.row(), r.row()}
		}
		s.legs = []*leg{g}
		legs = append(legs, g)
	}
	slices.SortStableFunc(legs, func(a, b *leg) int { return cmp.Or(cmp.Compare(a.top, b.top), cmp.Compare(a.bottom, b.bottom)) })
	for {
		sorted, stuck := inOrder(legs)
		if stuck == nil {
			c.place(sorted)
			return
		}
		legs = c.split(legs, stuck)
	}
}

// split makes two legs of one that is part of a circle.
func (c *channel) split(legs []*leg, g *leg) []*leg {
	via := float64(g.left[0]) + 0.5
	for c.crossover[via] {
		via++
	}
	c.crossover[via] = true
	g.of.via = via
	from, to := float64(g.left[0]), float64(g.right[0])
	out := &leg{of: g.of, right: g.right, top: min(via, to), bottom: max(via, to)}
	g.right = nil
	g.top, g.bottom = min(from, via), max(from, via)
	g.of.legs = append(g.of.legs, out)
	return append(legs, out)
}

// mostCompared bounds the legs of a channel that are compared pair by pair.
const mostCompared = 800

// inOrder sorts legs so that each comes after those that must turn before it,
// and where it can be also so that fewer wires cross. If the musts go in a
// circle it returns a leg of that circle.
func inOrder(legs []*leg) (sorted []*leg, stuck *leg) {
	index := map[*leg]int{}
	atRight := map[int]*leg{}
	for i, g := range legs {
		index[g] = i
		for _, r := range g.right {
			atRight[r] = g
		}
	}
	must := make([][]int, len(legs)) // legs that come later than the one
	should := make([][]int, len(legs))
	musts, shoulds := make([]int, len(legs)), make([]int, len(legs))
	for i, g := range legs {
		for _, r := range g.left {
			if o := atRight[r]; o != nil && o != g {
				must[i] = append(must[i], index[o])
				musts[index[o]]++
			}
		}
	}
	if len(legs) <= mostCompared {
		for i, g := range legs {
			for j := i + 1; j < len(legs); j++ {
				a, b := i, j
				switch x, y := crossed(g, legs[j]), crossed(legs[j], g); {
				case x == y:
					continue
				case x > y:
					a, b = j, i
				}
				should[a] = append(should[a], b)
				shoulds[b]++
			}
		}
	}
	done := make([]bool, len(legs))
	for len(sorted) < len(legs) {
		next := -1
		for i := range legs {
			if !done[i] && musts[i] == 0 && (next < 0 || shoulds[i] < shoulds[next]) {
				next = i
				if shoulds[i] == 0 {
					break
				}
			}
		}
		if next < 0 {
			for i, g := range legs {
				if !done[i] && len(g.left) > 0 && len(g.right) > 0 {
					return nil, g
				}
			}
		}
		done[next] = true
		sorted = append(sorted, legs[next])
		for _, j := range must[next] {
			musts[j]--
		}
		for _, j := range should[next] {
			shoulds[j]--
		}
	}
	return sorted, nil
}

// crossed counts how often two legs' wires cross when the first is on the left.
func crossed(a, b *leg) int {
	n := 0
	for _, r := range b.left {
		if a.top < float64(r) && float64(r) < a.bottom {
			n++
		}
	}
	for _, r := range a.right {
		if b.top < float64(r) && float64(r) < b.bottom {
			n++
		}
	}
	return n
}

// place gives the sorted legs their tracks, each as far left as it may be.
func (c *channel) place(sorted []*leg) {
	var taken [][]*leg // by track
	atRight := map[int]*leg{}
	for _, g := range sorted {
		for _, r := range g.right {
			atRight[r] = g
		}
	}
	least := map[*leg]int{}
	for i, g := range sorted {
		t := least[g]
		for ; t < len(taken); t++ {
			if !slices.ContainsFunc(taken[t], func(o *leg) bool { return g.top <= o.bottom && o.top <= g.bottom }) {
				break
			}
		}
		if t == len(taken) {
			taken = append(taken, nil)
		}
		taken[t] = append(taken[t], g)
		g.track = t
		for _, r := range g.left {
			if o := atRight[r]; o != nil && o != g {
				least[o] = max(least[o], t+1)
			}
		}
		if len(sorted) > mostCompared {
			continue
		}
		for _, o := range sorted[i+1:] {
			if crossed(g, o) < crossed(o, g) {
				least[o] = max(least[o], t+1)
			}
		}
	}
	c.tracks = len(taken)
}
