package lifetime

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Interval is a confidence interval with both ends finite.
type Interval struct {
	Low, High float64
}

// Estimate is a figure with its standard error and confidence interval.
type Estimate struct {
	Value float64
	SE    float64
	Low   float64
	High  float64
}

// onLog is an estimate with an interval built on its logarithm.
func onLog(value, seLog, z float64) Estimate {
	return Estimate{Value: value, SE: value * seLog,
		Low: value * math.Exp(-z*seLog), High: value * math.Exp(z*seLog)}
}

// normalQuantile gives z so that the standard normal holds confidence within
// plus and minus z. confidence lies strictly between 0 and 1.
func normalQuantile(confidence float64) (float64, error) {
	// The upper bound keeps 1-confidence representable: past it every interval
	// would be infinite.
	if !(confidence > 0 && confidence <= 1-1e-12) {
		return 0, invalid("confidence", number(confidence), "give a level between 0 and 1, usually 0.95")
	}
	return distuv.UnitNormal.Quantile(1 - (1-confidence)/2), nil
}

// twoSided is the two-sided p-value of a standard normal z. It goes through
// Erfc because gonum's UnitNormal.Survival is 1-CDF and is 0 from z = 9 on.
func twoSided(z float64) float64 {
	return math.Min(1, math.Erfc(math.Abs(z)/math.Sqrt2))
}

func chiSquareTail(x float64, df int) float64 {
	if x <= 0 {
		return 1
	}
	return distuv.ChiSquared{K: float64(df)}.Survival(x)
}

func clamp01(x float64) float64 { return math.Min(1, math.Max(0, x)) }

func finite(xs ...float64) bool {
	for _, x := range xs {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return false
		}
	}
	return true
}

func number(x float64) string { return fmt.Sprintf("%g", x) }

// median is the ordinary median of sorted values: gonum's stat.Quantile(0.5)
// gives 2 for 1 2 3 4.
func median(sorted []float64) float64 {
	n := len(sorted)
	if n == 0 {
		return 0
	}
	if n%2 == 1 {
		return sorted[n/2]
	}
	// Halved before adding, so that two huge values do not overflow.
	return sorted[n/2-1]/2 + sorted[n/2]/2
}
