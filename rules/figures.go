package rules

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"probable/engine"
)

// figure is a quantity in a text.
type figure struct {
	text string
	si   float64 // in V, ohm or A
	unit string  // "V", "ohm" or "A"
}

// quantities finds a number, or two as in "4.0 to 5.5 V", and their unit.
var quantities = regexp.MustCompile(`(?:(\d+(?:\.\d+)?)\s*(?:and|to|or|-|–)\s*)?(\d+(?:\.\d+)?)\s*([mkMuµ]?(?:V|Ω|ohms?|A)|kilohms?|megohms?|milliohms?|millivolts?|volts?|amps?|amperes?|milliamps?)(?:[^A-Za-z]|$)`)

// figures returns the quantities of a text; zero is none.
func figures(text string) []figure {
	var out []figure
	for _, m := range quantities.FindAllStringSubmatch(text, -1) {
		scale, unit := siUnit(m[3])
		for _, number := range m[1:3] {
			if x, err := strconv.ParseFloat(number, 64); err == nil && x != 0 {
				out = append(out, figure{number + " " + m[3], x * scale, unit})
			}
		}
	}
	return out
}

// siUnit splits a unit into its factor and the unit without a prefix.
func siUnit(unit string) (scale float64, base string) {
	scale = 1
	for word, factor := range map[string]float64{"kil": 1e3, "meg": 1e6, "milli": 1e-3} {
		if rest, ok := strings.CutPrefix(unit, word); ok {
			scale, unit = factor, rest
		}
	}
	switch unit[0] {
	case 'm':
		scale, unit = 1e-3, unit[1:]
	case 'k':
		scale, unit = 1e3, unit[1:]
	case 'M':
		scale, unit = 1e6, unit[1:]
	case 'u':
		scale, unit = 1e-6, unit[1:]
	default:
		if rest, ok := strings.CutPrefix(unit, "µ"); ok {
			scale, unit = 1e-6, rest
		}
	}
	switch {
	case strings.HasPrefix(unit, "V") || strings.HasPrefix(unit, "v"):
		return scale, "V"
	case strings.HasPrefix(unit, "A") || strings.HasPrefix(unit, "a"):
		return scale, "A"
	}
	return scale, "ohm"
}

// equalFigures is how far two figures may differ and still be one, as a share.
const equalFigures = 0.005

// slip says what is wrong with the figures of an outcome's words, given the
// limits of its condition in SI units; both are empty where nothing is.
func slip(say string, mode engine.Mode, limits []float64) (wrong, right string) {
	unit := mode.Unit()
	var own, others []figure
	for _, f := range figures(say) {
		if f.unit == unit {
			own = append(own, f)
		} else {
			others = append(others, f)
		}
	}
	near := func(x float64) (float64, bool) {
		for _, l := range limits {
			if l != 0 && math.Abs(x-math.Abs(l)) <= equalFigures*math.Abs(l) {
				return math.Abs(l), true
			}
		}
		return 0, false
	}
	met := false
	for _, f := range own {
		if _, ok := near(f.si); ok {
			met = true
			continue
		}
		for _, factor := range []float64{1e3, 1e-3, 1e6, 1e-6} {
			if l, ok := near(f.si * factor); ok {
				return fmt.Sprintf("a slip of the unit: the words say %s, \"when\" turns at %g %s", f.text, l, unit),
					fmt.Sprintf("%g %s in both", l, unit)
			}
		}
	}
	switch {
	case met || len(limits) == 0:
		return "", ""
	case len(own) > 0:
		return fmt.Sprintf("the words say %s, and \"when\" turns nowhere near", own[0].text), "words that name the limits of \"when\""
	case len(others) > 0:
		return fmt.Sprintf("the words say %s, and the reading is in %s", others[0].text, unit), "the limits of \"when\", in " + unit
	}
	return "", ""
}
