package circuit_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
)

// wiring makes the file of a harness from a seed: a supply, fuses, and behind
// them modules of every kind of part, wired as people wire them.
type wiring struct {
	*rand.Rand
	want  int // parts
	parts []madePart
	wires []string
	plug  madePlug
	sets  []madeSet
	joint map[string]int // points used so far of a splice or chassis
}

type madePart struct{ name, kind, keys string }

// madePlug is a connector with ways left.
type madePlug struct {
	name       string
	ways, used int
}

// madeSet is a part that has settings: first the one that puts its module to work.
type madeSet struct {
	part string
	to   []string
}

// rail is a supply within the harness: where its plus and minus are taken.
type rail struct {
	plus, minus string // a pin, or the name of a splice or chassis
	volts       float64
	modules     int     // hung on it so far
	amps        float64 // that they draw, about
	fuse        int     // index of the part that is rated by these amps, or -1
	from        *rail   // that feeds it
	share       float64 // of its amps that this draws
}

// madeHarness returns a harness file of about so many parts.
func madeHarness(seed uint64, want int) []byte {
	w := &wiring{Rand: rand.New(rand.NewPCG(seed, 0xca27)), want: want, joint: map[string]int{}}
	main := w.supply()
	rails := []*rail{main}
	modules := w.modules()
	for w.left() > 0 {
		r := rails[w.IntN(len(rails))]
		if r.modules >= 8 {
			r = main
			if made := w.branch(main); made != nil {
				r = made
				rails = append(rails, made)
			}
		}
		if w.left() >= 3 && w.IntN(12) == 0 {
			if made := w.converted(r); made != nil {
				rails = append(rails, made)
				continue
			}
		}
		fit := slices.DeleteFunc(slices.Clone(modules), func(m module) bool {
			return m.parts > w.left() || m.from > r.volts || m.to < r.volts
		})
		amps := fit[w.IntN(len(fit))].add(r)
		r.modules++
		for up := r; up != nil; up = up.from {
			up.amps += amps
			amps *= up.share
		}
	}
	for _, r := range rails {
		if r.fuse >= 0 {
			w.parts[r.fuse].keys += fmt.Sprintf(", amps: %.3g", 0.5+1.3*r.amps)
		}
	}
	return w.file()
}

func (w *wiring) left() int { return w.want - len(w.parts) }

// part adds a part and returns its name.
func (w *wiring) part(prefix, kind, keys string) string {
	name := fmt.Sprintf("%s%d", prefix, len(w.parts)+1)
	if keys != "" {
		keys = ", " + keys
	}
	w.parts = append(w.parts, madePart{name, kind, keys})
	return name
}

// set notes what a part may be set to.
func (w *wiring) set(part string, to ...string) { w.sets = append(w.sets, madeSet{part, to}) }

// pick returns one of the words.
func (w *wiring) pick(words ...string) string { return words[w.IntN(len(words))] }

// pin is a pin, or the next point of a splice or chassis.
func (w *wiring) pin(at string) string {
	if strings.Contains(at, ".") {
		return at
	}
	w.joint[at]++
	return fmt.Sprintf("%s.j%d", at, w.joint[at])
}

// wire puts one wire between two places.
func (w *wiring) wire(from, to string) {
	gauge := w.pick("12 AWG", "16 AWG", "18 AWG", "20 AWG", "22 AWG", "24 AWG", "0.5 mm2", "1.5 mm2")
	w.wires = append(w.wires, fmt.Sprintf("{name: w%d, from: %s, to: %s, gauge: %s, metres: %.2f}",
		len(w.wires)+1, w.pin(from), w.pin(to), gauge, 0.1+1.9*w.Float64()))
}

// link leads from one place to another, now and then through a connector.
func (w *wiring) link(from, to string) {
	if w.plug.used == w.plug.ways && w.left() > 4 && w.IntN(4) == 0 {
		ways := 2 + w.IntN(7)
		keys := fmt.Sprintf("ways: %d", ways)
		if ways >= 4 && w.IntN(2) == 0 {
			keys += ", rows: 2"
		}
		if w.IntN(4) == 0 {
			keys += ", regendered: yes"
		}
		w.plug = madePlug{name: w.part("c", "connector", keys), ways: ways}
	}
	if w.plug.used == w.plug.ways || w.IntN(2) == 0 {
		w.wire(from, to)
		return
	}
	w.plug.used++
	way := fmt.Sprintf("%s.%d", w.plug.name, w.plug.used)
	w.wire(from, way+"a")
	w.wire(way+"b", to)
}

// chain links places one after the other.
func (w *wiring) chain(places ...string) {
	for i := range len(places) / 2 {
		w.link(places[2*i], places[2*i+1])
	}
}

