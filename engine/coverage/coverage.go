package coverage

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"sync"

	"probable/engine"
	"probable/engine/trial"
)

// Sheet is what a guide can find.
type Sheet struct {
	Guide  string
	Causes []Cause
	Checks []Check
	// Of the causes played with their likeliest answers:
	Alone  float64    // share that ends with no other repair beside its own
	Groups [][]string // causes that ended in one verdict though their repairs differ
	Mean   float64    // count of checks to the verdict, causes by their odds
	Worst  int
	Hard   string // the cause that took the most
	// Of courses with drawn answers, each cause by its odds:
	Draws      int     // courses for each cause
	DrawnAlone float64 // share of courses
	DrawnMean  float64
	DrawnWorst int
	Prior      float64 // bits, entropy of the repairs before the first check
	Left       float64 // bits that are still unknown of the true repair at the verdict, on the mean
	Chance     float64 // bits, the standard error of Left by the chance of the draws
	Capacity   float64 // checks, the bound that [Fewest] sets on DrawnMean
	Bound      float64 // checks, the same with the odds of the causes known; never less
}

// Over is how many checks more than the fewest that entropy allows are made when
// every answer is the likeliest one.
func (s *Sheet) Over() float64 { return s.Mean - s.Bound }

// Ratio is how many times the fewest checks that entropy allows are made.
func (s *Sheet) Ratio() float64 { return s.DrawnMean / s.Bound }

// Cause is how a cause ends.
type Cause struct {
	ID      string
	Repair  string // causes with an equal one share one repair
	Odds    float64
	Facts   map[string]any // that differ from their defaults, for a cause that is not there with them
	Found   bool           // with its likeliest answers the verdict names it
	Alone   bool           // and no other repair
	Checks  int
	Verdict []string
	Cells   []Cell // by check of the sheet
}

// Check is a column of the table.
type Check struct {
	ID       string
	Outcomes []string // empty for a reading that is computed
	Capacity float64  // bits, the most that it can tell
}

// Cell is what a check shows under a cause.
type Cell struct {
	Chances []float64 // by outcome; nil where the check is not offered
	Shows   string    // the likeliest in words
	Bits    float64   // how far its answers are from those of all causes by their odds
}

// Options of a measurement. The zero value draws nothing.
type Options struct {
	Draws int // courses with drawn answers for each cause
	Seed  uint64
}

// Measure plays a guide. Hand-offs are not taken: a cause that stands for another
// guide counts as found when it is named. Facts are at their defaults, but for
// causes that need others; these are played with their likeliest answers only.
func Measure(g *engine.Guide, o Options) (*Sheet, error) {
	m, err := engine.FromGuide(engine.Options{Guide: g})
	if err != nil {
		return nil, err
	}
	s := &Sheet{Guide: g.ID, Draws: o.Draws}
	models := []*engine.Model{}
	for i := range g.Causes {
		c := &g.Causes[i]
		facts, ok := needs(g, c)
		if !ok {
			return nil, fmt.Errorf("guide %q, cause %q: no facts meet its \"when\"", g.ID, c.ID)
		}
		of := m
		if facts != nil {
			if of, err = engine.FromGuide(engine.Options{Guide: g, Facts: facts}); err != nil {
				return nil, err
			}
		}
		models = append(models, of)
		s.Causes = append(s.Causes, Cause{ID: c.ID, Repair: c.Mends, Odds: c.Odds, Facts: facts})
	}
	if err := s.likeliest(models); err != nil {
		return nil, err
	}
	s.table(g, m, models)
	if o.Draws > 0 {
		if err := s.drawn(m, o); err != nil {
			return nil, err
		}
	}
	return s, nil
}

// mostFacts bounds the settings of facts that are tried for a cause.
const mostFacts = 20_000

