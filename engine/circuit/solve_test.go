package circuit

import (
	"fmt"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// maker makes random harnesses from a seed.
type maker struct {
	*rand.Rand
	h *Harness
}

func newMaker(seed uint64) *maker {
	return &maker{Rand: rand.New(rand.NewPCG(seed, 0x5eed)), h: &Harness{}}
}

// ohms is log-uniform from 10 mohm to 1 Mohm, and now and then as small as a
// contact. Opens come from switches, wires and faults.
func (m *maker) ohms() float64 {
	if m.IntN(5) == 0 {
		return 0.005
	}
	return math.Pow(10, -2+8*m.Float64())
}

func (m *maker) wire(from, to string) {
	m.h.Wires = append(m.h.Wires, Wire{
		Name: fmt.Sprintf("w%d", len(m.h.Wires)+1), From: from, To: to, Ohms: math.Pow(10, -3+2*m.Float64()),
		Failures: []Failure{{Mode: "open", Odds: 1}, {Mode: "resistive", Odds: 1, AddOhms: map[string][2]float64{"": {1, 100}}}, {Mode: "to ground", Odds: 1}},
	})
}

// part adds a part with pins named by number and returns it.
func (m *maker) part(name string, pins int) *Part {
	p := Part{Name: name}
	for i := range pins {
		p.Pins = append(p.Pins, fmt.Sprint(i))
	}
	m.h.Parts = append(m.h.Parts, p)
	return &m.h.Parts[len(m.h.Parts)-1]
}

// resistor adds an element to the part, with an open and a short as its failures.
func (p *Part) resistor(a, b int, ohms float64) {
	id := fmt.Sprintf("r%d", len(p.Elements))
	p.Elements = append(p.Elements, Element{ID: id, A: fmt.Sprint(a), B: fmt.Sprint(b), Values: Values{Ohms: ohms}, Tolerance: 0.05})
	p.Failures = append(p.Failures, Failure{Mode: id + "-broken", Odds: 1, Variants: []Alteration{
		{Set: map[string]Values{id: {Ohms: OpenOhms}}},
		{Set: map[string]Values{id: {Cut: true}}},
		{Bridge: [][2]string{{fmt.Sprint(a), fmt.Sprint(b)}}},
		{Set: map[string]Values{id: {Ohms: ohms*1.5 + 0.1}}},
	}})
}

func (p *Part) source(a, b int, volts, ohms float64) *Element {
	id := fmt.Sprintf("e%d", len(p.Elements))
	p.Elements = append(p.Elements, Element{ID: id, Type: Source, A: fmt.Sprint(a), B: fmt.Sprint(b), Values: Values{Volts: volts, Ohms: ohms}, Supply: true, Tolerance: 0.02})
	p.Failures = append(p.Failures, Failure{Mode: id + "-dead", Odds: 1, Variants: []Alteration{
		{Set: map[string]Values{id: {Ohms: OpenOhms, Volts: volts}}}, {Set: map[string]Values{id: {Ohms: ohms}}},
	}})
	return &p.Elements[len(p.Elements)-1]
}

// board adds a ladder or a mesh of resistors on n pins, fed at pin 1 against pin 0.
func (m *maker) board(name string, n int, mesh bool) *Part {
	p := m.part(name, n)
	p.source(1, 0, 12+60*m.Float64(), 0.01+0.2*m.Float64())
	for i := 2; i < n; i++ {
		p.resistor(i-1, i, m.ohms()) // the rail
		p.resistor(i, 0, m.ohms())   // the rungs
	}
	if mesh {
		for range n {
			if a, b := m.IntN(n), m.IntN(n); a != b {
				p.resistor(a, b, m.ohms())
			}
		}
	}
	if m.IntN(2) == 0 {
		a := 2 + m.IntN(n-2)
		p.Elements = append(p.Elements, Element{ID: "follows", Type: Follower, A: fmt.Sprint(a), B: "0", Of: [2]string{"1", "0"}, Values: Values{Gain: m.Float64(), Ohms: 1 + 100*m.Float64()}, Tolerance: 0.05})
	}
	return p
}

// random makes two boards joined through a connector, a splice and a switch.
// Of an island, nothing but the switch joins the second board to the first, and
// of one adrift, nothing at all.
func random(seed uint64, kind string, size int) *Harness {
	m := newMaker(seed)
	n := 3 + m.IntN(size)
	m.board("one", n, kind == "mesh")
	m.board("two", n, kind == "mesh")
	m.h.Ground = "one.0"
	ways := 2 + m.IntN(3)
	rows := 1
	if ways == 4 {
		rows = 1 + m.IntN(2)
	}
	plug := Part{Name: "plug", Ways: ways, Rows: rows, Failures: []Failure{
		{Mode: "open", Odds: 1}, {Mode: "resistive", Odds: 1, AddOhms: map[string][2]float64{"": {1, 100}}},
		{Mode: "swapped", Odds: 1}, {Mode: "bridged", Odds: 1}, {Mode: "mirrored", Odds: 1},
	}}
	for i := 1; i <= ways; i++ {
		plug.Pins = append(plug.Pins, fmt.Sprintf("%da", i), fmt.Sprintf("%db", i))
	}
	m.h.Parts = append(m.h.Parts, plug)
	m.h.Parts = append(m.h.Parts, Part{Name: "joint", Splice: true, Pins: []string{"x", "y", "z"}, Failures: []Failure{
		{Mode: "open", Odds: 1}, {Mode: "resistive", Odds: 1, AddOhms: map[string][2]float64{"": {1, 100}}},
	}})
	m.h.Parts = append(m.h.Parts, Part{
		Name: "sw", Pins: []string{"a", "b"}, Elements: []Element{{ID: "contact", A: "a", B: "b", Values: Values{Ohms: OpenOhms}}},
		Settings: map[string]Setting{"open": {"contact": {Ohms: OpenOhms}}, "closed": {"contact": {Ohms: 0.005}}}, Rest: "open",
		Failures: []Failure{
			{Mode: "stuck open", Odds: 1, Variants: []Alteration{{Set: map[string]Values{"contact": {Ohms: OpenOhms}}}}},
			{Mode: "stuck closed", Odds: 1, Variants: []Alteration{{Set: map[string]Values{"contact": {Ohms: 0.005}}}}},
		},
	})
	m.h.States = []State{{Name: "on", Settings: map[string]string{"sw": "closed"}}}
	pin := func(board string) string { return fmt.Sprintf("%s.%d", board, m.IntN(n)) }
	for i := 1; i <= ways; i++ {
		far := "two"
		if kind == "island" || kind == "adrift" {
			far = "one"
		}
		m.wire(pin("one"), fmt.Sprintf("plug.%da", i))
		m.wire(fmt.Sprintf("plug.%db", i), pin(far))
	}
	m.wire(pin("two"), "joint.x")
	m.wire("joint.y", pin("two"))
	switch kind {
	case "island":
		m.wire("joint.z", "sw.a")
		m.wire("sw.b", pin("one"))
	case "adrift":
		m.wire("joint.z", "sw.a")
	default:
		m.wire("joint.z", pin("one"))
		m.wire("two.0", "one.0")
		m.wire(pin("one"), "sw.a")
		m.wire("sw.b", pin("two"))
	}
	return m.h
}

// plain rewrites a harness without connectors and splices: their ways become
// elements of plain parts. It has no failures.
func plain(h *Harness) *Harness {
	c := &Harness{Ground: h.Ground, States: h.States, Wires: slices.Clone(h.Wires)}
	for i := range c.Wires {
		c.Wires[i].Failures = nil
	}
	for _, p := range h.Parts {
		q := Part{Name: p.Name, Pins: slices.Clone(p.Pins), Elements: slices.Clone(p.Elements), Settings: p.Settings, Rest: p.Rest}
		if p.Splice {
			q.Pins = append(q.Pins, "centre")
			for _, pin := range p.Pins {
				q.Elements = append(q.Elements, Element{ID: pin, A: pin, B: "centre", Values: Values{Ohms: 0.001}})
			}
		}
		for w := 1; w <= p.Ways; w++ {
			q.Elements = append(q.Elements, Element{ID: fmt.Sprint(w), A: fmt.Sprintf("%da", w), B: fmt.Sprintf("%db", w), Values: Values{Ohms: 0.005}})
		}
		c.Parts = append(c.Parts, q)
	}
	return c
}

func (p *Part) element(id string) *Element {
	return &p.Elements[slices.IndexFunc(p.Elements, func(e Element) bool { return e.ID == id })]
}

// withFault builds the harness with the fault in it from its ID, as the design
// words the fault, and shares nothing with the code under test. It does not
// know the faults of parts, but takes those from the failure itself.
func withFault(t testing.TB, h *Harness, id string, point, points int) *Harness {
	c := plain(h)
	var added float64
	if strings.HasSuffix(id, " resistive") {
		added = math.Pow(100, float64(point)/float64(points-1)) // equal ratios from 1 to 100 ohm
	}
	f := strings.Fields(id)
	switch f[0] {
	case "wire":
		w := &c.Wires[slices.IndexFunc(c.Wires, func(w Wire) bool { return w.Name == f[1] })]
		switch strings.Join(f[2:], " ") {
		case "open":
			w.Ohms = 1e9
		case "resistive":
			w.Ohms += added
		case "to ground":
			to := w.To
			w.Ohms /= 2
			w.To = "middle.m"
			half := w.Ohms
			c.Wires = append(c.Wires, Wire{Name: "half", From: "middle.m", To: to, Ohms: half}, Wire{Name: "chafe", From: "middle.m", To: h.Ground, Ohms: 0.01})
			c.Parts = append(c.Parts, Part{Name: "middle", Pins: []string{"m"}})
		default:
			t.Fatal(id)
		}
	case "way":
		part, way, _ := strings.Cut(f[1], ".")
		e := c.Part(part).element(way)
		switch f[2] {
		case "open":
			e.Ohms = 1e9
		case "resistive":
			e.Ohms += added
		default:
			t.Fatal(id)
		}
	case "ways":
		part, i, _ := strings.Cut(f[1], ".")
		_, j, _ := strings.Cut(f[2], ".")
		p := c.Part(part)
		switch f[3] {
		case "swapped":
			p.element(i).B, p.element(j).B = j+"b", i+"b"
		case "bridged":
			p.Elements = append(p.Elements, Element{ID: "bridge", A: i + "a", B: j + "a", Values: Values{Ohms: 0.01}})
		default:
			t.Fatal(id)
		}
	case "connector":
		p := c.Part(f[1])
		n, rows := h.Part(f[1]).Ways, h.Part(f[1]).Rows
		for i := range n {
			in := n / rows
			row, at := i/in, i%in
			p.element(fmt.Sprint(i + 1)).B = fmt.Sprintf("%db", row*in+in-at)
		}
	case "part":
		p := c.Part(f[1])
		mode := strings.Join(f[2:], " ")
		k := slices.IndexFunc(h.Part(f[1]).Failures, func(m Failure) bool { return m.Mode == mode })
		v := h.Part(f[1]).Failures[k].Variants[point]
		for id, values := range v.Set {
			p.element(id).Values = values
			p.Settings = nil // a broken part does not obey
		}
		for _, b := range v.Bridge {
			p.Elements = append(p.Elements, Element{ID: "bridge", A: b[0], B: b[1], Values: Values{Ohms: 0.01}})
		}
	default:
		t.Fatal(id)
	}
	return c
}

// exact solves a plain harness without limits or thresholds by Gaussian
// elimination of its own nodal equations with 256-bit numbers.
func exact(t testing.TB, h *Harness, state State) map[string]float64 {
	const bits = 256
	number := func(x float64) *big.Float { return new(big.Float).SetPrec(bits).SetFloat64(x) }
	at := map[string]int{}
	for _, pin := range h.Pins() {
		if pin != h.Ground {
			at[pin] = len(at)
		}
	}
	type edge struct {
		a, b string
		Element
	}
	var edges []edge
	for _, p := range h.Parts {
		for _, e := range p.Elements {
			set := p.Rest
			if s := state.Settings[p.Name]; s != "" {
				set = s
			}
			if v, ok := p.Settings[set][e.ID]; ok {
				e.Values = v
			}
			if !e.Cut {
				e.Of = [2]string{p.Name + "." + e.Of[0], p.Name + "." + e.Of[1]}
				edges = append(edges, edge{p.Name + "." + e.A, p.Name + "." + e.B, e})
			}
		}
	}
	for _, w := range h.Wires {
		edges = append(edges, edge{w.From, w.To, Element{Values: Values{Ohms: w.Ohms}}})
	}
	n := len(at)
	a := make([][]*big.Float, n)
	for i := range a {
		a[i] = make([]*big.Float, n+1)
		for j := range a[i] {
			a[i][j] = number(0)
		}
		a[i][i].Add(a[i][i], number(GMin))
	}
	add := func(row, col string, x *big.Float) {
		if i, ok := at[row]; ok {
			if j, ok := at[col]; ok {
				a[i][j].Add(a[i][j], x)
			}
		}
	}
	for _, e := range edges {
		g := new(big.Float).SetPrec(bits).Quo(number(1), number(e.Ohms))
		minus := new(big.Float).Neg(g)
		add(e.a, e.a, g)
		add(e.b, e.b, g)
		add(e.a, e.b, minus)
		add(e.b, e.a, minus)
		switch e.Type {
		case Source:
			push := new(big.Float).Mul(g, number(e.Volts))
			if i, ok := at[e.a]; ok {
				a[i][n].Add(a[i][n], push)
			}
			if i, ok := at[e.b]; ok {
				a[i][n].Sub(a[i][n], push)
			}
		case Follower:
			k := new(big.Float).Mul(g, number(e.Gain))
			less := new(big.Float).Neg(k)
			add(e.a, e.Of[0], less)
			add(e.a, e.Of[1], k)
			add(e.b, e.Of[0], k)
			add(e.b, e.Of[1], less)
		}
	}
	for k := range n {
		p := k
		for i := k; i < n; i++ {
			if new(big.Float).Abs(a[i][k]).Cmp(new(big.Float).Abs(a[p][k])) > 0 {
				p = i
			}
		}
		a[k], a[p] = a[p], a[k]
		require.NotZero(t, a[k][k].Sign())
		for i := k + 1; i < n; i++ {
			if a[i][k].Sign() == 0 {
				continue
			}
			f := new(big.Float).Quo(a[i][k], a[k][k])
			for j := k; j <= n; j++ {
				if a[k][j].Sign() != 0 {
					a[i][j].Sub(a[i][j], new(big.Float).Mul(f, a[k][j]))
				}
			}
		}
	}
	for k := n - 1; k >= 0; k-- {
		for j := k + 1; j < n; j++ {
			a[k][n].Sub(a[k][n], new(big.Float).Mul(a[k][j], a[j][n]))
		}
		a[k][n].Quo(a[k][n], a[k][k])
	}
	volts := map[string]float64{h.Ground: 0}
	for pin, i := range at {
		volts[pin], _ = a[i][n].Float64()
	}
	return volts
}

// worst keeps the largest of the errors seen, and what it was seen in.
type worst struct {
	volts float64
	where string
}

func (w *worst) see(off float64, where string, args ...any) {
	if off > w.volts || math.IsNaN(off) {
		w.volts, w.where = off, fmt.Sprintf(where, args...)
	}
}

// bound is what two solutions of one circuit may differ by in volts, as a share
// or absolutely, and what residual a solution may have.
type bound struct{ share, volts, residual float64 }

// strict is the bound that the update is held to.
var strict = bound{1e-9, 1e-6, 1e-9}

// afloat is the bound for what hangs by GMin alone: the hundred amperes within
// it are rounded at 1e-14 A, which is millivolts on ten such nodes, in the update and
// in the full solution alike. A meter's 10 Mohm takes that down to nothing.
var afloat = bound{0, 0.02, 1e-3}

func (b bound) near(want float64) float64 { return max(b.volts, b.share*math.Abs(want)) }

// region returns where the situation's branch works.
func (s *Situation) region(i int) region { return s.bench.net.region(i, s.sol.at) }

// residual returns how badly the situation's voltages and currents break
// Kirchhoff's current law or a branch's own law, as a share of the currents or
// voltages that meet there.
func (s *Situation) residual() float64 {
	n := s.bench.net
	sum, size := make([]float64, n.nodes), make([]float64, n.nodes)
	flow := func(node int, amps float64) {
		if node >= 0 {
			sum[node] += amps
			size[node] += math.Abs(amps)
		}
	}
	for v := range n.nodes {
		flow(v, GMin*s.sol.value(v))
	}
	bad := 0.0
	for i := range n.branches {
		br, amps := s.sol.branch(i), s.sol.amps(i)
		flow(br.a, amps)
		flow(br.b, -amps)
		off, scale := 0.0, 1.0
		switch {
		case br.Cut || s.region(i) == idle:
			off = amps
		case s.region(i) == limited:
			off = amps + br.limit
		default:
			va, vb := s.volts(br.a), s.volts(br.b)
			// above an ohm the law is judged as a current: what an open carries is nothing
			off, scale = va-vb-br.Ohms*amps, max(1, br.Ohms)*(1+math.Abs(va)+math.Abs(vb)+math.Abs(amps))
			switch br.typ {
			case Source:
				off -= br.Volts
			case Follower:
				off -= br.Gain * (s.volts(br.c) - s.volts(br.d))
			}
		}
		bad = max(bad, math.Abs(off)/scale)
	}
	for _, j := range s.sol.joins {
		amps := j.g * (s.volts(j.a) - s.volts(j.b))
		flow(j.a, amps)
		flow(j.b, -amps)
	}
	for v := range sum {
		bad = max(bad, math.Abs(sum[v])/(1+size[v]))
	}
	for i := range n.nodes + len(n.branches) {
		x := s.sol.value(i)
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return math.NaN()
		}
	}
	return bad
}

