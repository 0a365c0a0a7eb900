package station

import (
	"fmt"
	"net/url"
	"slices"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

const (
	dueShown = 100
	dueAhead = 24 * time.Hour
)

// roundLine is a round on the page of what is due.
type roundLine struct {
	medium.Round
	Mats string
	URL  string
	Late bool
	When string
}

type duePage struct {
	frame
	Now, Soon []roundLine
	At        string
	Clock     string
}

// duePage shows the day's work in rounds: those that are due, and those to come.
func (v *visit) duePage(f *farm.Farm) (filling, error) {
	now := f.Now()
	page := &duePage{frame: frame{Refresh: 60, Live: true}, At: f.Stamp(now)}
	due, soon, err := dueRounds(f)
	if err != nil {
		return nil, err
	}
	for _, r := range due {
		page.Now = append(page.Now, v.roundLine(r, now, false))
	}
	for _, r := range soon {
		page.Soon = append(page.Soon, v.roundLine(r, now, true))
	}
	wrong, err := f.DueByClock(now)
	if wrong != nil {
		page.Clock = wrong.Text
	}
	return page, err
}

func (v *visit) roundLine(r medium.Round, now time.Time, soon bool) roundLine {
	late := medium.Overdue(r.Rule, r.DueAt, now)
	line := roundLine{Round: r, Mats: v.mats(r.Count), URL: roundURL(r, soon), Late: late > 0}
	if late != 0 {
		line.When = v.overdue(late.Hours())
	}
	return line
}

// mats counts mats.
func (s *Station) mats(n int) string {
	if n == 1 {
		return s.t.get("due.mat")
	}
	return s.t.get("due.mats", n)
}

// roundURL is the page of a round.
func roundURL(r medium.Round, soon bool) string {
	if !slices.Contains(farm.Recordable, r.Step) {
		return "/due"
	}
	query := url.Values{"due": {r.Rule}, "place": {r.Place}}
	if soon {
		query.Set("soon", "yes")
	}
	return "/many/" + string(r.Step) + "?" + query.Encode()
}

// dueRounds gives the rounds that are due now, and those that come due within a day on
// mats that do not need the same step already.
func dueRounds(f *farm.Farm) (due, soon []medium.Round, err error) {
	now := f.Now()
	until := now.Add(dueAhead)
	work, err := f.Due(until, 0)
	if err != nil {
		return nil, nil, err
	}
	later := make([]medium.Work, len(work))
	for i, w := range work {
		needed := map[medium.Kind]bool{}
		for _, d := range w.Dues {
			needed[d.Step] = needed[d.Step] || !d.At.After(now)
		}
		w.Dues = slices.DeleteFunc(slices.Clone(w.Dues), func(d medium.Due) bool { return needed[d.Step] })
		later[i] = w
	}
	return medium.Rounds(work, now), medium.Rounds(later, until), nil
}

// dueLine is a mat on the list of what is due mat by mat.
type dueLine struct {
	medium.DueItem
	Stage   string
	StepURL string
	Late    bool
	When    string
}

type matsPage struct {
	frame
	Now, Soon []dueLine
	At        string
	More      int // that are not shown
	Clock     string
}

// matsPage shows what is due mat by mat, with every reason.
func (v *visit) matsPage(f *farm.Farm) (filling, error) {
	now := f.Now()
	list, err := f.DueNow(now, dueAhead, dueShown)
	page := &matsPage{frame: frame{Refresh: 60, Live: true}, At: f.Stamp(now), More: list.Total - len(list.Items)}
	if list.Clock != nil {
		page.Clock = list.Clock.Text
	}
	for _, one := range list.Items {
		l := dueLine{DueItem: one, Stage: v.stageText(one.Stage), StepURL: "/m/" + string(one.Code),
			Late: one.OverdueH > 0}
		if one.OverdueH != 0 {
			l.When = v.overdue(one.OverdueH)
		}
		if slices.Contains(farm.Recordable, one.NextStep) {
			l.StepURL += "/" + string(one.NextStep)
		}
		if !one.DueAt.After(now) {
			page.Now = append(page.Now, l)
		} else {
			page.Soon = append(page.Soon, l)
		}
	}
	return page, err
}

// overdue says how late something is in the unit that reads best.
func (s *Station) overdue(h float64) string {
	switch {
	case h < 0 && h > -48:
		return s.t.get("due.in_hours", fmt.Sprintf("%.0f", -h))
	case h < 0:
		return s.t.get("due.in_days", fmt.Sprintf("%.0f", -h/24))
	case h < 48:
		return s.t.get("due.hours", fmt.Sprintf("%.0f", h))
	}
	return s.t.get("due.days", fmt.Sprintf("%.0f", h/24))
}
