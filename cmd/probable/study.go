package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"probable/engine/drawing"
	"probable/engine/trial"
	"probable/rules"
)

// examples is where the shipped harnesses lie in the program's own source.
const examples = "testdata/harness/*.yaml"

// studier is what the flags of study say.
type studier struct {
	guides    []string
	harnesses []string
	symptom   string
	all, bars bool
	policies  []string
	chart     string
	asCSV     bool
	asJSON    bool
	draws     trial.Draws
}

func studyCommand() *cobra.Command {
	s := &studier{}
	c := &cobra.Command{
		Use:   "study",
		Short: "Play every cause of guides and harnesses, and say how well and how fast they are found",
		Long: "Play every cause of guides, and of the symptoms of harnesses, and say how well and how fast they\n" +
			"are found. Readings are drawn from what the cause predicts, with the tolerances of parts and the\n" +
			"errors of the meter; equal seeds give equal readings, whichever policy asks.\n\n" +
			"Policies are engine (what the program does), trust (the same with no reading put in doubt), chart\n" +
			"(a flow chart in the guide's order that rules causes out for good), order (the guide's order, weighed\n" +
			"as the program does), half (split the causes left nearest to half, each counted alike), half-odds\n" +
			"(split the probability left), random, and bits (the most\n" +
			"information, whatever it costs).\n\n" +
			"--all plays every guide, and the harnesses of " + filepath.Dir(examples) + " where that folder is there.\n\n" +
			"Exit codes: 0 done, 2 bad input, or a bar of --bars is missed.",
		Example: "  probable study --guide \"light dark\"\n  probable study --harness cart.yaml --symptom \"tail dark\" --policy engine,half\n" +
			"  probable study --all --bars",
		Args: usage(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error { return s.run(c) },
	}
	f := c.Flags()
	f.StringArrayVar(&s.guides, "guide", nil, "a guide to play (may be given several times)")
	f.StringArrayVar(&s.harnesses, "harness", nil, "a harness file to play (may be given several times)")
	f.StringVar(&s.symptom, "symptom", "", "the only symptom to play")
	f.BoolVar(&s.all, "all", false, "every guide, and the example harnesses")
	f.BoolVar(&s.bars, "bars", false, "hold the program against its bars")
	f.StringSliceVar(&s.policies, "policy", []string{string(trial.Engine)}, "policies to compare, or all")
	f.Uint64Var(&s.draws.Seed, "seed", 1, "of chance")
	f.IntVar(&s.draws.Plays, "plays", 1, "how often each cause is played")
	f.Float64Var(&s.draws.Misread, "misread", 0, "chance that a reading is grossly wrong")
	f.BoolVar(&s.draws.OneWrong, "one-misread", false, "one gross misreading in each case, at each check in turn")
	f.Float64Var(&s.draws.Skip, "skip", 0, "chance that a check is skipped")
	f.BoolVar(&s.asCSV, "csv", false, "each case as a line of CSV")
	f.BoolVar(&s.asJSON, "json", false, "the figures as JSON")
	f.StringVar(&s.chart, "chart", "", "write a chart of the policies to this SVG file")
	return c
}

// check says what is wrong with the flags.
func (s *studier) check() error {
	share := func(name string, x float64) error {
		if x >= 0 && x <= 1 {
			return nil
		}
		return fmt.Errorf("--%s is a chance from 0 to 1, not %g", name, x)
	}
	var err error
	if !s.all && len(s.guides) == 0 && len(s.harnesses) == 0 {
		err = errors.New("say what to play: --guide, --harness or --all")
	}
	if s.draws.Plays < 1 {
		err = errors.Join(err, fmt.Errorf("--plays is 1 or more, not %d", s.draws.Plays))
	}
	if s.symptom != "" && len(s.harnesses) == 0 {
		err = errors.Join(err, errors.New("--symptom is of a --harness"))
	}
	if s.asCSV && s.asJSON {
		err = errors.Join(err, errors.New("--csv and --json exclude each other"))
	}
	return errors.Join(err, share("misread", s.draws.Misread), share("skip", s.draws.Skip))
}

func (s *studier) run(c *cobra.Command) error {
	out := c.OutOrStdout()
	if err := s.check(); err != nil {
		return inputError(err)
	}
	policies, err := parsePolicies(s.policies)
	if err != nil {
		return inputError(err)
	}
	base, err := readBase(c)
	if err != nil {
		return inputError(err)
	}
	subjects, err := s.subjects(base)
	if err != nil {
		return inputError(err)
	}
	if s.bars {
		return writeBars(out, subjects, s.draws)
	}
	var all [][]trial.Played // by policy
	for _, p := range policies {
		all = append(all, nil)
		last := &all[len(all)-1]
		for _, subject := range subjects {
			played, err := subject.Study(p, s.draws)
			if err != nil {
				return inputError(fmt.Errorf("%s: %w", subject.Name, err))
			}
			*last = append(*last, played...)
		}
	}
	if s.chart != "" {
		if err := writeChart(s.chart, policies, all); err != nil {
			return err
		}
	}
	switch {
	case s.asCSV:
		return writePlayed(out, slices.Concat(all...))
	case s.asJSON:
		return writeJSON(out, describeStudy(policies, all))
	}
	return writeStudy(out, policies, all)
}

func parsePolicies(names []string) ([]trial.Policy, error) {
	if slices.Equal(names, []string{"all"}) {
		return trial.Policies, nil
	}
	var out []trial.Policy
	for _, n := range names {
		p := trial.Policy(n)
		if !slices.Contains(trial.Policies, p) {
			return nil, fmt.Errorf("there is no policy %q; there are %v and all", n, trial.Policies)
		}
		out = append(out, p)
	}
	return out, nil
}

// subjects are what to play: guides first.
func (s *studier) subjects(base *rules.Base) ([]*trial.Subject, error) {
	ids, files := s.guides, s.harnesses
	if s.all {
		ids = base.GuideIDs()
		more, err := filepath.Glob(examples)
		if err != nil {
			return nil, err
		}
		files = append(more, files...)
	}
	var out []*trial.Subject
	for _, id := range ids {
		guides, err := base.Reach(id)
		if err != nil {
			return nil, err
		}
		if guides[id] == nil {
			return nil, fmt.Errorf("there is no guide %q; there are: %s", id, strings.Join(base.GuideIDs(), ", "))
		}
		out = append(out, &trial.Subject{Name: id, Guide: guides[id], Guides: guides})
	}
	for _, file := range files {
		h, _, err := harnessOf(base, file)
		if err != nil {
			return nil, err
		}
		name := strings.TrimSuffix(filepath.Base(file), filepath.Ext(file))
		found := false
		for _, sym := range symptomIDs(h) {
			if s.symptom == "" || sym == s.symptom {
				found = true
				x := &trial.Subject{Name: name + ": " + sym, Harness: h, Symptom: sym, Guide: base.GuideFor(h, sym)}
				if x.Guide != nil {
					if x.Guides, err = base.Reach(x.Guide.ID); err != nil {
						return nil, err
					}
				}
				out = append(out, x)
			}
		}
		if !found {
			return nil, fmt.Errorf("%s has no symptom %q; it has: %s", file, s.symptom, strings.Join(symptomIDs(h), ", "))
		}
	}
	return out, nil
}

// studied is how a policy did with a subject, or with all of them.
type studied struct {
	Policy  trial.Policy  `json:"policy"`
	Subject string        `json:"subject"`
	Figures trial.Summary `json:"figures"`
}

// everything names the sum of all subjects.
const everything = "all"

// describeStudy sums up each subject and all of them, by policy.
func describeStudy(policies []trial.Policy, all [][]trial.Played) []studied {
	var out []studied
	for i, p := range policies {
		var subjects []string
		by := map[string][]trial.Played{}
		for _, x := range all[i] {
			if by[x.Subject] == nil {
				subjects = append(subjects, x.Subject)
			}
			by[x.Subject] = append(by[x.Subject], x)
		}
		for _, s := range subjects {
			out = append(out, studied{p, s, trial.Summarise(by[s])})
		}
		out = append(out, studied{p, everything, trial.Summarise(all[i])})
	}
	return out
}

// writeStudy writes the figures for a person in 80 columns.
func writeStudy(out io.Writer, policies []trial.Policy, all [][]trial.Played) error {
	const row = "%-30s %5s %5s %5s %5s  %14s  %6s\n"
	var last *studied
	var totals []studied
	for _, s := range describeStudy(policies, all) {
		if last == nil || last.Policy != s.Policy {
			fmt.Fprintf(out, row, string(s.Policy), "cases", "in", "first", "alone", "checks mean/95%", "min")
		}
		last = &s
		f := s.Figures
		fmt.Fprintf(out, row, clipped(s.Subject, 30), strconv.Itoa(f.Plays), percent(f.In), percent(f.Right), percent(f.Alone),
			fmt.Sprintf("%.1f / %.0f", f.Checks.Mean, f.Checks.P95), fmt.Sprintf("%.1f", f.Minutes.Mean))
		if s.Subject == everything {
			totals = append(totals, s)
		}
	}
	for _, s := range totals {
		f := s.Figures
		fmt.Fprintln(out)
		fmt.Fprintln(out, fold(paper, string(s.Policy)+": ", fmt.Sprintf("%d cases; true cause alone in the verdict %.1f %%, its repair first %.1f %%, in the verdict %.1f %%, lost %.1f %%; "+
			"checks mean %.2f, median %.0f, 95th percentile %.0f; minutes %.1f, %.1f, %.1f; unsafe offers %d of %d",
			f.Plays, 100*f.Alone, 100*f.Right, 100*f.In, 100*(1-f.In), f.Checks.Mean, f.Checks.Median, f.Checks.P95,
			f.Minutes.Mean, f.Minutes.Median, f.Minutes.P95, len(f.Unsafe), f.Offered)))
		if f.Misread > 0 {
			fmt.Fprintln(out, fold(paper, "  ", fmt.Sprintf("%d cases with a gross misreading; in %.0f %% it was read again, or said to be wrong or unlike what leads", f.Misread, 100*f.Noticed)))
		}
		if f.Hidden > 0 {
			fmt.Fprintln(out, fold(paper, "  ", fmt.Sprintf("%d cases of causes that show only under load, warm or moved, of which %.1f %% were lost to good readings", f.Hidden, 100*f.HiddenLost)))
		}
		for _, u := range f.Unsafe[:min(len(f.Unsafe), 5)] {
			fmt.Fprintln(out, fold(paper, "  UNSAFE: ", u))
		}
		if s.Policy == trial.Chart {
			continue // it says no probability
		}
		fmt.Fprintln(out, fold(paper, "  ", fmt.Sprintf("what verdicts say, by odds: off by %.3f on the mean, Brier score %.3f", f.CalibrationOff, f.Brier)))
		for _, b := range f.Calibration {
			if b.Plays > 0 {
				fmt.Fprintf(out, "    said %3.0f to %3.0f %%: %5d cases, mean %5.1f %%, right %5.1f %%\n", 100*b.Low, 100*b.High, b.Plays, 100*b.Said, 100*b.Right)
			}
		}
	}
	return nil
}

func clipped(s string, most int) string {
	if r := []rune(s); len(r) > most {
		return string(r[:most-3]) + "..."
	}
	return s
}

// writePlayed writes each case as a line.
func writePlayed(out io.Writer, all []trial.Played) error {
	w := csv.NewWriter(out)
	err := w.Write([]string{"subject", "cause", "policy", "play", "odds", "checks", "skipped", "minutes", "said", "first", "alone", "in_verdict", "listed", "misread", "doubted", "noticed", "offered", "unsafe", "hides"})
	number := func(x float64) string { return strconv.FormatFloat(x, 'g', 5, 64) }
	for _, p := range all {
		err = errors.Join(err, w.Write([]string{p.Subject, p.Cause, string(p.Policy), strconv.Itoa(p.N), number(p.Odds), strconv.Itoa(p.Checks),
			strconv.Itoa(p.Skipped), number(p.Minutes), number(p.Said), strconv.FormatBool(p.Right), strconv.FormatBool(p.Alone), strconv.FormatBool(p.In), strconv.Itoa(p.Listed),
			p.Wrong, strconv.Itoa(p.Doubted), strconv.FormatBool(p.Noticed), strconv.Itoa(p.Offered), strings.Join(p.Unsafe, "; "), strconv.FormatBool(p.Hides)}))
	}
	w.Flush()
	return errors.Join(err, w.Error())
}

// writeChart draws how many cases have ended well after so many checks.
func writeChart(file string, policies []trial.Policy, all [][]trial.Played) error {
	f, err := os.Create(file)
	if err != nil {
		return inputError(readable(err))
	}
	var series []drawing.Series
	for i, p := range policies {
		series = append(series, drawing.Series{Name: string(p), Shares: trial.Ended(all[i])})
	}
	err = drawing.Page{}.Chart(f, "Cases that ended with the true cause in the verdict", series)
	return errors.Join(err, f.Close())
}

// writeBars holds the program against its bars, each as soon as it is known; a missed
// one is an error.
func writeBars(out io.Writer, subjects []*trial.Subject, d trial.Draws) error {
	bars, missed := 0, 0
	for b, err := range trial.Bars(subjects, d) {
		if err != nil {
			return inputError(err)
		}
		bars++
		word, bar := "ok", fmt.Sprintf(">= %g", b.Least)
		if b.Least == 0 {
			bar = fmt.Sprintf("<= %g", b.Most)
		}
		if !b.Met() {
			missed++
			word = "NO"
		}
		fmt.Fprintf(out, "%-3s%-48s %7.4g %-2s %8s\n", word, b.Name, b.Value, b.Unit, bar)
		fmt.Fprintln(out, fold(paper, "     ", b.Of))
	}
	fmt.Fprintf(out, "seed %d: %d of %s met\n", d.Seed, bars-missed, count(bars, "bar"))
	if missed > 0 {
		return &exitError{code: exitInput}
	}
	return nil
}
