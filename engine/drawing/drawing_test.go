package drawing_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
	"probable/engine/drawing"
	"probable/kb"
	"probable/rules"
)

// shipped is the shipped knowledge, read once.
var shipped = sync.OnceValues(func() (*rules.Base, error) { return rules.OpenBase(kb.Files) })

// read reads one of the example harnesses.
func read(t testing.TB, name string) *circuit.Harness {
	t.Helper()
	base, err := shipped()
	require.NoError(t, err)
	file := filepath.Join("..", "..", "testdata", "harness", name+".yaml")
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	h, err := base.Harness(file, data)
	require.NoError(t, err)
	return h
}

func wiring(t testing.TB, h *circuit.Harness, width float64) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, drawing.Page{Width: width}.Harness(&b, h))
	return b.String()
}

func labels(t testing.TB, h *circuit.Harness, width float64) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, drawing.Page{Width: width}.Labels(&b, h))
	return b.String()
}

// text is a text of a drawing and the box that it takes.
type text struct {
	says                     string
	size                     float64
	left, right, top, bottom float64
}

// parse reads a drawing to its end. It returns the texts that are seen, the
// titles, and the size of the page.
func parse(t testing.TB, svg string) (texts []text, titles []string, width, height float64) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(svg))
	var open []xml.StartElement
	var content string
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			require.Empty(t, open)
			return texts, titles, width, height
		}
		require.NoError(t, err)
		switch tok := tok.(type) {
		case xml.StartElement:
			open = append(open, tok.Copy())
			content = ""
			if len(open) == 1 {
				require.Equal(t, "svg", tok.Name.Local)
				box := strings.Fields(attribute(tok, "viewBox"))
				require.Len(t, box, 4)
				width, height = number(t, box[2]), number(t, box[3])
			}
		case xml.CharData:
			content += string(tok)
		case xml.EndElement:
			e := open[len(open)-1]
			open = open[:len(open)-1]
			switch e.Name.Local {
			case "title":
				titles = append(titles, content)
			case "text":
				x, y, size := number(t, attribute(e, "x")), number(t, attribute(e, "y")), number(t, attribute(e, "font-size"))
				w := 0.6 * size * float64(len([]rune(content)))
				b := text{content, size, x, x + w, y - 0.8*size, y + 0.2*size}
				switch attribute(e, "text-anchor") {
				case "end":
					b.left, b.right = x-w, x
				case "middle":
					b.left, b.right = x-w/2, x+w/2
				}
				texts = append(texts, b)
			}
		}
	}
}

func attribute(e xml.StartElement, name string) string {
	for _, a := range e.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func number(t testing.TB, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return x
}

// requireClear wants every text on the page, large enough, and on no other.
func requireClear(t testing.TB, svg string) {
	t.Helper()
	texts, _, width, height := parse(t, svg)
	require.NotEmpty(t, texts)
	for i, a := range texts {
		require.GreaterOrEqual(t, a.size, 9.0, a.says)
		require.True(t, a.left >= 0 && a.top >= 0 && a.right <= width && a.bottom <= height, "off the page: %+v", a)
		for _, b := range texts[:i] {
			require.False(t, a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom, "%+v\nlies on\n%+v", a, b)
		}
	}
}

// examples are the names of all example harnesses.
func examples(t testing.TB) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "harness", "*.yaml"))
	require.NoError(t, err)
	require.Greater(t, len(files), 2)
	for i, f := range files {
		files[i] = strings.TrimSuffix(filepath.Base(f), ".yaml")
	}
	return files
}

func TestTextsLieClear(t *testing.T) {
	for _, name := range examples(t) {
		h := read(t, name)
		for _, width := range []float64{0, 500, 800, 1600, 4000} {
			t.Run(fmt.Sprint(name, width), func(t *testing.T) {
				requireClear(t, wiring(t, h, width))
				requireClear(t, labels(t, h, width))
			})
		}
	}
}

