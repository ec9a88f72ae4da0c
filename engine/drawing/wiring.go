package drawing

import (
	"fmt"
	"io"
	"slices"
	"strconv"

	"probable/engine/circuit"
)

// Measures of the wiring in px.
const (
	pitch     = 26.0 // from row to row
	trackStep = 8.0
	mating    = 14.0 // between the halves of a connector
	bandGap   = 34.0
	signRoom  = 34.0 // for the sign of a part
)

// Marks say what of a drawing is marked, by pin, wire or part.
type Marks struct {
	Good    []string // pins that read as they should
	Bad     []string // pins that did not
	Suspect []string // wires, parts and connectors of the leading causes
}

func (m *Marks) empty() bool { return len(m.Good)+len(m.Bad)+len(m.Suspect) == 0 }

// Harness writes the wiring of a harness as SVG.
func (pg Page) Harness(w io.Writer, h *circuit.Harness) error { return pg.Marked(w, h, Marks{}) }

// Marked writes the wiring of a harness with marks, as SVG.
func (pg Page) Marked(w io.Writer, h *circuit.Harness, marks Marks) error {
	p := newPlan(h)
	p.marks = marks
	var bands []*band
	for lo := 0; lo < p.layers; {
		b := newBand(p, lo, lo+1)
		for hi := lo + 2; hi <= p.layers; hi++ {
			wider := newBand(p, lo, hi)
			if wider.width > pg.usable() {
				break
			}
			b = wider
		}
		bands = append(bands, b)
		lo = b.hi
	}
	c := &canvas{}
	width := pg.usable()
	c.text(margin, margin+title, title, atStart, bold, h.Name)
	y := margin + title + 16
	for _, s := range wrap("Wiring. Ground is "+h.Ground+".", normal, width) {
		c.text(margin, y, normal, atStart, "", s)
		y += 14
	}
	y += 10
	for i, b := range bands {
		if i > 0 {
			c.path("", `stroke-width="0.6" stroke-dasharray="1 4"`, margin, y+bandGap/2-6, margin+width, y+bandGap/2-6)
			y += bandGap
		}
		b.draw(c, margin, y)
		y += float64(b.rows) * pitch
		width = max(width, b.width)
	}
	width = max(width, boldWidth(h.Name, title), 300)
	y += 24
	y = legend(c, h, &marks, y, max(pg.usable(), 300))
	about := fmt.Sprintf("Wiring of %s: %d parts, %d wires. Ground is %s.", h.Name, len(h.Parts), len(h.Wires), h.Ground)
	return c.write(w, width+2*margin, y+margin, h.Name+": wiring", about)
}

// legend explains the marks, and returns the y below it.
func legend(c *canvas, h *circuit.Harness, marks *Marks, y, width float64) float64 {
	c.path("", `stroke-width="0.6"`, margin, y-14, margin+width, y-14)
	x := margin
	item := func(room float64, s string, mark func(x, y float64)) {
		if need := room + textWidth(s, small); x > margin && x+need > margin+width {
			x, y = margin, y+16
		}
		mark(x, y-3)
		c.text(x+room, y, small, atStart, "", s)
		x += room + textWidth(s, small) + 18
	}
	item(14, "pin", func(x, y float64) { pinMark(c, "", x+5, y, false, true) })
	item(14, "pin without a wire", func(x, y float64) { pinMark(c, "", x+5, y, false, false) })
	item(14, "a probe cannot reach this pin", func(x, y float64) { pinMark(c, "", x+5, y, true, true) })
	item(34, "wire on the ground net", func(x, y float64) { c.path("", dashes, x, y, x+28, y) })
	item(34, "goes on elsewhere, at the pin named", func(x, y float64) {
		c.path("", "", x, y, x+28, y)
		arrow(c, x+28, y, 1)
	})
	if !marks.empty() {
		item(20, "probed, as it should be", func(x, y float64) { pinMark(c, "", x+7, y, false, true); goodMark(c, x+7, y) })
		item(20, "probed, not as it should be", func(x, y float64) { pinMark(c, "", x+7, y, false, true); badMark(c, x+7, y) })
		item(34, "suspect, or repaired", func(x, y float64) { c.path("", suspect, x, y, x+28, y) })
	}
	notes := "Wires that cross do not join. A net is what wires and splices join; it is named once. " +
		"A pin named on both sides of a part is one pin."
	if anyAssumed(h) {
		notes += " " + assumedNote
	}
	for _, l := range wrap(notes, small, width) {
		y += 16
		c.text(margin, y, small, atStart, "", l)
	}
	return y
}

