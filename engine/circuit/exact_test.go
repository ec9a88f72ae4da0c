package circuit_test

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

// nearExact is how far ours may be from the exact volts.
const nearExact = 1e-4

// TestExact compares faults of big made harnesses that hang pieces by nothing
// but leakage, where 53 bits are few, with the exact solution of the same deck.
func TestExact(t *testing.T) {
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	for _, c := range []struct {
		name   string
		seed   uint64
		parts  int
		faults []situated
	}{
		// A fuse blows, and a contactor's coil is left with both ends on one piece that touches nothing.
		{"made-200-2", 5001, 200, []situated{{"ways c125.2 c125.3 swapped", 0}}},
		// The rail of an isolated converter carries amperes; ngspice with pivots of 1e-3 to 1e-5 is 1 to 4 mV off.
		{"made-500-1", 6000, 500, []situated{{"wire w1057 resistive", 4}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			h, err := base.Harness(c.name, madeHarness(c.seed, c.parts))
			require.NoError(t, err)
			state := h.States[0]
			b, err := circuit.NewBench(h, state)
			require.NoError(t, err)
			for _, f := range c.faults {
				worst, at := farFromExact(t, h, b, state, f)
				require.LessOrEqual(t, worst, nearExact, "%s: %s", f.fault, at)
			}
		})
	}
}

// situated is a point of a fault.
type situated struct {
	fault string
	point int
}

// farFromExact returns how far ours is from the exact volts of any pin, and of which.
func farFromExact(t *testing.T, h *circuit.Harness, b *circuit.Bench, s circuit.State, f situated) (worst float64, at string) {
	t.Helper()
	faults := h.Faults()
	i := slices.IndexFunc(faults, func(g circuit.Fault) bool { return g.ID == f.fault })
	require.GreaterOrEqual(t, i, 0, f.fault)
	sit, err := b.Put(&faults[i], f.point, s, false)
	require.NoError(t, err)
	hurt, _, err := damageOf(h, f.fault, f.point)
	require.NoError(t, err)
	d, err := newDeck(h, bench{state: s, damage: hurt, blown: sit.Blown(), regions: sit.Regions()})
	require.NoError(t, err)
	ours := make([]float64, d.nodes+1)
	for pin, n := range d.node {
		ours[n] = sit.Node(pin)
	}
	volts, err := exact(d, ours)
	require.NoError(t, err)
	for pin, n := range d.node {
		if off := math.Abs(ours[n] - volts[n]); off >= worst {
			worst, at = off, fmt.Sprintf("%s: %.7g V, exactly %.7g V", pin, ours[n], volts[n])
		}
	}
	return worst, at
}

// exactBits is what the exact solution reckons with: enough that a wire of a
// milliohm and a leak of a teraohm at one node lose nothing to each other.
const exactBits = 256

var errExact = errors.New("the exact equations have no solution")

// exact solves a deck as nodal equations in exactBits and returns the volts of
// its nodes: the judge of ours and ngspice, which both reckon in 53. Newton's
// method begins at the volts that are given and has to come to rest.
func exact(d *deck, from []float64) ([]float64, error) {
	volts := slices.Clone(from)
	for range 50 {
		e := exactEquations{rows: make([]map[int]*big.Float, d.nodes), right: make([]*big.Float, d.nodes), sources: map[string]int{}}
		if err := e.read(d, volts); err != nil {
			return nil, err
		}
		x, err := e.solve()
		if err != nil {
			return nil, err
		}
		moved := 0.0
		for n := 1; n <= d.nodes; n++ {
			v, _ := x[n-1].Float64()
			moved = max(moved, math.Abs(v-volts[n]))
			volts[n] = v
		}
		if moved < 1e-9 {
			return volts, nil
		}
	}
	return nil, errExact
}

// exactEquations has an unknown for each node from 1 on, then one for the
// amperes of each source.
type exactEquations struct {
	rows    []map[int]*big.Float
	right   []*big.Float
	sources map[string]int // unknowns, by name
}

func exactly(x float64) *big.Float { return new(big.Float).SetPrec(exactBits).SetFloat64(x) }

// add adds to the entry of an unknown; an unknown below zero is the reference.
func (e *exactEquations) add(row, at int, x *big.Float) {
	if row < 0 || at < 0 {
		return
	}
	if e.rows[row] == nil {
		e.rows[row] = map[int]*big.Float{}
	}
	if was := e.rows[row][at]; was != nil {
		x = new(big.Float).Add(was, x)
	}
	e.rows[row][at] = x
}

func (e *exactEquations) give(row int, x *big.Float) {
	if row < 0 {
		return
	}
	if was := e.right[row]; was != nil {
		x = new(big.Float).Add(was, x)
	}
	e.right[row] = x
}

// path puts siemens between two nodes.
func (e *exactEquations) path(a, b int, siemens *big.Float) {
	less := new(big.Float).Neg(siemens)
	e.add(a, a, siemens)
	e.add(b, b, siemens)
	e.add(a, b, less)
	e.add(b, a, less)
}

