package sanitizer

import (
	"fmt"
	"time"
)

// Solution is one mixed batch. Strengths are mg/L of what is counted.
type Solution struct {
	Code         string    `json:"code"`
	Product      string    `json:"product"`
	Active       Active    `json:"active"`
	MadeBy       string    `json:"made_by"`
	ComputedPPM  float64   `json:"computed_ppm"`
	MeasuredPPM  float64   `json:"measured_ppm"`   // of the last strip; see Measured
	Measured     bool      `json:"measured"`       // a strip was read (0 mg/L is a reading too)
	StripStepPPM float64   `json:"strip_step_ppm"` // distance between the colour blocks beside the reading
	MadeAt       time.Time `json:"made_at"`
	OpenedAt     time.Time `json:"opened_at"`  // when the stock was opened; zero = not known
	GoodUntil    time.Time `json:"good_until"` // zero = not stated
}

// GoodUntil is the earlier of hours after mixing and days after opening the
// stock, as far as the directions state them; the zero time when neither is.
func GoodUntil(madeAt, openedAt time.Time, d Directions) time.Time {
	until := time.Time{}
	if d.GoodMixedH > 0 {
		until = madeAt.Add(time.Duration(d.GoodMixedH * float64(time.Hour)))
	}
	if d.GoodOpenedDays > 0 && !openedAt.IsZero() {
		opened := openedAt.Add(time.Duration(d.GoodOpenedDays * 24 * float64(time.Hour)))
		if until.IsZero() || opened.Before(until) {
			until = opened
		}
	}
	return until
}

// StripInterval is what a strip reading can mean: the person names the nearest
// colour block, so the truth lies up to half a step to either side. Never
// below 0.
func StripInterval(readPPM, stepPPM float64) Window {
	half := max(0, stepPPM) / 2
	return Window{Min: max(0, readPPM-half), Max: readPPM + half}
}

// Strength is the strength to be judged and its uncertainty: the strip's when
// one was read, else the computed figure without any.
func (s Solution) Strength() Window {
	if s.Measured {
		return StripInterval(s.MeasuredPPM, s.StripStepPPM)
	}
	return Window{Min: s.ComputedPPM, Max: s.ComputedPPM}
}

// SolutionRules are the policy figures that Check uses.
type SolutionRules struct {
	NeedStrip bool    // a solution never measured fails
	MaxAgeH   float64 // farm's own limit where directions state none; 0 = none
	// MaxGapPercent is how far strip and recipe may differ before it is
	// worth a care note; 0 = not checked.
	MaxGapPercent float64
}

const directionsSource = "the product's directions on file"
const policySource = "the farm's own policy"

// Check judges a solution at a time against its directions (nil = none on
// file). An empty result means that nothing is known against it.
func (s Solution) Check(at time.Time, d *Directions, rules SolutionRules) []Finding {
	list := []Finding{}
	add := func(f Finding, bad bool) {
		if bad {
			list = append(list, f)
		}
	}
	age := at.Sub(s.MadeAt).Hours()
	add(Finding{Rule: "solution-future", Severity: Fail, Source: policySource, Figures: Figures{"age_h": age},
		Text: fmt.Sprintf("Solution %s is dated %s hours in the future: correct the date.", s.Code, figure(-age))}, age < -0.1)
	add(s.expired(at, age), !s.GoodUntil.IsZero() && at.After(s.GoodUntil))
	add(Finding{Rule: "solution-age", Severity: Fail, Source: policySource, Figures: Figures{"age_h": age, "max_age_h": rules.MaxAgeH},
		Text: fmt.Sprintf("Solution %s is %s hours old; the farm allows %s. Mix a fresh one.", s.Code, figure(age), figure(rules.MaxAgeH))},
		s.GoodUntil.IsZero() && rules.MaxAgeH > 0 && age > rules.MaxAgeH)
	add(Finding{Rule: "solution-unmeasured", Severity: severityIf(rules.NeedStrip), Source: policySource, Figures: Figures{"computed_ppm": s.ComputedPPM},
		Text: fmt.Sprintf("Solution %s was never measured; %s mg/L is only computed. Read a test strip.", s.Code, figure(s.ComputedPPM))}, !s.Measured)
	add(s.gap(rules.MaxGapPercent))
	if d == nil {
		return append(list, Finding{Rule: "no-directions", Severity: Fail, Source: directionsSource, Text: NoDirections})
	}
	return append(list, strengthFindings(s.Active, s.Strength(), *d, true)...)
}