const dashes = `stroke-dasharray="7 3"`

// label is what stands over a wire: name, gauge, length and colour.
func label(w *circuit.Wire) string {
	s := w.Name + ", " + gauge(w) + ", " + assumed(strconv.FormatFloat(w.Metres, 'g', -1, 64)+" m", w.MetresAssumed)
	if w.Colour != "" {
		s += ", " + w.Colour
	}
	return s
}

// gauge is a wire's gauge, in brackets where the file does not give it.
func gauge(w *circuit.Wire) string { return assumed(w.Gauge, w.GaugeAssumed) }

// assumed puts what the file does not say in brackets.
func assumed(s string, is bool) string {
	if is {
		return "(" + s + ")"
	}
	return s
}

const assumedNote = "In brackets: assumed, the file does not say."

// anyAssumed reports whether anything of any wire is assumed.
func anyAssumed(h *circuit.Harness) bool {
	return slices.ContainsFunc(h.Wires, func(w circuit.Wire) bool { return w.GaugeAssumed || w.MetresAssumed })
}

// above is the text over a wire's end.
func (b *band) above(p *port) string {
	w := &b.h.Wires[p.wire]
	s := w.Name
	if p.first {
		s = clip(label(w), 44)
	}
	if p.segment == nil {
		return s + ", to " + clip([2]string{w.To, w.From}[p.end], 44)
	}
	if f := p.far(); !p.first && f.first && f.side != p.side && f.row() == p.row() {
		return "" // straight from its label
	}
	return s
}

// below is the text under a wire's end: the net's name, if it stands here.
func (b *band) below(p *port) string {
	if !p.net {
		return ""
	}
	name := b.nets.names[b.nets.root(b.h.Wires[p.wire].From)]
	if name == "ground" {
		return name
	}
	return "net " + clip(name, 44)
}

// measure works out widths, and routes the channels.
func (b *band) measure() {
	b.columns = make([]float64, len(b.layers))
	for i, l := range b.layers {
		for _, n := range l {
			if n.part == nil {
				continue
			}
			b.columns[i] = max(b.columns[i], n.width())
			for _, p := range n.ports {
				if p.wire >= 0 {
					room := &b.channels[i+p.side].labels[1-p.side]
					*room = max(*room, textWidth(b.above(p), normal)+16, textWidth(b.below(p), small)+27)
				}
			}
		}
	}
	b.width = 0
	for i, c := range b.channels {
		c.route()
		b.width += c.width()
		if i < len(b.columns) {
			b.width += b.columns[i]
		}
	}
}

func (c *channel) width() float64 {
	w := c.labels[0] + c.labels[1]
	if len(c.segments) > 0 {
		w += float64(c.tracks+1) * trackStep
	}
	return w
}

func (n *node) width() float64 {
	var names [2]float64
	for _, p := range n.ports {
		names[p.side] = max(names[p.side], textWidth(clip(p.pin, 24), normal))
	}
	w := names[left] + names[right] + 34
	if n.part.Ways > 0 {
		w = 2*(textWidth(strconv.Itoa(n.part.Ways)+"a", normal)+18) + mating
	}
	head := boldWidth(n.part.Name, strong)
	if sign(n.part) != "" {
		head += signRoom
	}
	return max(w, head+14, textWidth(n.about(), small)+14, 64)
}

