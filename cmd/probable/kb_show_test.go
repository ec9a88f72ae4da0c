package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestShow explains guides, causes, checks and parts in lines that fit; only an
// address may be longer.
func TestShow(t *testing.T) {
	base := shippedBase(t)
	ids := []string{"lamp", "part fuse blown", "did it ever work"}
	for _, g := range base.GuideIDs() {
		ids = append(ids, g, g+" / "+base.Guide(g).Causes[0].ID, g+" / "+base.Guide(g).Checks[0].ID)
	}
	for _, id := range ids {
		entries, err := base.Explain(id)
		require.NoError(t, err)
		var out bytes.Buffer
		require.NoError(t, writeEntries(&out, entries))
		var text []string
		for line := range strings.Lines(out.String()) {
			if !strings.HasPrefix(strings.TrimSpace(line), "http") {
				text = append(text, line)
			}
		}
		require.NotEmpty(t, text)
		inColumns(t, strings.Join(text, ""))
	}
	code, out, errs := verb(t, "", "kb", "show", "practice")
	require.Equal(t, exitInput, code)
	require.Empty(t, out)
	require.Contains(t, errs, `there is no guide, cause, check, part or source "practice"`)
	code, out, errs = verb(t, "", "kb", "show", "did", "it", "ever", "work")
	require.Equal(t, exitVerdict, code, errs)
	require.Contains(t, out, "CHECK  common / did it ever work")
	code, out, _ = verb(t, "", "kb", "show", "--json", "part", "fuse", "blown")
	require.Equal(t, exitVerdict, code)
	var entries []outEntry
	require.NoError(t, json.Unmarshal([]byte(out), &entries))
	require.Len(t, entries, 1)
	require.Equal(t, "failure", entries[0].Kind)
	require.Equal(t, []outSource{{ID: "practice", Title: "common practice, no source"}}, entries[0].Sources)
}
