package rules

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"sync"

	"gopkg.in/yaml.v3"

	"probable/engine"
)

// Review returns what is doubtful in a base that reads well, sorted by place.
// What has problems is left out.
func (b *Base) Review() Problems {
	ids := b.ids()
	found := make([]Problems, len(ids))
	var wg sync.WaitGroup
	for i, id := range ids {
		if r := b.reader(id); !r.broken {
			wg.Go(func() { found[i] = b.reviewGuide(r) })
		}
	}
	wg.Wait()
	out := append(slices.Concat(found...), b.unusedSources()...)
	out.Sort()
	return out
}

// word is a source's ID as it stands in a text.
var word = regexp.MustCompile(`[A-Za-z0-9_-]+`)

// unusedSources finds the sources that nothing names, neither in a value nor in a
// comment beside a figure.
func (b *Base) unusedSources() Problems {
	named := map[string]bool{}
	for _, l := range b.layers {
		for folder, files := range l.files {
			for _, f := range files {
				if folder != sourcesFile {
					for _, w := range word.FindAll(f.data, -1) {
						named[string(w)] = true
					}
				}
			}
		}
	}
	var out Problems
	for _, s := range b.Sources {
		if !named[s.ID] && !s.ForProgram {
			out = append(out, Problem{File: s.at.File, Line: s.at.Line, Column: s.at.Column, Warning: true, Text: "source " + s.ID + ": nothing names it",
				Right: "its id as the source of a figure or in a comment beside one; \"for: program\" if only the program's own code leans on it; else leave it away"})
		}
	}
	return out
}

// reviewer looks over one guide.
type reviewer struct {
	b     *Base
	r     *guideReader
	g     *engine.Guide
	at    map[string]Place
	never map[string]bool // checks that are never offered, by ID
	found Problems
}

func (b *Base) reviewGuide(r *guideReader) Problems {
	v := &reviewer{b: b, r: r, g: r.g, never: map[string]bool{}}
	v.at = r.guidePlaces(r.root)
	v.unmarked()
	v.unreachable()
	for i := range v.g.Causes {
		v.cause(&v.g.Causes[i])
	}
	for i := range v.g.Checks {
		k := &v.g.Checks[i]
		v.sequence(k)
		if r.lent["check "+k.ID] {
			v.words(k)
			v.outcomes(k)
			v.cautions(k)
			v.stress(k)
		}
		if !v.g.Shared && v.g.TellsNothing(k) {
			v.add("check "+k.ID, "its table says the same of every cause here, so it tells nothing",
				"a row for each cause under which it reads otherwise; else leave the check away")
		}
	}
	if !v.g.Shared {
		v.alike()
		v.kinds()
		v.common()
		v.choices()
		v.traits()
	}
	return v.found
}

// add notes a warning at a place of the guide, as [Places] names it; what is not
// there stands at what it is part of.
func (v *reviewer) add(where, text, right string) {
	name := where
	p, ok := v.at[where]
	for !ok && where != "" {
		cut := strings.LastIndex(where, " / ")
		where = where[:max(0, cut)]
		p, ok = v.at[where]
	}
	if !ok {
		p = Place{v.r.file, 1, 1}
	}
	if kind, id, _ := strings.Cut(name, " "); kind == "cause" || kind == "check" {
		id, _, _ = strings.Cut(id, " / ")
		text = kind + " " + id + ": " + text
	}
	v.warn(p, text, right)
}

// warn notes a warning at a place of a file.
func (v *reviewer) warn(at Place, text, right string) {
	v.found = append(v.found, Problem{File: at.File, Line: at.Line, Column: at.Column, Text: text, Right: right, Warning: true})
}

// unmarked names the figures of the guide's own that stand beside a "use" with no
// source: the lender's is that of other figures.
func (v *reviewer) unmarked() {
	for _, n := range v.r.unmarked {
		what := "the odds"
		if n.Kind == yaml.MappingNode {
			what = "the rows"
		}
		v.warn(v.r.place(n), what+" given anew here have no source", "\"source\" beside them: an id of sources.yaml, practice or memory")
	}
}