// about is the second line of a part's head.
func (n *node) about() string {
	p := n.part
	if p.Ways > 0 {
		s := fmt.Sprintf("%s, %d ways", p.Kind, p.Ways)
		if p.Rows > 1 {
			s += fmt.Sprintf(", %d rows", p.Rows)
		}
		return s
	}
	for _, e := range p.Elements {
		switch {
		case e.Blows > 0:
			return fmt.Sprintf("%s %.4g A", p.Kind, e.Blows)
		case e.Supply && e.Type == circuit.Source:
			return fmt.Sprintf("%s %.4g V", p.Kind, e.Volts)
		}
	}
	switch {
	case len(p.OuterPins()) == 2 && len(p.Indicators) == 1 && p.Indicators[0].Watts != "" && p.Indicators[0].Per > 0:
		return fmt.Sprintf("%s %.4g W", p.Kind, p.Indicators[0].Per)
	case len(p.Elements) == 1 && p.Elements[0].Type == circuit.Resistance && len(p.Settings) == 0:
		return fmt.Sprintf("%s %s", p.Kind, ohms(p.Elements[0].Ohms))
	}
	return p.Kind
}

// ohms writes a resistance with its unit.
func ohms(x float64) string {
	switch {
	case x >= 1e6:
		return fmt.Sprintf("%.4g Mohm", x/1e6)
	case x >= 1e3:
		return fmt.Sprintf("%.4g kohm", x/1e3)
	}
	return fmt.Sprintf("%.4g ohm", x)
}

// draw draws the band with its upper left corner at x, top.
func (b *band) draw(c *canvas, x, top float64) {
	y := func(row float64) float64 { return top + pitch/2 + row*pitch }
	for i, ch := range b.channels {
		b.drawChannel(c, ch, x, y)
		x += ch.width()
		if i == len(b.columns) {
			break
		}
		w := b.columns[i]
		for _, n := range b.layers[i] {
			if n.part != nil {
				b.drawPart(c, n, x, w, y)
				continue
			}
			wire := n.ports[0].wire
			c.path(b.says(wire), b.style(wire), x, y(float64(n.row)), x+w, y(float64(n.row)))
		}
		x += w
	}
}

// says is what one sees when one points at a wire.
func (b *band) says(wire int) string {
	w := &b.h.Wires[wire]
	return label(w) + ", from " + w.From + " to " + w.To
}

func (b *band) style(wire int) string {
	w := &b.h.Wires[wire]
	style := ""
	if b.nets.grounded(w) {
		style = dashes
	}
	if slices.Contains(b.marks.Suspect, w.Name) {
		style += suspect
	}
	return style
}

// suspect is the stroke of what a leading cause is about.
const suspect = ` stroke-width="4"`

// edge is the stroke of a part's box.
func (b *band) edge(part string) string {
	if slices.Contains(b.marks.Suspect, part) {
		return suspect
	}
	return `stroke-width="1.6"`
}

// goodMark and badMark stand around a pin that was probed.
func goodMark(c *canvas, x, y float64) {
	c.rect("read as it should", x-6, y-6, 12, 12, `stroke-width="1"`)
}

func badMark(c *canvas, x, y float64) {
	c.path("did not read as it should", `stroke-width="2.2"`, x, y-8, x+8, y, x, y+8, x-8, y, x, y-8)
}

func (b *band) drawChannel(c *canvas, ch *channel, x float64, y func(float64) float64) {
	end := x + ch.width()
	wall := func(p *port) float64 {
		if p.side == right {
			return x
		}
		return end
	}
	track := func(g *leg) float64 { return x + ch.labels[0] + float64(g.track+1)*trackStep }
	for _, s := range ch.segments {
		l, r := s.ends()
		from, to := y(float64(l.row())), y(float64(r.row()))
		xy := []float64{wall(l), from}
		switch len(s.legs) {
		case 1:
			t := track(s.legs[0])
			xy = append(xy, t, from, t, to)
		case 2:
			t, u := track(s.legs[0]), track(s.legs[1])
			xy = append(xy, t, from, t, y(s.via), u, y(s.via), u, to)
		}
		c.path(b.says(s.wire), b.style(s.wire), append(xy, wall(r), to)...)
	}
}

