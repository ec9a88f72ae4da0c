package circuit_test

import (
	"bytes"
	"cmp"
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
	points, allPoints      int // of the ranges of the faults: tried, and there are
	circuits               int // solved by ngspice
	nodes, regions         int // voltages of pins, and regions that its voltages bear out
	fuses                  int // rounds of blowing
	voltsRead, ohms, drops int // meter readings
	opens                  int // ohms and diode readings past the meter's range
	again                  int // circuits that were solved again with other pivots
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
	a.points += b.points
	a.allPoints += b.allPoints
	a.circuits += b.circuits
	a.nodes += b.nodes
	a.regions += b.regions
	a.fuses += b.fuses
	a.voltsRead += b.voltsRead
	a.ohms += b.ohms
	a.drops += b.drops
	a.opens += b.opens
	a.again += b.again
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
	fmt.Fprintf(&b, "%d parts, %d of %d faults compared at %d of %d points in %d circuits: %d pins, worst %.1e V; %d regions; %d rounds of fuses; readings: %d volts, worst %.1e V, %d ohms, worst %.2g %%, %d drops, worst %.1e V, %d past range; %d solved again with other pivots",
		a.parts, a.faults, a.listed, a.points, a.allPoints, a.circuits, a.nodes, a.worstNode, a.regions, a.fuses, a.voltsRead, a.worstVolts, a.ohms, 100*a.worstOhms, a.drops, a.worstDrop, a.opens, a.again)
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
	apart func(ngspice.Answer) []string // where it differs from ours
	count func(ngspice.Answer)          // of what is not apart
	fails func()                        // ngspice has none
}

// outside compares one harness.
type outside struct {
	*testing.T
	*tally
	h       *circuit.Harness
	bench   *circuit.Bench
	state   circuit.State
	depth   depth
	random  *rand.Rand
	meter   circuit.Meter
	allPins []string
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

// pivotShares are the shares of its column's largest entry that a pivot of
// ngspice must have: pivrel. Its own 1e-3 keeps matrices sparse and is a
// hundred times faster than 0.5 in a big harness, but it can lose digits where
// an island hangs by its leakage. What differs, or finds no operating point,
// is solved again with the next one. The most careful pivots can take minutes
// where a harness is big, and there 1e-2, at some seconds, has to do: it is as near
// as ours to the exact solution where 1e-3 to 1e-5 are millivolts off (TestExact).
// Where it finds no operating point, looser ones may.
func pivotShares(parts int) []float64 {
	if parts <= 110 {
		return []float64{1e-3, 1e-2, 0.5}
	}
	return []float64{1e-3, 1e-2, 1e-4, 1e-5}
}

// flush has ngspice solve what waits, and looks at the answers.
func (o *outside) flush() {
	jobs := o.jobs
	o.jobs, o.size = nil, 0
	shares := pivotShares(len(o.h.Parts))
	for try, share := range shares {
		if len(jobs) == 0 {
			return
		}
		last := try == len(shares)-1
		decks := make([][]byte, len(jobs))
		for i, j := range jobs {
			decks[i] = slices.Concat(options(share), j.deck.text.Bytes())
		}
		answers, err := ngspice.Solve(context.Background(), decks)
		require.NoError(o, err)
		var left []job
		for i, j := range jobs {
			found := len(answers[i].Volts) > j.deck.nodes
			var apart []string
			if found {
				apart = j.apart(answers[i])
			}
			switch {
			case !last && (!found || len(apart) > 0):
				left = append(left, j)
				o.again++
			case !found:
				j.fails()
			default:
				for _, how := range apart {
					o.failf("%s: %s", j.what, how)
				}
				o.circuits++
				j.count(answers[i])
			}
		}
		if last {
			return
		}
		jobs = left
	}
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

// try compares one point of a fault in the states that are asked for.
func (o *outside) try(t *trial) {
	blown, ok := o.blows(t)
	if !ok {
		return
	}
	compared := o.states()
	if !o.depth.rest {
		compared = compared[len(compared)-1:]
	}
	for _, s := range compared {
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
		o.enter(job{d, what, func(ans ngspice.Answer) []string {
			apart := o.apart(sit, d, ans)
			if over, _ := d.over(ans); len(over) > 0 {
				apart = append(apart, fmt.Sprintf("ngspice blows %v too", over))
			}
			return apart
		}, func(ans ngspice.Answer) {
			o.count(sit, d, ans)
			if _, near := d.over(ans); len(near) > 0 {
				t.why = o.reason(t, errNear)
			}
		}, func() { t.why = o.reason(t, errNoPoint) }})
		if o.random.IntN(o.depth.oneReadings) == 0 {
			o.volts(what, t, s, sit)
		}
		if o.random.IntN(o.depth.oneReadings) == 0 {
			o.offReadings(t, s)
		}
	}
}

// states are those that the vehicle is powered in, the symptom's last.
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
		o.enter(job{d, what, func(ans ngspice.Answer) []string {
			apart := o.apart(sit, d, ans)
			if outside, _ := d.over(ans); !slices.Equal(over, outside) {
				apart = append(apart, fmt.Sprintf("%v blow, ngspice says %v", over, outside))
			}
			return apart
		}, func(ans ngspice.Answer) {
			o.count(sit, d, ans)
			o.fuses++
		}, func() { t.why = o.reason(t, errNoPoint) }})
		blown = append(slices.Clone(blown), over...)
	}
}

