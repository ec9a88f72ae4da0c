package engine

import (
	"fmt"
	"strings"
)

// ExtraLowVolts is the limit of extra-low voltage on DC, in volts, under which
// live probing needs no qualification (60 V ripple-free DC, IEC 61140).
const ExtraLowVolts = 60

// DischargedVolts is the voltage in volts that a capacitor must be below
// before the power counts as off (common practice, no source).
const DischargedVolts = 1

// maxDanger is the probability of blowing the meter's fuse above which an amps
// check is refused, and the chance of harm that no check may exceed.
const (
	maxDanger = 0.01
	maxHarm   = 0.05
)

// riskyHarm is the chance of harm above which a check waits for safe ones that
// tell at least half as much (common practice, no source).
const riskyHarm = 0.005

// risky reports whether the check is likelier to do harm than it should be while
// others are open.
func (c *Check) risky() bool { return c.Module > riskyHarm || c.Person > riskyHarm }

// safer returns the index of the offer to make in place of the one that was
// chosen: the safe one with the most information for its cost among those that
// tell at least half as much, where the chosen one is risky and there are any.
func safer(offers []Offer, chosen int) int {
	if !offers[chosen].Check.risky() {
		return chosen
	}
	best := chosen
	for i := range offers {
		o := &offers[i]
		if !o.Check.risky() && o.Bits >= leastBits && o.Bits >= offers[chosen].Bits/2 && (best == chosen || o.rank() > offers[best].rank()) {
			best = i
		}
	}
	return best
}

// Gate refuses unsafe checks. Its zero value is the strictest.
type Gate struct {
	Qualified bool // the user has confirmed that they may work above ExtraLowVolts
}

// Refuse says why the check may not be offered, or "". danger is the
// probability that the reading is more than the meter's fuse carries.
func (g Gate) Refuse(m *Model, c *Check, danger float64) string {
	switch c.Mode {
	case Ohms, Continuity, Diode:
		if c.Power != Off {
			return "resistance is only measured with the power off"
		}
	case AmpsDC:
		switch {
		case c.Across:
			return "an ammeter across a source is a short circuit"
		case c.Power == Off:
			return "no current flows with the power off"
		case danger >= maxDanger:
			return "a short would blow the meter's fuse; it must be ruled out first"
		}
	case VoltsDC:
		if c.Power == Off && !c.Discharge() {
			return "voltages are not measured with the power off"
		}
	}
	if c.Jumper == ChipPin {
		return "no jumper goes to the pin of a chip"
	}
	if why := g.unqualified(m); why != "" && c.Power != Off {
		return why
	}
	if c.Person > maxHarm || c.Module > maxHarm {
		return "the check itself does too much harm"
	}
	return ""
}

// unqualified says why no live check is offered at all, or "".
func (g Gate) unqualified(m *Model) string {
	if m.Highest <= ExtraLowVolts || g.Qualified {
		return ""
	}
	return fmt.Sprintf("the supply can exceed %d V DC: live work on it is for a qualified person", ExtraLowVolts)
}

// dischargeID is the ID prefix of the checks that prove a capacitor discharged.
const dischargeID = "discharged "

// Discharge reports whether the check proves that a charge is gone, before the
// power counts as off. It says nothing of any cause.
func (c *Check) Discharge() bool { return strings.HasPrefix(c.ID, dischargeID) }

// dischargeCheck asks for the voltage that is left across two pins.
func dischargeCheck(pins [2]string) *Check {
	return &Check{
		ID: dischargeID + pins[0], Power: Off, Mode: VoltsDC, Red: pins[0], Black: pins[1], Minutes: 0.5,
		Say: fmt.Sprintf("Unplug the pack. DC volts, red on %s, black on %s. Go on when it reads below %d V; "+
			"if it stays above, let a lamp or a resistor of some hundred ohms drain it, never a screwdriver.", pins[0], pins[1], DischargedVolts),
		Why:      "A charge left in a capacitor spoils resistance readings and can burn a fingertip.",
		Cautions: []string{"The pack is unplugged and stays unplugged."},
		Expect:   &Range{-DischargedVolts, DischargedVolts},
	}
}

const liveCaution = "Live: one probe at a time, one hand behind you, and no slip between neighbouring pins."

// liveCautions are shown before every check with the power on.
func (m *Model) liveCautions() []string {
	c := []string{liveCaution}
	if m.Driven {
		c = append(c, "The driven wheel is off the ground and nobody is near it.")
	}
	if m.Highest > ExtraLowVolts {
		c = append(c, "Above 60 V DC a touch can kill. Only a qualified person goes on, under local codes.")
	}
	return c
}

// GeneralCautions are shown once, at the start of every case.
var GeneralCautions = []string{
	"Lithium pack swollen, hot or smelling: stop, move it outside if that is safe, and probe nothing.",
	"Local codes and a licensed person have the last word; if in doubt, stop and ask one.",
}
