package lifetime

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"
)

// hits counts how often an interval held the truth.
type hits struct {
	covered, repeats int
}

func (h *hits) add(low, truth, high float64) {
	h.repeats++
	if low <= truth && truth <= high {
		h.covered++
	}
}

// within fails when so few (or many) hits have a chance below 1e-4 under the
// stated rates, from the binomial. An approximate interval may miss its level
// by a little in small samples: from and to say by how much.
func (h hits) within(t *testing.T, what string, from, to float64) {
	t.Helper()
	n := float64(h.repeats)
	tooFew := distuv.Binomial{N: n, P: from}.CDF(float64(h.covered))
	tooMany := 1.0
	if to < 1 {
		tooMany = 1 - distuv.Binomial{N: n, P: to}.CDF(float64(h.covered)-1)
	}
	t.Logf("%-44s %4d of %d = %.3f (stated %.3g to %.3g)", what, h.covered, h.repeats, float64(h.covered)/n, from, to)
	if tooFew < 1e-4 || tooMany < 1e-4 {
		t.Errorf("%s: covered %d of %d", what, h.covered, h.repeats)
	}
}

// farm is a simulated farm with known truth: mats bought over time, so that
// each is followed for a different number of turns.
func farm(truth Weibull, mats int, longest float64, rng *rand.Rand) []Observation {
	obs := make([]Observation, mats)
	for i := range obs {
		followed := longest * (.3 + .7*rng.Float64())
		obs[i] = truth.drawLife(0, followed, false, rng)
	}
	return obs
}

func TestCoverageOfLife(t *testing.T) {
	truth := Weibull{Shape: 2.2, Scale: 30}
	rng := rand.New(rand.NewPCG(20, 26))
	var survival, hazard, restricted, median, shape, scale, meanLife, remaining, size, lifeRatio hits
	area := restrictedTruth(truth, 25)
	for range 1000 {
		obs := farm(truth, 60, 60, rng)
		c, err := KaplanMeier(obs, .95, LogLog)
		require.NoError(t, err)
		p, ok := c.At(20)
		require.True(t, ok)
		survival.add(p.Low, truth.Survival(20), p.High)
		hazard.add(p.H-1.96*p.HSE, math.Pow(20/truth.Scale, truth.Shape), p.H+1.96*p.HSE)
		m, err := c.RestrictedMean(25)
		require.NoError(t, err)
		restricted.add(m.Low, area, m.High)
		q := c.Median()
		high := q.High.Turns
		if !q.High.Reached {
			high = math.Inf(1)
		}
		median.add(q.Low.Turns, truth.Quantile(.5), high)

		f, err := FitWeibull(obs, .95)
		require.NoError(t, err)
		shape.add(f.ShapeLog.Low, truth.Shape, f.ShapeLog.High)
		scale.add(f.ScaleLog.Low, truth.Scale, f.ScaleLog.High)
		e, err := f.MeanLife()
		require.NoError(t, err)
		meanLife.add(e.Low, truth.MeanRemaining(0), e.High)
		e, err = f.MedianRemainingTurns(15)
		require.NoError(t, err)
		remaining.add(e.Low, truth.MedianRemaining(15), e.High)

		other := farm(truth, 40, 50, rng)
		r, err := LogRank([]Group{{"a", obs}, {"b", other}})
		require.NoError(t, err)
		c2, err := KaplanMeier(other, .95, LogLog)
		require.NoError(t, err)
		ratio, err := LifeRatio(c, c2, 25)
		require.NoError(t, err)
		lifeRatio.add(ratio.Low, 1, ratio.High)
		size.add(.05, r.P, 1)
	}
	survival.within(t, "survival curve, log-log", .945, .96)
	hazard.within(t, "cumulative hazard, plain", .93, .96)
	restricted.within(t, "restricted mean, plain", .94, .96)
	// Inverting a step function covers at least its level.
	median.within(t, "median of the curve", .945, .98)
	shape.within(t, "Weibull shape, log Wald", .935, .955)
	scale.within(t, "Weibull scale, log Wald", .935, .955)
	meanLife.within(t, "mean life, delta method", .935, .955)
	remaining.within(t, "median remaining turns, delta method", .935, .955)
	lifeRatio.within(t, "how many times as long", .94, .96)
	size.within(t, "log-rank keeps quiet between equal kinds", .94, .96)
}

// restrictedTruth is the area under the true curve by Simpson's rule.
func restrictedTruth(w Weibull, until float64) float64 {
	const n = 2000
	sum := w.Survival(0) + w.Survival(until)
	for i := 1; i < n; i++ {
		sum += float64(2+2*(i%2)) * w.Survival(until*float64(i)/n)
	}
	return sum * until / n / 3
}

func TestCoverageOfIncidence(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 26))
	mold, cut := Weibull{Shape: 1, Scale: 50}, Weibull{Shape: 1, Scale: 40}
	// Two steady rates: the share molded by turn 20 is 4/9 of all retired by then.
	rate := 1./50 + 1./40
	truth := 1. / 50 / rate * (1 - math.Exp(-20*rate))
	var h hits
	for range 1000 {
		var obs []Observation
		for range 80 {
			a, b := mold.drawLife(0, 1e6, false, rng), cut.drawLife(0, 1e6, false, rng)
			o := Observation{Turns: math.Min(a.Turns, b.Turns), Retired: true, Cause: "cut"}
			if a.Turns < b.Turns {
				o.Cause = "mold"
			}
			if followed := 10 + 50*rng.Float64(); followed < o.Turns {
				o = Observation{Turns: followed}
			}
			obs = append(obs, o)
		}
		curves, err := CumulativeIncidence(obs, .95)
		require.NoError(t, err)
		last := IncidencePoint{}
		for _, p := range curves[1].Points {
			if p.Turns <= 20 {
				last = p
			}
		}
		h.add(last.Low, truth, last.High)
	}
	h.within(t, "cumulative incidence, log-log", .94, .96)
}

