package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"probable/engine"
	"probable/engine/casefile"
	"probable/kb"
	"probable/rules"
)

func learnCommand() *cobra.Command {
	var asJSON bool
	var to string
	c := &cobra.Command{
		Use:   "learn CASES...",
		Short: "Let proven cases move the odds",
		Long: "Let proven cases move the odds: of each case that closed as proven, the cause counts as met and\n" +
			"those that it could have been as not met. The odds go into a file of your own, which lies over\n" +
			"the shipped ones; a case counts once. CASES are names, as `probable cases` lists them, or files.\n\n" +
			"Exit codes: 0 done, 1 the machine failed, 2 a case or file is wrong.",
		Example: "  probable kb learn 2026-11-25-1 2026-11-25-2\n  probable kb learn --to my-kb cases/*.case.jsonl",
		Args:    usage(cobra.MinimumNArgs(1)),
		RunE: func(c *cobra.Command, args []string) error {
			if to == "" {
				own, ok := ownBase()
				if !ok {
					return inputError(errors.New("where your own knowledge is kept is not known: give --to"))
				}
				to = own
			}
			dir, err := caseDir(c)
			if err != nil {
				return err
			}
			base, err := unlearnedBase(c)
			if err != nil {
				return err
			}
			l, err := openLessons(to)
			if err != nil {
				return err
			}
			what, err := l.take(base, dir, args)
			if err != nil {
				return err
			}
			what.Moved = l.moved(base)
			if what.Counted > 0 {
				if err := l.save(what.Moved); err != nil {
					return err
				}
			}
			if asJSON {
				return writeJSON(c.OutOrStdout(), what)
			}
			return what.write(c.OutOrStdout())
		},
	}
	c.Flags().StringVar(&to, "to", "", "folder of knowledge to write to (default: probable/kb in the XDG config folder)")
	c.Flags().BoolVar(&asJSON, "json", false, "as JSON")
	return c
}

// unlearnedBase is the knowledge without odds that were learned: a case counts by
// the shares that its causes had without.
func unlearnedBase(c *cobra.Command) (*rules.Base, error) {
	over, done, err := layers(c)
	defer done()
	if err != nil {
		return nil, err
	}
	for i := range over {
		over[i].Files = unlearned{over[i].Files}
	}
	base, err := rules.ReadBase(kb.Files, over...)
	return base, inputError(err)
}

// unlearned is a folder of knowledge in which no odds were learned.
type unlearned struct{ fs.FS }

func (u unlearned) Open(name string) (fs.File, error) {
	if name == oddsName {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return u.FS.Open(name)
}

// Files of a folder of knowledge that learn writes.
const (
	oddsName    = "odds.yaml"
	lessonsName = "lessons.jsonl"
)

// lessons are the cases that were counted into a folder of knowledge.
type lessons struct {
	dir string
	all []lesson
}

// lesson is a line of the file of lessons.
type lesson struct {
	Case   string             `json:"case"`
	Opened time.Time          `json:"opened"` // two folders may have a case of one name
	Was    []string           `json:"was"`
	Share  map[string]float64 `json:"share"`
}

// openLessons reads the lessons of a folder; one that is not there has none.
func openLessons(dir string) (*lessons, error) {
	l := &lessons{dir: dir}
	file := filepath.Join(dir, lessonsName)
	data, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		odds := filepath.Join(dir, oddsName)
		if _, err := os.Stat(odds); err == nil {
			return nil, inputError(fmt.Errorf("%s stands there without %s, which says what was counted: move it away, then learn from all cases again", odds, lessonsName))
		}
		return l, nil
	}
	if err != nil {
		return nil, readable(err)
	}
	s := bufio.NewScanner(bytes.NewReader(data))
	s.Buffer(nil, maxMessage)
	for n := 1; s.Scan(); n++ {
		var one lesson
		if err := json.Unmarshal(s.Bytes(), &one); err != nil {
			return nil, inputError(fmt.Errorf("%s:%d: not a lesson: %w", file, n, err))
		}
		l.all = append(l.all, one)
	}
	if err := s.Err(); err != nil {
		return nil, inputError(fmt.Errorf("%s: %w", file, err))
	}
	return l, nil
}

// learned is what came of learning.
type learned struct {
	To      string      `json:"to"`
	Counted int         `json:"counted"`
	Cases   []caseWord  `json:"cases"`
	Moved   []movedOdds `json:"moved"`
}

// caseWord says what came of one case.
type caseWord struct {
	Case  string `json:"case"`
	Cause string `json:"cause,omitempty"` // what it was
	Why   string `json:"why,omitempty"`   // it does not count
}

