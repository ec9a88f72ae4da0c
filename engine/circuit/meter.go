package circuit

import (
	"fmt"
	"math"
	"slices"
)

// Meter is a multimeter as a part of the circuit. Its figures are those of a
// common hand-held meter of 6000 counts (common practice, no source).
type Meter struct {
	Counts      float64 // of a range's full scale
	VoltsShare  float64 // accuracy as a share of the reading
	OhmsShare   float64
	AmpsShare   float64
	LastDigits  float64 // and in counts, for every mode
	InputOhms   float64 // on DC volts
	LeadOhms    float64 // both leads together
	ShuntOhms   float64 // on amps, leads included
	BeepOhms    float64 // continuity beeps below
	LargestOhms float64 // above this ohms reads over-range
	LargestAmps float64 // what its fuse carries
	LeastVolts  float64 // full scale of the lowest range of each mode
	LeastOhms   float64
	LeastAmps   float64
}

// ReferenceMeter is the meter that nothing else is said of.
var ReferenceMeter = Meter{
	Counts: 6000, VoltsShare: 0.005, OhmsShare: 0.008, AmpsShare: 0.012, LastDigits: 2,
	InputOhms: 10e6, LeadOhms: 0.2, ShuntOhms: 0.03, BeepOhms: 30, LargestOhms: 60e6, LargestAmps: 10,
	LeastVolts: 0.6, LeastOhms: 600, LeastAmps: 0.6,
}

// Resolution returns what one count is worth on the smallest range of 6 x 10^k,
// from least up, that holds the value.
func (m *Meter) Resolution(value, least float64) float64 {
	full := least
	for full < math.Abs(value) && full < 1e12 {
		full *= 10
	}
	return full / m.Counts
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
	column  int // unknown index of its current, and of its equation
	typ     ElementType
	size    float64   // one standard deviation of its ohms, volts or gain; all its ohms if leak
	leak    bool      // an open: all that passes is leakage
	c, d    int       // Follower: controlling nodes
	inverse []float64 // the base's inverse at the column
	weights []float64 // S^-1 V' B at the column
}

func (s *Situation) uncertainties() []uncertain {
	if s.uncertain != nil {
		return s.uncertain
	}
	s.uncertain = []uncertain{}
	for i := range s.sol.ba.branches {
		br := s.sol.branch(i)
		if br.Cut || s.sol.regions[i] != conducting {
			continue
		}
		u := uncertain{column: s.bench.net.nodes + i, typ: br.typ, c: br.c, d: br.d}
		switch {
		case br.Ohms >= OpenOhms: // of whatever element
			u.typ, u.size, u.leak = Resistance, br.Ohms, true
		case br.tolerance == 0:
			continue
		case br.typ == Resistance:
			u.size = br.tolerance / 2 * br.Ohms
		case br.typ == Source:
			u.size = br.tolerance / 2 * br.Volts
		case br.typ == Follower:
			u.size = br.tolerance / 2 * br.Gain
		}
		u.inverse = s.sol.ba.inv[u.column]
		if len(s.sol.v) > 0 {
			u.weights = s.sol.weights(u.inverse)
		}
		s.uncertain = append(s.uncertain, u)
	}
	return s.uncertain
}

// spread returns the standard deviation of row r of the solution and the part
// of it that is leakage, given the solution vector read through at(unknown):
// the adjoint of the error that each uncertain value makes in its own branch's
// equation. What passes an open is as good as linear in 1/ohms, so that the
// sensitivity to its ohms is all of it.
func (s *Situation) spread(r []term, at func(int) float64) (sigma, leak float64) {
	rw := make([]float64, len(s.sol.w))
	for j, w := range s.sol.w {
		rw[j] = dot(r, w)
	}
	node := func(n int) float64 {
		if n < 0 {
			return 0
		}
		return at(n)
	}
	var sum float64
	for _, u := range s.uncertainties() {
		adj := dot(r, u.inverse)
		for j, x := range rw {
			adj -= x * u.weights[j]
		}
		if adj == 0 {
			continue
		}
		e := u.size
		switch u.typ {
		case Resistance:
			e *= at(u.column)
		case Follower:
			e *= node(u.c) - node(u.d)
		}
		if u.leak {
			leak -= adj * e
			continue
		}
		sum += adj * e * adj * e
	}
	return math.Sqrt(sum), leak
}

