package engine_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/kb"
	"probable/rules"
)

// TestFillingACapacitor checks that an ohms reading across the controller's
// capacitor, from its own pins or by thick wires from the pack's plug, says that
// it rises while the meter fills it, and that one along a wire does not.
func TestFillingACapacitor(t *testing.T) {
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join("..", "testdata", "harness", "cart-throttle.yaml"))
	require.NoError(t, err)
	h, err := base.Harness("cart-throttle", data)
	require.NoError(t, err)
	m, err := engine.FromHarness(h, engine.Options{})
	require.NoError(t, err)
	rises := func(s string) bool { return strings.Contains(s, "starts low and rises") }
	require.True(t, rises(m.Short.Say), m.Short.Say)
	want := map[string]bool{
		"ohms ctl.plus to ctl.minus":   true,
		"ohms pack.plus to pack.minus": true, // by the main fuse and two wires
		"ohms ctl.key to pack.minus":   false,
		"ohms pack.plus to main.a":     false,
	}
	seen := 0
	for _, c := range m.Checks {
		if r, ok := want[c.ID]; ok {
			seen++
			require.Equal(t, r, rises(c.Say), "%s: %s", c.ID, c.Say)
			require.Equal(t, r, rises(c.Prepare), "%s: %s", c.ID, c.Prepare)
		}
	}
	require.Equal(t, len(want), seen)
}
