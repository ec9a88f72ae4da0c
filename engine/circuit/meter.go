package circuit

import (
	"fmt"
	"maps"
	"math"
	"slices"
)

// Meter is a multimeter as a part of the circuit. Its figures are those of a
// common hand-held meter of 6000 counts (common practice, no source).
type Meter struct {
	Counts       float64 // of a range's full scale
	VoltsShare   float64 // accuracy as a share of the reading
	OhmsShare    float64
	AmpsShare    float64
	LastDigits   float64 // and in counts, for every mode
	InputOhms    float64 // on DC volts
	LeadOhms     float64 // both leads together
	ShuntOhms    float64 // on amps, leads included
	BeepOhms     float64 // continuity beeps below
	LargestOhms  float64 // above this ohms reads over-range
	LargestAmps  float64 // what its fuse carries
	LeastVolts   float64 // full scale of the lowest range of each mode
	LeastOhms    float64
	LeastAmps    float64
	TestVolts    float64 // open-circuit voltage of the ohms ranges, behind the range's full scale
	DiodeVolts   float64 // compliance of the diode test; above it reads over-range
	DiodeCurrent float64 // A
}

// ReferenceMeter is the meter that nothing else is said of.
var ReferenceMeter = Meter{
	Counts: 6000, VoltsShare: 0.005, OhmsShare: 0.008, AmpsShare: 0.012, LastDigits: 2,
	InputOhms: 10e6, LeadOhms: 0.2, ShuntOhms: 0.03, BeepOhms: 30, LargestOhms: 60e6, LargestAmps: 10,
	LeastVolts: 0.6, LeastOhms: 600, LeastAmps: 0.6, TestVolts: 2.5, DiodeVolts: 3, DiodeCurrent: 1e-3,
}

// Resolution returns what one count is worth on the smallest range of 6 x 10^k,
// from least up, that holds the value.
func (m *Meter) Resolution(value, least float64) float64 {
	return fullScale(math.Abs(value), least, 1e12) / m.Counts
}

// fullScale returns the smallest range, from least up in decades, that holds a
// value, or the first that holds most. A meter without a lowest range has one
// that is next to nothing.
func fullScale(value, least, most float64) float64 {
	full := max(least, 1e-6)
	for full < value && full < most {
		full *= 10
	}
	return full
}

// error is the limit of error of a reading.
func (m *Meter) error(value, share, least float64) float64 {
	return share*math.Abs(value) + m.LastDigits*m.Resolution(value, least)
}

// Reading is what a meter shows, and how far it may be off.
type Reading struct {
	Value float64 // V, ohm or A
	Sigma float64 // one standard deviation, same unit: part tolerances and meter
	// Leak is the part of Value that comes through opens (OpenOhms and above).
	// Only the order of magnitude of an open is known, and it may be none.
	Leak float64
	Over bool // over-range
}

// uncertain is a branch whose value is known to a tolerance only.
type uncertain struct {
	column int // unknown index of its current, and of its equation
	typ    ElementType
	size   float64 // one standard deviation of its ohms, volts or gain, of a junction's amps; all its ohms if leak
	leak   bool    // an open: all that passes is leakage
	alike  bool    // off to the same side as all others that are alike
	c, d   int     // Follower: controlling nodes
}

// effect is what the uncertainty does in the branch's own equation, in volts.
func (u *uncertain) effect(x unknowns) float64 {
	switch u.typ {
	case Resistance:
		return u.size * x(u.column)
	case Follower:
		return u.size * (x.volts(u.c) - x.volts(u.d))
	}
	return u.size
}

// uncertain returns what is known of a branch to a tolerance only.
func (s *Situation) uncertain(i int) (u uncertain, ok bool) {
	br := s.sol.branch(i)
	ohms := br.Ohms
	switch r := s.bench.net.region(i, s.sol.at); {
	case br.Cut, br.dead:
		return u, false
	case r == idle && br.typ == Resistance && br.off > 0:
		ohms = br.off
	case r != conducting:
		return u, false
	}
	u = uncertain{column: s.bench.net.nodes + i, typ: br.typ, c: br.c, d: br.d}
	switch {
	case ohms >= OpenOhms: // of whatever element
		u.typ, u.size, u.leak = Resistance, ohms, true
	case br.typ == Diode:
		// In its equation an error of its drop is one of its current.
		if v := s.sol.at.at[s.bench.net.slot[i]]; v > leastDrop {
			g, _ := br.junction(v)
			u.size = junctionShare * v * g
		}
	case br.typ == Resistance:
		u.size, u.alike = br.tolerance/2*ohms, br.alike
	case br.typ == Source:
		u.size = br.tolerance / 2 * br.Volts
	case br.typ == Follower:
		u.size = br.tolerance / 2 * br.Gain
	}
	return u, u.size != 0
}

