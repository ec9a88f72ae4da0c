package circuit_test

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
)

// timeTables are printed tables of how long blade fuses hold.
type timeTables struct {
	Source []pageSource
	Note   string
	Rule   float64 // what the circuit multiplies a rating by
	Look   float64 // s
	Share  float64 `yaml:"wire_share"`
	Tables []struct {
		ID, Source string
		Ratings    []float64 // A
		Rows       []fuseRow
	}
}

// fuseRow is how long a fuse carries a multiple of its rating, in seconds.
type fuseRow struct {
	Times, Holds, Opens float64
	Slow                bool
}

func fuseTables(t testing.TB) timeTables {
	t.Helper()
	var p timeTables
	published(t, "fuses.yaml", &p)
	require.Len(t, p.Tables, 2)
	return p
}

// blows reports whether the circuit counts a fuse of the rating in A as blown
// when a load takes the current in A through it.
func blows(t testing.TB, rating, amps float64) bool {
	t.Helper()
	const volts = 48
	two := []string{"a", "b"}
	h := &circuit.Harness{Ground: "pack.b", Parts: []circuit.Part{
		{Name: "pack", Pins: two, Elements: []circuit.Element{{ID: "it", Type: circuit.Source, A: "a", B: "b", Values: circuit.Values{Volts: volts}}}},
		{Name: "fuse", Pins: two, Elements: []circuit.Element{{ID: "it", A: "a", B: "b", Values: circuit.Values{Ohms: 0.01}, Blows: rating}}},
		{Name: "load", Pins: two, Elements: []circuit.Element{{ID: "it", A: "a", B: "b", Values: circuit.Values{Ohms: volts/amps - 0.01 - 2*linkOhms}}}},
	}, Wires: []circuit.Wire{
		{Name: "w1", From: "pack.a", To: "fuse.a", Ohms: linkOhms},
		{Name: "w2", From: "fuse.b", To: "load.a", Ohms: linkOhms},
		{Name: "w3", From: "load.b", To: "pack.b", Ohms: linkOhms},
	}}
	return slices.Contains(put(t, h, false).Blown(), "fuse")
}

// TestFuseRuleAgainstTimeTables holds the one rule of the circuit to printed
// times: what must hold for a hundred hours is whole, what is called blown
// has opened by the time that somebody looks, and where the rule leaves a fuse
// whole that opens later, the table's row says so.
func TestFuseRuleAgainstTimeTables(t *testing.T) {
	p := fuseTables(t)
	const forGood = 360000 // s, 100 h
	for _, table := range p.Tables {
		for _, row := range table.Rows {
			for _, rating := range table.Ratings {
				// a hair more than the row: the rule asks for more than twice
				blown := blows(t, rating, 1.001*row.Times*rating)
				require.Equal(t, row.Times >= p.Rule, blown, "%s, %g A at %g times", table.ID, rating, row.Times)
				if blown {
					require.Positive(t, row.Opens, "%s at %g times: blown, and the table lets it hold", table.ID, row.Times)
					require.LessOrEqual(t, row.Opens, p.Look, "%s at %g times", table.ID, row.Times)
				} else {
					require.Equal(t, row.Opens > 0, row.Slow, "%s at %g times is left whole", table.ID, row.Times)
				}
				if row.Holds >= forGood {
					require.False(t, blown, "%s at %g times", table.ID, row.Times)
				}
				require.False(t, blows(t, rating, 0.999*p.Rule*rating), "%g A just under the rule", rating)
			}
		}
	}
}

// TestFusesHoldTheirLoads: the fuse that is proposed for a load carries it for
// a hundred hours, and what opens a fuse for sure is no more than its wire may
// have by the overload rule.
func TestFusesHoldTheirLoads(t *testing.T) {
	p := fuseTables(t)
	for _, table := range p.Tables {
		holds, opens := table.Rows[0], table.Rows[1]
		require.GreaterOrEqual(t, holds.Holds, 360000.0)
		require.Positive(t, opens.Opens)
		for _, rating := range table.Ratings {
			require.Contains(t, circuit.FuseRatings(), rating, table.ID)
		}
		for amps := 0.5; amps <= 80; amps *= 1.03 {
			if fuse := circuit.LoadFuse(amps); slices.Contains(table.Ratings, fuse) {
				require.Less(t, amps, holds.Times*fuse, "%s: %g A on a fuse of %g A", table.ID, amps, fuse)
			}
		}
		for _, gauge := range circuit.GaugeSizes() {
			for _, celsius := range []float64{20, 40, 60} {
				most, _ := circuit.ContinuousAmps(area(t, gauge), celsius, false)
				fuse := circuit.LargestFuse(most)
				require.LessOrEqual(t, opens.Times*fuse, p.Share*most, "%s: %g A on %s at %g C", table.ID, fuse, gauge, celsius)
			}
		}
	}
}
