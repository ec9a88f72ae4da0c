package engine

import (
	"math"
	"slices"
)

// Power is how the vehicle is powered for a check.
type Power string

const (
	Off     Power = "off"     // pack unplugged, capacitors proven below 1 V
	Live    Power = "live"    // powered by its own pack
	Limited Power = "limited" // powered through a current limit
)

// Mode is how a check is made.
type Mode string

const (
	VoltsDC    Mode = "volts_dc"
	Ohms       Mode = "ohms"
	Continuity Mode = "continuity"
	Diode      Mode = "diode"
	AmpsDC     Mode = "amps_dc"
	Look       Mode = "look"
	Ask        Mode = "ask"
	Wiggle     Mode = "wiggle"
	Swap       Mode = "swap"
)

// Numeric reports whether the mode is answered by a number.
func (m Mode) Numeric() bool {
	return m == VoltsDC || m == Ohms || m == Diode || m == AmpsDC
}

// Unit returns the SI unit of the mode's readings, or "".
func (m Mode) Unit() string {
	switch m {
	case VoltsDC, Diode:
		return "V"
	case Ohms:
		return "ohm"
	case AmpsDC:
		return "A"
	}
	return ""
}

// Cause is one fault hypothesis.
type Cause struct {
	ID       string
	Say      string // in plain words, or empty where the ID says it
	Odds     float64
	Source   string // where the odds come from
	Repair   string
	Mends    string // causes with an equal Mends share one repair
	Prove    []string
	Cautions []string
	Kills    string // what kills the part while one works on it
	Hurts    string // what hurts the person
	HandOff  string // the guide whose causes take its place once it leads, or empty
	Effort   Effort // of its repair
	Key      string // what its odds are kept under: "GUIDE / CAUSE", or "part KIND MODE" of a harness's fault
	Hides    bool   // it shows only under load, warm or moved: a good reading at rest can lie
}

// Unexplained is the ID of the cause that stands for all that is not listed.
const Unexplained = "nothing here explains this"

// Check is one thing to do, and what it is expected to show.
type Check struct {
	ID       string
	Part     string // the part that it is about, or empty
	Power    Power
	Mode     Mode
	Red      string // pin, or words of a guide
	Black    string
	State    string            // name of the state, empty: everything at rest
	Settings map[string]string // of the state, by part
	Say      string            // the whole of it in words
	Prepare  string            // what to do before the leads go on, where RedAt and BlackAt say the rest
	RedAt    string            // where Red is in the vehicle: its wires by name and colour
	BlackAt  string
	Why      string
	Cautions []string
	Answers  []string // for what is not a number
	Expect   *Range   // of a healthy vehicle
	Healthy  string   // the answer of a healthy vehicle, if not a number
	Minutes  float64
	Access   int     // 0 nothing to open ... 3 dismantling
	Module   float64 // chance that it kills a module
	Person   float64 // chance that it hurts the person
	Across   bool    // amps: the meter would lie across a source
	Jumper   Jumper
	Warm     bool // made right after a run, while what heats is warm

	After     []string // IDs of the checks that must have read well before
	Proves    string   // swap: what it proves, and what not
	ProvesNot string

	Measures Mode     // wiggle, swap: what is measured meanwhile, or empty
	Sweep    []string // swap: the positions in which both parts are measured

	follows bool                      // a wire, to see whether it goes where it is drawn
	says    []string                  // by answer: the answer in words, or nil
	when    func(Known) (bool, error) // of what was learned; nil: always open
	band    func(value float64, over bool) int
	several func(values []float64) int // the outcome of several numbers
	// inside returns readings by outcome, where there is a band.
	inside func() [][]float64
	shows  predictions
	nbins  int
}

// Jumper says where a check puts a jumper, if anywhere.
type Jumper string

const (
	NoJumper Jumper = ""
	KnownPin Jumper = "known pin" // a connector, a button's pads: known to be safe
	ChipPin  Jumper = "chip pin"  // a pin of a chip that nobody knows: never offered
)

// Range is a closed range of values.
type Range struct{ Low, High float64 }

// span is a part of a numeric prediction: anything from low to high alike,
// blurred by sigma.
type span struct {
	weight           float64
	low, high, sigma float64
	over             float64 // chance of over-range
	unknown          bool
}

// share is the chance that a reading falls into a bin.
type share struct {
	bin int
	p   float64
}

// hypothesis is a cause, or a part of a cause's range of possibilities.
type hypothesis struct {
	cause int
	prior float64 // log of its chance before any reading
}

// Model is what is known before the first reading.
type Model struct {
	Causes     []Cause
	Checks     []*Check
	Driven     bool        // something moves a driven wheel
	Highest    float64     // V, highest supply when full
	Charged    [][2]string // pins across which a charge stays, as part.pin pairs
	Short      *Check      // made before power comes back after a repair, nil: a plain question
	Symptom    []string    // IDs of the checks that ask whether the symptom is still there
	Cautions   []string    // shown once, at the start
	Misreading float64     // chance that a reading is wrong; 0 means none is

	hyps    []hypothesis
	both    *together // of a harness: several causes at once; else nil
	further onward
	byID    map[string]int
	scale   float64 // V, for the floor density of voltages
}

