package engine

import (
	"math"
	"slices"
)

// Ranked is a cause and its probability.
type Ranked struct {
	Cause *Cause
	P     float64
}

// belief is a distribution over a model's hypotheses.
type belief struct {
	log []float64 // unnormalised logs
	p   []float64 // normalised
}

func (m *Model) prior() *belief {
	b := &belief{log: make([]float64, len(m.hyps))}
	for i, h := range m.hyps {
		b.log[i] = h.prior
	}
	b.normalise()
	return b
}

func (b *belief) normalise() {
	top := slices.Max(b.log)
	b.p = make([]float64, len(b.log))
	var sum float64
	for i, l := range b.log {
		b.p[i] = math.Exp(l - top)
		sum += b.p[i]
	}
	for i := range b.p {
		b.p[i] /= sum
	}
}

// update multiplies the belief by the likelihoods of one result.
func (b *belief) update(like []float64) {
	top := slices.Max(like)
	if top <= 0 {
		return // no hypothesis, not even a misreading, allows it: nothing learned
	}
	for i, l := range like {
		b.log[i] += math.Log(max(l/top, 1e-300))
	}
	b.normalise()
}

// causes returns the probability of each cause.
func (m *Model) causes(b *belief) []float64 {
	p := make([]float64, len(m.Causes))
	for i, h := range m.hyps {
		p[h.cause] += b.p[i]
	}
	return p
}

// ranking returns all causes, likeliest first; equal ones keep their order.
func (m *Model) ranking(b *belief) []Ranked {
	p := m.causes(b)
	r := make([]Ranked, len(p))
	for i := range p {
		r[i] = Ranked{&m.Causes[i], p[i]}
	}
	slices.SortStableFunc(r, func(x, y Ranked) int {
		switch {
		case x.P > y.P:
			return -1
		case x.P < y.P:
			return 1
		}
		return 0
	})
	return r
}

// entropy in bits of the causes.
func entropy(r []Ranked) float64 {
	var bits float64
	for _, c := range r {
		if c.P > 0 {
			bits -= c.P * math.Log2(c.P)
		}
	}
	return bits
}

// gainer works out the expected information of checks for one belief.
type gainer struct {
	m     *Model
	p     []float64 // by hypothesis; 0 where it does not count
	cause []float64 // by cause: the sum of its hypotheses
	total float64
	mix   []float64
	one   []float64
	touch []int
}

// negligible is the probability under which a hypothesis no longer counts in
// the expected information.
const negligible = 1e-7

func (m *Model) gainer(b *belief) *gainer {
	g := &gainer{m: m, p: make([]float64, len(m.hyps)), cause: make([]float64, len(m.Causes))}
	for i, h := range m.hyps {
		if b.p[i] > negligible && m.Causes[h.cause].ID != Unexplained {
			g.p[i] = b.p[i]
			g.cause[h.cause] += b.p[i]
			g.total += b.p[i]
		}
	}
	most := 0
	for _, c := range m.Checks {
		most = max(most, c.nbins)
	}
	g.mix = make([]float64, most)
	g.one = make([]float64, most)
	return g
}

// bits returns the mutual information of the check's outcome and the cause, in
// bits: the entropy of the outcome less its mean entropy given the cause, less
// what misreadings cost. It is taken among the listed causes alone: however
// likely it is that none of them fits, the next check is the one that would
// single out the one that does.
func (g *gainer) bits(c *Check) float64 {
	mix := g.mix[:c.nbins]
	clear(mix)
	usual := &c.shows.kinds[0]
	rest := g.total // of the causes that leave the check alone
	var inner, total float64
	add := func(p *prediction, weight float64) {
		for _, s := range p.bins {
			if g.one[s.bin] == 0 {
				g.touch = append(g.touch, s.bin)
			}
			g.one[s.bin] += weight * s.p
		}
	}
	// The hypotheses of one cause follow each other.
	for other := c.shows.other; len(other) > 0; {
		cause := g.m.hyps[other[0].hyp].cause
		left, mass := g.cause[cause], 0.0
		kind, several := int32(-1), false // what its hypotheses show
		of := other
		for len(other) > 0 && g.m.hyps[other[0].hyp].cause == cause {
			if w := g.p[other[0].hyp]; w > 0 {
				several = several || kind >= 0 && kind != other[0].kind
				kind = other[0].kind
				left -= w
				mass += w
			}
			other = other[1:]
		}
		if kind < 0 {
			continue // none of them counts
		}
		rest -= g.cause[cause]
		if !several && left <= negligible {
			// They all show the same, whose entropy is known.
			p := &c.shows.kinds[kind]
			for _, s := range p.bins {
				mix[s.bin] += mass * s.p
			}
			inner += mass * p.inside
			total += mass * p.mass
			continue
		}
		mass = 0
		for _, o := range of[:len(of)-len(other)] {
			if w := g.p[o.hyp]; w > 0 {
				p := &c.shows.kinds[o.kind]
				add(p, w)
				mass += w * p.mass
			}
		}
		if left > negligible {
			add(usual, left)
			mass += left * usual.mass
		}
		for _, k := range g.touch {
			if x := g.one[k]; x > 0 {
				inner -= x * math.Log(x/mass)
				mix[k] += x
			}
			g.one[k] = 0
		}
		g.touch = g.touch[:0]
		total += mass
	}
	if rest > negligible {
		inner += rest * usual.inside
		total += rest * usual.mass
		for _, s := range usual.bins {
			mix[s.bin] += rest * s.p
		}
	}
	if total <= 0 {
		return 0
	}
	var outer float64
	for _, x := range mix {
		if x > 0 {
			outer -= x * math.Log(x/total)
		}
	}
	return max(0, (outer-inner)/total/math.Ln2) * (1 - g.m.Misreading)
}
