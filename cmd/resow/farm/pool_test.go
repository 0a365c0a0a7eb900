package farm

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/pool"
)

// The page gives the figures of `resow pool`, and the curve in front falls.
func TestPagePlanIsThatOfTheCommand(t *testing.T) {
	ask := Planning{Sow: []string{"radish=3x8", "pea=2x6:9-11"}, Mats: 40, Wash: 20, NoDry: "25%", Level: "5%"}
	began := time.Now()
	r, err := PlanOnPage(medium.Farm{}, ask)
	require.NoError(t, err)
	t.Log("worked out in", time.Since(began))
	curve := r.Sections[0]
	require.Contains(t, curve.Heading, "by number of mats")
	points := curve.Plots[0].Series[0].Points
	require.GreaterOrEqual(t, len(points), pageCurve)
	for i := 1; i < len(points); i++ {
		require.LessOrEqual(t, points[i].Y, points[i-1].Y+2, "more mats do not run short more often")
	}
	require.Greater(t, points[0].Y, points[len(points)-1].Y)

	small, err := PlanOnPage(medium.Farm{}, Planning{Sow: []string{"pea=2x1:9-11"}, Mats: 6, NoDry: "0%", Level: "5%"})
	require.NoError(t, err)
	require.Greater(t, small.Sections[0].Plots[0].Series[0].Points[0].Y, 20.0, "too few mats are too few")

	plan, _, err := Planning{Sow: ask.Sow, Wash: 20, Dry: 1, Air: 1, NoDry: "25%", Level: "5%", Spell: "0d", Loss: "0%",
		Wait: "0d", Aside: "0%"}.Read(medium.Farm{}.Crop)
	require.NoError(t, err)
	require.Len(t, plan.Sowings, 2)
	require.Contains(t, strings.Join(r.Summary, " "), fmt.Sprintf("%d mats are enough", enoughFor(t, plan)))
	svg := string(curve.Plots[0].SVG(110, 66))
	require.True(t, strings.HasPrefix(svg, "<svg "))
	require.NotContains(t, svg, "style=")
	require.NotContains(t, svg, "<script")
}

func TestPagePlanRefuses(t *testing.T) {
	for _, ask := range []Planning{
		{NoDry: "0%", Level: "5%"},
		{Sow: []string{"radish"}, NoDry: "0%", Level: "5%"},
		{Sow: []string{"lemon=3x8"}, NoDry: "0%", Level: "5%"},
		{Sow: []string{"radish=3x8"}, NoDry: "0%", Level: "much"},
		{Sow: []string{"radish=3x8"}, NoDry: "0%", Level: "0%"},
		{Sow: []string{"radish=3x8"}, NoDry: "100%", Level: "5%"},
		{Sow: []string{"radish=7x9000"}, NoDry: "0%", Level: "5%"},
		{Sow: strings.Fields(strings.Repeat("radish=3x8 ", pageSowings+1)), NoDry: "0%", Level: "5%"},
	} {
		_, err := PlanOnPage(medium.Farm{}, ask)
		require.Error(t, err, "%+v", ask)
		require.NotContains(t, err.Error(), "--", fmt.Sprintf("%+v", ask))
	}
	r, err := PlanOnPage(medium.Farm{}, Planning{Sow: []string{"radish=7x40"}, Mats: 100, Wash: 3, NoDry: "0%",
		Level: "5%"})
	require.NoError(t, err, "a plan that no number of mats serves is answered, not refused")
	require.Contains(t, strings.Join(r.Summary, " "), "No number of mats is enough")
}

// The largest plan that the page takes must not keep a person waiting.
func TestPagePlanIsBounded(t *testing.T) {
	if testing.Short() {
		t.Skip("works out the largest plan")
	}
	var sow []string
	for i := range pageSowings {
		sow = append(sow, fmt.Sprintf("radish=7x%d:8-14", 30+i%5))
	}
	began := time.Now()
	_, err := PlanOnPage(medium.Farm{}, Planning{Sow: sow, Mats: 4000, Wash: 700, Racks: 3000, NoDry: "30%", Level: "1%"})
	require.NoError(t, err)
	took := time.Since(began)
	t.Log("worked out in", took)
	require.Less(t, took, 30*time.Second)
}

func enoughFor(t *testing.T, plan pool.Plan) int {
	enough, err := pool.Enough(plan, 0.05, pool.Options{Weeks: 12, Repeats: pageRepeats}, rand.NewPCG(poolSeed, 0))
	require.NoError(t, err)
	return enough.Mats
}
