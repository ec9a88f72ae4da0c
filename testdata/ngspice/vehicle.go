package ngspice

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"

	"gopkg.in/yaml.v3"
)

// Vehicle is one harness, whole or broken. It does not change once made, and
// may be used by several goroutines.
type Vehicle struct {
	ground   string
	first    string // battery of the file
	celsius  float64
	parts    map[string]*part
	names    []string // of parts, sorted
	wires    []wire
	states   map[string]map[string]string
	symptoms []Symptom

	faults []fault
	blown  map[string]bool // fuses that blew when the vehicle broke
}

type part struct {
	name, kind string
	num        map[string]float64
	pins       []string // without the part's name
}

type wire struct {
	name, from, to string
	ohms           float64
}

// fault is a parsed fault id.
type fault struct {
	id    string
	what  string // wire, way, ways, connector, part
	name  string // of the wire or part
	pin   string // way faults: the way's number, or the splice's pin
	i, j  int    // ways faults
	bars  [2]string
	mode  string
	ohms  float64 // of resistive faults
	needs bool    // ohms must be given
}

// Symptom is a symptom that the harness file declares.
type Symptom struct {
	ID    string
	State map[string]string // empty for everything at rest
	Shows map[string][]string
}

// Matches reports whether what a vehicle shows is this symptom.
func (s Symptom) Matches(shows map[string]string) bool {
	for part, any := range s.Shows {
		if !slices.Contains(any, shows[part]) {
			return false
		}
	}
	return true
}

// keys lists, for each kind of part, its numeric keys and what they are when
// the file leaves them out. NaN marks a key that the file must give.
var keys = map[string]map[string]float64{
	"battery":   {"volts": math.NaN(), "inner_ohms": 0.1},
	"fuse":      {"amps": math.NaN()},
	"switch":    {},
	"resistor":  {"ohms": math.NaN()},
	"lamp":      {"volts": math.NaN(), "watts": math.NaN(), "cold_ohms": 0},
	"cluster":   {"volts": math.NaN(), "tail_watts": math.NaN(), "stop_watts": math.NaN(), "turn_watts": math.NaN()},
	"connector": {"ways": math.NaN(), "rows": 1},
	"splice":    {},
	"bus-bar":   {},
	"throttle":  {"rest_volts": 0.85, "full_volts": 4.2, "milliamps": 6, "output_ohms": 100},
	"controller": {"wake_volts": 18, "limit_milliamps": 100, "pulldown_ohms": 47000,
		"low_volts": 1.1, "high_volts": 4.4},
}

var pins = map[string][]string{
	"battery":  {"plus", "minus"},
	"fuse":     {"a", "b"},
	"switch":   {"a", "b"},
	"resistor": {"a", "b"},
	"lamp":     {"plus", "minus"},
	"cluster":  {"plus", "tail", "stop", "turn"},
	"throttle": {"supply", "ground", "signal"},
	"controller": {"plus", "minus", "key", "five", "ground", "signal",
		"brake", "hall_five", "hall_ground", "ha", "hb", "hc", "u", "v", "w", "chip"},
}

// modes lists the failures of each kind of part, without those of ways.
var modes = map[string][]string{
	"battery":    {"no output", "low"},
	"fuse":       {"blown", "resistive", "holder open"},
	"switch":     {"stuck open", "stuck closed", "resistive"},
	"resistor":   {"open", "shorted", "wrong value"},
	"lamp":       {"open", "shorted"},
	"cluster":    {"tail open", "stop open", "turn open", "tail to stop"},
	"throttle":   {"no output", "stuck at rest", "stuck at full", "supply shorted"},
	"controller": {"no 5 V", "signal input shorted", "signal input open", "phase shorted", "deaf"},
}

// settings lists what each kind of part may be set to, the rest first.
var settings = map[string][]string{
	"switch":   {"open", "closed"},
	"throttle": {"rest", "half", "full"},
}

type harnessFile struct {
	Ground  string
	Celsius *float64
	Parts   map[string]map[string]yaml.Node
	Wires   []struct {
		Name, From, To, Gauge string
		Metres                float64
	}
	States   map[string]map[string]string
	Symptoms []struct {
		ID    string
		State string
		Shows map[string]yaml.Node
	}
}

// Load reads a harness file.
func Load(path string) (*Vehicle, error) {
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	v, err := parse(data)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return v, nil
}

