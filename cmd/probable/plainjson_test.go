package main

import (
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/report"
)

// TestMessagesThatAreNone says what is wrong with a line of input without a word of
// how the program is made.
func TestMessagesThatAreNone(t *testing.T) {
	for in, want := range map[string]string{
		`{"type":"reading","n":1,"value":"0.02"}`:         `"value" is text in quotation marks, and should be a number without quotation marks`,
		`{"type":"reading","n":"1","value":0.02}`:         `"n" is text in quotation marks, and should be a whole number`,
		`{"type":"reading","n":1.5,"value":0.02}`:         `"n" is the number 1.5, and should be a whole number`,
		`{"type":"reading","n":1,"over":"yes"}`:           `"over" is text in quotation marks, and should be true or false`,
		`{"type":"reading","n":1,"values":1}`:             `"values" is a number, and should be a list in square brackets`,
		`{"type":7}`:                                      `"type" is a number, and should be text in quotation marks`,
		`{"type":"reading","n":1,"value":1e999}`:          `"value" is the number 1e999, and should be`,
		`[1]`:                                             `the whole is a list, and should be an object in braces`,
		`0.35`:                                            `the whole is a number, and should be an object in braces`,
		`{"type":"reading","n":1,"value":0.02`:            "it ends in the middle",
		`{"type":"reading","n":1,"value":0,02}`:           `it is no JSON from "02}" on`,
		`{'type':'reading'}`:                              `it is no JSON from "'type':'reading'}" on`,
		`volts`:                                           `it is no JSON from "volts" on`,
		"{\"type\":\"reading\",\"n\":1,\"value\":\x00 1}": "it is no JSON from",
	} {
		var errs strings.Builder
		var out strings.Builder
		run([]string{"find", "--pipe", "--dir", t.TempDir(), "--guide", "throttle dead"}, strings.NewReader("\n"+in+"\n"), &out, &errs)
		require.Empty(t, errs.String())
		lines := strings.Split(out.String(), "\n")
		var said struct {
			Type, Message string
			Line          int
		}
		require.NoError(t, json.Unmarshal([]byte(lines[1]), &said))
		require.Equal(t, "error", said.Type)
		require.Equal(t, 2, said.Line)
		require.Contains(t, said.Message, want, in)
		require.Contains(t, said.Message, `right would be, say, {"type":"reading","n":1,"value":0.02}`)
		for _, inside := range []string{"json:", "unmarshal", "Go ", "struct", "float64", "incoming"} {
			require.NotContains(t, said.Message, inside, in)
		}
		require.Equal(t, lines[0], lines[2], "the check is asked again")
	}
}

// TestFilesThatAreNone does so for a report, with the line.
func TestFilesThatAreNone(t *testing.T) {
	for in, want := range map[string]string{
		"{\n \"version\": 1,\n \"case\": 4\n}":                  `line 3: "case" is a number, and should be text in quotation marks`,
		"{\n \"version\": 1,\n \"opened\": \"last week\"\n}":    `"last week" is no date and time as in 2026-11-25T08:30:00Z`,
		"{\n \"version\": 1,\n \"causes\": [\n  {\"p\": 1},":    "line 4: it ends in the middle",
		"{\n \"version\": 1,\n case: 4\n}":                      `line 3: it is no JSON from "case: 4`,
		"{\n \"version\": 1,\n \"causes\": [{\"p\": \"x\"}]\n}": `line 3: "causes.p" is text in quotation marks, and should be a number`,
	} {
		var r report.Report
		err := plainJSON([]byte(in), json.Unmarshal([]byte(in), &r))
		require.ErrorContains(t, err, want)
	}
	var r report.Report
	require.NoError(t, plainJSON(nil, json.Unmarshal([]byte("{}"), &r)))
}