// home returns what read a cause or check where it is written.
func (v *reviewer) home(origin string) *guideReader {
	guide, _, _ := strings.Cut(origin, " / ")
	if guide == v.g.ID {
		return v.r
	}
	return v.b.reader(guide)
}

// when returns the condition of a cause or check, and what read it; nil if it
// has none.
func (v *reviewer) when(what, origin string) (*expression, *guideReader) {
	if e := v.r.whens[what]; e != nil {
		return e, v.r
	}
	if home := v.home(origin); home != nil {
		return home.whens[what], home
	}
	return nil, v.r
}

// mostTries bounds how many settings of facts and answers are tried on one
// condition; beyond it the condition counts as one that can be met.
const mostTries = 20_000

// meets reports whether any facts of the guide, answers to its checks and
// settings of its parts meet a condition.
func (v *reviewer) meets(e *expression, home *guideReader) bool {
	env := learnedEnv(engine.Known{})
	var names []string
	var domain [][]any
	limits := e.limits(home.facts)
	for _, f := range v.g.Facts {
		if slices.Contains(e.names(), f.Name) {
			names, domain = append(names, f.Name), append(domain, factValues(f, limits))
		}
		env[f.Name] = f.Default
	}
	answers, readings, settings := map[string]string{}, map[string]float64{}, map[string]string{}
	env["answer"] = func(id string) string { return answers[id] }
	env["reading"] = func(id string) float64 { return readings[id] }
	env["taken"] = func(id string) bool { return answers[id] != "" }
	env["setting"] = func(role string) string { return settings[role] }
	type asked struct{ of, id string }
	var what []asked
	for _, a := range e.asks() {
		it := asked{"check", a.text}
		if a.function == "setting" {
			it.of = "role"
		}
		if slices.Contains(what, it) {
			continue
		}
		what = append(what, it)
		var can []any
		if it.of == "role" {
			can = v.settings(a.text)
		} else {
			can = v.results(a.text, limits)
		}
		domain = append(domain, can)
	}
	met, tries := false, 0
	product(domain, func(pick []any) bool {
		if tries++; tries > mostTries {
			met = true
			return false
		}
		for i, name := range names {
			env[name] = pick[i]
		}
		for i, it := range what {
			switch x := pick[len(names)+i].(type) {
			case result:
				answers[it.id], readings[it.id] = x.answer, x.reading
			case string:
				settings[it.id] = x
			}
		}
		ok, err := e.holds(env)
		met = met || ok || err != nil
		return !met
	})
	return met
}

// result is what a check may have given.
type result struct {
	answer  string
	reading float64
}

// results returns what a check of the guide may have given: nothing, each of its
// answers, and each reading near a limit.
func (v *reviewer) results(id string, near []float64) []any {
	out := []any{result{}}
	i := slices.IndexFunc(v.g.Checks, func(k engine.GuideCheck) bool { return k.ID == id })
	if i < 0 || v.never[id] {
		return out
	}
	k := &v.g.Checks[i]
	for _, a := range k.Answers {
		if !k.Mode.Numeric() || k.Band == nil {
			out = append(out, result{answer: a})
		}
	}
	if !k.Mode.Numeric() {
		return out
	}
	turns := append(slices.Clone(near), 0)
	if k.Limits != nil {
		turns = append(turns, k.Limits(v.usual())...)
	}
	for _, x := range around(turns) {
		out = append(out, v.banded(k, x, false))
	}
	return append(out, v.banded(k, 0, true))
}

// banded is a reading and the outcome that takes it, with facts at their defaults.
func (v *reviewer) banded(k *engine.GuideCheck, x float64, over bool) result {
	answer := "taken"
	if k.Band != nil {
		if i, err := k.Band(x, over, v.usual()); err == nil && i >= 0 {
			answer = k.Answers[i]
		}
	}
	return result{answer, x}
}

// usual is the facts at their defaults.
func (v *reviewer) usual() map[string]any {
	facts := map[string]any{}
	for _, f := range v.g.Facts {
		facts[f.Name] = f.Default
	}
	return facts
}

