package rules_test

import (
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"

	"probable/kb"
	"probable/rules"
)

// firstOK leads to the guides of the base below these tests.
const firstOK = `version: 1
ask: What do you see?
answers:
  - {say: one, guide: tiny}
  - {say: two, guide: borrower}
  - say: three
    ask: What else?
    answers:
      - {say: this, guide: tiny}
      - {say: that, guide: tiny}
      - {say: neither, guide: borrower}
`

func TestFirstQuestions(t *testing.T) {
	base := under()
	base["first.yaml"] = &fstest.MapFile{Data: []byte(firstOK)}
	b, err := rules.ReadBase(base)
	require.NoError(t, err)
	require.Equal(t, "What do you see?", b.First.Ask)
	require.Equal(t, []string{"one", "two", "three"}, b.First.Says())
	require.Equal(t, "borrower", b.First.Answers[1].Guide)
	require.Equal(t, "tiny", b.First.Answers[2].Next.Answers[1].Guide)

	b, err = rules.ReadBase(base, over("/a", map[string]string{
		"first.yaml":    strings.NewReplacer("see", "hear", "say: that, guide: tiny", "say: that, guide: new").Replace(firstOK),
		"guides/n.yaml": strings.Replace(tiny, "guide: tiny", "guide: new", 1),
	}))
	require.NoError(t, err)
	require.Equal(t, "What do you hear?", b.First.Ask)
	require.Equal(t, []string{"first questions from /a/first.yaml overrides the shipped one"}, b.Notes)
}

func TestFirstProblems(t *testing.T) {
	deep := func(n int) string { // a file whose one guide is so many answers away
		s := "version: 1\nask: q0\nanswers:\n"
		for i := range n {
			in := strings.Repeat("    ", i)
			s += in + "  - {say: a, guide: tiny}\n" + in + "  - {say: b, guide: borrower}\n"
			if i == n-1 {
				s += in + "  - {say: c, guide: tiny}\n"
			} else {
				s += in + "  - say: c\n" + in + "    ask: q\n" + in + "    answers:\n"
			}
		}
		return s
	}
	tests := []struct{ name, text, want string }{
		{"unknown guide", strings.Replace(firstOK, "guide: tiny", "guide: tinny", 1),
			`f.yaml:4:23: answer "one": there is no guide "tinny"; did you mean "tiny"?`},
		{"a shared guide", strings.Replace(firstOK, "guide: tiny", "guide: lender", 1),
			`f.yaml:4:23: answer "one": there is no guide "lender"; choose from: borrower, tiny`},
		{"a guide that nothing reaches", strings.ReplaceAll(firstOK, "guide: borrower", "guide: tiny"),
			`f.yaml:1:1: first questions: no answer leads to the guide "borrower"`},
		{"an answer twice", strings.Replace(firstOK, "say: two", "say: One", 1),
			`f.yaml:5:11: question "What do you see?": the answer "One" stands twice`},
		{"two answers only", strings.Replace(firstOK, "      - {say: that, guide: tiny}\n", "", 1),
			`f.yaml:9:7: question "What else?": 2 answers; want 3 to 7`},
		{"eight answers", strings.Replace(firstOK, "  - say: three", strings.Repeat("  - {say: X, guide: tiny}\n", 5)+"  - say: three", 1),
			`f.yaml:4:3: question "What do you see?": 8 answers; want 3 to 7`},
		{"neither guide nor question", strings.Replace(firstOK, "{say: two, guide: borrower}", "{say: two}", 1),
			`f.yaml:5:5: answer "two": want either "guide", where it leads to, or "ask" and "answers", the next question`},
		{"no answers", "version: 1\nask: x\n", `f.yaml:1:1: first questions: "answers" is missing`},
		{"unknown key", strings.Replace(firstOK, "say: two, ", "say: two, what: x, ", 1), `f.yaml:5:16: answer: unknown key "what"; choose from: say, guide, answers`},
		{"four deep", deep(4), ""},
		{"five deep", deep(5), `f.yaml:24:19: answer "c": a guide is at most 4 answers away; lead to one here`},
	}
	b, err := rules.ReadBase(under())
	require.NoError(t, err)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			text := tt.text
			for i := range 5 {
				text = strings.Replace(text, "say: X", "say: x"+string(rune('1'+i)), 1)
			}
			q, err := b.ReadFirst("f.yaml", []byte(text), b.GuideIDs())
			got := ""
			if err != nil {
				got = err.Error()
			} else {
				require.NotNil(t, q)
			}
			require.Equal(t, tt.want, got)
		})
	}
}

// TestShippedFirstQuestions holds the shipped tree to its bounds, read here
// without the package under test.
func TestShippedFirstQuestions(t *testing.T) {
	b, _ := shipped(t)
	require.NotNil(t, b.First)
	data, err := fs.ReadFile(kb.Files, "first.yaml")
	require.NoError(t, err)
	type node struct {
		Ask     string
		Say     string
		Guide   string
		Answers []node
	}
	var root node
	require.NoError(t, yaml.Unmarshal(data, &root))
	reached := map[string]int{}
	var walk func(n node, deep int)
	walk = func(n node, deep int) {
		require.LessOrEqual(t, deep, 4, "%s", n.Say)
		if n.Guide != "" {
			reached[n.Guide]++
			return
		}
		require.NotEmpty(t, n.Ask, "%s", n.Say)
		require.GreaterOrEqual(t, len(n.Answers), 3, n.Ask)
		require.LessOrEqual(t, len(n.Answers), 7, n.Ask)
		for _, a := range n.Answers {
			walk(a, deep+1)
		}
	}
	walk(root, 0)
	for _, id := range []string{"throttle dead", "throttle unsteady", "motor still", "motor stutters", "brake cutoff wrong", "no power at all",
		"cuts out under load", "cuts out over bumps", "fuse blows at once", "fuse blows after minutes", "light will not latch", "light dark",
		"light dim", "strip colours wrong", "switch lamp wrong", "panel voltmeter wrong", "converter trouble", "charging does not start",
		"connector hot", "re-pinned connector dead", "systems disturb each other"} {
		require.Positive(t, reached[id], "no answer leads to %s", id)
		delete(reached, id)
	}
	require.Empty(t, reached, "guides that nobody wrote")
}
