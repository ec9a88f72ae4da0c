package coverage_test

import (
	"fmt"
	"testing"
	"time"

	"probable/engine/coverage"
	"probable/kb"
	"probable/rules"
)

func TestTry(t *testing.T) {
	b, err := rules.ReadBase(kb.Files)
	if err != nil {
		t.Fatal(err)
	}
	for _, id := range b.GuideIDs() {
		t0 := time.Now()
		s, err := coverage.Measure(b.Guide(id), coverage.Options{Draws: 20})
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println(id, time.Since(t0), "alone", s.Alone, s.Mean, s.Worst, s.Hard, "drawn", s.DrawnAlone, s.DrawnMean, s.DrawnWorst, "bits", s.Prior, s.Left, "cap", s.Capacity, "bound", s.Bound, s.Ratio())
		for _, g := range s.Groups {
			fmt.Println("  ", g)
		}
	}
}
