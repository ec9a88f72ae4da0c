package report

import (
	"fmt"
	"io"
	"strings"
)

// Markdown writes the report. Its tables and lists read as plain text too.
func (r *Report) Markdown(w io.Writer) error {
	p := &page{}
	p.line("# Fault report %s", r.Case)
	p.line("")
	for _, x := range r.head() {
		p.line("- %s: %s", x.name, x.value)
	}

	p.head("Verdict")
	p.line("%s", r.verdictIs())
	p.line("")
	p.line("| probability | cause |")
	p.line("| ---: | --- |")
	for _, x := range r.Causes {
		p.line("| %.1f %% | %s |", 100*x.P, cell(x.ID))
	}
	p.line("")
	for _, x := range r.Causes {
		if x.Say != "" {
			p.line("%s: %s", x.ID, x.Say)
			p.line("")
		}
	}
	for _, s := range r.remarks() {
		p.line("%s", s)
		p.line("")
	}
	if r.Repair != "" {
		p.line("Repair: %s", r.Repair)
	}
	if r.Repaired != "" {
		p.line("")
		p.line("Repaired: %s", r.Repaired)
	}

	if all := r.evidence(); len(all) > 0 {
		p.head("Evidence")
		p.line("%s", evidenceIs)
		for _, e := range all {
			p.line("")
			p.line("%s", e.Intro)
			if len(e.Rows) == 0 {
				continue
			}
			p.line("")
			p.line("| factor | reading | it would show |")
			p.line("| ---: | --- | --- |")
			for _, x := range e.Rows {
				p.line("| %s | %s | %s |", x.Times, cell(x.Read), cell(x.Shows))
			}
		}
	}

	p.head("Readings")
	leaders := r.leaders()
	if len(r.Readings) == 0 {
		p.line("None was taken.")
	} else {
		p.line("| # | check | power | read | healthy |%s", strings.Join(cells(leaders), ""))
		p.line("| ---: | --- | --- | --- | --- |%s", strings.Repeat(" --- |", len(leaders)))
	}
	skipped := false
	for _, t := range r.Readings {
		if t.Skipped != "" {
			skipped = true
			continue
		}
		read := t.Read
		if !t.Healthy {
			read = "**" + read + "**"
		}
		var predicts []string
		for _, id := range leaders {
			predicts = append(predicts, t.Predicts[id])
		}
		p.line("| %d | %s | %s | %s | %s |%s", t.N, cell(t.name()), t.Power, cell(read), cell(t.Good), strings.Join(cells(predicts), ""))
	}
	if len(r.Readings) > 0 {
		p.line("")
		p.line("Bold: not what a healthy vehicle shows. The columns after it say what each leading cause predicts.")
	}
	if skipped {
		p.head("Skipped")
		for _, t := range r.Readings {
			if t.Skipped != "" {
				p.line("- %d. %s: %s", t.N, t.Check, t.Skipped)
			}
		}
	}
	for _, l := range r.lists() {
		p.head(l.title)
		if l.intro != "" {
			p.line("%s", l.intro)
			p.line("")
		}
		for _, s := range l.items {
			p.line("- %s", s)
		}
	}
	_, err := io.WriteString(w, p.b.String())
	return err
}

type page struct{ b strings.Builder }

func (p *page) line(format string, args ...any) { fmt.Fprintf(&p.b, format+"\n", args...) }

func (p *page) head(title string) { p.line("\n## %s\n", title) }

// cells writes texts as further cells of a row.
func cells(texts []string) []string {
	out := make([]string, len(texts))
	for i, s := range texts {
		out[i] = " " + cell(s) + " |"
	}
	return out
}

// cell keeps a text from breaking a table.
func cell(s string) string {
	return strings.NewReplacer("|", "\\|", "\n", " ").Replace(s)
}
