package rules

import (
	"fmt"
	"maps"
	"math"
	"path"
	"regexp"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"probable/engine"
)

// sumTolerance is how far a table's row may be from one.
const sumTolerance = 1e-6

// Bounds of odds, relative to all others.
const (
	leastOdds = 1e-3
	mostOdds  = 1000
)

// Bounds of a check.
const (
	leastMinutes = 0.05
	mostMinutes  = 240
	maxOutcomes  = 50
	maxSweep     = 8
	maxLimits    = 500
)

var (
	idForm   = regexp.MustCompile(`^[a-z0-9][a-z0-9 .,'-]{0,79}$`)
	factForm = regexp.MustCompile(`^[a-z_][a-z0-9_]*$`)
	roleForm = regexp.MustCompile(`\{([^}]*)\}`) // a role in a pattern
)

// traits that a cause can have. Tables may speak of a trait where they would
// else repeat a row for every cause that has it.
var traits = []string{"own work", "new part", "setting", "wear", "water", "knock", "overload", "moves", "load", "warm", "nothing", "drawing"}

// guideReader reads one guide.
type guideReader struct {
	*document
	base    *Base
	sources SourceIDs
	g       *engine.Guide
	facts   map[string]any // names with a value of their type; nil: not all could be read
	usual   bool           // each fact's default could be read
	causes  []string       // IDs, those that are used from elsewhere too
	checks  []string
	uses    []use
	needs   map[string][]string // by cause or check: the facts that its conditions name
	lent    map[string]bool     // causes and checks that are written here, by kind and ID
	refs    []reference
	// handOffs mention guides.
	handOffs []reference
	roleIDs  []string
	root     *yaml.Node
	broken   bool // it has problems
	// What the review looks at again.
	whens map[string]*expression   // conditions of causes and checks, as "cause ID" and "check ID"
	bands map[string][]*expression // conditions of a reading's outcomes, by check
}

// reference is the mention of a check, or of a guide, to be resolved once all
// are read.
type reference struct {
	at    *yaml.Node
	check string
	what  string
	says  string // an outcome that the check is said to have, or empty
}

// ReadGuide reads a guide over this base, whose guides it may use. The error,
// if any, is [Problems].
func (b *Base) ReadGuide(file string, data []byte, sources SourceIDs) (*engine.Guide, error) {
	r, _, err := b.readGuide(file, data, sources)
	use := r.resolve(b)
	if use == nil {
		use = r.comesBack(b)
	}
	if err == nil {
		err = use
	}
	return r.g, err
}

// readGuide reads what a guide file says by itself, and returns where it names
// its guide. After a problem the guide has what could be read. What it uses from
// other guides is left to resolve.
func (b *Base) readGuide(file string, data []byte, sources SourceIDs) (*guideReader, *yaml.Node, error) {
	d := &document{file: file}
	return b.readGuideOf(d, d.parse(data), sources)
}

// readGuideOf reads a guide from a document that was parsed.
func (b *Base) readGuideOf(d *document, root *yaml.Node, sources SourceIDs) (r *guideReader, id *yaml.Node, err error) {
	r = &guideReader{document: d, base: b, sources: sources, g: &engine.Guide{}, facts: map[string]any{},
		needs: map[string][]string{}, lent: map[string]bool{}, root: root,
		whens: map[string]*expression{}, bands: map[string][]*expression{}}
	defer func() { r.broken = err != nil }()
	g := r.g
	if root == nil {
		return r, nil, r.problems.err()
	}
	m := r.mapping(root, "guide file")
	id = m.need("guide")
	g.ID = r.id(id, "guide")
	r.guideVersion(m.need("version"))
	g.Shared = r.yes(m.get("shared"), "shared")
	g.About = r.text(m.need("about"), "about")
	g.Cautions = r.texts(m.get("cautions"), "cautions")
	r.roles(m.get("roles"))
	r.applies(m.get("applies"))
	if n := m.get("holds_charge"); n != nil {
		if pins := r.names(n, 2, "holds_charge"); len(pins) == 2 {
			g.Charge = [2]string{pins[0], pins[1]}
		}
	}
	r.readFacts(m.get("facts"))
	r.template(m.get("template"))
	causes := m.need("causes")
	for _, n := range r.several(causes, "causes") {
		r.cause(n)
	}
	r.causes = r.named(causes, r.causes)
	checks := m.need("checks")
	for _, n := range r.several(checks, "checks") {
		r.check(n)
	}
	r.checks = r.named(checks, r.checks)
	for _, ref := range r.refs {
		if ref.says != "" {
			r.outcomeOf(ref, true)
		} else {
			r.known(ref.at, ref.check, r.checks, ref.what)
		}
	}
	m.done()
	return r, id, r.problems.err()
}

