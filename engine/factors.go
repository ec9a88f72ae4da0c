package engine

import (
	"fmt"
	"strconv"
	"strings"
)

// Factor is what one thing that was learned does to a cause's probability.
type Factor struct {
	N      int     // number of the result, from 1, as in Taken; 0 where a repair did not prove
	Check  *Check  // or nil
	Result Result  // of the check
	Times  float64 // the cause's probability after it, over that before: its likelihood over that of all causes together
	P      float64 // of the cause, after it
	Shows  string  // what the cause would show there, in words, or ""
	Before bool    // it was read before a repair that did not prove, beside what was repaired
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
				f.N = 0
				out = append(out, f)
			}
			return
		}
		t := &c.results[n]
		f.Check, f.Result, f.Shows, f.Before = t.Check, t.Result, c.m.Predicts(t.Check, cause), t.under != nil
		out = append(out, f)
	})
	return out
}

// Start returns the probability of a cause before all its factors, of which there
// is at least one.
func Start(factors []Factor) float64 { return factors[0].P / factors[0].Times }

// Say tells the factor in plain words.
func (f *Factor) Say() string {
	if f.Check == nil {
		return "a repair that did not prove " + times(f.Times)
	}
	say := fmt.Sprintf("%s: %s %s", f.Check.ID, f.Check.Shows(f.Result), times(f.Times))
	if f.Shows != "" {
		say += "; it would show " + f.Shows
	}
	if f.Before {
		say += "; read before a repair"
	}
	return say
}

// Written is the factor to six digits, for a file.
func (f *Factor) Written() float64 {
	x, _ := strconv.ParseFloat(strconv.FormatFloat(f.Times, 'g', 6, 64), 64)
	return x
}

// Little reports whether the factor is too near one to be told.
func (f *Factor) Little() bool { return f.Times <= littleTimes && f.Times >= 1/littleTimes }

// Short writes the factor as a sign and a number: x3.2 where the cause is so many
// times as likely after it, /3.2 where it is so many times less likely.
func (f *Factor) Short() string {
	if f.Times >= 1 {
		return "x" + strings.Replace(factor(f.Times), "over ", ">", 1)
	}
	return "/" + strings.Replace(factor(1/f.Times), "over ", ">", 1)
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
