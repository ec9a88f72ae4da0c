package circuit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

const (
	// CopperOhmMetres is the resistivity of annealed copper at 20 C
	// (IEC 60028, 1.7241e-8 ohm m).
	CopperOhmMetres = 1.7241e-8
	// CopperPerKelvin is the temperature coefficient of that resistivity at
	// 20 C (IEC 60028, 0.00393 per K).
	CopperPerKelvin = 0.00393
)

// AWGDiameter returns the diameter in metres of a solid conductor of American
// wire gauge n, where 0, -1, -2 and -3 stand for 1/0 to 4/0 (ASTM B258: 0.127
// mm at gauge 36, 39 equal ratios to 11.684 mm at 4/0).
func AWGDiameter(n int) float64 {
	return 0.127e-3 * math.Pow(92, float64(36-n)/39)
}

// Gauge returns the conductor area in square metres of a gauge written as
// "20 AWG", "2/0 AWG" or "0.5 mm2".
func Gauge(s string) (area float64, err error) {
	num, unit, _ := strings.Cut(strings.TrimSpace(s), " ")
	switch unit = strings.TrimSpace(unit); unit {
	case "AWG":
		n, ok := awgNumber(num)
		if !ok {
			return 0, fmt.Errorf("gauge %q: AWG runs from 4/0 to 40, as in \"20 AWG\"", s)
		}
		d := AWGDiameter(n)
		return math.Pi / 4 * d * d, nil
	case "mm2":
		mm2, err := strconv.ParseFloat(num, 64)
		if err != nil || !(mm2 >= 0.01 && mm2 <= 1000) {
			return 0, fmt.Errorf("gauge %q: want 0.01 to 1000 mm2, as in \"0.5 mm2\"", s)
		}
		return mm2 * 1e-6, nil
	}
	return 0, fmt.Errorf("gauge %q: want \"20 AWG\" or \"0.5 mm2\"", s)
}

// awgNumber reads a gauge number: 0 to 40, 1/0 to 4/0, or as many noughts.
func awgNumber(s string) (n int, ok bool) {
	switch s {
	case "0", "1/0":
		return 0, true
	case "00", "2/0":
		return -1, true
	case "000", "3/0":
		return -2, true
	case "0000", "4/0":
		return -3, true
	}
	n, err := strconv.Atoi(s)
	return n, err == nil && n >= 1 && n <= 40 && strconv.Itoa(n) == s
}

// CopperOhms returns the resistance in ohms of a copper conductor of the area
// in square metres and length in metres at a temperature in degrees Celsius.
func CopperOhms(area, metres, celsius float64) float64 {
	return CopperOhmMetres * (1 + CopperPerKelvin*(celsius-20)) * metres / area
}

// Sources of the wire facts: ids of kb/sources.yaml, `practice` or `memory`.
const (
	SourceCopper   = "memory"              // IEC 60028 and ASTM B258, for ohms, drop and heat
	SourceRise     = "practice"            // for TemperatureRise
	SourceAmbient  = "wire-conduit-table"  // for the share that heat around leaves
	SourceLoad     = "fuse-load-share"     // for LoadFuse
	SourceRatings  = "memory"              // for FuseRatings
	SourceBlade    = "blade-fuse-standard" // for the volts of blade fuses
	SourceMelts    = "memory"              // for MeltingAmps
	SourceShortTap = "fuse-distance"       // for ShortTap
)

// ShortTap is how long in metres a lead may be from a supply, or from a
// heavier wire, to the fuse that protects it (fuse-distance).
const ShortTap = 0.18

// BladeVolts are the rated voltages of blade fuses in V (blade-fuse-standard).
// Above the one that is printed on it a fuse may go on as an arc.
const (
	BladeVolts     = 32
	HighBladeVolts = 58
)

// BreakAmps is the current in A that a blade fuse is sure to break
// (blade-fuse-standard).
const BreakAmps = 1000

