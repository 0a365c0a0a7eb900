package medium

import (
	"fmt"
	"slices"
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
	// Directions is the product as it was on file when the solution was mixed: a
	// label that is copied anew does not change what is in a bottle.
	Directions *Sanitizer `cbor:"16" json:"directions,omitempty"`
	// DiscardedAt is zero for a solution that is still on the farm.
	DiscardedAt time.Time `cbor:"17" json:"discarded_at,omitzero"`
	DiscardedBy string    `cbor:"18" json:"discarded_by,omitempty"`
}

// There says whether the solution was still on the farm at a time.
func (b Bottle) There(at time.Time) bool {
	return b.DiscardedAt.IsZero() || at.Before(b.DiscardedAt)
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
	bottleKept    = 30 * 24 * time.Hour // after its good-until
	maxBottles    = 500
	discardedKept = 14 * 24 * time.Hour // after it was discarded, for late entries
	maxDiscarded  = 100
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

// BottleAt finds the solution that had a code at a time: one that was discarded
// later can still be named by a late entry, also where its bottle was filled again
// under the same code. Discarded before that time, it gives *DiscardedError; never
// recorded, *UnknownError. One that was mixed only after that time is given too.
func (f Farm) BottleAt(code Code, at time.Time) (Bottle, error) {
	var found, last *Bottle
	for _, list := range [][]Bottle{f.Discarded, f.Bottles} { // oldest first
		for i := range list {
			b := &list[i]
			if b.Solution.Code != code {
				continue
			}
			last = b
			if b.There(at) && !at.Before(b.MadeAt) {
				found = b
			}
		}
	}
	switch {
	case found != nil:
		return *found, nil
	case last == nil:
		return Bottle{}, noSolution(code)
	case !last.There(at):
		return *last, &DiscardedError{Code: code, At: last.DiscardedAt.In(f.Location()), By: last.DiscardedBy}
	}
	return *last, nil
}

// DirectionsOf gives the directions that a solution was mixed under.
func (f Farm) DirectionsOf(b Bottle) (Sanitizer, bool) {
	if b.Directions != nil {
		return *b.Directions, true
	}
	d, ok := f.Sanitizer(b.Solution.Product, "")
	return d, ok && d.Active == b.Solution.Active
}

// applySolution brings the solutions of the farm up to date after a record. It
// drops those that are long out of date, and the oldest of too many.
func (f Farm) applySolution(s Step) (there, discarded []Bottle) {
	there = make([]Bottle, 0, len(f.Bottles)+1)
	kept := func(b Bottle) bool { return s.At.Sub(b.Solution.GoodUntil) <= bottleKept }
	f = f.read(s)
	for _, b := range f.Discarded {
		if s.At.Sub(b.DiscardedAt) <= discardedKept {
			discarded = append(discarded, b)
		}
	}
	for _, b := range f.Bottles {
		switch body := s.Body.(type) {
		case *Solution:
			if b.Solution.Code == body.Code {
				continue
			}
		case *Discard:
			if b.Solution.Code == body.Code {
				b.DiscardedAt, b.DiscardedBy = s.At, s.By
				discarded = append(discarded, b)
				continue
			}
		}
		if kept(b) {
			there = append(there, b)
		}
	}
	if body, ok := s.Body.(*Solution); ok {
		b := Bottle{Solution: *body, MadeAt: s.At, MadeBy: s.By}
		if d, ok := f.DirectionsOf(b); ok {
			b.Directions = &d
		}
		there = append(there, b)
	}
	return newest(there, maxBottles), newest(discarded, maxDiscarded)
}

// read gives the farm after a strip that was read in one of its solutions.
func (f Farm) read(s Step) Farm {
	body, ok := s.Body.(*Strip)
	if !ok {
		return f
	}
	in, err := f.BottleAt(body.Code, s.At)
	if err != nil {
		return f
	}
	strip := *body
	with := func(list []Bottle) []Bottle {
		list = slices.Clone(list) // the farm before the step is somebody else's
		for i, b := range list {
			same := b.Solution.Code == body.Code && b.MadeAt.Equal(in.MadeAt) && b.DiscardedAt.Equal(in.DiscardedAt)
			if same && !s.At.Before(b.StripAt) { // written down late, it does not take the place of a newer reading
				list[i].Strip, list[i].StripAt, list[i].StripBy = &strip, s.At, s.By
			}
		}
		return list
	}
	f.Bottles, f.Discarded = with(f.Bottles), with(f.Discarded)
	return f
}

// newest keeps the last n; nil where there is none.
func newest(list []Bottle, n int) []Bottle {
	if len(list) == 0 {
		return nil
	}
	return list[max(0, len(list)-n):]
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

func (b Strip) check(f Farm, at time.Time) error {
	bottle, err := f.BottleAt(b.Code, at)
	if err != nil {
		return err
	}
	if at.Before(bottle.MadeAt) {
		const stamp = "2 Jan 15:04"
		return &InputError{Field: "time of the strip", Value: at.In(f.Location()).Format(stamp), Want: "a time after the mixing, " + bottle.MadeAt.In(f.Location()).Format(stamp)}
	}
	if b.StepPPM == 0 {
		return &InputError{Field: "step of the strip", Value: "0 ppm", Want: "the distance between the color blocks beside the reading, as on the strip's package: no strip tells every ppm"}
	}
	return first(checkRange("strip reading", b.ReadPPM, 0, 700000, "ppm"), checkRange("step of the strip", b.StepPPM, 0.1, 100000, "ppm"))
}

// check refuses to discard a solution twice, whatever time is given.
func (b Discard) check(f Farm) error {
	if _, ok := f.Bottle(b.Code); !ok {
		_, err := f.BottleAt(b.Code, lastTime)
		return err
	}
	return checkText("reason", b.Reason)
}

// lastTime lies after every record.
var lastTime = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

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
	bottle, err := f.BottleAt(b.Solution, at)
	if bottle.Solution.Code == "" {
		return []Finding{{Rule: "solution-unknown", Severity: StepRule, Source: "a solution is known by its record",
			Text: fmt.Sprintf("no solution %s is on file; it is long out of date, or was never recorded", b.Solution)}}
	}
	s := bottle.Solution
	mixed := bottle
	mixed.Directions = nil // the step keeps them itself
	if err == nil {
		mixed.DiscardedAt, mixed.DiscardedBy = time.Time{}, "" // as it stood
	}
	b.Product, b.Active, b.StrengthPPM, b.Mixed = s.Product, s.Active, bottle.Strength(), &mixed
	var out []Finding
	if err != nil {
		out = append(out, Finding{Rule: "solution-discarded", Severity: StepRule, Source: "the order of the records", Text: err.Error()})
	}
	loc := f.Location()
	const stamp = "2 Jan 15:04"
	source := "the directions of " + s.Product
	if d, _ := f.DirectionsOf(bottle); d.MixedHours == 0 {
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
