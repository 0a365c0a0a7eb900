package report

import (
	"fmt"

	"resow/medium"
)

// Left says how many more turns a mat in use will make, by the fitted life of
// its material, or of all mats where that has too few retired ones. Its intervals
// are of the fit and not of a single mat.
func (in ForecastInput) Left(mat medium.Condition) Report {
	code := keep(mat.Code.String())
	r := in.report("turns_left", "{code}", code)
	r.Method, r.Figures = words("forecast").texts["method"][:1], fields{"code": mat.Code, "turns": mat.Turn}
	f := fitsOf(censusOf(in.Mats)).of(named(mat.Mat.Material))
	median, err := f.fit.MedianRemainingTurns(float64(mat.Turn))
	mean, err2 := f.fit.MeanRemainingTurns(float64(mat.Turn))
	refused := ""
	switch {
	case mat.Stage == medium.Retired:
		refused = "it is retired"
	case f.refused != nil:
		refused = tooFew(f.refused)
	case err != nil || err2 != nil:
		refused = "the interval is wider than any number"
	}
	if refused != "" {
		r.Figures["why_not_known"] = refused
		r.Summary = []string{fmt.Sprintf("How many more turns %s will make can't be said: %s.", code, refused)}
		return r
	}
	from := f.name
	if from == allMats {
		from += ", since none can be fitted to its own material"
	}
	r.Figures["life_of"] = f.name
	r.Figures["median_left_turns"] = within(median, "Weibull fit")
	r.Figures["mean_left_turns"] = within(mean, "Weibull fit")
	var out sentences
	out.say("%s has done %s. Half of such mats make at least %s turns more (%s), by the fitted life of %s.",
		code, turns(mat.Turn), short(median.Value), interval95(median, short), from)
	out.say("The mean of such mats is %s turns more (%s). Both intervals tell how well the life is known; "+
		"single mats vary more widely.", short(mean.Value), interval95(mean, short))
	if set := in.Farm.Policy.Setting("max-turns"); set.On {
		left := max(0, int(set.Limit)-mat.Turn)
		r.Figures["limit_turns"], r.Figures["limit_left_turns"] = num(set.Limit), left
		out.say("The farm's own limit of %s turns leaves it %s.", short(set.Limit), turns(left))
	}
	if f.misfit() {
		out.say("The fitted life of %s does not suit its records (%s): take this as rough.", f.name, probability(f.suits))
	}
	r.Summary = out
	return r
}
