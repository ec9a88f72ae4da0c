package engine

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"probable/engine/circuit"
)

// Result is what a check gave: a number, over-range, an answer, or the several
// numbers that the check wants.
type Result struct {
	Value  float64
	Over   bool
	Answer string
	// Values are the least and the most of a wiggle; or of a sweep, for each
	// position in turn, the part's own reading and that of the known-good one.
	Values []float64
}

// Equal reports whether the results are the same.
func (r Result) Equal(o Result) bool {
	return r.Value == o.Value && r.Over == o.Over && r.Answer == o.Answer && slices.Equal(r.Values, o.Values)
}

// String writes a result as it would be typed.
func (r Result) String() string {
	switch {
	case len(r.Values) > 0:
		words := make([]string, len(r.Values))
		for i, v := range r.Values {
			words[i] = fmt.Sprintf("%.4g", v)
		}
		return strings.Join(words, " ")
	case r.Answer != "":
		return r.Answer
	case r.Over:
		return "OL"
	}
	return fmt.Sprintf("%.4g", r.Value)
}

// EventKind says what happened.
type EventKind string

const (
	Read     EventKind = "result"
	Skipped  EventKind = "skip"
	Undone   EventKind = "undo"
	Revised  EventKind = "revised"
	Repaired EventKind = "repaired"
	GivenUp  EventKind = "given up"
)

// Event is one thing that happened in a case.
type Event struct {
	Kind   EventKind
	Check  string // Read, Skipped: the check's ID
	Result Result // Read, Revised
	Why    string // Skipped
	N      int    // Revised: the number of the result, from 1, as in Taken
	Cause  string // Repaired: the cause's ID
}

// Phase is where a case stands.
type Phase string

const (
	Finding Phase = "finding"
	Proving Phase = "proving"
	Closed  Phase = "closed"
)

// Status is how a case ended.
type Status string

const (
	Open     Status = "open"
	Proven   Status = "proven"
	Unproven Status = "unproven"
	Quit     Status = "given up"
)

// Course is one case being worked. It is deterministic: equal events on equal
// models give equal steps.
type Course struct {
	m      *Model
	first  *Model // before any hand-off
	gate   Gate
	events []Event // as they stand, undone ones taken out

	belief    *belief
	done      map[string]bool // answered or skipped since the last repair
	results   []Taken
	power     Power
	state     string
	charged   int // how many discharge checks are still to be proven
	phase     Phase
	status    Status
	repaired  string
	mended    map[string]bool // repairs that did not prove, by Cause.Mends
	proof     []*Check        // still to be asked
	proving   int             // index of the first result that proves the last repair, or -1
	failed    bool            // a proof check was skipped
	unshorted bool            // a repair was made and the short check has not passed since
	handOffs  []HandOff
	leaf      map[string]bool // causes whose guide could not take over, by ID
	doubts    int             // checks taken since the last repair, after the search had come to its end
	next      *Step           // worked out since the last event, or nil
}

// Taken is a result that was taken, in order.
type Taken struct {
	Check   *Check
	Result  Result
	Proof   bool   // taken to prove a repair
	Healthy bool   // it is what a healthy vehicle shows
	Skipped string // why, where it was not taken
	Stale   bool   // read again later, or taken before a repair that did not prove

	under []string // IDs of the causes that were repaired since, and did not prove
}

// Step is what comes next: a check or a verdict.
type Step struct {
	N       int // number of the check, from 1
	Check   *Check
	Bits    float64 // expected information of the check
	Proof   bool
	Doubts  int      // number of the reading that the check puts to the test, from 1, as in Taken; 0: none
	Try     *Attempt // a repair that may well be tried in place of the check, or nil
	Verdict *Verdict

	most float64 // bits of the check that tells most
}

