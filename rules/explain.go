package rules

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"probable/engine"
)

// Entry is one thing of the knowledge, explained.
type Entry struct {
	Kind    string // "guide", "cause", "check", "part", "failure" or "source"
	ID      string // as Explain takes it
	File    string // where it is written, or empty
	Points  []Point
	Sources []Source // of what it says; practice and memory are among them, explained
}

// Point is one thing that is said of an entry.
type Point struct{ Label, Text string }

// say adds a point, if there is something to say.
func (e *Entry) say(label, text string) {
	if text != "" {
		e.Points = append(e.Points, Point{label, text})
	}
}

func (e *Entry) sayf(label, format string, args ...any) { e.say(label, fmt.Sprintf(format, args...)) }

// Words that a figure names where there is no published source.
var unpublished = map[string]Source{
	"practice": {ID: "practice", Title: "common practice, no source"},
	"memory":   {ID: "memory", Title: "recalled from a named publication, not read again"},
	"learned":  {ID: "learned", Title: "learned from proven cases"},
}

// source adds a source to what the entry leans on.
func (b *Base) source(e *Entry, id string) {
	if id == "" || slices.ContainsFunc(e.Sources, func(s Source) bool { return s.ID == id }) {
		return
	}
	s, ok := unpublished[id]
	if i := slices.IndexFunc(b.Sources, func(s Source) bool { return s.ID == id }); i >= 0 {
		s, ok = b.Sources[i], true
	}
	if ok {
		e.Sources = append(e.Sources, s)
	}
}

