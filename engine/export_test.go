package engine

import "math"

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
