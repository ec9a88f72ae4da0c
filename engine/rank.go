package engine

import (
	"cmp"
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
	log    []float64 // unnormalised logs
	p      []float64 // normalised
	ranked []Ranked  // by ranking, which is asked several times for each reading
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
	b.ranked = nil
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
	var logs logarithm
	for i, l := range like {
		b.log[i] += logs.of(max(l/top, 1e-300))
	}
	b.normalise()
}

// logarithm remembers the last number that it was asked for: neighbouring
// hypotheses mostly predict the same.
type logarithm struct{ x, log float64 }

func (l *logarithm) of(x float64) float64 {
	if x != l.x {
		l.x, l.log = x, math.Log(x)
	}
	return l.log
}

// causes returns the probability of each cause.
func (m *Model) causes(b *belief) []float64 {
	p := make([]float64, len(m.Causes))
	for i, h := range m.hyps {
		p[h.cause] += b.p[i]
	}
	return p
}

// ranking returns all causes, likeliest first; equal ones keep their order. It
// is kept with the belief, and not to be changed.
func (m *Model) ranking(b *belief) []Ranked {
	if b.ranked != nil {
		return b.ranked
	}
	p := m.causes(b)
	r := make([]Ranked, len(p))
	for i := range p {
		r[i] = Ranked{&m.Causes[i], p[i]}
	}
	slices.SortStableFunc(r, func(x, y Ranked) int { return cmp.Compare(y.P, x.P) })
	b.ranked = r
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
	split []bool    // by hypothesis: another one of its cause counts too
	total float64

	mix   []float64 // scratch, by bin
	one   []float64
	touch []int
	kind  []float64 // and by kind of prediction
}

// negligible is the probability under which a hypothesis no longer counts in
// the expected information.
const negligible = 1e-7

func (m *Model) gainer(b *belief) *gainer {
	g := &gainer{m: m, p: make([]float64, len(m.hyps)), cause: make([]float64, len(m.Causes)), split: make([]bool, len(m.hyps))}
	last := -1 // the last hypothesis that counts
	for i, h := range m.hyps {
		if b.p[i] > negligible && m.Causes[h.cause].ID != Unexplained {
			g.p[i] = b.p[i]
			g.cause[h.cause] += b.p[i]
			g.total += b.p[i]
			// The hypotheses of one cause follow each other.
			if last >= 0 && m.hyps[last].cause == h.cause {
				g.split[last], g.split[i] = true, true
			}
			last = i
		}
	}
	g.scratch()
	return g
}

func (g *gainer) scratch() {
	bins, kinds := 0, 0
	for _, c := range g.m.Checks {
		bins, kinds = max(bins, c.nbins), max(kinds, len(c.shows.kinds))
	}
	g.mix, g.one, g.touch, g.kind = make([]float64, bins), make([]float64, bins), nil, make([]float64, kinds)
}

// manyBits is the count of predictions from which their information is worked
// out side by side.
const manyBits = 20000

// all returns the bits of every check of the model, and 0 of those left out and of
// those that are found to tell less than leastBits.
func (g *gainer) all(without func(*Check) bool) []float64 {
	bits := make([]float64, len(g.m.Checks))
	var of []int
	work := 0
	for i, c := range g.m.Checks {
		if !without(c) {
			of = append(of, i)
			work += 10 + len(c.shows.other)
		}
	}
	if work < manyBits {
		for _, i := range of {
			bits[i] = g.bitsFrom(g.m.Checks[i], leastBits)
		}
		return bits
	}
	const stretch = 64
	parallel((len(of)+stretch-1)/stretch, func(k int) {
		own := *g
		own.scratch()
		for _, i := range of[k*stretch : min((k+1)*stretch, len(of))] {
			bits[i] = own.bitsFrom(own.m.Checks[i], leastBits)
		}
	})
	return bits
}

