package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"probable/engine/circuit"
	"probable/rules"
)

// localCodes is said with every figure about wires and fuses.
const localCodes = "Local codes and a licensed person come before these figures."

func wireCommand() *cobra.Command {
	var w wireAsked
	c := &cobra.Command{
		Use:   "wire",
		Short: "Work out a wire: resistance, drop, heat, fuse, or the one that is missing",
		Long: "Work out a pair of copper wires, there and back: resistance, drop, heat and the fuse that protects\n" +
			"it. Of --gauge, --metres and --amps one may be left out; it is worked out for the drop limit.",
		Example: "  probable wire --gauge \"20 AWG\" --metres 1.2 --amps 3 --volts 36\n" +
			"  probable wire --metres 1.2 --amps 3 --volts 36",
		Args: usage(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error { return w.run(c) },
	}
	fl := c.Flags()
	fl.StringVar(&w.gauge, "gauge", "", "gauge, as in \"20 AWG\" or \"0.5 mm2\"")
	fl.Float64Var(&w.metres, "metres", 0, "length one way, in m")
	fl.Float64Var(&w.amps, "amps", 0, "current of the load, in A")
	fl.Float64Var(&w.volts, "volts", 0, "supply, in V; without it no drop in percent")
	fl.Float64Var(&w.celsius, "celsius", 25, "temperature around the wire, in C")
	fl.Float64Var(&w.percent, "drop-percent", 3, "most of the supply that may be lost on the way, in percent")
	fl.BoolVar(&w.alone, "alone", false, "the wire lies alone in free air, not in a loom")
	fl.BoolVar(&w.json, "json", false, "as JSON")
	return c
}

// mostRise is the warming in K above which the estimate says nothing but "too hot".
const mostRise = 200

// wireAsked is the wire verb's flags.
type wireAsked struct {
	gauge                                 string
	metres, amps, volts, celsius, percent float64
	alone, json                           bool
}

// wireFacts is all that is worked out about a pair of wires.
type wireFacts struct {
	Gauge          string   `json:"gauge"`
	MM2            float64  `json:"mm2"`
	Metres         float64  `json:"metres"`
	Amps           float64  `json:"amps"`
	Celsius        float64  `json:"celsius"`
	Alone          bool     `json:"alone"`                // in free air, else in a full loom
	WorkedOut      string   `json:"worked_out,omitempty"` // gauge, metres or amps
	OhmsOneWay     float64  `json:"ohms_one_way"`
	OhmsThereBack  float64  `json:"ohms_there_and_back"`
	DropVolts      float64  `json:"drop_volts"`
	DropPercent    *float64 `json:"drop_percent,omitempty"`
	DropLimit      float64  `json:"drop_limit_percent"`
	WattsPerMetre  float64  `json:"watts_per_metre"`
	RiseKelvin     *float64 `json:"rise_kelvin,omitempty"` // absent where the estimate ends
	LoomAmps       float64  `json:"loom_amps"`
	Loom           string   `json:"loom_source"`
	AloneAmps      float64  `json:"alone_amps"`
	Free           string   `json:"alone_source"`
	ContinuousAmps float64  `json:"continuous_amps"` // the one of the two that counts here
	Continuous     string   `json:"continuous_source"`
	LoadFuse       float64  `json:"load_fuse_amps,omitempty"`
	LargestFuse    float64  `json:"largest_fuse_amps,omitempty"`
	SmallestGauge  string   `json:"smallest_gauge,omitempty"` // where this one is too thin
	Notes          []string `json:"notes"`
	Sources        []string `json:"sources"`
}

// within checks a flag's range.
func within(name string, x, low, high float64) error {
	if !(x >= low && x <= high) {
		return fmt.Errorf("--%s: %g is impossible; want %g to %g", name, x, low, high)
	}
	return nil
}

func (w *wireAsked) run(c *cobra.Command) error {
	fl := c.Flags()
	var missing []string
	for _, name := range []string{"gauge", "metres", "amps"} {
		if !fl.Changed(name) {
			missing = append(missing, name)
		}
	}
	if len(missing) > 1 {
		return inputError(fmt.Errorf("give at least two of --gauge, --metres and --amps; missing: --%s", strings.Join(missing, ", --")))
	}
	err := errors.Join(within("celsius", w.celsius, -60, 200), within("drop-percent", w.percent, 0.01, 50))
	for _, f := range []struct {
		name      string
		x         float64
		low, high float64
	}{{"metres", w.metres, 0.001, 1000}, {"amps", w.amps, 0.001, 1000}, {"volts", w.volts, 0.1, 1000}} {
		if fl.Changed(f.name) {
			err = errors.Join(err, within(f.name, f.x, f.low, f.high))
		}
	}
	var area float64
	if w.gauge != "" || fl.Changed("gauge") {
		var gerr error
		area, gerr = circuit.Gauge(w.gauge)
		err = errors.Join(err, gerr)
	}
	if err != nil {
		return inputError(err)
	}
	f, err := w.facts(area, missing)
	if err != nil {
		return inputError(err)
	}
	if w.json {
		return writeJSON(c.OutOrStdout(), f)
	}
	base, err := readBase(c)
	if err != nil {
		return err
	}
	return f.write(c.OutOrStdout(), base)
}

// facts works out what is missing, then everything else.
func (w *wireAsked) facts(area float64, missing []string) (*wireFacts, error) {
	f := &wireFacts{Gauge: w.gauge, Metres: w.metres, Amps: w.amps, Celsius: w.celsius, Alone: w.alone, DropLimit: w.percent, Notes: []string{}}
	limit := w.volts * w.percent / 100 // V
	if len(missing) == 1 {
		f.WorkedOut = missing[0]
	}
	switch f.WorkedOut {
	case "gauge":
		var err error
		if f.Gauge, err = circuit.ProposeGauge(w.metres, w.celsius, w.amps, limit, w.alone); err != nil {
			return nil, err
		}
		if area, err = circuit.Gauge(f.Gauge); err != nil {
			return nil, err
		}
	case "metres":
		if limit == 0 {
			return nil, errors.New("the length follows from the drop limit: give --volts")
		}
		f.Metres = limit / circuit.Drop(area, 1, w.celsius, w.amps)
	case "amps":
		f.Amps = f.forLoad(area, w)
		if limit > 0 {
			f.Amps = min(f.Amps, limit/circuit.Drop(area, w.metres, w.celsius, 1))
		}
		if f.Amps == 0 {
			return nil, fmt.Errorf("at %g C around it no current is left for such a wire", w.celsius)
		}
	}
	f.MM2 = area * 1e6
	f.OhmsOneWay = circuit.CopperOhms(area, f.Metres, w.celsius)
	f.OhmsThereBack = 2 * f.OhmsOneWay
	f.DropVolts = circuit.Drop(area, f.Metres, w.celsius, f.Amps)
	f.WattsPerMetre = circuit.HeatPerMetre(area, w.celsius, f.Amps)
	if rise := significant(circuit.TemperatureRise(area, f.Amps, w.alone)); rise <= mostRise {
		f.RiseKelvin = &rise
	}
	f.LoomAmps, f.Loom = circuit.ContinuousAmps(area, w.celsius, false)
	f.AloneAmps, f.Free = circuit.ContinuousAmps(area, w.celsius, true)
	f.ContinuousAmps, f.Continuous = circuit.ContinuousAmps(area, w.celsius, w.alone)
	f.LargestFuse = circuit.LargestFuse(f.ContinuousAmps)
	f.LoadFuse = circuit.LoadFuse(f.Amps)
	f.check(w, limit)
	f.Sources = []string{circuit.SourceCopper, f.Loom, f.Free, circuit.SourceAmbient, circuit.SourceLoad, circuit.SourceRatings, circuit.SourceBlade, circuit.SourceRise}
	slices.Sort(f.Sources)
	f.Sources = slices.Compact(f.Sources)
	for _, x := range []*float64{&f.MM2, &f.Metres, &f.Amps, &f.OhmsOneWay, &f.OhmsThereBack, &f.DropVolts, &f.WattsPerMetre,
		&f.LoomAmps, &f.AloneAmps, &f.ContinuousAmps} {
		*x = significant(*x)
	}
	return f, nil
}

// forLoad is the largest load in A whose fuse still protects the wire; where no
// fuse is so small, what the wire carries for good.
func (f *wireFacts) forLoad(area float64, w *wireAsked) float64 {
	most, _ := circuit.ContinuousAmps(area, w.celsius, w.alone)
	if fuse := circuit.LargestFuse(most); fuse > 0 {
		return fuse / circuit.LoadShare
	}
	return most
}

// significant rounds to six digits.
func significant(x float64) float64 {
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64)
	if err != nil {
		return x
	}
	return y
}

