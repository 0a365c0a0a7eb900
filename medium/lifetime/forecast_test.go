package lifetime

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

func TestChancesOfRetirementPublished(t *testing.T) {
	// Meeker & Escobar 1998, bearing cages over the next 300 hours: the book's
	// 5.057 is from memory; 5.0582088457 from R and Python.
	fit := mustFit(t, bearingCages)
	var ages []float64
	for _, o := range parseMats(t, bearingCages) {
		if !o.Retired {
			ages = append(ages, o.Turns)
		}
	}
	o := retirementsWithin(fit.Weibull, ages, 300)
	near(t, 5.0582088457, o.Expected, 1e-7, "expected")
	near(t, 5.0379807, o.Variance, 1e-7, "variance")
	for k, want := range map[int]float64{0: .006293, 1: .038251, 5: .605728, 9: .966311, 10: .985408, 11: .994155} {
		cdf := 0.0
		for _, chance := range o.Chances[:k+1] {
			cdf += chance
		}
		assert.InDelta(t, want, cdf, 6e-7, "P(K <= %d)", k)
	}
	assert.InDelta(t, .00076292, fit.ChanceRetired(50, 300), 5e-9)
	assert.InDelta(t, .00484934, fit.ChanceRetired(1050, 300), 5e-9)
	assert.InDelta(t, .00906300, fit.ChanceRetired(2050, 300), 5e-9)
	// NIST 8.4.1.3: ten survivors at 500, the next 100.
	o = retirementsWithin(Weibull{1.720797261, 606.527558}, []float64{500, 500, 500, 500, 500, 500, 500, 500, 500, 500}, 100)
	near(t, 2.32273793, o.Expected, 1e-8, "expected")
	near(t, .0711317771, o.Chances[0], 1e-8, "none")
}

// Mats wear until the farm's own limit of turns takes them out, so the first
// weeks do not depend on how many are looked at.
func TestForecastCountsTheTurnLimit(t *testing.T) {
	fit := mustFit(t, "8 9 12 14 15 17 18 20 22 25+ 25+ 25+")
	ages := numbers(t, "0 3 5 8 9 11 12 14 16 17 18 18")
	look := func(weeks int, limit float64) Forecast {
		turns := make([]float64, weeks)
		for i := range turns {
			turns[i] = 1
		}
		f, err := ForecastRetirements([]Kind{{fit, ages}}, ForecastPlan{TurnsPerMat: turns, Replace: true, Limit: limit, FixedLife: true}, rand.NewPCG(1, 1))
		require.NoError(t, err)
		return f
	}
	short, long := look(4, 20), look(26, 20)
	for w := range short.Weeks {
		require.InDelta(t, short.Weeks[w].Expected, long.Weeks[w].Expected, 1e-12)
	}
	require.Zero(t, short.Weeks[0].SumAtLimit)
	require.Positive(t, short.Weeks[1].SumAtLimit, "those of 18 turns, unless they wore out")
	require.LessOrEqual(t, short.Weeks[3].SumAtLimit, 4, "those of 16 turns and more")
	last := long.Weeks[25]
	require.GreaterOrEqual(t, last.SumAllMedian, len(ages), "nobody is older than the limit")
	require.LessOrEqual(t, last.SumAllLow, last.SumAllMedian)

	none := look(4, 0)
	require.Zero(t, none.Weeks[3].SumAtLimit)
	require.Equal(t, none.Weeks[3].SumMedian, none.Weeks[3].SumAllMedian)
	_, err := ForecastRetirements([]Kind{{fit, ages}}, ForecastPlan{TurnsPerMat: []float64{1}, Limit: math.NaN()}, rand.NewPCG(1, 1))
	require.Error(t, err)
}

