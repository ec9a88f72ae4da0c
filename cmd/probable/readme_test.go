package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// caseName is the one thing in a transcript that differs from day to day.
var caseName = regexp.MustCompile(`\b20[0-9]{2}-[0-9]{2}-[0-9]{2}-[0-9]+\b`)

// TestReadmeTranscript runs the command of the README and compares.
func TestReadmeTranscript(t *testing.T) {
	root := filepath.Join("..", "..")
	t.Setenv("XDG_STATE_HOME", t.TempDir())
	var out, errs bytes.Buffer
	code := run([]string{"find", "--harness", filepath.Join(root, "testdata/harness/cart-tail.yaml"), "--symptom", "tail dark",
		"--answers", filepath.Join(root, "testdata/played/tail-dark.answers")}, strings.NewReader(""), &out, &errs)
	require.Equal(t, exitVerdict, code, errs.String())
	got := caseName.ReplaceAllString(strings.TrimSpace(out.String()), "CASE")
	for line := range strings.Lines(got) {
		require.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 80, "too wide for a terminal: %s", line)
	}
	readme, err := os.ReadFile(filepath.Join(root, "README.md"))
	require.NoError(t, err)
	if os.Getenv("UPDATE") != "" {
		block := regexp.MustCompile("(?s)```\n.*?\n```")
		readme = block.ReplaceAllLiteral(readme, []byte("```\n"+strings.TrimSpace(out.String())+"\n```"))
		require.NoError(t, os.WriteFile(filepath.Join(root, "README.md"), readme, 0o644))
	}
	require.Contains(t, caseName.ReplaceAllString(string(readme), "CASE"), "```\n"+got+"\n```",
		"the README's transcript is out of date: run UPDATE=1 go test -run Readme ./cmd/probable")
}
