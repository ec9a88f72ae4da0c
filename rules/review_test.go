package rules_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"

	"probable/kb"
	"probable/rules"
)

// doubtful is where guides live that read well and should be warned of.
const doubtful = "../testdata/doubtful"

// TestDoubtful compares all warnings of every doubtful guide, word for word and
// place for place, with what its .want says; an empty one wants none.
func TestDoubtful(t *testing.T) {
	files, err := filepath.Glob(doubtful + "/*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 30, "the doubtful files are gone")
	few := fstest.MapFS{} // the guide that others use from, and no more
	for _, name := range []string{"sources.yaml", "guides/common.yaml"} {
		data, err := fs.ReadFile(kb.Files, name)
		require.NoError(t, err)
		few[name] = &fstest.MapFile{Data: data}
	}
	for _, file := range files {
		name := filepath.Base(file)
		t.Run(strings.TrimSuffix(name, ".yaml"), func(t *testing.T) {
			t.Parallel()
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			require.True(t, strings.HasPrefix(string(data), "# "), "the first line is a comment that says what is doubtful")
			b, err := rules.ReadFiles(map[string][]byte{"testdata/doubtful/" + name: data}, few)
			require.NoError(t, err)
			var got strings.Builder
			for _, p := range b.Review() {
				if strings.HasPrefix(p.File, "testdata/") {
					require.True(t, p.Warning)
					require.NotEmpty(t, p.Right, "what would be right")
					got.WriteString(p.Error() + "\n")
				}
			}
			beside := strings.TrimSuffix(file, ".yaml") + ".want"
			if os.Getenv("UPDATE") != "" {
				require.NoError(t, os.WriteFile(beside, []byte(got.String()), 0o644))
			}
			want, err := os.ReadFile(beside)
			require.NoError(t, err)
			require.Equal(t, string(want), got.String())
		})
	}
}

// TestReviewOfShipped wants no warning of the shipped base.
func TestReviewOfShipped(t *testing.T) {
	b, _ := shipped(t)
	for _, p := range b.Review() {
		t.Error(p.Error())
	}
}

// TestReviewOfSources finds a source that nothing names.
func TestReviewOfSources(t *testing.T) {
	sources := "version: 1\nsources:\n  - {id: s1, title: x, where: y, reached: z}\n  - {id: s2, title: x, where: y, reached: z}\n" +
		"  - {id: s3, title: x, where: y, reached: z, for: program}\n  - {id: s4, title: x, where: y, reached: z}\n"
	b, err := rules.ReadBase(small(map[string]string{"sources.yaml": sources, "guides/tiny.yaml": tiny + "# leaned on in a comment (s4)\n"}))
	require.NoError(t, err)
	var texts []string
	for _, p := range b.Review() {
		if p.File == "kb/sources.yaml" {
			texts = append(texts, p.Error())
		}
	}
	require.Equal(t, []string{`kb/sources.yaml:4:10: warning: source s2: nothing names it; right would be: its id as the source of a figure or in a comment beside one; ` +
		`"for: program" if only the program's own code leans on it; else leave it away`}, texts)
	_, err = rules.ReadSources("s.yaml", []byte("version: 1\nsources:\n  - {id: s1, title: x, where: y, reached: z, for: me}\n"))
	require.EqualError(t, err, `s.yaml:3:51: source s1: for: "me" is none of: program`)
}

// TestSourcesForProgram: what is marked as the program's own is named in its code
// or its tests.
func TestSourcesForProgram(t *testing.T) {
	var code strings.Builder
	for _, dir := range []string{"../engine", "../rules", "../testdata/published", "../cmd"} {
		require.NoError(t, filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !slices.Contains([]string{".go", ".yaml"}, filepath.Ext(path)) {
				return err
			}
			data, err := os.ReadFile(path)
			code.Write(data)
			return err
		}))
	}
	b, _ := shipped(t)
	marked := 0
	for _, s := range b.Sources {
		if s.ForProgram {
			marked++
			require.Contains(t, code.String(), s.ID)
		}
	}
	require.Positive(t, marked)
}

// TestReviewOfHandOffs follows hand-offs through several guides.
func TestReviewOfHandOffs(t *testing.T) {
	guide := func(id, to string) string {
		return strings.NewReplacer("guide: tiny", "guide: "+id, "kills: x", "hand_off: "+to+", kills: x").Replace(tiny)
	}
	_, err := guides(t, guide("a", "b"), guide("b", "c"), guide("c", "a"), guide("d", "a"))
	require.EqualError(t, err, strings.Join([]string{
		"kb/guides/a.yaml:5:75: cause a: hand_off: it comes back to this guide: a to b to c to a; hand off to a guide that does not lead here",
		"kb/guides/b.yaml:5:75: cause a: hand_off: it comes back to this guide: b to c to a to b; hand off to a guide that does not lead here",
		"kb/guides/c.yaml:5:75: cause a: hand_off: it comes back to this guide: c to a to b to c; hand off to a guide that does not lead here",
	}, "\n"), "d leads to the circle and is not in it")
	_, err = guides(t, guide("a", "b"), guide("b", "c"), guide("d", "b"), strings.Replace(tiny, "tiny", "c", 1))
	require.NoError(t, err)
}
