package farm

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"resow/medium"
)

// TestSharesMakeTheWhole: whatever is shared, the parts sum to it and no part is
// further than a tenth of a gram from its area's share.
func TestSharesMakeTheWhole(t *testing.T) {
	w := newWashDay(t)
	f := w.farm()
	var area float64
	of := map[medium.Code]float64{}
	for _, m := range w.mats {
		c, err := f.Condition(m)
		require.NoError(t, err)
		of[m] = c.Mat.AreaMM2()
		area += of[m]
	}
	rapid.Check(t, func(t *rapid.T) {
		g := float64(rapid.IntRange(1, 1e6).Draw(t, "tenths")) / 10
		shares, err := f.SharesByArea(g, w.mats)
		require.NoError(t, err)
		sum := 0.0
		for m, s := range shares {
			sum += s
			require.InDelta(t, g*of[m]/area, s, 0.1+1e-9)
		}
		require.InDelta(t, g, math.Round(sum*10)/10, 1e-6)
	})
}
