package circuit_test

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
	"probable/testdata/ngspice"
)

// How far our solver and ngspice may be apart.
const (
	nearVolts = 1e-3 // V, or
	nearShare = 1e-3 // of the volts
	nearOhms  = 5e-3 // of the ohms, and a milliohm
	nearDiode = 5e-3 // V
)

// tally counts what was compared with ngspice and how it came out.
type tally struct {
	parts                  int
	faults                 int // with every circuit of theirs compared
	listed                 int // of the harness
	circuits               int // solved by ngspice
	nodes, regions         int // voltages of pins, and regions that its voltages bear out
	fuses                  int // rounds of blowing
	voltsRead, ohms, drops int // meter readings
	opens                  int // ohms and diode readings past the meter's range
	worstNode              float64
	worstVolts             float64
	worstOhms              float64 // share
	worstDrop              float64
	left                   map[string]int // faults not compared, by reason
	passed                 map[string]int // readings not compared, by reason
}

func newTally() *tally { return &tally{left: map[string]int{}, passed: map[string]int{}} }

func (a *tally) add(b *tally) {
	a.parts += b.parts
	a.faults += b.faults
	a.listed += b.listed
	a.circuits += b.circuits
	a.nodes += b.nodes
	a.regions += b.regions
	a.fuses += b.fuses
	a.voltsRead += b.voltsRead
	a.ohms += b.ohms
	a.drops += b.drops
	a.opens += b.opens
	a.worstNode = max(a.worstNode, b.worstNode)
	a.worstVolts = max(a.worstVolts, b.worstVolts)
	a.worstOhms = max(a.worstOhms, b.worstOhms)
	a.worstDrop = max(a.worstDrop, b.worstDrop)
	for why, n := range b.left {
		a.left[why] += n
	}
	for why, n := range b.passed {
		a.passed[why] += n
	}
}

func (a *tally) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d parts, %d of %d faults compared in %d circuits: %d pins, worst %.1e V; %d regions; %d rounds of fuses; readings: %d volts, worst %.1e V, %d ohms, worst %.2g %%, %d drops, worst %.1e V, %d past range",
		a.parts, a.faults, a.listed, a.circuits, a.nodes, a.worstNode, a.regions, a.fuses, a.voltsRead, a.worstVolts, a.ohms, 100*a.worstOhms, a.drops, a.worstDrop, a.opens)
	for _, why := range slices.Sorted(maps.Keys(a.left)) {
		fmt.Fprintf(&b, "\n    %d faults not compared: %s", a.left[why], why)
	}
	for _, why := range slices.Sorted(maps.Keys(a.passed)) {
		fmt.Fprintf(&b, "\n    %d readings not compared: %s", a.passed[why], why)
	}
	return b.String()
}

// job is a deck for ngspice and what to do with its answer.
type job struct {
	deck  *deck
	what  string
	check func(ngspice.Answer)
	fails func() // ngspice has none
}

// outside compares one harness.
type outside struct {
	*testing.T
	*tally
	h       *circuit.Harness
	bench   *circuit.Bench
	state   circuit.State
	random  *rand.Rand
	meter   circuit.Meter
	pins    []string // that a probe reaches
	jobs    []job
	size    int // bytes of the decks that wait
	failing int
}

// manyFailures is how many differences of one harness are told one by one.
const manyFailures = 5

func (o *outside) failf(format string, a ...any) {
	o.Helper()
	if o.failing++; o.failing <= manyFailures {
		o.Errorf(format, a...)
	} else {
		o.Fail()
	}
}

// Batches of decks for one ngspice process.
const (
	batchJobs  = 400
	batchBytes = 30e6
)

func (o *outside) enter(j job) {
	o.jobs = append(o.jobs, j)
	o.size += j.deck.text.Len()
	if len(o.jobs) >= batchJobs || o.size > batchBytes {
		o.flush()
	}
}

