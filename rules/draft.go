package rules

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"probable/engine/trial"
)

// GuideDraft is the least that a new guide is made of.
type GuideDraft struct {
	ID, About string
	Causes    []CauseDraft
}

// CauseDraft is a cause of a new guide, with the look that shows it.
type CauseDraft struct{ ID, Say, Repair, Look string }

// draftID is the longest ID that a draft takes, so that its check's ID fits too.
const draftID = 60

// CheckID says what is wrong with the ID of a new cause, check, guide or worked
// case, or nil.
func CheckID(id string) error {
	switch {
	case !idForm.MatchString(id):
		return fmt.Errorf("%q is not an id; use lower-case words", id)
	case len(id) > draftID:
		return fmt.Errorf("%d letters are too many; use at most %d", len(id), draftID)
	}
	return nil
}

// CheckGuide says what is wrong with the ID of a new guide of this base, or nil.
func (b *Base) CheckGuide(id string) error {
	if b.guides[id] != nil {
		return fmt.Errorf("there is a guide %q already", id)
	}
	return CheckID(id)
}

// CheckCause says what is wrong with the ID of a new cause of a draft, or nil.
func (g *GuideDraft) CheckCause(id string) error {
	taken := slices.ContainsFunc(g.Causes, func(c CauseDraft) bool { return c.ID == id })
	if taken || slices.Contains(draftCauses, id) {
		return fmt.Errorf("there is a cause %q already", id)
	}
	return CheckID(id)
}

// What a draft uses of the guide common.
var (
	draftCauses = []string{"last change left undone", "contact fails under load", "contact fails when moved", "water in a plug", "setting or type not as needed", "nothing is wrong", "the drawing is wrong"}
	draftFirst  = []string{"did it ever work", "what was last changed", "when it shows"}
	draftChecks = []string{"every plug looked at", "wires and plugs moved", "volts lost at each joint under load", "settings and plates compared", "drawing against the vehicle", "the symptom tried again"}
)

// YAML writes the draft as a guide file with comments on what to do next.
func (g *GuideDraft) YAML() []byte {
	var b strings.Builder
	fmt.Fprintf(&b, `# %s
#
# A first draft. Every key is explained in DEVELOPERS.md; look at it again with
#   probable kb check FILE       is anything wrong or doubtful?
#   probable kb coverage         does each cause end alone, in how many checks?
guide: %s
version: 2
about: %s

causes:
`, strings.ToUpper(g.ID[:1])+g.ID[1:], strconv.Quote(g.ID), strconv.Quote(g.About))
	for i, c := range g.Causes {
		note := func(text string) string {
			if i > 0 {
				return "" // once is enough
			}
			return text
		}
		fmt.Fprintf(&b, `  - id: %s
    say: %s
%s    odds: 4
%s    source: practice
%s    traits: [wear]
    repair: %s
%s    prove: [%s, the symptom tried again]
%s    kills: Nothing known.
    hurts: Nothing beyond the general cautions.
`, strconv.Quote(c.ID), strconv.Quote(c.Say),
			note("    # Relative to all other causes: a wire open is 4, a lamp open 8, a fuse blown 6,\n    # a dead part 3 to 5, a re-pinned plug mirrored 6.\n"),
			note("    # Where the odds come from: an id of sources.yaml, practice or memory.\n"),
			note("    # own work, new part, setting, wear, water, knock, overload, moves, load, warm:\n    # the first questions go by them.\n"),
			strconv.Quote(c.Repair),
			note("    # The checks that must read well after the repair.\n"), strconv.Quote(look(c.ID)),
			note("    # What kills the part, and what hurts the person, while working on it.\n"))
	}
	b.WriteString("  # What every symptom may turn out to be.\n")
	for _, id := range draftCauses {
		fmt.Fprintf(&b, "  - {use: common / %s}\n", id)
	}
	b.WriteString("\nchecks:\n  # The first questions of every guide. They go by the traits of the causes.\n")
	for _, id := range draftFirst {
		fmt.Fprintf(&b, "  - {use: common / %s}\n", id)
	}
	for i, c := range g.Causes {
		fmt.Fprintf(&b, `  - id: %s
    mode: look
    power: off
    say: %s
    why: It shows one cause by itself.
    minutes: 2
    access: 1
    risk: {module: 0, person: 0}
    source: practice
    outcomes:
      - {id: it is so, say: it is so}
      - {id: it is not so, say: it is not so}
    good: it is not so
`, strconv.Quote(look(c.ID)), strconv.Quote(c.Look))
		if i == 0 {
			b.WriteString("    # How often each outcome is seen under each cause, in the order of the outcomes;\n" +
				"    # each row sums to 1. Leave a hundredth everywhere: people misread.\n")
		}
		fmt.Fprintf(&b, "    table:\n      otherwise: [0.04, 0.96]\n      %s: [0.92, 0.08]\n", strconv.Quote(c.ID))
	}
	b.WriteString("  # Moved, under load, against the makers' sheets and against the drawing.\n")
	for _, id := range draftChecks {
		fmt.Fprintf(&b, "  - {use: common / %s}\n", id)
	}
	return []byte(b.String())
}

