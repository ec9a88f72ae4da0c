// Command probable finds faults in the wiring of light electric vehicles, one
// check at a time. There is one file for each verb; the reasoning is in engine.
package main

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"
)

// version is what the program calls itself in cases and reports.
const version = "0.1"

// Exit codes.
const (
	exitVerdict   = 0 // done, or a verdict was given
	exitFailed    = 1 // the machine failed: a disk, a permission
	exitInput     = 2 // bad input: a file, an argument, an answer
	exitNoVerdict = 3 // the case stopped before a verdict
)

// exitError carries an exit code with an error for the person.
type exitError struct {
	code int
	err  error
}

func (e *exitError) Error() string { return e.err.Error() }
func (e *exitError) Unwrap() error { return e.err }

// inputError marks bad input.
func inputError(err error) error {
	if err == nil {
		return nil
	}
	return &exitError{exitInput, err}
}

// errNoVerdict ends a case that stopped before a verdict; it needs no message.
var errNoVerdict = &exitError{code: exitNoVerdict}

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }

func run(args []string, in io.Reader, out, errs io.Writer) int {
	root := &cobra.Command{
		Use:     "probable",
		Version: version,
		Short:   "Find faults in the wiring of light electric vehicles, one check at a time",
		Long: "Find faults in the wiring of light electric vehicles, one check at a time.\n\n" +
			"Exit codes: 0 done or verdict given, 1 the machine failed, 2 bad input, 3 stopped before a verdict.",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          usage(cobra.NoArgs),
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.CompletionOptions.HiddenDefaultCmd = true
	root.PersistentFlags().String("dir", "", "folder of the cases (default: probable in the XDG state folder)")
	root.PersistentFlags().StringArray("kb", nil, "folder of knowledge over the shipped one and over your own\n(default your own: probable/kb in the XDG config folder)")
	root.SetArgs(args)
	root.SetIn(in)
	root.SetOut(out)
	root.SetErr(errs)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return inputError(fmt.Errorf("%w\nSee %s --help.", err, c.CommandPath()))
	})
	root.AddCommand(findCommand(), resumeCommand(), casesCommand(), reportCommand(), harnessCommand(), wireCommand(), kbCommand())
	err := root.Execute()
	if err == nil {
		return exitVerdict
	}
	var ee *exitError
	if !errors.As(err, &ee) {
		ee = &exitError{exitFailed, err}
	}
	if ee.err != nil {
		fmt.Fprintln(errs, err)
	}
	return ee.code
}

// usage marks a wrong count of arguments as bad input and points to the help.
func usage(check cobra.PositionalArgs) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if err := check(c, args); err != nil {
			return inputError(fmt.Errorf("%w\nSee %s --help.", err, c.CommandPath()))
		}
		return nil
	}
}
