package report

import (
	"fmt"
	"math/rand/v2"
	"time"

	"resow/medium"
	"resow/medium/lifetime"
)

// forecastSeed is fixed, so that the same records give the same forecast.
const forecastSeed = 2026

// outlookWeeks is how far the reuse report looks ahead.
const outlookWeeks = 12

// Outlook is the retirements to be expected in the weeks ahead.
type Outlook struct {
	Due      int           `json:"due_now"`     // mats that the farm's own rules retire now
	InUse    int           `json:"mats_in_use"` // without those
	Pace     float64       `json:"sowings_per_week"`
	Spares   int           `json:"spares"`
	Limit    float64       `json:"turn_limit,omitempty"`      // the farm's own; 0: none
	Life     float64       `json:"mean_life_turns,omitempty"` // fitted, with its 95 % interval
	LifeLow  float64       `json:"mean_life_low,omitempty"`
	LifeHigh float64       `json:"mean_life_high,omitempty"`
	Shape    float64       `json:"weibull_shape,omitempty"`
	Refused  string        `json:"refused,omitempty"` // why there is no forecast
	Weeks    []OutlookWeek `json:"weeks"`
}

// OutlookWeek is one week ahead; low and high hold 95 % of the simulated runs.
type OutlookWeek struct {
	From     string  `json:"week_from"` // YYYY-MM-DD
	Expected float64 `json:"expected"`
	Low      int     `json:"low"`
	Median   int     `json:"median"`
	High     int     `json:"high"`
	// From now to the end of this week.
	SumExpected float64 `json:"sum_expected"`
	SumLow      int     `json:"sum_low"`
	SumMedian   int     `json:"sum_median"`
	SumHigh     int     `json:"sum_high"`
	AtLimit     int     `json:"sum_at_turn_limit"` // beside those: mats that reach the farm's own limit of turns
	// To be bought by the end of this week: with those due now, less the spares.
	BuyLow  int `json:"buy_low"`
	Buy     int `json:"buy"`
	BuyHigh int `json:"buy_high"`
}

// ForecastInput is what a forecast is made from.
type ForecastInput struct {
	Origin
	Mats    []medium.Condition
	Tally   *Tally
	Weeks   int   // ahead; 0 is 12
	Sowings []int // planned, of each week; the last goes on. None: the pace of the last four weeks
	Spares  int   // mats that lie ready to take the place of others
}

// Look works the forecast out.
func (in ForecastInput) Look() Outlook {
	now := in.now()
	o := Outlook{Spares: in.Spares, Weeks: []OutlookWeek{}}
	if set := in.Farm.Policy.Setting("max-turns"); set.On {
		o.Limit = set.Limit
	}
	var ages []float64
	var obs []lifetime.Observation
	for _, c := range in.Mats {
		if c.Turn > 0 {
			obs = append(obs, observation(c))
		}
		switch {
		case c.Stage == medium.Retired:
		case medium.Judge(c, in.Farm.Policy, now).Word == medium.RetireMat:
			o.Due++
		default:
			ages = append(ages, float64(c.Turn))
		}
	}
	o.InUse = len(ages)
	weeks := in.plan(&o)
	if o.InUse == 0 {
		o.Refused = "no mats are in use"
		return o
	}
	fit, err := fitLife(obs)
	if err != nil {
		o.Refused = tooFew(err)
		return o
	}
	o.Shape = fit.Shape
	if mean, err := fit.MeanLife(); err == nil {
		o.Life, o.LifeLow, o.LifeHigh = mean.Value, mean.Low, mean.High
	}
	turns, err := lifetime.TurnsPerMat(weeks, o.InUse)
	if err != nil {
		o.Refused = "the sowing plan can't be spread over the mats"
		return o
	}
	ages, reach := o.splitByLimit(ages, turns)
	if len(ages) == 0 {
		o.Refused = "every mat in use reaches the farm's limit of turns in these weeks"
		return o
	}
	f, err := lifetime.ForecastRetirements(fit, ages, lifetime.ForecastPlan{TurnsPerMat: turns, Replace: true, Runs: 2000}, rand.NewPCG(forecastSeed, 0))
	if err != nil {
		o.Refused = tooFew(err)
		return o
	}
	for i, w := range f.Weeks {
		o.Weeks = append(o.Weeks, o.week(now.AddDate(0, 0, 7*i), w, reach[i]))
	}
	return o
}

// splitByLimit sets the mats apart that reach the farm's own limit of turns in
// the weeks ahead, whatever their wear: reach is their number by the end of
// each week. The others are left to the fitted life.
func (o Outlook) splitByLimit(ages, turns []float64) (others []float64, reach []int) {
	reach = make([]int, len(turns))
	for _, age := range ages {
		sum, reached := age, false
		for i, t := range turns {
			sum += t
			if o.Limit > 0 && sum >= o.Limit {
				reach[i]++
				reached = true
			}
		}
		if !reached {
			others = append(others, age)
		}
	}
	return others, reach
}

func fitLife(obs []lifetime.Observation) (lifetime.Fit, error) {
	if err := lifetime.DefaultLimits().Fit(obs); err != nil {
		return lifetime.Fit{}, err
	}
	return lifetime.FitWeibull(obs, confidence)
}

// plan gives the sowings of each week ahead.
func (in ForecastInput) plan(o *Outlook) []int {
	n := in.Weeks
	if n == 0 {
		n = outlookWeeks
	}
	weeks := make([]int, n)
	pace := 0
	if in.Tally != nil {
		pace = (in.Tally.recent + paceWeeks/2) / paceWeeks
	}
	total := 0
	for i := range weeks {
		weeks[i] = pace
		if len(in.Sowings) > 0 {
			weeks[i] = in.Sowings[min(i, len(in.Sowings)-1)]
		}
		total += weeks[i]
	}
	o.Pace = float64(total) / float64(n)
	return weeks
}

