package rules

import (
	"fmt"
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
		r.version(v, "version")
	}
	m.get("about")
	celsius := float64(defaultCelsius)
	if n := m.get("celsius"); n != nil {
		celsius = r.within(n, -60, 200, "celsius")
	}
	ground := m.need("ground")
	wires := r.list(m.get("wires"), "wires")
	r.parts(m.need("parts"), wires)
	for _, n := range wires {
		r.wire(n, celsius)
	}
	r.h.Ground = r.text(ground, "ground")
	if ground != nil {
		r.pin(ground, r.h.Ground, "ground")
	}
	for _, n := range r.list(m.get("no_access"), "no_access") {
		pin := r.text(n, "no_access")
		r.pin(n, pin, "no_access")
		r.h.NoAccess[pin] = true
	}
	if r.h.NoAccess[r.h.Ground] {
		r.errorf(ground, "ground: a probe must reach the ground pin; name another one that it can reach")
	}
	r.states(m.get("states"))
	for _, n := range r.list(m.get("symptoms"), "symptoms") {
		r.symptom(n)
	}
	m.done()
	if err := r.problems.err(); err != nil {
		return nil, err
	}
	return r.h, nil
}

func (r *harnessReader) parts(n *yaml.Node, wires []*yaml.Node) {
	m := r.mapping(n, "parts")
	if len(m.keys) > maxParts {
		r.errorf(n, "parts: %d of them; the most is %d", len(m.keys), maxParts)
		return
	}
	for _, name := range m.keys {
		if !nameForm.MatchString(name) {
			r.errorf(m.at[name], "parts: %q is not a name; use letters, digits, - and _, no spaces", name)
			continue
		}
		r.part(name, m.at[name], m.get(name), wires)
		if len(r.pins) > maxPins {
			r.errorf(m.at[name], "parts: more than %d pins in one harness", maxPins)
			return
		}
	}
}

func (r *harnessReader) part(name string, at, n *yaml.Node, wires []*yaml.Node) {
	what := "part " + name
	m := r.mapping(n, what)
	kindNode := m.need("kind")
	kind := r.base.parts[r.text(kindNode, what+": kind")]
	if kind == nil || kind.wire {
		if kindNode != nil {
			r.errorf(kindNode, "%s: there is no kind %q; %s", what, kindNode.Value, oneOf(kindNode.Value, r.base.Kinds()))
		}
		return
	}
	keys := map[string]float64{}
	bad := false
	before := len(r.problems)
	for _, k := range kind.Keys {
		v := m.get(k.Name)
		switch {
		case v == nil && k.Default != nil:
			keys[k.Name] = *k.Default
		case v == nil:
			r.errorf(at, "%s: a %s needs %q: %s", what, kind.Kind, k.Name, k.About)
		case k.YesNo:
			if r.yes(v, what+": "+k.Name) {
				keys[k.Name] = 1
			} else {
				keys[k.Name] = 0
			}
		default:
			keys[k.Name] = r.key(v, k, what)
		}
	}
	m.done()
	bad = len(r.problems) > before
	p := circuit.Part{Name: name, Kind: kind.Kind}
	if !bad {
		var err error
		if p, err = kind.make(name, keys); err != nil {
			r.errorf(at, "%s: %v", what, err)
			bad = true
		}
	}
	if bad {
		// Its pins are still known, so that wires to it are not called dangling.
		p.Pins = slices.Clone(kind.Pins)
		for i := 1; kind.ways && i <= 64; i++ {
			p.Pins = append(p.Pins, fmt.Sprintf("%da", i), fmt.Sprintf("%db", i))
		}
	}
	if kind.splice {
		p.Pins = r.splicePins(name, wires)
		if len(p.Pins) == 0 {
			r.errorf(at, "%s: no wire goes to this splice", what)
		}
	}
	for _, pin := range p.Pins {
		r.pins[name+"."+pin] = true
	}
	r.h.Parts = append(r.h.Parts, p)
}

