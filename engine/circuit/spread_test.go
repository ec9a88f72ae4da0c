package circuit

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// draws is how many harnesses stand for the tolerances of one: the standard
// deviation found has a spread of 1/sqrt(2*draws), 1.6 %.
const draws = 2000

// drawn returns the harness with every toleranced value drawn anew: the
// tolerance is two standard deviations. Of a junction all drops are off by the
// same share, which its slope gives.
func drawn(h *Harness, r *rand.Rand) *Harness {
	c := plain(h)
	for i := range c.Parts {
		for j := range c.Parts[i].Elements {
			e := &c.Parts[i].Elements[j]
			chance := r.NormFloat64()
			by := 1 + e.Tolerance/2*chance
			switch e.Type {
			case Resistance:
				e.Ohms *= by
				e.ColdOhms *= by
			case Source:
				e.Volts *= by
			case Follower:
				e.Gain *= by
			case Diode:
				e.Slope *= 1 + junctionShare*chance
			}
		}
	}
	return c
}

// sampled returns mean and standard deviation of a reading over the draws.
func sampled(t *testing.T, h *Harness, f *Fault, point int, off bool, read func(*Situation) Reading) (mean, sigma float64) {
	r := rand.New(rand.NewPCG(11, 12))
	base := plain(h)
	if f != nil {
		base = withFault(t, h, f.ID, point, f.Points())
	}
	var sum, squares float64
	first := math.NaN()
	for range draws {
		bench, err := NewBench(drawn(base, r))
		require.NoError(t, err)
		s, err := bench.Put(nil, 0, State{}, off)
		require.NoError(t, err)
		v := read(s).Value
		if math.IsNaN(first) {
			first = v
		}
		sum += v - first
		squares += (v - first) * (v - first)
	}
	d := sum / draws
	return first + d, math.Sqrt((squares - draws*d*d) / (draws - 1))
}

// divider is a pack, a chain of three resistors, a follower of its middle with
// a load, and a lamp whose cold resistance is another.
func divider() *Harness {
	h := only(6, func(p *Part) {
		p.source(1, 0, 48, 0.2)
		p.resistor(1, 2, 1200)
		p.resistor(2, 3, 4700)
		p.resistor(3, 0, 2200)
		p.Elements = append(p.Elements,
			Element{ID: "follows", Type: Follower, A: "4", B: "0", Of: [2]string{"2", "0"}, Values: Values{Gain: 0.25, Ohms: 50}, Tolerance: 0.04},
			Element{ID: "load", A: "4", B: "0", Values: Values{Ohms: 330}, Tolerance: 0.1},
			Element{ID: "lamp", A: "3", B: "5", Values: Values{Ohms: 860}, ColdOhms: 75, Tolerance: 0.1},
			Element{ID: "lampload", A: "5", B: "0", Values: Values{Ohms: 390}, Tolerance: 0.02})
	})
	h.Wires = []Wire{{Name: "w1", From: "p.2", To: "q.a", Ohms: 0.05, Failures: []Failure{{Mode: "resistive", Odds: 1, AddOhms: map[string][2]float64{"": {1, 100}}}}}}
	h.Parts = append(h.Parts, Part{Name: "q", Pins: []string{"a", "b"}, Elements: []Element{{ID: "r", A: "a", B: "b", Values: Values{Ohms: 150}, Tolerance: 0.2}}})
	h.Wires = append(h.Wires, Wire{Name: "w2", From: "q.b", To: "p.3", Ohms: 0.05})
	return h
}

