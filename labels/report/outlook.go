package report

import (
	"cmp"
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

// outlook is the retirements to be expected in the weeks ahead.
type outlook struct {
	Due     int         // mats that the farm's own rules retire now
	InUse   int         // without those
	Pace    float64     // sowings a week
	Spares  int         // mats that lie ready
	Limit   float64     // of turns, the farm's own; 0: none
	Refused string      // why there is no forecast
	Weeks   []weekAhead // low and high hold 95 % of the simulated runs
	fits    fits
	lives   []lifeAhead
}

// lifeAhead is one fitted life and the materials in use that go by it.
type lifeAhead struct {
	fitted
	materials []string
}

type weekAhead struct {
	From time.Time
	lifetime.ForecastWeek
	// To be bought by the end of this week: with those due now, less the spares.
	BuyLow, Buy, BuyHigh int
}

// ForecastInput is what a forecast is made from.
type ForecastInput struct {
	Origin
	Mats    iter.Seq[medium.Condition]
	Weeks   int   // ahead; 0 is 12
	Sown    int   // sowings in the last four weeks
	Sowings []int // planned, of each week; the last goes on. None: the pace of the last four weeks
	Spares  int   // mats that lie ready to replace others
}

// census judges every mat in use by the farm's own rules.
func (in ForecastInput) census() *census {
	now, c := in.now(), newCensus()
	for m := range each(in.Mats) {
		c.add(m, m.Stage != medium.Retired && medium.Judge(m, in.Farm, now).Word == medium.RetireMat)
	}
	return c
}

func (in ForecastInput) look(c *census) outlook {
	o := outlook{Spares: in.Spares, fits: fitsOf(c)}
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
	var f lifetime.Forecast
	if err == nil {
		plan := lifetime.ForecastPlan{TurnsPerMat: turns, Replace: true, Limit: o.Limit, Runs: forecastRuns}
		f, err = lifetime.ForecastRetirements(kinds, plan, rand.NewPCG(forecastSeed, 0))
	}
	if err != nil {
		o.Refused = tooFew(err)
	}
	for i, w := range f.Weeks {
		o.Weeks = append(o.Weeks, o.week(in.now().AddDate(0, 0, 7*i), w))
	}
	return o
}

// kinds sorts the mats in use by the life that they go by.
func (o *outlook) kinds(ages map[string][]float64) (kinds []lifetime.Kind, err error) {
	materials := slices.Sorted(maps.Keys(ages))
	for _, m := range materials {
		if f := o.fits.of(m); f.refused != nil {
			return nil, f.refused
		}
	}
	for _, f := range append(slices.Clone(o.fits.groups), o.fits.all) {
		kind, life := lifetime.Kind{Fit: f.fit}, lifeAhead{fitted: f}
		for _, m := range materials {
			if o.fits.of(m).name != f.name {
				continue
			}
			life.materials = append(life.materials, m)
			kind.Ages = append(kind.Ages, ages[m]...)
		}
		if len(life.materials) > 0 {
			o.lives, kinds = append(o.lives, life), append(kinds, kind)
		}
	}
	return kinds, nil
}

// plan gives the sowings of each week ahead.
func (in ForecastInput) plan(o *outlook) []int {
	weeks := make([]int, cmp.Or(in.Weeks, outlookWeeks))
	pace := (in.Sown + paceWeeks/2) / paceWeeks
	total := 0
	for i := range weeks {
		weeks[i] = pace
		if len(in.Sowings) > 0 {
			weeks[i] = in.Sowings[min(i, len(in.Sowings)-1)]
		}
		total += weeks[i]
	}
	o.Pace = float64(total) / float64(len(weeks))
	return weeks
}

func (o outlook) week(from time.Time, w lifetime.ForecastWeek) weekAhead {
	buy := func(n int) int { return max(0, n+o.Due-o.Spares) }
	return weekAhead{From: from, ForecastWeek: w, BuyLow: buy(w.SumAllLow), Buy: buy(w.SumAllMedian),
		BuyHigh: buy(w.SumAllHigh)}
}

// weeksInAMonth is how far the first sentence of a report looks.
const weeksInAMonth = 4

// say is the first sentence of a report: what to replace.
func (o outlook) say() string {
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
	sure := o.Due + month.SumAtLimit
	parts := sentences{due}
	if month.SumAtLimit > 0 {
		parts.say("%s the farm's own limit of %s turns",
			count(month.SumAtLimit, "more comes to", "more come to"), short(o.Limit))
	}
	parts.say("and about %d of the others (%d to %d) will be cut, molded, worn or lost",
		month.SumMedian, month.SumLow, month.SumHigh)
	replace := "Replace about " + mats(sure+month.SumMedian)
	if sure+month.SumMedian == 0 {
		replace = "Probably no mat has to be replaced"
	}
	return fmt.Sprintf("%s within 4 weeks (95 %% interval %d to %d): %s.", replace, o.Due+month.SumAllLow,
		o.Due+month.SumAllHigh, strings.Join(parts, ", "))
}

// sayLives says which life which mats go by.
func (o outlook) sayLives() []string {
	var out sentences
	for _, l := range o.lives {
		from := "from its own " + count(l.retired, "retired mat", "retired mats")
		if l.name == allMats {
			from = "that of all mats, since none can be fitted to its own"
		}
		mean := "not known within any number"
		if e, err := l.fit.MeanLife(); err == nil {
			mean = fmt.Sprintf("%s turns (%s)", short(e.Value), interval95(e, short))
		}
		out.say("Mean life of %s in this forecast: %s, %s.", list(l.materials), mean, from)
	}
	for _, l := range o.lives {
		if l.misfit() {
			out.say("The fitted life of %s does not suit its records (%s): take these weeks as rough.",
				l.name, probability(l.suits))
		}
	}
	return out
}

func (o outlook) section() Section {
	s := newSection("outlook", "{refused}", o.Refused, "{pace}", short(o.Pace), "{mats}", mats(o.InUse),
		"{due}", count(o.Due, "mat", "mats"), "{spares}", count(o.Spares, "spare", "spares"))
	s.Figures = fields{"mats_due": o.Due, "mats_in_use": o.InUse, "sowings_per_week": num(o.Pace), "mats_spare": o.Spares,
		"limit_turns": given(o.Limit)}
	if o.Refused != "" {
		s.Note = ""
		return s
	}
	var lives []fields
	for _, l := range o.lives {
		lives = append(lives, fields{"life_of": l.name, "materials": l.materials})
	}
	s.Figures["lives"] = lives
	for _, w := range o.Weeks {
		sums := runs95(w.SumMedian, w.SumLow, w.SumHigh)
		sums.value = fields{"sum_worn_or_lost_mats": sums.value, "sum_expected_mats": num(w.SumExpected),
			"sum_retired_mats": runs95(w.SumAllMedian, w.SumAllLow, w.SumAllHigh).value}
		expected := lifetime.Estimate{Value: w.Expected, Low: float64(w.Low), High: float64(w.High)}
		s.add(date(w.From), cell{hundredths(w.Expected), within(expected, "simulation")},
			cell{text: fmt.Sprintf("%d to %d", w.Low, w.High)}, sums, w.SumAtLimit, runs95(w.Buy, w.BuyLow, w.BuyHigh))
	}
	s.Plots = []Plot{o.plot()}
	return s
}

// runs95 prints the middle of the simulated runs with what holds 95 % of them.
func runs95(middle, low, high int) cell {
	return spanned(lifetime.Estimate{Value: float64(middle), Low: float64(low), High: float64(high)}, short, "simulation")
}

func (o outlook) plot() Plot {
	p := newPlot("outlook")
	p.X.To, p.Y.To = float64(len(o.Weeks)), 1
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
func Forecast(in ForecastInput) Report {
	r := in.report("forecast")
	o := in.look(in.census())
	r.Summary = []string{o.say()}
	if o.Refused == "" {
		last := o.Weeks[len(o.Weeks)-1]
		by := fmt.Sprintf("By the end of the %s about %s must be bought (95 %% interval %d to %d).",
			count(len(o.Weeks), "week", "weeks"), mats(last.Buy), last.BuyLow, last.BuyHigh)
		r.Summary = append(append(r.Summary, by), o.sayLives()...)
	}
	r.Sections = []Section{o.section()}
	if len(o.fits.groups) > 0 {
		r.Sections = append(r.Sections, o.fits.section())
	}
	return r
}
