package engine

import (
	"math"
	"slices"
	"strings"
)

// Attempt is a repair that may well be tried now in place of the next check.
type Attempt struct {
	Cause   *Cause
	P       float64  // chance that the fault is one that this repair mends
	Minutes float64  // of the repair and its proof
	Risk    float64  // chance that the repair, made blind, kills a module
	Saves   float64  // expected minutes against measuring on
	Prove   []string // IDs of the checks that prove it, the short check first
}

// Effort is what a repair takes.
type Effort struct {
	Minutes float64
	Risk    float64 // chance that it kills a module where it was not needed
	Fuse    bool    // a fuse is fitted or set again
}

// Repairs by what is repaired (common practice, no source).
var (
	mendFuse  = Effort{Minutes: 3, Fuse: true}
	mendPlug  = Effort{Minutes: 10}
	mendWire  = Effort{Minutes: 20}
	mendPart  = Effort{Minutes: 30}
	newModule = Effort{Minutes: 30, Risk: 0.02} // what killed the old one may kill the new one
	rePin     = Effort{Minutes: 10, Risk: 0.05} // ways exchanged that were right put power where none belongs
)

const (
	tryRisk    = 0.005 // most risk of a repair that is offered to be tried
	tryMinutes = 1     // least saving for which one is offered
	tryShare   = 0.5   // least chance that it is the right one: what is sound is not taken apart on a guess
)

// plainParts are the kinds of part that a new one can be put in for without
// risk to a module.
var plainParts = []string{"breaker", "bus-bar", "button", "chassis", "diode", "horn", "key-switch", "lamp", "relay", "resistor", "switch"}

// effortOf is the effort for a fault of a kind of part.
func effortOf(kind, mode string) Effort {
	switch {
	case kind == "fuse", kind == "breaker" && mode == "tripped":
		return mendFuse
	case mode == "reversed":
		return rePin
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
		e.Minutes, e.Risk, e.Fuse = max(e.Minutes, of.Minutes), max(e.Risk, of.Risk), e.Fuse || of.Fuse
	}
	if e == (Effort{}) {
		return newModule
	}
	return e
}

// attempt returns the repair that saves most against going on with a check and
// those after it, which are expected to take so many minutes; nil where none saves
// enough. (Expected
// cost of repair, after Heckerman, Breese and Rommelse 1995, Decision-theoretic
// troubleshooting, Comm. ACM 38(3): from memory. They take the rest as repairs
// alone, in order of chance over cost; here it is what checks are expected to take.)
func (c *Course) attempt(ch *Check, rest float64) *Attempt {
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
		if p < tryShare-1e-9 {
			continue
		}
		prove, refused := c.proofChecks(x)
		if refused || !c.mayTry(x) || c.harms(x, prove, 1-p, ch) {
			continue
		}
		proof := c.proofMinutes(prove)
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
			for _, k := range prove {
				best.Prove = append(best.Prove, k.ID)
			}
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
	case x.Effort.Fuse:
		// A new fuse on a short is the next one to blow.
		return slices.ContainsFunc(c.results, func(t Taken) bool {
			return t.Check == c.m.Short && t.Healthy && t.Skipped == "" && !t.Stale
		})
	}
	return true
}

// harms reports whether a repair made blind could harm a module or a person more
// than the check in whose place it is tried: by itself, and where it is not the
// right one by the checks of a proof that has to be made again.
func (c *Course) harms(x *Cause, prove []*Check, fails float64, check *Check) bool {
	module, person := x.Effort.Risk, 0.0
	for _, ch := range prove {
		module += fails * ch.Module
		person += fails * ch.Person
	}
	return module > check.Module || person > check.Person
}

// proofMinutes is about what the checks of a proof take.
func (c *Course) proofMinutes(prove []*Check) float64 {
	minutes := 2*minutesPower + 0.5*float64(len(c.m.Charged))
	for _, ch := range prove {
		minutes += ch.Minutes
	}
	return minutes
}
