package main

import (
	"errors"
	"io/fs"

	"github.com/spf13/cobra"

	"probable/engine/casefile"
)

func resumeCommand() *cobra.Command {
	var t talk
	c := &cobra.Command{
		Use:   "resume CASE",
		Short: "Go on with a case where it was left",
		Args:  usage(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			dir, err := caseDir(c)
			if err != nil {
				return err
			}
			base, err := readBase(c)
			if err != nil {
				return err
			}
			journal, records, err := casefile.Open(dir, args[0])
			if err != nil {
				return caseError(err)
			}
			defer journal.Close()
			s, err := restore(base, args[0], records)
			if err != nil {
				return err
			}
			s.journal = journal
			console, done, err := t.open(c)
			if err != nil {
				return err
			}
			defer done()
			return console.work(s)
		},
	}
	t.flags(c.Flags())
	return c
}

// caseError marks what the person can put right: a wrong name, a second window.
func caseError(err error) error {
	if errors.Is(err, fs.ErrPermission) {
		return err
	}
	return inputError(err)
}