// apart compares every pin and every region.
func (o *outside) apart(sit *circuit.Situation, d *deck, ans ngspice.Answer) []string {
	var all []string
	for i, got := range sit.Nodes() {
		pin := o.allPins[i]
		if want := ans.Volts[d.node[pin]]; !sameVolts(got, want) {
			all = append(all, fmt.Sprintf("%s: %.6g V, ngspice says %.6g V", pin, got, want))
		}
	}
	wrong, _ := d.contradictions(ans)
	return append(all, byVoltages(wrong)...)
}

// count adds what apart has compared.
func (o *outside) count(sit *circuit.Situation, d *deck, ans ngspice.Answer) {
	for i, got := range sit.Nodes() {
		o.worstNode = max(o.worstNode, math.Abs(got-ans.Volts[d.node[o.allPins[i]]]))
		o.nodes++
	}
	_, right := d.contradictions(ans)
	o.regions += right
}

func sameVolts(got, want float64) bool {
	return math.Abs(got-want) <= max(nearVolts, nearShare*math.Abs(want))
}

func byVoltages(wrong []string) []string {
	var all []string
	for _, w := range wrong {
		all = append(all, "by ngspice's voltages: "+w)
	}
	return all
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
	across := func(ans ngspice.Answer) float64 { return ans.Volts[d.node[red]] - ans.Volts[d.node[black]] }
	o.enter(job{d, fmt.Sprintf("%s: volts %s %s", what, red, black), func(ans ngspice.Answer) []string {
		wrong, _ := d.contradictions(ans)
		apart := byVoltages(wrong)
		if want := across(ans); !sameVolts(got, want) {
			apart = append(apart, fmt.Sprintf("%.6g V, ngspice says %.6g V", got, want))
		}
		return apart
	}, func(ans ngspice.Answer) {
		o.worstVolts = max(o.worstVolts, math.Abs(got-across(ans)))
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
	measure := func(full float64, apart func(ohms float64) string, count func(ohms float64)) {
		d := o.deck(as)
		plus := d.hidden()
		p, q := d.node[red], d.node[black]
		d.line('v', number(o.meter.TestVolts), plus, q)
		d.resistor(plus, p, full)
		ohms := func(ans ngspice.Answer) float64 {
			v := ans.Volts[p] - ans.Volts[q]
			return v/((ans.Volts[plus]-ans.Volts[p])/full) + o.meter.LeadOhms
		}
		o.enter(job{d, what, func(ans ngspice.Answer) []string {
			if how := apart(ohms(ans)); how != "" {
				return []string{how}
			}
			return nil
		}, func(ans ngspice.Answer) { count(ohms(ans)) }, func() { o.passed[errNoPoint.Error()]++ }})
	}
	var ranges []float64
	for full := o.meter.LeastOhms; full <= o.meter.LargestOhms; full *= 10 {
		ranges = append(ranges, full)
	}
	// past is apart for a range that our reading is past.
	past := func(full float64) func(float64) string {
		return func(ohms float64) string {
			if ohms < full*(1-nearOhms) && ohms > 0 {
				return fmt.Sprintf("ours is past the range of %.0f ohm, ngspice has %.6g in it", full, ohms)
			}
			return ""
		}
	}
	last := len(ranges) - 1
	if r.Over {
		measure(ranges[last], past(ranges[last]), func(float64) { o.opens++ })
		return
	}
	at := slices.IndexFunc(ranges, func(full float64) bool { return r.Value <= full })
	if at < 0 {
		o.failf("%s: %.6g ohm is past every range", what, r.Value)
		return
	}
	measure(ranges[at], func(ohms float64) string {
		if !(math.Abs(r.Value-ohms) <= nearOhms*ohms+1e-3) {
			return fmt.Sprintf("%.6g ohm, ngspice says %.6g", r.Value, ohms)
		}
		return ""
	}, func(ohms float64) {
		o.worstOhms = max(o.worstOhms, math.Abs(r.Value-ohms)/ohms)
		o.ohms++
	})
	if at > 0 {
		measure(ranges[at-1], past(ranges[at-1]), func(float64) {})
	}
}

// junction compares a reading of the diode test. Where ours is past the meter's
// volts, ngspice holds these across the pins and finds less than the test's
// current: a current that has nowhere to go would make a million volts, from
// which its junctions do not come back.
func (o *outside) junction(what string, as bench, red, black string, r circuit.Reading) {
	d := o.deck(as)
	p, q := d.node[red], d.node[black]
	fails := func() { o.passed[errNoPoint.Error()]++ }
	if r.Over {
		held := o.meter.DiodeVolts - nearDiode
		source := d.line('v', number(held), p, q)
		o.enter(job{d, what, func(ans ngspice.Answer) []string {
			if amps := -ans.Amps[source]; amps > o.meter.DiodeCurrent {
				return []string{fmt.Sprintf("over-range, ngspice has %.6g A at %.6g V", amps, held)}
			}
			return nil
		}, func(ngspice.Answer) { o.opens++ }, fails})
		return
	}
	d.line('i', number(o.meter.DiodeCurrent), q, p)
	drop := func(ans ngspice.Answer) float64 { return ans.Volts[p] - ans.Volts[q] }
	o.enter(job{d, what, func(ans ngspice.Answer) []string {
		if v := drop(ans); !(math.Abs(r.Value-v) <= nearDiode) {
			return []string{fmt.Sprintf("%.6g V, ngspice says %.6g V", r.Value, v)}
		}
		return nil
	}, func(ans ngspice.Answer) {
		o.worstDrop = max(o.worstDrop, math.Abs(r.Value-drop(ans)))
		o.drops++
	}, fails})
}

// depth is how much of a harness is compared.
type depth struct {
	faults      int  // at most so many, picked from a seed
	everyPoint  bool // of a fault's range, or one of them
	rest        bool // at rest too, not only in the state
	oneReadings int  // meter readings of one circuit in so many
}

// run compares the healthy harness and its faults: all of them, or as many as
// are picked from the seed.
func (o *outside) run() {
	faults := o.h.Faults()
	trials := []*trial{{id: "healthy", damage: damage{}}}
	picked := o.random.Perm(len(faults))
	leave := func(keep int, why string) {
		if out := len(picked) - keep; out > 0 {
			o.left[why] += out
			picked = picked[:keep]
		}
	}
	leave(o.depth.faults, "not picked from the seed")
	share, shares := o.shard()
	slices.SortStableFunc(picked, func(i, j int) int { // ours first
		return cmp.Compare((i+shares-share)%shares, (j+shares-share)%shares)
	})
	ours := slices.IndexFunc(picked, func(i int) bool { return i%shares != share })
	if ours >= 0 {
		leave(ours, "of another shard")
	}
	for _, i := range picked {
		f := &faults[i]
		_, n, err := damageOf(o.h, f.ID, 0)
		require.NoError(o, err)
		require.Equal(o, n, f.Points(), f.ID)
		first, past := 0, n
		if !o.depth.everyPoint {
			first = o.random.IntN(n)
			past = first + 1
		}
		o.points += past - first
		o.allPoints += n
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
	base, err := rules.OpenBase(kb.Files)
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
		name := strings.TrimSuffix(filepath.Base(path), ".yaml")
		add(name, text, uint64(i))
		if name == "cart-converter" { // once more with a converter that hiccups
			add(name+"-hiccup", bytes.Replace(text, []byte("kind: converter,"), []byte("kind: converter, hiccup: yes,"), 1), uint64(i))
		}
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
				o := &outside{T: t, tally: newTally(), h: h, bench: bench, state: state, depth: depthOf(len(h.Parts)), meter: circuit.ReferenceMeter,
					allPins: h.Pins(), random: rand.New(rand.NewPCG(seeds[name], 0x07))}
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
