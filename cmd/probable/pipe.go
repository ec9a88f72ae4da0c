package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"probable/engine"
	"probable/engine/casefile"
)

// pipe is the line protocol: one JSON object a line, in and out.
type pipe struct {
	in   *bufio.Scanner
	out  *json.Encoder
	line int
	err  error // of writing
}

// maxMessage bounds a line of input.
const maxMessage = 1 << 20

func newPipe(in io.Reader, out io.Writer) *pipe {
	p := &pipe{in: bufio.NewScanner(in), out: json.NewEncoder(out)}
	p.in.Buffer(make([]byte, 4096), maxMessage)
	p.out.SetEscapeHTML(false)
	return p
}

// incoming is any message to the program.
type incoming struct {
	Type   string    `json:"type"`
	N      *int      `json:"n"`
	ID     string    `json:"id"`
	Value  *float64  `json:"value"`
	Over   bool      `json:"over"`
	Answer string    `json:"answer"`
	Why    string    `json:"why"`
	Cause  string    `json:"cause"`
	Values []float64 `json:"values"`
	Text   string    `json:"text"`
	Photo  string    `json:"photo"`
}

type outChoose struct {
	Type     string   `json:"type"`
	Question string   `json:"question"`
	Symptoms []string `json:"symptoms"`
}

type outCheck struct {
	Type     string     `json:"type"`
	N        int        `json:"n"`
	ID       string     `json:"id"`
	Part     string     `json:"part,omitempty"`
	Power    string     `json:"power"`
	Mode     string     `json:"mode"`
	Red      string     `json:"red,omitempty"`
	Black    string     `json:"black,omitempty"`
	State    string     `json:"state,omitempty"`
	Unit     string     `json:"unit,omitempty"`
	Say      string     `json:"say"`
	Why      string     `json:"why,omitempty"`
	Cautions []string   `json:"cautions"`
	Answers  []string   `json:"answers,omitempty"`
	Says     []string   `json:"says,omitempty"` // what each answer means
	Expect   *outExpect `json:"expect,omitempty"`
	Minutes  float64    `json:"minutes"`
	Gain     float64    `json:"gain_bits"`
	Proof    bool       `json:"proof,omitempty"`
	Values   int        `json:"values,omitempty"` // numbers wanted, where more than one
	Sweep    []string   `json:"sweep,omitempty"`  // of them two for each position: this part's, the known-good one's
	Proves   string     `json:"proves,omitempty"` // of a swap
	Not      string     `json:"does_not_prove,omitempty"`
	Doubts   int        `json:"doubts,omitempty"` // number of the reading that the check puts to the test
	Try      *outTry    `json:"try,omitempty"`
}

// outTry is a repair that may be tried in place of a check.
type outTry struct {
	Cause   string   `json:"cause"`
	P       float64  `json:"p"`
	Repair  string   `json:"repair"`
	Minutes float64  `json:"minutes"` // with its proof
	Saves   float64  `json:"saves_minutes"`
	Risk    float64  `json:"module_risk"`
	Prove   []string `json:"prove"` // IDs of the checks that prove it, in order
}

// outEvidence says what raised and lowered causes.
type outEvidence struct {
	Type   string         `json:"type"`
	Causes []outExplained `json:"causes"`
}

type outExplained struct {
	ID      string      `json:"id"`
	Start   float64     `json:"start"` // probability before all factors
	P       float64     `json:"p"`
	Factors []outFactor `json:"factors"`
}

// outFactor is what a reading, or a repair that did not prove, does to a cause.
type outFactor struct {
	N     int     `json:"n,omitempty"` // number of the check
	Check string  `json:"check,omitempty"`
	Times float64 `json:"times"`
	P     float64 `json:"p"` // after it
	Say   string  `json:"say"`
}

// outExpect is what a healthy vehicle shows; over means that over-range is
// healthy, and then there is no high.
type outExpect struct {
	Low    *float64 `json:"low,omitempty"`
	High   *float64 `json:"high,omitempty"`
	Over   bool     `json:"over,omitempty"`
	Answer string   `json:"answer,omitempty"`
}

type outCause struct {
	ID string  `json:"id"`
	P  float64 `json:"p"`
}

// outHandOff says that another guide's causes stand in the place of a cause.
type outHandOff struct {
	Type     string   `json:"type"`
	Cause    string   `json:"cause"`
	Guide    string   `json:"guide"`
	Cautions []string `json:"cautions"`
}

type outRanking struct {
	Type   string     `json:"type"`
	Bits   float64    `json:"bits"`
	Causes []outCause `json:"causes"`
	Left   int        `json:"checks_left"` // about how many more
}

