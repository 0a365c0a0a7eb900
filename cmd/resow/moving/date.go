package moving

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Orders of day, month and year in a written date.
const (
	DMY = "dmy"
	MDY = "mdy"
	YMD = "ymd"
)

var (
	datePattern  = lazily(`^(\d{1,4})([./-])(\d{1,2})[./-](\d{1,4})(?:[ T,]+(.+))?$`)
	closePattern = lazily(`^(20\d\d)(\d\d)(\d\d)(?:[ T,]+(.+))?$`)
	shortPattern = lazily(`^(\d{1,2})[./-](\d{1,2})\.?(?:[ ,]+(.+))?$`)
	namedPattern = lazily(`^(?i)(\d{1,2})(?:st|nd|rd|th|er)?[. -]+(\p{L}+)[. -]*,?[ -]*(\d{4}|\d{2})(?:[ ,]+(.+))?$`)
	namedFirst   = lazily(`^(?i)(\p{L}+)[. ]+(\d{1,2})(?:st|nd|rd|th)?[, ]+(\d{4})(?:[ ,]+(.+))?$`)
	weekday      = lazily(`^(\p{L}{2,})[.,]*\s+(.*\d.*)$`)
	timePattern  = lazily(`^(\d{1,2})[:.h](\d{2})(?::(\d{2}))?\s*([AaPp]\.?[Mm]\.?)?(?:\s*(?:Uhr|h))?$`)
)

// lazily makes a pattern when it is first used: most commands read no table.
func lazily(pattern string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(pattern) })
}

// reading is one way to read a date: in an order of day, month and year, or in
// none where there is only one way.
type reading struct {
	order string
	y     int
	m     time.Month
	d     int
	rest  string // the time of day
}

func (r reading) String() string { return fmt.Sprintf("%d %s %d", r.d, r.m, r.y) }

// readings gives every way to read a date that names a day there was. year is
// that of dates that have none; 0: such are no dates.
func readings(text string, year int) []reading {
	text = strings.TrimSpace(text)
	if got := plainReadings(text, year); got != nil {
		return got
	}
	day, rest, ok := afterWeekday(text)
	if !ok {
		return nil
	}
	return slices.DeleteFunc(plainReadings(rest, year), func(r reading) bool {
		return time.Date(r.y, r.m, r.d, 12, 0, 0, 0, time.UTC).Weekday() != day
	})
}

// afterWeekday parts a date from the day of the week before it.
func afterWeekday(text string) (day time.Weekday, rest string, ok bool) {
	m := weekday().FindStringSubmatch(strings.TrimSpace(text))
	if m == nil {
		return 0, "", false
	}
	for i, named := range spoken()["days of the week"] {
		if named.begins(strings.ToLower(m[1])) {
			return time.Weekday(i), m[2], true
		}
	}
	return 0, "", false
}

func plainReadings(text string, year int) (out []reading) {
	add := func(order, y string, m time.Month, d, rest string) {
		r := reading{order: order, m: m, rest: strings.TrimSpace(rest)}
		r.y, _ = strconv.Atoi(y)
		r.d, _ = strconv.Atoi(d)
		if r.y < 100 {
			r.y += 2000
		}
		if t := time.Date(r.y, r.m, r.d, 12, 0, 0, 0, time.UTC); m >= 1 && m <= 12 && t.Day() == r.d && t.Month() == r.m &&
			r.y >= 1990 && r.y <= 2200 {
			out = append(out, r)
		}
	}
	month := func(text string) time.Month {
		n, _ := strconv.Atoi(text)
		return time.Month(n)
	}
	if p := closePattern().FindStringSubmatch(text); p != nil {
		add("", p[1], month(p[2]), p[3], p[4])
		return out
	}
	if p := namedPattern().FindStringSubmatch(text); p != nil {
		add("", p[3], monthNamed(p[2]), p[1], p[4])
		return out
	}
	if p := namedFirst().FindStringSubmatch(text); p != nil {
		add("", p[3], monthNamed(p[1]), p[2], p[4])
		return out
	}
	if p := shortPattern().FindStringSubmatch(text); p != nil && year > 0 {
		add(DMY, strconv.Itoa(year), month(p[2]), p[1], p[3])
		add(MDY, strconv.Itoa(year), month(p[1]), p[2], p[3])
		return out
	}
	p := datePattern().FindStringSubmatch(text)
	switch {
	case p == nil || len(p[1]) == 3 || len(p[4]) == 3:
	case len(p[1]) == 4:
		add("", p[1], month(p[3]), p[4], p[5])
	default:
		add(DMY, p[4], month(p[3]), p[1], p[5])
		add(MDY, p[4], month(p[1]), p[3], p[5])
		if len(p[4]) <= 2 && p[2] != "." { // with points the year comes last wherever they are used
			add(YMD, p[1], month(p[3]), p[4], p[5])
		}
	}
	return out
}

