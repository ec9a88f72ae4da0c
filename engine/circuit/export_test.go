package circuit

// ReviewWithin reviews with other bounds than its own.
func (h *Harness) ReviewWithin(states, switches float64) []Finding { return h.review(states, switches) }
