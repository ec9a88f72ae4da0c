package engine

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Pair is two causes that may be there at once.
type Pair struct {
	A, B *Cause
	P    float64 // among all single causes and all pairs
}

// Bounds of the search for pairs.
const (
	mostPaired   = 60   // causes that are paired by what each shows alone
	leastGain    = 0.5  // nats by which they must explain a reading better than health does
	mostPairs    = 5    // pairs that are told
	leastPair    = 0.2  // probability from which a pair is told
	mostSolved   = 40   // pairs that are put into the circuit together
	leastSolved  = 1e-4 // probability from which they are
	mostGlimpsed = 40   // causes of which all pairs are tried in the symptom's state,
	glimpseShare = 0.02 // where so much of the probability fits no single cause
)

// repair is what to do first. Where two faults explain the readings it says so: that
// what leads may be one of them, or, where a pair stands against what nobody can
// mend at once (nothing listed, the drawing), which of it to mend first.
func (v *Verdict) repair() string {
	lead := v.Causes[0].Cause
	var others []string
	for _, p := range v.Pairs {
		switch lead.ID {
		case p.A.ID:
			others = append(others, p.B.ID)
		case p.B.ID:
			others = append(others, p.A.ID)
		}
	}
	switch {
	case len(others) > 0:
		return fmt.Sprintf("%s Perhaps two repairs are needed: if this one does not prove, look next for %s.", lead.Repair, strings.Join(others, " or "))
	case len(v.Pairs) > 0 && (lead.ID == Unexplained || lead.ID == DrawingWrong):
		p := v.Pairs[0]
		return fmt.Sprintf("Perhaps two repairs are needed, of %s and of %s; mend and prove one at a time. First: %s If it is neither: %s", p.A.ID, p.B.ID, p.A.Repair, lead.Repair)
	}
	return lead.Repair
}

// effect is what one check's result says of a cause.
type effect struct {
	like  float64 // mean over the cause's hypotheses
	alone bool    // the cause leaves the check alone
}

// effects returns what a result says of each cause, and of a healthy vehicle.
func (m *Model) effects(c *Check, r Result) (by []effect, usual float64) {
	_, read := m.seen(c, r)
	by = make([]effect, len(m.Causes))
	weight := make([]float64, len(m.Causes))
	other := c.shows.other
	for i := range by {
		by[i].alone = true
	}
	for i, h := range m.hyps {
		k := int32(0)
		if len(other) > 0 && int(other[0].hyp) == i {
			k, other = other[0].kind, other[1:]
		}
		w := math.Exp(h.prior)
		by[h.cause].like += w * read[k]
		by[h.cause].alone = by[h.cause].alone && k == 0
		weight[h.cause] += w
	}
	for i := range by {
		by[i].like /= weight[i]
	}
	// What is not listed may show anything.
	like := m.likelihood(c, r)
	by[len(by)-1].like = like[len(like)-1]
	return by, read[0]
}

// Likelihoods returns for each cause of the model, in its order, how likely the
// result is under it, relative to the cause that explains it best. A misreading
// can explain any.
func (m *Model) Likelihoods(c *Check, r Result) []float64 {
	by, _ := m.effects(c, r)
	like := make([]float64, len(by))
	top := 0.0
	for i := range by {
		like[i] = by[i].like
		top = max(top, like[i])
	}
	for i := range like {
		like[i] /= max(top, 1e-300)
	}
	return like
}

// both is what a result says of two causes at once: where one leaves the check
// alone the other shows, and where both change it either may win. It is an
// approximation; two faults in a circuit can show what neither does.
func both(a, b effect) float64 {
	switch {
	case a.alone:
		return b.like
	case b.alone:
		return a.like
	}
	return (a.like + b.like) / 2
}

// rate returns for each cause how often it is there beside another one: its
// share of the odds, whatever the symptom says.
func (m *Model) rate() []float64 {
	rate := m.causes(m.prior())
	if m.both != nil {
		for i, fit := range m.both.fits {
			rate[i] *= m.both.mean / fit
		}
	}
	return rate
}

// row is a result that counts for pairs.
type row struct {
	check  *Check
	result Result
	usual  float64 // its likelihood on a healthy vehicle
	by     []effect
}

// candidate is a pair of causes by index, with the log of its probability against
// that of all.
type candidate struct {
	i, j int
	log  float64
}

// pairs returns the pairs of causes that explain best what was read, beside all
// that single causes explain. In a harness the best are put into the circuit
// together; others, and those of guides, are weighed by what each cause shows alone.
func (c *Course) pairs() []Pair {
	m := c.m
	rate := m.rate()
	alone := m.prior() // and what was read
	c.mend(alone)
	for i := range alone.p {
		alone.log[i] = math.Log(max(alone.p[i], 1e-300))
	}
	for i := range rate {
		if c.mended[m.Causes[i].Mends] {
			rate[i] *= repairFails
		}
	}
	var rows []row
	for _, t := range c.results {
		if t.Stale || !t.weighs() {
			continue
		}
		by, usual := m.effects(t.Check, t.Result)
		if usual <= 0 {
			continue
		}
		for i := range by {
			by[i].like /= usual
		}
		for i, l := range m.likelihood(t.Check, t.Result) {
			alone.log[i] += math.Log(max(l/usual, 1e-300))
		}
		rows = append(rows, row{t.Check, t.Result, usual, by})
	}
	var total, unexplained float64 // of single causes
	for i, h := range m.hyps {
		p := math.Exp(alone.log[i])
		total += p
		if m.Causes[h.cause].ID == Unexplained {
			unexplained += p
		}
	}
	found, order := m.candidates(rows, rate)
	likely := slices.Clone(found)
	if m.both != nil && unexplained > glimpseShare*total {
		likely = append(likely, m.glimpses(rows, rate, order)...)
	}
	for i := range found {
		total += math.Exp(found[i].log)
	}
	if m.both != nil {
		likely = slices.DeleteFunc(likely, func(x candidate) bool { return math.Exp(x.log) < leastSolved*total })
		for _, x := range m.solved(likely, rows, rate) {
			k := slices.IndexFunc(found, func(f candidate) bool { return f.i == x.i && f.j == x.j })
			if k < 0 {
				found = append(found, x)
			} else {
				total -= math.Exp(found[k].log)
				found[k] = x
			}
			total += math.Exp(x.log)
		}
	}
	var out []Pair
	for _, x := range found {
		if p := math.Exp(x.log) / total; p >= leastPair {
			out = append(out, Pair{&m.Causes[x.i], &m.Causes[x.j], p})
		}
	}
	slices.SortStableFunc(out, func(x, y Pair) int { return cmp.Compare(y.P, x.P) })
	return out[:min(len(out), mostPairs)]
}