// current is a row of the table of continuous currents.
type current struct {
	mm2, amps float64
	source    string
}

const bundle, vehicle, conduit = "wire-bundle-table", "wire-vehicle-table", "wire-conduit-table"

// currents returns the continuous currents of copper wire by area in mm2 at 30
// C around it, the careful end of three printed tables: thin wires as in a
// bundle of fifteen or more, middle ones as vehicle cable, thick ones as three
// loaded PVC conductors in a conduit.
func currents() []current {
	return []current{
		{0.0509, 0.7, bundle}, {0.2047, 2, bundle}, {0.3255, 2.5, bundle}, {0.5175, 3.7, bundle}, // 30, 24, 22, 20 AWG
		{0.65, 5.75, vehicle}, {1, 8.75, vehicle}, {1.5, 12.75, vehicle}, {2, 17.5, vehicle}, {2.5, 21.75, vehicle}, {3, 25.5, vehicle},
		{4, 27, conduit}, {6, 34, conduit}, {10, 46, conduit}, {16, 62, conduit}, {25, 80, conduit}, {35, 99, conduit},
		{50, 118, conduit}, {70, 149, conduit}, {95, 179, conduit}, {120, 206, conduit},
	}
}

// aloneCurrents returns the same of one wire alone in free air (the single-wire
// column of the page of wire-bundle-table), from 30 AWG to 2/0.
func aloneCurrents() []current {
	return []current{
		{0.0509, 1.3, bundle}, {0.2047, 3.3, bundle}, {0.3255, 4.5, bundle}, {0.5175, 6.5, bundle}, {0.8229, 9.2, bundle},
		{1.309, 13, bundle}, {2.081, 19, bundle}, {3.309, 25, bundle}, {5.261, 33, bundle}, {8.366, 44, bundle},
		{13.30, 60, bundle}, {21.15, 81, bundle}, {33.62, 108, bundle}, {53.48, 147, bundle}, {67.43, 169, bundle},
	}
}

const (
	tableCelsius  = 30 // around the wire, in the table of currents
	hottestCopper = 70 // C, of the conductors of its thick rows
)

// ContinuousAmps returns the current in A that a copper wire of the area in
// square metres carries for good in a full loom, or alone in free air, with the
// given degrees Celsius around it, and the source. Between two rows of a table
// it is interpolated as a power of the area; below and above them the current
// density of the end is kept for thinner and the last figure for thicker wires.
// A wire alone carries no less than one in a loom. Heat around it takes the
// share sqrt((70 - celsius) / 40), which meets the columns of wire-conduit-table.
func ContinuousAmps(area, celsius float64, alone bool) (amps float64, source string) {
	amps, source = interpolate(currents(), area*1e6)
	if alone {
		if more, from := interpolate(aloneCurrents(), area*1e6); more > amps {
			amps, source = more, from
		}
	}
	if celsius > tableCelsius {
		amps *= math.Sqrt(max(0, hottestCopper-celsius) / (hottestCopper - tableCelsius))
	}
	return amps, source
}

func interpolate(rows []current, mm2 float64) (amps float64, source string) {
	last := rows[len(rows)-1]
	switch {
	case mm2 <= rows[0].mm2:
		amps, source = rows[0].amps*mm2/rows[0].mm2, rows[0].source
	case mm2 >= last.mm2:
		amps, source = last.amps, last.source
	default:
		i := 0
		for rows[i+1].mm2 <= mm2 {
			i++
		}
		a, b := rows[i], rows[i+1]
		amps, source = a.amps*math.Pow(b.amps/a.amps, math.Log(mm2/a.mm2)/math.Log(b.mm2/a.mm2)), a.source
	}
	return amps, source
}

