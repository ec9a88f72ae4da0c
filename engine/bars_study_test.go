//go:build study

package engine

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// TestBarsNext: the next check of 2,000 causes and 2,000 checks comes within 50 ms.
func TestBarsNext(t *testing.T) {
	for name, tables := range map[string]bool{"tables": true, "readings": false} {
		c := NewCourse(bigModel(2000, 1, 2000, tables), Gate{})
		r := testing.Benchmark(func(b *testing.B) {
			for b.Loop() {
				c.next = nil
				c.Next()
			}
		})
		each := time.Duration(r.NsPerOp())
		t.Logf("next check of 2,000 causes x 2,000 checks (%s): %v", name, each)
		require.Less(t, each, 50*time.Millisecond)
	}
}
