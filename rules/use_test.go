package rules_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/rules"
)

// lender is a guide that lends a cause and checks, with a fact and a trait row.
const lender = `guide: lender
version: 2
shared: yes
about: x
facts:
  fitted: {kind: yes_no, ask: "Is it fitted?", default: yes}
  sort: {kind: choice, of: [hall, pot], ask: "Which sort?", default: hall}
causes:
  - {id: wet, say: Water., odds: 2, source: s1, repair: Dry it., prove: [look], kills: x, hurts: x, traits: [water], when: fitted}
  - {id: worn, say: Worn., odds: 3, source: s1, repair: Renew it., prove: [look], kills: x, hurts: x, traits: [wear]}
checks:
  - id: look
    mode: look
    power: off
    say: Look.
    why: It shows.
    minutes: 1
    source: s1
    when: fitted && sort == "hall"
    outcomes: [{id: dry, say: dry}, {id: wet, say: wet}]
    good: dry
    table:
      otherwise: [0.9, 0.1]
      trait water: [0.2, 0.8]
      worn: [0.7, 0.3]
`

// borrower uses the lender's things; the rest is filled in by the tests.
const borrower = `guide: borrower
version: 2
about: x
causes:
  - {use: lender / wet, odds: 5}
  - {id: broken, say: x, odds: 1, source: s1, repair: x, prove: [volts], kills: x, hurts: x, traits: [water]}
checks:
  - use: lender / look
    table:
      broken: [0.4, 0.6]
  - id: volts
    mode: volts_dc
    power: live
    say: x
    why: x
    minutes: 1
    source: s1
    cautions: [x]
    when: answer("look") != "wet"
    outcomes: [{id: low, when: "!over && v < 1", say: under 1 V}, {id: high, when: "over || v >= 1", say: 1 V or more}]
    good: high
    table:
      otherwise: [0.1, 0.9]
      broken: [0.9, 0.1]
`

// guides is a base of guides.
func guides(t *testing.T, texts ...string) (*rules.Base, error) {
	t.Helper()
	more := map[string]string{}
	for _, text := range texts {
		name, _, _ := strings.Cut(strings.TrimPrefix(text, "guide: "), "\n")
		more["guides/"+name+".yaml"] = text
	}
	return rules.ReadBase(small(more))
}

func TestUse(t *testing.T) {
	b, err := guides(t, lender, borrower)
	require.NoError(t, err)
	require.Equal(t, []string{"borrower"}, b.GuideIDs(), "a shared guide is no symptom")
	g := b.Guide("borrower")

	wet := g.Causes[0]
	require.Equal(t, "wet", wet.ID)
	require.Equal(t, "lender / wet", wet.Origin)
	require.Equal(t, 5.0, wet.Odds, "given anew")
	require.Equal(t, "Dry it.", wet.Repair)
	require.Equal(t, []string{"look"}, wet.Prove)
	require.Equal(t, "borrower / broken", g.Causes[1].Origin)

	look := g.Checks[0]
	require.Equal(t, "lender / look", look.Origin)
	require.Equal(t, []string{"dry", "wet"}, look.Answers)
	require.Equal(t, map[string][]float64{"broken": {0.4, 0.6}}, look.Table, "no row for a cause that is not here")
	require.Equal(t, []float64{0.2, 0.8}, look.ByTrait["water"])

	var names []string
	for _, f := range g.Facts {
		names = append(names, f.Name)
	}
	require.ElementsMatch(t, []string{"fitted", "sort"}, names, "the facts of its conditions come along")

	for _, tt := range []struct {
		facts map[string]any
		want  int // causes, without the unexplained one
	}{
		{nil, 2},
		{map[string]any{"fitted": false}, 1},
	} {
		m, err := engine.FromGuide(engine.Options{Guide: g, Facts: tt.facts, Guides: b.Guides()})
		require.NoError(t, err)
		require.Len(t, m.Causes, tt.want+1, "%v", tt.facts)
		require.Equal(t, tt.want == 2, m.Check("look") != nil, "%v", tt.facts)
	}
}