// outcomeOf reports an outcome that a check does not have, of the checks that are
// written here or of those that are used from elsewhere, which are known only
// once they are resolved.
func (r *guideReader) outcomeOf(ref reference, here bool) {
	for _, k := range r.g.Checks {
		if k.ID == ref.check && r.lent["check "+k.ID] == here && (here || k.Answers != nil) {
			r.known(ref.at, ref.says, k.Answers, fmt.Sprintf("check %s has no outcome", k.ID))
		}
	}
}

// guideVersionRead is the version of guide files that this program reads.
const guideVersionRead = 2

// guideVersion checks a guide file's version.
func (d *document) guideVersion(n *yaml.Node) {
	if v, ok := d.number(n, "version"); ok && v == 1 {
		d.errorf(n, "version: this file is of version 1; to bring it to version 2 give each swap check \"proves\", \"does_not_prove\" and \"after\", "+
			"take the first questions from the guide common by \"use\", give the causes \"traits\", and write 2 here")
	} else if ok {
		d.versionOf(n, guideVersionRead)
	}
}

// id reads an ID of lower-case words.
func (d *document) id(n *yaml.Node, what string) string {
	s := d.text(n, what)
	if s != "" && !idForm.MatchString(s) {
		d.errorf(n, "%s: %q is not an id; use lower-case words", what, s)
	}
	return s
}

func (r *guideReader) roles(n *yaml.Node) {
	m := r.mapping(n, "roles")
	r.g.Roles = map[string]string{}
	for _, role := range m.keys {
		v := m.get(role)
		kind := r.text(v, "role "+role)
		if r.known(v, kind, r.base.Kinds(), "role "+role+": there is no kind of part") {
			r.g.Driven = r.g.Driven || r.base.Part(kind).driven
		}
		r.g.Roles[role] = kind
	}
	r.roleIDs = r.named(n, m.keys)
}

// whole returns a kind of part, or nil if it is not there or has problems.
func (b *Base) whole(kind string) *Part {
	if p := b.Part(kind); p != nil && !p.broken {
		return p
	}
	return nil
}

func (r *guideReader) applies(n *yaml.Node) {
	if n == nil {
		return
	}
	m := r.mapping(n, "applies")
	kind := m.need("kind")
	r.g.Kind = r.text(kind, "applies: kind")
	r.known(kind, r.g.Kind, r.base.Kinds(), "applies: there is no kind of part")
	words := []string{""} // any, until the kind says which
	if p := r.base.whole(r.g.Kind); p != nil {
		words = nil
		for _, in := range p.indicators {
			words = append(words, in.Words()...)
		}
	}
	r.g.Shows = r.words(m.need("shows"), words, "applies: shows", "applies: a "+r.g.Kind+" never shows")
	m.done()
}

// Kinds of facts.
const (
	factYesNo  = "yes_no"
	factNumber = "number"
	factChoice = "choice"
)

var factKinds = []string{factYesNo, factNumber, factChoice}