// closes reports whether the fault makes an insulation of OpenOhms conduct; the
// update then subtracts nearly equal numbers. It has a test of its own.
func closes(id string, s State) bool { return id == "part sw stuck closed" && s.Name == "" }

// compare puts faults in random networks and holds each pin's voltage against a
// full solution of the changed network, and some against exact arithmetic.
func compare(t *testing.T, kind string, networks uint64, limit bound, which func(id string, s State) bool) {
	var update, full, kcl worst
	circuits, pins, exactly := 0, 0, 0
	for seed := range networks {
		h := random(seed, kind, 6)
		bench, err := NewBench(h, h.States...)
		require.NoError(t, err)
		faults := append([]Fault{{ID: "none", points: []alteration{{}}}}, h.Faults()...)
		for i := range faults {
			f := &faults[i]
			point := int(seed+uint64(i)) % f.Points()
			changed := plain(h)
			if f.ID != "none" {
				changed = withFault(t, h, f.ID, point, f.Points())
			}
			for _, s := range []State{{}, h.States[0]} {
				if !which(f.ID, s) {
					continue
				}
				where := fmt.Sprintf("%s, seed %d, %s point %d, state %q", kind, seed, f.ID, point, s.Name)
				sit, err := bench.Put(f, point, s, false)
				require.NoError(t, err, where)
				r := sit.residual()
				kcl.see(r, "%s", where)
				if !(r < limit.residual) {
					t.Errorf("%s: residual %g", where, r)
				}
				fresh, err := NewBench(changed, s)
				require.NoError(t, err, where)
				want, err := fresh.Put(nil, 0, s, false)
				require.NoError(t, err, where)
				circuits++
				var sure map[string]float64
				if circuits%15 == 0 && len(h.Pins()) < 30 || f.ID == "part sw stuck closed" && seed < 3 {
					sure = exact(t, changed, s)
					exactly++
				}
				if t.Failed() {
					return // one circuit shows it
				}
				for _, pin := range h.Pins() {
					pins++
					got, want := sit.Node(pin), want.Node(pin)
					off := math.Abs(got - want)
					update.see(off, "%s, %s: %.12g V, full solution %.12g V", where, pin, got, want)
					if !(off <= limit.near(want)) {
						t.Errorf("%s, %s: %.12g V, full solution %.12g V", where, pin, got, want)
					}
					if sure != nil {
						off := math.Abs(got - sure[pin])
						full.see(off, "%s, %s: %.12g V, exactly %.12g V", where, pin, got, sure[pin])
						if !(off <= limit.near(sure[pin])) {
							t.Errorf("%s, %s: %.12g V, exactly %.12g V", where, pin, got, sure[pin])
						}
					}
				}
			}
		}
	}
	require.Positive(t, circuits)
	require.Positive(t, exactly)
	t.Logf("%d circuits, %d voltages; worst against a full solution %.3g V (%s); %d circuits in exact arithmetic, worst %.3g V (%s); worst residual %.3g (%s)",
		circuits, pins, update.volts, update.where, exactly, full.volts, full.where, kcl.volts, kcl.where)
}

