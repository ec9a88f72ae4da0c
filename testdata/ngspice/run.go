package ngspice

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// Live and Off are the powers that this package knows. With the power off
// every battery, 5 V supply and throttle output is taken out of the circuit.
const (
	Live = "live"
	Off  = "off"
)

// Setup is how the vehicle stands: settings by part name (a part that is not
// named rests) and the power.
type Setup struct {
	State map[string]string
	Power string
}

// Probe is one meter reading to take. Mode is volts_dc, ohms, continuity, diode
// or amps_dc; for amps red and black are the two pins of a fuse that is pulled.
type Probe struct {
	Setup
	Mode, Red, Black string
}

// The diode test: a current, and what lies beside it in the meter.
const (
	diodeAmps = 1e-3
	diodeOhms = 1e9
)

// Reading is what an ideal meter shows: volts, ohms (leads included) or
// amperes. Over says that a real one would be past its highest range; the
// value is still given.
type Reading struct {
	Value float64
	Over  bool
	Beep  bool // continuity: below 30 ohm
}

// The ends of the meter's highest ranges, and of its beeper.
const (
	mostVolts = 1000
	mostDiode = 3
	mostOhms  = 60e6
	mostAmps  = 10
	beepOhms  = 30
)

// job is one circuit to be solved until its fuses and rails are settled.
type job struct {
	setup            Setup
	mode, red, black string // no mode: no meter
	cold             bool   // lamps as an ohmmeter sees them
	rangeOhms        float64
	pulled           string // fuse that the ammeter stands in for

	// fine asks for voltages that are good to 1e-6 on nodes that float behind
	// 1e9 ohm too; without it they may be off by 1e-4. The meter's 10 Mohm
	// makes such a node a hundred times stiffer, so readings do without.
	fine bool

	blown map[string]bool
	rails map[string]rail
	done  *circuit
}

// Nodes gives the volts of every pin against the ground pin, no meter connected.
func (v *Vehicle) Nodes(ctx context.Context, s Setup) (map[string]float64, error) {
	j := &job{setup: s, fine: true}
	if err := v.solve(ctx, []*job{j}); err != nil {
		return nil, err
	}
	all := map[string]float64{}
	for _, name := range v.names {
		for _, short := range v.parts[name].pins {
			pin := name + "." + short
			all[pin] = j.done.volts[j.done.nodes[pin]]
		}
	}
	return all, nil
}

// Measure takes readings, each on a vehicle of its own so that one does not
// disturb the next. All are solved in one process, and in a few more where
// fuses blow or a controller reaches its current limit.
func (v *Vehicle) Measure(ctx context.Context, probes []Probe) ([]Reading, error) {
	jobs := make([]*job, len(probes))
	for i, p := range probes {
		j, err := v.probeJob(p)
		if err != nil {
			return nil, fmt.Errorf("probe %d: %w", i, err)
		}
		jobs[i] = j
	}
	if err := v.solve(ctx, jobs); err != nil {
		return nil, err
	}
	out := make([]Reading, len(jobs))
	for i, j := range jobs {
		c := j.done
		across := c.volts[c.red] - c.volts[c.black]
		r := &out[i]
		switch j.mode {
		case "volts_dc":
			r.Value = across
			r.Over = math.Abs(r.Value) > mostVolts
		case "ohms", "continuity":
			r.Value = c.ohms() + leadOhms
			r.Over = r.Value > mostOhms
			r.Beep = j.mode == "continuity" && r.Value < beepOhms
		case "diode":
			r.Value = across
			r.Over = r.Value > mostDiode
		case "amps_dc":
			r.Value = c.amps[c.shunt]
			r.Over = math.Abs(r.Value) > mostAmps
		}
	}
	return out, nil
}

