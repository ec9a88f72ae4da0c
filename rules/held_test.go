package rules_test

import (
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/kb"
	"probable/rules"
)

// told is what a guide says that can be compared.
type told struct {
	Shared, Driven bool
	Shows          []string
	Roles          map[string]string
	Facts          []engine.Fact
	Causes         []engine.Cause
	Traits         [][]string
	Checks         []engine.Check
	Tables         []map[string][]float64
}

func tell(g *engine.Guide) told {
	out := told{Shared: g.Shared, Driven: g.Driven, Shows: g.Shows, Roles: g.Roles, Facts: g.Facts}
	for _, c := range g.Causes {
		out.Causes, out.Traits = append(out.Causes, c.Cause), append(out.Traits, c.Traits)
	}
	for _, k := range g.Checks {
		out.Checks, out.Tables = append(out.Checks, k.Check), append(out.Tables, k.Table)
	}
	return out
}

// TestOpenBase holds the shipped base read as far as it is used against the same
// read whole.
func TestOpenBase(t *testing.T) {
	whole, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	b, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	require.NoError(t, b.Unfit)
	require.Equal(t, whole.Digest, b.Digest)
	require.Equal(t, whole.GuideIDs(), b.GuideIDs(), "before any is read")
	require.Equal(t, whole.First, b.First)
	require.Equal(t, whole.Kinds(), b.Kinds())
	files, err := filepath.Glob("../testdata/harness/*.yaml")
	require.NoError(t, err)
	joined := 0
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		h, err := b.Harness(file, data)
		require.NoError(t, err)
		same, err := whole.Harness(file, data)
		require.NoError(t, err)
		require.Equal(t, same, h)
		for _, s := range h.Symptoms {
			want, got := whole.GuideFor(h, s.ID), b.GuideFor(h, s.ID)
			require.Equal(t, want == nil, got == nil, s.ID)
			if want != nil {
				joined++
				require.Equal(t, want.ID, got.ID)
			}
		}
	}
	require.Positive(t, joined)
	for id := range whole.Guides() {
		near, err := b.Reach(id)
		require.NoError(t, err)
		require.Contains(t, near, id)
		for id, g := range near {
			require.Equal(t, tell(whole.Guide(id)), tell(g))
			for _, c := range g.Causes {
				if c.HandOff != "" {
					require.Contains(t, near, c.HandOff, "what %s hands off to", id)
				}
			}
		}
	}
	none, err := b.Reach("no such guide")
	require.NoError(t, err)
	require.Empty(t, none)
}

// TestOpenBaseUnread holds that a guide of the shipped base is read when it is
// asked for and not before, that its head is found however its file is written,
// and that its problems are told then.
func TestOpenBaseUnread(t *testing.T) {
	const wrong = "odds: -1"
	bad := strings.Replace(tiny, "odds: 1", wrong, 1)
	require.Contains(t, bad, wrong)
	about, rest, ok := strings.Cut(strings.TrimPrefix(tiny, "guide: tiny\n"), "causes:")
	require.True(t, ok)
	for name, text := range map[string]string{
		"as is":              tiny,
		"named at the end":   about + "causes:" + rest + "\nguide: tiny\n",
		"lists not indented": strings.ReplaceAll(tiny, "\n  ", "\n"),
		"with line ends":     strings.ReplaceAll(tiny, "\n", "\r\n"),
		"with empty lines":   strings.ReplaceAll(tiny, "\n", "\n\n#causes:\n"),
	} {
		t.Run(name, func(t *testing.T) {
			_, err := rules.ReadBase(small(map[string]string{"guides/tiny.yaml": text}))
			require.NoError(t, err)
			b, err := rules.OpenBase(small(map[string]string{"guides/tiny.yaml": text, "guides/lender.yaml": lender}))
			require.NoError(t, err)
			require.NoError(t, b.Unfit)
			require.Equal(t, []string{"tiny"}, b.GuideIDs())
			near, err := b.Reach("tiny")
			require.NoError(t, err)
			require.Equal(t, []string{"tiny"}, slices.Collect(maps.Keys(near)))
		})
	}
	b, err := rules.OpenBase(small(map[string]string{"guides/tiny.yaml": bad}))
	require.NoError(t, err)
	require.NoError(t, b.Unfit, "it was not read")
	_, err = b.Reach("tiny")
	require.ErrorContains(t, err, "kb/guides/tiny.yaml:")
	require.ErrorContains(t, err, "odds: -1 is impossible")
}

