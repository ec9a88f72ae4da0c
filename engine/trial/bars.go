package trial

import (
	"fmt"
	"iter"
)

// Bar is what the program must reach, and what it reached.
type Bar struct {
	Name  string
	Least float64 // that Value must reach, or
	Most  float64 // that it may not exceed, where Least is 0
	Value float64
	Unit  string // "%" or empty
	Of    string // what it was measured on, in words
}

// Met reports whether the bar is met.
func (b *Bar) Met() bool {
	if b.Least != 0 {
		return b.Value >= b.Least
	}
	return b.Value <= b.Most
}

// calibrationMisread is the chance of a gross misreading in the draws that
// calibrate: what the program takes for granted ([engine.DefaultMisreading]).
const calibrationMisread = 0.01

// guidePlays is how often each cause of a guide is played: of some 400 causes alone,
// one case more or less is a quarter of a per cent.
const guidePlays = 4

// loosePlays is how often each contact that comes and goes is played: a harness
// has only some ten.
const loosePlays = 30

// Bars plays all that the bars are measured on, guides and harnesses apart and
// together, all policies on the same draws, and gives each bar as soon as it is
// known. It ends with the first error.
func Bars(subjects []*Subject, d Draws) iter.Seq2[Bar, error] {
	return func(yield func(Bar, error) bool) {
		b := &barRun{subjects: subjects, yield: yield}
		b.plain, b.wrong, b.usual = d, d, d
		b.plain.Misread, b.plain.Skip, b.plain.OneWrong = 0, 0, false
		b.wrong.Misread, b.wrong.Skip, b.wrong.OneWrong = 0, 0, true
		b.usual.Misread, b.usual.Skip, b.usual.OneWrong, b.usual.Mend = calibrationMisread, 0.05, false, true
		ok := b.kind("guides", func(s *Subject) bool { return s.Harness == nil }, false) &&
			b.kind("harnesses", func(s *Subject) bool { return s.Harness != nil }, true)
		if ok {
			yield(Bar{"unsafe offers", 0, 0, float64(b.unsafe), "", fmt.Sprintf("%d checks offered", b.offered)}, nil)
		}
	}
}

// barRun is what the bars of one run share.
type barRun struct {
	subjects            []*Subject
	yield               func(Bar, error) bool
	plain, wrong, usual Draws
	offered, unsafe     int
}

// play plays the subjects of one kind.
func (b *barRun) play(policy Policy, d Draws, of func(*Subject) bool) (Summary, error) {
	var played []Played
	for _, s := range b.subjects {
		if !of(s) {
			continue
		}
		if s.Harness == nil && !d.OneWrong {
			d.Plays = max(d.Plays, guidePlays)
		}
		p, err := s.Study(policy, d)
		if err != nil {
			return Summary{}, fmt.Errorf("%s: %w", s.Name, err)
		}
		played = append(played, p...)
	}
	return Summarise(played), nil
}

// kind gives the bars of one kind of subject, and reports whether to go on. With
// loose what good readings hide is the contacts that come and go.
func (b *barRun) kind(name string, of func(*Subject) bool, loose bool) bool {
	var err error
	play := func(p Policy, d Draws, of func(*Subject) bool) (f Summary) {
		if err == nil {
			f, err = b.play(p, d, of)
		}
		return f
	}
	// note gives a bar, unless what it is of could not be played.
	note := func(bar Bar) bool {
		if err != nil {
			b.yield(Bar{}, err)
			return false
		}
		bar.Name = name + ": " + bar.Name
		return b.yield(bar, nil)
	}
	count := func(f Summary) { b.offered, b.unsafe = b.offered+f.Offered, b.unsafe+len(f.Unsafe) }
	ours := play(Engine, b.plain, of)
	if err == nil && ours.Plays == 0 {
		return true
	}
	count(ours)
	cases := func(f Summary) string { return fmt.Sprintf("%d cases", f.Plays) }
	// A chart that rules causes out for good ends early, with the wrong cause; one that
	// follows the same order until it knows as much is what a count of checks can be held against.
	against := func(words string, least float64, p, other Policy, is string) bool {
		x, y := play(p, b.plain, of), play(other, b.plain, of)
		return note(Bar{"fewer checks than " + words, least, 0, 100 * (1 - ours.Checks.Mean/x.Checks.Mean), "%",
			fmt.Sprintf("%.1f checks against %.1f (%.1f %% lost); %s %.1f (%.1f %%)", ours.Checks.Mean,
				x.Checks.Mean, 100*(1-x.In), is, y.Checks.Mean, 100*(1-y.In))})
	}
	if !note(Bar{"true cause in the verdict", 99, 0, 100 * ours.In, "%", cases(ours)}) {
		return false
	}
	one := play(Engine, b.wrong, of)
	count(one)
	if !note(Bar{"the same, one gross misreading", 95, 0, 100 * one.In, "%", cases(one)}) ||
		!against("a flow chart", 30, Order, Chart, "one that rules out for good") ||
		!against("half-split", 15, Half, HalfOdds, "one that knows the odds") {
		return false
	}
	often := play(Engine, b.usual, of)
	count(often)
	if !note(Bar{"calibration error", 0, 0.05, often.CalibrationOff, "", fmt.Sprintf("%d cases, 1 %% misreadings, 5 %% skips", often.Plays)}) {
		return false
	}
	hidden := ours
	if loose {
		d := b.plain
		d.Plays = loosePlays
		hidden = play(Engine, d, (*Subject).comesAndGoes)
	}
	if err == nil && hidden.Hidden == 0 {
		return true
	}
	return note(Bar{"lost to good readings that lie", 0, 2, 100 * hidden.HiddenLost, "%",
		fmt.Sprintf("%d cases of causes that show only under load, warm or moved", hidden.Hidden)})
}
