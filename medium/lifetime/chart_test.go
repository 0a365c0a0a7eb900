package lifetime

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func weeksOf(t testing.TB, turns int, moldy string) []Week {
	t.Helper()
	var weeks []Week
	for _, m := range numbers(t, moldy) {
		weeks = append(weeks, Week{Turns: turns, Moldy: int(m)})
	}
	return weeks
}

const cans = "12 15 8 10 4 7 16 9 14 10 5 6 17 12 22 8 10 5 13 11 20 18 24 15 9 12 7 13 9 6"

func out(c Chart) (weeks []int) {
	for i, w := range c.Weeks {
		if w.Mark == Above || w.Mark == Below {
			weeks = append(weeks, i+1)
		}
	}
	return weeks
}

func TestPChartPublished(t *testing.T) {
	// NIST/SEMATECH e-Handbook 6.3.3.2 (Montgomery's cans, n = 50); R qcc prints
	// .2313333, .05242755, .4102391; samples 15 and 23 are out.
	c, err := ControlChart(weeksOf(t, 50, cans), 0, PChart)
	require.NoError(t, err)
	printed(t, ".2313333", c.Centre, "centre")
	printed(t, ".05242755", c.Weeks[0].Low, "lower limit")
	printed(t, ".4102391", c.Weeks[0].High, "upper limit")
	assert.Equal(t, []int{15, 23}, out(c))
	// Without them .215, .04070284, .3892972, and sample 21 is out as well:
	// limits drawn from bad weeks had hidden it.
	weeks := weeksOf(t, 50, cans)
	kept := append(append(append([]Week{}, weeks[:14]...), weeks[15:22]...), weeks[23:]...)
	c, err = ControlChart(append(kept, weeks[14], weeks[22]), len(kept), PChart)
	require.NoError(t, err)
	printed(t, ".215", c.Centre, "centre")
	printed(t, ".04070284", c.Weeks[0].Low, "lower limit")
	printed(t, ".3892972", c.Weeks[0].High, "upper limit")
	assert.Equal(t, []int{20, 29, 30}, out(c), "sample 21 is the 20th kept; 15 and 23 follow at the end")
	// R qcc: the next 24 samples give .1108333, 0, .2440207 and none out.
	c, err = ControlChart(weeksOf(t, 50, "9 6 12 5 6 4 6 3 7 6 2 4 3 6 5 4 8 5 6 7 5 6 3 5"), 0, PChart)
	require.NoError(t, err)
	printed(t, ".1108333", c.Centre, "centre")
	assert.Zero(t, c.Weeks[0].Low)
	printed(t, ".2440207", c.Weeks[0].High, "upper limit")
	assert.Empty(t, out(c))
}

func TestPChartVariableSize(t *testing.T) {
	// Pyzdek, table 9.6: 1544 of 8000. The mean of the shares would be .19192.
	var weeks []Week
	weeks = append(weeks, weeksOf(t, 250, "47 42 55 51 46 61 39 44 41 51")...)
	weeks = append(weeks, weeksOf(t, 500, "88 101 101")...)
	weeks = append(weeks, weeksOf(t, 250, "40 48 47 50 48 57 45 43")...)
	weeks = append(weeks, weeksOf(t, 500, "105 98 100 96")...)
	c, err := ControlChart(weeks, 0, PChart)
	require.NoError(t, err)
	printed(t, ".193", c.Centre, "centre")
	near(t, .1181198558, c.Weeks[0].Low, 1e-8, "n = 250")
	near(t, .2678801442, c.Weeks[0].High, 1e-8, "n = 250")
	near(t, .1400517422, c.Weeks[10].Low, 1e-8, "n = 500")
	near(t, .2459482578, c.Weeks[10].High, 1e-8, "n = 500")
}

func TestPointOnLimit(t *testing.T) {
	// centre 1/2, n = 36: three sigma is exactly 1/4, so 27 and 9 of 36 lie on
	// the limits and 28 and 8 beyond.
	c, err := ControlChart(weeksOf(t, 36, "18 27 18 9 18"), 0, PChart)
	require.NoError(t, err)
	assert.Equal(t, .75, c.Weeks[0].High)
	assert.Empty(t, out(c))
	c, err = ControlChart(weeksOf(t, 36, "18 28 18 8 18"), 0, PChart)
	require.NoError(t, err)
	assert.Equal(t, []int{2, 4}, out(c))
}

