package drawing

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
)

// DefaultWidth is the width in px of a sheet of A4 across at 96 px to the inch.
const DefaultWidth = 1123

// Sizes of text in px; nothing is smaller than small.
const (
	small  = 9.0
	normal = 10.0
	strong = 11.0
	title  = 14.0
)

const margin = 16.0

// Page is how wide the drawings are.
type Page struct {
	Width float64 // px; 0 means DefaultWidth
}

// usable is the width between the margins.
func (p Page) usable() float64 {
	if p.Width == 0 {
		p.Width = DefaultWidth
	}
	return max(p.Width, 200) - 2*margin
}

// canvas collects the shapes and texts of one drawing. Texts go over shapes.
type canvas struct {
	shapes, texts bytes.Buffer
}

// write puts the drawing together.
func (c *canvas) write(w io.Writer, width, height float64, name, about string) error {
	var b bytes.Buffer
	width, height = math.Ceil(width), math.Ceil(height)
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%s" height="%s" viewBox="0 0 %s %s" role="img" font-family="system-ui, sans-serif">`+"\n",
		num(width), num(height), num(width), num(height))
	fmt.Fprintf(&b, "<title>%s</title>\n<desc>%s</desc>\n", escape(name), escape(about))
	fmt.Fprintf(&b, `<rect width="%s" height="%s" fill="white"/>`+"\n", num(width), num(height))
	b.WriteString(`<g fill="none" stroke="black" stroke-width="1.2">` + "\n")
	c.shapes.WriteTo(&b)
	b.WriteString("</g>\n<g fill=\"black\">\n")
	c.texts.WriteTo(&b)
	b.WriteString("</g>\n</svg>\n")
	_, err := b.WriteTo(w)
	return err
}

// shape adds a shape; says, if any, is shown when one points at it.
func (c *canvas) shape(says, element, attributes string, args ...any) {
	fmt.Fprintf(&c.shapes, "<"+element+" "+attributes, args...)
	if says == "" {
		c.shapes.WriteString("/>\n")
		return
	}
	fmt.Fprintf(&c.shapes, "><title>%s</title></%s>\n", escape(says), element)
}

// rect adds a box; more is further attributes.
func (c *canvas) rect(says string, x, y, w, h float64, more string) {
	c.shape(says, "rect", `x="%s" y="%s" width="%s" height="%s" %s`, num(x), num(y), num(w), num(h), more)
}

// path adds a line from point to point: x, y, x, y ...
func (c *canvas) path(says, more string, xy ...float64) {
	d := "M"
	for i, v := range xy {
		if i > 0 {
			d += " "
		}
		if i == 2 {
			d += "L"
		}
		d += num(v)
	}
	c.shape(says, "path", `d="%s" %s`, d, more)
}

// Where a text's x is.
const (
	atStart  = "start"
	atMiddle = "middle"
	atEnd    = "end"
)

// text adds a text whose baseline is at y.
func (c *canvas) text(x, y, size float64, anchor, more, s string) {
	fmt.Fprintf(&c.texts, `<text x="%s" y="%s" font-size="%s" text-anchor="%s"%s>%s</text>`+"\n", num(x), num(y), num(size), anchor, more, escape(s))
}

const bold = ` font-weight="bold"`

// num writes a coordinate.
func num(x float64) string { return strconv.FormatFloat(math.Round(x*10)/10, 'f', -1, 64) }

// escape makes any text safe inside XML; what XML cannot hold becomes U+FFFD.
func escape(s string) string {
	var b bytes.Buffer
	xml.EscapeText(&b, []byte(s)) // a bytes.Buffer never fails
	return b.String()
}

// textWidth estimates the width of a text in px. Widths of letters differ from
// font to font; 0.6 em a letter is on the wide side for a sans-serif.
func textWidth(s string, size float64) float64 {
	em := 0.0
	for _, r := range s {
		if r >= 0x1100 {
			em++
		} else {
			em += 0.6
		}
	}
	return em * size
}

// boldWidth is textWidth of bold letters.
func boldWidth(s string, size float64) float64 { return 1.12 * textWidth(s, size) }

// clip shortens a text to n letters.
func clip(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}

// wrap breaks a text into lines no wider than width, at its spaces.
func wrap(s string, size, width float64) []string {
	var lines []string
	line, last := "", -1
	for i := 0; i <= len(s); i++ {
		if i < len(s) && s[i] != ' ' {
			continue
		}
		word := s[last+1 : i]
		last = i
		switch {
		case line == "":
			line = word
		case textWidth(line+" "+word, size) <= width:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	return append(lines, line)
}
