package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"probable/engine/circuit"
)

// Bounds of a harness.
const (
	maxParts = 5000
	maxWires = 10000
	maxPins  = 20000

	leastMetres, mostMetres   = 0.001, 1000
	leastCelsius, mostCelsius = -60, 200
)

// What a wire is taken for where the drawing does not say (common practice,
// no source).
const (
	defaultGauge   = "20 AWG"
	defaultMetres  = 0.5
	defaultCelsius = 25
)

// harnessReader reads one harness file over the kinds of parts.
type harnessReader struct {
	*document
	base *Base
	h    *circuit.Harness
	pins map[string]bool

	wired    bool // the wires could be read
	drawn    bool // the parts could be read
	settable bool // the states could be read
}

// Harness reads a harness file with this base's kinds of parts. The error, if
// any, is [Problems].
func (b *Base) Harness(file string, data []byte) (*circuit.Harness, error) {
	r := &harnessReader{document: &document{file: file}, base: b, h: &circuit.Harness{NoAccess: map[string]bool{}}, pins: map[string]bool{}}
	root := r.parse(data)
	if root == nil {
		return nil, r.problems.err()
	}
	m := r.mapping(root, "harness file")
	r.h.Name = r.text(m.need("harness"), "harness")
	if v := m.get("version"); v != nil {
		r.version(v)
	}
	m.get("about")
	r.h.Celsius = defaultCelsius
	if n := m.get("celsius"); n != nil {
		r.h.Celsius = r.within(n, leastCelsius, mostCelsius, "celsius")
	}
	ground := m.need("ground")
	wiresNode := m.get("wires")
	wires := r.list(wiresNode, "wires")
	r.wired = !r.bad[wiresNode]
	r.drawn = r.parts(m.need("parts"), wires)
	for _, n := range wires {
		r.wire(n)
	}
	r.h.Ground = r.text(ground, "ground")
	r.pin(ground, r.h.Ground, "ground")
	for _, n := range r.list(m.get("no_access"), "no_access") {
		pin := r.text(n, "no_access")
		r.pin(n, pin, "no_access")
		r.h.NoAccess[pin] = true
	}
	if r.h.NoAccess[r.h.Ground] {
		r.errorf(ground, "ground: a probe must reach the ground pin; name another one that it can reach")
	}
	states := m.get("states")
	r.states(states)
	r.settable = !r.bad[states]
	for _, n := range r.list(m.get("symptoms"), "symptoms") {
		r.symptom(n)
	}
	m.done()
	if err := r.problems.err(); err != nil {
		return nil, err
	}
	return r.h, nil
}

// parts reads the parts and tells whether all of them are known.
func (r *harnessReader) parts(n *yaml.Node, wires []*yaml.Node) bool {
	m := r.mapping(n, "parts")
	if len(m.keys) > maxParts {
		r.errorf(n, "parts: %d of them; the most is %d", len(m.keys), maxParts)
		return false
	}
	for _, name := range m.keys {
		if !nameForm.MatchString(name) {
			r.errorf(m.at[name], "parts: %q is not a name; use letters, digits, - and _, no spaces", name)
		}
		r.readPart(name, m.at[name], m.get(name), wires)
		if len(r.pins) > maxPins {
			r.errorf(m.at[name], "parts: more than %d pins in one harness", maxPins)
			return false
		}
	}
	return r.sound(n)
}

// partNames are the names of the parts.
func (r *harnessReader) partNames() []string {
	var names []string
	for _, p := range r.h.Parts {
		names = append(names, p.Name)
	}
	if !r.drawn {
		names = append(names, "")
	}
	return names
}

