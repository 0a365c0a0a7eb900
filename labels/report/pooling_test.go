package report

import (
	"math"
	"math/rand/v2"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium/pool"
)

func poolPaper(t *testing.T, plan pool.Plan, have int) (Report, PoolInput) {
	t.Helper()
	in := PoolInput{Origin: newFarm(t).origin(), Level: 0.05, Plan: plan, Have: have}
	var err error
	in.Needs, err = pool.Need(plan)
	require.NoError(t, err)
	options := pool.Options{Weeks: 12, Repeats: 400}
	enough, err := pool.Enough(plan, in.Level, options, rand.NewPCG(1, 0))
	require.NoError(t, err)
	in.Enough = &enough
	if have > 0 {
		options.Mats = have
		outcome, err := pool.Simulate(plan, options, rand.NewPCG(1, 0))
		require.NoError(t, err)
		in.WithIt = &outcome
	}
	return Pool(in), in
}

// The closed forms by their definitions: Little's law, Erlang's loss and the
// Poisson tail; and the simulation beside them, which must agree where it plays
// the same thing.
func TestClosedFormStandsBesideTheSimulation(t *testing.T) {
	plan := pool.Plan{ByOrder: true, Sowings: []pool.Sowing{{Crop: "radish", Mats: pool.Weekly(7, 6), GrowMin: 9, GrowMax: 11}}}
	plan.TurnAround.DryDays, plan.TurnAround.AirDays = 1, 1
	r, in := poolPaper(t, plan, 0)
	s := section(t, r, "Closed form beside the simulation")
	figures := map[string][2]string{}
	for _, row := range s.Rows {
		figures[loose(row[0])] = [2]string{loose(row[1]), loose(row[2])}
	}
	growing := figures["Mats growing, mean (Little)"]
	require.Equal(t, "60", growing[0], "6 a day for 10 days")
	simulated, err := strconv.ParseFloat(growing[1], 64)
	require.NoError(t, err)
	require.InDelta(t, 60, simulated, 1.5)

	load, term, sum := in.Needs.Mean, 1.0, 1.0
	for n := 1; n <= in.Enough.Mats; n++ {
		term *= load / float64(n)
		sum += term
	}
	require.Equal(t, decimal(100*term/sum)+" %", figures["Sowings that find no mat (Erlang)"][0])
	tail, chance, n := 1-math.Exp(-load), math.Exp(-load), 0
	for tail > 0.05 {
		n++
		chance *= load / float64(n)
		tail -= chance
	}
	require.Equal(t, strconv.Itoa(n), figures["Mats that are enough in all but 5 % of moments (Palm)"][0])
	lack := 0.0
	for _, w := range in.Enough.With.Weeks {
		lack += w.MatsShort
	}
	require.Equal(t, decimal(100*lack/float64(12*in.Needs.Crops[0].MatsPerWeek))+" %", figures["Sowings that find no mat (Erlang)"][1])
}

func TestPoolSummaryIsTraced(t *testing.T) {
	plan := pool.Plan{Sowings: []pool.Sowing{{Crop: "radish", Mats: pool.Weekly(3, 8), GrowMin: 9, GrowMax: 11}, {Crop: "pea", Mats: pool.Weekly(2, 6), GrowMin: 10, GrowMax: 10}}}
	plan.TurnAround.DryDays, plan.TurnAround.AirDays = 1, 1
	plan.TurnAround.Weather.NoDry = 0.25
	r, in := poolPaper(t, plan, 48)
	span := func(s pool.Share) []string {
		return []string{decimal(100 * s.Share), decimal(100 * s.Low), decimal(100 * s.High)}
	}
	traced(t, r.Summary, []claim{
		{`are enough for this plan`, append(append([]string{strconv.Itoa(in.Enough.Mats)}, span(in.Enough.With.InAWeek)...), "5")},
		{`^On average`, []string{decimal(36.0 / 7 * (10 + plan.TurnAround.MeanDays())), strconv.Itoa(in.Needs.AtOnce)}},
		{`^With 48 mats`, append([]string{"48"}, span(in.WithIt.InAWeek)...)},
		{`^What holds the mats up`, numbers(in.WithIt.Bottleneck.Text)},
	})
	require.Less(t, in.Enough.With.InAWeek.Share, in.Enough.Without.InAWeek.Share+1e-12)
	require.Greater(t, in.Enough.Without.InAWeek.Share, 0.05, "one mat fewer is not enough")
	require.NotEmpty(t, drawnWith(t, drawText, r))
}
