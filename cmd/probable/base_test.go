package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/rules"
)

// ownGuide is a guide as somebody adds it.
const ownGuide = `guide: bell silent
version: 2
about: The bell does not ring.
causes:
  - {id: bell open, say: Its coil is open., odds: 3, source: practice, repair: Replace it., prove: [press], kills: nothing known, hurts: nothing beyond the general cautions}
  - {id: button open, say: Its button is open., odds: 3, source: practice, repair: Clean it., prove: [press], kills: nothing known, hurts: nothing beyond the general cautions}
checks:
  - id: press
    mode: look
    power: off
    say: Press it.
    why: It is the complaint.
    minutes: 1
    source: practice
    outcomes: [{id: clicks, say: it clicks}, {id: nothing, say: nothing}]
    good: clicks
    table:
      otherwise: [0.5, 0.5]
      bell open: [0.9, 0.1]
      button open: [0.1, 0.9]
`

// layer writes files into a new folder.
func layer(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		file := filepath.Join(dir, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(file), 0o755))
		require.NoError(t, os.WriteFile(file, []byte(text), 0o644))
	}
	return dir
}

func TestLayers(t *testing.T) {
	cases := t.TempDir()
	find := []string{"find", "--pipe", "--dir", cases, "--guide", "bell silent"}

	code, _, errs := converse(t, "", find...)
	require.Equal(t, exitInput, code)
	require.Contains(t, errs, `there is no guide "bell silent"`)

	mine := layer(t, map[string]string{"guides/bell.yaml": ownGuide})
	code, lines, errs := converse(t, "", append(find, "--kb", mine)...)
	require.Equal(t, exitNoVerdict, code)
	require.Empty(t, errs, "what is only added overrides nothing")
	require.Equal(t, "press", lines[0].ID)

	// The user's own folder, and one over it.
	t.Setenv("XDG_CONFIG_HOME", layer(t, map[string]string{"probable/kb/guides/bell.yaml": ownGuide}))
	code, _, errs = converse(t, "", find...)
	require.Equal(t, exitNoVerdict, code)
	require.Empty(t, errs)
	own := filepath.Join(os.Getenv("XDG_CONFIG_HOME"), "probable", "kb", "guides", "bell.yaml")
	last := layer(t, map[string]string{"guides/x.yaml": "extends: bell silent\nversion: 2\ncauses:\n  - {use: bell silent / bell open, odds: 12}\n"})
	_, lines, errs = converse(t, `{"type":"skip","n":1}`+"\n", append(find, "--kb", mine, "--kb", last)...)
	require.Equal(t, "kb: guide bell silent from "+filepath.Join(mine, "guides", "bell.yaml")+" overrides that of "+own+"\n"+
		"kb: guide bell silent: cause bell open from "+filepath.Join(last, "guides", "x.yaml")+" overrides that of "+filepath.Join(mine, "guides", "bell.yaml")+"\n", errs)
	require.Equal(t, "ranking", lines[1].Type, lines[1].raw)
	require.Equal(t, "bell open", lines[1].Causes[0].ID)
	require.Greater(t, lines[1].Causes[0].P, 0.7)

	t.Run("problems", func(t *testing.T) {
		broken := layer(t, map[string]string{"guides/x.yaml": strings.Replace(ownGuide, "odds: 3", "odds: -3", 1)})
		code, _, errs := converse(t, "", append(find, "--kb", broken)...)
		require.Equal(t, exitInput, code)
		require.Contains(t, errs, filepath.Join(broken, "guides", "x.yaml")+":5:51: cause bell open: odds: -3 is impossible")
		// It is told, and stops nobody who works by another guide.
		code, lines, errs := converse(t, "", "find", "--pipe", "--dir", t.TempDir(), "--guide", "light dark", "--kb", broken)
		require.Equal(t, exitNoVerdict, code)
		require.Equal(t, "check", lines[0].Type)
		require.Equal(t, 1, strings.Count(errs, "odds: -3"), errs)
		require.Contains(t, errs, "kb: "+filepath.Join(broken, "guides", "x.yaml")+":5:51: cause bell open: odds: -3 is impossible")
		require.Contains(t, errs, "until it is mended no case is worked by this guide")
		code, out, _ := runVerb("kb", "check", "--kb", broken)
		require.Equal(t, exitInput, code)
		require.Contains(t, strings.Join(strings.Fields(out), " "), "cause bell open: odds: -3")
		code, _, errs = converse(t, "", append(find, "--kb", filepath.Join(broken, "gone"))...)
		require.Equal(t, exitInput, code)
		require.Contains(t, errs, "the folder of knowledge cannot be read")
	})
	t.Run("digest", func(t *testing.T) {
		// The first find without a layer kept no case; the others did.
		_, out, _ := runVerb("cases", "--dir", cases, "--json")
		var rows []struct{ ID string }
		require.NoError(t, json.Unmarshal([]byte(out), &rows))
		require.Len(t, rows, 3)
		digests := map[string]bool{}
		for _, r := range rows {
			data, err := os.ReadFile(filepath.Join(cases, r.ID+".case.jsonl"))
			require.NoError(t, err)
			var rec struct{ Opened struct{ Base string } }
			first, _, _ := strings.Cut(string(data), "\n")
			require.NoError(t, json.Unmarshal([]byte(first), &rec))
			require.NotEmpty(t, rec.Opened.Base)
			digests[rec.Opened.Base] = true
		}
		require.Len(t, digests, 2, "two finds lay over the same knowledge, the third over more")
	})
}

