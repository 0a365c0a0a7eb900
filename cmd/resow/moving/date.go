package moving

import (
	"fmt"
	"regexp"
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
	datePattern = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^(\d{1,4})[./-](\d{1,2})[./-](\d{1,4})(?:[ T,]+(.+))?$`)
	})
	timePattern = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^(\d{1,2})[:.](\d{2})(?::(\d{2}))?\s*([AaPp][Mm])?$`)
	})
)

// dateOrder finds the order of a column's dates. Where every date could be read
// in two ways it takes that of the farm's units, and says that it guessed; where
// no order fits them all, it takes the one that fits more.
func dateOrder(cells []string, units string) (order string, guessed bool) {
	fitDMY, fitMDY, all := 0, 0, 0
	for _, c := range cells {
		m := datePattern().FindStringSubmatch(c)
		if m == nil || len(m[1]) == 4 {
			continue
		}
		all++
		a, _ := strconv.Atoi(m[1])
		b, _ := strconv.Atoi(m[2])
		if b <= 12 {
			fitDMY++
		}
		if a <= 12 {
			fitMDY++
		}
	}
	switch {
	case all == 0:
		return YMD, false
	case fitDMY > fitMDY:
		return DMY, fitDMY < all
	case fitMDY > fitDMY:
		return MDY, fitMDY < all
	case units == "us":
		return MDY, true
	}
	return DMY, true
}

// fitsAll says whether an order gives a day for every date that does not begin
// with its year.
func fitsAll(cells []string, order string) bool {
	for _, c := range cells {
		if _, _, _, _, err := day(c, order); err != nil && datePattern().MatchString(c) {
			return false
		}
	}
	return true
}

// noTime is the hour by which a date without a time of day is sorted.
const noTime = 12

// moment reads a date with or without its time of day, which may stand in a
// column of its own. RFC 3339 carries its own zone; all else is in the farm's.
// A time that the clocks skipped is refused; of a time that they passed twice
// it takes the first and says so.
// Of a day alone it gives noon, and says that only the day is known.
func moment(date, clock, order string, loc *time.Location) (at time.Time, dayOnly bool, note string, err error) {
	date = strings.TrimSpace(date)
	if t, err := time.Parse(time.RFC3339, date); err == nil && clock == "" {
		return t, false, "", nil
	}
	y, mo, d, rest, err := day(date, order)
	if err != nil {
		return time.Time{}, false, "", err
	}
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
		return time.Time{}, false, "", fmt.Errorf("there was no %02d:%02d on %s in %s: the clocks went forward; give the right time", h, mi, at.Format(time.DateOnly), loc)
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
	for _, d := range []time.Duration{-2 * time.Hour, -time.Hour, -30 * time.Minute, 30 * time.Minute, time.Hour, 2 * time.Hour} {
		if other := at.Add(d); other.Format(wall) == at.Format(wall) {
			return other, true
		}
	}
	return at, false
}

func day(text, order string) (y int, m time.Month, d int, rest string, err error) {
	p := datePattern().FindStringSubmatch(text)
	if p == nil {
		return 0, 0, 0, "", fmt.Errorf("the date %q can't be read; write it as 2026-11-24 18:30", text)
	}
	a, _ := strconv.Atoi(p[1])
	b, _ := strconv.Atoi(p[2])
	c, _ := strconv.Atoi(p[3])
	if len(p[1]) == 4 {
		order = YMD
	} else if order == YMD {
		return 0, 0, 0, "", fmt.Errorf("the date %q does not begin with the year; say --dates dmy or mdy", text)
	}
	switch order {
	case YMD:
		y, m, d = a, time.Month(b), c
	case DMY:
		y, m, d = c, time.Month(b), a
	default:
		y, m, d = c, time.Month(a), b
	}
	if y < 100 {
		y += 2000
	}
	if t := time.Date(y, m, d, 12, 0, 0, 0, time.UTC); m < 1 || m > 12 || t.Day() != d || t.Month() != m || y < 1990 || y > 2200 {
		return 0, 0, 0, "", fmt.Errorf("there is no day %q (read as %s)", text, order)
	}
	return y, m, d, strings.TrimSpace(p[4]), nil
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
		if strings.EqualFold(p[4], "pm") {
			h += 12
		}
	}
	if h > 23 || m > 59 || s > 59 {
		return refuse()
	}
	return h, m, s, nil
}
