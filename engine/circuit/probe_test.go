package circuit_test

import (
	"math"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
)

// TestProbesThatStayStill reads every probe of the example harnesses with every
// fault: where Moves says that the fault leaves the reading alone, it must be the
// healthy one to within half a standard deviation.
func TestProbesThatStayStill(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "harness", "*.yaml"))
	require.NoError(t, err)
	m := circuit.ReferenceMeter
	moved, still := 0, 0
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".yaml")
		if name == "cart-lights" {
			continue // as cart-tail, and a hundred times the work
		}
		h, _ := load(t, name)
		state, _ := h.State(h.Symptoms[0].State)
		bench, err := circuit.NewBench(h, state)
		require.NoError(t, err)
		faults := h.Faults()
		for _, off := range []bool{false, true} {
			healthy, err := bench.Put(nil, 0, state, off)
			require.NoError(t, err)
			modes := []circuit.ProbeMode{circuit.ProbeVolts}
			if off {
				modes = []circuit.ProbeMode{circuit.ProbeOhms, circuit.ProbeDiode}
			}
			var probes []*circuit.Probe
			for k, pin := range h.Pins() {
				if k%3 == 0 && pin != h.Ground && !h.NoAccess[pin] {
					for _, mode := range modes {
						probes = append(probes, healthy.Probe(&m, mode, pin, h.Ground))
					}
				}
			}
			for i := range faults {
				if i%4 != 0 {
					continue
				}
				sit, err := bench.Put(&faults[i], faults[i].Points()-1, state, off)
				if err != nil {
					continue // it finds no steady state
				}
				for _, p := range probes {
					if sit.Moves(p) {
						moved++
						continue
					}
					still++
					got, err := sit.Read(p)
					require.NoError(t, err)
					require.Equal(t, p.Healthy.Over, got.Over, "%s, %s: %s", name, faults[i].ID, p.Red)
					if !got.Over {
						require.LessOrEqual(t, math.Abs(got.Value-p.Healthy.Value), p.Healthy.Sigma/2, "%s, %s, mode %d: %s", name, faults[i].ID, p.Mode, p.Red)
					}
				}
			}
		}
	}
	t.Logf("%d readings moved, %d left alone", moved, still)
	require.Positive(t, moved)
	require.Positive(t, still)
}

// fusesInSeries is a lamp behind a main fuse and a smaller one of its own.
const fusesInSeries = `
harness: two fuses in series
ground: pack.minus
parts:
  pack: {kind: battery, volts: 36, inner_ohms: 0.1}
  main: {kind: fuse, amps: 10}
  own: {kind: fuse, amps: 3}
  sw: {kind: switch}
  tail: {kind: lamp, volts: 36, watts: 10}
wires:
  - {name: w1, from: pack.plus, to: main.a, gauge: 14 AWG, metres: 0.3}
  - {name: w2, from: main.b, to: own.a, gauge: 14 AWG, metres: 0.3}
  - {name: w3, from: own.b, to: sw.a, gauge: 20 AWG, metres: 0.3}
  - {name: w4, from: sw.b, to: tail.plus, gauge: 20 AWG, metres: 0.3}
  - {name: w5, from: tail.minus, to: pack.minus, gauge: 20 AWG, metres: 0.3}
states:
  tail on: {sw: closed}
symptoms:
  - {id: tail dark, state: tail on, shows: {tail: dark}}
`

// TestFusesInSeries: a short behind both fuses is far above twice the rating of
// either; one by one, the smaller saves the larger.
func TestFusesInSeries(t *testing.T) {
	h := parse(t, "series", fusesInSeries)
	on, _ := h.State("tail on")
	all, err := circuit.NewBench(h, on)
	require.NoError(t, err)
	faults := h.Faults()
	for i := range faults {
		if faults[i].ID != "wire w3 to ground" {
			continue
		}
		for _, tt := range []struct {
			bench *circuit.Bench
			want  []string
		}{{all, []string{"main", "own"}}, {all.OneByOne(), []string{"own"}}} {
			require.Equal(t, len(tt.want), tt.bench.Blows(&faults[i], 0))
			sit, err := tt.bench.Put(&faults[i], 0, circuit.State{}, false)
			require.NoError(t, err)
			require.Equal(t, tt.want, sit.Blown())
		}
		return
	}
	t.Fatal("no such fault")
}
