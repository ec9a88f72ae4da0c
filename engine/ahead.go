package engine

import (
	"cmp"
	"math"
	"slices"
)

// Bounds of the look-ahead. They keep the next check fast.
const (
	aheadUnits  = 12    // hypotheses that are followed, the likeliest ones
	aheadShare  = 0.9   // of the probability that they must hold; else one step has to do
	aheadLeast  = 0.002 // probability from which a hypothesis is followed
	aheadChecks = 24    // checks that may come later
	aheadTried  = 6     // checks that are weighed as the next one
	aheadWork   = 5000  // steps of arithmetic for each of these
	aheadReach  = 0.003 // chance under which what comes after is estimated
	aheadWorth  = 0.1   // share that must be saved for another check than one step would make: the estimates are no better
	aheadKinds  = 6     // results of a check that are told apart
)

// wrongMinutes is what a verdict that names the wrong repair costs (common
// practice, no source): the repair that mends nothing, and its proof.
const wrongMinutes = 30

// ahead is a small copy of a case, in which the rest of it is played out for each
// check that may come next: from there on by the most information for its cost.
// (Rollout of a one-step rule, as Tu and Pattipati 2003, Rollout strategies for
// sequential fault diagnosis, IEEE Trans. SMC-A 33(1), do it: from memory.)
type ahead struct {
	group  []int // by unit: its repair
	groups int
	misses float64
	acts   []act
	work   int // steps of arithmetic that are left

	byRepair []float64 // scratch, by group
	byKind   []float64 // and by kind of result too
}

// act is an offer as the small copy has it.
type act struct {
	ask   bool
	table bool
	cost  float64 // minutes, without those of getting there
	power Power
	state string
	kinds int
	row   []float64 // by unit and kind of result: its chance
}

// place is where the vehicle stands.
type place struct {
	power Power
	state string
}

// rank is the information of an offer for its cost.
func (o *Offer) rank() float64 { return o.Gain / o.Cost }

// best returns the index of the offer to make next, of which there is at least
// one, and the minutes that the search is expected to take from here.
func (c *Course) best(offers []Offer) (int, float64) {
	first := 0
	for i := range offers {
		if offers[i].rank() > offers[first].rank()*(1+1e-9) {
			first = i
		}
	}
	order := make([]int, 0, len(offers)) // the best first
	for i := range offers {
		order = append(order, i)
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(offers[y].rank(), offers[x].rank()) })
	rate := offers[first].rank()
	a, p := c.ahead(offers, order[:min(len(order), aheadChecks)])
	if a == nil {
		return first, entropy(c.m.ranking(c.belief)) / rate
	}
	best, least, one := first, math.Inf(1), 0.0
	tried := map[*Check]bool{}
	for k := 0; k < len(a.acts) && len(tried) < aheadTried; k++ {
		o := &offers[order[k]]
		if tried[o.Check] {
			continue
		}
		tried[o.Check] = true
		a.work = aheadWork
		used := make([]bool, len(a.acts))
		v := a.after(p, used, place{c.power, c.state}, k, o.Cost, rate, 1)
		if k == 0 {
			one = v
		}
		if v < least*(1-1e-6) {
			best, least = order[k], v
		}
	}
	if least > one*(1-aheadWorth) {
		return order[0], one
	}
	return best, least
}

// ahead makes the small copy, with the chances of its units; nil where too many
// causes are still likely.
func (c *Course) ahead(offers []Offer, order []int) (*ahead, []float64) {
	var units []int
	var held, all float64
	for i, h := range c.m.hyps {
		if c.m.Causes[h.cause].ID == Unexplained {
			continue
		}
		all += c.belief.p[i]
		if c.belief.p[i] >= aheadLeast {
			units = append(units, i)
		}
	}
	slices.SortStableFunc(units, func(x, y int) int { return cmp.Compare(c.belief.p[y], c.belief.p[x]) })
	units = units[:min(len(units), aheadUnits)]
	for _, i := range units {
		held += c.belief.p[i]
	}
	if held < aheadShare*all || len(units) < 2 {
		return nil, nil
	}
	a := &ahead{misses: c.m.Misreading}
	p := make([]float64, len(units))
	repairs := map[string]int{}
	for u, i := range units {
		p[u] = c.belief.p[i] / held
		mends := c.m.Causes[c.m.hyps[i].cause].Mends
		if _, ok := repairs[mends]; !ok {
			repairs[mends] = len(repairs)
		}
		a.group = append(a.group, repairs[mends])
	}
	a.groups = len(repairs)
	for _, k := range order {
		o := &offers[k]
		ch := cmp.Or(o.opens, o.Check)
		x := act{ask: ch.Mode == Ask, table: ch.table(), power: ch.Power, state: ch.State}
		// What the way to it costs is in the offer's cost and not in the check's own.
		x.cost = ch.Minutes + minutesStep + checkPrice + ch.harm()
		if o.opens != nil {
			x.cost = o.Cost
		}
		x.row, x.kinds = a.rows(ch, units, p)
		a.acts = append(a.acts, x)
	}
	a.byRepair = make([]float64, a.groups)
	a.byKind = make([]float64, a.groups*aheadKinds)
	return a, p
}

