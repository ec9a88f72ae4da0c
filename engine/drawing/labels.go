package drawing

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"probable/engine/circuit"
)

// Measures of the pin-out sheet in px.
const (
	lineStep  = 13.0
	cellPad   = 6.0
	viewGap   = 28.0
	viewLeast = 190.0 // room for the line under a view
	cardGap   = 26.0
)

// view is one of the four ways to look at a connector.
type view struct {
	side  string // a or b
	face  bool   // seen from the mating face, else from the wire side
	about string
}

// mirrored reports whether way 1 is at the right. Side a's mating face has it at
// the left; turning a half round, or going over to the half that meets it,
// mirrors left and right, and doing both mirrors twice.
func (v view) mirrored() bool { return (v.side == "a") != v.face }

func (v view) name() string {
	if v.face {
		return "side " + v.side + ", mating face"
	}
	return "side " + v.side + ", wire side"
}

var views = []view{
	{"a", true, "You look into the open half a, at its contacts."},
	{"a", false, "You look at half a from behind, at its wires."},
	{"b", true, "You look into the open half b, at its contacts."},
	{"b", false, "You look at half b from behind, at its wires."},
}

// Labels writes the pin-outs of a harness's connectors as SVG.
func (pg Page) Labels(w io.Writer, h *circuit.Harness) error {
	s := &sheet{canvas: &canvas{}, h: h, nets: newNets(h), width: pg.usable(), right: margin + pg.usable()}
	s.text(margin, margin+title, title, atStart, bold, h.Name)
	s.reach(margin + boldWidth(h.Name, title))
	s.y = margin + title + 16
	s.lines("Pin-outs of the connectors. Way 1 has a black corner. The wire side is the mirror image of the mating face, " +
		"and one half's mating face is the mirror image of the other's.")
	s.lines("This sheet takes way 1 to be at the upper left of half a, seen from its mating face, and counts to the right, then " +
		"down. Housings differ: compare with the numbers moulded into yours, or with one wire that you know, before you trust a place.")
	if anyAssumed(h) {
		s.lines(assumedNote)
	}
	connectors := 0
	for i := range h.Parts {
		if h.Parts[i].Ways > 0 {
			connectors++
			s.connector(&h.Parts[i])
		}
	}
	if connectors == 0 {
		s.lines("There is no connector in this harness.")
	}
	about := fmt.Sprintf("Pin-outs of the connectors of %s (%d), each half from its mating face and from its wire side.", h.Name, connectors)
	return s.write(w, s.right+margin, s.y+margin, h.Name+": connector pin-outs", about)
}

// sheet is the pin-out sheet as far as it is written.
type sheet struct {
	*canvas
	h            *circuit.Harness
	nets         *nets
	width, right float64
	y            float64
}

func (s *sheet) reach(x float64) { s.right = max(s.right, x) }

func (s *sheet) lines(text string) {
	for _, l := range wrap(text, normal, s.width) {
		s.text(margin, s.y, normal, atStart, "", l)
		s.y += 14
	}
}

// connector writes the four views of one connector.
func (s *sheet) connector(p *circuit.Part) {
	s.y += cardGap - 14
	s.path("", `stroke-width="0.6"`, margin, s.y, margin+s.width, s.y)
	s.y += 20
	rows := max(p.Rows, 1)
	head := fmt.Sprintf("%s: %s, %d ways", p.Name, p.Kind, p.Ways)
	if rows > 1 {
		head += fmt.Sprintf(" in %d rows, way 1 in the upper row", rows)
	}
	s.text(margin, s.y, 12, atStart, bold, head)
	s.reach(margin + boldWidth(head, 12))
	s.y += 12

	coloured := slices.ContainsFunc(s.h.Wires, func(w circuit.Wire) bool {
		return w.Colour != "" && (strings.HasPrefix(w.From, p.Name+".") || strings.HasPrefix(w.To, p.Name+"."))
	})
	cells := map[string][][]string{} // by side: the lines of each way
	width, tall := 72.0, 1
	for _, side := range []string{"a", "b"} {
		for way := 1; way <= p.Ways; way++ {
			lines := s.way(p, strconv.Itoa(way)+side, coloured)
			cells[side] = append(cells[side], lines)
			tall = max(tall, len(lines))
			for _, l := range lines {
				width = max(width, textWidth(l, normal)+2*cellPad)
			}
		}
	}
	perRow := (p.Ways + rows - 1) / rows
	fit := min(max(int((s.width)/width), 1), perRow) // cells across the page
	g := grid{p, width, 24 + float64(tall)*lineStep, perRow, fit}
	across := 1
	room := max(float64(perRow)*width, viewLeast)
	if 2*room+viewGap <= s.width {
		across = 2
	}
	for i := 0; i < len(views); i += across {
		bottom := s.y
		for k, v := range views[i : i+across] {
			x := margin + float64(k)*(room+viewGap)
			bottom = max(bottom, s.view(g, v, cells[v.side], x, s.y))
		}
		s.y = bottom
	}
}

