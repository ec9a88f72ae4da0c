package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"
)

// Learned is a file of odds that cases have moved: `learned: odds`.
type Learned struct {
	Cases []string           // IDs of those that were counted
	Odds  map[string]float64 // by "GUIDE / CAUSE" or "part KIND MODE"
}

// ReadLearned reads a file of learned odds. What its odds are of is not looked
// up. The error, if any, is [Problems].
func ReadLearned(file string, data []byte) (*Learned, error) {
	d := &document{file: file}
	l := &Learned{Odds: map[string]float64{}}
	root := d.parse(data)
	if root == nil {
		return l, d.problems.err()
	}
	m := d.mapping(root, "file of learned odds")
	kind := m.need("learned")
	if word := d.text(kind, "learned"); word != "odds" {
		d.errorf(kind, "learned: %q is none of: odds", word)
	}
	d.version(m.need("version"))
	cases := m.need("cases")
	for _, n := range d.list(cases, "cases") {
		id := d.text(n, "cases")
		if slices.Contains(l.Cases, id) {
			d.errorf(n, "cases: %s stands twice", id)
		}
		l.Cases = append(l.Cases, id)
	}
	om := d.mapping(m.need("odds"), "odds")
	for _, of := range om.keys {
		guide, cause, ok := strings.Cut(of, " / ")
		least := leastOdds
		if !ok {
			if guide, cause, ok = partMode(of); ok {
				least = 0
			}
		}
		if !ok || guide == "" || cause == "" {
			d.errorf(om.at[of], "odds: %q names nothing; write GUIDE / CAUSE or part KIND MODE", of)
		}
		l.Odds[of] = d.within(om.get(of), least, mostOdds, "odds: "+of)
	}
	m.done()
	return l, d.problems.err()
}

// partMode reads "part KIND MODE".
func partMode(of string) (kind, mode string, ok bool) {
	rest, ok := strings.CutPrefix(of, "part ")
	if !ok {
		return "", "", false
	}
	return strings.Cut(rest, " ")
}

// SourceLearned is the source of odds that were learned from cases.
const SourceLearned = "learned"

// readOdds puts a layer's learned odds in the place of those below. Odds of what
// is not there any more are left out: the knowledge has moved on since.
func (b *Base) readOdds(l layer) error {
	for _, f := range l.files[oddsFile] {
		learned, err := ReadLearned(f.name, f.data)
		if err != nil {
			return err
		}
		b.learned = append(b.learned, learned.Odds)
		set := 0
		for _, of := range slices.Sorted(maps.Keys(learned.Odds)) {
			if b.setOdds(of, learned.Odds[of]) {
				set++
			} else {
				b.Notes = append(b.Notes, fmt.Sprintf("odds of %s from %s are left out: there is no such cause any more", of, f.name))
			}
		}
		if set > 0 {
			b.Notes = append(b.Notes, fmt.Sprintf("odds of %d causes from %s override those below", set, f.name))
		}
	}
	return nil
}

// setOdds sets the odds of a failure, and reports whether what they are of is
// there. Those of a cause are set by [guideReader.learn].
func (b *Base) setOdds(of string, odds float64) bool {
	if guide, cause, ok := strings.Cut(of, " / "); ok {
		h := b.guides[guide]
		return h != nil && slices.Contains(h.own().causes, cause)
	}
	kind, mode, _ := partMode(of)
	p := b.Part(kind)
	if p == nil {
		return false
	}
	i := slices.IndexFunc(p.failures, func(f failure) bool { return f.Mode == mode })
	if i < 0 {
		return false
	}
	f := &p.failures[i]
	if f.Odds > 0 { // where a plug was changed they move in proportion
		f.changedOdds = min(f.changedOdds*odds/f.Odds, mostOdds)
	}
	f.Odds, f.Source = odds, SourceLearned
	return true
}

// learn sets the odds of the guide's causes to what was learned of them here, or
// where they are used from if they have no odds of their own here. A later layer
// counts for more.
func (r *guideReader) learn(layers []map[string]float64) {
	for i := range r.g.Causes {
		c := &r.g.Causes[i]
		ownOdds := r.anew(c.ID, "odds")
		for _, odds := range layers {
			x, ok := odds[origin(r.g.ID, c.ID)]
			ownOdds = ownOdds || ok
			if !ok && !ownOdds {
				x, ok = odds[c.Origin]
			}
			if ok {
				c.Odds, c.Source = x, SourceLearned
			}
		}
	}
}

// anew reports whether a cause that is used from elsewhere has a key given here.
func (r *guideReader) anew(cause, key string) bool {
	return slices.ContainsFunc(r.uses, func(u use) bool { return u.cause && u.id == cause && u.fields.value[key] != nil })
}
