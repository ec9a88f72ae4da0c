package trial

import (
	"errors"
	"hash/fnv"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"probable/engine"
	"probable/engine/circuit"
)

// Subject is what a study plays: each cause of a guide, or of a harness with a
// symptom.
type Subject struct {
	Name    string
	Guide   *engine.Guide // of its own, or joined to the harness; nil: none
	Guides  engine.Guides // to hand off to
	Harness *circuit.Harness
	Symptom string

	m *engine.Model // once it is made
}

func (s *Subject) model() (m *engine.Model, err error) {
	if s.m == nil {
		s.m, err = s.make()
	}
	return s.m, err
}

// comesAndGoes reports whether the subject is a harness whose symptom is not there
// all the time.
func (s *Subject) comesAndGoes() bool {
	if s.Harness == nil {
		return false
	}
	sym, ok := s.Harness.Symptom(s.Symptom)
	return ok && sym.ComesAndGoes
}

func (s *Subject) make() (*engine.Model, error) {
	o := engine.Options{Symptom: s.Symptom, Guide: s.Guide, Guides: s.Guides}
	if s.Harness != nil {
		return engine.FromHarness(s.Harness, o)
	}
	return engine.FromGuide(o)
}

// Policy says which check comes next.
type Policy string

const (
	Engine   Policy = "engine"    // as the program asks
	Trust    Policy = "trust"     // the same, with no reading put in doubt
	Chart    Policy = "chart"     // a fixed flow chart: the guide's order, causes ruled out for good
	Order    Policy = "order"     // the guide's order, weighed and ended as the program does
	Half     Policy = "half"      // what splits the causes left nearest to half, each counted alike
	HalfOdds Policy = "half-odds" // what splits the probability left nearest to half
	Random   Policy = "random"    // any check that tells something
	Bits     Policy = "bits"      // the most information, whatever it costs
)

// Policies are all, the engine's first.
var Policies = []Policy{Engine, Trust, Chart, Order, Half, HalfOdds, Random, Bits}

// Draws says how the vehicles of a study answer. Equal draws answer each check
// alike, whatever else was asked.
type Draws struct {
	Seed    uint64
	Plays   int     // of each cause; 0 is 1
	Misread float64 // chance that a reading is grossly wrong
	Skip    float64 // chance that a check is skipped
	// OneWrong plays each cause once for each reading before its verdict, with that
	// one grossly wrong.
	OneWrong bool
	// Mend repairs what the verdict names, proves it and goes on while it does not
	// prove.
	Mend bool
}

// Played is how one case of a study went.
type Played struct {
	Subject, Cause string
	Policy         Policy
	N              int     // of the cause's plays, from 0
	Odds           float64 // chance of this cause and play among all of the subject
	Hides          bool    // a good reading at rest can lie of the cause
	Checks         int     // answered before the verdict, without the proofs of discharge
	Skipped        int
	Minutes        float64
	Said           float64 // probability of the verdict's first repair
	Right          bool    // that repair mends what was wrong
	Alone          bool    // no other repair is in the verdict
	In             bool    // what was wrong is in the verdict
	Listed         int     // causes in the verdict
	Wrong          string  // the check that was misread first, or empty
	Doubted        int     // checks that put a reading in doubt
	Noticed        bool    // the misread check was read again, or the verdict says that it was wrong, or unlike what leads
	Offered        int     // all checks offered, those of proofs too
	Unsafe         []string
}

// Study plays each cause that fits the symptom, side by side.
func (s *Subject) Study(policy Policy, d Draws) ([]Played, error) {
	m, err := s.model()
	if err != nil {
		return nil, err
	}
	return study(s, m, policy, d)
}

// fitShare is the share of its odds that a cause keeps when it fits the symptom,
// against the one that fits best: others would have been seen as another symptom.
const fitShare = 0.2

// fitting returns the causes to play, and their chances among all.
func fitting(m *engine.Model) []engine.Ranked {
	prior, _ := engine.NewCourse(m, engine.Gate{}).Ranking()
	best := 0.0
	for _, x := range prior {
		if x.Cause.ID != engine.Unexplained && x.Cause.Odds > 0 {
			best = max(best, x.P/x.Cause.Odds)
		}
	}
	prior = slices.DeleteFunc(prior, func(x engine.Ranked) bool {
		return x.Cause.ID == engine.Unexplained || x.P < fitShare*best*x.Cause.Odds
	})
	var total float64
	for _, x := range prior {
		total += x.P
	}
	for i := range prior {
		prior[i].P /= total
	}
	return prior
}

