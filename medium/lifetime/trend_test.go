package lifetime

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func seriesOf(t testing.TB, x, y string) Series {
	t.Helper()
	ys := numbers(t, y)
	s := Series{Name: "test"}
	xs := numbers(t, x)
	for i, v := range ys {
		turn := float64(i + 1)
		if len(xs) > 0 {
			turn = xs[i]
		}
		s.Points = append(s.Points, Reading{turn, v})
	}
	return s
}

func TestTrendPublished(t *testing.T) {
	for _, c := range []struct {
		name                        string
		x, y                        string
		s                           int64
		variance, z, pNormal, p     float64
		slope, low, high, intercept float64
		checkIntercept              bool
	}{
		{"EPA 2009 Unified Guidance example 17-6, sulfate (EnvStats docs)",
			"89.6 89.8 90.1 90.3 90.6 90.8 91.1 91.3 91.6 91.8 92.1 92.6 93.1 93.6 94.1 94.6 95.1 95.6 95.8 96.1 96.3 96.6 96.8",
			"480 450 490 520 485 510 510 530 510 560 560 540 590 550 600 700 570 610 650 620 830 720 590",
			194, 1428, 5.107321597, 3.267573571e-07, 3.267573571e-07, 26.66666667, 20, 35.711824, -1909.333333, true},
		{"Gilbert 1987 p. 212", "", "20 20 20 20 15 20 20 30 27 26 23 35 25 28 70 26 24 34 32 23 50 30",
			111, 1226.333333, 3.141148139, .001682868871, .001682868871, .6666666667, .25303282, 1.1396077, 0, false},
		{"EPA QA/G-9S p. 109", "", "10 10 10 5 10 20 18 17 15 24 15",
			22, 155.3333333, 1.68494979, .09199825921, .09199825921, 1, 0, 2, 0, false},
		{"EPA 2009 Unified Guidance example 17-7, sodium", "89.6 90.1 90.8 91.1 92.1 93.1 94.1 95.6 96.1 96.3", "56 53 51 55 52 60 62 59 61 63",
			25, 125, 2.146625258, .03182312739, .028609457672, 1.333333333, .39920827, 2.3333333, -65.96666667, true},
		{"Hollander & Wolfe, cloud seeding (exact p 7/30)", "", "1.26 1.27 1.12 1.16 1.03",
			-6, 16.66666667, -1.224744871, .2206713619, 7. / 30, -.05625, -.15, .04, 1.32875, true},
		{"Conover, GMAT and GPA: ties in both (Dataplot KENDALL.DAT)", "530 540 545 560 560 560 570 580 610 610 640 740", "3.5 3.3 3.7 3.2 3.5 3.6 3.2 3.8 3.5 4.0 3.9 4.0",
			27, 202.6393939, 1.82646523, .0677802141, .0677802141, .003416666667, 0, 0, 1.619583333, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := FindTrend([]Series{seriesOf(t, c.x, c.y)}, .95)
			require.NoError(t, err)
			assert.Equal(t, c.s, got.S)
			near(t, c.variance, got.VarS, 1e-9, "variance")
			near(t, c.z, got.Z, 1e-9, "z")
			near(t, c.pNormal, got.PNormal, 1e-8, "normal p")
			near(t, c.p, got.P, 1e-8, "p")
			near(t, c.slope, got.Slope.Value, 1e-8, "slope")
			if c.high != 0 || c.low != 0 {
				assert.InDelta(t, c.low, got.Slope.Low, 1e-6)
				assert.InDelta(t, c.high, got.Slope.High, 1e-6)
			}
			if c.checkIntercept {
				near(t, c.intercept, got.Intercept, 1e-8, "intercept (Conover)")
			}
		})
	}
	// One to a hundred: S 4950, variance 112750, z 14.73869998208331 (a public test).
	var hundred Series
	for i := range 100 {
		hundred.Points = append(hundred.Points, Reading{float64(i), float64(i)})
	}
	got, err := FindTrend([]Series{hundred}, .95)
	require.NoError(t, err)
	assert.Equal(t, int64(4950), got.S)
	near(t, 112750, got.VarS, 1e-12, "variance")
	near(t, 14.73869998208331, got.Z, 1e-14, "z")
	// A constant series: z 0, p 1, slope 0 (convention of pymannkendall).
	got, err = FindTrend([]Series{seriesOf(t, "", "3 3 3 3 3 3")}, .95)
	require.NoError(t, err)
	assert.Equal(t, []float64{0, 1, 0}, []float64{got.Z, got.P, got.Slope.Value})
}

