package medium

import (
	"fmt"
	"strings"
	"time"
)

// PublishedRange is what published rules and advice give for sanitizing with an
// active ingredient: the widest span of strengths in mg/L, and the shortest time
// of contact. A figure that none of them gives is 0.
type PublishedRange struct {
	LeastPPM, MostPPM float64
	ContactS          int
	Source            string
}

const chlorineRange = "FDA Food Code 4-501.114 and 4-703.11: 25 mg/L and more, 7 s and more; CDC bleach advice: 5 " +
	"tablespoons to a gallon, about 1,070 mg/L, rinsed"

var publishedRanges = map[string]PublishedRange{
	"hypochlorite":         {25, 1071, 7, chlorineRange},
	"calcium-hypochlorite": {25, 1071, 7, chlorineRange},
	"iodophor": {12.5, 25, 30,
		"FDA Food Code 4-501.114 and 4-703.11, as in Utah R392-102-10: 12.5 to 25 mg/L, 30 s and more"},
	"quat": {150, 400, 30, "New York Agriculture and Markets: 150 to 400 mg/L; Food Code 4-703.11: 30 s and more"},
	"peroxide": {0, 61200, 30,
		"University of Iowa EHS: up to 6 %; Food Code 4-703.11: 30 s and more; no least strength is published"},
	"peroxyacetic": {0, 500, 30,
		"65 FR 75168: up to 500 mg/L; Food Code 4-703.11: 30 s and more; no least strength is published"},
}

// outside says in what the directions lie outside every published range for
// their active ingredient; nothing where they do not, or none is published.
func (s Sanitizer) outside() (what string, r PublishedRange) {
	r, ok := publishedRanges[s.Active]
	if !ok || s.Directions == "" {
		return "", r
	}
	var out []string
	switch {
	case s.MaxPPM < r.LeastPPM:
		out = append(out, fmt.Sprintf("%g ppm at most, the weakest published is %g ppm", s.MaxPPM, r.LeastPPM))
	case s.MinPPM > r.MostPPM:
		out = append(out, fmt.Sprintf("%g ppm at least, the strongest published is %g ppm", s.MinPPM, r.MostPPM))
	}
	if s.ContactS < r.ContactS {
		out = append(out, fmt.Sprintf("%s wet, the shortest published is %s", Seconds(s.ContactS), Seconds(r.ContactS)))
	}
	return strings.Join(out, "; "), r
}

// checkRange asks before directions are put on file that no published range
// covers. A label may say so; a slip of the unit mostly does.
func (s Sanitizer) checkRange() error {
	if what, r := s.outside(); what != "" && !s.Confirmed {
		return &UnlikelyError{Product: s.Name, What: what, Source: r.Source}
	}
	return nil
}

// checkCorrects refuses a correction of a label that is not on file.
func (s Sanitizer) checkCorrects(f Farm, at time.Time) error {
	if s.Corrects == "" {
		return nil
	}
	if _, ok := f.label(s.Name, knownAt(at)); !ok {
		return &UnknownError{What: "sanitizer", Name: s.Name, Why: "there is no copy of its label to correct"}
	}
	return nil
}

// rangeFindings stand on the verdict for as long as such directions are used.
func (s Sanitizer) rangeFindings() []Finding {
	what, r := s.outside()
	if what == "" {
		return nil
	}
	return []Finding{{Rule: "directions-range", Severity: Care, Source: r.Source,
		Text: fmt.Sprintf("the directions of %s lie outside every published range: %s; read the label again", s.Name, what)}}
}
