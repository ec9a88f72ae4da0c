package circuit

import (
	"fmt"
	"testing"
)

// ladder makes a supply, and a rail of wires with a load of its own at each of
// its pins, to about the number of nodes asked for.
func ladder(nodes int) *Harness {
	h := &Harness{Ground: "pack.minus", Parts: []Part{{
		Name: "pack", Pins: []string{"plus", "minus"},
		Elements: []Element{{ID: "cells", Type: Source, A: "plus", B: "minus", Values: Values{Volts: 48, Ohms: 0.1}, Supply: true, Tolerance: 0.02}},
		Failures: []Failure{{Mode: "no output", Odds: 1, Variants: []Alteration{{Set: map[string]Values{"cells": {Ohms: OpenOhms}}}}}},
	}}}
	wire := func(from, to string) {
		h.Wires = append(h.Wires, Wire{Name: fmt.Sprintf("w%d", len(h.Wires)+1), From: from, To: to, Ohms: 0.02, Failures: wireFailures()})
	}
	rail, back := "pack.plus", "pack.minus"
	for i := 0; len(h.Pins()) < nodes; i++ {
		name := fmt.Sprintf("load%d", i)
		h.Parts = append(h.Parts, Part{
			Name: name, Pins: []string{"a", "b"},
			Elements: []Element{{ID: "body", A: "a", B: "b", Values: Values{Ohms: 100 + float64(i)}, Tolerance: 0.05}},
			Failures: []Failure{{Mode: "open", Odds: 1, Variants: []Alteration{{Set: map[string]Values{"body": {Ohms: OpenOhms}}}}}},
		})
		wire(rail, name+".a")
		wire(name+".b", back)
		rail, back = name+".a", name+".b"
	}
	return h
}

// BenchmarkSingleFaults builds the bench of a ladder and puts every point of
// every single fault in it, reading the far end in each.
func BenchmarkSingleFaults(b *testing.B) {
	for _, nodes := range []int{50, 200, 500} {
		b.Run(fmt.Sprintf("%d nodes", nodes), func(b *testing.B) {
			h := ladder(nodes)
			pins := h.Pins()
			far := pins[len(pins)-2]
			faults := h.Faults()
			circuits := 0
			for b.Loop() {
				bench, err := NewBench(h)
				if err != nil {
					b.Fatal(err)
				}
				circuits = 0
				for i := range faults {
					for point := range faults[i].Points() {
						s, err := bench.Put(&faults[i], point, State{}, false)
						if err != nil {
							b.Fatal(err)
						}
						s.Volts(&ReferenceMeter, far, h.Ground)
						circuits++
					}
				}
			}
			b.ReportMetric(float64(circuits), "circuits")
		})
	}
}