// TestSigmaAgainstMonteCarlo holds the standard deviation that a reading states
// against that of readings over drawn harnesses, the meter itself taken as exact.
func TestSigmaAgainstMonteCarlo(t *testing.T) {
	meter := quiet()
	loads := quiet()
	loads.InputOhms = 300 // so that the meter's own load counts
	volts := func(m *Meter, red, black string) func(*Situation) Reading {
		return func(s *Situation) Reading { return s.Volts(m, red, black) }
	}
	ohms := func(red, black string) func(*Situation) Reading {
		return func(s *Situation) Reading { return s.Ohms(meter, red, black) }
	}
	for _, c := range []struct {
		name, fault string
		off         bool
		read        func(*Situation) Reading
	}{
		{"pack", "", false, volts(meter, "p.1", "p.0")},
		{"divider", "", false, volts(meter, "p.3", "p.0")},
		{"divider, leads swapped", "", false, volts(meter, "p.0", "p.3")},
		{"divider, meter that loads", "", false, volts(loads, "p.3", "p.0")},
		{"across one resistor", "", false, volts(meter, "p.1", "p.2")},
		{"follower", "", false, volts(meter, "p.4", "p.0")},
		{"follower, meter that loads", "", false, volts(loads, "p.4", "p.0")},
		{"lamp", "", false, volts(meter, "p.5", "p.0")},
		{"divider with a resistive wire", "wire w1 resistive", false, volts(meter, "p.3", "p.0")},
		{"across the resistive wire", "wire w1 resistive", false, volts(meter, "p.2", "q.a")},
		{"divider with a wire to ground", "wire w1 to ground", false, volts(meter, "p.1", "p.2")},
		{"ohms of the divider", "", true, ohms("p.3", "p.0")},
		{"ohms across two", "", true, ohms("p.1", "p.3")},
		{"ohms of the lamp, cold", "", true, ohms("p.3", "p.5")},
		{"ohms of the load", "", true, ohms("p.4", "p.0")},
		{"ohms with a resistive wire", "wire w1 resistive", true, ohms("p.2", "p.3")},
		{"ohms with a wire to ground", "wire w1 to ground", true, ohms("p.3", "p.0")},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := divider()
			h.Wires[0].Failures = append(h.Wires[0].Failures, Failure{Mode: "to ground", Odds: 1})
			bench, err := NewBench(h)
			require.NoError(t, err)
			var f *Fault
			faults := h.Faults()
			for i := range faults {
				if faults[i].ID == c.fault {
					f = &faults[i]
				}
			}
			require.Equal(t, c.fault == "", f == nil)
			point := 0
			if f != nil {
				point = f.Points() - 1 // the most that a resistive wire adds
			}
			s, err := bench.Put(f, point, State{}, c.off)
			require.NoError(t, err)
			got := c.read(s)
			mean, sigma := sampled(t, h, f, point, c.off, c.read)
			t.Logf("%.6g, sigma %.4g; over the draws %.6g, %.4g", got.Value, got.Sigma, mean, sigma)
			require.Positive(t, sigma)
			require.InDelta(t, mean, got.Value, 0.2*sigma+1e-9)
			require.InEpsilon(t, sigma, got.Sigma, 0.1)
		})
	}
}

// led is a red LED between two pins.
func led(id, a, b string) Element {
	e := Element{ID: id, Type: Diode, A: a, B: b}
	e.Saturation, e.Slope = Junction(2, 0.02, 2)
	return e
}

// ledString is a pack, a resistor and three LEDs in a row.
func ledString() *Harness {
	return only(5, func(p *Part) {
		p.source(1, 0, 12, 0.2)
		p.resistor(1, 2, 300)
		p.Elements = append(p.Elements, led("near", "2", "3"), led("middle", "3", "4"), led("far", "4", "0"))
	})
}

// stepDown is a pack, a resistor that stands for a long wire, a converter to
// 12 V of at most 3 A and its load.
func stepDown(load float64) *Harness {
	return only(4, func(p *Part) {
		p.source(1, 0, 36, 0.2)
		p.resistor(1, 2, 2)
		p.resistor(3, 0, load)
		p.Elements = append(p.Elements,
			Element{ID: "out", Type: Source, A: "3", B: "0", Values: Values{Volts: 12, Ohms: 0.05}, Limit: 3, Tolerance: 0.03,
				When: []Threshold{{Between: [2]string{"2", "0"}, Above: 9, Below: math.Inf(1)}}},
			Element{ID: "draw", Type: Mirror, A: "2", B: "0", Mirrors: "out", Values: Values{Gain: 12 / (0.88 * 36)}})
	})
}

// starved is a regulator to 5 V with 2 V of dropout, on 6 V.
func starved() *Harness {
	return only(4, func(p *Part) {
		p.source(1, 0, 6, 0.2)
		p.resistor(1, 2, 1)
		p.resistor(3, 0, 50)
		p.Elements = append(p.Elements,
			Element{ID: "out", Type: Source, A: "3", B: "0", Values: Values{Volts: 5, Ohms: 0.05}, Limit: 1, Tolerance: 0.04,
				When: []Threshold{{Between: [2]string{"2", "0"}, Above: 7, Below: math.Inf(1)}}},
			Element{ID: "starved", Type: Source, A: "3", B: "2", Values: Values{Volts: -2, Ohms: 0.05}, Limit: 1, Tolerance: 0.1,
				When: []Threshold{{Between: [2]string{"2", "0"}, Above: 2, Below: 7}}},
			Element{ID: "draw", Type: Mirror, A: "2", B: "0", Mirrors: "out", Values: Values{Gain: 1}})
	})
}

