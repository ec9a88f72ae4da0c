package engine

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// mostBeside is how many causes that were repaired without proof are thought to
// have been there as well, the last ones.
const mostBeside = 3

// beside weighs what was read before repairs that did not prove: each hypothesis
// alone, or together with causes that were repaired since, as often as these are
// there by chance or brought it about.
type beside struct {
	m      *Model
	ways   [][]int          // sets of causes that may have been there; first none
	prior  [][]float64      // by way and cause: log of how often that is
	groups []string         // of results, by what was repaired since
	lanes  map[string]*lane // by group and by what of a way was still there
	of     [][]*lane        // by way and group
	total  []float64        // by hypothesis: log of what was read until now
}

// lane is what the results of a group say of each hypothesis beside a set of causes.
type lane struct {
	m      *Model
	set    []int
	first  bool              // the symptom was seen with them
	log    []float64         // by hypothesis
	solved map[int]*solution // by cause: both put into the circuit
}

// solution is a set of causes put into the circuit, and what was read of it.
type solution struct {
	*joined
	last  int       // the cause
	logs  []float64 // by part
	after bool      // the cause is a fuse that the others blow, and not in the set
}

// weighs reports whether a result says anything of the causes.
func (t *Taken) weighs() bool {
	return t.Skipped == "" && !t.Check.Discharge() && t.Check.hasPrediction()
}

// besides returns what weighs the results that were read before repairs which did
// not prove, nil where there are none. In a harness the likeliest causes are put
// into the circuit together with what was repaired.
func (c *Course) besides(results []Taken) *beside {
	if !slices.ContainsFunc(results, func(t Taken) bool { return t.under != nil && t.weighs() }) {
		return nil
	}
	s := c.beside(results, nil)
	if c.m.both == nil {
		return s
	}
	b := c.m.prior()
	c.mend(b)
	c.weigh(b, results, s, func(int) {})
	p := c.m.causes(b)
	order := make([]int, len(c.m.both.faults))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(p[y], p[x]) })
	setups := map[*lane]int{}
	for g, k := range s.groups {
		n := c.m.both.setups(c.group(results, k))
		for _, of := range s.of {
			setups[of[g]] = n
		}
	}
	puts := 0
	for n, i := range order {
		for l, in := range setups {
			if len(l.set) > 0 {
				puts += c.m.both.puts(append(slices.Clone(l.set), i), in)
			}
		}
		if puts > mostPuts {
			order = order[:n]
			break
		}
	}
	return c.beside(results, order)
}

// since returns the causes, by index, that were repaired since a result.
func (m *Model) since(t *Taken) []int {
	var out []int
	for _, id := range t.under {
		k := slices.IndexFunc(m.Causes, func(x Cause) bool { return x.ID == id })
		if k >= 0 && !slices.Contains(out, k) { // a hand-off may have put others in its place
			out = append(out, k)
		}
	}
	out = out[max(0, len(out)-mostBeside):]
	slices.Sort(out)
	return out
}

// group returns the checks of the results of a group.
func (c *Course) group(results []Taken, group string) []*Check {
	var checks []*Check
	for i := range results {
		if t := &results[i]; t.under != nil && t.weighs() && fmt.Sprint(c.m.since(t)) == group {
			checks = append(checks, t.Check)
		}
	}
	return checks
}