func parse(data []byte) (*Vehicle, error) {
	var f harnessFile
	if err := yaml.Unmarshal(data, &f); err != nil {
		return nil, err
	}
	v := &Vehicle{
		ground:  f.Ground,
		celsius: 25,
		parts:   map[string]*part{},
		states:  f.States,
	}
	if f.Celsius != nil {
		v.celsius = *f.Celsius
	}
	var order struct{ Parts yaml.Node }
	if err := yaml.Unmarshal(data, &order); err != nil {
		return nil, err
	}
	for i := 0; i < len(order.Parts.Content) && v.first == ""; i += 2 {
		kind := f.Parts[order.Parts.Content[i].Value]["kind"]
		if kind.Value == "battery" {
			v.first = order.Parts.Content[i].Value
		}
	}
	v.names = slices.Sorted(maps.Keys(f.Parts))
	for _, name := range v.names {
		p, err := newPart(name, f.Parts[name])
		if err != nil {
			return nil, err
		}
		v.parts[name] = p
	}
	seen := map[string]bool{}
	for _, w := range f.Wires {
		if w.Name == "" || seen[w.Name] {
			return nil, fmt.Errorf("wire %q: no name, or a name used twice", w.Name)
		}
		seen[w.Name] = true
		for _, pin := range []string{w.From, w.To} {
			name, short, _ := strings.Cut(pin, ".")
			if p := v.parts[name]; p != nil && (p.kind == "splice" || p.kind == "bus-bar") && short != "" && !slices.Contains(p.pins, short) {
				p.pins = append(p.pins, short)
			}
			if err := v.checkPin(pin); err != nil {
				return nil, fmt.Errorf("wire %s: %w", w.Name, err)
			}
		}
		ohms, err := copper(w.Gauge, w.Metres, v.celsius)
		if err != nil {
			return nil, fmt.Errorf("wire %s: %w", w.Name, err)
		}
		v.wires = append(v.wires, wire{w.Name, w.From, w.To, ohms})
	}
	if err := v.checkPin(f.Ground); err != nil {
		return nil, fmt.Errorf("ground: %w", err)
	}
	for id, state := range v.states {
		if err := v.checkState(state); err != nil {
			return nil, fmt.Errorf("state %s: %w", id, err)
		}
	}
	for _, s := range f.Symptoms {
		sym := Symptom{ID: s.ID, Shows: map[string][]string{}}
		if s.State != "" {
			state, ok := v.states[s.State]
			if !ok {
				return nil, fmt.Errorf("symptom %s: no state %q", s.ID, s.State)
			}
			sym.State = state
		}
		for name, node := range s.Shows {
			var many []string
			if node.Kind == yaml.SequenceNode {
				if err := node.Decode(&many); err != nil {
					return nil, err
				}
			} else {
				many = []string{node.Value}
			}
			sym.Shows[name] = many
		}
		v.symptoms = append(v.symptoms, sym)
	}
	return v, nil
}

func newPart(name string, given map[string]yaml.Node) (*part, error) {
	kindNode := given["kind"]
	p := &part{name: name, kind: kindNode.Value, num: map[string]float64{}}
	known, ok := keys[p.kind]
	if !ok {
		return nil, fmt.Errorf("part %s: this package has no model of a %q", name, p.kind)
	}
	for key, def := range known {
		p.num[key] = def
		if node, ok := given[key]; ok {
			var x float64
			if err := node.Decode(&x); err != nil {
				return nil, fmt.Errorf("part %s: %s: %w", name, key, err)
			}
			p.num[key] = x
		}
		if math.IsNaN(p.num[key]) {
			return nil, fmt.Errorf("part %s: no %s", name, key)
		}
	}
	p.pins = slices.Clone(pins[p.kind])
	if p.kind == "connector" {
		n, rows := p.ways(), p.rows()
		if n < 1 || rows < 1 || rows > 2 || n%rows != 0 {
			return nil, fmt.Errorf("part %s: %d ways in %d rows", name, n, rows)
		}
		for i := 1; i <= n; i++ {
			p.pins = append(p.pins, strconv.Itoa(i)+"a", strconv.Itoa(i)+"b")
		}
	}
	return p, nil
}

func (p *part) ways() int   { return int(p.num["ways"]) }
func (p *part) rows() int   { return int(p.num["rows"]) }
func (p *part) perRow() int { return p.ways() / p.rows() }
func (p *part) sameRow(i, j int) bool {
	return (i-1)/p.perRow() == (j-1)/p.perRow()
}

// bars gives the bars of a bus-bar in the order of its pins; a splice has none.
func (p *part) bars() []string {
	var bars []string
	for _, pin := range p.pins {
		if bar, _, ok := strings.Cut(pin, "_"); ok && p.kind == "bus-bar" && !slices.Contains(bars, bar) {
			bars = append(bars, bar)
		}
	}
	return bars
}

// mirror gives the way that way i meets when its row is reversed.
func (p *part) mirror(i int) int {
	row := (i - 1) / p.perRow()
	return row*p.perRow() + p.perRow() - (i-1)%p.perRow()
}

