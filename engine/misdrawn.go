package engine

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"probable/engine/circuit"
)

// DrawingWrong is the ID of the cause of a harness that a wire goes elsewhere than
// the drawing says.
const DrawingWrong = "drawing wrong"

// What is taken of drawings (common practice, no source).
const (
	drawingShare = 0.02 // of all odds, that the drawing is what is wrong
	mostFollowed = 12   // wires that may be the one, those that the symptom hangs on
	sameWire     = 0.4  // chance that a reading which hangs on the wire is as drawn all the same
	otherNode    = 0.45 // that it is what another node reads; the rest is anything
	seenAstray   = 0.95 // that one who follows a wire finds that it goes elsewhere, where it does
	thoughtSo    = 0.02 // and where it does not
	mostLevels   = 4    // voltages of other nodes that are told apart

	minutesFollow = 2.0

	traceShare = 0.2 // probability of a wrong drawing from which wires are followed before a verdict
	mostTraced = 4   // wires that are followed then
)

// answers of a wire that is followed.
const (
	AsDrawn   = "yes"
	Elsewhere = "elsewhere"
)

// misdrawn is a wire that may go elsewhere than it is drawn.
type misdrawn struct {
	wire circuit.Wire
	hyp  int // its hypothesis
}

// misdraw adds the cause that the drawing is wrong, with a hypothesis for each wire
// on which the symptom hangs: what a fault of the wire shows fits.
func (b *builder) misdraw() {
	wire := map[string]int{}
	for i, w := range b.h.Wires {
		wire["wire "+w.Name] = i
	}
	fit := make([]float64, len(b.h.Wires))
	of := make([]int, len(b.scenarios)) // wire of each scenario, or -1
	var total float64
	for i, sc := range b.scenarios {
		k, ok := wire[sc.fault.Mends]
		if of[i] = k; !ok {
			of[i] = -1
			continue
		}
		for point := range sc.fault.Points() {
			fit[k] = max(fit[k], b.fits[sc.first+point])
		}
	}
	for i := range b.faults {
		total += b.faults[i].Odds
	}
	order := make([]int, len(fit))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(fit[y], fit[x]) })
	order = slices.DeleteFunc(order, func(i int) bool { return fit[i] < likelyShare*fit[order[0]] })
	order = order[:min(len(order), mostFollowed)]
	if len(order) == 0 {
		return
	}
	slices.Sort(order)
	b.m.Causes = append(b.m.Causes, Cause{
		ID: DrawingWrong, Odds: drawingShare * total, Source: "practice", Mends: DrawingWrong, Effort: Effort{Minutes: 30},
		Say:    "The drawing does not match the vehicle: a wire goes elsewhere than it says.",
		Repair: "Follow the wires one by one and put the drawing right; look it over with harness check, then work this case again on it: resume CASE --replay.",
	})
	astray := map[int]int{} // by wire: its place among those that may be wrong
	for _, i := range order {
		astray[i] = len(b.misdrawn)
		b.misdrawn = append(b.misdrawn, misdrawn{b.h.Wires[i], len(b.m.hyps)})
		b.m.hyps = append(b.m.hyps, hypothesis{cause: len(b.m.Causes) - 1, prior: math.Log(drawingShare * total / float64(len(order)) * fit[i])})
	}
	b.astray = make([]int, b.points)
	for point := range b.astray {
		b.astray[point] = -1
	}
	for i, sc := range b.scenarios {
		if k, ok := astray[of[i]]; ok {
			for point := range sc.fault.Points() {
				b.astray[sc.first+point] = k
			}
		}
	}
}

// follow adds a check for each wire that may go elsewhere: one follows it.
func (b *builder) follow() {
	for _, w := range b.misdrawn {
		c := &Check{
			ID: fmt.Sprintf("follow wire %s from %s to %s", w.wire.Name, w.wire.From, w.wire.To), Power: Off, Mode: Look,
			Minutes: minutesFollow, Access: 1, Answers: []string{AsDrawn, Elsewhere}, Healthy: AsDrawn, follows: true,
			Say: fmt.Sprintf("Pack unplugged. Follow wire %s by hand and eye from %s: does it go to %s, and nowhere else?", w.wire.Name, w.wire.From, w.wire.To),
			Why: "A drawing that does not match the vehicle sends the meter to the wrong pin.",
		}
		c.shows.usual(prediction{row: []float64{1 - thoughtSo, thoughtSo}})
		c.shows.set(w.hyp, prediction{row: []float64{1 - seenAstray, seenAstray}})
		b.m.Checks = append(b.m.Checks, c)
	}
}

