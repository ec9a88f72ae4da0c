package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"probable/engine"
	"probable/engine/casefile"
	"probable/engine/report"
	"probable/rules"
)

func reportCommand() *cobra.Command {
	var r reporter
	c := &cobra.Command{
		Use:   "report CASE",
		Short: "Write the fault report of a case: Markdown, HTML or JSON",
		Long: "Write the fault report of a case: Markdown, HTML with the wiring and a chart, or JSON.\n\n" +
			"With --verify, work a case again, or one from a report in JSON, and say whether\nthe verdict is the same (exit 2 if not).",
		Example: "  probable report 2026-11-25-1 --form html -o report.html\n  probable report --verify report.json",
		Args: func(c *cobra.Command, args []string) error {
			if r.schema {
				return usage(cobra.NoArgs)(c, args)
			}
			return usage(cobra.ExactArgs(1))(c, args)
		},
		RunE: func(c *cobra.Command, args []string) error { return r.run(c, args) },
	}
	fl := c.Flags()
	fl.StringVar(&r.form, "form", "markdown", "markdown, html or json")
	fl.StringVarP(&r.out, "out", "o", "", "file to write (default: standard output)")
	fl.BoolVar(&r.share, "share", false, "to hand on: without paths, notes and pictures")
	fl.BoolVar(&r.verify, "verify", false, "work the case, or the report in JSON, again and compare the verdict")
	fl.BoolVar(&r.schema, "schema", false, "write the JSON Schema of the JSON form")
	return c
}

// reporter is the report verb's flags.
type reporter struct {
	form, out             string
	share, verify, schema bool
}

func (r *reporter) run(c *cobra.Command, args []string) error {
	if r.schema {
		_, err := c.OutOrStdout().Write(report.Schema)
		return err
	}
	base, err := readBase(c)
	if err != nil {
		return err
	}
	if r.verify {
		return r.again(c, base, args[0])
	}
	made, err := r.ofCase(c, base, args[0])
	if err != nil {
		return err
	}
	var b bytes.Buffer
	switch r.form {
	case "markdown":
		err = made.Markdown(&b)
	case "html":
		err = made.HTML(&b)
	case "json":
		var data []byte
		data, err = made.JSON()
		b.Write(data)
	default:
		return inputError(fmt.Errorf("--form %q: want markdown, html or json", r.form))
	}
	if err != nil {
		return err
	}
	if r.out != "" {
		return readable(os.WriteFile(r.out, b.Bytes(), 0o644))
	}
	_, err = b.WriteTo(c.OutOrStdout())
	return err
}

// ofCase makes the report of a case that is kept.
func (r *reporter) ofCase(c *cobra.Command, base *rules.Base, id string) (*report.Report, error) {
	dir, err := caseDir(c)
	if err != nil {
		return nil, err
	}
	records, err := casefile.Read(dir, id)
	if err != nil {
		return nil, caseError(err)
	}
	return r.of(base, id, records)
}

// of makes the report of a case's records.
func (r *reporter) of(base *rules.Base, id string, records []casefile.Record) (*report.Report, error) {
	s, err := restore(base, id, records)
	if err != nil {
		return nil, err
	}
	o := s.opened
	from := replay{o, events(records)}
	if r.share {
		from.Opened.HarnessFile = ""
		for i, e := range from.Events {
			plain := *e
			plain.Why = "" // it may name anything
			from.Events[i] = &plain
		}
	}
	again, err := json.Marshal(from)
	if err != nil {
		return nil, err
	}
	about := report.About{
		Case: id, Harness: s.harness, HarnessName: o.Harness, HarnessDigest: o.Digest, Symptom: o.Symptom, Guide: o.Guide,
		Tool: o.Tool, BaseDigest: o.Base, BaseChanged: o.Base != base.Digest,
		Opened: records[0].Time, Last: records[len(records)-1].Time, Times: s.times, Facts: facts(base.Guide(o.Guide), o), Supply: o.Supply,
		Before: o.Before, Replay: again, Share: r.share,
	}
	if o.From != nil {
		about.From = o.From.Case
	}
	for i, r := range records[1:] {
		// What was taken over is older than the case.
		if (i > 0 || o.From == nil) && r.Time.Before(records[i].Time) {
			about.ClockBack = true
		}
	}
	for _, n := range s.notes {
		about.Notes = append(about.Notes, report.Note{Time: n.Time, Text: n.Note, Photo: n.Photo})
	}
	return report.Of(s.course, about)
}