func severityIf(fail bool) Severity {
	if fail {
		return Fail
	}
	return Care
}

func (s Solution) expired(at time.Time, age float64) Finding {
	over := at.Sub(s.GoodUntil).Hours()
	return Finding{Rule: "solution-expired", Severity: Fail, Source: directionsSource,
		Figures: Figures{"age_h": age, "over_h": over},
		Text:    fmt.Sprintf("Solution %s is out of date by %s hours (mixed %s hours ago). Mix a fresh one.", s.Code, figure(over), figure(age))}
}

// gap compares strip and recipe: a large gap means a measuring slip, old stock
// or an old strip.
func (s Solution) gap(maxPercent float64) (Finding, bool) {
	w := s.Strength()
	if !s.Measured || maxPercent <= 0 || s.ComputedPPM <= 0 || w.Has(s.ComputedPPM) {
		return Finding{}, false
	}
	percent := (s.MeasuredPPM/s.ComputedPPM - 1) * 100
	bad := percent > maxPercent || percent < -maxPercent
	return Finding{Rule: "strip-differs", Severity: Care, Source: policySource,
		Figures: Figures{"measured_ppm": s.MeasuredPPM, "computed_ppm": s.ComputedPPM, "gap_percent": percent, "max_gap_percent": maxPercent},
		Text:    fmt.Sprintf("The strip reads %s mg/L, the recipe gives %s (%+.0f %%): the stock may be old or the measuring wrong.", figure(s.MeasuredPPM), figure(s.ComputedPPM), percent)}, bad
}

// strengthFindings compares a strength, as an interval, with the directions
// and the no-rinse ceiling. rinsed: a rinse will be or was done.
func strengthFindings(a Active, got Window, d Directions, rinsed bool) []Finding {
	got = plain(got)
	list := []Finding{}
	want := d.StrengthPPM
	figures := Figures{"low_ppm": got.Min, "high_ppm": got.Max, "label_min_ppm": want.Min, "label_max_ppm": want.Max}
	add := func(rule string, sev Severity, text string) {
		list = append(list, Finding{Rule: rule, Severity: sev, Text: text, Figures: figures, Source: directionsSource})
	}
	label := figure(want.Min) + " to " + figure(want.Max) + " mg/L"
	switch {
	case below(got.Max, want.Min):
		add("strength-low", Fail, fmt.Sprintf("Too weak: %s, and the %s asks for %s.", intervalText(got), d.Kind, label))
	case below(want.Max, got.Min):
		add("strength-high", Fail, fmt.Sprintf("Too strong: %s, and the %s allows %s.", intervalText(got), d.Kind, label))
	case below(got.Min, want.Min) || below(want.Max, got.Max):
		add("strength-unsure", Care, fmt.Sprintf("The strip cannot tell: %s, and the %s asks for %s.", intervalText(got), d.Kind, label))
	}
	c, known := a.Ceiling()
	if known && !rinsed && below(c.PPM, got.Min) {
		list = append(list, Finding{Rule: "ceiling-no-rinse", Severity: Fail, Source: c.Source,
			Figures: Figures{"low_ppm": got.Min, "ceiling_ppm": c.PPM},
			Text:    fmt.Sprintf("%s mg/L is %s times the published ceiling of %s mg/L without a rinse, and no rinse is recorded. Rinse with potable water and record it.", figure(got.Min), figure(got.Min/c.PPM), figure(c.PPM))})
	}
	return list
}

// below compares with room for the rounding of unit conversions, one part in
// a million.
func below(a, b float64) bool { return a < b*(1-1e-6) }

func intervalText(w Window) string {
	if w.Min == w.Max {
		return figure(w.Min) + " mg/L"
	}
	return figure(w.Min) + " to " + figure(w.Max) + " mg/L"
}
