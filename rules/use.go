package rules

import (
	"maps"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"probable/engine"
)

// use is a cause or check of another guide that a guide takes over. Its place in
// the guide holds the ID alone until it is resolved.
type use struct {
	at     *yaml.Node
	from   string // the other guide's ID
	id     string
	index  int // among the guide's causes or checks
	cause  bool
	fields *mapping // what it says anew
}

// ref reads "GUIDE / ID".
func (r *guideReader) ref(n *yaml.Node, what string) (from, id string, ok bool) {
	text := r.text(n, what+": use")
	if text == "" {
		return "", "", false
	}
	from, id, ok = strings.Cut(text, " / ")
	if !ok || from == "" || id == "" {
		r.errorf(n, "%s: use: %q names nothing; write GUIDE / ID", what, text)
		return "", "", false
	}
	if from == r.g.ID {
		r.errorf(n, "%s: use: %q is of this guide itself", what, text)
		return "", "", false
	}
	return from, id, true
}

func (r *guideReader) useCause(m *mapping, n *yaml.Node) {
	from, id, ok := r.ref(n, "cause")
	if !ok {
		return
	}
	what := "cause " + id
	r.newCause(n, id)
	c := engine.GuideCause{Cause: engine.Cause{ID: id}, Origin: origin(from, id)}
	odds := m.get("odds")
	if odds != nil {
		c.Odds = r.odds(odds, what)
	}
	c.Source = r.ownSource(m, odds, what, "odds")
	if x := m.get("prove"); x != nil {
		c.Prove = r.prove(x, what)
	}
	c.Traits = r.traits(m.get("traits"), what)
	c.When = r.causeWhen(m.get("when"), what)
	m.done()
	r.uses = append(r.uses, use{n, from, id, len(r.g.Causes), true, m})
	r.g.Causes = append(r.g.Causes, c)
}

func (r *guideReader) useCheck(m *mapping, n *yaml.Node) {
	from, id, ok := r.ref(n, "check")
	if !ok {
		return
	}
	r.newCheck(n, id)
	k := engine.GuideCheck{Check: engine.Check{ID: id}, Origin: origin(from, id)}
	k.RowsSource = r.ownSource(m, m.get("table"), "check "+id, "table")
	m.done()
	r.uses = append(r.uses, use{n, from, id, len(r.g.Checks), false, m})
	r.g.Checks = append(r.g.Checks, k)
}

// ownSource reads the source of the figures that a use gives anew; where it gives
// none the lender's has to do, and the review says so.
func (r *guideReader) ownSource(m *mapping, figures *yaml.Node, what, key string) string {
	n := m.get("source")
	switch {
	case n != nil && figures == nil:
		r.errorf(n, "%s: source: there are no figures here that it could be of; give %q, or leave it away", what, key)
	case n != nil:
		return r.source(n, r.sources, what+": source")
	case figures != nil:
		r.unmark(figures)
	}
	return ""
}

// resolve fills in what the guide uses of others, by ID, and reports what is not
// there. What could not be read there is left as it is.
func (r *guideReader) resolve(b *Base) error {
	before := len(r.problems)
	for _, u := range r.uses {
		other := b.guides[u.from]
		if other == nil {
			r.known(u.at, u.from, b.orAny(b.ids()), "use: there is no guide")
			continue
		}
		if u.cause {
			r.takeCause(u, other.own())
		}
	}
	for _, u := range r.uses {
		if other := b.guides[u.from]; other != nil && !u.cause {
			r.takeCheck(u, other.own())
		}
	}
	for _, u := range r.uses {
		if u.cause {
			r.keepProof(u)
		}
	}
	for _, ref := range r.refs {
		if ref.says != "" {
			r.outcomeOf(ref, false)
		}
	}
	for _, ref := range r.handOffs {
		if ref.check == r.g.ID {
			continue // a circle
		}
		if to := b.guides[ref.check]; to == nil || to.head.Shared {
			r.known(ref.at, ref.check, b.orAny(b.GuideIDs()), ref.what)
		}
	}
	r.circles()
	r.broken = r.broken || len(r.problems) > before
	return r.problems[before:].err()
}