// TestOpenBaseLayers holds that a guide of a layer that is wrong is told, stops
// what leans on it, and stops nothing else.
func TestOpenBaseLayers(t *testing.T) {
	free := strings.Replace(tiny, "guide: tiny", "guide: free", 1)
	tests := []struct {
		name, file, text string
		want             string   // problem
		stops            []string // guides
	}{
		{"nothing wrong", "guides/x.yaml", strings.Replace(tiny, "about: x", "about: y", 1), "", nil},
		{"one's own", "guides/x.yaml", strings.Replace(tiny, "odds: 1", "odds: -1", 1), "/a/guides/x.yaml:5:", []string{"tiny"}},
		{"one that lends", "guides/x.yaml", strings.Replace(lender, "odds: 3", "odds: -3", 1), "/a/guides/x.yaml:10:34: cause worn", []string{"borrower", "lender"}},
		{"one that lends less", "guides/x.yaml", strings.ReplaceAll(lender, "wet", "damp"), "borrower.yaml:5:11: use: lender has no cause \"wet\"", []string{"borrower"}},
		{"more for one", "guides/x.yaml", "extends: tiny\nversion: 2\nfacts: {v: {kind: yes_no, ask: x, default: yes}}\n", "/a/guides/x.yaml:3:9: fact v", []string{"tiny"}},
		{"more for one, with a word too much", "guides/x.yaml", "extends: tiny\nversion: 2\nwords: 3\n", "/a/guides/x.yaml:3:1: guide file: unknown key", []string{"tiny"}},
		{"more for none", "guides/x.yaml", "extends: tinny\nversion: 2\n", "/a/guides/x.yaml:1:10: extends: there is no guide", nil},
		{"no YAML", "guides/x.yaml", "guide: [", "/a/guides/x.yaml:2:1: not YAML", nil},
		{"the second of a name", "guides/y.yaml", free, "/a/guides/y.yaml:1:8: guide: there is another guide free, in /a/guides/free.yaml", nil},
		{"uses what is not there", "guides/x.yaml", strings.Replace(borrower, "lender / wet", "lender / gone", 1), "/a/guides/x.yaml:5:11: use: lender has no cause", []string{"borrower"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			layer := over("/a", map[string]string{tt.file: tt.text, "guides/free.yaml": free})
			_, all := rules.ReadBase(under(), layer)
			b, err := rules.OpenBase(under(), layer)
			require.NoError(t, err)
			if tt.want == "" {
				require.NoError(t, all)
				require.NoError(t, b.Unfit)
			} else {
				require.ErrorContains(t, all, tt.want)
			}
			var stopped []string
			for _, id := range []string{"borrower", "free", "lender", "tiny"} {
				if _, err := b.Reach(id); err != nil {
					stopped = append(stopped, id)
					require.ErrorContains(t, err, tt.want)
				}
			}
			require.Equal(t, tt.stops, stopped)
			if strings.HasPrefix(tt.want, "/a/") { // those of shipped ones are told where these are read
				require.EqualError(t, b.Unfit, all.Error())
			}
		})
	}
	t.Run("what all lean on", func(t *testing.T) {
		for file, text := range map[string]string{
			"parts/thing.yaml": strings.Replace(thing, "odds: 1", "odds: -1", 1),
			"sources.yaml":     "version: 2\n",
			"odds.yaml":        "learned: nothing\n",
			"first.yaml":       "version: 1\n",
			"templates/x.yaml": "harness: x\n",
		} {
			_, err := rules.OpenBase(under(), over("/a", map[string]string{file: text}))
			require.ErrorContains(t, err, "/a/"+file+":", file)
		}
	})
	t.Run("learned odds", func(t *testing.T) {
		layer := over("/a", map[string]string{"odds.yaml": "learned: odds\nversion: 1\ncases: []\nodds: {lender / worn: 7, tiny / a: 9, tiny / gone: 2}\n"})
		want, err := rules.ReadBase(under(), layer)
		require.NoError(t, err)
		b, err := rules.OpenBase(under(), layer)
		require.NoError(t, err)
		require.Equal(t, want.Notes, b.Notes)
		require.Equal(t, 9.0, causeOf(t, b, "tiny", "a").Odds)
		require.Equal(t, 7.0, causeOf(t, b, "lender", "worn").Odds)
	})
}