func (v *Vehicle) probeJob(p Probe) (*job, error) {
	for _, pin := range []string{p.Red, p.Black} {
		if err := v.checkPin(pin); err != nil {
			return nil, err
		}
	}
	j := &job{setup: p.Setup, mode: p.Mode, red: p.Red, black: p.Black}
	switch p.Mode {
	case "volts_dc":
	case "ohms", "continuity", "diode":
		if p.Power != Off {
			return nil, fmt.Errorf("%s with the power %q", p.Mode, p.Power)
		}
		j.cold = true
		if p.Mode != "diode" {
			j.rangeOhms = leastRange
		}
	case "amps_dc":
		name, _, _ := strings.Cut(p.Red, ".")
		other, _, _ := strings.Cut(p.Black, ".")
		if v.parts[name].kind != "fuse" || name != other || p.Red == p.Black {
			return nil, fmt.Errorf("amps between %s and %s, which are not the two pins of a fuse", p.Red, p.Black)
		}
		j.pulled = name
	default:
		return nil, fmt.Errorf("no model of the mode %q", p.Mode)
	}
	return j, nil
}

// Shows gives what each lamp, cluster lamp ("l1.tail") and controller does.
func (v *Vehicle) Shows(ctx context.Context, s Setup) (map[string]string, error) {
	j := &job{setup: s, fine: true}
	if err := v.solve(ctx, []*job{j}); err != nil {
		return nil, err
	}
	c := j.done
	shows := map[string]string{}
	for _, name := range v.names {
		p := v.parts[name]
		between := func(a, b string) float64 {
			return c.volts[c.nodes[name+"."+a]] - c.volts[c.nodes[name+"."+b]]
		}
		dead := func(mode string) bool { return v.has("part", name, mode) }
		switch p.kind {
		case "lamp":
			shows[name] = "dark"
			if !dead("open") && !dead("shorted") {
				u := between("plus", "minus")
				shows[name] = brightness(u * u / v.lampOhms(p, false) / p.num["watts"])
			}
		case "cluster":
			for _, id := range clusterLamps {
				u := between("plus", id)
				shows[name+"."+id] = brightness(u * u / v.clusterOhms(p, id) / p.num[id+"_watts"])
			}
		case "controller":
			u := between("signal", "ground")
			switch {
			case dead("signal input open"), dead("deaf"), u < p.num["low_volts"]:
				shows[name] = "too_low"
			case u < p.num["high_volts"]:
				shows[name] = "in_range"
			default:
				shows[name] = "too_high"
			}
		}
	}
	return shows, nil
}

// brightness names the light of a lamp from its share of rated power.
func brightness(share float64) string {
	switch {
	case share < 0.03:
		return "dark"
	case share < 0.6:
		return "dim"
	case share < 1.5:
		return "lit"
	}
	return "too bright"
}

// solve fills in the solved circuit, the blown fuses and the rail modes of
// every job. A live job with controllers is first tried with all of them
// asleep and with all of them regulating, in the same process; if neither
// agrees with itself, it goes on from the first.
func (v *Vehicle) solve(ctx context.Context, jobs []*job) error {
	var controllers []string
	for _, name := range v.names {
		if v.parts[name].kind == "controller" {
			controllers = append(controllers, name)
		}
	}
	type try struct {
		job *job
		alt bool // not the job itself but the same with every rail regulating
		c   *circuit
	}
	var open []*try
	for _, j := range jobs {
		if j.setup.Power != Live && j.setup.Power != Off {
			return fmt.Errorf("no model of the power %q", j.setup.Power)
		}
		if err := v.checkState(j.setup.State); err != nil {
			return err
		}
		j.blown = maps.Clone(v.blown)
		if j.blown == nil {
			j.blown = map[string]bool{}
		}
		j.rails = map[string]rail{}
		open = append(open, &try{job: j})
		if j.setup.Power == Live && len(controllers) > 0 {
			alt := *j
			alt.blown = maps.Clone(j.blown)
			alt.rails = map[string]rail{}
			for _, name := range controllers {
				alt.rails[name] = regulating
			}
			open = append(open, &try{job: &alt, alt: true})
		}
	}
	const most = 50
	for round := 0; len(open) > 0; round++ {
		if round == most {
			return fmt.Errorf("no steady state after %d rounds", most)
		}
		circuits := make([]*circuit, len(open))
		for i, t := range open {
			c, err := v.build(t.job)
			if err != nil {
				return err
			}
			t.c, circuits[i] = c, c
		}
		if err := run(ctx, circuits); err != nil {
			return err
		}
		var next []*try
		for i := 0; i < len(open); i++ {
			t := open[i]
			var alt *try
			if i+1 < len(open) && open[i+1].alt {
				i++
				alt = open[i]
			}
			if t.job.rangeUp(t.c) {
				next = append(next, t)
				continue
			}
			settled := v.settleRails(t.job, t.c)
			if !settled && alt != nil && v.settleRails(alt.job, alt.c) {
				t.job.rails, t.c = alt.job.rails, alt.c
				settled = true
			}
			if settled && !v.blowFuses(t.job, t.c) {
				t.job.done = t.c
				continue
			}
			next = append(next, t)
		}
		open = next
	}
	return nil
}

