package main

import (
	"io"
	"strings"
	"time"

	"resow/cmd/resow/station"
	"resow/labels"
	"resow/medium"
)

// stationBench lets the station's pages mix, judge and tag as the commands do.
func (a *app) stationBench() station.Bench {
	in := func(f medium.Farm) *farm { return &farm{Farm: f, loc: f.Location()} }
	return station.Bench{
		Mix:   func(f medium.Farm, ask station.Mixing) (station.Mixed, error) { return mixOnPage(in(f), ask) },
		Code:  func(f medium.Farm) (medium.Code, error) { return a.freshBottle(in(f)) },
		State: func(f medium.Farm, b medium.Bottle, now time.Time) string { return in(f).state(b, now) },
		Strip: stripOnPage,
		Tag: func(w io.Writer, f medium.Farm, b medium.Bottle, now time.Time) error {
			paper, err := in(f).tagPaper("")
			if err != nil {
				return err
			}
			return labels.WriteBottleTags(w, labels.BottleTags{Stock: paper, Created: now, Tags: []labels.BottleTag{in(f).tag(b)}})
		},
	}
}

// mixOnPage is `resow mix --product --make`, and what --bottle would record.
func mixOnPage(f *farm, ask station.Mixing) (station.Mixed, error) {
	d, err := f.product(ask.Product)
	if err != nil {
		return station.Mixed{}, err
	}
	switch {
	case ask.Volume == "":
		return station.Mixed{}, &medium.InputError{Field: "volume", Want: "how much solution: 500mL, 2L, 1gal"}
	case ask.Strength == "" && d.Directions == "":
		return station.Mixed{}, &medium.InputError{Field: "strength", Want: "the figure from the label, such as 100ppm: no directions of " + d.Name + " are on file"}
	}
	m := mixer{product: ask.Product, to: ask.Strength, make: ask.Volume, stock: ask.Stock, mist: true, exact: ask.Exact, opened: ask.Opened, temp: ask.Temp, pH: ask.PH}
	d, stock, err := m.what(f)
	if err != nil {
		return station.Mixed{}, err
	}
	doc, err := m.ask(f, d, stock, m.useOf(f, d))
	if err != nil {
		return station.Mixed{}, m.asTyped(err, doc)
	}
	doc.Recipe = recipeIn(doc.Recipes, f.system())
	mixed := station.Mixed{Mix: doc.Mix, Recipe: doc.Recipe}
	if ask.Opened == "" {
		d.OpenedDays = 0 // the page asks for it when the solution is recorded
	}
	mixed.Solution, err = m.solution(f, d, stock, doc)
	mixed.Solution.OpenedAt = mixed.Solution.OpenedAt.UTC()
	return mixed, err
}

// stripOnPage reads a strip as `resow solution strip` does; a bare number is ppm.
func stripOnPage(reads, step, temp, pH string) (s medium.Strip, err error) {
	ppm := func(text string) string {
		if text = strings.TrimSpace(text); text != "" && text[len(text)-1] >= '0' && text[len(text)-1] <= '9' {
			return text + "ppm"
		}
		return text
	}
	err = readStrip(&s, ppm(reads), ppm(step), temp, strings.TrimSpace(pH))
	return s, err
}
