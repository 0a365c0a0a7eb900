package cutting

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/require"
)

// expected says whether an error is one that this package promises.
func expected(err error) bool {
	var a *Invalid
	return errors.As(err, &a)
}

func FuzzCutPlan(f *testing.F) {
	f.Add(2000, 1000, 254, 508, 4, 120, 170, 9, 2, 5, 60, byte(3))
	f.Add(100_000, 100_000, 99_999, 1, 5000, 1, 99_999, 0, 0, 0, 0, byte(7))
	f.Add(-1, 0, 1<<40, 1, 1, 1, 1, 1, 1, 1, 1, byte(0))
	f.Add(99_991, 99_989, 997, 991, 4000, 983, 977, 900, 3, 3, 1, byte(15))
	f.Add(99_877, 99_964, 99_999, 46, 4949, 1, 99_999, 24, 0, 57, 98, byte(5))
	f.Fuzz(func(t *testing.T, x, y, a, b, n, p, q, m, kerf, margin, keep int, flags byte) {
		sizes := []Size{
			{LengthMM: a, WidthMM: b, Count: n, Turn: flags&1 > 0},
			{LengthMM: p, WidthMM: q, Count: m, Turn: flags&2 > 0, Fill: flags&4 > 0},
			{LengthMM: b, WidthMM: p, Count: m, Value: keep, Turn: flags&8 > 0},
		}
		c := Cutting{KerfMM: kerf, MarginMM: margin, KeepMM: keep}
		limit := 2_000_000
		best, err := BestSheet(Sheet{x, y}, sizes, c, limit)
		if err != nil {
			require.True(t, expected(err), err)
		} else {
			require.GreaterOrEqual(t, best.Bound, best.Value)
			judge(t, best.Batches[0].Pattern, sizes, c, true)
		}
		few, err := FewestSheets(Sheet{x, y}, sizes, c, limit)
		if err != nil {
			require.True(t, expected(err), err)
		} else {
			require.LessOrEqual(t, few.Bound, few.Value)
			for _, b := range few.Batches {
				judge(t, b.Pattern, sizes, c, true)
			}
		}
		roll, err := ShortestRoll(y, sizes, c, limit)
		if err != nil {
			require.True(t, expected(err), err)
			return
		}
		require.LessOrEqual(t, roll.Bound, roll.Value)
		judge(t, roll.Batches[0].Pattern, sizes, c, false)
	})
}

// judge leaves out the quadratic check where a pattern has thousands of mats.
func judge(t *testing.T, p Pattern, sizes []Size, c Cutting, margins bool) {
	if len(p.Placed)+len(p.Cuts) > 600 {
		accounted(t, p)
		return
	}
	checkPattern(t, p, sizes, c, margins)
}
