package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/report"
)

// TestTwoAreNeeded works a cart whose wire from the pack and whose lamp are both
// open, which no fault alone explains: the pipe, the bench and all forms of the
// report say that it takes two, and which second one to look for.
func TestTwoAreNeeded(t *testing.T) {
	dir := t.TempDir()
	d := start(t, findTail(dir)...)
	v := d.work((&cart{volts: 36, broken: linkBefore("f1.a"), also: linkBefore("tail.minus")}).reply)
	d.finish()
	var said struct{ Pairs []outPair }
	require.NoError(t, json.Unmarshal([]byte(v.raw), &said))
	// Nothing tells the wire from the fuse behind it.
	want := [][]string{{"part f1 blown", "part tail open"}, {"wire w1 open", "part tail open"}}
	var inPipe [][]string
	for _, p := range said.Pairs {
		inPipe = append(inPipe, p.IDs[:])
	}
	require.ElementsMatch(t, want, inPipe)
	const repair = "Perhaps two repairs are needed: if this one does not prove, look next for part f1 blown or wire w1 open."
	require.Contains(t, v.Repair, repair)

	id := onlyCase(t, dir)
	var bench, errs strings.Builder
	run([]string{"resume", id, "--plain", "--dir", dir}, strings.NewReader("stop\n"), &bench, &errs)
	markdown, _, _ := program(t, "report", id, "--dir", dir)
	html, _, _ := program(t, "report", id, "--dir", dir, "--form", "html")
	for form, text := range map[string]string{"bench": bench.String(), "markdown": markdown, "html": html} {
		text = strings.Join(strings.Fields(text), " ")
		require.Regexp(t, `(No|no) single cause explains all( readings)?; these two together do \(\d+ %\): wire w1 open, and part tail open\.`, text, form)
		require.Contains(t, text, repair, form)
	}
	text, errors, code := program(t, "report", id, "--dir", dir, "--form", "json")
	require.Zero(t, code, errors)
	var r report.Report
	require.NoError(t, json.Unmarshal([]byte(text), &r))
	var inReport [][]string
	for _, p := range r.Pairs {
		inReport = append(inReport, []string{p.A, p.B})
	}
	require.ElementsMatch(t, want, inReport)
	require.Contains(t, r.Repair, repair)
}
