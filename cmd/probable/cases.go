package main

import (
	"encoding/json"
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"probable/engine/casefile"
	"probable/rules"
)

// caseRow is what cases tells of each case.
type caseRow struct {
	ID       string  `json:"id"`
	Status   string  `json:"status"`
	Harness  string  `json:"harness,omitempty"`
	Symptom  string  `json:"symptom,omitempty"`
	Guide    string  `json:"guide,omitempty"`
	Readings int     `json:"readings"`
	Cause    string  `json:"cause,omitempty"`
	P        float64 `json:"p,omitempty"`
	Problem  string  `json:"problem,omitempty"`
}

func casesCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "cases",
		Short: "List the cases that are kept",
		Args:  usage(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			dir, err := caseDir(c)
			if err != nil {
				return err
			}
			ids, err := casefile.List(dir)
			if err != nil {
				return err
			}
			base, err := readBase(c)
			if err != nil {
				return err
			}
			rows := make([]caseRow, len(ids))
			for i, id := range ids {
				rows[i] = describe(base, dir, id)
			}
			if asJSON {
				enc := json.NewEncoder(c.OutOrStdout())
				enc.SetIndent("", "  ")
				enc.SetEscapeHTML(false)
				return enc.Encode(rows)
			}
			if len(rows) == 0 {
				fmt.Fprintf(c.OutOrStdout(), "No cases in %s yet. Start one with: probable find\n", dir)
				return nil
			}
			w := tabwriter.NewWriter(c.OutOrStdout(), 0, 0, 2, ' ', 0)
			for _, r := range rows {
				what := r.Symptom
				if what == "" {
					what = r.Guide
				}
				cause := r.Problem
				if r.Cause != "" {
					cause = fmt.Sprintf("%s %s", percent(r.P), r.Cause)
				}
				fmt.Fprintf(w, "%s\t%s\t%s\t%d readings\t%s\n", r.ID, r.Status, what, r.Readings, cause)
			}
			return w.Flush()
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

// describe sums up a case; one that cannot be read says so.
func describe(base *rules.Base, dir, id string) caseRow {
	row := caseRow{ID: id}
	records, err := casefile.Read(dir, id)
	if err != nil {
		row.Status, row.Problem = "unreadable", err.Error()
		return row
	}
	o := records[0].Opened
	row.Harness, row.Symptom, row.Guide = o.Harness, o.Symptom, o.Guide
	s, err := restore(base, id, records)
	if err != nil {
		row.Status, row.Problem = "unreadable", err.Error()
		return row
	}
	row.Status = string(s.course.Status())
	for _, t := range s.course.Taken() {
		if t.Skipped == "" {
			row.Readings++
		}
	}
	ranking, _ := s.course.Ranking()
	row.Cause, row.P = ranking[0].Cause.ID, round(ranking[0].P)
	return row
}
