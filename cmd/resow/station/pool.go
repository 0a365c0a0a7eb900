package station

import (
	"errors"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"net/url"
	"sort"
	"strconv"
	"strings"
	"sync"
	"time"

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
	Y     int
}

func bars(labels []string, n map[string]int) []bar {
	most := 1
	for _, v := range n {
		most = max(most, v)
	}
	out := make([]bar, len(labels))
	for i, l := range labels {
		out[i] = bar{Label: l, N: n[l], Width: 100 * n[l] / most, Y: 34 * i}
	}
	return out
}

func (s *Station) poolPage(w http.ResponseWriter, r *http.Request, who session) {
	page := poolPage{}
	var state medium.Farm
	var pool poolCount
	err := s.door.long(func(v *farm.Farm) error {
		state = v.Farm
		page.frame = s.frame(who, v.Farm, "pool", s.t.get("pool.title"))
		return pool.read(v)
	})
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	page.Total = pool.Mats
	stages, inStage := []string{}, map[string]int{}
	for _, stage := range medium.Stages {
		stages = append(stages, s.stageText(stage))
		inStage[s.stageText(stage)] = pool.Stages[stage]
	}
	words, inWord := []string{}, map[string]int{}
	for _, word := range []medium.Word{medium.SowIt, medium.SowWithCare, medium.DoNotSow, medium.RetireMat} {
		words = append(words, string(word))
		inWord[string(word)] = pool.Verdicts[word]
	}
	page.Stages, page.Words, page.Turns = bars(stages, inStage), bars(words, inWord), turnBars(pool.Turns)
	page.Plan, err = s.planOf(r, state, pool)
	status := http.StatusOK
	if err != nil {
		status = statusOf(err)
		page.Problem, page.Question = s.said(r, status, err), true
	}
	page.Refresh, page.Live = 120, true
	s.show(w, status, "pool", page)
}

// postPool keeps a plan for the next time and asks for it: the answer has the
// question in its address and changes nothing.
func (s *Station) postPool(w http.ResponseWriter, r *http.Request, who session) {
	form, err := readForm(r, append(planFields, "mats")...)
	if err != nil {
		s.failed(w, r, who, err)
		return
	}
	keep, ask := url.Values{}, url.Values{"mats": {form.Get("mats")}}
	for _, name := range planFields {
		keep.Set(name, strings.TrimSpace(form.Get(name)))
		ask.Set(name, keep.Get(name))
	}
	if _, err := planning(ask); err == nil && len(ask.Encode()) < 4000 {
		s.people.remember(planKind, keep)
	}
	http.Redirect(w, r, "/pool?"+ask.Encode(), http.StatusSeeOther)
}

// poolCount are the farm's mats in numbers; the retired ones count in their
// stage only.
type poolCount struct {
	Mats     int
	Stages   map[medium.Stage]int
	Verdicts map[medium.Word]int
	Turns    []int
	Growing  map[string]*growing // by crop
}

// growing is a crop as it stands on the mats now.
type growing struct {
	Mats int
	Days map[string]bool // on which it was sown
}

func (p *poolCount) read(v *farm.Farm) error {
	*p = poolCount{Stages: map[medium.Stage]int{}, Verdicts: map[medium.Word]int{}, Growing: map[string]*growing{}}
	return v.Conditions(func(c medium.Condition) error {
		p.Mats++
		p.Stages[c.Stage]++
		if c.Stage == medium.Retired {
			return nil
		}
		p.Verdicts[medium.Judge(c, v.Farm, v.Now()).Word]++
		p.Turns = append(p.Turns, c.Turn)
		if c.Stage == medium.Growing && len(c.Crops) == 1 { // a mix is no line of a plan
			p.grows(c.Crops[0].Crop, c.SownAt.In(v.Now().Location()))
		}
		return nil
	})
}

func (p *poolCount) grows(crop string, sown time.Time) {
	if p.Growing[crop] == nil {
		p.Growing[crop] = &growing{Days: map[string]bool{}}
	}
	p.Growing[crop].Mats++
	p.Growing[crop].Days[sown.Format(time.DateOnly)] = true
}

// inUse are the mats that are not retired.
func (p *poolCount) inUse() int { return p.Mats - p.Stages[medium.Retired] }

