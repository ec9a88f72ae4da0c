package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/casefile"
)

// TestBenchWords types what is no answer: notes, pictures, the wiring, and
// another answer for an earlier check.
func TestBenchWords(t *testing.T) {
	dir := t.TempDir()
	photo := filepath.Join(dir, "plug.jpg")
	require.NoError(t, os.WriteFile(photo, []byte("x"), 0o600))
	got := atBench(t, dir, strings.Join([]string{"36.2",
		"wiring",
		"note",
		"note the fuse holder looks green",
		"photo " + photo,
		"photo " + photo + ".not",
		"35.9", // misread
		"change",
		"change 7",
		"change 1", "0.34",
		"change 1 0.35",
		"OL", "no beep", "OL", "help", "ranking", "proof", "note it was w2", "stop"}, "\n")+"\n")
	for _, want := range []string{
		"    p1.1b (connector)\n      wire w3, 20 AWG, 0.3 m\n        sw.a (switch)\n",
		"Type note and then what.",
		"No picture there:",
		"     1  volts p1.1b to pack.minus: 35.9 V\n",
		"VERDICT\n  >99 %  wire w2 open\n",
	} {
		require.Contains(t, got, want)
	}
	require.Equal(t, 3, strings.Count(got, "Kept."))
	require.Equal(t, 1, strings.Count(got, "VERDICT\n"), "what is asked back does not show it all again")

	records, err := casefile.Read(dir, onlyCase(t, dir))
	require.NoError(t, err)
	var notes []string
	for _, r := range records {
		if r.Kind == casefile.KindNote {
			notes = append(notes, r.Note+r.Photo)
		}
	}
	require.Equal(t, []string{"the fuse holder looks green", photo, "it was w2"}, notes)

	// What is read back is what stood at the end.
	base := shippedBase(t)
	s, err := restore(base, "x", records)
	require.NoError(t, err)
	require.Equal(t, engine.Result{Value: 0.35}, s.course.Taken()[0].Result)
	require.Len(t, s.notes, 3)
}

// TestBenchDoubt types a reading that can hardly be: what is typed next is taken
// as it would be anywhere, and the same again is kept.
func TestBenchDoubt(t *testing.T) {
	for _, tt := range []struct {
		typed []string
		want  []engine.Result // of the first check, if it was answered
	}{
		{[]string{"99", "0.35", "stop"}, []engine.Result{{Value: 0.35}}},
		{[]string{"99", "99", "stop"}, []engine.Result{{Value: 99}}},
		{[]string{"99", "88", "88", "stop"}, []engine.Result{{Value: 88}}},
		{[]string{"99", "what", "0.35", "stop"}, []engine.Result{{Value: 0.35}}},
		{[]string{"99", "stop", "0.35"}, nil},
	} {
		dir := t.TempDir()
		got := atBench(t, dir, "36.2\n"+strings.Join(tt.typed, "\n")+"\n")
		require.Contains(t, got, "99 V on a vehicle of 36.2 V?")
		records, err := casefile.Read(dir, onlyCase(t, dir))
		require.NoError(t, err)
		s, err := restore(shippedBase(t), "x", records)
		require.NoError(t, err)
		var results []engine.Result
		for _, k := range s.course.Taken() {
			results = append(results, k.Result)
		}
		require.Equal(t, tt.want, results, "%v", tt.typed)
	}
}

// onlyCase is the one case of a folder.
func onlyCase(t *testing.T, dir string) string {
	t.Helper()
	ids, err := casefile.List(dir)
	require.NoError(t, err)
	require.Len(t, ids, 1)
	return ids[0]
}

// TestMendedBefore plays a case to its proof; the next one on the harness is told.
func TestMendedBefore(t *testing.T) {
	dir := t.TempDir()
	proven := brokenWire + mendedWire
	require.Contains(t, atBench(t, dir, proven), "is closed: proven.")
	got := atBench(t, dir, "36.2\nranking\nstop\n")
	require.Contains(t, got, "Mended here before, 1 time: wire w2 open.")
	require.Contains(t, strings.SplitN(got, "bits to go", 2)[1], "wire w2 open", "it weighs in")
	// A case that is left open tells nothing.
	got = atBench(t, dir, "36.2\nstop\n")
	require.Contains(t, got, "Mended here before, 1 time:")
}

// TestPipeReviseAndNotes changes an answer and keeps a note over the line protocol.
func TestPipeReviseAndNotes(t *testing.T) {
	dir := t.TempDir()
	say := func(messages ...string) []map[string]any { return pipeSays(t, dir, messages...) }
	last := func(got []map[string]any, kind string) (m map[string]any) {
		for _, x := range got {
			if x["type"] == kind {
				m = x
			}
		}
		return m
	}
	direct := say(`{"type":"reading","n":1,"value":0.35}`, `{"type":"reading","n":2,"value":36}`)
	revised := say(`{"type":"reading","n":1,"value":36}`, `{"type":"revise","n":1,"value":0.35}`,
		`{"type":"note","text":"green"}`, `{"type":"reading","n":2,"value":36}`)
	require.Equal(t, last(direct, "ranking"), last(revised, "ranking"))
	require.Positive(t, last(direct, "ranking")["checks_left"])
	for _, bad := range []string{`{"type":"revise","value":1}`, `{"type":"revise","n":9,"value":1}`, `{"type":"reading","n":1,"values":[1,2]}`} {
		got := say(bad)
		require.Equal(t, []string{"check", "error", "check"}, []string{got[0]["type"].(string), got[1]["type"].(string), got[2]["type"].(string)}, bad)
		require.Equal(t, got[0], got[2])
	}
}

// pipeSays is what find says of the tail light over the line protocol.
func pipeSays(t *testing.T, dir string, messages ...string) []map[string]any {
	t.Helper()
	var out, errs strings.Builder
	run([]string{"find", "--pipe", "--dir", dir, "--harness", "../../testdata/harness/cart-tail.yaml", "--symptom", "tail dark"},
		strings.NewReader(strings.Join(messages, "\n")+"\n"), &out, &errs)
	require.Empty(t, errs.String())
	var got []map[string]any
	for line := range strings.Lines(out.String()) {
		var m map[string]any
		require.NoError(t, json.Unmarshal([]byte(line), &m))
		got = append(got, m)
	}
	return got
}
