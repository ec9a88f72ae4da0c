package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/kb"
	"probable/rules"
)

// prove closes a case of the example cart as proven, in a folder of cases.
func prove(t *testing.T, dir string) {
	t.Helper()
	root := filepath.Join("..", "..", "testdata")
	code, _, errs := verb(t, "", "find", "--harness", filepath.Join(root, "harness", "cart-tail.yaml"), "--symptom", "tail dark",
		"--answers", filepath.Join(root, "played", "tail-dark.answers"), "--dir", dir)
	require.Equal(t, exitVerdict, code, errs)
}

func caseIDs(t *testing.T, dir string) []string {
	t.Helper()
	code, out, _ := verb(t, "", "cases", "--json", "--dir", dir)
	require.Equal(t, exitVerdict, code)
	var rows []caseRow
	require.NoError(t, json.Unmarshal([]byte(out), &rows))
	var ids []string
	for _, r := range rows {
		ids = append(ids, r.ID)
	}
	slices.Reverse(ids) // the oldest first
	return ids
}

// learnInto runs kb learn and returns what it says.
func learnInto(t *testing.T, to, dir string, cases ...string) learned {
	t.Helper()
	code, out, errs := verb(t, "", append([]string{"kb", "learn", "--json", "--to", to, "--dir", dir}, cases...)...)
	require.Equal(t, exitVerdict, code, errs)
	var l learned
	require.NoError(t, json.Unmarshal([]byte(out), &l))
	return l
}

// TestLearn: a proven case moves the odds of what it was by the formula, counts
// once, and comes to the same whether cases are counted together or apart.
func TestLearn(t *testing.T) {
	dir, to, apart := t.TempDir(), filepath.Join(t.TempDir(), "kb"), t.TempDir()
	prove(t, dir)
	prove(t, dir)
	verb(t, "", "find", "--guide", "throttle dead", "--pipe", "--dir", dir)
	ids := caseIDs(t, dir)
	require.Len(t, ids, 3)

	l := learnInto(t, to, dir, ids...)
	require.Equal(t, 2, l.Counted)
	require.Equal(t, "part wire open", l.Cases[0].Cause)
	require.Equal(t, "it is not proven, but open", l.Cases[2].Why)
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	shipped := base.Odds()
	var share float64 // of wires that are open, from the lessons themselves
	data, err := os.ReadFile(filepath.Join(to, lessonsName))
	require.NoError(t, err)
	var first lesson
	require.NoError(t, json.NewDecoder(bytes.NewReader(data)).Decode(&first))
	share = first.Share["part wire open"]
	require.Greater(t, share, 0.01)
	found := false
	for _, m := range l.Moved {
		require.Equal(t, shipped[m.Key], m.Old)
		require.Equal(t, 2, m.Of)
		if m.Key == "part wire open" {
			found = true
			require.Equal(t, 2, m.Was)
			require.InDelta(t, m.Old*(20+2/share)/22, m.New, 1e-6)
		} else {
			require.InDelta(t, m.Old*20/22, m.New, 1e-6, m.Key)
		}
	}
	require.True(t, found)

	before, err := os.ReadFile(filepath.Join(to, oddsName))
	require.NoError(t, err)
	again := learnInto(t, to, dir, ids...)
	require.Equal(t, 0, again.Counted)
	require.Equal(t, "it was counted before", again.Cases[0].Why)
	after, err := os.ReadFile(filepath.Join(to, oddsName))
	require.NoError(t, err)
	require.Equal(t, string(before), string(after), "the same cases change nothing")

	learnInto(t, apart, dir, ids[0])
	learnInto(t, apart, dir, filepath.Join(dir, ids[1]+".case.jsonl"))
	one, err := os.ReadFile(filepath.Join(apart, oddsName))
	require.NoError(t, err)
	require.Equal(t, string(before), string(one), "one after the other is as both at once")

	code, out, _ := verb(t, "", "kb", "learn", "--to", to, "--dir", dir, ids[0])
	require.Equal(t, exitVerdict, code)
	inColumns(t, out)
	require.Contains(t, out, "part wire open")
	require.Contains(t, out, "2 of 2")
	require.Contains(t, out, "Nothing new to count")
}

// TestLearnElsewhere: the default folder is the user's own, a case of another
// folder is not taken for one of the same name, and odds that were not learned
// here are not written over.
func TestLearnElsewhere(t *testing.T) {
	config := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", config)
	dir, other := t.TempDir(), t.TempDir()
	prove(t, dir)
	prove(t, other)
	id := caseIDs(t, dir)[0]
	code, out, errs := verb(t, "", "kb", "learn", "--dir", dir, id)
	require.Equal(t, exitVerdict, code, errs)
	require.Contains(t, out, filepath.Join(config, "probable", "kb", oddsName))
	require.FileExists(t, filepath.Join(config, "probable", "kb", oddsName))

	l := learnInto(t, filepath.Join(config, "probable", "kb"), other, id)
	require.Equal(t, "another case of that name was counted before", l.Cases[0].Why)

	require.NoError(t, os.Remove(filepath.Join(config, "probable", "kb", lessonsName)))
	code, _, errs = verb(t, "", "kb", "learn", "--dir", dir, id)
	require.Equal(t, exitInput, code)
	require.Contains(t, errs, "without lessons.jsonl")

	for _, args := range [][]string{{"2026-01-01-99"}, {"no-case"}, {}} {
		code, _, _ = verb(t, "", append([]string{"kb", "learn", "--to", t.TempDir(), "--dir", dir}, args...)...)
		require.Equal(t, exitInput, code, args)
	}
}

// TestLearnedLiesOver: what was learned is read with the knowledge from then on,
// and cases that are learned after it still count by the shipped odds.
func TestLearnedLiesOver(t *testing.T) {
	config, dir, apart := t.TempDir(), t.TempDir(), t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", config)
	prove(t, dir)
	prove(t, dir)
	ids := caseIDs(t, dir)
	own := filepath.Join(config, "probable", "kb")
	l := learnInto(t, own, dir, ids[0])
	text, err := os.ReadFile(filepath.Join(own, oddsName))
	require.NoError(t, err)
	read, err := rules.ReadLearned(oddsName, text)
	require.NoError(t, err)
	require.Equal(t, ids[:1], read.Cases)
	base, err := rules.ReadBase(kb.Files, rules.Layer{Name: own, Files: os.DirFS(own)})
	require.NoError(t, err)
	odds := base.Odds()
	for _, m := range l.Moved {
		require.InEpsilon(t, m.New, odds[m.Key], 1e-3, m.Key)
	}
	code, out, errs := verb(t, "", "kb", "show", "part", "wire", "open")
	require.Equal(t, exitVerdict, code)
	require.Contains(t, errs, "override")
	require.Contains(t, out, "learned from proven cases")

	learnInto(t, own, dir, ids[1])
	learnInto(t, apart, dir, ids...)
	one, err := os.ReadFile(filepath.Join(own, oddsName))
	require.NoError(t, err)
	both, err := os.ReadFile(filepath.Join(apart, oddsName))
	require.NoError(t, err)
	require.Equal(t, string(both), string(one))
}