// settings returns how the part in a role may be set; "" where there is no harness.
func (v *reviewer) settings(role string) []any {
	out := []any{""}
	if p := v.b.Part(v.g.Roles[role]); p != nil {
		for _, s := range p.settings {
			out = append(out, s.name)
		}
	}
	return out
}

// factValues returns the values of a fact to try: all of a word, and of a number its
// ends, its default, each limit and one between each two.
func factValues(f engine.Fact, limits []float64) []any {
	switch {
	case f.YesNo:
		return []any{true, false}
	case f.Choices != nil:
		var out []any
		for _, c := range f.Choices {
			out = append(out, c)
		}
		return out
	}
	out := []any{f.Default}
	for _, x := range around(slices.Concat(limits, []float64{f.Low, f.High})) {
		if x >= f.Low && x <= f.High {
			out = append(out, x)
		}
	}
	return out
}

// product calls f with one value of each list, in every way, until it returns
// false. With no list it is called once.
func product(lists [][]any, f func(pick []any) bool) {
	pick := make([]any, len(lists))
	var at func(i int) bool
	at = func(i int) bool {
		if i == len(lists) {
			return f(pick)
		}
		for _, x := range lists[i] {
			pick[i] = x
			if !at(i + 1) {
				return false
			}
		}
		return true
	}
	at(0)
}

// unreachable finds the checks that are never offered, and says so of those that
// are so by themselves.
func (v *reviewer) unreachable() {
	for again := true; again; {
		again = false
		for _, k := range v.g.Checks {
			if v.never[k.ID] {
				continue
			}
			e, home := v.when("check "+k.ID, k.Origin)
			if e != nil && !v.meets(e, home) {
				v.never[k.ID], again = true, true
				if !v.g.Shared || home == v.r {
					v.add("check "+k.ID+" / when", "no facts and no answers meet its \"when\", so it is never offered", "a condition that some vehicle meets")
				}
			}
		}
	}
}

// cause looks over a cause.
func (v *reviewer) cause(c *engine.GuideCause) {
	where := "cause " + c.ID
	if e, home := v.when(where, c.Origin); e != nil && !v.meets(e, home) {
		v.add(where+" / when", "no facts meet its \"when\", so it is never a cause", "a condition that some vehicle meets")
	}
	lent := v.r.lent[where]
	if v.g.Shared && !lent {
		return
	}
	v.proof(c)
	if lent {
		v.danger(where, "repair", c.Say+" "+c.Repair, strings.Join([]string{c.Repair, c.Kills, c.Hurts}, " ")+" "+strings.Join(v.g.Cautions, " "))
	}
}

// proof looks over the checks that prove a cause's repair.
func (v *reviewer) proof(c *engine.GuideCause) {
	where := "cause " + c.ID
	powered := ""
	sound, told := 1.0, true // the chance that all read well though the cause is there still
	for _, id := range c.Prove {
		item := where + " / prove / " + id
		i := slices.IndexFunc(v.g.Checks, func(k engine.GuideCheck) bool { return k.ID == id })
		if i < 0 {
			continue
		}
		k := &v.g.Checks[i]
		switch {
		case k.Otherwise != nil && k.Good == "":
			v.add(item, fmt.Sprintf("%q proves it, but says no \"good\" answer, so the repair is never proven", id), "\"good\" in that check, or another check")
			told = false
		case v.never[id]:
			v.add(item, fmt.Sprintf("%q proves it, but is never offered", id), "a check that is")
			told = false
		case k.Power != engine.Off:
			powered = id
		case powered != "" && (k.Mode == engine.Ohms || k.Mode == engine.Continuity || k.Mode == engine.Diode):
			// A look with the power off may be for what the power did.
			v.add(item, fmt.Sprintf("the proof powers up for %q before %q with the power off", powered, id), "the checks with the power off first")
		}
		if p := k.SoundWith(c); p >= 0 {
			sound *= p
		} else {
			told = false
		}
	}
	if told && sound > blindProof && !slices.Contains(c.Traits, "nothing") {
		v.add(where+" / prove", fmt.Sprintf("its proof reads well with a chance of %.0f %% while the fault is still there", 100*sound),
			"a check that shows this cause, or a row for it in the tables of those that prove it")
	}
}