func notClosing(id string, s State) bool { return !closes(id, s) }

// TestUpdateIsFullSolution checks every single fault of random networks: the
// low-rank update against the changed network built anew and factored.
func TestUpdateIsFullSolution(t *testing.T) {
	for _, kind := range []string{"ladder", "mesh"} {
		t.Run(kind, func(t *testing.T) { compare(t, kind, 10, strict, notClosing) })
	}
}

// TestUpdateOfIslands is the same for networks of which a part, with a source
// of its own, hangs on the rest by an insulation or not at all.
func TestUpdateOfIslands(t *testing.T) {
	for _, kind := range []string{"island", "adrift"} {
		t.Run(kind, func(t *testing.T) { compare(t, kind, 12, afloat, notClosing) })
	}
}

// TestUpdateThatClosesASwitch is the same for a contact of OpenOhms that the
// fault closes.
func TestUpdateThatClosesASwitch(t *testing.T) {
	for _, kind := range []string{"ladder", "mesh"} {
		t.Run(kind, func(t *testing.T) { compare(t, kind, 150, strict, closes) })
	}
}

// quiet is a meter without error and without leads.
func quiet() *Meter {
	m := ReferenceMeter
	m.VoltsShare, m.OhmsShare, m.AmpsShare, m.LastDigits, m.LeadOhms = 0, 0, 0, 0, 0
	m.LargestOhms = math.Inf(1)
	return &m
}

