package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"probable/engine/circuit"
)

// What is taken of a symptom that comes and goes (common practice, no source).
const (
	steadyShare = 0.1  // of a fault's odds, that it is there all the time all the same
	stillGood   = 0.95 // chance that a loose contact that is left alone reads as sound
	flexedMoves = 0.9  // chance that flexing what is loose moves the reading
	flexedGood  = 0.07 // and that it stays as it should be
	otherMoves  = 0.05 // chance that flexing one thing moves what is loose elsewhere
	flexedWrong = 0.02 // that what is seen while flexing is not what was there

	mostFlexed    = 24  // things that are flexed in turn, those that the symptom hangs on
	leastMoved    = 0.5 // V by which a fault must move a reading to be seen while flexing
	minutesWiggle = 1.0
)

// answers of what is read while something is flexed.
const (
	StaysGood = "stays good"
	StaysBad  = "stays bad"
	Moves     = "moves"
)

// loosens reports whether a fault of a kind may come and go: a broken wire whose
// ends touch, a contact that opens.
func loosens(kind, mode string) bool {
	switch kind {
	case "wire", "connector", "splice", "bus-bar", "chassis":
		return mode == "open"
	case "fuse":
		return mode == "holder open"
	case "switch", "key-switch", "button":
		return mode == "stuck open"
	}
	return false
}

// loose reports whether a fault may come and go, and the symptom does.
func (b *builder) loose(f *circuit.Fault) bool { return b.comesAndGoes() && loosens(f.Kind, f.Mode) }

// comesAndGoes reports whether the symptom does.
func (b *builder) comesAndGoes() bool { return b.symptom != nil && b.symptom.ComesAndGoes }

// each calls do for every hypothesis of the harness's faults, in order, with the
// points between which it runs; loose ones are sound while left alone, mostly.
func (b *builder) each(do func(hyp, from, to, span int, sc *scenario, loose bool)) {
	hyp := 0
	for i := range b.scenarios {
		sc := &b.scenarios[i]
		for n, s := range sc.fault.Spans() {
			do(hyp, sc.first+s.From, sc.first+s.To, n, sc, false)
			hyp++
			if sc.loose {
				do(hyp, sc.first+s.From, sc.first+s.To, n, sc, true)
				hyp++
			}
		}
	}
}

// leftAlone is what a check shows of a loose contact that nobody moves.
func leftAlone(good, bad prediction) prediction {
	out := prediction{danger: bad.danger}
	if good.row != nil {
		out.row = make([]float64, len(good.row))
		for i := range out.row {
			out.row[i] = stillGood*good.row[i] + (1-stillGood)*bad.row[i]
		}
		return out
	}
	for _, s := range good.spans {
		s.weight *= stillGood
		out.spans = append(out.spans, s)
	}
	for _, s := range bad.spans {
		s.weight *= 1 - stillGood
		out.spans = append(out.spans, s)
	}
	return out
}

// flexed is what is moved by hand while the meter is read: a wire, a connector or
// a part.
type flexed struct {
	name string       // "wire w2", "connector p1", "part sw"
	hyps map[int]bool // its loose hypotheses
	far  map[int]bool // points of them
}

// wiggles adds the checks that read a voltage while something is flexed, for all
// that may be loose where the symptom hangs on it.
func (b *builder) wiggles() {
	if !b.comesAndGoes() {
		return
	}
	var all []flexed
	best := 0.0
	for _, fit := range b.fits[1:] {
		best = max(best, fit)
	}
	b.each(func(hyp, from, to, _ int, sc *scenario, loose bool) {
		if !loose || b.fits[to] < likelyShare*best {
			return
		}
		name := sc.fault.Mends
		if way, ok := strings.CutPrefix(name, "way "); ok {
			part, _, _ := strings.Cut(way, ".")
			name = b.h.Part(part).Kind + " " + part
		}
		k := slices.IndexFunc(all, func(f flexed) bool { return f.name == name })
		if k < 0 {
			if len(all) == mostFlexed {
				return
			}
			k, all = len(all), append(all, flexed{name, map[int]bool{}, map[int]bool{}})
		}
		all[k].hyps[hyp], all[k].far[to] = true, true
	})
	for k := range all {
		// The leads go where as little as can be of what else may be loose is seen:
		// across the thing itself, if it has two ends within reach.
		var at *plan
		least := len(all)
		for _, p := range b.plans {
			if p.check.Mode != VoltsDC || p.state.Name != b.state.Name || !b.seenAt(p, &all[k]) {
				continue
			}
			n := -1
			for i := range all {
				if b.seenAt(p, &all[i]) {
					n++
				}
			}
			if n < least {
				at, least = p, n
			}
		}
		if at != nil {
			b.wiggle(at, &all[k])
		}
	}
}

