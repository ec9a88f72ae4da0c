package coverage_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/coverage"
	"probable/kb"
	"probable/rules"
)

// h2 is the entropy of a coin in bits.
func h2(p float64) float64 { return -p*math.Log2(p) - (1-p)*math.Log2(1-p) }

// rows is a check as the chances of its results by cause.
type rows = [][]float64

func TestFewest(t *testing.T) {
	tests := []struct {
		name       string
		bits       float64
		capacities []float64
		want       float64
	}{
		{"nothing to learn", 0, []float64{1}, 0},
		{"one check", 1, []float64{1}, 1},
		{"half of one", 0.5, []float64{1}, 0.5},
		// 1.5 from the best, then 0.5 of the 1.0 of the next.
		{"best first", 2, []float64{0.3, 1, 1.5}, 1.5},
		// Symmetric channels of error 0.1: 1 - H(0.1) = 0.531 bits each.
		{"noisy", 1, []float64{1 - h2(0.1), 1 - h2(0.1)}, 1 / (1 - h2(0.1))},
		{"too few", 2, []float64{1, 0.5}, math.Inf(1)},
		{"useless", 1, []float64{0}, math.Inf(1)},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) { require.InDelta(t, tt.want, coverage.Fewest(tt.bits, tt.capacities), 1e-12) })
	}
}

// TestFewestAt: courses whose least mean count is known by hand, which the bound
// may not exceed, and how near it comes.
func TestFewestAt(t *testing.T) {
	// single tells one of n causes from the others without error.
	single := func(n, which int) rows {
		var c rows
		for i := range n {
			c = append(c, []float64{1, 0})
			if i == which {
				c[i] = []float64{0, 1}
			}
		}
		return c
	}
	tests := []struct {
		name        string
		prior       []float64
		checks      []rows
		bits        float64
		least, most float64 // of the bound
	}{
		// Capacity alone would say 0.469 checks. But the check is made whichever
		// cause it is: once.
		{"a rare cause", []float64{0.9, 0.1}, []rows{single(2, 1)}, h2(0.1), 0.98, 1},
		// Two causes at even odds: one check.
		{"even", []float64{0.5, 0.5}, []rows{single(2, 1)}, 1, 0.99, 1},
		// One of four, each check asks for one: 1/4 once, 1/4 twice, 1/2 three
		// times, 2.25 on the mean.
		{"one of four", []float64{0.25, 0.25, 0.25, 0.25}, []rows{single(4, 0), single(4, 1), single(4, 2), single(4, 3)}, 2, 1.95, 2.25},
		// Halves: two checks, and nothing does it with fewer.
		{"halves", []float64{0.25, 0.25, 0.25, 0.25}, []rows{
			{{1, 0}, {1, 0}, {0, 1}, {0, 1}}, {{1, 0}, {0, 1}, {1, 0}, {0, 1}}}, 2, 1.98, 2},
		// Odds 0.8 and the rest 0.1 each: asking for the likely one first takes
		// 0.8 + 0.2*2 = 1.2 on the mean; entropy is 0.922.
		{"likely first", []float64{0.8, 0.1, 0.1}, []rows{single(3, 0), single(3, 1), single(3, 2)}, 0.8*math.Log2(1/0.8) + 0.2*math.Log2(10), 0.922, 1.2},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got := coverage.FewestAt(tt.bits, tt.prior, tt.checks...)
			require.GreaterOrEqual(t, got, tt.least)
			require.LessOrEqual(t, got, tt.most+1e-9)
		})
	}
}

// guide reads a guide of causes and looks from tables, by check; the causes have
// the odds given.
func guide(t *testing.T, odds []float64, tables ...rows) *engine.Guide {
	t.Helper()
	var b strings.Builder
	b.WriteString("guide: small\nversion: 2\nabout: x\ncauses:\n")
	for i, o := range odds {
		fmt.Fprintf(&b, "  - {id: cause %d, say: x, odds: %g, source: practice, repair: x, prove: [check 0], kills: x, hurts: x}\n", i, o)
	}
	b.WriteString("checks:\n")
	for i, table := range tables {
		fmt.Fprintf(&b, "  - id: check %d\n    mode: look\n    power: off\n    say: x\n    why: x\n    minutes: 1\n    source: practice\n    outcomes: [", i)
		for k := range table[0] {
			fmt.Fprintf(&b, "{id: out %d}, ", k)
		}
		b.WriteString("]\n    good: out 0\n    table:\n")
		for c, row := range table {
			name := fmt.Sprintf("cause %d", c)
			if c == 0 {
				name = "otherwise"
			}
			var cells []string
			for _, x := range row {
				cells = append(cells, strconv.FormatFloat(x, 'g', -1, 64))
			}
			fmt.Fprintf(&b, "      %s: [%s]\n", name, strings.Join(cells, ", "))
		}
	}
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	g, err := base.ReadGuide("small.yaml", []byte(b.String()), rules.SourceIDs{})
	require.NoError(t, err, b.String())
	return g
}

