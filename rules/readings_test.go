package rules_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestEveryReadingIsTaken holds that gaps and overlaps of the outcomes of a reading
// are found, of conditions that only compare and of others.
func TestEveryReadingIsTaken(t *testing.T) {
	for _, tt := range []struct{ low, high, want string }{
		{"!over && v < 1", "over || v >= 1", ""},
		{"not over and 1 > v", "over or 1 <= v", ""},
		{"!over", "over", ""},
		{"v < 1", "v > 1", "no outcome takes a reading of 1"},
		{"v < 1", "v >= 2", "no outcome takes a reading of 1"},
		{"v < 1 || v == 3", "v >= 1", "a reading of 3 is both low and high"},
		{"v < 1 && v > -5", "v >= 1", "no outcome takes a reading of -11"},
		{"over", "over", "no outcome takes a reading of 0"},
		{"v < 2 / 3", "v > 2 / 3", "no outcome takes a reading of 0.6666667"},
		{"abs(v) < 1", "abs(v) > 1", "no outcome takes a reading of -1"},
		{"!over && v * v < 4", "over || v * v >= 4", ""},
		{"v * v < 4", "v * v >= 4.5", "no outcome takes a reading of -2.098"},
		{"v + 0 < 1", "v >= 1.1", "no outcome takes a reading of 1"},
		{"-v > -1", "v > 1", "no outcome takes a reading of 1"},
		{"min(v, 5) < 4", "max(v, 4.5) > 4.5", "no outcome takes a reading of 4"},
		{"!over && v < 1", "!over && v >= 1", "no outcome takes a reading of over-range"},
	} {
		t.Run(tt.low+", "+tt.high, func(t *testing.T) {
			guide := strings.NewReplacer(`"!over && v < 1"`, fmt.Sprintf("%q", tt.low), `"over || v >= 1"`, fmt.Sprintf("%q", tt.high)).Replace(borrower)
			_, err := guides(t, lender, guide)
			if tt.want == "" {
				require.NoError(t, err)
			} else {
				require.ErrorContains(t, err, tt.want)
			}
		})
	}
}
