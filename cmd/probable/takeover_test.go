package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/casefile"
)

// twoReadings is a case with two readings and a note on a copy of the tail harness.
func twoReadings(t *testing.T) (dir, file, id string) {
	t.Helper()
	dir, file = t.TempDir(), filepath.Join(t.TempDir(), "cart.yaml")
	data, err := os.ReadFile("../../testdata/harness/cart-tail.yaml")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, data, 0o600))
	var out, errs strings.Builder
	run([]string{"find", "--plain", "--dir", dir, "--harness", file, "--symptom", "tail dark"},
		strings.NewReader("36.2\n0.35\nnote rain last night\n143\nstop\n"), &out, &errs)
	require.Empty(t, errs.String())
	return dir, file, onlyCase(t, dir)
}

// edit replaces a text in a file.
func edit(t *testing.T, file, from, to string) {
	t.Helper()
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	require.Contains(t, string(data), from)
	require.NoError(t, os.WriteFile(file, bytes.ReplaceAll(data, []byte(from), []byte(to)), 0o600))
}

// unfolded is a text without its line breaks.
func unfolded(s string) string { return strings.Join(strings.Fields(s), " ") }

// TestResumeSaysWhatChanged changes nothing, the harness file, and the knowledge.
func TestResumeSaysWhatChanged(t *testing.T) {
	dir, file, id := twoReadings(t)
	resume := func() string {
		t.Helper()
		var out, errs strings.Builder
		require.Equal(t, exitNoVerdict, run([]string{"resume", id, "--plain", "--dir", dir}, strings.NewReader("stop\n"), &out, &errs), errs.String())
		return unfolded(out.String())
	}
	quiet := resume()
	require.NotContains(t, quiet, "changed since")
	require.Contains(t, quiet, "market trike, tail circuit: tail dark, 2 checks so far. Last: ohms f1.b to pack.minus, tail on, 143 ohm.")
	require.NoError(t, os.Rename(file, file+".away"))
	require.NotContains(t, resume(), "changed since", "the case has the text")
	require.NoError(t, os.Rename(file+".away", file))

	was, err := os.ReadFile(file)
	require.NoError(t, err)
	edit(t, file, "metres: 1.2", "metres: 1.6")
	now, err := os.ReadFile(file)
	require.NoError(t, err)
	said := resume()
	require.Contains(t, said, fmt.Sprintf("The harness file %s has changed since this case was opened: %s then, %s now.", file, digest(was), digest(now)))
	require.NotContains(t, said, "The knowledge has changed")
	require.Contains(t, said, "probable resume "+id+" --dir "+dir+" --replay")
	require.Contains(t, said, "2 checks so far", "it goes on with its own text")

	edit(t, filepath.Join(dir, id+".case.jsonl"), shippedBase(t).Digest, "sha256:0123456789abcdef")
	said = resume()
	require.Contains(t, said, "The knowledge has changed since this case was opened: sha256:0123456789abcdef then, "+shippedBase(t).Digest+" now.")

	_, lines, errs := converse(t, "", "resume", id, "--pipe", "--dir", dir)
	require.Empty(t, errs)
	require.Equal(t, []string{"changed", "changed", "check"}, []string{lines[0].Type, lines[1].Type, lines[2].Type})
	require.Contains(t, lines[0].raw, `"what":"knowledge","then":"sha256:0123456789abcdef","now":"`+shippedBase(t).Digest+`"`)
}