// rows returns what the check shows under each unit, with results that tell the
// same taken as one kind.
func (a *ahead) rows(ch *Check, units []int, p []float64) (row []float64, kinds int) {
	column := make([]float64, len(units)*ch.nbins) // by bin and unit
	for u, i := range units {
		pr := ch.shows.of(i)
		for _, s := range pr.bins {
			column[s.bin*len(units)+u] += s.p / max(pr.mass, 1e-12)
		}
	}
	// A key of what a bin tells: how likely it is under each unit, roughly.
	type lump struct {
		key  string
		bins []int
		mass float64
	}
	var lumps []lump
	at := map[string]int{}
	key := make([]byte, len(units))
	for b := range ch.nbins {
		col := column[b*len(units) : (b+1)*len(units)]
		top, mass := 0.0, 0.0
		for u, x := range col {
			top = max(top, x)
			mass += p[u] * x
		}
		if mass < 1e-9 {
			continue
		}
		for u, x := range col {
			switch {
			case x >= 0.3*top:
				key[u] = 2
			case x >= 0.02*top:
				key[u] = 1
			default:
				key[u] = 0
			}
		}
		k, ok := at[string(key)]
		if !ok || !ch.merges() {
			k = len(lumps)
			at[string(key)] = k
			lumps = append(lumps, lump{key: string(key)})
		}
		lumps[k].bins = append(lumps[k].bins, b)
		lumps[k].mass += mass
	}
	slices.SortStableFunc(lumps, func(x, y lump) int { return cmp.Compare(y.mass, x.mass) })
	kinds = min(len(lumps), aheadKinds)
	row = make([]float64, len(units)*kinds)
	for k, l := range lumps {
		for _, b := range l.bins {
			for u := range units {
				row[u*kinds+min(k, kinds-1)] += column[b*len(units)+u]
			}
		}
	}
	for i := range row {
		row[i] = (1-a.misses)*row[i] + a.misses/float64(kinds)
	}
	return row, kinds
}

// merges reports whether the check's results are so many that those which tell
// the same are taken as one.
func (c *Check) merges() bool { return c.nbins > aheadKinds }

// move is what it costs to make the act from a place, beside its own minutes.
func (x *act) move(from place) float64 {
	if x.ask {
		return 0
	}
	var v float64
	if x.power != from.power {
		v += minutesPower
	}
	if x.state != from.state {
		v += minutesState
	}
	return v
}

// after returns the expected cost from an act on: its own, which is given, and
// that of all that follows. rate is the bits a minute that were to be had before,
// reach the chance to get there at all.
func (a *ahead) after(p []float64, used []bool, at place, k int, cost, rate, reach float64) float64 {
	x := &a.acts[k]
	used[k] = true
	if !x.ask {
		at = place{x.power, x.state}
	}
	v := cost
	next := make([]float64, len(p))
	for o := range x.kinds {
		var sum float64
		for u, q := range p {
			next[u] = q * x.row[u*x.kinds+o]
			sum += next[u]
		}
		if sum < 1e-9 {
			continue
		}
		for u := range next {
			next[u] /= sum
		}
		v += sum * a.rest(next, used, at, rate, reach*sum)
	}
	used[k] = false
	return v
}

// rest returns the expected cost from a state of knowledge on.
func (a *ahead) rest(p []float64, used []bool, at place, rate, reach float64) float64 {
	repairs := a.byRepair
	clear(repairs)
	for u, q := range p {
		repairs[a.group[u]] += q
	}
	top, bits := slices.Max(repairs), 0.0
	if top >= stopShare {
		return (1 - top) * wrongMinutes
	}
	for _, q := range repairs {
		bits += surprise(q)
	}
	if reach < aheadReach || a.work <= 0 {
		return bits / rate
	}
	best, cost, score, most := -1, 0.0, 0.0, 0.0
	for k := range a.acts {
		if used[k] {
			continue
		}
		gain := a.gain(&a.acts[k], p, bits)
		if gain < least(a.acts[k].table, top) {
			continue
		}
		most = max(most, gain)
		own := a.acts[k].cost + a.acts[k].move(at)
		if s := gain / own; s > score*(1+1e-9) {
			best, cost, score = k, own, s
		}
	}
	if best < 0 || most < worth(bits) {
		return (1 - top) * wrongMinutes
	}
	return a.after(p, used, at, best, cost, score, reach)
}

// gain is the expected information of an act about the repair, which bits are
// still missing of.
func (a *ahead) gain(x *act, p []float64, bits float64) float64 {
	a.work -= len(p) * x.kinds
	by := a.byKind[:a.groups*x.kinds]
	clear(by)
	for u, q := range p {
		if q < 1e-6 {
			continue
		}
		g := a.group[u] * x.kinds
		for o, r := range x.row[u*x.kinds : (u+1)*x.kinds] {
			by[g+o] += q * r
		}
	}
	// The bits left once the result is known: those of the joint, less those of the result.
	var left float64
	for o := range x.kinds {
		var sum float64
		for g := range a.groups {
			j := by[g*x.kinds+o]
			left += surprise(j)
			sum += j
		}
		left -= surprise(sum)
	}
	return bits - left
}

// surprises are -p log2 p at equal steps from 0 to 1.
var surprises = func() (table [4097]float64) {
	for i := 1; i < len(table); i++ {
		p := float64(i) / float64(len(table)-1)
		table[i] = -p * math.Log2(p)
	}
	return table
}()

// surprise is -p log2 p to about a thousandth of a bit, and quick.
func surprise(p float64) float64 {
	const last = len(surprises) - 1
	x := p * float64(last)
	i := min(int(x), last-1)
	return surprises[i] + (x-float64(i))*(surprises[i+1]-surprises[i])
}
