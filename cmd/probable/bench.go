package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"os"
	"os/signal"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/AlecAivazis/survey/v2"
	"github.com/AlecAivazis/survey/v2/terminal"
	"golang.org/x/term"

	"probable/engine"
)

// errStopped says that the person left: end of input, or control-C.
var errStopped = errors.New("stopped")

// asker is the seam to whatever asks for a line: survey at a terminal, or plain
// lines. A signal on stop ends the waiting with errStopped; nothing is asked
// after that.
type asker interface {
	line(question string, stop <-chan os.Signal) (string, error)
}

// prompts asks through survey.
type prompts struct{ in, out *os.File }

func (p *prompts) line(question string, stop <-chan os.Signal) (string, error) {
	type typed struct {
		s   string
		err error
	}
	was, _ := term.GetState(int(p.in.Fd()))
	done := make(chan typed, 1)
	go func() {
		var t typed
		t.err = survey.AskOne(&survey.Input{Message: question}, &t.s, survey.WithStdio(endings{p.in}, p.out, p.out))
		done <- t
	}()
	select {
	case t := <-done:
		if errors.Is(t.err, terminal.InterruptErr) || errors.Is(t.err, io.EOF) {
			return "", errStopped
		}
		return t.s, t.err
	case <-stop:
		// The prompt still waits, and has the terminal as it likes it.
		if was != nil {
			_ = term.Restore(int(p.in.Fd()), was)
		}
		fmt.Fprintln(p.out)
		return "", errStopped
	}
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
	// blank takes an empty line for an answer; else it is passed over.
	blank bool
}

func scanner(r io.Reader) *bufio.Scanner {
	s := bufio.NewScanner(r)
	s.Buffer(make([]byte, 4096), maxMessage)
	return s
}

