package rules

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"probable/engine/circuit"
)

// Version is the version of the rule language that this program reads.
const Version = 1

// Part is a kind of part: what kb/parts describes, its values still expressions.
type Part struct {
	Kind   string
	About  string
	Source string // of the figures that have none of their own, or empty
	Pins   []string
	Inner  []string // pins inside the part: no wire goes there and no probe reaches them
	// Optional are the pins that builders often leave without a wire; those of
	// one group have wires all together or not at all.
	Optional [][]string
	Keys     []Key

	broken     bool // its file has problems
	elements   []element
	elementIDs []string
	settings   []setting
	rest       string
	indicators []indicator
	failures   []failure
	highest    *expression
	driven     bool
	capacitor  [2]string
	wire       bool
	splice     bool
	bars       bool
	ways       bool
}

// Key is a value that a harness gives a part of the kind.
type Key struct {
	Name, Unit, About string
	Source            string // or empty: that of the part
	Low, High         float64
	OverLow           bool // Low itself is not allowed
	Whole, YesNo      bool
	Default           *float64 // nil: it must be given
}

// Bounds of what a failure adds.
const (
	leastAddOhms  = 1e-3
	mostAddOhms   = 1e6
	mostTimesOhms = 1000
)

// maxWays is the most ways of a connector.
const maxWays = 64

// ways tells whether the key may say how many ways a connector has. A range
// that could not be read will do.
func (k Key) ways() bool {
	bounded := k.Low >= 1 && k.High <= maxWays
	return k.Name == "ways" && k.Whole && (bounded || math.IsInf(k.Low, 0) || math.IsInf(k.High, 0))
}

type element struct {
	circuit.Element                                       // with what is not an expression
	ohms, volts, gain, cold, limit, blows, tolerance, off *expression
	coldTolerance                                         *expression
	above, below                                          []*expression // of each threshold
	drop, amps, ideality                                  *expression   // of a diode
}

type setting struct {
	name string
	set  []values
}

// values are new values for an element; nil leaves what is there.
type values struct {
	element           string
	ohms, volts, gain *expression
	cut               bool
}

type indicator struct {
	circuit.Indicator
	per   *expression
	under []*expression
}

type failure struct {
	circuit.Failure // with what is not an expression
	changedOdds     float64
	variants        []variant
}

type variant struct {
	set    []values
	bridge [][2]string
}

// SourceIDs are the sources that figures may name, besides practice and memory.
// With an empty one the list could not be read and any source will do.
type SourceIDs map[string]bool

// source checks the source of a figure.
func (d *document) source(n *yaml.Node, known SourceIDs, what string) string {
	s := d.text(n, what)
	if s != "" && s != "practice" && s != "memory" && !known[s] && !known[""] {
		d.errorf(n, "%s: no source %q in sources.yaml; use one from there, practice or memory", what, s)
	}
	return s
}

// version checks the version of a file of a kind that has had one only.
func (d *document) version(n *yaml.Node) { d.versionOf(n, Version) }

// versionOf checks a file's version against the one that is read.
func (d *document) versionOf(n *yaml.Node, read int) {
	v, ok := d.number(n, "version")
	switch {
	case !ok:
	case v > float64(read):
		d.errorf(n, "version: version %g is newer than this program reads (%d); use a newer program", v, read)
	case v < 1 || v != math.Trunc(v):
		d.errorf(n, "version: there is no version %g; the present one is %d", v, read)
	}
}

// ReadPart reads a part file. The error, if any, is [Problems].
func ReadPart(file string, data []byte, sources SourceIDs) (*Part, error) {
	p, _, err := readPart(file, data, sources)
	return p, err
}

