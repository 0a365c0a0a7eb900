package report

import (
	"fmt"
	"iter"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"resow/medium"
	"resow/medium/lifetime"
)

// forecastSeed is fixed, so that the same records give the same forecast.
const forecastSeed = 2026

// forecastRuns is how often the weeks ahead are played.
const forecastRuns = 2000

// outlookWeeks is how far the reuse report looks ahead.
const outlookWeeks = 12

// Outlook is the retirements to be expected in the weeks ahead.
type Outlook struct {
	Due     int           `json:"due_now"`     // mats that the farm's own rules retire now
	InUse   int           `json:"mats_in_use"` // without those
	Pace    float64       `json:"sowings_per_week"`
	Spares  int           `json:"spares"`
	Limit   float64       `json:"turn_limit,omitempty"` // the farm's own; 0: none
	Lives   []OutlookLife `json:"lives"`                // fitted, that the mats in use go by
	Refused string        `json:"refused,omitempty"`    // why there is no forecast
	Weeks   []OutlookWeek `json:"weeks"`

	fits fits
}

// OutlookLife is one fitted life and the mats in use that go by it.
type OutlookLife struct {
	Of        string   `json:"life_of"`   // a material, or all mats
	Materials []string `json:"materials"` // in use that go by it
	Retired   int      `json:"retired"`
	Mean      float64  `json:"mean_life_turns,omitempty"` // with its 95 % interval
	Low       float64  `json:"mean_life_low,omitempty"`
	High      float64  `json:"mean_life_high,omitempty"`
	Shape     float64  `json:"weibull_shape"`
	Suits     *float64 `json:"suits_p,omitempty"` // small: the fitted life is the wrong shape
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
	SumAllLow   int     `json:"sum_all_low"`       // those and these together
	SumAllHigh  int     `json:"sum_all_high"`
	// To be bought by the end of this week: with those due now, less the spares.
	BuyLow  int `json:"buy_low"`
	Buy     int `json:"buy"`
	BuyHigh int `json:"buy_high"`
}

// ForecastInput is what a forecast is made from.
type ForecastInput struct {
	Origin
	Mats    iter.Seq[medium.Condition]
	Weeks   int   // ahead; 0 is 12
	Sown    int   // sowings in the last four weeks
	Sowings []int // planned, of each week; the last goes on. None: the pace of the last four weeks
	Spares  int   // mats that lie ready to take the place of others
}

// Look works the forecast out.
func (in ForecastInput) Look() Outlook { return in.look(in.census()) }

// census judges every mat in use by the farm's own rules.
func (in ForecastInput) census() *census {
	now, c := in.now(), newCensus()
	for m := range each(in.Mats) {
		c.add(m, m.Stage != medium.Retired && medium.Judge(m, in.Farm, now).Word == medium.RetireMat)
	}
	return c
}

func (in ForecastInput) look(c *census) Outlook {
	o := Outlook{Spares: in.Spares, Lives: []OutlookLife{}, Weeks: []OutlookWeek{}, fits: fitsOf(c)}
	if set := in.Farm.Policy.Setting("max-turns"); set.On {
		o.Limit = set.Limit
	}
	ages := map[string][]float64{} // by material
	for _, m := range c.lines {
		switch {
		case m.retired:
		case m.due:
			o.Due++
		default:
			ages[m.material] = append(ages[m.material], float64(m.turn))
			o.InUse++
		}
	}
	weeks := in.plan(&o)
	if o.InUse == 0 {
		o.Refused = "no mats are in use"
		return o
	}
	turns, err := lifetime.TurnsPerMat(weeks, o.InUse)
	if err != nil {
		o.Refused = "the sowing plan can't be spread over the mats"
		return o
	}
	kinds, err := o.kinds(ages)
	if err != nil {
		o.Refused = tooFew(err)
		return o
	}
	f, err := lifetime.ForecastRetirements(kinds, lifetime.ForecastPlan{TurnsPerMat: turns, Replace: true, Limit: o.Limit, Runs: forecastRuns}, rand.NewPCG(forecastSeed, 0))
	if err != nil {
		o.Refused = tooFew(err)
		return o
	}
	for i, w := range f.Weeks {
		o.Weeks = append(o.Weeks, o.week(in.now().AddDate(0, 0, 7*i), w))
	}
	return o
}

// kinds sorts the mats in use by the life that they go by.
func (o *Outlook) kinds(ages map[string][]float64) (kinds []lifetime.Kind, err error) {
	materials := slices.Sorted(maps.Keys(ages))
	for _, m := range materials {
		if f := o.fits.of(m); f.refused != nil {
			return nil, f.refused
		}
	}
	for _, f := range o.fits.used(materials) {
		kind, life := lifetime.Kind{Fit: f.fit}, f.outlook()
		for _, m := range materials {
			if o.fits.of(m).name != f.name {
				continue
			}
			life.Materials = append(life.Materials, m)
			kind.Ages = append(kind.Ages, ages[m]...)
		}
		o.Lives = append(o.Lives, life)
		kinds = append(kinds, kind)
	}
	return kinds, nil
}

func (f fitted) outlook() OutlookLife {
	life := OutlookLife{Of: f.name, Materials: []string{}, Retired: f.retired, Shape: f.fit.Shape}
	if mean, err := f.fit.MeanLife(); err == nil {
		life.Mean, life.Low, life.High = mean.Value, mean.Low, mean.High
	}
	if f.untested == nil {
		life.Suits = &f.suits
	}
	return life
}