// pair is the row of unknowns whose product is V(red) - V(black).
func (s *Situation) pair(red, black string) []term {
	var r []term
	if n := s.bench.net.node[red]; n >= 0 {
		r = append(r, term{n, 1})
	}
	if n := s.bench.net.node[black]; n >= 0 {
		r = append(r, term{n, -1})
	}
	return r
}

// response returns the changed network's answer to one ampere driven in at red
// and out at black, as a function of the unknown.
func (s *Situation) response(r []term) func(int) float64 {
	base := func(i int) float64 {
		var sum float64
		for _, t := range r {
			sum += t.x * s.sol.ba.inv[t.at][i]
		}
		return sum
	}
	if len(s.sol.v) == 0 {
		return base
	}
	t := make([]float64, len(s.sol.v))
	for i, row := range s.sol.v {
		for _, v := range row {
			t[i] += v.x * base(v.at)
		}
	}
	z := s.sol.s.solve(t)
	return func(i int) float64 {
		sum := base(i)
		for j, x := range z {
			sum -= x * s.sol.w[j][i]
		}
		return sum
	}
}

// Volts returns what the meter reads on DC volts, its own input included.
func (s *Situation) Volts(m *Meter, red, black string) Reading {
	r := s.pair(red, black)
	resp := s.response(r)
	var open, inner float64
	for _, t := range r {
		open += t.x * s.sol.x[t.at]
		inner += t.x * resp(t.at)
	}
	load := m.InputOhms / (m.InputOhms + inner)
	v := open * load
	drawn := v / m.InputOhms
	sigma, leak := s.spread(r, func(i int) float64 { return s.sol.x[i] - drawn*resp(i) })
	return Reading{Value: v, Sigma: math.Hypot(load*sigma, m.error(v, m.VoltsShare, m.LeastVolts)/2), Leak: load * leak}
}

// Ohms returns what the meter reads on ohms, its leads included. The situation
// must be one with the power off.
func (s *Situation) Ohms(m *Meter, red, black string) Reading {
	r := s.pair(red, black)
	resp := s.response(r)
	ohms := m.LeadOhms
	for _, t := range r {
		ohms += t.x * resp(t.at)
	}
	if ohms > m.LargestOhms {
		return Reading{Value: ohms, Over: true}
	}
	sigma, _ := s.spread(r, resp)
	sigma = math.Hypot(sigma, m.LeadOhms/2)
	return Reading{Value: ohms, Sigma: math.Hypot(sigma, m.error(ohms, m.OhmsShare, m.LeastOhms)/2)}
}

// Amps returns what the meter reads on DC amps in place of a part's fuse
// element, pulled from its holder; current from the element's a to its b is
// positive.
func (s *Situation) Amps(m *Meter, part string) (Reading, error) {
	i := slices.IndexFunc(s.bench.net.branches, func(b branch) bool {
		return b.blows > 0 && len(b.key) > len(part) && b.key[:len(part)+1] == part+"/"
	})
	if i < 0 {
		return Reading{}, fmt.Errorf("%s has no fuse to pull", part)
	}
	changed := s.bench.changed(s.sol.ba, s.alt, slices.DeleteFunc(slices.Clone(s.blown), func(j int) bool { return j == i }))
	br := s.sol.ba.branches[i]
	br.Ohms = m.ShuntOhms
	changed[i] = br
	sol, err := s.bench.settle(s.sol.ba, changed, s.bench.joins(s.sol.ba, s.alt))
	if err != nil {
		return Reading{}, err
	}
	pulled := &Situation{bench: s.bench, alt: s.alt, sol: sol}
	c := s.bench.net.nodes + i
	amps := sol.x[c]
	sigma, _ := pulled.spread([]term{{c, 1}}, func(j int) float64 { return sol.x[j] })
	return Reading{Value: amps, Sigma: math.Hypot(sigma, m.error(amps, m.AmpsShare, m.LeastAmps)/2), Over: math.Abs(amps) > m.LargestAmps}, nil
}