// flush has ngspice solve what waits, and looks at the answers.
func (o *outside) flush() {
	if len(o.jobs) == 0 {
		return
	}
	decks := make([][]byte, len(o.jobs))
	for i, j := range o.jobs {
		decks[i] = j.deck.text.Bytes()
	}
	answers, err := ngspice.Solve(context.Background(), decks)
	require.NoError(o, err)
	for i, j := range o.jobs {
		if len(answers[i].Volts) < j.deck.nodes+1 {
			j.fails()
			continue
		}
		o.circuits++
		j.check(answers[i])
	}
	o.jobs, o.size = nil, 0
}

// trial is one point of one fault, and whether all of it could be compared.
type trial struct {
	fault  *circuit.Fault
	id     string
	point  int
	damage damage
	why    string // what kept a circuit of it from being compared
}

// reason names what kept a trial from being compared: the trouble, and the
// kind of part and fault that it came with.
func (o *outside) reason(t *trial, err error) string {
	words := strings.Fields(t.id)
	of := "healthy"
	if len(words) > 1 {
		of = words[0]
		if p := o.h.Part(words[1]); p != nil && words[0] == "part" {
			of = p.Kind + " " + strings.Join(words[2:], " ")
		} else if words[0] != "part" {
			of += " " + words[len(words)-1]
		}
	}
	return err.Error() + " (" + of + ")"
}

var (
	errNoPoint = errors.New("ngspice finds no operating point")
	errNear    = errors.New("a fuse at twice its rating to a thousandth")
	errHunting = errors.New("what stands before the fuse blows has no steady state")
)

// try compares one point of a fault in both states.
func (o *outside) try(t *trial) {
	blown, ok := o.blows(t)
	if !ok {
		return
	}
	for _, s := range o.states() {
		sit, err := o.bench.Put(t.fault, t.point, s, false)
		if err != nil {
			t.why = o.reason(t, err)
			continue
		}
		now, ok := o.rounds(t, s, slices.Clone(blown))
		if !ok {
			continue
		}
		if !slices.Equal(now, sit.Blown()) {
			o.failf("%s point %d, state %q: %v are blown, and by ngspice's currents %v", t.id, t.point, s.Name, sit.Blown(), now)
			continue
		}
		d := o.deck(bench{state: s, damage: t.damage, blown: sit.Blown(), regions: sit.Regions()})
		what := fmt.Sprintf("%s point %d, state %q", t.id, t.point, s.Name)
		o.enter(job{d, what, func(ans ngspice.Answer) {
			o.same(what, sit, d, ans)
			over, near := d.over(ans)
			if len(over) > 0 {
				o.failf("%s: ngspice blows %v too", what, over)
			}
			if len(near) > 0 {
				t.why = o.reason(t, errNear)
			}
		}, func() { t.why = o.reason(t, errNoPoint) }})
		if o.random.IntN(everyReading) == 0 {
			o.volts(what, t, s, sit)
		}
		if o.random.IntN(everyReading) == 0 {
			o.offReadings(t, s)
		}
	}
}

// states are the states to compare.
func (o *outside) states() []circuit.State {
	if o.state.Name == "" {
		return []circuit.State{{}}
	}
	return []circuit.State{{}, o.state}
}

func (o *outside) deck(as bench) *deck {
	o.Helper()
	d, err := newDeck(o.h, as)
	require.NoError(o, err)
	return d
}

// blows returns the fuses that blow at rest and then in the state, in order.
func (o *outside) blows(t *trial) (blown []string, ok bool) {
	for _, s := range o.states() {
		if blown, ok = o.rounds(t, s, blown); !ok {
			return nil, false
		}
	}
	return blown, true
}

