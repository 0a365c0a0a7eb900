package lifetime

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// ForecastPlan is what the weeks ahead ask of the mats.
type ForecastPlan struct {
	// TurnsPerMat is the number of turns that each mat in use makes in each
	// week ahead, at most 520 weeks (see TurnsPerMat).
	TurnsPerMat []float64
	// Replace puts a new mat in service at the end of the week in which one is
	// retired; else the pool shrinks.
	Replace bool
	// Limit is the number of turns at which a mat is taken out whatever its
	// wear, by the farm's own rule; 0 for none. Until then it wears like others.
	Limit float64
	// Runs of the simulation, 100 to 100,000; 0 means 1000.
	Runs int
	// FixedLife takes the fitted life as the truth. The default draws a life
	// from the uncertainty of the fit in each run, without which the interval
	// is too narrow.
	FixedLife bool
}

// ForecastWeek is one week ahead.
type ForecastWeek struct {
	// Expected retirements by the closed form at the fitted life.
	Expected float64
	// Low, Median and High are the simulated prediction interval.
	Low, Median, High int
	// The same from the first week to this one.
	SumExpected                float64
	SumLow, SumMedian, SumHigh int
	// SumAtLimit are the mats that came to the Limit, by the middle of the
	// simulation, and SumAll those and the retirements together.
	SumAtLimit                          int
	SumAllLow, SumAllMedian, SumAllHigh int
}

// Forecast is retirements by week.
type Forecast struct {
	Weeks      []ForecastWeek
	Runs       int
	Confidence float64
}

// TurnsPerMat spreads the sowings planned for each week evenly over the mats in
// use, as a farm does that always takes the mat which has rested longest.
func TurnsPerMat(sowings []int, mats int) ([]float64, error) {
	if mats <= 0 || mats > maxTurns {
		return nil, invalid("mats in use", fmt.Sprint(mats),
			"give the number of mats that share the sowings, at least 1")
	}
	turns := make([]float64, len(sowings))
	for i, s := range sowings {
		if s < 0 || s > maxTurns {
			return nil, invalid(fmt.Sprintf("sowings of week %d", i+1), fmt.Sprint(s), "give a number from 0 to 1e9")
		}
		turns[i] = float64(s) / float64(mats)
	}
	return turns, nil
}

// Kind is mats in use that wear alike, such as those of one material.
type Kind struct {
	Fit  Fit
	Ages []float64 // turns done, of each mat in use
}

// cohort is a number of mats of one age.
type cohort struct {
	age  float64
	mats float64
}

// ForecastRetirements forecasts retirements by week for mats in use, of one
// kind or several; the intervals are of all kinds together. The lives of
// different kinds are drawn apart, those of one Fit that stands with several
// kinds together. The source is the caller's, so the same seed gives the same
// forecast. Mats of one age are drawn together from the binomial, so the time
// goes with weeks and ages, not with mats. The level is that of the first fit.
//
// Errors: *TooLittle without mats or weeks, *Invalid for values out of range.
func ForecastRetirements(kinds []Kind, plan ForecastPlan, src rand.Source) (Forecast, error) {
	if plan.Runs == 0 {
		plan.Runs = 1000
	}
	if err := checkForecast(kinds, plan, src); err != nil {
		return Forecast{}, err
	}
	weeks := len(plan.TurnsPerMat)
	confidence := kinds[0].Fit.Confidence
	f := Forecast{Runs: plan.Runs, Confidence: confidence, Weeks: make([]ForecastWeek, weeks)}
	starts := make([][]cohort, len(kinds))
	for i, k := range kinds {
		starts[i] = cohorts(k.Ages)
		sum := 0.0
		closed := func(mats, chance float64) float64 { return mats * chance }
		for w, e := range live(k.Fit.Weibull, starts[i], plan, closed) {
			sum += e.worn
			f.Weeks[w].Expected += e.worn
			f.Weeks[w].SumExpected += sum
		}
	}
	byWeek, sums, limits, all := make([][]int, weeks), make([][]int, weeks), make([][]int, weeks), make([][]int, weeks)
	rng := rand.New(src)
	drawn := drawnFrom(src)
	for range plan.Runs {
		lives := drawLives(kinds, plan.FixedLife, rng)
		gone := make([]losses, weeks)
		for i := range kinds {
			for w, n := range live(lives[i], starts[i], plan, drawn) {
				gone[w].worn += n.worn
				gone[w].atLimit += n.atLimit
			}
		}
		worn, atLimit := 0.0, 0.0
		for w, n := range gone {
			worn += n.worn
			atLimit += n.atLimit
			byWeek[w] = append(byWeek[w], int(n.worn))
			sums[w] = append(sums[w], int(worn))
			limits[w] = append(limits[w], int(atLimit))
			all[w] = append(all[w], int(worn+atLimit))
		}
	}
	for w := range f.Weeks {
		f.Weeks[w].Low, f.Weeks[w].Median, f.Weeks[w].High = spreadOf(byWeek[w], confidence)
		f.Weeks[w].SumLow, f.Weeks[w].SumMedian, f.Weeks[w].SumHigh = spreadOf(sums[w], confidence)
		_, f.Weeks[w].SumAtLimit, _ = spreadOf(limits[w], confidence)
		f.Weeks[w].SumAllLow, f.Weeks[w].SumAllMedian, f.Weeks[w].SumAllHigh = spreadOf(all[w], confidence)
	}
	return f, nil
}