// Explain says what is known of everything that goes by a name: a guide, a cause
// or check as "GUIDE / ID" or by its ID alone, "part KIND", "part KIND MODE" or
// the kind alone, or a source. The error says what it may have been.
func (b *Base) Explain(id string) ([]Entry, error) {
	id = strings.Join(strings.Fields(id), " ")
	var out []Entry
	if g := b.Guide(id); g != nil {
		out = append(out, b.explainGuide(g))
	}
	guide, of, qualified := strings.Cut(id, " / ")
	for _, name := range b.ids() {
		if qualified && name != guide {
			continue
		}
		g := b.Guide(name)
		if !qualified {
			of = id
		}
		// By its ID alone a thing is explained where it is written.
		here := func(origin string) bool { return qualified || origin == name+" / "+of }
		for i := range g.Causes {
			if c := &g.Causes[i]; c.ID == of && here(c.Origin) {
				out = append(out, b.explainCause(g, c))
			}
		}
		for i := range g.Checks {
			if k := &g.Checks[i]; k.ID == of && here(k.Origin) {
				out = append(out, b.explainCheck(g, k))
			}
		}
	}
	kind, mode, _ := strings.Cut(strings.TrimPrefix(id, "part "), " ")
	if p := b.Part(kind); p != nil {
		if mode == "" {
			out = append(out, b.explainPart(p))
		}
		for i := range p.failures {
			if f := &p.failures[i]; f.Mode == mode {
				out = append(out, b.explainFailure(p, f))
			}
		}
	}
	for _, s := range b.Sources {
		if s.ID == id {
			e := Entry{Kind: "source", ID: id, Sources: []Source{s}}
			e.say("used by", strings.Join(b.leaning(id), "; "))
			out = append(out, e)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("there is no guide, cause, check, part or source %q%s", id, b.meant(id))
	}
	return out, nil
}

// meant says what a name that is not there may have meant.
func (b *Base) meant(id string) string {
	var known []string
	guide, of, qualified := strings.Cut(id, " / ")
	r := b.reader(guide)
	switch {
	case qualified && r == nil:
		id, known = guide, b.ids()
	case qualified:
		id, known = of, slices.Concat(r.causes, r.checks)
	default:
		for _, name := range b.ids() {
			r := b.reader(name)
			known = slices.Concat(known, []string{name}, r.causes, r.checks)
		}
		for kind := range b.parts {
			known = append(known, kind, "part "+kind)
		}
	}
	return oneOf(id, sorted(known))
}

// leaning names what leans on a source.
func (b *Base) leaning(source string) []string {
	var out []string
	note := func(of, name string) {
		if of == source {
			out = append(out, name)
		}
	}
	for _, id := range b.ids() {
		g := b.Guide(id)
		for _, c := range g.Causes {
			if c.Origin == origin(id, c.ID) || b.reader(id).anew(c.ID, "source") {
				note(c.Source, origin(id, c.ID))
			}
		}
		for _, k := range g.Checks {
			if k.Origin == origin(id, k.ID) {
				note(k.Source, k.Origin)
			}
			note(k.RowsSource, origin(id, k.ID))
		}
	}
	for _, kind := range slices.Sorted(maps.Keys(b.parts)) {
		for _, f := range b.Part(kind).failures {
			note(f.Source, "part "+kind+" "+f.Mode)
		}
	}
	return out
}

func (b *Base) explainGuide(g *engine.Guide) Entry {
	e := Entry{Kind: "guide", ID: g.ID, File: b.reader(g.ID).file}
	e.say("", g.About)
	if g.Shared {
		e.say("lends", "It is no symptom by itself; other guides use its causes and checks.")
	}
	if g.Kind != "" {
		e.sayf("joins", "a harness where a %s shows %s", g.Kind, strings.Join(g.Shows, " or "))
	}
	for _, c := range g.Cautions {
		e.say("caution", c)
	}
	for _, f := range g.Facts {
		e.sayf("asks", "%s (%s unless said)", f.Ask, plain(f.Default))
	}
	var total float64
	for _, c := range g.Causes {
		total += c.Odds
	}
	causes := slices.Clone(g.Causes)
	slices.SortStableFunc(causes, func(x, y engine.GuideCause) int { return cmp.Compare(y.Odds, x.Odds) })
	for _, c := range causes {
		e.sayf("cause", "%s: %s", c.ID, share(c.Odds/total))
		if c.HandOff != "" {
			e.sayf("", "hands off to the guide %q", c.HandOff)
		}
		b.source(&e, c.Source)
	}
	for _, k := range g.Checks {
		e.sayf("check", "%s: %s, power %s, %g min", k.ID, modeWords[k.Mode], k.Power, k.Minutes)
		b.source(&e, k.Source)
		b.source(&e, k.RowsSource)
	}
	return e
}

// modeWords say what is done in a check.
var modeWords = map[engine.Mode]string{
	engine.VoltsDC: "DC volts", engine.Ohms: "ohms", engine.Continuity: "continuity", engine.Diode: "diode test", engine.AmpsDC: "DC amps",
	engine.Look: "a look", engine.Ask: "a question", engine.Wiggle: "moving it", engine.Swap: "a part exchanged on trial",
}

// share writes a probability for a person.
func share(p float64) string {
	if p < 0.01 {
		return "under 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

// plain writes a fact's value for a person.
func plain(v any) string {
	switch v {
	case true:
		return "yes"
	case false:
		return "no"
	}
	return fmt.Sprint(v)
}

func (b *Base) explainCause(g *engine.Guide, c *engine.GuideCause) Entry {
	e := Entry{Kind: "cause", ID: g.ID + " / " + c.ID, File: b.reader(g.ID).file}
	e.say("", c.Say)
	if from, _, _ := strings.Cut(c.Origin, " / "); from != g.ID {
		e.sayf("written", "in the guide %q, which lends it", from)
	}
	var total float64
	for _, x := range g.Causes {
		total += x.Odds
	}
	e.sayf("odds", "%.4g, which is %s before the first check", c.Odds, share(c.Odds/total))
	if len(c.Traits) > 0 {
		e.say("traits", strings.Join(c.Traits, ", "))
	}
	if c.When != nil {
		e.say("only", "in vehicles with some facts: see \"when\" in the file")
	}
	for i, s := range g.Signs(c) {
		if i == mostSigns {
			break
		}
		e.sayf("sign", "%s: %s (%s; usually %s)", s.Check.ID, s.Check.Says[s.N], share(s.P), share(s.Usual))
	}
	if c.HandOff != "" {
		e.sayf("hands off", "to the guide %q: its causes stand in the place of this one once it leads", c.HandOff)
	}
	e.say("repair", c.Repair)
	var same []string
	for _, x := range g.Causes {
		if x.Mends == c.Mends && x.ID != c.ID {
			same = append(same, x.ID)
		}
	}
	e.say("same repair", strings.Join(same, "; "))
	e.say("proven by", strings.Join(c.Prove, "; "))
	e.say("kills it", c.Kills)
	e.say("hurts you", c.Hurts)
	e.say("stands for", strings.Join(c.StandsFor, "; "))
	e.say("also in", strings.Join(b.sharing(g.ID, func(o *engine.Guide) bool {
		return slices.ContainsFunc(o.Causes, func(x engine.GuideCause) bool { return x.Origin == c.Origin })
	}), "; "))
	b.source(&e, c.Source)
	return e
}

// mostSigns is how many signs of a cause, or causes of an outcome, are named.
const mostSigns = 6

// sharing names the other guides of which something holds, sorted.
func (b *Base) sharing(but string, holds func(*engine.Guide) bool) []string {
	var out []string
	for _, id := range b.ids() {
		if id != but && holds(b.Guide(id)) {
			out = append(out, id)
		}
	}
	return out
}

func (b *Base) explainCheck(g *engine.Guide, k *engine.GuideCheck) Entry {
	e := Entry{Kind: "check", ID: g.ID + " / " + k.ID, File: b.reader(g.ID).file}
	e.say("", k.Say)
	if from, _, _ := strings.Cut(k.Origin, " / "); from != g.ID {
		e.sayf("written", "in the guide %q, which lends it", from)
	}
	e.say("why", k.Why)
	e.sayf("takes", "%s, power %s, %g min, %s", modeWords[k.Mode], k.Power, k.Minutes, access[k.Access])
	if k.Module > 0 || k.Person > 0 {
		e.sayf("risk", "%.2g %% that it kills a module, %.2g %% that it hurts you", 100*k.Module, 100*k.Person)
	}
	for _, c := range k.Cautions {
		e.say("caution", c)
	}
	e.say("red", k.Red)
	e.say("black", k.Black)
	if k.When != nil {
		e.say("only", "where its condition holds: see \"when\" in the file")
	}
	e.say("after", strings.Join(k.After, "; "))
	e.say("proves", k.Proves)
	e.say("not", k.ProvesNot)
	for i, signs := range g.SignsOf(k) {
		text := k.Says[i]
		if k.Answers[i] == k.Good {
			text += " (as it should be)"
		}
		var causes []string
		for n, s := range signs {
			if n == mostSigns {
				causes = append(causes, fmt.Sprintf("%d more", len(signs)-n))
				break
			}
			causes = append(causes, s.Cause.ID)
		}
		if len(causes) > 0 {
			text += ". It speaks for: " + strings.Join(causes, "; ")
		}
		e.say("outcome", text)
	}
	if k.Computed != nil {
		e.sayf("computed", "with a harness from %s to %s, as its circuit has it", k.Computed.Red, k.Computed.Black)
	}
	if k.Warm {
		e.say("made", "right after a run, while what heats is warm")
	}
	e.say("stress", strings.Join(k.Stress, "; "))
	e.say("also in", strings.Join(b.sharing(g.ID, func(o *engine.Guide) bool {
		return slices.ContainsFunc(o.Checks, func(x engine.GuideCheck) bool { return x.Origin == k.Origin })
	}), "; "))
	b.source(&e, k.Source)
	b.source(&e, k.RowsSource)
	return e
}

// access says what has to be opened for a check.
var access = [...]string{"nothing to open", "a cover or plug to open", "tape or heat-shrink to open", "something to take apart"}

func (b *Base) explainPart(p *Part) Entry {
	e := Entry{Kind: "part", ID: "part " + p.Kind}
	e.say("", p.About)
	e.say("pins", strings.Join(slices.DeleteFunc(slices.Clone(p.Pins), func(pin string) bool {
		return slices.Contains(p.Inner, pin) // no probe reaches it
	}), ", "))
	for _, k := range p.Keys {
		text := k.About
		switch {
		case k.YesNo:
			text += " (yes or no)"
		case k.Default != nil:
			text += strings.TrimRight(fmt.Sprintf(" (%g to %g %s", k.Low, k.High, k.Unit), " ") + fmt.Sprintf("; %g unless said)", *k.Default)
		default:
			text += strings.TrimRight(fmt.Sprintf(" (%g to %g %s", k.Low, k.High, k.Unit), " ") + "; to be given)"
		}
		e.sayf("key", "%s: %s", k.Name, text)
	}
	var set []string
	for _, s := range p.settings {
		name := s.name
		if name == p.rest {
			name += " (at rest)"
		}
		set = append(set, name)
	}
	e.say("settings", strings.Join(set, ", "))
	for _, in := range p.indicators {
		e.say("shows", strings.Join(in.Words(), ", "))
	}
	if p.driven {
		e.say("caution", "It turns the driven wheel, or asks for it: off the ground for every live check.")
	}
	for _, f := range p.failures {
		e.sayf("fails", "%s: odds %.4g", f.Mode, f.Odds)
		b.source(&e, f.Source)
	}
	return e
}

func (b *Base) explainFailure(p *Part, f *failure) Entry {
	e := Entry{Kind: "failure", ID: "part " + p.Kind + " " + f.Mode}
	e.sayf("", "A way in which each %s of a harness may fail; what it would read then is computed.", p.Kind)
	text := fmt.Sprintf("%.4g, relative to all other faults of the harness", f.Odds)
	if f.changedOdds != f.Odds {
		text += fmt.Sprintf("; %.4g where the plug was changed", f.changedOdds)
	}
	e.say("odds", text)
	e.say("repair", f.Repair)
	for _, c := range f.Cautions {
		e.say("caution", c)
	}
	b.source(&e, f.Source)
	return e
}
