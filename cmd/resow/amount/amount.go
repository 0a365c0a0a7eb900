// Package amount reads the quantities that a person types: a number with its
// unit. A bare number is refused wherever its unit could be misread.
package amount

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"resow/medium/sanitizer"
)

// Error refuses an amount.
type Error struct{ What, Input, Want string }

func (e *Error) Error() string {
	return fmt.Sprintf("%s %q: want %s", e.What, e.Input, e.Want)
}

var (
	// Inch: 25.4 mm exactly (international yard and pound, 1959).
	lengths = map[string]float64{"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "\"": 25.4}
	times   = map[string]float64{"s": 1, "sec": 1, "min": 60, "h": 3600, "d": 86400}
)

// Length reads a length and gives it in mm: 250mm, 9.8in.
func Length(what, text string) (float64, error) {
	return scaled(what, text, lengths, "a length with its unit: 250mm, 25cm or 9.8in")
}

// Mass reads a mass and gives it in grams: 28g, 1oz.
func Mass(what, text string) (float64, error) {
	return measure(what, text, sanitizer.ParseMass, "a mass with its unit: 28g, 1.5kg or 1oz")
}

// Volume reads a volume and gives it in mL: 500mL, 2tbsp, 1 1/2 tsp, 1gal (US
// measures).
func Volume(what, text string) (float64, error) {
	return measure(what, text, sanitizer.ParseVolume, "a volume with its unit: 500mL, 2L, 2tbsp, 1 1/2 tsp or 1gal")
}

// measure reads with the mixing bench's parser, which has no use for nothing;
// here none is an amount too: a harvest of 0g.
func measure(what, text string, read func(string) (float64, error), want string) (float64, error) {
	got, err := read(text)
	if err == nil {
		return got, nil
	}
	if v, unit, ok := split(text); ok && v == 0 {
		if _, noUnit := read("1" + unit); noUnit == nil {
			return 0, nil
		}
	}
	var input *sanitizer.InputError
	if errors.As(err, &input) {
		want += " (" + input.Why + ")"
	}
	return 0, &Error{what, text, want}
}

// Span reads a length of time, in whole seconds that have passed: 10min, 90s,
// 2h, 3d. 119.5s is 119 s, since a time that was not reached does not count.
func Span(what, text string) (time.Duration, error) {
	s, err := scaled(what, text, times, "a time with its unit: 30s, 10min, 2h or 3d")
	if err != nil {
		return 0, err
	}
	if s > 3660*86400 {
		return 0, &Error{what, text, "at most ten years"}
	}
	return time.Duration(math.Floor(s+1e-6)) * time.Second, nil // the millionth is for 0.1h, which is not whole in binary
}

// Temperature reads a temperature and gives it in degrees Celsius: 20C, 68F.
func Temperature(what, text string) (float64, error) {
	v, unit, ok := split(strings.ReplaceAll(text, "°", ""))
	switch {
	case ok && unit == "c":
		return v, nil
	case ok && unit == "f":
		return (v - 32) * 5 / 9, nil
	}
	return 0, &Error{what, text, "a temperature with its unit: 20C or 68F"}
}

// Density reads a density and gives it in g/mL: 1.08g/mL, 1.08kg/L.
func Density(what, text string) (float64, error) {
	return scaled(what, text, map[string]float64{"g/ml": 1, "kg/l": 1, "g/cm3": 1}, "a density with its unit: 1.08g/mL")
}

// Percent reads a share: 3%.
func Percent(what, text string) (float64, error) {
	v, unit, ok := split(text)
	if ok && unit == "%" && v <= 100 {
		return v, nil
	}
	return 0, &Error{what, text, "a percentage of at most 100: 3%"}
}

// Size reads length by width and gives both in mm, the longer first only if it
// was typed so: 250x510mm, 9.8x20in, 250mm x 510mm.
func Size(what, text string) (a, b float64, err error) {
	want := &Error{what, text, "length x width with the unit: 250x510mm or 9.8x20in"}
	left, right, ok := strings.Cut(strings.ToLower(strings.ReplaceAll(text, "×", "x")), "x")
	if !ok {
		return 0, 0, want
	}
	right = strings.TrimSpace(right)
	left = strings.TrimSpace(left)
	if _, unit, ok := split(left); ok && unit == "" {
		_, rightUnit, _ := split(right)
		left += rightUnit
	}
	if a, err = Length(what, left); err != nil {
		return 0, 0, want
	}
	if b, err = Length(what, right); err != nil {
		return 0, 0, want
	}
	return a, b, nil
}

// Number reads a plain number, for what has no unit: a pH, a swab reading.
func Number(what, text string) (float64, error) {
	v, unit, ok := split(text)
	if !ok || unit != "" {
		return 0, &Error{what, text, "a number without a unit"}
	}
	return v, nil
}

// Beside gives a bare number the unit that stands beside its field, where the
// person sees it. A unit that was typed stands.
func Beside(text, unit string) string {
	if text = strings.TrimSpace(text); text != "" && text[len(text)-1] >= '0' && text[len(text)-1] <= '9' {
		return text + unit
	}
	return text
}

// At reads when something was done: 2026-11-24 18:30, 24.11.2026 18:30, 18:30 (today),
// yesterday 18:30, -2h (so long ago), or RFC 3339. Times without a zone are the farm's. Years
// before 2000 and after 2200 are refused: they are slips of the pen.
func At(text string, now time.Time) (time.Time, error) {
	text = strings.TrimSpace(text)
	t, err := readAt(text, now)
	if err == nil && (t.Year() < 2000 || t.Year() > 2200) {
		return time.Time{}, &Error{"time", text, "a year from 2000 to 2200"}
	}
	return t, err
}

