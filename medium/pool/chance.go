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

// PoissonExpectedShort is the mean number of sowings without a mat at a random
// moment: the expected backorders of Palm's theorem, E max(0, X - mats).
func PoissonExpectedShort(mean float64, mats int) float64 {
	if !(mean > 0) || mats <= 0 {
		return max(0, mean) - min(0, float64(mats))
	}
	p := distuv.Poisson{Lambda: mean}
	// E (X-s)+ = mean P(X >= s) - s P(X > s).
	return max(0, mean*p.Survival(float64(mats-1))-float64(mats)*p.Survival(float64(mats)))
}

// PoissonMats is the least number of mats for which PoissonShort is at most the
// wanted level (0 < level < 1).
func PoissonMats(mean, level float64) (int, error) {
	if !(mean >= 0 && mean <= MaxMats) {
		return 0, invalid("mean number of busy mats", mean, "give 0 or more, at most 100000")
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
		return invalid("wanted chance of running short", level, "give a share between 0 and 1, for example 0.05")
	}
	return nil
}

// ErlangB is the chance that a sowing finds no mat ready when load mats would
// be busy on average, mats are there, and a sowing that finds none is given up
// (Erlang's loss formula, by its recursion B <- A B / (n + A B)).
func ErlangB(load float64, mats int) (float64, error) {
	if !(load >= 0 && load <= MaxMats) || mats < 0 || mats > MaxMats {
		return 0, invalid("load or number of mats", []any{load, mats}, "give each 0 to 100000")
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

// ErlangBMats is the least number of mats for which ErlangB is below the level.
func ErlangBMats(load, level float64) (int, error) {
	if err := checkLevel(level); err != nil {
		return 0, err
	}
	for mats := 0; mats <= MaxMats; mats++ {
		b, err := ErlangB(load, mats)
		if err != nil {
			return 0, err
		}
		if b < level {
			return mats, nil
		}
	}
	return 0, &TooLarge{What: "number of mats", Have: MaxMats + 1, Limit: MaxMats, Do: "give a smaller load"}
}

// FewerReady is the chance that fewer than need of n mats are fit for use when
// each is with the same chance share, independently (binomial).
func FewerReady(n int, share float64, need int) (float64, error) {
	if n < 0 || n > MaxMats || !(share >= 0 && share <= 1) {
		return 0, invalid("mats and share ready", []any{n, share}, "give 0 to 100000 mats and a share of 0 to 1")
	}
	if need <= 0 {
		return 0, nil
	}
	if need > n {
		return 1, nil
	}
	return distuv.Binomial{N: float64(n), P: share}.CDF(float64(need - 1)), nil
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
