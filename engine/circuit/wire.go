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
		n, err := strconv.Atoi(num)
		if k, ok := strings.CutSuffix(num, "/0"); ok {
			n, err = strconv.Atoi(k)
			n = 1 - n
		}
		if err != nil || n < -3 || n > 40 {
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

// CopperOhms returns the resistance in ohms of a copper conductor of the area
// in square metres and length in metres at a temperature in degrees Celsius.
func CopperOhms(area, metres, celsius float64) float64 {
	return CopperOhmMetres * (1 + CopperPerKelvin*(celsius-20)) * metres / area
}