// lines make a sowing plan of what grows now: the mats and sowings of a week are
// those on the mats by the days that the crop stays (Little's law).
func (p *poolCount) lines(f medium.Farm) (lines []string) {
	for crop, now := range p.Growing {
		c, err := f.Crop(crop)
		if err != nil || c.DaysMax == 0 {
			continue
		}
		perWeek := 7 / (float64(c.DaysMin+c.DaysMax) / 2)
		sowings := min(7, max(1, int(math.Round(float64(len(now.Days))*perWeek))))
		lines = append(lines, fmt.Sprintf("%s=%dx%d", crop, sowings, max(1, int(math.Round(float64(now.Mats)*perWeek/float64(sowings))))))
	}
	sort.Strings(lines)
	return lines
}

// turnBars groups the mats in use by their turns, five to a group.
func turnBars(turns []int) []bar {
	const step = 5
	top := 0
	for _, t := range turns {
		top = max(top, t)
	}
	var names []string
	n := map[string]int{}
	for lo := 0; lo <= top; lo += step {
		name := fmt.Sprintf("%d-%d", lo, lo+step-1)
		names = append(names, name)
		for _, t := range turns {
			if t >= lo && t < lo+step {
				n[name]++
			}
		}
	}
	return bars(names, n)
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

// planOf works the plan out that was asked for, or the last one, or what grows
// now.
func (s *Station) planOf(r *http.Request, f medium.Farm, pool poolCount) (part planPart, err error) {
	asked := r.URL.Query()
	part.Form = s.people.lastValues(planKind)
	if asked.Get("sow") != "" {
		part.Form = url.Values{}
		for _, name := range planFields {
			part.Form.Set(name, strings.TrimSpace(asked.Get(name)))
		}
	}
	if part.Form.Get("sow") == "" {
		part.FromNow = true
		part.Form = url.Values{"sow": {strings.Join(pool.lines(f), "\n")}}
	}
	for name, usual := range map[string]string{"wash": "0", "places": "0", "nodry": "0%", "level": "5%"} {
		if part.Form.Get(name) == "" {
			part.Form.Set(name, usual)
		}
	}
	part.Form.Set("mats", strconv.Itoa(pool.inUse()))
	if mats := strings.TrimSpace(asked.Get("mats")); mats != "" { // a question; the next time it is what is on file
		part.Form.Set("mats", mats)
	}
	ask, err := planning(part.Form)
	if err != nil || len(ask.Sow) == 0 {
		return part, err
	}
	made, err := s.plans.get(r, ask, f)
	if err != nil {
		return part, err
	}
	part.Summary = made.Summary
	for _, section := range made.Sections {
		drawn := planSection{Section: section}
		for _, plot := range section.Plots {
			drawn.Drawn = append(drawn.Drawn, plot.SVG(85, 60))
		}
		part.Sections = append(part.Sections, drawn)
	}
	return part, nil
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
	mu   sync.Mutex
	keys []string
	keep map[string]report.Report
}

const maxPlans = 16

func (p *plans) get(r *http.Request, ask farm.Planning, f medium.Farm) (made report.Report, err error) {
	key := fmt.Sprintf("%+v %d", ask, len(f.OwnCrops))
	if made, ok := p.known(key); ok {
		return made, nil
	}
	select {
	case p.turn <- struct{}{}:
		defer func() { <-p.turn }()
	case <-r.Context().Done():
		return made, &BusyError{Waiting: 1}
	}
	if made, ok := p.known(key); ok {
		return made, nil
	}
	defer recovered(&err)
	if made, err = farm.PlanOnPage(f, ask); err != nil {
		return made, planInPageWords(err)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.keep == nil {
		p.keep = map[string]report.Report{}
	}
	p.keys, p.keep[key] = append(p.keys, key), made
	if len(p.keys) > maxPlans {
		delete(p.keep, p.keys[0])
		p.keys = p.keys[1:]
	}
	return made, nil
}

func (p *plans) known(key string) (report.Report, bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	made, ok := p.keep[key]
	return made, ok
}

// planInPageWords says what the page asks for where an amount of a plan is wrong.
func planInPageWords(err error) error {
	var typed *amount.Error
	switch {
	case errors.As(err, &typed) && typed.What == "sow":
		return &medium.InputError{Field: "sowing plan", Value: typed.Input, Want: "a crop with its sowings a week times mats, such as radish=3x8, or radish=3x8:8-10 with its days to harvest"}
	case errors.As(err, &typed):
		return &medium.InputError{Field: "share", Value: typed.Input, Want: "a percentage, such as 25%"}
	}
	return err
}