type outPair struct {
	IDs [2]string `json:"ids"`
	P   float64   `json:"p"`
}

type outVerdict struct {
	Type       string     `json:"type"`
	Causes     []outCause `json:"causes"`
	Bits       float64    `json:"bits"`
	SameRepair bool       `json:"same_repair"`
	Repair     string     `json:"repair"`
	Prove      []string   `json:"prove"`
	Groups     [][]string `json:"groups,omitempty"`
	Pairs      []outPair  `json:"pairs,omitempty"` // of causes that explain it together
	LeftOut    []string   `json:"left_out,omitempty"`
	Odd        []int      `json:"odd,omitempty"`    // numbers of the readings that were probably wrong
	Unlike     []int      `json:"unlike,omitempty"` // and of answers that what leads gives seldom
	Status     string     `json:"status"`
	Case       string     `json:"case"`
}

type outError struct {
	Type    string `json:"type"`
	Message string `json:"message"`
	Line    int    `json:"line"`
}

func (p *pipe) send(v any) {
	if err := p.out.Encode(v); err != nil && p.err == nil {
		p.err = err
	}
}

// fail reports an error of the last line read.
func (p *pipe) fail(err error) { p.send(outError{"error", err.Error(), p.line}) }

// read returns the next message; io.EOF ends the input, and other errors are
// the person's.
func (p *pipe) read() (incoming, error) {
	for p.in.Scan() {
		p.line++
		text := strings.TrimSpace(p.in.Text())
		if text == "" {
			continue
		}
		var m incoming
		if err := plainJSON([]byte(text), json.Unmarshal([]byte(text), &m)); err != nil {
			return m, inputError(fmt.Errorf(`not a message: %w; right would be, say, {"type":"reading","n":1,"value":0.02}`, err))
		}
		return m, nil
	}
	if err := p.in.Err(); err != nil {
		p.line++
		p.fail(fmt.Errorf("cannot read on: %w", err))
	}
	return incoming{}, io.EOF
}

func (p *pipe) choose(question string, options []string, also ...string) (string, error) {
	for {
		p.send(outChoose{"choose", question, options})
		m, err := p.read()
		switch {
		case err == io.EOF:
			return "", errNoVerdict
		case err != nil:
			p.fail(err)
		case m.Type == "quit":
			return "", errNoVerdict
		case m.Type == "answer" && (slices.Contains(options, m.Answer) || slices.Contains(also, m.Answer)):
			return m.Answer, nil
		case m.Type == undoWord && slices.Contains(also, undoWord):
			return undoWord, nil
		default:
			p.fail(errors.New(`want {"type":"answer","answer":...} with one of the symptoms`))
		}
		if p.err != nil {
			return "", p.err
		}
	}
}

// supply asks nothing: over a pipe a measured supply comes as a flag.
func (p *pipe) supply(string, float64) (float64, bool, error) { return 0, false, nil }

// facts asks nothing: over a pipe they come as flags, or rest at their defaults.
func (p *pipe) facts([]engine.Fact, map[string]any) error { return nil }

// trouble tells an error, and waits for the word to try again.
func (p *pipe) trouble(err error, _ string) error {
	for p.err == nil {
		p.fail(err)
		m, rerr := p.read()
		switch {
		case rerr == io.EOF || rerr == nil && m.Type == "quit":
			return errStopped
		case rerr == nil && m.Type == "retry":
			return nil
		}
	}
	return p.err
}

// outChanged says what has changed since the case was opened.
type outChanged struct {
	Type string `json:"type"`
	change
}

// outTaken says what came of the answers of another case.
type outTaken struct {
	Type  string    `json:"type"`
	From  string    `json:"from"`
	Case  string    `json:"case"`
	Taken int       `json:"taken"` // answers
	Lost  []string  `json:"left_out"`
	Then  *outStand `json:"then,omitempty"`
	Now   *outStand `json:"now"`
}

type outStand struct {
	Status string  `json:"status"`
	Cause  string  `json:"cause"`
	P      float64 `json:"p"`
}

func (p *pipe) sendSince(s *session) {
	for _, x := range s.changed {
		p.send(outChanged{"changed", x})
	}
	if t := s.taken; t != nil {
		stand := func(s *casefile.Stands) *outStand {
			if s == nil {
				return nil
			}
			return &outStand{string(s.Status), s.Cause, s.P}
		}
		p.send(outTaken{"taken over", t.From, s.journal.ID, t.Taken, append([]string{}, t.Lost...), stand(t.Then), stand(t.Now)})
	}
}