// bitsFrom is bits, or 0 where they are quickly seen to be less than least: the
// outcome tells no more than which kind of prediction holds, and that is at most
// whether it is another than the usual one, and which of those.
func (g *gainer) bitsFrom(c *Check, least float64) float64 {
	var others float64 // of the causes with another prediction than the usual one
	n, last := 0, -1
	for _, e := range c.shows.other {
		w := g.p[e.hyp]
		if w == 0 {
			continue
		}
		if g.split[e.hyp] {
			cause := g.m.hyps[e.hyp].cause
			if cause == last {
				continue
			}
			w, last = g.cause[cause], cause
		}
		others += w
		n++
	}
	if n == 0 {
		return 0
	}
	// What has no bin does not count, of the usual prediction at most.
	share := others / (others + max(0, g.total-others)*c.shows.kinds[0].mass)
	if share < 0.5 && share*math.Log2(float64(n)/share)-(1-share)*math.Log2(1-share) < least*(1-1e-9) {
		return 0
	}
	return g.bits(c)
}

// bits returns the mutual information of the check's outcome and the cause, in
// bits: the entropy of the outcome less its mean entropy given the cause, less
// what misreadings cost. It is taken among the listed causes alone: however
// likely it is that none of them fits, the next check is the one that would
// single out the one that does.
func (g *gainer) bits(c *Check) float64 {
	mix, kinds := g.mix[:c.nbins], g.kind[:len(c.shows.kinds)]
	clear(mix)
	clear(kinds)
	rest := g.total // of the hypotheses that leave the check alone
	var inner, total float64
	// Of a cause with one hypothesis only the kind of prediction matters.
	for other := c.shows.other; len(other) > 0; {
		e := other[0]
		switch w := g.p[e.hyp]; {
		case w == 0:
		case !g.split[e.hyp]:
			kinds[e.kind] += w
			rest -= w
		default:
			// With several they are mixed first, unless all say the same.
			cause := g.m.hyps[e.hyp].cause
			n, counted, alike := 0, 0.0, true
			for ; n < len(other) && g.m.hyps[other[n].hyp].cause == cause; n++ {
				if w := g.p[other[n].hyp]; w > 0 {
					counted += w
					alike = alike && other[n].kind == e.kind
				}
			}
			left := g.cause[cause] - counted
			rest -= counted
			if alike && left <= negligible {
				kinds[e.kind] += counted
			} else {
				if left > negligible {
					rest -= left
				} else {
					left = 0
				}
				in, mass := g.mixed(c, other[:n], left)
				inner += in
				total += mass
			}
			other = other[n:]
			continue
		}
		other = other[1:]
	}
	if rest > negligible {
		kinds[0] += rest
	}
	for k, w := range kinds {
		if w == 0 {
			continue
		}
		p := &c.shows.kinds[k]
		inner += w * p.inside
		total += w * p.mass
		for _, s := range p.bins {
			mix[s.bin] += w * s.p
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

// mixed adds the results that a cause of several hypotheses shows, left of which
// leave the check alone. It returns their entropy in nats times their mass, and
// the mass.
func (g *gainer) mixed(c *Check, of []exception, left float64) (inner, mass float64) {
	add := func(p *prediction, weight float64) {
		for _, s := range p.bins {
			if g.one[s.bin] == 0 {
				g.touch = append(g.touch, s.bin)
			}
			g.one[s.bin] += weight * s.p
		}
		mass += weight * p.mass
	}
	for _, e := range of {
		if w := g.p[e.hyp]; w > 0 {
			add(&c.shows.kinds[e.kind], w)
		}
	}
	if left > 0 {
		add(&c.shows.kinds[0], left)
	}
	for _, k := range g.touch {
		if x := g.one[k]; x > 0 {
			inner -= x * math.Log(x/mass)
			g.mix[k] += x
		}
		g.one[k] = 0
	}
	g.touch = g.touch[:0]
	return inner, mass
}
