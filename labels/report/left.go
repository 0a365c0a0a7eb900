package report

import (
	"fmt"

	"resow/medium"
)

// TurnsLeft is what is to be expected of one mat in use.
type TurnsLeft struct {
	Code   medium.Code `json:"code"`
	Turn   int         `json:"turn"`
	LifeOf string      `json:"life_of,omitempty"` // whose fitted life it goes by
	// Half of such mats make so many more turns; the mean of all such mats. With
	// 95 % intervals, which are of the fit and not of a single mat.
	Median     float64 `json:"median_turns_left,omitempty"`
	MedianLow  float64 `json:"median_low,omitempty"`
	MedianHigh float64 `json:"median_high,omitempty"`
	Mean       float64 `json:"mean_turns_left,omitempty"`
	MeanLow    float64 `json:"mean_low,omitempty"`
	MeanHigh   float64 `json:"mean_high,omitempty"`
	Limit      float64 `json:"turn_limit,omitempty"` // the farm's own
	Refused    string  `json:"refused,omitempty"`
}

// Left says how many more turns a mat in use will make, by the fitted life of
// its material, or of all mats where that has too few retired ones.
func (in ForecastInput) Left(mat medium.Condition) (Report, TurnsLeft) {
	l := TurnsLeft{Code: mat.Code, Turn: mat.Turn}
	if set := in.Farm.Policy.Setting("max-turns"); set.On {
		l.Limit = set.Limit
	}
	f := fitsOf(censusOf(in.Mats)).of(named(mat.Mat.Material))
	r := in.report("Turns left of " + keep(mat.Code.String()))
	r.Method = outlookMethod[:1]
	switch {
	case mat.Stage == medium.Retired:
		l.Refused = "it is retired"
	case f.refused != nil:
		l.Refused = tooFew(f.refused)
	default:
		l.fill(f)
	}
	if l.Refused != "" {
		r.Summary = []string{fmt.Sprintf("How many more turns %s will make can't be said: %s.", keep(mat.Code.String()), l.Refused)}
		return r, l
	}
	r.Summary = l.say()
	if f.misfit() {
		r.Summary = append(r.Summary, fmt.Sprintf("The fitted life of %s does not suit its records (%s): take this as rough.", f.name, probability(f.suits)))
	}
	return r, l
}

func (l *TurnsLeft) fill(f fitted) {
	l.LifeOf = f.name
	median, err := f.fit.MedianRemainingTurns(float64(l.Turn))
	mean, err2 := f.fit.MeanRemainingTurns(float64(l.Turn))
	if err != nil || err2 != nil {
		l.Refused = "the interval is wider than any number"
		return
	}
	l.Median, l.MedianLow, l.MedianHigh = median.Value, median.Low, median.High
	l.Mean, l.MeanLow, l.MeanHigh = mean.Value, mean.Low, mean.High
}

func (l TurnsLeft) say() []string {
	from := l.LifeOf
	if from == allMats {
		from += ", for none can be fitted to its own material"
	}
	out := []string{
		fmt.Sprintf("%s has done %s. Half of such mats make at least %s turns more (95 %% interval %s to %s), by the fitted life of %s.", keep(l.Code.String()), turns(l.Turn),
			short(l.Median), short(l.MedianLow), short(l.MedianHigh), from),
		fmt.Sprintf("The mean of such mats is %s turns more (95 %% interval %s to %s). Both intervals tell how well the life is known; single mats spread wider.",
			short(l.Mean), short(l.MeanLow), short(l.MeanHigh)),
	}
	if l.Limit > 0 {
		out = append(out, fmt.Sprintf("The farm's own limit of %s turns leaves it %s.", short(l.Limit), turns(max(0, int(l.Limit)-l.Turn))))
	}
	return out
}