// drawPart draws a part, its pins, and the texts at their wires.
func (b *band) drawPart(c *canvas, n *node, x, w float64, y func(float64) float64) {
	top, bottom := y(float64(n.row))-pitch/2, y(float64(n.row+n.rows-1))+pitch/2
	name := n.part.Name
	c.text(x+6, top+13, strong, atStart, bold, name)
	c.text(x+6, top+25, small, atStart, "", n.about())
	if n.part.Ways > 0 {
		b.drawConnector(c, n, x, w, top, bottom, y)
	} else {
		c.rect(name+": "+n.about(), x, top, w, bottom-top, b.edge(name))
		drawSign(c, n.part, x+w-signRoom, top+10)
	}
	for i := 0; i < len(n.ports); {
		first := n.ports[i]
		last := first
		for i++; i < len(n.ports) && n.ports[i].side == first.side && n.ports[i].pin == first.pin; i++ {
			last = n.ports[i]
		}
		at, inner, anchor := x, x+9, atStart
		if first.side == right {
			at, inner, anchor = x+w, x+w-9, atEnd
		}
		from, to := y(float64(first.row())), y(float64(last.row()))
		if n.part.Ways == 0 {
			text := clip(first.pin, 24)
			c.text(inner, (from+to)/2+3.5, normal, anchor, "", text)
		}
		if first != last { // one pin, several wires
			c.path("", `stroke-width="4"`, at, from, at, to)
		}
		pin := name + "." + first.pin
		for _, p := range n.ports {
			if p.side == first.side && p.pin == first.pin {
				pinMark(c, b.pinSays(pin, p.wire >= 0), at, y(float64(p.row())), b.h.NoAccess[pin], p.wire >= 0)
				switch {
				case slices.Contains(b.marks.Bad, pin):
					badMark(c, at, y(float64(p.row())))
				case slices.Contains(b.marks.Good, pin):
					goodMark(c, at, y(float64(p.row())))
				}
				if p.wire >= 0 {
					b.drawEnd(c, p, at, y(float64(p.row())))
				}
			}
		}
	}
}

func (b *band) pinSays(pin string, wired bool) string {
	s := pin
	if !wired {
		s += ", no wire"
	}
	if pin == b.h.Ground {
		s += ", ground"
	}
	if b.h.NoAccess[pin] {
		s += ", a probe cannot reach it"
	}
	return s
}

// drawConnector draws the two halves of a connector with a gap between them.
func (b *band) drawConnector(c *canvas, n *node, x, w, top, bottom float64, y func(float64) float64) {
	half := (w - mating) / 2
	c.rect(n.part.Name+": "+n.about(), x, top, w, bottom-top, `stroke-width="0.6"`)
	boxTop := top + 30
	letters := [2]string{"a", "b"}
	if b.fixedLeft(n.part) == 1 {
		letters = [2]string{"b", "a"}
	}
	wired := map[string]bool{}
	for _, p := range n.ports {
		wired[p.pin] = true
	}
	for side, letter := range letters {
		at, hx, inner, anchor := x, x, x+9, atStart
		if side == right {
			at, hx, inner, anchor = x+w, x+half+mating, x+w-9, atEnd
		}
		c.rect(n.part.Name+" side "+letter, hx, boxTop, half, bottom-boxTop, b.edge(n.part.Name))
		for i, row := range n.ways {
			pin := strconv.Itoa(i+1) + letter
			py := y(float64(n.row + row))
			c.text(inner, py+3.5, normal, anchor, "", pin)
			if !wired[pin] {
				full := n.part.Name + "." + pin
				pinMark(c, b.pinSays(full, false), at, py, b.h.NoAccess[full], false)
			}
		}
	}
	for _, row := range n.ways {
		py := y(float64(n.row + row))
		c.path("", `stroke-width="1" stroke-dasharray="2 2"`, x+half, py, x+half+mating, py)
	}
}