// circles reports checks that wait for each other.
func (r *guideReader) circles() {
	after := map[string][]string{}
	for _, k := range r.g.Checks {
		after[k.ID] = k.After
	}
	told := map[string]bool{}
	for _, k := range r.g.Checks {
		way := circle(k.ID, func(id string) []string { return after[id] })
		if len(way) < 2 || slices.ContainsFunc(way, func(id string) bool { return told[id] }) {
			continue // one that names itself is reported where it is read
		}
		for _, id := range way {
			told[id] = true
		}
		r.errorf(r.itemOf("checks", k.ID, "after"), "check %s: after: it waits for itself: %s; none of them is ever offered", k.ID, strings.Join(append(way, k.ID), " after "))
	}
}

// comesBack reports hand-offs of this guide that lead back to it.
func (r *guideReader) comesBack(b *Base) error {
	before := len(r.problems)
	for _, c := range r.g.Causes {
		if c.HandOff == "" {
			continue
		}
		way := circle(r.g.ID, func(id string) []string {
			if id == r.g.ID {
				return []string{c.HandOff}
			}
			var to []string
			if from := b.reader(id); from != nil {
				for _, h := range from.g.Causes {
					to = append(to, h.HandOff)
				}
			}
			return to
		})
		if way != nil {
			r.errorf(r.itemOf("causes", c.ID, "hand_off"), "cause %s: hand_off: it comes back to this guide: %s; hand off to a guide that does not lead here",
				c.ID, strings.Join(append(way, r.g.ID), " to "))
		}
	}
	r.broken = r.broken || len(r.problems) > before
	return r.problems[before:].err()
}

// circle returns the shortest way from a start back to it, without its end; nil
// if there is none.
func circle(start string, next func(string) []string) []string {
	from := map[string]string{}
	for queue := []string{start}; len(queue) > 0; queue = queue[1:] {
		at := queue[0]
		for _, to := range next(at) {
			if to == start {
				way := []string{at}
				for at != start {
					at = from[at]
					way = append(way, at)
				}
				slices.Reverse(way)
				return way
			}
			if _, seen := from[to]; !seen {
				from[to] = at
				queue = append(queue, to)
			}
		}
	}
	return nil
}

// itemOf returns the value of a key of a cause or check of the file, or where the
// item itself begins.
func (r *guideReader) itemOf(list, id, key string) *yaml.Node {
	items := child(r.root, list)
	for _, n := range items.Content {
		name := child(n, "id")
		if name == nil {
			name = child(n, "use")
		}
		if name == nil || strings.TrimSpace(name.Value) != id && !strings.HasSuffix(strings.TrimSpace(name.Value), " / "+id) {
			continue
		}
		if v := child(n, key); v != nil {
			return v
		}
		return name
	}
	return items
}

// lends reports whether the other guide writes the cause or check itself, and
// reports what it does not have.
func (r *guideReader) lends(u use, other *guideReader, kind string, ids []string) bool {
	switch {
	case other.lent[kind+" "+u.id]:
		return true
	case !r.known(u.at, u.id, ids, "use: "+u.from+" has no "+kind):
		return false
	}
	for _, v := range other.uses {
		if v.id == u.id && v.cause == u.cause {
			r.errorf(u.at, "use: %s has the %s %q from %s; write %q", u.from, kind, u.id, v.from, origin(v.from, v.id))
		}
	}
	return false
}

func (r *guideReader) takeCause(u use, other *guideReader) {
	if !r.lends(u, other, "cause", other.causes) {
		return
	}
	at := slices.IndexFunc(other.g.Causes, func(c engine.GuideCause) bool { return c.ID == u.id })
	here, c := &r.g.Causes[u.index], other.g.Causes[at]
	if here.Odds != 0 {
		c.Odds = here.Odds
	}
	if here.Source != "" {
		c.Source = here.Source
	}
	if here.Prove != nil {
		c.Prove = here.Prove
	}
	if here.Traits != nil {
		c.Traits = here.Traits
	}
	if here.When != nil {
		c.When = here.When
	} else if c.When != nil {
		r.bring(u, other, "cause "+u.id)
	}
	for _, glob := range c.StandsFor {
		for _, role := range roleForm.FindAllString(glob, -1) {
			r.bringRole(u, other, strings.Trim(role, "{}"))
		}
	}
	*here = c
}