// only builds a part p with the pins 0 to n-1 and the resistors given, ground at pin 0.
func only(pins int, add func(p *Part)) *Harness {
	m := newMaker(0)
	add(m.part("p", pins))
	m.h.Ground = "p.0"
	return m.h
}

func offBench(t testing.TB, h *Harness) *Situation {
	t.Helper()
	bench, err := NewBench(h)
	require.NoError(t, err)
	s, err := bench.Put(nil, 0, State{}, true)
	require.NoError(t, err)
	return s
}

// TestOhmsByHand reads chains of resistors in series and in parallel, mixed at
// random, against the sum formulas, on ground and floating. A floating chain
// has the rounding of 1/GMin in it, which a meter does not show.
func TestOhmsByHand(t *testing.T) {
	m := newMaker(7)
	worst := map[bool]float64{}
	for trial := range 200 {
		rungs := 1 + m.IntN(5)
		floating := trial%2 == 1
		var want float64
		h := only(rungs+2, func(p *Part) {
			for i := range rungs { // one to three in parallel from pin i+1 to i+2, if there is one
				if i+2 == rungs+2 {
					break
				}
				var siemens float64
				for range 1 + m.IntN(3) {
					ohms := math.Pow(10, -2+6*m.Float64())
					siemens += 1 / ohms
					p.resistor(i+1, i+2, ohms)
				}
				want += 1 / siemens
			}
			if !floating {
				p.resistor(0, 1, 0.5) // a stub that carries nothing
			}
			p.source(1, 0, 36, 0.1) // off: it carries nothing
		})
		s := offBench(t, h)
		black := fmt.Sprintf("p.%d", rungs+1)
		got := s.Ohms(quiet(), "p.1", black).Value
		limit := 1e-7*want + 1e-9 // GMin past 30 kohm
		if floating {
			limit += 2e-3
		}
		require.InDelta(t, want, got, limit, "trial %d, floating %v", trial, floating)
		worst[floating] = max(worst[floating], math.Abs(got-want)/limit)
		leads := quiet()
		leads.LeadOhms = 0.2
		require.InDelta(t, got+0.2, s.Ohms(leads, "p.1", black).Value, 1e-9)
	}
	t.Logf("worst as a share of the bound: grounded %.3g, floating %.3g", worst[false], worst[true])
}

