package pool

import (
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

func TestLittlesLaw(t *testing.T) {
	// Little and Graves 2008, chapter 5: 160 bottles, 8 a month, W = 20 months.
	// Turned round: 8 a month staying 20 months are 160. A "month" is a day here.
	n, err := Need(Plan{Sowings: []Sowing{{Crop: "bottles", Mats: [7]int{8, 8, 8, 8, 8, 8, 8}, GrowMin: 19, GrowMax: 19}}})
	require.NoError(t, err)
	require.InDelta(t, 160, n.Mean, 1e-9) // 19 days and one night of turn-around
	require.Equal(t, 160, n.Mats)
}

func TestNeedByCrop(t *testing.T) {
	p := Plan{
		Sowings: []Sowing{
			// Days of Utah State University Extension: arugula 6-8, cilantro 21-28.
			{Crop: "arugula", Mats: Weekly(7, 4), GrowMin: 6, GrowMax: 8},
			{Crop: "cilantro", Mats: Weekly(1, 7), GrowMin: 21, GrowMax: 28},
		},
		TurnAround: TurnAround{DryDays: 1, AirDays: 1},
		Losses:     Losses{PerTurn: 0.05, ReplaceDays: 10, Aside: 0.1},
	}
	n, err := Need(p)
	require.NoError(t, err)
	require.InDelta(t, 2, n.TurnAroundDays, 1e-12)
	require.InDelta(t, 4*7, n.Crops[0].Growing, 1e-9)
	require.InDelta(t, 4*2, n.Crops[0].TurnAround, 1e-9)
	require.InDelta(t, 4*0.05*10, n.Crops[0].OnOrder, 1e-9)
	require.InDelta(t, 24.5, n.Crops[1].Growing, 1e-9)
	require.InDelta(t, 28+8+2+24.5+2+0.5, n.Mean, 1e-9)
	require.Equal(t, 73, n.Mats) // 65 / 0.9 = 72.2
	require.False(t, n.Exact)
}

// "trays sown a day x (grow days + turn-around days) / (1 - share aside)".
func TestTradeFormula(t *testing.T) {
	n, err := Need(Plan{
		Sowings:    []Sowing{{Crop: "kale", Mats: [7]int{6, 6, 6, 6, 6, 6, 6}, GrowMin: 10, GrowMax: 10}},
		TurnAround: TurnAround{DryDays: 1, AirDays: 1}, Losses: Losses{Aside: 0.1},
	})
	require.NoError(t, err)
	require.Equal(t, 80, n.Mats) // 6 x 12 / 0.9
}

func TestWeekly(t *testing.T) {
	require.Equal(t, [7]int{0, 5, 0, 0, 5, 0, 0}, Weekly(2, 5))
	require.Equal(t, [7]int{3, 3, 3, 3, 3, 3, 3}, Weekly(7, 3))
	require.Equal(t, [7]int{}, Weekly(0, 3))
	for n := 1; n < 40; n++ {
		d := Weekly(n, 2)
		require.Equal(t, 2*n, sum(d[:]))
	}
}

func TestOverloaded(t *testing.T) {
	p := Plan{
		Sowings:    []Sowing{{Crop: "pea", Mats: Weekly(3, 8), GrowMin: 8, GrowMax: 10}},
		TurnAround: TurnAround{WashPerDay: [7]int{0, 10, 0, 10, 0, 0, 0}, DryDays: 1, AirDays: 1},
	}
	_, err := Need(p)
	var over *Overloaded
	require.ErrorAs(t, err, &over)
	require.Equal(t, medium.ToWash, over.Stage)
	require.InDelta(t, 1.2, over.Share(), 1e-12)
	require.Contains(t, err.Error(), "24 mats a week, 20 can be done")
	p.TurnAround = TurnAround{Racks: 5, DryDays: 1, AirDays: 1}
	_, err = Need(p)
	require.ErrorAs(t, err, &over)
	require.Equal(t, medium.ToDry, over.Stage)
}
