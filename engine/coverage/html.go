package coverage

import (
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
)

// WriteHTML writes the sheets as one page that needs nothing else: for each guide
// its figures and the table of causes by checks as a heat map. A cell is the darker
// the further its answers are from those of all causes by their odds; its
// figure says so in tenths of a bit, so that the page reads in grey as well.
func WriteHTML(w io.Writer, sheets []*Sheet) error { return page.Execute(w, sheets) }

// steps are how many shades a cell can have, and topBits is what the darkest
// begins at.
const (
	steps   = 6
	topBits = 2.5
)

// shade is the step of a cell, from 0 for nothing.
func shade(bits float64) int {
	switch {
	case bits < 0.05:
		return 0
	case bits >= topBits:
		return steps - 1
	}
	return 1 + int(float64(steps-2)*math.Sqrt(bits/topBits))
}

// title says what a cell shows in words.
func title(s *Sheet, cause, col int) string {
	c, k := &s.Causes[cause], &s.Checks[col]
	cell := &c.Cells[col]
	var b strings.Builder
	fmt.Fprintf(&b, "%s\n%s", c.ID, k.ID)
	switch {
	case cell.Chances != nil:
		for i, p := range cell.Chances {
			fmt.Fprintf(&b, "\n%.2f %s", p, k.Outcomes[i])
		}
	case cell.Shows != "":
		fmt.Fprintf(&b, "\n%s", cell.Shows)
	default:
		b.WriteString("\nnot offered")
	}
	fmt.Fprintf(&b, "\n%.2f bits from the mean of all causes", cell.Bits)
	return b.String()
}

var page = template.Must(template.New("page").Funcs(template.FuncMap{
	"title": title,
	"shade": shade,
	"tenths": func(bits float64) string {
		if shade(bits) == 0 {
			return ""
		}
		return fmt.Sprintf("%.0f", 10*bits)
	},
	"share": func(x float64) string { return fmt.Sprintf("%.0f %%", 100*x) },
	"one":   func(x float64) string { return fmt.Sprintf("%.1f", x) },
	"two":   func(x float64) string { return fmt.Sprintf("%.2f", x) },
	"plus":  func(i int) int { return i + 1 },
	"names": func(ids []string) string { return strings.Join(ids, ", ") },
	"ends": func(c Cause) string {
		switch {
		case c.Alone:
			return "alone"
		case c.Found:
			return "with others"
		}
		return "not found"
	},
}).Parse(`<!DOCTYPE html>
<html lang="en">
<meta charset="utf-8">
<meta name="viewport" content="width=device-width">
<title>What the guides can find</title>
<style>
body { font: 15px/1.45 Georgia, serif; color: #1a1a1a; background: #fff; margin: 2em auto; max-width: 78em; padding: 0 1em; }
h1, h2 { font-weight: normal; }
h2 { margin-top: 2.5em; border-bottom: 2px solid #1a1a1a; }
.scroll { overflow-x: auto; }
table { border-collapse: collapse; font: 12px/1.2 Verdana, sans-serif; }
th { font-weight: normal; text-align: left; }
td, th { padding: 2px 5px; }
.map td { width: 1.7em; min-width: 1.7em; text-align: center; border: 1px solid #fff; }
.map thead th { height: 15em; vertical-align: bottom; white-space: nowrap; }
.map thead span { writing-mode: vertical-rl; transform: rotate(180deg); }
.map tbody th { white-space: nowrap; }
.map .rest { color: #4a4a4a; }
.b0 { background: #f4f2ee; color: #1a1a1a; } .b1 { background: #dcd6c8; color: #1a1a1a; }
.b2 { background: #bdb39c; color: #1a1a1a; } .b3 { background: #66644f; color: #fff; }
.b4 { background: #45463a; color: #fff; } .b5 { background: #1d1f1a; color: #fff; }
.none { background: #fff; }
dl { display: grid; grid-template-columns: max-content auto; gap: .1em 1.2em; }
dd { margin: 0; }
</style>
<h1>What the guides can find</h1>
<p>Each row is a cause, each column a check. A cell is the darker, and its figure (tenths of a bit) the greater, the further the
check's answers under that cause are from those of all causes by their odds. Point at a cell for its answers.</p>
{{range $s := .}}
<h2>{{.Guide}}</h2>
<dl>
<dt>End alone, or with the same repair</dt><dd>{{share .Alone}} of {{len .Causes}} causes{{if .Draws}}; {{share .DrawnAlone}} of drawn courses{{end}}</dd>
<dt>Checks to the verdict</dt><dd>{{one .Mean}} on the mean, {{.Worst}} at the most ({{.Hard}}){{if .Draws}}; drawn {{one .DrawnMean}}, {{.DrawnWorst}} at the most{{end}}</dd>
{{if .Draws}}<dt>Entropy of the repairs</dt><dd>{{two .Prior}} bits, of which {{two .Left}} are left at the verdict</dd>
<dt>Fewest checks that this allows</dt><dd>{{one .Bound}} ({{one .Capacity}} by capacity alone); the drawn courses take {{two .Ratio}} times as many</dd>{{end}}
{{range .Groups}}<dt>Not told apart</dt><dd>{{names .}}</dd>{{end}}
</dl>
<div class="scroll"><table class="map">
<thead><tr><th>cause</th><th>ends</th>{{range $s.Checks}}<th><span>{{.ID}} ({{two .Capacity}})</span></th>{{end}}</tr></thead>
<tbody>{{range $i, $c := $s.Causes}}
<tr><th>{{.ID}}</th><th class="rest">{{ends .}}, {{.Checks}}</th>{{range $k, $cell := .Cells}}<td class="{{if or .Chances .Shows}}b{{shade .Bits}}{{else}}none{{end}}" title="{{title $s $i $k}}">{{tenths .Bits}}</td>{{end}}</tr>{{end}}
</tbody></table></div>
{{end}}
</html>
`))