// Verdict is what is known when no further check is worth making.
type Verdict struct {
	Causes     []Ranked // from the top until they hold verdictShare of what is not [Unexplained], and any equal to the last
	Bits       float64
	Lead       int  // how many of them lead: hold aloneShare, with any equal to the last
	SameRepair bool // causes of one repair hold aloneShare
	Repair     string
	Prove      []string
	Groups     [][]string // causes that no check left can tell apart
	Pairs      []Pair     // of causes that explain the readings together, where none does alone
	Odd        []int      // numbers of the readings that were probably wrong, from 1, as in Taken
	Unlike     []int      // and of answers that what leads gives seldom
	LeftOut    []string   // what was not offered, and why
	Status     Status
}

const (
	// verdictShare is the probability that the causes of a verdict hold. With 0.99 the
	// truth was missing from 12 of 1,000 verdicts of guides, whose tables are soft.
	verdictShare = 0.995
	// aloneShare is what causes of one repair hold that is as good as alone.
	aloneShare = 0.95
	// stopShare is the probability that causes of one repair must hold to stop
	// whatever is left to ask. It is above aloneShare because a rare cause that fits
	// every reading deserves the check that would show it.
	stopShare = 0.99
	// leastBits is the information under which a check is not worth making, and
	// lateBits that for one with a table of answers, as those are soft, once causes of
	// one repair hold aloneShare. With 0.02 for both an eighth more checks of guides were
	// made, and a sixth more minutes, and the truth was in the verdict as often
	// ("probable study").
	leastBits = 0.02
	lateBits  = 0.15
	// worthShare is the share of what is left to know, up to worthBits of it, under which
	// no check is worth making, however many there are: twenty such would have to follow
	// each other. What is left then are mostly millivolts within the error of the meter.
	// Without it a twelfth more minutes were spent on guides and up to 46 readings on a
	// harness, and the true cause was as often in the verdict ("probable study"). Where
	// more is left many causes are, and the check that settles one of them tells little.
	worthShare = 0.05
	worthBits  = 2
)

// NewCourse starts a case on a model.
func NewCourse(m *Model, g Gate) *Course {
	c := &Course{first: m, gate: g}
	c.reset()
	return c
}

func (c *Course) reset() {
	c.m, c.handOffs, c.leaf = c.first, nil, map[string]bool{}
	c.belief = c.m.prior()
	c.done = map[string]bool{}
	c.results = nil
	c.power, c.state = Live, ""
	c.charged = 0
	c.phase, c.status = Finding, Open
	c.mended = map[string]bool{}
	c.repaired, c.proof, c.failed, c.unshorted = "", nil, false, false
	c.doubts = 0
	c.proving = -1
}

// Events returns the events that stand.
func (c *Course) Events() []Event { return c.events }

// Taken returns every result and skip in order.
func (c *Course) Taken() []Taken { return c.results }

// Phase returns where the case stands.
func (c *Course) Phase() Phase { return c.phase }

// Model returns what the case is worked on.
func (c *Course) Model() *Model { return c.m }

// Ranking returns all causes, likeliest first, and the bits left to go.
func (c *Course) Ranking() ([]Ranked, float64) {
	r := slices.Clone(c.m.ranking(c.belief))
	return r, entropy(r)
}

// Trace returns the ranking before the first answer and after each that stands.
func (c *Course) Trace() [][]Ranked {
	d := NewCourse(c.first, c.gate)
	out := [][]Ranked{d.m.ranking(d.belief)}
	for _, e := range c.events {
		if d.Apply(e) != nil {
			break // they were all taken once
		}
		if e.Kind == Read || e.Kind == Skipped {
			out = append(out, d.m.ranking(d.belief))
		}
	}
	return out
}

// ErrNothingToUndo says that no event stands.
var ErrNothingToUndo = errors.New("nothing to undo yet")

// Apply takes an event. An event that does not fit changes nothing and is an
// error for the person. After Undone and Revised the course is what it would be
// had the event never been, or been another.
func (c *Course) Apply(e Event) error {
	c.next = nil
	switch e.Kind {
	case Undone:
		if len(c.events) == 0 {
			return ErrNothingToUndo
		}
		return c.Replay(c.events[:len(c.events)-1])
	case Revised:
		return c.revise(e)
	}
	if err := c.take(e); err != nil {
		return err
	}
	c.events = append(c.events, e)
	return nil
}

