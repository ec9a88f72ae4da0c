package engine

import (
	"cmp"
	"math"
	"slices"
)

// Sign is an outcome of a check that speaks for a cause.
type Sign struct {
	Cause *GuideCause
	Check *GuideCheck
	N     int     // of the outcome
	P     float64 // its chance under the cause
	Usual float64 // its chance under causes that the table does not name
}

// weight is what the outcome adds to the expected evidence for the cause, in
// nats.
func (s *Sign) weight() float64 { return s.P * math.Log(s.P/max(s.Usual, 1e-3)) }

// A sign is seen in at least signShare of the cases, and at least signTimes as
// often as usual (common practice, no source).
const (
	signShare = 0.15
	signTimes = 2
)

// Signs returns what speaks for a cause in the tables of the guide, at most one
// outcome of each check, the strongest first.
func (g *Guide) Signs(c *GuideCause) []Sign {
	var out []Sign
	for i := range g.Checks {
		var best Sign
		for _, s := range g.Checks[i].signs(c) {
			if best.Check == nil || s.weight() > best.weight() {
				best = s
			}
		}
		if best.Check != nil {
			out = append(out, best)
		}
	}
	slices.SortStableFunc(out, func(a, b Sign) int { return cmp.Compare(b.weight(), a.weight()) })
	return out
}

// SignsOf returns what each outcome of a check of the guide speaks for, by
// outcome, the likeliest causes first.
func (g *Guide) SignsOf(k *GuideCheck) [][]Sign {
	out := make([][]Sign, len(k.Answers))
	for i := range g.Causes {
		for _, s := range k.signs(&g.Causes[i]) {
			out[s.N] = append(out[s.N], s)
		}
	}
	for _, of := range out {
		slices.SortStableFunc(of, func(a, b Sign) int { return cmp.Compare(b.P*b.Cause.Odds, a.P*a.Cause.Odds) })
	}
	return out
}

// signs returns the outcomes of the check that speak for a cause.
func (k *GuideCheck) signs(c *GuideCause) []Sign {
	var out []Sign
	if k.Otherwise == nil {
		return nil // computed
	}
	for i, p := range k.row(c) {
		if usual := k.Otherwise[i]; p >= signShare && p >= signTimes*usual {
			out = append(out, Sign{c, k, i, p, usual})
		}
	}
	return out
}
