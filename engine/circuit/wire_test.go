package circuit_test

import (
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"

	"probable/engine/circuit"
)

const (
	metresPerInch = 0.0254
	metresPerFoot = 0.3048
)

// published reads a file of published figures, complaining of keys that the
// tests do not look at.
func published(t testing.TB, name string, into any) {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", name))
	require.NoError(t, err)
	defer f.Close()
	dec := yaml.NewDecoder(f)
	dec.KnownFields(true)
	require.NoError(t, dec.Decode(into))
}

// pageSource is where published figures were read.
type pageSource struct {
	ID, Title, Where, Reached string
	Gives                     []string
}

// TestWireAgainstPublishedTables holds diameter, area and resistance of every
// gauge against every column of the printed tables, within the bound that the
// file states for the column.
func TestWireAgainstPublishedTables(t *testing.T) {
	var table struct {
		Source  []pageSource
		Note    string
		Largest map[string]struct {
			Percent float64
			AWG     int
		} `yaml:"largest_deviation_percent"`
		Bound map[string]float64 `yaml:"bound_percent"`
		Wires []map[string]float64
	}
	published(t, "awg.yaml", &table)
	require.Len(t, table.Wires, 21)

	columns := map[string]func(gauge int, area float64) float64{
		"mm":            func(n int, _ float64) float64 { return circuit.AWGDiameter(n) * 1e3 },
		"mm2":           func(_ int, area float64) float64 { return area * 1e6 },
		"ohm_per_km":    func(_ int, area float64) float64 { return circuit.CopperOhms(area, 1000, 20) },
		"inch":          func(n int, _ float64) float64 { return circuit.AWGDiameter(n) / metresPerInch },
		"circular_mils": func(_ int, area float64) float64 { return area / (math.Pi / 4 * math.Pow(metresPerInch/1000, 2)) },
		"ohm_per_kft":   func(_ int, area float64) float64 { return circuit.CopperOhms(area, 1000*metresPerFoot, 20) },
	}
	from := map[string]string{}
	for _, s := range table.Source {
		for _, column := range s.Gives {
			from[column] = s.Title + ", " + s.Where
		}
	}
	for column, got := range columns {
		t.Run(column, func(t *testing.T) {
			bound := table.Bound[column]
			require.Positive(t, bound, "no bound stated")
			require.NotEmpty(t, from[column], "no source for the column")
			worst, worstAt := 0.0, 0
			for i, w := range table.Wires {
				n := int(w["awg"])
				require.Equal(t, 10+i, n, "the rows run from gauge 10 to 30")
				printed, ok := w[column]
				require.True(t, ok, "AWG %d has no %s", n, column)
				area, err := circuit.Gauge(strconv.Itoa(n) + " AWG")
				require.NoError(t, err)
				off := 100 * (printed/got(n, area) - 1)
				if math.Abs(off) > bound {
					t.Errorf("AWG %d: %.6g %s, printed %g (%+.3f %%, bound %g %%; %s)", n, got(n, area), column, printed, off, bound, from[column])
				}
				if math.Abs(off) > math.Abs(worst) {
					worst, worstAt = off, n
				}
			}
			t.Logf("largest deviation %+.3f %% at AWG %d", worst, worstAt)
			require.Equal(t, table.Largest[column].AWG, worstAt, "gauge of the largest deviation that the file states")
			require.InDelta(t, table.Largest[column].Percent, worst, 0.0006)
		})
	}
}

// TestAWGEnds checks the two gauges that define the series (ASTM B258: 0.005
// inch at gauge 36, 0.46 inch at 4/0) and that 39 steps between them are equal.
func TestAWGEnds(t *testing.T) {
	require.InEpsilon(t, 0.005*metresPerInch, circuit.AWGDiameter(36), 1e-12)
	require.InEpsilon(t, 0.46*metresPerInch, circuit.AWGDiameter(-3), 1e-12)
	ratio := math.Pow(0.46/0.005, 1.0/39)
	for n := -3; n < 40; n++ {
		require.InEpsilon(t, ratio, circuit.AWGDiameter(n)/circuit.AWGDiameter(n+1), 1e-12, "AWG %d to %d", n, n+1)
	}
}

// TestCopperOhms checks the resistance of copper where the answer is known
// from the definition of its resistivity or by hand.
func TestCopperOhms(t *testing.T) {
	for _, c := range []struct {
		name                  string
		area, metres, celsius float64
		want                  float64
	}{
		{"one metre of 1 mm2 at 20 C, IEC 60028", 1e-6, 1, 20, 0.017241},
		{"half the area, three times the length", 0.5e-6, 3, 20, 6 * 0.017241},
		{"ten kelvin more adds 3.93 %", 1e-6, 1, 30, 0.017241 * 1.0393},
		{"at 0 C 7.86 % less", 1e-6, 1, 0, 0.017241 * 0.9214},
		{"no length, no resistance", 1e-6, 0, 25, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.InDelta(t, c.want, circuit.CopperOhms(c.area, c.metres, c.celsius), 1e-12)
		})
	}
}