// readPart also returns where the file names its kind. After a problem the part
// has what could be read.
func readPart(file string, data []byte, sources SourceIDs) (*Part, *yaml.Node, error) {
	d := &document{file: file}
	p := &Part{broken: true}
	root := d.parse(data)
	if root == nil {
		return p, nil, d.problems.err()
	}
	m := d.mapping(root, "part file")
	kind := m.need("part")
	p.Kind = d.name(kind, "part")
	d.version(m.need("version"))
	p.About = d.text(m.need("about"), "about")
	p.Source = d.source(m.get("source"), sources, "source")
	p.readPins(d, m.get("pins"), "pins")
	outer := slices.Clone(p.Pins)
	p.Inner = p.readPins(d, m.get("inner"), "inner")
	p.readOptional(d, m.get("optional"), outer)
	env := p.readKeys(d, m.get("keys"), sources)
	elements := m.get("elements")
	for _, n := range d.list(elements, "elements") {
		p.readElement(d, n, env)
	}
	p.elementIDs = d.named(elements, p.elementIDs)
	settings, rest := m.get("settings"), m.get("rest")
	sm := d.mapping(settings, "settings")
	for _, name := range sm.keys {
		p.settings = append(p.settings, setting{name, p.readSet(d, sm.get(name), env, "settings "+name)})
	}
	p.rest = d.text(rest, "rest")
	switch {
	case len(sm.keys) == 0 && !d.bad[settings]:
		d.errorf(rest, "rest: the part has no settings")
	case len(sm.keys) > 0 && rest == nil:
		d.errorf(root, "part file: \"rest\" is missing; want one of the settings: %s", strings.Join(sm.keys, ", "))
	case len(sm.keys) > 0 && !slices.Contains(sm.keys, p.rest):
		d.errorf(rest, "rest: want one of the settings%s", oneOf(p.rest, sm.keys))
	}
	shows := m.get("shows")
	for _, n := range d.list(shows, "shows") {
		p.readIndicator(d, n, env)
	}
	p.highest = d.compile(m.get("highest_volts"), env, false, "highest_volts")
	p.driven = d.yes(m.get("driven"), "driven")
	if n := m.get("holds_charge"); n != nil {
		p.capacitor = p.pinPair(d, n, "holds_charge")
	}
	p.wire = d.yes(m.get("wire"), "wire")
	ways := m.get("ways")
	p.ways = d.yes(ways, "ways")
	p.splice = d.yes(m.get("splice"), "splice")
	if bars := m.get("bars"); bars != nil {
		if p.bars = d.yes(bars, "bars"); p.bars && !p.splice {
			d.errorf(bars, "bars: only a splice has bars; say splice: yes")
		}
	}
	for _, n := range d.list(m.need("failures"), "failures") {
		p.readFailure(d, n, env, sources, d.bad[shows])
	}
	m.done()
	if !p.wire && !p.ways && !p.splice && len(p.Pins) == 0 {
		d.errorf(root, "part file: a part needs pins")
	}
	if p.ways && env != nil && !slices.ContainsFunc(p.Keys, Key.ways) {
		d.errorf(ways, "ways: the part needs a whole key \"ways\" of 1 to at most %d", maxWays)
		p.ways = false
	}
	p.broken = len(d.problems) > 0
	return p, kind, d.problems.err()
}

// readPins adds the pins of a list to all pins, and returns them.
func (p *Part) readPins(d *document, n *yaml.Node, what string) []string {
	var pins []string
	for _, x := range d.items(n, what) {
		pin := d.text(x, what)
		if slices.Contains(p.Pins, pin) {
			d.errorf(x, "%s: %q stands twice", what, pin)
		}
		p.Pins = append(p.Pins, pin)
		pins = append(pins, pin)
	}
	p.Pins = d.named(n, p.Pins)
	return pins
}

// readOptional reads the pins that may well have no wire; a list in the list is
// a group.
func (p *Part) readOptional(d *document, n *yaml.Node, outer []string) {
	seen := map[string]bool{}
	for _, g := range d.items(n, "optional") {
		var group []string
		for _, x := range d.items(g, "optional") {
			pin := d.text(x, "optional")
			switch {
			case pin == "":
			case slices.Contains(p.Inner, pin):
				d.errorf(x, "optional: %q is inside the part; no wire goes there anyway", pin)
			case seen[pin]:
				d.errorf(x, "optional: %q stands twice", pin)
			default:
				d.known(x, pin, outer, "optional: there is no pin")
				seen[pin] = true
				group = append(group, pin)
			}
		}
		p.Optional = append(p.Optional, group)
	}
}

