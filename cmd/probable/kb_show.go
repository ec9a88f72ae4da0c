package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"probable/rules"
)

func showCommand() *cobra.Command {
	var asJSON bool
	c := &cobra.Command{
		Use:   "show ID",
		Short: "Explain a guide, cause, check, kind of part or source in plain words",
		Long: "Explain a guide, cause, check, kind of part or source in plain words, with where it comes from.\n" +
			"ID is a guide, GUIDE / CAUSE, GUIDE / CHECK, a cause or check alone, part KIND, part KIND MODE, or a\n" +
			"source.\n\nExit codes: 0 done, 2 there is nothing of that name.",
		Example: "  probable kb show throttle dead / brake input active\n  probable kb show part lamp",
		Args:    usage(cobra.MinimumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			base, err := readBase(c)
			if err != nil {
				return err
			}
			entries, err := base.Explain(strings.Join(args, " "))
			if err != nil {
				return inputError(err)
			}
			if asJSON {
				return writeJSON(c.OutOrStdout(), outEntries(entries))
			}
			return writeEntries(c.OutOrStdout(), entries)
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

// outEntry is an explanation as JSON.
type outEntry struct {
	Kind    string      `json:"kind"`
	ID      string      `json:"id"`
	File    string      `json:"file,omitempty"`
	Points  []outPoint  `json:"points"`
	Sources []outSource `json:"sources"`
}

type outPoint struct {
	Label string `json:"label,omitempty"`
	Text  string `json:"text"`
}

type outSource struct {
	ID      string `json:"id"`
	Title   string `json:"title"`
	Where   string `json:"where,omitempty"`
	Reached string `json:"reached,omitempty"`
}

func outEntries(entries []rules.Entry) []outEntry {
	out := []outEntry{}
	for _, e := range entries {
		o := outEntry{e.Kind, e.ID, e.File, []outPoint{}, []outSource{}}
		for _, p := range e.Points {
			o.Points = append(o.Points, outPoint{p.Label, p.Text})
		}
		for _, s := range e.Sources {
			o.Sources = append(o.Sources, outSource{s.ID, s.Title, s.Where, s.Reached})
		}
		out = append(out, o)
	}
	return out
}

// writeEntries writes explanations for a person.
func writeEntries(out io.Writer, entries []rules.Entry) error {
	for i, e := range entries {
		if i > 0 {
			fmt.Fprintln(out)
		}
		fmt.Fprintln(out, fold(paper, strings.ToUpper(e.Kind)+"  ", e.ID))
		last := ""
		for _, p := range e.Points {
			label := p.Label
			if label == last {
				label = "" // said once for several in a row
			}
			last = p.Label
			fmt.Fprintln(out, fold(paper, fmt.Sprintf("  %-12s", label), p.Text))
		}
		for _, s := range e.Sources {
			fmt.Fprintln(out, fold(paper, "  source      ", s.ID+": "+s.Title))
			if s.Where != "" {
				// An address stays whole, whatever its length.
				fmt.Fprintln(out, fold(paper, "              ", s.Where))
				fmt.Fprintln(out, fold(paper, "              ", s.Reached))
			}
		}
		if e.File != "" {
			fmt.Fprintf(out, "  file        %s\n", e.File)
		}
	}
	return nil
}