func study(s *Subject, m *engine.Model, policy Policy, d Draws) ([]Played, error) {
	causes := fitting(m)
	plays := max(1, d.Plays)
	out := make([][]Played, len(causes)*plays)
	errs := make([]error, len(out))
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				x := causes[i/plays]
				p := Played{Subject: s.Name, Cause: x.Cause.ID, Policy: policy, N: i % plays, Odds: x.P / float64(plays), Hides: x.Cause.Hides}
				out[i], errs[i] = one(s, m, p, d)
			}
		})
	}
	for i := range out {
		next <- i
	}
	close(next)
	wg.Wait()
	return slices.Concat(out...), errors.Join(errs...)
}

// one plays a cause, or plays it once for each wrong reading.
func one(s *Subject, m *engine.Model, p Played, d Draws) ([]Played, error) {
	if !d.OneWrong {
		err := play(s, m, &p, d, 0)
		return []Played{p}, err
	}
	var out []Played
	for wrong := 1; wrong < endless; wrong++ {
		with := p
		if err := play(s, m, &with, d, wrong); err != nil {
			return nil, err
		}
		if with.Wrong == "" {
			break // it ended before
		}
		out = append(out, with)
	}
	for i := range out {
		out[i].Odds /= float64(len(out))
	}
	return out, nil
}

// vehicle is a broken one that answers checks.
type vehicle struct {
	hidden
	p        *Played
	d        Draws
	of       *engine.Model // that the possibility was drawn in
	possible engine.Possibility
	shows    map[string]engine.Result // by check: what it truly shows
	answered int
	wrong    int // number of the reading that is grossly wrong, from 1, or 0
}

// chance is a source of chance of this play for one purpose.
func (v *vehicle) chance(purpose string) *rand.Rand {
	h := fnv.New64a()
	for _, s := range []string{v.p.Subject, v.p.Cause, purpose} {
		h.Write([]byte(s))
		h.Write([]byte{0})
	}
	h.Write([]byte{byte(v.p.N), byte(v.p.N >> 8), byte(v.p.N >> 16)})
	return rand.New(rand.NewPCG(v.d.Seed, h.Sum64()))
}

// truth is what a check shows when it is read well. The same check shows the
// same again.
func (v *vehicle) truth(c *engine.Check) engine.Result {
	if r, ok := v.shows[c.ID]; ok {
		return r
	}
	m, cause := v.course.Model(), v.now()
	rng := v.chance("shows " + c.ID)
	var r engine.Result
	if c == m.Short && c.Healthy != "" {
		r = engine.Result{Answer: c.Healthy} // a guide's short check is of the work done, which is sound
	} else if cause == "" {
		r = m.Draw(c, engine.Unexplained, rng)
	} else {
		if m != v.of {
			v.of, v.possible = m, m.Possible(cause, v.chance("possible"))
		}
		r = v.possible.Draw(c, rng)
	}
	v.shows[c.ID] = r
	return r
}

// answer is what the person answers; false is a skip.
func (v *vehicle) answer(c *engine.Check) (engine.Result, bool) {
	r := v.truth(c)
	rng := v.chance("answers " + c.ID)
	skip, misread := rng.Float64() < v.d.Skip, rng.Float64() < v.d.Misread
	first := v.p.Wrong == "" || v.p.Wrong != c.ID
	if skip {
		return r, false
	}
	v.answered++
	// The same mistake is not made twice.
	if first && (misread || v.answered == v.wrong) {
		if v.p.Wrong == "" {
			v.p.Wrong = c.ID
		}
		r = v.course.Model().Misread(c, r, rng)
	}
	return r, true
}

// endless is how many checks a play may take.
const endless = 300

// play plays one cause to its verdict, and on through repairs if it is to mend. The
// reading of the number wrong, from 1, is grossly wrong; 0: none is for sure.
func play(s *Subject, m *engine.Model, p *Played, d Draws, wrong int) error {
	course := engine.NewCourse(m, engine.Gate{})
	v := &vehicle{hidden: hidden{guides: s.Guides, course: course, cause: p.Cause, m: m}, p: p, d: d, wrong: wrong,
		shows: map[string]engine.Result{}}
	w := newWatch(s.Harness, course)
	if p.Policy == Chart {
		return v.chart()
	}
	choose := v.chooser()
	for range endless {
		step := course.Next()
		c := step.Check
		if step.Verdict != nil || step.Doubts != 0 && p.Policy != Engine {
			break
		}
		if choose != nil {
			c = choose(course)
		}
		if c == nil {
			break
		}
		if step.Doubts != 0 && !c.Discharge() {
			p.Doubted++
		}
		if err := v.step(w, c); err != nil {
			return err
		}
	}
	v.judge(course.Verdict())
	if p.Policy != Engine && p.Policy != Trust {
		p.Unsafe = nil // the course would have had its charges drained first
	}
	if d.Mend && p.Policy == Engine {
		return v.mend(w)
	}
	return nil
}

