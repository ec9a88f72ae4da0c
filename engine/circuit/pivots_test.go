package circuit

import (
	"fmt"
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
