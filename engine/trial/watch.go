package trial

import (
	"math"
	"slices"
	"strings"

	"probable/engine"
	"probable/engine/circuit"
)

// watch holds the checks that are offered against the rules of safety, written
// here anew: it asks nothing of the engine's gate.
type watch struct {
	h         *circuit.Harness // or nil
	course    *engine.Course
	powered   bool            // since the last proof of discharge
	drained   map[string]bool // by the red pin of the proof
	good      map[string]bool // by check: its last reading was a healthy one
	owesShort bool            // a repair was made, and no short check has passed since
}

func newWatch(h *circuit.Harness, c *engine.Course) *watch {
	return &watch{h: h, course: c, powered: true, drained: map[string]bool{}, good: map[string]bool{}}
}

// highestUnqualified is the most in volts DC that anybody may probe live.
const highestUnqualified = 60

// offered says what is unsafe about making the check now, or "".
func (w *watch) offered(c *engine.Check) string {
	m := w.course.Model()
	resistance := c.Mode == engine.Ohms || c.Mode == engine.Continuity || c.Mode == engine.Diode
	switch {
	case resistance && c.Power != engine.Off:
		return "resistance is measured with the power on"
	case c.Mode == engine.AmpsDC && c.Power == engine.Off:
		return "amperes without power"
	case c.Mode == engine.AmpsDC && (c.Across || w.poles(c.Red, c.Black)):
		return "amperes across a source"
	case c.Mode == engine.VoltsDC && c.Power == engine.Off && !strings.HasPrefix(c.ID, "discharged "):
		return "volts with the power off"
	case c.Power == engine.Live && m.Highest > highestUnqualified:
		return "live above 60 V by somebody unqualified"
	case c.Power != engine.Off && len(c.Cautions) == 0:
		return "live without a caution"
	case c.Power != engine.Off && m.Driven && !slices.ContainsFunc(c.Cautions, func(s string) bool { return strings.Contains(s, "wheel") }):
		return "live without a word on the driven wheel"
	case c.Power != engine.Off && c.Mode != engine.Ask && w.owesShort:
		return "power after a repair before the short check"
	case c.Jumper == engine.ChipPin:
		return "a jumper to the pin of a chip"
	}
	if resistance && w.undrained() {
		return "resistance before the capacitors are proven empty"
	}
	if c.Mode == engine.Swap && len(c.After) == 0 {
		return "a good part goes in before anything is proven"
	}
	for _, id := range c.After {
		if m.Check(id) != nil && !w.good[id] {
			return "it comes before " + id + " has read well"
		}
	}
	return ""
}

// undrained reports whether a charge may be left somewhere.
func (w *watch) undrained() bool {
	for _, pins := range w.course.Model().Charged {
		if w.powered || !w.drained[pins[0]] {
			return true
		}
	}
	return false
}

// poles reports whether the two are the poles of a source.
func (w *watch) poles(red, black string) bool {
	if w.h == nil {
		side := func(s, pole string) bool {
			s = strings.ToLower(s)
			return strings.Contains(s, pole) && (strings.Contains(s, "pack") || strings.Contains(s, "battery"))
		}
		return side(red, "plus") && side(black, "minus") || side(red, "minus") && side(black, "plus")
	}
	for _, p := range w.h.Parts {
		for _, e := range p.Elements {
			a, b := p.Name+"."+e.A, p.Name+"."+e.B
			if e.Type == circuit.Source && (red == a && black == b || red == b && black == a) {
				return true
			}
		}
	}
	return false
}

// took notes what a check did to the vehicle and what it read.
func (w *watch) took(c *engine.Check, e engine.Event) {
	if pin, ok := strings.CutPrefix(c.ID, "discharged "); ok {
		w.powered = false
		w.drained[pin] = e.Kind == engine.Read && math.Abs(e.Result.Value) < 1
		return
	}
	if c.Power != engine.Off && c.Mode != engine.Ask && e.Kind == engine.Read {
		w.powered, w.drained = true, map[string]bool{}
	}
	if e.Kind != engine.Read {
		return
	}
	w.good[c.ID] = readsWell(c, e.Result)
	if s := w.course.Model().Short; s != nil && s.ID == c.ID && w.good[c.ID] {
		w.owesShort = false
	}
}

// readsWell reports whether a result is a healthy vehicle's. Where nobody says
// what is healthy any is.
func readsWell(c *engine.Check, r engine.Result) bool {
	switch {
	case c.Expect != nil && r.Over:
		return c.Expect.High > 1e9
	case c.Expect != nil:
		return r.Value >= c.Expect.Low && r.Value <= c.Expect.High
	}
	return c.Healthy == "" || c.Outcome(r) == c.Healthy
}

// repaired notes that a repair was made: the short check is owed.
func (w *watch) repaired() { w.owesShort = w.course.Model().Short != nil }