func (r *guideReader) readFacts(n *yaml.Node) {
	before, typed := len(r.problems), true
	m := r.mapping(n, "facts")
	for _, name := range m.keys {
		what := "fact " + name
		if !factForm.MatchString(name) || slices.Contains(ownWords, name) {
			r.errorf(m.at[name], "%s: a fact's name is of lower-case letters, digits and _, and none of %s", what, strings.Join(ownWords, ", "))
		}
		fm := r.mapping(m.get(name), what)
		f := engine.Fact{Name: name, Ask: r.text(fm.need("ask"), what+": ask"), Unit: r.text(fm.get("unit"), what+": unit")}
		if x := fm.get("supply"); x != nil {
			f.Supply = r.text(x, what+": supply")
			r.known(x, f.Supply, slices.Sorted(maps.Keys(r.g.Roles)), what+": supply: there is no role")
		}
		kind := fm.need("kind")
		def := fm.need("default")
		switch r.text(kind, what+": kind") {
		case factYesNo:
			f.YesNo = true
			f.Default = r.yes(def, what+": default")
		case factChoice:
			for _, x := range r.several(fm.need("of"), what+": of") {
				f.Choices = append(f.Choices, r.text(x, what+": of"))
			}
			word := r.text(def, what+": default")
			r.known(def, word, r.named(fm.value["of"], f.Choices), what+": default: there is no choice")
			f.Default = word
		case factNumber:
			f.Low, f.High = r.span(fm.need("from"), fm.need("to"), what, "from")
			f.Default = r.within(def, f.Low, f.High, what+": default")
		default:
			r.errorf(kind, "%s: kind is one of: %s", what, strings.Join(factKinds, ", "))
			f.Default = 0.0
			typed = false
		}
		if r.sound(kind) {
			fm.done()
		}
		r.facts[name] = f.Default
		r.g.Facts = append(r.g.Facts, f)
	}
	r.usual = len(r.problems) == before
	if r.bad[n] || !typed {
		r.facts = nil
	}
}

func (r *guideReader) cause(n *yaml.Node) {
	m := r.mapping(n, "cause")
	if u := m.get("use"); u != nil {
		r.useCause(m, u)
		return
	}
	idNode := m.need("id")
	id := r.id(idNode, "cause: id")
	r.newCause(idNode, id)
	what := "cause " + id
	c := engine.GuideCause{Origin: origin(r.g.ID, id), Cause: engine.Cause{
		ID: id, Say: r.text(m.need("say"), what+": say"),
		Odds:   r.odds(m.need("odds"), what),
		Source: r.source(m.need("source"), r.sources, what+": source"),
		Repair: r.text(m.need("repair"), what+": repair"),
		Mends:  r.text(m.get("same_repair"), what+": same_repair"),
		Kills:  r.text(m.need("kills"), what+": kills"),
		Hurts:  r.text(m.need("hurts"), what+": hurts"),
	}}
	if c.Mends == "" {
		c.Mends = id
	}
	if x := m.get("hand_off"); x != nil {
		c.HandOff = r.text(x, what+": hand_off")
		r.handOffs = append(r.handOffs, reference{at: x, check: c.HandOff, what: what + ": hand_off: there is no guide"})
	}
	c.Traits = r.traits(m.get("traits"), what)
	c.When = r.causeWhen(m.get("when"), what)
	c.Prove = r.prove(m.need("prove"), what)
	for _, s := range r.list(m.get("stands_for"), what+": stands_for") {
		glob := r.text(s, what+": stands_for")
		bare := roleForm.ReplaceAllStringFunc(glob, func(role string) string {
			r.known(s, strings.Trim(role, "{}"), r.roleIDs, what+": stands_for: there is no role")
			return "x"
		})
		if _, err := path.Match(bare, ""); err != nil {
			r.errorf(s, "%s: stands_for: %q is not a pattern; * stands for anything", what, glob)
		}
		c.StandsFor = append(c.StandsFor, glob)
	}
	m.done()
	r.lent[what] = true
	r.g.Causes = append(r.g.Causes, c)
}

// origin names a cause or check by where it is written.
func origin(guide, id string) string { return guide + " / " + id }

// newCause notes the ID of a cause, and reports one that stands twice.
func (r *guideReader) newCause(n *yaml.Node, id string) {
	if slices.Contains(r.causes, id) || id == engine.Unexplained {
		r.errorf(n, "cause %s: the id stands twice", id)
	}
	r.causes = append(r.causes, id)
}

func (r *guideReader) odds(n *yaml.Node, what string) float64 {
	return r.within(n, leastOdds, mostOdds, what+": odds")
}

