package rules

import (
	"fmt"
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

var idForm = regexp.MustCompile(`^[a-z0-9][a-z0-9 .,'-]{0,79}$`)

// guideReader reads one guide.
type guideReader struct {
	*document
	base    *Base
	sources SourceIDs
	g       *engine.Guide
	facts   map[string]any // names with a value of their type
	causes  []string
	proofs  []proof
	kinds   map[string]string // kind of part by role
}

// proof is a cause's proof to be resolved once all checks are read.
type proof struct {
	at    *yaml.Node
	check string
	cause string
}

// ReadGuide reads a guide over this base's kinds of parts. The error, if any,
// is [Problems].
func (b *Base) ReadGuide(file string, data []byte, sources SourceIDs) (*engine.Guide, error) {
	r := &guideReader{document: &document{file: file}, base: b, sources: sources, g: &engine.Guide{}, facts: map[string]any{}}
	root := r.parse(data)
	if root == nil {
		return nil, r.problems.err()
	}
	g := r.g
	m := r.mapping(root, "guide file")
	g.ID = r.id(m.need("guide"), "guide")
	r.version(m.need("version"), "version")
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
	for _, n := range r.list(m.need("causes"), "causes") {
		r.cause(n)
	}
	for _, n := range r.list(m.need("checks"), "checks") {
		r.check(n)
	}
	for _, p := range r.proofs {
		if !slices.ContainsFunc(g.Checks, func(k engine.GuideCheck) bool { return k.ID == p.check }) {
			var ids []string
			for _, k := range g.Checks {
				ids = append(ids, k.ID)
			}
			r.errorf(p.at, "cause %s: prove: there is no check %q; %s", p.cause, p.check, oneOf(p.check, ids))
		}
	}
	m.done()
	return g, r.problems.err()
}

func (r *guideReader) id(n *yaml.Node, what string) string {
	s := r.text(n, what)
	if n != nil && s != "" && !idForm.MatchString(s) {
		r.errorf(n, "%s: %q is not an id; use lower-case words", what, s)
	}
	return s
}

func (r *guideReader) roles(n *yaml.Node) {
	m := r.mapping(n, "roles")
	r.g.Roles = map[string]string{}
	for _, role := range m.keys {
		v := m.get(role)
		kind := r.text(v, "role "+role)
		if r.base.parts[kind] == nil {
			r.errorf(v, "role %s: there is no kind of part %q; %s", role, kind, oneOf(kind, r.base.Kinds()))
		}
		r.g.Roles[role] = kind
		r.g.Driven = r.g.Driven || r.base.parts[kind] != nil && r.base.parts[kind].driven
	}
}

func (r *guideReader) applies(n *yaml.Node) {
	if n == nil {
		return
	}
	m := r.mapping(n, "applies")
	kind := m.need("kind")
	r.g.Kind = r.text(kind, "applies: kind")
	r.g.Shows = r.texts(m.need("shows"), "applies: shows")
	m.done()
	p := r.base.parts[r.g.Kind]
	if p == nil {
		r.errorf(kind, "applies: there is no kind of part %q; %s", r.g.Kind, oneOf(r.g.Kind, r.base.Kinds()))
		return
	}
	var words []string
	for _, in := range p.indicators {
		words = append(words, in.Words()...)
	}
	for _, w := range r.g.Shows {
		if !slices.Contains(words, w) {
			r.errorf(m.value["shows"], "applies: a %s never shows %q; %s", r.g.Kind, w, oneOf(w, words))
		}
	}
}

func (r *guideReader) readFacts(n *yaml.Node) {
	m := r.mapping(n, "facts")
	for _, name := range m.keys {
		what := "fact " + name
		if !regexp.MustCompile(`^[a-z_][a-z0-9_]*$`).MatchString(name) || name == "v" || name == "over" {
			r.errorf(m.at[name], "%s: a fact's name is of lower-case letters, digits and _, and not v or over", what)
		}
		fm := r.mapping(m.get(name), what)
		f := engine.Fact{Name: name, Ask: r.text(fm.need("ask"), what+": ask"), Unit: r.text(fm.get("unit"), what+": unit")}
		kind := fm.need("kind")
		def := fm.need("default")
		switch r.text(kind, what+": kind") {
		case "yes_no":
			f.YesNo = true
			f.Default = r.yes(def, what+": default")
		case "number":
			f.Low, _ = r.number(fm.need("from"), what+": from")
			f.High, _ = r.number(fm.need("to"), what+": to")
			f.Default = r.within(def, f.Low, f.High, what+": default")
		default:
			r.errorf(kind, "%s: kind is yes_no or number", what)
			f.Default = 0.0
		}
		fm.done()
		r.facts[name] = f.Default
		r.g.Facts = append(r.g.Facts, f)
	}
}

func (r *guideReader) cause(n *yaml.Node) {
	m := r.mapping(n, "cause")
	idNode := m.need("id")
	id := r.id(idNode, "cause: id")
	what := "cause " + id
	if slices.Contains(r.causes, id) || id == engine.Unexplained {
		r.errorf(idNode, "%s: the id stands twice", what)
	}
	r.causes = append(r.causes, id)
	c := engine.GuideCause{Cause: engine.Cause{
		ID: id, Say: r.text(m.need("say"), what+": say"),
		Odds:   r.within(m.need("odds"), 1e-3, 1000, what+": odds"),
		Source: r.source(m.need("source"), r.sources, what+": source"),
		Repair: r.text(m.need("repair"), what+": repair"),
		Mends:  r.text(m.get("same_repair"), what+": same_repair"),
		Kills:  r.text(m.need("kills"), what+": kills"),
		Hurts:  r.text(m.need("hurts"), what+": hurts"),
	}}
	if c.Mends == "" {
		c.Mends = id
	}
	prove := m.need("prove")
	for _, p := range r.list(prove, what+": prove") {
		check := r.text(p, what+": prove")
		c.Prove = append(c.Prove, check)
		r.proofs = append(r.proofs, proof{p, check, id})
	}
	if prove != nil && len(c.Prove) == 0 {
		r.errorf(prove, "%s: prove: name at least one check", what)
	}
	for _, s := range r.list(m.get("stands_for"), what+": stands_for") {
		glob := r.text(s, what+": stands_for")
		bare := regexp.MustCompile(`\{([^}]*)\}`).ReplaceAllStringFunc(glob, func(role string) string {
			if r.g.Roles[strings.Trim(role, "{}")] == "" {
				r.errorf(s, "%s: stands_for: there is no role %s", what, role)
			}
			return "x"
		})
		if _, err := path.Match(bare, ""); err != nil {
			r.errorf(s, "%s: stands_for: %q is not a pattern; * stands for anything", what, glob)
		}
		c.StandsFor = append(c.StandsFor, glob)
	}
	m.done()
	r.g.Causes = append(r.g.Causes, c)
}

var (
	powers = []string{string(engine.Off), string(engine.Live), string(engine.Limited)}
	modes  = []string{string(engine.VoltsDC), string(engine.Ohms), string(engine.Continuity), string(engine.Diode), string(engine.AmpsDC),
		string(engine.Look), string(engine.Ask), string(engine.Wiggle), string(engine.Swap)}
)

func (r *guideReader) check(n *yaml.Node) {
	m := r.mapping(n, "check")
	var k engine.GuideCheck
	idNode := m.need("id")
	k.ID = r.id(idNode, "check: id")
	what := "check " + k.ID
	if slices.ContainsFunc(r.g.Checks, func(x engine.GuideCheck) bool { return x.ID == k.ID }) {
		r.errorf(idNode, "%s: the id stands twice", what)
	}
	mode, power := m.need("mode"), m.need("power")
	k.Mode = engine.Mode(r.oneOf(mode, modes, what+": mode"))
	k.Power = engine.Power(r.oneOf(power, powers, what+": power"))
	k.Say = r.text(m.need("say"), what+": say")
	k.Why = r.text(m.need("why"), what+": why")
	k.Red = r.text(m.get("red"), what+": red")
	k.Black = r.text(m.get("black"), what+": black")
	k.State = r.text(m.get("state"), what+": state")
	k.Minutes = r.within(m.need("minutes"), 0.05, 240, what+": minutes")
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
		k.Jumper = engine.Jumper(r.oneOf(x, []string{string(engine.KnownPin), string(engine.ChipPin)}, what+": jumper"))
	}
	r.source(m.need("source"), r.sources, what+": source")
	k.Cautions = r.texts(m.get("cautions"), what+": cautions")
	if x := m.get("when"); x != nil {
		if e := r.compile(x, r.facts, true, what+": when"); e != nil {
			k.When = e.holds
		}
	}
	r.outcomes(&k, m.need("outcomes"), what)
	r.table(&k, m.need("table"), what)
	if x := m.get("computed"); x != nil {
		r.computed(&k, x, what)
	}
	m.done()
	r.safe(&k, power, what)
	r.g.Checks = append(r.g.Checks, k)
}