func (v *Vehicle) checkPin(pin string) error {
	name, short, _ := strings.Cut(pin, ".")
	p := v.parts[name]
	if p == nil || !slices.Contains(p.pins, short) {
		return fmt.Errorf("no pin %q", pin)
	}
	return nil
}

func (v *Vehicle) checkState(state map[string]string) error {
	for name, set := range state {
		p := v.parts[name]
		if p == nil {
			return fmt.Errorf("no part %q", name)
		}
		if !slices.Contains(settings[p.kind], set) {
			return fmt.Errorf("part %s cannot be set to %q", name, set)
		}
	}
	return nil
}

// copper gives the resistance of a copper wire. Resistivity 1.7241e-8 ohm m
// at 20 C and 0.00393 a degree are those of IEC 60028; American gauge n has a
// diameter of 0.127 mm * 92^((36-n)/39), after ASTM B258 (both from memory).
func copper(gauge string, metres, celsius float64) (float64, error) {
	num, unit, ok := strings.Cut(strings.TrimSpace(gauge), " ")
	if !ok {
		return 0, fmt.Errorf("gauge %q", gauge)
	}
	var area float64 // m2
	switch strings.ToLower(strings.TrimSpace(unit)) {
	case "mm2":
		x, err := strconv.ParseFloat(num, 64)
		if err != nil {
			return 0, fmt.Errorf("gauge %q", gauge)
		}
		area = x * 1e-6
	case "awg":
		var n float64
		if zeros, ok := strings.CutSuffix(num, "/0"); ok {
			z, err := strconv.Atoi(zeros)
			if err != nil {
				return 0, fmt.Errorf("gauge %q", gauge)
			}
			n = float64(1 - z)
		} else if strings.Trim(num, "0") == "" {
			n = float64(1 - len(num))
		} else {
			z, err := strconv.Atoi(num)
			if err != nil {
				return 0, fmt.Errorf("gauge %q", gauge)
			}
			n = float64(z)
		}
		d := 0.127e-3 * math.Pow(92, (36-n)/39)
		area = math.Pi * d * d / 4
	default:
		return 0, fmt.Errorf("gauge %q", gauge)
	}
	if !(area > 0) || !(metres > 0) {
		return 0, fmt.Errorf("gauge %q, %v metres", gauge, metres)
	}
	return 1.7241e-8 * (1 + 0.00393*(celsius-20)) * metres / area, nil
}

// States gives the states that the file declares: settings by part name.
func (v *Vehicle) States() map[string]map[string]string { return v.states }

// Symptoms gives the symptoms that the file declares, in its order.
func (v *Vehicle) Symptoms() []Symptom { return v.symptoms }

// Blown lists the fuses that blew when the vehicle broke, sorted. A fuse whose
// own fault is "blown" is not among them.
func (v *Vehicle) Blown() []string { return slices.Sorted(maps.Keys(v.blown)) }

// Faults lists every single fault that the harness can have, sorted.
// Resistive ones stand once, without a value.
func (v *Vehicle) Faults() []string {
	var ids []string
	for _, f := range v.allFaults() {
		ids = append(ids, f.id)
	}
	slices.Sort(ids)
	return ids
}

func (v *Vehicle) allFaults() []fault {
	var all []fault
	add := func(f fault) {
		f.needs = f.mode == "resistive"
		all = append(all, f)
	}
	plus := v.plus()
	for _, w := range v.wires {
		for _, m := range []string{"open", "resistive", "to ground", "to supply", "too thin"} {
			if m == "to supply" && (plus == "" || plus == v.ground || w.from == plus || w.to == plus) {
				continue
			}
			add(fault{id: "wire " + w.name + " " + m, what: "wire", name: w.name, mode: m})
		}
	}
	way := func(name, pin string) {
		for _, m := range []string{"open", "resistive"} {
			add(fault{id: "way " + name + "." + pin + " " + m, what: "way", name: name, pin: pin, mode: m})
		}
	}
	for _, name := range v.names {
		p := v.parts[name]
		for _, m := range modes[p.kind] {
			add(fault{id: "part " + name + " " + m, what: "part", name: name, mode: m})
		}
		switch p.kind {
		case "splice", "bus-bar":
			for _, pin := range p.pins {
				way(name, pin)
			}
			bars := p.bars()
			for i := range bars {
				for _, other := range bars[i+1:] {
					add(fault{id: fmt.Sprintf("ways %s.%s %s.%s bridged", name, bars[i], name, other), what: "ways", name: name, bars: [2]string{bars[i], other}, mode: "bridged"})
				}
			}
		case "connector":
			n := p.ways()
			for i := 1; i <= n; i++ {
				way(name, strconv.Itoa(i))
				for j := i + 1; j <= n; j++ {
					id := fmt.Sprintf("ways %s.%d %s.%d ", name, i, name, j)
					add(fault{id: id + "swapped", what: "ways", name: name, i: i, j: j, mode: "swapped"})
					if j == i+1 && p.sameRow(i, j) || j == i+p.perRow() {
						add(fault{id: id + "bridged", what: "ways", name: name, i: i, j: j, mode: "bridged"})
					}
				}
			}
			if p.perRow() >= 2 {
				add(fault{id: "connector " + name + " mirrored", what: "connector", name: name, mode: "mirrored"})
			}
		}
	}
	return all
}

