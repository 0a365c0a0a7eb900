package medium

import (
	"errors"
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
	Code    Code   `cbor:"10,keyasint,omitzero" json:"code"`
	Product string `cbor:"11,keyasint,omitzero" json:"product"`
	Active  string `cbor:"12,keyasint,omitzero" json:"active"`
	// strength of what it was mixed from, with its basis
	Stock       string    `cbor:"13,keyasint,omitzero" json:"stock,omitempty"`
	StockML     float64   `cbor:"14,keyasint,omitzero" json:"stock_ml,omitempty"`
	StockG      float64   `cbor:"15,keyasint,omitzero" json:"stock_g,omitempty"` // granules
	WaterML     float64   `cbor:"16,keyasint,omitzero" json:"water_ml,omitempty"`
	StrengthPPM float64   `cbor:"17,keyasint,omitzero" json:"strength_ppm"` // computed, mg/L
	GoodUntil   time.Time `cbor:"18,keyasint,omitzero" json:"good_until,omitzero"`
	OpenedAt    time.Time `cbor:"19,keyasint,omitzero" json:"opened_at,omitzero"` // when the bottle of stock was opened
	TempC       *float64  `cbor:"20,keyasint,omitzero" json:"temp_c,omitempty"`   // read when it was mixed
	PH          *float64  `cbor:"21,keyasint,omitzero" json:"ph,omitempty"`
}

func (*Solution) kind() Kind { return KindSolution }

// Strip is what was read in a solution: a test strip, in mg/L, the temperature
// and the pH of the batch, or some of them. StepPPM is the distance between the
// color blocks beside the strip's reading, 0 where no strip was read.
type Strip struct {
	record
	Code    Code     `cbor:"10,keyasint,omitzero" json:"code"`
	ReadPPM float64  `cbor:"11,keyasint,omitzero" json:"read_ppm"`
	StepPPM float64  `cbor:"12,keyasint,omitzero" json:"step_ppm"`
	TempC   *float64 `cbor:"13,keyasint,omitzero" json:"temp_c,omitempty"`
	PH      *float64 `cbor:"14,keyasint,omitzero" json:"ph,omitempty"`
}

func (*Strip) kind() Kind { return KindStrip }

// strength says that a test strip was read, not the temperature or pH alone.
func (s Strip) strength() bool { return s.StepPPM > 0 || s.TempC == nil && s.PH == nil }

// Reading is a Strip with when it was read and by whom.
type Reading struct {
	record
	Noted Noted `cbor:"10,keyasint,omitzero" json:"noted"`
	Strip Strip `cbor:"11,keyasint,omitzero" json:"strip"`
}

// Discard says that a solution was poured away or used up.
type Discard struct {
	record
	Code   Code   `cbor:"10,keyasint,omitzero" json:"code"`
	Reason string `cbor:"11,keyasint,omitzero" json:"reason,omitempty"`
}

func (*Discard) kind() Kind { return KindDiscard }