// step makes one check.
func (v *vehicle) step(w *watch, c *engine.Check) error {
	v.p.Offered++
	if why := w.offered(c); why != "" {
		v.p.Unsafe = append(v.p.Unsafe, c.ID+": "+why)
	}
	e := engine.Event{Kind: engine.Read, Check: c.ID}
	if !c.Discharge() {
		r, ok := v.answer(c)
		e.Result = r
		if !ok {
			v.p.Skipped++
			e = engine.Event{Kind: engine.Skipped, Check: c.ID, Why: "skipped in the study"}
		} else {
			v.p.Checks++
			v.p.Minutes += v.course.Minutes(c)
		}
	}
	w.took(c, e)
	return v.course.Apply(e)
}

// judge notes how the verdict is.
func (v *vehicle) judge(verdict *engine.Verdict) {
	p := v.p
	truth := v.now()
	ranking, _ := v.course.Ranking()
	first := verdict.Causes[0].Cause
	for _, x := range ranking {
		if x.Cause.Mends == first.Mends {
			p.Said += x.P
		}
		p.Right = p.Right || x.Cause.ID == truth && x.Cause.Mends == first.Mends
	}
	for _, t := range v.course.Taken() {
		p.Noticed = p.Noticed || p.Wrong == t.Check.ID && t.Stale // it was read again
	}
	for _, n := range slices.Concat(verdict.Odd, verdict.Unlike) {
		p.Noticed = p.Noticed || p.Wrong == v.course.Taken()[n-1].Check.ID
	}
	p.Alone, p.Listed = verdict.SameRepair, len(verdict.Causes)
	p.In = slices.ContainsFunc(verdict.Causes, func(x engine.Ranked) bool { return x.Cause.ID == truth })
}

// mostRepairs is how many repairs are made before one gives up.
const mostRepairs = 3

// mend repairs what leads and proves it, until it is proven.
func (v *vehicle) mend(w *watch) error {
	for range mostRepairs {
		lead := v.course.Verdict().Causes[0].Cause
		if lead.ID == engine.Unexplained {
			return nil
		}
		truth := v.now()
		mended := false
		for _, c := range v.course.Model().Causes {
			mended = mended || c.ID == truth && c.Mends == lead.Mends
		}
		if mended {
			v.d.Misread = 0
			v.shows = v.healthy()
		}
		if err := v.course.Apply(engine.Event{Kind: engine.Repaired, Cause: lead.ID}); err != nil {
			return err
		}
		w.repaired()
		for range endless {
			step := v.course.Next()
			if step.Verdict != nil {
				break
			}
			checks, minutes, skipped := v.p.Checks, v.p.Minutes, v.p.Skipped
			if err := v.step(w, step.Check); err != nil {
				return err
			}
			v.p.Checks, v.p.Minutes, v.p.Skipped = checks, minutes, skipped
		}
		if v.course.Phase() == engine.Closed {
			return nil
		}
	}
	return nil
}

// healthy is what a mended vehicle shows, by check, where a check says what that is.
func (v *vehicle) healthy() map[string]engine.Result {
	m := v.course.Model()
	out := map[string]engine.Result{}
	note := func(c *engine.Check) {
		if c == nil {
			return
		}
		switch {
		case c.Expect != nil && c.Expect.High > 1e9:
			out[c.ID] = engine.Result{Over: true}
		case c.Expect != nil:
			out[c.ID] = engine.Result{Value: (c.Expect.Low + c.Expect.High) / 2}
		case c.Healthy != "" && c.Mode.Numeric():
			out[c.ID], _ = m.Within(c, c.Healthy)
		case c.Healthy != "":
			out[c.ID] = engine.Result{Answer: c.Healthy}
		}
	}
	for _, c := range m.Checks {
		note(c)
	}
	note(m.Short)
	return out
}
