package circuit

import (
	"math"
	"slices"
	"strings"
)

// Probe is a pair of pins and a meter mode, with what it reads on the healthy
// vehicle in one setup. It tells in a few operations whether a fault moves that
// reading, which nearly none does of the many in a big harness.
type Probe struct {
	Red, Black string
	Mode       ProbeMode
	Healthy    Reading

	meter Meter
	row   []term
	volts float64  // healthy, with no meter
	inner float64  // healthy, ohms between the two
	trial unknowns // ohms and diode among junctions: the healthy circuit with the meter in it
	from  *point   // diode: where the junctions stand then
	fuse  int      // amps: its branch
	amps  float64  // and its healthy current
}

// ProbeMode is what a probe reads.
type ProbeMode int

const (
	ProbeVolts ProbeMode = iota
	ProbeOhms            // the situation must be one with the power off
	ProbeDiode           // as for ProbeOhms
	ProbeAmps            // in place of the fuse of the red pin's part
)

// Probe reads the healthy situation. With ProbeAmps the red pin is one of a part
// with a fuse.
func (s *Situation) Probe(m *Meter, mode ProbeMode, red, black string) *Probe {
	p := &Probe{Red: red, Black: black, Mode: mode, meter: *m}
	if mode == ProbeAmps {
		part, _, _ := strings.Cut(red, ".")
		p.fuse, _ = s.bench.net.fuse(part)
		p.amps = s.sol.amps(p.fuse)
		p.Healthy, _ = s.Read(p)
		return p
	}
	p.row = s.pair(red, black)
	resp := s.response(p.row)
	p.volts, p.inner = dot(p.row, s.sol.value), dot(p.row, resp.value)
	p.Healthy, _ = s.Read(p)
	if mode == ProbeVolts || len(s.sol.ba.diodes) == 0 {
		return p
	}
	amps := m.DiodeCurrent
	if mode == ProbeOhms {
		amps = m.testAmps(p.inner)
	}
	p.trial = func(i int) float64 { return amps * resp.value(i) }
	if mode == ProbeDiode {
		if sit, err := s.diodeTest(m, s.sol.at, red, black); err == nil {
			p.trial, p.from = sit.sol.value, &sit.sol.at
		}
	}
	return p
}

// Read returns what the probe reads in a situation; amps may find no consistent
// state.
func (s *Situation) Read(p *Probe) (Reading, error) {
	switch p.Mode {
	case ProbeOhms:
		return s.Ohms(&p.meter, p.Red, p.Black), nil
	case ProbeDiode:
		if p.from != nil {
			return s.diode(&p.meter, *p.from, p.Red, p.Black), nil
		}
		return s.Diode(&p.meter, p.Red, p.Black), nil
	case ProbeAmps:
		part, _, _ := strings.Cut(p.Red, ".")
		return s.Amps(&p.meter, part)
	}
	return s.Volts(&p.meter, p.Red, p.Black), nil
}

// Unchanged reports whether nothing differs from the healthy vehicle, in what
// the circuit does and in what is seen of it.
func (s *Situation) Unchanged() bool {
	s.sol.prepare()
	return len(s.sol.v) == 0 && len(s.sol.plus) == 0 && len(s.says) == 0
}

// stillShare is the share of a healthy reading's standard deviation that a
// fault may move it by and still count as leaving it alone.
const stillShare = 0.05

// stirVolts is a voltage across a changed branch or a new path, in the healthy
// circuit, under which the change does nothing.
const stirVolts = 1e-6

// Moves reports whether the situation's fault moves the probe's reading by
// anything that counts.
func (s *Situation) Moves(p *Probe) bool {
	s.sol.prepare()
	if p.Mode == ProbeAmps {
		return slices.Contains(s.blown, p.fuse) || !(math.Abs(s.sol.amps(p.fuse)-p.amps) <= stillShare*p.Healthy.Sigma)
	}
	if len(s.sol.v) == 0 {
		return len(s.sol.plus) > 0
	}
	if p.trial != nil {
		return s.sol.stirs(p.trial)
	}
	inner := p.inner - s.sol.lessOhms(p.row)
	var scale, most float64 // of what is read for each ohm, and where it ends
	switch p.Mode {
	case ProbeOhms:
		scale, most = 1, p.meter.LargestOhms
	case ProbeDiode:
		scale, most = p.meter.DiodeCurrent, p.meter.DiodeVolts
	}
	if scale > 0 {
		if p.Healthy.Over {
			return scale*inner <= most
		}
		return !(scale*math.Abs(inner-p.inner) <= stillShare*p.Healthy.Sigma)
	}
	was := p.volts / (1 + p.inner/p.meter.InputOhms)
	now := dot(p.row, s.sol.value) / (1 + inner/p.meter.InputOhms)
	return !(math.Abs(now-was) <= stillShare*p.Healthy.Sigma)
}

// stirs reports whether what the fault changes in itself, what moves with it
// left aside, carries anything in the healthy circuit x.
func (sol *solution) stirs(x unknowns) bool {
	for i := range sol.branches {
		br := sol.branch(i)
		if br.typ == Diode {
			return true
		}
		terms, rhs := sol.bench.net.equation(i, br, sol.at, 1)
		if !(math.Abs(dot(terms, x)-rhs) <= stirVolts) {
			return true
		}
	}
	for _, j := range sol.joins {
		if !(math.Abs(x.volts(j.a)-x.volts(j.b)) <= stirVolts) {
			return true
		}
	}
	return false
}