func (r *harnessReader) readPart(name string, at, n *yaml.Node, wires []*yaml.Node) {
	what := "part " + name
	m := r.mapping(n, what)
	kindNode := m.need("kind")
	kindName := r.text(kindNode, what+": kind")
	kind := r.base.Part(kindName)
	if !r.known(kindNode, kindName, r.base.Kinds(), what+": there is no kind") {
		// The part is there, and may be anything.
		r.h.Parts = append(r.h.Parts, circuit.Part{Name: name})
		return
	}
	keys := map[string]float64{}
	before := len(r.problems)
	for _, k := range kind.Keys {
		v := m.get(k.Name)
		was := len(r.problems)
		switch {
		case v == nil && k.Default != nil:
			keys[k.Name] = *k.Default
		case v == nil:
			r.errorf(at, "%s: a %s needs %q: %s", what, kind.Kind, k.Name, k.About)
		case k.YesNo:
			keys[k.Name] = 0
			if r.yes(v, what+": "+k.Name) {
				keys[k.Name] = 1
			}
		default:
			keys[k.Name] = r.key(v, k, what+": "+k.Name)
		}
		if len(r.problems) > was {
			keys[k.Name] = k.High // so that the part has all pins that it may have
		}
	}
	m.done()
	p, err := kind.make(name, keys)
	if err != nil && len(r.problems) == before {
		r.errorf(at, "%s: %v", what, err)
	}
	if kind.splice {
		p.Pins = r.splicePins(name, wires)
		if len(p.Pins) == 0 && r.wired {
			r.errorf(at, "%s: no wire goes to this splice", what)
		}
	}
	for _, pin := range p.Pins {
		if slices.Contains(kind.Inner, pin) {
			r.h.NoAccess[name+"."+pin] = true
			continue
		}
		r.pins[name+"."+pin] = true
	}
	r.h.Parts = append(r.h.Parts, p)
}

// splicePins are the names that the wires use for a splice's joints.
func (r *harnessReader) splicePins(name string, wires []*yaml.Node) []string {
	var pins []string
	for _, w := range wires {
		for i := 0; i+1 < len(w.Content) && w.Kind == yaml.MappingNode; i += 2 {
			if k := w.Content[i].Value; k != "from" && k != "to" {
				continue
			}
			part, pin, _ := strings.Cut(w.Content[i+1].Value, ".")
			if part == name && nameForm.MatchString(pin) && !slices.Contains(pins, pin) {
				pins = append(pins, pin)
			}
		}
	}
	return pins
}

// pin reports a pin that is not there.
func (r *harnessReader) pin(n *yaml.Node, pin, what string) {
	if pin == "" || r.pins[pin] {
		return
	}
	part, name, dotted := strings.Cut(pin, ".")
	if !dotted || part == "" || name == "" {
		r.errorf(n, "%s: %q is not a pin; write part.pin", what, pin)
	} else if p := r.part(n, part, what); p != nil {
		if slices.Contains(p.Inner, name) {
			r.errorf(n, "%s: %q is inside %s; neither wire nor probe gets there", what, name, part)
			return
		}
		r.known(n, name, p.OuterPins(), fmt.Sprintf("%s: a %s has no pin", what, p.Kind))
	}
}

// part returns the part of that name if anything can be said of it; it reports
// one that is not there.
func (r *harnessReader) part(n *yaml.Node, name, what string) *circuit.Part {
	if p := r.h.Part(name); p != nil && p.Kind != "" {
		return p
	}
	r.known(n, name, r.partNames(), what+": there is no part")
	return nil
}

