package main

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/spf13/cobra"
	"github.com/stretchr/testify/require"
)

// TestDraw runs the two drawing verbs by themselves.
func TestDraw(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "harness", "cart-tail.yaml")
	bad := filepath.Join(t.TempDir(), "bad.yaml")
	require.NoError(t, os.WriteFile(bad, []byte("harness: x\n"), 0o644))
	for _, verb := range []func() *cobra.Command{drawCommand, labelsCommand} {
		execute := func(args ...string) (string, error) {
			c := verb()
			var out bytes.Buffer
			c.SetArgs(args)
			c.SetOut(&out)
			c.SilenceErrors, c.SilenceUsage = true, true
			err := c.Execute()
			return out.String(), err
		}
		svg, err := execute(file)
		require.NoError(t, err)
		require.Contains(t, svg, "</svg>")
		to := filepath.Join(t.TempDir(), "out.svg")
		said, err := execute(file, "-o", to)
		require.NoError(t, err)
		require.Empty(t, said)
		written, err := os.ReadFile(to)
		require.NoError(t, err)
		require.Equal(t, svg, string(written))
		for _, args := range [][]string{{bad}, {"no-such-file"}, {file, "--width", "5"}, {file, "--width", "NaN"}} {
			_, err = execute(args...)
			var ee *exitError
			require.True(t, errors.As(err, &ee), args)
			require.Equal(t, exitInput, ee.code, args)
		}
		_, err = execute(file, "-o", filepath.Join(t.TempDir(), "no", "such", "folder"))
		require.Error(t, err)
	}
}