// TemperatureRise estimates by how many kelvin a current in A warms a wire of
// the area in square metres, in a full loom or alone: 40 K at its continuous
// current, and with the square of the current (practice; the table's thick rows
// go from 30 to 70 C).
func TemperatureRise(area, amps float64, alone bool) float64 {
	most, _ := ContinuousAmps(area, tableCelsius, alone)
	return (hottestCopper - tableCelsius) * (amps / most) * (amps / most)
}

// Drop returns the volts lost in a pair of copper wires, there and back, of
// the area in square metres and the one-way length in metres at a temperature
// in degrees Celsius and a current in A (Ohm's law).
func Drop(area, metres, celsius, amps float64) float64 {
	return amps * CopperOhms(area, 2*metres, celsius)
}

// HeatPerMetre returns the watts that a current in A makes in each metre of one
// copper wire of the area in square metres at a temperature in degrees Celsius
// (Joule's law).
func HeatPerMetre(area, celsius, amps float64) float64 {
	return amps * amps * CopperOhms(area, 1, celsius)
}

// MeltingAmps returns the current in A that melts a bare copper wire of the
// area in square metres in still air, 80 A times the diameter in mm to the power
// of 3/2 (W. H. Preece, Proceedings of the Royal Society 36, 1884; memory, not
// re-read).
func MeltingAmps(area float64) float64 {
	return 80 * math.Pow(2e3*math.Sqrt(area/math.Pi), 1.5)
}

// FuseRatings returns the rated currents of blade fuses in A (ISO 8820-3 types
// C, E and F; memory, not re-read).
func FuseRatings() []float64 {
	return []float64{1, 2, 3, 4, 5, 7.5, 10, 15, 20, 25, 30, 35, 40, 50, 60, 70, 80, 100}
}

// LargestFuse returns the largest blade fuse in A that still protects a wire
// with the continuous current in A: it is rated at no more than that. It is 0
// where there is none.
func LargestFuse(most float64) float64 {
	fuse := 0.0
	for _, r := range FuseRatings() {
		if r <= most {
			fuse = r
		}
	}
	return fuse
}

// LoadShare is how much of a load's current its fuse is rated for at least
// (fuse-load-share).
const LoadShare = 1.25

// LoadFuse returns the smallest blade fuse in A that carries a load's current
// in A for good, at LoadShare times the load or more. It is 0 where
// there is none so large.
func LoadFuse(amps float64) float64 {
	for _, r := range FuseRatings() {
		if r >= LoadShare*amps {
			return r
		}
	}
	return 0
}

// GaugeSizes returns the gauges that ProposeGauge chooses from, thinnest first.
func GaugeSizes() []string {
	return []string{"30 AWG", "28 AWG", "26 AWG", "24 AWG", "22 AWG", "20 AWG", "18 AWG", "16 AWG", "14 AWG", "12 AWG",
		"10 AWG", "8 AWG", "6 AWG", "4 AWG", "2 AWG", "1/0 AWG", "2/0 AWG", "3/0 AWG", "4/0 AWG"}
}

// ProposeGauge returns the thinnest gauge whose drop, there and back over the
// one-way length in metres, is no more than the given volts, and which carries
// the load's current in A and the fuse that the load needs with the given
// degrees Celsius around it, in a full loom or alone. Volts of 0 or less set no
// limit to the drop.
func ProposeGauge(metres, celsius, amps, volts float64, alone bool) (string, error) {
	need := max(amps, LoadFuse(amps))
	for _, g := range GaugeSizes() {
		area, err := Gauge(g)
		if err != nil {
			return "", err
		}
		if most, _ := ContinuousAmps(area, celsius, alone); most >= need && (volts <= 0 || Drop(area, metres, celsius, amps) <= volts) {
			return g, nil
		}
	}
	within := ""
	if volts > 0 {
		within = fmt.Sprintf(" within a drop of %.3g V", volts)
	}
	return "", fmt.Errorf("no single wire up to 4/0 AWG carries %g A over %g m at %g C%s: shorten it, or use several wires with a fuse each", amps, metres, celsius, within)
}
