package engine

import (
	"maps"
	"slices"
)

// HandOff is a guide that took the place of a cause in the course of a case.
type HandOff struct {
	Cause string             // ID of the cause that led
	Guide *Guide             // whose causes stand in its place now
	key   string             // of the cause
	share map[string]float64 // of the guide's causes, by key
}

// onward is where a model made from a guide can go from there.
type onward struct {
	g     *Guide // nil: nowhere
	o     Options
	chain []string // IDs of the guides that led here, and of this one
}

// known returns the guide's ID if it can be handed off to, else "".
func (w *onward) known(guide string) string {
	if w.o.Guides[guide] == nil || slices.Contains(w.chain, guide) {
		return ""
	}
	return guide
}

// handOff makes the model in which the causes of another guide stand in the place
// of a cause that hands off to it.
func (m *Model) handOff(cause *Cause) (*Model, HandOff, error) {
	to := m.further.o.Guides[cause.HandOff]
	joined := m.further.g.handOff(cause.ID, to)
	o := m.further.o
	o.Facts = maps.Clone(o.Facts)
	next, err := joined.model(o, append(slices.Clone(m.further.chain), to.ID))
	h := HandOff{Cause: cause.ID, Guide: to, key: cause.Key}
	if err == nil {
		h.share = next.shares(to.key(""))
	}
	return next, h, err
}

// handOff returns this guide with the causes of another in the place of one of
// its own, at the odds of that one. What both have is there once, as this guide
// has it. This guide's checks read under the other's causes what they read under
// the one whose place they take; the other's checks read what they usually do
// under this guide's causes.
func (g *Guide) handOff(cause string, to *Guide) *Guide {
	out := *g
	at := slices.IndexFunc(g.Causes, func(c GuideCause) bool { return c.ID == cause })
	umbrella := &g.Causes[at]
	causes, checks := map[string]bool{}, map[string]int{}            // this guide's, by origin
	takenCauses, takenChecks := map[string]bool{}, map[string]bool{} // and by ID
	for _, c := range g.Causes {
		causes[c.Origin], takenCauses[c.ID] = true, true
	}
	for i, k := range g.Checks {
		checks[k.Origin], takenChecks[k.ID] = i, true
	}
	free := func(id string, taken map[string]bool) string {
		if taken[id] {
			return id + ", " + to.ID
		}
		return id
	}
	// What the other guide calls by an ID that is in use gets one of its own.
	causeID, checkID := map[string]string{}, map[string]string{}
	var total float64
	for _, c := range to.Causes {
		causeID[c.ID] = c.ID
		if !causes[c.Origin] {
			causeID[c.ID] = free(c.ID, takenCauses)
			total += c.Odds
		}
	}
	for _, k := range to.Checks {
		checkID[k.ID] = k.ID
		if _, both := checks[k.Origin]; !both {
			checkID[k.ID] = free(k.ID, takenChecks)
		}
	}
	rename := func(ids []string, names map[string]string) []string {
		var named []string
		for _, id := range ids {
			named = append(named, names[id])
		}
		return named
	}
	out.Causes = slices.Delete(slices.Clone(g.Causes), at, at+1)
	var added []GuideCause // as the other guide has them
	for _, c := range to.Causes {
		if causes[c.Origin] {
			continue
		}
		added = append(added, c)
		c.Key = to.key(c.ID)
		c.ID, c.Prove = causeID[c.ID], rename(c.Prove, checkID)
		c.Odds *= umbrella.Odds / total
		out.Causes = append(out.Causes, c)
	}
	out.Checks = slices.Clone(g.Checks)
	for i := range out.Checks {
		k := &out.Checks[i]
		if k.Otherwise == nil {
			continue
		}
		k.Table = maps.Clone(k.Table)
		if k.Table == nil {
			k.Table = map[string][]float64{}
		}
		row := k.row(umbrella)
		same := slices.IndexFunc(to.Checks, func(x GuideCheck) bool { return x.Origin == k.Origin })
		for _, c := range added {
			k.Table[causeID[c.ID]] = row
			if same >= 0 && to.Checks[same].Otherwise != nil {
				k.Table[causeID[c.ID]] = to.Checks[same].row(&c)
			}
		}
	}
	for _, k := range to.Checks {
		if _, both := checks[k.Origin]; both {
			continue
		}
		table := map[string][]float64{}
		for id, row := range k.Table {
			table[causeID[id]] = row
		}
		k.ID, k.Table = checkID[k.ID], table
		k.After, k.Stress = rename(k.After, checkID), rename(k.Stress, checkID)
		k.When = renamed(k.When, checkID)
		out.Checks = append(out.Checks, k)
	}
	out.Facts = slices.Clone(g.Facts)
	for _, f := range to.Facts {
		if !slices.ContainsFunc(g.Facts, func(x Fact) bool { return x.Name == f.Name }) {
			out.Facts = append(out.Facts, f)
		}
	}
	out.Driven = g.Driven || to.Driven
	if out.Charge[0] == "" {
		out.Charge = to.Charge
	}
	for _, c := range to.Cautions {
		if !slices.Contains(out.Cautions, c) {
			out.Cautions = append(slices.Clone(out.Cautions), c)
		}
	}
	return &out
}