// ohms is what the ohmmeter finds on its range.
func (c *circuit) ohms() float64 {
	u := c.volts[c.red] - c.volts[c.black]
	return u * c.elements[c.tester].value / (c.volts[c.tested] - c.volts[c.red])
}

// rangeUp puts an ohmmeter that is past its range on the next one, if there is one.
func (j *job) rangeUp(c *circuit) bool {
	if j.rangeOhms == 0 || j.rangeOhms >= mostRange || c.ohms() <= j.rangeOhms && c.ohms() >= 0 {
		return false
	}
	j.rangeOhms *= 10
	return true
}

// settleRails compares the modes of the 5 V supplies with the solution. Where
// one does not fit it is changed, and the answer is false.
func (v *Vehicle) settleRails(j *job, c *circuit) bool {
	if j.setup.Power != Live {
		return true
	}
	settled := true
	for _, name := range v.names {
		p := v.parts[name]
		if p.kind != "controller" || v.has("part", name, "no 5 V") {
			continue
		}
		at := func(pin string) float64 { return c.volts[c.nodes[name+"."+pin]] }
		const slack = 1e-9
		limit := p.num["limit_milliamps"] / 1000
		u := at("five") - at("ground")
		want := j.rails[name]
		switch awake := at("key")-at("minus") > p.num["wake_volts"]; {
		case !awake:
			want = asleep
		case want == asleep:
			want = regulating
		case want == regulating:
			if amps := -c.amps[c.rails[name]]; amps > limit+slack {
				want = limiting
			} else if amps < -slack {
				want = blocked
			}
		case want == limiting && u > 5-0.5*limit+slack, want == blocked && u < 5-slack:
			want = regulating
		}
		if want != j.rails[name] {
			j.rails[name] = want
			settled = false
		}
	}
	return settled
}

// blowFuses blows every fuse that carries more than twice its rating, and
// reports whether there was one.
func (v *Vehicle) blowFuses(j *job, c *circuit) bool {
	if j.setup.Power != Live {
		return false
	}
	any := false
	for name, e := range c.fuses {
		if math.Abs(c.amps[e]) > 2*v.parts[name].num["amps"] {
			j.blown[name] = true
			any = true
		}
	}
	return any
}

// run has one ngspice process solve all circuits and fills in their answers.
func run(ctx context.Context, circuits []*circuit) error {
	decks := make([][]byte, len(circuits))
	for i, c := range circuits {
		var deck bytes.Buffer
		c.write(&deck)
		decks[i] = deck.Bytes()
	}
	answers, err := Solve(ctx, decks)
	if err != nil {
		return err
	}
	for i, c := range circuits {
		if len(answers[i].Volts) < c.count+1 {
			return fmt.Errorf("ngspice: no answer for circuit %d", i)
		}
		c.volts, c.amps = answers[i].Volts, make([]float64, len(c.elements))
		copy(c.amps, answers[i].Amps)
	}
	return nil
}

// Answer is the operating point of one deck: the volts of each node, by the
// number in its name (n12), and the amperes of each element that has a current
// of its own, by the number in its name (h7). Both are empty where ngspice
// found no operating point.
type Answer struct{ Volts, Amps []float64 }

