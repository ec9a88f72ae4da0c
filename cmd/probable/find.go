package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"probable/engine"
	"probable/engine/casefile"
	"probable/engine/circuit"
	"probable/rules"
)

func findCommand() *cobra.Command {
	var f finder
	c := &cobra.Command{
		Use:   "find",
		Short: "Find a fault: asks for one check at a time and gives a verdict",
		Example: "  probable find --harness testdata/harness/cart-tail.yaml\n" +
			"  probable find --guide \"light will not latch\"",
		Args: usage(cobra.NoArgs),
		RunE: func(c *cobra.Command, _ []string) error { return f.run(c) },
	}
	fl := c.Flags()
	fl.StringVar(&f.harness, "harness", "", "harness file of the vehicle")
	fl.StringVar(&f.symptom, "symptom", "", "symptom of the harness to start from")
	fl.StringVar(&f.guide, "guide", "", "guide to work by; with a harness it is joined")
	fl.StringArrayVar(&f.facts, "fact", nil, "a fact of the vehicle, as name=value (may be given again)")
	fl.StringArrayVar(&f.supply, "supply", nil, "what a supply reads now, as part=volts (may be given again)")
	fl.BoolVar(&f.qualified, "qualified", false, "you are qualified to work on live parts above 60 V DC")
	f.talk.flags(fl)
	return c
}

// finder is the find verb's flags.
type finder struct {
	harness, symptom, guide string
	facts, supply           []string
	qualified               bool
	talk                    talk
}

func (f *finder) run(c *cobra.Command) error {
	dir, err := caseDir(c)
	if err != nil {
		return err
	}
	base, err := readBase(c)
	if err != nil {
		return err
	}
	console, done, err := f.talk.open(c)
	if err != nil {
		return err
	}
	defer done()
	// Nobody answers questions first whose answers cannot be kept then.
	if err := keep(console, func() error { return casefile.Ready(dir) }); err != nil {
		return err
	}
	o := casefile.Opened{Tool: version, Base: base.Digest, Symptom: f.symptom, Guide: f.guide, Qualified: f.qualified}
	var h *circuit.Harness
	if f.harness != "" {
		data, err := os.ReadFile(f.harness)
		if err != nil {
			return inputError(readable(err))
		}
		if h, err = base.Harness(f.harness, data); err != nil {
			return inputError(err)
		}
		o.HarnessFile, o.HarnessText, o.Harness, o.Digest = f.harness, string(data), h.Name, digest(data)
	}
	if err := f.choose(console, base, h, &o); err != nil {
		return err
	}
	if h != nil {
		if o.Supply, err = f.supplies(console, h); err != nil {
			return err
		}
	}
	guides, err := base.Reach(o.Guide)
	if err != nil {
		return inputError(err)
	}
	if g := guides[o.Guide]; g != nil {
		if o.Facts, err = f.known(console, g, h, o.Supply); err != nil {
			return err
		}
	} else if len(f.facts) > 0 {
		return inputError(errors.New("--fact belongs to a guide, and none is joined here"))
	}
	if h != nil {
		if o.Before, err = mendedBefore(dir, o.Harness); err != nil {
			return err
		}
	}
	s, err := build(base, o, h)
	if err != nil {
		return err
	}
	err = keep(console, func() (err error) {
		s.journal, err = casefile.Create(dir, time.Now(), o)
		return err
	})
	if err != nil {
		return err
	}
	defer s.journal.Close()
	return console.work(s)
}

// keep makes a place for a case, and asks until it can be made or the person
// leaves.
func keep(console console, place func() error) error {
	for {
		err := place()
		if err == nil {
			return nil
		}
		err = fmt.Errorf("the case cannot be kept: %w; or give another folder with --dir", err)
		if console.trouble(err, "") != nil {
			return err
		}
	}
}

// mendedBefore counts, by cause, what was mended and proven on a harness of that
// name in the cases of the folder. Cases that cannot be read do not count.
func mendedBefore(dir, harness string) (map[string]int, error) {
	ids, err := casefile.List(dir)
	if err != nil {
		return nil, err
	}
	var before map[string]int
	for _, id := range ids {
		records, err := casefile.Read(dir, id)
		if err != nil || records[0].Opened.Harness != harness {
			continue
		}
		if end := casefile.End(records); end != nil && end.Status == engine.Proven && end.Cause != "" {
			if before == nil {
				before = map[string]int{}
			}
			before[end.Cause]++
		}
	}
	return before, nil
}

// readable drops the system call's name from a file error.
func readable(err error) error {
	var pe *fs.PathError
	if errors.As(err, &pe) {
		return fmt.Errorf("%s: %w", pe.Path, pe.Err)
	}
	return err
}

// choose settles the symptom and the guide.
func (f *finder) choose(console console, base *rules.Base, h *circuit.Harness, o *casefile.Opened) error {
	if f.guide != "" && base.Guide(f.guide) == nil {
		return inputError(fmt.Errorf("there is no guide %q; there are: %s", f.guide, strings.Join(base.GuideIDs(), "; ")))
	}
	if h == nil {
		if f.symptom != "" {
			return inputError(errors.New("--symptom names a symptom of a harness: give --harness too, or --guide"))
		}
		var err error
		if o.Guide == "" {
			o.Guide, err = firstQuestions(console, base)
		}
		return err
	}
	if o.Symptom == "" && len(h.Symptoms) > 0 {
		id, err := console.choose("What is wrong?", append(symptomIDs(h), somethingElse))
		if err != nil {
			return err
		}
		if id != somethingElse {
			o.Symptom = id
		}
	}
	if o.Symptom != "" {
		if _, ok := h.Symptom(o.Symptom); !ok {
			return inputError(fmt.Errorf("%s has no symptom %q; it has: %s", f.harness, o.Symptom, strings.Join(symptomIDs(h), "; ")))
		}
		if o.Guide == "" {
			if g := base.GuideFor(h, o.Symptom); g != nil {
				o.Guide = g.ID
			}
		}
	}
	return nil
}