// TestReplay works old answers on a changed harness file: what fits goes into a new
// case, and the rest is told one by one.
func TestReplay(t *testing.T) {
	for _, tt := range []struct {
		name     string
		from, to string // in the harness file
		want     []string
		values   []float64
	}{
		{"as it was", "metres: 1.2", "metres: 1.6",
			[]string{"2 answers.", "The verdict is the same: open, "}, []float64{0.35, 143}},
		{"a plug renamed", "p1", "p9",
			[]string{"1 answer.", `Left out: answer 1, volts p1.1b to pack.minus: 0.35 (there is no check "volts p1.1b to pack.minus" here).`,
				"The verdict then: open, 41 % part f1 blown.", "The verdict now: open, "}, []float64{143}},
		{"another pack, another symptom", "volts: 36, inner_ohms", "volts: 52, inner_ohms",
			[]string{"Left out: pack reads 36.2 V (no good reading of the 52 V that the harness says now)."}, nil},
		{"a symptom renamed", "id: tail dark", "id: no tail light",
			[]string{`Left out: symptom "tail dark" (the harness has: no tail light; tail dim; tail never goes out).`, "Left out: answer 2, ohms f1.b to pack.minus, tail on: 143"}, []float64{0.35}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir, file, id := twoReadings(t)
			journal := filepath.Join(dir, id+".case.jsonl")
			old, err := os.ReadFile(journal)
			require.NoError(t, err)
			edit(t, file, tt.from, tt.to)
			var out, errs strings.Builder
			code := run([]string{"resume", id, "--replay", "--plain", "--dir", dir}, strings.NewReader("stop\n"), &out, &errs)
			require.Contains(t, []int{exitNoVerdict, exitVerdict}, code, errs.String())
			for _, w := range append(tt.want, "Taken over from case "+id+", which stays as it is: ") {
				require.Contains(t, unfolded(out.String()), w)
			}
			now, err := os.ReadFile(journal)
			require.NoError(t, err)
			require.Equal(t, string(old), string(now), "the old case stays as it is")

			ids, err := casefile.List(dir)
			require.NoError(t, err)
			require.Len(t, ids, 2)
			records, err := casefile.Read(dir, ids[1])
			require.NoError(t, err)
			require.Equal(t, id, records[0].Opened.From.Case)
			var values []float64
			notes := 0
			for _, r := range records {
				if r.Event != nil && r.Event.Value != nil {
					values = append(values, *r.Event.Value)
				}
				if r.Kind == casefile.KindNote {
					notes++
				}
			}
			require.Equal(t, 1, notes)
			if tt.values != nil {
				require.Equal(t, tt.values, values)
			}
			text, said, code := program(t, "report", ids[1], "--dir", dir)
			require.Zero(t, code, said)
			require.Contains(t, text, "the answers of case "+id+", worked again")
			require.NotContains(t, text, "set back")
		})
	}
}

// TestReplayStopsAtALostRepair: what was read after a repair that does not fit any
// more must not count against the broken vehicle.
func TestReplayStopsAtALostRepair(t *testing.T) {
	dir, file := t.TempDir(), filepath.Join(t.TempDir(), "cart.yaml")
	data, err := os.ReadFile("../../testdata/harness/cart-tail.yaml")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(file, data, 0o600))
	var out, errs strings.Builder
	run([]string{"find", "--plain", "--dir", dir, "--harness", file, "--symptom", "tail dark"},
		strings.NewReader(brokenWire+mendedWire), &out, &errs)
	require.Contains(t, out.String(), "closed: proven")
	id := onlyCase(t, dir)
	edit(t, file, "name: w2", "name: yellow")
	_, lines, said := converse(t, "", "resume", id, "--replay", "--pipe", "--dir", dir)
	require.Empty(t, said)
	require.Equal(t, "taken over", lines[0].Type)
	require.Contains(t, lines[0].raw, `"taken":4,`)
	require.Equal(t, 6, strings.Count(lines[0].raw, "(read after the repair of wire w2 open, which does not fit)"))
	require.Contains(t, lines[0].raw, `"then":{"status":"proven","cause":"wire w2 open"`)
	require.Contains(t, lines[0].raw, `"now":{"status":"open","cause":"wire yellow open"`)
	require.Equal(t, "verdict", lines[1].Type)
}

// TestReplayRefuses says what is wrong with a replay that cannot be.
func TestReplayRefuses(t *testing.T) {
	dir, file, id := twoReadings(t)
	require.NoError(t, os.Rename(file, file+".away"))
	for _, tt := range []struct {
		args []string
		want string
	}{
		{[]string{"resume", id, "--replay"}, "say where the harness file is now with --harness FILE"},
		{[]string{"resume", id, "--harness", file}, "--harness goes with --replay"},
		{[]string{"resume", "2026-01-01-7", "--replay"}, "there is no case 2026-01-01-7 here"},
	} {
		_, errs, code := program(t, append(tt.args, "--dir", dir, "--plain")...)
		require.Equal(t, exitInput, code)
		require.Contains(t, errs, tt.want)
	}
	_, errs, code := program(t, "resume", id, "--replay", "--harness", file+".away", "--dir", dir, "--plain")
	require.Equal(t, exitNoVerdict, code, errs)
	ids, err := casefile.List(dir)
	require.NoError(t, err)
	require.Len(t, ids, 2, "what was refused made no case")

	// A check that the knowledge no longer has is told, with the way out.
	edit(t, filepath.Join(dir, id+".case.jsonl"), "ohms f1.b to pack.minus", "ohms f9.b to pack.minus")
	_, errs, code = program(t, "resume", id, "--dir", dir, "--plain")
	require.Equal(t, exitInput, code)
	require.Contains(t, errs, "does not fit any more")
	require.Contains(t, errs, "probable resume "+id+" --replay")
}

