package main

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"probable/engine/coverage"
)

func kbCoverageCommand() *cobra.Command {
	var asJSON, asCSV bool
	var page string
	var o coverage.Options
	c := &cobra.Command{
		Use:   "coverage [GUIDES...]",
		Short: "Say what the guides can find, in how many checks, and what they cannot tell apart",
		Long: "Say what the guides can find. Every cause is played with its likeliest answers, and with answers\n" +
			"drawn from the tables. The fewest checks are those that entropy allows: with them no course,\n" +
			"however clever, could learn as much of the repair as the drawn ones did. Named guides are\n" +
			"written with their table of causes by checks.",
		Example: "  probable kb coverage\n  probable kb coverage \"throttle dead\" --html throttle.html",
		RunE: func(c *cobra.Command, args []string) error {
			if asJSON && asCSV {
				return inputError(errors.New("--json and --csv: give one of them"))
			}
			if o.Draws < 1 {
				return inputError(fmt.Errorf("--draws %d: want at least 1", o.Draws))
			}
			base, err := readBase(c)
			if err != nil {
				return err
			}
			ids := args
			if len(ids) == 0 {
				ids = base.GuideIDs()
			}
			var sheets []*coverage.Sheet
			for _, id := range ids {
				guides, err := base.Reach(id)
				if err != nil {
					return inputError(err)
				}
				g := guides[id]
				if g == nil || g.Shared {
					return inputError(fmt.Errorf("there is no guide %q; there are: %s", id, strings.Join(base.GuideIDs(), "; ")))
				}
				s, err := coverage.Measure(g, o)
				if err != nil {
					return inputError(err)
				}
				sheets = append(sheets, s)
			}
			if page != "" {
				var b bytes.Buffer
				if err := coverage.WriteHTML(&b, sheets); err != nil {
					return err
				}
				if err := os.WriteFile(page, b.Bytes(), 0o644); err != nil {
					return readable(err)
				}
			}
			switch out := c.OutOrStdout(); {
			case asJSON:
				return writeJSON(out, coverSheets(sheets))
			case asCSV:
				return writeCoverageCSV(out, sheets)
			default:
				_, err := io.WriteString(out, coverageText(sheets, len(args) > 0))
				return err
			}
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	c.Flags().BoolVar(&asCSV, "csv", false, "the table as comma-separated values, an outcome of a check under a cause a line")
	c.Flags().StringVar(&page, "html", "", "also write a page with the table as a heat map to `FILE`")
	c.Flags().IntVar(&o.Draws, "draws", 20, "courses with drawn answers for each cause")
	c.Flags().Uint64Var(&o.Seed, "seed", 1, "of the drawn answers")
	return c
}

// coverSheet is what a guide can find, as JSON.
type coverSheet struct {
	Guide      string       `json:"guide"`
	Alone      float64      `json:"alone"`
	Groups     [][]string   `json:"groups"`
	Mean       float64      `json:"mean_checks"`
	Worst      int          `json:"worst_checks"`
	Hard       string       `json:"worst_cause"`
	Draws      int          `json:"draws"`
	DrawnAlone float64      `json:"drawn_alone"`
	DrawnMean  float64      `json:"drawn_mean_checks"`
	DrawnWorst int          `json:"drawn_worst_checks"`
	Prior      float64      `json:"prior_bits"`
	Left       float64      `json:"left_bits"`
	Capacity   float64      `json:"capacity_bound_checks"`
	Bound      float64      `json:"bound_checks"`
	Over       float64      `json:"checks_over_bound"` // of the likeliest answers
	Ratio      float64      `json:"mean_over_bound"`   // of drawn ones
	Checks     []coverCheck `json:"checks"`
	Causes     []coverCause `json:"causes"`
}

type coverCheck struct {
	ID       string   `json:"id"`
	Outcomes []string `json:"outcomes,omitempty"`
	Capacity float64  `json:"capacity_bits"`
}

type coverCause struct {
	ID      string         `json:"id"`
	Repair  string         `json:"repair"`
	Odds    float64        `json:"odds"`
	Facts   map[string]any `json:"facts,omitempty"`
	Found   bool           `json:"found"`
	Alone   bool           `json:"alone"`
	Checks  int            `json:"checks"`
	Verdict []string       `json:"verdict"`
	Cells   []coverCell    `json:"cells"`
}

type coverCell struct {
	Check   string    `json:"check"`
	Chances []float64 `json:"chances,omitempty"`
	Shows   string    `json:"shows,omitempty"`
	Bits    float64   `json:"bits"`
}

func coverSheets(sheets []*coverage.Sheet) []coverSheet {
	out := []coverSheet{}
	for _, s := range sheets {
		o := coverSheet{s.Guide, s.Alone, s.Groups, s.Mean, s.Worst, s.Hard, s.Draws, s.DrawnAlone, s.DrawnMean, s.DrawnWorst,
			s.Prior, s.Left, s.Capacity, s.Bound, s.Over(), s.Ratio(), []coverCheck{}, []coverCause{}}
		if o.Groups == nil {
			o.Groups = [][]string{}
		}
		for _, k := range s.Checks {
			o.Checks = append(o.Checks, coverCheck{k.ID, k.Outcomes, k.Capacity})
		}
		for _, c := range s.Causes {
			oc := coverCause{c.ID, c.Repair, c.Odds, c.Facts, c.Found, c.Alone, c.Checks, c.Verdict, []coverCell{}}
			for i, cell := range c.Cells {
				oc.Cells = append(oc.Cells, coverCell{s.Checks[i].ID, cell.Chances, cell.Shows, cell.Bits})
			}
			o.Causes = append(o.Causes, oc)
		}
		out = append(out, o)
	}
	return out
}

// writeCoverageCSV writes the tables, an outcome a line; a reading that is
// computed has one line without a chance.
func writeCoverageCSV(out io.Writer, sheets []*coverage.Sheet) error {
	w := csv.NewWriter(out)
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
	_ = w.Write([]string{"guide", "cause", "repair", "odds", "check", "outcome", "chance", "bits"}) // Flush keeps the error
	for _, s := range sheets {
		for _, c := range s.Causes {
			for i, cell := range c.Cells {
				k := s.Checks[i]
				row := []string{s.Guide, c.ID, c.Repair, number(c.Odds), k.ID, cell.Shows, "", number(cell.Bits)}
				if cell.Chances == nil && cell.Shows != "" {
					_ = w.Write(row)
				}
				for n, p := range cell.Chances {
					row[5], row[6] = k.Outcomes[n], number(p)
					_ = w.Write(row)
				}
			}
		}
	}
	w.Flush()
	return w.Error()
}

// mostOver is the bar: how many checks over the fewest a guide may take.
const mostOver = 1.5

// coverageText writes a line for each guide, and what each cannot tell apart;
// with whole its figures and table.
func coverageText(sheets []*coverage.Sheet, whole bool) string {
	var b strings.Builder
	if !whole {
		rows := [][]string{{"guide", "causes", "alone", "mean", "worst", "drawn", "fewest", "over", "times"}}
		within := 0
		for _, s := range sheets {
			rows = append(rows, []string{short(s.Guide, 24), strconv.Itoa(len(s.Causes)), percent(s.Alone),
				fmt.Sprintf("%.1f", s.Mean), strconv.Itoa(s.Worst), fmt.Sprintf("%.1f", s.DrawnMean), fmt.Sprintf("%.1f", s.Bound), fmt.Sprintf("%.1f", s.Over()), fmt.Sprintf("%.2f", s.Ratio())})
			if s.Over() <= mostOver {
				within++
			}
		}
		b.WriteString(columns(rows))
		fmt.Fprint(&b, "\nalone   share of causes that end alone, or with causes of the same repair\n"+
			"mean    checks to the verdict with the likeliest answers, causes by their odds;\n"+
			"        worst: the most\n"+
			"drawn   the same with answers drawn from the tables\n"+
			"fewest  that entropy allows for what the drawn courses learned, less three\n"+
			"        standard errors: few draws (--draws) set it low and over high\n"+
			"over    mean less fewest\n"+
			"times   how many times the fewest the drawn courses took\n")
		fmt.Fprintf(&b, "\n%d of %s no more than %.1f checks over the fewest.\n", within, count(len(sheets), "guide"), mostOver)
	}
	for _, s := range sheets {
		if whole {
			b.WriteString(sheetText(s))
		} else if len(s.Groups) > 0 {
			fmt.Fprintf(&b, "\n%s\n%s", s.Guide, groupsText(s))
		}
	}
	return b.String()
}

// short cuts a text to a count of letters.
func short(text string, letters int) string {
	if r := []rune(text); len(r) > letters {
		return string(r[:letters-1]) + "…"
	}
	return text
}

func groupsText(s *coverage.Sheet) string {
	var b strings.Builder
	for _, g := range s.Groups {
		b.WriteString(fold(paper, "  not told apart: ", strings.Join(g, ", ")) + "\n")
	}
	return b.String()
}

// sheetText writes all of one guide.
func sheetText(s *coverage.Sheet) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s, %s\n", s.Guide, count(len(s.Causes), "cause"), count(len(s.Checks), "check"))
	fmt.Fprintf(&b, "  end alone, or with the same repair  %s; drawn %s\n", percent(s.Alone), percent(s.DrawnAlone))
	fmt.Fprintf(&b, "  checks to the verdict               mean %.1f, worst %d\n", s.Mean, s.Worst)
	fmt.Fprintf(&b, "  with drawn answers                  mean %.1f, worst %d\n", s.DrawnMean, s.DrawnWorst)
	fmt.Fprintf(&b, "  entropy of the repairs              %.2f bits; left at the verdict %.2f\n", s.Prior, s.Left)
	fmt.Fprintf(&b, "  fewest checks that this allows      %.1f (%.1f by capacity alone)\n", s.Bound, s.Capacity)
	fmt.Fprintf(&b, "  over the fewest                     %.1f; drawn %.2f times as many\n", s.Over(), s.Ratio())
	fmt.Fprintf(&b, "%s\n", fold(paper, "  longest course: ", s.Hard))
	b.WriteString(groupsText(s))
	fmt.Fprint(&b, "\nChecks, and the most bits that each can tell\n")
	for i, k := range s.Checks {
		fmt.Fprintf(&b, "%4d  %.2f  %s\n", i+1, k.Capacity, short(k.ID, paper-12))
	}
	fmt.Fprint(&b, "\nCauses by checks: tenths of a bit that the answers are from those of all\n"+
		"causes; · next to nothing, blank where the check is not offered\n")
	const label, wide = 34, 3
	each := (paper - label) / wide
	for from := 0; from < len(s.Checks); from += each {
		to := min(from+each, len(s.Checks))
		fmt.Fprintf(&b, "\n%*s", label, "")
		for i := from; i < to; i++ {
			fmt.Fprintf(&b, "%*d", wide, i+1)
		}
		b.WriteString("\n")
		for _, c := range s.Causes {
			mark := " "
			switch {
			case !c.Found:
				mark = "!"
			case !c.Alone:
				mark = "+"
			}
			line := fmt.Sprintf("%s %-*s", mark, label-2, short(c.ID, label-3))
			for _, cell := range c.Cells[from:to] {
				line += fmt.Sprintf("%*s", wide, tenths(cell))
			}
			b.WriteString(strings.TrimRight(line, " ") + "\n")
		}
	}
	fmt.Fprint(&b, "+ ends with another repair beside its own; ! its verdict does not name it\n\n")
	return b.String()
}

// tenths writes a cell of the table.
func tenths(c coverage.Cell) string {
	switch {
	case c.Chances == nil && c.Shows == "":
		return ""
	case c.Bits < 0.05:
		return "·"
	}
	return fmt.Sprintf("%.0f", min(99, 10*c.Bits))
}