// TestTiny measures two causes and a sure check by hand.
func TestTiny(t *testing.T) {
	g := guide(t, []float64{2, 2}, rows{{1, 0}, {0, 1}})
	s, err := coverage.Measure(g, coverage.Options{Draws: 10, Seed: 1})
	require.NoError(t, err)
	require.Equal(t, 1.0, s.Mean)
	require.InDelta(t, 1, s.DrawnMean, 1e-12)
	require.Equal(t, 1.0, s.Alone)
	require.InDelta(t, 1, s.DrawnAlone, 1e-12)
	require.Empty(t, s.Groups)
	require.InDelta(t, 1, s.Prior, 1e-12, "two repairs at even odds")
	// One result in a hundred is a misreading, which is either answer: the true
	// cause has 0.995 against 0.005.
	require.InDelta(t, -math.Log2(0.995), s.Left, 1e-9)
	require.InDelta(t, 1-s.Left, s.Capacity, 1e-5, "the check can tell one bit")
	require.LessOrEqual(t, s.Bound, 1.0)
	require.InDelta(t, 1, s.Checks[0].Capacity, 1e-5)
	for _, c := range s.Causes {
		require.InDelta(t, 1, c.Cells[0].Bits, 1e-9, "sure against even")
	}
}

// TestEntropyOfATinyGuide: repairs count, not causes. Odds 2, 1, 1 of three
// repairs are 1.5 bits; with two under one repair 1 bit.
func TestEntropyOfATinyGuide(t *testing.T) {
	g := guide(t, []float64{2, 1, 1}, rows{{0.9, 0.05, 0.05}, {0.05, 0.9, 0.05}, {0.05, 0.05, 0.9}})
	s, err := coverage.Measure(g, coverage.Options{Draws: 1})
	require.NoError(t, err)
	require.InDelta(t, 1.5, s.Prior, 1e-12)
	g.Causes[2].Mends = g.Causes[1].Mends
	s, err = coverage.Measure(g, coverage.Options{Draws: 1})
	require.NoError(t, err)
	require.InDelta(t, 1, s.Prior, 1e-12)
}

// TestGroups names causes that nothing tells apart.
func TestGroups(t *testing.T) {
	look := rows{{0.98, 0.02}, {0.02, 0.98}, {0.02, 0.98}}
	g := guide(t, []float64{2, 2, 2}, look, look, look)
	s, err := coverage.Measure(g, coverage.Options{})
	require.NoError(t, err)
	require.Equal(t, [][]string{{"cause 1", "cause 2"}}, s.Groups)
	require.InDelta(t, 1.0/3, s.Alone, 1e-12)
	require.True(t, s.Causes[0].Alone)
	require.True(t, s.Causes[1].Found)
	require.False(t, s.Causes[1].Alone)
	// Under one repair they are alone.
	g.Causes[2].Mends = g.Causes[1].Mends
	s, err = coverage.Measure(g, coverage.Options{})
	require.NoError(t, err)
	require.Empty(t, s.Groups)
	require.Equal(t, 1.0, s.Alone)
}

// TestNeeds plays a cause that only other facts allow.
func TestNeeds(t *testing.T) {
	g := guide(t, []float64{2, 2, 2}, rows{{0.98, 0.01, 0.01}, {0.01, 0.98, 0.01}, {0.01, 0.01, 0.98}})
	g.Facts = []engine.Fact{
		{Name: "fitted", YesNo: true, Default: false},
		{Name: "volts", Low: 12, High: 100, Default: 36.0},
	}
	g.Causes[2].When = func(f map[string]any) (bool, error) { return f["fitted"] == true && f["volts"].(float64) > 60, nil }
	s, err := coverage.Measure(g, coverage.Options{Draws: 5})
	require.NoError(t, err)
	require.Nil(t, s.Causes[1].Facts)
	require.Equal(t, true, s.Causes[2].Facts["fitted"])
	require.Greater(t, s.Causes[2].Facts["volts"], 60.0)
	require.True(t, s.Causes[2].Alone)
	require.InDelta(t, 1, s.Prior, 1e-12, "two causes are there with the usual facts")
	g.Causes[2].When = func(map[string]any) (bool, error) { return false, nil }
	_, err = coverage.Measure(g, coverage.Options{})
	require.ErrorContains(t, err, `cause "cause 2": no facts meet its "when"`)
}