// blindProof is the chance of a proof to read well with the fault there, above
// which it proves nothing (common practice, no source).
const blindProof = 0.85

// Words that checks are looked through for. A check with the power off that
// powers something up, what moves, what burns, and what is on the mains.
var (
	powersUp = regexp.MustCompile(`(?i)\b(with the (power|key|pack|light|vehicle) on|(switch|turn|power)(ed)? (it|the \w+|everything) on|switch on|power on|key on|plug the pack in|pack plugged in|` +
		`open the throttle|run the motor|while it runs)\b`)
	powersOff = regexp.MustCompile(`(?i)\b(unplug|unplugged|power off|switched off|pack out|pack off|disconnect|disconnected|fuse pulled|nothing powered)\b`)
	moves     = regexp.MustCompile(`(?i)\b(motor|throttle|wheel)\b`)
	wheel     = regexp.MustCompile(`(?i)\bwheels?\b`)
	cells     = regexp.MustCompile(`(?i)\b(lithium|cells?|cell group|BMS|balance (lead|plug)|open(ed)? pack)\b`)
	swollen   = regexp.MustCompile(`(?i)\b(swollen|swells?|smells?|outside)\b`)
	mains     = regexp.MustCompile(`(?i)\bmains\b`)
	licensed  = regexp.MustCompile(`(?i)\b(licensed|licenced|never open(ed)?|not opened|stays closed|qualified|electrician)\b`)
	atRest    = regexp.MustCompile(`(?i)\b(at rest|unloaded|no load|unplugged|plug (parted|pulled|open)|nothing (plugged|connected|joined)|taken off)\b`)
	loaded    = regexp.MustCompile(`(?i)\b(load|loaded|under current|full throttle|working current|while it (runs|charges|draws)|at full|draws current|motor turns|climb|brightest|full white)\b`)
)

// words looks for a check with the power off whose words power something up.
func (v *reviewer) words(k *engine.GuideCheck) {
	if k.Power == engine.Off && k.Mode != engine.Ask && k.Mode != engine.Continuity && k.Mode != engine.Ohms && k.Mode != engine.Diode &&
		powersUp.MatchString(k.Say) && !powersOff.MatchString(k.Say) {
		v.add("check "+k.ID+" / power", fmt.Sprintf("it is said to be with the power off, and its words power up (%q)", powersUp.FindString(k.Say)),
			"power: live, with its cautions; else words that leave the power off")
	}
}

// sequence looks over the checks that must come before one.
func (v *reviewer) sequence(k *engine.GuideCheck) {
	where := "check " + k.ID
	if v.g.Shared && !v.r.lent[where] {
		return
	}
	if k.Jumper == engine.KnownPin && k.Power != engine.Off && len(k.After) == 0 {
		v.add(where+" / jumper", "a jumper goes in live with nothing read before", "\"after\" with the checks that prove both ends of it")
	}
	for _, id := range k.After {
		item := where + " / after / " + id
		i := slices.IndexFunc(v.g.Checks, func(k engine.GuideCheck) bool { return k.ID == id })
		if i < 0 {
			continue
		}
		before := &v.g.Checks[i]
		switch {
		case v.never[id]:
			v.add(item, fmt.Sprintf("it waits for %q, which is never offered", id), "a check that is")
		case before.Otherwise != nil && before.Good == "":
			v.add(item, fmt.Sprintf("it waits for %q to read well, but that says no \"good\" answer, so any will do", id), "\"good\" in that check")
		case k.Mode == engine.Swap && before.Mode == engine.Ask:
			v.add(item, fmt.Sprintf("a swap waits for %q, which is only a question", id), "a reading or a look that proves the socket")
		}
	}
	if k.Mode == engine.Swap && !slices.ContainsFunc(v.r.g.Checks, func(x engine.GuideCheck) bool { return slices.Contains(k.After, x.ID) }) {
		v.add(where+" / after", "none of the checks that a swap waits for is here, so the socket is not proven first", "the check that proves the socket, by \"use\"")
	}
}

