package rules_test

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"

	"probable/rules"
)

var (
	digit  = regexp.MustCompile(`[0-9]`)
	marked = regexp.MustCompile(`\b(practice|memory|[a-z0-9]+(-[a-z0-9]+)+)\b`)
)

// unmarked are the figures of a file that nothing marks, with where they stand.
// A figure is marked by the "source" of an item that it stands in (a cause, check,
// failure, key or the part as a whole), or, where the language has no source (facts, cautions and other texts of
// a guide; a template; the first questions), by a source, "practice" or "memory"
// in the comment at the head of its file or before it.
func unmarked(t *testing.T, data []byte, ids rules.SourceIDs) []string {
	t.Helper()
	names := func(comment string) bool {
		return slices.ContainsFunc(marked.FindAllString(comment, -1), func(w string) bool { return w == "practice" || w == "memory" || ids[w] })
	}
	var root yaml.Node
	require.NoError(t, yaml.Unmarshal(data, &root))
	head, _, _ := strings.Cut("\n"+string(data), "\n"+root.Content[0].Content[0].Value+":")
	byHead := names(head)
	var out []string
	var walk func(n *yaml.Node, path []string, covered bool)
	walk = func(n *yaml.Node, path []string, covered bool) {
		covered = covered || names(n.HeadComment) || names(n.LineComment)
		switch n.Kind {
		case yaml.MappingNode:
			uses := false
			for i := 0; i+1 < len(n.Content); i += 2 {
				switch k, v := n.Content[i].Value, n.Content[i+1].Value; {
				case k == "source" && (v == "practice" || v == "memory" || ids[v]):
					covered = true
				case k == "use":
					uses = true
				}
			}
			for i := 0; i+1 < len(n.Content); i += 2 {
				k, v := n.Content[i], n.Content[i+1]
				if uses && k.Value != "odds" && k.Value != "table" {
					continue // names and conditions of what has its source where it is written
				}
				if top := len(path) == 0; top && k.Value == "version" {
					continue
				} else if top && k.Value != "causes" && k.Value != "checks" && k.Value != "failures" {
					walk(v, []string{k.Value}, covered || byHead || names(k.HeadComment))
					continue
				}
				walk(v, append(slices.Clone(path), k.Value), covered || names(k.HeadComment) || names(k.LineComment))
			}
		case yaml.SequenceNode:
			for _, c := range n.Content {
				walk(c, path, covered)
			}
		default:
			if !covered && digit.MatchString(n.Value) {
				out = append(out, strings.Join(path, ": ")+": "+n.Value)
			}
		}
	}
	walk(root.Content[0], nil, false)
	return out
}

// TestEveryFigureIsMarked fails on any figure in kb that has no mark.
func TestEveryFigureIsMarked(t *testing.T) {
	_, ids := shipped(t)
	seen := 0
	for _, glob := range []string{"guides/*.yaml", "parts/*.yaml", "templates/*.yaml", "first.yaml"} {
		files, err := filepath.Glob(filepath.Join("..", "kb", glob))
		require.NoError(t, err)
		require.NotEmpty(t, files, glob)
		for _, file := range files {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			require.Empty(t, unmarked(t, data, ids), file)
			seen++
		}
	}
	require.Greater(t, seen, 45)
}

// TestUnmarked holds the test above to what it must find.
func TestUnmarked(t *testing.T) {
	ids := rules.SourceIDs{"some-page": true}
	tests := []struct{ name, text, want string }{
		{"a cause without a source", "guide: x\ncauses:\n  - {id: a, say: at 5 V, odds: 3}\n", "causes: say: at 5 V; causes: odds: 3"},
		{"with one", "guide: x\ncauses:\n  - {id: a, say: at 5 V, odds: 3, source: some-page}\n", ""},
		{"with one that is not there", "guide: x\ncauses:\n  - {id: a, say: at 5 V, source: other-page}\n", "causes: say: at 5 V"},
		{"of another guide, at odds of its own", "guide: x\ncauses:\n  - {use: y / a, odds: 3}\n", "causes: odds: 3"},
		{"at odds of its own with a source", "guide: x\ncauses:\n  - {use: y / a, odds: 3, source: practice}\n", ""},
		{"of another guide, as it is there", "guide: x\ncauses:\n  - {use: y / at 5 V, prove: [volts at 5 V]}\n", ""},
		{"rows of its own", "guide: x\nchecks:\n  - {use: y / a, table: {b: [0.5, 0.5]}}\n", "checks: table: b: 0.5; checks: table: b: 0.5"},
		{"a check's outcome", "guide: x\nchecks:\n  - id: a\n    source: practice\n    outcomes: [{when: v < 3}]\n", ""},
		{"a fact", "guide: x\nfacts:\n  volts: {from: 3}\n", "facts: volts: from: 3"},
		{"a fact under a comment", "guide: x\nfacts:\n  # some-page\n  volts: {from: 3}\n", ""},
		{"a fact under a head", "# 3 to 5 V (some-page)\nguide: x\nfacts:\n  volts: {from: 3}\n", ""},
		{"a head does not cover causes", "# practice\nguide: x\ncauses:\n  - {say: 5 V}\n", "causes: say: 5 V"},
		{"a head that names nothing", "# well-known facts\nguide: x\nabout: 5 V\n", "about: 5 V"},
		{"a part", "part: x\nversion: 1\nkeys: {volts: {to: 5}}\nfailures:\n  - {odds: 3}\n", "keys: volts: to: 5; failures: odds: 3"},
		{"a part with a source", "part: x\nversion: 1\nsource: practice\nkeys: {volts: {to: 5}}\n", ""},
		{"a template", "harness: x\nwires:\n  - {metres: 3}\n", "wires: metres: 3"},
		{"a template under a head", "# common practice, no source\nharness: x\nwires:\n  - {metres: 3}\n", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, strings.Join(unmarked(t, []byte(tt.text), ids), "; "))
		})
	}
}