// rounds blows the fuses of one state, all that carry too much at once, until
// none does, and has ngspice say of each round whether it blows the same.
func (o *outside) rounds(t *trial, s circuit.State, blown []string) ([]string, bool) {
	for {
		sit, err := o.bench.Stand(t.fault, t.point, s, blown)
		if err != nil {
			if _, never := o.bench.Put(t.fault, t.point, s, false); never == nil {
				err = errHunting
			}
			t.why = o.reason(t, err)
			return nil, false
		}
		d := o.deck(bench{state: s, damage: t.damage, blown: blown, regions: sit.Regions()})
		ours := ngspice.Answer{Volts: make([]float64, d.nodes+1)}
		for pin, n := range d.node {
			ours.Volts[n] = sit.Node(pin)
		}
		over, near := d.over(ours)
		if len(near) > 0 {
			t.why = o.reason(t, errNear)
			return nil, false
		}
		if len(over) == 0 {
			return blown, true
		}
		what := fmt.Sprintf("%s point %d, state %q with %v blown", t.id, t.point, s.Name, blown)
		o.enter(job{d, what, func(ans ngspice.Answer) {
			o.same(what, sit, d, ans)
			if outside, _ := d.over(ans); !slices.Equal(over, outside) {
				o.failf("%s: %v blow, ngspice says %v", what, over, outside)
			}
			o.fuses++
		}, func() { t.why = o.reason(t, errNoPoint) }})
		blown = append(slices.Clone(blown), over...)
	}
}

// same compares every pin and every region.
func (o *outside) same(what string, sit *circuit.Situation, d *deck, ans ngspice.Answer) {
	for _, pin := range o.h.Pins() {
		got, want := sit.Node(pin), ans.Volts[d.node[pin]]
		off := math.Abs(got - want)
		o.worstNode = max(o.worstNode, off)
		if !(off <= max(nearVolts, nearShare*math.Abs(want))) {
			o.failf("%s: %s: %.6g V, ngspice says %.6g V", what, pin, got, want)
		}
		o.nodes++
	}
	wrong, right := d.contradictions(ans)
	for _, w := range wrong {
		o.failf("%s: by ngspice's voltages: %s", what, w)
	}
	o.regions += right
}

// pair picks two pins that a probe reaches.
func (o *outside) pair() (red, black string) {
	i, j := o.random.IntN(len(o.pins)), o.random.IntN(len(o.pins)-1)
	if j >= i {
		j++
	}
	return o.pins[i], o.pins[j]
}

// volts compares a reading of the voltmeter, its input in the circuit.
func (o *outside) volts(what string, t *trial, s circuit.State, sit *circuit.Situation) {
	red, black := o.pair()
	loaded, err := sit.Loaded(&o.meter, red, black)
	if err != nil {
		o.passed[o.reason(t, err)]++
		return
	}
	got := sit.Volts(&o.meter, red, black).Value
	d := o.deck(bench{state: s, damage: t.damage, blown: sit.Blown(), regions: loaded.Regions()})
	d.resistor(d.node[red], d.node[black], o.meter.InputOhms)
	o.enter(job{d, what, func(ans ngspice.Answer) {
		want := ans.Volts[d.node[red]] - ans.Volts[d.node[black]]
		off := math.Abs(got - want)
		o.worstVolts = max(o.worstVolts, off)
		if !(off <= max(nearVolts, nearShare*math.Abs(want))) {
			o.failf("%s: volts %s %s: %.6g V, ngspice says %.6g V", what, red, black, got, want)
		}
		wrong, _ := d.contradictions(ans)
		for _, w := range wrong {
			o.failf("%s: volts %s %s: by ngspice's voltages: %s", what, red, black, w)
		}
		o.voltsRead++
	}, func() { o.passed[errNoPoint.Error()]++ }})
}

// offReadings compares an ohms and a diode reading with the power off.
func (o *outside) offReadings(t *trial, s circuit.State) {
	sit, err := o.bench.Put(t.fault, t.point, s, true)
	if err != nil {
		o.passed[o.reason(t, err)]++
		return
	}
	as := bench{state: s, off: true, damage: t.damage, blown: sit.Blown()}
	what := fmt.Sprintf("%s point %d, state %q off", t.id, t.point, s.Name)
	red, black := o.pair()
	o.ohmmeter(fmt.Sprintf("%s: ohms %s %s", what, red, black), as, red, black, sit.Ohms(&o.meter, red, black))
	red, black = o.pair()
	o.junction(fmt.Sprintf("%s: diode %s %s", what, red, black), as, red, black, sit.Diode(&o.meter, red, black))
}