// orders gives the orders in which all dates of a column name a day, and the
// first date that shows it by having one reading alone. A date that has no
// reading at all shows nothing.
func orders(cells []string, year int) (fit []string, shown string) {
	fit = []string{DMY, MDY, YMD}
	for _, c := range cells {
		var here []string
		for _, r := range readings(c, year) {
			here = append(here, r.order)
		}
		if len(here) == 0 || here[0] == "" {
			continue
		}
		if len(here) == 1 && shown == "" {
			shown = c
		}
		fit = slices.DeleteFunc(fit, func(o string) bool { return !slices.Contains(here, o) })
	}
	return fit, shown
}

// noTime is the hour by which a date without a time of day is sorted.
const noTime = 12

// moment reads a date with or without its time of day, which may stand in a
// column of its own. RFC 3339 carries its own zone; all else is in the farm's.
// A time that the clocks skipped is refused; of a time that they passed twice
// it takes the first and says so.
// Of a day alone it gives noon, and says that only the day is known.
func moment(date, clock, order string, year int, loc *time.Location) (
	at time.Time, dayOnly bool, note string, err error,
) {
	date = strings.TrimSpace(date)
	if t, err := time.Parse(time.RFC3339, date); err == nil && clock == "" {
		return t, false, "", nil
	}
	r, err := day(date, order, year)
	if err != nil {
		return time.Time{}, false, "", err
	}
	y, mo, d, rest := r.y, r.m, r.d, r.rest
	if clock == "" {
		clock = rest
	} else if rest != "" {
		return time.Time{}, false, "", fmt.Errorf("%q has a time of day, and so has its own column", date)
	}
	h, mi, s := noTime, 0, 0
	if dayOnly = clock == ""; dayOnly {
		note = "no time of day: the earliest that fits is written"
	} else if h, mi, s, err = clockTime(clock); err != nil {
		return time.Time{}, false, "", err
	}
	at = time.Date(y, mo, d, h, mi, s, 0, loc)
	if at.Hour() != h || at.Minute() != mi {
		return time.Time{}, false, "",
			fmt.Errorf("there was no %02d:%02d on %s in %s: the clocks went forward; give the right time", h, mi,
				at.Format(time.DateOnly), loc)
	}
	if other, twice := passedTwice(at); twice {
		if other.Before(at) {
			at = other
		}
		note = "a time that the clocks passed twice: the first is taken"
	}
	return at, dayOnly, note, nil
}

// passedTwice gives the other moment with the same time of day on the clock.
// Zones go back by an hour, half an hour or two.
func passedTwice(at time.Time) (time.Time, bool) {
	const wall = "2006-01-02 15:04:05"
	for _, minutes := range []time.Duration{-120, -60, -30, 30, 60, 120} {
		if other := at.Add(minutes * time.Minute); other.Format(wall) == at.Format(wall) {
			return other, true
		}
	}
	return at, false
}

func day(text, order string, year int) (reading, error) {
	all := readings(text, year)
	for _, r := range all {
		if r.order == "" || r.order == order {
			return r, nil
		}
	}
	_, rest, named := afterWeekday(text)
	switch {
	case named && len(plainReadings(rest, year)) > 0:
		return reading{}, fmt.Errorf("the day of the week of %q is not that of the date; mend one of the two", text)
	case len(all) > 0 && order != "":
		return reading{}, fmt.Errorf("there is no day %q (read as %s)", text, order)
	case datePattern().MatchString(text) || closePattern().MatchString(text):
		return reading{}, fmt.Errorf("there is no day %q", text)
	case shortPattern().MatchString(text):
		return reading{}, fmt.Errorf("the date %q has no year; say it with --map \"COLUMN=at,2026\"", text)
	case serialDay(text):
		return reading{},
			fmt.Errorf("%q is a spreadsheet's number of a day; format the column as a date there, and save it again", text)
	}
	return reading{}, fmt.Errorf("the date %q can't be read; write it as 2026-11-24 18:30", text)
}

// serialDay says whether a text is what a spreadsheet counts for a day between
// 1990 and 2064.
func serialDay(text string) bool {
	n, err := strconv.ParseFloat(text, 64)
	return err == nil && n > 32874 && n < 60000
}

func clockTime(text string) (h, m, s int, err error) {
	p := timePattern().FindStringSubmatch(strings.TrimSpace(text))
	refuse := func() (int, int, int, error) {
		return 0, 0, 0, fmt.Errorf("the time of day %q can't be read; write it as 18:30", text)
	}
	if p == nil {
		return refuse()
	}
	h, _ = strconv.Atoi(p[1])
	m, _ = strconv.Atoi(p[2])
	s, _ = strconv.Atoi(p[3])
	if p[4] != "" {
		if h < 1 || h > 12 {
			return refuse()
		}
		h %= 12
		if strings.EqualFold(p[4][:1], "p") {
			h += 12
		}
	}
	if h > 23 || m > 59 || s > 59 {
		return refuse()
	}
	return h, m, s, nil
}