func (p *pipe) work(s *session) error {
	p.sendSince(s)
	for p.err == nil {
		step := s.course.Next()
		if step.Verdict != nil {
			s.verdict = step.Verdict.Status != engine.Quit
			p.sendVerdict(s, step.Verdict)
		} else {
			p.sendCheck(step)
		}
		before := len(s.course.HandOffs())
		for p.err == nil {
			m, err := p.read()
			if err == io.EOF || err == nil && m.Type == "quit" {
				return p.quit(s)
			}
			if err == nil && m.Type == "note" {
				if err = s.note(m.Text, m.Photo); err == nil {
					continue
				}
			}
			if err == nil && m.Type == "explain" {
				var e outEvidence
				if e, err = evidenceOf(s.course, m.Cause); err == nil {
					p.send(e)
					continue
				}
			}
			switch {
			case err != nil:
			case m.Type == "retry":
				err = s.retry()
			default:
				var e engine.Event
				if e, err = p.event(m, step, s.course); err == nil {
					err = s.apply(e)
				}
			}
			if err == nil {
				p.sendHandOffs(s.course.HandOffs(), before)
				p.sendRanking(s.course)
				break
			}
			p.fail(err)
			if step.Check != nil {
				p.sendCheck(step)
			}
		}
	}
	return p.err
}

// quit closes the program; the case itself stays open and can be resumed.
func (p *pipe) quit(s *session) error {
	if p.err != nil {
		return p.err
	}
	return s.end()
}

// event turns a message into an event of the case.
func (p *pipe) event(m incoming, step engine.Step, c *engine.Course) (engine.Event, error) {
	switch m.Type {
	case "undo":
		return engine.Event{Kind: engine.Undone}, nil
	case "repaired":
		return engine.Event{Kind: engine.Repaired, Cause: m.Cause}, nil
	case "revise":
		return p.revise(m)
	case "reading", "answer", "skip":
	case "":
		return engine.Event{}, errors.New(`the message has no "type"`)
	default:
		return engine.Event{}, fmt.Errorf("unknown type %q; send reading, answer, skip, undo, revise, note, explain, retry, repaired or quit", m.Type)
	}
	check, err := p.check(m, step, c)
	if err != nil {
		return engine.Event{}, err
	}
	if m.Type == "skip" {
		return engine.Event{Kind: engine.Skipped, Check: check.ID, Why: m.Why}, nil
	}
	r, err := m.result()
	return result(check, r), err
}

// revise turns a message into another result for an earlier check.
func (p *pipe) revise(m incoming) (engine.Event, error) {
	if m.N == nil {
		return engine.Event{}, errors.New(`the message has no "n", the number of the check whose answer changes`)
	}
	if m.Type = "reading"; m.Answer != "" {
		m.Type = "answer"
	}
	r, err := m.result()
	return engine.Event{Kind: engine.Revised, N: *m.N, Result: r}, err
}

// result is what a reading or an answer says.
func (m *incoming) result() (engine.Result, error) {
	switch {
	case m.Type == "answer" && m.Answer == "":
		return engine.Result{}, errors.New(`the answer has no "answer"`)
	case m.Type == "answer":
		return engine.Result{Answer: m.Answer}, nil
	case len(m.Values) > 0:
		return engine.Result{Values: m.Values}, nil
	case m.Over:
		return engine.Result{Over: true}, nil
	case m.Value == nil:
		return engine.Result{}, errors.New(`the reading has no "value" and no "over":true`)
	}
	return engine.Result{Value: *m.Value}, nil
}

// check finds the check that a message is about: by id, else by number, else
// the one asked for.
func (p *pipe) check(m incoming, step engine.Step, c *engine.Course) (*engine.Check, error) {
	if m.ID != "" && (step.Check == nil || m.ID != step.Check.ID) {
		if k := c.Model().Check(m.ID); k != nil {
			return k, nil
		}
		return nil, fmt.Errorf("there is no check %q", m.ID)
	}
	if step.Check != nil && (m.N == nil || *m.N == step.N) {
		return step.Check, nil
	}
	if m.N != nil {
		if taken := c.Taken(); *m.N >= 1 && *m.N <= len(taken) {
			if step.Check != nil {
				return nil, fmt.Errorf("check %d was answered; check %d is asked for (undo goes back)", *m.N, step.N)
			}
			return taken[*m.N-1].Check, nil
		}
		return nil, fmt.Errorf("there is no check number %d", *m.N)
	}
	return nil, errors.New("no check is asked for; give the number or the id of the one that was read again")
}