// ohmmeter compares an ohms reading: the meter puts its test voltage behind the
// full scale of the range, and takes the lowest range that holds the value.
func (o *outside) ohmmeter(what string, as bench, red, black string, r circuit.Reading) {
	measure := func(full float64, check func(ohms float64)) {
		d := o.deck(as)
		plus := d.hidden()
		p, q := d.node[red], d.node[black]
		d.line('v', number(o.meter.TestVolts), plus, q)
		d.resistor(plus, p, full)
		o.enter(job{d, what, func(ans ngspice.Answer) {
			v := ans.Volts[p] - ans.Volts[q]
			check(v/((ans.Volts[plus]-ans.Volts[p])/full) + o.meter.LeadOhms)
		}, func() { o.passed[errNoPoint.Error()]++ }})
	}
	var ranges []float64
	for full := o.meter.LeastOhms; full <= o.meter.LargestOhms; full *= 10 {
		ranges = append(ranges, full)
	}
	last := len(ranges) - 1
	if r.Over {
		measure(ranges[last], func(ohms float64) {
			if ohms < ranges[last]*(1-nearOhms) && ohms > 0 {
				o.failf("%s: over-range, ngspice says %.6g", what, ohms)
			}
			o.opens++
		})
		return
	}
	at := slices.IndexFunc(ranges, func(full float64) bool { return r.Value <= full })
	if at < 0 {
		o.failf("%s: %.6g ohm is past every range", what, r.Value)
		return
	}
	measure(ranges[at], func(ohms float64) {
		off := math.Abs(r.Value - ohms)
		o.worstOhms = max(o.worstOhms, off/ohms)
		if !(off <= nearOhms*ohms+1e-3) {
			o.failf("%s: %.6g ohm, ngspice says %.6g", what, r.Value, ohms)
		}
		o.ohms++
	})
	if at > 0 {
		measure(ranges[at-1], func(ohms float64) {
			if ohms < ranges[at-1]*(1-nearOhms) && ohms > 0 {
				o.failf("%s: %.6g ohm, ngspice has %.6g in the range below", what, r.Value, ohms)
			}
		})
	}
}

// junction compares a reading of the diode test.
func (o *outside) junction(what string, as bench, red, black string, r circuit.Reading) {
	d := o.deck(as)
	p, q := d.node[red], d.node[black]
	d.line('i', number(o.meter.DiodeCurrent), q, p)
	d.line('r', "1e9", p, q) // so that an open circuit has an answer
	o.enter(job{d, what, func(ans ngspice.Answer) {
		v := ans.Volts[p] - ans.Volts[q]
		if r.Over {
			if v < o.meter.DiodeVolts-nearDiode {
				o.failf("%s: over-range, ngspice says %.6g V", what, v)
			}
			o.opens++
			return
		}
		off := math.Abs(r.Value - v)
		o.worstDrop = max(o.worstDrop, off)
		if !(off <= nearDiode) {
			o.failf("%s: %.6g V, ngspice says %.6g V", what, r.Value, v)
		}
		o.drops++
	}, func() { o.passed[errNoPoint.Error()]++ }})
}

