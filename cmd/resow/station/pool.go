package station

import (
	"errors"
	"fmt"
	"html/template"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/labels/report"
	"resow/medium"
)

type poolPage struct {
	frame
	Total  int
	Stages []bar
	Words  []bar
	Turns  []bar
	Plan   planPart
}

// bar is one line of a plot. Width is of 100.
type bar struct {
	Label string
	N     int
	Width int
}

// withWidths draws the longest bar over the whole width.
func withWidths(bars []bar) []bar {
	most := 1
	for _, b := range bars {
		most = max(most, b.N)
	}
	for i := range bars {
		bars[i].Width = 100 * bars[i].N / most
	}
	return bars
}

func (v *visit) poolPage() error {
	var f medium.Farm
	var count farm.Count
	err := v.door.long(func(open *farm.Farm) (err error) {
		f = open.Farm
		count, err = open.Count()
		return err
	})
	if err != nil {
		return err
	}
	with := &poolPage{frame: frame{Refresh: 120, Live: true}, Total: count.Mats, Turns: turnBars(count.Turns)}
	for _, stage := range medium.Stages {
		with.Stages = append(with.Stages, bar{Label: v.stageText(stage), N: count.Stages[stage]})
	}
	for _, word := range []medium.Word{medium.SowIt, medium.SowWithCare, medium.DoNotSow, medium.RetireMat} {
		with.Words = append(with.Words, bar{Label: string(word), N: count.Verdicts[word]})
	}
	withWidths(with.Stages)
	withWidths(with.Words)
	if with.Plan, err = v.planPart(f, count); err != nil {
		v.refused(err)
		with.Question = true
	}
	v.put(page{name: "pool"}, with.around(), f)
	v.show("pool", with)
	return nil
}

// turnBars groups the mats in use by their turns, five to a group.
func turnBars(turns []int) (bars []bar) {
	const step = 5
	top := slices.Max(append(turns, 0))
	for lo := 0; lo <= top; lo += step {
		bars = append(bars, bar{Label: fmt.Sprintf("%d-%d", lo, lo+step-1)})
	}
	for _, t := range turns {
		bars[t/step].N++
	}
	return withWidths(bars)
}

// planPart is the plan on the page.
type planPart struct {
	Form     url.Values
	FromNow  bool // the lines are what grows now
	Summary  []string
	Sections []planSection
}

// planSection is a section of the report with its plots drawn.
type planSection struct {
	report.Section
	Drawn []template.HTML
}

// planKind is under which the last plan is kept with the last values of the
// steps' forms.
const planKind medium.Kind = "pool"

var planFields = []string{"sow", "wash", "places", "nodry", "level"}

// planOf are the fields of a plan that are kept for the next time.
func planOf(form url.Values) url.Values {
	keep := url.Values{}
	for _, name := range planFields {
		keep.Set(name, strings.TrimSpace(form.Get(name)))
	}
	return keep
}

// sendPlan keeps a plan for the next time and asks for it: the answer has the
// question in its address and changes nothing.
func (v *visit) sendPlan() (string, error) {
	keep := planOf(v.form)
	ask := maps.Clone(keep)
	ask.Set("mats", v.form.Get("mats"))
	if _, err := planning(ask); err == nil && len(ask.Encode()) < 4000 {
		v.people.remember(planKind, keep)
	}
	return "/pool?" + ask.Encode(), nil
}

// planPart works the plan out that was asked for, or the last one, or what grows
// now.
func (v *visit) planPart(f medium.Farm, count farm.Count) (part planPart, err error) {
	asked := v.r.URL.Query()
	part.Form = v.people.lastValues(planKind)
	if asked.Get("sow") != "" {
		part.Form = planOf(asked)
	}
	if part.Form.Get("sow") == "" {
		part.FromNow = true
		part.Form = url.Values{"sow": {strings.Join(count.Plan(f), "\n")}}
	}
	mats := strconv.Itoa(count.InUse())
	if text := strings.TrimSpace(asked.Get("mats")); text != "" { // a question; the next time it is what is on file
		mats = text
	}
	part.Form.Set("mats", mats)
	for name, usual := range map[string]string{"wash": "0", "places": "0", "nodry": "0%", "level": "5%"} {
		if part.Form.Get(name) == "" {
			part.Form.Set(name, usual)
		}
	}
	ask, err := planning(part.Form)
	if err != nil || len(ask.Sow) == 0 {
		return part, err
	}
	made, err := v.worked(ask, f)
	part.Summary = made.Summary
	for _, section := range made.Sections {
		drawn := planSection{Section: section}
		for _, plot := range section.Plots {
			drawn.Drawn = append(drawn.Drawn, plot.SVG(85, 60))
		}
		part.Sections = append(part.Sections, drawn)
	}
	return part, err
}

func planning(form url.Values) (farm.Planning, error) {
	ask := farm.Planning{NoDry: amount.Beside(form.Get("nodry"), "%"), Level: amount.Beside(form.Get("level"), "%")}
	for line := range strings.Lines(form.Get("sow")) {
		if line = strings.TrimSpace(line); line != "" {
			ask.Sow = append(ask.Sow, line)
		}
	}
	for name, to := range map[string]*int{"mats": &ask.Mats, "wash": &ask.Wash, "places": &ask.Racks} {
		n, err := strconv.Atoi(form.Get(name))
		if err != nil || n < 0 || n > 100000 {
			return ask, &medium.InputError{Field: name, Value: form.Get(name), Want: "a whole number"}
		}
		*to = n
	}
	return ask, nil
}

// plans keep the last answers: a page that refreshes itself asks the same again
// and again. One plan is worked out at a time, so that the sink has the rest of
// the machine.
type plans struct {
	turn chan struct{}
	made newest[report.Report]
}

const maxPlans = 16

// worked works a plan out, or gives the answer of the last time.
func (v *visit) worked(ask farm.Planning, f medium.Farm) (made report.Report, err error) {
	key := fmt.Sprintf("%+v %d", ask, len(f.OwnCrops))
	if made, ok := v.plans.made.get(key); ok {
		return made, nil
	}
	select {
	case v.plans.turn <- struct{}{}:
		defer func() { <-v.plans.turn }()
	case <-v.r.Context().Done():
		return made, &BusyError{Waiting: 1}
	}
	if made, ok := v.plans.made.get(key); ok {
		return made, nil
	}
	defer recovered(&err)
	if made, err = farm.PlanOnPage(f, ask); err != nil {
		return report.Report{}, planInPageWords(err)
	}
	v.plans.made.put(key, made)
	return made, nil
}

// planInPageWords says what the page asks for where an amount of a plan is wrong.
func planInPageWords(err error) error {
	var typed *amount.Error
	switch {
	case errors.As(err, &typed) && typed.What == "sow":
		return &medium.InputError{Field: "sowing plan", Value: typed.Input,
			Want: "a crop with its sowings a week times mats, such as radish=3x8, or radish=3x8:8-10 with its days to harvest"}
	case errors.As(err, &typed):
		return &medium.InputError{Field: "share", Value: typed.Input, Want: "a percentage, such as 25%"}
	}
	return err
}