// readKeys returns the variables that expressions may use; nil if the keys
// could not be read.
func (p *Part) readKeys(d *document, n *yaml.Node, sources SourceIDs) map[string]any {
	env := map[string]any{}
	m := d.mapping(n, "keys")
	for _, name := range m.keys {
		what := "key " + name
		km := d.mapping(m.get(name), what)
		k := Key{Name: name, About: d.text(km.need("about"), what+": about"), Source: d.source(km.get("source"), sources, what+": source")}
		if unit := km.get("unit"); unit != nil && unit.Value != "" {
			k.Unit = d.text(unit, what+": unit")
		}
		k.Low, k.High = 0, 1
		if x := km.get("yes_no"); x != nil && d.yes(x, what) {
			k.YesNo = true
		} else {
			over, from := km.get("over"), km.get("from")
			if (over == nil) == (from == nil) {
				d.errorf(m.at[name], "%s: want either \"from\" (included) or \"over\" (not included)", what)
			}
			if to := km.need("to"); over != nil {
				k.Low, k.High = d.span(over, to, what, "over")
				k.OverLow = true
			} else {
				k.Low, k.High = d.span(from, to, what, "from")
			}
		}
		k.Whole = d.yes(km.get("whole"), what+": whole")
		if x := km.get("default"); x != nil {
			v := d.key(x, k, what+": default")
			k.Default = &v
		}
		km.done()
		p.Keys = append(p.Keys, k)
		env[name] = 0.0
	}
	if d.bad[n] {
		return nil
	}
	return env
}

// key reads a value of a key.
func (d *document) key(n *yaml.Node, k Key, what string) float64 {
	x, ok := d.number(n, what)
	if !ok {
		return x
	}
	unit := ""
	if k.Unit != "" {
		unit = " " + k.Unit
	}
	switch {
	case k.OverLow && x <= k.Low || x < k.Low || x > k.High:
		over := "from"
		if k.OverLow {
			over = "over"
		}
		d.errorf(n, "%s: %g%s is impossible; want %s %g to %g%s", what, x, unit, over, k.Low, k.High, unit)
	case (k.Whole || k.YesNo) && x != math.Trunc(x):
		d.errorf(n, "%s: want a whole number, not %g", what, x)
	}
	return x
}

func (p *Part) pinPair(d *document, n *yaml.Node, what string) [2]string {
	s := d.names(n, 2, what)
	if len(s) != 2 {
		return [2]string{}
	}
	for i := range s {
		d.known(n.Content[i], s[i], p.Pins, what+": there is no pin")
	}
	if s[0] != "" && s[0] == s[1] {
		d.errorf(n.Content[1], "%s: both ends are on %s", what, s[1])
	}
	return [2]string{s[0], s[1]}
}

// elementTypes are the types of elements, by the key that says their pins.
var elementTypes = []struct {
	key string
	typ circuit.ElementType
}{{"resistance", circuit.Resistance}, {"source", circuit.Source}, {"follower", circuit.Follower}, {"diode", circuit.Diode}, {"mirror", circuit.Mirror}}

func (p *Part) readElement(d *document, n *yaml.Node, env map[string]any) {
	m := d.mapping(n, "element")
	var e element
	id := m.need("id")
	e.ID = d.name(id, "element: id")
	what := "element " + e.ID
	if slices.Contains(p.elementIDs, e.ID) {
		d.errorf(id, "%s: the id stands twice", what)
	}
	p.elementIDs = append(p.elementIDs, e.ID)
	types := 0
	for _, t := range elementTypes {
		if x := m.get(t.key); x != nil {
			types++
			e.Type = t.typ
			pins := p.pinPair(d, x, what)
			e.A, e.B = pins[0], pins[1]
		}
	}
	if types != 1 {
		d.errorf(n, "%s: want one of resistance, source, follower, diode or mirror", what)
	}
	switch e.Type {
	case circuit.Diode:
		e.drop = d.compile(m.need("drop"), env, false, what+": drop")
		e.amps = d.compile(m.need("at_amps"), env, false, what+": at_amps")
		e.ideality = d.compile(m.get("ideality"), env, false, what+": ideality")
	case circuit.Mirror:
		of := m.need("mirrors")
		e.Mirrors = d.text(of, what+": mirrors")
		if of != nil {
			d.known(of, e.Mirrors, p.elementIDs[:len(p.elementIDs)-1], what+": mirrors: there is before it no element")
		}
	default:
		e.ohms = d.compile(m.need("ohms"), env, false, what+": ohms")
	}
	e.off = d.compile(m.get("off_ohms"), env, false, what+": off_ohms")
	e.cold = d.compile(m.get("cold_ohms"), env, false, what+": cold_ohms")
	e.coldTolerance = d.compile(m.get("cold_tolerance"), env, false, what+": cold_tolerance")
	e.volts = d.compile(m.get("volts"), env, false, what+": volts")
	e.gain = d.compile(m.get("gain"), env, false, what+": gain")
	e.limit = d.compile(m.get("limit"), env, false, what+": limit")
	e.blows = d.compile(m.get("blows"), env, false, what+": blows")
	e.tolerance = d.compile(m.get("tolerance"), env, false, what+": tolerance")
	e.Supply = d.yes(m.get("supply"), what+": supply")
	if x := m.get("of"); x != nil {
		e.Of = p.pinPair(d, x, what+": of")
	} else if e.Type == circuit.Follower {
		d.errorf(n, "%s: a follower needs \"of\", the pins whose voltage it follows", what)
	}
	whens := []*yaml.Node{m.get("when")}
	if whens[0] == nil {
		whens = nil
	} else if whens[0].Kind == yaml.SequenceNode {
		whens = whens[0].Content
	}
	for _, x := range whens {
		wm := d.mapping(x, what+": when")
		e.When = append(e.When, circuit.Threshold{Between: p.pinPair(d, wm.need("between"), what+": between")})
		above, below := wm.get("above"), wm.get("below")
		if above == nil && below == nil {
			d.errorf(x, "%s: when: want \"above\", \"below\" or both", what)
		}
		e.above = append(e.above, d.compile(above, env, false, what+": above"))
		e.below = append(e.below, d.compile(below, env, false, what+": below"))
		wm.done()
	}
	m.done()
	p.elements = append(p.elements, e)
}

