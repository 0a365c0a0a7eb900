package lifetime

import (
	"math"
	"math/rand/v2"
)

// GoodnessP is the chance that mats which do follow the fitted Weibull life,
// followed as these were, would plot as crookedly as these or worse: a small
// value (below 0.05) says that the fitted life is the wrong shape and that the
// survival curve should be shown instead. It draws repeats lives for each mat
// and keeps the censoring of the records: a mat in use is censored at its own
// turns, a retired one at a turn drawn from the censoring curve beyond its own
// (conditional bootstrap, Davison & Hinkley 1997, section 3.5, from memory).
// repeats lies within 20 and 10,000.
func GoodnessP(obs []Observation, fit Fit, repeats int, src rand.Source) (float64, error) {
	if repeats < 20 || repeats > 10000 || src == nil {
		return 0, invalid("repeats", number(float64(repeats)), "give 20 to 10000 repeats and a random source")
	}
	if !fit.CorrelationKnown {
		return 0, &TooLittle{Statement: "how well the fitted life suits", Have: min(fit.Retired, 2), Need: 3,
			Of: "different turns of retirement", Advice: "wait for more retirements"}
	}
	censoring, err := censoringCurve(obs)
	if err != nil {
		return 0, err
	}
	// Turns counted in whole numbers tie, and ties bend the plot: the drawn lives
	// must tie in the same way.
	whole := true
	for _, o := range obs {
		whole = whole && o.Turns == math.Trunc(o.Turns)
	}
	rng := rand.New(src)
	drawn, spent := make([]Observation, len(obs)), make([]float64, len(obs))
	for i, o := range obs {
		spent[i] = fit.spent(o.From)
	}
	sure := fit.sureToLast(obs)
	worse, valid := 0, 0
	for range repeats {
		for i, o := range obs {
			limit := o.Turns
			if o.Retired {
				limit = censoring.drawBeyond(o.Turns, rng)
			}
			hazard := spent[i] + rng.ExpFloat64()
			if hazard > sure[i] {
				drawn[i] = Observation{Turns: limit, From: o.From}
				continue
			}
			drawn[i] = fit.lifeAt(hazard, o.From, limit, whole)
		}
		c, err := KaplanMeier(drawn, fit.Confidence, LogLog)
		if err != nil {
			return 0, err
		}
		r, ok := plotCorrelation(c)
		if !ok {
			continue
		}
		valid++
		if r <= fit.Correlation {
			worse++
		}
	}
	return float64(1+worse) / float64(1+valid), nil
}

// censoringCurve is the survival curve of the censoring: who is still in use
// counts as the event.
func censoringCurve(obs []Observation) (Curve, error) {
	flipped := make([]Observation, len(obs))
	for i, o := range obs {
		o.Retired = !o.Retired
		flipped[i] = o
	}
	return KaplanMeier(flipped, 0.95, LogLog)
}

// drawBeyond draws a censoring turn beyond the given one, or the end of the
// counting when the records leave none.
func (c Curve) drawBeyond(turns float64, rng *rand.Rand) float64 {
	here, ok := c.At(turns)
	if !ok || here.S <= 0 {
		return maxTurns
	}
	target := here.S * rng.Float64()
	for _, p := range c.Points {
		if p.Turns > turns && p.S <= target {
			return p.Turns
		}
	}
	return maxTurns
}

// spent is the cumulative hazard that a mat of an age has behind it.
func (w Weibull) spent(age float64) float64 { return math.Pow(age/w.Scale, w.Shape) }

// sureToLast gives, for each mat in use, a cumulative hazard beyond which its drawn
// life ends after its own turns whatever the rounding: most draws are such, and
// need no power taken. A billionth more hazard is at least 1e-13 more turns, as
// Shape is at most 10,000; rounding is a tenth of that.
func (w Weibull) sureToLast(obs []Observation) []float64 {
	sure := make([]float64, len(obs))
	for i, o := range obs {
		sure[i] = math.Inf(1)
		if !o.Retired && o.Turns < maxTurns {
			sure[i] = w.spent(o.Turns) * (1 + 1e-9)
		}
	}
	return sure
}

// lifeAt is the life that ends at a cumulative hazard.
func (w Weibull) lifeAt(hazard, from, limit float64, whole bool) Observation {
	life := math.Min(w.Scale*math.Pow(hazard, 1/w.Shape), maxTurns)
	if whole {
		life = math.Ceil(life)
	}
	if from > 0 && (life <= from || same(from, life)) {
		life = from + 2*sameTurn*math.Max(1, from)
	}
	if life <= limit {
		return Observation{Turns: life, Retired: true, From: from}
	}
	return Observation{Turns: limit, From: from}
}
