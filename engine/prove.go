package engine

import (
	"fmt"
	"math"
)

// maxProof is how many failed checks are asked again at the most.
const maxProof = 4

// repair takes the word that a cause was repaired, and starts the proof.
func (c *Course) repair(id string) error {
	k := -1
	for i := range c.m.Causes {
		if c.m.Causes[i].ID == id {
			k = i
		}
	}
	if k < 0 {
		return fmt.Errorf("there is no cause %q here", id)
	}
	if c.phase == Closed {
		return fmt.Errorf("the case is closed")
	}
	c.proof = c.proofChecks(&c.m.Causes[k])
	c.repaired, c.failed, c.unshorted = id, false, c.m.Short != nil
	if len(c.proof) == 0 {
		c.phase, c.status = Closed, Unproven
		return nil
	}
	c.phase = Proving
	return nil
}

// proofChecks returns what proves a repair: the short check before power, the
// symptom's own checks, and those that had failed.
func (c *Course) proofChecks(cause *Cause) []*Check {
	var proof []*Check
	have := map[string]bool{}
	add := func(ch *Check) {
		if ch != nil && !have[ch.ID] && c.gate.Refuse(c.m, ch, 0) == "" {
			have[ch.ID] = true
			proof = append(proof, ch)
		}
	}
	add(c.m.Short)
	var live []*Check
	again := 0
	for i := len(c.results) - 1; i >= 0 && again < maxProof; i-- {
		t := c.results[i]
		if t.Skipped != "" || t.Healthy || t.Check.discharge() || !t.Check.hasPrediction() || have[t.Check.ID] {
			continue
		}
		again++
		if t.Check.Power == Off {
			add(t.Check)
		} else {
			live = append(live, t.Check)
		}
	}
	for _, id := range append(cause.Prove, c.m.Symptom...) {
		if ch := c.m.Check(id); ch != nil && ch.Power == Off {
			add(ch)
		} else if ch != nil {
			live = append([]*Check{ch}, live...)
		}
	}
	for _, ch := range live {
		add(ch)
	}
	return proof
}

// proofText says what a proof check must show.
func (ch *Check) proofText() string {
	switch {
	case ch.Expect != nil && math.IsInf(ch.Expect.High, 1):
		return fmt.Sprintf("%s: at least %.3g %s, or OL", ch.ID, ch.Expect.Low, ch.Mode.Unit())
	case ch.Expect != nil:
		return fmt.Sprintf("%s: %.3g to %.3g %s", ch.ID, ch.Expect.Low, ch.Expect.High, ch.Mode.Unit())
	case ch.Healthy != "":
		return ch.ID + ": " + ch.Healthy
	}
	return ch.ID
}

// prove takes the outcome of a proof check.
func (c *Course) prove(ch *Check, healthy bool) {
	if healthy {
		c.next(ch)
		return
	}
	// Not mended, or a second fault: the search goes on with what was learned
	// since the repair, and the repaired cause all but gone.
	mends := ""
	for i := range c.m.Causes {
		if c.m.Causes[i].ID == c.repaired {
			mends = c.m.Causes[i].Mends
		}
	}
	c.belief = c.m.prior()
	c.done = map[string]bool{}
	for i, h := range c.m.hyps {
		if c.m.Causes[h.cause].Mends == mends {
			c.belief.log[i] += math.Log(c.m.repairFails())
		}
	}
	c.belief.normalise()
	for _, t := range c.sinceRepair() {
		c.done[t.Check.ID] = true
		if t.Check.hasPrediction() {
			c.belief.update(c.m.likelihood(t.Check, t.Result))
		}
	}
	c.phase, c.proof = Finding, nil
}

// repairFails is the chance that a repair of the right thing did not mend it
// (common practice, no source).
func (m *Model) repairFails() float64 { return 0.03 }

func (c *Course) sinceRepair() []Taken {
	i := len(c.results)
	for i > 0 && c.results[i-1].Proof {
		i--
	}
	var since []Taken
	for _, t := range c.results[i:] {
		if t.Skipped == "" && !t.Check.discharge() {
			since = append(since, t)
		}
	}
	return since
}

// next strikes the check off the proof and closes the case after the last.
func (c *Course) next(ch *Check) {
	for i, p := range c.proof {
		if p.ID == ch.ID {
			c.proof = append(c.proof[:i:i], c.proof[i+1:]...)
			break
		}
	}
	if len(c.proof) > 0 {
		return
	}
	c.phase, c.status = Closed, Proven
	if c.failed {
		c.status = Unproven
	}
}
