package lifetime

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
)

// raw reads floats, whole numbers and bits straight from the fuzzer's bytes, so
// that not-a-numbers, infinities and denormals come up.
type raw []byte

func (r *raw) word() uint64 {
	var b [8]byte
	n := copy(b[:], *r)
	*r = (*r)[n:]
	return binary.LittleEndian.Uint64(b[:])
}

func (r *raw) float() float64 {
	w := r.word()
	// Half of the time a small plain number, else any bit pattern.
	if w&1 == 0 {
		return float64(w>>1&0xff) / 4
	}
	return math.Float64frombits(w)
}

func (r *raw) int() int {
	w := r.word()
	if w&1 == 0 {
		return int(w >> 1 & 0xff)
	}
	return int(w)
}

func (r *raw) mats() []Observation {
	var obs []Observation
	for len(*r) > 0 && len(obs) < 30 {
		o := Observation{Turns: r.float(), From: r.float()}
		bits := r.word()
		o.Retired = bits&1 == 0
		o.Cause = []string{"cut", "mold", ""}[bits>>1%3]
		if bits&8 == 0 {
			o.From = 0
		}
		obs = append(obs, o)
	}
	return obs
}

// FuzzNothingBreaks holds every estimator to one promise: an error or a result
// without a not-a-number, never a panic.
func FuzzNothingBreaks(f *testing.F) {
	f.Add([]byte("a few bytes to begin with, read as turns and bits"), .95)
	f.Add(make([]byte, 400), .5)
	seed := make([]byte, 900)
	rng := rand.New(rand.NewPCG(1, 9))
	for range 8 {
		for i := range seed {
			seed[i] = byte(rng.Uint32())
			if i%8 > 1 && rng.IntN(3) > 0 {
				seed[i] = 0
			}
			if i%8 == 0 && rng.IntN(4) > 0 {
				seed[i] &^= 1
			}
		}
		f.Add(append([]byte{}, seed...), rng.Float64())
	}
	f.Fuzz(func(t *testing.T, data []byte, level float64) {
		if len(data) > 2000 {
			return
		}
		hold := func(what string, v any, err error) {
			if err != nil {
				if err.Error() == "" {
					t.Fatalf("%s: an error without words", what)
				}
				return
			}
			noNaN(t, what, v)
		}
		r := raw(data)
		obs := r.mats()
		for _, band := range []Band{LogLog, Log, Plain} {
			c, err := KaplanMeier(obs, level, band)
			hold("curve", c, err)
			q := raw(data)
			x := q.float()
			p, _ := c.At(x)
			hold("point", p.S, nil)
			qu, err := c.Quantile(x)
			hold("quantile", qu, err)
			hold("median", c.Median(), nil)
			m, err := c.RestrictedMean(x)
			hold("restricted mean", m, err)
			other, _ := KaplanMeier(obs[:len(obs)/2], .9, band)
			ratio, err := LifeRatio(c, other, 0)
			hold("ratio of lives", ratio, err)
			pt, _ := ReachChance(c, BreakEven{Turns: q.int()})
			hold("reach", pt.S, nil)
		}
		inc, err := CumulativeIncidence(obs, level)
		hold("incidence", inc, err)
		rate, err := RetirementRate(obs, level)
		hold("rate", rate, err)
		third := len(obs) / 3
		lr, err := LogRank([]Group{{"a", obs[:third]}, {"b", obs[third : 2*third]}, {"c", obs[2*third:]}})
		hold("log-rank", lr, err)
		fuzzFit(t, hold, obs, level, raw(data))
		fuzzCounts(hold, level, raw(data))
		fuzzTrend(hold, level, raw(data))
		fuzzMoney(hold, level, raw(data))
	})
}