func (r *guideReader) traits(n *yaml.Node, what string) []string {
	if n == nil {
		return nil
	}
	return r.words(n, traits, what+": traits", what+": there is no trait")
}

// causeWhen compiles the condition on facts under which a cause is possible.
func (r *guideReader) causeWhen(n *yaml.Node, what string) func(map[string]any) (bool, error) {
	if n == nil {
		return nil
	}
	e := r.compile(n, r.facts, true, what+": when")
	if e == nil {
		return nil
	}
	r.needs[what] = append(r.needs[what], e.names()...)
	r.whens[what] = e
	return e.holds
}

func (r *guideReader) prove(n *yaml.Node, what string) []string {
	ids := r.mentions(n, what+": prove")
	if n != nil && len(ids) == 0 && r.sound(n) {
		r.errorf(n, "%s: prove: name at least one check", what)
	}
	return ids
}

// mentions reads a list of checks of this guide.
func (r *guideReader) mentions(n *yaml.Node, what string) []string {
	var ids []string
	for _, x := range r.list(n, what) {
		id := r.text(x, what)
		ids = append(ids, id)
		r.refs = append(r.refs, reference{at: x, check: id, what: what + ": there is no check"})
	}
	return ids
}

var (
	powers = []string{string(engine.Off), string(engine.Live), string(engine.Limited)}
	modes  = []string{string(engine.VoltsDC), string(engine.Ohms), string(engine.Continuity), string(engine.Diode), string(engine.AmpsDC),
		string(engine.Look), string(engine.Ask), string(engine.Wiggle), string(engine.Swap)}
	jumpers = []string{string(engine.KnownPin), string(engine.ChipPin)}
)

func (r *guideReader) check(n *yaml.Node) {
	m := r.mapping(n, "check")
	if u := m.get("use"); u != nil {
		r.useCheck(m, u)
		return
	}
	var k engine.GuideCheck
	idNode := m.need("id")
	k.ID = r.id(idNode, "check: id")
	k.Origin = origin(r.g.ID, k.ID)
	what := "check " + k.ID
	r.newCheck(idNode, k.ID)
	mode, power := m.need("mode"), m.need("power")
	k.Mode = engine.Mode(r.oneOf(mode, modes, what+": mode"))
	k.Power = engine.Power(r.oneOf(power, powers, what+": power"))
	k.Say = r.text(m.need("say"), what+": say")
	k.Why = r.text(m.need("why"), what+": why")
	k.Red = r.text(m.get("red"), what+": red")
	k.Black = r.text(m.get("black"), what+": black")
	k.State = r.text(m.get("state"), what+": state")
	k.Minutes = r.within(m.need("minutes"), leastMinutes, mostMinutes, what+": minutes")
	if x := m.get("access"); x != nil {
		k.Access = int(r.within(x, 0, 3, what+": access"))
	}
	if x := m.get("risk"); x != nil {
		rm := r.mapping(x, what+": risk")
		k.Module = r.within(rm.get("module"), 0, 1, what+": risk: module")
		k.Person = r.within(rm.get("person"), 0, 1, what+": risk: person")
		rm.done()
	}
	if x := m.get("jumper"); x != nil {
		k.Jumper = engine.Jumper(r.oneOf(x, jumpers, what+": jumper"))
	}
	k.Source = r.source(m.need("source"), r.sources, what+": source")
	k.Cautions = r.texts(m.get("cautions"), what+": cautions")
	k.After = r.mentions(m.get("after"), what+": after")
	k.Warm = r.yes(m.get("warm"), what+": warm")
	k.Stress = r.mentions(m.get("stress"), what+": stress")
	for key, ids := range map[string][]string{"after": k.After, "stress": k.Stress} {
		if slices.Contains(ids, k.ID) {
			r.errorf(m.value[key], "%s: %s: it names itself", what, key)
		}
	}
	k.Proves = r.text(m.get("proves"), what+": proves")
	k.ProvesNot = r.text(m.get("does_not_prove"), what+": does_not_prove")
	if x := m.get("when"); x != nil {
		r.checkWhen(&k, x, what)
	}
	r.measures(&k, m, what)
	computed, outcomes := m.get("computed"), m.get("outcomes")
	if computed != nil && outcomes == nil && m.get("table") == nil && r.g.Template != nil {
		k.Expect = nil // the template says what to expect
	} else {
		outcomes = m.need("outcomes")
		r.outcomes(&k, outcomes, r.sound(mode), what)
		if x := m.get("good"); x != nil {
			k.Good = r.text(x, what+": good")
			r.known(x, k.Good, k.Answers, what+": good: there is no outcome")
		}
		k.Table = map[string][]float64{}
		r.table(&k, m.need("table"), r.sound(outcomes), what)
	}
	if computed != nil {
		r.computed(&k, computed, r.sound(mode), what)
	}
	m.done()
	if r.sound(mode) {
		r.safe(&k, power, m.value["cautions"], what)
	}
	r.lent[what] = true
	r.g.Checks = append(r.g.Checks, k)
}