// Bottle is a solution with its maker and the last strip that was read in it.
// The farm keeps all that was read; a step keeps the solution as it stood, with
// the strip that counted.
type Bottle struct {
	record
	Solution Solution  `cbor:"10,keyasint,omitzero" json:"solution"`
	MadeAt   time.Time `cbor:"11,keyasint,omitzero" json:"made_at"`
	MadeBy   string    `cbor:"12,keyasint,omitzero" json:"made_by"`
	Strip    *Strip    `cbor:"13,keyasint,omitzero" json:"strip,omitempty"` // nil: never measured
	StripAt  time.Time `cbor:"14,keyasint,omitzero" json:"strip_at,omitzero"`
	StripBy  string    `cbor:"15,keyasint,omitzero" json:"strip_by,omitempty"`
	// DiscardedAt is zero for a solution that is still on the farm.
	DiscardedAt time.Time `cbor:"17,keyasint,omitzero" json:"discarded_at,omitzero"`
	DiscardedBy string    `cbor:"18,keyasint,omitzero" json:"discarded_by,omitempty"`

	Readings []Reading `cbor:"19,keyasint,omitzero" json:"readings,omitempty"` // in the order of their times
	Made     Noted     `cbor:"20,keyasint,omitzero" json:"made,omitzero"`
	Gone     Noted     `cbor:"21,keyasint,omitzero" json:"gone,omitzero"`
	// Doubted: something was learned of it later. It is kept for good, since what
	// was learned stops the mats that rested on it.
	Doubted bool `cbor:"22,keyasint,omitzero" json:"doubted,omitempty"`
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

// solutionKept is how long the farm's state keeps a solution of which nothing was
// learned later, after it was discarded or went out of date: longer than the
// longest sanitize-lapsed, after which nothing counts that was done with it. A
// record that names an older one is told so, and no number of them drops one.
const solutionKept = 400 * 24 * time.Hour

// as gives the solution as a decision knows it.
func (b Bottle) as(k known) Bottle {
	all := b.Readings
	b.Readings = nil
	for _, r := range all {
		if k.of(r.Noted) {
			b.Readings = append(b.Readings, r)
		}
	}
	if !b.gone(k) {
		b.DiscardedAt, b.DiscardedBy, b.Gone = time.Time{}, "", Noted{}
	}
	return b.measured()
}

func (b Bottle) gone(k known) bool { return !b.DiscardedAt.IsZero() && k.of(b.Gone) }

// measured takes the last strip of the readings as the one that counts.
func (b Bottle) measured() Bottle {
	b.Strip, b.StripAt, b.StripBy = nil, time.Time{}, ""
	if r, ok := b.last(Strip.strength); ok {
		b.Strip, b.StripAt, b.StripBy = &r.Strip, r.Noted.At, r.Noted.By
	}
	return b
}

func (b Bottle) last(has func(Strip) bool) (Reading, bool) {
	for _, r := range slices.Backward(b.Readings) {
		if has(r.Strip) {
			return r, true
		}
	}
	return Reading{}, false
}

// Temperature gives the last reading that has one.
func (b Bottle) Temperature() (Reading, bool) {
	return b.last(func(s Strip) bool { return s.TempC != nil })
}

// PH gives the last reading that has one.
func (b Bottle) PH() (Reading, bool) { return b.last(func(s Strip) bool { return s.PH != nil }) }

// stood is the solution as a step keeps it.
func (b Bottle) stood() *Bottle {
	b.Readings, b.Made, b.Gone, b.Doubted = nil, Noted{}, Noted{}, false
	return &b
}

// Bottle finds a solution that is still on the farm.
func (f Farm) Bottle(code Code) (Bottle, bool) {
	for _, b := range f.Bottles {
		if b.Solution.Code == code {
			return b, true
		}
	}
	return Bottle{}, false
}

// BottleAt finds the solution that had a code at a time, as it stood: with the
// strips that had been read by then, and not discarded where that was later, also
// where its bottle was filled again under the same code. Discarded before that
// time, it gives *DiscardedError; never recorded, *UnknownError. One that was
// mixed only after that time is given too.
func (f Farm) BottleAt(code Code, at time.Time) (Bottle, error) { return f.bottleAs(code, knownAt(at)) }

func (f Farm) bottleAs(code Code, k known) (Bottle, error) {
	var found, last *Bottle
	for _, list := range [][]Bottle{f.Discarded, f.Bottles} { // oldest first
		for i := range list {
			b := &list[i]
			if b.Solution.Code != code || !k.recorded(b.Made) {
				continue
			}
			last = b
			if !b.gone(k) && !k.at.Before(b.MadeAt) && (found == nil || !b.MadeAt.Before(found.MadeAt)) {
				found = b
			}
		}
	}
	switch {
	case found != nil:
		return found.as(k), nil
	case last == nil:
		return Bottle{}, noSolution(code)
	case last.gone(k):
		return last.as(k), &DiscardedError{Code: code, At: last.DiscardedAt.In(f.Location()), By: last.DiscardedBy}
	}
	return last.as(k), nil
}

// applySolution brings the solutions of the farm up to date after a record.
func (f Farm) applySolution(s Step) Farm {
	switch b := s.Body.(type) {
	case *Solution:
		f = f.discard(b.Code, s) // only of a ledger from before a code was given once
		f = f.mixed(s, *b)
	case *Strip:
		if in, err := f.BottleAt(b.Code, s.At); err == nil {
			r := Reading{Noted: noted(s), Strip: *b}
			f.Bottles, f.Discarded = withReading(f.Bottles, in, r), withReading(f.Discarded, in, r)
		}
	case *Discard:
		f = f.discard(b.Code, s)
	}
	return f
}

// stillNamed drops the solutions that no record names any more. The farm before
// it keeps its own list. The time is that of a record before the last, so that one
// by a clock that is years ahead drops none.
func stillNamed(list []Bottle, at time.Time) []Bottle {
	old := func(b Bottle) bool {
		last := b.Solution.GoodUntil
		if !b.DiscardedAt.IsZero() {
			last = b.DiscardedAt
		}
		return !b.Doubted && !last.IsZero() && at.Sub(last) > solutionKept
	}
	if !slices.ContainsFunc(list, old) {
		return list
	}
	return slices.DeleteFunc(slices.Clone(list), old)
}

func (f Farm) mixed(s Step, body Solution) Farm {
	b := Bottle{Solution: body, MadeAt: s.At, MadeBy: s.By, Made: noted(s)}
	if body.TempC != nil || body.PH != nil {
		b.Readings = []Reading{{Noted: noted(s), Strip: Strip{Code: body.Code, TempC: body.TempC, PH: body.PH}}}
	}
	_, err := f.BottleAt(body.Code, lastTime)
	var never *UnknownError
	b.Doubted = LearnedLater(s) && !errors.As(err, &never) // a new code was named by no step
	f.Bottles = append(slices.Clip(f.Bottles), b)
	return f
}

func (f Farm) discard(code Code, s Step) Farm {
	i := slices.IndexFunc(f.Bottles, func(b Bottle) bool { return b.Solution.Code == code })
	if i < 0 {
		return f
	}
	b := f.Bottles[i]
	b.DiscardedAt, b.DiscardedBy, b.Gone = s.At, s.By, noted(s)
	b.Doubted = b.Doubted || LearnedLater(s)
	f.Bottles, f.Discarded = slices.Delete(slices.Clone(f.Bottles), i, i+1), append(slices.Clip(f.Discarded), b)
	return f
}

// withReading puts a reading into one solution of a list, at its time: one that
// was written down late does not take the place of a newer one.
func withReading(list []Bottle, in Bottle, r Reading) []Bottle {
	i := slices.IndexFunc(list, func(b Bottle) bool {
		return b.Solution.Code == in.Solution.Code && b.MadeAt.Equal(in.MadeAt) && b.Made.Seq == in.Made.Seq
	})
	if i < 0 {
		return list
	}
	list = slices.Clone(list) // the farm before the step is somebody else's
	b := &list[i]
	at := len(b.Readings)
	for at > 0 && b.Readings[at-1].Noted.At.After(r.Noted.At) {
		at--
	}
	b.Readings = slices.Insert(slices.Clone(b.Readings), at, r)
	b.Doubted = b.Doubted || r.Noted.later()
	*b = b.measured()
	return list
}

// admit completes a solution from the product's directions, and refuses one
// that can't be. A solution is good until the hours of the directions after
// mixing, or the farm's solution-hours where they name none, and never longer
// than its stock is good after opening.
func (b Solution) admit(f Farm, at time.Time) (*Solution, error) {
	if err := checkBottleCode(b.Code); err != nil {
		return nil, err
	}
	_, taken := f.Bottle(b.Code)
	if in, err := f.BottleAt(b.Code, at); taken || err == nil && !at.Before(in.MadeAt) { // or it had one then
		return nil, &InputError{Field: "solution", Value: b.Code.String(), Want: "a code that no solution has"}
	}
	d, ok := f.AsOf(at).Sanitizer(b.Product, "")
	if !ok {
		return nil, &UnknownError{What: "sanitizer", Name: b.Product, Why: f.onFileOnly(b.Product, false, at)}
	}
	if err := checkWater(b.TempC, b.PH); err != nil {
		return nil, err
	}
	if err := first(checkText("stock", b.Stock), checkRange("computed strength", b.StrengthPPM, 0.1, 1e6, "ppm"),
		checkOptional("stock", b.StockML, 0.001, 1e8, "mL"), checkOptional("stock", b.StockG, 0.001, 1e8, "g"),
		checkOptional("water", b.WaterML, 0, 1e8, "mL")); err != nil {
		return nil, err
	}
	if b.OpenedAt.After(at) {
		return nil, &InputError{Field: "stock opened", Value: b.OpenedAt.Format(time.DateOnly),
			Want: "a day before the mixing"}
	}
	b.Product, b.Active = d.Name, d.Active
	b.OpenedAt = b.OpenedAt.UTC().Truncate(time.Second)
	b.GoodUntil = d.goodUntil(f.AsOf(at).Policy, at, b.OpenedAt)
	return &b, nil
}

func (s Sanitizer) goodUntil(p Policy, mixed, opened time.Time) time.Time {
	h := s.MixedHours
	if h == 0 {
		h = p.Setting("solution-hours").Limit
	}
	until := mixed.Add(hours(h)).Truncate(time.Second)
	if stock := s.stockUntil(opened); !stock.IsZero() && stock.Before(until) {
		return stock
	}
	return until
}

// stockUntil is until when an opened bottle of stock is good; zero where nothing says.
func (s Sanitizer) stockUntil(opened time.Time) time.Time {
	if s.OpenedDays == 0 || opened.IsZero() {
		return time.Time{}
	}
	return opened.Add(hours(24 * s.OpenedDays)).Truncate(time.Second)
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

func (b Strip) check(f Farm, at time.Time) error {
	bottle, err := f.BottleAt(b.Code, at)
	if err != nil {
		return err
	}
	if err := bottle.mixedBefore("strip", at, f.Location()); err != nil {
		return err
	}
	if err := checkWater(b.TempC, b.PH); err != nil {
		return err
	}
	if b.ReadPPM == 0 && b.StepPPM == 0 && !b.strength() {
		return nil
	}
	if b.StepPPM == 0 {
		return &InputError{Field: "step of the strip", Value: "0 ppm", Want: "the distance between the color blocks " +
			"beside the reading, as on the strip's package: no strip tells every ppm"}
	}
	return first(checkRange("strip reading", b.ReadPPM, 0, 700000, "ppm"),
		checkRange("step of the strip", b.StepPPM, 0.1, 100000, "ppm"))
}

// checkWater checks the temperature (C) and pH of a batch.
func checkWater(tempC, pH *float64) error {
	if tempC != nil {
		if err := checkRange("temperature", *tempC, 0, 95, "C"); err != nil {
			return err
		}
	}
	if pH != nil {
		return checkRange("pH", *pH, 0, 14, "")
	}
	return nil
}

// onFileOnly says since when a product's label is on file, with directions where
// those are asked for, and what to do where it was in use before; empty where it was
// on file at the time, or never.
func (f Farm) onFileOnly(product string, directions bool, at time.Time) string {
	var since time.Time
	for _, l := range f.Labels {
		if SameName(l.Sanitizer.Name, product) && (!directions || l.Sanitizer.Directions != "") &&
			(since.IsZero() || l.Since.At.Before(since)) {
			since = l.Since.At
		}
	}
	if !since.After(at) {
		return ""
	}
	return fmt.Sprintf("the label has been on file only since %s; if it was in use before, copy it once more with "+
		"the time from which it was",
		since.In(f.Location()).Format(fullStamp))
}

// check refuses to discard a solution twice, whatever time is given.
func (b Discard) check(f Farm, at time.Time) error {
	bottle, ok := f.Bottle(b.Code)
	if !ok {
		_, err := f.BottleAt(b.Code, lastTime)
		return err
	}
	return first(bottle.mixedBefore("discarding", at, f.Location()), checkText("reason", b.Reason))
}

// mixedBefore refuses what is said to have been done with a filling before it was
// mixed: it would be told of the wrong one.
func (b Bottle) mixedBefore(what string, at time.Time, loc *time.Location) error {
	if !at.Before(b.MadeAt) {
		return nil
	}
	return &InputError{Field: "time of the " + what, Value: at.In(loc).Format(fullStamp),
		Want: "a time after the mixing, " + b.MadeAt.In(loc).Format(fullStamp)}
}

// lastTime lies after every record.
var lastTime = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

func noSolution(code Code) error {
	return &UnknownError{What: "solution", Name: code.String(),
		Why: "only those are kept that were not discarded and went out of date in the last 400 days"}
}

func checkBottleCode(code Code) error {
	if len(code) != 8 || !strings.HasPrefix(string(code), "B") {
		return &InputError{Field: "solution", Value: string(code), Want: "a code of eight characters that begins with B"}
	}
	return nil
}

// missedSolution checks the solution that a step was done with, and writes its
// product, strength and record into the step. It gives the directions that it was
// mixed under.
func missedSolution(f Farm, b *Sanitize, bottle Bottle, gone error, k known) (out []Finding, directions Sanitizer,
	ok bool) {
	at := k.at
	if bottle.Solution.Code == "" {
		return []Finding{{Rule: "solution-unknown", Severity: StepRule, Source: "a solution is known by its record",
				Text: fmt.Sprintf("no solution %s is on file; it was discarded long ago, or was never recorded", b.Solution)}},
			Sanitizer{}, false
	}
	s := bottle.Solution
	b.Product, b.Active, b.StrengthPPM, b.Mixed = s.Product, s.Active, bottle.Strength(), bottle.stood()
	if gone != nil {
		out = append(out, Finding{Rule: "solution-discarded", Severity: StepRule, Source: "the order of the records",
			Text: gone.Error()})
	}
	loc := f.Location()
	directions, ok = f.directionsAs(bottle, k)
	if at.Before(bottle.MadeAt) {
		out = append(out, Finding{Rule: "solution-date", Severity: StepRule, Source: "the order of the records",
			Text: fmt.Sprintf("solution %s was mixed at %s, after this step at %s; give the right time", s.Code,
				bottle.MadeAt.In(loc).Format(stamp), at.In(loc).Format(stamp))})
	}
	if at.After(s.GoodUntil) {
		old := Finding{Rule: "solution-expired", Severity: StepRule, Source: "the directions of " + s.Product,
			Text: fmt.Sprintf("solution %s was good until %s and was used %s later (mixed %s); discard it and mix a fresh one",
				s.Code, s.GoodUntil.In(loc).Format(stamp), spanText(at.Sub(s.GoodUntil)), bottle.MadeAt.In(loc).Format(stamp))}
		if directions.MixedHours == 0 && !s.GoodUntil.Equal(directions.stockUntil(s.OpenedAt)) {
			old.Source = f.Policy.says("solution-hours", "").Source
			old = f.Policy.lowered("solution-hours", old)
		}
		out = append(out, old)
	}
	if bottle.Strip == nil {
		out = append(out, f.Policy.unmeasured(s))
	}
	return out, directions, ok
}

// read takes the temperature and pH that nobody measured for this step from the
// solution's last readings, where those are not too old.
func (b *Sanitize) read(p Policy, d Sanitizer, bottle Bottle, at time.Time) (out []Finding) {
	b.TempAt, b.PHAt = time.Time{}, time.Time{}
	set := p.Setting("reading-hours")
	take := func(what string, needed bool, to **float64, read *time.Time, r Reading, v *float64) {
		if v == nil || *to != nil {
			return
		}
		age := at.Sub(r.Noted.At)
		if old := age > hours(set.Limit); old && needed {
			f := p.finding("reading-hours", "the %s of %s was last read %s before, the policy allows %g h; read it again",
				what, bottle.Solution.Code, spanText(age), set.Limit)
			f.Severity = Care
			out = append(out, f)
		} else if old {
			return
		}
		if age <= hours(set.Limit) || !set.On {
			*to, *read = v, r.Noted.At
		}
	}
	temp, _ := bottle.Temperature()
	take("temperature", d.asksTemperature() || chlorine(b.Active), &b.TempC, &b.TempAt, temp, temp.Strip.TempC)
	pH, _ := bottle.PH()
	take("pH", d.asksPH() || chlorine(b.Active), &b.PH, &b.PHAt, pH, pH.Strip.PH)
	return out
}

// unmeasured is the finding on a solution whose strength is only computed. It
// fails the step for the actives that the policy names: all (limit 2), or only
// chlorine, whose strength fades (limit 1).
func (p Policy) unmeasured(s Solution) Finding {
	out := p.finding("solution-measured", "solution %s was never measured; its %g ppm is only computed; read a test "+
		"strip in it and record it", s.Code, s.StrengthPPM)
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