// DefaultMisreading is the chance that a reading is a misreading (common
// practice, no source).
const DefaultMisreading = 0.01

// Check returns the check of that ID, or nil.
func (m *Model) Check(id string) *Check {
	if m.Short != nil && m.Short.ID == id {
		return m.Short
	}
	if i, ok := m.byID[id]; ok {
		return m.Checks[i]
	}
	return nil
}

// cause returns the cause of that ID, or nil.
func (m *Model) cause(id string) *Cause {
	i := slices.IndexFunc(m.Causes, func(c Cause) bool { return c.ID == id })
	if i < 0 {
		return nil
	}
	return &m.Causes[i]
}

// finish sorts out what is derived once all causes and checks are in.
func (m *Model) finish() {
	m.byID = map[string]int{}
	for i, c := range m.Checks {
		m.byID[c.ID] = i
	}
	var total float64
	for _, h := range m.hyps {
		total += math.Exp(h.prior)
	}
	for i := range m.hyps {
		m.hyps[i].prior -= math.Log(total)
	}
	parallel(len(m.Checks), func(i int) { m.bin(m.Checks[i]) })
}

// seen returns the chance, or density, of an outcome of the check under each
// kind of prediction, up to a factor common to all: without misreadings, and
// with them.
func (m *Model) seen(c *Check, r Result) (plain, read []float64) {
	floor := m.floor(c, r)
	plain, read = make([]float64, len(c.shows.kinds)), make([]float64, len(c.shows.kinds))
	for k := range plain {
		plain[k] = m.chance(c, &c.shows.kinds[k], r)
		read[k] = (1-m.Misreading)*plain[k] + m.Misreading*floor
	}
	return plain, read
}

// read is the chance, or density, of a result under a prediction, with
// misreadings.
func (m *Model) read(c *Check, p *prediction, r Result) float64 {
	return (1-m.Misreading)*m.chance(c, p, r) + m.Misreading*m.floor(c, r)
}

// likelihood returns for each hypothesis the chance, or density, of an outcome
// of the check, up to a factor common to all.
func (m *Model) likelihood(c *Check, r Result) []float64 {
	plain, read := m.seen(c, r)
	like := make([]float64, len(m.hyps))
	marginal := 0.0
	other := c.shows.other
	unexplained := -1
	for i, h := range m.hyps {
		k := int32(0)
		if len(other) > 0 && int(other[0].hyp) == i {
			k, other = other[0].kind, other[1:]
		}
		if m.Causes[h.cause].ID == Unexplained {
			unexplained = i
			continue
		}
		marginal += math.Exp(h.prior) * plain[k]
		like[i] = read[k]
	}
	if unexplained >= 0 {
		// What nobody listed may show anything, yet mostly shows what others do.
		like[unexplained] = 0.5*marginal + 0.5*m.floor(c, r)
		if c.follows {
			like[unexplained] = read[0] // a wire that goes elsewhere is a wrong drawing
		}
	}
	return like
}

// chance is the density, or chance, of a result under a prediction.
func (m *Model) chance(c *Check, p *prediction, r Result) float64 {
	if p.row != nil {
		k := c.outcome(r)
		if k < 0 {
			return 0
		}
		return p.row[k]
	}
	if c.Mode == VoltsDC && !r.Over && r.Value != 0 {
		turned := r
		turned.Value = -r.Value
		return (1-turnedLeads)*mixture(m, c, p.spans, r) + turnedLeads*mixture(m, c, p.spans, turned)
	}
	return mixture(m, c, p.spans, r)
}

// turnedLeads is the chance that the leads are on the wrong way round, or that
// a minus sign was overlooked (common practice, no source).
const turnedLeads = 0.02

// mixture is the density, or chance, of a numeric result.
func mixture(m *Model, c *Check, spans []span, r Result) float64 {
	var p float64
	for _, s := range spans {
		switch {
		case s.unknown:
			p += s.weight * m.floor(c, r)
		case r.Over:
			p += s.weight * s.over
		case s.over < 1:
			p += s.weight * (1 - s.over) * s.density(r.Value)
		}
	}
	return p
}

// table reports whether the check has chances by answer: those of a guide, or of a
// beep or a look in a harness.
func (c *Check) table() bool { return len(c.shows.kinds) > 0 && c.shows.kinds[0].row != nil }

// outcome returns the index of a result among the check's outcomes, or -1.
func (c *Check) outcome(r Result) int {
	switch {
	case len(r.Values) > 0 && c.several != nil:
		return c.several(r.Values)
	case c.band != nil && r.Answer == "":
		return c.band(r.Value, r.Over)
	}
	return slices.Index(c.Answers, r.Answer)
}

// wideShare and wide give a normal error a longer tail: meters and models are
// off by more than they say now and then (common practice, no source).
const (
	wideShare = 0.03
	wide      = 4
)