func (p *Part) readSet(d *document, n *yaml.Node, env map[string]any, what string) []values {
	var set []values
	m := d.mapping(n, what)
	for _, id := range m.keys {
		d.known(m.at[id], id, p.elementIDs, what+": there is no element")
		vm := d.mapping(m.get(id), what)
		set = append(set, values{
			element: id,
			ohms:    d.compile(vm.get("ohms"), env, false, what+": ohms"),
			volts:   d.compile(vm.get("volts"), env, false, what+": volts"),
			gain:    d.compile(vm.get("gain"), env, false, what+": gain"),
			cut:     d.yes(vm.get("cut"), what+": cut"),
		})
		vm.done()
	}
	return set
}

func (p *Part) readIndicator(d *document, n *yaml.Node, env map[string]any) {
	m := d.mapping(n, "shows")
	var in indicator
	in.ID = d.text(m.get("id"), "shows: id")
	watts, amps, volts := m.get("watts"), m.get("amps"), m.get("volts")
	given := 0
	for _, x := range []*yaml.Node{watts, amps, volts} {
		if x != nil {
			given++
		}
	}
	if given != 1 {
		d.errorf(n, "shows: want one of \"watts\" (an element), \"amps\" (an element) or \"volts\" (two pins)")
	}
	in.Watts, in.Amps = d.text(watts, "shows: watts"), d.text(amps, "shows: amps")
	for _, x := range []*yaml.Node{watts, amps} {
		if x != nil {
			d.known(x, x.Value, p.elementIDs, "shows: there is no element")
		}
	}
	if volts != nil {
		in.Volts = p.pinPair(d, volts, "shows: volts")
	}
	in.per = d.compile(m.get("per"), env, false, "shows: per")
	bandsNode := m.need("bands")
	bands := d.list(bandsNode, "shows: bands")
	for i, b := range bands {
		bm := d.mapping(b, "band")
		in.Bands = append(in.Bands, circuit.Band{Is: d.text(bm.need("is"), "band: is")})
		under := bm.get("under")
		if (under == nil) != (i == len(bands)-1) {
			d.errorf(b, "band: every band but the last has \"under\"")
		}
		in.under = append(in.under, d.compile(under, env, false, "band: under"))
		bm.done()
	}
	if len(bands) < 2 {
		d.errorf(bandsNode, "shows: want at least two bands")
	}
	m.done()
	p.indicators = append(p.indicators, in)
}