// run compares the healthy harness and its faults: all of them, or as many as
// are picked from the seed.
func (o *outside) run() {
	faults := o.h.Faults()
	trials := []*trial{{id: "healthy", damage: damage{}}}
	picked := o.random.Perm(len(faults))
	if most := pickedFaults(len(o.h.Parts)); len(picked) > most {
		o.left["not picked from the seed"] += len(picked) - most
		picked = picked[:most]
	}
	for _, i := range picked {
		f := &faults[i]
		_, n, err := damageOf(o.h, f.ID, 0)
		require.NoError(o, err)
		require.Equal(o, n, f.Points(), f.ID)
		first, past := 0, n
		if len(o.h.Parts) > everyPointUpTo {
			first = o.random.IntN(n)
			past = first + 1
		}
		for point := first; point < past; point++ {
			d, _, err := damageOf(o.h, f.ID, point)
			require.NoError(o, err)
			trials = append(trials, &trial{fault: f, id: f.ID, point: point, damage: d})
		}
	}
	for _, t := range trials {
		o.try(t)
	}
	o.flush()
	why := map[string]string{}
	for _, t := range trials[1:] {
		if t.why != "" {
			why[t.id] = t.why
		}
	}
	require.Empty(o, trials[0].why, "the healthy harness")
	for _, w := range why {
		o.left[w]++
	}
	o.faults += len(picked) - len(why)
	o.listed += len(faults)
	o.parts += len(o.h.Parts)
}

// made lists the sizes of the made harnesses, and how many of each.
var made = [][2]int{{5, 6}, {10, 6}, {20, 6}, {50, 5}, {100, 5}, {200, of200}, {500, of500}}

// TestOutside compares the solver with ngspice on every example harness and on
// made ones of 5 to 200 parts (500 in the study): every pin, every region and every blown fuse,
// healthy and with single faults, and a sample of meter readings.
func TestOutside(t *testing.T) {
	if _, err := ngspice.Solve(context.Background(), nil); errors.Is(err, ngspice.ErrMissing) {
		t.Skip("NOT CHECKED AGAINST NGSPICE: it is not installed")
	}
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	var files []string
	texts := map[string][]byte{}
	seeds := map[string]uint64{}
	paths, err := filepath.Glob(filepath.Join("..", "..", "testdata", "harness", "*.yaml"))
	require.NoError(t, err)
	add := func(name string, text []byte, seed uint64) {
		files = append(files, name)
		texts[name], seeds[name] = text, seed
	}
	for i := len(made) - 1; i >= 0; i-- { // the long ones first
		for k := range made[i][1] {
			seed := uint64(1000*i + k)
			add(fmt.Sprintf("made-%d-%d", made[i][0], k+1), madeHarness(seed, made[i][0]), seed)
		}
	}
	for i, path := range paths {
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		add(strings.TrimSuffix(filepath.Base(path), ".yaml"), text, uint64(i))
	}
	require.GreaterOrEqual(t, len(files), 40)
	var mu sync.Mutex
	total, harnesses, kinds := newTally(), 0, map[string]bool{}
	t.Run("harness", func(t *testing.T) {
		for _, name := range files {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				h, err := base.Harness(name, texts[name])
				require.NoError(t, err)
				var state circuit.State
				switch {
				case len(h.Symptoms) > 0:
					state, _ = h.State(h.Symptoms[0].State)
				case len(h.States) > 0:
					state = h.States[0]
				}
				bench, err := circuit.NewBench(h, state)
				require.NoError(t, err)
				o := &outside{T: t, tally: newTally(), h: h, bench: bench, state: state, meter: circuit.ReferenceMeter,
					random: rand.New(rand.NewPCG(seeds[name], 0x07))}
				for _, pin := range h.Pins() {
					if !h.NoAccess[pin] {
						o.pins = append(o.pins, pin)
					}
				}
				o.run()
				mu.Lock()
				defer mu.Unlock()
				fmt.Printf("%s: %v\n", name, o.tally)
				total.add(o.tally)
				harnesses++
				for _, p := range h.Parts {
					kinds[p.Kind] = true
				}
			})
		}
	})
	fmt.Printf("all %d harnesses: %v\n", harnesses, total)
	if harnesses < len(files) {
		return // not all were asked for, or some have failed
	}
	for _, k := range base.Kinds() {
		require.True(t, kinds[k] || k == "wire", "no harness has a %s", k)
	}
	require.Positive(t, total.faults)
	require.Positive(t, total.fuses)
	require.Positive(t, total.voltsRead)
	require.Positive(t, total.ohms)
	require.Positive(t, total.drops)
}