const noWire = "no wire"

// grid is the shape that the views of one connector share.
type grid struct {
	part          *circuit.Part
	width, height float64 // of a cell
	perRow        int     // ways in a row
	fit           int     // of them across the page
}

// view draws one view at x, y and returns the y below it.
func (s *sheet) view(g grid, v view, cells [][]string, x, y float64) float64 {
	y += 14
	s.text(x, y, strong, atStart, bold, v.name())
	y += 6
	outline, thin := `stroke-width="2.4"`, `stroke-width="0.8"`
	if !v.face {
		outline = `stroke-width="1" stroke-dasharray="5 2"`
	}
	for start := 0; start < g.perRow; start += g.fit { // pieces of a row too long for the page
		n := min(g.fit, g.perRow-start)
		if start > 0 {
			y += 14
			s.text(x, y, small, atStart, "", "to the right of the piece above:")
			y += 5
		}
		for row := range max(g.part.Rows, 1) {
			for k := range n {
				place := start + k
				way := row*g.perRow + place // the row as it is on side a's face
				last := min((row+1)*g.perRow, g.part.Ways) - 1
				if v.mirrored() {
					way = row*g.perRow + (g.perRow - 1 - place)
				}
				cx := x + float64(k)*g.width
				if way <= last {
					s.cell(g, v, way, cells[way], cx, y, thin)
				}
			}
			y += g.height
		}
		s.rect(g.part.Name+" "+v.name(), x, y-float64(max(g.part.Rows, 1))*g.height, float64(n)*g.width, float64(max(g.part.Rows, 1))*g.height, outline)
		s.reach(x + float64(n)*g.width)
	}
	y += 12
	for _, l := range wrap(v.about, normal, max(float64(g.fit)*g.width, viewLeast)) {
		s.text(x, y, normal, atStart, "", l)
		y += lineStep
	}
	return y + 4
}

// cell draws one way.
func (s *sheet) cell(g grid, v view, way int, lines []string, x, y float64, style string) {
	pin := strconv.Itoa(way+1) + v.side
	s.rect(g.part.Name+"."+pin, x, y, g.width, g.height, style)
	mid := x + g.width/2
	s.text(mid, y+15, 12, atMiddle, bold, pin)
	if v.face { // a contact
		s.shape("", "circle", `cx="%s" cy="%s" r="3.5" stroke-width="1"`, num(mid-23), num(y+11))
	} else if lines[0] != noWire { // a wire that goes in
		s.path("", `stroke-width="3"`, mid-26, y+11, mid-19, y+11)
	}
	if way == 0 {
		c := 12.0
		edge := x
		if v.mirrored() {
			edge, c = x+g.width, -c
		}
		s.shape("", "path", `d="M%s %s L%s %s L%s %s Z" fill="black" stroke="none"`, num(edge), num(y), num(edge+c), num(y), num(edge), num(y+12))
	}
	for i, l := range lines {
		s.text(mid, y+30+float64(i)*lineStep, normal, atMiddle, "", l)
	}
}

// way says what is on a pin: for each wire its name, colour (where the connector
// has any), gauge, and where it goes.
func (s *sheet) way(p *circuit.Part, pin string, coloured bool) []string {
	pin = p.Name + "." + pin
	var lines []string
	for i := range s.h.Wires {
		w := &s.h.Wires[i]
		for end, at := range [2]string{w.From, w.To} {
			if at != pin {
				continue
			}
			lines = append(lines, clip(w.Name, 24))
			switch {
			case w.Colour != "":
				lines = append(lines, clip(w.Colour, 24))
			case coloured:
				lines = append(lines, "no colour given")
			}
			lines = append(lines, clip(gauge(w), 26))
			far := [2]string{w.To, w.From}[end]
			if s.nets.grounded(w) {
				lines = append(lines, "ground")
			}
			lines = append(lines, "to "+clip(far, 32))
		}
	}
	if lines == nil {
		lines = []string{noWire}
	}
	if s.h.NoAccess[pin] {
		lines = append(lines, "no probe here")
	}
	return lines
}