// readFailure reads a mode of failure; blind means that what the part shows
// could not be read.
func (p *Part) readFailure(d *document, n *yaml.Node, env map[string]any, sources SourceIDs, blind bool) {
	m := d.mapping(n, "failure")
	var f failure
	mode := m.need("mode")
	f.Mode = d.text(mode, "failure: mode")
	what := "failure " + f.Mode
	if slices.ContainsFunc(p.failures, func(x failure) bool { return x.Mode == f.Mode }) {
		d.errorf(mode, "%s: the mode stands twice", what)
	}
	f.Odds = d.within(m.need("odds"), 0, mostOdds, what+": odds")
	f.changedOdds = f.Odds
	if x := m.get("changed_odds"); x != nil {
		f.changedOdds = d.within(x, 0, mostOdds, what+": changed_odds")
	}
	f.Source = d.source(m.need("source"), sources, what+": source")
	f.Repair = d.text(m.need("repair"), what+": repair")
	f.Cautions = d.texts(m.get("cautions"), what+": cautions")
	if x := m.get("says"); x != nil {
		sm := d.mapping(x, what+": says")
		f.Says = map[string]string{}
		for _, id := range sm.keys {
			f.Says[id] = d.text(sm.get(id), what+": says")
			switch i := slices.IndexFunc(p.indicators, func(in indicator) bool { return in.ID == id }); {
			case blind:
			case i < 0:
				d.errorf(sm.at[id], "%s: says: the part shows nothing of the id %q", what, id)
			default:
				d.known(sm.get(id), f.Says[id], p.indicators[i].Words(), what+": says: the part never shows")
			}
		}
	}
	if x := m.get("add_ohms"); x != nil {
		f.AddOhms = map[string][2]float64{}
		if x.Kind == yaml.SequenceNode {
			f.AddOhms[""] = d.ohmRange(x, what+": add_ohms")
		} else {
			am := d.mapping(x, what+": add_ohms")
			if len(am.keys) != 1 {
				d.errorf(x, "%s: add_ohms: want one element", what)
			}
			for _, id := range am.keys {
				d.known(am.at[id], id, p.elementIDs, what+": there is no element")
				f.AddOhms[id] = d.ohmRange(am.get(id), what+": add_ohms")
			}
		}
	}
	if x := m.get("times_ohms"); x != nil {
		f.TimesOhms = d.rising(x, 1, mostTimesOhms, what+": times_ohms", "[lowest, highest] in times the wire's own")
		if !p.wire {
			d.errorf(x, "%s: times_ohms: only a wire has it", what)
		}
	}
	one := variant{set: p.readSet(d, m.get("set"), env, what+": set"), bridge: p.readBridge(d, m.get("bridge"), what)}
	if len(one.set)+len(one.bridge) > 0 {
		f.variants = append(f.variants, one)
	}
	for _, x := range d.list(m.get("variants"), what+": variants") {
		vm := d.mapping(x, what+": variant")
		f.variants = append(f.variants, variant{set: p.readSet(d, vm.get("set"), env, what+": set"), bridge: p.readBridge(d, vm.get("bridge"), what)})
		vm.done()
	}
	f.Spread = d.yes(m.get("spread"), what+": spread")
	m.done()
	p.failures = append(p.failures, f)
}

func (p *Part) readBridge(d *document, n *yaml.Node, what string) [][2]string {
	var out [][2]string
	for _, x := range d.list(n, what+": bridge") {
		out = append(out, p.pinPair(d, x, what+": bridge"))
	}
	return out
}

func (d *document) ohmRange(n *yaml.Node, what string) [2]float64 {
	return d.rising(n, leastAddOhms, mostAddOhms, what, "[lowest, highest] in ohm")
}

// rising reads a range of two rising values within two bounds.
func (d *document) rising(n *yaml.Node, least, most float64, what, want string) [2]float64 {
	items := d.list(n, what)
	if len(items) != 2 {
		d.errorf(n, "%s: want %s", what, want)
		return [2]float64{}
	}
	low := d.within(items[0], least, most, what)
	high := d.within(items[1], least, most, what)
	if high <= low && d.sound(items[0]) && d.sound(items[1]) {
		d.errorf(n, "%s: the highest is above the lowest", what)
	}
	return [2]float64{low, high}
}

// evaluator evaluates expressions and keeps the first error.
type evaluator struct {
	env map[string]any
	err error
}

func (ev *evaluator) number(e *expression, low, high float64, what string) float64 {
	x, err := e.number(ev.env)
	if err == nil && e != nil && !(x >= low && x <= high) {
		err = fmt.Errorf("%s comes out as %g; want %g to %g", what, x, low, high)
	}
	if err != nil && ev.err == nil {
		ev.err = err
	}
	return x
}

const most = 1e12

func (ev *evaluator) values(v values, base circuit.Values) circuit.Values {
	if v.ohms != nil {
		base.Ohms = ev.number(v.ohms, 0, most, v.element+": ohms")
	}
	if v.volts != nil {
		base.Volts = ev.number(v.volts, -most, most, v.element+": volts")
	}
	if v.gain != nil {
		base.Gain = ev.number(v.gain, -most, most, v.element+": gain")
	}
	base.Cut = base.Cut || v.cut
	return base
}

