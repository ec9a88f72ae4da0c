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
// tolerance is two standard deviations.
func drawn(h *Harness, r *rand.Rand) *Harness {
	c := plain(h)
	for i := range c.Parts {
		for j := range c.Parts[i].Elements {
			e := &c.Parts[i].Elements[j]
			by := 1 + e.Tolerance/2*r.NormFloat64()
			switch e.Type {
			case Resistance:
				e.Ohms *= by
				e.ColdOhms *= by
			case Source:
				e.Volts *= by
			case Follower:
				e.Gain *= by
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
