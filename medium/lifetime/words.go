package lifetime

import (
	"fmt"
	"math"
)

// TooLittle says that a statement is refused because the records are too few.
// It is the package's way of giving words instead of numbers.
type TooLittle struct {
	Statement string // what was asked for, e.g. "the fitted life of the mats"
	Have      int    // how many there are
	Need      int    // how many the statement needs
	Of        string // what is counted, e.g. "retired mats"
	Advice    string // what to do about it
}

// Error gives the refusal, the count that is missing and the way out.
func (e *TooLittle) Error() string {
	return fmt.Sprintf("too little data for %s: %d %s, at least %d needed; %s",
		e.Statement, e.Have, e.Of, e.Need, e.Advice)
}

// Missing is how many more are needed, never below 1.
func (e *TooLittle) Missing() int { return max(1, e.Need-e.Have) }

// Invalid says that an input is not usable, with its value and the remedy.
type Invalid struct {
	What   string // which input, with its place in the list
	Value  string // the value as given
	Advice string // what to give instead
}

// Error names the input, its value and what to give instead.
func (e *Invalid) Error() string {
	return fmt.Sprintf("%s is %s: %s", e.What, e.Value, e.Advice)
}

func invalid(what, value, advice string) error {
	return &Invalid{What: what, Value: value, Advice: advice}
}

// NoEstimate says that the estimate does not exist for these records: more
// digits or another start would not find it.
type NoEstimate struct {
	Of     string // the estimate, e.g. "a Weibull life"
	Why    string // what about the records rules it out
	Advice string // what to use instead or what to wait for
}

// Error names the estimate, why it does not exist and what to do.
func (e *NoEstimate) Error() string {
	return fmt.Sprintf("%s cannot be estimated: %s; %s", e.Of, e.Why, e.Advice)
}

// Limits are the smallest amounts of data under which a statement is refused.
// The estimators compute whatever is defined; the checks below are for the
// caller that is about to print a sentence. A farm may set its own.
type Limits struct {
	// RetiredForCurve is the number of retired mats under which no life
	// (median, restricted mean) is stated. Below it, state only the rate with
	// its exact interval. 5: common practice, no source.
	RetiredForCurve int
	// RetiredForFit is the number of retired mats under which no Weibull life
	// is stated. With fewer the maximum likelihood shape is strongly biased
	// upwards. 6: the bearing-cage example of Meeker & Escobar 1998 fits six
	// failures and its scale is known only within a factor of five; taken here
	// as the edge of use. Common practice, no source.
	RetiredForFit int
	// ExpectedPerGroup is the number of retirements that a log-rank test must
	// expect in each group for its chi-square to be trusted. 5: the usual rule
	// for expected counts (Cochran 1954, from memory).
	ExpectedPerGroup int
	// TrialsForRate is the number of turns under which no mold rate is stated.
	// 10: below it the Wilson interval of a clean record reaches past 28 %.
	TrialsForRate int
	// WeeksForChart is the number of baseline weeks under which no control
	// limits are stated. 20: Montgomery, Introduction to Statistical Quality
	// Control, asks for 20 to 25 preliminary samples (from memory).
	WeeksForChart int
	// HarvestsForTrend is the number of harvests under which no trend is
	// stated. 5: with four points no order of them reaches p < 0.05 two-sided
	// (2 of 4! = 24 orders).
	HarvestsForTrend int
}

// DefaultLimits are the package's own thresholds, documented at Limits.
func DefaultLimits() Limits {
	return Limits{
		RetiredForCurve:  5,
		RetiredForFit:    6,
		ExpectedPerGroup: 5,
		TrialsForRate:    10,
		WeeksForChart:    20,
		HarvestsForTrend: 5,
	}
}

// Curve refuses a statement about life from the survival curve.
func (l Limits) Curve(obs []Observation) error {
	return l.retired(obs, l.RetiredForCurve, "the life of these mats",
		"until then give the retirements per turn with their exact interval (RetirementRate)")
}

// Fit refuses a statement from a Weibull fit.
func (l Limits) Fit(obs []Observation) error {
	return l.retired(obs, l.RetiredForFit, "the fitted life of these mats",
		"use the survival curve, or the retirements per turn (RetirementRate)")
}

func (l Limits) retired(obs []Observation, need int, statement, advice string) error {
	have := 0
	for _, o := range obs {
		if o.Retired {
			have++
		}
	}
	if have >= need {
		return nil
	}
	return &TooLittle{Statement: statement, Have: have, Need: need, Of: "retired mats", Advice: advice}
}

// Comparison refuses a log-rank result whose groups expect too few retirements.
func (l Limits) Comparison(r LogRankResult) error {
	for _, g := range r.Groups {
		if g.Dropped || g.Expected >= float64(l.ExpectedPerGroup) {
			continue
		}
		return &TooLittle{
			Statement: fmt.Sprintf("comparing the life of %s", g.Name),
			Have:      int(math.Floor(g.Expected)), Need: l.ExpectedPerGroup,
			Of:     "retirements expected in that group",
			Advice: "keep using both kinds side by side until more mats are retired",
		}
	}
	return nil
}

// Rate refuses a statement about a mold rate from too few turns.
func (l Limits) Rate(c Count) error {
	if c.Trials >= l.TrialsForRate {
		return nil
	}
	return &TooLittle{Statement: "the mold rate of " + c.label(), Have: c.Trials, Need: l.TrialsForRate,
		Of: "turns", Advice: "record more harvests, clean ones too"}
}

// Chart refuses control limits from too few baseline weeks with turns in them.
func (l Limits) Chart(weeks []Week, baseline int) error {
	if baseline <= 0 || baseline > len(weeks) {
		baseline = len(weeks)
	}
	have := 0
	for _, w := range weeks[:baseline] {
		if w.Turns > 0 {
			have++
		}
	}
	if have >= l.WeeksForChart {
		return nil
	}
	return &TooLittle{Statement: "a control chart of the mold rate", Have: have, Need: l.WeeksForChart,
		Of: "weeks with harvests", Advice: "show the weekly counts without limits until then"}
}

// Trend refuses a statement about a trend from too few harvests. Only series
// that can show a trend count: a single harvest of a crop on a mat has no
// partner to be compared with.
func (l Limits) Trend(series []Series) error {
	have := 0
	for _, s := range series {
		if len(s.Points) > 1 {
			have += len(s.Points)
		}
	}
	if have >= l.HarvestsForTrend {
		return nil
	}
	return &TooLittle{Statement: "a trend of the yield", Have: have, Need: l.HarvestsForTrend,
		Of:     "harvests that can be compared with another of the same crop on the same mat",
		Advice: "weigh the harvest of the same crop on the same mat for more turns"}
}
