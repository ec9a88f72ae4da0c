package trial

import "fmt"

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

// Bars plays all that the bars are measured on: guides and harnesses apart and
// together, all policies on the same draws.
func Bars(subjects []*Subject, d Draws) ([]Bar, error) {
	all := func(policy Policy, d Draws, of func(*Subject) bool) (Summary, error) {
		var played []Played
		for _, s := range subjects {
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
	plain, wrong, usual := d, d, d
	plain.Misread, plain.Skip, plain.OneWrong = 0, 0, false
	wrong.Misread, wrong.Skip, wrong.OneWrong = 0, 0, true
	usual.Misread, usual.Skip, usual.OneWrong, usual.Mend = calibrationMisread, 0.05, false, true
	var bars []Bar
	offered, unsafe := 0, 0
	for _, kind := range []struct {
		name  string
		of    func(*Subject) bool
		loose bool // what good readings hide is the contacts that come and go
	}{
		{"guides", func(s *Subject) bool { return s.Harness == nil }, false},
		{"harnesses", func(s *Subject) bool { return s.Harness != nil }, true},
	} {
		by := map[Policy]Summary{}
		for _, p := range []Policy{Engine, Chart, Order, Half, HalfOdds} {
			f, err := all(p, plain, kind.of)
			if err != nil {
				return nil, err
			}
			by[p] = f
		}
		if by[Engine].Plays == 0 {
			continue
		}
		one, err := all(Engine, wrong, kind.of)
		if err != nil {
			return nil, err
		}
		often, err := all(Engine, usual, kind.of)
		if err != nil {
			return nil, err
		}
		fewer := func(p Policy) float64 { return 100 * (1 - by[Engine].Checks.Mean/by[p].Checks.Mean) }
		// A chart that rules causes out for good ends early, with the wrong cause; one that
		// follows the same order until it knows as much is what a count of checks can be held against.
		against := func(p, other Policy, is string) string {
			return fmt.Sprintf("%.1f checks against %.1f (%.1f %% lost); %s %.1f (%.1f %%)", by[Engine].Checks.Mean,
				by[p].Checks.Mean, 100*(1-by[p].In), is, by[other].Checks.Mean, 100*(1-by[other].In))
		}
		cases := func(f Summary) string { return fmt.Sprintf("%d cases", f.Plays) }
		bars = append(bars,
			Bar{kind.name + ": true cause in the verdict", 99, 0, 100 * by[Engine].In, "%", cases(by[Engine])},
			Bar{kind.name + ": the same, one gross misreading", 95, 0, 100 * one.In, "%", cases(one)},
			Bar{kind.name + ": fewer checks than a flow chart", 30, 0, fewer(Order), "%", against(Order, Chart, "one that rules out for good")},
			Bar{kind.name + ": fewer checks than half-split", 15, 0, fewer(Half), "%", against(Half, HalfOdds, "one that knows the odds")},
			Bar{kind.name + ": calibration error", 0, 0.05, often.CalibrationOff, "", fmt.Sprintf("%d cases, 1 %% misreadings, 5 %% skips", often.Plays)},
		)
		hidden := by[Engine]
		if kind.loose {
			loose := plain
			loose.Plays = loosePlays
			if hidden, err = all(Engine, loose, (*Subject).comesAndGoes); err != nil {
				return nil, err
			}
		}
		if hidden.Hidden > 0 {
			bars = append(bars, Bar{kind.name + ": lost to good readings that lie", 0, 2, 100 * hidden.HiddenLost, "%",
				fmt.Sprintf("%d cases of causes that show only under load, warm or moved", hidden.Hidden)})
		}
		for _, f := range []Summary{by[Engine], one, often} {
			offered, unsafe = offered+f.Offered, unsafe+len(f.Unsafe)
		}
	}
	return append(bars, Bar{"unsafe offers", 0, 0, float64(unsafe), "", fmt.Sprintf("%d checks offered", offered)}), nil
}