type movedOdds struct {
	Key string  `json:"key"`
	Old float64 `json:"old"`
	New float64 `json:"new"`
	Was int     `json:"was"`
	Of  int     `json:"of"`
}

// take counts cases that are new. One that cannot be read is an error; one that
// is not proven is told and left.
func (l *lessons) take(base *rules.Base, dir string, cases []string) (*learned, error) {
	out := &learned{To: filepath.Join(l.dir, oddsName), Cases: []caseWord{}, Moved: []movedOdds{}}
	for _, arg := range cases {
		in, id := dir, arg
		if name, ok := strings.CutSuffix(arg, casefile.Suffix); ok {
			in, id = filepath.Dir(name), filepath.Base(name)
		}
		records, err := casefile.Read(in, id)
		if err != nil {
			return nil, caseError(err)
		}
		w := caseWord{Case: id}
		opened := records[0].Time
		if i := slices.IndexFunc(l.all, func(x lesson) bool { return x.Case == id }); i >= 0 {
			w.Why = "it was counted before"
			if !l.all[i].Opened.Equal(opened) {
				w.Why = "another case of that name was counted before"
			}
			out.Cases = append(out.Cases, w)
			continue
		}
		var says engine.Lesson
		s, err := restore(base, id, records)
		if err == nil {
			says, err = s.course.Lesson()
		}
		if err != nil {
			w.Why = err.Error()
		} else {
			w.Cause = says.Was[0]
			out.Counted++
			l.all = append(l.all, lesson{id, opened, says.Was, says.Share})
		}
		out.Cases = append(out.Cases, w)
	}
	return out, nil
}

// moved is what all lessons make of the shipped odds.
func (l *lessons) moved(base *rules.Base) []movedOdds {
	var all []engine.Lesson
	for _, x := range l.all {
		all = append(all, engine.Lesson{Was: x.Was, Share: x.Share})
	}
	out := []movedOdds{}
	for _, m := range engine.Learn(base.Odds(), all) {
		out = append(out, movedOdds{m.Key, m.Old, round(m.New), m.Was, m.Of})
	}
	return out
}

// save writes the lessons and the odds that follow from them.
func (l *lessons) save(moved []movedOdds) error {
	if err := os.MkdirAll(l.dir, 0o755); err != nil {
		return readable(err)
	}
	var text bytes.Buffer
	var ids []string
	enc := json.NewEncoder(&text)
	enc.SetEscapeHTML(false)
	for _, x := range l.all {
		if err := enc.Encode(x); err != nil {
			return err
		}
		ids = append(ids, x.Case)
	}
	odds := map[string]float64{}
	for _, m := range moved {
		odds[m.Key] = m.New
	}
	// The odds can be made again from the lessons, so the lessons come first.
	if err := replaceFile(filepath.Join(l.dir, lessonsName), text.Bytes()); err != nil {
		return err
	}
	return replaceFile(filepath.Join(l.dir, oddsName), rules.WriteLearned(ids, odds))
}

// replaceFile writes a file whole or not at all.
func replaceFile(name string, data []byte) error {
	f, err := os.CreateTemp(filepath.Dir(name), ".new-*")
	if err != nil {
		return readable(err)
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	err = errors.Join(err, f.Close())
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		_ = os.Remove(f.Name())
		return readable(err)
	}
	return nil
}

// write says for a person what was counted and what moved.
func (w *learned) write(out io.Writer) error {
	for _, c := range w.Cases {
		text := c.Cause
		if c.Why != "" {
			text = "not counted: " + c.Why
		}
		fmt.Fprintln(out, fold(paper, c.Case+"  ", text))
	}
	rows := [][]string{{"odds of", "shipped", "now", "cases"}}
	lower, least := 0, 1.0
	for _, m := range w.Moved {
		if m.Was > 0 {
			rows = append(rows, []string{m.Key, fmt.Sprintf("%.3g", m.Old), fmt.Sprintf("%.3g", m.New), fmt.Sprintf("%d of %d", m.Was, m.Of)})
			continue
		}
		lower++
		least = min(least, m.New/m.Old)
	}
	if len(rows) > 1 {
		fmt.Fprint(out, "\n", columns(rows))
	}
	if lower > 0 {
		fmt.Fprintln(out, fold(paper, "", fmt.Sprintf("%s that it was not fell by at most %.0f %%.", count(lower, "cause"), 100*(1-least))))
	}
	text := fmt.Sprintf("\n%s counted into %s", count(w.Counted, "case"), w.To)
	if w.Counted == 0 {
		text = "\nNothing new to count; nothing was written."
	}
	_, err := fmt.Fprintln(out, text)
	return err
}
