package engine

import (
	"cmp"
	"math"
	"slices"
)

// Pair is two causes that may be there at once.
type Pair struct {
	A, B *Cause
	P    float64 // among all single causes and all pairs
}

// Bounds of the search for pairs.
const (
	mostPaired = 60  // causes that are paired
	mostPairs  = 5   // pairs that are told
	leastPair  = 0.2 // probability from which a pair is told
)

// effect is what one check's result says of a cause.
type effect struct {
	like  float64 // mean over the cause's hypotheses
	alone bool    // the cause leaves the check alone
}

// effects returns what a result says of each cause, and of a healthy vehicle.
func (m *Model) effects(c *Check, r Result) (by []effect, usual float64) {
	_, read := m.seen(c, r)
	by = make([]effect, len(m.Causes))
	weight := make([]float64, len(m.Causes))
	other := c.shows.other
	for i := range by {
		by[i].alone = true
	}
	for i, h := range m.hyps {
		k := int32(0)
		if len(other) > 0 && int(other[0].hyp) == i {
			k, other = other[0].kind, other[1:]
		}
		w := math.Exp(h.prior)
		by[h.cause].like += w * read[k]
		by[h.cause].alone = by[h.cause].alone && k == 0
		weight[h.cause] += w
	}
	for i := range by {
		by[i].like /= weight[i]
	}
	// What is not listed may show anything.
	like := m.likelihood(c, r)
	by[len(by)-1].like = like[len(like)-1]
	return by, read[0]
}

// Likelihoods returns for each cause of the model, in its order, how likely the
// result is under it, relative to the cause that explains it best. A misreading
// can explain any.
func (m *Model) Likelihoods(c *Check, r Result) []float64 {
	by, _ := m.effects(c, r)
	like := make([]float64, len(by))
	top := 0.0
	for i := range by {
		like[i] = by[i].like
		top = max(top, like[i])
	}
	for i := range like {
		like[i] /= max(top, 1e-300)
	}
	return like
}

// both is what a result says of two causes at once: where one leaves the check
// alone the other shows, and where both change it either may win. It is an
// approximation; two faults in a circuit can show what neither does.
func both(a, b effect) float64 {
	switch {
	case a.alone:
		return b.like
	case b.alone:
		return a.like
	}
	return (a.like + b.like) / 2
}

// besides returns the likelihood of a result that was read beside causes which
// were repaired since.
func (m *Model) besides(c *Check, r Result, under []mended) []float64 {
	like := m.likelihood(c, r)
	by, _ := m.effects(c, r)
	plain := c.shows.other
	for i := range like {
		leaves := true
		if len(plain) > 0 && int(plain[0].hyp) == i {
			leaves, plain = false, plain[1:]
		}
		for _, u := range under {
			k := slices.IndexFunc(m.Causes, func(x Cause) bool { return x.ID == u.cause })
			if k < 0 {
				continue // a hand-off put others in its place
			}
			like[i] = u.p*both(by[k], effect{like[i], leaves}) + (1-u.p)*like[i]
		}
	}
	return like
}

// pairs returns the pairs of causes that explain best what was read, beside all
// that single causes explain.
func (c *Course) pairs() []Pair {
	m := c.m
	one := m.causes(m.prior())
	// The logs of the evidence, by cause, relative to what a healthy vehicle shows.
	var rows [][]effect
	for _, t := range c.results {
		if t.Skipped != "" || t.Stale || t.Check.Discharge() || !t.Check.hasPrediction() {
			continue
		}
		by, usual := m.effects(t.Check, t.Result)
		if usual <= 0 {
			continue
		}
		for i := range by {
			by[i].like /= usual
		}
		rows = append(rows, by)
	}
	// Only what explains a reading better than health does can be in a pair.
	gain := make([]float64, len(m.Causes))
	var paired []int
	for i := range m.Causes {
		for _, by := range rows {
			gain[i] = max(gain[i], math.Log(max(by[i].like, 1e-300)))
		}
		if gain[i] > 0.5 && m.Causes[i].ID != Unexplained {
			paired = append(paired, i)
		}
	}
	slices.SortStableFunc(paired, func(x, y int) int {
		return cmp.Compare(gain[y]+math.Log(one[y]), gain[x]+math.Log(one[x]))
	})
	paired = paired[:min(len(paired), mostPaired)]
	var total float64
	for i := range m.Causes {
		l := math.Log(one[i])
		for _, by := range rows {
			l += math.Log(max(by[i].like, 1e-300))
		}
		total += math.Exp(l)
	}
	var out []Pair
	for n, i := range paired {
		for _, j := range paired[n+1:] {
			if m.Causes[i].Mends == m.Causes[j].Mends {
				continue
			}
			l := math.Log(one[i]) + math.Log(one[j])
			for _, by := range rows {
				l += math.Log(max(both(by[i], by[j]), 1e-300))
			}
			p := math.Exp(l)
			total += p
			out = append(out, Pair{&m.Causes[i], &m.Causes[j], p})
		}
	}
	for i := range out {
		out[i].P /= total
	}
	slices.SortStableFunc(out, func(x, y Pair) int { return cmp.Compare(y.P, x.P) })
	out = slices.DeleteFunc(out, func(p Pair) bool { return p.P < leastPair })
	return out[:min(len(out), mostPairs)]
}
