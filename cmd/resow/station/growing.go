package station

import (
	"strings"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// standLine is what grows, as a page says it.
type standLine struct {
	Crop, Lot, Place string
	Day              string // day 4 of 8 to 12, dark
	Care             string // the last misting, and what is next
	Mats             string
	Codes            []medium.Code
}

type growingPage struct {
	frame
	Stands []standLine
	Total  string
}

// growingPage shows what grows: each stand in one block.
func (v *visit) growingPage(f *farm.Farm) (filling, error) {
	stands, err := f.Stands(f.Now())
	page := &growingPage{frame: frame{Refresh: 60, Live: true}}
	total := 0
	for _, s := range stands {
		total += s.Count
		line := v.standLine(f, s.CropStand, s.Next, s.NextAt)
		line.Crop, line.Mats, line.Codes = s.Crop(), v.mats(s.Count), s.Codes
		page.Stands = append(page.Stands, line)
	}
	page.Total = v.mats(total)
	return page, err
}

// standOn is what grows on one mat; nil where nothing does.
func (v *visit) standOn(f *farm.Farm, c medium.Condition) *standLine {
	grown := medium.StandOn(c, f.Now())
	if grown == nil {
		return nil
	}
	work, _ := medium.WorkOn(c, f.Farm, f.Loc)
	line := v.standLine(f, *grown, work.Step, work.At)
	line.Crop = medium.CropName(c.Crops)
	return &line
}

func (v *visit) standLine(f *farm.Farm, s medium.CropStand, next medium.Kind, at time.Time) standLine {
	care := []string{v.t.get("growing.unmisted")}
	if !s.LastMistAt.IsZero() {
		care[0] = v.t.get("growing.misted", f.Stamp(s.LastMistAt))
	}
	if next != "" {
		care = append(care, v.t.get("growing.next", v.t.get("kind."+string(next)), f.Stamp(at)))
	}
	return standLine{Lot: s.Lot, Place: s.Place, Day: v.dayText(f, s), Care: strings.Join(care, "; ")}
}

// dayText says how far a crop is.
func (v *visit) dayText(f *farm.Farm, s medium.CropStand) string {
	text := v.t.get("growing.day", s.Day)
	from, by := f.DayAt(s, s.HarvestFrom), f.DayAt(s, s.HarvestBy)
	switch {
	case by > from && from > 0:
		text = v.t.get("growing.dayfrom", s.Day, from, by)
	case by > 0:
		text = v.t.get("growing.dayof", s.Day, by)
	}
	text += ", " + v.t.get("phase."+string(s.Phase))
	if s.Weighted {
		text += ", " + v.t.get("growing.weighted")
	}
	return text
}
