package medium

import (
	"fmt"
	"strings"
	"time"
)

// Solution is one mixed batch of a sanitizer: what went into the bottle, and
// the strength that the amounts give. Its code begins with B. AdmitFarm fills in
// the active ingredient and until when it is good.
type Solution struct {
	record
	Code        Code      `cbor:"10" json:"code"`
	Product     string    `cbor:"11" json:"product"`
	Active      string    `cbor:"12" json:"active"`
	Stock       string    `cbor:"13" json:"stock,omitempty"` // strength of what it was mixed from, with its basis
	StockML     float64   `cbor:"14" json:"stock_ml,omitempty"`
	StockG      float64   `cbor:"15" json:"stock_g,omitempty"` // granules
	WaterML     float64   `cbor:"16" json:"water_ml,omitempty"`
	StrengthPPM float64   `cbor:"17" json:"strength_ppm"` // computed, mg/L
	GoodUntil   time.Time `cbor:"18" json:"good_until,omitzero"`
	OpenedAt    time.Time `cbor:"19" json:"opened_at,omitzero"` // when the bottle of stock was opened
}

// Strip is one reading of a test strip in a solution, in mg/L. StepPPM is the
// distance between the color blocks beside the reading.
type Strip struct {
	record
	Code    Code    `cbor:"10" json:"code"`
	ReadPPM float64 `cbor:"11" json:"read_ppm"`
	StepPPM float64 `cbor:"12" json:"step_ppm"`
}

// Discard says that a solution was poured away or used up.
type Discard struct {
	record
	Code   Code   `cbor:"10" json:"code"`
	Reason string `cbor:"11" json:"reason,omitempty"`
}

// Bottle is a solution that is still on the farm, with its maker and the last
// strip that was read in it.
type Bottle struct {
	record
	Solution Solution  `cbor:"10" json:"solution"`
	MadeAt   time.Time `cbor:"11" json:"made_at"`
	MadeBy   string    `cbor:"12" json:"made_by"`
	Strip    *Strip    `cbor:"13" json:"strip,omitempty"` // nil: never measured
	StripAt  time.Time `cbor:"14" json:"strip_at,omitzero"`
	StripBy  string    `cbor:"15" json:"strip_by,omitempty"`
}

// Strength is what the solution is judged by, in mg/L: the last strip, or the
// computed figure before a strip was read.
func (b Bottle) Strength() float64 {
	if b.Strip != nil {
		return b.Strip.ReadPPM
	}
	return b.Solution.StrengthPPM
}

// Range is the span, in mg/L, that the strength can have. A person names the
// nearest color block of a strip, so the truth lies up to half a step to either
// side. A computed strength has no span.
func (b Bottle) Range() (least, most float64) {
	if b.Strip == nil {
		return b.Solution.StrengthPPM, b.Solution.StrengthPPM
	}
	half := b.Strip.StepPPM / 2
	return max(0, b.Strip.ReadPPM-half), b.Strip.ReadPPM + half
}

// Bounds on what the farm's state keeps of its solutions; the records stay.
const (
	bottleKept = 30 * 24 * time.Hour // after its good-until
	maxBottles = 500
)

// Bottle finds a solution that is still on the farm.
func (f Farm) Bottle(code Code) (Bottle, bool) {
	for _, b := range f.Bottles {
		if b.Solution.Code == code {
			return b, true
		}
	}
	return Bottle{}, false
}

// applySolution brings the solutions on the farm up to date after a record. It
// drops those that are long out of date, and the oldest of too many.
func (f Farm) applySolution(s Step) []Bottle {
	out := make([]Bottle, 0, len(f.Bottles)+1)
	for _, b := range f.Bottles {
		switch body := s.Body.(type) {
		case *Solution:
			if b.Solution.Code == body.Code {
				continue
			}
		case *Discard:
			if b.Solution.Code == body.Code {
				continue
			}
		case *Strip:
			if b.Solution.Code == body.Code {
				strip := *body
				b.Strip, b.StripAt, b.StripBy = &strip, s.At, s.By
			}
		}
		if s.At.Sub(b.Solution.GoodUntil) <= bottleKept {
			out = append(out, b)
		}
	}
	if body, ok := s.Body.(*Solution); ok {
		out = append(out, Bottle{Solution: *body, MadeAt: s.At, MadeBy: s.By})
	}
	if len(out) > maxBottles {
		out = out[len(out)-maxBottles:]
	}
	if len(out) == 0 {
		return nil
	}
	return out
}