// TestMeterWithoutALowestRange: a meter whose lowest range nobody gave ranges
// up from next to nothing, and ends.
func TestMeterWithoutALowestRange(t *testing.T) {
	h := only(2, func(p *Part) { p.resistor(0, 1, 47) })
	s := offBench(t, h)
	m := *quiet()
	m.LeastOhms, m.LeastVolts = 0, 0
	require.InDelta(t, 47, s.Ohms(&m, "p.0", "p.1").Value, 1e-6)
	require.InEpsilon(t, 1e-6/m.Counts, m.Resolution(0, 0), 1e-9)
	require.InEpsilon(t, 100/m.Counts, m.Resolution(47, 0), 1e-9)
	require.InEpsilon(t, 1e12/m.Counts, m.Resolution(math.Inf(1), 0), 1e-9)
	require.InEpsilon(t, 600/m.Counts, m.Resolution(-47, 600), 1e-9)

	p := only(2, func(p *Part) { // through a junction, range by range
		p.resistor(0, 1, 1e5)
		p.Elements = append(p.Elements, Element{ID: "d", Type: Diode, A: "0", B: "1", Saturation: 1e-9, Slope: 0.0257})
	})
	require.Greater(t, offBench(t, p).Ohms(&m, "p.0", "p.1").Value, 0.0)
}