// TestUseProblems changes one thing in the borrower and wants one line.
func TestUseProblems(t *testing.T) {
	tests := []struct {
		name, from, to string
		want           string
	}{
		{"no such guide", "use: lender / wet", "use: lendr / wet",
			`kb/guides/borrower.yaml:5:11: use: there is no guide "lendr"; did you mean "lender"?`},
		{"no such cause", "use: lender / wet", "use: lender / wett",
			`kb/guides/borrower.yaml:5:11: use: lender has no cause "wett"; did you mean "wet"?`},
		{"no such check", "use: lender / look", "use: lender / feel",
			`kb/guides/borrower.yaml:19:11: check volts: when: there is no check "look"; choose from: feel, volts` + "\n" +
				`kb/guides/borrower.yaml:5:11: use: cause wet: none of the checks that prove it in lender is here; use one, or give "prove"` + "\n" +
				`kb/guides/borrower.yaml:8:10: use: lender has no check "feel"; choose from: look`},
		{"no reference", "use: lender / wet", "use: wet",
			`kb/guides/borrower.yaml:5:11: cause: use: "wet" names nothing; write GUIDE / ID`},
		{"itself", "use: lender / wet", "use: borrower / broken",
			`kb/guides/borrower.yaml:5:11: cause: use: "borrower / broken" is of this guide itself`},
		{"a source of no figures", "use: lender / wet, odds: 5}", "use: lender / wet, source: s1}",
			`kb/guides/borrower.yaml:5:33: cause wet: source: there are no figures here that it could be of; give "odds", or leave it away`},
		{"words given anew", "odds: 5}", "say: Damp.}",
			`kb/guides/borrower.yaml:5:25: cause: unknown key "say"; choose from: use, odds, source, prove, traits, when`},
		{"a row too long", "broken: [0.4, 0.6]", "broken: [0.4, 0.3, 0.3]",
			`kb/guides/borrower.yaml:10:15: check look: table: broken: want 2 values, one for each outcome, not 3`},
		{"an answer that is none", `!= "wet"`, `!= "damp"`,
			`kb/guides/borrower.yaml:19:11: check look has no outcome "damp"; choose from: dry, wet`},
		{"a check that is none", `answer("look")`, `answer("lok")`,
			`kb/guides/borrower.yaml:19:11: check volts: when: there is no check "lok"; did you mean "look"?`},
		{"not in quotes", `answer("look") != "wet"`, `answer(answer("look")) != "wet"`,
			`kb/guides/borrower.yaml:19:11: check volts: when: name the check or role in quotes, as in answer("...")`},
		{"unknown trait", "traits: [water]", "traits: [wet]",
			`kb/guides/borrower.yaml:6:103: cause broken: there is no trait "wet"; choose from: own work, new part, setting, wear, water, knock, overload, moves, load, warm, nothing, drawing`},
		{"proof of the lender only", "use: lender / wet, odds: 5}\n", "use: lender / wet}\n  - {use: lender / worn, prove: [nothing]}\n",
			`kb/guides/borrower.yaml:6:34: cause worn: prove: there is no check "nothing"; choose from: look, volts`},
		{"hand-off to a guide that only lends", "traits: [water]", "hand_off: lender",
			`kb/guides/borrower.yaml:6:104: cause broken: hand_off: there is no guide "lender"; choose from: borrower`},
		{"version 1", "version: 2", "version: 1",
			`kb/guides/borrower.yaml:2:10: version: this file is of version 1; to bring it to version 2 give each swap check "proves", "does_not_prove" and "after", ` +
				`take the first questions from the guide common by "use", give the causes "traits", and write 2 here`},
		{"version 3", "version: 2", "version: 3",
			`kb/guides/borrower.yaml:2:10: version: version 3 is newer than this program reads (2); use a newer program`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := guides(t, lender, strings.Replace(borrower, tt.from, tt.to, 1))
			got := ""
			if err != nil {
				got = err.Error()
			}
			require.Equal(t, tt.want, got)
		})
	}
	t.Run("chain", func(t *testing.T) {
		third := strings.NewReplacer("guide: borrower", "guide: third", "lender / look", "borrower / look").Replace(borrower)
		_, err := guides(t, lender, borrower, third)
		require.EqualError(t, err, `kb/guides/third.yaml:8:10: use: borrower has the check "look" from lender; write "lender / look"`)
	})
}

