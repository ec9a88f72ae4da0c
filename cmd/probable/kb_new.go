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

	"probable/engine/trial"
	"probable/rules"
)

func newCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "new",
		Short: "Write a new guide, kind of part or worked case from a few answers",
		Args:  usage(cobra.NoArgs),
		RunE:  func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(
		newOne("guide", "Write a new guide: a symptom, its causes and what shows them", "guides", draftGuide),
		newOne("part", "Write a new kind of part: a resistance between two pins, to go on from", "parts", draftPart),
		newOne("case", "Write a worked case: what is wrong, and the verdict that it must reach", "cases", draftCase),
	)
	return c
}

// newOne is the command that asks for one kind of file and writes it. The draft
// is what the file holds and its name without ending.
func newOne(kind, short, folder string, draft func(*interview, *rules.Base) (text []byte, name string, err error)) *cobra.Command {
	var to string
	var plain bool
	c := &cobra.Command{
		Use:   kind,
		Short: short,
		Long: short + ".\n\nIt asks a few questions, at a terminal or over a pipe, one answer a line, and writes a file\n" +
			"with comments on how to go on. A file that is there is never written over.\n\n" +
			"Exit codes: 0 written, 1 the machine failed, 2 it stopped before the last answer.",
		Args: usage(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error {
			base, err := readBase(c)
			if err != nil {
				return err
			}
			console, done, err := (&talk{plain: plain}).open(c)
			if err != nil {
				return err
			}
			defer done()
			i := &interview{console.(*bench)}
			text, name, err := draft(i, base)
			if errors.Is(err, errStopped) {
				return inputError(errors.New("stopped before the last answer; nothing was written"))
			}
			if err != nil {
				return err
			}
			if to == "" {
				own, ok := ownBase()
				if !ok {
					return inputError(errors.New("where your own knowledge is kept is not known: give --to"))
				}
				to = filepath.Join(own, folder, strings.ReplaceAll(name, " ", "-")+".yaml")
			}
			if err := writeNew(to, text); err != nil {
				return err
			}
			i.wrap("", "Written: "+to)
			return nil
		},
	}
	c.Flags().StringVar(&to, "to", "", "file to write (default: in "+folder+" of probable/kb in the XDG config folder)")
	c.Flags().BoolVar(&plain, "plain", false, "plain prompts, for screen readers and simple terminals")
	return c
}

// writeNew writes a file that is not there yet, and its folder.
func writeNew(name string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(name), 0o755); err != nil {
		return readable(err)
	}
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return inputError(fmt.Errorf("%s is there already; give another name with --to", name))
	}
	if err != nil {
		return readable(err)
	}
	_, err = f.Write(data)
	return errors.Join(err, f.Close())
}

// interview asks for what a new file needs.
type interview struct{ *bench }

// asks asks until the answer is fit.
func (i *interview) asks(question string, fit func(string) error) (string, error) {
	i.wrap("", question)
	for {
		s, err := i.line(">")
		if err != nil {
			return "", err
		}
		if s = strings.TrimSpace(s); s == "" {
			continue
		}
		if err := fit(s); err != nil {
			i.wrap("  ", err.Error())
			continue
		}
		return s, nil
	}
}

// anything is fit.
func anything(string) error { return nil }

// none ends a list.
const none = "-"