// check says what is wrong with the wire, and names the smallest that is right.
func (f *wireFacts) check(w *wireAsked, limit float64) {
	const slack = 1 + 1e-9
	add := func(format string, args ...any) { f.Notes = append(f.Notes, fmt.Sprintf(format, args...)) }
	thin := false
	if f.Amps > f.ContinuousAmps*slack {
		thin = true
		add("Too thin: %s A is more than it carries for good.", sig(f.Amps))
	} else if f.LoadFuse > f.LargestFuse && f.LoadFuse > 0 {
		thin = true
		add("Too thin for its fuse: the load needs %g A, and that does not protect this wire.", f.LoadFuse)
	}
	if w.volts > 0 {
		p := significant(100 * f.DropVolts / w.volts)
		f.DropPercent = &p
		if f.DropVolts > limit*slack {
			thin = true
			add("The drop is over the limit of %g %%.", w.percent)
		}
	}
	if thin {
		if g, err := circuit.ProposeGauge(f.Metres, w.celsius, f.Amps, limit, w.alone); err == nil {
			f.SmallestGauge = g
		} else {
			add("%s.", err)
		}
	}
	switch {
	case w.volts > circuit.HighBladeVolts:
		add("Blade fuses are made for %d V or %d V at most: here another kind of fuse, rated for the pack's full voltage.", circuit.BladeVolts, circuit.HighBladeVolts)
	case w.volts > circuit.BladeVolts:
		add("Take blade fuses marked %d V; the common ones are made for %d V. The pack's full voltage counts.", circuit.HighBladeVolts, circuit.BladeVolts)
	}
	if f.LoadFuse == 0 {
		add("No blade fuse is large enough for this load.")
	}
	add("%s", localCodes)
}

