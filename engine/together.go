package engine

import (
	"fmt"
	"math"
	"slices"
	"sync"

	"probable/engine/circuit"
)

// together solves several faults of a harness that are there at once. Any number
// of courses may use it side by side: what it finds does not depend on what it
// has kept.
type together struct {
	b      *builder // the bench, the meter and the symptom
	faults []circuit.Fault
	plans  map[*Check]*plan
	hyps   []single // by hypothesis, of those that the harness computes
	fits   []float64
	mean   float64

	mu   sync.Mutex
	kept map[string]*joined
}

// single is what a hypothesis is of its fault.
type single struct {
	span int
	fit  float64 // chance of the symptom
}

// Bounds of what is worked out for several faults at once.
const (
	// mostPoints is how many points a set of faults may have: two ranges of five.
	mostPoints = 25
	// mostPuts is how many circuits are solved for all sets at a verdict or after a
	// repair that did not prove, with openPuts of each point for what has blown.
	mostPuts = 4000
	openPuts = 4
	// keptJoined is how many sets are kept for the next time.
	keptJoined = 4000
)

// together returns what solves several faults, once all is computed.
func (b *builder) together() *together {
	t := &together{
		b:      &builder{h: b.h, bench: b.bench, meter: b.meter, symptom: b.symptom, state: b.state},
		faults: b.faults, plans: map[*Check]*plan{}, fits: make([]float64, len(b.faults)), kept: map[string]*joined{},
	}
	for _, p := range b.plans {
		p.moved = nil // it stands in the predictions by now
		t.plans[p.check] = p
	}
	weights := make([]float64, len(b.faults))
	var all, fitting float64
	b.each(func(hyp, from, to, span int, _ *scenario, _ bool) {
		h := single{span, (b.fits[from] + b.fits[to]) / 2}
		cause := b.m.hyps[hyp].cause
		w := math.Exp(b.m.hyps[hyp].prior) / h.fit // without the symptom
		t.hyps = append(t.hyps, h)
		t.fits[cause] += w * h.fit
		weights[cause] += w
		all += w
		fitting += w * h.fit
	})
	for i := range t.fits {
		t.fits[i] /= weights[i]
	}
	t.mean = fitting / all
	return t
}

// joined is a set of faults that are there at once, with what the checks show
// that were asked for.
type joined struct {
	mu     sync.Mutex
	done   bool
	fault  *circuit.Fault
	pasts  []past
	parts  []circumstance
	states map[*Check][]prediction // by part
}

// circumstance is one way in which the set can be: a past, and a part of its range.
type circumstance struct {
	past, from, to int
	span           int     // of the last fault of the set
	share          float64 // of that span's possibilities
	fit            float64 // chance of the symptom
}

// joint is the fault of a set of causes; ok is false where they cannot be put in at
// once, or have too many points.
func (t *together) joint(set []int) (f *circuit.Fault, ok bool) {
	for n, cause := range set {
		if cause >= len(t.faults) {
			return nil, false // of a guide
		}
		g := &t.faults[cause]
		if n == 0 {
			f = g
			continue
		}
		if f.Points()*g.Points() > mostPoints {
			return nil, false
		}
		if f, ok = circuit.Both(f, g); !ok {
			return nil, false
		}
	}
	return f, true
}

// puts is about how many circuits are solved for a set, 0 where it cannot be, that
// is read in so many setups.
func (t *together) puts(set []int, setups int) int {
	n := 1
	for _, cause := range set {
		if cause >= len(t.faults) {
			return 0
		}
		n *= t.faults[cause].Points()
	}
	if n > mostPoints {
		return 0
	}
	return n * (setups + openPuts)
}

// setups is in how many setups the checks are made that the harness computes.
func (t *together) setups(checks []*Check) int {
	own := &builder{}
	for _, c := range checks {
		if p := t.plans[c]; p != nil {
			own.plans = append(own.plans, p)
		}
	}
	return len(own.setups())
}

// solve returns what the checks show under each set of causes, nil where a set
// cannot be put in at once. Of a set the last cause is told by its spans.
func (t *together) solve(sets [][]int, checks []*Check) []*joined {
	out := make([]*joined, len(sets))
	t.mu.Lock()
	if len(t.kept)+len(sets) > keptJoined {
		clear(t.kept)
	}
	for i, set := range sets {
		key := fmt.Sprint(set)
		if t.kept[key] == nil {
			t.kept[key] = &joined{states: map[*Check][]prediction{}}
		}
		out[i] = t.kept[key]
	}
	t.mu.Unlock()
	parallel(len(sets), func(i int) {
		j := out[i]
		j.mu.Lock()
		defer j.mu.Unlock()
		if !j.done {
			j.done = true
			t.open(j, sets[i])
		}
		if j.fault == nil {
			out[i] = nil
			return
		}
		t.show(j, checks)
	})
	return out
}