// far reports whether an outcome is another voltage than the healthy one.
func (p *plan) far(o *outcome) bool {
	return !o.failed && math.Abs(o.reading.Value-p.healthy.reading.Value) > max(leastMoved, expectSigmas*p.healthy.reading.Sigma)
}

// seenAt reports whether every fault of what is flexed moves a reading far.
func (b *builder) seenAt(p *plan, f *flexed) bool {
	for point := range f.far {
		if !p.far(p.at(point)) {
			return false
		}
	}
	return true
}

// wiggle adds the check that reads a plan's voltage while something is flexed.
func (b *builder) wiggle(p *plan, f *flexed) {
	of := p.check
	c := &Check{
		ID: fmt.Sprintf("flex %s: volts %s to %s%s", f.name, of.Red, of.Black, stateSuffix(p.state)), Power: Live, Mode: Wiggle, Measures: VoltsDC,
		Red: of.Red, Black: of.Black, RedAt: of.RedAt, BlackAt: of.BlackAt, Minutes: minutesWiggle, State: of.State, Settings: of.Settings, Cautions: b.m.liveCautions(),
		Answers: []string{StaysGood, StaysBad, Moves}, Healthy: StaysGood,
		Why: "What comes and goes shows while it is moved; a good reading of what lies still says little.",
	}
	if what, name, _ := strings.Cut(f.name, " "); what != "wire" {
		c.Part = name
	}
	flex := fmt.Sprintf(" Flex and tug %s, along its length and at both ends, and note the least and the most that it reads.", f.name)
	c.Prepare = b.setting(p.state) + flex
	c.Say = fmt.Sprintf("%s DC volts, red on %s, black on %s.%s", b.setting(p.state), of.Red, of.Black, flex)
	good := p.healthy.reading
	off := max(expectSigmas*good.Sigma, leastMoved)
	c.several = func(values []float64) int {
		low, high := values[0], values[1]
		switch {
		case math.Abs(low-good.Value) <= off && math.Abs(high-good.Value) <= off:
			return 0
		case high-low <= off:
			return 1
		}
		return 2
	}
	clean := func(good, bad, moves float64) prediction {
		row := []float64{good, bad, moves}
		for i := range row {
			row[i] = (1-flexedWrong)*row[i] + flexedWrong/float64(len(row))
		}
		return prediction{row: row}
	}
	c.shows.usual(clean(1, 0, 0))
	b.each(func(hyp, from, to, _ int, _ *scenario, loose bool) {
		switch x, y := p.at(from), p.at(to); {
		case x.failed || y.failed:
			c.shows.set(hyp, clean(1.0/3, 1.0/3, 1.0/3))
		case !p.far(x) && !p.far(y):
		case loose && f.hyps[hyp]:
			c.shows.set(hyp, clean(flexedGood, 1-flexedGood-flexedMoves, flexedMoves))
		case loose:
			c.shows.set(hyp, clean((1-otherMoves)*stillGood, (1-otherMoves)*(1-stillGood), otherMoves))
		case p.far(x) && p.far(y):
			c.shows.set(hyp, clean(0, 1, 0))
		default:
			c.shows.set(hyp, clean(0.5, 0.5, 0)) // a part of its range
		}
	})
	for _, w := range b.misdrawn {
		if p.check.shows.kind(w.hyp) != 0 {
			c.shows.set(w.hyp, clean(0.5, 0.5, 0))
		}
	}
	b.m.Checks = append(b.m.Checks, c)
}