// facts are the facts of a case without those that only repeat what a supply
// reads.
func facts(g *engine.Guide, o casefile.Opened) map[string]any {
	known := maps.Clone(o.Facts)
	if g == nil {
		return known
	}
	for _, f := range g.Facts {
		for _, volts := range o.Supply {
			if f.Supply != "" && known[f.Name] == volts {
				delete(known, f.Name)
			}
		}
	}
	return known
}

// replay is what a case is worked from again.
type replay struct {
	Opened casefile.Opened   `json:"opened"`
	Events []*casefile.Event `json:"events"`
}

func events(records []casefile.Record) []*casefile.Event {
	list := []*casefile.Event{}
	for _, r := range records {
		if r.Event != nil {
			list = append(list, r.Event)
		}
	}
	return list
}

// errDiffers says that a verdict did not come out as it was told.
var errDiffers = errors.New("the verdict is another one now")

// again works a case, or the report of one, again and compares the verdicts.
func (r *reporter) again(c *cobra.Command, base *rules.Base, what string) error {
	var told *report.Report
	var from replay
	if strings.HasSuffix(what, ".json") {
		data, err := os.ReadFile(what)
		if err != nil {
			return inputError(readable(err))
		}
		told = &report.Report{}
		if err := plainJSON(data, json.Unmarshal(data, told)); err != nil {
			return inputError(fmt.Errorf("%s: not a report in JSON: %w; right would be what this writes: probable report CASE --form json", what, err))
		}
		if told.Version != report.Version || len(told.Replay) == 0 {
			return inputError(fmt.Errorf("%s: not a report in JSON of version %d with what it is worked from", what, report.Version))
		}
		if err := plainJSON(told.Replay, json.Unmarshal(told.Replay, &from)); err != nil {
			return inputError(fmt.Errorf("%s: in its replay: %w; right would be a report as it was written, unchanged", what, err))
		}
	} else {
		var err error
		if told, err = r.ofCase(c, base, what); err != nil {
			return err
		}
		if err := json.Unmarshal(told.Replay, &from); err != nil {
			return err
		}
	}
	o := from.Opened
	out := c.OutOrStdout()
	changed := changes(o, base.Digest)
	if text := digest([]byte(o.HarnessText)); o.HarnessText != "" && text != o.Digest {
		changed = append(changed, change{"harness text", o.Digest, text})
	}
	for _, x := range changed {
		fmt.Fprintf(out, "%s: %s then, %s now\n", x.What, x.Then, x.Now)
	}
	records := []casefile.Record{{Kind: casefile.KindOpened, Time: told.Opened, Opened: &o}}
	for _, e := range from.Events {
		if e == nil {
			return inputError(fmt.Errorf("%s: an event is null", what))
		}
		records = append(records, casefile.Record{Kind: casefile.KindEvent, Time: told.Opened, Event: e})
	}
	now, err := r.of(base, told.Case, records)
	if err != nil {
		return err
	}
	if why := told.Differs(now); why != "" {
		return inputError(fmt.Errorf("%w: %s", errDiffers, why))
	}
	return sayVerified(out, told)
}

func sayVerified(out io.Writer, r *report.Report) error {
	top := r.Causes[0]
	_, err := fmt.Fprintf(out, "The replay gives the same verdict: %s, %s %s (%s).\n", r.Status, percent(top.P), top.ID, count(len(r.Readings), "answer"))
	return err
}
