package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/casefile"
)

// listed is the IDs that cases lists.
func listed(t *testing.T, dir string, args ...string) []string {
	t.Helper()
	out, errs, code := program(t, append([]string{"cases", "--json", "--dir", dir}, args...)...)
	require.Zero(t, code, errs)
	var rows []caseRow
	require.NoError(t, json.Unmarshal([]byte(out), &rows))
	ids := []string{}
	for _, r := range rows {
		ids = append(ids, r.ID)
	}
	return ids
}

// fiveCases is a folder of an open, a proven and an unproven case, one that is given
// up, and one that cannot be read.
func fiveCases(t *testing.T) (dir string, ids []string) {
	t.Helper()
	dir = t.TempDir()
	atBench(t, dir, "36.2\n0.35\nnote Green Crimp at f1\nstop\n")
	atBench(t, dir, brokenWire+mendedWire)
	atBench(t, dir, brokenWire+"1\nskip no lead\n0.2\nbeep\n259\n")
	atBench(t, dir, "36.2\n36.1\nstop\n")
	ids, err := casefile.List(dir)
	require.NoError(t, err)
	require.Len(t, ids, 4)
	_, errs, code := program(t, "close", ids[3], "--dir", dir)
	require.Zero(t, code, errs)
	bad := strings.TrimSuffix(ids[3], "-4") + "-5"
	require.NoError(t, os.WriteFile(filepath.Join(dir, bad+".case.jsonl"), []byte("shopping\nlist\n"), 0o600))
	return dir, append(ids, bad)
}

func TestCases(t *testing.T) {
	dir, ids := fiveCases(t)
	for _, tt := range []struct {
		args string
		want []int
	}{
		{"", []int{4, 3, 2, 1, 0}},
		{"--limit 2", []int{4, 3}},
		{"--status open", []int{0}},
		{"--status proven", []int{1}},
		{"--status unproven", []int{2}},
		{"--status|given up", []int{3}},
		{"--status unreadable", []int{4}},
		{"--harness TRIKE", []int{3, 2, 1, 0}},
		{"--harness boat", nil},
		{"--search|green crimp", []int{0}},
		{"--search|wire w2", []int{2, 1}},
		{"--search|tail dark|--limit|1", []int{3}},
		{"--search|tail dark|--status|proven", []int{1}},
		{"--search nonsense", nil},
	} {
		args := strings.Fields(tt.args)
		if strings.Contains(tt.args, "|") {
			args = strings.Split(tt.args, "|")
		}
		want := []string{}
		for _, i := range tt.want {
			want = append(want, ids[i])
		}
		require.Equal(t, want, listed(t, dir, args...), tt.args)
	}
	out, _, _ := program(t, "cases", "--dir", dir, "--search", "tail dark")
	require.Regexp(t, ids[1]+`  proven +tail dark  10 readings  repaired wire w2 open\n`, out)
	require.Regexp(t, ids[0]+`  open +tail dark  1 reading +26 % part f1 blown\n`, out)
	for _, tt := range []struct{ args, want string }{
		{"--status shut", "want one of: open, proven, unproven, given up, unreadable"},
		{"--limit -1", "--limit -1"},
	} {
		_, errs, code := program(t, append([]string{"cases", "--dir", dir}, strings.Fields(tt.args)...)...)
		require.Equal(t, exitInput, code)
		require.Contains(t, errs, tt.want)
	}
	out, _, _ = program(t, "cases", "--dir", dir, "--search", "nonsense")
	require.Equal(t, fmt.Sprintf("None of the 5 cases in %s is such a one.\n", dir), out)
}

// TestCasesFold: whatever is in a row, no line is over 80 columns, nothing is lost,
// and a long row leaves the others as they are.
func TestCasesFold(t *testing.T) {
	rows := []caseRow{
		{ID: "2026-11-25-1", Status: "open", Symptom: "tail dark", Readings: 1, Cause: "part f1 blown", P: 0.26},
		{ID: "2026-11-25-2", Status: "unproven", Symptom: "no throttle response", Readings: 12, Repaired: "ways plug_of_the_throttle.1 plug_of_the_throttle.2 swapped"},
		{ID: "2026-11-25-3", Status: "open", Symptom: strings.Repeat("one light after another ", 5) + "dark", Readings: 3, Cause: "wire w2 open", P: 0.5},
		{ID: "2026-11-25-4", Status: notReadable, Problem: strings.Repeat("line 2 is no record ", 6)},
	}
	var b strings.Builder
	require.NoError(t, table(&b, rows))
	for line := range strings.Lines(b.String()) {
		require.LessOrEqual(t, len([]rune(line)), 81, line)
	}
	lines := strings.Split(b.String(), "\n")
	require.Equal(t, "2026-11-25-1  open        tail dark             1 reading    26 % part f1 blown", lines[0])
	require.Equal(t, "    repaired ways plug_of_the_throttle.1 plug_of_the_throttle.2 swapped", lines[2])
	for _, r := range rows {
		for _, word := range strings.Fields(r.Symptom + " " + r.Cause + " " + r.Repaired + " " + r.Problem) {
			require.Contains(t, b.String(), word)
		}
	}
	require.Equal(t, strings.Count(rows[2].Symptom, "another"), strings.Count(b.String(), "another"))
}