// measures reads what a wiggle or a swap measures meanwhile.
func (r *guideReader) measures(k *engine.GuideCheck, m *mapping, what string) {
	n, sweep := m.get("measures"), m.get("sweep")
	if n == nil {
		if sweep != nil {
			r.errorf(sweep, "%s: sweep: say in \"measures\" what is measured", what)
		}
		return
	}
	if k.Mode != engine.Wiggle && k.Mode != engine.Swap {
		r.errorf(n, "%s: only a wiggle or a swap measures something meanwhile", what)
	}
	k.Measures = engine.Mode(r.oneOf(n, []string{string(engine.VoltsDC), string(engine.Ohms), string(engine.AmpsDC)}, what+": measures"))
	k.Sweep = r.texts(sweep, what+": sweep")
	switch {
	case k.Mode == engine.Swap && len(k.Sweep) == 0:
		r.errorf(n, "%s: name in \"sweep\" the positions in which both parts are measured", what)
	case k.Mode == engine.Wiggle && sweep != nil:
		r.errorf(sweep, "%s: only a swap has a sweep; of a wiggle the least and the most are read", what)
	case len(k.Sweep) > maxSweep:
		r.errorf(sweep, "%s: sweep: %d positions; the most is %d", what, len(k.Sweep), maxSweep)
	}
}

// valuesEnv is what the outcomes of a check that wants several numbers may speak
// of: of a wiggle low and high; of a sweep the least and the most of either part
// and whether they are alike in every position.
func valuesEnv(k *engine.GuideCheck, values []float64) map[string]any {
	if k.Mode == engine.Wiggle {
		return map[string]any{"low": values[0], "high": values[1]}
	}
	env := map[string]any{"old_low": values[0], "old_high": values[0], "good_low": values[1], "good_high": values[1], "alike": true}
	for i := 0; i+1 < len(values); i += 2 {
		old, good := values[i], values[i+1]
		env["old_low"], env["old_high"] = min(env["old_low"].(float64), old), max(env["old_high"].(float64), old)
		env["good_low"], env["good_high"] = min(env["good_low"].(float64), good), max(env["good_high"].(float64), good)
		env["alike"] = env["alike"].(bool) && math.Abs(old-good) <= max(alikeShare*math.Abs(good), alikeLeast)
	}
	return env
}

// Two parts read alike when they differ by no more than this share, or this much
// in V, ohm or A (common practice, no source).
const (
	alikeShare = 0.05
	alikeLeast = 0.1
)

// newCheck notes the ID of a check, and reports one that stands twice.
func (r *guideReader) newCheck(n *yaml.Node, id string) {
	if slices.Contains(r.checks, id) {
		r.errorf(n, "check %s: the id stands twice", id)
	}
	r.checks = append(r.checks, id)
}

