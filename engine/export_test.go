package engine

import (
	"math"
	"slices"
)

// Gains returns the expected information of a check as the course reckons it, and
// by its definition: the entropy of the outcome less that of the outcome given the
// cause, among the listed causes.
func (c *Course) Gains(ch *Check) (reckoned, defined float64) {
	m := c.m
	reckoned = m.gainer(c.belief).bits(ch)
	by := map[int]map[int]float64{} // mass by cause and bin
	for i, h := range m.hyps {
		if c.belief.p[i] <= negligible || m.Causes[h.cause].ID == Unexplained {
			continue
		}
		if by[h.cause] == nil {
			by[h.cause] = map[int]float64{}
		}
		for _, s := range ch.shows.of(i).bins {
			by[h.cause][s.bin] += c.belief.p[i] * s.p
		}
	}
	mix, total, inner := map[int]float64{}, 0.0, 0.0
	for _, bins := range by {
		mass := 0.0
		for _, x := range bins {
			mass += x
		}
		for bin, x := range bins {
			inner -= x * math.Log(x/mass)
			mix[bin] += x
		}
		total += mass
	}
	for _, x := range mix {
		defined -= x * math.Log(x/total)
	}
	return reckoned, max(0, (defined-inner)/total/math.Ln2) * (1 - m.Misreading)
}

// Together returns the least and the most that a check reads when a set of causes
// is there at once, over all that can have blown, and one standard deviation; ok
// is false where they cannot be put in together, or nothing is known.
func (m *Model) Together(ch *Check, causes ...string) (low, high, sigma float64, ok bool) {
	var set []int
	for _, id := range causes {
		set = append(set, slices.IndexFunc(m.Causes, func(c Cause) bool { return c.ID == id }))
	}
	joined := m.both.solve([][]int{set}, []*Check{ch})[0]
	if joined == nil {
		return 0, 0, 0, false
	}
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range joined.shows(ch) {
		for _, s := range p.spans {
			if s.unknown || s.over > 0 {
				return 0, 0, 0, false
			}
			low, high, sigma = min(low, s.low), max(high, s.high), max(sigma, s.sigma)
		}
	}
	return low, high, sigma, true
}

// Alone is what the approximation says of a pair for a result, by what each cause
// shows alone, and what the circuit says with both in it; both against the best
// single cause.
func (m *Model) Alone(ch *Check, r Result, a, b string) (alone, together float64) {
	at := func(id string) int { return slices.IndexFunc(m.Causes, func(c Cause) bool { return c.ID == id }) }
	by, _ := m.effects(ch, r)
	best := 0.0
	for i := range by[:len(by)-1] {
		best = max(best, by[i].like)
	}
	joined := m.both.solve([][]int{{at(a), at(b)}}, []*Check{ch})[0]
	shares := m.both.shares([]int{at(a), at(b)}, joined)
	for n, p := range joined.shows(ch) {
		together += shares[n] * m.read(ch, &p, r)
	}
	return both(by[at(a)], by[at(b)]) / best, together / best
}
