package farm

import (
	"fmt"
	"math"
	"slices"
	"time"

	"resow/medium"
)

// Count is the pool of mats in numbers; the retired ones count in their stage only.
type Count struct {
	Mats     int
	Stages   map[medium.Stage]int
	Verdicts map[medium.Word]int
	Turns    []int
	growing  map[string]*growing // by crop
}

// growing is a crop as it stands on the mats now.
type growing struct {
	mats int
	days map[string]bool // on which it was sown
}

// Count counts the farm's mats.
func (f *Farm) Count() (Count, error) {
	n := Count{Stages: map[medium.Stage]int{}, Verdicts: map[medium.Word]int{}, growing: map[string]*growing{}}
	err := f.Conditions(func(c medium.Condition) error {
		n.Mats++
		n.Stages[c.Stage]++
		if c.Stage == medium.Retired {
			return nil
		}
		n.Verdicts[medium.Judge(c, f.Farm, f.Now()).Word]++
		n.Turns = append(n.Turns, c.Turn)
		if c.Stage == medium.Growing && len(c.Crops) == 1 { // a mix is no line of a plan
			n.grows(c.Crops[0].Crop, c.SownAt.In(f.Loc))
		}
		return nil
	})
	return n, err
}

func (n Count) grows(crop string, sown time.Time) {
	if n.growing[crop] == nil {
		n.growing[crop] = &growing{days: map[string]bool{}}
	}
	n.growing[crop].mats++
	n.growing[crop].days[sown.Format(time.DateOnly)] = true
}

// InUse are the mats that are not retired.
func (n Count) InUse() int { return n.Mats - n.Stages[medium.Retired] }

// Plan makes the lines of a sowing plan of what grows now: the mats and sowings of a
// week are those on the mats by the days that the crop stays (Little's law).
func (n Count) Plan(f medium.Farm) (lines []string) {
	for crop, now := range n.growing {
		c, err := f.Crop(crop)
		if err != nil || c.DaysMax == 0 {
			continue
		}
		perWeek := 7 / (float64(c.DaysMin+c.DaysMax) / 2)
		sowings := min(7, max(1, math.Round(float64(len(now.days))*perWeek)))
		mats := max(1, math.Round(float64(now.mats)*perWeek/sowings))
		lines = append(lines, fmt.Sprintf("%s=%.0fx%.0f", crop, sowings, mats))
	}
	slices.Sort(lines)
	return lines
}