// Replay starts again and takes the events.
func (c *Course) Replay(events []Event) error {
	events = slices.Clone(events)
	c.events = nil
	c.reset()
	for _, e := range events {
		if err := c.Apply(e); err != nil {
			return err
		}
	}
	return nil
}

// revise puts another result in the place of one that was taken, or skipped.
func (c *Course) revise(e Event) error {
	before := slices.Clone(c.events)
	n := 0
	for i, old := range before {
		if old.Kind != Read && old.Kind != Skipped {
			continue
		}
		if n++; n != e.N {
			continue
		}
		after := slices.Clone(before)
		after[i] = Event{Kind: Read, Check: old.Check, Result: e.Result}
		if err := c.Replay(after); err != nil {
			// The former events fitted before, and do again.
			return errors.Join(fmt.Errorf("answer %d cannot become %s: %w", n, e.Result, err), c.Replay(before))
		}
		return nil
	}
	return fmt.Errorf("there is no answer number %d; there are %d", e.N, n)
}

func (c *Course) take(e Event) error {
	switch e.Kind {
	case Read, Skipped:
		ch := c.find(e.Check)
		if ch == nil {
			return fmt.Errorf("there is no check %q here", e.Check)
		}
		if c.phase == Closed {
			return errors.New("the case is closed")
		}
		r := ch.normal(e.Result)
		if e.Kind == Read {
			if err := ch.Fits(r); err != nil {
				return err
			}
		}
		if c.phase == Finding && !ch.Discharge() && c.sure() {
			c.doubts++
		}
		if e.Kind == Skipped {
			c.skip(ch, e.Why)
		} else {
			c.read(ch, r)
		}
		c.onward()
		return nil
	case Repaired:
		return c.repair(e.Cause)
	case GivenUp:
		c.phase, c.status = Closed, Quit
		return nil
	}
	return fmt.Errorf("unknown event %q", e.Kind)
}

// find returns a check of the model or a discharge check.
func (c *Course) find(id string) *Check {
	if strings.HasPrefix(id, dischargeID) {
		for _, p := range c.m.Charged {
			if d := dischargeCheck(p); d.ID == id {
				return d
			}
		}
		return nil
	}
	return c.m.Check(id)
}

// normal turns ohms that were read on a continuity check into its answer.
func (c *Check) normal(r Result) Result {
	if c.Mode != Continuity || r.Answer != "" {
		return r
	}
	if !r.Over && r.Value < circuit.ReferenceMeter.BeepOhms {
		return Result{Answer: Beep}
	}
	return Result{Answer: NoBeep}
}

// Wants returns how many numbers a result of the check has: 1 for a reading,
// 2 for a wiggle that is measured, two for each position of a sweep, 0 for an
// answer in words.
func (c *Check) Wants() int {
	switch {
	case c.Mode.Numeric():
		return 1
	case c.Measures == "":
		return 0
	case c.Mode == Swap:
		return 2 * len(c.Sweep)
	}
	return 2
}

// Unit returns the SI unit of the check's readings, or "".
func (c *Check) Unit() string {
	if c.Measures != "" {
		return c.Measures.Unit()
	}
	return c.Mode.Unit()
}

