package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// runVerb runs the program with arguments and no input.
func runVerb(args ...string) (code int, out, errs string) {
	var o, e bytes.Buffer
	code = run(args, strings.NewReader(""), &o, &e)
	return code, o.String(), e.String()
}

// TestHarnessCheckFindings compares what is said of every deliberately wrong
// harness with the .expect file beside it.
func TestHarnessCheckFindings(t *testing.T) {
	t.Chdir(filepath.Join("..", ".."))
	files, err := filepath.Glob("testdata/wrong/*.yaml")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			code, out, errs := runVerb("harness", "check", file)
			require.Empty(t, errs)
			beside := strings.TrimSuffix(file, ".yaml") + ".expect"
			if os.Getenv("UPDATE") != "" {
				require.NoError(t, os.WriteFile(beside, []byte(out), 0o644))
			}
			want, err := os.ReadFile(beside)
			require.NoError(t, err)
			require.Equal(t, string(want), out)
			if strings.Contains(out, ": error: ") {
				require.Equal(t, exitInput, code)
			} else {
				require.Equal(t, exitVerdict, code)
			}

			jsonCode, out, _ := runVerb("harness", "check", "--json", file)
			require.Equal(t, code, jsonCode)
			var found []outFinding
			require.NoError(t, json.Unmarshal([]byte(out), &found))
			require.NotEmpty(t, found)
			for _, f := range found {
				require.Contains(t, string(want), f.String())
				for line := range strings.Lines(f.String()) {
					require.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), paper, "too wide: %s", line)
				}
			}
		})
	}
}

// TestReadmeFinding keeps the README's example of a finding true.
func TestReadmeFinding(t *testing.T) {
	t.Chdir(filepath.Join("..", ".."))
	readme, err := os.ReadFile("README.md")
	require.NoError(t, err)
	_, out, _ := runVerb("harness", "check", "testdata/wrong/thin-wire.yaml")
	first, _, found := strings.Cut(out, "\ntestdata/")
	require.True(t, found)
	require.Contains(t, string(readme), "    "+strings.ReplaceAll(first, "\n", "\n    ")+"\n")
}

func TestHarnessCheckOfBadFiles(t *testing.T) {
	dir := t.TempDir()
	bad := filepath.Join(dir, "bad.yaml")
	require.NoError(t, os.WriteFile(bad, []byte("harness: x\nground: pack.minus\nparts:\n  pack: {kind: batery}\n"), 0o644))
	code, out, errs := runVerb("harness", "check", bad)
	require.Equal(t, exitInput, code)
	require.Empty(t, out)
	require.Contains(t, errs, bad+":4:16: part pack: there is no kind \"batery\"")
	code, out, errs = runVerb("harness", "check", "--json", bad)
	require.Equal(t, exitInput, code)
	require.Empty(t, errs)
	var found []outFinding
	require.NoError(t, json.Unmarshal([]byte(out), &found))
	require.Len(t, found, 1)
	require.Equal(t, 4, found[0].Line)
	require.Contains(t, found[0].Text, "there is no kind")
	for _, args := range [][]string{{"harness", "check"}, {"harness", "check", filepath.Join(dir, "none.yaml")}, {"harness", "expect", bad}, {"harness", "expect", "--csv", "--json", bad},
		{"harness", "no-such-verb"}, {"harness", "check", bad, bad}, {"harness", "draw"}, {"harness", "labels", bad, bad}, {"harness", "expect"}} {
		code, _, errs := runVerb(args...)
		require.Equal(t, exitInput, code, "%v", args)
		require.NotEmpty(t, errs)
	}
}

// TestHarnessExpect: the sheet fits on paper, and the same readings come as
// CSV and JSON.
func TestHarnessExpect(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "harness", "*.yaml"))
	require.NoError(t, err)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			code, out, errs := runVerb("harness", "expect", file)
			require.Equal(t, exitVerdict, code, errs)
			for line := range strings.Lines(out) {
				require.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), paper, "too wide: %s", line)
			}
			code, out, _ = runVerb("harness", "expect", "--csv", file)
			require.Equal(t, exitVerdict, code)
			records, err := csv.NewReader(strings.NewReader(out)).ReadAll()
			require.NoError(t, err)
			code, out, _ = runVerb("harness", "expect", "--json", file)
			require.Equal(t, exitVerdict, code)
			var rows []sheetRow
			require.NoError(t, json.Unmarshal([]byte(out), &rows))
			require.Len(t, rows, len(records)-1)
			for i, r := range rows {
				require.Equal(t, r.Pin, records[i+1][0])
				require.Equal(t, r.Over, r.Value == nil)
				if !r.Over {
					require.LessOrEqual(t, *r.Low, *r.Value)
					require.GreaterOrEqual(t, *r.High, *r.Value)
				}
			}
		})
	}
}
