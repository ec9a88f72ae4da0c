package engine

import (
	"math"
	"slices"
	"strings"
)

// Attempt is a repair that may well be tried now in place of the next check.
type Attempt struct {
	Cause   *Cause
	P       float64 // chance that the fault is one that this repair mends
	Minutes float64 // of the repair and its proof
	Risk    float64 // chance that the repair, made blind, kills a module
	Saves   float64 // expected minutes against measuring on
}

// Effort is what a repair takes.
type Effort struct {
	Minutes float64
	Risk    float64 // chance that it kills a module where it was not needed
}

// Repairs by what is repaired (common practice, no source).
var (
	mendFuse  = Effort{Minutes: 3}
	mendPlug  = Effort{Minutes: 10}
	mendWire  = Effort{Minutes: 20}
	mendPart  = Effort{Minutes: 30}
	newModule = Effort{Minutes: 30, Risk: 0.02} // what killed the old one may kill the new one
	rePin     = Effort{Minutes: 10, Risk: 0.05} // ways exchanged that were right put power where none belongs
)

const (
	tryRisk    = 0.005 // most risk of a repair that is offered to be tried
	tryMinutes = 1     // least saving for which one is offered
)

// plainParts are the kinds of part that a new one can be put in for without
// risk to a module.
var plainParts = []string{"breaker", "bus-bar", "button", "chassis", "diode", "horn", "key-switch", "lamp", "relay", "resistor", "switch"}

// effortOf is the effort for a fault of a kind of part.
func effortOf(kind, mode string) Effort {
	switch {
	case kind == "fuse":
		return mendFuse
	case kind == "connector" && (mode == "open" || mode == "resistive"):
		return mendPlug
	case kind == "connector":
		return rePin
	case kind == "wire" || kind == "splice":
		return mendWire
	case slices.Contains(plainParts, kind):
		return mendPart
	}
	return newModule
}

// effort is the effort for a guide's cause, by the faults that it stands for: the
// most that any of them takes.
func (c *GuideCause) effort() Effort {
	var e Effort
	for _, glob := range c.StandsFor {
		of := newModule
		switch what, _, _ := strings.Cut(glob, " "); {
		case what == "wire":
			of = mendWire
		case what == "way" && (strings.HasSuffix(glob, " open") || strings.HasSuffix(glob, " resistive")):
			of = mendPlug
		case what == "part" && strings.HasSuffix(glob, " blown"):
			of = mendFuse
		}
		e.Minutes, e.Risk = max(e.Minutes, of.Minutes), max(e.Risk, of.Risk)
	}
	if e == (Effort{}) {
		return newModule
	}
	return e
}

// attempt returns the repair that saves most against going on with checks, which
// are expected to take so many minutes; nil where none saves enough. (Expected
// cost of repair, after Heckerman, Breese and Rommelse 1995, Decision-theoretic
// troubleshooting, Comm. ACM 38(3): from memory. They take the rest as repairs
// alone, in order of chance over cost; here it is what checks are expected to take.)
func (c *Course) attempt(rest float64) *Attempt {
	if c.unshorted || c.m.Short == nil {
		return nil
	}
	r := c.m.ranking(c.belief)
	held := map[string]float64{}
	var order []*Cause // the likeliest of each repair
	for _, x := range r {
		if held[x.Cause.Mends] == 0 {
			order = append(order, x.Cause)
		}
		held[x.Cause.Mends] += x.P
	}
	bits := func(without string) float64 {
		left := 1.0
		if without != "" {
			left -= held[without] * (1 - repairFails)
		}
		var sum float64
		for _, x := range order {
			p := held[x.Mends] / left
			if x.Mends == without {
				p *= repairFails
			}
			if p > 0 {
				sum -= p * math.Log2(p)
			}
		}
		return sum
	}
	all := bits("")
	var mends float64 // expected minutes of the repair in the end
	for _, x := range order {
		mends += held[x.Mends] * x.Effort.Minutes
	}
	var best *Attempt
	for _, x := range order {
		p := held[x.Mends]
		if p < 0.05 {
			continue
		}
		if !c.mayTry(x) {
			continue
		}
		proof := c.proofMinutes(x)
		fails := 1 - p*(1-repairFails)
		// Measured on, the right repair and its proof come at the end. Tried now, they
		// are made for nothing where it is something else.
		now := x.Effort.Minutes + proof
		if left := 1 - p; left > 1e-9 {
			others := (mends - p*x.Effort.Minutes) / left
			now += fails * (rest*bits(x.Mends)/max(all, 1e-9) + others + proof)
		}
		if saves := rest + mends + proof - now; saves >= tryMinutes && (best == nil || saves > best.Saves) {
			best = &Attempt{Cause: x, P: p, Minutes: x.Effort.Minutes + proof, Risk: x.Effort.Risk, Saves: saves}
		}
	}
	return best
}

// mayTry reports whether a cause's repair may be offered before it is proven to
// be the right one.
func (c *Course) mayTry(x *Cause) bool {
	switch {
	case x.ID == Unexplained || x.ID == DrawingWrong || x.HandOff != "" || x.Effort.Risk > tryRisk || c.mended[x.Mends]:
		return false
	case x.Effort == mendFuse:
		// A new fuse on a short is the next one to blow.
		return slices.ContainsFunc(c.results, func(t Taken) bool {
			return t.Check == c.m.Short && t.Healthy && t.Skipped == "" && !t.Stale
		})
	}
	return true
}

// proofMinutes is about what the proof of a repair takes.
func (c *Course) proofMinutes(x *Cause) float64 {
	minutes := 2*minutesPower + 0.5*float64(len(c.m.Charged))
	proof, _ := c.proofChecks(x)
	for _, ch := range proof {
		minutes += ch.Minutes
	}
	return minutes
}
