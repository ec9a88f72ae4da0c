package main

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"time"

	"probable/engine"
	"probable/engine/casefile"
	"probable/engine/circuit"
	"probable/rules"
)

// takeover says how the answers of a case came into a new one.
type takeover struct {
	From  string           // the case that they were given in
	Lost  []string         // what did not fit any more, and why
	Then  *casefile.Stands // how the old case stood, or nil if nobody can say
	Now   *casefile.Stands
	Taken int // answers that were taken over
}

// takeOver works the answers of a case again, on the harness file and the
// knowledge as they are now, and opens a new case with those that fit. The file
// is where it was unless one is given.
func takeOver(base *rules.Base, dir, id, file string) (*session, error) {
	records, err := casefile.Read(dir, id)
	if err != nil {
		return nil, caseError(err)
	}
	old := *records[0].Opened
	o := old
	o.Tool, o.Base, o.From = version, base.Digest, &casefile.From{Case: id, Base: old.Base, Digest: old.Digest}
	t := &takeover{From: id, Then: casefile.Stood(records)}
	h, err := present(base, &o, file)
	if err != nil {
		return nil, err
	}
	if err := t.fit(base, h, &o); err != nil {
		return nil, err
	}
	if h != nil {
		if o.Before, err = mendedBefore(dir, o.Harness); err != nil {
			return nil, err
		}
	}
	s, err := build(base, o, h)
	if err != nil {
		return nil, err
	}
	if t.Then == nil {
		// A journal of an earlier program: what it comes to on its own text.
		if was, err := restore(base, id, records); err == nil {
			t.Then = was.stands()
		}
	}
	kept := t.answers(s, casefile.Standing(records))
	t.Now, s.taken = s.stands(), t
	if s.journal, err = casefile.Create(dir, time.Now(), o, kept...); err != nil {
		return nil, fmt.Errorf("the new case cannot be kept: %w", err)
	}
	return s, nil
}

// answers gives the old answers to the new session, and returns the records of
// those that fit.
func (t *takeover) answers(s *session, standing []casefile.Record) []casefile.Record {
	var kept []casefile.Record
	n, mended := 0, ""
	for _, r := range standing {
		if r.Kind == casefile.KindNote {
			kept = append(kept, r)
			s.notes = append(s.notes, r)
			continue
		}
		e := r.Event.Engine()
		what := "repaired: " + e.Cause
		switch e.Kind {
		case engine.Read, engine.Skipped:
			n++
			what = fmt.Sprintf("answer %d, %s: %s", n, e.Check, told(e))
		case engine.GivenUp:
			continue // it is taken up again
		}
		if mended != "" {
			// What was read of a mended vehicle must not count against a broken one.
			t.Lost = append(t.Lost, fmt.Sprintf("%s (read after the repair of %s, which does not fit)", what, mended))
			continue
		}
		if err := s.course.Apply(e); err != nil {
			t.Lost = append(t.Lost, fmt.Sprintf("%s (%v)", what, err))
			if e.Kind == engine.Repaired {
				mended = e.Cause
			}
			continue
		}
		if e.Kind != engine.Repaired {
			t.Taken++
		}
		s.stamp(r.Time)
		kept = append(kept, s.record(e, r.Time))
	}
	return kept
}

// told is an answer as it was given.
func told(e engine.Event) string {
	if e.Kind == engine.Skipped {
		return "skipped"
	}
	return e.Result.String()
}

// present reads the harness as it is now, where the case has one.
func present(base *rules.Base, o *casefile.Opened, file string) (*circuit.Harness, error) {
	if o.HarnessText == "" {
		if file != "" {
			return nil, inputError(fmt.Errorf("the case was worked by the guide %q, without a harness", o.Guide))
		}
		return nil, nil
	}
	if file == "" {
		file = o.HarnessFile
	}
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, inputError(fmt.Errorf("%w; say where the harness file is now with --harness FILE", readable(err)))
	}
	h, err := base.Harness(file, data)
	if err != nil {
		return nil, inputError(err)
	}
	o.HarnessFile, o.HarnessText, o.Harness, o.Digest = file, string(data), h.Name, digest(data)
	return h, nil
}

// fit takes out of what the case was opened with what does not fit any more.
func (t *takeover) fit(base *rules.Base, h *circuit.Harness, o *casefile.Opened) error {
	lose := func(format string, args ...any) { t.Lost = append(t.Lost, fmt.Sprintf(format, args...)) }
	if o.Guide != "" && base.Guide(o.Guide) == nil {
		if h == nil {
			return inputError(fmt.Errorf("there is no guide %q any more; there are: %s", o.Guide, strings.Join(base.GuideIDs(), "; ")))
		}
		lose("guide %q (there is none of that name now)", o.Guide)
		o.Guide = ""
	}
	if h != nil && o.Symptom != "" {
		if _, ok := h.Symptom(o.Symptom); !ok {
			lose("symptom %q (the harness has: %s)", o.Symptom, strings.Join(symptomIDs(h), "; "))
			o.Symptom = ""
		} else if o.Guide == "" {
			if g := base.GuideFor(h, o.Symptom); g != nil {
				o.Guide = g.ID
			}
		}
	}
	supply := o.Supply
	o.Supply = nil
	for _, part := range slices.Sorted(maps.Keys(supply)) {
		i := -1
		if h != nil {
			i = slices.IndexFunc(h.Supplies(), func(s circuit.Supply) bool { return s.Part == part })
		}
		switch volts := supply[part]; {
		case i < 0:
			lose("%s reads %.4g V (there is no such supply now)", part, volts)
		case volts < leastSupply*h.Supplies()[i].Volts || volts > mostSupply*h.Supplies()[i].Volts:
			lose("%s reads %.4g V (no good reading of the %g V that the harness says now)", part, volts, h.Supplies()[i].Volts)
		default:
			if o.Supply == nil {
				o.Supply = map[string]float64{}
			}
			o.Supply[part] = volts
		}
	}
	facts := o.Facts
	o.Facts = nil
	for _, name := range slices.Sorted(maps.Keys(facts)) {
		v, err := any(nil), fmt.Errorf("no guide asks for it now")
		if g := base.Guide(o.Guide); g != nil {
			err = fmt.Errorf("guide %q does not ask for it now", g.ID)
			if i := slices.IndexFunc(g.Facts, func(f engine.Fact) bool { return f.Name == name }); i >= 0 {
				v, err = parseFact(g.Facts[i], fmt.Sprint(facts[name]))
			}
		}
		if err != nil {
			lose("fact %s=%v (%v)", name, facts[name], err)
			continue
		}
		if o.Facts == nil {
			o.Facts = map[string]any{}
		}
		o.Facts[name] = v
	}
	return nil
}

// lines tells what came of a takeover, a line each.
func (t *takeover) lines() []string {
	out := []string{fmt.Sprintf("Taken over from case %s, which stays as it is: %s.", t.From, count(t.Taken, "answer"))}
	for _, l := range t.Lost {
		out = append(out, "Left out: "+l+".")
	}
	was, is := "nobody can say any more", standing(t.Now)
	if t.Then != nil {
		was = standing(t.Then)
	}
	if was == is {
		return append(out, "The verdict is the same: "+is+".")
	}
	return append(out, "The verdict then: "+was+".", "The verdict now: "+is+".")
}

// standing says how a case stands in a few words.
func standing(s *casefile.Stands) string {
	return fmt.Sprintf("%s, %s %s", s.Status, percent(s.P), s.Cause)
}
