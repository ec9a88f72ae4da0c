package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"strings"

	"github.com/spf13/cobra"

	"probable/engine/trial"
	"probable/kb"
	"probable/rules"
)

func tryCommand() *cobra.Command {
	var asJSON, steps bool
	c := &cobra.Command{
		Use:   "try [FILES...]",
		Short: "Play worked cases and say which do not end as they should",
		Long: "Play worked cases and say which do not end as they should: those that are shipped, or those of\n" +
			"the files given. A case names what is wrong, or what was read, and the verdict that it must reach.\n\n" +
			"Exit codes: 0 all passed, 2 one did not or a file is wrong.",
		Example: "  probable kb try\n  probable kb try --steps my-cases.yaml",
		RunE: func(c *cobra.Command, args []string) error {
			base, err := readBase(c)
			if err != nil {
				return err
			}
			files, err := readCases(base, args)
			if err != nil {
				return err
			}
			tried, err := tryAll(base, files)
			if err != nil {
				return inputError(err)
			}
			out := c.OutOrStdout()
			if asJSON {
				err = writeJSON(out, tried)
			} else {
				err = writeTried(out, tried, steps)
			}
			if err == nil && failed(tried) > 0 {
				return &exitError{code: exitInput}
			}
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	c.Flags().BoolVar(&steps, "steps", false, "with every check and what it showed")
	return c
}

// readCases reads the files of worked cases that were given, else the shipped
// ones.
func readCases(base *rules.Base, args []string) ([]*rules.Cases, error) {
	names, read, in := args, os.ReadFile, ""
	if len(args) == 0 {
		var err error
		if names, err = fs.Glob(kb.Files, "cases/*.yaml"); err != nil {
			return nil, err
		}
		read, in = kb.Files.ReadFile, "kb"
	}
	var files []*rules.Cases
	var errs []error
	for _, name := range names {
		data, err := read(name)
		if err != nil {
			return nil, inputError(readable(err))
		}
		cases, err := base.ReadCases(path.Join(in, name), data)
		files, errs = append(files, cases), append(errs, err)
	}
	return files, inputError(errors.Join(errs...))
}

// tried is how a worked case went.
type tried struct {
	File    string       `json:"file"`
	Line    int          `json:"line"`
	Column  int          `json:"column"`
	Guide   string       `json:"guide"`
	Case    string       `json:"case"`
	Cause   string       `json:"cause,omitempty"` // what is wrong
	Passed  bool         `json:"passed"`
	Checks  int          `json:"checks"`
	Alone   bool         `json:"alone"` // one repair mends all that is left
	Verdict []outCause   `json:"verdict"`
	Differs []outFinding `json:"differs,omitempty"`
	Unasked []outFinding `json:"unasked,omitempty"` // answers that no check asked for
	Steps   []triedStep  `json:"steps"`
}

type triedStep struct {
	Check  string `json:"check"`
	Result string `json:"result"` // "skip" where it was not made
}

// tryAll plays the cases of files, in their order.
func tryAll(base *rules.Base, files []*rules.Cases) ([]tried, error) {
	out := []tried{}
	for _, f := range files {
		guides, err := base.Reach(f.Guide.ID)
		if err != nil {
			return nil, err
		}
		t := trial.Tryer{Guide: f.Guide, Guides: guides}
		for i, o := range t.All(f.Play) {
			out = append(out, describeTried(f, i, &o))
		}
	}
	return out, nil
}

func describeTried(f *rules.Cases, i int, o *trial.Outcome) tried {
	c, at := f.Play[i], f.Place(i, "")
	t := tried{File: at.File, Line: at.Line, Column: at.Column, Guide: f.Guide.ID, Case: c.ID, Cause: c.Cause,
		Passed: o.Passed(), Checks: o.Checks(), Verdict: []outCause{}, Steps: []triedStep{}}
	if v := o.Verdict; v != nil {
		t.Alone = v.SameRepair
		for _, x := range v.Causes {
			t.Verdict = append(t.Verdict, outCause{x.Cause.ID, round(x.P)})
		}
	}
	finding := func(key, severity, text string) outFinding {
		p := f.Place(i, key)
		return outFinding{File: p.File, Line: p.Line, Column: p.Column, Severity: severity, Text: text}
	}
	for _, d := range o.Differs {
		t.Differs = append(t.Differs, finding(d.Of, "error", d.Text))
	}
	for _, id := range o.Unasked {
		t.Unasked = append(t.Unasked, finding("readings / "+id, "note", fmt.Sprintf("%q was never asked", id)))
	}
	for _, s := range o.Steps {
		result := "skip"
		if !s.Skipped {
			result = s.Check.Shows(s.Result)
		}
		t.Steps = append(t.Steps, triedStep{s.Check.ID, result})
	}
	return t
}

func failed(all []tried) int {
	n := 0
	for _, t := range all {
		if !t.Passed {
			n++
		}
	}
	return n
}

// writeTried writes how cases went for a person: a line a case, under the name of
// its file.
func writeTried(out io.Writer, all []tried, steps bool) error {
	file, checks, unasked := "", 0, 0
	for _, t := range all {
		if t.File != file {
			file = t.File
			fmt.Fprintf(out, "%s: %s\n", file, t.Guide)
		}
		word := "ok"
		if !t.Passed {
			word = "NO"
		}
		checks += t.Checks
		unasked += len(t.Unasked)
		fmt.Fprintln(out, fold(paper, fmt.Sprintf("  %-3s", word), fmt.Sprintf("%s: %s, %s", t.Case, count(t.Checks, "check"), t.verdict())))
		for _, d := range t.Differs {
			fmt.Fprintln(out, d)
		}
		if !steps {
			continue
		}
		for i, s := range t.Steps {
			fmt.Fprintln(out, fold(paper, fmt.Sprintf("      %2d ", i+1), s.Check+": "+s.Result))
		}
		for _, u := range t.Unasked {
			fmt.Fprintln(out, u)
		}
	}
	if len(all) == 0 {
		_, err := fmt.Fprintln(out, "There are no worked cases.")
		return err
	}
	tail := ""
	if unasked > 0 && !steps {
		tail = fmt.Sprintf("; %s that no check asked for (--steps shows them)", count(unasked, "answer"))
	}
	bad := failed(all)
	_, err := fmt.Fprintln(out, fold(paper, "", fmt.Sprintf("%s: %d passed, %d did not, %.1f checks on the mean%s",
		count(len(all), "case"), len(all)-bad, bad, float64(checks)/float64(len(all)), tail)))
	return err
}

// verdict names the first causes of the verdict with their probabilities.
func (t *tried) verdict() string {
	const most = 3
	var words []string
	for i, x := range t.Verdict {
		if i == most {
			words = append(words, fmt.Sprintf("%d more", len(t.Verdict)-most))
			break
		}
		words = append(words, fmt.Sprintf("%s %s", strings.TrimSpace(percent(x.P)), x.ID))
	}
	if len(words) == 0 {
		return "no verdict"
	}
	return strings.Join(words, ", ")
}