func TestLaneyChart(t *testing.T) {
	// Laney 2002, by hand: centre .1, n = 100, sigma .03; z = 0, 2, -2, 0; moving
	// ranges 2, 4, 2, mean 8/3, over 1.128 = 2.3640662.
	weeks := weeksOf(t, 100, "10 16 4 10")
	c, err := ControlChart(weeks, 0, LaneyChart)
	require.NoError(t, err)
	near(t, 8./3/1.128, c.Spread, 1e-12, "sigma z")
	near(t, .1+3*.03*8/3/1.128, c.Weeks[0].High, 1e-12, "upper limit")
	assert.Zero(t, c.Weeks[0].Low)
	near(t, math.Erfc(3/math.Sqrt2), c.Weeks[0].FalseAlarm, 1e-12, "normal chance")
	plain, err := ControlChart(weeks, 0, PChart)
	require.NoError(t, err)
	near(t, .19, plain.Weeks[0].High, 1e-12, "p-chart")
	assert.InDelta(t, .046, plain.SpreadP, .001, "dispersion chi-square 8 on 3")
}

func TestFalseAlarmPublished(t *testing.T) {
	// Champ & Woodall 1987: a normal chart with the three-sigma rule and the run
	// of eight gives a false alarm every 152.73 points (from memory), with the
	// first rule alone every 370.4. The chance over n points then nears
	// 1-exp(-n/ARL); the average is the sum of the chances of no alarm yet.
	chart := Chart{Kind: LaneyChart, Centre: .5, Spread: 1}
	for range 3000 {
		w := ChartWeek{Week: Week{Turns: 100, Moldy: 50}}
		chart.place(&w)
		chart.Weeks = append(chart.Weeks, w)
	}
	arl := 0.0
	for n := 0; n <= 3000; n += 50 {
		part := chart
		part.Weeks = chart.Weeks[:n]
		quiet := 1 - part.falseAlarmChance()
		weight := 50.0
		if n == 0 {
			weight = 25.5 // trapezium plus the half step of a sum from 0
		}
		arl += weight * quiet
	}
	assert.InDelta(t, 152.73, arl, 1.5)
}

func TestFalseAlarmChanceBySimulation(t *testing.T) {
	for _, rate := range []float64{.02, .1, .4} {
		weeks := make([]Week, 40)
		rng := rand.New(rand.NewPCG(7, 8))
		for i := range weeks {
			weeks[i].Turns = 10 + rng.IntN(40)
			weeks[i].Moldy = 0
		}
		// A long clean baseline week fixes the centre near the true rate.
		base := Week{Turns: 1000000, Moldy: int(1e6 * rate)}
		c, err := ControlChart(append([]Week{base}, weeks...), 1, PChart)
		require.NoError(t, err)
		c.Weeks = c.Weeks[1:]
		want := c.falseAlarmChance()
		alarms, repeats := 0, 1500
		for range repeats {
			for i := range weeks {
				weeks[i].Moldy = 0
				for range weeks[i].Turns {
					if rng.Float64() < rate {
						weeks[i].Moldy++
					}
				}
			}
			drawn := Chart{Centre: c.Centre, Spread: 1}
			drawn.draw(weeks)
			drawn.markRuns()
			for _, w := range drawn.Weeks {
				if w.Mark != Unmarked {
					alarms++
					break
				}
			}
		}
		got := float64(alarms) / float64(repeats)
		assert.InDelta(t, want, got, 4*math.Sqrt(want*(1-want)/float64(repeats)), "rate %g", rate)
	}
}

func TestRunsRespectSkewedCounts(t *testing.T) {
	// One mold in a hundred turns, ten turns a week: a clean week has a chance of
	// .9, so eight clean weeks say nothing. On an even chart eight in a row do.
	weeks := []Week{{Turns: 10000, Moldy: 100}}
	for range 12 {
		weeks = append(weeks, Week{Turns: 10})
	}
	c, err := ControlChart(weeks, 1, PChart)
	require.NoError(t, err)
	for _, w := range c.Weeks {
		assert.Equal(t, Unmarked, w.Mark)
	}
	weeks = []Week{{Turns: 100001, Moldy: 50001}}
	for range 8 {
		weeks = append(weeks, Week{Turns: 101, Moldy: 45})
	}
	c, err = ControlChart(weeks, 1, PChart)
	require.NoError(t, err)
	assert.Equal(t, Unmarked, c.Weeks[7].Mark)
	assert.Equal(t, RunBelow, c.Weeks[8].Mark)
}