// make works out a part of this kind from the values of its keys.
func (p *Part) make(name string, keys map[string]float64) (circuit.Part, error) {
	ev := &evaluator{env: map[string]any{}}
	for k, v := range keys {
		ev.env[k] = v
	}
	out := circuit.Part{Name: name, Kind: p.Kind, Pins: slices.Clone(p.Pins), Inner: p.Inner, Optional: p.Optional, Rest: p.rest, Splice: p.splice, Bars: p.bars, Driven: p.driven, Capacitor: p.capacitor}
	base := map[string]circuit.Values{}
	for _, e := range p.elements {
		c := e.Element
		c.Ohms = ev.number(e.ohms, 0, most, e.ID+": ohms")
		c.ColdOhms = ev.number(e.cold, 0, most, e.ID+": cold_ohms")
		c.ColdTolerance = ev.number(e.coldTolerance, 0, 1, e.ID+": cold_tolerance")
		c.Volts = ev.number(e.volts, -most, most, e.ID+": volts")
		c.Gain = ev.number(e.gain, -most, most, e.ID+": gain")
		c.Limit = ev.number(e.limit, 0, most, e.ID+": limit")
		c.Blows = ev.number(e.blows, 0, most, e.ID+": blows")
		c.Tolerance = ev.number(e.tolerance, 0, 1, e.ID+": tolerance")
		c.OffOhms = ev.number(e.off, 0, most, e.ID+": off_ohms")
		if e.Type == circuit.Diode {
			n := 1.0
			if e.ideality != nil {
				n = ev.number(e.ideality, 0.5, 20, e.ID+": ideality")
			}
			drop := ev.number(e.drop, 0.05, 100, e.ID+": drop")
			amps := ev.number(e.amps, 1e-6, 1000, e.ID+": at_amps")
			c.Saturation, c.Slope = circuit.Junction(drop, amps, n)
		}
		c.When = slices.Clone(e.When)
		for i := range c.When {
			c.When[i].Above, c.When[i].Below = math.Inf(-1), math.Inf(1)
			if e.above[i] != nil {
				c.When[i].Above = ev.number(e.above[i], -most, most, e.ID+": above")
			}
			if e.below[i] != nil {
				c.When[i].Below = ev.number(e.below[i], -most, most, e.ID+": below")
			}
		}
		base[c.ID] = c.Values
		out.Elements = append(out.Elements, c)
	}
	if len(p.settings) > 0 {
		out.Settings = map[string]circuit.Setting{}
	}
	for _, s := range p.settings {
		set := circuit.Setting{}
		for _, v := range s.set {
			set[v.element] = ev.values(v, base[v.element])
		}
		out.Settings[s.name] = set
	}
	for _, in := range p.indicators {
		c := in.Indicator
		c.Per = ev.number(in.per, 0, most, "shows: per")
		c.Bands = slices.Clone(in.Bands)
		for i, u := range in.under {
			c.Bands[i].Under = ev.number(u, -most, most, "shows: under")
			if i > 0 && u != nil && c.Bands[i].Under <= c.Bands[i-1].Under && ev.err == nil {
				ev.err = fmt.Errorf("the band %q lies under the one before it", c.Bands[i].Is)
			}
		}
		out.Indicators = append(out.Indicators, c)
	}
	changed := keys["regendered"] != 0
	for _, f := range p.failures {
		c := f.Failure
		if changed {
			c.Odds = f.changedOdds
		}
		c.Variants = nil
		for _, v := range f.variants {
			a := circuit.Alteration{Set: map[string]circuit.Values{}, Bridge: v.bridge}
			for _, s := range v.set {
				a.Set[s.element] = ev.values(s, base[s.element])
			}
			c.Variants = append(c.Variants, a)
		}
		out.Failures = append(out.Failures, c)
	}
	out.HighestVolts = ev.number(p.highest, 0, most, "highest_volts")
	if p.ways {
		out.Ways, out.Rows = int(keys["ways"]), int(keys["rows"])
		for i := 1; i <= out.Ways; i++ {
			out.Pins = append(out.Pins, fmt.Sprintf("%da", i), fmt.Sprintf("%db", i))
		}
	}
	return out, ev.err
}

func sorted(s []string) []string {
	slices.Sort(s)
	return s
}