// checkWhen compiles the condition under which a check is offered, over facts
// and over what was learned.
func (r *guideReader) checkWhen(k *engine.GuideCheck, n *yaml.Node, what string) {
	var env map[string]any
	if r.facts != nil {
		env = maps.Clone(r.facts)
		maps.Copy(env, learnedEnv(engine.Known{}))
	}
	e := r.compile(n, env, true, what+": when")
	if e == nil {
		return
	}
	asks := e.asks()
	for _, a := range asks {
		at := r.inside(n, a.at)
		switch {
		case a.text == "":
			r.errorf(at, "%s: when: name the check or role in quotes, as in %s(\"...\")", what, a.function)
		case a.function == "setting":
			r.known(at, a.text, r.roleIDs, what+": when: there is no role")
		default:
			k.Later = true
			r.refs = append(r.refs, reference{at: at, check: a.text, what: what + ": when: there is no check"})
			for _, says := range a.says {
				r.refs = append(r.refs, reference{at: at, check: a.text, says: says})
			}
		}
	}
	r.needs[what] = append(r.needs[what], e.names()...)
	r.whens[what] = e
	k.When = func(known engine.Known) (bool, error) {
		env := learnedEnv(known)
		maps.Copy(env, known.Facts)
		return e.holds(env)
	}
}

// oneOf reads one of a few words.
func (d *document) oneOf(n *yaml.Node, known []string, what string) string {
	s := d.text(n, what)
	if !slices.Contains(known, s) && d.sound(n) {
		d.unreadable(n, "%s: %q is none of: %s", what, s, strings.Join(known, ", "))
	}
	return s
}

// safe reports what the safety gate would refuse whatever the case.
func (r *guideReader) safe(k *engine.GuideCheck, power, cautions *yaml.Node, what string) {
	if why := (engine.Gate{Qualified: true}).Refuse(&engine.Model{}, &k.Check, 0); why != "" {
		r.errorf(power, "%s: the safety gate refuses it: %s", what, why)
	}
	if k.Mode == engine.Swap {
		switch {
		case k.Proves == "" || k.ProvesNot == "":
			r.errorf(power, "%s: a swap check says what it \"proves\" and what it \"does_not_prove\"", what)
		case len(k.After) == 0:
			r.errorf(power, "%s: a swap check names in \"after\" the checks that prove the socket first", what)
		}
	}
	if len(k.Cautions) == 0 && !r.bad[cautions] && (k.Power != engine.Off && k.Mode != engine.Ask || k.Mode == engine.Swap) {
		r.errorf(power, "%s: a live or swap check needs cautions", what)
	}
}

// outcomes reads the outcomes of a check whose mode may be unknown.
func (r *guideReader) outcomes(k *engine.GuideCheck, n *yaml.Node, known bool, what string) {
	numeric, several := k.Mode.Numeric(), k.Measures != ""
	var env map[string]any
	if r.facts != nil {
		env = maps.Clone(r.facts)
		if several {
			maps.Copy(env, valuesEnv(k, []float64{0, 0}))
		} else {
			env["v"], env["over"] = 0.0, false
		}
	}
	var whens []*expression
	items := r.list(n, what+": outcomes")
	if len(items) > maxOutcomes {
		r.unreadable(n, "%s: %d outcomes; the most is %d", what, len(items), maxOutcomes)
		return
	}
	for i, x := range items {
		om := r.mapping(x, what+": outcome")
		id := om.need("id")
		answer := r.id(id, what+": outcome: id")
		if slices.Contains(k.Answers, answer) {
			r.errorf(id, "%s: outcome %q stands twice", what, answer)
		}
		k.Answers = append(k.Answers, answer)
		k.Says = append(k.Says, r.text(om.get("say"), what+": outcome: say"))
		when := om.get("when")
		switch {
		case known && numeric && when == nil:
			r.errorf(x, "%s: outcome %s: a reading's outcome needs \"when\", a condition on v", what, answer)
		case several && when == nil && i < len(items)-1:
			r.errorf(x, "%s: outcome %s: needs \"when\"; only the last goes without, for all that is left", what, answer)
		case several && when != nil && i == len(items)-1:
			r.errorf(when, "%s: outcome %s: the last goes without \"when\", for all that is left", what, answer)
		case known && !numeric && !several && when != nil:
			r.errorf(when, "%s: outcome %s: only readings have \"when\"", what, answer)
		}
		if numeric || several && when != nil || !known {
			e := r.compile(when, env, true, what+": outcome "+answer)
			if e != nil {
				r.needs[what] = append(r.needs[what], e.names()...)
			}
			whens = append(whens, e)
		}
		om.done()
	}
	if len(k.Answers) < 2 {
		r.errorf(n, "%s: want at least two outcomes", what)
	} else if k.Mode == engine.Continuity && !slices.Contains(k.Answers, "") && !(len(k.Answers) == 2 && slices.Contains(k.Answers, engine.Beep) && slices.Contains(k.Answers, engine.NoBeep)) {
		r.errorf(n, "%s: the outcomes of a continuity check are %q and %q", what, engine.Beep, engine.NoBeep)
	}
	if slices.Contains(whens, nil) {
		return
	}
	if several {
		measured := *k
		k.Several = func(values []float64, facts map[string]any) (int, error) {
			env := valuesEnv(&measured, values)
			maps.Copy(env, facts)
			for i, w := range whens {
				if ok, err := w.holds(env); ok || err != nil {
					return i, err
				}
			}
			return len(whens), nil
		}
	}
	if !numeric {
		return
	}
	r.bands[k.ID] = whens
	k.Band = func(v float64, over bool, facts map[string]any) (int, error) {
		env := map[string]any{"v": v, "over": over}
		for name, x := range facts {
			env[name] = x
		}
		for i, w := range whens {
			ok, err := w.holds(env)
			if err != nil {
				return -1, err
			}
			if ok {
				return i, nil
			}
		}
		return -1, nil
	}
	k.Limits = func(facts map[string]any) []float64 { return limits(whens, facts) }
	if r.usual {
		if wrong := uncovered(whens, k.Answers, env, r.readings(whens)); wrong != "" {
			r.errorf(n, "%s: %s", what, wrong)
		}
	}
}

