package farm

import (
	"cmp"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"time"

	"resow/cmd/resow/amount"
	"resow/labels/report"
	"resow/medium"
	"resow/medium/pool"
)

// poolSeed is fixed, so that the same plan gives the same answer.
const poolSeed = 2026

// Planning is what is asked about a sowing plan, as it was typed.
type Planning struct {
	Sow             []string      // lines as radish=3x8 or radish=3x8:8-10
	Further         []pool.Sowing // read already
	Mats            int           // in use
	NoDry           string        // share of days on which nothing dries
	Spell           string        // mean length of a run of such days
	Loss            string        // share of turns that end a mat
	Wait            string        // from a loss until the new mat is there
	Aside           string        // share of the mats that is on hold
	Level           string        // chance that is allowed for a week to run short
	Wash            int           // mats in a day, as sanitize; 0: no limit
	Sanitize, Racks int           // racks: mats that hang at one time
	Dry, Air        int           // days of drying after the wash, and after the sanitizer
	Weeks, Repeats  int           // to simulate, and how often
	ByOrder         bool          // sowings come by chance, with the plan as their mean
}

// Read gives the plan and the chance that is allowed. An amount that can't be read is
// refused by its name: sow, no-dry, losses, aside, level, spell or replace.
func (p Planning) Read(crop func(string) (medium.Crop, error)) (plan pool.Plan, level float64, err error) {
	plan = pool.Plan{ByOrder: p.ByOrder, TurnAround: pool.TurnAround{WashPerDay: daily(p.Wash),
		SanitizePerDay: daily(p.Sanitize), Racks: p.Racks, DryDays: p.Dry, AirDays: p.Air}}
	shares := []struct {
		to         *float64
		name, text string
	}{{&plan.TurnAround.Weather.NoDry, "no-dry", p.NoDry}, {&plan.Losses.PerTurn, "losses", p.Loss},
		{&plan.Losses.Aside, "aside", p.Aside}, {&level, "level", p.Level}}
	for _, s := range shares {
		percent, err := amount.Percent(s.name, s.text)
		if err != nil {
			return plan, 0, err
		}
		*s.to = percent / 100
	}
	spell, err := amount.Span("spell", p.Spell)
	wait, err2 := amount.Span("replace", p.Wait)
	if err = cmp.Or(err, err2); err != nil {
		return plan, 0, err
	}
	plan.TurnAround.Weather.Spell = spell.Hours() / 24
	plan.Losses.ReplaceDays = int(wait / (24 * time.Hour))
	for _, text := range p.Sow {
		s, err := sowing(text, crop)
		if err != nil {
			return plan, 0, err
		}
		plan.Sowings = append(plan.Sowings, s)
	}
	plan.Sowings = append(plan.Sowings, p.Further...)
	return plan, level, nil
}

// Work answers for a plan: what it keeps busy, how it fares with the mats at hand,
// and how many are enough. Where no number is, that is an answer too.
func (p Planning) Work(in *report.PoolInput) (err error) {
	var stuck *pool.Overloaded
	if in.Needs, err = pool.Need(in.Plan); err != nil && !errors.As(err, &stuck) {
		return err
	}
	options := p.options(in.Have)
	if in.Have > 0 {
		outcome, err := pool.Simulate(in.Plan, options, rand.NewPCG(poolSeed, 0))
		if err != nil {
			return err
		}
		in.WithIt = &outcome
	}
	enough, err := pool.Enough(in.Plan, in.Level, options, rand.NewPCG(poolSeed, 0))
	switch {
	case errors.As(err, &stuck):
		in.Stuck = err.Error()
	case err != nil:
		return err
	default:
		in.Enough = &enough
	}
	return nil
}

func (p Planning) options(mats int) pool.Options {
	return pool.Options{Weeks: p.Weeks, Repeats: p.Repeats, Mats: mats}
}

func daily(n int) (days [7]int) {
	for i := range days {
		days[i] = n
	}
	return days
}

// sowing reads CROP=SOWINGSxMATS[:DAYS-DAYS].
func sowing(text string, crop func(string) (medium.Crop, error)) (pool.Sowing, error) {
	bad := &amount.Error{What: "sow", Input: text,
		Want: "a crop with its sowings a week times mats, such as radish=3x8 or radish=3x8:8-10"}
	name, rest, ok := strings.Cut(text, "=")
	if !ok || strings.TrimSpace(name) == "" {
		return pool.Sowing{}, bad
	}
	rest, days, given := strings.Cut(rest, ":")
	times, mats, ok := strings.Cut(rest, "x")
	n, err1 := strconv.Atoi(times)
	m, err2 := strconv.Atoi(mats)
	if !ok || err1 != nil || err2 != nil || n < 1 || n > 7 || m < 1 || m > pool.MaxMats {
		return pool.Sowing{}, bad
	}
	s := pool.Sowing{Crop: name, Mats: pool.Weekly(n, m)}
	if !given {
		return WithDays(s, crop)
	}
	low, high, ok := strings.Cut(days, "-")
	if !ok {
		high = low
	}
	if s.GrowMin, err1 = strconv.Atoi(low); err1 != nil {
		return s, bad
	}
	if s.GrowMax, err2 = strconv.Atoi(high); err2 != nil {
		return s, bad
	}
	return s, nil
}

