package circuit_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

// TestLimitedSourcesFindTheirLoad has more supplies with a limit than are tried
// choice by choice, each before a load that takes less than the limit: 5 V
// behind 0.05 ohm on 47 ohm is a divider.
func TestLimitedSourcesFindTheirLoad(t *testing.T) {
	const supplies = 8
	h := &circuit.Harness{Ground: "pack.minus", Parts: []circuit.Part{{Name: "pack", Pins: []string{"plus", "minus"},
		Elements: []circuit.Element{{ID: "cells", Type: circuit.Source, A: "plus", B: "minus", Values: circuit.Values{Volts: 12, Ohms: 0.02}, Supply: true},
			// The search starts with everything on: with this one the supplies find
			// nothing to start from, and have to come back.
			{ID: "contact", A: "plus", B: "minus", Values: circuit.Values{Ohms: 0.001}, When: []circuit.Threshold{{Between: [2]string{"minus", "plus"}, Above: 6, Below: math.Inf(1)}}},
		}}}}
	for i := range supplies {
		name := fmt.Sprintf("reg%d", i)
		h.Parts = append(h.Parts, circuit.Part{Name: name, Pins: []string{"in", "out", "ground"}, Elements: []circuit.Element{
			{ID: "out", Type: circuit.Source, A: "out", B: "ground", Values: circuit.Values{Volts: 5, Ohms: 0.05}, Limit: 1,
				When: []circuit.Threshold{{Between: [2]string{"in", "ground"}, Above: 7, Below: math.Inf(1)}}},
			{ID: "load", A: "out", B: "ground", Values: circuit.Values{Ohms: 47}},
		}})
		h.Wires = append(h.Wires, circuit.Wire{Name: name + "p", From: "pack.plus", To: name + ".in", Ohms: 0.01},
			circuit.Wire{Name: name + "m", From: name + ".ground", To: "pack.minus", Ohms: 0.01})
	}
	b, err := circuit.NewBench(h)
	require.NoError(t, err)
	sit, err := b.Put(nil, 0, circuit.State{}, false)
	require.NoError(t, err)
	for i := range supplies {
		name := fmt.Sprintf("reg%d", i)
		require.InDelta(t, 5*47/47.05, sit.Node(name+".out")-sit.Node(name+".ground"), 1e-6, name)
		require.Equal(t, "conducting", sit.Regions()[name+"/out"])
	}
}

// TestOhmsOnAReverseJunction measures against the arrow of a diode with 1e9 ohm
// beside it. The slope of the diode at 0 V is some 40 Mohm, but the meter's test
// voltage closes it, so that the reading is past the range.
func TestOhmsOnAReverseJunction(t *testing.T) {
	d := circuit.Element{ID: "junction", Type: circuit.Diode, A: "a", B: "b"}
	d.Saturation, d.Slope = circuit.Junction(0.8, 1, 1.5)
	h := &circuit.Harness{Ground: "d.b", Parts: []circuit.Part{{Name: "d", Pins: []string{"a", "b"},
		Elements: []circuit.Element{d, {ID: "leak", A: "a", B: "b", Values: circuit.Values{Ohms: 1e9}}}}}}
	b, err := circuit.NewBench(h)
	require.NoError(t, err)
	sit, err := b.Put(nil, 0, circuit.State{}, true)
	require.NoError(t, err)
	require.InDelta(t, 40e6, d.Slope/d.Saturation, 2e6)
	m := circuit.ReferenceMeter
	require.True(t, sit.Ohms(&m, "d.b", "d.a").Over, "%+v", sit.Ohms(&m, "d.b", "d.a"))
}

// TestNoPinIsAboveAllSupplies holds every pin of a made harness with an isolated
// converter to what all its sources in series could give, with every fault: an
// island that hangs by its leakage drifts off where the solution is rough.
func TestNoPinIsAboveAllSupplies(t *testing.T) {
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	h, err := base.Harness("made", madeHarness(2003, 20))
	require.NoError(t, err)
	most := 1e-3
	for _, p := range h.Parts {
		for _, e := range p.Elements {
			most += math.Abs(e.Volts)
		}
	}
	b, err := circuit.NewBench(h)
	require.NoError(t, err)
	solved := 0
	faults := h.Faults()
	for i := range faults {
		sit, err := b.Put(&faults[i], 0, circuit.State{}, false)
		if err != nil {
			continue // it has no steady state
		}
		solved++
		for _, pin := range h.Pins() {
			require.LessOrEqual(t, math.Abs(sit.Node(pin)), most, "%s: %s", faults[i].ID, pin)
		}
	}
	require.Greater(t, solved, len(faults)/2)
}