// Solve has one ngspice process find the operating point of every deck, one
// after the other; as copies in one deck they would cost time with the square
// of their number. A deck is elements and options, without the title and the
// end. The error is [ErrMissing] where there is no ngspice.
func Solve(ctx context.Context, decks [][]byte) ([]Answer, error) {
	exe, err := exec.LookPath("ngspice")
	if err != nil {
		return nil, fmt.Errorf("%w: %v", ErrMissing, err)
	}
	dir, err := os.MkdirTemp("", "oracle")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(dir)

	var script bytes.Buffer
	script.WriteString("control script\n.control\nset filetype=binary\nset appendwrite\n")
	for i, deck := range decks {
		name := fmt.Sprintf("deck%d.cir", i)
		text := slices.Concat([]byte(strconv.Itoa(i)+"\n"), deck, []byte(".end\n"))
		if err := os.WriteFile(filepath.Join(dir, name), text, 0o600); err != nil {
			return nil, err
		}
		fmt.Fprintf(&script, "source %s\nop\nwrite answers.raw all\ndestroy all\nremcirc\n", name)
	}
	script.WriteString("quit\n.endc\n.end\n")
	if err := os.WriteFile(filepath.Join(dir, "script.cir"), script.Bytes(), 0o600); err != nil {
		return nil, err
	}
	cmd := exec.CommandContext(ctx, exe, "-n", "-b", "script.cir")
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "OMP_NUM_THREADS=1")
	said, err := cmd.CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("ngspice: %w: %s", err, tail(said))
	}
	raw, err := os.ReadFile(filepath.Join(dir, "answers.raw"))
	if errors.Is(err, fs.ErrNotExist) {
		return make([]Answer, len(decks)), nil // no operating point of any
	}
	if err != nil {
		return nil, fmt.Errorf("ngspice left no answer: %w: %s", err, tail(said))
	}
	answers, err := readRaw(raw, len(decks))
	if err != nil {
		return nil, fmt.Errorf("ngspice: %w: %s", err, tail(said))
	}
	return answers, nil
}

func tail(b []byte) []byte { return b[max(0, len(b)-600):] }

// readRaw takes node voltages and branch currents from a binary raw file. For
// each circuit it holds a text head with the names, then one double each. The
// title says which circuit it is; what has another title is not one.
func readRaw(raw []byte, count int) ([]Answer, error) {
	answers := make([]Answer, count)
	for len(raw) > 0 {
		head, body, ok := bytes.Cut(raw, []byte("Binary:\n"))
		if !ok {
			return nil, fmt.Errorf("the raw file is not binary")
		}
		var names []string
		k := -1
		inVars := false
		for line := range strings.Lines(string(head)) {
			line = strings.TrimSpace(line)
			if title, ok := strings.CutPrefix(line, "Title: "); ok {
				if i, err := strconv.Atoi(title); err == nil && i >= 0 && i < count {
					k = i
				}
			}
			if f := strings.Fields(line); inVars && len(f) >= 3 {
				names = append(names, f[1])
			}
			inVars = inVars || line == "Variables:"
		}
		if len(body) < 8*len(names) {
			return nil, fmt.Errorf("the raw file is cut short")
		}
		for i, name := range names {
			if k < 0 {
				break
			}
			x := math.Float64frombits(binary.NativeEndian.Uint64(body[8*i:]))
			if err := answers[k].put(name, x); err != nil {
				return nil, err
			}
		}
		raw = body[8*len(names):]
	}
	return answers, nil
}

// put files one value under a name such as v(n12) or i(h7).
func (a *Answer) put(name string, x float64) error {
	into := &a.Amps
	if strings.HasPrefix(name, "v(") || strings.HasPrefix(name, "n") {
		into = &a.Volts
	}
	i, err := strconv.Atoi(strings.Trim(name, "abcdefghijklmnopqrstuvwxyz#()"))
	if err != nil || i < 0 {
		return fmt.Errorf("a value named %q", name)
	}
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return fmt.Errorf("%s is not a number", name)
	}
	if i >= len(*into) {
		*into = append(*into, make([]float64, i+1-len(*into))...)
	}
	(*into)[i] = x
	return nil
}