// Fits says what is wrong with a result of this check, or nil.
func (c *Check) Fits(r Result) error {
	if len(r.Values) > 0 {
		switch want := c.Wants(); {
		case want < 2:
			return errors.New("this check wants one answer")
		case len(r.Values) != want:
			return fmt.Errorf("this check wants %d numbers, not %d", want, len(r.Values))
		}
		for _, v := range r.Values {
			if !(math.Abs(v) <= 1e10) {
				return fmt.Errorf("%g %s is not a reading of a bench meter", v, c.Unit())
			}
		}
		if c.Mode == Wiggle && r.Values[0] > r.Values[1] {
			return fmt.Errorf("the least comes first: %g is above %g", r.Values[0], r.Values[1])
		}
		return nil
	}
	if c.Mode.Numeric() {
		switch {
		case r.Answer != "":
			return fmt.Errorf("this check wants a reading in %s, not %q", c.Mode.Unit(), r.Answer)
		case r.Over:
			return nil
		case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
			return errors.New("a reading is a finite number, or over-range")
		case c.Mode != AmpsDC && math.Abs(r.Value) > 1e10:
			return fmt.Errorf("%g %s is not a reading of a bench meter", r.Value, c.Mode.Unit())
		case c.Mode == Ohms && r.Value < -1:
			return errors.New("a resistance is not negative: swap nothing, but check that the power is off and zero the leads")
		}
		return nil
	}
	if slices.Contains(c.Answers, r.Answer) {
		return nil
	}
	return fmt.Errorf("answer one of: %s", strings.Join(c.Answers, ", "))
}

// settle notes the power and the state that a check leaves the vehicle in. A
// question leaves it as it was.
func (c *Course) settle(ch *Check) {
	if ch.Mode == Ask {
		return
	}
	if ch.Power == Off && c.power != Off {
		c.charged = len(c.m.Charged)
	}
	c.power, c.state = ch.Power, ch.State
}

func (c *Course) read(ch *Check, r Result) {
	c.settle(ch)
	taken := Taken{Check: ch, Result: r, Healthy: ch.isHealthy(r), Proof: c.phase == Proving}
	again := false
	for i := range c.results {
		if t := &c.results[i]; t.Check.ID == ch.ID && !t.Stale && t.Skipped == "" && c.phase == Finding && !ch.Discharge() {
			t.Stale, again = true, true
		}
	}
	c.results = append(c.results, taken)
	if ch.Discharge() {
		if math.Abs(r.Value) < DischargedVolts && !r.Over {
			c.charged = max(0, c.charged-1)
		}
		return
	}
	c.done[ch.ID] = true
	if ch == c.m.Short && taken.Healthy {
		c.unshorted = false
	}
	switch {
	case c.phase == Proving:
		// What is read now says nothing of the fault that was.
		c.prove(ch, taken.Healthy)
	case again:
		c.recall()
	case ch.hasPrediction():
		c.belief.update(c.m.likelihood(ch, r))
	}
}

// recall works the belief out anew from the results that stand.
func (c *Course) recall() {
	c.belief = c.m.prior()
	c.learn(c.belief, c.weighed(), func(int) {})
}

// weighed returns the results that the belief is made of, all but those that
// prove the last repair.
func (c *Course) weighed() []Taken {
	if c.proving >= 0 {
		return c.results[:c.proving]
	}
	return c.results
}

// mend makes what was repaired in vain unlikely.
func (c *Course) mend(b *belief) {
	for i, h := range c.m.hyps {
		if c.mended[c.m.Causes[h.cause].Mends] {
			b.log[i] += math.Log(repairFails)
		}
	}
	b.normalise()
}

// learn weighs repairs that did not prove and then results, and says after each
// which it was: -1 for the repairs, else the index of the result.
func (c *Course) learn(b *belief, results []Taken, weighed func(n int)) {
	c.mend(b)
	c.weigh(b, results, c.besides(results), weighed)
}

// weigh weighs results, those before repairs that did not prove by what is beside.
func (c *Course) weigh(b *belief, results []Taken, beside *beside, weighed func(n int)) {
	if beside != nil {
		for i, l := range beside.total {
			b.log[i] += l
		}
		b.normalise()
	}
	weighed(-1)
	for n := range results {
		switch t := &results[n]; {
		case !t.weighs():
			continue
		case t.under != nil:
			b.update(beside.read(t))
		case !t.Stale:
			b.update(c.m.likelihood(t.Check, t.Result))
		default:
			continue
		}
		weighed(n)
	}
}

func (c *Check) hasPrediction() bool { return len(c.shows.kinds) > 0 }

