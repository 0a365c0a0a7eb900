package farm

import (
	"time"

	"resow/medium"
)

// DueList is what is due up to a time: by rounds, and by mats, with how many mats it
// has in all.
type DueList struct {
	Total  int              `json:"total"`
	Rounds []medium.Round   `json:"rounds"`
	Items  []medium.DueItem `json:"items"`
	Clock  *medium.Finding  `json:"clock,omitempty"` // why no list can be trusted
}

// DueByClock is why no due list can be trusted; nil where nothing shows.
func (f *Farm) DueByClock(now time.Time) (*medium.Finding, error) {
	last, err := f.LastRecorded()
	if wrong, is := medium.DueByClock(last, now); is {
		return &wrong, err
	}
	return nil, err
}

// DueNow gives what is due by now and so much ahead: all rounds, and limit mats at
// most, 0 for all.
func (f *Farm) DueNow(now time.Time, ahead time.Duration, limit int) (DueList, error) {
	until := now.Add(ahead)
	work, err := f.Due(until, 0)
	if err != nil {
		return DueList{}, err
	}
	list := DueList{Total: len(work), Rounds: medium.Rounds(work, until), Items: []medium.DueItem{}}
	for i, w := range work {
		if limit > 0 && i == limit {
			break
		}
		list.Items = append(list.Items, w.Item(now, until))
	}
	list.Clock, err = f.DueByClock(now)
	return list, err
}
