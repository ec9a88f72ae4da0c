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
	b     *belief
	live  []int // hypotheses worth counting, in order of their causes
	mix   []float64
	one   []float64
	touch []int
}

// negligible is the probability under which a hypothesis no longer counts in
// the expected information.
const negligible = 1e-7

func (m *Model) gainer(b *belief) *gainer {
	g := &gainer{m: m, b: b}
	for i, h := range m.hyps {
		if b.p[i] > negligible && m.Causes[h.cause].ID != Unexplained {
			g.live = append(g.live, i)
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
	var inner float64 // sum over causes of p * H(outcome | cause), in nats
	flush := func(mass float64) {
		if mass > 0 {
			for _, k := range g.touch {
				q := g.one[k] / mass
				if q > 0 {
					inner -= g.one[k] * math.Log(q)
				}
				mix[k] += g.one[k]
				g.one[k] = 0
			}
		}
		g.touch = g.touch[:0]
	}
	mass, total := 0.0, 0.0
	cause := -1
	for _, i := range g.live {
		if h := g.m.hyps[i].cause; h != cause {
			flush(mass)
			cause, mass = h, 0
		}
		var sum float64
		for _, s := range c.bins[i] {
			x := g.b.p[i] * s.p
			if x == 0 {
				continue
			}
			if g.one[s.bin] == 0 {
				g.touch = append(g.touch, s.bin)
			}
			g.one[s.bin] += x
			sum += x
		}
		mass += sum
		total += sum
	}
	flush(mass)
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