// TestOldJournals lists cases whose records do not say how they stood, as those of
// earlier programs, as it does the others.
func TestOldJournals(t *testing.T) {
	dir, ids := fiveCases(t)
	for _, id := range ids[:4] {
		now := describe(baseOf(t), dir, id)
		records, err := casefile.Read(dir, id)
		require.NoError(t, err)
		old := t.TempDir()
		var text []byte
		for _, r := range records {
			if r.Kind == casefile.KindClosed {
				continue
			}
			r.Stands = nil
			line, err := json.Marshal(r)
			require.NoError(t, err)
			text = append(append(text, line...), '\n')
		}
		require.NoError(t, os.WriteFile(filepath.Join(old, id+".case.jsonl"), text, 0o600))
		was := describe(baseOf(t), old, id)
		was.Repaired = now.Repaired // the closed record says that
		require.Equal(t, now, was)
	}
}

// TestNoteAndClose keeps notes, gives a case up and takes it up again.
func TestNoteAndClose(t *testing.T) {
	dir := t.TempDir()
	atBench(t, dir, "36.2\n0.35\nstop\n")
	id := onlyCase(t, dir)
	photo := filepath.Join(dir, "plug.jpg")
	require.NoError(t, os.WriteFile(photo, nil, 0o600))
	_, errs, code := program(t, "note", id, "smelt", "of fish", "--photo", photo, "--dir", dir)
	require.Zero(t, code, errs)
	text, _, _ := program(t, "report", id, "--dir", dir)
	require.Contains(t, text, "smelt of fish\n")
	require.Contains(t, text, "picture "+photo)
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"note", id}, "there is nothing to keep"},
		{[]string{"note", id, "--photo", photo + ".not"}, "no picture there"},
		{[]string{"note", "2026-01-01-1", "x"}, "there is no case"},
		{[]string{"close", "2026-01-01-1"}, "there is no case"},
		{[]string{"close"}, "accepts 1 arg"},
	} {
		_, errs, code := program(t, append(tt.args, "--dir", dir)...)
		require.Equal(t, exitInput, code, tt.args)
		require.Contains(t, errs, tt.want)
	}

	_, errs, code = program(t, "close", id, "--dir", dir)
	require.Zero(t, code, errs)
	require.Equal(t, "given up", describe(baseOf(t), dir, id).Status)
	text, _, _ = program(t, "report", id, "--dir", dir)
	require.Contains(t, text, "- Status: given up\n")
	_, errs, code = program(t, "close", id, "--dir", dir)
	require.Equal(t, exitInput, code)
	require.Contains(t, errs, "is closed already: given up")

	var out strings.Builder
	code = run([]string{"resume", id, "--plain", "--dir", dir}, strings.NewReader("undo\nOL\nstop\n"), &out, &out)
	require.Equal(t, exitNoVerdict, code, out.String())
	require.Contains(t, out.String(), "It was given up. What now?\n")
	row := describe(baseOf(t), dir, id)
	require.Equal(t, "open", row.Status)
	require.Equal(t, 2, row.Readings)
	require.Equal(t, []string{"smelt of fish", "photo " + photo}, row.Notes)

	// Over the pipe the verdict says it, and undo takes it up.
	_, _, _ = program(t, "close", id, "--dir", dir)
	_, lines, _ := converse(t, `{"type":"undo"}`+"\n", "resume", id, "--pipe", "--dir", dir)
	require.Contains(t, lines[0].raw, `"status":"given up"`)
	require.Equal(t, "check", lines[2].Type)
	require.Equal(t, 3, lines[2].N)
}

// TestTwoWindows lists, reports and adds to a case that is being worked elsewhere,
// and again when that program was killed.
func TestTwoWindows(t *testing.T) {
	dir := t.TempDir()
	c := startChild(t, "find", "--pipe", "--harness", "../../testdata/harness/cart-tail.yaml", "--symptom", "tail dark", "--dir", dir)
	c.next(t, "check")
	_, err := c.in.Write([]byte(`{"type":"reading","n":1,"value":0.35}` + "\n"))
	require.NoError(t, err)
	c.next(t, "ranking")
	c.next(t, "check")
	id := onlyCase(t, dir)
	for killed := range 2 {
		row := describe(baseOf(t), dir, id)
		require.Equal(t, "open", row.Status)
		require.Equal(t, 1, row.Readings)
		text, errs, code := program(t, "report", id, "--dir", dir)
		require.Zero(t, code, errs)
		require.Contains(t, text, "| 1 | volts p1.1b to pack.minus |")
		for _, args := range [][]string{{"note", id, "x"}, {"close", id}} {
			_, errs, code := program(t, append(args, "--dir", dir)...)
			if killed == 0 {
				require.Equal(t, exitInput, code)
				require.Contains(t, errs, casefile.ErrBusy.Error())
			} else {
				require.Zero(t, code, errs)
			}
		}
		if killed == 0 {
			c.kill(t)
			require.FileExists(t, filepath.Join(dir, id+".case.jsonl.lock"), "the lock's file stays, and holds nobody up")
		}
	}
}