// Ways out of the first questions.
const (
	allGuides = "show all guides"
	oneBack   = "back to the question before"
)

// firstQuestions leads from what the person sees to a guide. Who knows the guide
// may name it at any question.
func firstQuestions(console console, base *rules.Base) (string, error) {
	guides := base.GuideIDs()
	if base.First == nil || len(base.First.Answers) == 0 {
		return console.choose("What is wrong?", guides)
	}
	asked := []*rules.Question{base.First}
	for {
		q := asked[len(asked)-1]
		options := append(q.Says(), allGuides)
		if len(asked) > 1 {
			options = append(options, oneBack)
		}
		says, err := console.choose(q.Ask, options, append([]string{undoWord}, guides...)...)
		if err == nil && says == allGuides {
			says, err = console.choose("Which guide?", append(slices.Clone(guides), oneBack), undoWord)
			if err == nil && (says == oneBack || says == undoWord) {
				continue
			}
		}
		i := slices.IndexFunc(q.Answers, func(a rules.Answer) bool { return a.Say == says })
		switch {
		case err != nil:
			return "", err
		case says == oneBack || says == undoWord:
			asked = asked[:max(1, len(asked)-1)]
		case i < 0:
			return says, nil
		case q.Answers[i].Next != nil:
			asked = append(asked, q.Answers[i].Next)
		default:
			return q.Answers[i].Guide, nil
		}
	}
}

func symptomIDs(h *circuit.Harness) []string {
	var ids []string
	for _, s := range h.Symptoms {
		ids = append(ids, s.ID)
	}
	return ids
}

// Shares of what the drawing says that a good supply may read: a pack from
// nearly empty to fresh from the charger (common practice, no source).
const (
	leastSupply = 0.75
	mostSupply  = 1.3
)

// supplies gathers what the supplies read: given, else asked for.
func (f *finder) supplies(console console, h *circuit.Harness) (map[string]float64, error) {
	known := map[string]float64{}
	drawn := h.Supplies()
	for _, s := range f.supply {
		part, value, _ := strings.Cut(s, "=")
		volts, err := strconv.ParseFloat(value, 64)
		i := slices.IndexFunc(drawn, func(d circuit.Supply) bool { return d.Part == part })
		switch {
		case err != nil:
			return nil, inputError(fmt.Errorf("--supply %q: write part=volts", s))
		case i < 0:
			return nil, inputError(fmt.Errorf("--supply %q: there is no supply %q in %s", s, part, f.harness))
		case !(volts >= leastSupply*drawn[i].Volts && volts <= mostSupply*drawn[i].Volts):
			return nil, inputError(fmt.Errorf("--supply %q: a good %g V supply reads %.3g to %.3g V", s, drawn[i].Volts, leastSupply*drawn[i].Volts, mostSupply*drawn[i].Volts))
		}
		known[part] = volts
	}
	for _, d := range drawn {
		if _, ok := known[d.Part]; ok {
			continue
		}
		volts, ok, err := console.supply(d.Part, d.Volts)
		if err != nil {
			return nil, err
		}
		if ok {
			known[d.Part] = volts
		}
	}
	return known, nil
}

// known gathers the facts of the vehicle: those given, those that the drawing
// holds, then those asked for.
func (f *finder) known(console console, g *engine.Guide, h *circuit.Harness, supply map[string]float64) (map[string]any, error) {
	given := map[string]any{}
	if h != nil {
		for _, x := range g.Facts {
			for _, s := range h.Supplies() {
				p := h.Part(s.Part)
				if x.Supply == "" || p.Kind != g.Roles[x.Supply] || given[x.Name] != nil {
					continue
				}
				given[x.Name] = s.Volts
				if v, ok := supply[s.Part]; ok {
					given[x.Name] = v
				}
			}
		}
	}
	for _, s := range f.facts {
		name, value, ok := strings.Cut(s, "=")
		if !ok {
			return nil, inputError(fmt.Errorf("--fact %q: write name=value", s))
		}
		i := slices.IndexFunc(g.Facts, func(x engine.Fact) bool { return x.Name == name })
		if i < 0 {
			var names []string
			for _, x := range g.Facts {
				names = append(names, x.Name)
			}
			return nil, inputError(fmt.Errorf("--fact %q: guide %q knows: %s", s, g.ID, strings.Join(names, ", ")))
		}
		v, err := parseFact(g.Facts[i], value)
		if err != nil {
			return nil, inputError(err)
		}
		given[name] = v
	}
	return given, console.facts(g.Facts, given)
}

// parseFact reads a fact's value as typed.
func parseFact(f engine.Fact, s string) (any, error) {
	s = strings.ToLower(strings.TrimSpace(s))
	if f.YesNo {
		switch s {
		case "yes", "y", "true":
			return true, nil
		case "no", "n", "false":
			return false, nil
		}
		return nil, fmt.Errorf("%s: answer yes or no", f.Name)
	}
	if f.Choices != nil {
		if !slices.Contains(f.Choices, s) {
			return nil, fmt.Errorf("%s: answer one of: %s", f.Name, strings.Join(f.Choices, ", "))
		}
		return s, nil
	}
	x, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || !(x >= f.Low && x <= f.High) {
		return nil, fmt.Errorf("%s: want a number from %g to %g", f.Name, f.Low, f.High)
	}
	return x, nil
}