func (r *guideReader) oneOf(n *yaml.Node, known []string, what string) string {
	s := r.text(n, what)
	if n != nil && !slices.Contains(known, s) {
		r.errorf(n, "%s: %q is none of: %s", what, s, strings.Join(known, ", "))
	}
	return s
}

// safe reports what the safety gate would refuse whatever the case.
func (r *guideReader) safe(k *engine.GuideCheck, power *yaml.Node, what string) {
	if power == nil {
		return
	}
	if why := (engine.Gate{Qualified: true}).Refuse(&engine.Model{}, &k.Check, 0); why != "" {
		r.errorf(power, "%s: the safety gate refuses it: %s", what, why)
	}
	if len(k.Cautions) == 0 && (k.Power != engine.Off && k.Mode != engine.Ask || k.Mode == engine.Swap) {
		r.errorf(power, "%s: a live or swap check needs cautions", what)
	}
}

func (r *guideReader) outcomes(k *engine.GuideCheck, n *yaml.Node, what string) {
	numeric := k.Mode.Numeric()
	env := map[string]any{"v": 0.0, "over": false}
	for name, v := range r.facts {
		env[name] = v
	}
	var whens []*expression
	for _, x := range r.list(n, what+": outcomes") {
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
		case numeric && when == nil:
			r.errorf(x, "%s: outcome %s: a reading's outcome needs \"when\", a condition on v", what, answer)
		case !numeric && when != nil:
			r.errorf(when, "%s: outcome %s: only readings have \"when\"", what, answer)
		case numeric:
			whens = append(whens, r.compile(when, env, true, what+": outcome "+answer))
		}
		om.done()
	}
	if n != nil && n.Kind == yaml.SequenceNode && len(k.Answers) < 2 {
		r.errorf(n, "%s: want at least two outcomes", what)
	}
	if k.Mode == engine.Continuity && !(len(k.Answers) == 2 && slices.Contains(k.Answers, engine.Beep) && slices.Contains(k.Answers, engine.NoBeep)) {
		r.errorf(n, "%s: the outcomes of a continuity check are %q and %q", what, engine.Beep, engine.NoBeep)
	}
	if !numeric || slices.Contains(whens, nil) {
		return
	}
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
	r.covered(whens, env, n, k.Answers, what)
}

