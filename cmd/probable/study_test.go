package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestStudyCommand: equal seeds print the same, as a table, CSV and JSON, and the
// chart has a line for each policy.
func TestStudyCommand(t *testing.T) {
	chart := filepath.Join(t.TempDir(), "study.svg")
	study := func(args ...string) string {
		var out, errs bytes.Buffer
		require.Equal(t, exitVerdict, run(append([]string{"study", "--guide", "brake cutoff wrong"}, args...), nil, &out, &errs), errs.String())
		return out.String()
	}
	text := study("--policy", "engine,half", "--misread", "0.05", "--skip", "0.05", "--chart", chart)
	require.Equal(t, text, study("--policy", "engine,half", "--misread", "0.05", "--skip", "0.05"))
	require.NotEqual(t, text, study("--policy", "engine,half", "--misread", "0.05", "--skip", "0.05", "--seed", "2"))
	require.Contains(t, text, "unsafe offers 0 of ")
	for _, line := range strings.Split(text, "\n") {
		require.LessOrEqual(t, len(line), 80, line)
	}
	svg, err := os.ReadFile(chart)
	require.NoError(t, err)
	require.Contains(t, string(svg), ">half<")

	rows, err := csv.NewReader(strings.NewReader(study("--csv", "--one-misread"))).ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 30)
	for _, row := range rows[1:] {
		require.NotEmpty(t, row[13], "one reading is misread in each")
	}
	var figures []studied
	require.Equal(t, "hides", rows[0][18])
	require.Contains(t, strings.Join(strings.Fields(text), " "), "causes that show only under load, warm or moved, of which 0.0 % were lost to good readings")
	require.NoError(t, json.Unmarshal([]byte(study("--json")), &figures))
	require.Len(t, figures, 2)
	require.Equal(t, figures[0].Figures, figures[1].Figures, "one subject is all")
}

// TestStudyRefuses: what is wrong with the flags is said.
func TestStudyRefuses(t *testing.T) {
	for _, tt := range []struct {
		args []string
		says string
	}{
		{nil, "say what to play"},
		{[]string{"--guide", "nothing"}, `there is no guide "nothing"`},
		{[]string{"--all", "--policy", "clever"}, `there is no policy "clever"`},
		{[]string{"--all", "--misread", "2"}, "--misread is a chance from 0 to 1, not 2"},
		{[]string{"--all", "--plays", "0"}, "--plays is 1 or more"},
		{[]string{"--guide", "light dark", "--symptom", "x"}, "--symptom is of a --harness"},
		{[]string{"--all", "--csv", "--json"}, "exclude each other"},
		{[]string{"--harness", "../../testdata/harness/cart-tail.yaml", "--symptom", "x"}, `has no symptom "x"; it has: tail dark`},
	} {
		var out, errs bytes.Buffer
		require.Equal(t, exitInput, run(append([]string{"study"}, tt.args...), nil, &out, &errs), tt.args)
		require.Contains(t, errs.String(), tt.says)
	}
}

// TestStudyOfALiftedMeter: a bad ground wire of a panel meter lifts its ground
// by so little that the figure is only a little off, and it is found all the same.
func TestStudyOfALiftedMeter(t *testing.T) {
	var out, errs bytes.Buffer
	args := []string{"study", "--harness", "../../testdata/harness/cart-panel.yaml", "--symptom", "aux meter a little low", "--csv"}
	require.Equal(t, exitVerdict, run(args, nil, &out, &errs), errs.String())
	rows, err := csv.NewReader(&out).ReadAll()
	require.NoError(t, err)
	first, cause := slices.Index(rows[0], "first"), slices.Index(rows[0], "cause")
	i := slices.IndexFunc(rows, func(row []string) bool { return row[cause] == "wire a4 resistive" })
	require.GreaterOrEqual(t, i, 0, "it is among the causes")
	require.Equal(t, "true", rows[i][first])
}
