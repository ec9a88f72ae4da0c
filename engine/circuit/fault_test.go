package circuit

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// plug is a connector with all of its failures.
func plug(name string, ways, rows int) Part {
	p := Part{Name: name, Ways: ways, Rows: rows, Failures: []Failure{
		{Mode: "open", Odds: 3}, {Mode: "resistive", Odds: 2, AddOhms: map[string][2]float64{"": {1, 100}}},
		{Mode: "swapped", Odds: 1}, {Mode: "bridged", Odds: 1}, {Mode: "mirrored", Odds: 1},
	}}
	for i := 1; i <= ways; i++ {
		p.Pins = append(p.Pins, fmt.Sprintf("%da", i), fmt.Sprintf("%db", i))
	}
	return p
}

func wireFailures() []Failure {
	return []Failure{{Mode: "open", Odds: 4}, {Mode: "resistive", Odds: 2, AddOhms: map[string][2]float64{"": {1, 100}}}, {Mode: "to ground", Odds: 1},
		{Mode: "to supply", Odds: 1}, {Mode: "too thin", Odds: 1, TimesOhms: [2]float64{4, 20}}}
}

// small is the market cart's tail light, with a splice in its return.
func small(ways, rows int) *Harness {
	h := &Harness{Ground: "pack.minus", Parts: []Part{
		{Name: "pack", Pins: []string{"plus", "minus"},
			Elements: []Element{{ID: "cells", Type: Source, A: "plus", B: "minus", Values: Values{Volts: 36, Ohms: 0.1}, Supply: true}},
			Failures: []Failure{
				{Mode: "no output", Odds: 5, Variants: []Alteration{{Set: map[string]Values{"cells": {Ohms: OpenOhms}}}, {Set: map[string]Values{"cells": {Ohms: 0.1}}}}},
				{Mode: "low", Odds: 3, Spread: true, Variants: []Alteration{
					{Set: map[string]Values{"cells": {Volts: 32, Ohms: 0.1}}}, {Set: map[string]Values{"cells": {Volts: 25, Ohms: 0.1}}},
					{Set: map[string]Values{"cells": {Volts: 18, Ohms: 0.1}}}, {Set: map[string]Values{"cells": {Volts: 11, Ohms: 0.1}}},
				}},
			}},
		{Name: "f1", Pins: []string{"a", "b"},
			Elements: []Element{{ID: "element", A: "a", B: "b", Values: Values{Ohms: 0.01}, Blows: 3}},
			Failures: []Failure{
				{Mode: "blown", Odds: 6, Variants: []Alteration{{Set: map[string]Values{"element": {Ohms: OpenOhms}}}}},
				{Mode: "resistive", Odds: 2, AddOhms: map[string][2]float64{"element": {1, 100}}},
				{Mode: "never", Odds: 0, Variants: []Alteration{{}}},
			}},
		plug("p1", ways, rows),
		{Name: "tail", Pins: []string{"plus", "minus"},
			Elements:   []Element{{ID: "body", A: "plus", B: "minus", Values: Values{Ohms: 36 * 36 / 5.0}}},
			Failures:   []Failure{{Mode: "open", Odds: 8, Variants: []Alteration{{Set: map[string]Values{"body": {Ohms: OpenOhms}}}}}, {Mode: "deaf", Odds: 1, Says: map[string]string{"": "dark"}}},
			Indicators: []Indicator{{Watts: "body", Per: 5, Bands: []Band{{0.03, "dark"}, {0.6, "dim"}, {1.5, "lit"}, {0, "too bright"}}}}},
		{Name: "s1", Splice: true, Pins: []string{"in", "out"}, Failures: []Failure{{Mode: "open", Odds: 2}, {Mode: "resistive", Odds: 2, AddOhms: map[string][2]float64{"": {1, 100}}}}},
	}}
	for i, w := range [][2]string{{"pack.plus", "f1.a"}, {"f1.b", "p1.1a"}, {"p1.1b", "tail.plus"}, {"tail.minus", "s1.in"}, {"s1.out", "pack.minus"}} {
		h.Wires = append(h.Wires, Wire{Name: fmt.Sprintf("w%d", i+1), From: w[0], To: w[1], Ohms: 0.02, Failures: wireFailures()})
	}
	return h
}

