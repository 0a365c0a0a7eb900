package lifetime

import "gonum.org/v1/gonum/stat/distuv"

// Rate is retirements per turn under a steady rate, the statement that is left
// when the records are too few for a survival curve.
type Rate struct {
	Retired int
	Turns   float64 // turns in which the mats were watched
	PerTurn float64
	// Low and High are the exact two-sided limits (Garwood 1936).
	Low, High float64
	// Upper is the exact one-sided limit: with no retirement in n turns it is
	// near 3/n at 95 % (the rule of three).
	Upper float64
}

// RetirementRate gives retirements per turn with exact Poisson limits.
// Errors: *TooLittle without any turn, *Invalid for turns or confidence out of
// range.
func RetirementRate(obs []Observation, confidence float64) (Rate, error) {
	if _, err := normalQuantile(confidence); err != nil {
		return Rate{}, err
	}
	var r Rate
	for i, o := range obs {
		if err := o.check(i); err != nil {
			return Rate{}, err
		}
		r.Turns += o.Turns - o.From
		if o.Retired {
			r.Retired++
		}
	}
	if r.Turns < sameTurn {
		return Rate{}, &TooLittle{Statement: "retirements per turn", Have: 0, Need: 1, Of: "turns",
			Advice: "record the sowings of these mats"}
	}
	n := float64(r.Retired)
	r.PerTurn = n / r.Turns
	r.High = poissonUpper(n, (1-confidence)/2) / r.Turns
	r.Upper = poissonUpper(n, 1-confidence) / r.Turns
	if r.Retired > 0 {
		r.Low = distuv.Gamma{Alpha: n, Beta: 1}.Quantile((1-confidence)/2) / r.Turns
	}
	return r, nil
}

// poissonUpper is the mean at which n events or fewer have the given chance.
func poissonUpper(n, tail float64) float64 {
	return distuv.Gamma{Alpha: n + 1, Beta: 1}.Quantile(1 - tail)
}
