package circuit_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
)

func area(t testing.TB, gauge string) float64 {
	t.Helper()
	a, err := circuit.Gauge(gauge)
	require.NoError(t, err)
	return a
}

// TestWireFactsAgainstPublished holds drop and continuous current against
// printed figures.
func TestWireFactsAgainstPublished(t *testing.T) {
	var p struct {
		Source []pageSource
		Note   string
		Drop   struct {
			AWG     int
			Feet    float64 `yaml:"feet_one_way"`
			Amps    float64
			Celsius float64
			Volts   float64
			Supply  float64
			Bound   float64 `yaml:"bound_percent"`
		}
		Amps []struct {
			MM2     float64
			Celsius map[float64]float64
		} `yaml:"amps_by_celsius"`
		Bound float64 `yaml:"bound_amps"`
	}
	published(t, "wire.yaml", &p)
	d := p.Drop
	got := circuit.Drop(area(t, fmt.Sprintf("%d AWG", d.AWG)), d.Feet*metresPerFoot, d.Celsius, d.Amps)
	require.InEpsilon(t, d.Volts, got, d.Bound/100)
	require.Len(t, p.Amps, 6)
	for _, row := range p.Amps {
		for celsius, amps := range row.Celsius {
			got, source := circuit.ContinuousAmps(row.MM2*1e-6, celsius, false)
			require.InDelta(t, amps, got, p.Bound, "%g mm2 at %g C", row.MM2, celsius)
			require.Equal(t, "wire-conduit-table", source)
		}
	}
}

func TestContinuousAmps(t *testing.T) {
	for _, c := range []struct {
		gauge   string
		celsius float64
		alone   bool
		want    float64
	}{
		{"30 AWG", 25, false, 0.7}, {"24 AWG", 25, false, 2}, {"22 AWG", 25, false, 2.5}, {"20 AWG", 25, false, 3.7}, // rows of wire-bundle-table
		{"1 mm2", 25, false, 8.75}, {"2.5 mm2", 30, false, 21.75}, // rows of wire-vehicle-table
		{"120 mm2", 30, false, 206}, {"300 mm2", 30, false, 206}, // no more than the last row
		{"36 AWG", 25, false, 0.7 * 0.01267 / 0.0509}, // the density of the first
		{"1 mm2", 60, false, 4.375},                   // a quarter of the warming is left: half the current
		{"1 mm2", 70, false, 0}, {"1 mm2", 90, false, 0},
		{"30 AWG", 25, true, 1.3}, {"22 AWG", 25, true, 4.5}, {"20 AWG", 25, true, 6.5}, {"16 AWG", 25, true, 13}, // the single wires of wire-bundle-table
		{"10 AWG", 25, true, 33}, {"2/0 AWG", 30, true, 169}, {"120 mm2", 30, true, 206},
		{"20 AWG", 60, true, 3.25},
	} {
		got, source := circuit.ContinuousAmps(area(t, c.gauge), c.celsius, c.alone)
		require.InDelta(t, c.want, got, 0.001+0.005*c.want, "%s at %g C", c.gauge, c.celsius)
		require.NotEmpty(t, source)
	}
	for _, alone := range []bool{false, true} {
		last := 0.0
		for mm2 := 0.01; mm2 < 150; mm2 *= 1.02 {
			amps, _ := circuit.ContinuousAmps(mm2*1e-6, 25, alone)
			require.GreaterOrEqual(t, amps, last, "%g mm2 carries no less than a thinner wire", mm2)
			require.Less(t, amps, circuit.MeltingAmps(mm2*1e-6), "%g mm2", mm2)
			loom, _ := circuit.ContinuousAmps(mm2*1e-6, 25, false)
			require.GreaterOrEqual(t, amps, loom, "%g mm2 alone carries no less than in a loom", mm2)
			last = amps
		}
	}
}