func TestCoverageOfRates(t *testing.T) {
	rng := rand.New(rand.NewPCG(22, 26))
	binomial := func(n int, p float64) int {
		x := 0
		for range n {
			if rng.Float64() < p {
				x++
			}
		}
		return x
	}
	var wilson, exact, difference, ratio, fisherQuiet, poisson hits
	for range 2000 {
		// The rate itself varies, so that the average coverage is tested and not
		// its saw teeth.
		p := .03 + .3*rng.Float64()
		c := Count{Hits: binomial(60, p), Trials: 60}
		w, err := c.Wilson(.95)
		require.NoError(t, err)
		wilson.add(w.Low, p, w.High)
		e, err := c.ClopperPearson(.95)
		require.NoError(t, err)
		exact.add(e.Low, p, e.High)

		q := .1 + .3*rng.Float64()
		a, b := Count{Hits: binomial(80, q), Trials: 80}, Count{Hits: binomial(60, q/2), Trials: 60}
		if cmp, err := Compare(a, b, .95); err == nil {
			difference.add(cmp.Difference.Low, q/2, cmp.Difference.High)
			if cmp.RatioKnown {
				ratio.add(cmp.Ratio.Low, 2, cmp.Ratio.High)
			}
		}
		b.Hits = binomial(60, q)
		if cmp, err := Compare(a, b, .95); err == nil {
			fisherQuiet.add(.05, cmp.P, 1)
		}
		obs := make([]Observation, 12)
		for i := range obs {
			// A steady rate followed for fixed turns: the events are Poisson only
			// if a mat is replaced, so let each stand for a place on the rack.
			obs[i] = Observation{Turns: 25}
		}
		events := int(distuv.Poisson{Lambda: 300 * q / 10, Src: rng}.Rand())
		for i := range min(events, len(obs)) {
			obs[i].Retired = true
		}
		if events <= len(obs) {
			r, err := RetirementRate(obs, .95)
			require.NoError(t, err)
			poisson.add(r.Low, q/10, r.High)
		} else {
			poisson.add(0, 0, 0)
		}
	}
	wilson.within(t, "Wilson", .945, .96)
	exact.within(t, "Clopper-Pearson, at least its level", .95, 1)
	difference.within(t, "difference of rates, Newcombe", .94, .97)
	ratio.within(t, "ratio of rates, log", .945, .98)
	fisherQuiet.within(t, "Fisher keeps quiet, at least its level", .95, 1)
	poisson.within(t, "retirements per turn, at least its level", .95, 1)
}

func TestCoverageOfTrend(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 26))
	var slope, quiet, quietSmall hits
	for range 1000 {
		var falling, level []Series
		for range 4 {
			var f, l Series
			for turn := range 9 {
				noise := rng.ExpFloat64() // skewed on purpose: no normal is assumed
				f.Points = append(f.Points, Reading{float64(turn), 100 - 1.5*float64(turn) + 8*noise})
				l.Points = append(l.Points, Reading{float64(turn), 100 + 8*rng.ExpFloat64()})
			}
			falling, level = append(falling, f), append(level, l)
		}
		tr, err := FindTrend(falling, .95)
		require.NoError(t, err)
		slope.add(tr.Slope.Low, -1.5, tr.Slope.High)
		tr, err = FindTrend(level, .95)
		require.NoError(t, err)
		quiet.add(.05, tr.P, 1)
		tr, err = FindTrend(level[:1], .95)
		require.NoError(t, err)
		quietSmall.add(.05, tr.P, 1)
	}
	slope.within(t, "Theil-Sen slope", .945, .97)
	quiet.within(t, "Mann-Kendall keeps quiet, exact", .945, .965)
	quietSmall.within(t, "Mann-Kendall keeps quiet, nine harvests", .95, .98)
}

func TestCoverageOfForecast(t *testing.T) {
	truth := Weibull{Shape: 2.5, Scale: 25}
	rng := rand.New(rand.NewPCG(24, 26))
	turns := []float64{1, 1, 1, 1}
	var h hits
	for range 500 {
		obs := farm(truth, 60, 30, rng)
		fit, err := FitWeibull(obs, .95)
		require.NoError(t, err)
		var ages []float64
		for _, o := range obs {
			if !o.Retired {
				ages = append(ages, math.Floor(o.Turns))
			}
		}
		f, err := ForecastRetirements([]Kind{{fit, ages}}, ForecastPlan{TurnsPerMat: turns, Runs: 100}, rng)
		require.NoError(t, err)
		future := 0
		for _, n := range live(truth, cohorts(ages), ForecastPlan{TurnsPerMat: turns}, drawnFrom(rng)) {
			future += int(n.worn)
		}
		last := f.Weeks[len(turns)-1]
		h.add(float64(last.SumLow), float64(future), float64(last.SumHigh))
	}
	// Whole mats: the interval covers at least its level; a hundred runs place
	// its ends to within a per cent.
	h.within(t, "forecast of retirements", .93, .985)
}

// drawLife draws a life beyond from, in whole turns if asked, and cuts it at
// limit.
func (w Weibull) drawLife(from, limit float64, whole bool, rng *rand.Rand) Observation {
	return w.lifeAt(w.spent(from)+rng.ExpFloat64(), from, limit, whole)
}
