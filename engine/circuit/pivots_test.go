package circuit

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestNoFixedPivots: where no fixed pivots serve a network of many junctions, its
// faults are solved without them, one after the other, to the same voltages.
func TestNoFixedPivots(t *testing.T) {
	sat, slope := Junction(0.7, 0.01, 1.5)
	h := only(2, func(p *Part) {
		p.source(1, 0, 12, 1)
		for i := range manyJunctions + 10 {
			mid := fmt.Sprintf("m%d", i)
			p.Pins = append(p.Pins, mid)
			p.Elements = append(p.Elements,
				Element{ID: fmt.Sprintf("feed%d", i), A: "1", B: mid, Values: Values{Ohms: 1000 + float64(i)}},
				Element{ID: fmt.Sprintf("junction%d", i), Type: Diode, A: mid, B: "0", Saturation: sat, Slope: slope})
		}
	})
	fault := &Fault{ID: "part p feed", points: []alteration{{set: map[string]Values{"p/feed0": {Ohms: OpenOhms}}}}}
	with, err := NewBench(h)
	require.NoError(t, err)
	want, err := with.Put(fault, 0, State{}, false)
	require.NoError(t, err)
	without, err := NewBench(h)
	require.NoError(t, err)
	ba, err := without.base(State{}, false)
	require.NoError(t, err)
	ba.ordered = func() (*ordered, error) { return nil, errPattern }
	for ba.spare.Get() != nil { // what the healthy network left
	}
	for range 3 {
		got, err := without.Put(fault, 0, State{}, false)
		require.NoError(t, err)
		for _, pin := range h.Pins() {
			require.InDelta(t, want.Node(pin), got.Node(pin), 2e-5, pin)
		}
	}
}

// TestFactoredAnewInPart: rows that have changed, and what hangs on them, factored
// alone, come to the same bits as all rows together.
func TestFactoredAnewInPart(t *testing.T) {
	const n, late = 60, 20
	r := rand.New(rand.NewPCG(5, 8))
	rows := make([][]term, n)
	for i := range rows {
		rows[i] = compact([]term{{i, 4 + r.Float64()}, {(i + 1) % n, r.Float64()}, {(i + 7) % n, -r.Float64()}})
	}
	vary := &varying{row: make([]bool, n), col: make([]bool, n)}
	for i := n - late; i < n; i++ {
		vary.row[i], vary.col[i] = true, true
	}
	o, err := fixPivots(slices.Clone(rows), vary)
	require.NoError(t, err)
	require.NoError(t, o.factor(rows, nil))
	part, whole := o.like(), o.like()
	left := 0
	for range 20 {
		anew := make([]bool, n)
		for range 1 + r.IntN(3) {
			i := n - late + r.IntN(late)
			rows[i], anew[i] = slices.Clone(rows[i]), true
			for k := range rows[i] {
				rows[i][k].x *= 0.5 + r.Float64()
			}
		}
		require.NoError(t, part.factor(rows, anew))
		require.NoError(t, whole.factor(rows, nil))
		require.Equal(t, whole.diag, part.diag)
		require.Equal(t, whole.lx, part.lx)
		require.Equal(t, whole.ux, part.ux)
		for k := part.done; k < n; k++ {
			if !part.dirty[k] {
				left++
			}
		}
		v, w := part.vector(), part.vector()
		v.forward(rowSums(rows), 0)
		w.forward(rowSums(rows), 0)
		part.backward([]*vector{v, w})
		require.Equal(t, v.x, w.x)
		alone := whole.vector()
		alone.forward(rowSums(rows), 0)
		whole.backward([]*vector{alone})
		require.Equal(t, alone.x, v.x)
		require.InDelta(t, 1, v.value(n-1), 1e-9)
	}
	require.Positive(t, left, "some rows were left as they were")
}

// rowSums is the right side whose solution is all ones.
func rowSums(rows [][]term) []float64 {
	b := make([]float64, len(rows))
	for i, row := range rows {
		for _, t := range row {
			b[i] += t.x
		}
	}
	return b
}