// TestReciprocity swaps the leads, and swaps where current is driven and voltage
// read: a network of resistors does not tell the difference.
func TestReciprocity(t *testing.T) {
	for seed := range uint64(20) {
		h := random(seed, "mesh", 6)
		bench, err := NewBench(h)
		require.NoError(t, err)
		faults := h.Faults()
		for i := range faults {
			s, err := bench.Put(&faults[i], 0, State{}, true)
			require.NoError(t, err)
			pins := h.Pins()
			r := rand.New(rand.NewPCG(seed, uint64(i)))
			pick := func() string { return pins[r.IntN(len(pins))] }
			a, b, c, d := pick(), pick(), pick(), pick()
			meter := quiet()
			one, two := s.Ohms(meter, a, b), s.Ohms(meter, b, a)
			require.False(t, math.IsNaN(one.Value) || math.IsNaN(one.Sigma))
			require.InDelta(t, one.Value, two.Value, 1e-9*one.Value+1e-9, "%s, %s to %s", faults[i].ID, a, b)
			require.InDelta(t, one.Sigma, two.Sigma, 1e-9*one.Sigma+1e-9)
			require.GreaterOrEqual(t, one.Value, -1e-6)
			transfer := func(drive, read []term) float64 {
				resp := s.response(drive)
				var v float64
				for _, t := range read {
					v += t.x * resp.value(t.at)
				}
				return v
			}
			there, back := transfer(s.pair(a, b), s.pair(c, d)), transfer(s.pair(c, d), s.pair(a, b))
			size := one.Value + s.Ohms(meter, c, d).Value
			require.InDelta(t, there, back, 1e-8*size+1e-5, "seed %d, %s: %s to %s against %s to %s", seed, faults[i].ID, a, b, c, d)
		}
	}
}

