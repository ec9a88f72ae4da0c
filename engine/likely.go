package engine

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// Likeliest returns the result of a check that is likeliest under a cause: the
// answer with the greatest chance, a reading in the middle of the likeliest
// outcome, or the middle of the likeliest span. A cause that stands for several
// hypotheses is taken as the likeliest of them, so that all results are of one
// vehicle. Under [Unexplained], or an ID that the model does not have, it is what
// the causes show on the whole. A discharge check reads nothing.
func (m *Model) Likeliest(c *Check, cause string) Result {
	if !c.hasPrediction() {
		return Result{}
	}
	p := m.predicted(c, cause)
	if p.row != nil {
		return m.answer(c, greatest(p.row), nil)
	}
	s := slices.MaxFunc(p.spans, func(x, y span) int { return cmp.Compare(x.weight, y.weight) })
	switch {
	case s.over > 0.5:
		return Result{Over: true}
	case s.unknown:
		return Result{}
	}
	return Result{Value: (s.low + s.high) / 2}
}

// Draw returns a result of a check drawn from what it shows under a cause, the
// likeliest hypothesis of it as in [Model.Likeliest]. Half of what [Unexplained]
// shows is anything at all. Misreadings are not drawn.
func (m *Model) Draw(c *Check, cause string, rng *rand.Rand) Result {
	if !c.hasPrediction() {
		return Result{}
	}
	p := m.predicted(c, cause)
	anything := cause == Unexplained && rng.IntN(2) == 0
	if p.row != nil {
		if anything {
			return m.answer(c, rng.IntN(len(p.row)), rng)
		}
		return m.answer(c, pick(len(p.row), func(i int) float64 { return p.row[i] }, rng), rng)
	}
	s := p.spans[pick(len(p.spans), func(i int) float64 { return p.spans[i].weight }, rng)]
	if anything || s.unknown {
		return m.anything(c, rng)
	}
	if rng.Float64() < s.over {
		return Result{Over: true}
	}
	sigma := s.sigma
	if rng.Float64() < wideShare {
		sigma *= wide
	}
	v := s.low + rng.Float64()*(s.high-s.low) + sigma*rng.NormFloat64()
	if c.Mode == Ohms {
		v = max(v, 0)
	}
	return Result{Value: v}
}

// Within returns a result of the check that counts as the outcome of that ID; ok
// is false if the check has no such outcome.
func (m *Model) Within(c *Check, outcome string) (r Result, ok bool) {
	k := slices.Index(c.Answers, outcome)
	if k < 0 {
		return Result{}, false
	}
	return m.answer(c, k, nil), true
}

// predicted is what the check shows under the likeliest hypothesis of a cause.
func (m *Model) predicted(c *Check, cause string) prediction {
	if best := m.likeliest(cause); best >= 0 {
		return *c.shows.of(best)
	}
	if !c.tabled() {
		return c.shows.kinds[0]
	}
	row := make([]float64, len(c.Answers))
	for i, h := range m.hyps {
		for k, p := range c.shows.of(i).row {
			row[k] += math.Exp(h.prior) * p
		}
	}
	return prediction{row: row}
}

// likeliest is the likeliest hypothesis of a cause, or -1; Unexplained has none.
func (m *Model) likeliest(cause string) int {
	best := -1
	for i, h := range m.hyps {
		if id := m.Causes[h.cause].ID; id == cause && id != Unexplained && (best < 0 || h.prior > m.hyps[best].prior) {
			best = i
		}
	}
	return best
}

// answer is a result that counts as an outcome of the check: of a reading the
// middle one of those that do, or with a source of chance any of them.
func (m *Model) answer(c *Check, outcome int, rng *rand.Rand) Result {
	if !c.Mode.Numeric() {
		return Result{Answer: c.Answers[outcome]}
	}
	in := c.inside()[outcome]
	var usual []float64
	for _, v := range in {
		if v >= 0 && (c.Mode == Ohms || v <= m.scale) {
			usual = append(usual, v) // leads the right way round, and no more than the vehicle has
		}
	}
	if len(usual) > 0 {
		in = usual
	}
	switch {
	case len(in) == 0:
		return Result{Over: true}
	case rng != nil:
		return Result{Value: in[rng.IntN(len(in))]}
	}
	return Result{Value: in[len(in)/2]}
}

// anything is a result as a misreading may be; see floor.
func (m *Model) anything(c *Check, rng *rand.Rand) Result {
	if rng.Float64() < floorOver {
		return Result{Over: true}
	}
	switch c.Mode {
	case Ohms:
		return Result{Value: leastOhms * math.Pow(mostOhms/leastOhms, rng.Float64())}
	case AmpsDC:
		return Result{Value: mostAmps * (2*rng.Float64() - 1)}
	}
	return Result{Value: m.scale * (2*rng.Float64() - 1)}
}

// greatest is the index of the greatest value, the first of equal ones.
func greatest(xs []float64) int {
	best := 0
	for i, x := range xs {
		if x > xs[best] {
			best = i
		}
	}
	return best
}

// pick draws an index by its weight.
func pick(n int, weight func(int) float64, rng *rand.Rand) int {
	var total float64
	for i := range n {
		total += weight(i)
	}
	x := rng.Float64() * total
	for i := range n {
		if x -= weight(i); x < 0 {
			return i
		}
	}
	return n - 1
}
