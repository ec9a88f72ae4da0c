package report

import (
	_ "embed"
	"html/template"
	"io"
	"regexp"
)

//go:embed report.html
var pageText string

var htmlPage = template.Must(template.New("report").Parse(pageText))

// HTML writes the report as one page that needs nothing else, with its figures.
// It prints to paper as it stands.
func (r *Report) HTML(w io.Writer) error {
	type row struct {
		Reading
		Name     string
		Predicts []string
	}
	var rows []row
	leaders := r.leaders()
	for _, t := range r.Readings {
		x := row{Reading: t, Name: t.name()}
		x.Read, x.Good = unbroken(t.Read), unbroken(t.Good)
		for _, id := range leaders {
			x.Predicts = append(x.Predicts, unbroken(t.Predicts[id]))
		}
		rows = append(rows, x)
	}
	type cause struct {
		Cause
		Percent float64
	}
	var causes []cause
	for _, x := range r.Causes {
		causes = append(causes, cause{x, 100 * x.P})
	}
	told := r.evidence()
	for _, e := range told {
		for i := range e.Rows {
			x := &e.Rows[i]
			x.Read, x.Shows = unbroken(x.Read), unbroken(x.Shows)
		}
	}
	type section struct {
		Title, Intro string
		Items        []string
	}
	var lists []section
	for _, l := range r.lists() {
		lists = append(lists, section{l.title, l.intro, l.items})
	}
	type line struct{ Name, Value string }
	var head []line
	for _, x := range r.head() {
		head = append(head, line{x.name, x.value})
	}
	// The figures are our own SVG, in which every text is escaped.
	return htmlPage.Execute(w, map[string]any{
		"Report": r, "Head": head, "VerdictIs": r.verdictIs(), "Causes": causes, "Remarks": r.remarks(), "Leaders": leaders,
		"Rows": rows, "Evidence": told, "EvidenceIs": evidenceIs, "Lists": lists, "Wiring": template.HTML(r.wiring), "Chart": template.HTML(r.chart),
	})
}

var measured = regexp.MustCompile(`([0-9]) ([mkM]?(?:V|ohm|A))\b`)

// unbroken keeps numbers and their units on one line.
func unbroken(s string) string { return measured.ReplaceAllString(s, "$1\u00a0$2") }