func TestWhenOfWhatWasLearned(t *testing.T) {
	b, err := guides(t, lender, borrower)
	require.NoError(t, err)
	m, err := engine.FromGuide(engine.Options{Guide: b.Guide("borrower"), Guides: b.Guides()})
	require.NoError(t, err)
	for _, tt := range []struct{ answer, next string }{{"dry", "volts"}, {"wet", ""}} {
		c := engine.NewCourse(m, engine.Gate{})
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: "look", Result: engine.Result{Answer: tt.answer}}))
		next := ""
		if step := c.Next(); step.Check != nil {
			next = step.Check.ID
		}
		require.Equal(t, tt.next, next, "after %s", tt.answer)
	}
}

// TestTemplate computes a check from a template, with the pack of a fact.
func TestTemplate(t *testing.T) {
	b, ids := shipped(t)
	const text = `guide: any light
version: 2
about: x
template: {harness: lamp, set: {pack.volts: pack_volts}}
roles: {lamp: lamp, pack: battery}
facts:
  pack_volts: {kind: number, supply: pack, unit: V, from: 12, to: 100, ask: x, default: 36}
causes:
  - {id: plus side open, say: x, odds: 4, source: practice, repair: x, prove: [volts], kills: x, hurts: x, stands_for: ["wire feed* open", "wire lead open"]}
  - {id: minus side open, say: x, odds: 4, source: practice, repair: x, prove: [volts], kills: x, hurts: x, stands_for: ["wire back* open"]}
  - {id: lamp open, say: x, odds: 8, source: practice, repair: x, prove: [volts], kills: x, hurts: x, stands_for: ["part {lamp} open"]}
  - {id: something odd, say: x, odds: 1, source: practice, repair: x, prove: [volts], kills: x, hurts: x}
checks:
  - id: volts
    mode: volts_dc
    power: live
    say: x
    why: x
    minutes: 1
    source: practice
    cautions: [x]
    computed: {red: lamp.plus, black: lamp.minus}
  - id: lift
    mode: volts_dc
    power: live
    say: x
    why: x
    minutes: 1
    source: practice
    cautions: [x]
    computed: {red: lamp.minus, black: pack.minus}
`
	g, err := b.ReadGuide("x.yaml", []byte(text), ids)
	require.NoError(t, err)
	for _, volts := range []float64{36, 48} {
		m, err := engine.FromGuide(engine.Options{Guide: g, Facts: map[string]any{"pack_volts": volts}})
		require.NoError(t, err)
		require.Len(t, m.Checks, 2)
		good := m.Check("volts").Expect
		require.Less(t, good.Low, volts)
		require.Greater(t, good.High, volts-1, "a lamp of 0.1 A drops next to nothing")
		for _, tt := range []struct {
			at, lift float64
			want     string
		}{
			{volts, 0, "lamp open"},
			{0, 0, "plus side open"}, // the lamp drains what leaks
			{0, volts, "minus side open"},
		} {
			c := engine.NewCourse(m, engine.Gate{})
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: "lift", Result: engine.Result{Value: tt.lift}}))
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: "volts", Result: engine.Result{Value: tt.at}}))
			r, _ := c.Ranking()
			require.Equal(t, tt.want, r[0].Cause.ID, "%g V pack: %g V, %g V", volts, tt.at, tt.lift)
			require.Greater(t, r[0].P, 0.5)
		}
	}
}

