package engine

import (
	"cmp"
	"fmt"
	"math"
	"path"
	"slices"
	"strings"
	"sync"

	"probable/engine/circuit"
)

// Guide is one symptom tree: its causes, and checks whose predictions stand in
// tables.
type Guide struct {
	ID       string
	Shared   bool // no symptom by itself: other guides use what is in it
	About    string
	Cautions []string
	// Kind and Shows say which symptoms of a harness the guide joins: a part of
	// the kind that shows one of the words. An empty Kind joins none by itself.
	Kind   string
	Shows  []string
	Roles  map[string]string // kind of part by role
	Driven bool              // a role of it moves the driven wheel
	Charge [2]string         // where a charge stays, in words, or empty
	Facts  []Fact
	Causes []GuideCause
	Checks []GuideCheck
	// Template makes the harness that computes the checks without a table where
	// the user has no harness, and names its symptom; nil: every check has a table.
	Template func(facts map[string]any) (h *circuit.Harness, symptom string, err error)
}

// Guides are guides by ID.
type Guides map[string]*Guide

// Fact is something known of the vehicle before the first check.
type Fact struct {
	Name, Ask, Unit string
	YesNo           bool
	Choices         []string // of a fact that is a word
	Low, High       float64
	Default         any    // bool, float64 or string
	Supply          string // role of the supply whose volts it is, or empty
}

// GuideCause is a cause that a harness may compute by itself.
type GuideCause struct {
	Cause
	Origin    string   // "guide / id" where it is written
	Traits    []string // by which tables may speak of it
	StandsFor []string // globs over harness cause IDs, with {role}s
	// When says whether a vehicle with these facts can have it; nil: any can.
	When func(facts map[string]any) (bool, error)
}

// hides reports whether the cause shows only under load, warm or moved.
func (c *GuideCause) hides() bool {
	return slices.ContainsFunc(c.Traits, func(t string) bool { return t == "load" || t == "warm" || t == "moves" })
}

// GuideCheck is a check with its table.
type GuideCheck struct {
	Check
	Origin string // "guide / id" where it is written
	Source string // of its limits and its table
	// RowsSource is that of the rows that this guide gives a check it uses, or empty.
	RowsSource string
	Says       []string // by answer: the answer in words
	Good       string   // the answer of a healthy vehicle, or empty where there is no one answer
	Stress     []string // IDs of the checks that ask the same under load, warm or moved
	// When says whether the check is offered; nil: always. Later means that this
	// depends on what was learned, not on facts alone.
	When  func(Known) (bool, error)
	Later bool
	Band  func(value float64, over bool, facts map[string]any) (int, error) // numeric: index of the outcome
	// Several gives the index of the outcome of several numbers; nil: answered in words.
	Several func(values []float64, facts map[string]any) (int, error)
	// Limits returns the readings at which the outcome may change, sorted.
	Limits func(facts map[string]any) []float64
	// Table and ByTrait give the chance of each answer by cause and by trait; a
	// check that is computed may have neither.
	Table     map[string][]float64
	ByTrait   map[string][]float64
	Otherwise []float64
	Computed  *Computed
}

// Computed says where a harness measures a guide's check, pins as role.pin.
type Computed struct {
	Red, Black string
	State      map[string]string // setting by role
}

// Known is what conditions may ask about.
type Known struct {
	Facts   map[string]any
	Answer  func(check string) string  // the answer's ID, or "" if not made
	Reading func(check string) float64 // 0 if not made
	Taken   func(check string) bool
	Setting func(role string) string // in the symptom's state, or ""
}

// knownFacts are facts before anything was learned.
func knownFacts(facts map[string]any, setting func(role string) string) Known {
	return Known{
		Facts:   facts,
		Answer:  func(string) string { return "" },
		Reading: func(string) float64 { return 0 },
		Taken:   func(string) bool { return false },
		Setting: setting,
	}
}

// facts fills in defaults and refuses facts that the guide does not know.
func (g *Guide) facts(given map[string]any) (map[string]any, error) {
	all := map[string]any{}
	for _, f := range g.Facts {
		all[f.Name] = f.Default
	}
	for name, v := range given {
		if _, ok := all[name]; !ok {
			return nil, fmt.Errorf("guide %q has no fact %q", g.ID, name)
		}
		all[name] = v
	}
	return all, nil
}

// key is what the odds of a cause of this guide are kept under.
func (g *Guide) key(cause string) string { return g.ID + " / " + cause }