func TestEverythingIsNamed(t *testing.T) {
	for _, name := range examples(t) {
		t.Run(name, func(t *testing.T) {
			h := read(t, name)
			texts, titles, _, _ := parse(t, wiring(t, h, 0))
			seen := map[string]int{}
			grounds := 0
			for _, x := range texts {
				seen[x.says]++
				if x.says == "ground" && x.size < 10 { // pins are written larger
					grounds++
				}
			}
			title := func(start string) bool {
				for _, s := range titles {
					if s == start || strings.HasPrefix(s, start+",") {
						return true
					}
				}
				return false
			}
			for _, p := range h.Parts {
				require.Positive(t, seen[p.Name], p.Name)
				for _, pin := range p.OuterPins() {
					require.Positive(t, seen[pin], "%s.%s", p.Name, pin)
					require.True(t, title(p.Name+"."+pin), "%s.%s", p.Name, pin)
				}
				for _, pin := range p.Inner {
					require.False(t, title(p.Name+"."+pin), "%s.%s is inside", p.Name, pin)
				}
				for _, pin := range p.OuterPins() {
					if h.NoAccess[p.Name+"."+pin] {
						require.True(t, title(p.Name+"."+pin+", a probe cannot reach it"), pin)
					}
				}
			}
			for _, w := range h.Wires {
				want := fmt.Sprintf("%s, %s, %g m", w.Name, w.Gauge, w.Metres)
				if w.Colour != "" {
					want += ", " + w.Colour
				}
				found := false
				for s := range seen {
					found = found || s == want || strings.HasPrefix(s, want+", to ")
				}
				require.True(t, found, want)
			}
			require.Equal(t, 1, grounds, "the ground net is named once")
			for s, n := range seen {
				if strings.HasPrefix(s, "net ") {
					require.Equal(t, 1, n, s)
				}
			}
		})
	}
}

// connectorsWith counts the connectors that have a pin of that name.
func connectorsWith(h *circuit.Harness, pin string) int {
	n := 0
	for _, p := range h.Parts {
		if p.Ways > 0 && slices.Contains(p.Pins, pin) {
			n++
		}
	}
	return n
}

func TestLabelsNameEveryWay(t *testing.T) {
	for _, name := range examples(t) {
		t.Run(name, func(t *testing.T) {
			h := read(t, name)
			texts, _, _, _ := parse(t, labels(t, h, 0))
			seen := map[string]int{}
			for _, x := range texts {
				seen[x.says]++
			}
			for _, p := range h.Parts {
				if p.Ways == 0 {
					continue
				}
				for _, pin := range p.Pins {
					require.Equal(t, 2*connectorsWith(h, pin), seen[pin], "%s: from the mating face and from the wire side", pin)
				}
				for _, w := range h.Wires {
					for _, end := range []string{w.From, w.To} {
						if strings.HasPrefix(end, p.Name+".") {
							require.GreaterOrEqual(t, seen[w.Name], 2, w.Name)
						}
					}
				}
			}
		})
	}
}

// TestLabelsMirror reads the pins of each row from left to right, in the order
// of the sheet.
func TestLabelsMirror(t *testing.T) {
	for _, c := range []struct {
		ways, rows int
		want       string // side a's face, side a's wires, side b's face, side b's wires
	}{
		{1, 1, "1a 1a 1b 1b"},
		{3, 1, "1a 2a 3a 3a 2a 1a 3b 2b 1b 1b 2b 3b"},
		{4, 2, "1a 2a 3a 4a 2a 1a 4a 3a 2b 1b 4b 3b 1b 2b 3b 4b"},
		{5, 2, "1a 2a 3a 4a 5a 3a 2a 1a 5a 4a 3b 2b 1b 5b 4b 1b 2b 3b 4b 5b"},
	} {
		h := plug(c.ways, c.rows)
		svg := labels(t, h, 0)
		requireClear(t, svg)
		texts, _, _, _ := parse(t, svg)
		last := -1.0
		var got []string
		view, views := []text{}, [][]text{}
		for _, x := range texts { // a view is written whole before the next
			if strings.HasPrefix(x.says, "side ") {
				view = nil
			}
			if n := len(x.says); n >= 2 && strings.Trim(x.says, "0123456789") == x.says[n-1:] && strings.ContainsAny(x.says[n-1:], "ab") {
				view = append(view, x)
				if len(view) == c.ways {
					views = append(views, view)
				}
			}
		}
		require.Len(t, views, 4)
		for _, v := range views {
			last = -1
			for i, x := range v {
				if i > 0 && x.top == v[i-1].top {
					require.Greater(t, x.left, last)
				}
				last = x.left
				got = append(got, x.says)
			}
		}
		require.Equal(t, c.want, strings.Join(got, " "), "%d ways in %d rows", c.ways, c.rows)
	}
}

// plug is a harness with one connector, wired on both sides.
func plug(ways, rows int) *circuit.Harness {
	h := &circuit.Harness{Name: "plug", Ground: "p.1a"}
	p := circuit.Part{Name: "p", Kind: "connector", Ways: ways, Rows: rows}
	for i := 1; i <= ways; i++ {
		p.Pins = append(p.Pins, fmt.Sprintf("%da", i), fmt.Sprintf("%db", i))
	}
	h.Parts = []circuit.Part{p}
	return h
}