func (c *Course) skip(ch *Check, why string) {
	if why == "" {
		why = "no reason given"
	}
	c.results = append(c.results, Taken{Check: ch, Skipped: why, Proof: c.phase == Proving})
	if ch.Discharge() {
		// Without the proof the power is not off: all that needs it goes too.
		for _, k := range c.m.Checks {
			if k.Power == Off {
				c.done[k.ID] = true
			}
		}
	} else {
		c.done[ch.ID] = true
	}
	if c.phase != Proving {
		return
	}
	c.failed = true
	c.proof = slices.DeleteFunc(c.proof, func(p *Check) bool {
		return ch.Discharge() && p.Power == Off || p == ch || slices.Contains(p.After, ch.ID)
	})
	if c.unshorted && !slices.Contains(c.proof, c.m.Short) {
		// The short check was not made: no power comes back to prove anything.
		c.proof = slices.DeleteFunc(c.proof, func(p *Check) bool { return p.Power != Off || p.Warm })
	}
	c.endProof()
}

// isHealthy reports whether the result is what a healthy vehicle shows, or may
// show where no one answer is known.
func (c *Check) isHealthy(r Result) bool {
	switch {
	case c.Expect != nil && r.Over:
		return math.IsInf(c.Expect.High, 1)
	case c.Expect != nil:
		return r.Value >= c.Expect.Low && r.Value <= c.Expect.High
	case c.Healthy == "":
		return true
	}
	k := c.outcome(r)
	return k >= 0 && c.Answers[k] == c.Healthy
}

// Outcome names the answer that a result counts as; where readings are not told
// apart by name it says whether a healthy vehicle reads so.
func (c *Check) Outcome(r Result) string {
	switch k := c.outcome(r); {
	case k >= 0:
		return c.Answers[k]
	case c.isHealthy(r):
		return "healthy"
	}
	return "not healthy"
}

// Next returns what to do now.
func (c *Course) Next() Step {
	if c.next == nil {
		step := c.step()
		c.next = &step
	}
	return *c.next
}

func (c *Course) step() Step {
	n := len(c.results) + 1
	switch {
	case c.phase == Proving:
		ch := c.proof[0]
		if ch.unpowered() {
			if d := c.discharge(); d != nil {
				return Step{N: n, Check: d, Proof: true}
			}
		}
		return Step{N: n, Check: ch, Proof: true}
	case c.phase == Closed:
		return Step{Verdict: c.Verdict()}
	}
	ch, leftOut := c.choose()
	if ch == nil {
		if k, bits := c.trace(); k != nil {
			return c.discharged(Step{N: n, Check: k, Bits: bits})
		}
		k, doubts, bits := c.doubt()
		if k == nil {
			return Step{Verdict: c.verdict(leftOut)}
		}
		return c.discharged(Step{N: n, Check: k, Bits: bits, Doubts: doubts})
	}
	return c.discharged(Step{N: n, Check: ch.Check, Bits: ch.Bits, Try: c.attempt(ch.Check, ch.rest), most: ch.most})
}

// discharged is a step with the discharge check that is owed before its own.
func (c *Course) discharged(step Step) Step {
	if step.Check.unpowered() {
		if d := c.discharge(); d != nil {
			step.Check = d
		}
	}
	return step
}

// Left is what is still to be done in a search.
type Left struct {
	Causes int     // that have a probability of 1 % and more
	Bits   float64 // between their repairs
	Checks int     // about how many more: the bits over those of the check that tells most
}

// Left estimates what is still to be done; it is zero once the search has ended.
func (c *Course) Left() Left {
	step := c.Next()
	if step.Verdict != nil || step.Proof {
		return Left{}
	}
	l := Left{Bits: c.missing()}
	for _, x := range c.m.ranking(c.belief) {
		if x.P >= 0.01 {
			l.Causes++
		}
	}
	l.Checks = max(1, int(math.Round(l.Bits/max(step.most, leastBits))))
	return l
}

// unpowered reports whether the power must be proven off for the check: a
// question needs no hand on the vehicle.
func (c *Check) unpowered() bool { return c.Power == Off && c.Mode != Ask }

