package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"probable/engine/casefile"
	"probable/rules"
)

func resumeCommand() *cobra.Command {
	var r resumer
	c := &cobra.Command{
		Use:   "resume CASE",
		Short: "Go on with a case where it was left",
		Long: "Go on with a case where it was left.\n\n" +
			"A case keeps the text of its harness and goes on with it, whatever became of\nthe file. With --replay its answers are worked again on the harness file and the\n" +
			"knowledge as they are now: in a new case, which says where it comes from. The\nold case stays as it is.",
		Args: usage(cobra.ExactArgs(1)),
		RunE: func(c *cobra.Command, args []string) error { return r.run(c, args[0]) },
	}
	fl := c.Flags()
	fl.BoolVar(&r.replay, "replay", false, "work the answers again on the present harness file and knowledge, in a new case")
	fl.StringVar(&r.harness, "harness", "", "with --replay: the harness file, where it is not where it was")
	r.talk.flags(fl)
	return c
}

// resumer is the resume verb's flags.
type resumer struct {
	replay  bool
	harness string
	talk    talk
}

func (r *resumer) run(c *cobra.Command, id string) error {
	if r.harness != "" && !r.replay {
		return inputError(errors.New("--harness goes with --replay: a case goes on with the harness that it was opened with"))
	}
	dir, err := caseDir(c)
	if err != nil {
		return err
	}
	base, err := readBase(c)
	if err != nil {
		return err
	}
	var s *session
	if r.replay {
		s, err = takeOver(base, dir, id, r.harness)
	} else {
		s, err = takeUp(base, dir, id)
	}
	if err != nil {
		return err
	}
	defer s.journal.Close()
	console, done, err := r.talk.open(c)
	if err != nil {
		return err
	}
	defer done()
	return console.work(s)
}

// takeUp opens a case and brings it to where it was left.
func takeUp(base *rules.Base, dir, id string) (*session, error) {
	journal, records, err := casefile.Open(dir, id)
	if err != nil {
		return nil, caseError(err)
	}
	s, err := restore(base, id, records)
	if err != nil {
		journal.Close()
		if errors.Is(err, errMisfit) {
			err = inputError(fmt.Errorf("%w; the answers that still fit go into a new case with: probable resume %s --replay", err, id))
		}
		return nil, err
	}
	s.journal, s.changed = journal, changes(s.opened, base.Digest)
	return s, nil
}

// change is what a case was opened on and is another now.
type change struct {
	What string `json:"what"` // knowledge, program, or the harness file
	Then string `json:"then"` // digest, or version
	Now  string `json:"now"`
}

// changes returns what has changed since a case was opened; knowledge is the
// digest of the present one. A harness file that
// is not where it was is no change: the case has its text.
func changes(o casefile.Opened, knowledge string) []change {
	all := []change{{"knowledge", o.Base, knowledge}, {"program", o.Tool, version}}
	if o.HarnessFile != "" {
		if data, err := os.ReadFile(o.HarnessFile); err == nil {
			all = append(all, change{"harness file " + o.HarnessFile, o.Digest, digest(data)})
		}
	}
	var out []change
	for _, x := range all {
		if x.Then != x.Now {
			out = append(out, x)
		}
	}
	return out
}

// caseError marks what the person can put right: a wrong name, a second window.
func caseError(err error) error {
	if errors.Is(err, fs.ErrPermission) {
		return err
	}
	return inputError(err)
}
