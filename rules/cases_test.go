package rules_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/trial"
	"probable/rules"
)

const worked = `cases: borrower
version: 1
play:
  - id: rain
    about: It rained.
    cause: wet
    facts: {fitted: yes, sort: pot}
    readings:
      look: skip
      volts: low
    verdict: [wet, nothing here explains this]
    ends: listed
    at_most: 7
    qualified: yes
  - {id: read, about: x, readings: {look: wet, volts: OL}, verdict: [broken], ends: alone}
  - {id: number, about: x, readings: {volts: 4.5e-3}, verdict: [broken]}
`

func TestReadCases(t *testing.T) {
	b, err := guides(t, lender, borrower)
	require.NoError(t, err)
	c, err := b.ReadCases("kb/cases/x.yaml", []byte(worked))
	require.NoError(t, err)
	require.Equal(t, "borrower", c.Guide.ID)
	require.Equal(t, []trial.Case{
		{ID: "rain", About: "It rained.", Cause: "wet", Facts: map[string]any{"fitted": true, "sort": "pot"},
			Answers: map[string]trial.Answer{"look": {Skip: true}, "volts": {Outcome: "low"}},
			Verdict: []string{"wet", engine.Unexplained}, Ends: trial.Listed, AtMost: 7, Qualified: true},
		{ID: "read", About: "x", Facts: map[string]any{},
			Answers: map[string]trial.Answer{"look": {Result: engine.Result{Answer: "wet"}}, "volts": {Result: engine.Result{Over: true}}},
			Verdict: []string{"broken"}, Ends: trial.Alone},
		{ID: "number", About: "x", Facts: map[string]any{},
			Answers: map[string]trial.Answer{"volts": {Result: engine.Result{Value: 0.0045}}}, Verdict: []string{"broken"}},
	}, c.Play)
	require.Equal(t, rules.Place{File: "kb/cases/x.yaml", Line: 4, Column: 5}, c.Place(0, ""))
	require.Equal(t, rules.Place{File: "kb/cases/x.yaml", Line: 10, Column: 7}, c.Place(0, "readings / volts"))
	require.Equal(t, rules.Place{File: "kb/cases/x.yaml", Line: 13, Column: 5}, c.Place(0, "at_most"))
	require.Equal(t, rules.Place{File: "kb/cases/x.yaml", Line: 15, Column: 5}, c.Place(1, "at_most"), "where the case begins")
}

// TestBadCases: each mistake in a file of worked cases is told once, where it is.
func TestBadCases(t *testing.T) {
	b, err := guides(t, lender, borrower)
	require.NoError(t, err)
	for _, tt := range []struct{ old, new, want string }{
		{"cases: borrower", "cases: lender", `f:1:8: cases: there is no guide "lender"; choose from: borrower`},
		{"version: 1", "version: 2", "f:2:10: version: version 2 is newer than this program reads (1); use a newer program"},
		{"    cause: wet\n", "    cause: damp\n", `f:6:12: case rain: there is no cause "damp"; choose from: wet, broken`},
		{"    cause: wet\n", "    sauce: wet\n", `f:6:5: case: unknown key "sauce"; did you mean "cause"?`},
		{"{fitted: yes,", "{fited: yes,", `f:7:13: case rain: facts: there is no fact "fited"; did you mean "fitted"?`},
		{"{fitted: yes,", "{fitted: 5,", "f:7:21: case rain: fitted: want yes or no"},
		{"sort: pot}", "sort: dot}", `f:7:32: case rain: sort: there is no choice "dot"; did you mean "pot"?`},
		{"      look: skip", "      looks: skip", `f:9:7: case rain: readings: there is no check "looks"; did you mean "look"?`},
		{"      look: skip", "      look: damp", `f:9:13: case rain: look: there is no outcome "damp"; choose from: dry, wet, skip`},
		{"      volts: low", "      volts: [1, 2]", "f:10:14: case rain: volts: this check wants one answer"},
		{"      look: skip", "      look: [1, two]", `f:9:17: case rain: look: want a number, not "two"`},
		{"      volts: low", "      volts: lower", `f:10:14: case rain: volts: want a number, not "lower"`},
		{"      volts: low", "      volts: 1e12", "f:10:14: case rain: volts: 1e+12 is not a reading of a bench meter"},
		{"[wet, nothing", "[damp, nothing", `f:11:15: case rain: verdict: there is no cause "damp"; choose from: wet, broken`},
		{"ends: listed", "ends: alonely", `f:12:11: case rain: ends: "alonely" is none of: alone, listed`},
		{"at_most: 7", "at_most: 0", "f:13:14: case rain: at_most: 0 is impossible; want 1 to 200"},
		{"{id: read,", "{id: rain,", "f:15:10: case rain: the id stands twice"},
		{"{id: number, about: x, readings: {volts: 4.5e-3},", "{id: number, about: x,", "f:16:5: case number: give the cause, or what was read"},
		{"{id: number, about: x, readings: {volts: 4.5e-3}, verdict: [broken]}", "{id: number, about: x, cause: wet}", `f:16:5: case: "verdict" is missing`},
	} {
		text := strings.Replace(worked, tt.old, tt.new, 1)
		require.NotEqual(t, worked, text, tt.old)
		_, err := b.ReadCases("f", []byte(text))
		require.EqualError(t, err, tt.want, "%s", tt.new)
	}
}

// TestCasesOfSeveralNumbers: a check that wants several numbers is given a list.
func TestCasesOfSeveralNumbers(t *testing.T) {
	b, _ := shipped(t)
	text := func(numbers string) []byte {
		return []byte("cases: throttle dead\nversion: 1\nplay:\n  - {id: a, about: x, readings: {flex the throttle lead: " + numbers + "}, verdict: [nothing here explains this]}\n")
	}
	c, err := b.ReadCases("f", text("[0.8, 4.2]"))
	require.NoError(t, err)
	require.Equal(t, trial.Answer{Result: engine.Result{Values: []float64{0.8, 4.2}}}, c.Play[0].Answers["flex the throttle lead"])
	_, err = b.ReadCases("f", text("[4.2, 0.8]"))
	require.EqualError(t, err, "f:4:58: case a: flex the throttle lead: the least comes first: 4.2 is above 0.8")
	_, err = b.ReadCases("f", text("[4.2]"))
	require.EqualError(t, err, "f:4:58: case a: flex the throttle lead: this check wants 2 numbers, not 1")
}

func FuzzCases(f *testing.F) {
	f.Add(worked)
	f.Add("cases: borrower\nversion: 1\nplay: [{id: a, about: b, readings: {look: {}}, verdict: x}]\n")
	f.Fuzz(func(t *testing.T, text string) {
		b, err := guides(t, lender, borrower)
		require.NoError(t, err)
		c, err := b.ReadCases("f", []byte(text))
		if err != nil {
			return
		}
		// What is read without a problem can be played.
		for _, o := range (trial.Tryer{Guide: c.Guide, Guides: b.Guides()}).All(c.Play) {
			require.True(t, o.Verdict != nil || len(o.Differs) > 0)
		}
	})
}