// TestAssumedIsSaid: what the file does not give stands in brackets, and the
// sheet says what brackets mean.
func TestAssumedIsSaid(t *testing.T) {
	h := plug(2, 1)
	h.Parts = append(h.Parts, circuit.Part{Name: "lamp", Kind: "lamp", Pins: []string{"plus"}})
	for _, c := range []struct {
		gauge, metres bool
		wiring, label string
	}{
		{false, false, "w, 16 AWG, 2 m", "16 AWG"},
		{true, false, "w, (16 AWG), 2 m", "(16 AWG)"},
		{false, true, "w, 16 AWG, (2 m)", "16 AWG"},
		{true, true, "w, (16 AWG), (2 m)", "(16 AWG)"},
	} {
		h.Wires = []circuit.Wire{{Name: "w", From: "p.2b", To: "lamp.plus", Gauge: "16 AWG", Metres: 2, GaugeAssumed: c.gauge, MetresAssumed: c.metres}}
		w, l := wiring(t, h, 0), labels(t, h, 0)
		require.Contains(t, w, ">"+c.wiring+"<")
		require.Contains(t, l, ">"+c.label+"<")
		require.Equal(t, c.gauge || c.metres, strings.Contains(w, "In brackets: assumed"))
		require.Equal(t, c.gauge || c.metres, strings.Contains(l, "In brackets: assumed"))
	}
}

// TestNoEmptyRows: parts that no wire ties to a row do not stand far from the
// others. The motor circuit goes on in a second band, where the throttle is such
// a part.
func TestNoEmptyRows(t *testing.T) {
	for _, name := range examples(t) {
		svg := wiring(t, read(t, name), 0)
		texts, _, _, _ := parse(t, svg)
		var tops []float64
		for _, x := range texts {
			tops = append(tops, x.top)
		}
		slices.Sort(tops)
		for i := 1; i < len(tops); i++ {
			require.Less(t, tops[i]-tops[i-1], 80.0, "%s: nothing between %g and %g", name, tops[i-1], tops[i])
		}
	}
}

// TestLabelsSayTheirConvention: which corner way 1 is in, and that the housing
// itself must be looked at.
func TestLabelsSayTheirConvention(t *testing.T) {
	svg := labels(t, plug(4, 2), 0)
	require.Contains(t, svg, "way 1 to be at the upper left of half a, seen from its mating face")
	require.Contains(t, svg, "Housings differ: compare with the numbers moulded into")
}

func TestSameAgain(t *testing.T) {
	for _, name := range examples(t) {
		h := read(t, name)
		w, l := wiring(t, h, 0), labels(t, h, 0)
		for range 2 {
			require.Equal(t, w, wiring(t, read(t, name), 0))
			require.Equal(t, l, labels(t, read(t, name), 0))
		}
	}
}

func TestHostileTexts(t *testing.T) {
	for _, s := range []string{
		`</text><script>alert(1)</script>`, `"><rect onload='x'/>`, "a&b;&lt;", "]]>", "<!--", "\x00\x01\x1f", "\xff\xfe", "tab\tline\nend",
		strings.Repeat("long ", 500), "рыжий", "赤い線", "\u202eright to left", "",
	} {
		h := read(t, "cart-throttle")
		h.Name = s
		for i := range h.Wires {
			h.Wires[i].Colour, h.Wires[i].Gauge = s, s
		}
		for i := range h.Parts {
			h.Parts[i].Kind = s
		}
		for _, svg := range []string{wiring(t, h, 0), labels(t, h, 0)} {
			parse(t, svg)
			require.NotContains(t, svg, "<script")
			require.NotContains(t, svg, "<rect onload")
		}
	}
}

func FuzzEscape(f *testing.F) {
	f.Add("<red>", "w&1", "a\"b")
	f.Add("]]>", "\x00", "\xff")
	f.Fuzz(func(t *testing.T, colour, wire, part string) {
		part = strings.ReplaceAll(part, ".", "")
		h := &circuit.Harness{Name: colour, Ground: part + ".x"}
		h.Parts = []circuit.Part{{Name: part, Kind: wire, Pins: []string{"x", "y"}}}
		h.Wires = []circuit.Wire{{Name: wire, From: part + ".x", To: part + ".y", Gauge: colour, Colour: colour}}
		parse(t, wiring(t, h, 0))
		parse(t, labels(t, h, 0))
	})
}

