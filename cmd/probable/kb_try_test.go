package main

import (
	"bytes"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"probable/engine"
)

// verb runs the program and returns what it wrote.
func verb(t *testing.T, in string, args ...string) (code int, out, errs string) {
	t.Helper()
	var o, e bytes.Buffer
	code = run(args, strings.NewReader(in), &o, &e)
	return code, o.String(), e.String()
}

// inColumns fails for a line that a terminal of 80 columns would break.
func inColumns(t *testing.T, out string) {
	t.Helper()
	for line := range strings.Lines(out) {
		require.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 80, line)
	}
}

var workedCases = filepath.Join("..", "..", "testdata", "cases", "throttle-dead.yaml")

// TestTry plays a case that passes and one that cannot, and says where.
func TestTry(t *testing.T) {
	code, out, errs := verb(t, "", "kb", "try", workedCases)
	require.Equal(t, exitInput, code)
	require.Empty(t, errs)
	inColumns(t, out)
	require.Contains(t, out, "  ok stuck brake switch: ")
	require.Contains(t, out, "  NO the wrong one is expected: ")
	require.Contains(t, out, "throttle-dead.yaml:16:5: error: ")
	require.Contains(t, out, "\n2 cases: 1 passed, 1 did not, ")

	code, out, _ = verb(t, "", "kb", "try", "--json", workedCases)
	require.Equal(t, exitInput, code)
	var all []tried
	require.NoError(t, json.Unmarshal([]byte(out), &all))
	require.Len(t, all, 2)
	require.True(t, all[0].Passed)
	require.Equal(t, "brake input active", all[0].Verdict[0].ID)
	require.Len(t, all[0].Steps, all[0].Checks, "nothing was skipped")
	require.Empty(t, all[0].Differs)
	require.False(t, all[1].Passed)
	require.Equal(t, []int{16, 17}, []int{all[1].Differs[0].Line, all[1].Differs[1].Line})

	code, out, _ = verb(t, "", "kb", "try", "--steps", workedCases)
	require.Equal(t, exitInput, code)
	inColumns(t, out)
	require.Contains(t, out, "what was last changed: nothing")

	code, _, errs = verb(t, "", "kb", "try", "no-such.yaml")
	require.Equal(t, exitInput, code)
	require.Equal(t, "no-such.yaml: no such file or directory\n", errs)
}

// leastCases is how many worked cases are shipped at the least.
const leastCases = 120

// TestShippedCases plays all that are shipped: each passes, soon enough.
func TestShippedCases(t *testing.T) {
	begun := time.Now()
	code, out, errs := verb(t, "", "kb", "try", "--json")
	took := time.Since(begun)
	require.Empty(t, errs)
	var all []tried
	require.NoError(t, json.Unmarshal([]byte(out), &all))
	if len(all) == 0 {
		t.Skip("NO WORKED CASES ARE SHIPPED YET")
	}
	byGuide, first := map[string]int{}, map[string]bool{}
	for _, x := range all {
		byGuide[x.Guide]++
		first[x.Verdict[0].ID] = true
		require.True(t, x.Passed, "%s:%d: %s: %v", x.File, x.Line, x.Case, x.Differs)
	}
	require.Equal(t, exitVerdict, code)
	require.GreaterOrEqual(t, len(all), leastCases)
	for _, id := range []string{"nothing is wrong", "the drawing is wrong", engine.Unexplained} {
		require.True(t, first[id], "no worked case ends in %q", id)
	}
	t.Logf("%d cases of %d guides in %v", len(all), len(byGuide), took)
	require.Less(t, took, 20*time.Second)
}
