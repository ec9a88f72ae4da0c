package report

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"probable/engine"
)

// About is what a report says of a case besides its course.
type About struct {
	Case          string
	Harness       string // its name, empty without one
	HarnessDigest string
	Symptom       string
	Guide         string
	Tool          string // version
	BaseDigest    string // of the knowledge the case was opened with
	BaseChanged   bool   // the knowledge is another one now
	Opened, Last  time.Time
	Facts         map[string]any
	Supply        map[string]float64 // V measured before the first check, by part
}

// Markdown writes the report. Its tables and lists read as plain text too.
func Markdown(w io.Writer, c *engine.Course, a About) error {
	p := &page{}
	m := c.Model()
	v := c.Verdict()
	p.line("# Fault report %s", a.Case)
	p.line("")
	p.item("Vehicle", a.Harness)
	p.item("Symptom", a.Symptom)
	p.item("Guide", a.Guide)
	p.item("Opened", a.Opened.Format("2006-01-02 15:04"))
	p.item("Last entry", a.Last.Format("2006-01-02 15:04"))
	p.item("Status", string(v.Status))
	var facts []string
	for name, x := range a.Facts {
		facts = append(facts, fmt.Sprintf("%s %v", strings.ReplaceAll(name, "_", " "), x))
	}
	for part, v := range a.Supply {
		facts = append(facts, fmt.Sprintf("%s reads %.4g V", part, v))
	}
	slices.Sort(facts)
	p.item("Known before", strings.Join(facts, "; "))

	p.head("Verdict")
	if c.Settled() {
		p.line("The causes that remain:")
	} else {
		p.line("The case stopped before a verdict; the likeliest causes so far:")
	}
	p.line("")
	p.line("| probability | cause |")
	p.line("| ---: | --- |")
	for _, x := range v.Causes {
		p.line("| %.1f %% | %s |", 100*x.P, cell(x.Cause.ID))
	}
	p.line("")
	for _, x := range v.Causes {
		if x.Cause.Say != "" {
			p.line("%s: %s", x.Cause.ID, x.Cause.Say)
			p.line("")
		}
	}
	for _, g := range v.Groups {
		if !c.Settled() {
			break
		}
		p.line("No check that was left tells these apart: %s.", strings.Join(g, "; "))
		p.line("")
	}
	top := v.Causes[0].Cause
	if c.Settled() {
		p.line("Repair: %s", v.Repair)
	}
	if r := c.LastRepair(); r != "" {
		p.line("")
		p.line("Repaired: %s", r)
	}

	p.head("Readings")
	if len(c.Taken()) == 0 {
		p.line("None was taken.")
	} else {
		p.line("| # | check | power | read | healthy | %s |", cell(top.ID))
		p.line("| ---: | --- | --- | --- | --- | --- |")
	}
	var skipped []string
	for i, t := range c.Taken() {
		id := t.Check.ID
		switch {
		case t.Skipped != "":
			skipped = append(skipped, fmt.Sprintf("%d. %s: %s", i+1, id, t.Skipped))
			continue
		case t.Stale && t.Proof:
			id += " (earlier proof)"
		case t.Stale:
			id += " (no longer counted)"
		case t.Proof:
			id += " (proof)"
		}
		read := t.Check.Shows(t.Result)
		if !t.Healthy {
			read = "**" + read + "**"
		}
		p.line("| %d | %s | %s | %s | %s | %s |", i+1, cell(id), t.Check.Power, cell(read), cell(t.Check.Good()), cell(m.Predicts(t.Check, top.ID)))
	}
	if len(c.Taken()) > 0 {
		p.line("")
		p.line("Bold: not what a healthy vehicle shows.")
	}
	if len(skipped) > 0 {
		p.head("Skipped")
		for _, s := range skipped {
			p.line("- %s", s)
		}
	}
	if len(v.LeftOut) > 0 {
		p.head("Left out")
		for _, s := range v.LeftOut {
			p.line("- %s", s)
		}
	}
	if len(v.Prove) > 0 {
		p.head("Proof")
		p.line("The repair is proven when:")
		p.line("")
		for _, s := range v.Prove {
			p.line("- %s", s)
		}
	}
	p.head("Cautions")
	cautions := slices.Concat(m.Cautions, top.Cautions)
	if top.Kills != "" {
		cautions = append(cautions, "What kills the part: "+top.Kills)
	}
	if top.Hurts != "" {
		cautions = append(cautions, "What hurts a person: "+top.Hurts)
	}
	for _, s := range cautions {
		p.line("- %s", s)
	}
	p.head("Made with")
	p.line("- probable %s", a.Tool)
	p.line("- knowledge %s", a.BaseDigest)
	if a.BaseChanged {
		p.line("- the knowledge has changed since the case was opened: the figures above are those of the present one")
	}
	if a.HarnessDigest != "" {
		p.line("- harness %s", a.HarnessDigest)
	}
	_, err := io.WriteString(w, p.b.String())
	return err
}

type page struct{ b strings.Builder }

func (p *page) line(format string, args ...any) { fmt.Fprintf(&p.b, format+"\n", args...) }

func (p *page) head(title string) { p.line("\n## %s\n", title) }

func (p *page) item(name, value string) {
	if value != "" {
		p.line("- %s: %s", name, value)
	}
}

// cell keeps a text from breaking a table.
func cell(s string) string {
	return strings.NewReplacer("|", "\\|", "\n", " ").Replace(s)
}