// AtDay is At that takes a day alone too, for what nobody wrote down the time of:
// 2026-11-24, or yesterday. Then day is true, and t some time of that day.
func AtDay(text string, now time.Time) (t time.Time, day bool, err error) {
	text = strings.TrimSpace(text)
	if strings.EqualFold(text, "yesterday") {
		text = now.AddDate(0, 0, -1).Format(time.DateOnly)
	}
	if written, err := time.Parse(dotted, text); err == nil {
		text = written.Format(time.DateOnly)
	}
	if _, err := time.Parse(time.DateOnly, text); err == nil {
		t, err = At(text+" 12:00", now)
		return t, true, err
	}
	t, err = At(text, now)
	return t, false, err
}

// dotted is a date as much of Europe writes it. With slashes the month could be either.
const dotted = "2.1.2006"

func readAt(text string, now time.Time) (time.Time, error) {
	if ago, ok := strings.CutPrefix(text, "-"); ok {
		d, err := Span("time", ago)
		return now.Add(-d), err
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return t, nil
	}
	day := now
	clock := text
	if rest, ok := strings.CutPrefix(strings.ToLower(text), "yesterday"); ok {
		day, clock = now.AddDate(0, 0, -1), strings.TrimSpace(rest)
	}
	if t, err := time.ParseInLocation("15:04", clock, now.Location()); err == nil {
		return local(text, time.Date(day.Year(), day.Month(), day.Day(), t.Hour(), t.Minute(), 0, 0, time.UTC),
			now.Location())
	}
	for _, layout := range []string{"2006-01-02 15:04", "2006-01-02T15:04", dotted + " 15:04"} {
		if t, err := time.Parse(layout, text); err == nil {
			return local(text, t, now.Location())
		}
	}
	return time.Time{}, &Error{"time", text, "a time as 2026-11-24 18:30, as 18:30 for today, as " +
		"yesterday 18:30, or as -2h for so long ago"}
}

// local gives the time at which the clocks of a place show what wall, in UTC,
// shows. Where they are changed, a time can be left out or come twice; neither is
// guessed.
func local(text string, wall time.Time, loc *time.Location) (time.Time, error) {
	var found []time.Time
	day := 24 * time.Hour
	for _, near := range []time.Time{wall.Add(-day).In(loc), wall.Add(day).In(loc)} { // before and after a change
		_, offset := near.Zone()
		t := wall.Add(-time.Duration(offset) * time.Second).In(loc)
		if t.Format(time.DateTime) == wall.Format(time.DateTime) && (len(found) == 0 || !found[0].Equal(t)) {
			found = append(found, t)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		_, change := wall.Add(-day).In(loc).ZoneBounds()
		_, offset := change.Add(-time.Second).In(loc).Zone()
		was := change.In(time.FixedZone("", offset)) // by the old clock
		return time.Time{}, &Error{"time", text,
			fmt.Sprintf("another time: the clocks there went from %s to %s on %s", was.Format("15:04"),
				change.In(loc).Format("15:04"), was.Format(time.DateOnly))}
	}
	return time.Time{}, &Error{"time", text,
		fmt.Sprintf("which of two, since the clocks were put back: %s or %s", found[0].Format(time.RFC3339),
			found[1].Format(time.RFC3339))}
}

func scaled(what, text string, units map[string]float64, want string) (float64, error) {
	v, unit, ok := split(text)
	factor, known := units[strings.ReplaceAll(unit, " ", "")]
	if !ok || !known {
		return 0, &Error{what, text, want}
	}
	return v * factor, nil
}

// split parts a number that is not negative from its unit, which it gives in
// lower case. A decimal comma is read as a point; 1,000 is refused, since it
// can be a thousand or one.
func split(text string) (float64, string, bool) {
	digits, unit := sanitizer.SplitNumber(strings.ToLower(text))
	v, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return 0, "", false
	}
	return v, unit, true
}

// Percents is the unit of a pair of percentages.
var Percents = map[string]float64{"%": 1}

// Lengths are the units of a pair of lengths, in mm.
var Lengths = map[string]float64{"mm": 1, "cm": 10, "in": 25.4}

// Pair reads two numbers with one unit at the end, either of which may be
// negative: 1.5x-0.5mm, 100.3x100%.
func Pair(what, text string, units map[string]float64, want string) (x, y float64, err error) {
	refused := &Error{what, text, want}
	s := strings.ToLower(strings.ReplaceAll(strings.ReplaceAll(text, "×", "x"), " ", ""))
	for unit, factor := range units {
		left, right, ok := strings.Cut(strings.TrimSuffix(s, unit), "x")
		if !ok || !strings.HasSuffix(s, unit) {
			continue
		}
		left = strings.TrimSuffix(left, unit)
		x, errX := strconv.ParseFloat(strings.Replace(left, ",", ".", 1), 64)
		y, errY := strconv.ParseFloat(strings.Replace(right, ",", ".", 1), 64)
		if errX != nil || errY != nil || math.IsInf(x, 0) || math.IsInf(y, 0) || math.IsNaN(x) || math.IsNaN(y) {
			return 0, 0, refused
		}
		return x * factor, y * factor, nil
	}
	return 0, 0, refused
}
