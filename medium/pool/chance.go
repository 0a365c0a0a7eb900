package pool

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Closed forms for sowings that come one by one by chance (to order).

// PoissonShort is the chance that more than mats are busy at once when mean are
// busy on average and sowings come by chance, whatever the spread of the days
// (M/G/infinity: Palm's theorem). mean is 0 or more.
func PoissonShort(mean float64, mats int) float64 {
	if mats < 0 {
		return 1
	}
	if !(mean > 0) {
		return 0
	}
	return distuv.Poisson{Lambda: mean}.Survival(float64(mats))
}

// PoissonMats is the least number of mats for which PoissonShort is at most the
// wanted level (0 < level < 1).
func PoissonMats(mean, level float64) (int, error) {
	if !(mean >= 0 && mean <= MaxMats) {
		return 0, invalid("mean number of busy mats", mean, "0 or more, at most 100000")
	}
	if err := checkLevel(level); err != nil {
		return 0, err
	}
	mats := 0
	for PoissonShort(mean, mats) > level {
		mats++
	}
	return mats, nil
}

func checkLevel(level float64) error {
	if !(level >= 1e-9 && level < 1) {
		return invalid("wanted chance of running short", level, "a share between 0 and 1, for example 0.05")
	}
	return nil
}

// ErlangB is the chance that a sowing finds no mat ready when load mats would
// be busy on average, mats are there, and a sowing that finds none is given up
// (Erlang's loss formula, by its recursion B <- A B / (n + A B)).
func ErlangB(load float64, mats int) (float64, error) {
	if !(load >= 0 && load <= MaxMats) || mats < 0 || mats > MaxMats {
		return 0, invalid("load or number of mats", []any{load, mats}, "each 0 to 100000")
	}
	b := 1.0
	for n := 1; n <= mats; n++ {
		b = load * b / (float64(n) + load*b)
	}
	if load == 0 {
		return 0, nil
	}
	return b, nil
}

// Share is a share with its Wilson interval.
type Share struct {
	Share     float64
	Low, High float64
	Of        float64 // number of independent looks behind it
}

// wilson gives the score interval for hits of n (Wilson 1927). n may be an
// effective number of looks that is not whole.
func wilson(hits, n, confidence float64) Share {
	if n <= 0 {
		return Share{Low: 0, High: 1}
	}
	z := distuv.UnitNormal.Quantile(1 - (1-confidence)/2)
	p := hits / n
	mid := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	s := Share{Share: p, Low: max(0, mid-half), High: min(1, mid+half), Of: n}
	if hits <= 0 {
		s.Low = 0
	}
	if hits >= n {
		s.High = 1
	}
	return s
}
