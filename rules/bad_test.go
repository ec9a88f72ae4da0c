package rules_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/kb"
	"probable/rules"
)

// bad is where the deliberately broken files live.
const bad = "../testdata/bad"

// knownBugs are bad files whose .want says what the message should be, while
// the present one is another. An entry that has come right fails the test, so
// that the list cannot go stale.
var knownBugs = map[string]string{}

// shipped reads the shipped base and the IDs of its sources.
func shipped(t testing.TB) (*rules.Base, rules.SourceIDs) {
	t.Helper()
	b, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	ids := rules.SourceIDs{}
	for _, s := range b.Sources {
		ids[s.ID] = true
	}
	return b, ids
}

// readKind reads a file as what its name's prefix says it is.
func readKind(t testing.TB, b *rules.Base, ids rules.SourceIDs, prefix, file string, data []byte) error {
	t.Helper()
	var err error
	switch prefix {
	case "harness":
		_, err = b.Harness(file, data)
	case "part":
		_, err = rules.ReadPart(file, data, ids)
	case "guide":
		_, err = b.ReadGuide(file, data, ids)
	default:
		t.Fatalf("%s: the name starts with none of harness-, part-, guide-", file)
	}
	return err
}

// TestBad compares all problems of every bad file, word for word and place for
// place, with what its .want says.
func TestBad(t *testing.T) {
	files, err := filepath.Glob(bad + "/*.yaml")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 20, "the bad files are gone")
	b, ids := shipped(t)
	for _, file := range files {
		name := filepath.Base(file)
		t.Run(strings.TrimSuffix(name, ".yaml"), func(t *testing.T) {
			data, err := os.ReadFile(file)
			require.NoError(t, err)
			require.True(t, strings.HasPrefix(string(data), "# "), "the first line is a comment that says the mistake")
			want, err := os.ReadFile(strings.TrimSuffix(file, ".yaml") + ".want")
			require.NoError(t, err)
			require.NotEmpty(t, want)
			prefix, _, _ := strings.Cut(name, "-")
			err = readKind(t, b, ids, prefix, "testdata/bad/"+name, data)
			got := ""
			if err != nil {
				var ps rules.Problems
				require.True(t, errors.As(err, &ps), "the error is %T, not Problems", err)
				got = ps.Error() + "\n"
			}
			if why, known := knownBugs[name]; known {
				require.NotEqual(t, string(want), got, "this has come right: take it from knownBugs")
				t.Skip("BUG: " + why)
			}
			require.Equal(t, string(want), got)
		})
	}
}

// TestBadPairs fails for a .want whose bad file is gone, or the other way round,
// and for a known bug without a file.
func TestBadPairs(t *testing.T) {
	entries, err := fs.ReadDir(os.DirFS(bad), ".")
	require.NoError(t, err)
	stems := map[string]int{}
	for _, e := range entries {
		ext := filepath.Ext(e.Name())
		require.Contains(t, []string{".yaml", ".want"}, ext, e.Name())
		stems[strings.TrimSuffix(e.Name(), ext)]++
	}
	for stem, n := range stems {
		require.Equal(t, 2, n, "%s: want a .yaml and a .want", stem)
	}
	for name := range knownBugs {
		require.Contains(t, stems, strings.TrimSuffix(name, ".yaml"))
	}
}