// read writes down the lines of a deck, its junctions as tangents at the volts.
func (e *exactEquations) read(d *deck, volts []float64) error {
	models := map[string][2]float64{} // saturation and slope
	for line := range strings.Lines(d.text.String()) {
		if f := strings.Fields(line); f[0] == ".model" {
			sat, err1 := strconv.ParseFloat(strings.TrimPrefix(f[3], "is="), 64)
			n, err2 := strconv.ParseFloat(strings.TrimPrefix(f[4], "n="), 64)
			if err := errors.Join(err1, err2); err != nil {
				return err
			}
			models[f[1]] = [2]float64{sat, n * thermalVolts}
		}
	}
	node := func(name string) int {
		n, _ := strconv.Atoi(strings.TrimPrefix(name, "n"))
		return n - 1
	}
	one, minus := exactly(1), exactly(-1)
	for line := range strings.Lines(d.text.String()) {
		f := strings.Fields(line)
		if f[0] == ".model" {
			continue
		}
		a, b := node(f[1]), node(f[2])
		x, err := strconv.ParseFloat(f[len(f)-1], 64)
		if err != nil && f[0][0] != 'd' {
			return err
		}
		switch f[0][0] {
		case 'r', 'h':
			e.path(a, b, new(big.Float).Quo(one, exactly(x)))
		case 'i':
			e.give(a, exactly(-x))
			e.give(b, exactly(x))
		case 'v', 'e':
			s := len(e.rows)
			e.sources[f[0]] = s
			e.rows, e.right = append(e.rows, nil), append(e.right, nil)
			e.add(a, s, one)
			e.add(b, s, minus)
			e.add(s, a, one)
			e.add(s, b, minus)
			if f[0][0] == 'v' {
				e.give(s, exactly(x))
				break
			}
			e.add(s, node(f[3]), exactly(-x))
			e.add(s, node(f[4]), exactly(x))
		case 'f':
			s, ok := e.sources[f[3]]
			if !ok {
				return fmt.Errorf("no source for %q", line)
			}
			e.add(a, s, exactly(x))
			e.add(b, s, exactly(-x))
		case 'd':
			m := models[f[3]]
			v := volts[a+1] - volts[b+1]
			grown := math.Exp(v / m[1])
			g := exactly(m[0] / m[1] * grown)
			e.path(a, b, g)
			at := new(big.Float).Mul(g, exactly(v))
			at.Sub(at, exactly(m[0]*math.Expm1(v/m[1])))
			e.give(a, at)
			e.give(b, new(big.Float).Neg(at))
		default:
			return fmt.Errorf("no meaning known of %q", line)
		}
	}
	return nil
}

// solve eliminates the emptiest rows first, each by the emptiest of its columns.
func (e *exactEquations) solve() ([]*big.Float, error) {
	n := len(e.rows)
	inCol := make([]map[int]bool, n)
	for c := range n {
		inCol[c] = map[int]bool{}
	}
	for r, row := range e.rows {
		if e.right[r] == nil {
			e.right[r] = exactly(0)
		}
		for c := range row {
			inCol[c][r] = true
		}
	}
	// An entry of less than this share of its row's largest is what is left of
	// two that cancelled.
	least := new(big.Float).SetMantExp(exactly(1), -exactBits/2)
	done := make([]bool, n)
	pivots := make([][2]int, 0, n)
	for range n {
		r, c := -1, -1
		for i, row := range e.rows {
			if !done[i] && (r < 0 || len(row) < len(e.rows[r])) {
				r = i
			}
		}
		largest := exactly(0)
		for _, x := range e.rows[r] {
			if y := new(big.Float).Abs(x); y.Cmp(largest) > 0 {
				largest = y
			}
		}
		floor := new(big.Float).Mul(largest, least)
		for _, at := range slices.Sorted(maps.Keys(e.rows[r])) {
			if new(big.Float).Abs(e.rows[r][at]).Cmp(floor) > 0 && (c < 0 || len(inCol[at]) < len(inCol[c])) {
				c = at
			}
		}
		if c < 0 {
			return nil, errExact
		}
		done[r] = true
		pivots = append(pivots, [2]int{r, c})
		for at := range e.rows[r] {
			delete(inCol[at], r)
		}
		for i := range inCol[c] {
			m := new(big.Float).Quo(e.rows[i][c], e.rows[r][c])
			m.Neg(m)
			for at, x := range e.rows[r] {
				if at != c {
					e.add(i, at, new(big.Float).Mul(m, x))
					inCol[at][i] = true
				}
			}
			delete(e.rows[i], c)
			e.right[i] = new(big.Float).Add(e.right[i], new(big.Float).Mul(m, e.right[r]))
		}
		inCol[c] = nil
	}
	x := make([]*big.Float, n)
	for _, p := range slices.Backward(pivots) {
		sum := e.right[p[0]]
		for c, y := range e.rows[p[0]] {
			if c != p[1] {
				sum = new(big.Float).Sub(sum, new(big.Float).Mul(y, x[c]))
			}
		}
		x[p[1]] = new(big.Float).Quo(sum, e.rows[p[0]][p[1]])
	}
	return x, nil
}
