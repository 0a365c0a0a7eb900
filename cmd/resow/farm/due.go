package farm

import (
	"time"

	"resow/medium"
)

// DueList is the due list up to a time, with how many mats it has in all.
type DueList struct {
	Total int              `json:"total"`
	Items []medium.DueItem `json:"items"`
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
	return list, err
}
