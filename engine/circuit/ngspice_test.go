package circuit_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
	"probable/testdata/ngspice"
)

// load reads an example harness with the shipped kinds of parts.
func load(t testing.TB, name string) (*circuit.Harness, string) {
	t.Helper()
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	path := filepath.Join("..", "..", "testdata", "harness", name+".yaml")
	data, err := os.ReadFile(path)
	require.NoError(t, err)
	h, err := base.Harness(path, data)
	require.NoError(t, err)
	return h, path
}

// vehicle loads the same harness into ngspice, or skips loudly.
func vehicle(t testing.TB, path string) *ngspice.Vehicle {
	t.Helper()
	v, err := ngspice.Load(path)
	require.NoError(t, err)
	if _, err := v.Nodes(context.Background(), ngspice.Setup{Power: ngspice.Live}); errors.Is(err, ngspice.ErrMissing) {
		t.Skip("NOT CHECKED AGAINST NGSPICE: it is not installed")
	}
	return v
}

// samePoint returns the point of our fault that is the oracle's fault, and the
// added ohms to give it; ok is false where the two describe different sizes.
func samePoint(f *circuit.Fault) (point int, ohms float64, ok bool) {
	switch {
	case strings.HasSuffix(f.ID, " too thin"):
		return 2, 0, true // the middle of 4 to 20 times in equal ratios
	case strings.HasSuffix(f.ID, " resistive"):
		// five points from 1 to 100 ohm in equal ratios; the middle one is 10
		return 2, 10, true
	case strings.HasSuffix(f.ID, " no output") && f.Points() == 2:
		return 1, 0, true // the pack with 0 V behind its inner resistance
	case strings.HasSuffix(f.ID, " low"):
		return 0, 0, false // a range here, 0.6 of nominal there
	}
	return 0, 0, true
}

// TestNodesAgainstNgspice compares every node of the example harnesses in every
// state, healthy and with every single fault, with an independent description
// of the same circuit solved by ngspice.
func TestNodesAgainstNgspice(t *testing.T) {
	for _, name := range []string{"cart-tail", "cart-throttle", "cart-bars", "cart-lights"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			h, path := load(t, name)
			v := vehicle(t, path)
			faults := h.Faults()
			ids := map[string]bool{}
			for _, f := range faults {
				ids[f.ID] = true
			}
			for _, id := range v.Faults() {
				require.True(t, ids[id], "the outside list has a fault that ours has not: %s", id)
			}
			require.Len(t, faults, len(v.Faults()))

			symptom := h.Symptoms[0]
			state, _ := h.State(symptom.State)
			bench, err := circuit.NewBench(h, state)
			require.NoError(t, err)
			compared, nodes, left, sampled, worst := 0, 0, 0, 0, 0.0
			check := func(f *circuit.Fault, point int, ohms float64) {
				id := ""
				if f != nil {
					id = f.ID
				}
				broken, err := v.Break(context.Background(), id, ohms, state.Name)
				require.NoError(t, err, id)
				for _, s := range []circuit.State{{}, state} {
					sit, err := bench.Put(f, point, s, false)
					require.NoError(t, err, id)
					outside, err := broken.Nodes(context.Background(), ngspice.Setup{State: s.Settings, Power: ngspice.Live})
					require.NoError(t, err, id)
					for _, pin := range h.Pins() {
						got, want := sit.Node(pin), outside[pin]
						off := math.Abs(got - want)
						if limit := max(1e-3, 1e-3*math.Abs(want)); off > limit {
							t.Errorf("%s, state %q, %s: %.6g V, ngspice says %.6g V", id, s.Name, pin, got, want)
						}
						worst = max(worst, off)
						nodes++
					}
					compared++
				}
			}
			check(nil, 0, 0)
			for i := range faults {
				if name == "cart-lights" && i%everyFault != 0 {
					sampled++
					continue
				}
				point, ohms, ok := samePoint(&faults[i])
				if !ok {
					left++
					continue
				}
				check(&faults[i], point, ohms)
			}
			fmt.Printf("%s: %d circuits, %d node voltages against ngspice, worst difference %.2g V; %d faults not comparable (a range against one value), %d left to the study\n",
				name, compared, nodes, worst, left, sampled)
			require.Positive(t, compared)
		})
	}
}
