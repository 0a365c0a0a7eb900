package pool

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestFiguresForPeople(t *testing.T) {
	for v, want := range map[float64]string{1: "1 mat", 1.04: "1 mat", 1.1: "1.1 mats", 0: "0 mats", -0.04: "0 mats", 2e6: "2000000 mats", 40.25: "40.3 mats"} {
		require.Equal(t, want, mats(v))
	}
	require.Equal(t, "0", figure(math.Copysign(0, -1)))
	o := Outcome{Mats: 1, InUse: 0.97, AnyWeek: Share{Share: 0.5}, Stages: make([]StageMats, 6)}
	require.Contains(t, (&tally{}).bottleneck(o).Text, "(1 mat, 1 in use on average)")
}