// TestSeveralNumbers reads a wiggle and a sweep that are measured.
func TestSeveralNumbers(t *testing.T) {
	const text = `guide: several
version: 2
about: x
causes:
  - {id: loose, say: x, odds: 1, source: practice, repair: x, prove: [flex], kills: x, hurts: x}
  - {id: dead, say: x, odds: 1, source: practice, repair: x, prove: [compare], kills: x, hurts: x}
checks:
  - id: flex
    mode: wiggle
    measures: volts_dc
    power: live
    say: x
    why: x
    minutes: 1
    source: practice
    cautions: [x]
    outcomes:
      - {id: drops, when: high - low > 0.5, say: it drops}
      - {id: steady, say: it stays}
    good: steady
    table:
      otherwise: [0.05, 0.95]
      loose: [0.9, 0.1]
  - id: compare
    mode: swap
    measures: volts_dc
    sweep: [rest, half, full]
    power: live
    say: x
    why: x
    minutes: 1
    source: practice
    cautions: [x]
    after: [flex]
    proves: x
    does_not_prove: x
    outcomes:
      - {id: alike, when: alike, say: alike}
      - {id: old one stands still, when: old_high - old_low < 0.2, say: it does not sweep}
      - {id: other, say: anything else}
    good: alike
    table:
      otherwise: [0.9, 0.05, 0.05]
      dead: [0.1, 0.8, 0.1]
`
	b, ids := shipped(t)
	g, err := b.ReadGuide("x.yaml", []byte(text), ids)
	require.NoError(t, err)
	m, err := engine.FromGuide(engine.Options{Guide: g})
	require.NoError(t, err)
	flex, compare := m.Check("flex"), m.Check("compare")
	require.Equal(t, 2, flex.Wants())
	require.Equal(t, 6, compare.Wants())

	require.Equal(t, []string{"rest", "half", "full"}, compare.Sweep)
	tests := []struct {
		flex, compare []float64
		first         string
		shows         string
	}{
		{[]float64{3.1, 4.9}, nil, "loose", "3.1 V to 4.9 V"},
		{[]float64{4.8, 4.9}, []float64{0.85, 0.85, 2.4, 2.45, 4.1, 4.2}, "loose", ""},
		{[]float64{4.8, 4.9}, []float64{0.85, 0.85, 0.85, 2.45, 0.86, 4.2}, "dead", "rest 0.85 V against 0.85 V, half 0.85 V against 2.45 V, full 0.86 V against 4.2 V"},
	}
	for _, tt := range tests {
		c := engine.NewCourse(m, engine.Gate{})
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: "flex", Result: engine.Result{Values: tt.flex}}))
		shown := flex.Shows(engine.Result{Values: tt.flex})
		if tt.compare != nil {
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: "compare", Result: engine.Result{Values: tt.compare}}))
			shown = compare.Shows(engine.Result{Values: tt.compare})
		}
		r, _ := c.Ranking()
		if tt.first == "loose" && tt.compare != nil {
			// Both read well; what is left leans to neither by much.
			require.InDelta(t, r[0].P, r[1].P, 0.5)
		} else {
			require.Equal(t, tt.first, r[0].Cause.ID)
		}
		if tt.shows != "" {
			require.Equal(t, tt.shows, shown)
		}
	}
	for _, r := range []engine.Result{{Values: []float64{1}}, {Values: []float64{5, 4}}, {Values: []float64{1, 2, 3}}} {
		require.Error(t, engine.NewCourse(m, engine.Gate{}).Apply(engine.Event{Kind: engine.Read, Check: "flex", Result: r}))
	}

	for _, tt := range []struct{ from, to, want string }{
		{"measures: volts_dc\n    power", "measures: smell\n    power", `x.yaml:10:15: check flex: measures: "smell" is none of: volts_dc, ohms, amps_dc`},
		{"    sweep: [rest, half, full]\n", "", `x.yaml:26:15: check compare: name in "sweep" the positions in which both parts are measured`},
		{"{id: steady, say", "{id: steady, when: low > 1, say", `x.yaml:19:28: check flex: outcome steady: the last goes without "when", for all that is left`},
		{"when: high - low > 0.5, ", "", `x.yaml:18:9: check flex: outcome drops: needs "when"; only the last goes without, for all that is left`},
		{"when: high - low > 0.5", "when: v > 0.5", `x.yaml:18:27: check flex: outcome drops: unknown name v; it may use high, low`},
	} {
		_, err := b.ReadGuide("x.yaml", []byte(strings.Replace(text, tt.from, tt.to, 1)), ids)
		require.EqualError(t, err, tt.want)
	}
}