// beside returns what weighs the results read before repairs, with some causes
// put into the circuit.
func (c *Course) beside(results []Taken, solve []int) *beside {
	m := c.m
	s := &beside{m: m, lanes: map[string]*lane{}, total: make([]float64, len(m.hyps))}
	var groups [][]int // the first one is of what was read first, beside all that was repaired
	for i := range results {
		t := &results[i]
		if t.under == nil || !t.weighs() {
			continue
		}
		since := m.since(t)
		if k := fmt.Sprint(since); !slices.Contains(s.groups, k) {
			s.groups, groups = append(s.groups, k), append(groups, since)
		}
	}
	mends := groups[0]
	s.ways = [][]int{nil}
	for _, i := range mends {
		for _, way := range s.ways {
			if !slices.ContainsFunc(way, func(j int) bool { return m.Causes[i].Mends == m.Causes[j].Mends }) {
				s.ways = append(s.ways, append(slices.Clone(way), i))
			}
		}
	}
	s.weigh(mends)
	for _, way := range s.ways {
		var of []*lane
		for g, since := range groups {
			there := slices.DeleteFunc(slices.Clone(way), func(i int) bool { return !slices.Contains(since, i) })
			k := fmt.Sprint(g, there)
			if s.lanes[k] == nil {
				s.lanes[k] = s.lane(there, g == 0, solve, c.group(results, s.groups[g]))
			}
			of = append(of, s.lanes[k])
		}
		s.of = append(s.of, of)
	}
	s.total = s.sum()
	return s
}

// weigh works out how often each way is there beside each cause.
func (s *beside) weigh(mends []int) {
	m := s.m
	rate := m.rate()
	blows := map[int]map[int]float64{} // by cause and fuse: how often it does
	if m.both != nil {
		for _, k := range mends {
			joined := m.both.solve([][]int{{k}}, nil)[0]
			if joined == nil {
				continue
			}
			blows[k] = map[int]float64{}
			shares := m.both.shares([]int{k}, joined)
			for i, blown := range m.both.blown(m, joined) {
				for n, share := range shares {
					if blown[n] {
						blows[k][i] += share
					}
				}
			}
		}
	}
	for _, way := range s.ways {
		prior := make([]float64, len(m.Causes))
		for i := range m.Causes {
			if slices.ContainsFunc(way, func(k int) bool { return m.Causes[k].Mends == m.Causes[i].Mends }) {
				prior[i] = math.Inf(-1)
				continue
			}
			prior[i] = -math.Log(rate[i]) // it is in the hypothesis already
			there := append(slices.Clone(way), i)
			for _, x := range there {
				often := rate[x]
				for _, k := range there {
					often = max(often, blows[k][x]) // one event left two faults
				}
				prior[i] += math.Log(often)
			}
		}
		s.prior = append(s.prior, prior)
	}
}

// lane returns the lane of a set, before any result.
func (s *beside) lane(set []int, first bool, solve []int, checks []*Check) *lane {
	m := s.m
	l := &lane{m: m, set: set, first: first, log: make([]float64, len(m.hyps)), solved: map[int]*solution{}}
	if len(set) == 0 || m.both == nil {
		return l
	}
	if first {
		for n, h := range m.hyps[:len(m.both.hyps)] {
			fit := m.both.fits[h.cause]
			for _, i := range set {
				if i < len(m.both.fits) {
					fit = max(fit, m.both.fits[i]) // either may be what is seen
				}
			}
			l.log[n] = math.Log(fit / m.both.fits[h.cause])
		}
	}
	var sets [][]int
	for _, i := range solve {
		sets = append(sets, append(slices.Clone(set), i))
	}
	for n, joined := range m.both.solve(sets, checks) {
		if joined == nil {
			continue
		}
		x := &solution{joined: joined, last: solve[n], logs: make([]float64, len(joined.parts))}
		for k, part := range joined.parts {
			if x.logs[k] = math.Log(part.share); first {
				x.logs[k] += math.Log(part.fit)
			}
		}
		l.solved[solve[n]] = x
	}
	if len(solve) > 0 {
		l.victims(checks)
	}
	l.sum()
	return l
}

// victims puts the set alone in the place of the set with a fuse that it blows:
// the fuse was blown, as it is in some parts of the set, or blew later.
func (l *lane) victims(checks []*Check) {
	joined := l.m.both.solve([][]int{l.set}, checks)[0]
	if joined == nil {
		return
	}
	shares := l.m.both.shares(l.set, joined)
	for i, blown := range l.blows(joined) {
		var of float64
		for n, share := range shares {
			if blown[n] {
				of += share
			}
		}
		x := &solution{joined: joined, last: i, logs: make([]float64, len(shares)), after: true}
		for n, share := range shares {
			if of > 0 {
				share /= 2
			}
			if blown[n] {
				share += shares[n] / of / 2
			}
			if x.logs[n] = math.Log(share); l.first {
				x.logs[n] += math.Log(joined.parts[n].fit)
			}
		}
		l.solved[i] = x
	}
}

