package medium

import (
	"cmp"
	"fmt"
	"time"
)

// Phase is how a growing crop stands: covered, or in the light.
type Phase string

// The phases of a growing crop, in their order.
const (
	Dark  Phase = "dark"
	Light Phase = "light"
)

// CropStand is what grows on a mat, and how far it is.
type CropStand struct {
	Lot         string    `json:"lot"`
	Crops       []CropOn  `json:"crops"`
	Place       string    `json:"place"`
	Day         int       `json:"day"` // by the calendar; that of the sowing is day 0
	Phase       Phase     `json:"phase"`
	Weighted    bool      `json:"weighted"` // under a weight while it is dark
	LastMistAt  time.Time `json:"last_mist_at,omitzero"`
	HarvestFrom time.Time `json:"harvest_from,omitzero"` // zero where no table says
	HarvestBy   time.Time `json:"harvest_by,omitzero"`
}

// CropOn is one crop of a stand.
type CropOn struct {
	Crop    string `json:"crop"`
	SeedLot string `json:"seed_lot"`
}

// StandOn says what grows on a mat; nil where nothing does. Days are those of the
// location of now.
func StandOn(c Condition, now time.Time) *CropStand {
	if c.Stage != Growing {
		return nil
	}
	loc := now.Location()
	from, to := HarvestDays(c.Crops)
	s := &CropStand{Lot: c.Lot, Place: c.Place, Day: CalendarDays(c.SownAt.In(loc), now), Phase: c.Phase(),
		LastMistAt: c.Misted, HarvestFrom: daysAfter(c.SownAt, from, loc), HarvestBy: daysAfter(c.SownAt, to, loc)}
	for _, crop := range c.Crops {
		s.Crops = append(s.Crops, CropOn{Crop: crop.Crop, SeedLot: cmp.Or(crop.SeedLot, c.SeedLot)})
		s.Weighted = s.Weighted || crop.Weighted && s.Phase == Dark
	}
	return s
}

// CalendarDays counts the days from one date to another, in the location of each.
func CalendarDays(from, to time.Time) int {
	date := func(t time.Time) time.Time {
		y, m, d := t.Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	}
	return int(date(to).Sub(date(from)) / (24 * time.Hour))
}

// daysAfter is the same time of day some days on, also over a change of the clocks;
// zero for no days.
func daysAfter(at time.Time, days int, loc *time.Location) time.Time {
	if days == 0 {
		return time.Time{}
	}
	return at.In(loc).AddDate(0, 0, days)
}

// HarvestDays are the days after the sowing from which a crop or a mix is harvested
// and until which: when the last of the crops can be cut, and before the first is over
// its days. Where the first is over before the last can be cut, both are that day. 0
// where no table says.
func HarvestDays(crops []Sown) (from, to int) {
	for _, c := range crops {
		from = max(from, c.DaysMin)
		if c.DaysMax > 0 && (to == 0 || c.DaysMax < to) {
			to = c.DaysMax
		}
	}
	if to > 0 {
		from = min(from, to)
	}
	return from, to
}

// Phase is dark until the crop is uncovered, where one of the crops is grown in the
// dark at first.
func (c *Condition) Phase() Phase {
	if c.Uncovered.IsZero() && darkDays(c.Crops) > 0 {
		return Dark
	}
	return Light
}

// darkDays are the days in the dark of the crop that has to come to light first; 0
// where none is covered.
func darkDays(crops []Sown) int {
	days := 0
	for _, c := range crops {
		if c.DarkDays > 0 && (days == 0 || c.DarkDays < days) {
			days = c.DarkDays
		}
	}
	return days
}

// mistings a day are those of the crop that asks for most.
func (c *Condition) mistings() float64 {
	most := 0.0
	for _, crop := range c.Crops {
		if c.Phase() == Dark {
			most = max(most, crop.MistDark)
		} else {
			most = max(most, crop.MistLight)
		}
	}
	return most
}

// falls names the first crop whose seed the mesh may not hold.
func (c *Condition) falls() (crop string, may bool) {
	for _, s := range c.Crops {
		if fit := FitSeed(s.SizeMM, c.Mat.ApertureMM, c.Mat.Layers); fit == FitNear || fit == FitFalls {
			return s.Crop, true
		}
	}
	return "", false
}

// growingDues are the care of a crop, and its harvest from the first day that it can
// be cut.
func growingDues(c Condition, p Policy, loc *time.Location) []Due {
	var out []Due
	add := func(step Kind, at time.Time, rule, format string, args ...any) {
		out = append(out, Due{Step: step, At: at.UTC(), Rule: rule, Text: fmt.Sprintf(format, args...)})
	}
	day := func(t time.Time) string { return c.When(t, loc, stamp) }
	sown := "sown " + day(c.SownAt)
	if share, on := p.limit("misting"); on && c.mistings() > 0 {
		every := time.Duration(float64(24*time.Hour) / c.mistings() * 100 / share)
		last := sown
		if c.Misted.After(c.SownAt) {
			last = "misted " + day(c.Misted)
		}
		add(KindMist, later(c.SownAt, c.Misted).Add(every), "misting", "%s, every %s in the %s", last, hoursText(every),
			c.Phase())
	}
	if _, on := p.limit("uncovering"); on && c.Phase() == Dark {
		d := darkDays(c.Crops)
		add(KindUncover, daysAfter(c.SownAt, d, loc), "uncovering", "%s %s, %s in the dark", CropName(c.Crops), sown,
			plural(d, "day"))
	}
	if h, on := p.limit("wiping"); on && c.Wiped.IsZero() {
		if crop, may := c.falls(); may {
			add(KindWipe, c.SownAt.Add(hours(h)), "wiping", "%s %s: seed that fell through rots", crop, sown)
		}
	}
	_, cut := p.limit("harvest-window")
	for _, crop := range c.Crops {
		if cut && crop.DaysMin > 0 && crop.DaysMin < crop.DaysMax {
			add(KindHarvest, daysAfter(c.SownAt, crop.DaysMin, loc), "harvest-window", "%s %s, day %d to %d", crop.Crop,
				sown, crop.DaysMin, crop.DaysMax)
		}
		if crop.DaysMax > 0 {
			add(KindHarvest, daysAfter(c.SownAt, crop.DaysMax, loc), "crop-days", "%s %s, at most %s", crop.Crop, sown,
				plural(crop.DaysMax, "day"))
		}
	}
	return out
}