func (r *harnessReader) key(n *yaml.Node, k Key, what string) float64 {
	x, ok := r.number(n, what+": "+k.Name)
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
		r.errorf(n, "%s: %s: %g%s is impossible; want %s %g to %g%s", what, k.Name, x, unit, over, k.Low, k.High, unit)
	case k.Whole && x != float64(int(x)):
		r.errorf(n, "%s: %s: want a whole number, not %g", what, k.Name, x)
	}
	return x
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
	switch p := r.h.Part(part); {
	case !dotted:
		r.errorf(n, "%s: %q is not a pin; write part.pin", what, pin)
	case p == nil:
		var parts []string
		for _, p := range r.h.Parts {
			parts = append(parts, p.Name)
		}
		r.errorf(n, "%s: there is no part %q; %s", what, part, oneOf(part, parts))
	default:
		r.errorf(n, "%s: a %s has no pin %q; %s", what, p.Kind, name, oneOf(name, p.Pins))
	}
}

func (r *harnessReader) wire(n *yaml.Node, celsius float64) {
	m := r.mapping(n, "wire")
	nameNode := m.need("name")
	w := circuit.Wire{Name: r.name(nameNode, "wire: name")}
	what := "wire " + w.Name
	from, to := m.need("from"), m.need("to")
	w.From, w.To = r.text(from, what+": from"), r.text(to, what+": to")
	w.Gauge, w.Metres = defaultGauge, defaultMetres
	gauge := m.get("gauge")
	if gauge != nil {
		w.Gauge = r.text(gauge, what+": gauge")
	}
	if x := m.get("metres"); x != nil {
		w.Metres = r.within(x, 0.001, 1000, what+": metres")
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
	if from != nil {
		r.pin(from, w.From, what+": from")
	}
	if to != nil {
		r.pin(to, w.To, what+": to")
	}
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
		w.Ohms = circuit.CopperOhms(area, w.Metres, celsius)
	}
	if kind := r.base.parts["wire"]; kind != nil {
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
		s := circuit.State{Name: name, Settings: map[string]string{}}
		sm := r.mapping(m.get(name), what)
		for _, part := range sm.keys {
			v := sm.get(part)
			p := r.h.Part(part)
			if p == nil {
				r.errorf(sm.at[part], "%s: there is no part %q", what, part)
				continue
			}
			set := r.text(v, what)
			if p.Settings[set] == nil {
				names := make([]string, 0, len(p.Settings))
				for s := range p.Settings {
					names = append(names, s)
				}
				if len(names) == 0 {
					r.errorf(v, "%s: a %s has no settings", what, p.Kind)
				} else {
					r.errorf(v, "%s: a %s has no setting %q; %s", what, p.Kind, set, oneOf(set, sorted(names)))
				}
				continue
			}
			s.Settings[part] = set
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
		if _, ok := r.h.State(s.State); !ok {
			var names []string
			for _, st := range r.h.States {
				names = append(names, st.Name)
			}
			r.errorf(x, "%s: there is no state %q; %s", what, s.State, oneOf(s.State, names))
		}
	}
	s.Guide = r.text(m.get("guide"), what+": guide")
	if s.Guide != "" && r.base.guides[s.Guide] == nil {
		r.errorf(m.value["guide"], "%s: there is no guide %q; %s", what, s.Guide, oneOf(s.Guide, r.base.GuideIDs()))
	}
	shows := m.need("shows")
	sm := r.mapping(shows, what+": shows")
	if shows != nil && len(sm.keys) == 0 {
		r.errorf(shows, "%s: shows: name at least one part and what it does", what)
	}
	for _, name := range sm.keys {
		v := sm.get(name)
		_, in := r.h.Indicator(name)
		if in == nil {
			r.errorf(sm.at[name], "%s: %q shows nothing that one can see; %s", what, name, oneOf(name, r.h.Indicators()))
			continue
		}
		words := r.texts(v, what+": shows")
		for _, w := range words {
			if !slices.Contains(in.Words(), w) {
				r.errorf(v, "%s: %s never shows %q; %s", what, name, w, oneOf(w, in.Words()))
			}
		}
		s.Shows[name] = words
	}
	m.done()
	r.h.Symptoms = append(r.h.Symptoms, s)
}
