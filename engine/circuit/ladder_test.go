package circuit_test

import (
	"fmt"
	"testing"

	"probable/testdata/ladder/rungs"
)

// BenchmarkRungs puts every series wire of a ladder open, one after the
// other, and reads every node: the work that testdata/ladder gives to one
// ngspice process too.
func BenchmarkRungs(b *testing.B) {
	for _, n := range []int{50, 100, 200, 500, 1000} {
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			h := rungs.Harness(n)
			for b.Loop() {
				if _, err := rungs.Solve(h); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N*n), "us/fault")
		})
	}
}