// possible returns the causes that a vehicle with these facts can have.
func (g *Guide) possible(facts map[string]any) ([]GuideCause, error) {
	var out []GuideCause
	for _, c := range g.Causes {
		if c.When != nil {
			ok, err := c.When(facts)
			if err != nil {
				return nil, fmt.Errorf("guide %q, cause %q: %w", g.ID, c.ID, err)
			}
			if !ok {
				continue
			}
		}
		c.Key = cmp.Or(c.Key, g.key(c.ID))
		c.Effort = cmp.Or(c.Effort, c.effort())
		out = append(out, c)
	}
	return out, nil
}

// open returns the checks that facts do not rule out, ready for the model.
func (g *Guide) open(m *Model, facts map[string]any, setting func(role string) string) ([]*GuideCheck, error) {
	var out []*GuideCheck
	for i := range g.Checks {
		k := g.Checks[i]
		switch {
		case k.When == nil:
		case k.Later:
			k.Check.when = func(known Known) (bool, error) {
				known.Facts, known.Setting = facts, setting
				return k.When(known)
			}
		default:
			ok, err := k.When(knownFacts(facts, setting))
			if err != nil {
				return nil, fmt.Errorf("guide %q, check %q: %w", g.ID, k.ID, err)
			}
			if !ok {
				continue
			}
		}
		if k.Mode.Numeric() && k.Band != nil {
			k.Check.band = func(v float64, over bool) int {
				n, err := k.Band(v, over, facts)
				if err != nil {
					return -1
				}
				return n
			}
			k.Check.inside = sync.OnceValue(func() [][]float64 {
				if k.Limits == nil {
					return k.Check.sorted(nil)
				}
				return k.Check.sorted(k.Limits(facts))
			})
		}
		if k.Several != nil {
			k.Check.several = func(values []float64) int {
				n, err := k.Several(values, facts)
				if err != nil {
					return -1
				}
				return n
			}
		}
		k.Check.Healthy, k.Check.says = k.Good, k.Says
		if k.Power != Off {
			k.Check.Cautions = slices.Concat(m.liveCautions(), k.Cautions)
		}
		out = append(out, &k)
	}
	return out, nil
}

// row returns the chances of the answers under a cause, or nil.
func (k *GuideCheck) row(c *GuideCause) []float64 {
	if row, ok := k.Table[c.ID]; ok {
		return row
	}
	for _, t := range c.Traits {
		if row, ok := k.ByTrait[t]; ok {
			return row
		}
	}
	return k.Otherwise
}

// guideShort is the short check where no harness says what to expect.
func guideShort() *Check {
	return &Check{
		ID: "short check", Power: Off, Mode: Continuity, Answers: []string{Beep, NoBeep}, Healthy: NoBeep, Minutes: minutesContinuity,
		Red: "the vehicle's plus supply lead", Black: "the vehicle's minus supply lead",
		Say: "Before any power: pack unplugged, switches on. Continuity between the vehicle's two supply leads. A short chirp while capacitors charge is no short.",
		Why: "A short that is still there would burn the wiring or the pack.",
	}
}

// FromGuide makes the model of a guide without a harness, from the options
// Guide, Facts, Guides and Meter.
func FromGuide(o Options) (*Model, error) { return o.Guide.model(o, nil) }