// fixedLeft is the half of a connector that is on the left: 0 for side a.
func (p *plan) fixedLeft(part *circuit.Part) int {
	if p.flipped[p.index[part.Name]] {
		return 1
	}
	return 0
}

// drawEnd writes the texts at a wire's end, and the arrow of a wire that is cut.
func (b *band) drawEnd(c *canvas, p *port, x, y float64) {
	out, anchor := 1.0, atStart
	if p.side == left {
		out, anchor = -1, atEnd
	}
	text := b.above(p)
	if text != "" {
		c.text(x+out*9, y-4, normal, anchor, "", text)
	}
	if p.segment == nil {
		tip := x + out*(textWidth(text, normal)+12)
		c.path(b.says(p.wire), b.style(p.wire), x, y, tip, y)
		arrow(c, tip, y, out)
	}
	switch s := b.below(p); {
	case s == "ground":
		mid := x + out*14
		c.path("ground", "", mid, y, mid, y+4)
		for i, half := range []float64{6, 4, 2} {
			c.path("", "", mid-half, y+4+3*float64(i), mid+half, y+4+3*float64(i))
		}
		c.text(mid+out*9, y+11, small, anchor, "", s)
	case s != "":
		c.text(x+out*9, y+11, small, anchor, ` font-style="italic"`, s)
	}
}

func arrow(c *canvas, x, y, out float64) {
	c.path("", "", x-out*5, y-3, x, y, x-out*5, y+3)
}

// pinMark marks a pin: a dot with a wire, a ring without one, a crossed ring
// where no probe gets to.
func pinMark(c *canvas, says string, x, y float64, noAccess, wired bool) {
	switch {
	case noAccess:
		c.shape(says, "circle", `cx="%s" cy="%s" r="5" fill="white"`, num(x), num(y))
		c.path("", "", x-3.5, y-3.5, x+3.5, y+3.5)
		c.path("", "", x-3.5, y+3.5, x+3.5, y-3.5)
	case wired:
		c.shape(says, "circle", `cx="%s" cy="%s" r="3" fill="black"`, num(x), num(y))
	default:
		c.shape(says, "circle", `cx="%s" cy="%s" r="3" fill="white"`, num(x), num(y))
	}
}

// sign is the simple sign that a part has, if any.
func sign(p *circuit.Part) string {
	switch p.Kind {
	case "battery", "fuse", "lamp", "resistor", "switch", "splice":
		return p.Kind
	case "bms-pack":
		return "battery"
	case "key-switch", "button", "reed-no":
		return "switch"
	}
	return ""
}

// drawSign draws a part's sign, 28 px wide, with its middle line at y.
func drawSign(c *canvas, p *circuit.Part, x, y float64) {
	line := func(xy ...float64) {
		for i := range xy {
			if i%2 == 0 {
				xy[i] += x
			} else {
				xy[i] += y
			}
		}
		c.path("", `stroke-width="1"`, xy...)
	}
	switch sign(p) {
	case "battery":
		line(0, 0, 11, 0)
		line(11, -6, 11, 6)
		line(16, -3, 16, 3)
		line(16, 0, 28, 0)
	case "fuse":
		line(0, 0, 28, 0)
		c.rect("", x+6, y-4, 16, 8, `stroke-width="1"`)
	case "resistor":
		line(0, 0, 6, 0)
		line(22, 0, 28, 0)
		c.rect("", x+6, y-4, 16, 8, `stroke-width="1"`)
	case "lamp":
		line(0, 0, 8, 0)
		line(20, 0, 28, 0)
		c.shape("", "circle", `cx="%s" cy="%s" r="6" stroke-width="1"`, num(x+14), num(y))
		line(9.8, -4.2, 18.2, 4.2)
		line(9.8, 4.2, 18.2, -4.2)
	case "switch":
		line(0, 2, 7, 2)
		line(7, 2, 20, -6)
		line(21, 2, 28, 2)
	case "splice":
		line(6, 0, 22, 0)
		line(14, 0, 14, 6)
		c.shape("", "circle", `cx="%s" cy="%s" r="2.5" fill="black"`, num(x+14), num(y))
	}
}
