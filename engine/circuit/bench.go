package circuit

import (
	"fmt"
	"math"
	"slices"
)

// Bench solves a harness, healthy or with a fault, in its states. Once it has
// put the healthy harness in a setup, any number of goroutines may put faults
// in the same setup.
type Bench struct {
	h     *Harness
	net   *network
	bases map[setup]*base
	tried []State // states in which the vehicle has been powered: blown fuses stay blown
}

// setup is one way to stand the vehicle on the bench.
type setup struct {
	state string
	off   bool
}

// base is the healthy network in one setup, factored, with its whole inverse.
type base struct {
	off      bool
	branches []branch
	regions  []region
	rhs      []float64
	x        []float64
	inv      [][]float64 // by column
}

// NewBench returns a bench for the harness whose vehicle has been powered at
// rest and in the tried states. It fails where the healthy network has no
// consistent solution.
func NewBench(h *Harness, tried ...State) (*Bench, error) {
	b := &Bench{h: h, net: h.network(), bases: map[setup]*base{}, tried: append([]State{{}}, tried...)}
	for _, s := range b.tried {
		if _, err := b.base(s, false); err != nil {
			return nil, err
		}
	}
	return b, nil
}

// Fresh returns a bench for the same harness whose fuses are all new: none has
// blown before the state that is solved.
func (b *Bench) Fresh() *Bench { return &Bench{h: b.h, net: b.net, bases: b.bases} }

func (b *Bench) base(s State, off bool) (*base, error) {
	key := setup{s.Name, off}
	if ba := b.bases[key]; ba != nil {
		return ba, nil
	}
	ba := &base{off: off, branches: slices.Clone(b.net.branches), regions: make([]region, len(b.net.branches))}
	for _, p := range b.h.Parts {
		setting := p.Rest
		if s.Settings[p.Name] != "" {
			setting = s.Settings[p.Name]
		}
		for id, v := range p.Settings[setting] {
			ba.branches[b.net.branch[partKey(p.Name, id)]].Values = v
		}
	}
	if off {
		for i := range ba.branches {
			br := &ba.branches[i]
			switch {
			case br.typ != Resistance:
				ba.regions[i] = idle
			case br.cold > 0:
				br.Ohms = br.cold
			}
		}
	}
	if err := b.factor(ba); err != nil {
		return nil, fmt.Errorf("state %q: %w", s.Name, err)
	}
	if !off {
		sol, err := b.settle(ba, nil, nil)
		if err != nil {
			return nil, fmt.Errorf("state %q of the healthy harness: %w", s.Name, err)
		}
		if !slices.Equal(sol.regions, ba.regions) {
			ba.regions = sol.regions
			if err := b.factor(ba); err != nil {
				return nil, fmt.Errorf("state %q: %w", s.Name, err)
			}
		}
	}
	b.bases[key] = ba
	return ba, nil
}

func (b *Bench) factor(ba *base) error {
	rows, rhs := b.net.matrix(ba.branches, ba.regions)
	lu, err := factor(rows)
	if err != nil {
		return err
	}
	ba.rhs = rhs
	ba.x = lu.solve(slices.Clone(rhs))
	ba.inv = make([][]float64, len(rhs))
	unit := make([]float64, len(rhs))
	for j := range ba.inv {
		clear(unit)
		unit[j] = 1
		ba.inv[j] = lu.solve(unit)
	}
	return nil
}

// Situation is the vehicle on the bench with a fault in it, solved.
type Situation struct {
	bench     *Bench
	alt       alteration
	sol       *solution
	says      map[string]string
	blown     []int
	uncertain []uncertain // found when first asked for
}

// Put solves the harness in a state with one point of a fault; a nil fault is
// the healthy harness. With off, every source is disconnected. Fuses that the
// fault blows in a state tried before, or in this one, are blown.
func (b *Bench) Put(f *Fault, point int, s State, off bool) (*Situation, error) {
	var c alteration
	var says map[string]string
	if f != nil {
		c, says = f.points[point], f.says
	}
	var blown []int
	var err error
	for _, tried := range b.tried {
		if blown, _, err = b.blow(tried, c, blown); err != nil {
			return nil, err
		}
	}
	if off {
		ba, err := b.base(s, true)
		if err != nil {
			return nil, err
		}
		sol, err := b.settle(ba, b.changed(ba, c, blown), b.joins(ba, c))
		if err != nil {
			return nil, err
		}
		return &Situation{bench: b, alt: c, sol: sol, says: says, blown: blown}, nil
	}
	blown, sol, err := b.blow(s, c, blown)
	if err != nil {
		return nil, err
	}
	return &Situation{bench: b, alt: c, sol: sol, says: says, blown: blown}, nil
}