// limits returns the readings at which conditions on v may turn, sorted.
func limits(whens []*expression, facts map[string]any) []float64 {
	var out []float64
	for _, w := range whens {
		out = append(out, w.limits(facts)...)
	}
	slices.Sort(out)
	out = slices.Compact(out)
	return out[:min(len(out), maxLimits)]
}

// readings returns the readings to try on conditions: zero, each limit, one
// between it and the next, and one beyond the last at either end. That is all it
// takes for comparisons of v. For whatever else is written it adds readings from
// -24 to 3e6, a hundredth apart near zero and in steps of 4 % further out.
func (r *guideReader) readings(whens []*expression) []float64 {
	found := limits(whens, r.facts)
	out := append(around(found), 0)
	if len(found) < maxLimits && !slices.ContainsFunc(whens, func(w *expression) bool { return !w.stepwise() }) {
		return out
	}
	for i := -160; i <= 400; i++ {
		out = append(out, math.Copysign(0.25*math.Expm1(math.Abs(float64(i))/25), float64(i)))
	}
	return out
}

// around returns limits, one value between each two, and one beyond either end.
func around(limits []float64) []float64 {
	limits = slices.Compact(slices.Sorted(slices.Values(limits)))
	var out []float64
	for i, x := range limits {
		if i == 0 {
			out = append(out, x-1-math.Abs(x))
		} else {
			out = append(out, limits[i-1]/2+x/2)
		}
		out = append(out, x)
	}
	if n := len(limits); n > 0 {
		out = append(out, limits[n-1]+1+math.Abs(limits[n-1]))
	}
	return out
}

// uncovered says which of the readings, or over-range, no outcome or more than one
// takes, with the facts as env has them; "" if each is taken once.
func uncovered(whens []*expression, ids []string, env map[string]any, readings []float64) string {
	try := func(v float64, over bool) string {
		env["v"], env["over"] = v, over
		takes := make([]string, 0, len(whens))
		for i, w := range whens {
			ok, err := w.holds(env)
			if err != nil {
				return fmt.Sprintf("outcome %s: %v", ids[i], err)
			}
			if ok {
				takes = append(takes, ids[i])
			}
		}
		reading := fmt.Sprintf("%.7g", v)
		if over {
			reading = "over-range"
		}
		switch len(takes) {
		case 0:
			return "no outcome takes a reading of " + reading
		case 1:
			return ""
		}
		return fmt.Sprintf("a reading of %s is both %s", reading, strings.Join(takes, " and "))
	}
	for _, v := range readings {
		if wrong := try(v, false); wrong != "" {
			return wrong
		}
	}
	return try(1e7, true)
}

