package circuit

import (
	"fmt"
	"slices"
	"strings"
)

// Around tells what is wired to the pins, one line for each end that is reached
// over at most so many wires: what goes there, by name, colour, gauge and
// length, and what it comes to.
func (h *Harness) Around(pins []string, wires int) []string {
	var lines []string
	seen := map[string]bool{} // pins
	used := map[string]bool{} // wires
	var walk func(pin string, left int, indent string)
	walk = func(pin string, left int, indent string) {
		if seen[pin] {
			return
		}
		seen[pin] = true
		here := pin
		if p := h.Part(partOf(pin)); p != nil {
			here += " (" + p.Kind + ")"
		}
		if h.NoAccess[pin] {
			here += ", out of reach of a probe"
		}
		lines = append(lines, indent+here)
		if left == 0 {
			return
		}
		for _, w := range h.Wires {
			if used[w.Name] || w.From != pin && w.To != pin {
				continue
			}
			used[w.Name] = true
			lines = append(lines, indent+"  "+w.describe())
			other := w.From
			if other == pin {
				other = w.To
			}
			walk(other, left-1, indent+"    ")
		}
		// A connector's way or a splice goes on with the other side.
		for _, other := range h.through(pin) {
			walk(other, left, indent+"  ")
		}
	}
	for _, pin := range pins {
		walk(pin, wires, "")
	}
	return lines
}

func partOf(pin string) string {
	part, _, _ := strings.Cut(pin, ".")
	return part
}

// describe names a wire as one finds it.
func (w *Wire) describe() string {
	words := []string{"wire " + w.Name}
	if w.Colour != "" {
		words = append(words, w.Colour)
	}
	if !w.GaugeAssumed {
		words = append(words, w.Gauge)
	}
	if !w.MetresAssumed {
		words = append(words, fmt.Sprintf("%g m", w.Metres))
	}
	return strings.Join(words, ", ")
}

// through returns the other pins of a connector's way.
func (h *Harness) through(pin string) []string {
	p := h.Part(partOf(pin))
	if p == nil || p.Ways == 0 {
		return nil
	}
	name := strings.TrimPrefix(pin, p.Name+".")
	side := name[len(name)-1:]
	other := map[string]string{"a": "b", "b": "a"}[side]
	if other == "" || !slices.Contains(p.Pins, name[:len(name)-1]+other) {
		return nil
	}
	return []string{p.Name + "." + name[:len(name)-1] + other}
}