// sig writes three digits.
func sig(x float64) string {
	if math.Abs(x) >= 1000 {
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprintf("%.3g", x)
}

// size writes a gauge, with its area where the gauge is no area itself.
func size(gauge string, mm2 float64) string {
	if strings.HasSuffix(gauge, "mm2") {
		return gauge
	}
	return fmt.Sprintf("%s (%s mm2)", gauge, sig(mm2))
}

// write tells the facts to a person, each with its source.
func (f *wireFacts) write(out io.Writer, base *rules.Base) error {
	rows := [][]string{}
	add := func(what, value, source string) { rows = append(rows, []string{what, value, "[" + source + "]"}) }
	mark := func(name string) string {
		if f.WorkedOut == name {
			return ", worked out"
		}
		return ""
	}
	rows = append(rows,
		[]string{"gauge", size(f.Gauge, f.MM2) + mark("gauge"), "[" + circuit.SourceCopper + "]"},
		[]string{"length", fmt.Sprintf("%s m one way%s", sig(f.Metres), mark("metres")), ""},
		[]string{"current", fmt.Sprintf("%s A%s", sig(f.Amps), mark("amps")), ""},
		[]string{"around it", fmt.Sprintf("%s C", sig(f.Celsius)), ""})
	add("resistance", fmt.Sprintf("%s mohm one way, %s mohm both ways", sig(1e3*f.OhmsOneWay), sig(1e3*f.OhmsThereBack)), circuit.SourceCopper)
	drop := sig(f.DropVolts) + " V there and back"
	if f.DropPercent != nil {
		drop += fmt.Sprintf(", %s %% (limit %s %%)", sig(*f.DropPercent), sig(f.DropLimit))
	}
	add("drop", drop, circuit.SourceCopper)
	add("heat", fmt.Sprintf("%s W in each metre of each wire", sig(f.WattsPerMetre)), circuit.SourceCopper)
	lies := map[bool]string{false: "in a full loom", true: "alone in free air"}
	rise := fmt.Sprintf("more than %d K", mostRise)
	if f.RiseKelvin != nil {
		rise = fmt.Sprintf("about %.2g K %s", *f.RiseKelvin, lies[f.Alone])
	}
	add("warms by", rise, circuit.SourceRise)
	add("carries", fmt.Sprintf("%s A for good %s", sig(f.ContinuousAmps), lies[f.Alone]), f.Continuous)
	other, source := f.AloneAmps, f.Free
	if f.Alone {
		other, source = f.LoomAmps, f.Loom
	}
	add("", fmt.Sprintf("(%s A %s)", sig(other), lies[!f.Alone]), source)
	largest := "none: it carries less than the smallest"
	if f.LargestFuse > 0 {
		largest = fmt.Sprintf("%g A still protects the wire", f.LargestFuse)
	}
	add("largest fuse", largest, circuit.SourceRatings)
	if f.LoadFuse > 0 {
		add("load's fuse", fmt.Sprintf("%g A, the next rating from %g x the load", f.LoadFuse, circuit.LoadShare), circuit.SourceLoad)
	}
	if f.SmallestGauge != "" {
		area, err := circuit.Gauge(f.SmallestGauge)
		if err != nil {
			return err
		}
		add("take instead", size(f.SmallestGauge, area*1e6)+" or thicker", f.Continuous)
	}
	if _, err := fmt.Fprintf(out, "%s\n", columns(rows)); err != nil {
		return err
	}
	for _, note := range f.Notes {
		fmt.Fprintln(out, fold(paper, "- ", note))
	}
	fmt.Fprint(out, "\nSources:\n")
	said := map[string]string{"memory": "recalled from IEC 60028, ASTM B258 and ISO 8820-3, not re-read", "practice": "common practice, no source"}
	for _, s := range base.Sources {
		said[s.ID] = s.Where
	}
	for _, id := range f.Sources {
		if _, err := fmt.Fprintf(out, "  [%s]\n    %s\n", id, said[id]); err != nil {
			return err
		}
	}
	return nil
}
