package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/spf13/cobra"

	"probable/engine"
	"probable/engine/casefile"
	"probable/rules"
)

// caseRow is what cases tells of each case.
type caseRow struct {
	ID       string     `json:"id"`
	Status   string     `json:"status"`
	Opened   *time.Time `json:"opened,omitempty"`
	Harness  string     `json:"harness,omitempty"`
	Symptom  string     `json:"symptom,omitempty"`
	Guide    string     `json:"guide,omitempty"`
	Readings int        `json:"readings"`
	Cause    string     `json:"cause,omitempty"` // the likeliest
	P        float64    `json:"p,omitempty"`
	Repaired string     `json:"repaired,omitempty"` // what was repaired last, of a closed case
	Notes    []string   `json:"notes,omitempty"`
	From     string     `json:"from,omitempty"` // the case whose answers it took over
	Problem  string     `json:"problem,omitempty"`
}

// notReadable is the status of a case that cannot be read.
const notReadable = "unreadable"

// statuses are those that cases can be listed by.
var statuses = []string{string(engine.Open), string(engine.Proven), string(engine.Unproven), string(engine.Quit), notReadable}

// lister is the cases verb's flags.
type lister struct {
	status, harness, search string
	limit                   int
	asJSON                  bool
}

func casesCommand() *cobra.Command {
	var l lister
	c := &cobra.Command{
		Use:     "cases",
		Short:   "List the cases that are kept, newest first",
		Example: "  probable cases --status open\n  probable cases --harness \"market trike\" --search \"green crimp\" --limit 5",
		Args:    usage(cobra.NoArgs),
		RunE:    func(c *cobra.Command, _ []string) error { return l.run(c) },
	}
	fl := c.Flags()
	fl.StringVar(&l.status, "status", "", "only those that are: "+strings.Join(statuses, ", "))
	fl.StringVar(&l.harness, "harness", "", "only those on a harness with this in its name")
	fl.StringVar(&l.search, "search", "", "only those with this text in the symptom, guide, cause or notes")
	fl.IntVar(&l.limit, "limit", 0, "at most so many (0: all)")
	fl.BoolVar(&l.asJSON, "json", false, "as JSON")
	return c
}

func (l *lister) run(c *cobra.Command) error {
	if l.status != "" && !slices.Contains(statuses, l.status) {
		return inputError(fmt.Errorf("--status %q: want one of: %s", l.status, strings.Join(statuses, ", ")))
	}
	if l.limit < 0 {
		return inputError(fmt.Errorf("--limit %d: want 0 for all, or how many", l.limit))
	}
	dir, err := caseDir(c)
	if err != nil {
		return err
	}
	ids, err := casefile.List(dir)
	if err != nil {
		return err
	}
	slices.Reverse(ids)
	rows := []caseRow{}
	// Few cases need the knowledge: only those of an earlier program are worked.
	base := sync.OnceValues(func() (*rules.Base, error) { return readBase(c) })
	for _, id := range ids {
		if l.limit > 0 && len(rows) == l.limit {
			break
		}
		if row := describe(base, dir, id); l.wants(&row) {
			rows = append(rows, row)
		}
	}
	out := c.OutOrStdout()
	switch {
	case l.asJSON:
		return writeJSON(out, rows)
	case len(ids) == 0:
		fmt.Fprintf(out, "No cases in %s yet. Start one with: probable find\n", dir)
		return nil
	case len(rows) == 0:
		fmt.Fprintf(out, "None of the %s in %s is such a one.\n", count(len(ids), "case"), dir)
		return nil
	}
	return table(out, rows)
}

// wants reports whether a case is one of those asked for.
func (l *lister) wants(row *caseRow) bool {
	has := func(text, part string) bool { return strings.Contains(strings.ToLower(text), strings.ToLower(part)) }
	if l.status != "" && row.Status != l.status || !has(row.Harness, l.harness) {
		return false
	}
	return slices.ContainsFunc(append([]string{row.Symptom, row.Guide, row.Cause, row.Repaired}, row.Notes...),
		func(text string) bool { return has(text, l.search) })
}

// widestColumn is how wide a column of the list may make all its rows.
const widestColumn = 20

// table lists cases in columns, a case a line; what does not fit goes on below,
// indented.
func table(out io.Writer, rows []caseRow) error {
	var lines [][]string
	width := make([]int, 4) // of all columns but the last
	for _, r := range rows {
		what := r.Symptom
		if what == "" {
			what = r.Guide
		}
		cause := r.Problem
		switch {
		case r.Repaired != "":
			cause = "repaired " + r.Repaired
		case r.Cause != "" && r.P > 0:
			cause = percent(r.P) + " " + r.Cause
		}
		line := []string{r.ID, r.Status, what, count(r.Readings, "reading"), cause}
		for i := range width {
			width[i] = max(width[i], min(utf8.RuneCountInString(line[i]), widestColumn))
		}
		lines = append(lines, line)
	}
	for _, line := range lines {
		text := ""
		for i, w := range width {
			text += fmt.Sprintf("%-*s  ", w, line[i])
		}
		if all := strings.TrimRight(text+line[4], " "); utf8.RuneCountInString(all) <= paper {
			text = all
		} else {
			if text = strings.TrimRight(text, " "); utf8.RuneCountInString(text) > paper {
				text = fold(paper, "    ", text)[4:]
			}
			text += "\n" + fold(paper, "    ", line[4])
		}
		if _, err := fmt.Fprintln(out, text); err != nil {
			return err
		}
	}
	return nil
}

// describe sums up a case; one that cannot be read says so. How a case stands is
// read from its records; only journals of earlier programs, which do not say it,
// are worked through.
func describe(base func() (*rules.Base, error), dir, id string) caseRow {
	row := caseRow{ID: id}
	records, err := casefile.Read(dir, id)
	if err != nil {
		row.Status, row.Problem = notReadable, err.Error()
		return row
	}
	o := records[0].Opened
	row.Opened, row.Harness, row.Symptom, row.Guide = &records[0].Time, o.Harness, o.Symptom, o.Guide
	if o.From != nil {
		row.From = o.From.Case
	}
	standing := casefile.Standing(records)
	events := false
	for _, r := range standing {
		switch {
		case r.Kind == casefile.KindNote && r.Photo == "":
			row.Notes = append(row.Notes, r.Note)
		case r.Kind == casefile.KindNote:
			row.Notes = append(row.Notes, "photo "+r.Photo)
		default:
			events = true
		}
	}
	stood, end := casefile.Stood(records), casefile.End(records)
	if stood == nil && end == nil && events {
		if stood, err = worked(base, id, records); err != nil {
			row.Status, row.Problem = notReadable, err.Error()
			return row
		}
	}
	row.Status = string(engine.Open)
	if stood != nil {
		row.Status, row.Cause, row.P, row.Readings = string(stood.Status), stood.Cause, stood.P, stood.Readings
	} else {
		row.Readings = readings(standing)
	}
	if end != nil {
		row.Status, row.Repaired = string(end.Status), end.Cause
	}
	return row
}

// readings counts the results among records that stand.
func readings(standing []casefile.Record) int {
	n := 0
	for _, r := range standing {
		if r.Event != nil && r.Event.Kind == engine.Read {
			n++
		}
	}
	return n
}

// worked works a case through to say how it stands.
func worked(base func() (*rules.Base, error), id string, records []casefile.Record) (*casefile.Stands, error) {
	b, err := base()
	if err != nil {
		return nil, err
	}
	s, err := restore(b, id, records)
	if err != nil {
		return nil, err
	}
	return s.stands(), nil
}