// blow solves a powered state and blows every fuse whose steady current
// exceeds twice its rating, until none does.
func (b *Bench) blow(s State, c alteration, blown []int) ([]int, *solution, error) {
	ba, err := b.base(s, false)
	if err != nil {
		return nil, nil, err
	}
	blown = slices.Clone(blown)
	joins := b.joins(ba, c)
	for {
		sol, err := b.settle(ba, b.changed(ba, c, blown), joins)
		if err != nil {
			return nil, nil, err
		}
		more := false
		for i := range b.net.branches {
			if r := b.net.branches[i].blows; r > 0 && math.Abs(sol.x[b.net.nodes+i]) > 2*r && !slices.Contains(blown, i) {
				blown, more = append(blown, i), true
			}
		}
		if !more {
			return blown, sol, nil
		}
	}
}

// changed returns the branches that differ from the base's.
func (b *Bench) changed(ba *base, c alteration, blown []int) map[int]branch {
	m := map[int]branch{}
	get := func(i int) branch {
		if br, ok := m[i]; ok {
			return br
		}
		return ba.branches[i]
	}
	for key, v := range c.set {
		i := b.net.branch[key]
		br := get(i)
		br.Values = v
		if ba.off && br.cold > 0 && v.Ohms == b.net.branches[i].Ohms {
			br.Ohms = br.cold
		}
		m[i] = br
	}
	for key, ohms := range c.add {
		i := b.net.branch[key]
		br := get(i)
		br.Ohms += ohms
		m[i] = br
	}
	for _, key := range c.cut {
		i := b.net.branch[key]
		br := get(i)
		br.Cut = true
		m[i] = br
	}
	if c.toGnd != "" {
		i := b.net.branch[wireKey(c.toGnd)]
		br := get(i)
		br.Cut = true // its two halves are joins
		m[i] = br
	}
	for _, i := range blown {
		br := get(i)
		br.Ohms = OpenOhms
		m[i] = br
	}
	return m
}

// conductance is a path of some siemens between two nodes.
type conductance struct {
	a, b int
	g    float64
}

func (b *Bench) joins(ba *base, c alteration) []conductance {
	var js []conductance
	for _, j := range c.join {
		if a, z := b.net.node[j.a], b.net.node[j.b]; a != z {
			js = append(js, conductance{a, z, 1 / j.ohms})
		}
	}
	if c.toGnd != "" {
		// The wire's middle, joined to both ends by half its resistance and to
		// ground by the fault, is a star; the equal triangle needs no new node.
		w := &ba.branches[b.net.branch[wireKey(c.toGnd)]]
		half, down := 2/w.Ohms, 1/BridgeOhms
		sum := 2*half + down
		for _, j := range []conductance{{w.a, w.b, half * half / sum}, {w.a, -1, half * down / sum}, {w.b, -1, half * down / sum}} {
			if j.a != j.b {
				js = append(js, j)
			}
		}
	}
	return js
}

// Shows returns what the indicator, part or part.indicator, shows.
func (s *Situation) Shows(name string) string {
	if w, ok := s.says[name]; ok {
		return w
	}
	p, in := s.bench.h.Indicator(name)
	if in == nil {
		return ""
	}
	if in.Watts != "" {
		i := s.bench.net.branch[partKey(p.Name, in.Watts)]
		br := &s.bench.net.branches[i]
		return in.word((s.volts(br.a) - s.volts(br.b)) * s.sol.x[s.bench.net.nodes+i])
	}
	return in.word(s.volts(s.bench.net.node[p.Name+"."+in.Volts[0]]) - s.volts(s.bench.net.node[p.Name+"."+in.Volts[1]]))
}

// Node returns the voltage of a pin against ground with no meter connected.
func (s *Situation) Node(pin string) float64 { return s.volts(s.bench.net.node[pin]) }

// Blown returns the names of the parts whose fuses are blown.
func (s *Situation) Blown() []string {
	var names []string
	for _, i := range s.blown {
		for _, p := range s.bench.h.Parts {
			for _, e := range p.Elements {
				if partKey(p.Name, e.ID) == s.bench.net.branches[i].key {
					names = append(names, p.Name)
				}
			}
		}
	}
	return names
}

func (s *Situation) volts(node int) float64 {
	if node < 0 {
		return 0
	}
	return s.sol.x[node]
}
