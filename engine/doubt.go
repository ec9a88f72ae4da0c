package engine

import (
	"math"
	"slices"
)

// Before a verdict the readings that carry it alone are put to the test: had
// such a one been wrong, another repair would lead. Figures are common practice,
// no source, and were set by what "probable study" shows.
const (
	// pivotShare is what the verdict's repair must hold without a reading for
	// that reading not to be doubted.
	pivotShare = 0.7
	// leastDoubt is the information, of at most 1 bit, on whether a reading was
	// wrong under which a check is no other route to it.
	leastDoubt = 0.3
	// mostDoubts is how many checks are made in doubt before one verdict.
	mostDoubts = 4
)

// doubt returns a check that tells whether a reading was wrong on which the
// verdict hangs, the number of that reading, and what the check tells of that in
// bits; or nil where no reading is in doubt. It is another route to the same, and
// the same check again only where there is none.
func (c *Course) doubt() (*Check, int, float64) {
	if c.doubts >= mostDoubts || c.m.Misreading == 0 {
		return nil, 0, 0
	}
	lead, sure := c.m.ranking(c.belief)[0].Cause.Mends, c.sure()
	worst := -1
	var without *belief
	least := pivotShare
	for i := range c.results {
		t := &c.results[i]
		if !t.stands() || c.again(t) {
			continue
		}
		b := c.without(t)
		share := c.m.holds(b, lead)
		if !sure {
			// Nothing else is left to ask: only a reading that is odd is worth it.
			share = 1 - c.wrong(t)
		}
		if share < least {
			least, worst, without = share, i, b
		}
	}
	if worst < 0 {
		return nil, 0, 0
	}
	doubted := c.results[worst].Check
	if ch, bits := c.route(doubted, without, lead); ch != nil {
		return ch, worst + 1, bits
	}
	if shut, _ := c.shut(doubted, c.known()); shut || c.refuse(doubted) != "" {
		return nil, 0, 0
	}
	return doubted, worst + 1, 1
}

// stands reports whether a result counts towards the belief as it was read.
func (t *Taken) stands() bool {
	return t.weighs() && !t.Stale && !t.Proof
}

// wrong is the probability that a reading was a misreading, by all that is known:
// high where what the leading causes show is something else.
func (c *Course) wrong(t *Taken) float64 {
	m := c.m
	plain, read := m.seen(t.Check, t.Result)
	by := make([]float64, len(read))
	for k := range read {
		if read[k] > 0 {
			by[k] = 1 - (1-m.Misreading)*plain[k]/read[k]
		}
	}
	var p float64
	other := t.Check.shows.other
	for i, h := range m.hyps {
		k := int32(0)
		if len(other) > 0 && int(other[0].hyp) == i {
			k, other = other[0].kind, other[1:]
		}
		if m.Causes[h.cause].ID != Unexplained {
			p += c.belief.p[i] * by[k]
		}
	}
	return p
}

// wrongShare is the probability from which a verdict says that a reading was
// probably wrong.
const wrongShare = 0.5

// odd returns the numbers of the readings that were probably wrong, by all that
// is known, in order.
func (c *Course) odd() []int {
	var out []int
	for i := range c.results {
		if t := &c.results[i]; t.stands() && c.wrong(t) >= wrongShare {
			out = append(out, i+1)
		}
	}
	return out
}

// unlikeShare is what the causes that lead give of an answer under which a verdict
// says that it is unlike them.
const unlikeShare = 0.05

// usual is how often the causes of a repair give the answer that was given; ok is
// false where no table says what they show.
func (c *Course) usual(t *Taken, mends string) (p float64, ok bool) {
	m := c.m
	var total float64
	for i, h := range m.hyps {
		if m.Causes[h.cause].Mends != mends {
			continue
		}
		shown := t.Check.shows.of(i)
		if shown.row == nil {
			return 0, false
		}
		total += c.belief.p[i]
		p += c.belief.p[i] * m.chance(t.Check, shown, t.Result)
	}
	return p / total, total > 0
}

// unlike returns the numbers of the answers that the causes of the leading one's
// repair seldom give, in order, without those that were probably wrong.
func (c *Course) unlike(lead *Cause, odd []int) []int {
	if lead.ID == Unexplained {
		return nil
	}
	var out []int
	for i := range c.results {
		t := &c.results[i]
		if !t.stands() || slices.Contains(odd, i+1) {
			continue
		}
		if p, ok := c.usual(t, lead.Mends); ok && p < unlikeShare {
			out = append(out, i+1)
		}
	}
	return out
}

// again reports whether the check of a result was asked more than once.
func (c *Course) again(t *Taken) bool {
	n := 0
	for i := range c.results {
		if o := &c.results[i]; o.Check.ID == t.Check.ID && !o.Proof {
			n++
		}
	}
	return n > 1
}

