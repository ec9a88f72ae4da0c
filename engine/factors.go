package engine

import "fmt"

// Factor is what one thing that was learned does to a cause's probability.
type Factor struct {
	N      int     // number of the result, from 1, as in Taken; 0 where a repair did not prove
	Check  *Check  // or nil
	Result Result  // of the check
	Times  float64 // the cause's probability after it, over that before: its likelihood over that of all causes together
	P      float64 // of the cause, after it
	Say    string  // in plain words
}

// Explain returns what raised and lowered a cause, in the order in which it is
// weighed: the factors times the cause's probability at the start make that of
// now. It is nil for an ID that no cause has.
func (c *Course) Explain(cause string) []Factor {
	if c.m.cause(cause) == nil {
		return nil
	}
	of := func(b *belief) (p float64) {
		for i, h := range c.m.hyps {
			if c.m.Causes[h.cause].ID == cause {
				p += b.p[i]
			}
		}
		return p
	}
	b := c.m.prior()
	before := of(b)
	var out []Factor
	c.learn(b, c.weighed(), func(n int) {
		f := Factor{N: n + 1, P: of(b)}
		f.Times = f.P / before
		before = f.P
		if n < 0 {
			if f.Times != 1 {
				f.N, f.Say = 0, "a repair that did not prove "+times(f.Times)
				out = append(out, f)
			}
			return
		}
		t := &c.results[n]
		f.Check, f.Result = t.Check, t.Result
		f.Say = fmt.Sprintf("%s: %s %s", t.Check.ID, t.Check.Shows(t.Result), times(f.Times))
		if p := c.m.Predicts(t.Check, cause); p != "" {
			f.Say += "; it would show " + p
		}
		if t.under != nil {
			f.Say += "; read before a repair"
		}
		out = append(out, f)
	})
	return out
}

// littleTimes is how far a factor must be from one to be told (common practice,
// no source).
const littleTimes = 1.05

// times says a factor in words.
func times(x float64) string {
	switch {
	case x > littleTimes:
		return fmt.Sprintf("makes it %s times as likely", factor(x))
	case x < 1/littleTimes:
		return fmt.Sprintf("makes it %s times less likely", factor(1/x))
	}
	return "says little of it"
}

// factor writes a factor with two digits; more say nothing.
func factor(x float64) string {
	switch {
	case x >= 1000:
		return "over 1000"
	case x >= 10:
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprintf("%.1f", x)
}
