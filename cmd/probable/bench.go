package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/AlecAivazis/survey/v2"
	"github.com/AlecAivazis/survey/v2/terminal"

	"probable/engine"
)

// errStopped says that the person left: end of input, or control-C.
var errStopped = errors.New("stopped")

// asker is the seam to whatever asks the questions: survey at a terminal, or
// plain lines. A question has options, or takes any text.
type asker interface {
	pick(question string, options []string) (string, error)
	line(question string) (string, error)
}

// prompts asks through survey.
type prompts struct{ in, out *os.File }

func (p *prompts) ask(q survey.Prompt, into any) error {
	err := survey.AskOne(q, into, survey.WithStdio(p.in, p.out, p.out), survey.WithShowCursor(true))
	if errors.Is(err, terminal.InterruptErr) || errors.Is(err, io.EOF) {
		return errStopped
	}
	return err
}

func (p *prompts) pick(question string, options []string) (s string, err error) {
	err = p.ask(&survey.Select{Message: question, Options: options, PageSize: 12}, &s)
	return s, err
}

func (p *prompts) line(question string) (s string, err error) {
	err = p.ask(&survey.Input{Message: question}, &s)
	return s, err
}

// lines asks by plain lines, from a person or a file.
type lines struct {
	in   *bufio.Scanner
	out  io.Writer
	echo bool // show what was taken: nobody typed it
}

func scanner(r io.Reader) *bufio.Scanner {
	s := bufio.NewScanner(r)
	s.Buffer(make([]byte, 4096), maxMessage)
	return s
}

func (l *lines) line(question string) (string, error) {
	fmt.Fprintf(l.out, "%s ", question)
	for l.in.Scan() {
		s := strings.TrimSpace(l.in.Text())
		if s == "" || strings.HasPrefix(s, "#") {
			continue
		}
		if l.echo {
			fmt.Fprintln(l.out, s)
		}
		return s, nil
	}
	fmt.Fprintln(l.out)
	if err := l.in.Err(); err != nil {
		return "", inputError(err)
	}
	return "", errStopped
}

func (l *lines) pick(question string, options []string) (string, error) {
	for {
		fmt.Fprintln(l.out, question)
		for i, o := range options {
			fmt.Fprintf(l.out, "  %d  %s\n", i+1, o)
		}
		s, err := l.line("Number or words:")
		if err != nil {
			return "", err
		}
		for i, o := range options {
			if strings.EqualFold(s, o) || s == fmt.Sprint(i+1) {
				return o, nil
			}
		}
		fmt.Fprintf(l.out, "%q is none of them.\n", s)
	}
}

// bench talks a case through with a person.
type bench struct {
	out   io.Writer
	ask   asker
	width int // columns, 0 for 80
}

func (b *bench) say(format string, args ...any) { fmt.Fprintf(b.out, format+"\n", args...) }

// wrap writes text in lines that fit, the first after a label.
func (b *bench) wrap(label, text string) {
	width := b.width
	if width <= 0 || width > 80 {
		width = 80
	}
	indent := strings.Repeat(" ", len(label))
	line := label
	for _, w := range strings.Fields(text) {
		if len([]rune(line))+1+len([]rune(w)) > width && strings.TrimSpace(line) != "" && line != label {
			b.say("%s", strings.TrimRight(line, " "))
			line = indent
		}
		if line != label && line != indent {
			line += " "
		}
		line += w
	}
	b.say("%s", strings.TrimRight(line, " "))
}

func (b *bench) choose(question string, options []string) (string, error) {
	s, err := b.ask.pick(question, options)
	if errors.Is(err, errStopped) {
		return "", errNoVerdict
	}
	return s, err
}

func (b *bench) facts(facts []engine.Fact, known map[string]any) error {
	for _, f := range facts {
		if _, ok := known[f.Name]; ok {
			continue
		}
		for {
			hint := "yes or no"
			if !f.YesNo {
				hint = fmt.Sprintf("%g to %g %s", f.Low, f.High, f.Unit)
			}
			s, err := b.ask.line(fmt.Sprintf("%s (%s; - if not known)", f.Ask, strings.TrimSpace(hint)))
			if errors.Is(err, errStopped) {
				return errNoVerdict
			}
			if err != nil {
				return err
			}
			if s == "" || s == "-" {
				break
			}
			v, err := parseFact(f, s)
			if err == nil {
				known[f.Name] = v
				break
			}
			b.say("%v", err)
		}
	}
	return nil
}