// model makes the guide's model. Hand-offs to the guides of the chain, which led
// here, are not taken.
func (g *Guide) model(o Options, chain []string) (*Model, error) {
	facts, err := g.facts(o.Facts)
	if err != nil {
		return nil, err
	}
	m := &Model{Misreading: DefaultMisreading, Cautions: slices.Concat(GeneralCautions, g.Cautions), Short: guideShort(), Driven: g.Driven}
	m.further = onward{g: g, o: o, chain: append(slices.Clone(chain), g.ID)}
	if v, ok := facts["pack_volts"].(float64); ok {
		m.Highest = v
	}
	m.scale = max(1.2*m.Highest, leastScale)
	if g.Charge[0] != "" {
		m.Charged = [][2]string{g.Charge}
	}
	var t *template
	if g.Template != nil {
		if t, err = g.compute(o); err != nil {
			return nil, fmt.Errorf("guide %q: its template: %w", g.ID, err)
		}
		m.scale = max(m.scale, t.b.m.scale)
	}
	setting := func(string) string { return "" }
	if t != nil {
		setting = t.b.roleSetting(g)
	}
	checks, err := g.open(m, facts, setting)
	if err != nil {
		return nil, err
	}
	causes, err := g.possible(facts)
	if err != nil {
		return nil, err
	}
	var from []int // by hypothesis: that of the template, or -1
	for i, c := range causes {
		c.HandOff = m.further.known(c.HandOff)
		c.Hides = c.hides()
		m.Causes = append(m.Causes, c.Cause)
		for _, h := range t.hypotheses(c.ID) {
			from = append(from, h.hyp)
			m.hyps = append(m.hyps, hypothesis{cause: i, prior: math.Log(c.Odds * h.share)})
		}
	}
	for _, k := range checks {
		c := &k.Check
		switch {
		case k.Otherwise != nil:
			c.shows.usual(prediction{row: k.Otherwise})
			for hyp, h := range m.hyps {
				c.shows.set(hyp, prediction{row: k.row(&causes[h.cause])})
			}
		case t.plans[k.ID] != nil:
			of := t.plans[k.ID].check
			c.Expect = of.Expect
			c.shows.usual(of.shows.kinds[0])
			for hyp, h := range from {
				if h >= 0 {
					c.shows.set(hyp, *of.shows.of(h))
				}
			}
		default:
			continue // the template cannot compute it
		}
		m.Checks = append(m.Checks, c)
	}
	m.remember(o.Before)
	b := &builder{m: m}
	b.addUnexplained()
	m.finish()
	return m, nil
}

// template is a guide's template harness, computed where the guide asks.
type template struct {
	*joint
	b *builder
}

// compute works out what the guide's template predicts for its checks.
func (g *Guide) compute(o Options) (*template, error) {
	facts, err := g.facts(o.Facts)
	if err != nil {
		return nil, err
	}
	h, symptom, err := g.Template(facts)
	if err != nil {
		return nil, err
	}
	b, err := newBuilder(h, Options{Symptom: symptom, Meter: o.Meter})
	if err != nil {
		return nil, err
	}
	j, err := b.planGuide(g, o.Facts)
	if err != nil {
		return nil, err
	}
	return &template{j, b}, b.compute()
}

// part of a cause's chance that falls to a hypothesis of a template.
type part struct {
	hyp   int // -1: of no template
	share float64
}

// hypotheses returns those that stand for a guide's cause, and their shares.
func (t *template) hypotheses(cause string) []part {
	var out []part
	if t != nil {
		var total float64
		for i, h := range t.b.m.hyps {
			if t.stands[h.cause] == cause {
				out = append(out, part{i, math.Exp(h.prior)})
				total += out[len(out)-1].share
			}
		}
		for i := range out {
			out[i].share /= total
		}
	}
	if len(out) == 0 {
		return []part{{-1, 1}}
	}
	return out
}

// joint is a guide being joined to a harness.
type joint struct {
	g      *Guide
	checks []*GuideCheck
	plans  map[string]*plan // computed checks, by the guide's ID
	stands []string         // by harness cause: the guide's cause, or ""
	only   []GuideCause     // causes that the harness does not compute
}

// of returns the guide's cause that stands for a computed one; the zero one
// where none does.
func (j *joint) of(cause int) *GuideCause {
	for i := range j.g.Causes {
		if j.g.Causes[i].ID == j.stands[cause] {
			return &j.g.Causes[i]
		}
	}
	return &GuideCause{}
}

// planGuide binds the guide's roles to parts of the harness and plans its
// computed checks.
func (b *builder) planGuide(g *Guide, given map[string]any) (*joint, error) {
	facts, err := g.facts(given)
	if err != nil {
		return nil, err
	}
	j := &joint{g: g, plans: map[string]*plan{}}
	b.asked = map[*plan]bool{}
	roles := b.roles(g)
	if j.checks, err = g.open(b.m, facts, b.roleSetting(g)); err != nil {
		return nil, err
	}
	causes, err := g.possible(facts)
	if err != nil {
		return nil, err
	}
	var bind []string
	for role, part := range roles {
		bind = append(bind, "{"+role+"}", part)
	}
	replace := strings.NewReplacer(bind...)
	found := map[string]bool{}
	for _, c := range b.m.Causes {
		stands := ""
		for _, gc := range causes {
			if slices.ContainsFunc(gc.StandsFor, func(glob string) bool {
				ok, err := path.Match(replace.Replace(glob), c.ID)
				return ok && err == nil
			}) {
				stands = gc.ID
				break
			}
		}
		found[stands] = true
		j.stands = append(j.stands, stands)
	}
	for _, gc := range causes {
		if !found[gc.ID] {
			j.only = append(j.only, gc)
		}
	}
	for _, k := range j.checks {
		if k.Computed == nil || !k.Mode.Numeric() {
			continue // the harness has continuity checks of its own
		}
		if p := b.planComputed(k.Computed, roles, k.Power); p != nil {
			j.plans[k.ID] = p
			b.asked[p] = true
		}
	}
	return j, nil
}

