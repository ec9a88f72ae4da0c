package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/trial"
	"probable/rules"
)

// typed is what a person types, an answer a line.
func typed(answers ...string) string { return strings.Join(answers, "\n") + "\n" }

var hornAnswers = []string{
	"horn silent", "The button is pressed and the horn says \"nothing\": not a sound, # ever.",
	"Horn Dead", "nothing is wrong", "horn dead", "The horn is burnt out.", "Is its housing melted?", "Replace the horn.",
	"horn dead", "button worn", "The button does not close.", "Is it loose?", "Replace the button.", "-",
}

// TestNewGuide: a few answers, wrong ones among them, make a guide that has no
// problem and that finds each of its causes.
func TestNewGuide(t *testing.T) {
	file := filepath.Join(t.TempDir(), "more", "horn.yaml")
	code, out, errs := verb(t, typed(hornAnswers...), "kb", "new", "guide", "--to", file)
	require.Equal(t, exitVerdict, code, errs)
	inColumns(t, out)
	require.Contains(t, out, `"Horn Dead" is not an id; use lower-case words`)
	require.Contains(t, out, `there is a cause "nothing is wrong" already`)
	require.Contains(t, out, `there is a cause "horn dead" already`)
	text, err := os.ReadFile(file)
	require.NoError(t, err)
	base := shippedBase(t)
	g, err := base.ReadGuide(file, text, sourceIDs(base))
	require.NoError(t, err)
	require.Equal(t, hornAnswers[1], g.About)
	guides := base.Guides()
	guides[g.ID] = g
	for _, id := range []string{"horn dead", "button worn"} {
		o := trial.Tryer{Guide: g, Guides: guides}.Play(&trial.Case{Cause: id, Verdict: []string{id}, Ends: trial.Alone, AtMost: 12})
		require.Empty(t, o.Differs, id)
	}

	code, out, errs = verb(t, "", "kb", "check", "--strict", file)
	require.Equal(t, exitVerdict, code, out+errs)
	require.Contains(t, out, "0 errors, 0 warnings", "the whole review finds nothing")

	code, _, errs = verb(t, typed(hornAnswers...), "kb", "new", "guide", "--to", file)
	require.Equal(t, exitInput, code)
	require.Contains(t, errs, "is there already")
	again, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Equal(t, text, again)
}

// TestNewPart: a new kind of part can be drawn, and reads what was said.
func TestNewPart(t *testing.T) {
	config := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", config)
	code, out, errs := verb(t, typed("lamp", "grip heater", "heater", "A grip heater: \"one\" resistance.", "plus", "plus", "minus", "none", "12,5"), "kb", "new", "part")
	require.Equal(t, exitVerdict, code, errs)
	inColumns(t, out)
	require.Contains(t, out, `there is a part of the kind "lamp" already`)
	require.Contains(t, out, `"grip heater" is not a name`)
	require.Contains(t, out, "the first pin is called so")
	require.Contains(t, out, `"none" is no resistance in ohm`)
	text, err := os.ReadFile(filepath.Join(config, "probable", "kb", "parts", "heater.yaml"))
	require.NoError(t, err)
	base := shippedBase(t)
	p, err := rules.ReadPart("heater.yaml", text, sourceIDs(base))
	require.NoError(t, err)
	require.Equal(t, []string{"plus", "minus"}, p.Pins)
	require.Equal(t, 12.5, *p.Keys[0].Default)
}

// TestNewCase: a drafted case passes as it is, whatever its cause.
func TestNewCase(t *testing.T) {
	base := shippedBase(t)
	for _, id := range base.GuideIDs()[:2] {
		g := base.Guide(id)
		for _, cause := range []engine.GuideCause{g.Causes[0], g.Causes[len(g.Causes)-1]} {
			file := filepath.Join(t.TempDir(), "case.yaml")
			code, out, errs := verb(t, typed(id, cause.ID, "magnet lost", "It fell off: \"so\"."), "kb", "new", "case", "--to", file)
			require.Equal(t, exitVerdict, code, "%s / %s: %s%s", id, cause.ID, out, errs)
			code, out, errs = verb(t, "", "kb", "try", file)
			require.Equal(t, exitVerdict, code, "%s / %s: %s%s", id, cause.ID, out, errs)
			require.Contains(t, out, "1 case: 1 passed, 0 did not")
		}
	}
}

// TestNewStopped: without the last answer nothing is written.
func TestNewStopped(t *testing.T) {
	for kind, answers := range map[string]string{"guide": typed(hornAnswers[:10]...), "part": "heater\n", "case": "1\n", "": ""} {
		file := filepath.Join(t.TempDir(), "x.yaml")
		args := []string{"kb", "new"}
		if kind != "" {
			args = append(args, kind, "--to", file)
		}
		code, _, errs := verb(t, answers, args...)
		require.NoFileExists(t, file)
		if kind == "" {
			require.Equal(t, exitVerdict, code, "the help")
			continue
		}
		require.Equal(t, exitInput, code)
		require.Equal(t, "stopped before the last answer; nothing was written\n", errs)
	}
}

// TestNewCaseNotFound: a case whose cause the guide does not find asks for what
// it finds, and says so.
func TestNewCaseNotFound(t *testing.T) {
	c := rules.CaseDraft{Guide: "g", ID: "a", About: "x", Cause: "wet", Result: trial.Result{Verdict: &engine.Verdict{
		Causes: []engine.Ranked{{Cause: &engine.Cause{ID: "worn"}, P: 0.9}}}}}
	require.False(t, c.Found())
	require.Contains(t, string(c.YAML()), "does not find the cause")
	require.Contains(t, string(c.YAML()), "verdict: [\"worn\"]\n    ends: listed\n")
}
