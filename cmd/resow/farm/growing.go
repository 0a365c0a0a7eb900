package farm

import (
	"cmp"
	"slices"
	"time"

	"resow/medium"
)

// Stand is what grows of a lot in one place, on mats that are equally far.
type Stand struct {
	medium.CropStand
	Count  int           `json:"count"`
	Codes  []medium.Code `json:"codes"`
	Next   medium.Kind   `json:"next_step"` // what is due first; empty where nothing is
	NextAt time.Time     `json:"next_at,omitzero"`
	crop   string
}

// Crop names the crop or the mix.
func (s Stand) Crop() string { return s.crop }

// Stands are all crops that grow, the oldest first.
func (f *Farm) Stands(now time.Time) ([]Stand, error) {
	type key struct {
		lot, crop, place string
		phase            medium.Phase
		day              int
	}
	at := map[key]int{}
	stands := []Stand{}
	var broken error
	for c := range f.EachMat(&broken) {
		grown := medium.StandOn(c, now)
		if grown == nil {
			continue
		}
		k := key{grown.Lot, medium.CropName(c.Crops), grown.Place, grown.Phase, grown.Day}
		i, ok := at[k]
		if !ok {
			i, at[k] = len(stands), len(stands)
			stands = append(stands, Stand{CropStand: *grown, crop: k.crop})
		}
		work, due := medium.WorkOn(c, f.Farm, f.Loc)
		stands[i].add(c, grown, work, due)
	}
	slices.SortStableFunc(stands, func(a, b Stand) int {
		return cmp.Or(cmp.Compare(b.Day, a.Day), cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Place, b.Place))
	})
	return stands, broken
}

// add counts a mat: the stand was last misted when the first of its mats was, and is
// due when the first is.
func (s *Stand) add(c medium.Condition, grown *medium.CropStand, work medium.Work, due bool) {
	s.Count++
	s.Codes = append(s.Codes, c.Code)
	if grown.LastMistAt.Before(s.LastMistAt) {
		s.LastMistAt = grown.LastMistAt
	}
	if due && (s.Next == "" || work.At.Before(s.NextAt)) {
		s.Next, s.NextAt = work.Step, work.At
	}
}

// DayAt is on which day of a stand a time lies; 0 for none.
func (f *Farm) DayAt(s medium.CropStand, at time.Time) int {
	if at.IsZero() {
		return 0
	}
	return s.Day + medium.CalendarDays(f.Now(), at.In(f.Loc))
}
