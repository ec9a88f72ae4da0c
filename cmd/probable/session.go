package main

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/spf13/cobra"

	"probable/engine"
	"probable/engine/casefile"
	"probable/engine/circuit"
	"probable/rules"
)

// session is a case being worked: the reasoning and its journal.
type session struct {
	course  *engine.Course
	harness *circuit.Harness // as measured, or nil
	opened  casefile.Opened
	notes   []casefile.Record
	times   []time.Time    // of the answers, in order
	journal *casefile.File // nil for a report
	verdict bool           // one was given
}

// somethingElse is the choice of a person whose symptom is not listed.
const somethingElse = "something else"

// caseDir is the folder of the cases.
func caseDir(c *cobra.Command) (string, error) {
	if dir, _ := c.Flags().GetString("dir"); dir != "" {
		return dir, nil
	}
	if dir := os.Getenv("XDG_STATE_HOME"); filepath.IsAbs(dir) {
		return filepath.Join(dir, "probable"), nil
	}
	home, err := os.UserHomeDir()
	if err != nil {
		return "", inputError(fmt.Errorf("where to keep cases is not known: give --dir (%w)", err))
	}
	return filepath.Join(home, ".local", "state", "probable"), nil
}

// digest names a text by its contents.
func digest(data []byte) string {
	sum := sha256.Sum256(data)
	return "sha256:" + hex.EncodeToString(sum[:8])
}

// restore makes the session of a case that has records, and brings it to where
// they end.
func restore(base *rules.Base, id string, records []casefile.Record) (*session, error) {
	o := *records[0].Opened
	var h *circuit.Harness
	if o.HarnessText != "" {
		var err error
		if h, err = base.Harness(o.HarnessFile, []byte(o.HarnessText)); err != nil {
			return nil, inputError(err)
		}
	}
	s, err := build(base, o, h)
	if err != nil {
		return nil, err
	}
	if err := s.replay(records); err != nil {
		return nil, inputError(fmt.Errorf("case %s: %w", id, err))
	}
	return s, nil
}

// build makes the session of a case from what it is opened on; h is its
// harness as drawn, or nil.
func build(base *rules.Base, o casefile.Opened, h *circuit.Harness) (*session, error) {
	s := &session{opened: o}
	var m *engine.Model
	var err error
	if h != nil {
		for _, part := range slices.Sorted(maps.Keys(o.Supply)) {
			h = h.Measured(part, o.Supply[part])
		}
		s.harness = h
		m, err = engine.FromHarness(h, engine.Options{Symptom: o.Symptom, Guide: base.Guide(o.Guide), Facts: o.Facts, Guides: base.Guides(), Before: o.Before})
	} else {
		g := base.Guide(o.Guide)
		if g == nil {
			return nil, inputError(fmt.Errorf("there is no guide %q", o.Guide))
		}
		m, err = engine.FromGuide(engine.Options{Guide: g, Facts: o.Facts, Guides: base.Guides(), Before: o.Before})
	}
	if err != nil {
		return nil, inputError(err)
	}
	s.course = engine.NewCourse(m, engine.Gate{Qualified: o.Qualified})
	return s, nil
}

// replay brings a session to where its records end.
func (s *session) replay(records []casefile.Record) error {
	for i, r := range records {
		if r.Kind == casefile.KindNote {
			s.notes = append(s.notes, r)
		}
		if r.Event == nil {
			continue
		}
		if err := s.course.Apply(r.Event.Engine()); err != nil {
			return fmt.Errorf("record %d does not fit any more (%w); the knowledge or the program has changed since", i+1, err)
		}
		s.stamp(r.Time)
	}
	return nil
}

// apply takes an event and saves it. An event that does not fit is an input
// error; one that cannot be saved is not taken.
func (s *session) apply(e engine.Event) error {
	before := slices.Clone(s.course.Events())
	if err := s.course.Apply(e); err != nil {
		return inputError(err)
	}
	if err := s.journal.Append(casefile.Record{Kind: casefile.KindEvent, Time: time.Now(), Event: casefile.FromEngine(e)}); err != nil {
		// Put the course back: what is not saved does not count.
		if berr := s.course.Replay(before); berr != nil {
			return fmt.Errorf("%w (and %w)", err, berr)
		}
		return err
	}
	if s.course.Phase() == engine.Closed {
		// It only spares later cases some work: the events say the same.
		_ = s.journal.Append(casefile.Record{Kind: casefile.KindClosed, Time: time.Now(),
			Closed: &casefile.Closed{Status: s.course.Status(), Cause: s.course.LastRepair()}})
	}
	return nil
}

// stamp notes when the answers were taken that have no time yet.
func (s *session) stamp(now time.Time) {
	n := len(s.course.Taken())
	s.times = s.times[:min(n, len(s.times))]
	for len(s.times) < n {
		s.times = append(s.times, now)
	}
}

// note keeps what the person says beside the readings, or where a picture is.
func (s *session) note(text, photo string) error {
	r := casefile.Record{Kind: casefile.KindNote, Time: time.Now(), Note: text, Photo: photo}
	if err := s.journal.Append(r); err != nil {
		return err
	}
	s.notes = append(s.notes, r)
	return nil
}

// result is the event of a check's result.
func result(c *engine.Check, r engine.Result) engine.Event {
	return engine.Event{Kind: engine.Read, Check: c.ID, Result: r}
}

// end is the exit of a case: nil after a verdict.
func (s *session) end() error {
	if s.verdict {
		return nil
	}
	return errNoVerdict
}
