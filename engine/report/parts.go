package report

import (
	"fmt"
	"strings"

	"probable/engine"
)

// What the written forms of a report have in common.

// item is a line of a report's head.
type item struct{ name, value string }

const clock = "2006-01-02 15:04"

// head returns the lines that say what the report is about.
func (r *Report) head() []item {
	all := []item{
		{"Vehicle", r.Vehicle},
		{"Symptom", r.Symptom},
		{"Guide", r.Guide},
		{"Went on with", strings.Join(r.HandOffs, "; ")},
		{"Opened", r.Opened.Format(clock)},
		{"Last entry", r.Last.Format(clock)},
		{"Status", string(r.Status)},
		{"Known before", strings.Join(r.Known, "; ")},
	}
	var out []item
	for _, x := range all {
		if x.value != "" {
			out = append(out, x)
		}
	}
	return out
}

func (r *Report) verdictIs() string {
	if r.Settled {
		return "The causes that remain:"
	}
	return "The case stopped before a verdict; the likeliest causes so far:"
}

// remarks are what goes with the causes of a verdict.
func (r *Report) remarks() []string {
	var out []string
	for _, g := range r.Groups {
		out = append(out, fmt.Sprintf("No check that was left tells these apart: %s.", strings.Join(g, "; ")))
	}
	alone := "No single cause explains all readings"
	for _, t := range r.Readings {
		if t.Odd {
			out = append(out, fmt.Sprintf("Reading %d (%s: %s) was probably wrong: what leads shows something else there.", t.N, t.Check, t.Read))
			alone = "If no reading was wrong, no single cause explains all"
		}
		if t.Unlike {
			out = append(out, fmt.Sprintf("Reading %d (%s: %s) is seldom so with what leads.", t.N, t.Check, t.Read))
		}
	}
	for _, p := range r.Pairs {
		out = append(out, fmt.Sprintf("%s; these two together do (%.0f %%): %s, and %s.", alone, 100*p.P, p.A, p.B))
	}
	return out
}

// evidence is what raised and lowered a cause, in words for a table.
type evidence struct {
	Cause, Intro string
	Rows         []evidenceRow
}

type evidenceRow struct{ Times, Read, Shows string }

// evidence explains the leading causes; what says little is left to one line.
func (r *Report) evidence() []evidence {
	var out []evidence
	for _, x := range r.Causes {
		if len(x.Evidence) == 0 {
			continue
		}
		e := evidence{Cause: x.ID}
		var little []string
		for _, f := range x.Evidence {
			switch {
			case f.little && f.N > 0:
				little = append(little, fmt.Sprint(f.N))
			case f.N > 0:
				e.Rows = append(e.Rows, evidenceRow{f.short, fmt.Sprintf("%d. %s", f.N, f.place), f.shows})
			default:
				e.Rows = append(e.Rows, evidenceRow{f.short, f.place, f.shows})
			}
		}
		e.Intro = fmt.Sprintf("%s: %.1f %% at the start, %.1f %% now.", x.ID, 100*x.Start, 100*x.P)
		if len(little) > 0 {
			e.Intro += " Little is said of it by reading " + strings.Join(little, ", ") + "."
		}
		out = append(out, e)
	}
	return out
}

// evidenceIs says how the factors are read.
const evidenceIs = "What raised and lowered the leading causes: x3 makes one three times as likely as it was before the reading, /3 a third as likely."

// leaders are the causes that readings are compared with.
func (r *Report) leaders() []string {
	var ids []string
	for _, x := range r.Causes {
		if len(ids) < leading && x.ID != engine.Unexplained {
			ids = append(ids, x.ID)
		}
	}
	return ids
}

// name is the check's name with how it counts.
func (t *Reading) name() string {
	switch {
	case t.Odd:
		return t.Check + " (probably wrong)"
	case t.Stale && t.Proof:
		return t.Check + " (earlier proof)"
	case t.Stale:
		return t.Check + " (no longer counted)"
	case t.Proof:
		return t.Check + " (proof)"
	}
	return t.Check
}

// list is a part of a report that is a list.
type list struct {
	title, intro string
	items        []string
}

// lists returns the lists that follow the readings; none is empty.
func (r *Report) lists() []list {
	var notes []string
	for _, n := range r.Notes {
		s := n.Time.Format(clock) + " " + n.Text
		if n.Photo != "" {
			s += "picture " + n.Photo
		}
		notes = append(notes, s)
	}
	made := []string{"probable " + r.Tool, "knowledge " + r.Base}
	if r.Changed {
		made = append(made, "the knowledge has changed since the case was opened: the figures above are those of the present one")
	}
	if r.Digest != "" {
		made = append(made, "harness "+r.Digest)
	}
	if r.From != "" {
		made = append(made, "the answers of case "+r.From+", worked again")
	}
	if r.Back {
		made = append(made, "a clock that was set back in the middle: the times are as it showed, the order of the answers is right")
	}
	all := []list{
		{"Left out", "", r.LeftOut},
		{"Proof", "The repair is proven when:", r.Prove},
		{"Touched", "", r.Touched},
		{"Notes", "", notes},
		{"Cautions", "", r.Cautions},
		{"Made with", "", made},
	}
	var out []list
	for _, l := range all {
		if len(l.items) > 0 {
			out = append(out, l)
		}
	}
	return out
}
