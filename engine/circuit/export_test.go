package circuit

import "slices"

// ReviewWithin reviews with other bounds than its own.
func (h *Harness) ReviewWithin(states, switches float64) []Finding { return h.review(states, switches) }

// Regions returns how each branch that works in regions does, by part/element:
// conducting, limited or idle.
func (s *Situation) Regions() map[string]string {
	names := [...]string{conducting: "conducting", limited: "limited", idle: "idle"}
	m := map[string]string{}
	for i := range s.sol.ba.branches {
		if br := &s.sol.ba.branches[i]; br.limit > 0 || len(br.when) > 0 {
			m[br.key] = names[s.bench.net.region(i, s.sol.at)]
		}
	}
	return m
}

// Stand solves a powered state with one point of a fault and the fuses of the
// blown parts open; no more of them blow.
func (b *Bench) Stand(f *Fault, point int, s State, blown []string) (*Situation, error) {
	ba, err := b.base(s, false)
	if err != nil {
		return nil, err
	}
	var c alteration
	if f != nil {
		c = f.points[point]
	}
	sit := &Situation{bench: b}
	for i := range b.net.branches {
		if br := &b.net.branches[i]; br.blows > 0 && slices.ContainsFunc(blown, func(p string) bool { return len(br.key) > len(p) && br.key[:len(p)+1] == p+"/" }) {
			sit.blown = append(sit.blown, i)
		}
	}
	sit.sol, err = b.settle(ba, ba.at, b.changed(ba, c, sit.blown), b.joins(ba, c))
	return sit, err
}

// Loaded returns the situation with a voltmeter's input between two pins.
func (s *Situation) Loaded(m *Meter, red, black string) (*Situation, error) {
	return s.with(s.sol.at, conductance{s.bench.net.node[red], s.bench.net.node[black], 1 / m.InputOhms})
}