// admit completes a solution from the product's directions, and refuses one
// that can't be. A solution is good until the hours of the directions after
// mixing, or the farm's solution-hours where they name none, and never longer
// than its stock is good after opening.
func (b Solution) admit(f Farm, at time.Time) (*Solution, error) {
	if err := checkBottleCode(b.Code); err != nil {
		return nil, err
	}
	if _, taken := f.Bottle(b.Code); taken {
		return nil, &InputError{Field: "solution", Value: b.Code.String(), Want: "a code that no solution has"}
	}
	d, ok := f.Sanitizer(b.Product, "")
	if !ok {
		return nil, &UnknownError{What: "sanitizer", Name: b.Product, Do: "copy its label with `resow sanitizer add` before a solution of it is recorded"}
	}
	if err := first(checkText("stock", b.Stock), checkRange("computed strength", b.StrengthPPM, 0.1, 1e6, "ppm"),
		checkOptional("stock", b.StockML, 0.001, 1e8, "mL"), checkOptional("stock", b.StockG, 0.001, 1e8, "g"), checkOptional("water", b.WaterML, 0, 1e8, "mL")); err != nil {
		return nil, err
	}
	if b.OpenedAt.After(at) {
		return nil, &InputError{Field: "stock opened", Value: b.OpenedAt.Format(time.DateOnly), Want: "a day before the mixing"}
	}
	b.Product, b.Active = d.Name, d.Active
	b.OpenedAt = b.OpenedAt.UTC().Truncate(time.Second)
	b.GoodUntil = d.goodUntil(f.Policy, at, b.OpenedAt)
	return &b, nil
}

func (s Sanitizer) goodUntil(p Policy, mixed, opened time.Time) time.Time {
	h := s.MixedHours
	if h == 0 {
		h = p.Setting("solution-hours").Limit
	}
	until := mixed.Add(hours(h))
	if s.OpenedDays > 0 && !opened.IsZero() {
		if stock := opened.Add(hours(24 * s.OpenedDays)); stock.Before(until) {
			until = stock
		}
	}
	return until.Truncate(time.Second)
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

func (b Strip) check(f Farm) error {
	if _, ok := f.Bottle(b.Code); !ok {
		return noSolution(b.Code)
	}
	return first(checkRange("strip reading", b.ReadPPM, 0, 700000, "ppm"), checkRange("step of the strip", b.StepPPM, 0, 100000, "ppm"))
}

func (b Discard) check(f Farm) error {
	if _, ok := f.Bottle(b.Code); !ok {
		return noSolution(b.Code)
	}
	return checkText("reason", b.Reason)
}

func noSolution(code Code) error {
	return &UnknownError{What: "solution", Name: code.String(), Do: "`resow solution list` shows those that were not discarded; mix a fresh one with `resow mix --bottle`"}
}

func checkBottleCode(code Code) error {
	if len(code) != 8 || !strings.HasPrefix(string(code), "B") {
		return &InputError{Field: "solution", Value: string(code), Want: "a code of eight characters that begins with B"}
	}
	return nil
}

// missedSolution checks the solution that a step was done with, and writes its
// product, strength and record into the step.
func missedSolution(f Farm, b *Sanitize, at time.Time) []Finding {
	bottle, ok := f.Bottle(b.Solution)
	if !ok {
		return []Finding{{Rule: "solution-unknown", Severity: StepRule, Source: "a solution is known by its record",
			Text: fmt.Sprintf("no solution %s is on file; it was discarded, is long out of date, or was never recorded", b.Solution)}}
	}
	s := bottle.Solution
	b.Product, b.Active, b.StrengthPPM, b.Mixed = s.Product, s.Active, bottle.Strength(), &bottle
	var out []Finding
	loc := f.Location()
	const stamp = "2 Jan 15:04"
	source := "the directions of " + s.Product
	if d, _ := f.Sanitizer(s.Product, ""); d.MixedHours == 0 {
		r, _ := RuleNamed("solution-hours")
		source = r.Source
	}
	if at.Before(bottle.MadeAt) {
		out = append(out, Finding{Rule: "solution-date", Severity: StepRule, Source: "the order of the records",
			Text: fmt.Sprintf("solution %s was mixed at %s, after this step at %s; give the right time", s.Code, bottle.MadeAt.In(loc).Format(stamp), at.In(loc).Format(stamp))})
	}
	if at.After(s.GoodUntil) {
		out = append(out, Finding{Rule: "solution-expired", Severity: StepRule, Source: source,
			Text: fmt.Sprintf("solution %s was good until %s and was used %s later (mixed %s); discard it and mix a fresh one", s.Code, s.GoodUntil.In(loc).Format(stamp), spanText(at.Sub(s.GoodUntil)), bottle.MadeAt.In(loc).Format(stamp))})
	}
	if bottle.Strip == nil {
		out = append(out, f.Policy.unmeasured(s))
	}
	return out
}

// unmeasured is the finding on a solution whose strength is only computed. It
// fails the step for the actives that the policy names: chlorine (limit 1),
// whose strength fades, or all (limit 2).
func (p Policy) unmeasured(s Solution) Finding {
	out := p.finding("solution-measured", "solution %s was never measured, %g ppm is only computed; read a test strip and record it with `resow solution strip`", s.Code, s.StrengthPPM)
	set := p.Setting("solution-measured")
	if !set.On || set.Limit < 2 && !chlorine(s.Active) {
		out.Severity = Care
	}
	return out
}

// spanText writes a time that went by, for people.
func spanText(d time.Duration) string {
	switch {
	case d < time.Hour:
		return plural(int(max(d.Minutes(), 1)), "minute")
	case d < 48*time.Hour:
		return fmt.Sprintf("%.1f hours", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}