// uncertainties returns all of them, and those that matter to a meter that
// draws next to nothing from a stiff pair of pins.
func (s *Situation) uncertainties() (all, strong []uncertain) {
	s.found.Do(func() {
		add := func(i int) {
			if u, ok := s.uncertain(i); ok {
				s.all = append(s.all, u)
				if !u.leak && math.Abs(u.effect(s.sol.value)) > weakVolts {
					s.strong = append(s.strong, u)
				}
			}
		}
		for _, i := range s.sol.ba.loose {
			add(i)
		}
		for _, i := range slices.Sorted(maps.Keys(s.sol.branches)) {
			if _, done := slices.BinarySearch(s.sol.ba.loose, i); !done {
				add(i)
			}
		}
	})
	return s.all, s.strong
}

// weakVolts is an effect in volts that no reading shows: thousands like it
// come to less than a count.
const weakVolts = 1e-6

// spread returns the standard deviation of a row of the solution and the part
// of it that is leakage, given the solution x that the row is taken of: the
// adjoint of the error that each uncertain value makes in its own branch's
// equation. What passes an open is as good as linear in 1/ohms, so that the
// sensitivity to its ohms is all of it.
func (s *Situation) spread(r []term, us []uncertain, x unknowns) (sigma, leak float64) {
	adjoint := s.adjoint(r)
	var squares, alike float64
	for i := range us {
		u := &us[i]
		adj := adjoint.value(u.column)
		if adj == 0 {
			continue
		}
		e := adj * u.effect(x)
		if u.leak {
			leak -= e
			continue
		}
		if u.alike {
			alike += e
			continue
		}
		squares += e * e
	}
	return math.Sqrt(squares + alike*alike), leak
}

// pair is the row of unknowns whose product is V(red) - V(black).
func (s *Situation) pair(red, black string) []term {
	return ends(s.bench.net.node[red], s.bench.net.node[black])
}

// response returns the changed network's answer to one ampere driven in at red
// and out at black.
func (s *Situation) response(r []term) sum {
	var resp sum
	if s.sol.prepare(); s.sol.by == nil {
		return resp
	}
	for _, t := range r {
		resp = append(resp, scaled{t.x, s.sol.by.columns.at(t.at)})
	}
	for j, z := range s.sol.weights(resp.value) {
		for _, part := range s.sol.w[j] {
			resp = append(resp, scaled{-z * part.f, part.col})
		}
	}
	return resp
}

// adjoint returns the derivative of a row of the solution by the right side of
// every equation.
func (s *Situation) adjoint(r []term) sum {
	var adj sum
	if s.sol.prepare(); s.sol.by == nil {
		return adj
	}
	for _, t := range r {
		adj = append(adj, scaled{t.x, s.sol.by.across.at(t.at)})
	}
	if len(s.sol.v) == 0 {
		return adj
	}
	rw := make([]float64, len(s.sol.w))
	for j, w := range s.sol.w {
		rw[j] = dot(r, w.value)
	}
	for i, z := range s.sol.s.solveTransposed(rw) {
		for _, t := range s.sol.v[i] {
			if f := z * t.x; f != 0 {
				adj = append(adj, scaled{-f, s.sol.by.across.at(t.at)})
			}
		}
	}
	return adj
}

