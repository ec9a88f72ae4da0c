package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/signal"
	"slices"
	"strings"

	"github.com/AlecAivazis/survey/v2"
	"github.com/AlecAivazis/survey/v2/terminal"

	"probable/engine"
)

// errStopped says that the person left: end of input, or control-C.
var errStopped = errors.New("stopped")

// asker is the seam to whatever asks for a line: survey at a terminal, or plain
// lines.
type asker interface {
	line(question string) (string, error)
}

// prompts asks through survey.
type prompts struct{ in, out *os.File }

func (p *prompts) line(question string) (s string, err error) {
	err = survey.AskOne(&survey.Input{Message: question}, &s, survey.WithStdio(endings{p.in}, p.out, p.out))
	if errors.Is(err, terminal.InterruptErr) || errors.Is(err, io.EOF) {
		return "", errStopped
	}
	return s, err
}

// endings makes control-D at a terminal stop as control-C does; survey takes it
// for the end of a line.
type endings struct{ *os.File }

func (e endings) Read(p []byte) (int, error) {
	n, err := e.File.Read(p)
	for i := range p[:n] {
		if p[i] == terminal.KeyEndTransmission {
			p[i] = terminal.KeyInterrupt
		}
	}
	return n, err
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

// bench talks a case through with a person.
type bench struct {
	out   io.Writer
	ask   asker
	width int    // columns, 0 for 80
	dir   string // given with --dir, for the commands that are shown
}

// pick asks for one of the options, by number or by words; extra words are
// taken too, with what is typed after them, but not listed.
func (b *bench) pick(question string, options []string, extra ...string) (string, error) {
	b.wrap("", question)
	for i, o := range options {
		b.wrap(fmt.Sprintf("  %d  ", i+1), o)
	}
	for {
		s, err := b.ask.line("Number or words:")
		if err != nil {
			return "", err
		}
		if s = strings.TrimSpace(s); s == "" {
			continue
		}
		var fit []string
		for i, o := range options {
			if strings.EqualFold(s, o) || s == fmt.Sprint(i+1) {
				return o, nil
			}
			if strings.HasPrefix(strings.ToLower(o), strings.ToLower(s)) {
				fit = append(fit, o)
			}
		}
		if len(fit) == 1 {
			return fit[0], nil
		}
		if slices.Contains(extra, strings.ToLower(s)) {
			return strings.ToLower(s), nil
		}
		if word, _, _ := strings.Cut(strings.ToLower(s), " "); slices.Contains(extra, word) {
			return s, nil
		}
		if b.leaves(s) {
			return "", errStopped
		}
		b.say("%q is none of them.", shorten(s))
	}
}

// leaves reports a word that stops the case wherever it is typed.
func (b *bench) leaves(s string) bool {
	return slices.Contains([]string{"stop", "quit", "exit", "q", "pause"}, strings.ToLower(strings.TrimSpace(s)))
}

// shorten keeps what was typed to a length that can be shown.
func shorten(s string) string {
	if r := []rune(s); len(r) > 40 {
		return string(r[:40]) + "..."
	}
	return s
}

// command is a command line to type, with --dir where it was given.
func (b *bench) command(verb, id string) string {
	c := "probable " + verb + " " + id
	if b.dir != "" {
		c += " --dir " + b.dir
	}
	return c
}

func (b *bench) say(format string, args ...any) { fmt.Fprintf(b.out, format+"\n", args...) }

// wrap writes text in lines that fit, the first after a label.
func (b *bench) wrap(label, text string) {
	width := b.width
	if width <= 0 || width > paper {
		width = paper
	}
	b.say("%s", fold(width, label, text))
}

func (b *bench) choose(question string, options []string, also ...string) (string, error) {
	s, err := b.pick(question, options, also...)
	if errors.Is(err, errStopped) {
		return "", errNoVerdict
	}
	return s, err
}

// supply asks what a supply reads before the first check, so that all that is
// expected is in proportion.
func (b *bench) supply(part string, drawn float64) (float64, bool, error) {
	for {
		b.wrap("", fmt.Sprintf("What does %s read at its own plug now? The drawing says %g V.", part, drawn))
		s, err := b.ask.line("(volts, or - to go by the drawing):")
		if errors.Is(err, errStopped) || err == nil && b.leaves(s) {
			return 0, false, errNoVerdict
		}
		if err != nil || s == "" || s == "-" {
			return 0, false, err
		}
		r, err := parseTyped(&engine.Check{Mode: engine.VoltsDC}, s)
		switch {
		case err != nil:
			b.wrap("  ", err.Error())
		case r.Over || r.Value < leastSupply*drawn || r.Value > mostSupply*drawn:
			b.wrap("  ", fmt.Sprintf("That is no reading of a good %g V supply. The checks go by the drawing and will show it.", drawn))
			return 0, false, nil
		default:
			return r.Value, true, nil
		}
	}
}

func (b *bench) facts(facts []engine.Fact, known map[string]any) error {
	for _, f := range facts {
		if _, ok := known[f.Name]; ok {
			continue
		}
		for {
			hint := fmt.Sprintf("%g to %g %s", f.Low, f.High, f.Unit)
			switch {
			case f.YesNo:
				hint = "yes or no"
			case f.Choices != nil:
				hint = strings.Join(f.Choices, ", ")
			}
			b.wrap("", f.Ask)
			s, err := b.ask.line("(" + hint + ", or - if not known):")
			if errors.Is(err, errStopped) || err == nil && b.leaves(s) {
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
			b.say("  %v", err)
		}
	}
	return nil
}

func (b *bench) work(s *session) error {
	b.say("")
	for _, c := range s.course.Model().Cautions {
		b.wrap("! ", c)
	}
	m := s.course.Model()
	if m.Highest > engine.ExtraLowVolts && !s.opened.Qualified {
		b.wrap("! ", fmt.Sprintf("The supply can exceed %d V DC: only checks with the power off are offered. With --qualified, live ones too.", engine.ExtraLowVolts))
	}
	b.wrap("", fmt.Sprintf("Case %s. Type what the meter shows, or: %s. Ctrl-C stops too; nothing is lost.", s.journal.ID, help))
	b.recap(s)
	// Without a terminal that survey reads, control-C comes as a signal.
	stop := make(chan os.Signal, 1)
	signal.Notify(stop, os.Interrupt)
	defer signal.Stop(stop)
	done := make(chan error, 1)
	go func() { done <- b.talk(s) }()
	select {
	case err := <-done:
		return err
	case <-stop:
		b.say("")
		b.kept(s)
		return s.end()
	}
}

// kept says how to go on.
func (b *bench) kept(s *session) {
	b.wrap("", fmt.Sprintf("Case %s is kept. Go on with: %s", s.journal.ID, b.command("resume", s.journal.ID)))
}

// recap says in three lines where a case that is taken up again was.
func (b *bench) recap(s *session) {
	taken := s.course.Taken()
	if len(taken) == 0 {
		return
	}
	what := s.opened.Symptom
	if what == "" {
		what = s.opened.Guide
	}
	b.wrap("", strings.TrimPrefix(fmt.Sprintf("%s: %s, %d readings so far.", s.opened.Harness, what, len(taken)), ": "))
	last := taken[len(taken)-1]
	shown := "skipped"
	if last.Skipped == "" {
		shown = last.Check.Shows(last.Result)
	}
	b.wrap("", fmt.Sprintf("Last: %s, %s.", last.Check.ID, shown))
	b.leading(s, 1)
}

// talk works the case until it is closed or left.
func (b *bench) talk(s *session) error {
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
			b.kept(s)
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

const help = "skip WHY, undo, why, ranking, help, stop"

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
	if taken := s.course.Taken(); c.Power != engine.Off && len(taken) > 0 && taken[len(taken)-1].Check.Power == engine.Off {
		b.wrap("  ", "Dial and leads back to volts, then plug the pack in again.")
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
	if c.Proves != "" {
		b.wrap("    proves ", c.Proves)
		b.wrap("    not    ", c.ProvesNot)
	}
	before := len(s.course.HandOffs())
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
		case err == nil && e.Kind == engine.Undone:
			return nil
		case err == nil && step.Proof:
			b.proof(s)
			b.handOffs(s, before)
			return nil
		case err == nil:
			b.handOffs(s, before)
			b.leading(s, 3)
			return nil
		case errors.As(err, &ee):
			b.wrap("  ", err.Error())
		default:
			return err
		}
	}
}

// handOffs says which guides took over since there were so many.
func (b *bench) handOffs(s *session, before int) {
	for _, h := range s.course.HandOffs()[before:] {
		b.wrap("  ", fmt.Sprintf("It comes down to %q: on with the guide %q. All that was learned is kept.", h.Cause, h.Guide.ID))
		for _, w := range h.Guide.Cautions {
			b.wrap("  ! ", w)
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
		typed, err = b.pick("What do you find?", c.Answers, "skip", "undo", "back", "why", "ranking", "help", "?")
	}
	if err != nil {
		return nil, err
	}
	typed = strings.TrimSpace(typed)
	if b.leaves(typed) {
		return nil, errStopped
	}
	word, rest, _ := strings.Cut(typed, " ")
	switch strings.ToLower(word) {
	case "":
		return nil, nil
	case "help", "?":
		b.wrap("  ", "Type what the meter shows, as in 4.98, 49.8mV, 12k or OL, or: "+help+".")
		return nil, nil
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
	if why := unlikely(s.course.Model(), c, r); why != "" {
		again, err := b.ask.line("  " + why + " Type it again to keep it:")
		if err != nil {
			return nil, err
		}
		second, err := parseTyped(c, again)
		if err != nil || second != r {
			return nil, nil // whatever it was, the check is asked again
		}
	}
	e := result(c, r)
	return &e, nil
}

// unlikely says what is odd about a reading, or "".
func unlikely(m *engine.Model, c *engine.Check, r engine.Result) string {
	switch {
	case c.Mode != engine.VoltsDC || m.Highest == 0:
	case r.Over:
		return "Over-range on volts?"
	case math.Abs(r.Value) > 2*m.Highest:
		return fmt.Sprintf("%g V on a vehicle of %g V?", r.Value, m.Highest)
	case c.Expect != nil && r.Value > 0.5 && c.Expect.High < 0 && -r.Value >= c.Expect.Low && -r.Value <= c.Expect.High,
		c.Expect != nil && r.Value < -0.5 && c.Expect.Low > 0 && -r.Value >= c.Expect.Low && -r.Value <= c.Expect.High:
		return "That is the good value with the other sign: are the leads turned?"
	}
	return ""
}

// why shows what the check tells apart.
func (b *bench) why(s *session, step engine.Step) {
	c := step.Check
	if c.Why != "" {
		b.wrap("  ", c.Why)
	}
	splits := s.course.Splits(c, 8)
	if len(splits) == 0 {
		return
	}
	b.say("  What each leading cause would show here:")
	for _, p := range splits {
		b.say("    %5s  %-32s %s", percent(p.P), p.Cause, p.Shows)
	}
}

// leading shows the likeliest causes.
func (b *bench) leading(s *session, most int) {
	r, bits := s.course.Ranking()
	b.say("  Likeliest now (%.1f bits to go):", bits)
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
		b.wrap("", "Report: "+b.command("report", s.journal.ID))
		if v.Status != engine.Unproven {
			return errDone
		}
		const undo, leave = "undo the last answer and go on", "leave it so"
		choice, err := b.pick("A proof was left out. What now?", []string{leave, undo}, "undo")
		if err != nil || choice == leave {
			return errDone
		}
		return s.apply(engine.Event{Kind: engine.Undone})
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
	choice, err := b.pick("What now?", options, "undo", "ranking")
	switch {
	case err != nil:
		return err
	case choice == stop:
		return errStopped
	case choice == "ranking":
		b.leading(s, 12)
		return nil
	case choice == undo || choice == "undo":
		return s.apply(engine.Event{Kind: engine.Undone})
	}
	return s.apply(engine.Event{Kind: engine.Repaired, Cause: strings.TrimPrefix(choice, repaired)})
}

// errDone ends a closed case.
var errDone = &exitError{code: exitVerdict}