func (l *lines) line(question string, stop <-chan os.Signal) (string, error) {
	fmt.Fprintf(l.out, "%s ", question)
	for {
		got := make(chan bool, 1)
		go func() { got <- l.in.Scan() }()
		more := false
		select {
		case more = <-got:
		case <-stop:
			fmt.Fprintln(l.out)
			return "", errStopped
		}
		if !more {
			break
		}
		s := strings.TrimSpace(l.in.Text())
		if s == "" && !l.blank || strings.HasPrefix(s, "#") {
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
	out    io.Writer
	ask    asker
	width  int    // columns, 0 for 80
	height int    // rows of the screen, 0 where nothing scrolls away
	dir    string // given with --dir, for the commands that are shown
	meter  *meter // that prints its readings, or nil
	// stop brings control-C where it comes as a signal: without a terminal that survey
	// reads. It is nil before there is a case to keep.
	stop <-chan os.Signal
}

// line asks for a line.
func (b *bench) line(question string) (string, error) { return b.ask.line(question, b.stop) }

// pick asks for one of the options, by number or by words; extra words are
// taken too, with what is typed after them, but not listed.
func (b *bench) pick(question string, options []string, extra ...string) (string, error) {
	return b.pickSaid(question, options, nil, extra...)
}

// pickSaid is pick with what each option means in words, where that says more.
func (b *bench) pickSaid(question string, options, says []string, extra ...string) (string, error) {
	b.wrap("", question)
	for i, o := range options {
		if i < len(says) && says[i] != "" && says[i] != o {
			o += ": " + says[i]
		}
		b.wrap(fmt.Sprintf("  %d  ", i+1), o)
	}
	for {
		s, err := b.line("Number or words:")
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
		b.wrap("", fmt.Sprintf("%q is none of them.", shorten(s)))
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
func (b *bench) wrap(label, text string) { b.say("%s", b.folded(label, text)) }

// folded is a text in lines that fit, the first after a label. A label that
// takes too much of a narrow screen becomes the start of the text.
func (b *bench) folded(label, text string) string {
	width := b.width
	if width <= 0 || width > paper {
		width = paper
	}
	if words := strings.TrimLeft(label, " "); len(label) > max(width/4, 12) {
		label, text = label[:len(label)-len(words)], words+text
	}
	text = measured.ReplaceAllString(text, "$1"+glue+"$2")
	return strings.ReplaceAll(fold(width, label, text), glue, " ")
}

// measured is a number and its unit, which stay on one line; glue stands for the
// space between them meanwhile.
var measured = regexp.MustCompile(`([0-9]) ([mkM]?(?:V|ohm|A)|%)`)

const glue = "\x00"

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
		s, err := b.line("Volts, or - if not measured:")
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
			hint := fmt.Sprintf("%g to %g %s", f.Low, f.High, f.Unit) // what may be answered
			switch {
			case f.YesNo:
				hint = "yes or no"
			case f.Choices != nil:
				hint = strings.Join(f.Choices, ", ")
			}
			b.wrap("", f.Ask+" ("+hint+")")
			s, err := b.line("Answer, or - if not known:")
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
			b.wrap("  ", err.Error())
		}
	}
	return nil
}

func (b *bench) work(s *session) error {
	stop := make(chan os.Signal, 1)
	signal.Notify(stop, os.Interrupt)
	defer signal.Stop(stop)
	b.stop = stop
	if err := b.first(s); err != nil {
		b.kept(s)
		return s.end()
	}
	b.wrap("", fmt.Sprintf("Case %s. Type what the meter shows, or: %s. Ctrl-C stops too; nothing is lost.", s.journal.ID, help))
	for _, cause := range slices.Sorted(maps.Keys(s.opened.Before)) {
		b.wrap("  ", fmt.Sprintf("Mended here before, %s: %s. It is taken to be likelier for that.", count(s.opened.Before[cause], "time"), cause))
	}
	b.since(s)
	b.recap(s)
	return b.talk(s)
}

// since says what has changed since the case was opened, or where its answers
// come from.
func (b *bench) since(s *session) {
	if s.taken != nil {
		for _, l := range s.taken.lines() {
			b.wrap("  ", l)
		}
		return
	}
	for _, x := range s.changed {
		b.wrap("! ", fmt.Sprintf("The %s has changed since this case was opened: %s then, %s now.", x.What, x.Then, x.Now))
	}
	if len(s.changed) > 0 {
		b.wrap("  ", "The case goes on with its own text of the harness and with the present knowledge. To work its answers again on all that is there now, in a new case: "+b.command("resume", s.journal.ID)+" --replay")
	}
}

// trouble says that something could not be saved, and asks until it is to be
// tried again. What is typed for other questions is not taken: an answer must not
// go to the wrong check. same is what may be typed as well as retry, or "".
func (b *bench) trouble(err error, same string) error {
	b.wrap("! ", capital(err.Error())+". Nothing that you typed is lost.")
	for {
		typed, err := b.line("Put that right, then type retry (or pause):")
		switch typed = strings.TrimSpace(typed); {
		case err != nil:
			return err
		case b.leaves(typed):
			return errStopped
		case typed == "" || strings.EqualFold(typed, "retry") || same != "" && strings.EqualFold(typed, same):
			return nil
		}
		b.say("  Not taken: %q. What could not be saved comes first.", shorten(typed))
	}
}

// capital begins a sentence.
func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// apply takes an event into the case, and asks again where it cannot be saved.
func (b *bench) apply(s *session, e engine.Event) error {
	err := s.apply(e)
	for {
		var un *unsavedError
		if !errors.As(err, &un) {
			return err
		}
		same := ""
		if e.Kind == engine.Read {
			same = e.Result.String()
		}
		if err := b.trouble(un, same); err != nil {
			return err
		}
		if err = s.retry(); err == nil {
			b.say("  Saved.")
		}
	}
}

// first shows the cautions that hold throughout. Where they would leave the
// screen before they are read, as the first check comes, it waits.
func (b *bench) first(s *session) error {
	m := s.course.Model()
	all := m.Cautions
	if m.Highest > engine.ExtraLowVolts && !s.opened.Qualified {
		all = append(slices.Clone(all), fmt.Sprintf("The supply can exceed %d V DC: only checks with the power off are offered. With --qualified, live ones too.", engine.ExtraLowVolts))
	}
	lines := 0
	b.say("")
	for _, c := range all {
		text := b.folded("! ", c)
		lines += 1 + strings.Count(text, "\n")
		b.say("%s", text)
	}
	const check = 20 // lines of a check and what stands above it
	if b.height == 0 || lines+check <= b.height {
		return nil
	}
	typed, err := b.line("Enter when read:")
	if err == nil && b.leaves(typed) {
		return errStopped
	}
	return err
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
	b.wrap("", strings.TrimPrefix(fmt.Sprintf("%s: %s, %s so far.", s.opened.Harness, what, count(len(taken), "check")), ": "))
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
			s.verdict = step.Verdict.Status != engine.Quit
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

const help = "skip WHY, undo, change N, why, ranking, evidence, wiring, note TEXT, photo FILE, repaired CAUSE, help, pause"

// check shows one check and takes what came of it.
func (b *bench) check(s *session, step engine.Step) error {
	c := step.Check
	b.say("")
	title := "power " + powerWords[c.Power]
	if step.Proof {
		title += " (to prove the repair)"
	}
	b.wrap(fmt.Sprintf("Check %d   ", step.N), title)
	if why := b.doubts(s, step); why != "" {
		b.wrap("  ", why)
	}
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
	if tells := b.tells(s, c); tells != "" {
		b.wrap("    tells  ", tells)
	}
	if c.Proves != "" {
		b.wrap("    proves ", c.Proves)
		b.wrap("    not    ", c.ProvesNot)
	}
	if step.Try != nil {
		b.wrap("    or try ", offer(step.Try))
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
		err = b.apply(s, *e)
		var ee *exitError
		switch {
		case err == nil && (e.Kind == engine.Undone || e.Kind == engine.Revised || e.Kind == engine.Repaired):
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

// tells says which of the leading causes the check tells apart, and by what.
func (b *bench) tells(s *session, c *engine.Check) string {
	splits := s.course.Splits(c, 12)
	for _, p := range splits {
		if p.Shows != splits[0].Shows {
			return fmt.Sprintf("%s (%s) from %s (%s)", splits[0].Cause, splits[0].Shows, p.Cause, p.Shows)
		}
	}
	return ""
}

// doubts says which reading the check puts to the test, and how, or "".
func (b *bench) doubts(s *session, step engine.Step) string {
	if step.Doubts == 0 || step.Check.Discharge() {
		return ""
	}
	what := "alone carries what leads"
	if slices.Contains(s.course.Verdict().Odd, step.Doubts) {
		what = "fits badly with the others"
	}
	how := "This asks the same by another way."
	t := s.course.Taken()[step.Doubts-1]
	if t.Check.ID == step.Check.ID {
		how = "There is no other way to ask it: make it once more, with the leads put on anew."
	}
	return fmt.Sprintf("Check %d (%s) %s. %s", step.Doubts, s.shown(t.Check, t.Result), what, how)
}

// shown is a result with the place where it was read, as short as it can be said.
func (s *session) shown(c *engine.Check, r engine.Result) string {
	shows := c.Shows(r)
	switch {
	case s.harness == nil || c.Red == "" || !c.Mode.Numeric():
		return c.ID + ": " + shows
	case c.Black == s.harness.Ground:
		shows += " at " + c.Red
	default:
		shows += " from " + c.Red + " to " + c.Black
	}
	if c.State != "" {
		shows += ", " + c.State
	}
	return shows
}

// offer says in a line or two which repair may be tried, and what it takes.
func offer(a *engine.Attempt) string {
	return fmt.Sprintf("mending %s (%s): about %.0f min with its proof of %s; %s. Type try for how, repaired once it is done.",
		a.Cause.ID, percent(a.P), a.Minutes, count(len(a.Prove), "check"), risks(a.Risk))
}

// risks says what a repair made blind does to a module.
func risks(chance float64) string {
	if chance == 0 {
		return "no module is at risk"
	}
	return fmt.Sprintf("it may kill a module (%.1f %%)", 100*chance)
}

// try says all about the repair that may be tried.
func (b *bench) try(step engine.Step) {
	a := step.Try
	if a == nil {
		b.wrap("  ", "No repair is worth trying before this check.")
		return
	}
	b.wrap("  ", fmt.Sprintf("To be tried in place of this check: %s (%s).", a.Cause.ID, percent(a.P)))
	b.wrap("  ! ", "Unplug the pack first; power comes back only after the short check.")
	b.repair(a.Cause.Repair, a.Cause)
	b.wrap("  ", fmt.Sprintf("It takes about %.0f min with its proof, which is likely to save %.0f min against measuring on; %s. If it was not that, the search goes on from there.",
		a.Minutes, a.Saves, risks(a.Risk)))
	b.say("  Proven by:")
	for _, id := range a.Prove {
		b.wrap("    - ", id)
	}
	b.wrap("  ", "Type repaired once it is done, or what this check shows.")
}

// repair says what to do and what to mind meanwhile.
func (b *bench) repair(say string, c *engine.Cause) {
	b.wrap("  Repair: ", say)
	for _, w := range c.Cautions {
		b.wrap("  ! ", w)
	}
	if c.Kills != "" {
		b.wrap("  Kills the part: ", c.Kills)
	}
	if c.Hurts != "" {
		b.wrap("  Hurts you: ", c.Hurts)
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
		b.wrap("  ", "Skipped: the repair is not proven by it.")
	case last.Healthy:
		b.say("  As it should be.")
	case s.course.Phase() == engine.Finding:
		b.wrap("  ", "Not what a mended vehicle shows. The search goes on.")
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

// words that are no answer but ask or tell something, wherever an answer is asked.
var words = []string{"skip", "undo", "back", "change", "why", "ranking", "evidence", "wiring", "try", "repaired", "note", "photo", "help", "?"}

// question asks for what the check wants.
func (b *bench) question(c *engine.Check) (string, error) {
	want := ""
	switch {
	case c.Wants() > 1 && c.Mode == engine.Wiggle:
		b.wrap("  ", "The least and the most while it is moved, as in 4.1 4.98.")
		want = "Two numbers in " + c.Unit()
	case c.Wants() > 1:
		b.wrap("  ", fmt.Sprintf("At %s in turn: this part's, then the known-good one's.", strings.Join(c.Sweep, ", ")))
		want = fmt.Sprintf("%d numbers in %s", c.Wants(), c.Unit())
	case c.Mode == engine.Continuity:
		want = "beep or no beep, or ohms"
	case c.Mode.Numeric():
		want = "Reading in " + c.Unit()
		if b.meter != nil {
			want += " (enter: the meter's)"
		}
	default:
		return b.pickSaid("What do you find?", c.Answers, c.Says(), words...)
	}
	return b.line(want + ":")
}

// typed reads what was typed, or takes the meter's reading for an empty line.
func (b *bench) typed(c *engine.Check, s string) (engine.Result, error) {
	if s == "" && b.meter != nil && (c.Mode.Numeric() || c.Mode == engine.Continuity) {
		line, err := b.meter.next(b.stop)
		if err != nil {
			return engine.Result{}, err
		}
		r, err := parseMeter(c, line)
		if err == nil {
			b.say("  the meter: %s", c.Shows(r))
		}
		return r, err
	}
	return parseTyped(c, s)
}

// answer asks for one answer; a nil event means that it was a question back.
func (b *bench) answer(s *session, step engine.Step) (*engine.Event, error) {
	typed, err := b.question(step.Check)
	if err != nil {
		return nil, err
	}
	return b.said(s, step, typed)
}

// said takes what was typed for a check, as answer does.
func (b *bench) said(s *session, step engine.Step, typed string) (*engine.Event, error) {
	c := step.Check
	typed = strings.TrimSpace(typed)
	if b.leaves(typed) {
		return nil, errStopped
	}
	word, rest, _ := strings.Cut(typed, " ")
	rest = strings.TrimSpace(rest)
	switch strings.ToLower(word) {
	case "":
		if b.meter == nil || c.Wants() > 1 {
			return nil, nil
		}
	case "help", "?":
		b.wrap("  ", "Type what the meter shows, as in 4.98, 49.8mV, 12k or OL, or: "+help+".")
		return nil, nil
	case "skip":
		return &engine.Event{Kind: engine.Skipped, Check: c.ID, Why: rest}, nil
	case "undo", "back":
		return &engine.Event{Kind: engine.Undone}, nil
	case "change":
		return b.change(s, rest)
	case "why":
		b.why(s, step)
		return nil, nil
	case "ranking":
		b.leading(s, 12)
		return nil, nil
	case "evidence":
		b.evidence(s, rest)
		return nil, nil
	case "wiring":
		b.wiring(s, c)
		return nil, nil
	case "try":
		b.try(step)
		return nil, nil
	case "repaired":
		return b.repaired(step, rest), nil
	case "note", "photo":
		return nil, b.note(s, strings.ToLower(word), rest)
	}
	r, err := b.typed(c, typed)
	if errors.Is(err, errStopped) {
		return nil, err
	}
	if err != nil {
		b.wrap("  ", err.Error())
		return nil, nil
	}
	if why := unlikely(s.course.Model(), c, r); why != "" {
		b.wrap("  ", why)
		again, err := b.line("The same again, or what it is:")
		if err != nil {
			return nil, err
		}
		if second, err := b.typed(c, strings.TrimSpace(again)); err != nil || !second.Equal(r) {
			return b.said(s, step, again)
		}
	}
	e := result(c, r)
	return &e, nil
}

// repaired takes the word that a cause was repaired, the one that may be tried
// where none is named.
func (b *bench) repaired(step engine.Step, cause string) *engine.Event {
	if cause == "" && step.Try != nil {
		cause = step.Try.Cause.ID
	}
	if cause == "" {
		b.wrap("  ", "Type repaired and the cause, as ranking names it.")
		return nil
	}
	return &engine.Event{Kind: engine.Repaired, Cause: cause}
}

// change takes another answer in the place of an earlier one: typed with its
// number, or asked for.
func (b *bench) change(s *session, which string) (*engine.Event, error) {
	taken := s.course.Taken()
	which, typed, _ := strings.Cut(which, " ")
	n, err := strconv.Atoi(which)
	if err != nil || n < 1 || n > len(taken) {
		if len(taken) == 0 {
			b.say("  Nothing was answered yet.")
			return nil, nil
		}
		b.say("  Which? Type change and its number:")
		for i, t := range taken {
			shown := "skipped"
			if t.Skipped == "" {
				shown = t.Check.Shows(t.Result)
			}
			b.wrap(fmt.Sprintf("    %2d  ", i+1), t.Check.ID+": "+shown)
		}
		return nil, nil
	}
	c := taken[n-1].Check
	if typed == "" {
		b.wrap("  ", c.ID)
		if typed, err = b.question(c); err != nil {
			return nil, err
		}
	}
	if typed = strings.TrimSpace(typed); b.leaves(typed) {
		return nil, errStopped
	}
	r, err := b.typed(c, typed)
	if errors.Is(err, errStopped) {
		return nil, err
	}
	if err != nil {
		b.wrap("  ", err.Error())
		return nil, nil
	}
	return &engine.Event{Kind: engine.Revised, N: n, Result: r}, nil
}

// wiring shows what is wired to where the leads go.
func (b *bench) wiring(s *session, c *engine.Check) {
	if s.harness == nil || c.Red == "" {
		b.wrap("  ", "There is no drawing of what is around here.")
		return
	}
	pins := []string{c.Red}
	if c.Black != s.harness.Ground {
		pins = append(pins, c.Black)
	}
	for _, line := range s.harness.Around(pins, 2) {
		words := strings.TrimLeft(line, " ")
		b.wrap("    "+line[:len(line)-len(words)], words)
	}
}

// note keeps a remark or the place of a picture.
func (b *bench) note(s *session, word, rest string) error {
	if rest == "" {
		b.say("  Type %s and then what.", word)
		return nil
	}
	text, photo := rest, ""
	if word == "photo" {
		path, err := picture(rest)
		if err != nil {
			b.wrap("  ", capital(err.Error()))
			return nil
		}
		text, photo = "", path
	}
	for {
		err := s.note(text, photo)
		if err == nil {
			break
		}
		if err := b.trouble(err, ""); err != nil {
			return err
		}
	}
	b.say("  Kept.")
	return nil
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
	b.wrap("  ", "What each leading cause would show here:")
	for _, p := range splits {
		b.wrap(fmt.Sprintf("    %5s  ", percent(p.P)), p.Cause+": "+p.Shows)
	}
}

// leading shows the likeliest causes.
func (b *bench) leading(s *session, most int) {
	r, bits := s.course.Ranking()
	left := s.course.Left()
	if left.Checks > 0 {
		b.wrap("  ", fmt.Sprintf("Likeliest of %s; %.1f bits to go, about %s:", count(left.Causes, "cause"), left.Bits, count(left.Checks, "check")))
	} else {
		b.say("  Likeliest now (%.1f bits to go):", bits)
	}
	for i, x := range r {
		if i == most || x.P < 0.005 {
			break
		}
		b.wrap(fmt.Sprintf("    %5s  ", percent(x.P)), x.Cause.ID)
	}
}

// explained is how many leading causes evidence is shown for, where none is named.
const explained = 3

// evidence shows what raised and lowered a cause, or the leading ones.
func (b *bench) evidence(s *session, cause string) {
	r, _ := s.course.Ranking()
	if cause != "" {
		i := slices.IndexFunc(r, func(x engine.Ranked) bool { return strings.EqualFold(x.Cause.ID, cause) })
		if i < 0 {
			b.wrap("  ", fmt.Sprintf("There is no cause %q; ranking names them.", shorten(cause)))
			return
		}
		r = r[i : i+1]
	}
	b.wrap("  ", "What raised and lowered them (x3: three times as likely for it; /3: a third as likely):")
	same := map[string]string{} // cause by what it is told by
	for i, x := range r {
		if i == explained || i > 0 && x.P < 0.01 {
			break
		}
		factors := s.course.Explain(x.Cause.ID)
		if len(factors) == 0 {
			b.wrap("  ", fmt.Sprintf("%s: %s; nothing was read yet", x.Cause.ID, percent(x.P)))
			continue
		}
		head := fmt.Sprintf("%s: %s at the start, %s now", x.Cause.ID, percent(engine.Start(factors)), percent(x.P))
		told := ""
		for _, f := range factors {
			told += fmt.Sprintln(f.Short(), f.Little(), f.Shows)
		}
		if first, ok := same[told]; ok {
			b.wrap("  ", head+"; by the same as "+first)
			continue
		}
		same[told] = x.Cause.ID
		b.wrap("  ", head)
		var little []string
		for _, f := range factors {
			switch {
			case f.Little() && f.Check == nil:
			case f.Little():
				little = append(little, fmt.Sprint(f.N))
			case f.Check == nil:
				b.wrap(fmt.Sprintf("    %-6s ", f.Short()), "a repair that did not prove")
			default:
				text := fmt.Sprintf("check %d: %s", f.N, s.shown(f.Check, f.Result))
				if f.Shows != "" {
					text += "; it would show " + f.Shows
				}
				if f.Before {
					text += "; before a repair"
				}
				b.wrap(fmt.Sprintf("    %-6s ", f.Short()), text)
			}
		}
		if len(little) > 0 {
			b.wrap("    ", "little: check "+strings.Join(little, ", "))
		}
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
		why := map[engine.Status]string{engine.Unproven: "A proof was left out.", engine.Quit: "It was given up."}[v.Status]
		if why == "" {
			return errDone
		}
		undo, leave := "undo the last answer and go on", "leave it so"
		if v.Status == engine.Quit {
			undo = "undo that and go on"
		}
		choice, err := b.pick(why+" What now?", []string{leave, undo}, "undo")
		if err != nil || choice == leave {
			return errDone
		}
		return b.apply(s, engine.Event{Kind: engine.Undone})
	}
	b.say("VERDICT")
	for i, x := range v.Causes {
		b.wrap(fmt.Sprintf("  %5s  ", percent(x.P)), x.Cause.ID)
		if x.Cause.Say != "" && i < v.Lead {
			b.wrap("         ", x.Cause.Say)
		}
	}
	for _, g := range v.Groups {
		b.wrap("  ", "No check left tells these apart: "+strings.Join(g, "; ")+".")
	}
	for _, l := range v.LeftOut {
		b.wrap("  ", l)
	}
	for _, n := range v.Odd {
		t := s.course.Taken()[n-1]
		b.wrap("  ", fmt.Sprintf("Check %d (%s) was probably wrong: what leads shows something else there. Take it again, then type change %d and what it shows.", n, s.shown(t.Check, t.Result), n))
	}
	for _, n := range v.Unlike {
		t := s.course.Taken()[n-1]
		b.wrap("  ", fmt.Sprintf("Check %d (%s) is seldom so with what leads. If it was done in haste, do it again, then type change %d.", n, s.shown(t.Check, t.Result), n))
	}
	alone := "No single cause explains all readings"
	if len(v.Odd) > 0 {
		alone = "If no reading was wrong, no single cause explains all"
	}
	for _, p := range v.Pairs {
		b.wrap("  ", fmt.Sprintf("%s; these two together do (%s): %s, and %s.", alone, percent(p.P), p.A.ID, p.B.ID))
	}
	b.repair(v.Repair, v.Causes[0].Cause)
	// On a screen they are asked one by one later on; all at once they would push
	// the cause off it.
	if len(v.Prove) > 0 && b.height > 0 {
		b.wrap("  ", fmt.Sprintf("Once mended, %s prove it (proof lists them).", count(len(v.Prove), "check")))
	} else {
		b.proves(v)
	}
	const repaired, undo, stop = "I repaired: ", "undo the last answer", "stop here"
	var options []string
	for _, x := range v.Causes {
		if x.Cause.ID != engine.Unexplained {
			options = append(options, repaired+x.Cause.ID)
		}
	}
	for _, p := range v.Pairs {
		for _, c := range []*engine.Cause{p.A, p.B} {
			if !slices.Contains(options, repaired+c.ID) {
				options = append(options, repaired+c.ID)
			}
		}
	}
	options = append(options, undo, stop)
	for {
		choice, err := b.pick("What now?", options, "undo", "back", "ranking", "evidence", "proof", "change", "note", "photo", "help", "?")
		if err != nil {
			return err
		}
		word, rest, _ := strings.Cut(choice, " ")
		switch word = strings.ToLower(word); {
		case choice == stop:
			return errStopped
		case choice == undo || word == "undo" || word == "back":
			return b.apply(s, engine.Event{Kind: engine.Undone})
		case strings.HasPrefix(choice, repaired):
			return b.apply(s, engine.Event{Kind: engine.Repaired, Cause: strings.TrimPrefix(choice, repaired)})
		case word == "ranking":
			b.leading(s, 12)
		case word == "evidence":
			b.evidence(s, strings.TrimSpace(rest))
		case word == "proof":
			b.proves(v)
		case word == "note" || word == "photo":
			err = b.note(s, word, strings.TrimSpace(rest))
		case word == "change":
			var e *engine.Event
			if e, err = b.change(s, strings.TrimSpace(rest)); err == nil && e != nil {
				return b.apply(s, *e)
			}
		default:
			b.wrap("  ", "A number from the list, or: proof, ranking, evidence, undo, change N, note TEXT, photo FILE, pause.")
		}
		if err != nil {
			return err
		}
	}
}

// proves lists what proves the repair.
func (b *bench) proves(v *engine.Verdict) {
	if len(v.Prove) == 0 {
		return
	}
	b.say("  Proven when:")
	for _, p := range v.Prove {
		b.wrap("    - ", p)
	}
}

// errDone ends a closed case.
var errDone = &exitError{code: exitVerdict}
