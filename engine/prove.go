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
// symptom's own checks, and those that had failed; and whether any of them
// cannot be asked, so that the proof is not whole.
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
	// All that is done with the power off comes first, then in the order given.
	add(c.m.Short)
	for _, off := range []bool{true, false} {
		for _, id := range ids {
			if ch := c.m.Check(id); ch != nil && (ch.Power == Off) == off {
				add(ch)
			}
		}
	}
	return proof, refused
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
		case !t.Stale && t.Check.Mode == Ask && t.Skipped == "":
			c.done[t.Check.ID] = true // what was asked of the past has not changed
		case !t.Stale || t.under != nil:
			t.Stale = true
			t.under = append(slices.Clone(t.under), c.repaired)
		}
	}
	c.proving = -1
	c.recall()
	c.phase, c.proof = Finding, nil
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