// plan gives the sowings of each week ahead.
func (in ForecastInput) plan(o *Outlook) []int {
	n := in.Weeks
	if n == 0 {
		n = outlookWeeks
	}
	weeks := make([]int, n)
	pace := (in.Sown + paceWeeks/2) / paceWeeks
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

func (o Outlook) week(from time.Time, w lifetime.ForecastWeek) OutlookWeek {
	buy := func(n int) int { return max(0, n+o.Due-o.Spares) }
	return OutlookWeek{From: from.Format(time.DateOnly), Expected: w.Expected, Low: w.Low, Median: w.Median, High: w.High,
		SumExpected: w.SumExpected, SumLow: w.SumLow, SumMedian: w.SumMedian, SumHigh: w.SumHigh, AtLimit: w.SumAtLimit, SumAllLow: w.SumAllLow, SumAllHigh: w.SumAllHigh,
		BuyLow: buy(w.SumAllLow), Buy: buy(w.SumAllMedian), BuyHigh: buy(w.SumAllHigh)}
}

// weeksInAMonth is how far the first sentence of a report looks.
const weeksInAMonth = 4

// say is the first sentence of a report: what to replace.
func (o Outlook) say() string {
	due := "none is due now by the farm's own rules"
	if o.Due > 0 {
		due = fmt.Sprintf("%d due now by the farm's own rules", o.Due)
	}
	if o.Refused != "" || len(o.Weeks) < weeksInAMonth {
		first := "No mat has to be replaced now by the farm's own rules"
		if o.Due > 0 {
			first = fmt.Sprintf("Replace %s now, by the farm's own rules", mats(o.Due))
		}
		if o.Refused != "" {
			first += "; how many will follow can't be said: " + o.Refused
		}
		return first + "."
	}
	month := o.Weeks[weeksInAMonth-1]
	sure := o.Due + month.AtLimit
	parts := []string{due}
	if month.AtLimit > 0 {
		parts = append(parts, fmt.Sprintf("%s the farm's own limit of %s turns", count(month.AtLimit, "more comes to", "more come to"), short(o.Limit)))
	}
	parts = append(parts, fmt.Sprintf("and about %d of the others (%d to %d) will be cut, molded, worn or lost", month.SumMedian, month.SumLow, month.SumHigh))
	replace := "Replace about " + mats(sure+month.SumMedian)
	if sure+month.SumMedian == 0 {
		replace = "Probably no mat has to be replaced"
	}
	return fmt.Sprintf("%s within 4 weeks (95 %% interval %d to %d): %s.", replace, o.Due+month.SumAllLow, o.Due+month.SumAllHigh, strings.Join(parts, ", "))
}

// sayLives says which life which mats go by.
func (o Outlook) sayLives() []string {
	var out []string
	for _, l := range o.Lives {
		from := fmt.Sprintf("from its own %s", count(l.Retired, "retired mat", "retired mats"))
		if l.Of == allMats {
			from = "that of all mats, for none can be fitted to its own"
		}
		mean := "not known within any number"
		if l.Mean > 0 {
			mean = fmt.Sprintf("%s turns (95 %% interval %s to %s)", short(l.Mean), short(l.Low), short(l.High))
		}
		out = append(out, fmt.Sprintf("Mean life of %s in this forecast: %s, %s.", list(l.Materials), mean, from))
	}
	for _, f := range append(slices.Clone(o.fits.groups), o.fits.all) {
		if f.refused == nil && f.misfit() && slices.ContainsFunc(o.Lives, func(l OutlookLife) bool { return l.Of == f.name }) {
			out = append(out, fmt.Sprintf("The fitted life of %s does not suit its records (%s): take these weeks as rough.", f.name, probability(f.suits)))
		}
	}
	return out
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
	p := Plot{Alt: "Mats to buy from now to the end of each week ahead: middle of the simulation (line) with its 95 % interval (gray), those due now and those at the turn limit included.",
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
	r.Summary = []string{o.say()}
	if o.Refused == "" {
		last := o.Weeks[len(o.Weeks)-1]
		r.Summary = append(r.Summary, fmt.Sprintf("By the end of the %s about %s must be bought (95 %% interval %d to %d).",
			count(len(o.Weeks), "week", "weeks"), mats(last.Buy), last.BuyLow, last.BuyHigh))
		r.Summary = append(r.Summary, o.sayLives()...)
	}
	r.Sections = []Section{o.section()}
	if len(o.fits.groups) > 0 {
		r.Sections = append(r.Sections, o.fits.section())
	}
	r.Method = outlookMethod
	return r, o
}

var outlookMethod = []string{
	fmt.Sprintf("The forecast fits a Weibull life by maximum likelihood to the mats of each material with 6 retired mats or more, those in use included; other materials go by the life of all mats together. It plays the weeks ahead %d,000 times with a fixed seed; each run draws the lives from the uncertainty of their fits. Sowings are spread evenly over the mats in use, and a new mat is of the kind of the old one. Mats that come to the farm's own limit of turns at that pace are counted apart.", forecastRuns/1000),
	"The expected number of a week is worked out in closed form at the fitted life; its interval, and all sums, come from the runs.",
}
