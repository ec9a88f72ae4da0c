package engine

import (
	"math"
	"slices"
)

// prediction is what a check shows under a hypothesis.
type prediction struct {
	spans  []span    // numeric: a mixture
	row    []float64 // otherwise, or for bands: chance of each answer
	danger bool      // the reading would blow the meter's fuse

	bins   []share
	mass   float64 // sum of bins
	inside float64 // entropy of bins as shares of their mass, times the mass, in nats
}

// predictions are what a check shows under each hypothesis. Most hypotheses
// leave most checks alone, so that only the others are listed.
type predictions struct {
	kinds []prediction // the first is what holds where nothing else is said
	other []exception  // by rising hypothesis
	like  map[string][]int32
}

// exception is a hypothesis that predicts something of its own.
type exception struct{ hyp, kind int32 }

// usual sets what holds where nothing else is said.
func (ps *predictions) usual(p prediction) { ps.kinds = []prediction{p} }

// set notes what the check shows under a hypothesis; hypotheses come in rising
// order. Predictions that no reading could tell apart are kept once, and the
// first is the usual one.
func (ps *predictions) set(hyp int, p prediction) {
	if len(ps.kinds) == 0 {
		ps.usual(p)
	}
	if ps.kinds[0].same(&p) {
		return
	}
	key := p.rough()
	for _, k := range ps.like[key] {
		if ps.kinds[k].same(&p) {
			ps.other = append(ps.other, exception{int32(hyp), k})
			return
		}
	}
	if ps.like == nil {
		ps.like = map[string][]int32{}
	}
	k := int32(len(ps.kinds))
	ps.kinds = append(ps.kinds, p)
	ps.like[key] = append(ps.like[key], k)
	ps.other = append(ps.other, exception{int32(hyp), k})
}

// of returns what the check shows under a hypothesis.
func (ps *predictions) of(hyp int) *prediction { return &ps.kinds[ps.kind(hyp)] }

// kind returns which of the predictions holds under a hypothesis.
func (ps *predictions) kind(hyp int) int {
	i, found := slices.BinarySearchFunc(ps.other, int32(hyp), func(e exception, h int32) int { return int(e.hyp - h) })
	if found {
		return int(ps.other[i].kind)
	}
	return 0
}

// informs reports whether any two hypotheses predict different readings.
func (ps *predictions) informs() bool { return len(ps.other) > 0 }

// sameShare is the share of a standard deviation within which two predictions
// are one.
const sameShare = 0.1

// same reports whether no reading could tell the predictions apart.
func (p *prediction) same(q *prediction) bool {
	if len(p.spans) != len(q.spans) || p.danger != q.danger || !slices.Equal(p.row, q.row) {
		return false
	}
	for i := range p.spans {
		s, t := &p.spans[i], &q.spans[i]
		tol := sameShare * min(s.sigma, t.sigma)
		switch {
		case s.weight != t.weight || s.over != t.over || s.unknown != t.unknown:
			return false
		case !(math.Abs(s.low-t.low) <= tol && math.Abs(s.high-t.high) <= tol && math.Abs(s.sigma-t.sigma) <= tol):
			return false
		}
	}
	return true
}

// rough is a key that equal predictions share, and most that are the same.
func (p *prediction) rough() string {
	var key []byte
	number := func(x float64) {
		bits := math.Float64bits(x)
		for range 8 {
			key = append(key, byte(bits))
			bits >>= 8
		}
	}
	for _, x := range p.row {
		number(x)
	}
	for i := range p.spans {
		s := &p.spans[i]
		number(s.over)
		number(math.Round(s.low / max(s.sigma, 1e-9)))
		number(math.Round(s.high / max(s.sigma, 1e-9)))
	}
	return string(key)
}