func ids(faults []Fault) []string {
	var s []string
	for _, f := range faults {
		s = append(s, f.ID)
	}
	return s
}

// TestFaultIDs holds the names of every single fault against the design's.
func TestFaultIDs(t *testing.T) {
	want := []string{"part pack no output", "part pack low", "part f1 blown", "part f1 resistive", "part tail open", "part tail deaf",
		"way s1.in open", "way s1.out open", "way s1.in resistive", "way s1.out resistive"}
	for i := 1; i <= 5; i++ {
		want = append(want, fmt.Sprintf("wire w%d open", i), fmt.Sprintf("wire w%d resistive", i), fmt.Sprintf("wire w%d to ground", i), fmt.Sprintf("wire w%d too thin", i))
		if i > 1 { // w1 is on the supply
			want = append(want, fmt.Sprintf("wire w%d to supply", i))
		}
	}
	for _, c := range []struct {
		name       string
		ways, rows int
		plug       []string
	}{
		{"one way", 1, 1, []string{"way p1.1 open", "way p1.1 resistive"}},
		{"two ways", 2, 1, []string{
			"way p1.1 open", "way p1.2 open", "way p1.1 resistive", "way p1.2 resistive",
			"ways p1.1 p1.2 swapped", "ways p1.1 p1.2 bridged", "connector p1 mirrored",
		}},
		{"three ways, rows not said", 3, 0, []string{
			"way p1.1 open", "way p1.2 open", "way p1.3 open", "way p1.1 resistive", "way p1.2 resistive", "way p1.3 resistive",
			"ways p1.1 p1.2 swapped", "ways p1.1 p1.3 swapped", "ways p1.2 p1.3 swapped",
			"ways p1.1 p1.2 bridged", "ways p1.2 p1.3 bridged", "connector p1 mirrored",
		}},
		{"two rows of two: neighbours are in a row and from row to row", 4, 2, []string{
			"way p1.1 open", "way p1.2 open", "way p1.3 open", "way p1.4 open",
			"way p1.1 resistive", "way p1.2 resistive", "way p1.3 resistive", "way p1.4 resistive",
			"ways p1.1 p1.2 swapped", "ways p1.1 p1.3 swapped", "ways p1.1 p1.4 swapped", "ways p1.2 p1.3 swapped", "ways p1.2 p1.4 swapped", "ways p1.3 p1.4 swapped",
			"ways p1.1 p1.2 bridged", "ways p1.3 p1.4 bridged", "ways p1.1 p1.3 bridged", "ways p1.2 p1.4 bridged", "connector p1 mirrored",
		}},
		{"two rows of one: nothing to mirror", 2, 2, []string{
			"way p1.1 open", "way p1.2 open", "way p1.1 resistive", "way p1.2 resistive", "ways p1.1 p1.2 swapped", "ways p1.1 p1.2 bridged",
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := ids(small(c.ways, c.rows).Faults())
			require.ElementsMatch(t, append(c.plug, want...), got)
		})
	}
}

// TestFaultSpans checks that the possibilities of each fault share one whole
// and lead to points that exist.
func TestFaultSpans(t *testing.T) {
	points := map[string]int{"part pack no output": 2, "part pack low": 4, "wire w1 open": 1, "part tail deaf": 1, "connector p1 mirrored": 1}
	seen := 0
	h := small(4, 2)
	faults := h.Faults()
	for i := range faults {
		f := &faults[i]
		var sum float64
		used := map[int]bool{}
		for _, s := range f.Spans() {
			require.Positive(t, s.Weight, f.ID)
			require.True(t, s.From >= 0 && s.From <= s.To && s.To < f.Points(), "%s: span %v of %d points", f.ID, s, f.Points())
			sum += s.Weight
			used[s.From], used[s.To] = true, true
		}
		require.InDelta(t, 1, sum, 1e-12, f.ID)
		require.Len(t, used, f.Points(), "%s: every point stands in a span", f.ID)
		if n, ok := points[f.ID]; ok {
			seen++
			require.Equal(t, n, f.Points(), f.ID)
		}
		require.Positive(t, f.Odds, f.ID)
	}
	require.Equal(t, len(points), seen)
}

