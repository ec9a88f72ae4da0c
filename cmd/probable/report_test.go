package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"probable/engine/report"
)

// program runs a verb and returns what it writes, and its exit code.
func program(t *testing.T, args ...string) (out, errs string, code int) {
	t.Helper()
	var o, e strings.Builder
	code = run(args, strings.NewReader(""), &o, &e)
	return o.String(), e.String(), code
}

// reportSchema is the committed schema, compiled.
func reportSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(report.Schema))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource("report.json", doc))
	s, err := c.Compile("report.json")
	require.NoError(t, err)
	return s
}

// TestReportForms writes the report of a case in each form, at three stages of
// it, and has them judged: JSON by its schema, HTML by a checker if there is one.
func TestReportForms(t *testing.T) {
	schema := reportSchema(t)
	for _, tt := range []struct{ name, typed, status string }{
		{"nothing read", "36.2\nstop\n", "open"},
		{"half way", "36.2\n0.35\nskip no room\nnote green\nstop\n", "open"},
		{"proven", brokenWire + mendedWire, "proven"},
		{"not mended", brokenWire + "1\n259\n0.2\nbeep\n259\ndark\nstop\n", "open"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := t.TempDir()
			atBench(t, dir, tt.typed)
			id := onlyCase(t, dir)
			markdown, errs, code := program(t, "report", id, "--dir", dir)
			require.Zero(t, code, errs)
			require.Contains(t, markdown, "- Status: "+tt.status+"\n")

			text, errs, code := program(t, "report", id, "--dir", dir, "--form", "json")
			require.Zero(t, code, errs)
			v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
			require.NoError(t, err)
			require.NoError(t, schema.Validate(v))
			require.Equal(t, tt.status, v.(map[string]any)["status"])

			page, errs, code := program(t, "report", id, "--dir", dir, "--form", "html")
			require.Zero(t, code, errs)
			require.Contains(t, page, "<svg")
			require.NotRegexp(t, `(?i)(src|href|url\()\s*=?\s*["']?(https?:)?//`, page, "it needs nothing else")
			tidy, err := exec.LookPath("tidy")
			if err != nil {
				t.Log("HTML NOT CHECKED: there is no tidy on this machine")
				return
			}
			check := exec.Command(tidy, "-errors", "-quiet", "--warn-proprietary-attributes", "no", "-utf8")
			check.Stdin = strings.NewReader(page)
			said, err := check.CombinedOutput()
			require.NoError(t, err, "%s", said)
			require.Empty(t, string(said))
		})
	}
}

// TestReportOfGuide has no harness: no drawing, and hand-offs where there are any.
func TestReportOfGuide(t *testing.T) {
	dir := t.TempDir()
	var out strings.Builder
	run([]string{"find", "--pipe", "--dir", dir, "--guide", "throttle dead"}, strings.NewReader(`{"type":"skip","n":1}`+"\n"), &out, &out)
	id := onlyCase(t, dir)
	page, errs, code := program(t, "report", id, "--dir", dir, "--form", "html")
	require.Zero(t, code, errs)
	require.NotContains(t, page, "<h2>Wiring</h2>")
	require.Contains(t, page, "<h2>Verdict</h2>")
}

// TestReportEvidence wants the factors of a cause to lead from its chance at the
// start to that of now, and a reading that was probably wrong to be marked.
func TestReportEvidence(t *testing.T) {
	dir := t.TempDir()
	atBench(t, dir, misreadWire+"stop\n")
	id := onlyCase(t, dir)
	text, errs, code := program(t, "report", id, "--dir", dir, "--form", "json")
	require.Zero(t, code, errs)
	v, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
	require.NoError(t, err)
	require.NoError(t, reportSchema(t).Validate(v))
	var r report.Report
	require.NoError(t, json.Unmarshal([]byte(text), &r))
	p := r.Causes[0].Start
	for _, f := range r.Causes[0].Evidence {
		require.InEpsilon(t, f.P, p*f.Times, 0.02) // a small p has few digits
		p = f.P
	}
	require.Equal(t, r.Causes[0].P, p)
	for i, x := range r.Readings {
		require.Equal(t, i == 3, x.Odd, x.Check)
	}
	for form, wants := range map[string][]string{
		"markdown": {"| x3.3 | 2. ohms f1.b to pack.minus, tail on: OL | OL |\n", "| /10 | 4. ohms f1.b to p1.1a, tail on: 0.2 ohm | OL |\n",
			"Reading 4 (ohms f1.b to p1.1a, tail on: 0.2 ohm) was probably wrong", "| 4 | ohms f1.b to p1.1a, tail on (probably wrong) |"},
		"html": {"<h2>Evidence</h2>", "was probably wrong", "(probably wrong)</td>", `<td class="n">x3.3</td><td>2. ohms f1.b to pack.minus, tail on: OL`},
	} {
		page, _, _ := program(t, "report", id, "--dir", dir, "--form", form)
		for _, want := range wants {
			require.Contains(t, page, want, form)
		}
	}
}

