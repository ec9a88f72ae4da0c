package circuit

import (
	"maps"
	"slices"
)

// Both returns the fault of having two at once, with the points of g running
// fastest. It has what the circuit needs and names neither; ok is false where
// both change the same conductor or element, so that one hides what the other is.
func Both(f, g *Fault) (both *Fault, ok bool) {
	both = &Fault{says: maps.Clone(f.says)}
	if both.says == nil {
		both.says = map[string]string{}
	}
	maps.Copy(both.says, g.says)
	for i := range f.points {
		for k := range g.points {
			c, ok := f.points[i].with(&g.points[k])
			if !ok {
				return nil, false
			}
			both.points = append(both.points, c)
		}
	}
	n := len(g.points)
	for _, s := range f.spans {
		for _, t := range g.spans {
			if w := s.Weight * t.Weight; s.From == s.To || t.From == t.To {
				both.spans = append(both.spans, Span{s.From*n + t.From, s.To*n + t.To, w})
			} else {
				// Two ranges are a square: one of its diagonals, or the other.
				both.spans = append(both.spans, Span{s.From*n + t.From, s.To*n + t.To, w / 2}, Span{s.From*n + t.To, s.To*n + t.From, w / 2})
			}
		}
	}
	return both, true
}

// with is both changes at once; ok is false where they change the same branch.
func (c *alteration) with(d *alteration) (both alteration, ok bool) {
	of := d.branches()
	for key := range c.branches() {
		if of[key] {
			return both, false
		}
	}
	both = alteration{set: map[string]Values{}, add: map[string]float64{},
		cut: slices.Concat(c.cut, d.cut), join: slices.Concat(c.join, d.join), taps: slices.Concat(c.taps, d.taps)}
	for _, x := range []*alteration{c, d} {
		maps.Copy(both.set, x.set)
		maps.Copy(both.add, x.add)
	}
	return both, true
}

// branches are the keys of the branches that are changed.
func (c *alteration) branches() map[string]bool {
	keys := map[string]bool{}
	for key := range c.set {
		keys[key] = true
	}
	for key := range c.add {
		keys[key] = true
	}
	for _, key := range c.cut {
		keys[key] = true
	}
	for _, t := range c.taps {
		keys[wireKey(t.wire)] = true
	}
	return keys
}