// TestResistivePoints checks that an added resistance runs from 1 to 100 ohm in
// equal ratios, with equal shares.
func TestResistivePoints(t *testing.T) {
	h := small(2, 1)
	faults := h.Faults()
	for key, id := range map[string]string{"w2": "wire w2 resistive", "f1/element": "part f1 resistive", "p1.2": "way p1.2 resistive", "s1.in": "way s1.in resistive"} {
		t.Run(id, func(t *testing.T) {
			i := slices.IndexFunc(faults, func(f Fault) bool { return f.ID == id })
			require.GreaterOrEqual(t, i, 0)
			f := &faults[i]
			last := f.Points() - 1
			require.Greater(t, last, 1)
			require.Len(t, f.Spans(), last)
			for p := range f.points {
				require.InEpsilon(t, math.Pow(100, float64(p)/float64(last)), f.points[p].add[key], 1e-12)
			}
			for p, s := range f.Spans() {
				require.Equal(t, Span{p, p + 1, 1 / float64(last)}, s)
			}
		})
	}
}

// TestRepinning feeds each way of a connector with a voltage of its own and
// looks where it comes out.
func TestRepinning(t *testing.T) {
	for _, c := range []struct {
		ways, rows int
		id         string
		out        []int // by way of side b: the way of side a that feeds it
	}{
		{3, 1, "ways p.1 p.3 swapped", []int{3, 2, 1}},
		{3, 1, "ways p.1 p.2 swapped", []int{2, 1, 3}},
		{2, 1, "connector p mirrored", []int{2, 1}},
		{5, 1, "connector p mirrored", []int{5, 4, 3, 2, 1}},
		{6, 2, "connector p mirrored", []int{3, 2, 1, 6, 5, 4}},
		{6, 2, "ways p.2 p.5 swapped", []int{1, 5, 3, 4, 2, 6}},
		{4, 2, "connector p mirrored", []int{2, 1, 4, 3}},
		{3, 1, "way p.2 open", []int{1, 0, 3}},
	} {
		t.Run(fmt.Sprintf("%d ways, %d rows, %s", c.ways, c.rows, c.id), func(t *testing.T) {
			h := &Harness{Ground: "bank.0", Parts: []Part{plug("p", c.ways, c.rows), {Name: "bank", Pins: []string{"0"}}}}
			bank := &h.Parts[1]
			for i := 1; i <= c.ways; i++ {
				bank.Pins = append(bank.Pins, fmt.Sprintf("s%d", i), fmt.Sprintf("l%d", i))
				bank.Elements = append(bank.Elements,
					Element{ID: fmt.Sprintf("e%d", i), Type: Source, A: fmt.Sprintf("s%d", i), B: "0", Values: Values{Volts: float64(i), Ohms: 0.01}},
					Element{ID: fmt.Sprintf("r%d", i), A: fmt.Sprintf("l%d", i), B: "0", Values: Values{Ohms: 10e3}})
				h.Wires = append(h.Wires,
					Wire{Name: fmt.Sprintf("in%d", i), From: fmt.Sprintf("bank.s%d", i), To: fmt.Sprintf("p.%da", i), Ohms: 0.01},
					Wire{Name: fmt.Sprintf("out%d", i), From: fmt.Sprintf("p.%db", i), To: fmt.Sprintf("bank.l%d", i), Ohms: 0.01})
			}
			bench, err := NewBench(h)
			require.NoError(t, err)
			found := false
			faults := h.Faults()
			for i := range faults {
				if faults[i].ID != c.id {
					continue
				}
				found = true
				s, err := bench.Put(&faults[i], 0, State{}, false)
				require.NoError(t, err)
				for w, from := range c.out {
					require.InDelta(t, float64(from), s.Node(fmt.Sprintf("p.%db", w+1)), 0.001, "side b of way %d", w+1)
				}
			}
			require.True(t, found)
		})
	}
}