func (o Outlook) week(from time.Time, w lifetime.ForecastWeek, reach int) OutlookWeek {
	buy := func(n int) int { return max(0, n+reach+o.Due-o.Spares) }
	return OutlookWeek{From: from.Format(time.DateOnly), Expected: w.Expected, Low: w.Low, Median: w.Median, High: w.High,
		SumExpected: w.SumExpected, SumLow: w.SumLow, SumMedian: w.SumMedian, SumHigh: w.SumHigh, AtLimit: reach,
		BuyLow: buy(w.SumLow), Buy: buy(w.SumMedian), BuyHigh: buy(w.SumHigh)}
}

// say is the first sentence of a report: what to replace.
func (o Outlook) say() []string {
	first := "No mat has to be replaced now by the farm's own rules"
	if o.Due > 0 {
		first = fmt.Sprintf("Replace %s now, by the farm's own rules", mats(o.Due))
	}
	if o.Refused != "" || len(o.Weeks) < 4 {
		return []string{first + "."}
	}
	month := o.Weeks[3]
	if month.AtLimit > 0 {
		first += fmt.Sprintf("; within 4 weeks %s the farm's own limit of %s turns", count(month.AtLimit, "more reaches", "more reach"), short(o.Limit))
	}
	return []string{fmt.Sprintf("%s; expect about %d of the others to go within 4 weeks (95 %% interval %d to %d).", first, month.SumMedian, month.SumLow, month.SumHigh)}
}

func (o Outlook) section() Section {
	s := Section{Heading: "Retirements and purchases ahead", Empty: "No forecast: " + o.Refused + ".",
		Columns: []Column{{Head: "Week from"}, {Head: "Expected in the week", Right: true}, {Head: "95 % interval", Drop: 1}, {Head: "Worn or lost in all by its end"}, {Head: "At the turn limit by then", Right: true}, {Head: "Mats to buy by then"}}}
	if o.Refused != "" {
		return s
	}
	s.Note = fmt.Sprintf("At %s sowings a week on %s; %s due now and %s on the shelf are counted in the purchases. Each retired mat is replaced at the end of its week. Expected are mats that are cut, molded, worn or lost; those that reach the farm's own limit of turns come on top.",
		short(o.Pace), mats(o.InUse), count(o.Due, "mat", "mats"), count(o.Spares, "spare", "spares"))
	for _, w := range o.Weeks {
		from, err := time.Parse(time.DateOnly, w.From)
		if err != nil {
			continue
		}
		s.Rows = append(s.Rows, []string{keep(from.Format("2 Jan 2006")), hundredths(w.Expected), fmt.Sprintf("%d to %d", w.Low, w.High),
			fmt.Sprintf("%d (%d to %d)", w.SumMedian, w.SumLow, w.SumHigh), fmt.Sprint(w.AtLimit), fmt.Sprintf("%d (%d to %d)", w.Buy, w.BuyLow, w.BuyHigh)})
	}
	s.Plots = []Plot{o.plot()}
	return s
}

func (o Outlook) plot() Plot {
	p := Plot{Alt: "Mats to buy from now to the end of each week ahead: middle of the simulation (line) with its 95 % interval (grey), those due now and those at the turn limit included.",
		X: Axis{Label: "weeks from now", To: float64(len(o.Weeks))}, Y: Axis{Label: "mats to buy", To: 1}}
	due := float64(max(0, o.Due-o.Spares))
	band, line := []Point{{Y: due, Low: due}}, []Point{{Y: due}}
	for i, w := range o.Weeks {
		x := float64(i + 1)
		band = append(band, Point{X: x, Y: float64(w.BuyHigh), Low: float64(w.BuyLow)})
		line = append(line, Point{X: x, Y: float64(w.Buy)})
		p.Y.To = max(p.Y.To, 1.08*float64(w.BuyHigh))
	}
	p.Series = []Series{{Name: "95 % interval", Shape: Band, Points: band}, {Name: "middle", Points: line}}
	return p
}

// Forecast is the paper of the forecast command.
func Forecast(in ForecastInput) (Report, Outlook) {
	r := in.report("Mats to be replaced")
	o := in.Look()
	r.Summary = o.say()
	if o.Refused != "" {
		r.Summary = append(r.Summary, "The weeks ahead can't be forecast: "+o.Refused+".")
	} else {
		last := o.Weeks[len(o.Weeks)-1]
		r.Summary = append(r.Summary,
			fmt.Sprintf("By the end of the %d weeks about %s must be bought (95 %% interval %d to %d).", len(o.Weeks), mats(last.Buy), last.BuyLow, last.BuyHigh),
			fmt.Sprintf("The fitted mean life is %s turns (95 %% interval %s to %s).", short(o.Life), short(o.LifeLow), short(o.LifeHigh)))
	}
	r.Sections = []Section{o.section()}
	r.Method = outlookMethod
	return r, o
}

var outlookMethod = []string{
	"The forecast fits a Weibull life to all mats, retired and in use, by maximum likelihood, and plays the weeks ahead 2,000 times with a fixed seed; each run draws a life from the uncertainty of the fit. Sowings are spread evenly over the mats in use. Mats that come to the farm's own limit of turns at that pace are counted apart. The forecast takes mats of all materials as one kind, which makes its interval rough where they last very differently.",
}