// Volts returns what the meter reads on DC volts, its own input included.
func (s *Situation) Volts(m *Meter, red, black string) Reading {
	r := s.pair(red, black)
	resp := s.response(r)
	open, inner := dot(r, s.sol.value), dot(r, resp.value)
	sit, load := s, 1/(1+inner/m.InputOhms)
	v := open * load
	drawn := v / m.InputOhms
	if inner > stiffOhms && s.movable() {
		// The meter itself may move a junction or a region: put it in.
		if loaded, err := s.with(s.sol.at, conductance{s.bench.net.node[red], s.bench.net.node[black], 1 / m.InputOhms}); err == nil {
			sit, load, drawn, v = loaded, 1, 0, dot(r, loaded.sol.value)
		}
	}
	x := unknowns(sit.sol.value)
	us, strong := sit.uncertainties()
	switch {
	case inner < quietOhms:
		us = strong
	case drawn != 0:
		x = func(i int) float64 { return sit.sol.value(i) - drawn*resp.value(i) }
	}
	sigma, leak := sit.spread(r, us, x)
	return Reading{Value: v, Sigma: math.Hypot(load*sigma, m.error(v, m.VoltsShare, m.LeastVolts)/2), Leak: load * leak}
}

// Ohms returns what the meter reads on ohms, its leads included. The situation
// must be one with the power off.
func (s *Situation) Ohms(m *Meter, red, black string) Reading {
	r := s.pair(red, black)
	resp := s.response(r)
	ohms := m.LeadOhms + dot(r, resp.value)
	if s.stirred(m, ohms, resp.value) {
		return s.test(m, red, black)
	}
	if ohms > m.LargestOhms {
		return Reading{Value: ohms, Over: true}
	}
	us, _ := s.uncertainties()
	sigma, _ := s.spread(r, us, resp.value)
	sigma = math.Hypot(sigma, m.LeadOhms/2)
	return Reading{Value: ohms, Sigma: math.Hypot(sigma, m.error(ohms, m.OhmsShare, m.LeastOhms)/2)}
}

// quietOhms is an inner resistance in ohm below which neither leakage nor the
// meter's own current makes a count.
const quietOhms = 300

// stiffOhms is an inner resistance in ohm below which a voltmeter's input moves
// no junction.
const stiffOhms = 1e4

// movable reports whether anything in the circuit bends: junctions, or parts
// with regions.
func (s *Situation) movable() bool {
	return len(s.sol.ba.diodes) > 0 || !s.sol.ba.off && len(s.bench.net.active) > 0
}

// with returns the situation with more paths and currents in it, searched for
// from a point.
func (s *Situation) with(from point, j conductance, drive ...injection) (*Situation, error) {
	joins := slices.Clone(s.sol.joins)
	if j.a != j.b {
		joins = append(joins, j)
	}
	sol, err := s.bench.settle(s.sol.ba, from, s.sol.branches, joins, drive...)
	if err != nil {
		return nil, err
	}
	return &Situation{bench: s.bench, sol: sol, says: s.says, blown: s.blown}, nil
}

// quietVolts is a voltage in volts under which a junction is to an ohmmeter what
// it is at rest; quietShare is the share of a reading that may be wrong by it.
const (
	quietVolts = 0.05
	quietShare = 1e-3
)

// testAmps is the current in A of the test voltage through so many ohms, behind
// the resistance of the range that holds them.
func (m *Meter) testAmps(ohms float64) float64 {
	return m.TestVolts / (ohms + fullScale(ohms, m.LeastOhms, m.LargestOhms))
}

// stirred reports whether the ohmmeter's test voltage, behind its range's
// resistance, would bring any junction near conduction, or close one in reverse
// that leaks a share of the reading at rest.
func (s *Situation) stirred(m *Meter, ohms float64, resp unknowns) bool {
	amps := m.testAmps(ohms)
	return slices.ContainsFunc(s.sol.ba.diodes, func(i int) bool {
		br := s.sol.branch(i)
		across := resp.volts(br.a) - resp.volts(br.b) // ohm: volts for one ampere through the meter
		leak, _ := br.junction(0)
		return amps*across > quietVolts || amps*across < -quietVolts && leak*across*across > quietShare*ohms
	})
}