// TestBridgeIsAtSideA opens nothing: of two ways, one dead at side a, the
// bridge feeds the other through 10 mohm before the contact.
func TestBridgeIsAtSideA(t *testing.T) {
	h := &Harness{Ground: "bank.0", Parts: []Part{plug("p", 2, 1), {Name: "bank", Pins: []string{"0", "s", "l1", "l2"}, Elements: []Element{
		{ID: "e", Type: Source, A: "s", B: "0", Values: Values{Volts: 10}},
		{ID: "r1", A: "l1", B: "0", Values: Values{Ohms: 1}},
		{ID: "r2", A: "l2", B: "0", Values: Values{Ohms: 1}},
	}}}, Wires: []Wire{
		{Name: "in", From: "bank.s", To: "p.1a", Ohms: 1e-9},
		{Name: "out1", From: "p.1b", To: "bank.l1", Ohms: 1e-9},
		{Name: "out2", From: "p.2b", To: "bank.l2", Ohms: 1e-9},
	}}
	bench, err := NewBench(h)
	require.NoError(t, err)
	faults := h.Faults()
	for i := range faults {
		if faults[i].ID == "ways p.1 p.2 bridged" {
			s, err := bench.Put(&faults[i], 0, State{}, false)
			require.NoError(t, err)
			require.InDelta(t, 10/1.005, s.Node("p.1b"), 1e-6)          // the contact alone
			require.InDelta(t, 10*1.005/1.015, s.Node("p.2a"), 1e-6)    // past the bridge
			require.InDelta(t, 10/(1+0.005+0.01), s.Node("p.2b"), 1e-6) // bridge and contact
			return
		}
	}
	t.Fatal("no such fault")
}

// TestFuseBlows checks the rule of twice the rating, and that a fuse that blew
// stays blown in other states and with the power off.
func TestFuseBlows(t *testing.T) {
	for _, c := range []struct {
		name  string
		load  float64
		blown bool
	}{{"just under twice", 36 / 5.98, false}, {"just over twice", 36 / 6.02, true}} {
		t.Run(c.name, func(t *testing.T) {
			h := small(2, 1)
			for i := range h.Parts {
				switch h.Parts[i].Name {
				case "tail":
					h.Parts[i].Failures = []Failure{{Mode: "heavy", Odds: 1, Variants: []Alteration{{Set: map[string]Values{"body": {Ohms: c.load - 0.1 - 0.01 - 5*0.02 - 0.005 - 2*0.001}}}}}}
				}
			}
			bench, err := NewBench(h)
			require.NoError(t, err)
			faults := h.Faults()
			for i := range faults {
				if faults[i].ID != "part tail heavy" {
					continue
				}
				s, err := bench.Put(&faults[i], 0, State{}, false)
				require.NoError(t, err)
				off, err := bench.Put(&faults[i], 0, State{}, true)
				require.NoError(t, err)
				ohms := off.Ohms(&ReferenceMeter, "f1.a", "f1.b")
				if c.blown {
					require.Equal(t, []string{"f1"}, s.Blown())
					require.Equal(t, []string{"f1"}, off.Blown())
					require.Less(t, s.Node("tail.plus"), 0.001)
					require.True(t, ohms.Over)
					require.Equal(t, "dark", s.Shows("tail"))
				} else {
					require.Empty(t, s.Blown())
					require.InDelta(t, 0.21, ohms.Value, 0.001)
					require.Equal(t, "too bright", s.Shows("tail"))
				}
				require.False(t, math.IsNaN(ohms.Value))
			}
		})
	}
}