// Break puts one more fault in and gives the broken vehicle; an empty fault
// puts none in. The value ohms is used by resistive faults only. The vehicle
// is then powered at rest and after that in each named state, in this order,
// and every fuse that carries more than twice its rating blows for good.
func (v *Vehicle) Break(ctx context.Context, name string, ohms float64, states ...string) (*Vehicle, error) {
	b := *v
	b.faults = slices.Clone(v.faults)
	b.blown = maps.Clone(v.blown)
	if b.blown == nil {
		b.blown = map[string]bool{}
	}
	if name != "" {
		all := v.allFaults()
		i := slices.IndexFunc(all, func(f fault) bool { return f.id == name })
		if i < 0 {
			return nil, fmt.Errorf("no fault %q in this harness", name)
		}
		f := all[i]
		if f.needs {
			if !(ohms > 0) {
				return nil, fmt.Errorf("fault %q needs its ohms", name)
			}
			f.ohms = ohms
		}
		b.faults = append(b.faults, f)
	}
	setups := []Setup{{Power: Live}}
	for _, s := range states {
		state, ok := v.states[s]
		if !ok {
			return nil, fmt.Errorf("no state %q in this harness", s)
		}
		setups = append(setups, Setup{State: state, Power: Live})
	}
	if err := b.latch(ctx, setups); err != nil {
		return nil, err
	}
	return &b, nil
}

// latch keeps the fuses that blow in the setups, one setup after the other.
// As nothing blows most of the time, all setups are tried at once, and those
// that follow the first blown fuse are tried again.
func (v *Vehicle) latch(ctx context.Context, setups []Setup) error {
	if !slices.ContainsFunc(v.names, func(n string) bool { return v.parts[n].kind == "fuse" }) {
		return nil
	}
	for len(setups) > 0 {
		jobs := make([]*job, len(setups))
		for i, s := range setups {
			jobs[i] = &job{setup: s}
		}
		if err := v.solve(ctx, jobs); err != nil {
			return err
		}
		i := slices.IndexFunc(jobs, func(j *job) bool { return len(j.blown) > len(v.blown) })
		if i < 0 {
			return nil
		}
		v.blown = jobs[i].blown
		setups = setups[i+1:]
	}
	return nil
}

// Repair takes one fault out, or fits a new fuse for "part NAME blown", and
// gives the vehicle that is left. A fuse that blew with the fault stays blown
// until it is replaced in its turn.
func (v *Vehicle) Repair(name string) (*Vehicle, error) {
	r := *v
	r.blown = maps.Clone(v.blown)
	r.faults = slices.DeleteFunc(slices.Clone(v.faults), func(f fault) bool { return f.id == name })
	done := len(r.faults) < len(v.faults)
	for fuse := range v.blown {
		if name == "part "+fuse+" blown" {
			delete(r.blown, fuse)
			done = true
		}
	}
	if !done {
		return nil, fmt.Errorf("this vehicle does not have the fault %q", name)
	}
	return &r, nil
}

// plus is the pin of the first battery of the file that a wire to supply touches.
func (v *Vehicle) plus() string {
	if v.first == "" {
		return ""
	}
	return v.first + ".plus"
}

// has reports whether the vehicle has a fault of a wire or a part.
func (v *Vehicle) has(what, name, mode string) bool {
	return slices.ContainsFunc(v.faults, func(f fault) bool {
		return f.what == what && f.name == name && f.mode == mode
	})
}

// added sums the ohms of resistive faults on a wire, a part or a way.
func (v *Vehicle) added(what, name, pin string) float64 {
	var sum float64
	for _, f := range v.faults {
		if f.what == what && f.name == name && f.pin == pin {
			sum += f.ohms
		}
	}
	return sum
}

// wayOpen reports whether a way of a connector, or a joint of a splice, is open.
func (v *Vehicle) wayOpen(name, pin string) bool {
	return slices.ContainsFunc(v.faults, func(f fault) bool {
		return f.what == "way" && f.name == name && f.pin == pin && f.mode == "open"
	})
}

// ErrMissing says that ngspice is not installed.
var ErrMissing = errors.New("ngspice is not installed")
