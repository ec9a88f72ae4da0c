package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Predicts says in a few words what the check shows under the cause, or "".
func (m *Model) Predicts(c *Check, cause string) string {
	var spans []span
	var row []float64
	var weight float64
	for i, h := range m.hyps {
		if m.Causes[h.cause].ID != cause || cause == Unexplained || !c.hasPrediction() {
			continue
		}
		w := math.Exp(h.prior)
		weight += w
		p := c.shows.of(i)
		for _, s := range p.spans {
			s.weight *= w
			spans = append(spans, s)
		}
		if row == nil && p.row != nil {
			row = make([]float64, len(p.row))
		}
		for k, x := range p.row {
			row[k] += w * x
		}
	}
	if weight == 0 {
		return ""
	}
	if row != nil {
		best := 0
		for k, p := range row {
			if p > row[best] {
				best = k
			}
		}
		if row[best] < 0.8*weight {
			return fmt.Sprintf("%s (%.0f %%)", c.Answers[best], 100*row[best]/weight)
		}
		return c.Answers[best]
	}
	low, high, over := math.Inf(1), math.Inf(-1), 0.0
	for _, s := range spans {
		if s.unknown || s.weight < 0.05*weight {
			continue
		}
		over += s.weight * s.over
		if s.over < 1 {
			low, high = min(low, s.low), max(high, s.high)
		}
	}
	unit := c.Mode.Unit()
	switch {
	case over > 0.9*weight:
		return "OL"
	case low > high:
		return ""
	case quantity(low, unit) == quantity(high, unit):
		return quantity(low, unit)
	}
	return quantity(low, unit) + " to " + quantity(high, unit)
}

// quantity writes a value with three digits and a prefix, as a meter would.
func quantity(x float64, unit string) string {
	a := math.Abs(x)
	switch {
	case a < 5e-4 && unit != "A":
		return "0 " + unit
	case a >= 999.5e3:
		return fmt.Sprintf("%s M%s", digits(x/1e6), unit)
	case a >= 999.5:
		return fmt.Sprintf("%s k%s", digits(x/1e3), unit)
	case a < 0.0995:
		return fmt.Sprintf("%s m%s", digits(x*1e3), unit)
	}
	return fmt.Sprintf("%s %s", digits(x), unit)
}

func digits(x float64) string {
	places := 2
	switch a := math.Abs(x); {
	case a >= 99.95:
		places = 0
	case a >= 9.995:
		places = 1
	}
	s := fmt.Sprintf("%.*f", places, x)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// with writes the range with its unit, as a person reads it.
func (r Range) with(unit string) string {
	switch {
	case math.IsInf(r.High, 1):
		return "above " + quantity(r.Low, unit) + ", or OL"
	case quantity(r.Low, unit) == quantity(r.High, unit):
		return quantity(r.Low, unit)
	}
	return quantity(r.Low, unit) + " to " + quantity(r.High, unit)
}

// Good says what a healthy vehicle shows, or "".
func (c *Check) Good() string {
	if c.Expect != nil {
		return c.Expect.with(c.Mode.Unit())
	}
	if k := slices.Index(c.Answers, c.Healthy); k >= 0 && c.Mode.Numeric() && c.says != nil {
		return c.says[k]
	}
	return c.Healthy
}

// Says returns what the answers mean in words, by answer, or nil.
func (c *Check) Says() []string { return c.says }

// Shows writes a result of the check with its unit.
func (c *Check) Shows(r Result) string {
	switch {
	case len(r.Values) > 0 && c.Mode == Wiggle:
		return quantity(r.Values[0], c.Unit()) + " to " + quantity(r.Values[1], c.Unit())
	case len(r.Values) > 0:
		var words []string
		for i, at := range c.Sweep {
			words = append(words, fmt.Sprintf("%s %s against %s", at, quantity(r.Values[2*i], c.Unit()), quantity(r.Values[2*i+1], c.Unit())))
		}
		return strings.Join(words, ", ")
	case c.Mode.Numeric() && !r.Over:
		return quantity(r.Value, c.Unit())
	}
	return r.String()
}

// Prediction is what a check shows under one of the leading causes.
type Prediction struct {
	Cause string
	P     float64 // of the cause
	Shows string
}

// Splits says what the check shows under each of the leading causes, which is
// why it is worth making.
func (c *Course) Splits(ch *Check, most int) []Prediction {
	var out []Prediction
	for _, r := range c.m.ranking(c.belief) {
		if len(out) == most || r.P < 0.01 {
			break
		}
		if s := c.m.Predicts(ch, r.Cause.ID); s != "" {
			out = append(out, Prediction{r.Cause.ID, r.P, s})
		}
	}
	return out
}