// TestSingular asks for an error, and no panic, where a network has no answer
// or more than one.
func TestSingular(t *testing.T) {
	for _, c := range []struct {
		name string
		h    *Harness
	}{
		{"two ideal sources that disagree", only(2, func(p *Part) { p.source(1, 0, 36, 0); p.source(1, 0, 12, 0) })},
		{"two ideal sources that agree", only(2, func(p *Part) { p.source(1, 0, 36, 0); p.source(1, 0, 36, 0) })},
		{"an ideal source shorted", only(2, func(p *Part) { p.source(1, 0, 36, 0); p.resistor(1, 0, 0) })},
		{"an ideal source on one pin", only(2, func(p *Part) { p.resistor(1, 0, 1); p.source(1, 1, 5, 0) })},
		{"a ring of ideal wires", only(4, func(p *Part) { p.resistor(1, 2, 0); p.resistor(2, 3, 0); p.resistor(3, 1, 0); p.resistor(1, 0, 5) })},
		{"a ring of ideal sources", only(4, func(p *Part) {
			p.source(1, 0, 12, 0)
			p.source(2, 1, 12.3, 0)
			p.source(3, 2, 0.1, 0)
			p.source(3, 0, 24.4, 0)
		})},
		{"a follower of itself", only(2, func(p *Part) {
			p.Elements = append(p.Elements, Element{ID: "f", Type: Follower, A: "1", B: "0", Of: [2]string{"1", "0"}, Values: Values{Gain: 1}})
		})},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := NewBench(c.h)
			require.Error(t, err)
		})
	}
	t.Run("by a fault", func(t *testing.T) {
		h := only(2, func(p *Part) {
			p.source(1, 0, 36, 0)
			p.source(1, 0, 30, 0.5)
			p.Failures = []Failure{{Mode: "stiff", Odds: 1, Variants: []Alteration{{Set: map[string]Values{"e1": {Volts: 30}}}}}}
		})
		bench, err := NewBench(h)
		require.NoError(t, err)
		f := h.Faults()
		_, err = bench.Put(&f[0], 0, State{}, false)
		require.Error(t, err)
	})
	t.Run("random matrices short of a row", func(t *testing.T) {
		r := rand.New(rand.NewPCG(3, 4))
		for range 300 {
			n := 2 + r.IntN(8)
			rows := make([][]term, n)
			dense := make([]float64, n*n)
			gone := r.IntN(n) // this column is empty
			for i := range rows {
				for j := range n {
					if j != gone && r.IntN(2) == 0 {
						x := r.NormFloat64()
						rows[i] = append(rows[i], term{j, x})
						dense[i*n+j] = x
					}
				}
			}
			_, err := factor(rows)
			require.ErrorIs(t, err, errSingular)
			_, err = factorDense(n, dense)
			require.ErrorIs(t, err, errSingular)
		}
	})
}

// TestFixedPivots: a matrix with an entry where the first had none is refused,
// also where the entry only comes about on the way; one of the same pattern is
// solved.
func TestFixedPivots(t *testing.T) {
	rows := func(extra ...term) [][]term {
		return [][]term{compact(append([]term{{0, 1}}, extra...)), {{0, 3}, {1, 2}}, {{2, 4}}}
	}
	o, err := fixPivots(rows(), nil)
	require.NoError(t, err)
	for range 2 {
		require.ErrorIs(t, o.like().factor(rows(term{2, 5}), nil), errPattern)
		require.ErrorIs(t, o.factor(rows(term{1, 5}), nil), errPattern)
		require.NoError(t, o.factor(rows(term{0, 1}), nil))
		require.InDeltaSlice(t, []float64{1, 0.5, 2}, o.solve([]float64{2, 4, 8}), 1e-12)
	}
}

// TestFactor solves random sparse systems with a known answer.
func TestFactor(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for range 200 {
		n := 1 + r.IntN(30)
		rows := make([][]term, n)
		x, b := make([]float64, n), make([]float64, n)
		for j := range x {
			x[j] = r.NormFloat64()
		}
		order := r.Perm(n) // no use of the diagonal
		dense := make([]float64, n*n)
		for i := range rows {
			for j := range n {
				if v := 0.0; order[i] == j || r.IntN(5) == 0 {
					v = r.NormFloat64()
					if order[i] == j {
						v += 10
					}
					rows[i] = append(rows[i], term{j, v})
					dense[i*n+j] = v
					b[i] += v * x[j]
				}
			}
		}
		lu, err := factor(rows)
		require.NoError(t, err)
		full, err := factorDense(n, dense)
		require.NoError(t, err)
		for _, got := range [][]float64{lu.solve(slices.Clone(b)), full.solve(b)} {
			for j := range x {
				require.InDelta(t, x[j], got[j], 1e-9)
			}
		}
	}
}

// fed makes a board of resistors with several sources that have limits, and
// when thresholds is set, some that wait for another pin to have a voltage.
func fed(seed uint64, thresholds bool) *Harness {
	m := newMaker(seed)
	n := 4 + m.IntN(5)
	p := m.part("p", n)
	p.source(1, 0, 36, 0.1)
	for i := 2; i < n; i++ {
		p.resistor(i-1, i, math.Pow(10, -1+3*m.Float64()))
		p.resistor(i, 0, math.Pow(10, 4*m.Float64()))
	}
	for range 1 + m.IntN(4) {
		e := p.source(2+m.IntN(n-2), 0, 3+40*m.Float64(), 0.5*m.Float64()+0.01)
		e.Limit = math.Pow(10, -2+3*m.Float64())
		if thresholds && m.IntN(2) == 0 {
			e.When = []Threshold{{Between: [2]string{fmt.Sprint(1 + m.IntN(n-1)), "0"}, Above: 40 * m.Float64(), Below: math.Inf(1)}}
		}
	}
	m.h.Ground = "p.0"
	return m.h
}