// TestHeat: 20 AWG has 33.3 ohm per km at 20 C (testdata/published/awg.yaml),
// so that 3 A make 0.2997 W in a metre.
func TestHeat(t *testing.T) {
	require.InEpsilon(t, 0.2997, circuit.HeatPerMetre(area(t, "20 AWG"), 20, 3), 0.005)
	require.InEpsilon(t, 40, circuit.TemperatureRise(area(t, "20 AWG"), 6.5, true), 0.005, "alone")
	require.InEpsilon(t, 40, circuit.TemperatureRise(area(t, "10 mm2"), 46, false), 1e-9, "the table's row goes from 30 to 70 C")
	require.InEpsilon(t, 10, circuit.TemperatureRise(area(t, "10 mm2"), 23, false), 1e-9, "half the current, a quarter of the warming")
	require.InEpsilon(t, 80, circuit.MeltingAmps(math.Pi/4*1e-6), 1e-9, "a wire of 1 mm diameter")
}

func TestFuses(t *testing.T) {
	for _, c := range []struct{ most, want float64 }{
		{0.7, 0}, {0.999, 0}, {1, 1}, {2, 2}, {3.7, 3}, {7.24, 5}, {7.5, 7.5}, {11.2, 10}, {99, 80}, {206, 100},
	} {
		require.Equal(t, c.want, circuit.LargestFuse(c.most), "a wire that carries %g A", c.most)
	}
	for _, c := range [][2]float64{{0.5, 1}, {0.8, 1}, {0.81, 2}, {3, 4}, {4, 5}, {6, 7.5}, {8, 10}, {80, 100}, {80.1, 0}} {
		require.Equal(t, c[1], circuit.LoadFuse(c[0]), "load of %g A", c[0])
	}
}

// TestProposeGauge: what is proposed keeps the limits, and the next thinner one
// does not.
func TestProposeGauge(t *testing.T) {
	sizes := circuit.GaugeSizes()
	keeps := func(g string, metres, amps, volts float64) bool {
		a := area(t, g)
		most, _ := circuit.ContinuousAmps(a, 25, false)
		return most >= max(amps, circuit.LoadFuse(amps)) && (volts <= 0 || circuit.Drop(a, metres, 25, amps) <= volts)
	}
	for _, metres := range []float64{0.1, 1, 10, 30} {
		for _, amps := range []float64{0.1, 1, 3, 10, 40} {
			for _, volts := range []float64{0, 0.36, 1.08, 3} {
				g, err := circuit.ProposeGauge(metres, 25, amps, volts, false)
				if err != nil {
					require.False(t, keeps("4/0 AWG", metres, amps, volts), "%g m %g A %g V", metres, amps, volts)
					continue
				}
				require.True(t, keeps(g, metres, amps, volts), "%s for %g m %g A %g V", g, metres, amps, volts)
				for i, s := range sizes {
					if s == g && i > 0 {
						require.False(t, keeps(sizes[i-1], metres, amps, volts), "%s would do for %g m %g A %g V", sizes[i-1], metres, amps, volts)
					}
				}
			}
		}
	}
	_, err := circuit.ProposeGauge(1, 25, 500, 0, false)
	require.ErrorContains(t, err, "no single wire")
}

// TestConductorsAgainstPublished holds the resistance of a nominal area below
// the most that a conductor of that name may have, and near it, and its growth
// with temperature against printed factors.
func TestConductorsAgainstPublished(t *testing.T) {
	var p struct {
		Source []pageSource
		Note   string
		Above  map[string]float64   `yaml:"most_above_percent"`
		Rows   []map[string]float64 `yaml:"ohm_per_km"`
		Kelvin struct {
			Bound  float64 `yaml:"bound_percent"`
			Factor map[float64]float64
		}
	}
	published(t, "conductors.yaml", &p)
	require.Len(t, p.Rows, 13)
	for class, above := range p.Above {
		widest := 0.0
		for _, row := range p.Rows {
			most, ours := row[class], circuit.CopperOhms(row["mm2"]*1e-6, 1000, 20)
			require.LessOrEqual(t, ours, most, "%s of %g mm2", class, row["mm2"])
			widest = max(widest, 100*(most/ours-1))
		}
		require.LessOrEqual(t, widest, above, class)
		require.Greater(t, widest, above-1, "%s: the bound is wider than it need be", class)
	}
	require.Len(t, p.Kelvin.Factor, 13)
	for celsius, factor := range p.Kelvin.Factor {
		got := circuit.CopperOhms(1e-6, 1, 20) / circuit.CopperOhms(1e-6, 1, celsius)
		require.InEpsilon(t, factor, got, p.Kelvin.Bound/100, "at %g C", celsius)
	}
}
