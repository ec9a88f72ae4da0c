package main

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestKbCheck(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Chdir(filepath.Join("..", ".."))
	const bad, slip = "testdata/bad/guide-row-sum.yaml", "testdata/doubtful/unit-slip.yaml"
	tests := []struct {
		name     string
		args     []string
		code     int
		has, not string
		json     bool // compared with the text
	}{
		{"the shipped base", nil, exitVerdict, "0 errors, ", "error:", false},
		{"an error", []string{bad}, exitInput, bad + ":36:19: error: check", "kb/guides", true},
		{"a warning", []string{slip}, exitVerdict, slip + ":48:52: warning: check", "kb/guides", true},
		{"a strict warning", []string{"--strict", slip}, exitInput, "0 errors, 1 warning\n", "kb/guides", false},
		{"nothing", []string{"--strict", "testdata/doubtful/nothing.yaml"}, exitVerdict, "0 errors, 0 warnings\n", "kb/guides", false},
		{"several files", []string{slip, bad, "testdata/bad/part-pin-twice.yaml"}, exitInput, "2 errors, 1 warning\n", "kb/guides", true},
		{"a harness", []string{"testdata/harness/cart-tail.yaml"}, exitVerdict, "0 errors, 0 warnings\n", ":", false},
		{"a broken harness", []string{"testdata/bad/harness-tab.yaml"}, exitInput, "testdata/bad/harness-tab.yaml:", "kb/guides", false},
		{"worked cases", []string{"testdata/cases/throttle-dead.yaml"}, exitVerdict, "0 errors, 0 warnings\n", ":", true},
		{"a whole base", []string{"kb"}, exitVerdict, "0 errors, ", "error:", false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			code, out, errs := runVerb(append([]string{"kb", "check"}, tt.args...)...)
			require.Empty(t, errs)
			require.Equal(t, tt.code, code, out)
			require.Contains(t, out, tt.has)
			require.NotContains(t, out, tt.not)
			inColumns(t, out)
			if !tt.json {
				return
			}
			jsonCode, asJSON, _ := runVerb(append([]string{"kb", "check", "--json"}, tt.args...)...)
			require.Equal(t, tt.code, jsonCode)
			var found []outFinding
			require.NoError(t, json.Unmarshal([]byte(asJSON), &found))
			require.NotNil(t, found)
			var text strings.Builder
			for _, f := range found {
				text.WriteString(f.String() + "\n")
			}
			require.True(t, strings.HasPrefix(out, text.String()), "JSON and text say the same")
		})
	}

	t.Run("over the knowledge", func(t *testing.T) {
		dir := t.TempDir()
		require.NoError(t, os.Mkdir(filepath.Join(dir, "guides"), 0o755))
		data, err := os.ReadFile(slip)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(dir, "guides", "mine.yaml"), data, 0o644))
		code, out, _ := runVerb("kb", "check", "--kb", dir)
		require.Equal(t, exitVerdict, code)
		require.Contains(t, strings.Join(strings.Fields(out), ""), "guides/mine.yaml:48:52:warning:")
	})
	t.Run("no such file", func(t *testing.T) {
		code, _, errs := runVerb("kb", "check", "testdata/none.yaml")
		require.Equal(t, exitInput, code)
		require.Contains(t, errs, "testdata/none.yaml")
	})
	t.Run("no base", func(t *testing.T) {
		code, _, errs := runVerb("kb", "check", "testdata/harness")
		require.Equal(t, exitInput, code)
		require.Contains(t, errs, "testdata/harness is no base of its own")
	})
}

func TestKbCoverage(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	t.Chdir(filepath.Join("..", ".."))
	few := []string{"kb", "coverage", "panel voltmeter wrong", "--draws", "1"}
	page := filepath.Join(t.TempDir(), "map.html")

	code, out, errs := runVerb(append(few, "--html", page)...)
	require.Equal(t, exitVerdict, code, errs)
	inColumns(t, out)
	require.Contains(t, out, "end alone, or with the same repair")
	html, err := os.ReadFile(page)
	require.NoError(t, err)
	require.Contains(t, string(html), "<h2>panel voltmeter wrong</h2>")

	_, out, _ = runVerb(append(few, "--json")...)
	var sheets []coverSheet
	require.NoError(t, json.Unmarshal([]byte(out), &sheets))
	require.Len(t, sheets, 1)
	s := sheets[0]
	require.Equal(t, "panel voltmeter wrong", s.Guide)
	require.InDelta(t, s.DrawnMean/s.Bound, s.Ratio, 1e-9)

	_, out, _ = runVerb(append(few, "--csv")...)
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	require.NoError(t, err)
	want := 1
	for _, c := range s.Causes {
		require.Len(t, c.Cells, len(s.Checks))
		for _, cell := range c.Cells {
			want += max(len(cell.Chances), min(1, len(cell.Shows)))
		}
	}
	require.Len(t, rows, want, "an outcome of a check under a cause a line")

	_, out, _ = runVerb("kb", "coverage", "--draws", "1")
	inColumns(t, out)
	require.Regexp(t, `(?m)^guide +causes +alone +mean +worst +drawn +fewest +over +times$`, out)
	require.Regexp(t, `(?m)^throttle dead +\d+ +\d+ %`, out)

	for _, args := range [][]string{{"no such guide"}, {"common"}, {"--draws", "0"}, {"--csv", "--json"}} {
		code, _, errs = runVerb(append([]string{"kb", "coverage"}, args...)...)
		require.Equal(t, exitInput, code, "%v", args)
		require.NotEmpty(t, errs)
	}
}