// covered reports readings that no outcome or more than one takes, with the
// facts at their defaults.
func (r *guideReader) covered(whens []*expression, env map[string]any, n *yaml.Node, ids []string, what string) {
	try := func(v float64, over bool) bool {
		env["v"], env["over"] = v, over
		var takes []string
		for i, w := range whens {
			ok, err := w.holds(env)
			if err != nil {
				r.errorf(n, "%s: outcome %s: %v", what, ids[i], err)
				return false
			}
			if ok {
				takes = append(takes, ids[i])
			}
		}
		reading := fmt.Sprintf("%.4g", v)
		if over {
			reading = "over-range"
		}
		switch len(takes) {
		case 0:
			r.errorf(n, "%s: no outcome takes a reading of %s", what, reading)
		case 1:
			return true
		default:
			r.errorf(n, "%s: a reading of %s is both %s", what, reading, strings.Join(takes, " and "))
		}
		return false
	}
	for i := -160; i <= 400; i++ {
		// From -24 to 3e6, a hundredth near zero and in steps of 4 % further out.
		if !try(math.Copysign(0.25*math.Expm1(math.Abs(float64(i))/25), float64(i)), false) {
			return
		}
	}
	try(1e7, true)
}

func (r *guideReader) table(k *engine.GuideCheck, n *yaml.Node, what string) {
	m := r.mapping(n, what+": table")
	k.Table = map[string][]float64{}
	row := func(n *yaml.Node, name string) []float64 {
		items := r.list(n, what+": table: "+name)
		if n != nil && len(items) != len(k.Answers) {
			r.errorf(n, "%s: table: %s: want %d values, one for each outcome, not %d", what, name, len(k.Answers), len(items))
			return slices.Repeat([]float64{1 / float64(max(len(k.Answers), 1))}, len(k.Answers))
		}
		var out []float64
		var sum float64
		for _, x := range items {
			p := r.within(x, 0, 1, what+": table: "+name)
			out = append(out, p)
			sum += p
		}
		if n != nil && math.Abs(sum-1) > sumTolerance {
			r.errorf(n, "%s: table: %s: the row sums to %.4g; it must sum to 1", what, name, sum)
		}
		return out
	}
	k.Otherwise = row(m.need("otherwise"), "otherwise")
	for _, name := range m.keys {
		if name == "otherwise" {
			continue
		}
		if !slices.Contains(r.causes, name) {
			r.errorf(m.at[name], "%s: table: there is no cause %q; %s", what, name, oneOf(name, r.causes))
		}
		k.Table[name] = row(m.get(name), name)
	}
}

