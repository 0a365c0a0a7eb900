package station

import (
	"fmt"
	"slices"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

const (
	dueShown = 100
	dueAhead = 24 * time.Hour
)

type dueLine struct {
	medium.DueItem
	Stage   string
	StepURL string
	Late    bool
	When    string
}

type duePage struct {
	frame
	Now, Soon []dueLine
	At        string
	More      int // that are not shown
	Clock     string
}

func (v *visit) duePage(f *farm.Farm) (filling, error) {
	now := f.Now()
	list, err := f.DueNow(now, dueAhead, dueShown)
	page := &duePage{frame: frame{Refresh: 60, Live: true}, At: f.Stamp(now), More: list.Total - len(list.Items)}
	if list.Clock != nil {
		page.Clock = list.Clock.Text
	}
	for _, one := range list.Items {
		l := dueLine{DueItem: one, Stage: v.stageText(one.Stage), StepURL: "/m/" + string(one.Code),
			Late: !one.DueAt.After(now), When: v.overdue(now.Sub(one.DueAt).Hours())}
		if slices.Contains(farm.Recordable, one.NextStep) {
			l.StepURL += "/" + string(one.NextStep)
		}
		if l.Late {
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