// outcomes looks over what a check's results are said to be.
func (v *reviewer) outcomes(k *engine.GuideCheck) {
	where := "check " + k.ID
	for _, i := range k.Unsaid() {
		v.add(fmt.Sprintf("%s / outcome %d", where, i+1), fmt.Sprintf("no row gives %q more than 0.02, so nothing predicts it", k.Answers[i]),
			"a row of a cause that shows it, or an outcome less")
	}
	whens := v.r.bands[k.ID]
	if whens == nil {
		return
	}
	for i, w := range whens {
		if wrong, right := slip(k.Says[i], k.Mode, w.limits(v.r.facts)); wrong != "" {
			v.add(fmt.Sprintf("%s / outcome %d / say", where, i+1), fmt.Sprintf("outcome %s: %s", k.Answers[i], wrong), right)
		}
	}
	v.ends(k, whens)
}

// mostEnds bounds how many settings of facts are tried on one check's outcomes.
const mostEnds = 64

// ends tries a reading's conditions with facts at the ends of their ranges; the
// reader has tried the defaults.
func (v *reviewer) ends(k *engine.GuideCheck, whens []*expression) {
	var names []string
	for _, w := range whens {
		names = append(names, w.names()...)
	}
	facts := v.usual()
	var of []string
	var domain [][]any
	for _, f := range v.g.Facts {
		switch {
		case !slices.Contains(names, f.Name):
			continue
		case f.YesNo || f.Choices != nil:
			domain = append(domain, factValues(f, nil))
		default:
			domain = append(domain, []any{f.Low, f.High})
		}
		of = append(of, f.Name)
	}
	if len(of) == 0 {
		return
	}
	tries := 0
	product(domain, func(pick []any) bool {
		var said []string
		for i, name := range of {
			facts[name] = pick[i]
			said = append(said, fmt.Sprintf("%s %v", name, pick[i]))
		}
		tries++
		wrong := uncovered(whens, k.Answers, maps.Clone(facts), around(limits(whens, facts)))
		if wrong != "" {
			v.add("check "+k.ID+" / outcomes", "with "+strings.Join(said, ", ")+" "+wrong, "conditions that take every reading once, whatever the facts")
		}
		return wrong == "" && tries < mostEnds
	})
}

// cautions looks for dangers that a check says nothing of.
func (v *reviewer) cautions(k *engine.GuideCheck) {
	where := "check " + k.ID
	told := k.Say + " " + strings.Join(k.Cautions, " ")
	if k.Power != engine.Off && k.Mode != engine.Ask && !v.g.Driven && !wheel.MatchString(told) &&
		(moves.MatchString(v.g.ID+" "+v.g.About) || moves.MatchString(k.Say)) {
		v.add(where+" / power", "it is live where a motor may turn, and says nothing of the wheel",
			"a caution that the driven wheel is off the ground; a guide with a role that drives says so by itself")
	}
	v.danger(where, "say", k.Say, told+" "+strings.Join(v.g.Cautions, " "))
}

// danger looks for work on cells or the mains that says nothing of what they do.
func (v *reviewer) danger(where, key, does, told string) {
	if cells.MatchString(does) && !swollen.MatchString(told) {
		v.add(where+" / "+key, fmt.Sprintf("it speaks of %q and not of a pack that is swollen, hot or smells", cells.FindString(does)),
			"a caution here or of the guide: stop, move it outside, probe nothing")
	}
	if mains.MatchString(does) && !licensed.MatchString(told) {
		v.add(where+" / "+key, "it speaks of the mains and not of who may work there", "a caution here or of the guide: never opened, a licensed person")
	}
}

// contactOhms is a resistance, in ohm, that a good contact stays under.
const contactOhms = 0.3

// stress looks for a good reading that can lie and no check that asks again under load.
func (v *reviewer) stress(k *engine.GuideCheck) {
	if len(k.Stress) > 0 || k.Good == "" || v.stressed()[k.ID] {
		return
	}
	good := slices.Index(k.Answers, k.Good)
	can := false
	switch k.Mode {
	case engine.Continuity:
		can = k.Good == engine.Beep
	case engine.Ohms:
		if k.Band != nil {
			i, err := k.Band(contactOhms, false, v.usual())
			can = err == nil && i == good
		}
	case engine.VoltsDC:
		if k.Band != nil && atRest.MatchString(k.ID+" "+k.Say) && !loaded.MatchString(k.ID+" "+k.Say+" "+k.Why) {
			i, err := k.Band(0, false, v.usual())
			can = err == nil && i != good // a supply is there
		}
	}
	if can {
		v.add("check "+k.ID, "its good reading is taken at rest and may lie, and no \"stress\" names the check that asks again under load, warm or moved",
			"stress: [that check]")
	}
}