func draftGuide(i *interview, base *rules.Base) ([]byte, string, error) {
	var g rules.GuideDraft
	var err error
	if g.ID, err = i.asks("What is the symptom? A few lower-case words, as in: horn silent", base.CheckGuide); err != nil {
		return nil, "", err
	}
	if g.About, err = i.asks("What does the person see? A sentence.", anything); err != nil {
		return nil, "", err
	}
	for {
		question := "Name a cause, in a few lower-case words."
		if len(g.Causes) > 0 {
			question = "Name another cause, or type - if there are no more."
		}
		var c rules.CauseDraft
		c.ID, err = i.asks(question, func(s string) error {
			switch {
			case s == none && len(g.Causes) > 0:
				return nil
			case s == none:
				return errors.New("a guide needs at least one")
			}
			return g.CheckCause(s)
		})
		if err != nil {
			return nil, "", err
		}
		if c.ID == none {
			break
		}
		for _, q := range []struct {
			question string
			to       *string
		}{
			{"What is wrong then? A sentence.", &c.Say},
			{"What shows it? One thing to look at with the power off, so that the answer is \"it is so\" or \"it is not so\".", &c.Look},
			{"What mends it? A short order, as in: Replace the fuse.", &c.Repair},
		} {
			if *q.to, err = i.asks(q.question, anything); err != nil {
				return nil, "", err
			}
		}
		g.Causes = append(g.Causes, c)
	}
	text := g.YAML()
	_, err = base.ReadGuide(g.ID, text, sourceIDs(base))
	return text, g.ID, inputError(err)
}

func sourceIDs(base *rules.Base) rules.SourceIDs {
	ids := rules.SourceIDs{}
	for _, s := range base.Sources {
		ids[s.ID] = true
	}
	return ids
}

func draftPart(i *interview, base *rules.Base) ([]byte, string, error) {
	var p rules.PartDraft
	var err error
	if p.Kind, err = i.asks("What is the kind of part called? One word, as in: heater", base.CheckKind); err != nil {
		return nil, "", err
	}
	if p.About, err = i.asks("What is it, and what is it taken for? A sentence.", anything); err != nil {
		return nil, "", err
	}
	for n, question := range []string{"What is its first pin called? One word, as in: plus", "And its second pin?"} {
		p.Pins[n], err = i.asks(question, func(s string) error {
			if n == 1 && s == p.Pins[0] {
				return errors.New("the first pin is called so")
			}
			return rules.CheckName(s)
		})
		if err != nil {
			return nil, "", err
		}
	}
	_, err = i.asks("How many ohms does it have in use, between the two?", func(s string) (err error) {
		p.Ohms, err = rules.CheckOhms(s)
		return err
	})
	if err != nil {
		return nil, "", err
	}
	text := p.YAML()
	_, err = rules.ReadPart(p.Kind, text, sourceIDs(base))
	return text, p.Kind, inputError(err)
}

func draftCase(i *interview, base *rules.Base) ([]byte, string, error) {
	var c rules.CaseDraft
	var err error
	if c.Guide, err = i.pick("Of which guide?", base.GuideIDs()); err != nil {
		return nil, "", err
	}
	guides, err := base.Reach(c.Guide)
	if err != nil {
		return nil, "", inputError(err)
	}
	g := guides[c.Guide]
	var causes []string
	for _, x := range g.Causes {
		causes = append(causes, x.ID)
	}
	if c.Cause, err = i.pick("What is wrong with the vehicle?", causes); err != nil {
		return nil, "", err
	}
	if c.ID, err = i.asks("What is the case called? A few lower-case words, as in: magnet lost in the shed", rules.CheckID); err != nil {
		return nil, "", err
	}
	if c.About, err = i.asks("What happened? A sentence.", anything); err != nil {
		return nil, "", err
	}
	o := trial.Tryer{Guide: g, Guides: guides}.Play(&trial.Case{Cause: c.Cause})
	if k := slices.IndexFunc(o.Differs, func(d trial.Difference) bool { return d.Of == "" || d.Of == "cause" }); k >= 0 {
		return nil, "", inputError(errors.New(o.Differs[k].Text))
	}
	c.Result = o.Result
	if !c.Found() {
		i.wrap("! ", fmt.Sprintf("As the guide is now it does not find that: it ends with %q.", o.Verdict.Causes[0].Cause.ID))
	}
	text := c.YAML()
	_, err = base.ReadCases(c.Guide, text)
	return text, c.Guide, inputError(err)
}