func TestGauge(t *testing.T) {
	circle := func(mm float64) float64 { return math.Pi / 4 * mm * mm }
	for _, c := range []struct {
		in      string
		mm2     float64
		percent float64
	}{
		// areas: 0.127 mm and 11.684 mm are the defining diameters, the others
		// follow from the rule that 39 equal steps of diameter lie between them
		{"36 AWG", circle(0.127), 1e-9},
		{"4/0 AWG", circle(11.684), 1e-9},
		{"3/0 AWG", circle(11.684 / math.Pow(92, 1.0/39)), 1e-9},
		{"2/0 AWG", circle(11.684 / math.Pow(92, 2.0/39)), 1e-9},
		{"1/0 AWG", circle(11.684 / math.Pow(92, 3.0/39)), 1e-9},
		{"0 AWG", circle(11.684 / math.Pow(92, 3.0/39)), 1e-9},
		{"00 AWG", circle(11.684 / math.Pow(92, 2.0/39)), 1e-9}, // the older way to write 2/0
		{"0000 AWG", circle(11.684), 1e-9},
		{"1 AWG", circle(11.684 / math.Pow(92, 4.0/39)), 1e-9},
		{"40 AWG", circle(0.127 / math.Pow(92, 4.0/39)), 1e-9},
		{"20 AWG", 0.518, 0.3}, // the metric table of awg.yaml
		{"  20   AWG ", 0.518, 0.3},
		{"0.5 mm2", 0.5, 1e-9},
		{" 0.5  mm2", 0.5, 1e-9},
		{".75 mm2", 0.75, 1e-9},
		{"1.5 mm2", 1.5, 1e-9},
		{"35 mm2", 35, 1e-9},
		{"0.01 mm2", 0.01, 1e-9},
		{"1000 mm2", 1000, 1e-9},
	} {
		t.Run(c.in, func(t *testing.T) {
			area, err := circuit.Gauge(c.in)
			require.NoError(t, err)
			require.InEpsilon(t, c.mm2*1e-6, area, c.percent/100)
		})
	}
}

func TestGaugeRefuses(t *testing.T) {
	for _, in := range []string{
		"", " ", "AWG", " AWG", "mm2", "20", "20AWG", "AWG 20", "twenty AWG", "20.5 AWG", "1e1 AWG",
		"41 AWG", "99999999999999999999 AWG", "5/0 AWG", "/0 AWG", "2/0", "2/1 AWG", "2/0/0 AWG", "20 AWG 3",
		"0.5mm2", "0,5 mm2", "0.5 mm", "0.5 cm2", "mm2 0.5", "0.5 mm2 2", "half mm2",
		"0 mm2", "0.009 mm2", "1000.1 mm2", "-0.5 mm2", "NaN mm2", "Inf mm2", "-Inf mm2", "1e400 mm2",
		"-4 AWG", "-1 AWG", "-0 AWG", "+7 AWG", "020 AWG", "00000 AWG", "1/0/0 AWG", "02/0 AWG", "20 AWG\x00", "20\nAWG",
	} {
		t.Run(in, func(t *testing.T) {
			area, err := circuit.Gauge(in)
			require.Error(t, err, "taken as %g mm2", area*1e6)
			require.Zero(t, area)
			require.Contains(t, err.Error(), strconv.Quote(in), "the message says what was written")
		})
	}
}

// TestGaugeRefusesNoughts asks for gauges of the /0 kind that do not exist:
// they run from 1/0 to 4/0 only.
func TestGaugeRefusesNoughts(t *testing.T) {
	for _, in := range []string{"0/0 AWG", "-5/0 AWG", "-39/0 AWG", "-1/0 AWG", "+1/0 AWG"} {
		t.Run(in, func(t *testing.T) {
			area, err := circuit.Gauge(in)
			require.Error(t, err, "taken as %g mm2", area*1e6)
		})
	}
}

// FuzzGauge asks that any text is either refused, naming the text, or has a
// sound area that does not hang on the spaces around it.
func FuzzGauge(f *testing.F) {
	for _, s := range []string{"20 AWG", "4/0 AWG", "0/0 AWG", "-1/0 AWG", "0.5 mm2", "1e-2 mm2", "NaN mm2", "0x1p-2 mm2", "1_0 mm2", "AWG", " ", "20  AWG", "+7 AWG", "９ AWG"} {
		f.Add(s)
	}
	thinnest, err := circuit.Gauge("40 AWG")
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, s string) {
		area, err := circuit.Gauge(s)
		if err != nil {
			if area != 0 {
				t.Fatalf("%q: area %g with the error %v", s, area, err)
			}
			if !strings.Contains(err.Error(), strconv.Quote(s)) {
				t.Fatalf("%q: the error does not name it: %v", s, err)
			}
			return
		}
		if !(area >= min(thinnest, 0.01e-6) && area <= 1000e-6) {
			t.Fatalf("%q: area %g m2", s, area)
		}
		if again, err := circuit.Gauge("\t" + s + "  "); err != nil || again != area {
			t.Fatalf("%q: %g, but %g with spaces around it (%v)", s, area, again, err)
		}
		if ohms := circuit.CopperOhms(area, 1, 25); !(ohms > 0) || math.IsInf(ohms, 0) {
			t.Fatalf("%q: %g ohm a metre", s, ohms)
		}
	})
}