// TestSigmaWhereItBends is TestSigmaAgainstMonteCarlo for junctions and for
// parts that work in regions, each well within one. Over so many draws a mean
// is known to sigma/sqrt(draws) and a standard deviation to 1/sqrt(2*draws) of
// itself; four times that is allowed, which chance alone exceeds once in 16,000.
func TestSigmaWhereItBends(t *testing.T) {
	meter := quiet()
	volts := func(red, black string) func(*Situation) Reading {
		return func(s *Situation) Reading { return s.Volts(meter, red, black) }
	}
	none := map[string]string{}
	for _, c := range []struct {
		name    string
		h       *Harness
		regions map[string]string
		off     bool
		read    func(*Situation) Reading
	}{
		{"LED string", ledString(), none, false, volts("p.2", "p.0")},
		{"one LED of a string", ledString(), none, false, volts("p.2", "p.3")},
		{"resistor of a string", ledString(), none, false, volts("p.1", "p.2")},
		{"diode test of an LED and its resistor", ledString(), none, true, func(s *Situation) Reading { return s.Diode(meter, "p.1", "p.3") }},
		{"converter", stepDown(12), map[string]string{"p/out": "conducting"}, false, volts("p.3", "p.0")},
		{"converter, its input", stepDown(12), map[string]string{"p/out": "conducting"}, false, volts("p.2", "p.0")},
		{"converter at its limit", stepDown(2), map[string]string{"p/out": "limited"}, false, volts("p.3", "p.0")},
		{"converter at its limit, its input", stepDown(2), map[string]string{"p/out": "limited"}, false, volts("p.2", "p.0")},
		{"starved regulator", starved(), map[string]string{"p/out": "idle", "p/starved": "conducting"}, false, volts("p.3", "p.0")},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			bench, err := NewBench(c.h)
			require.NoError(t, err)
			s, err := bench.Put(nil, 0, State{}, c.off)
			require.NoError(t, err)
			require.Equal(t, c.regions, s.Regions())
			got := c.read(s)
			mean, sigma := sampled(t, c.h, nil, 0, c.off, c.read)
			t.Logf("%.6g, sigma %.4g; over the draws %.6g, %.4g", got.Value, got.Sigma, mean, sigma)
			require.Positive(t, sigma)
			require.InDelta(t, mean, got.Value, 4*sigma/math.Sqrt(draws))
			require.InEpsilon(t, sigma, got.Sigma, 4/math.Sqrt(2*draws))
		})
	}
}

// TestMeterError adds what the reference meter's accuracy gives, by hand: half
// its limit of error is a standard deviation.
func TestMeterError(t *testing.T) {
	h := only(2, func(p *Part) {
		p.Elements = []Element{{ID: "e", Type: Source, A: "1", B: "0", Values: Values{Volts: 36}}, {ID: "r", A: "1", B: "0", Values: Values{Ohms: 1000}}}
	})
	bench, err := NewBench(h)
	require.NoError(t, err)
	live, err := bench.Put(nil, 0, State{}, false)
	require.NoError(t, err)
	off := offBench(t, h)
	// 36 V on the 60 V range: 10 mV a count; 1000.2 ohm on 6 kohm: 1 ohm a count
	require.InEpsilon(t, (0.005*36+2*0.01)/2, live.Volts(&ReferenceMeter, "p.1", "p.0").Sigma, 1e-6)
	require.InEpsilon(t, math.Hypot((0.008*1000.2+2*1)/2, 0.1), off.Ohms(&ReferenceMeter, "p.1", "p.0").Sigma, 1e-6)
}

// TestSigmaOfTheMetersOwnDraw reads a source through a resistor that nothing
// but the meter draws through: V = E*M/(M+R), so sigma = E*M/(M+R)^2 of R's.
func TestSigmaOfTheMetersOwnDraw(t *testing.T) {
	h := only(3, func(p *Part) {
		p.Elements = []Element{
			{ID: "e", Type: Source, A: "1", B: "0", Values: Values{Volts: 10}},
			{ID: "r", A: "1", B: "2", Values: Values{Ohms: 1000}, Tolerance: 0.1},
		}
	})
	bench, err := NewBench(h)
	require.NoError(t, err)
	s, err := bench.Put(nil, 0, State{}, false)
	require.NoError(t, err)
	m := quiet()
	m.InputOhms = 1000
	got := s.Volts(m, "p.2", "p.0")
	require.InDelta(t, 5, got.Value, 1e-6)
	require.InEpsilon(t, 10*1000/math.Pow(2000, 2)*50, got.Sigma, 1e-6)
}