// table reads the table of a check whose outcomes may be unknown. Its rows are
// added to what the check has.
func (r *guideReader) table(k *engine.GuideCheck, n *yaml.Node, known bool, what string) {
	m := r.mapping(n, what+": table")
	if k.Otherwise == nil {
		k.Otherwise = r.row(k, m.need("otherwise"), known, what, "otherwise")
	}
	for _, name := range m.keys {
		if trait, ok := strings.CutPrefix(name, "trait "); ok {
			if k.ByTrait == nil {
				k.ByTrait = map[string][]float64{}
			}
			r.known(m.at[name], trait, traits, what+": table: there is no trait")
			k.ByTrait[trait] = r.row(k, m.get(name), known, what, name)
		} else if name != "otherwise" {
			r.known(m.at[name], name, r.causes, what+": table: there is no cause")
			k.Table[name] = r.row(k, m.get(name), known, what, name)
		} else if !slices.Contains(m.asked, name) {
			k.Otherwise = r.row(k, m.get(name), known, what, name)
		}
	}
}

// row reads one row of a table.
func (r *guideReader) row(k *engine.GuideCheck, n *yaml.Node, known bool, what, name string) []float64 {
	items := r.list(n, what+": table: "+name)
	if known && len(items) != len(k.Answers) {
		r.unreadable(n, "%s: table: %s: want %d values, one for each outcome, not %d", what, name, len(k.Answers), len(items))
	}
	var out []float64
	var sum float64
	for _, x := range items {
		p := r.within(x, 0, 1, what+": table: "+name)
		out = append(out, p)
		sum += p
	}
	if math.Abs(sum-1) > sumTolerance && !slices.ContainsFunc(items, func(x *yaml.Node) bool { return r.bad[x] }) {
		r.errorf(n, "%s: table: %s: the row sums to %.4g; it must sum to 1", what, name, sum)
	}
	return out
}

// computed reads what a check of a mode that may be unknown is computed from.
func (r *guideReader) computed(k *engine.GuideCheck, n *yaml.Node, known bool, what string) {
	m := r.mapping(n, what+": computed")
	c := &engine.Computed{State: map[string]string{}}
	pin := func(n *yaml.Node) string {
		s := r.text(n, what+": computed")
		role, name, dotted := strings.Cut(s, ".")
		if s != "" && (!dotted || role == "" || name == "") {
			r.errorf(n, "%s: computed: %q is not a pin; write role.pin", what, s)
		} else if p := r.role(n, role, what); p != nil {
			r.known(n, name, p.Pins, fmt.Sprintf("%s: computed: a %s has no pin", what, p.Kind))
		}
		return s
	}
	c.Red, c.Black = pin(m.need("red")), pin(m.need("black"))
	sm := r.mapping(m.get("state"), what+": computed: state")
	for _, role := range sm.keys {
		v := sm.get(role)
		c.State[role] = r.text(v, what+": computed: state")
		if p := r.role(sm.at[role], role, what); p != nil {
			var names []string
			for _, s := range p.settings {
				names = append(names, s.name)
			}
			r.known(v, c.State[role], names, fmt.Sprintf("%s: computed: a %s has no setting", what, p.Kind))
		}
	}
	m.done()
	if known && k.Mode != engine.VoltsDC && k.Mode != engine.Ohms && k.Mode != engine.Continuity {
		r.errorf(n, "%s: only volts_dc, ohms and continuity can be computed", what)
	}
	k.Computed = c
}

// role returns the kind of part in a role if anything can be said of it; it
// reports a role that is not there.
func (r *guideReader) role(n *yaml.Node, role, what string) *Part {
	if !r.known(n, role, r.roleIDs, what+": computed: there is no role") {
		return nil
	}
	return r.base.whole(r.g.Roles[role])
}