// open works out the ways in which a set can be.
func (t *together) open(j *joined, set []int) {
	f, ok := t.joint(set)
	if !ok {
		return
	}
	j.fault = f
	j.pasts = t.b.pasts(f, t.b.trials(false))
	last := &t.faults[set[len(set)-1]]
	n := last.Points()
	for k, past := range j.pasts {
		for _, s := range f.Spans() {
			from, to := s.From%n, s.To%n
			span := slices.IndexFunc(last.Spans(), func(x circuit.Span) bool {
				return x.From == from && x.To == to || x.From == to && x.To == from
			})
			j.parts = append(j.parts, circumstance{past: k, from: s.From, to: s.To, span: span,
				share: past.share * s.Weight / last.Spans()[span].Weight, fit: (past.fits[s.From] + past.fits[s.To]) / 2})
		}
	}
}

// show works out what the checks show that are not known yet.
func (t *together) show(j *joined, checks []*Check) {
	var plans []*plan
	for _, c := range checks {
		if p := t.plans[c]; p != nil && j.states[c] == nil && !slices.Contains(plans, p) {
			plans = append(plans, p)
		}
	}
	own := &builder{plans: plans}
	for _, setup := range own.setups() {
		s, off := setup[0].state, setup[0].check.Power == Off
		seen := make([][]*outcome, len(setup)) // by plan, then by past and point
		for _, past := range j.pasts {
			for point := range j.fault.Points() {
				sit, err := past.bench.Put(j.fault, point, s, off)
				for i, p := range setup {
					o := p.in(sit, err)
					if o == nil {
						o = &p.healthy
					}
					seen[i] = append(seen[i], o)
				}
			}
		}
		for i, p := range setup {
			for _, x := range j.parts {
				base := x.past * j.fault.Points()
				j.states[p.check] = append(j.states[p.check], t.b.predict(p, seen[i][base+x.from], seen[i][base+x.to]))
			}
		}
	}
}

// shows returns what the check shows by part, or nil where the harness does not
// compute it.
func (j *joined) shows(c *Check) []prediction {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.states[c]
}

// glimpse returns the log of how likely some results are that were read in the
// symptom's state with the power on, and the symptom, under two faults: at the
// last point of their ranges. It is a small part of what solve works out.
func (t *together) glimpse(m *Model, i, k int, rows []row) float64 {
	both, ok := circuit.Both(t.faults[i].Last(), t.faults[k].Last())
	if !ok {
		return math.Inf(-1)
	}
	sit, err := t.b.trials(false).bench.Put(both, 0, t.b.state, false)
	sum := math.Log(t.b.fit(sit, err))
	for _, r := range rows {
		p := t.plans[r.check]
		if p == nil || p.check.Power == Off || p.state.Name != t.b.state.Name {
			continue
		}
		o := p.in(sit, err)
		if o == nil {
			o = &p.healthy
		}
		shown := t.b.predict(p, o, o)
		sum += math.Log(max(m.read(r.check, &shown, r.result)/r.usual, 1e-300))
	}
	return sum
}

// blown returns, by the causes that are fuses which a set of faults blows, the
// parts of the set in which they are blown.
func (t *together) blown(m *Model, j *joined) map[int][]bool {
	out := map[int][]bool{}
	for n, x := range j.parts {
		sit, err := j.pasts[x.past].bench.Put(j.fault, x.to, circuit.State{}, true)
		if err != nil {
			continue
		}
		for _, name := range sit.Blown() {
			k := slices.IndexFunc(m.Causes, func(c Cause) bool { return c.ID == "part "+name+" blown" })
			if k < 0 {
				continue
			}
			if out[k] == nil {
				out[k] = make([]bool, len(j.parts))
			}
			out[k][n] = true
		}
	}
	return out
}

// shares returns the shares of the parts of a set, which sum to one.
func (t *together) shares(set []int, j *joined) []float64 {
	spans := t.faults[set[len(set)-1]].Spans()
	out := make([]float64, len(j.parts))
	for n, x := range j.parts {
		out[n] = x.share * spans[x.span].Weight
	}
	return out
}
