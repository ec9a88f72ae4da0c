package engine

// Typical returns what the check shows under a cause, from its prediction.
func (m *Model) Typical(c *Check, cause string) Result {
	for i, h := range m.hyps {
		if m.Causes[h.cause].ID != cause {
			continue
		}
		if c.rows == nil {
			s := c.spans[i][0]
			return Result{Value: (s.low + s.high) / 2, Over: s.over > 0.5}
		}
		best := 0
		for k, p := range c.rows[i] {
			if p > c.rows[i][best] {
				best = k
			}
		}
		return Result{Answer: c.Answers[best]}
	}
	return Result{}
}
