package engine_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/circuit"
)

// cartTail is the tail circuit of the example cart, and its model for a dark lamp.
func cartTail(t testing.TB) (*circuit.Harness, *engine.Model) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "testdata", "harness", "cart-tail.yaml"))
	require.NoError(t, err)
	h := made(t, string(data))
	m, err := engine.FromHarness(h, engine.Options{Symptom: "tail dark"})
	require.NoError(t, err)
	return h, m
}

// TestDrawingWrong works a cart whose feed goes straight to the lamp, and the wire
// from the switch to the plug, where the far ends are drawn the other way round; the latter has
// parted. What is read at the plug fits no fault; the wires are followed, and the
// drawing is to blame.
func TestDrawingWrong(t *testing.T) {
	h, m := cartTail(t)
	real := *h
	real.Wires = slices.Clone(h.Wires)
	at := func(name string) *circuit.Wire {
		return &real.Wires[slices.IndexFunc(real.Wires, func(w circuit.Wire) bool { return w.Name == name })]
	}
	at("w2").To, at("w4").To = at("w4").To, at("w2").To
	state, _ := h.State("tail on")
	v := newVehicle(t, &real, state, "wire w4 open")
	c := engine.NewCourse(m, engine.Gate{})
	followed := 0
	for range 40 {
		step := c.Next()
		if step.Verdict != nil {
			break
		}
		r, ok := v.answers(step.Check)
		require.True(t, ok, step.Check.ID)
		if strings.HasPrefix(step.Check.ID, "follow wire ") {
			followed++
			require.Equal(t, engine.Off, step.Check.Power)
			r = engine.Result{Answer: engine.AsDrawn}
			if strings.Contains(step.Check.ID, " w2 ") || strings.Contains(step.Check.ID, " w4 ") {
				r.Answer = engine.Elsewhere
			}
		}
		require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: r}))
	}
	verdict := c.Next().Verdict
	require.NotNil(t, verdict)
	require.Equal(t, engine.DrawingWrong, verdict.Causes[0].Cause.ID)
	require.Greater(t, verdict.Causes[0].P, 0.9)
	require.Contains(t, verdict.Repair, "resume CASE --replay")
	require.Positive(t, followed, "a wire was followed before the drawing is blamed")
}

// TestDrawingRightIsNotBlamed: no fault of the harness ends in a verdict that names
// the drawing, nor has anybody follow more than one wire.
func TestDrawingRightIsNotBlamed(t *testing.T) {
	_, m := cartTail(t)
	r, _ := engine.NewCourse(m, engine.Gate{}).Ranking()
	played := 0
	for _, x := range r {
		if x.P < 0.002 || x.Cause.ID == engine.Unexplained || x.Cause.ID == engine.DrawingWrong {
			continue
		}
		c := engine.NewCourse(m, engine.Gate{})
		followed := 0
		for step := c.Next(); step.Verdict == nil; step = c.Next() {
			if strings.HasPrefix(step.Check.ID, "follow wire ") {
				followed++
			}
			require.NoError(t, c.Apply(engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: m.Likeliest(step.Check, x.Cause.ID)}))
		}
		require.LessOrEqual(t, followed, 1, x.Cause.ID)
		require.NotContains(t, verdict(c), engine.DrawingWrong, x.Cause.ID)
		played++
	}
	require.Greater(t, played, 15)
}