// discharge returns the next discharge check that is owed before a check with
// the power off, or nil.
func (c *Course) discharge() *Check {
	owed := c.charged
	if c.power != Off {
		owed = len(c.m.Charged)
	}
	if owed == 0 {
		return nil
	}
	return dischargeCheck(c.m.Charged[len(c.m.Charged)-owed])
}

// Costs in minutes of getting from one check to another (common practice, no
// source).
const (
	minutesPower = 1.5 // unplug or plug the pack, once for a group of checks
	minutesState = 0.3 // set the switches
	minutesProbe = 0.1 // move the black probe
	minutesStep  = 0.3 // read what to do, and type what it gave
	harmMinutes  = 600 // what a certain harm would be worth
)

// checkPrice is what one check fewer is worth, in minutes, beside those that it
// takes. By minutes alone what is asked first is what is quickly asked and
// tells little, and what tells most comes after it all the same. Set by what
// "probable study" shows: the fewest checks at which the whole search still takes
// no more minutes than without.
const checkPrice = 12

// cost of making the check now, in minutes, with its price and what its risks are
// worth.
func (c *Course) cost(ch *Check) float64 { return c.Minutes(ch) + checkPrice + ch.harm() }

// harm is what the risks of a check are worth, in minutes.
func (c *Check) harm() float64 { return harmMinutes * (c.Module + 4*c.Person) }

// Minutes is what the check takes now, with the way from where the vehicle stands.
func (c *Course) Minutes(ch *Check) float64 {
	minutes := ch.Minutes + minutesStep
	if ch.Mode == Ask {
		return minutes
	}
	if ch.Power != c.power {
		minutes += minutesPower
		if ch.Power == Off {
			minutes += 0.5 * float64(len(c.m.Charged))
		}
	}
	if ch.State != c.state {
		minutes += minutesState
	}
	if k := len(c.results); k > 0 && c.results[k-1].Check.Black != ch.Black {
		minutes += minutesProbe
	}
	return minutes
}

// Offer is a check that may be made now.
type Offer struct {
	Check   *Check
	Bits    float64 // expected information of the check itself
	Gain    float64 // and of the one that it opens, where it is the other's way; else as Bits
	Minutes float64 // that it takes from where the vehicle stands, with the way
	Cost    float64 // the minutes, checkPrice and what its risks are worth, with those of what it opens

	opens *Check  // the check that it is the way to, or nil
	rest  float64 // of the one that is chosen: expected minutes to the end of the search
	most  float64 // of the one that is chosen: bits of the offer that tells most
}

// Offers returns the checks that may be made now and tell something, in the
// model's order. One that is the way to several others is there for each.
func (c *Course) Offers() []Offer {
	offers, _ := c.offers()
	return offers
}

// Open returns the checks that may be made now, whatever they tell, in the
// model's order.
func (c *Course) Open() []*Check {
	known := c.known()
	var open []*Check
	for _, ch := range c.m.Checks {
		if shut, _ := c.shut(ch, known); !shut && !c.done[ch.ID] && c.refuse(ch) == "" {
			open = append(open, ch)
		}
	}
	return open
}

// offers returns the checks that may be made now, and why others that tell
// something are left out.
func (c *Course) offers() (out []Offer, leftOut map[string]int) {
	g := c.m.gainer(c.belief)
	leftOut = map[string]int{}
	known := c.known()
	gains := g.all(func(ch *Check) bool { return c.done[ch.ID] })
	share, listed := c.leading()
	if !listed {
		share = 0
	}
	for i, ch := range c.m.Checks {
		gain := gains[i]
		if gain < least(ch.table(), share) {
			continue
		}
		if why := c.refuse(ch); why != "" {
			leftOut[why]++
			continue
		}
		cost := c.cost(ch)
		if shut, owed := c.shut(ch, known); shut {
			// What it tells is worth the checks on the way to it.
			goal := ch
			if ch = c.opener(owed, known); ch == nil {
				continue
			}
			out = append(out, Offer{ch, g.bits(ch), gain, c.Minutes(ch), cost + c.cost(ch), goal, 0, 0})
			continue
		}
		out = append(out, Offer{ch, gain, gain, c.Minutes(ch), cost, nil, 0, 0})
	}
	return out, leftOut
}

