package pool

import (
	"cmp"
	"fmt"
	"math"
	"time"
)

// Bounds of a plan; each is far above one farm's.
const (
	MaxSowings   = 200
	MaxMats      = 100_000 // in the pool, and sown on one day
	MaxDays      = 366     // of growing or of waiting for a replacement
	MaxDryDays   = 30
	MaxWeeks     = 520
	MaxRepeats   = 100_000
	maxWork      = 100_000_000 // days times repeats times what happens on one
	defaultWeeks = 12
)

// Sowing is one crop's line of the sowing plan.
type Sowing struct {
	Crop string
	// Mats sown on each day of the week, by time.Weekday (Sunday is 0).
	Mats [7]int
	// Days from sowing to harvest, both ends included, each as likely as the
	// other. At least 1.
	GrowMin, GrowMax int
}

// Weekly spreads sowings of so many mats evenly over the week, from Monday on.
func Weekly(sowings, mats int) (days [7]int) {
	for i := range max(0, min(sowings, 7*MaxMats)) {
		days[(1+i*7/sowings)%7] += mats
	}
	return days
}

// Weather says how often nothing dries.
type Weather struct {
	// NoDry is the share of days on which nothing dries, 0 to 0.95.
	NoDry float64
	// Spell is the mean length in days of a run of such days; 0 means that the
	// days do not depend on each other (a mean run of 1/(1-NoDry)).
	Spell float64
}

// TurnAround says what happens to a mat between harvest and the next sowing.
// Capacities that are all zero mean no limit.
type TurnAround struct {
	WashPerDay     [7]int // mats that can be washed, by time.Weekday
	SanitizePerDay [7]int // mats that can be sanitized, by time.Weekday
	Racks          int    // mats that can hang to dry or air at the same time
	DryDays        int    // drying days between wash and sanitizer; hung today and dry tomorrow is 1
	AirDays        int    // drying days after the sanitizer; 0: ready the next morning whatever the weather
	Weather        Weather
}

// Losses says how mats leave the pool.
type Losses struct {
	PerTurn     float64 // share of turns that ends a mat (cut, mold, worn, lost), 0 to 0.9
	ReplaceDays int     // days from a loss until its replacement is there to be washed
	// Aside is the share of the pool that is on hold or under repair at any
	// time, 0 to 0.9.
	Aside float64
}

// Plan is what the pool must serve.
type Plan struct {
	Sowings []Sowing
	// ByOrder: the sowings come by chance (orders), with the week's plan as the
	// mean of each day, every mat on its own. False: exactly as planned, the
	// mats of a day and crop harvested together.
	ByOrder    bool
	TurnAround TurnAround
	Losses     Losses
}

// Check gives a *medium.InputError, or nil.
func (p Plan) Check() error {
	err := inRange("number of sowing lines", len(p.Sowings), 1, MaxSowings)
	total := 0
	for i, s := range p.Sowings {
		err = cmp.Or(err, s.check(i))
		total += s.perWeek()
	}
	if err != nil {
		return err
	}
	if total == 0 {
		return invalid("mats sown in a week", 0, "at least one sowing")
	}
	if total > MaxMats {
		return invalid("mats sown in a week", total, fmt.Sprintf("at most %d; plan a part of the farm at a time", MaxMats))
	}
	return cmp.Or(p.TurnAround.check(), p.Losses.check())
}

func (s Sowing) check(i int) error {
	name := s.name(i)
	for d, n := range s.Mats {
		if err := inRange(fmt.Sprintf("mats of %s on %s", name, time.Weekday(d)), n, 0, MaxMats); err != nil {
			return err
		}
	}
	if s.GrowMin < 1 || s.GrowMax < s.GrowMin || s.GrowMax > MaxDays {
		return invalid("growing days of "+name, fmt.Sprintf("%d to %d", s.GrowMin, s.GrowMax),
			fmt.Sprintf("1 to %d days, the least first", MaxDays))
	}
	return nil
}

func (s Sowing) name(i int) string {
	return cmp.Or(s.Crop, fmt.Sprintf("sowing line %d", i+1))
}

// perWeek is the number of mats sown in a week.
func (s Sowing) perWeek() int { return sum(s.Mats[:]) }

func (s Sowing) meanDays() float64 { return float64(s.GrowMin+s.GrowMax) / 2 }

func (t TurnAround) check() error {
	var err error
	for d := range time.Weekday(7) {
		err = cmp.Or(err, inRange("mats washed on "+d.String(), t.WashPerDay[d], 0, MaxMats),
			inRange("mats sanitized on "+d.String(), t.SanitizePerDay[d], 0, MaxMats))
	}
	if err == nil && (t.Racks < 0 || t.Racks > MaxMats) {
		err = invalid("drying places", t.Racks, fmt.Sprintf("0 (no limit) to %d", MaxMats))
	}
	return cmp.Or(err, inRange("drying days", t.DryDays, 0, MaxDryDays),
		inRange("drying days", t.AirDays, 0, MaxDryDays), t.Weather.check())
}

func (w Weather) check() error {
	if !(w.NoDry >= 0 && w.NoDry <= 0.95) {
		return invalid("share of days without drying", w.NoDry, "0 to 0.95")
	}
	if w.Spell == 0 {
		return nil
	}
	// A dry day must be able to follow: the chance that a wet day follows a dry
	// one is at most 1.
	if !(w.Spell >= 1 && w.Spell <= 60) || w.wetAfterDry() > 1 {
		return invalid("mean wet spell in days", w.Spell,
			fmt.Sprintf("0 (independent days), or %.3g to 60 days at this share of wet days", max(1, w.NoDry/(1-w.NoDry))))
	}
	return nil
}

func (w Weather) spell() float64 {
	return cmp.Or(w.Spell, 1/(1-w.NoDry))
}

// wetAfterDry is the chance that a day without drying follows a drying one.
func (w Weather) wetAfterDry() float64 { return w.NoDry / (w.spell() * (1 - w.NoDry)) }

// wetAfterWet is the chance that a day without drying follows another.
func (w Weather) wetAfterWet() float64 { return 1 - 1/w.spell() }

func (l Losses) check() error {
	if !(l.PerTurn >= 0 && l.PerTurn <= 0.9) {
		return invalid("share of turns that ends a mat", l.PerTurn, "0 to 0.9")
	}
	if !(l.Aside >= 0 && l.Aside <= 0.9) {
		return invalid("share of mats on hold or under repair", l.Aside, "0 to 0.9")
	}
	return inRange("days until a replacement is there", l.ReplaceDays, 0, MaxDays)
}

func week(capacity [7]int) int { return sum(capacity[:]) }

// capacityOn is what can be done on a day; all zero means no limit.
func capacityOn(capacity [7]int, d time.Weekday) int {
	if week(capacity) == 0 {
		return math.MaxInt
	}
	return capacity[d]
}