// supply makes the pack, its fuse and its main rail.
func (w *wiring) supply() *rail {
	r := &rail{minus: "pack.minus", fuse: 1}
	switch w.IntN(4) {
	case 0:
		r.volts = 12.6
		w.parts = append(w.parts, madePart{"pack", "battery", ", volts: 12.6, inner_ohms: 0.02"})
	case 1:
		r.volts = 36
		w.parts = append(w.parts, madePart{"pack", "battery", ", volts: 36, full_volts: 42"})
	case 2:
		r.volts = 37
		w.parts = append(w.parts, madePart{"pack", "bms-pack", ", cells: 10"})
	default:
		r.volts = 48.1
		w.parts = append(w.parts, madePart{"pack", "bms-pack", ", cells: 13, inner_ohms: 0.05"})
	}
	r.plus = w.guard("pack.plus")
	if w.left() > 8 {
		bus := w.part("j", "splice", "")
		w.wire(r.plus, bus)
		r.plus = bus
		frame := w.part("frame", "chassis", "")
		w.wire(frame, "pack.minus")
		r.minus = frame
	}
	return r
}

// guard puts a fuse or breaker behind a place and returns its far pin. It is
// rated when the load is known.
func (w *wiring) guard(from string) string {
	f := w.part("f", w.pick("fuse", "fuse", "breaker"), "")
	w.link(from, f+".a")
	return f + ".b"
}

// branch is a rail of its own behind a fuse, with a splice and, half of the
// time, a chassis; nil where there is no room.
func (w *wiring) branch(from *rail) *rail {
	if w.left() < 6 {
		return nil
	}
	r := &rail{minus: from.minus, volts: from.volts, fuse: len(w.parts), from: from, share: 1}
	far := w.guard(from.plus)
	r.plus = w.part("j", "splice", "")
	w.link(far, r.plus)
	if w.IntN(2) == 0 {
		r.minus = w.part("frame", "chassis", "")
		w.link(r.minus, from.minus)
	}
	return r
}

// converted is a rail of 12 V behind a converter, or nil. A converter's limit
// is rated like a fuse.
func (w *wiring) converted(from *rail) *rail {
	if from.volts < 24 {
		return nil
	}
	r := &rail{volts: 12, fuse: len(w.parts), from: from, share: 12 / (0.85 * from.volts)}
	kind := w.pick("converter", "converter", "iso-converter")
	keys := fmt.Sprintf("in_volts: %g, out_volts: 12, start_volts: %g", from.volts, 9+w.Float64()*12)
	if len(w.parts)%2 == 0 { // no draw, so that what a seed made before stays as it was
		keys += ", hiccup: yes"
	}
	c := w.part("conv", kind, keys)
	if kind == "iso-converter" {
		w.chain(from.plus, c+".in_plus", c+".in_minus", from.minus)
		r.plus, r.minus = c+".out_plus", c+".out_minus"
		return r
	}
	w.chain(from.plus, c+".input", c+".ground", from.minus)
	r.plus, r.minus = c+".output", c+".ground"
	return r
}

// module is a small circuit between plus and minus of a rail.
type module struct {
	parts    int     // that it adds, connectors apart
	from, to float64 // volts of the rail that it is for
	add      func(r *rail) float64
}

// switched adds some kind of switch behind a place and returns its far pin.
func (w *wiring) switched(from string) string {
	kind := w.pick("switch", "key-switch", "button", "reed-no", "reed-nc", "changeover", "toggle-2")
	s := w.part("s", kind, "")
	near, far := ".a", ".b"
	switch kind {
	case "switch":
		w.set(s, "closed", "open")
	case "toggle-2":
		near, far = ".a1", ".b1"
		w.set(s, "closed", "open")
	case "key-switch":
		w.set(s, `"on"`, `"off"`)
	case "button":
		w.set(s, "pressed", "released")
	case "reed-no":
		w.set(s, "pulled", "released")
	case "reed-nc":
		w.set(s, "released", "pulled")
	case "changeover":
		near, far = ".common", ".a"
		w.set(s, "a", "b")
	}
	w.link(from, s+near)
	return s + far
}

func (w *wiring) lamp(volts, watts float64) string {
	keys := fmt.Sprintf("volts: %.3g, watts: %.3g", volts, watts)
	if w.IntN(2) == 0 {
		keys += fmt.Sprintf(", cold_ohms: %.3g", volts*volts/watts/10)
	}
	return w.part("lamp", "lamp", keys)
}

func (w *wiring) led(volts float64) string {
	drop := 2.0
	if w.IntN(2) == 0 && volts > 4 {
		drop = 3.2
	}
	return w.part("led", "led", fmt.Sprintf("volts: %g, milliamps: %d, drop: %g", volts, 5+w.IntN(30), drop))
}