// needs returns facts with which a vehicle can have the cause, or nil if the
// defaults do; ok is false if none do.
func needs(g *engine.Guide, c *engine.GuideCause) (facts map[string]any, ok bool) {
	if c.When == nil {
		return nil, true
	}
	all := map[string]any{}
	for _, f := range g.Facts {
		all[f.Name] = f.Default
	}
	holds := func() bool {
		yes, err := c.When(all)
		return yes && err == nil
	}
	if holds() {
		return nil, true
	}
	// One fact other than usual, then two, then three.
	tries := 0
	var other func(from, depth int, given map[string]any) bool
	other = func(from, depth int, given map[string]any) bool {
		for i := from; i < len(g.Facts); i++ {
			f := g.Facts[i]
			for _, v := range ends(f) {
				if tries++; tries > mostFacts {
					return false
				}
				all[f.Name], given[f.Name] = v, v
				if depth == 1 && holds() || depth > 1 && other(i+1, depth-1, given) {
					return true
				}
			}
			all[f.Name] = f.Default
			delete(given, f.Name)
		}
		return false
	}
	for depth := 1; depth <= 3; depth++ {
		given := map[string]any{}
		if other(0, depth, given) {
			return given, true
		}
	}
	return nil, false
}

// ends returns the values of a fact that are not its default: of a number some
// from one end of its range to the other.
func ends(f engine.Fact) []any {
	var out []any
	switch {
	case f.YesNo:
		return []any{f.Default != true}
	case f.Choices != nil:
		for _, c := range f.Choices {
			if f.Default != c {
				out = append(out, c)
			}
		}
	default:
		for i := range 9 {
			out = append(out, f.Low+(f.High-f.Low)*float64(i)/8)
		}
	}
	return out
}

// gate lets live checks through: the measure is of a qualified person's course.
var gate = engine.Gate{Qualified: true}

// likeliest plays every cause with its likeliest answers.
func (s *Sheet) likeliest(models []*engine.Model) error {
	errs := make([]error, len(s.Causes))
	each(len(s.Causes), func(i int) {
		c := &s.Causes[i]
		m := models[i]
		r, err := trial.Play(engine.NewCourse(m, gate), func(k *engine.Check) (engine.Result, bool) { return m.Likeliest(k, c.ID), true })
		if errs[i] = err; err != nil {
			return
		}
		c.Checks = r.Checks()
		c.Alone = r.Verdict.SameRepair && r.Verdict.Causes[0].Cause.Mends == c.Repair
		for _, x := range r.Verdict.Causes {
			c.Verdict = append(c.Verdict, x.Cause.ID)
			c.Found = c.Found || x.Cause.ID == c.ID
		}
	})
	for i, err := range errs {
		if err != nil {
			return fmt.Errorf("guide %q, cause %q: %w", s.Guide, s.Causes[i].ID, err)
		}
	}
	var alone int
	var odds float64
	for _, c := range s.Causes {
		odds += c.Odds
	}
	seen := map[string]bool{}
	for i := range s.Causes {
		c := &s.Causes[i]
		s.Mean += float64(c.Checks) * c.Odds / odds
		if c.Checks > s.Worst {
			s.Worst, s.Hard = c.Checks, c.ID
		}
		if c.Alone {
			alone++
			continue
		}
		group := slices.Clone(c.Verdict)
		if !c.Found {
			group = append(group, c.ID)
		}
		slices.Sort(group)
		if key := strings.Join(group, "\n"); !seen[key] {
			seen[key] = true
			s.Groups = append(s.Groups, group)
		}
	}
	s.Alone = float64(alone) / float64(len(s.Causes))
	return nil
}

// table works out what each check shows under each cause.
func (s *Sheet) table(g *engine.Guide, usual *engine.Model, models []*engine.Model) {
	for _, k := range g.Checks {
		// A check that is offered with other facts only is taken from a model that has it.
		i := slices.IndexFunc(models, func(m *engine.Model) bool { return m.Check(k.ID) != nil })
		m := usual
		if m.Check(k.ID) == nil {
			if i < 0 {
				continue
			}
			m = models[i]
		}
		check := m.Check(k.ID)
		s.Checks = append(s.Checks, Check{ID: k.ID, Outcomes: check.Answers, Capacity: engine.Capacity(m.Channel(check))})
		var rows channel
		var odds []float64
		var cells []*Cell
		for i := range s.Causes {
			c := &s.Causes[i]
			c.Cells = append(c.Cells, Cell{})
			cell := &c.Cells[len(c.Cells)-1]
			own := models[i].Check(k.ID)
			if own == nil {
				continue
			}
			cell.Shows = models[i].Predicts(own, c.ID)
			row := models[i].Row(own, c.ID)
			if k.Otherwise != nil {
				cell.Chances = row
			} else if models[i] != m {
				continue // computed in another circuit: its cells are others
			}
			rows, odds, cells = append(rows, row), append(odds, c.Odds), append(cells, cell)
		}
		if len(rows) == 0 {
			continue
		}
		for i, d := range rows.divergences(rows.mix(odds)) {
			cells[i].Bits = d
		}
	}
}