// level is a voltage in V that a share of the pins has.
type level struct{ volts, share float64 }

// levels returns the voltages that most of the pins with wires have in a situation.
func (b *builder) levels(s *circuit.Situation) []level {
	var all []level
	for _, w := range b.h.Wires {
		for _, pin := range []string{w.From, w.To} {
			v := s.Node(pin)
			k := slices.IndexFunc(all, func(l level) bool { return math.Abs(l.volts-v) < 0.1+0.02*math.Abs(v) })
			if k < 0 {
				k, all = len(all), append(all, level{volts: v})
			}
			all[k].share++
		}
	}
	slices.SortStableFunc(all, func(x, y level) int { return cmp.Compare(y.share, x.share) })
	all = all[:min(len(all), mostLevels)]
	var sum float64
	for _, l := range all {
		sum += l.share
	}
	for i := range all {
		all[i].share /= sum
	}
	return all
}

// elsewhere is what a check shows that hangs on a wire which goes elsewhere: what it
// shows as drawn, what other nodes of the healthy harness read, or anything.
func (b *builder) elsewhere(p *plan) prediction {
	usual := &p.check.shows.kinds[0]
	if usual.row != nil {
		row := slices.Clone(usual.row)
		for i := range row {
			row[i] = sameWire*row[i] + (1-sameWire)/float64(len(row))
		}
		return prediction{row: row}
	}
	var out prediction
	for _, s := range usual.spans {
		s.weight *= sameWire
		out.spans = append(out.spans, s)
	}
	switch p.check.Mode {
	case VoltsDC:
		for _, l := range p.others {
			v := l.volts - p.black
			out.spans = append(out.spans, span{weight: otherNode * l.share, low: v, high: v, sigma: 0.05 + 0.02*math.Abs(v)})
		}
	case AmpsDC:
		out.spans = append(out.spans, span{weight: otherNode, sigma: leastOff[AmpsDC]})
	default: // joined, or nothing there
		out.spans = append(out.spans, span{weight: otherNode / 2, low: b.meter.LeadOhms, high: b.meter.LeadOhms, sigma: leastOff[Ohms]},
			span{weight: otherNode / 2, over: 1})
	}
	out.spans = append(out.spans, span{weight: 1 - sameWire - otherNode, unknown: true})
	return out
}

// trace returns the wire to follow before a verdict that may blame the drawing, and
// what that tells of it in bits; nil where one was found to go elsewhere, or enough
// were followed.
func (c *Course) trace() (*Check, float64) {
	m := c.m
	var drawn float64
	best, n := -1, 0
	var follow *Check
	for _, ch := range m.Checks {
		if !ch.follows {
			continue
		}
		hyp := int(ch.shows.other[0].hyp)
		drawn += c.belief.p[hyp]
		switch t := c.last(ch); {
		case t != nil && t.Result.Answer == Elsewhere:
			return nil, 0
		case t != nil:
			n++
		case !c.done[ch.ID] && c.refuse(ch) == "" && (best < 0 || c.belief.p[hyp] > c.belief.p[best]):
			best, follow = hyp, ch
		}
	}
	if follow == nil || drawn < traceShare || n >= mostTraced {
		return nil, 0
	}
	// Of the drawing against all else: how often it is said to go elsewhere.
	at := c.belief.p[best]
	wrong := (at*seenAstray + (drawn-at)*thoughtSo) / drawn
	all := drawn*wrong + (1-drawn)*thoughtSo
	return follow, binary(all) - drawn*binary(wrong) - (1-drawn)*binary(thoughtSo)
}

// last returns the last result of a check that stands, or nil.
func (c *Course) last(ch *Check) *Taken {
	for i := len(c.results) - 1; i >= 0; i-- {
		if t := &c.results[i]; t.Check == ch && t.stands() {
			return t
		}
	}
	return nil
}

// binary is the entropy in bits of what is so with a chance p.
func binary(p float64) float64 {
	if p <= 0 || p >= 1 {
		return 0
	}
	return -p*math.Log2(p) - (1-p)*math.Log2(1-p)
}
