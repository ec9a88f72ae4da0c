package coverage

import (
	"math"
	"slices"
)

// Fewest returns the least mean count of checks with which any course, however
// cleverly it chooses, can learn so many bits of the cause: each capacity is the most
// that one use of a check can tell, and no check is made twice.
//
// With N checks the answers tell at most the sum of the capacities of the checks
// made, whatever was chosen on what had been read before (chain rule of mutual
// information; Cover and Thomas, Elements of Information Theory, chapter 2; memory),
// and that is at most S(N), the sum of the N greatest. S is concave, so
// that on the mean S(mean of N) is at least the bits learned (Jensen). The result
// is the point where S, drawn straight between whole counts, reaches the bits: a whole count
// would claim too much of a mean. It is infinite if all checks together cannot tell so much.
func Fewest(bits float64, capacities []float64) float64 {
	sorted := slices.Sorted(slices.Values(capacities))
	slices.Reverse(sorted)
	n := 0.0
	for _, c := range sorted {
		if bits <= 0 {
			break
		}
		if c <= 0 {
			return math.Inf(1)
		}
		n += min(1, bits/c)
		bits -= c
	}
	if bits > 0 {
		return math.Inf(1)
	}
	return n
}

// channel is a check as the chances of its results by cause.
type channel [][]float64

// fewestAt is a bound as [Fewest] is, and never below it by more than rounding,
// that also knows the odds of the causes.
//
// Let w be, by cause, the chance that the cause is the true one and that the
// check is made. Over all courses the check then tells at most the mutual
// information of its answer with causes at the odds w, times their sum: given
// what was read before the odds may be any, but on the mean they are w, and mutual
// information is concave in the odds. No w is above the prior p, as no check is
// made twice, and the sum of all w is the mean count of checks. So for any price L per check
// and any odds q of answers
//
//	bits <= L count + sum over checks of sum over causes of p max(0, D - L)
//
// with D the divergence of the cause's answers from q, since mutual
// information is the least mean of D over all q. Whatever q and L are tried, the
// bound holds; better ones make it tighter.
func fewestAt(bits float64, prior []float64, checks []channel) float64 {
	var most float64
	for _, c := range checks {
		for _, d := range c.divergences(c.mix(prior)) {
			most = max(most, d)
		}
	}
	var best float64
	for price := most; price > most/200; price *= 0.9 {
		left := bits
		for _, c := range checks {
			left -= c.worth(prior, price)
			if left <= 0 {
				break
			}
		}
		best = max(best, left/price)
	}
	return best
}

// worthRounds is how often the odds of answers are bettered; leastWeight keeps a
// share of each cause in them.
const (
	worthRounds = 25
	leastWeight = 1e-9
)

// worth is a bound on what the check tells above its price, in bits.
func (c channel) worth(prior []float64, price float64) float64 {
	w := slices.Clone(prior)
	least := math.Inf(1)
	for range worthRounds {
		var total float64
		d := c.divergences(c.mix(w))
		for i, x := range d {
			total += prior[i] * max(0, x-price)
			w[i] = min(prior[i], max(w[i]*math.Exp2(x-price), leastWeight*prior[i]))
		}
		if total > least-1e-6 {
			return min(least, total)
		}
		least = total
	}
	return least
}

// mix returns the odds of the answers with the causes at odds w.
func (c channel) mix(w []float64) []float64 {
	q := make([]float64, len(c[0]))
	var total float64
	for i, row := range c {
		total += w[i]
		for k, x := range row {
			q[k] += w[i] * x
		}
	}
	for k := range q {
		q[k] /= total
	}
	return q
}

// divergences returns by cause how far its answers are from q, in bits.
func (c channel) divergences(q []float64) []float64 {
	d := make([]float64, len(c))
	for i, row := range c {
		for k, x := range row {
			if x > 0 {
				d[i] += x * math.Log2(x/q[k])
			}
		}
	}
	return d
}

// entropy of odds that sum to one, in bits.
func entropy(p []float64) float64 {
	var bits float64
	for _, x := range p {
		if x > 0 {
			bits -= x * math.Log2(x)
		}
	}
	return bits
}