// candidates returns the pairs of the causes that explain a reading better than
// health does, by what each shows alone, and all causes with those first that
// explain most.
func (m *Model) candidates(rows []row, rate []float64) (found []candidate, order []int) {
	gain := make([]float64, len(m.Causes))
	for i := range m.Causes {
		for _, r := range rows {
			gain[i] = max(gain[i], math.Log(max(r.by[i].like, 1e-300)))
		}
		if id := m.Causes[i].ID; id != Unexplained && id != DrawingWrong {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(x, y int) int {
		return cmp.Compare(gain[y]+math.Log(rate[y]), gain[x]+math.Log(rate[x]))
	})
	var paired []int
	for _, i := range order {
		if gain[i] > leastGain && len(paired) < mostPaired {
			paired = append(paired, i)
		}
	}
	for n, i := range paired {
		for _, j := range paired[n+1:] {
			if m.Causes[i].Mends == m.Causes[j].Mends {
				continue
			}
			l := math.Log(rate[i]) + math.Log(rate[j])
			for _, r := range rows {
				l += math.Log(max(both(r.by[i], r.by[j]), 1e-300))
			}
			if m.both != nil {
				l -= math.Log(m.both.mean)
				if i < len(m.both.fits) && j < len(m.both.fits) {
					l += math.Log(max(m.both.fits[i], m.both.fits[j])) // either may be what is seen
				}
			}
			found = append(found, candidate{min(i, j), max(i, j), l})
		}
	}
	return found, order
}

// glimpses returns pairs of the first causes, by the one state in which the symptom
// is seen: two faults can show there what neither does alone.
func (m *Model) glimpses(rows []row, rate []float64, order []int) []candidate {
	order = slices.DeleteFunc(slices.Clone(order), func(i int) bool { return i >= len(m.both.faults) })
	order = order[:min(len(order), mostGlimpsed)]
	var out []candidate
	for n, i := range order {
		for _, j := range order[n+1:] {
			if m.Causes[i].Mends != m.Causes[j].Mends {
				out = append(out, candidate{i: min(i, j), j: max(i, j)})
			}
		}
	}
	parallel(len(out), func(k int) {
		x := &out[k]
		x.log = math.Log(rate[x.i]) + math.Log(rate[x.j]) - math.Log(m.both.mean) + m.both.glimpse(m, x.i, x.j, rows)
	})
	return out
}

// solved returns the best of some pairs, weighed by what both show together.
func (m *Model) solved(likely []candidate, rows []row, rate []float64) []candidate {
	slices.SortStableFunc(likely, func(x, y candidate) int { return cmp.Compare(y.log, x.log) })
	var sets [][]int
	var out []candidate
	var checks []*Check
	for _, r := range rows {
		checks = append(checks, r.check)
	}
	setups := m.both.setups(checks)
	seen, puts := map[[2]int]bool{}, 0
	for _, x := range likely {
		k := [2]int{x.i, x.j}
		if seen[k] || len(sets) == mostSolved || puts > mostPuts {
			continue
		}
		seen[k] = true
		if n := m.both.puts(k[:], setups); n > 0 {
			puts += n
			sets, out = append(sets, k[:]), append(out, x)
		}
	}
	var by []candidate
	for n, joined := range m.both.solve(sets, checks) {
		x := out[n]
		if joined == nil {
			continue
		}
		spans := m.both.faults[x.j].Spans()
		logs := make([]float64, len(joined.parts))
		for k, part := range joined.parts {
			logs[k] = math.Log(part.share * spans[part.span].Weight * part.fit)
		}
		for _, r := range rows {
			shows := joined.shows(r.check)
			for k := range logs {
				l := both(r.by[x.i], r.by[x.j])
				if shows != nil {
					l = m.read(r.check, &shows[k], r.result) / r.usual
				}
				logs[k] += math.Log(max(l, 1e-300))
			}
		}
		x.log = math.Log(rate[x.i]) + math.Log(rate[x.j]) - math.Log(m.both.mean) + logSum(logs)
		by = append(by, x)
	}
	return by
}

// logSum is the log of the sum of what the logs are of.
func logSum(logs []float64) float64 {
	top := math.Inf(-1)
	for _, l := range logs {
		top = max(top, l)
	}
	if math.IsInf(top, -1) {
		return top
	}
	var sum float64
	for _, l := range logs {
		sum += math.Exp(l - top)
	}
	return top + math.Log(sum)
}