// roles gives each role of the guide the first part of its kind.
func (b *builder) roles(g *Guide) map[string]string {
	roles := map[string]string{}
	for role, kind := range g.Roles {
		for _, p := range b.h.Parts {
			if p.Kind == kind {
				roles[role] = p.Name
				break
			}
		}
	}
	return roles
}

// roleSetting returns what says how the part in a role is set in the symptom's
// state, or "" without one.
func (b *builder) roleSetting(g *Guide) func(role string) string {
	roles := b.roles(g)
	return func(role string) string {
		p := b.h.Part(roles[role])
		if p == nil {
			return ""
		}
		return cmp.Or(b.state.Settings[p.Name], p.Rest)
	}
}

// planComputed finds the harness's own check for the pins and state of a
// guide's, or plans one. It returns nil where a pin cannot be reached.
func (b *builder) planComputed(k *Computed, roles map[string]string, power Power) *plan {
	bind := func(pin string) string {
		role, name, _ := strings.Cut(pin, ".")
		return roles[role] + "." + name
	}
	red, black := bind(k.Red), bind(k.Black)
	pins := b.h.Pins()
	if !slices.Contains(pins, red) || !slices.Contains(pins, black) || b.h.NoAccess[red] || b.h.NoAccess[black] {
		return nil
	}
	settings := map[string]string{}
	for part, set := range b.state.Settings {
		settings[part] = set
	}
	for role, set := range k.State {
		part := b.h.Part(roles[role])
		if part == nil || part.Settings[set] == nil {
			return nil
		}
		settings[part.Name] = set
	}
	for part, set := range settings {
		if b.h.Part(part).Rest == set {
			delete(settings, part)
		}
	}
	state := circuit.State{Settings: settings}
	state.Name = state.Describe()
	if len(settings) == 0 {
		state = circuit.State{}
	}
	for _, s := range b.h.States {
		if sameSettings(s.Settings, settings) {
			state = s
		}
	}
	find := func() *plan {
		for _, p := range b.plans {
			c := p.check
			if c.Red == red && c.Black == black && c.State == state.Name && c.Mode.Numeric() && (c.Power == Off) == (power == Off) && c.Mode != AmpsDC && c != b.m.Short {
				return p
			}
		}
		return nil
	}
	if p := find(); p != nil {
		return p
	}
	part, _, _ := strings.Cut(red, ".")
	if power == Off {
		b.ohms(pair{red: red, black: black, part: part}, state)
	} else {
		b.volts(pair{red: red, black: black, part: part}, state)
	}
	return find()
}

func sameSettings(a, b map[string]string) bool {
	if len(a) != len(b) {
		return false
	}
	for k, v := range a {
		if b[k] != v {
			return false
		}
	}
	return true
}

