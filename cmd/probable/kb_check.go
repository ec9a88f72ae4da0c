package main

import (
	"fmt"
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
		Long: "Say what is wrong, or looks wrong, with the knowledge: the shipped one with what lies over it, a\n" +
			"whole base in a folder, or files of any kind over the knowledge.\n\n" +
			"Exit codes: 0 fine or warnings only, 2 errors, or warnings with --strict.",
		Example: "  probable kb check\n  probable kb check my-guide.yaml --strict",
		RunE: func(c *cobra.Command, args []string) error {
			problems, err := checkKnowledge(c, args)
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

// checkKnowledge returns the problems of the knowledge, of a folder, or of files
// over the knowledge.
func checkKnowledge(c *cobra.Command, args []string) (rules.Problems, error) {
	if len(args) == 1 {
		if info, err := os.Stat(args[0]); err == nil && info.IsDir() {
			return checkFolder(args[0])
		}
	}
	over, done, err := layers(c)
	defer done()
	if err != nil {
		return nil, err
	}
	files := map[string][]byte{}
	for _, file := range args {
		if files[file], err = os.ReadFile(file); err != nil {
			return nil, inputError(readable(err))
		}
	}
	base, err := rules.ReadFiles(files, kb.Files, over...)
	problems := problemsOf(err)
	if len(args) == 0 {
		_, err = readCases(base, nil)
		problems = append(problems, problemsOf(err)...)
	}
	for _, p := range base.Review() {
		if len(args) == 0 || slices.Contains(args, p.File) {
			problems = append(problems, p)
		}
	}
	problems.Sort()
	return problems, nil
}

// checkFolder returns the problems of a whole base in a folder.
func checkFolder(dir string) (rules.Problems, error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, inputError(readable(err))
	}
	defer root.Close()
	base, err := rules.ReadBase(root.FS())
	if base == nil {
		return nil, inputError(fmt.Errorf("%s is no base of its own: %w; to check what lies over the shipped one give --kb %[1]s", dir, readable(err)))
	}
	problems := append(problemsOf(err), base.Review()...)
	for i, p := range problems {
		if rest, ok := strings.CutPrefix(p.File, "kb/"); ok {
			problems[i].File = filepath.ToSlash(filepath.Join(dir, rest))
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
	case *exitError:
		return problemsOf(e.err)
	default:
		all = append(all, rules.Problem{File: "kb", Line: 1, Column: 1, Text: err.Error()})
	}
	return all
}