// open returns what may be asked, none where it is time to stop, and why checks
// that tell something were left out.
func (c *Course) open() ([]Offer, map[string]int) {
	if c.sure() {
		return nil, nil
	}
	offers, leftOut := c.offers()
	var most float64
	for _, o := range offers {
		most = max(most, o.Gain)
	}
	if most < worth(c.missing()) {
		if len(offers) > 0 {
			leftOut["each tells less than a twentieth of what is left to know"] = len(offers)
		}
		return nil, leftOut
	}
	return offers, leftOut
}

// missing is the information that is left to learn about which repair it is.
func (c *Course) missing() float64 {
	repairs := map[string]float64{}
	for _, x := range c.m.ranking(c.belief) {
		repairs[x.Cause.Mends] += x.P
	}
	var bits float64
	for _, m := range slices.Sorted(maps.Keys(repairs)) { // in order, so that equal courses add up alike
		if p := repairs[m]; p > 0 {
			bits -= p * math.Log2(p)
		}
	}
	return bits
}

// choose returns the offer with which the case is likely to end soonest, or nil
// where it is time to stop, and why checks that tell something were left out.
func (c *Course) choose() (*Offer, map[string]int) {
	offers, leftOut := c.open()
	if len(offers) == 0 {
		return nil, leftOut
	}
	k, rest := c.best(offers)
	o := offers[safer(offers, k)]
	o.rest = rest * (o.Cost - checkPrice) / o.Cost
	for _, x := range offers {
		o.most = max(o.most, x.Bits)
	}
	return &o, leftOut
}

// refuse says why the check may not be offered now, or "".
func (c *Course) refuse(ch *Check) string {
	if c.unshorted && ch.Power != Off {
		return "power comes back only after the short check has passed"
	}
	return c.gate.Refuse(c.m, ch, c.danger(ch))
}

// danger is the probability that the check's reading blows the meter's fuse.
func (c *Course) danger(ch *Check) float64 {
	if ch.Mode != AmpsDC || !ch.hasPrediction() {
		return 0
	}
	var p, usual float64
	usual = 1 - c.belief.p[len(c.belief.p)-1] // Unexplained comes last
	for _, o := range ch.shows.other {
		usual -= c.belief.p[o.hyp]
		if ch.shows.kinds[o.kind].danger {
			p += c.belief.p[o.hyp]
		}
	}
	if ch.shows.kinds[0].danger {
		p += usual
	}
	return p
}

// least is the information under which a check, of a table or computed, is not
// worth making where causes of one repair hold the share.
func least(table bool, share float64) float64 {
	if table && share >= aloneShare {
		return lateBits
	}
	return leastBits
}

// worth is the information that the best check must give where so much is left to
// learn about the repair.
func worth(missing float64) float64 { return worthShare * min(missing, worthBits) }

// sure reports whether the causes of one repair hold enough to stop.
func (c *Course) sure() bool {
	share, listed := c.leading()
	return listed && share >= stopShare
}

// leading returns the probability held by causes that share the top one's repair,
// and whether that one is a listed cause.
func (c *Course) leading() (share float64, listed bool) {
	r := c.m.ranking(c.belief)
	for _, x := range r {
		if x.Cause.Mends == r[0].Cause.Mends {
			share += x.P
		}
	}
	return share, r[0].Cause.ID != Unexplained
}

