package trial_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/trial"
	"probable/kb"
	"probable/rules"
)

// mostLooseLost is the share of plays in which a contact that comes and goes may be
// lost to good readings: the goal is that 98 % end with it in the verdict.
const mostLooseLost = 0.02

// TestLooseContacts plays the contacts that may come and go behind a lamp that
// flickers, nearly all of them sound whenever nobody moves them.
func TestLooseContacts(t *testing.T) {
	base, err := rules.ReadBase(kb.Files)
	require.NoError(t, err)
	data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "harness", "cart-tail.yaml"))
	require.NoError(t, err)
	text := strings.TrimRight(string(data), "\n") + "\n  - {id: tail flickers, state: tail on, shows: {tail: dark}, comes_and_goes: yes}\n"
	h, err := base.Harness("flickers.yaml", []byte(text))
	require.NoError(t, err)
	s := &trial.Subject{Name: "tail flickers", Harness: h, Symptom: "tail flickers"}
	played, err := s.Study(trial.Engine, trial.Draws{Seed: 1, Plays: 8})
	require.NoError(t, err)
	n, lost, first, checks := 0, 0, 0, 0
	for _, p := range played {
		require.Empty(t, p.Unsafe)
		if p.Cause == engine.DrawingWrong {
			continue
		}
		n++
		checks += p.Checks
		if p.Right {
			first++
		}
		if !p.In {
			lost++
			t.Logf("lost: %s after %d checks, said %.2f of another", p.Cause, p.Checks, p.Said)
		}
	}
	t.Logf("%d plays: %d lost, %d first in the verdict, %.1f checks each", n, lost, first, float64(checks)/float64(n))
	require.Greater(t, n, 60)
	require.LessOrEqual(t, float64(lost), mostLooseLost*float64(n))
}