func TestForecastAgainstClosedForm(t *testing.T) {
	fit := mustFit(t, "8 9 12 14 15 17 18 20 22 25+ 25+ 25+")
	ages := numbers(t, "0 0 0 1 2 2 3 5 5 5 8 9 9 11 12 14 16 18 20 22")
	turns := []float64{.9, 1, 1.2, 1, 0, 1, 1, 1}
	for _, plan := range []ForecastPlan{{}, {Replace: true}, {Limit: 20}, {Replace: true, Limit: 15}} {
		replace := plan.Replace
		plan.TurnsPerMat, plan.FixedLife, plan.Runs = turns, true, 6000
		f, err := ForecastRetirements([]Kind{{fit, ages}}, plan, rand.NewPCG(1, 1))
		require.NoError(t, err)
		start := cohorts(ages)
		sums := make([]float64, len(turns))
		src := rand.NewPCG(2, 2)
		const runs = 6000
		for range runs {
			for w, n := range live(fit.Weibull, start, plan, drawnFrom(src)) {
				sums[w] += float64(n.worn) / runs
			}
		}
		for w := range turns {
			// Poisson bounds the spread of a sum of rare retirements.
			assert.InDelta(t, f.Weeks[w].Expected, sums[w], 4.5*math.Sqrt((f.Weeks[w].Expected+1e-9)/runs), "week %d replace %v", w, replace)
		}
		assert.Zero(t, f.Weeks[4].Expected, "a week without sowings wears nothing")
		assert.Zero(t, f.Weeks[4].High)
	}
	// Without replacement the total follows the Poisson-binomial law over all
	// turns together: its quantiles are those of the simulation.
	f, err := ForecastRetirements([]Kind{{fit, ages}}, ForecastPlan{TurnsPerMat: turns, FixedLife: true, Runs: 6000}, rand.NewPCG(3, 3))
	require.NoError(t, err)
	total := 0.0
	for _, h := range turns {
		total += h
	}
	o := retirementsWithin(fit.Weibull, ages, total)
	last := f.Weeks[len(turns)-1]
	near(t, o.Expected, last.SumExpected, 1e-10, "closed forms agree")
	assert.InDelta(t, quantileOf(o.Chances, .025), last.SumLow, 1)
	assert.InDelta(t, quantileOf(o.Chances, .5), last.SumMedian, 1)
	assert.InDelta(t, quantileOf(o.Chances, .975), last.SumHigh, 1)
}

func quantileOf(chances []float64, p float64) int {
	sum := 0.0
	for k, c := range chances {
		if sum += c; sum >= p {
			return k
		}
	}
	return len(chances) - 1
}

func TestForecastSeedAndUncertainty(t *testing.T) {
	fit := mustFit(t, "8 9 12 14 15 17 18 20 22 25+ 25+ 25+")
	ages := make([]float64, 60)
	for i := range ages {
		ages[i] = float64(i % 15)
	}
	plan := ForecastPlan{TurnsPerMat: []float64{1, 1, 1, 1, 1, 1}, Replace: true}
	a, err := ForecastRetirements([]Kind{{fit, ages}}, plan, rand.NewPCG(4, 4))
	require.NoError(t, err)
	b, err := ForecastRetirements([]Kind{{fit, ages}}, plan, rand.NewPCG(4, 4))
	require.NoError(t, err)
	assert.Equal(t, a, b, "one seed, one forecast")
	plan.FixedLife = true
	c, err := ForecastRetirements([]Kind{{fit, ages}}, plan, rand.NewPCG(4, 4))
	require.NoError(t, err)
	wide := a.Weeks[5].SumHigh - a.Weeks[5].SumLow
	narrow := c.Weeks[5].SumHigh - c.Weeks[5].SumLow
	assert.Greater(t, wide, narrow, "the uncertainty of the fit widens the interval")
	turns, err := TurnsPerMat([]int{30, 0}, 60)
	require.NoError(t, err)
	assert.Equal(t, []float64{.5, 0}, turns)
}

func TestForecastManyMats(t *testing.T) {
	fit := mustFit(t, "8 9 12 14 15 17 18 20 22 25+ 25+ 25+")
	ages := make([]float64, 100000)
	rng := rand.New(rand.NewPCG(5, 5))
	for i := range ages {
		ages[i] = float64(rng.IntN(15))
	}
	f, err := ForecastRetirements([]Kind{{fit, ages}}, ForecastPlan{TurnsPerMat: []float64{1, 1, 1, 1}, FixedLife: true, Runs: 400}, rand.NewPCG(6, 6))
	require.NoError(t, err)
	o := retirementsWithin(fit.Weibull, ages, 4)
	assert.Nil(t, o.Chances)
	n := distuv.Normal{Mu: o.Expected, Sigma: math.Sqrt(o.Variance)}
	assert.InDelta(t, n.Quantile(.025), float64(f.Weeks[3].SumLow), n.Sigma/2)
	assert.InDelta(t, n.Quantile(.975), float64(f.Weeks[3].SumHigh), n.Sigma/2)
}