// verdict sums up what is known; leftOut says why checks were not offered.
func (c *Course) verdict(leftOut map[string]int) *Verdict {
	r := c.m.ranking(c.belief)
	v := &Verdict{Bits: entropy(r), Status: c.status}
	v.Lead = until(r, aloneShare)
	share, _ := c.leading()
	v.SameRepair = share >= aloneShare
	v.Causes = named(r, v.Lead)
	v.Groups = c.groups(v.Causes)
	v.Pairs = c.pairs()
	v.Repair = v.repair()
	v.Odd = c.odd()
	v.Unlike = c.unlike(r[0].Cause, v.Odd)
	proof, _ := c.proofChecks(v.Causes[0].Cause)
	for _, p := range proof {
		v.Prove = append(v.Prove, p.ID+": "+p.Good()) // proof checks have one
	}
	if why := c.gate.unqualified(c.m); why != "" && leftOut[why] == 0 {
		v.LeftOut = append(v.LeftOut, "every live check left out: "+why)
	}
	for why, k := range leftOut {
		v.LeftOut = append(v.LeftOut, fmt.Sprintf("%d left out: %s", k, why))
	}
	slices.Sort(v.LeftOut)
	return v
}

// until returns how many causes from the top hold so much, with any equal to the
// last.
func until(r []Ranked, share float64) int {
	held := 0.0
	for n, x := range r {
		if held >= share && x.P < r[n-1].P*(1-1e-9) {
			return n
		}
		held += x.P
	}
	return len(r)
}

// named returns the causes of a verdict: those that lead, and more until they hold
// verdictShare. That nothing explains the readings is among them only where it leads.
func named(r []Ranked, lead int) []Ranked {
	rest := slices.DeleteFunc(slices.Clone(r[lead:]), func(x Ranked) bool { return x.Cause.ID == Unexplained })
	all := slices.Concat(r[:lead], rest)
	var total float64
	for _, x := range all {
		total += x.P
	}
	return all[:max(lead, until(all, verdictShare*total))]
}

// groups returns the sets of causes that no check left can tell apart.
func (c *Course) groups(causes []Ranked) [][]string {
	var groups [][]string
	taken := map[string]bool{}
	for i, x := range causes {
		if taken[x.Cause.ID] || x.Cause.ID == Unexplained {
			continue
		}
		group := []string{x.Cause.ID}
		for _, y := range causes[i+1:] {
			if !taken[y.Cause.ID] && y.Cause.ID != Unexplained && !c.separable(x.Cause, y.Cause) {
				group = append(group, y.Cause.ID)
				taken[y.Cause.ID] = true
			}
		}
		if len(group) > 1 {
			groups = append(groups, group)
		}
	}
	return groups
}

// separable reports whether a check that is still open tells the two apart.
func (c *Course) separable(x, y *Cause) bool {
	b := &belief{log: make([]float64, len(c.m.hyps))}
	for i, h := range c.m.hyps {
		b.log[i] = math.Inf(-1)
		if id := c.m.Causes[h.cause].ID; id == x.ID || id == y.ID {
			b.log[i] = c.belief.log[i]
		}
	}
	b.normalise()
	// Even odds between the two, so that a rare one is told apart as well.
	var px float64
	for i, h := range c.m.hyps {
		if c.m.Causes[h.cause].ID == x.ID {
			px += b.p[i]
		}
	}
	if px <= 0 || px >= 1 {
		return true
	}
	for i, h := range c.m.hyps {
		switch c.m.Causes[h.cause].ID {
		case x.ID:
			b.p[i] /= 2 * px
		case y.ID:
			b.p[i] /= 2 * (1 - px)
		}
	}
	g := c.m.gainer(b)
	known := c.known()
	for _, ch := range c.m.Checks {
		if shut, owed := c.shut(ch, known); shut && c.opener(owed, known) == nil {
			continue
		}
		if !c.done[ch.ID] && c.refuse(ch) == "" && g.bits(ch) > 0.3 {
			return true
		}
	}
	return false
}

// Status returns how the case stands.
func (c *Course) Status() Status { return c.status }

// Settled reports whether the search has ended, in a verdict.
func (c *Course) Settled() bool { return c.Next().Verdict != nil }

// Verdict returns the verdict as of now, whether or not the search has ended.
func (c *Course) Verdict() *Verdict {
	_, leftOut := c.open()
	return c.verdict(leftOut)
}

// LastRepair returns the ID of the cause that was repaired last, or "".
func (c *Course) LastRepair() string { return c.repaired }
