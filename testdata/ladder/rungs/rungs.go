// Package rungs makes the ladder that the circuit's speed is measured with. The
// benchmark of engine/circuit and the comparison in testdata/ladder both build
// it from here.
package rungs

import (
	"errors"
	"runtime"
	"strconv"
	"sync"
	"sync/atomic"

	"probable/engine/circuit"
)

// What the ladder is made of; testdata/ladder writes the same to its deck.
const (
	PackVolts  = 48
	PackOhms   = 0.1
	RailOhms   = 0.05 // of each series wire, which the faults open
	ReturnOhms = 0.02 // of each rung's wire to the pack's minus
	ShuntOhms  = 10000
	FeedOhms   = 4700
	Every      = 5    // rungs from one junction to the next
	DropVolts  = 0.7  // of a junction
	DropAmps   = 0.01 // at this current
	Ideality   = 1.5
)

// Rail returns the name of rung i's series wire, whose opening is a fault.
func Rail(i int) string { return "w" + strconv.Itoa(i) }

// Rung returns the name of rung i's part.
func Rung(i int) string { return "r" + strconv.Itoa(i) }

// Harness returns n rungs of a series wire and a shunt resistor; every fifth
// rung has a junction behind a resistor too. Each series wire can be open.
func Harness(n int) *circuit.Harness {
	sat, slope := circuit.Junction(DropVolts, DropAmps, Ideality)
	h := &circuit.Harness{Name: "ladder", Ground: "pack.minus", NoAccess: map[string]bool{}}
	h.Parts = append(h.Parts, circuit.Part{Name: "pack", Kind: "battery", Pins: []string{"plus", "minus"}, HighestVolts: PackVolts,
		Elements: []circuit.Element{{ID: "cells", Type: circuit.Source, A: "plus", B: "minus",
			Values: circuit.Values{Volts: PackVolts, Ohms: PackOhms}, Supply: true}}})
	fails := []circuit.Failure{{Mode: "open", Odds: 1}}
	last := "pack.plus"
	for i := range n {
		name := Rung(i)
		p := circuit.Part{Name: name, Kind: "rung", Pins: []string{"a", "m"},
			Elements: []circuit.Element{{ID: "shunt", A: "a", B: "m", Values: circuit.Values{Ohms: ShuntOhms}}}}
		if i%Every == 0 {
			p.Pins = append(p.Pins, "k")
			p.Elements = append(p.Elements,
				circuit.Element{ID: "feed", A: "a", B: "k", Values: circuit.Values{Ohms: FeedOhms}},
				circuit.Element{ID: "junction", Type: circuit.Diode, A: "k", B: "m", Saturation: sat, Slope: slope})
		}
		h.Parts = append(h.Parts, p)
		h.Wires = append(h.Wires,
			circuit.Wire{Name: Rail(i), From: last, To: name + ".a", Ohms: RailOhms, Failures: fails},
			circuit.Wire{Name: "g" + strconv.Itoa(i), From: name + ".m", To: "pack.minus", Ohms: ReturnOhms})
		last = name + ".a"
	}
	return h
}

// Solve puts every fault of the ladder in and returns the volts of every pin by
// fault, in the order of Faults and Pins. It uses all processors.
func Solve(h *circuit.Harness) ([][]float64, error) {
	bench, err := circuit.NewBench(h)
	if err != nil {
		return nil, err
	}
	faults := h.Faults()
	all := make([][]float64, len(faults))
	errs := make([]error, runtime.GOMAXPROCS(0))
	var next atomic.Int64 // a processor that other work slows takes fewer
	next.Store(-1)
	var wg sync.WaitGroup
	for worker := range errs {
		wg.Go(func() {
			for i := int(next.Add(1)); i < len(faults); i = int(next.Add(1)) {
				sit, err := bench.Put(&faults[i], 0, circuit.State{}, false)
				if err != nil {
					errs[worker] = err
					return
				}
				all[i] = sit.Nodes()
			}
		})
	}
	wg.Wait()
	return all, errors.Join(errs...)
}