func (r *harnessReader) wire(n *yaml.Node) {
	m := r.mapping(n, "wire")
	nameNode := m.need("name")
	w := circuit.Wire{Name: r.name(nameNode, "wire: name")}
	what := "wire " + w.Name
	from, to := m.need("from"), m.need("to")
	w.From, w.To = r.text(from, what+": from"), r.text(to, what+": to")
	gauge, metres := m.get("gauge"), m.get("metres")
	w.Gauge, w.GaugeAssumed = defaultGauge, gauge == nil
	if gauge != nil {
		w.Gauge = r.text(gauge, what+": gauge")
	}
	w.Metres, w.MetresAssumed = defaultMetres, metres == nil
	if metres != nil {
		w.Metres = r.within(metres, leastMetres, mostMetres, what+": metres")
	}
	w.Colour = r.text(m.get("colour"), what+": colour")
	m.done()
	if n.Kind != yaml.MappingNode {
		return
	}
	if len(r.h.Wires) >= maxWires {
		r.errorf(n, "wires: more than %d", maxWires)
		return
	}
	r.pin(from, w.From, what+": from")
	r.pin(to, w.To, what+": to")
	if w.From != "" && w.From == w.To {
		r.errorf(to, "%s: both ends are on %s", what, w.To)
	}
	if slices.ContainsFunc(r.h.Wires, func(x circuit.Wire) bool { return x.Name == w.Name }) {
		r.errorf(nameNode, "%s: there is another wire of that name", what)
	}
	area, err := circuit.Gauge(w.Gauge)
	if err != nil {
		r.errorf(gauge, "%s: %v", what, err)
	} else {
		w.Ohms = circuit.CopperOhms(area, w.Metres, r.h.Celsius)
	}
	if kind := r.base.Part("wire"); kind != nil {
		for _, f := range kind.failures {
			w.Failures = append(w.Failures, f.Failure)
		}
	}
	r.h.Wires = append(r.h.Wires, w)
}

func (r *harnessReader) states(n *yaml.Node) {
	m := r.mapping(n, "states")
	for _, name := range m.keys {
		what := "state " + name
		if name == "" {
			r.errorf(m.at[name], "states: a state needs a name")
		}
		s := circuit.State{Name: name, Settings: map[string]string{}}
		sm := r.mapping(m.get(name), what)
		for _, part := range sm.keys {
			v := sm.get(part)
			p, set := r.part(sm.at[part], part, what), r.text(v, what)
			switch {
			case p == nil:
			case len(p.Settings) == 0:
				r.errorf(v, "%s: a %s has no settings", what, p.Kind)
			case r.known(v, set, slices.Sorted(maps.Keys(p.Settings)), fmt.Sprintf("%s: a %s has no setting", what, p.Kind)):
				s.Settings[part] = set
			}
		}
		r.h.States = append(r.h.States, s)
	}
}

func (r *harnessReader) symptom(n *yaml.Node) {
	m := r.mapping(n, "symptom")
	idNode := m.need("id")
	s := circuit.Symptom{ID: r.text(idNode, "symptom: id"), Shows: map[string][]string{}}
	what := "symptom " + s.ID
	if _, dup := r.h.Symptom(s.ID); dup {
		r.errorf(idNode, "%s: there is another symptom of that id", what)
	}
	if x := m.get("state"); x != nil {
		s.State = r.text(x, what+": state")
		var names []string
		for _, st := range r.h.States {
			names = append(names, st.Name)
		}
		if r.settable {
			r.known(x, s.State, names, what+": there is no state")
		}
	}
	guide := m.get("guide")
	s.Guide = r.text(guide, what+": guide")
	r.known(guide, s.Guide, r.base.GuideIDs(), what+": there is no guide")
	if x := m.get("comes_and_goes"); x != nil {
		s.ComesAndGoes = r.yes(x, what+": comes_and_goes")
	}
	shows := m.need("shows")
	sm := r.mapping(shows, what+": shows")
	if len(sm.keys) == 0 {
		r.errorf(shows, "%s: shows: name at least one part and what it does", what)
	}
	for _, name := range sm.keys {
		v := sm.get(name)
		p, in := r.h.Indicator(name)
		switch {
		case in != nil:
			s.Shows[name] = r.words(v, in.Words(), what+": shows: "+name, what+": "+name+" never shows")
		case p != nil && p.Kind == "" || p == nil && !r.drawn:
			// Nobody knows what it shows.
		default:
			r.errorf(sm.at[name], "%s: %q shows nothing that one can see%s", what, name, oneOf(name, r.h.Indicators()))
		}
	}
	m.done()
	r.h.Symptoms = append(r.h.Symptoms, s)
}