// drawLives gives each kind a life; kinds with one fit share it.
func drawLives(kinds []Kind, fixed bool, rng *rand.Rand) []Weibull {
	lives := make([]Weibull, len(kinds))
	for i, k := range kinds {
		lives[i] = k.Fit.Weibull
		if fixed {
			continue
		}
		if at := slices.IndexFunc(kinds[:i], func(other Kind) bool { return other.Fit == k.Fit }); at >= 0 {
			lives[i] = lives[at]
			continue
		}
		lives[i] = k.Fit.draw(rng)
	}
	return lives
}

func checkForecast(kinds []Kind, plan ForecastPlan, src rand.Source) error {
	if len(kinds) == 0 {
		return noMats()
	}
	for _, k := range kinds {
		if err := k.check(); err != nil {
			return err
		}
	}
	if src == nil {
		return invalid("random source", "missing", "hand in rand.NewPCG with a fixed seed")
	}
	if plan.Runs < 100 || plan.Runs > 100000 {
		return invalid("runs", fmt.Sprint(plan.Runs), "give 100 to 100000, or 0 for 1000")
	}
	if len(plan.TurnsPerMat) == 0 {
		return &TooLittle{Statement: "a forecast", Have: 0, Need: 1, Of: "planned weeks",
			Advice: "write down the sowings of the weeks ahead"}
	}
	if len(plan.TurnsPerMat) > 520 {
		return invalid("weeks ahead", fmt.Sprint(len(plan.TurnsPerMat)), "give at most 520")
	}
	if !(plan.Limit >= 0 && plan.Limit <= maxTurns) {
		return invalid("limit of turns", number(plan.Limit), "give turns from 0 to 1e9; 0 for none")
	}
	for i, t := range plan.TurnsPerMat {
		if !(t >= 0 && t <= 1e6) {
			return invalid(fmt.Sprintf("turns per mat in week %d", i+1), number(t), "give a number from 0 to 1e6")
		}
	}
	return nil
}

func (k Kind) check() error {
	if _, err := normalQuantile(k.Fit.Confidence); err != nil {
		return err
	}
	if err := k.Fit.check(); err != nil {
		return err
	}
	if vk, vs, c := k.Fit.logCovariance(); !finite(vk, vs, c) {
		return invalid("covariance of the fitted life", "without a number", "use the result of FitWeibull")
	}
	if len(k.Ages) == 0 {
		return noMats()
	}
	for i, a := range k.Ages {
		if !(a >= 0 && a <= maxTurns) {
			return invalid(fmt.Sprintf("age of mat %d in the list", i+1), number(a), "give turns from 0 to 1e9")
		}
	}
	return nil
}

func noMats() error {
	return &TooLittle{Statement: "a forecast", Have: 0, Need: 1, Of: "mats in use", Advice: "add the mats in use"}
}

func cohorts(ages []float64) []cohort {
	sorted := slices.Sorted(slices.Values(ages))
	var all []cohort
	for _, a := range sorted {
		if n := len(all); n > 0 && all[n-1].age == a {
			all[n-1].mats++
			continue
		}
		all = append(all, cohort{a, 1})
	}
	return all
}

// takeOut empties the cohorts that have come to the limit and counts them.
func takeOut(pool []cohort, limit float64) (out float64) {
	for i := range pool {
		if limit > 0 && pool[i].age >= limit {
			out += pool[i].mats
			pool[i].mats = 0
		}
	}
	return out
}

// losses are the mats that went in a week.
type losses struct{ worn, atLimit float64 }

// live takes the mats through the weeks ahead: each cohort loses what lost makes
// of its number and the conditional chance of its age, and with Replace the
// losses come in again at age 0.
func live(w Weibull, start []cohort, plan ForecastPlan, lost func(mats, chance float64) float64) []losses {
	pool := slices.Clone(start)
	gone := make([]losses, 0, len(plan.TurnsPerMat))
	for _, turns := range plan.TurnsPerMat {
		var week losses
		for i := range pool {
			if pool[i].mats == 0 {
				continue
			}
			n := lost(pool[i].mats, w.ChanceRetired(pool[i].age, turns))
			pool[i].mats -= n
			pool[i].age += turns
			week.worn += n
		}
		week.atLimit = takeOut(pool, plan.Limit)
		if in := week.worn + week.atLimit; plan.Replace && in > 0 {
			pool = append(pool, cohort{0, in})
		}
		gone = append(gone, week)
	}
	return gone
}

// drawnFrom draws how many mats of one age go at a chance.
func drawnFrom(src rand.Source) func(mats, chance float64) float64 {
	return func(mats, chance float64) float64 {
		switch {
		case !(chance > 0):
			return 0
		case chance >= 1:
			return mats
		}
		return distuv.Binomial{N: mats, P: chance, Src: src}.Rand()
	}
}

// draw takes a life from the large-sample normal of (ln Shape, ln Scale).
func (f Fit) draw(rng *rand.Rand) Weibull {
	vk, vs, c := f.logCovariance()
	a, b := rng.NormFloat64(), rng.NormFloat64()
	sk := math.Sqrt(math.Max(0, vk))
	slope := 0.0
	if sk > 0 {
		slope = c / sk
	}
	rest := math.Sqrt(math.Max(0, vs-slope*slope))
	shape := f.Shape * math.Exp(sk*a)
	scale := f.Scale * math.Exp(slope*a+rest*b)
	return Weibull{
		Shape: math.Max(minShape, math.Min(maxShape, shape)),
		Scale: math.Max(minScale, math.Min(maxScale, scale)),
	}
}

// spreadOf gives the order statistics that hold the share confidence.
func spreadOf(counts []int, confidence float64) (low, middle, high int) {
	slices.Sort(counts)
	n := len(counts)
	cut := int(float64(n) * (1 - confidence) / 2)
	return counts[cut], counts[n/2], counts[n-1-cut]
}