// blows returns the fuses that any of the set blows, and in which parts they
// are blown: in none where another cause of the set keeps the current away.
func (l *lane) blows(joined *joined) map[int][]bool {
	out := l.m.both.blown(l.m, joined)
	for _, k := range l.set {
		if one := l.m.both.solve([][]int{{k}}, nil)[0]; one != nil {
			for i := range l.m.both.blown(l.m, one) {
				if out[i] == nil {
					out[i] = make([]bool, len(joined.parts))
				}
			}
		}
	}
	for _, k := range l.set {
		delete(out, k)
	}
	return out
}

// sum takes into the hypotheses what was read of those that are solved: a
// hypothesis is a part of its cause's range, whatever blew.
func (l *lane) sum() {
	for n, h := range l.m.hyps {
		x := l.solved[h.cause]
		if x == nil {
			continue
		}
		one := l.m.both.hyps[n]
		var logs []float64
		for k, part := range x.parts {
			if x.after || part.span == one.span {
				logs = append(logs, x.logs[k])
			}
		}
		l.log[n] = logSum(logs)
		if l.first {
			l.log[n] -= math.Log(one.fit)
		}
	}
}

// take weighs a result, given what it says of each hypothesis alone.
func (l *lane) take(t *Taken, like []float64, leaves []bool, by []effect) {
	m := l.m
	set := effect{alone: true}
	for n, i := range l.set {
		if n == 0 {
			set = by[i]
		} else {
			set = effect{both(set, by[i]), set.alone && by[i].alone}
		}
	}
	for _, x := range l.solved {
		shows := x.shows(t.Check)
		for k := range x.logs {
			if shows != nil {
				x.logs[k] += math.Log(max(m.read(t.Check, &shows[k], t.Result), 1e-300))
			} else {
				x.logs[k] += math.Log(max(both(set, by[x.last]), 1e-300))
			}
		}
	}
	for n, h := range m.hyps {
		if l.solved[h.cause] == nil {
			l.log[n] += math.Log(max(both(set, effect{like[n], leaves[n]}), 1e-300))
		}
	}
	l.sum()
}

// sum returns the log of what was read until now under each hypothesis.
func (s *beside) sum() []float64 {
	total := make([]float64, len(s.m.hyps))
	logs := make([]float64, len(s.ways))
	for n, h := range s.m.hyps {
		for w := range s.ways {
			logs[w] = s.prior[w][h.cause]
			for _, l := range s.of[w] {
				logs[w] += l.log[n]
			}
		}
		total[n] = logSum(logs)
	}
	return total
}

// read takes a result and returns its likelihood by hypothesis, the greatest as 1.
func (s *beside) read(t *Taken) []float64 {
	m := s.m
	like := m.likelihood(t.Check, t.Result)
	by, _ := m.effects(t.Check, t.Result)
	leaves := make([]bool, len(like))
	for n := range leaves {
		leaves[n] = true
	}
	for _, e := range t.Check.shows.other {
		leaves[e.hyp] = false
	}
	g := slices.Index(s.groups, fmt.Sprint(m.since(t)))
	taken := map[*lane]bool{}
	for w := range s.ways {
		if l := s.of[w][g]; !taken[l] {
			taken[l] = true
			l.take(t, like, leaves, by)
		}
	}
	total := s.sum()
	for n := range total {
		like[n] = total[n] - s.total[n]
	}
	s.total = total
	top := slices.Max(like)
	for n := range like {
		like[n] = math.Exp(like[n] - top)
	}
	return like
}