// stressed returns the checks that ask again what others asked at rest.
func (v *reviewer) stressed() map[string]bool {
	out := map[string]bool{}
	for _, k := range v.g.Checks {
		for _, id := range k.Stress {
			out[id] = true
		}
	}
	return out
}

// alike names causes that nothing tells apart.
func (v *reviewer) alike() {
	pairs, err := v.g.Alike()
	if err != nil {
		v.add("template", err.Error(), "a template that works with the facts at their defaults")
		return
	}
	for i, others := range pairs {
		if len(others) > 0 {
			v.add("cause "+v.g.Causes[i].ID, "no check tells it from "+strings.Join(others, ", ")+", and the repair is another",
				"a check whose rows differ for them, or the same \"same_repair\" if one repair mends them")
		}
	}
}

// kinds looks for kinds of checks that every guide needs.
func (v *reviewer) kinds() {
	stressed := v.stressed()
	var wiggle, load bool
	for _, k := range v.g.Checks {
		wiggle = wiggle || k.Mode == engine.Wiggle
		load = load || k.Mode != engine.Wiggle && k.Mode != engine.Ask && (stressed[k.ID] || loaded.MatchString(k.ID+" "+k.Say))
	}
	if !wiggle {
		v.add("checks", "there is no wiggle check: what parts only when moved is not found", "a check of mode wiggle, such as common / wires and plugs moved")
	}
	if !load {
		v.add("checks", "there is no check under load: what fails only under current is not found", "a check under load, named in \"stress\" of those at rest")
	}
}

// shared is the guide whose causes and first questions every other uses.
const shared = "common"

// Causes and checks of the shared guide that every guide uses.
var (
	everyCause = []string{"nothing is wrong", "the drawing is wrong"}
	everyCheck = []string{"did it ever work", "what was last changed", "when it shows", "drawing against the vehicle"}
)

// common looks for what every guide uses of the shared one.
func (v *reviewer) common() {
	lender := v.b.reader(shared)
	if lender == nil {
		return
	}
	for _, id := range everyCause {
		if lender.lent["cause "+id] && !v.r.has(origin(shared, id)) {
			v.add("causes", fmt.Sprintf("%q is not among the causes", id), "use: "+origin(shared, id))
		}
	}
	for _, id := range everyCheck {
		if lender.lent["check "+id] && !slices.ContainsFunc(v.g.Checks, func(k engine.GuideCheck) bool { return k.Origin == origin(shared, id) }) {
			v.add("checks", fmt.Sprintf("%q is not among the checks", id), "use: "+origin(shared, id))
		}
	}
}

// chosen are the traits of causes that leave every wire as it should be.
var chosen = []string{"setting", "new part"}

// choices looks for a cause that is no fault of the wiring: in a quarter of the cases
// that design.md leans on a setting, a value or a type was wrong.
func (v *reviewer) choices() {
	for _, c := range v.g.Causes {
		if slices.ContainsFunc(c.Traits, func(t string) bool { return slices.Contains(chosen, t) }) {
			return
		}
	}
	v.add("causes", "no cause is a setting, or a part of a wrong value or type",
		"a cause with the trait \"setting\" or \"new part\", such as "+origin(shared, "setting or type not as needed"))
}

// traits looks for traits that no table speaks of.
func (v *reviewer) traits() {
	for _, c := range v.g.Causes {
		for _, t := range c.Traits {
			if !slices.ContainsFunc(v.g.Checks, func(k engine.GuideCheck) bool { return k.ByTrait[t] != nil }) {
				v.add("cause "+c.ID+" / traits / "+t, fmt.Sprintf("no table here has a row for the trait %q", t), "\"trait "+t+"\" in a table, or a trait less")
			}
		}
	}
}
