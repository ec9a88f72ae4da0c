package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
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
	unsaved *engine.Event  // the last event, where it could not be saved
	changed []change       // since the case was opened, where it is taken up again
	taken   *takeover      // where the answers come from, if from another case
}

// unsavedError says that what was answered is right, but could not be saved.
type unsavedError struct{ err error }

func (e *unsavedError) Error() string { return e.err.Error() }
func (e *unsavedError) Unwrap() error { return e.err }

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
	guides, err := base.Reach(o.Guide)
	if err != nil {
		return nil, inputError(err)
	}
	var m *engine.Model
	if h != nil {
		for _, part := range slices.Sorted(maps.Keys(o.Supply)) {
			h = h.Measured(part, o.Supply[part])
		}
		s.harness = h
		m, err = engine.FromHarness(h, engine.Options{Symptom: o.Symptom, Guide: guides[o.Guide], Facts: o.Facts, Guides: guides, Before: o.Before})
	} else {
		g := guides[o.Guide]
		if g == nil {
			return nil, inputError(fmt.Errorf("there is no guide %q", o.Guide))
		}
		m, err = engine.FromGuide(engine.Options{Guide: g, Facts: o.Facts, Guides: guides, Before: o.Before})
	}
	if err != nil {
		return nil, inputError(err)
	}
	s.course = engine.NewCourse(m, engine.Gate{Qualified: o.Qualified})
	return s, nil
}

// errMisfit says that the records of a case do not make a course any more.
var errMisfit = errors.New("does not fit any more, as the knowledge or the program has changed since")

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
			return fmt.Errorf("record %d %w (%w)", i+1, errMisfit, err)
		}
		s.stamp(r.Time)
	}
	return nil
}

// apply takes an event and saves it. An event that does not fit is an input
// error. One that cannot be saved is not taken and is an unsavedError; retry
// takes it again.
func (s *session) apply(e engine.Event) error {
	before := slices.Clone(s.course.Events())
	if err := s.course.Apply(e); err != nil {
		return inputError(err)
	}
	if err := s.journal.Append(s.record(e, time.Now())); err != nil {
		// Put the course back: what is not saved does not count.
		if berr := s.course.Replay(before); berr != nil {
			return fmt.Errorf("%w (and %w)", err, berr)
		}
		s.unsaved = &e
		return &unsavedError{err}
	}
	s.unsaved = nil
	if s.course.Phase() == engine.Closed {
		// It only spares later cases some work: the events say the same.
		_ = s.journal.Append(casefile.Record{Kind: casefile.KindClosed, Time: time.Now(),
			Closed: &casefile.Closed{Status: s.course.Status(), Cause: s.course.LastRepair()}})
	}
	return nil
}

// retry takes the event again that could not be saved.
func (s *session) retry() error {
	if s.unsaved == nil {
		return inputError(errors.New("nothing waits to be saved: the last answer was"))
	}
	return s.apply(*s.unsaved)
}

// record is the journal's record of an event that was just taken.
func (s *session) record(e engine.Event, now time.Time) casefile.Record {
	return casefile.Record{Kind: casefile.KindEvent, Time: now, Event: casefile.FromEngine(e), Stands: s.stands()}
}

// stands says how the case stands.
func (s *session) stands() *casefile.Stands {
	ranking, _ := s.course.Ranking()
	out := &casefile.Stands{Status: s.course.Status(), Cause: ranking[0].Cause.ID, P: round(ranking[0].P)}
	for _, t := range s.course.Taken() {
		if t.Skipped == "" {
			out.Readings++
		}
	}
	return out
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
		return &unsavedError{err}
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
	switch {
	case s.unsaved != nil:
		return errLastUnsaved
	case s.verdict:
		return nil
	}
	return errNoVerdict
}

// errLastUnsaved ends a case whose last answer could not be saved.
var errLastUnsaved = errors.New("the last answer is not saved; all before it is")
