package engine

// Typical returns what the check shows under a cause, from its prediction.
func (m *Model) Typical(c *Check, cause string) Result {
	if !c.hasPrediction() {
		return Result{} // a discharge check: nothing is left
	}
	for i, h := range m.hyps {
		if m.Causes[h.cause].ID != cause {
			continue
		}
		p := c.shows.of(i)
		if p.row == nil {
			s := p.spans[0]
			return Result{Value: (s.low + s.high) / 2, Over: s.over > 0.5}
		}
		best := 0
		for k := range p.row {
			if p.row[k] > p.row[best] {
				best = k
			}
		}
		if !c.Mode.Numeric() {
			return Result{Answer: c.Answers[best]}
		}
		var in []float64
		for _, v := range axis(c.Mode) {
			if c.band(v, false) == best {
				in = append(in, v)
			}
		}
		if len(in) == 0 {
			return Result{Over: true}
		}
		return Result{Value: in[len(in)/2]}
	}
	return Result{}
}