func TestTrendNile(t *testing.T) {
	// R datasets::Nile: S -1387, variance 112728.3333, slope -2.6 [-3.6279, -1.4284].
	nile := "1120 1160 963 1210 1160 1160 813 1230 1370 1140 995 935 1110 994 1020 960 1180 799 958 1140 1100 1210 1150 1250 1260 1220 1030 1100 774 840 874 694 940 833 701 916 692 1020 1050 969 831 726 456 824 702 1120 1100 832 764 821 768 845 864 862 698 845 744 796 1040 759 781 865 845 944 984 897 822 1010 771 676 649 846 812 742 801 1040 860 874 848 890 744 749 838 1050 918 986 797 923 975 815 1020 906 901 1170 912 746 919 718 714 740"
	got, err := FindTrend([]Series{seriesOf(t, "", nile)}, .95)
	require.NoError(t, err)
	assert.Equal(t, int64(-1387), got.S)
	near(t, 112728.3333, got.VarS, 1e-9, "variance")
	near(t, -4.128066523, got.Z, 1e-9, "z")
	near(t, 3.658262922e-05, got.P, 1e-8, "p")
	near(t, -2.6, got.Slope.Value, 1e-12, "slope")
	near(t, -3.6279265, got.Slope.Low, 1e-7, "low")
	near(t, -1.4284444, got.Slope.High, 1e-7, "high")
}

func TestExactTrendTables(t *testing.T) {
	// Kendall's tables: P(S >= 6 | n = 5) = 14/120, P(S >= 4 | n = 4) = 4/24.
	five, _ := seriesOf(t, "", "1 3 2 5 4").ordered()
	near(t, 2*14./120, exactKendall([][]Reading{five}, 6), 1e-12, "n = 5")
	near(t, 2*4./24, exactKendall([][]Reading{five[:4]}, 4), 1e-12, "n = 4")
}

func TestTrendOfSeveralSeries(t *testing.T) {
	a, b := seriesOf(t, "", "1 2 3 4 5"), seriesOf(t, "", "101 102 103 104 105")
	got, err := FindTrend([]Series{a, b}, .95)
	require.NoError(t, err)
	assert.Equal(t, int64(20), got.S, "pairs across series do not count")
	near(t, 2*50./3, got.VarS, 1e-12, "variances add up")
	// Both series wholly rising: 2 of (5!)^2 joint orders.
	near(t, 2./14400, got.P, 1e-9, "exact joint p")
	assert.Equal(t, 1., got.Slope.Value)
}

func TestCountedSlopesMatchListed(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 10))
	var series [][]Reading
	var pairs int64
	for range 20 {
		var s Series
		for range 2 + rng.IntN(40) {
			s.Points = append(s.Points, Reading{float64(rng.IntN(12)), float64(rng.IntN(200)) - 3*float64(rng.IntN(12))})
		}
		points, err := s.ordered()
		require.NoError(t, err)
		series = append(series, points)
		pairs += kendall(points).slopes
	}
	listed := ranked(series, pairs)
	for _, share := range []float64{.01, .2, .5, .77, .99} {
		// Ranks in the middle of a tie, where counting and listing must agree.
		rank := float64(int(share * float64(pairs)))
		want, got := listed(rank), countedSlope(series, pairs, rank)
		assert.InDelta(t, want, got, 1e-7*200, "rank %g of %d", rank, pairs)
	}
}