// TestReportKnownOnce: what the pack reads is not told a second time as a fact.
func TestReportKnownOnce(t *testing.T) {
	dir := t.TempDir()
	var out strings.Builder
	run([]string{"find", "--pipe", "--dir", dir, "--harness", "../../testdata/harness/cart-throttle.yaml", "--symptom", "no throttle response",
		"--supply", "pack=39.6", "--fact", "halls_fitted=no"}, strings.NewReader(""), &out, &out)
	page, errs, code := program(t, "report", onlyCase(t, dir), "--dir", dir)
	require.Zero(t, code, errs)
	require.Equal(t, 1, strings.Count(page, "39.6"))
	require.Contains(t, page, "- Known before: halls fitted no; pack reads 39.6 V\n")
}

// TestReportShare leaves out what may be personal.
func TestReportShare(t *testing.T) {
	dir := t.TempDir()
	photo := filepath.Join(dir, "me.jpg")
	require.NoError(t, os.WriteFile(photo, nil, 0o600))
	atBench(t, dir, "36.2\n0.35\nskip my knee hurts\nnote ask the neighbour\nphoto "+photo+"\nstop\n")
	id := onlyCase(t, dir)
	for _, form := range []string{"markdown", "html", "json"} {
		all, _, _ := program(t, "report", id, "--dir", dir, "--form", form)
		shared, errs, code := program(t, "report", id, "--dir", dir, "--form", form, "--share")
		require.Zero(t, code, errs)
		for _, secret := range []string{"neighbour", "me.jpg"} {
			require.Contains(t, all, secret, form)
			require.NotContains(t, shared, secret, form)
		}
		require.NotContains(t, shared, "cart-tail.yaml", form)
		require.NotContains(t, shared, "knee", form)
	}
	// It can be worked again all the same.
	file := filepath.Join(dir, "shared.json")
	_, errs, code := program(t, "report", id, "--dir", dir, "--form", "json", "--share", "-o", file)
	require.Zero(t, code, errs)
	said, errs, code := program(t, "report", "--verify", file)
	require.Zero(t, code, errs)
	require.Contains(t, said, "The replay gives the same verdict")
}

// TestReportVerify changes a report, and wants that to be found.
func TestReportVerify(t *testing.T) {
	dir := t.TempDir()
	atBench(t, dir, brokenWire+mendedWire)
	id := onlyCase(t, dir)
	said, errs, code := program(t, "report", "--verify", id, "--dir", dir)
	require.Zero(t, code, errs)
	require.Contains(t, said, "same verdict: proven")
	text, _, _ := program(t, "report", id, "--dir", dir, "--form", "json")
	for _, tt := range []struct{ name, from, to, want string }{
		{"probability", `"p": 0.99\d+`, `"p": 0.5`, "cause 1 of the verdict is wire w2 open"},
		{"status", `"status": "proven"`, `"status": "open"`, `the status is "proven", not "open"`},
		{"a reading", `"value": 0.35`, `"value": 0.01`, "another one now"},
		{"an event that is none", `"kind": "result"`, `"kind": "guess"`, "unknown event"},
		{"no report", `"version": 1,\n  "case"`, `"version": 7,` + "\n" + `  "case"`, "not a report in JSON of version 1"},
		{"no JSON", `^\{`, `[`, "not a report in JSON"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			re := regexp.MustCompile(tt.from)
			require.Regexp(t, re, text)
			file := filepath.Join(t.TempDir(), "r.json")
			done := false
			changed := re.ReplaceAllStringFunc(text, func(s string) string {
				if done {
					return s
				}
				done = true
				return tt.to
			})
			require.NoError(t, os.WriteFile(file, []byte(changed), 0o600))
			_, errs, code := program(t, "report", "--verify", file)
			require.Equal(t, exitInput, code)
			require.Contains(t, errs, tt.want)
		})
	}
}

// TestReportTrace wants the chart's figures to be those of the rankings that the
// line protocol told.
func TestReportTrace(t *testing.T) {
	dir := t.TempDir()
	var out strings.Builder
	run([]string{"find", "--pipe", "--dir", dir, "--harness", "../../testdata/harness/cart-tail.yaml", "--symptom", "tail dark"},
		strings.NewReader(`{"type":"reading","n":1,"value":0.35}`+"\n"+`{"type":"reading","n":2,"value":36}`+"\n"), &out, &out)
	var told []float64
	for line := range strings.Lines(out.String()) {
		var m struct {
			Type   string
			Causes []struct {
				ID string
				P  float64
			}
		}
		require.NoError(t, json.Unmarshal([]byte(line), &m))
		if m.Type != "ranking" {
			continue
		}
		for _, x := range m.Causes {
			if x.ID == "wire w2 open" {
				told = append(told, x.P)
			}
		}
	}
	text, _, _ := program(t, "report", onlyCase(t, dir), "--dir", dir, "--form", "json")
	var r report.Report
	require.NoError(t, json.Unmarshal([]byte(text), &r))
	require.Len(t, r.Trace, 3)
	require.Len(t, told, 2)
	for i, p := range told {
		require.Equal(t, p, r.Trace[i+1]["wire w2 open"])
	}
}
