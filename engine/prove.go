package engine

import (
	"fmt"
	"slices"
)

// maxProof is how many failed checks are asked again at the most.
const maxProof = 4

// repair takes the word that a cause was repaired, and starts the proof.
func (c *Course) repair(id string) error {
	cause := c.m.cause(id)
	if cause == nil {
		return fmt.Errorf("there is no cause %q here", id)
	}
	if c.phase == Closed {
		return fmt.Errorf("the case is closed")
	}
	proof, refused := c.proofChecks(cause)
	c.proof, c.failed = proof, refused
	c.proving = len(c.results)
	c.repaired, c.unshorted = id, c.m.Short != nil
	if len(c.proof) == 0 {
		c.phase, c.status = Closed, Unproven
		return nil
	}
	c.phase = Proving
	return nil
}

// proofChecks returns what proves a repair: the short check before power, the
// symptom's own checks, and those that had failed, in the order in which a person
// makes them; and whether any of them cannot be asked, so that the proof is not
// whole.
func (c *Course) proofChecks(cause *Cause) (proof []*Check, refused bool) {
	have := map[string]bool{}
	var add func(ch *Check)
	add = func(ch *Check) {
		switch {
		case ch == nil || have[ch.ID]:
		case ch.Good() == "":
			refused = true // nobody says what a mended vehicle shows
		case c.gate.Refuse(c.m, ch, 0) != "":
			refused = true
		default:
			have[ch.ID] = true
			// What must have read well before comes first, if it has not yet.
			_, owed := c.shut(ch, c.known())
			for _, before := range owed {
				add(before)
				if !have[before.ID] {
					refused = true
					return
				}
			}
			proof = append(proof, ch)
		}
	}
	var failed []string
	for i := len(c.results) - 1; i >= 0 && len(failed) < maxProof; i-- {
		t := c.results[i]
		if t.Check.Mode == Swap {
			continue // a known-good part says nothing of the mended one, and what it is owed was read before the repair
		}
		if t.Skipped == "" && !t.Stale && !t.Healthy && !t.Check.Discharge() && t.Check.hasPrediction() && t.Check.Good() != "" {
			failed = append(failed, t.Check.ID)
		}
	}
	ids := slices.Concat(cause.Prove, c.m.Symptom, failed)
	add(c.m.Short)
	for turn := range turns {
		for _, id := range ids {
			if ch := c.m.Check(id); ch != nil && ch.turn() == turn {
				add(ch)
			}
		}
	}
	return proof, refused
}

// turns is how many turns a proof has.
const turns = 4

// turn is when a check comes in a proof. The pack is unplugged for the short
// check, so all else with the power off is made then, before power comes back; but
// what wants a warm vehicle comes after the run that warms it, and what is read
// live while it is warm before the pack is unplugged again.
func (c *Check) turn() int {
	switch {
	case !c.Warm && c.Power == Off:
		return 0
	case !c.Warm:
		return 1
	case c.Power != Off:
		return 2
	}
	return turns - 1
}

// prove takes the outcome of a proof check.
func (c *Course) prove(ch *Check, healthy bool) {
	if healthy {
		c.proof = slices.DeleteFunc(c.proof, func(p *Check) bool { return p == ch })
		c.endProof()
		return
	}
	// Not mended, or a second fault: the search goes on with the repaired cause
	// all but gone. What was read before the repair was read beside that cause.
	c.mended[c.m.cause(c.repaired).Mends] = true
	c.done, c.doubts = map[string]bool{}, 0
	for i := range c.results {
		t := &c.results[i]
		switch {
		case i >= c.proving:
			c.done[t.Check.ID] = true
		case !t.Stale && t.Skipped == "" && !c.done[t.Check.ID] && (t.Check.Mode == Ask || t.Check.Mode == Look && c.m.leaves(c.repaired, t.Check)):
			// What was asked of the past has not changed, nor what was seen of something
			// else than was repaired.
			c.done[t.Check.ID] = true
		case !t.Stale || t.under != nil:
			t.Stale = true
			t.under = append(slices.Clone(t.under), c.repaired)
		}
	}
	c.proving = -1
	c.recall()
	c.phase, c.proof = Finding, nil
}

// leaves reports whether a cause makes no difference to what a check shows.
func (m *Model) leaves(cause string, ch *Check) bool {
	return !slices.ContainsFunc(ch.shows.other, func(o exception) bool { return m.Causes[m.hyps[o.hyp].cause].ID == cause })
}

// repairFails is the chance that a repair of the right thing did not mend it
// (common practice, no source).
const repairFails = 0.03

// endProof closes the case when nothing is left to prove.
func (c *Course) endProof() {
	if len(c.proof) > 0 {
		return
	}
	c.phase, c.status = Closed, Proven
	if c.failed {
		c.status = Unproven
	}
}