func (r *guideReader) computed(k *engine.GuideCheck, n *yaml.Node, what string) {
	m := r.mapping(n, what+": computed")
	c := &engine.Computed{State: map[string]string{}}
	pin := func(n *yaml.Node) string {
		s := r.text(n, what+": computed")
		role, name, _ := strings.Cut(s, ".")
		p := r.base.parts[r.g.Roles[role]]
		switch {
		case n == nil:
		case p == nil:
			r.errorf(n, "%s: computed: there is no role %q", what, role)
		case !slices.Contains(p.Pins, name):
			r.errorf(n, "%s: computed: a %s has no pin %q; %s", what, p.Kind, name, oneOf(name, p.Pins))
		}
		return s
	}
	c.Red, c.Black = pin(m.need("red")), pin(m.need("black"))
	sm := r.mapping(m.get("state"), what+": computed: state")
	for _, role := range sm.keys {
		v := sm.get(role)
		c.State[role] = r.text(v, what+": computed: state")
		p := r.base.parts[r.g.Roles[role]]
		if p == nil {
			r.errorf(sm.at[role], "%s: computed: there is no role %q", what, role)
		} else if !slices.ContainsFunc(p.settings, func(s setting) bool { return s.name == c.State[role] }) {
			r.errorf(v, "%s: computed: a %s has no setting %q", what, p.Kind, c.State[role])
		}
	}
	m.done()
	if k.Mode != engine.VoltsDC && k.Mode != engine.Ohms && k.Mode != engine.Continuity {
		r.errorf(n, "%s: only volts_dc, ohms and continuity can be computed", what)
	}
	k.Computed = c
}