// WithDays completes a sowing from the crop table.
func WithDays(s pool.Sowing, crop func(string) (medium.Crop, error)) (pool.Sowing, error) {
	c, err := crop(s.Crop)
	if err != nil {
		return s, err
	}
	if c.DaysMax == 0 {
		return s, &medium.InputError{Field: "sowing plan", Value: s.Crop,
			Want: "its days to harvest, which the crop table does not have: " + s.Crop + "=3x8:8-10"}
	}
	s.GrowMin, s.GrowMax = c.DaysMin, c.DaysMax
	return s, nil
}

// Bounds of a plan on the page: it is worked out while a person waits, maybe on
// a small computer.
const (
	pageSowings = 20
	pageWeekly  = 5000 // mats sown in a week
	pageRepeats = 200
	pageCurve   = 9 // numbers of mats that are tried for the curve
)

// PlanOnPage answers for a plan while a person waits, with the chance of running
// short by the number of mats in front.
func PlanOnPage(f medium.Farm, p Planning) (none report.Report, err error) {
	if len(p.Sow) == 0 || len(p.Sow) > pageSowings {
		return none, &medium.InputError{Field: "sowing plan", Value: fmt.Sprint(len(p.Sow), " lines"),
			Want: fmt.Sprintf("1 to %d lines, one for each crop", pageSowings)}
	}
	p.Dry, p.Air, p.Spell, p.Loss, p.Wait, p.Aside, p.Weeks, p.Repeats = 1, 1, "0d", "0%", "0d", "0%", 12, pageRepeats
	in := report.PoolInput{Origin: report.Origin{Farm: f}, Have: p.Mats}
	if in.Plan, in.Level, err = p.Read(f.Crop); err != nil {
		return none, err
	}
	weekly := 0
	for _, s := range in.Plan.Sowings {
		for _, n := range s.Mats {
			weekly += n
		}
	}
	if weekly > pageWeekly {
		return none, &medium.InputError{Field: "mats sown in a week", Value: fmt.Sprint(weekly),
			Want: fmt.Sprintf("at most %d here", pageWeekly)}
	}
	if err := p.Work(&in); err != nil || in.Enough == nil {
		return report.Pool(in), err
	}
	curve, err := shortByMats(in, p.options(0))
	if err != nil {
		return none, err
	}
	r := report.Pool(in)
	r.Sections = slices.Insert(r.Sections, 0, curve)
	return r, nil
}

// shortByMats shows how the chance that a week runs short falls with the number
// of mats, around the number that is enough.
func shortByMats(in report.PoolInput, o pool.Options) (report.Section, error) {
	low, high := max(1, in.Enough.Mats*6/10), max(2, in.Enough.Mats*12/10)
	if in.Have > 0 && in.Have < 3*in.Enough.Mats {
		low, high = min(low, max(1, in.Have)), max(high, in.Have)
	}
	tried := []int{in.Enough.Mats}
	if in.Have >= low && in.Have <= high && in.Have > 0 {
		tried = append(tried, in.Have)
	}
	for i := range pageCurve {
		tried = append(tried, low+(high-low)*i/(pageCurve-1))
	}
	slices.Sort(tried)
	s := report.Section{Heading: "Chance that a week runs short, by number of mats",
		Columns: []report.Column{{Head: "Mats", Right: true}, {Head: "A week runs short", Right: true}}}
	plot := report.Plot{Alt: "Chance that a week of this plan lacks a mat (line with marks) for each number of mats, " +
		"and the chance that is wanted at most (dashes).",
		X: report.Axis{Label: "mats in use", From: float64(low), To: float64(high)},
		Y: report.Axis{Label: "runs short", To: 100, Unit: "%"}}
	var line, have []report.Point
	for _, mats := range slices.Compact(tried) {
		o.Mats = mats
		out, err := pool.Simulate(in.Plan, o, rand.NewPCG(poolSeed, 0))
		if err != nil {
			return s, err
		}
		at := report.Point{X: float64(mats), Y: 100 * out.InAWeek.Share}
		line = append(line, at)
		if mats == in.Have {
			have = []report.Point{at}
		}
		s.Rows = append(s.Rows, []string{fmt.Sprint(mats), fmt.Sprintf("%.3g %%", 100*out.InAWeek.Share)})
	}
	plot.Series = []report.Series{{Name: "chance", Shape: report.Dotted, Points: line},
		{Name: "wanted at most", Style: 1, Points: []report.Point{{X: plot.X.From, Y: 100 * in.Level},
			{X: plot.X.To, Y: 100 * in.Level}}}}
	if have != nil {
		plot.Series = append(plot.Series, report.Series{Name: "mats on file", Shape: report.Dots, Style: 2, Points: have})
	}
	s.Plots = []report.Plot{plot}
	return s, nil
}