// modules lists what can hang on a rail. Each returns the amperes it takes, about.
func (w *wiring) modules() []module {
	const most = 1000
	resistor := func(ohms float64) string { return w.part("r", "resistor", fmt.Sprintf("ohms: %.3g", ohms)) }
	return []module{
		{1, 0, most, func(r *rail) float64 {
			ohms := 100 + 10000*w.Float64()
			p := resistor(ohms)
			w.chain(r.plus, p+".a", p+".b", r.minus)
			return r.volts / ohms
		}},
		{2, 0, most, func(r *rail) float64 {
			watts := 2 + 10*w.Float64()
			far := w.switched(r.plus)
			p := w.lamp(r.volts, watts)
			w.chain(far, p+".plus", p+".minus", r.minus)
			return watts / r.volts
		}},
		{3, 0, most, func(r *rail) float64 {
			s := w.part("s", "toggle-2", "")
			w.set(s, "closed", "open")
			for _, pole := range []string{"1", "2"} {
				p := w.led(r.volts)
				w.chain(r.plus, s+".a"+pole, s+".b"+pole, p+".plus", p+".minus", r.minus)
			}
			return 0.07
		}},
		{2, 0, most, func(r *rail) float64 {
			b := w.part("b", "button", "")
			w.set(b, "pressed", "released")
			p := w.part("horn", "horn", fmt.Sprintf("volts: %g, watts: 15", r.volts))
			w.chain(r.plus, b+".a", b+".b", p+".plus", p+".minus", r.minus)
			return 15 / r.volts
		}},
		{1, 0, most, func(r *rail) float64 {
			p := w.part("meter", "voltmeter-2", fmt.Sprintf("volts: %g", r.volts))
			w.chain(r.plus, p+".plus", p+".minus", r.minus)
			return 0.015
		}},
		{1, 0, most, func(r *rail) float64 {
			p := w.part("meter", "voltmeter-3", fmt.Sprintf("volts: %g, supply_volts: %g", r.volts, r.volts))
			w.chain(r.plus, p+".supply", r.plus, p+".sense", p+".ground", r.minus)
			return 0.015
		}},
		{4, 0, most, func(r *rail) float64 {
			s := w.part("s", "lit-switch", fmt.Sprintf("volts: %g", r.volts))
			w.set(s, "closed", "open")
			k := w.part("k", "relay", fmt.Sprintf("coil_volts: %g", r.volts))
			p, q := w.lamp(r.volts, 10), w.led(r.volts)
			w.chain(r.plus, s+".supply", s+".load", k+".a1", k+".a2", r.minus, s+".ground", r.minus,
				r.plus, k+".common", k+".no", p+".plus", p+".minus", r.minus, k+".nc", q+".plus", q+".minus", r.minus)
			return 12 / r.volts
		}},
		{3, 0, most, func(r *rail) float64 {
			s := w.part("key", "key-switch", "")
			w.set(s, `"on"`, `"off"`)
			k := w.part("k", "contactor", fmt.Sprintf("coil_volts: %g, precharge_ohms: %d", r.volts, 500+w.IntN(3000)))
			p := resistor(r.volts * r.volts / 20)
			w.chain(r.plus, s+".a", s+".b", k+".coil_plus", k+".coil_minus", r.minus, r.plus, k+".a", k+".b", p+".a", p+".b", r.minus)
			return 26 / r.volts
		}},
		{4, 0, most, func(r *rail) float64 {
			p, d := w.lamp(r.volts, 5), w.part("drv", "lowside", "")
			h, s := resistor(10000), w.part("brake", "reed-nc", "")
			w.set(s, "pulled", "released")
			w.chain(r.plus, p+".plus", p+".minus", d+".drain", d+".source", r.minus, r.plus, h+".a", h+".b", d+".gate",
				d+".gate", s+".a", s+".b", d+".source")
			return 5 / r.volts
		}},
		{4, 0, most, func(r *rail) float64 {
			p, d := w.lamp(r.volts, 5), w.part("hs", "highside", "")
			t, h := w.part("ntc", "thermistor", ""), resistor(10000)
			w.set(t, "warm", "freezing", "room", "hot")
			w.chain(r.plus, d+".supply", d+".load", p+".plus", p+".minus", r.minus, d+".ground", r.minus,
				r.plus, t+".a", t+".b", d+".control", d+".control", h+".a", h+".b", r.minus)
			return 5 / r.volts
		}},
		{3, 0, most, func(r *rail) float64 {
			p := w.part("light", "cluster", fmt.Sprintf("volts: %g, tail_watts: 1, stop_watts: 4, turn_watts: 3", r.volts))
			s, o := w.part("s", "switch", ""), w.part("s", "changeover", "")
			w.set(s, "closed", "open")
			w.set(o, "b", "a")
			w.chain(r.plus, p+".plus", p+".tail", s+".a", s+".b", r.minus, o+".common", r.minus, p+".turn", o+".a", p+".stop", o+".b")
			return 8 / r.volts
		}},
		{2, 0, most, func(r *rail) float64 {
			d, p := w.part("d", "diode", ""), resistor(20*r.volts)
			w.chain(r.plus, d+".anode", d+".cathode", p+".a", p+".b", r.minus)
			return 0.05
		}},
		{2, 0, most, func(r *rail) float64 {
			k, p := w.part("knob", "pot", "ohms: 1000"), w.led(r.volts)
			w.set(k, "full", "0", "quarter", "half", "three_quarter")
			w.chain(r.plus, k+".a", k+".b", r.minus, k+".wiper", p+".plus", p+".minus", r.minus)
			return r.volts / 1000
		}},
		{3, 9, 50, func(r *rail) float64 {
			g, p, q := w.part("reg", "regulator", "out_volts: 5"), w.led(5), resistor(47)
			w.chain(r.plus, g+".input", g+".ground", r.minus, g+".output", p+".plus", p+".minus", g+".ground",
				g+".output", q+".a", q+".b", g+".ground")
			return 0.2
		}},
		{2, 11, 13, func(r *rail) float64 {
			c, p := w.part("ctl", "strip-controller", ""), w.part("strip", "strip", "amps: 0.3")
			w.set(c, "white", "red", "green", "blue", `"off"`)
			w.chain(r.plus, c+".plus", c+".minus", r.minus, c+".out_plus", p+".plus", c+".r", p+".r", c+".g", p+".g", c+".b", p+".b")
			return 1
		}},
		{2, 0, 50, func(r *rail) float64 {
			keys := fmt.Sprintf("volts: %g, watts: 6, start_volts: %g", r.volts, r.volts*0.6)
			if len(w.parts)%2 == 0 {
				keys += fmt.Sprintf(", cells: %.0f", r.volts/3.7)
			}
			l, b := w.part("front", "soft-light", keys), w.part("b", "button", "")
			w.set(l, "latched", "pressing", "waiting")
			w.set(b, "pressed", "released")
			w.chain(r.plus, l+".plus", l+".minus", r.minus, l+".button_a", b+".a", b+".b", l+".button_b")
			return 6 / r.volts
		}},
		{5, 11, most, func(r *rail) float64 {
			c := w.part("ctl", "controller", fmt.Sprintf("wake_volts: %g", r.volts/2))
			key, brake, m := w.part("key", "key-switch", ""), w.part("lever", "reed-no", ""), w.part("motor", "motor", "")
			w.set(key, `"on"`, `"off"`)
			w.set(brake, "released", "pulled")
			w.set(m, "p1", "p2", "p3", "p4", "p5", "p6")
			g := w.part("grip", w.pick("throttle", "pot-throttle"), "")
			w.set(g, "half", "full", "rest")
			w.chain(r.plus, c+".plus", c+".minus", r.minus, r.plus, key+".a", key+".b", c+".key",
				c+".five", g+".supply", c+".ground", g+".ground", c+".signal", g+".signal",
				c+".brake", brake+".a", c+".ground", brake+".b", c+".hall_five", m+".five", c+".hall_ground", m+".ground")
			for _, h := range []string{"ha", "hb", "hc", "u", "v", "w"} {
				w.link(c+"."+h, m+"."+h)
			}
			return 0.1
		}},
		{2, 0, most, func(r *rail) float64 {
			t, p := w.part("ntc", "thermistor", ""), resistor(4700)
			w.set(t, "room", "freezing", "warm", "hot")
			w.chain(r.plus, p+".a", p+".b", t+".a", t+".b", r.minus)
			return 0.01
		}},
	}
}

// file writes the harness down, with one to three states.
func (w *wiring) file() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, "harness: market trike, made wiring of %d parts\nground: pack.minus\nparts:\n", len(w.parts))
	for _, p := range w.parts {
		fmt.Fprintf(&b, "  %s: {kind: %s%s}\n", p.name, p.kind, p.keys)
	}
	b.WriteString("wires:\n")
	for _, x := range w.wires {
		fmt.Fprintf(&b, "  - %s\n", x)
	}
	b.WriteString("states:\n")
	state := func(name string, choose func(s madeSet) string) {
		var to []string
		for _, s := range w.sets {
			if v := choose(s); v != "" {
				to = append(to, s.part+": "+v)
			}
		}
		fmt.Fprintf(&b, "  %s: {%s}\n", name, strings.Join(to, ", "))
	}
	state("all at work", func(s madeSet) string { return s.to[0] })
	if w.IntN(2) == 0 {
		state("any way", func(s madeSet) string { return s.to[w.IntN(len(s.to))] })
	}
	if w.IntN(2) == 0 {
		state("some at work", func(s madeSet) string {
			if w.IntN(2) == 0 {
				return ""
			}
			return s.to[0]
		})
	}
	return []byte(b.String())
}
