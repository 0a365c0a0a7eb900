package farm

import (
	"time"

	"resow/medium"
)

// DueList is the due list up to a time, with how many mats it has in all.
type DueList struct {
	Total int              `json:"total"`
	Items []medium.DueItem `json:"items"`
	Clock *medium.Finding  `json:"clock,omitempty"` // why no list can be trusted
}

// DueByClock is why no due list can be trusted; nil where nothing shows.
func (f *Farm) DueByClock(now time.Time) (*medium.Finding, error) {
	last, err := f.LastRecorded()
	if wrong, is := medium.DueByClock(last, now); is {
		return &wrong, err
	}
	return nil, err
}

// DueNow gives what is due by now and so much ahead: limit mats at most, 0 for all.
func (f *Farm) DueNow(now time.Time, ahead time.Duration, limit int) (DueList, error) {
	work, err := f.Due(now.Add(ahead), limit)
	if err != nil {
		return DueList{}, err
	}
	total, err := f.DueTotal(now.Add(ahead))
	list := DueList{Total: total, Items: make([]medium.DueItem, len(work))}
	for i, w := range work {
		list.Items[i] = w.Item(now, now.Add(ahead))
	}
	if err != nil {
		return list, err
	}
	list.Clock, err = f.DueByClock(now)
	return list, err
}
