package engine_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// below says which packages of ours each folder may import. Dependencies point
// down only; a folder that is not listed may import none.
var below = map[string][]string{
	"cmd/probable":    {"engine", "engine/circuit", "engine/casefile", "engine/coverage", "engine/drawing", "engine/report", "engine/trial", "rules", "kb"},
	"rules":           {"engine", "engine/circuit", "engine/trial"},
	"engine":          {"engine/circuit"},
	"engine/casefile": {"engine"},
	"engine/coverage": {"engine", "engine/trial"},
	"engine/drawing":  {"engine/circuit"},
	"engine/report":   {"engine", "engine/circuit", "engine/drawing"},
	"engine/trial":    {"engine"},
	"engine/circuit":  nil,
	"kb":              nil,
}

// foreign are libraries that may be imported in one folder only.
var foreign = map[string]string{
	"github.com/AlecAivazis/survey/v2": "cmd/probable",
	"github.com/spf13/cobra":           "cmd/probable",
	"gopkg.in/yaml.v3":                 "rules",
	"github.com/expr-lang/expr":        "rules",
}

func TestDependenciesPointDown(t *testing.T) {
	root := ".."
	seen := 0
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && path != root) {
			return fs.SkipDir
		}
		if !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return nil
		}
		seen++
		rel, err := filepath.Rel(root, filepath.Dir(path))
		require.NoError(t, err)
		folder := filepath.ToSlash(rel)
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ImportsOnly)
		require.NoError(t, err)
		for _, i := range f.Imports {
			imported := strings.Trim(i.Path.Value, `"`)
			if ours, ok := strings.CutPrefix(imported, "probable/"); ok {
				require.Contains(t, below[folder], ours, "%s imports %s", path, imported)
			}
			for lib, only := range foreign {
				if imported == lib || strings.HasPrefix(imported, lib+"/") {
					require.Equal(t, only, folder, "%s imports %s", path, imported)
				}
			}
		}
		return nil
	})
	require.NoError(t, err)
	require.Greater(t, seen, 20)
}

// TestTopLevel keeps the top level as it was settled.
func TestTopLevel(t *testing.T) {
	entries, err := os.ReadDir("..")
	require.NoError(t, err)
	known := []string{"cmd", "rules", "engine", "kb", "testdata", "README.md", "DEVELOPERS.md", "LICENSE", "go.mod", "go.sum"}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") {
			require.Contains(t, known, e.Name())
		}
	}
}
