package main

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/station"
	"resow/labels/report"
	"resow/medium"
	"resow/medium/pool"
)

// Bounds of a plan on the page: it is worked out while a person waits, maybe on
// a small computer.
const (
	pageSowings = 20
	pageWeekly  = 5000 // mats sown in a week
	pageRepeats = 200
	pageCurve   = 9 // numbers of mats that are tried for the curve
)

// planOnPage is `resow pool` for the station's page, with the chance of running
// short by the number of mats in front.
func planOnPage(f medium.Farm, ask station.Planning) (report.Report, error) {
	none := report.Report{}
	if len(ask.Sow) == 0 || len(ask.Sow) > pageSowings {
		return none, &medium.InputError{Field: "sowing plan", Value: fmt.Sprint(len(ask.Sow), " lines"), Want: fmt.Sprintf("1 to %d lines, one for each crop", pageSowings)}
	}
	p := poolFlags{sow: ask.Sow, mats: ask.Mats, wash: ask.Wash, racks: ask.Places, dry: 1, air: 1, noDry: ask.NoDry, level: ask.Level,
		spell: "0d", loss: "0%", wait: "0d", aside: "0%", weeks: 12, repeats: pageRepeats}
	plan, level, err := p.read(f.Crop)
	if err != nil {
		return none, planInPageWords(err)
	}
	weekly := 0
	for _, s := range plan.Sowings {
		for _, n := range s.Mats {
			weekly += n
		}
	}
	if weekly > pageWeekly {
		return none, &medium.InputError{Field: "mats sown in a week", Value: fmt.Sprint(weekly), Want: fmt.Sprintf("at most %d on this page; the command line takes more", pageWeekly)}
	}
	in := report.PoolInput{Origin: report.Origin{Farm: f}, Level: level, Plan: plan, Have: ask.Mats}
	options := pool.Options{Weeks: p.weeks, Repeats: p.repeats, Mats: in.Have}
	if err := planned(&in, options); err != nil {
		return none, planInPageWords(err)
	}
	if in.Enough == nil {
		return report.Pool(in), nil
	}
	curve, err := shortByMats(plan, in, options)
	if err != nil {
		return none, err
	}
	r := report.Pool(in)
	r.Sections = slices.Insert(r.Sections, 0, curve)
	return r, nil
}

// shortByMats shows how the chance that a week runs short falls with the number
// of mats, around the number that is enough.
func shortByMats(plan pool.Plan, in report.PoolInput, o pool.Options) (report.Section, error) {
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
	plot := report.Plot{Alt: "Chance that a week of this plan lacks a mat (line with marks) for each number of mats, and the chance that is wanted at most (dashes).",
		X: report.Axis{Label: "mats in use", From: float64(low), To: float64(high)}, Y: report.Axis{Label: "runs short", To: 100, Unit: "%"}}
	var line, have []report.Point
	for _, mats := range slices.Compact(tried) {
		o.Mats = mats
		out, err := pool.Simulate(plan, o, rand.NewPCG(poolSeed, 0))
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
		{Name: "wanted at most", Style: 1, Points: []report.Point{{X: plot.X.From, Y: 100 * in.Level}, {X: plot.X.To, Y: 100 * in.Level}}}}
	if have != nil {
		plot.Series = append(plot.Series, report.Series{Name: "mats on file", Shape: report.Dots, Style: 2, Points: have})
	}
	s.Plots = []report.Plot{plot}
	return s, nil
}

// planInPageWords says without flags what the command says with them.
func planInPageWords(err error) error {
	var typed *amount.Error
	var use *usageError
	switch {
	case errors.As(err, &typed) && typed.What == "--sow":
		return &medium.InputError{Field: "sowing plan", Value: typed.Input, Want: "a crop with its sowings a week times mats, such as radish=3x8, or radish=3x8:8-10 with its days to harvest"}
	case errors.As(err, &typed):
		return &medium.InputError{Field: "share", Value: typed.Input, Want: "a percentage, such as 25%"}
	case errors.As(err, &use):
		return &medium.InputError{Field: "sowing plan", Want: "days to harvest after each crop that the crop table has none for: radish=3x8:8-10"}
	}
	return err
}