func (b *bench) work(s *session) error {
	b.say("")
	for _, c := range s.course.Model().Cautions {
		b.wrap("! ", c)
	}
	b.wrap("", fmt.Sprintf("Case %s. Type what the meter shows, or: %s. Ctrl-C stops too; nothing is lost.", s.journal.ID, help))
	for {
		step := s.course.Next()
		var err error
		if step.Verdict != nil {
			s.verdict = true
			err = b.afterVerdict(s, step.Verdict)
		} else {
			err = b.check(s, step)
		}
		switch {
		case errors.Is(err, errStopped):
			b.say("Case %s is kept. Go on with: probable resume %s", s.journal.ID, s.journal.ID)
			return s.end()
		case err != nil:
			return err
		}
	}
}

var powerWords = map[engine.Power]string{
	engine.Off:     "OFF: pack unplugged",
	engine.Live:    "LIVE",
	engine.Limited: "LIMITED: through a current limit",
}

var modeWords = map[engine.Mode]string{
	engine.VoltsDC: "DC volts", engine.Ohms: "ohms", engine.Continuity: "continuity", engine.Diode: "diode test",
	engine.AmpsDC: "10 A DC, red lead in the 10 A jack",
}

const help = "skip WHY, undo, why, ranking, stop"

// check shows one check and takes what came of it.
func (b *bench) check(s *session, step engine.Step) error {
	c := step.Check
	b.say("")
	title := fmt.Sprintf("Check %d   power %s", step.N, powerWords[c.Power])
	if step.Proof {
		title += "   (to prove the repair)"
	}
	b.say("%s", title)
	for _, w := range c.Cautions {
		b.wrap("  ! ", w)
	}
	say := c.Say
	if c.Prepare != "" {
		say = c.Prepare
	}
	b.wrap("  ", say)
	if m := modeWords[c.Mode]; m != "" {
		b.say("    meter  %s", m)
		if c.Red != "" {
			b.wrap("    red    ", lead(c.Red, c.RedAt))
			b.wrap("    black  ", lead(c.Black, c.BlackAt))
		}
	}
	if good := c.Good(); good != "" {
		b.wrap("    good   ", good)
	}
	if c.Why != "" {
		b.wrap("    why    ", c.Why)
	}
	for {
		e, err := b.answer(s, step)
		if err != nil {
			return err
		}
		if e == nil {
			continue
		}
		err = s.apply(*e)
		var ee *exitError
		switch {
		case err == nil && step.Proof:
			b.proof(s)
			return nil
		case err == nil:
			b.leading(s, 3)
			return nil
		case errors.As(err, &ee):
			b.wrap("  ", err.Error())
		default:
			return err
		}
	}
}

// proof says how the last proof reading came out.
func (b *bench) proof(s *session) {
	taken := s.course.Taken()
	if len(taken) == 0 {
		return
	}
	switch last := taken[len(taken)-1]; {
	case last.Skipped != "":
		b.say("  Skipped: the repair is not proven by it.")
	case last.Healthy:
		b.say("  As it should be.")
	case s.course.Phase() == engine.Finding:
		b.say("  Not what a mended vehicle shows. The search goes on.")
	default:
		b.say("  Not yet.")
	}
}

// lead says where a lead goes.
func lead(pin, at string) string {
	if at == "" {
		return pin
	}
	return pin + "   (" + at + ")"
}

