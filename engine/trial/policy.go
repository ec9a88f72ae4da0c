package trial

import (
	"math"
	"slices"

	"probable/engine"
)

// chooser returns what chooses the next check in the place of the engine, or nil.
// What it returns is one of the offers, or nil where there are none.
func (v *vehicle) chooser() func(*engine.Course) *engine.Check {
	switch v.p.Policy {
	case Half:
		return v.halfSplit(false)
	case HalfOdds:
		return v.halfSplit(true)
	case Order:
		return func(c *engine.Course) *engine.Check {
			if offers := c.Offers(); len(offers) > 0 {
				return offers[0].Check // they come as the guide has them
			}
			return nil
		}
	case Random:
		rng := v.chance("order")
		return func(c *engine.Course) *engine.Check {
			if offers := c.Offers(); len(offers) > 0 {
				return offers[rng.IntN(len(offers))].Check
			}
			return nil
		}
	case Bits:
		return func(c *engine.Course) *engine.Check {
			var best engine.Offer
			for _, o := range c.Offers() {
				if o.Gain > best.Gain*(1+1e-9) {
					best = o
				}
			}
			return best.Check
		}
	}
	return nil
}

// halfSplit chooses the check whose likeliest outcomes split the causes that are
// left nearest to half: those that nothing read rules out, each counted alike, as half-splitting does, or
// with odds the probability that is left. Where counting leaves one cause it goes by
// probability too. It keeps the likeliest outcomes by check.
func (v *vehicle) halfSplit(odds bool) func(*engine.Course) *engine.Check {
	var of *engine.Model
	shows := map[string][]string{}
	return func(c *engine.Course) *engine.Check {
		m := c.Model()
		if of != m {
			of = m
			clear(shows)
		}
		share := make([]float64, len(m.Causes))
		left := 0
		for i, ok := range v.alive() {
			if ok {
				share[i] = 1
				left++
			}
		}
		if odds || left < 2 {
			p := map[string]float64{}
			r, _ := c.Ranking()
			for _, x := range r {
				p[x.Cause.ID] = x.P
			}
			for i, x := range m.Causes {
				share[i] = 0
				if x.ID != engine.Unexplained {
					share[i] = p[x.ID]
				}
			}
		}
		var best *engine.Check
		nearest := math.Inf(1)
		for _, o := range c.Offers() {
			by, ok := shows[o.Check.ID]
			if !ok {
				for _, cause := range m.Causes {
					by = append(by, o.Check.Outcome(m.Likeliest(o.Check, cause.ID)))
				}
				shows[o.Check.ID] = by
			}
			mass := map[string]float64{}
			var most, total float64
			for i, x := range share {
				mass[by[i]] += x
				total += x
				most = max(most, mass[by[i]])
			}
			if off := math.Abs(most/total - 0.5); off < nearest-1e-9 {
				nearest, best = off, o.Check
			}
		}
		return best
	}
}

// ruledOut is how much less likely than under the cause that explains it best a
// result must be for a flow chart to rule a cause out.
const ruledOut = 0.1

// chart plays a fixed flow chart: the checks in the guide's order, left out where
// they would show the same of all causes that are left; what is read rules
// causes out by the tables, for good. It ends when one repair is left, or no check.
func (v *vehicle) chart() error {
	c := v.course
	skipped := map[string]bool{}
	w := newWatch(nil, c)
	splits := map[*engine.Check][][]bool{}
	for range endless {
		alive := v.alive()
		if v.repairs(alive) <= 1 {
			break
		}
		var next *engine.Check
		for _, k := range c.Open() {
			if !skipped[k.ID] && v.splits(splits, k, alive) {
				next = k
				break
			}
		}
		if next == nil {
			break
		}
		if err := v.step(w, next); err != nil {
			return err
		}
	}
	m, truth := c.Model(), v.now()
	alive := v.alive()
	first := slices.Index(alive, true)
	best := first
	for i, ok := range alive {
		if !ok {
			continue
		}
		v.p.Listed++
		v.p.In = v.p.In || m.Causes[i].ID == truth
		if m.Causes[i].Odds > m.Causes[best].Odds {
			best = i
		}
	}
	for _, x := range m.Causes {
		v.p.Right = v.p.Right || x.ID == truth && x.Mends == m.Causes[best].Mends
	}
	v.p.Alone = v.repairs(alive) == 1
	v.p.Unsafe = nil // what a chart offers is not the program's doing
	return nil
}

// alive says which causes nothing that was read rules out. What would rule out all
// is passed over.
func (v *vehicle) alive() []bool {
	m := v.course.Model()
	alive := make([]bool, len(m.Causes))
	for i, x := range m.Causes {
		alive[i] = x.ID != engine.Unexplained
	}
	for _, t := range v.course.Taken() {
		if t.Skipped != "" || m.Check(t.Check.ID) == nil {
			continue
		}
		like := m.Likelihoods(t.Check, t.Result)
		left := slices.Clone(alive)
		for i := range left {
			left[i] = left[i] && like[i] >= ruledOut
		}
		if slices.Contains(left, true) {
			alive = left
		}
	}
	return alive
}

// repairs counts the repairs of the causes that are left.
func (v *vehicle) repairs(alive []bool) int {
	mends := map[string]bool{}
	for i, x := range v.course.Model().Causes {
		if alive[i] {
			mends[x.Mends] = true
		}
	}
	return len(mends)
}

// splits reports whether the likeliest result under one cause that is left would
// rule out another.
func (v *vehicle) splits(known map[*engine.Check][][]bool, k *engine.Check, alive []bool) bool {
	m := v.course.Model()
	rules := known[k]
	if rules == nil {
		byResult := map[string][]bool{}
		for _, x := range m.Causes {
			r := m.Likeliest(k, x.ID)
			key := r.String()
			out, ok := byResult[key]
			if !ok {
				for _, l := range m.Likelihoods(k, r) {
					out = append(out, l < ruledOut)
				}
				byResult[key] = out
			}
			rules = append(rules, out)
		}
		known[k] = rules
	}
	for i, out := range rules {
		for j := range out {
			if alive[i] && alive[j] && out[j] {
				return true
			}
		}
	}
	return false
}