// outlook is how many of some mats are retired over a given number of turns, if
// the life is known and none is replaced.
type outlook struct {
	Expected, Variance float64
	// Chances holds the chance of exactly 0, 1, 2 ... retirements (the
	// Poisson-binomial law); nil for more than 2000 mats, where the mean and
	// variance say as much.
	Chances []float64
}

// retirementsWithin adds up the conditional chances 1 - S(age+turns)/S(age) of
// the mats (Meeker & Escobar 1998, section 12.7, from memory). The
// forecast is held against it.
func retirementsWithin(w Weibull, ages []float64, turns float64) outlook {
	var o outlook
	if len(ages) <= 2000 {
		o.Chances = []float64{1}
	}
	for _, a := range ages {
		p := w.ChanceRetired(a, turns)
		o.Expected += p
		o.Variance += p * (1 - p)
		if o.Chances == nil {
			continue
		}
		o.Chances = append(o.Chances, 0)
		for k := len(o.Chances) - 1; k > 0; k-- {
			o.Chances[k] = o.Chances[k]*(1-p) + o.Chances[k-1]*p
		}
		o.Chances[0] *= 1 - p
	}
	return o
}

// Several kinds are forecast together: what is expected adds up, the interval
// is of the sum, and kinds that go by one fit share its uncertainty.
func TestForecastOfSeveralKinds(t *testing.T) {
	long, short := mustFit(t, "8 9 12 14 15 17 18 20 22 25+ 25+ 25+"), mustFit(t, "2 3 3 4 5 6 7 8 8+")
	a, b := numbers(t, "0 1 2 5 8 9 11 12 14 18"), numbers(t, "0 0 1 2 2 3 4")
	plan := ForecastPlan{TurnsPerMat: []float64{1, .5, 1, 1}, Replace: true, FixedLife: true, Runs: 6000}
	forecast := func(seed uint64, kinds ...Kind) Forecast {
		f, err := ForecastRetirements(kinds, plan, rand.NewPCG(seed, seed))
		require.NoError(t, err)
		return f
	}
	both, one, other := forecast(7, Kind{long, a}, Kind{short, b}), forecast(8, Kind{long, a}), forecast(9, Kind{short, b})
	for w := range both.Weeks {
		near(t, one.Weeks[w].SumExpected+other.Weeks[w].SumExpected, both.Weeks[w].SumExpected, 1e-12, "sum")
		assert.LessOrEqual(t, both.Weeks[w].SumHigh, one.Weeks[w].SumHigh+other.Weeks[w].SumHigh, "independent kinds spread less than their ends together")
		assert.GreaterOrEqual(t, both.Weeks[w].SumLow, one.Weeks[w].SumLow+other.Weeks[w].SumLow)
	}
	split := forecast(10, Kind{long, a}, Kind{long, a})
	whole := forecast(10, Kind{long, append(append([]float64{}, a...), a...)})
	near(t, whole.Weeks[3].SumExpected, split.Weeks[3].SumExpected, 1e-12, "a kind may be split")

	// With the life drawn from its fit, two kinds of one fit err together.
	plan.FixedLife = false
	halves := forecast(11, Kind{long, a}, Kind{long, a})
	whole = forecast(12, Kind{long, append(append([]float64{}, a...), a...)})
	assert.InDelta(t, whole.Weeks[3].SumHigh-whole.Weeks[3].SumLow, halves.Weeks[3].SumHigh-halves.Weeks[3].SumLow, 1)

	_, err := ForecastRetirements(nil, plan, rand.NewPCG(1, 1))
	assert.ErrorAs(t, err, new(*TooLittle))
	_, err = ForecastRetirements([]Kind{{long, a}, {short, nil}}, plan, rand.NewPCG(1, 1))
	assert.ErrorAs(t, err, new(*TooLittle))
}
