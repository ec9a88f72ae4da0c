package engine

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"probable/engine/circuit"
)

// Expected is what the meter reads on a healthy vehicle, in V or ohm.
type Expected struct {
	Value     float64
	Low, High float64 // of two standard deviations: parts and meter
	Over      bool    // over-range; the rest is zero
	Leak      bool    // most of it comes through opens: it may as well be next to nothing
}

// PinExpectation is what a pin reads against ground, or against the minus of
// its own supply where nothing joins the two.
type PinExpectation struct {
	Pin   string
	Black string     // where the black lead goes
	At    string     // its wires, by name and colour
	Ohms  Expected   // power off, everything at rest
	Volts []Expected // powered, by state of the sheet
}

// ExpectSheet is what every pin that a probe can reach reads on the healthy
// vehicle.
type ExpectSheet struct {
	Harness, Ground string
	States          []circuit.State // everything at rest first
	Pins            []PinExpectation
	Charged         [][2]string // pins that stay charged after the pack is unplugged
	Highest         float64     // V
	Driven          bool        // it moves a wheel
}

// sheetWork bounds the work of a sheet: pairs of unknowns, over all its states
// and the one with the power off.
const sheetWork = 1 << 27

// mostlyLeak is the share of a reading that has to come through opens for it
// to count as leakage (common practice, no source).
const mostlyLeak = 0.5

// Expect works out the sheet of a harness for a meter; the zero meter is
// circuit.ReferenceMeter.
func Expect(h *circuit.Harness, meter circuit.Meter) (*ExpectSheet, error) {
	if meter.Counts == 0 {
		meter = circuit.ReferenceMeter
	}
	sheet := &ExpectSheet{Harness: h.Name, Ground: h.Ground, States: append([]circuit.State{{}}, h.States...), Highest: h.HighestVolts()}
	n := h.Unknowns()
	if n > sheetWork/n/(len(sheet.States)+1) {
		return nil, fmt.Errorf("the harness is too big for a sheet: %d unknowns in %d states; take it in pieces, one circuit a file", n, len(sheet.States))
	}
	bench, err := circuit.NewBench(h)
	if err != nil {
		return nil, err
	}
	for _, p := range h.Parts {
		sheet.Driven = sheet.Driven || p.Driven
		if p.Capacitor[0] != "" {
			sheet.Charged = append(sheet.Charged, [2]string{p.Name + "." + p.Capacitor[0], p.Name + "." + p.Capacitor[1]})
		}
	}
	at, own := &builder{h: h}, h.OwnGrounds()
	for _, pin := range h.Pins() {
		black := cmp.Or(own[pin], h.Ground)
		if pin != black && !h.NoAccess[pin] {
			sheet.Pins = append(sheet.Pins, PinExpectation{Pin: pin, Black: black, At: at.at(pin)})
		}
	}
	off, err := bench.Put(nil, 0, circuit.State{}, true)
	if err != nil {
		return nil, err
	}
	for i := range sheet.Pins {
		p := &sheet.Pins[i]
		p.Ohms = expected(off.Ohms(&meter, p.Pin, p.Black))
	}
	for _, s := range sheet.States {
		sit, err := bench.Put(nil, 0, s, false)
		if err != nil {
			return nil, err
		}
		for i := range sheet.Pins {
			p := &sheet.Pins[i]
			p.Volts = append(p.Volts, expected(sit.Volts(&meter, p.Pin, p.Black)))
		}
	}
	return sheet, nil
}

func expected(r circuit.Reading) Expected {
	if r.Over {
		return Expected{Over: true}
	}
	least, most := r.Value, r.Value
	leak := math.Abs(r.Leak) > max(mostlyLeak*math.Abs(r.Value), 2*r.Sigma)
	if leak {
		least, most = min(r.Value, r.Value-r.Leak), max(r.Value, r.Value-r.Leak)
	}
	return Expected{Value: r.Value, Low: least - 2*r.Sigma, High: most + 2*r.Sigma, Leak: leak}
}

// Range writes the range with its unit, as a person reads it.
func (e Expected) Range(unit string) string {
	if e.Over {
		return "OL"
	}
	low := e.Low
	if unit == "ohm" {
		low = max(0, low)
	}
	from, to := quantity(low, unit), quantity(e.High, unit)
	if from == to {
		return to
	}
	number, scale, _ := strings.Cut(from, " ")
	if strings.HasSuffix(to, " "+scale) {
		from = number // one unit does for both
	}
	return from + " to " + to
}

// Reads writes the value with its unit, as a meter shows it.
func (e Expected) Reads(unit string) string {
	if e.Over {
		return "OL"
	}
	return quantity(e.Value, unit)
}

// Blacks returns the places of the black lead, the ground first.
func (s *ExpectSheet) Blacks() []string {
	blacks := []string{s.Ground}
	for _, p := range s.Pins {
		if !slices.Contains(blacks, p.Black) {
			blacks = append(blacks, p.Black)
		}
	}
	return blacks
}

// Floats reports whether any reading of the sheet is mostly leakage.
func (s *ExpectSheet) Floats() bool {
	return slices.ContainsFunc(s.Pins, func(p PinExpectation) bool {
		return slices.ContainsFunc(p.Volts, func(e Expected) bool { return e.Leak })
	})
}