// answer asks for one answer; a nil event means that it was a question back.
func (b *bench) answer(s *session, step engine.Step) (*engine.Event, error) {
	c := step.Check
	var typed string
	var err error
	if c.Mode.Numeric() || c.Mode == engine.Continuity {
		want := "Reading in " + c.Mode.Unit()
		if c.Mode == engine.Continuity {
			want = "beep or no beep, or ohms"
		}
		typed, err = b.ask.line(want + ":")
	} else {
		typed, err = b.ask.pick("What do you find?", append(append([]string{}, c.Answers...), "skip", "undo", "why", "ranking", "stop"))
	}
	if err != nil {
		return nil, err
	}
	word, rest, _ := strings.Cut(typed, " ")
	switch strings.ToLower(word) {
	case "":
		return nil, nil
	case "stop", "quit", "pause":
		return nil, errStopped
	case "skip":
		return &engine.Event{Kind: engine.Skipped, Check: c.ID, Why: strings.TrimSpace(rest)}, nil
	case "undo", "back":
		return &engine.Event{Kind: engine.Undone}, nil
	case "why":
		b.why(s, step)
		return nil, nil
	case "ranking":
		b.leading(s, 12)
		return nil, nil
	}
	r, err := parseTyped(c, typed)
	if err != nil {
		b.wrap("  ", err.Error())
		return nil, nil
	}
	e := result(c, r)
	return &e, nil
}

// why shows what the check tells apart.
func (b *bench) why(s *session, step engine.Step) {
	c := step.Check
	if c.Why != "" {
		b.wrap("  ", c.Why)
	}
	b.say("  It should tell %.1f bits. What each leading cause would show here:", step.Bits)
	for _, p := range s.course.Splits(c, 8) {
		b.say("    %5s  %-32s %s", percent(p.P), p.Cause, p.Shows)
	}
}

// leading shows the likeliest causes.
func (b *bench) leading(s *session, most int) {
	r, bits := s.course.Ranking()
	b.say("  %.1f bits to go. Likeliest now:", bits)
	for i, x := range r {
		if i == most || x.P < 0.005 {
			break
		}
		b.say("    %5s  %s", percent(x.P), x.Cause.ID)
	}
}

func percent(p float64) string {
	switch {
	case p > 0.995 && p < 1:
		return ">99 %"
	case p < 0.01:
		return "<1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

// afterVerdict shows the verdict and what can follow.
func (b *bench) afterVerdict(s *session, v *engine.Verdict) error {
	b.say("")
	if v.Status != engine.Open {
		b.say("Case %s is closed: %s.", s.journal.ID, v.Status)
		b.say("Report: probable report %s", s.journal.ID)
		return errDone
	}
	b.say("VERDICT")
	for _, x := range v.Causes {
		b.say("  %5s  %s", percent(x.P), x.Cause.ID)
		if x.Cause.Say != "" {
			b.wrap("         ", x.Cause.Say)
		}
	}
	for _, g := range v.Groups {
		b.wrap("  No check left tells these apart: ", strings.Join(g, "; ")+".")
	}
	for _, l := range v.LeftOut {
		b.wrap("  ", l)
	}
	b.wrap("  Repair: ", v.Repair)
	top := v.Causes[0].Cause
	for _, c := range top.Cautions {
		b.wrap("  ! ", c)
	}
	if top.Kills != "" {
		b.wrap("  Kills the part: ", top.Kills)
	}
	if top.Hurts != "" {
		b.wrap("  Hurts you: ", top.Hurts)
	}
	if len(v.Prove) > 0 {
		b.say("  Proven when:")
		for _, p := range v.Prove {
			b.wrap("    - ", p)
		}
	}
	const repaired, undo, stop = "I repaired: ", "undo the last answer", "stop here"
	var options []string
	for _, x := range v.Causes {
		if x.Cause.ID != engine.Unexplained {
			options = append(options, repaired+x.Cause.ID)
		}
	}
	options = append(options, undo, stop)
	choice, err := b.ask.pick("What now?", options)
	switch {
	case err != nil:
		return err
	case choice == stop:
		return errStopped
	case choice == undo:
		return s.apply(engine.Event{Kind: engine.Undone})
	}
	return s.apply(engine.Event{Kind: engine.Repaired, Cause: strings.TrimPrefix(choice, repaired)})
}

// errDone ends a closed case.
var errDone = &exitError{code: exitVerdict}