// TestEveryCutResumes cuts the journal of a case at every byte: what is left is
// the case as it stood after one of its answers.
func TestEveryCutResumes(t *testing.T) {
	dir := t.TempDir()
	atBench(t, dir, "36.2\n0.35\nnote green\nskip no room\nundo\nOL\nchange 1\n0.36\nno beep\nOL\n"+mendedWire)
	id := onlyCase(t, dir)
	data, err := os.ReadFile(filepath.Join(dir, id+".case.jsonl"))
	require.NoError(t, err)
	all, err := casefile.Read(dir, id)
	require.NoError(t, err)
	base := shippedBase(t)
	kinds := map[casefile.Kind]int{}
	stands := make([]*session, len(all)+1) // by records that are whole
	for n, r := range all {
		kinds[r.Kind]++
		s, err := restore(base, id, all[:n+1])
		require.NoError(t, err)
		stands[n+1] = s
		if r.Stands != nil {
			require.Equal(t, r.Stands, s.stands(), "record %d says how the case stood", n+1)
		}
	}
	require.Equal(t, map[casefile.Kind]int{casefile.KindOpened: 1, casefile.KindEvent: 14, casefile.KindNote: 1, casefile.KindClosed: 1}, kinds)
	require.Equal(t, engine.Proven, stands[len(all)].course.Status())
	cut := t.TempDir()
	for at := range len(data) + 1 {
		whole := bytes.Count(data[:at], []byte("\n"))
		require.NoError(t, os.WriteFile(filepath.Join(cut, id+".case.jsonl"), data[:at], 0o600))
		records, err := casefile.Read(cut, id)
		if whole == 0 {
			require.Error(t, err)
			continue
		}
		require.NoError(t, err)
		require.Equal(t, all[:whole], records, "cut at %d", at)
		row := describe(baseOf(t), cut, id)
		require.Equal(t, string(stands[whole].course.Status()), row.Status, "cut at %d", at)
	}
}

// TestClockBack sets the clock back between the records of a case.
func TestClockBack(t *testing.T) {
	dir, _, id := twoReadings(t)
	records, err := casefile.Read(dir, id)
	require.NoError(t, err)
	noon := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	j, err := casefile.Create(dir, noon.AddDate(0, 0, 1), *records[0].Opened)
	require.NoError(t, err)
	for i, r := range records[1:] {
		r.Time = noon.AddDate(-20, 0, -i) // the battery of the clock is empty
		require.NoError(t, j.Append(r))
	}
	require.NoError(t, j.Close())
	again, err := casefile.Read(dir, j.ID)
	require.NoError(t, err)
	for i := range records[1:] {
		require.Equal(t, records[i+1].Event, again[i+1].Event, "records keep their order")
	}
	for _, form := range []string{"markdown", "html", "json"} {
		text, said, code := program(t, "report", j.ID, "--dir", dir, "--form", form)
		require.Zero(t, code, said)
		require.Contains(t, text, map[string]string{"json": `"clock_back": true`}[form]+map[bool]string{true: "", false: "set back in the middle"}[form == "json"])
	}
	text, _, _ := program(t, "report", id, "--dir", dir)
	require.NotContains(t, text, "set back")
	listed, said, code := program(t, "cases", "--dir", dir)
	require.Zero(t, code, said)
	require.Equal(t, 2, strings.Count(listed, "2 readings"))

	// A clock that jumps about names no two cases alike.
	seen := map[string]bool{id: true, j.ID: true}
	for _, days := range []int{1, 0, -1, 0, 1, -7000, 1} {
		f, err := casefile.Create(dir, noon.AddDate(0, 0, days), *records[0].Opened)
		require.NoError(t, err)
		require.NoError(t, f.Close())
		require.False(t, seen[f.ID], f.ID)
		seen[f.ID] = true
	}
}
