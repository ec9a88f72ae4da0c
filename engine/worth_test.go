package engine

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestStopsWhereLittleIsTold: of equally likely causes no check tells more than one
// that splits them by a few per cent. It is not asked, and the verdict says that it
// was left out; among many causes one that settles a single one of them is asked.
func TestStopsWhereLittleIsTold(t *testing.T) {
	soft := [][]float64{{0.6, 0.4}, {0.6, 0.4}, {0.4, 0.6}, {0.4, 0.6}}
	settles := slices.Repeat([][]float64{{0.001, 0.999}}, 30)
	settles[0] = []float64{0.999, 0.001}
	for _, tt := range []struct {
		name  string
		rows  [][]float64
		bits  float64 // of the check, by hand
		asked bool
	}{
		// 1 - H(0.6), of the 2 bits that are left.
		{"soft", soft, 1 + 0.6*math.Log2(0.6) + 0.4*math.Log2(0.4), false},
		// H(1/30), of the 4.9 bits that are left: less than a twentieth, and all of one cause.
		{"settles one", settles, -math.Log2(1.0/30)/30 - 29.0/30*math.Log2(29.0/30), true},
	} {
		t.Run(tt.name, func(t *testing.T) {
			p := puzzle{prior: slices.Repeat([]float64{1 / float64(len(tt.rows))}, len(tt.rows)), cost: []float64{1}, rows: [][][]float64{tt.rows}}
			c := NewCourse(p.model(), Gate{})
			offers := c.Offers()
			require.Len(t, offers, 1)
			require.InDelta(t, tt.bits, offers[0].Gain, 0.02)
			require.Less(t, offers[0].Gain, worthShare*math.Log2(float64(len(tt.rows))))
			v := c.Next().Verdict
			if tt.asked {
				require.Nil(t, v)
				return
			}
			require.NotNil(t, v)
			require.Equal(t, []string{"1 left out: each tells less than a twentieth of what is left to know"}, v.LeftOut)
		})
	}
}
