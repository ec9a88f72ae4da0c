package rules

import (
	"fmt"
	"math"
	"slices"

	"gopkg.in/yaml.v3"

	"probable/engine/circuit"
)

// Version is the version of the rule language that this program reads.
const Version = 1

// Part is a kind of part: what kb/parts describes, its values still expressions.
type Part struct {
	Kind  string
	About string
	Pins  []string
	Keys  []Key

	file       string
	elements   []element
	settings   []setting
	rest       string
	indicators []indicator
	failures   []failure
	highest    *expression
	driven     bool
	capacitor  [2]string
	wire       bool
	splice     bool
	ways       bool
}

// Key is a value that a harness gives a part of the kind.
type Key struct {
	Name, Unit, About string
	Low, High         float64
	OverLow           bool // Low itself is not allowed
	Whole, YesNo      bool
	Default           *float64 // nil: it must be given
}

type element struct {
	circuit.Element                                         // with what is not an expression
	ohms, volts, gain, cold, limit, above, blows, tolerance *expression
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
type SourceIDs map[string]bool

// source checks the source of a figure.
func (d *document) source(n *yaml.Node, known SourceIDs, what string) string {
	s := d.text(n, what)
	if n != nil && s != "" && s != "practice" && s != "memory" && !known[s] {
		d.errorf(n, "%s: no source %q in sources.yaml; use one from there, practice or memory", what, s)
	}
	return s
}

// version checks a file's version.
func (d *document) version(n *yaml.Node, what string) {
	v, ok := d.number(n, what)
	switch {
	case !ok:
	case v > Version:
		d.errorf(n, "%s: version %g is newer than this program reads (%d); use a newer program", what, v, Version)
	case v < 1 || v != math.Trunc(v):
		d.errorf(n, "%s: there is no version %g; the present one is %d", what, v, Version)
	}
}

// ReadPart reads a part file. The error, if any, is [Problems].
func ReadPart(file string, data []byte, sources SourceIDs) (*Part, error) {
	d := &document{file: file}
	root := d.parse(data)
	if root == nil {
		return nil, d.problems.err()
	}
	m := d.mapping(root, "part file")
	p := &Part{file: file}
	p.Kind = d.name(m.need("part"), "part")
	d.version(m.need("version"), "version")
	p.About = d.text(m.need("about"), "about")
	p.Pins = d.texts(m.get("pins"), "pins")
	env := p.readKeys(d, m.get("keys"))
	for _, n := range d.list(m.get("elements"), "elements") {
		p.readElement(d, n, env)
	}
	sm := d.mapping(m.get("settings"), "settings")
	for _, name := range sm.keys {
		p.settings = append(p.settings, setting{name, p.readSet(d, sm.get(name), env, "settings "+name)})
	}
	rest := m.get("rest")
	p.rest = d.text(rest, "rest")
	if len(p.settings) > 0 && !slices.ContainsFunc(p.settings, func(s setting) bool { return s.name == p.rest }) {
		d.errorf(rest, "rest: want one of the settings; %s", oneOf(p.rest, sm.keys))
	}
	for _, n := range d.list(m.get("shows"), "shows") {
		p.readIndicator(d, n, env)
	}
	p.highest = d.compile(m.get("highest_volts"), env, false, "highest_volts")
	p.driven = d.yes(m.get("driven"), "driven")
	if n := m.get("holds_charge"); n != nil {
		p.capacitor = p.pinPair(d, n, "holds_charge")
	}
	p.wire = d.yes(m.get("wire"), "wire")
	if n := m.get("ways"); n != nil {
		p.ways = d.yes(n, "ways")
	}
	p.splice = d.yes(m.get("splice"), "splice")
	for _, n := range d.list(m.need("failures"), "failures") {
		p.readFailure(d, n, env, sources)
	}
	m.done()
	if !p.wire && !p.ways && !p.splice && len(p.Pins) == 0 {
		d.errorf(root, "part file: a part needs pins")
	}
	return p, d.problems.err()
}

func (p *Part) readKeys(d *document, n *yaml.Node) map[string]any {
	env := map[string]any{}
	m := d.mapping(n, "keys")
	for _, name := range m.keys {
		what := "key " + name
		km := d.mapping(m.get(name), what)
		k := Key{Name: name, Unit: d.text(km.get("unit"), what+": unit"), About: d.text(km.need("about"), what+": about")}
		k.Low, k.High = 0, 1
		if x := km.get("yes_no"); x != nil && d.yes(x, what) {
			k.YesNo = true
		} else {
			over, from := km.get("over"), km.get("from")
			if (over == nil) == (from == nil) {
				d.errorf(m.at[name], "%s: want either \"from\" (included) or \"over\" (not included)", what)
			}
			if over != nil {
				k.Low, _ = d.number(over, what+": over")
				k.OverLow = true
			} else if from != nil {
				k.Low, _ = d.number(from, what+": from")
			}
			k.High, _ = d.number(km.need("to"), what+": to")
		}
		k.Whole = d.yes(km.get("whole"), what+": whole")
		if x := km.get("default"); x != nil {
			v, _ := d.number(x, what+": default")
			k.Default = &v
		}
		km.done()
		p.Keys = append(p.Keys, k)
		env[name] = 0.0
	}
	return env
}

func (p *Part) pin(d *document, n *yaml.Node, s, what string) {
	if s != "" && !slices.Contains(p.Pins, s) {
		d.errorf(n, "%s: there is no pin %q; %s", what, s, oneOf(s, p.Pins))
	}
}

func (p *Part) pinPair(d *document, n *yaml.Node, what string) [2]string {
	s := d.names(n, 2, what)
	if len(s) != 2 {
		return [2]string{}
	}
	for i := range s {
		p.pin(d, n.Content[i], s[i], what)
	}
	return [2]string{s[0], s[1]}
}

func (p *Part) readElement(d *document, n *yaml.Node, env map[string]any) {
	m := d.mapping(n, "element")
	var e element
	e.ID = d.name(m.need("id"), "element: id")
	what := "element " + e.ID
	if slices.ContainsFunc(p.elements, func(x element) bool { return x.ID == e.ID }) {
		d.errorf(n, "%s: the id stands twice", what)
	}
	types := 0
	for _, t := range []struct {
		key string
		typ circuit.ElementType
	}{{"resistance", circuit.Resistance}, {"source", circuit.Source}, {"follower", circuit.Follower}} {
		if x := m.get(t.key); x != nil {
			types++
			e.Type = t.typ
			pins := p.pinPair(d, x, what)
			e.A, e.B = pins[0], pins[1]
		}
	}
	if types != 1 {
		d.errorf(n, "%s: want one of resistance, source or follower", what)
	}
	e.ohms = d.compile(m.need("ohms"), env, false, what+": ohms")
	e.cold = d.compile(m.get("cold_ohms"), env, false, what+": cold_ohms")
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
	if x := m.get("when"); x != nil {
		wm := d.mapping(x, what+": when")
		e.When = &circuit.Threshold{Between: p.pinPair(d, wm.need("between"), what+": between")}
		e.above = d.compile(wm.need("above"), env, false, what+": above")
		wm.done()
	}
	m.done()
	p.elements = append(p.elements, e)
}

func (p *Part) readSet(d *document, n *yaml.Node, env map[string]any, what string) []values {
	var set []values
	m := d.mapping(n, what)
	for _, id := range m.keys {
		if !slices.ContainsFunc(p.elements, func(e element) bool { return e.ID == id }) {
			d.errorf(m.at[id], "%s: there is no element %q", what, id)
		}
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
	watts, volts := m.get("watts"), m.get("volts")
	if (watts == nil) == (volts == nil) {
		d.errorf(n, "shows: want either \"watts\" (an element) or \"volts\" (two pins)")
	}
	if watts != nil {
		in.Watts = d.text(watts, "shows: watts")
		if !slices.ContainsFunc(p.elements, func(e element) bool { return e.ID == in.Watts }) {
			d.errorf(watts, "shows: there is no element %q", in.Watts)
		}
	} else if volts != nil {
		in.Volts = p.pinPair(d, volts, "shows: volts")
	}
	in.per = d.compile(m.get("per"), env, false, "shows: per")
	bands := d.list(m.need("bands"), "shows: bands")
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
		d.errorf(n, "shows: want at least two bands")
	}
	m.done()
	p.indicators = append(p.indicators, in)
}

func (p *Part) readFailure(d *document, n *yaml.Node, env map[string]any, sources SourceIDs) {
	m := d.mapping(n, "failure")
	var f failure
	f.Mode = d.text(m.need("mode"), "failure: mode")
	what := "failure " + f.Mode
	if slices.ContainsFunc(p.failures, func(x failure) bool { return x.Mode == f.Mode }) {
		d.errorf(n, "%s: the mode stands twice", what)
	}
	f.Odds = d.within(m.need("odds"), 0, 1000, what+": odds")
	f.changedOdds = f.Odds
	if x := m.get("changed_odds"); x != nil {
		f.changedOdds = d.within(x, 0, 1000, what+": changed_odds")
	}
	f.Source = d.source(m.need("source"), sources, what+": source")
	f.Repair = d.text(m.need("repair"), what+": repair")
	f.Cautions = d.texts(m.get("cautions"), what+": cautions")
	if x := m.get("says"); x != nil {
		sm := d.mapping(x, what+": says")
		f.Says = map[string]string{}
		for _, id := range sm.keys {
			f.Says[id] = d.text(sm.get(id), what+": says")
			i := slices.IndexFunc(p.indicators, func(in indicator) bool { return in.ID == id })
			if i < 0 || !slices.Contains(p.indicators[i].Words(), f.Says[id]) {
				d.errorf(sm.at[id], "%s: the part never shows %q", what, f.Says[id])
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
				if !slices.ContainsFunc(p.elements, func(e element) bool { return e.ID == id }) {
					d.errorf(am.at[id], "%s: there is no element %q", what, id)
				}
				f.AddOhms[id] = d.ohmRange(am.get(id), what+": add_ohms")
			}
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
	items := d.list(n, what)
	if len(items) != 2 {
		d.errorf(n, "%s: want [lowest, highest] in ohm", what)
		return [2]float64{1, 100}
	}
	low := d.within(items[0], 1e-3, 1e6, what)
	high := d.within(items[1], 1e-3, 1e6, what)
	if high <= low {
		d.errorf(n, "%s: the highest is above the lowest", what)
		return [2]float64{1, 100}
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
	out := circuit.Part{Name: name, Kind: p.Kind, Pins: slices.Clone(p.Pins), Rest: p.rest, Splice: p.splice, Driven: p.driven, Capacitor: p.capacitor}
	base := map[string]circuit.Values{}
	for _, e := range p.elements {
		c := e.Element
		c.Ohms = ev.number(e.ohms, 0, most, e.ID+": ohms")
		c.ColdOhms = ev.number(e.cold, 0, most, e.ID+": cold_ohms")
		c.Volts = ev.number(e.volts, -most, most, e.ID+": volts")
		c.Gain = ev.number(e.gain, -most, most, e.ID+": gain")
		c.Limit = ev.number(e.limit, 0, most, e.ID+": limit")
		c.Blows = ev.number(e.blows, 0, most, e.ID+": blows")
		c.Tolerance = ev.number(e.tolerance, 0, 1, e.ID+": tolerance")
		if e.When != nil {
			w := *e.When
			w.Above = ev.number(e.above, -most, most, e.ID+": above")
			c.When = &w
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