// test measures ohms with the test voltage in the circuit, range by range from
// the lowest, as a meter that ranges by itself does.
func (s *Situation) test(m *Meter, red, black string) Reading {
	p, q := s.bench.net.node[red], s.bench.net.node[black]
	from := s.sol.at
	for full := fullScale(0, m.LeastOhms, m.LargestOhms); full <= m.LargestOhms*1.01; full *= 10 {
		amps := m.TestVolts / full
		sit, err := s.with(from, conductance{p, q, 1 / full}, injection{p, amps}, injection{q, -amps})
		if err != nil {
			break
		}
		from = sit.sol.at
		v := sit.volts(p) - sit.volts(q)
		through := amps - v/full
		if ohms := v/through + m.LeadOhms; through > 0 && ohms <= full {
			sigma := math.Hypot(testShare*ohms, m.LeadOhms/2)
			return Reading{Value: ohms, Sigma: math.Hypot(sigma, m.error(ohms, m.OhmsShare, m.LeastOhms)/2)}
		}
	}
	return Reading{Value: math.MaxFloat64, Over: true}
}

// testShare is how well an ohms reading through a junction is known: it hangs
// on the meter's own test current (common practice, no source).
const testShare = 0.3

// junctionShare is how well the drop of a junction is known, as a share of it:
// 30 mV of silicon, half a volt of a string of LEDs (common practice, no source).
// Below leastDrop in V it does not conduct.
const (
	junctionShare = 0.05
	leastDrop     = 0.1
)

// Diode returns what the meter reads on its diode test: the volts that its
// current drops from red to black, over-range above its compliance. The
// situation must be one with the power off.
func (s *Situation) Diode(m *Meter, red, black string) Reading {
	return s.diode(m, s.sol.at, red, black)
}

func (s *Situation) diode(m *Meter, from point, red, black string) Reading {
	sit, err := s.diodeTest(m, from, red, black)
	if err != nil {
		return Reading{Over: true}
	}
	v := dot(s.pair(red, black), sit.sol.value)
	if v > m.DiodeVolts {
		return Reading{Value: v, Over: true}
	}
	us, _ := sit.uncertainties()
	sigma, _ := sit.spread(s.pair(red, black), us, sit.sol.value)
	return Reading{Value: v, Sigma: math.Hypot(sigma, m.error(v, m.VoltsShare, m.LeastVolts)/2)}
}

// diodeTest puts the meter's current through the circuit: a source, with so much
// across it that an open circuit has an answer.
func (s *Situation) diodeTest(m *Meter, from point, red, black string) (*Situation, error) {
	p, q := s.bench.net.node[red], s.bench.net.node[black]
	const beside = 1e9
	return s.with(from, conductance{p, q, 1 / beside}, injection{p, m.DiodeCurrent}, injection{q, -m.DiodeCurrent})
}

// Stirs reports whether an ohmmeter's test voltage brings a junction between the
// pins near conduction, so that its diode test says more. The situation must be
// one with the power off.
func (s *Situation) Stirs(m *Meter, red, black string) bool {
	r := s.pair(red, black)
	resp := s.response(r)
	amps, x := m.testAmps(dot(r, resp.value)), unknowns(resp.value)
	return slices.ContainsFunc(s.sol.ba.diodes, func(i int) bool {
		br := s.sol.branch(i)
		return amps*(x.volts(br.a)-x.volts(br.b)) > quietVolts
	})
}

// Amps returns what the meter reads on DC amps in place of a part's fuse
// element, pulled from its holder; current from the element's a to its b is
// positive.
func (s *Situation) Amps(m *Meter, part string) (Reading, error) {
	i, ok := s.bench.net.fuse(part)
	if !ok {
		return Reading{}, fmt.Errorf("%s has no fuse to pull", part)
	}
	changed := maps.Clone(s.sol.branches)
	br := s.sol.ba.branches[i]
	br.Ohms = m.ShuntOhms
	changed[i] = br
	sol, err := s.bench.settle(s.sol.ba, s.sol.at, changed, s.sol.joins)
	if err != nil {
		return Reading{}, err
	}
	pulled := &Situation{bench: s.bench, sol: sol}
	amps := sol.amps(i)
	us, _ := pulled.uncertainties()
	sigma, _ := pulled.spread([]term{{s.bench.net.nodes + i, 1}}, us, sol.value)
	return Reading{Value: amps, Sigma: math.Hypot(sigma, m.error(amps, m.AmpsShare, m.LeastAmps)/2), Over: math.Abs(amps) > m.LargestAmps}, nil
}