// drawn plays causes with answers drawn from the tables, and sets the bounds.
func (s *Sheet) drawn(m *engine.Model, o Options) error {
	var played []int // causes that are there with the facts at their defaults
	var total float64
	for i, c := range s.Causes {
		if c.Facts == nil {
			played = append(played, i)
			total += c.Odds
		}
	}
	type end struct {
		checks int
		left   float64
		alone  bool
		err    error
	}
	ended := make([]end, len(played)*o.Draws)
	each(len(ended), func(n int) {
		c := &s.Causes[played[n/o.Draws]]
		rng := rand.New(rand.NewPCG(o.Seed, uint64(n)))
		course := engine.NewCourse(m, gate)
		r, err := trial.Play(course, func(k *engine.Check) (engine.Result, bool) { return m.Draw(k, c.ID, rng), true })
		e := &ended[n]
		if e.err = err; err != nil {
			return
		}
		e.checks = r.Checks()
		e.alone = r.Verdict.SameRepair && r.Verdict.Causes[0].Cause.Mends == c.Repair
		ranked, _ := course.Ranking()
		var known, listed float64
		for _, x := range ranked {
			if x.Cause.ID == engine.Unexplained {
				continue
			}
			listed += x.P
			if x.Cause.Mends == c.Repair {
				known += x.P
			}
		}
		e.left = -math.Log2(max(known/listed, math.SmallestNonzeroFloat64))
	})
	repairs := map[string]float64{}
	for n, e := range ended {
		c := &s.Causes[played[n/o.Draws]]
		if e.err != nil {
			return fmt.Errorf("guide %q, cause %q: %w", s.Guide, c.ID, e.err)
		}
		w := c.Odds / total / float64(o.Draws)
		repairs[c.Repair] += w
		s.DrawnMean += w * float64(e.checks)
		s.DrawnWorst = max(s.DrawnWorst, e.checks)
		s.Left += w * e.left
		if e.alone {
			s.DrawnAlone += w
		}
	}
	for n, e := range ended {
		w := s.Causes[played[n/o.Draws]].Odds / total / float64(o.Draws)
		s.Chance += w * w * (e.left - s.Left) * (e.left - s.Left)
	}
	s.Chance = math.Sqrt(s.Chance)
	var p []float64
	for _, c := range s.Causes {
		p = append(p, repairs[c.Repair])
		repairs[c.Repair] = 0
	}
	s.Prior = entropy(p)
	s.bounds(m, played)
	return nil
}

// surely is how many standard errors the draws may have been lucky by.
const surely = 3

// bounds sets the fewest checks that entropy allows.
//
// The bits that the courses learn of the repair are the entropy of the prior less
// that of the repair given all that was read. The latter is at most the mean of
// -log2 of what the verdict gives to the true repair, whatever the verdict
// believes (Gibbs' inequality). So Prior less Left is not more than
// was learned, and what it takes is not more than was made. As Left is a mean of
// draws, it is taken to be higher by some standard errors.
func (s *Sheet) bounds(m *engine.Model, played []int) {
	bits := s.Prior - s.Left - surely*s.Chance
	var capacities []float64
	var checks []channel
	var prior []float64
	var total float64
	for _, i := range played {
		prior = append(prior, s.Causes[i].Odds)
		total += s.Causes[i].Odds
	}
	for i := range prior {
		prior[i] /= total
	}
	for _, k := range m.Checks {
		rows := m.Channel(k)
		if len(rows) < 2 {
			continue
		}
		capacities = append(capacities, engine.Capacity(rows))
		var c channel
		for _, i := range played {
			c = append(c, m.Row(k, s.Causes[i].ID))
		}
		checks = append(checks, c)
	}
	s.Capacity = Fewest(bits, capacities)
	s.Bound = max(s.Capacity, fewestAt(bits, prior, checks))
}

// each calls f for 0 to n-1, as many at a time as there are processors.
func each(n int, f func(i int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				f(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}
