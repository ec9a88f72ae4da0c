package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

func kbCheckCommand() *cobra.Command {
	var asJSON, strict bool
	c := &cobra.Command{
		Use:   "check [DIR | FILES...]",
		Short: "Say what is wrong, or looks wrong, with the knowledge",
		Long: "Say what is wrong, or looks wrong, with the knowledge: the shipped one, that of a folder with a\n" +
			"sources.yaml, or guide, part and harness files over the shipped one.\n\n" +
			"Exit codes: 0 fine or warnings only, 2 errors, or warnings with --strict.",
		Example: "  probable kb check\n  probable kb check my-guide.yaml --strict",
		RunE: func(c *cobra.Command, args []string) error {
			problems, err := checkKnowledge(args)
			if err != nil {
				return err
			}
			found := []outFinding{}
			errs := 0
			for _, p := range problems {
				f := outFinding{File: p.File, Line: p.Line, Column: p.Column, Severity: string(circuit.Error), Text: p.Text, Right: p.Right}
				if p.Warning {
					f.Severity = string(circuit.Warning)
				} else {
					errs++
				}
				found = append(found, f)
			}
			out := c.OutOrStdout()
			if asJSON {
				if err := writeJSON(out, found); err != nil {
					return err
				}
			} else {
				for _, f := range found {
					fmt.Fprintln(out, f)
				}
				fmt.Fprintf(out, "%s, %s\n", count(errs, "error"), count(len(found)-errs, "warning"))
			}
			if errs > 0 || strict && len(found) > 0 {
				return &exitError{code: exitInput}
			}
			return nil
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	c.Flags().BoolVar(&strict, "strict", false, "warnings count as errors")
	return c
}

// checkKnowledge returns the problems of the shipped knowledge, of a folder, or
// of files over the shipped knowledge.
func checkKnowledge(args []string) (rules.Problems, error) {
	var from fs.FS = kb.Files
	name := "kb"
	if len(args) == 1 {
		if info, err := os.Stat(args[0]); err == nil && info.IsDir() {
			from, name, args = os.DirFS(args[0]), filepath.ToSlash(args[0]), nil
		}
	}
	base, err := rules.ReadBase(from)
	if base == nil {
		return nil, inputError(fmt.Errorf("%s: %w", name, readable(err)))
	}
	problems := problemsOf(err)
	if len(args) == 0 {
		problems = append(problems, base.Review()...)
		for i := range problems {
			problems[i].File = name + strings.TrimPrefix(problems[i].File, "kb")
		}
	} else {
		if err != nil {
			return nil, err
		}
		files := map[string][]byte{}
		for _, file := range args {
			if files[file], err = os.ReadFile(file); err != nil {
				return nil, inputError(readable(err))
			}
		}
		base, err = base.With(files)
		problems = problemsOf(err)
		for _, p := range base.Review() {
			if slices.Contains(args, p.File) {
				problems = append(problems, p)
			}
		}
	}
	problems.Sort()
	return problems, nil
}

// problemsOf gathers the problems of joined errors.
func problemsOf(err error) rules.Problems {
	var all rules.Problems
	switch e := err.(type) {
	case nil:
	case rules.Problems:
		all = e
	case interface{ Unwrap() []error }:
		for _, one := range e.Unwrap() {
			all = append(all, problemsOf(one)...)
		}
	default:
		var ps rules.Problems
		if errors.As(err, &ps) {
			return ps
		}
		all = append(all, rules.Problem{File: "kb", Line: 1, Column: 1, Text: err.Error()})
	}
	return all
}
