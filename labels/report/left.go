package report

import (
	"fmt"

	"resow/medium"
	"resow/medium/lifetime"
)

// TurnsLeft is what is to be expected of one mat in use.
type TurnsLeft struct {
	Code   medium.Code
	Turn   int
	LifeOf string // whose fitted life it goes by
	// Half of such mats make so many more turns; the mean of all such mats. With
	// 95 % intervals, which are of the fit and not of a single mat.
	Median, Mean lifetime.Estimate
	Limit        float64 // the farm's own; 0: none
	Refused      string
}

// Left says how many more turns a mat in use will make, by the fitted life of
// its material, or of all mats where that has too few retired ones.
func (in ForecastInput) Left(mat medium.Condition) (Report, TurnsLeft) {
	l := TurnsLeft{Code: mat.Code, Turn: mat.Turn}
	if set := in.Farm.Policy.Setting("max-turns"); set.On {
		l.Limit = set.Limit
	}
	f := fitsOf(censusOf(in.Mats)).of(named(mat.Mat.Material))
	r := in.report("turns_left", "Turns left of "+keep(mat.Code.String()))
	r.Method = outlookMethod[:1]
	switch {
	case mat.Stage == medium.Retired:
		l.Refused = "it is retired"
	case f.refused != nil:
		l.Refused = tooFew(f.refused)
	default:
		l.fill(f)
	}
	r.Figures = fields{"code": l.Code, "turns": l.Turn}
	if l.Limit > 0 {
		r.Figures["limit_turns"], r.Figures["limit_left_turns"] = num(l.Limit), l.limitLeft()
	}
	if l.Refused != "" {
		r.Figures["refused"] = l.Refused
		r.Summary = []string{fmt.Sprintf("How many more turns %s will make can't be said: %s.", keep(mat.Code.String()), l.Refused)}
		return r, l
	}
	r.Summary = l.say()
	r.Figures["life_of"] = l.LifeOf
	r.Figures["median_left_turns"] = within(l.Median.Value, l.Median.Low, l.Median.High, "Weibull fit")
	r.Figures["mean_left_turns"] = within(l.Mean.Value, l.Mean.Low, l.Mean.High, "Weibull fit")
	if f.misfit() {
		r.Summary = append(r.Summary, fmt.Sprintf("The fitted life of %s does not suit its records (%s): take this as rough.", f.name, probability(f.suits)))
	}
	return r, l
}

func (l *TurnsLeft) fill(f fitted) {
	l.LifeOf = f.name
	var err, err2 error
	l.Median, err = f.fit.MedianRemainingTurns(float64(l.Turn))
	l.Mean, err2 = f.fit.MeanRemainingTurns(float64(l.Turn))
	if err != nil || err2 != nil {
		l.Refused = "the interval is wider than any number"
	}
}

func (l TurnsLeft) limitLeft() int { return max(0, int(l.Limit)-l.Turn) }

func (l TurnsLeft) say() []string {
	from := l.LifeOf
	if from == allMats {
		from += ", since none can be fitted to its own material"
	}
	out := []string{
		fmt.Sprintf("%s has done %s. Half of such mats make at least %s turns more (95 %% interval %s to %s), by the fitted life of %s.", keep(l.Code.String()), turns(l.Turn),
			short(l.Median.Value), short(l.Median.Low), short(l.Median.High), from),
		fmt.Sprintf("The mean of such mats is %s turns more (95 %% interval %s to %s). Both intervals tell how well the life is known; single mats vary more widely.",
			short(l.Mean.Value), short(l.Mean.Low), short(l.Mean.High)),
	}
	if l.Limit > 0 {
		out = append(out, fmt.Sprintf("The farm's own limit of %s turns leaves it %s.", short(l.Limit), turns(l.limitLeft())))
	}
	return out
}