// TestFirstQuestionsLead walks the shipped questions over the pipe to each guide
// that they lead to, and back.
func TestFirstQuestionsLead(t *testing.T) {
	base := shippedBase(t)
	ways := map[string][]string{} // guide: a way to it
	var walk func(q *rules.Question, way []string)
	walk = func(q *rules.Question, way []string) {
		for _, a := range q.Answers {
			on := append(append([]string(nil), way...), a.Say)
			if a.Next != nil {
				walk(a.Next, on)
			} else {
				ways[a.Guide] = on
			}
		}
	}
	walk(base.First, nil)
	require.NotEmpty(t, ways)
	says := func(answers ...string) string {
		var b strings.Builder
		for _, a := range answers {
			line, err := json.Marshal(map[string]string{"type": "answer", "answer": a})
			require.NoError(t, err)
			b.Write(append(line, '\n'))
		}
		return b.String()
	}
	find := func(in string) (int, []spoken, []string) {
		dir := t.TempDir()
		code, lines, errs := converse(t, in, "find", "--pipe", "--dir", dir)
		require.Empty(t, errs)
		files, err := filepath.Glob(filepath.Join(dir, "*.case.jsonl"))
		require.NoError(t, err)
		var guides []string
		for _, f := range files {
			data, err := os.ReadFile(f)
			require.NoError(t, err)
			var rec struct{ Opened struct{ Guide string } }
			first, _, _ := strings.Cut(string(data), "\n")
			require.NoError(t, json.Unmarshal([]byte(first), &rec))
			guides = append(guides, rec.Opened.Guide)
		}
		return code, lines, guides
	}
	for guide, way := range ways {
		_, lines, opened := find(says(way...))
		require.Equal(t, []string{guide}, opened)
		require.LessOrEqual(t, len(way), 4)
		for i := range way {
			require.Equal(t, "choose", lines[i].Type)
			require.Contains(t, lines[i].Symptoms, way[i])
			require.Contains(t, lines[i].Symptoms, "show all guides")
		}
		require.Equal(t, "check", lines[len(way)].Type)
	}

	guide := base.GuideIDs()[0]
	first := base.First.Answers[0].Say
	tests := []struct {
		name string
		in   string
		want []string // guide of the case
	}{
		{"the list of all", says("show all guides", guide), []string{guide}},
		{"back from the list", says("show all guides", "back to the question before", "show all guides", guide), []string{guide}},
		{"a guide by its name", says(guide), []string{guide}},
		{"and deeper", says(first, guide), []string{guide}},
		{"undo, then on", says(first) + `{"type":"undo"}` + "\n" + says(first, guide), []string{guide}},
		{"undo at the first question stays there", `{"type":"undo"}` + "\n" + says(guide), []string{guide}},
		{"back, then on", says(first, "back to the question before", first, guide), []string{guide}},
		{"nonsense is asked again", says("nonsense", guide), []string{guide}},
		{"quit", `{"type":"quit"}` + "\n", nil},
		{"end", "", nil},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			code, lines, opened := find(tt.in)
			require.Equal(t, exitNoVerdict, code)
			require.Equal(t, "choose", lines[0].Type)
			require.Equal(t, tt.want, opened)
		})
	}

	t.Run("at the bench", func(t *testing.T) {
		typed := filepath.Join(layer(t, map[string]string{"typed": "1\nback\nnonsense\n" + guide + "\n"}), "typed")
		_, out, _ := runVerb("find", "--answers", typed, "--dir", t.TempDir())
		require.Equal(t, 2, strings.Count(out, base.First.Ask), out)
		require.Contains(t, out, `"nonsense" is none of them.`)
		for line := range strings.Lines(out) {
			require.LessOrEqual(t, len([]rune(strings.TrimRight(line, "\n"))), 80, line)
		}
	})
}

func TestKBSchema(t *testing.T) {
	for _, kind := range rules.SchemaKinds {
		code, out, errs := runVerb("kb", "schema", kind)
		require.Equal(t, exitVerdict, code, errs)
		committed, err := os.ReadFile(filepath.Join("..", "..", "kb", "schema", kind+".json"))
		require.NoError(t, err)
		require.True(t, string(committed) == out, "%s is not what is committed", kind)
	}
	code, out, _ := runVerb("kb", "schema", "guide", "--kb", layer(t, map[string]string{
		"sources.yaml": "version: 1\nsources:\n  - {id: my-notes, title: x, where: y, reached: z}\n"}))
	require.Equal(t, exitVerdict, code)
	require.Contains(t, out, `"my-notes"`, "what a layer adds is known")
	for _, args := range [][]string{{"kb", "schema"}, {"kb", "schema", "giude"}, {"kb", "schema", "guide", "part"}} {
		code, out, errs := runVerb(args...)
		require.Equal(t, exitInput, code)
		require.Empty(t, out)
		require.NotEmpty(t, errs)
	}
}