// without is the belief had a result not been taken.
func (c *Course) without(t *Taken) *belief {
	like := c.m.likelihood(t.Check, t.Result)
	top := slices.Max(like)
	b := &belief{log: slices.Clone(c.belief.log)}
	if top > 0 {
		var logs logarithm
		for i, l := range like {
			b.log[i] -= logs.of(max(l/top, 1e-300))
		}
	}
	b.normalise()
	return b
}

// holds is the probability of the causes that share a repair.
func (m *Model) holds(b *belief, mends string) float64 {
	var share float64
	for i, h := range m.hyps {
		if m.Causes[h.cause].Mends == mends {
			share += b.p[i]
		}
	}
	return share
}

// route returns the check that tells the most, for its cost, of whether the result
// of another was wrong, and how many bits. Was it right, the belief holds; was it wrong,
// the belief without it and without the repair that it spoke for.
func (c *Course) route(doubted *Check, without *belief, lead string) (best *Check, bits float64) {
	m := c.m
	right, wrong := make([]float64, len(m.hyps)), make([]float64, len(m.hyps))
	var sum, total float64
	for i, h := range m.hyps {
		if m.Causes[h.cause].ID == Unexplained {
			continue
		}
		right[i] = c.belief.p[i]
		sum += right[i]
		if m.Causes[h.cause].Mends != lead {
			wrong[i] = without.p[i]
			total += wrong[i]
		}
	}
	if sum <= 0 || total <= 0 {
		return nil, 0
	}
	for i := range wrong {
		right[i] /= sum
		wrong[i] /= total
	}
	known := c.known()
	var open []*Check
	for _, ch := range m.Checks {
		if c.done[ch.ID] || ch.samePlace(doubted) || c.refuse(ch) != "" {
			continue
		}
		if shut, _ := c.shut(ch, known); !shut {
			open = append(open, ch)
		}
	}
	told := make([]float64, len(open))
	parallel(len(open), func(i int) { told[i] = open[i].tells(right, wrong) })
	var score float64
	for i, ch := range open {
		if told[i] < leastDoubt {
			continue
		}
		if s := told[i] / c.cost(ch); s > score*(1+1e-9) {
			best, bits, score = ch, told[i], s
		}
	}
	return best, bits
}

// ohmic reports whether the mode measures a resistance, by number or by ear.
func (m Mode) ohmic() bool { return m == Ohms || m == Continuity }

// samePlace reports whether two checks put the same leads to the same pins, in
// whatever state, so that the one repeats the mistakes of the other.
func (c *Check) samePlace(o *Check) bool {
	same := c.Mode == o.Mode && c.Mode.Numeric() || c.Mode.ohmic() && o.Mode.ohmic()
	return same && (c.Red == o.Red && c.Black == o.Black || c.Red == o.Black && c.Black == o.Red)
}

// tells is the information in bits that the check gives on which of two equally
// likely sets of chances the hypotheses have, or 0 where it is less than leastDoubt.
func (c *Check) tells(p, q []float64) float64 {
	x, y := c.outcomes(p), c.outcomes(q)
	var apart float64 // the divergence is no more than half of it (Lin 1991, theorem 3: from memory)
	for i := range x {
		apart += math.Abs(x[i] - y[i])
	}
	if apart/2 < leastDoubt*(1-1e-9) {
		return 0
	}
	return divergence(x, y)
}

// outcomes are the chances of the check's bins where the hypotheses have the
// chances p.
func (c *Check) outcomes(p []float64) []float64 {
	kinds := make([]float64, len(c.shows.kinds))
	rest := 1.0
	for _, o := range c.shows.other {
		rest -= p[o.hyp]
		kinds[o.kind] += p[o.hyp]
	}
	kinds[0] += max(rest, 0)
	out := make([]float64, c.nbins)
	var sum float64
	for k, weight := range kinds {
		if weight == 0 {
			continue
		}
		for _, s := range c.shows.kinds[k].bins {
			out[s.bin] += weight * s.p
			sum += weight * s.p
		}
	}
	for i := range out {
		out[i] /= max(sum, 1e-300)
	}
	return out
}

// divergence is the information in bits of an outcome on which of two equally
// likely distributions it came from, 0 to 1.
func divergence(p, q []float64) float64 {
	var bits float64
	for i := range p {
		mid := (p[i] + q[i]) / 2
		if p[i] > 0 {
			bits += p[i] / 2 * math.Log2(p[i]/mid)
		}
		if q[i] > 0 {
			bits += q[i] / 2 * math.Log2(q[i]/mid)
		}
	}
	return max(bits, 0)
}