// FuzzDraw draws whatever harness can be read.
func FuzzDraw(f *testing.F) {
	base, err := shipped()
	require.NoError(f, err)
	for _, name := range examples(f) {
		data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "harness", name+".yaml"))
		require.NoError(f, err)
		f.Add(data, 1000.0)
	}
	f.Fuzz(func(t *testing.T, data []byte, width float64) {
		h, err := base.Harness("x.yaml", data)
		if err != nil || len(h.Parts) > 60 || !(width >= 200 && width <= 5000) {
			return
		}
		svg := wiring(t, h, width)
		parse(t, svg)
		requireApart(t, svg)
		parse(t, labels(t, h, width))
	})
}

// TestAnyHarness draws harnesses made by chance, on pages of many widths.
func TestAnyHarness(t *testing.T) {
	for seed := range uint64(150) {
		r := rand.New(rand.NewPCG(seed, 1))
		h := random(r, 1+r.IntN(14), r.IntN(30))
		svg := wiring(t, h, 300+r.Float64()*3000)
		requireClear(t, svg)
		requireApart(t, svg)
		requireClear(t, labels(t, h, 200+r.Float64()*2000))
	}
}

// random makes a harness of parts, connectors and splices with wires anywhere.
func random(r *rand.Rand, parts, wires int) *circuit.Harness {
	h := &circuit.Harness{Name: "by chance", NoAccess: map[string]bool{}}
	for i := range parts {
		p := circuit.Part{Name: fmt.Sprintf("part%d", i), Kind: "thing"}
		switch r.IntN(4) {
		case 0:
			p = plug(1+r.IntN(6), 1+r.IntN(2)).Parts[0]
			p.Name = fmt.Sprintf("plug%d", i)
		case 1:
			p.Elements = []circuit.Element{{Type: circuit.Source, Supply: r.IntN(3) == 0}}
			fallthrough
		default:
			p.Splice = r.IntN(4) == 0
			for k := range 1 + r.IntN(5) {
				p.Pins = append(p.Pins, fmt.Sprintf("pin%d", k))
			}
		}
		h.Parts = append(h.Parts, p)
	}
	pins := h.Pins()
	h.Ground = pins[r.IntN(len(pins))]
	h.NoAccess[pins[r.IntN(len(pins))]] = true
	for i := range wires {
		from, to := pins[r.IntN(len(pins))], pins[r.IntN(len(pins))]
		if from != to {
			h.Wires = append(h.Wires, circuit.Wire{Name: fmt.Sprintf("w%d", i), From: from, To: to, Gauge: "20 AWG", Metres: 0.5})
		}
	}
	return h
}

func TestWiresLieApart(t *testing.T) {
	for _, name := range examples(t) {
		for _, width := range []float64{0, 600, 4000} {
			requireApart(t, wiring(t, read(t, name), width))
		}
	}
}

// requireApart wants no two wires to lie on each other along a line, for one
// could not tell which is which, and none to run through a text.
func requireApart(t testing.TB, svg string) {
	t.Helper()
	type stretch struct {
		wire     string
		from, to float64
	}
	lines := map[string][]stretch{} // by direction and place
	texts, _, _, _ := parse(t, svg)
	d := xml.NewDecoder(strings.NewReader(svg))
	var path string
	inTitle := false
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		require.NoError(t, err)
		switch tok := tok.(type) {
		case xml.StartElement:
			if tok.Name.Local == "path" {
				path = attribute(tok, "d")
			}
			inTitle = tok.Name.Local == "title"
		case xml.EndElement:
			if inTitle = false; tok.Name.Local == "path" {
				path = ""
			}
		case xml.CharData:
			wire, _, ok := strings.Cut(string(tok), ",")
			if !inTitle || path == "" || !ok {
				continue
			}
			f := strings.Fields(strings.NewReplacer("M", "", "L", "").Replace(path))
			for i := 0; i+3 < len(f); i += 2 {
				x, y, u, v := number(t, f[i]), number(t, f[i+1]), number(t, f[i+2]), number(t, f[i+3])
				key, s := "across "+f[i+1], stretch{wire, min(x, u), max(x, u)}
				if y != v {
					require.Equal(t, x, u, "wire %s runs aslant", wire)
					key, s = "up "+f[i], stretch{wire, min(y, v), max(y, v)}
				}
				for _, b := range texts {
					require.False(t, min(x, u) < b.right && b.left < max(x, u)+0.1 && min(y, v) < b.bottom && b.top < max(y, v)+0.1, "%s runs through %+v", wire, b)
				}
				for _, o := range lines[key] {
					require.False(t, o.wire != wire && s.from < o.to && o.from < s.to, "%s lies on %s (%s)", wire, o.wire, key)
				}
				lines[key] = append(lines[key], s)
			}
		}
	}
}

func TestLargeHarness(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	h := random(r, 600, 1500)
	parse(t, wiring(t, h, 0))
	parse(t, labels(t, h, 0))
}