// renamed is a condition that knows checks by their former IDs.
func renamed(when func(Known) (bool, error), names map[string]string) func(Known) (bool, error) {
	if when == nil {
		return nil
	}
	return func(k Known) (bool, error) {
		answer, reading, taken := k.Answer, k.Reading, k.Taken
		k.Answer = func(id string) string { return answer(names[id]) }
		k.Reading = func(id string) float64 { return reading(names[id]) }
		k.Taken = func(id string) bool { return taken(names[id]) }
		return when(k)
	}
}

// known is what a case has learned, for the conditions of checks.
func (c *Course) known() Known {
	last := func(id string) *Taken {
		for i := len(c.results) - 1; i >= 0; i-- {
			if t := &c.results[i]; t.Check.ID == id && t.Skipped == "" && !t.Stale {
				return t
			}
		}
		return nil
	}
	return Known{
		Answer: func(id string) string {
			t := last(id)
			if t == nil {
				return ""
			}
			if k := t.Check.outcome(t.Result); k >= 0 {
				return t.Check.Answers[k]
			}
			return ""
		},
		Reading: func(id string) float64 {
			if t := last(id); t != nil {
				return t.Result.Value
			}
			return 0
		},
		Taken: func(id string) bool { return last(id) != nil },
	}
}

// shut reports whether a check that its guide ties to others is not offered yet,
// and the checks that are still owed before it.
func (c *Course) shut(ch *Check, known Known) (shut bool, owed []*Check) {
	for _, id := range ch.After {
		k := c.m.Check(id)
		if k != nil && !slices.ContainsFunc(c.results, func(t Taken) bool {
			return t.Check.ID == id && t.Healthy && t.Skipped == "" && !t.Stale
		}) {
			owed = append(owed, k)
		}
	}
	if ch.when != nil {
		if ok, err := ch.when(known); err != nil || !ok {
			return true, nil
		}
	}
	return len(owed) > 0, owed
}

// opener returns the check to make now so that one which is owed others can be
// made later, or nil if there is no way to it.
func (c *Course) opener(owed []*Check, known Known) *Check {
	for range c.m.Checks { // no longer than this; they may go round in circles
		if len(owed) == 0 {
			return nil
		}
		ch := owed[0]
		if c.done[ch.ID] || c.refuse(ch) != "" {
			return nil
		}
		shut, before := c.shut(ch, known)
		if !shut {
			return ch
		}
		owed = before
	}
	return nil
}

// handOffShare is the probability from which a cause that stands for a whole
// other guide hands off to it (common practice, no source).
const handOffShare = 0.5

// onward hands off while a cause that stands for another guide leads, or is
// the likeliest when nothing more can be asked. All that was learned is weighed
// again among the causes that are now in its place.
func (c *Course) onward() {
	for c.phase == Finding && c.m.further.g != nil { // a harness's model goes nowhere: no need to rank its causes
		top := c.m.ranking(c.belief)[0]
		if top.Cause.HandOff == "" || c.leaf[top.Cause.ID] {
			return
		}
		if offers, _ := c.open(); len(offers) > 0 && top.P < handOffShare {
			return
		}
		next, h, err := c.m.handOff(top.Cause)
		if err != nil {
			c.leaf[top.Cause.ID] = true // it has a repair of its own
			return
		}
		if !slices.Equal(c.m.Charged, next.Charged) {
			c.charged = len(next.Charged) // the other guide knows of a charge that nobody has proven gone
		}
		c.m, c.handOffs = next, append(c.handOffs, h)
		for i := range c.results {
			t := &c.results[i]
			if k := next.Check(t.Check.ID); k != nil {
				t.Check = k
			}
		}
		c.recall()
	}
}

// HandOffs returns the guides that the case has been handed off to, in order.
func (c *Course) HandOffs() []HandOff { return slices.Clone(c.handOffs) }
