package circuit

// islands are the pieces of a harness that nothing joins: nodes, the reference
// last, as a forest of unions.
type islands struct {
	net *network
	up  []int
}

// islands joins what is or can be connected in some setting, through loads and
// sources too.
func (h *Harness) islands(net *network) *islands {
	s := &islands{net: net, up: make([]int, net.nodes+1)}
	for i := range s.up {
		s.up[i] = i
	}
	cut := map[int]bool{}
	for _, p := range h.Parts {
		for _, e := range p.Elements {
			if e.Type == Resistance && p.lowest(e) >= OpenOhms {
				cut[net.branch[partKey(p.Name, e.ID)]] = true
			}
		}
	}
	for i, br := range net.branches {
		if !cut[i] {
			s.up[s.root(br.a)] = s.root(br.b)
		}
	}
	return s
}

// of names a pin's island by one of its nodes.
func (s *islands) of(pin string) int { return s.root(s.net.node[pin]) }

func (s *islands) root(n int) int {
	if n < 0 {
		n = s.net.nodes
	}
	for s.up[n] != n {
		s.up[n] = s.up[s.up[n]]
		n = s.up[n]
	}
	return n
}

// OwnGrounds returns, by pin, where the black lead goes for a pin that nothing
// joins to the ground: on the minus of the first source of its own circuit that
// a probe can reach. Pins that are joined to the ground, or that no source
// feeds, are not in it.
func (h *Harness) OwnGrounds() map[string]string {
	s := h.islands(h.network())
	ground := s.of(h.Ground)
	minus := map[int]string{}
	for _, p := range h.Parts {
		for _, e := range p.Elements {
			pin := p.Name + "." + e.B
			if at := s.of(pin); e.Type == Source && at != ground && minus[at] == "" && !h.NoAccess[pin] {
				minus[at] = pin
			}
		}
	}
	own := map[string]string{}
	for _, pin := range h.Pins() {
		if black := minus[s.of(pin)]; black != "" {
			own[pin] = black
		}
	}
	return own
}