// look is the ID of the check that shows a cause of a draft.
func look(cause string) string { return "look for " + cause }

// PartDraft is the least that a new kind of part is made of: a resistance
// between two pins.
type PartDraft struct {
	Kind, About string
	Pins        [2]string
	Ohms        float64 // in use; over 0, to mostDraftOhms
}

const mostDraftOhms = 1e6

// CheckKind says what is wrong with the name of a new kind of part of this base,
// or nil.
func (b *Base) CheckKind(kind string) error {
	if b.Part(kind) != nil {
		return fmt.Errorf("there is a part of the kind %q already", kind)
	}
	return CheckName(kind)
}

// CheckName says what is wrong with the name of a part or pin, or nil.
func CheckName(name string) error {
	if !nameForm.MatchString(name) {
		return fmt.Errorf("%q is not a name; use letters, digits, - and _, no spaces", name)
	}
	return nil
}

// CheckOhms reads the resistance of a draft.
func CheckOhms(s string) (float64, error) {
	x, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	if err != nil || !(x > 0 && x <= mostDraftOhms) {
		return 0, fmt.Errorf("%q is no resistance in ohm; want a number over 0, up to %g", s, float64(mostDraftOhms))
	}
	return x, nil
}

// YAML writes the draft as a part file with comments on what to do next.
func (p *PartDraft) YAML() []byte {
	a, c := strconv.Quote(p.Pins[0]), strconv.Quote(p.Pins[1])
	return fmt.Appendf(nil, `# A first draft: one resistance. "The language of part files" in DEVELOPERS.md has
# sources, followers, diodes, settings, and what a part shows. Look at it again with
#   probable kb check FILE
part: %s
version: 1
about: %s
pins: [%s, %s]
# What a harness says of each part of this kind; without a default it must.
keys:
  ohms: {unit: ohm, over: 0, to: %g, default: %s, about: its resistance in use}
# What lies between the pins. A value is a number or an expression over the keys.
elements:
  - {id: body, resistance: [%s, %s], ohms: ohms, tolerance: 0.05}
# How it fails. Odds are relative to those of all parts and wires: a wire open is 4.
# The source is an id of sources.yaml, practice or memory.
failures:
  - {mode: open, odds: 4, source: practice, set: {body: {ohms: 1e9}}, repair: Replace it.}
  - {mode: shorted, odds: 0.5, source: practice, set: {body: {ohms: 0.01}}, repair: Replace it; a fuse may have blown with it.}
`, p.Kind, strconv.Quote(p.About), a, c, float64(mostDraftOhms), strconv.FormatFloat(p.Ohms, 'g', -1, 64), a, c)
}

// CaseDraft is a new worked case of a guide.
type CaseDraft struct {
	Guide, ID, About, Cause string
	Result                  trial.Result // how it went as the guide is now
}

// Found reports whether the cause stood in the verdict.
func (c *CaseDraft) Found() bool {
	return slices.Contains(c.verdict(), c.Cause)
}

func (c *CaseDraft) verdict() []string {
	var ids []string
	for _, x := range c.Result.Verdict.Causes {
		ids = append(ids, x.Cause.ID)
	}
	return ids
}

// spareChecks is how many more checks than now a drafted case may take.
const spareChecks = 3

// YAML writes the draft as a file of worked cases with comments on what to do
// next. It asks for the verdict that the case has now: the cause, or where that
// was not found the first that was.
func (c *CaseDraft) YAML() []byte {
	verdict, ends, note := c.Cause, trial.Listed, ""
	if !c.Found() {
		verdict = c.verdict()[0]
		note = "    # As the guide is now it does not find the cause: mend the guide, then this.\n"
	}
	if c.Result.Verdict.SameRepair {
		ends = trial.Alone
	}
	var asked []string
	for _, s := range c.Result.Steps {
		asked = append(asked, fmt.Sprintf("    #   %s: %s\n", s.Check.ID, s.Result))
	}
	return fmt.Appendf(nil, `# Worked cases of one guide. Play them with
#   probable kb try FILE
cases: %s
version: 1
play:
  - id: %s
    about: %s
    # What is wrong. Each check shows what is likeliest then, unless "readings" says
    # otherwise: a number in SI units, OL, an answer, or skip. These were asked:
%s    cause: %s
    readings: {}
%s    verdict: [%s]
    ends: %s
    at_most: %d
`, strconv.Quote(c.Guide), strconv.Quote(c.ID), strconv.Quote(c.About), strings.Join(asked, ""), strconv.Quote(c.Cause), note, strconv.Quote(verdict), ends, c.Result.Checks()+spareChecks)
}