func (p *pipe) sendCheck(step engine.Step) {
	c := step.Check
	m := outCheck{Type: "check", N: step.N, ID: c.ID, Part: c.Part, Power: string(c.Power), Mode: string(c.Mode),
		Red: c.Red, Black: c.Black, State: c.State, Unit: c.Mode.Unit(), Say: c.Say, Why: c.Why, Cautions: c.Cautions,
		Minutes: c.Minutes, Gain: round(step.Bits), Proof: step.Proof, Proves: c.Proves, Not: c.ProvesNot, Try: tryOf(step.Try)}
	if !c.Discharge() {
		m.Doubts = step.Doubts
	}
	if m.Cautions == nil {
		m.Cautions = []string{}
	}
	if !c.Mode.Numeric() {
		m.Answers, m.Says = c.Answers, c.Says()
	}
	if n := c.Wants(); n > 1 {
		m.Values, m.Sweep, m.Unit = n, c.Sweep, c.Unit()
	}
	switch {
	case c.Expect != nil && math.IsInf(c.Expect.High, 1):
		m.Expect = &outExpect{Low: &c.Expect.Low, Over: true}
	case c.Expect != nil:
		m.Expect = &outExpect{Low: &c.Expect.Low, High: &c.Expect.High}
	case c.Healthy != "" && !c.Mode.Numeric():
		m.Expect = &outExpect{Answer: c.Healthy}
	}
	p.send(m)
}

// tryOf is a repair that may be tried, or nil.
func tryOf(a *engine.Attempt) *outTry {
	if a == nil {
		return nil
	}
	return &outTry{a.Cause.ID, round(a.P), a.Cause.Repair, round(a.Minutes), round(a.Saves), a.Risk, a.Prove}
}

// evidenceOf says what raised and lowered a cause, or the leading ones where none
// is named.
func evidenceOf(c *engine.Course, cause string) (outEvidence, error) {
	e := outEvidence{Type: "evidence", Causes: []outExplained{}}
	r, _ := c.Ranking()
	for i, x := range r {
		if cause == "" && (i == explained || i > 0 && x.P < 0.01) {
			break
		}
		if cause != "" && x.Cause.ID != cause {
			continue
		}
		factors := c.Explain(x.Cause.ID)
		said := outExplained{ID: x.Cause.ID, Start: round(x.P), P: round(x.P), Factors: []outFactor{}}
		if len(factors) > 0 {
			said.Start = round(engine.Start(factors))
		}
		for _, f := range factors {
			o := outFactor{N: f.N, Times: f.Written(), P: round(f.P), Say: f.Say()}
			if f.Check != nil {
				o.Check = f.Check.ID
			}
			said.Factors = append(said.Factors, o)
		}
		e.Causes = append(e.Causes, said)
	}
	if len(e.Causes) == 0 {
		return e, fmt.Errorf("there is no cause %q", cause)
	}
	return e, nil
}

// sendHandOffs sends those after the first so many; an undo may leave fewer.
func (p *pipe) sendHandOffs(all []engine.HandOff, before int) {
	for _, h := range all[min(before, len(all)):] {
		p.send(outHandOff{"hand_off", h.Cause, h.Guide.ID, h.Guide.Cautions})
	}
}

// shown is how many causes a ranking lists at the most.
const shown = 30

func (p *pipe) sendRanking(c *engine.Course) {
	r, bits := c.Ranking()
	m := outRanking{Type: "ranking", Bits: round(bits), Left: c.Left().Checks}
	for i, x := range r {
		if i == shown || i > 0 && x.P < 1e-4 {
			break
		}
		m.Causes = append(m.Causes, outCause{x.Cause.ID, round(x.P)})
	}
	p.send(m)
}

func (p *pipe) sendVerdict(s *session, v *engine.Verdict) {
	m := outVerdict{Type: "verdict", Bits: round(v.Bits), SameRepair: v.SameRepair, Repair: v.Repair,
		Prove: v.Prove, Groups: v.Groups, LeftOut: v.LeftOut, Odd: v.Odd, Unlike: v.Unlike, Status: string(v.Status), Case: s.journal.ID}
	if m.Prove == nil {
		m.Prove = []string{}
	}
	for _, x := range v.Causes {
		m.Causes = append(m.Causes, outCause{x.Cause.ID, round(x.P)})
	}
	for _, x := range v.Pairs {
		m.Pairs = append(m.Pairs, outPair{[2]string{x.A.ID, x.B.ID}, round(x.P)})
	}
	p.send(m)
}

// round keeps six digits, enough for a program and short for a person.
func round(x float64) float64 { return math.Round(x*1e6) / 1e6 }
