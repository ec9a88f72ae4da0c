package main

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"probable/engine"
)

var reading = regexp.MustCompile(`^([-+]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][-+]?[0-9]+)?)\s*([a-zA-ZµμΩ]*)$`)

// prefixes of typed units; case matters only between milli and mega.
var prefixes = map[string]float64{"": 1, "u": 1e-6, "µ": 1e-6, "μ": 1e-6, "m": 1e-3, "k": 1e3, "K": 1e3, "M": 1e6, "meg": 1e6, "Meg": 1e6}

// units as people type them.
var units = map[string]string{
	"": "", "v": "V", "volt": "V", "volts": "V", "a": "A", "amp": "A", "amps": "A",
	"ohm": "ohm", "ohms": "ohm", "Ω": "ohm", "r": "ohm",
}

// parseTyped reads a result as a person types it: 4.98, 4.98V, 49.8mV, 12k,
// OL, open, beep, 0,85, or one of the check's answers or the start of one.
func parseTyped(c *engine.Check, s string) (engine.Result, error) {
	s = strings.TrimSpace(strings.NewReplacer("\u2212", "-", "\u00a0", " ").Replace(s))
	low := strings.ToLower(s)
	if c.Wants() > 1 {
		return parseSeveral(c, s)
	}
	if !c.Mode.Numeric() {
		if slices.Contains(c.Answers, low) {
			return engine.Result{Answer: low}, nil
		}
		var fit []string
		for _, a := range c.Answers {
			if low != "" && strings.HasPrefix(a, low) {
				fit = append(fit, a)
			}
		}
		if len(fit) == 1 {
			return engine.Result{Answer: fit[0]}, nil
		}
		if c.Mode != engine.Continuity {
			if n, err := strconv.Atoi(low); err == nil && n >= 1 && n <= len(c.Answers) { // as the question lists them
				return engine.Result{Answer: c.Answers[n-1]}, nil
			}
			return engine.Result{}, fmt.Errorf("answer one of: %s", strings.Join(c.Answers, ", "))
		}
	}
	if c.Mode == engine.Continuity {
		switch low {
		case "nobeep", "no", "none", "silent", "nothing":
			return engine.Result{Answer: engine.NoBeep}, nil
		case "beeps", "yes", "y":
			return engine.Result{Answer: engine.Beep}, nil
		}
	}
	// "36 V DC" and "OL V" say the same as without.
	for _, tail := range []string{"dc", " v"} {
		if cut, ok := strings.CutSuffix(low, tail); ok && cut != "" && (tail == "dc" || !strings.ContainsAny(cut, "0123456789")) {
			s, low = strings.TrimSpace(s[:len(s)-len(tail)]), strings.TrimSpace(cut)
		}
	}
	switch low {
	case "ol", "o.l", "o.l.", "0l", "open", "over", "inf":
		return engine.Result{Over: true}, nil
	}
	m := reading.FindStringSubmatch(s)
	if m == nil {
		return engine.Result{}, fmt.Errorf("%q is not a reading; type it as the meter shows it, as in 4.98, 49.8mV, 12k or OL", s)
	}
	x, err := strconv.ParseFloat(strings.Replace(m[1], ",", ".", 1), 64)
	if err != nil {
		return engine.Result{}, fmt.Errorf("%q is not a number", m[1])
	}
	factor, unit, ok := splitUnit(m[2])
	want := c.Unit()
	if c.Mode == engine.Continuity {
		want = "ohm"
	}
	switch {
	case !ok:
		return engine.Result{}, fmt.Errorf("%q is no unit here; this check reads %s", m[2], want)
	case unit != "" && unit != want:
		return engine.Result{}, fmt.Errorf("this check reads %s, not %s: look at the meter's dial", want, unit)
	}
	return engine.Result{Value: x * factor}, nil
}

// parseSeveral reads the several numbers of a wiggle or a sweep, as in
// "4.1 4.98" or "4.1V to 4.98V", or one of the check's answers.
func parseSeveral(c *engine.Check, s string) (engine.Result, error) {
	one := engine.Check{Mode: c.Measures}
	var values []float64
	for _, f := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' || r == ';' || r == '/' || r == '\t' }) {
		if f = strings.ToLower(f); f == "to" || f == "and" || f == "," {
			continue
		}
		r, err := parseTyped(&one, f)
		if err != nil || r.Over {
			plain := engine.Check{Mode: engine.Look, Answers: c.Answers}
			if a, aerr := parseTyped(&plain, s); aerr == nil {
				return a, nil
			}
			if err == nil {
				err = fmt.Errorf("over-range is no number; choose one of: %s", strings.Join(c.Answers, ", "))
			}
			return engine.Result{}, err
		}
		values = append(values, r.Value)
	}
	r := engine.Result{Values: values}
	if len(values) == 0 {
		return r, fmt.Errorf("type %d numbers, or one of: %s", c.Wants(), strings.Join(c.Answers, ", "))
	}
	return r, c.Fits(r)
}

// splitUnit reads a typed prefix and unit, as in mV, kohm, k or M.
func splitUnit(s string) (factor float64, unit string, ok bool) {
	for p, f := range prefixes {
		rest, has := strings.CutPrefix(s, p)
		if !has {
			continue
		}
		if u, known := units[rest]; known {
			if better, ok := units[strings.ToLower(s)]; ok && p != "" {
				return 1, better, true
			}
			return f, u, true
		}
		if u, known := units[strings.ToLower(rest)]; known {
			return f, u, true
		}
	}
	return 0, "", false
}