// TestLimits puts faults in networks with limited sources and looks at each of
// them. With thresholds there may be no consistent state.
func TestLimits(t *testing.T) {
	const slack = 1e-5 // TestLimitIsExact asks for more
	for _, thresholds := range []bool{false, true} {
		t.Run(fmt.Sprintf("thresholds %v", thresholds), func(t *testing.T) {
			in := map[region]int{}
			circuits, gaveUp, asleep := 0, 0, 0
			var kcl worst
			for seed := range uint64(300) {
				h := fed(seed, thresholds)
				bench, err := NewBench(h)
				if err != nil { // TestSettleFindsTheState says of which of them none may
					require.ErrorIs(t, err, ErrNoRegions)
					gaveUp++
					continue
				}
				faults := append([]Fault{{ID: "none", points: []alteration{{}}}}, h.Faults()...)
				for i := range faults {
					f := &faults[i]
					for point := range f.Points() {
						where := fmt.Sprintf("seed %d, %s point %d", seed, f.ID, point)
						s, err := bench.Put(f, point, State{}, false)
						circuits++
						if err != nil { // TestSettleFindsTheState says of which of them none may
							require.ErrorIs(t, err, ErrNoRegions)
							gaveUp++
							continue
						}
						kcl.see(s.residual(), "%s", where)
						for j := range bench.net.branches {
							br := s.sol.branch(j)
							if br.limit == 0 || br.Cut {
								continue
							}
							in[s.region(j)]++
							out := -s.sol.amps(j)
							v := s.volts(br.a) - s.volts(br.b)
							if !(out >= -slack && out <= br.limit+slack) {
								t.Errorf("%s: %s delivers %g A, its limit is %g", where, br.key, out, br.limit)
							}
							if slices.ContainsFunc(br.when, func(w condition) bool { return s.volts(w.p)-s.volts(w.m) <= w.above }) {
								asleep++
								if math.Abs(out) > slack {
									t.Errorf("%s: %s delivers %g A below its threshold", where, br.key, out)
								}
								continue
							}
							line := br.Volts - br.Ohms*out // what it would have without a limit
							off := 1e-4 + 1e-13*br.Ohms
							switch {
							case out > slack && out < br.limit-slack:
								if math.Abs(v-line) > off {
									t.Errorf("%s: %s stands at %g V, its line is %g V", where, br.key, v, line)
								}
							case out >= br.limit-slack:
								if v > line+off {
									t.Errorf("%s: %s is at its limit at %g V, above its line of %g V", where, br.key, v, line)
								}
							default:
								if v < line-off {
									t.Errorf("%s: %s is idle at %g V, below its %g V", where, br.key, v, line)
								}
							}
						}
					}
				}
			}
			t.Logf("%d circuits, no consistent state in %d, sources by region %v, asleep %d, worst residual %.3g (%s)", circuits, gaveUp, in, asleep, kcl.volts, kcl.where)
			require.Less(t, kcl.volts, 1e-5, kcl.where)
			for _, r := range []region{conducting, limited, idle} {
				require.Positive(t, in[r], "region %d never seen", r)
			}
			require.Equal(t, thresholds, asleep > 0)
			require.Less(t, gaveUp, 1+circuits/20)
		})
	}
}

// TestSettleFindsTheState asks for a solution of every network of resistors and
// limited sources. Each of them has one, as all of its elements carry more at
// more volts.
func TestSettleFindsTheState(t *testing.T) {
	t.Run("by hand", func(t *testing.T) {
		// one source of 40 V, 0.3 ohm and one of 6 V, 0.15 ohm on one pin with 10
		// ohm: the first alone gives 38.8 V and 3.88 A, the second idles
		h := only(2, func(p *Part) {
			p.source(1, 0, 40, 0.3).Limit = 8
			p.source(1, 0, 6, 0.15).Limit = 0.8
			p.resistor(1, 0, 10)
		})
		bench, err := NewBench(h)
		require.NoError(t, err)
		s, err := bench.Put(nil, 0, State{}, false)
		require.NoError(t, err)
		require.InDelta(t, 40*10/10.3, s.Node("p.1"), 1e-6)
	})
	t.Run("at random", func(t *testing.T) {
		var failed []uint64
		for seed := range uint64(300) {
			if _, err := NewBench(fed(seed, false)); err != nil {
				failed = append(failed, seed)
			}
		}
		require.Empty(t, failed)
	})
}

// TestLimitIsExact holds a network of which one source dies and another comes
// to its limit against the full solution of the changed network.
func TestLimitIsExact(t *testing.T) {
	h := fed(283, true)
	bench, err := NewBench(h)
	require.NoError(t, err)
	faults := h.Faults()
	i := slices.IndexFunc(faults, func(f Fault) bool { return f.ID == "part p e12-dead" })
	require.GreaterOrEqual(t, i, 0)
	got, err := bench.Put(&faults[i], 0, State{}, false)
	require.NoError(t, err)
	fresh, err := NewBench(withFault(t, h, faults[i].ID, 0, faults[i].Points()))
	require.NoError(t, err)
	want, err := fresh.Put(nil, 0, State{}, false)
	require.NoError(t, err)
	for _, pin := range h.Pins() {
		require.InDelta(t, want.Node(pin), got.Node(pin), strict.near(want.Node(pin)), pin)
	}
	require.Less(t, got.residual(), strict.residual)
}