// keepProof leaves a used cause the proofs that this guide has.
func (r *guideReader) keepProof(u use) {
	c := &r.g.Causes[u.index]
	if c.Say == "" || slices.Contains(r.checks, "") {
		return // not read
	}
	proof := r.here(c.Prove)
	if len(proof) == 0 && u.fields.value["prove"] == nil {
		r.errorf(u.at, "use: cause %s: none of the checks that prove it in %s is here; use one, or give \"prove\"", u.id, u.from)
	}
	c.Prove = proof
}

// here returns those of the checks that this guide has.
func (r *guideReader) here(ids []string) []string {
	var out []string
	for _, id := range ids {
		if slices.Contains(r.checks, id) {
			out = append(out, id)
		}
	}
	return out
}

func (r *guideReader) takeCheck(u use, other *guideReader) {
	if !r.lends(u, other, "check", other.checks) {
		return
	}
	at := slices.IndexFunc(other.g.Checks, func(k engine.GuideCheck) bool { return k.ID == u.id })
	k := other.g.Checks[at]
	k.RowsSource = r.g.Checks[u.index].RowsSource
	k.After, k.Stress = r.here(k.After), r.here(k.Stress)
	rows := k.Table
	k.Table, k.ByTrait = map[string][]float64{}, maps.Clone(k.ByTrait)
	for id, row := range rows {
		if there := slices.IndexFunc(other.g.Causes, func(c engine.GuideCause) bool { return c.ID == id }); there >= 0 && r.has(other.g.Causes[there].Origin) {
			k.Table[id] = row
		}
	}
	if n := u.fields.value["table"]; n != nil {
		if k.Otherwise == nil {
			r.errorf(n, "check %s: table: the template computes it in %s; it has no outcomes", u.id, u.from)
		} else {
			r.table(&k, n, true, "check "+u.id)
		}
	}
	r.bring(u, other, "check "+u.id)
	if k.Computed != nil {
		for _, pin := range []string{k.Computed.Red, k.Computed.Black} {
			role, _, _ := strings.Cut(pin, ".")
			r.bringRole(u, other, role)
		}
		for role := range k.Computed.State {
			r.bringRole(u, other, role)
		}
	}
	r.g.Checks[u.index] = k
}

// has reports whether a cause of that origin is here.
func (r *guideReader) has(origin string) bool {
	return slices.ContainsFunc(r.g.Causes, func(c engine.GuideCause) bool { return c.Origin == origin })
}

// bring takes over the facts that a used cause or check speaks of.
func (r *guideReader) bring(u use, other *guideReader, what string) {
	for _, name := range other.needs[what] {
		i := slices.IndexFunc(other.g.Facts, func(f engine.Fact) bool { return f.Name == name })
		if i < 0 {
			continue // v, over or a function
		}
		f := other.g.Facts[i]
		j := slices.IndexFunc(r.g.Facts, func(f engine.Fact) bool { return f.Name == name })
		switch {
		case j < 0:
			r.g.Facts = append(r.g.Facts, f)
			if f.Supply != "" {
				r.bringRole(u, other, f.Supply)
			}
		case r.g.Facts[j].YesNo != f.YesNo || (r.g.Facts[j].Choices == nil) != (f.Choices == nil):
			r.errorf(u.at, "use: %s needs the fact %s of %s, which is of another kind here", what, name, u.from)
		}
	}
}

// bringRole takes over a role that a used cause or check speaks of.
func (r *guideReader) bringRole(u use, other *guideReader, role string) {
	kind, ok := other.g.Roles[role]
	mine, have := r.g.Roles[role]
	switch {
	case !ok:
	case !have:
		r.g.Roles[role] = kind
		r.g.Driven = r.g.Driven || r.base.Part(kind) != nil && r.base.Part(kind).driven
	case mine != kind:
		r.errorf(u.at, "use: %s needs the role %s of %s, a %s; here it is a %s", u.id, role, u.from, kind, mine)
	}
}