func TestYieldTrends(t *testing.T) {
	var harvests []Harvest
	rng := rand.New(rand.NewPCG(11, 12))
	for m := range 12 {
		mesh := []string{"polyester", "nylon"}[m%2]
		for turn := 1; turn <= 10; turn++ {
			crop := []string{"radish", "pea"}[turn%2]
			yield := map[string]float64{"radish": 200, "pea": 500}[crop]
			if mesh == "nylon" {
				yield *= 1 - .03*float64(turn)
			}
			harvests = append(harvests, Harvest{Mat: string(rune('a' + m)), Mesh: mesh, Crop: crop, Turn: float64(turn),
				PerSeed: yield * (1 + .02*rng.NormFloat64()) / 20})
		}
	}
	harvests = append(harvests, Harvest{Mat: "z", Mesh: "hemp", Crop: "pea", Turn: 1, PerSeed: 0.5})
	yields, err := CompareYields(harvests)
	require.NoError(t, err)
	trends, err := yields.Trends(func(h Harvest) string { return h.Mesh }, DefaultLimits(), .95)
	require.NoError(t, err)
	require.Len(t, trends, 3)
	assert.Equal(t, "nylon", trends[0].Name)
	assert.True(t, trends[0].Losing)
	// Falls 3 % of a new mat's yield a turn; the usual yield lies below that of a
	// new mat, so a little more in percent of the usual.
	assert.InDelta(t, -3.2, trends[0].Slope.Value, .35)
	assert.Equal(t, "polyester", trends[1].Name)
	assert.False(t, trends[1].Losing)
	assert.ErrorAs(t, trends[2].Refused, new(*TooLittle))
}

// TestYieldGroups makes each group's series by hand, in particular where a group
// takes only some of the harvests of a crop on a mat.
func TestYieldGroups(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	var harvests []Harvest
	for range 400 {
		harvests = append(harvests, Harvest{Mat: string(rune('a' + rng.IntN(5))), Mesh: "hemp", Crop: []string{"radish", "pea"}[rng.IntN(2)],
			Turn: float64(1 + rng.IntN(12)), PerSeed: 5 + 0.5*rng.NormFloat64()})
	}
	given := slices.Clone(harvests)
	yields, err := CompareYields(harvests)
	require.NoError(t, err)
	require.Equal(t, given, harvests, "the caller's list stays as it is")
	for name, by := range map[string]func(Harvest) string{
		"all":  func(Harvest) string { return "all" },
		"mat":  func(h Harvest) string { return h.Mat },
		"turn": func(h Harvest) string { return fmt.Sprint(int(h.Turn) % 3) },
	} {
		trends, err := yields.Trends(by, DefaultLimits(), .95)
		require.NoError(t, err, name)
		names := map[string]bool{}
		for _, h := range harvests {
			names[by(h)] = true
		}
		require.Len(t, trends, len(names), name)
		for _, got := range trends {
			want, err := FindTrend(yieldsBy(harvests, func(h Harvest) bool { return by(h) == got.Name }), .95)
			require.NoError(t, err, name)
			assert.Equal(t, want, got.Trend, "%s %s", name, got.Name)
		}
	}
}

// yieldsBy makes the series of some harvests, as percent of their crop's median.
func yieldsBy(harvests []Harvest, in func(Harvest) bool) []Series {
	usual := map[string][]float64{}
	for _, h := range harvests {
		usual[h.Crop] = append(usual[h.Crop], h.PerSeed)
	}
	for _, all := range usual {
		slices.Sort(all)
	}
	var out []Series
	for _, mat := range []string{"a", "b", "c", "d", "e"} {
		for _, crop := range []string{"pea", "radish"} {
			s := Series{Name: mat + " " + crop}
			for _, h := range harvests {
				if h.Mat == mat && h.Crop == crop && in(h) {
					all := usual[crop]
					middle := all[(len(all)-1)/2]/2 + all[len(all)/2]/2
					s.Points = append(s.Points, Reading{h.Turn, 100 * h.PerSeed / middle})
				}
			}
			out = append(out, s)
		}
	}
	return out
}