// join adds the guide's own causes and tables to the computed model.
func (b *builder) join(j *joint) {
	harness := len(b.m.Causes)
	for i := range harness {
		if stands := j.stands[i]; stands != "" {
			k := slices.IndexFunc(j.g.Causes, func(c GuideCause) bool { return c.ID == stands })
			gc, c := &j.g.Causes[k], &b.m.Causes[i]
			c.Kills, c.Hurts, c.Prove = gc.Kills, gc.Hurts, gc.Prove
		}
	}
	hyps := len(b.m.hyps)
	byPlan := map[*Check]bands{}
	for _, k := range j.checks {
		if p := j.plans[k.ID]; p != nil && k.Band != nil {
			byPlan[p.check] = k.bands()
		}
	}
	for _, gc := range j.only {
		c := gc.Cause
		c.Hides = gc.hides()
		c.HandOff = "" // the harness's own causes stay as they are: it has a repair of its own
		b.m.Causes = append(b.m.Causes, c)
		b.m.hyps = append(b.m.hyps, hypothesis{cause: len(b.m.Causes) - 1, prior: math.Log(gc.Odds * (1 - wrongWord))})
		for c, k := range byPlan {
			p := prediction{spans: k.spans(&gc, c.shows.kinds[0].spans), danger: c.shows.kinds[0].danger}
			c.shows.set(len(b.m.hyps)-1, p)
		}
	}
	for _, k := range j.checks {
		if k.Computed != nil {
			continue // the harness's own check stands for it, or its pins are out of reach
		}
		c := &k.Check
		c.shows.usual(prediction{row: k.Otherwise})
		for i, h := range b.m.hyps[:hyps] {
			c.shows.set(i, prediction{row: k.row(j.of(h.cause))})
		}
		for i, gc := range j.only {
			c.shows.set(hyps+i, prediction{row: k.row(&gc)})
		}
		b.m.Checks = append(b.m.Checks, c)
	}
	for _, k := range j.checks {
		// A guide's proof by a computed check is the harness's own check.
		if p := j.plans[k.ID]; p != nil {
			for i := range b.m.Causes {
				for n, id := range b.m.Causes[i].Prove {
					if id == k.ID {
						b.m.Causes[i].Prove = slices.Clone(b.m.Causes[i].Prove)
						b.m.Causes[i].Prove[n] = p.check.ID
					}
				}
			}
		}
	}
}

// bands are the outcomes of a guide's numeric check as ranges of readings.
type bands struct {
	k         *GuideCheck
	low, high []float64 // by outcome; low above high where only over-range is in it
	over      int       // the outcome of over-range
}

func (k *GuideCheck) bands() bands {
	b := bands{k: k, low: make([]float64, len(k.Answers)), high: make([]float64, len(k.Answers)), over: k.Check.band(0, true)}
	for i := range b.low {
		b.low[i], b.high[i] = math.Inf(1), math.Inf(-1)
	}
	for i, in := range k.Check.inside() {
		for _, v := range in {
			b.low[i], b.high[i] = min(b.low[i], v), max(b.high[i], v)
		}
	}
	return b
}

// spans turns a cause's row into spans: the band that holds the healthy
// reading predicts it, every other band anything inside it.
func (b *bands) spans(cause *GuideCause, healthy []span) []span {
	home := b.k.Check.band(healthy[0].low, healthy[0].over == 1)
	var spans []span
	for i, p := range b.k.row(cause) {
		switch {
		case p == 0:
		case i == home:
			for _, s := range healthy {
				s.weight *= p
				spans = append(spans, s)
			}
		case b.low[i] > b.high[i]:
			spans = append(spans, span{weight: p, over: 1})
		default:
			s := span{weight: p, low: b.low[i], high: b.high[i], sigma: 0.02 * (1 + math.Abs(b.low[i]))}
			if i == b.over {
				s.over = 0.5
			}
			spans = append(spans, s)
		}
	}
	return spans
}

// sorted returns the readings of a grid by outcome, each list rising. The grid is
// that of the mode, and finer between the limits of the outcomes.
func (c *Check) sorted(limits []float64) [][]float64 {
	grid := axis(c.Mode)
	for i := 1; i < len(limits); i++ {
		for _, share := range []float64{0.01, 0.25, 0.5, 0.75, 0.99} {
			grid = append(grid, limits[i-1]+share*(limits[i]-limits[i-1]))
		}
	}
	slices.Sort(grid)
	in := make([][]float64, len(c.Answers))
	for _, v := range grid {
		if k := c.band(v, false); k >= 0 && (c.Mode != Ohms || v >= 0) {
			in[k] = append(in[k], v)
		}
	}
	return in
}

// axis is a grid of readings that finds most of a guide's outcomes.
func axis(mode Mode) []float64 {
	var grid []float64
	if mode == Ohms {
		for x := 0.01; x < 1e8; x *= 1.05 {
			grid = append(grid, x)
		}
		return grid
	}
	for x := -20.0; x <= 120; x += max(0.02, 0.02*math.Abs(x)) {
		grid = append(grid, x)
	}
	return grid
}

// Applies reports whether the guide joins the symptom of a harness by itself.
func (g *Guide) Applies(h *circuit.Harness, s circuit.Symptom) bool {
	for name, words := range s.Shows {
		p, _ := h.Indicator(name)
		if p == nil || p.Kind != g.Kind {
			continue
		}
		for _, w := range words {
			if slices.Contains(g.Shows, w) {
				return true
			}
		}
	}
	return false
}