func fuzzFit(t *testing.T, hold func(string, any, error), obs []Observation, level float64, r raw) {
	fit, err := FitWeibull(obs, level)
	hold("fit", fit, err)
	if err != nil {
		fit = Fit{Weibull: Weibull{r.float(), r.float()}, VarShape: r.float(), VarScale: r.float(), Cov: r.float(), Confidence: level}
		if !(fit.VarShape >= 0 && fit.VarScale >= 0) || !finite(fit.VarShape, fit.VarScale, fit.Cov) {
			return
		}
	} else {
		age := r.float()
		w := fit.Weibull
		hold("remaining", []float64{w.MeanRemaining(age), w.MedianRemaining(age), w.ChanceRetired(age, r.float()), w.Survival(age), w.Quantile(r.float())}, nil)
		e, err := fit.MeanRemainingTurns(age)
		hold("mean remaining", e, err)
		e, err = fit.MedianRemainingTurns(age)
		hold("median remaining", e, err)
		e, err = fit.QuantileTurns(r.float())
		hold("quantile turns", e, err)
		p, err := GoodnessP(obs, fit, 20, rand.NewPCG(1, 1))
		hold("goodness", p, err)
	}
	var ages, turns []float64
	for range 6 {
		ages, turns = append(ages, r.float()), append(turns, r.float())
	}
	f, err := ForecastRetirements([]Kind{{fit, ages}}, ForecastPlan{TurnsPerMat: turns, Replace: r.word()&1 == 0, Runs: 100}, rand.NewPCG(2, 2))
	hold("forecast", f, err)
	if err == nil {
		for _, w := range f.Weeks {
			if w.Low > w.Median || w.Median > w.High || w.SumLow > w.SumHigh {
				t.Fatalf("forecast out of order: %+v", w)
			}
		}
	}
}

func fuzzCounts(hold func(string, any, error), level float64, r raw) {
	a, b := Count{"a", r.int(), r.int()}, Count{"b", r.int(), r.int()}
	if a.Trials > 1e6 || b.Trials > 1e6 {
		a.Trials %= 1e6
		b.Trials %= 1e6
	}
	i, err := a.Wilson(level)
	hold("wilson", i, err)
	i, err = a.ClopperPearson(level)
	hold("exact", i, err)
	c, err := Compare(a, b, level)
	hold("compare", c, err)
	h, err := Holm([]float64{r.float(), r.float(), r.float()})
	hold("holm", h, err)
	var weeks []Week
	for len(r) > 0 && len(weeks) < 30 {
		w := Week{Turns: r.int(), Moldy: r.int()}
		if w.Turns > 0 && w.Moldy > w.Turns {
			w.Moldy %= w.Turns
		}
		weeks = append(weeks, w)
	}
	for _, kind := range []ChartKind{PChart, LaneyChart} {
		chart, err := ControlChart(weeks, len(weeks)/2, kind)
		hold("chart", chart, err)
	}
}

func fuzzTrend(hold func(string, any, error), level float64, r raw) {
	var series []Series
	var harvests []Harvest
	for len(r) > 0 && len(series) < 4 {
		var s Series
		for range 8 {
			p := Reading{r.float(), r.float()}
			s.Points = append(s.Points, p)
			harvests = append(harvests, Harvest{Mat: "m", Crop: "pea", Turn: p.Turn, PerSeed: p.Value / (1 + math.Abs(p.Value))})
		}
		series = append(series, s)
	}
	tr, err := FindTrend(series, level)
	hold("trend", tr, err)
	y, err := CompareYields(harvests)
	hold("yield", y.Series(), err)
	trends, err := y.Trends(func(h Harvest) string { return h.Mat }, DefaultLimits(), level)
	hold("yield trend", trends, err)
}

func fuzzMoney(hold func(string, any, error), level float64, r raw) {
	mat := MatCost{r.float(), r.float(), r.float(), r.float(), r.float(), Estimate{r.float(), 0, r.float(), r.float()}, r.float()}
	medium := Medium{r.float(), r.float(), r.float()}
	life := Estimate{r.float(), 0, r.float(), r.float()}
	c, err := CostPerTurn(mat, life, medium)
	hold("cost", c, err)
	rows, err := WhatIf(mat, life, medium, []float64{r.float(), r.float()}, []float64{r.float()})
	hold("what if", rows, err)
	a, err := MassAvoided(r.int(), medium, r.int(), r.float())
	hold("mass", a, err)
	m, err := sampleOf(r.float(), r.float(), r.float()).Mean(level)
	hold("mean", m, err)
	tp, err := TurnsPerMat([]int{r.int()}, r.int())
	hold("turns per mat", tp, err)
}