// density of the span at v.
func (s span) density(v float64) float64 {
	one := func(sigma float64) float64 {
		if w := s.high - s.low; w > sigma/4 {
			return (normalCDF((v-s.low)/sigma) - normalCDF((v-s.high)/sigma)) / w
		}
		z := (v - (s.low+s.high)/2) / sigma
		return math.Exp(-z*z/2) / (sigma * math.Sqrt(2*math.Pi))
	}
	return (1-wideShare)*one(s.sigma) + wideShare*one(wide*s.sigma)
}

// below is the chance that the span's reading is below v.
func (s span) below(v float64) float64 {
	one := func(sigma float64) float64 {
		w := s.high - s.low
		if w <= sigma/4 {
			return normalCDF((v - (s.low+s.high)/2) / sigma)
		}
		a, b := (v-s.low)/sigma, (v-s.high)/sigma
		integral := func(z float64) float64 { return z*normalCDF(z) + math.Exp(-z*z/2)/math.Sqrt(2*math.Pi) }
		return sigma * (integral(a) - integral(b)) / w
	}
	return (1-wideShare)*one(s.sigma) + wideShare*one(wide*s.sigma)
}

func normalCDF(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// Bounds of what a misreading may show.
const (
	leastOhms  = 0.05
	mostOhms   = 60e6
	floorOver  = 0.2 // chance that a misreading is over-range
	mostAmps   = 20
	leastScale = 6
)

// floor is the density, or chance, of a misreading: voltages uniform over both
// signs of the highest supply, ohms alike in every decade, answers alike.
func (m *Model) floor(c *Check, r Result) float64 {
	if c.tabled() {
		return 1 / float64(len(c.Answers))
	}
	if r.Over {
		return floorOver
	}
	const rest = 1 - floorOver
	switch c.Mode {
	case Ohms:
		return rest / (math.Log(mostOhms/leastOhms) * max(math.Abs(r.Value), leastOhms))
	case AmpsDC:
		return rest / (2 * mostAmps)
	}
	return rest / (2 * m.scale)
}

// tabled reports whether the check's predictions are chances of its answers.
func (c *Check) tabled() bool { return c.shows.kinds[0].row != nil }

// bin cuts the check's readings into bins and works out every prediction's
// chance of each, for the expected information.
func (m *Model) bin(c *Check) {
	c.shows.like = nil
	index := map[int]int{}
	at := func(cell int) int {
		k, ok := index[cell]
		if !ok {
			k = len(index)
			index[cell] = k
		}
		return k
	}
	for i := range c.shows.kinds {
		p := &c.shows.kinds[i]
		for k, chance := range p.row {
			if chance > 0 {
				p.bins = append(p.bins, share{at(k), chance})
			}
		}
		for _, s := range p.spans {
			p.bins = append(p.bins, c.cells(s, at)...)
		}
		p.weigh()
	}
	c.nbins = len(index)
}

// cells returns the shares of a span by cell.
func (c *Check) cells(s span, at func(cell int) int) []share {
	const overCell = math.MaxInt
	var out []share
	if s.unknown {
		return nil
	}
	if s.over > 0 {
		out = append(out, share{at(overCell), s.weight * s.over})
	}
	if s.over == 1 {
		return out
	}
	first, last := cell(c.Mode, s.low-3*s.sigma), cell(c.Mode, s.high+3*s.sigma)
	below := 0.0
	for k := first; k <= last; k++ {
		upTo := 1.0
		if k < last {
			upTo = s.below(cellEnd(c.Mode, k))
		}
		if p := upTo - below; p > 1e-4 {
			out = append(out, share{at(k), s.weight * (1 - s.over) * p})
		}
		below = upTo
	}
	return out
}

// weigh sums up the bins, of which several may be one cell.
func (p *prediction) weigh() {
	slices.SortFunc(p.bins, func(x, y share) int { return x.bin - y.bin })
	one := p.bins[:0]
	for _, s := range p.bins {
		if k := len(one); k > 0 && one[k-1].bin == s.bin {
			one[k-1].p += s.p
		} else {
			one = append(one, s)
		}
	}
	p.bins, p.mass, p.inside = one, 0, 0
	for _, s := range one {
		p.mass += s.p
	}
	for _, s := range one {
		p.inside -= s.p * math.Log(s.p/p.mass)
	}
}

// Cells grow with the reading as a meter's error does: about 4 % wide, and no
// narrower than a few counts near zero.
const cellShare = 0.04

func cellUnit(mode Mode) float64 {
	switch mode {
	case Ohms:
		return 10 // cells of 0.4 ohm near zero
	case AmpsDC:
		return 0.1
	}
	return 0.2 // cells of 8 mV near zero
}

func cell(mode Mode, v float64) int {
	return int(math.Floor(math.Asinh(v/cellUnit(mode)) / cellShare))
}

func cellEnd(mode Mode, k int) float64 {
	return math.Sinh(float64(k+1)*cellShare) * cellUnit(mode)
}