// TestBoundHolds makes guides at random: no bound is above the mean of what was
// played, and the one that knows the odds is never below the other.
func TestBoundHolds(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	near := 0.0
	for range 40 {
		causes, checks, outcomes := 2+rng.IntN(6), 2+rng.IntN(7), 2+rng.IntN(3)
		var odds []float64
		for range causes {
			odds = append(odds, math.Round(10*math.Exp(rng.NormFloat64()))/10+0.1)
		}
		var tables []rows
		for range checks {
			var table rows
			for range causes {
				row, sum := make([]float64, outcomes), 0.0
				for k := range row {
					row[k] = math.Round(1000*math.Pow(rng.Float64(), 4))/1000 + 0.01
					sum += row[k]
				}
				for k := range row {
					row[k] /= sum
				}
				table = append(table, row)
			}
			tables = append(tables, table)
		}
		s, err := coverage.Measure(guide(t, odds, tables...), coverage.Options{Draws: 60, Seed: 3})
		require.NoError(t, err)
		require.GreaterOrEqual(t, s.Bound, s.Capacity-1e-9)
		require.LessOrEqual(t, s.Bound, s.DrawnMean, "odds %v tables %v", odds, tables)
		near = max(near, s.Bound/s.DrawnMean)
	}
	require.Greater(t, near, 0.6, "the bound comes near what was played somewhere")
}

// TestShipped: each shipped guide can be measured, twice alike, and its bound is
// not above what was played.
func TestShipped(t *testing.T) {
	b, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	ids := b.GuideIDs()
	require.NotEmpty(t, ids)
	for i, id := range ids {
		t.Run(id, func(t *testing.T) {
			g := b.Guide(id)
			s, err := coverage.Measure(g, coverage.Options{Draws: 3, Seed: 1})
			require.NoError(t, err)
			require.Len(t, s.Causes, len(g.Causes))
			require.Positive(t, s.Bound)
			require.LessOrEqual(t, s.Bound, s.DrawnMean)
			for _, c := range s.Causes {
				require.Len(t, c.Cells, len(s.Checks), c.ID)
				require.NotEmpty(t, c.Verdict, c.ID)
			}
			if i == 0 {
				again, err := coverage.Measure(g, coverage.Options{Draws: 3, Seed: 1})
				require.NoError(t, err)
				require.Equal(t, s, again)
			}
		})
	}
}

// TestHTML: the page is well formed and by itself, its cells say their figures,
// and its shades can be read: contrast 4.5 to 1 of figure to ground (the AA level of
// WCAG 2, memory), each darker than the one before in grey.
func TestHTML(t *testing.T) {
	g := guide(t, []float64{2, 2, 2}, rows{{0.98, 0.02}, {0.02, 0.98}, {0.02, 0.98}})
	g.Causes[1].ID = `<b>"1"`
	s, err := coverage.Measure(g, coverage.Options{Draws: 2})
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, coverage.WriteHTML(&b, []*coverage.Sheet{s}))
	page := b.String()
	require.NotContains(t, page, "<b>")
	require.NotRegexp(t, `https?://|src=|<script|@import|url\(`, page, "it needs nothing else")
	require.Contains(t, page, "0.98 out 0")
	require.Contains(t, page, "bits from the mean of all causes")
	d := xml.NewDecoder(strings.NewReader(page))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	cells := 0
	for {
		token, err := d.Token()
		if err == io.EOF {
			break
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "td" {
			cells++
			require.Equal(t, []string{"class", "title"}, []string{e.Attr[0].Name.Local, e.Attr[1].Name.Local})
		}
	}
	require.Equal(t, len(s.Causes)*len(s.Checks), cells)

	before := 2.0
	for i := range 6 {
		m := regexp.MustCompile(fmt.Sprintf(`\.b%d \{ background: #([0-9a-f]+); color: #([0-9a-f]+)`, i)).FindStringSubmatch(page)
		require.NotNil(t, m, "shade %d", i)
		ground, figure := luminance(t, m[1]), luminance(t, m[2])
		require.Less(t, ground, before)
		before = ground
		high, low := max(ground, figure), min(ground, figure)
		require.GreaterOrEqual(t, (high+0.05)/(low+0.05), 4.5, "shade %d", i)
	}
}

// luminance of a colour as three or six digits, as WCAG 2 defines it (memory).
func luminance(t *testing.T, hex string) float64 {
	t.Helper()
	if len(hex) == 3 {
		hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
	}
	var sum float64
	for i, weight := range []float64{0.2126, 0.7152, 0.0722} {
		n, err := strconv.ParseUint(hex[2*i:2*i+2], 16, 8)
		require.NoError(t, err)
		c := float64(n) / 255
		if c <= 0.03928 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		sum += weight * c
	}
	return sum
}
