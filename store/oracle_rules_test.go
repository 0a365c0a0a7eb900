package store_test

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"resow/medium"
)

// The oracle is the farm's rules once more, written from the words of the design
// and of the published table of rules, and from nothing in package medium but
// the names of things. It keeps a plain list of what was written down, in the
// order of writing, and works out every answer afresh from the whole list. It is
// slow, so that it can be read.
//
// Readings. Where the words leave something open, the reading taken is marked
// with "Reading:" where it is used.

// fact is one thing that was written down and not refused.
type fact struct {
	mat      medium.Code // empty: about the farm
	n        uint64      // number among the mat's facts, from 1
	place    int         // among all
	at       time.Time   // when it was done, as the person said
	written  time.Time
	body     medium.Body
	accepted bool
	missed   []string // the rules that it missed
	cares    []string // care notes that stand on the verdict because of it
	wetWhen  bool     // a sanitizing that was accepted on a wet mat
	danger   bool     // a report that is never refused
	active   string   // of a sanitizing: what was put on, as far as it was known then
}

// oracle is the list, and nothing else.
type oracle struct{ facts []fact }

// answer is what the farm should hear of a step.
type answer struct {
	refused  bool
	accepted bool
	missed   []string
	cares    []string
}

const (
	drift    = 5 * time.Minute  // clocks differ
	giveTake = 30 * time.Minute // "give or take half an hour"
)

// limits are the published defaults: what speaks when, unless the farm set it.
var limits = map[string]struct {
	limit, window float64
	off           bool
}{
	"not-sanitized": {limit: 1}, "sanitize-lapsed": {limit: 14}, "swab-positive": {limit: 1},
	"cut-through": {limit: 1}, "cut-length": {limit: 100}, "mold-repeat": {limit: 2, window: 5},
	"max-turns": {limit: 30}, "max-age": {limit: 730}, "sun-wear": {limit: 25},
	"yield-down": {limit: 70, window: 3}, "inspection-failed": {limit: 1},
	"knife-touched": {limit: 1}, "report-voided": {limit: 1},
	"near-limit": {limit: 90}, "mold-last-turn": {limit: 1}, "contact-undocumented": {limit: 1},
	"farm-procedure": {limit: 1}, "crop-voided": {limit: 1}, "cut-noted": {limit: 1}, "inspection-due": {limit: 5},
	"sanitize-wet": {limit: 1, off: true}, "both-sides": {limit: 2},
	"ceiling-chlorine": {limit: 200}, "ceiling-peroxide": {limit: 1100}, "ceiling-peroxyacetic": {limit: 500},
	"ceiling-quat": {limit: 200}, "ceiling-iodine": {limit: 25},
	"chlorine-temperature": {limit: 1}, "solution-measured": {limit: 2}, "solution-hours": {limit: 24},
	"dry-least": {limit: 30}, "reading-hours": {limit: 4}, "wet-hours": {limit: 24},
}

var ceilings = map[string]string{
	"hypochlorite": "ceiling-chlorine", "calcium-hypochlorite": "ceiling-chlorine", "peroxide": "ceiling-peroxide",
	"peroxyacetic": "ceiling-peroxyacetic", "quat": "ceiling-quat", "iodophor": "ceiling-iodine",
}

// --- the farm, as it was at a time -----------------------------------------

type setting struct {
	on            bool
	limit, window float64
}

// forever is for what goes by the farm's present policy, whatever the clock says.
var forever = time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC)

// rule is the farm's setting of a rule at a time: the last change made up to
// then, else the published figure. A limit is not found out: it counts from when
// it was written down, whatever earlier time is given.
func (o *oracle) rule(name string, at time.Time) setting {
	d, ok := limits[name]
	if !ok {
		panic("the oracle knows no rule " + name)
	}
	s := setting{!d.off, d.limit, d.window}
	var since time.Time
	for _, f := range o.facts {
		b, ok := f.body.(*medium.PolicyChange)
		counts := f.at
		if f.written.After(counts) {
			counts = f.written
		}
		if ok && b.Setting.Rule == name && !counts.After(at) && !counts.Before(since) {
			s, since = setting{b.Setting.On, b.Setting.Limit, b.Setting.Window}, counts
		}
	}
	return s
}

// labelCopy is one copy of a product's directions, and since when it counts.
type labelCopy struct {
	since time.Time
	text  *medium.Sanitizer
}

// copies lists a product's directions as they were copied. A new label counts
// from when it was copied; a correction of a copy since that copy did. A product
// is named by its name or, where nobody gave one, by its active ingredient.
func (o *oracle) copies(product, active string) []labelCopy {
	var out []labelCopy
	for _, f := range o.facts {
		b, ok := f.body.(*medium.Sanitizer)
		if !ok || product != "" && !strings.EqualFold(b.Name, product) || product == "" && b.Active != active {
			continue
		}
		since := f.at
		if wrong := inForce(out, f.at); b.Corrects != "" && wrong != nil {
			since = wrong.since
		}
		out = append(out, labelCopy{since, b})
	}
	return out
}

// inForce is the copy that counts at a time: the newest up to then, and of two
// for the same time the one that was written last.
func inForce(copies []labelCopy, at time.Time) *labelCopy {
	var found *labelCopy
	for i, c := range copies {
		if !c.since.After(at) && (found == nil || !c.since.Before(found.since)) {
			found = &copies[i]
		}
	}
	return found
}

// directions are a product's directions as they stood for a time.
func (o *oracle) directions(product, active string, at time.Time) *medium.Sanitizer {
	if c := inForce(o.copies(product, active), at); c != nil {
		return c.text
	}
	return nil
}

// farOut: directions that no published range knows. The drawn and written ones
// are either clearly within or as far out as 0.5 ppm for a second.
func farOut(d *medium.Sanitizer) bool { return d.Directions != "" && d.MaxPPM < 5 && d.ContactS < 5 }

// bottle is what a code's bottle held at a time.
type bottle struct {
	mix       *medium.Solution
	mixedAt   time.Time
	discarded time.Time // zero: not up to that time
	strip     *medium.Strip
	known     bool // the code was ever mixed, if only later
}

// bottleAt: the last mixing up to then, the discard since, and the last strip
// read in it up to then. A strip read later says nothing of it.
func (o *oracle) bottleAt(code medium.Code, at time.Time) bottle {
	var b bottle
	for _, f := range o.facts {
		m, ok := f.body.(*medium.Solution)
		if !ok || m.Code != code {
			continue
		}
		b.known = true
		if !f.at.After(at) && (b.mix == nil || !f.at.Before(b.mixedAt)) {
			b.mix, b.mixedAt = m, f.at
		}
	}
	if b.mix == nil {
		return b
	}
	var readAt time.Time
	for _, f := range o.facts {
		if f.at.Before(b.mixedAt) || f.at.After(at) {
			continue
		}
		switch x := f.body.(type) {
		case *medium.Discard:
			if x.Code == code && (b.discarded.IsZero() || f.at.Before(b.discarded)) {
				b.discarded = f.at
			}
		case *medium.Strip:
			if x.Code == code && x.StepPPM > 0 && !f.at.Before(readAt) {
				b.strip, readAt = x, f.at
			}
		}
	}
	return b
}

// goodUntil: the hours of the directions that it was mixed by, else the farm's own.
func (o *oracle) goodUntil(b bottle) (until time.Time, farms bool) {
	d := o.directions(b.mix.Product, "", b.mixedAt)
	hours := o.rule("solution-hours", b.mixedAt).limit
	if farms = d == nil || d.MixedHours == 0; !farms {
		hours = d.MixedHours
	}
	return b.mixedAt.Add(time.Duration(hours * float64(time.Hour))), farms
}

// waterAt gives the temperature and pH that serve a use: its own, or those last
// measured in the same bottle within the hours that the policy sets.
func (o *oracle) waterAt(b *medium.Sanitize, at time.Time) (temp, ph *float64) {
	temp, ph = b.TempC, b.PH
	if b.Solution == "" {
		return temp, ph
	}
	hours := o.rule("reading-hours", at)
	if !hours.on {
		return temp, ph
	}
	from := at.Add(-time.Duration(hours.limit * float64(time.Hour)))
	if mixed := o.bottleAt(b.Solution, at).mixedAt; mixed.After(from) {
		from = mixed
	}
	var tempAt, phAt time.Time
	for _, f := range o.facts {
		if f.at.Before(from) || f.at.After(at) {
			continue
		}
		t, p := readingOf(f.body, b.Solution)
		if t != nil && b.TempC == nil && !f.at.Before(tempAt) {
			temp, tempAt = t, f.at
		}
		if p != nil && b.PH == nil && !f.at.Before(phAt) {
			ph, phAt = p, f.at
		}
	}
	return temp, ph
}

// readingOf gives the temperature and pH that a fact tells of a bottle. Reading:
// a reading of a batch is one that was recorded of the bottle; what was measured
// at one use stands for that use.
func readingOf(body medium.Body, code medium.Code) (temp, ph *float64) {
	switch b := body.(type) {
	case *medium.Strip:
		if b.Code == code {
			return b.TempC, b.PH
		}
	case *medium.Solution: // read when it was mixed
		if b.Code == code {
			return b.TempC, b.PH
		}
	}
	return nil, nil
}

// --- one sanitizing ---------------------------------------------------------

// sanitizing judges one use by what was so at its time and is written down now:
// the rules that it missed, and the care notes that stand because of it.
func (o *oracle) sanitizing(b *medium.Sanitize, at time.Time) (missed, cares []string) {
	least, most := b.StrengthPPM, b.StrengthPPM
	ppm := b.StrengthPPM
	product, mixed := b.Product, at
	if b.Solution != "" {
		in := o.bottleAt(b.Solution, at)
		switch {
		case in.mix == nil && in.known:
			return []string{"solution-date"}, nil
		case in.mix == nil:
			return []string{"solution-unknown"}, nil
		}
		if !in.discarded.IsZero() {
			missed = append(missed, "solution-discarded")
		}
		if until, farms := o.goodUntil(in); at.After(until) && farms && !o.rule("solution-hours", at).on {
			cares = append(cares, "solution-expired")
		} else if at.After(until) {
			missed = append(missed, "solution-expired")
		}
		product, mixed = in.mix.Product, in.mixedAt
		ppm, least, most = in.mix.StrengthPPM, in.mix.StrengthPPM, in.mix.StrengthPPM
		if in.strip != nil {
			ppm = in.strip.ReadPPM
			least, most = max(0, ppm-in.strip.StepPPM/2), ppm+in.strip.StepPPM/2
		} else {
			m, c := o.unmeasured(product, mixed, at)
			missed, cares = append(missed, m...), append(cares, c...)
		}
	}
	// a bottle keeps the directions under which it was mixed
	d := o.directions(product, b.Active, mixed)
	if over, rule := o.overCeiling(o.active(b, at), ppm, d, b.Rinsed, at); over {
		if rule == "" || o.rule(rule, at).on {
			missed = append(missed, "over-ceiling")
		} else {
			cares = append(cares, "over-ceiling")
		}
	}
	if d == nil || d.Directions == "" {
		return append(missed, "no-directions"), cares
	}
	if farOut(d) {
		cares = append(cares, "directions-range")
	}
	if d.Directions == medium.DirectionsFarm {
		if o.rule("farm-procedure", at).on {
			cares = append(cares, "farm-procedure")
		} else {
			missed = append(missed, "farm-procedure")
		}
	}
	switch {
	case ppm < d.MinPPM:
		missed = append(missed, "strength-low")
	case ppm > d.MaxPPM:
		missed = append(missed, "strength-high")
	case least < d.MinPPM || most > d.MaxPPM:
		cares = append(cares, "strength-unsure")
	}
	if b.ContactS < d.ContactS {
		missed = append(missed, "contact-short")
	}
	if d.Rinse && !b.Rinsed {
		missed = append(missed, "not-rinsed")
	}
	if both := o.rule("both-sides", at); b.Sides < 2 && both.limit >= 2 {
		if both.on {
			missed = append(missed, "one-side")
		} else {
			cares = append(cares, "one-side")
		}
	}
	m, c := o.water(b, d, least, at)
	return append(missed, m...), append(cares, c...)
}

// active is what a use put on the mat: the active ingredient of the product, or
// of what is in the bottle, even if that was mixed after the use was dated; empty
// where nobody knows.
func (o *oracle) active(b *medium.Sanitize, at time.Time) string {
	product := b.Product
	if b.Solution != "" {
		in := o.bottleAt(b.Solution, at)
		if in.mix == nil {
			in = o.bottleAt(b.Solution, forever)
		}
		if in.mix == nil {
			return ""
		}
		product, at = in.mix.Product, in.mixedAt
	}
	if d := o.directions(product, b.Active, at); d != nil {
		return d.Active
	}
	return b.Active
}

// unmeasured: no strip was read in the solution before it was used.
func (o *oracle) unmeasured(product string, mixed, at time.Time) (missed, cares []string) {
	r := o.rule("solution-measured", at)
	d := o.directions(product, "", mixed)
	asked := r.limit >= 2 || d != nil && isChlorine(d.Active)
	if asked && r.on {
		return []string{"solution-measured"}, nil
	}
	// Reading: where the policy asks for no strip, that nobody read one is told.
	return nil, []string{"solution-measured"}
}

func isChlorine(active string) bool {
	return active == "hypochlorite" || active == "calcium-hypochlorite"
}

// overCeiling: more than the published ceiling stays on the mat. Reading: where
// none is published, the most that its directions name.
func (o *oracle) overCeiling(active string, ppm float64, d *medium.Sanitizer, rinsed bool, at time.Time) (bool,
	string) {
	if rinsed {
		return false, ""
	}
	if rule, ok := ceilings[active]; ok {
		return ppm > o.rule(rule, at).limit, rule
	}
	return d != nil && d.MaxPPM > 0 && ppm > d.MaxPPM, ""
}

// water: temperature and pH, by the directions and, for chlorine whose
// directions name no temperature, by the published table. What is needed and
// nobody measured counts as missed.
func (o *oracle) water(b *medium.Sanitize, d *medium.Sanitizer, least float64, at time.Time) (missed, cares []string) {
	temp, ph := o.waterAt(b, at)
	tempNamed := d.MinTempC > 0 || d.MaxTempC > 0
	if tempNamed {
		switch {
		case temp == nil:
			missed = append(missed, "temperature-unknown")
		case d.MinTempC > 0 && *temp < d.MinTempC:
			missed = append(missed, "temperature-low")
		case d.MaxTempC > 0 && *temp > d.MaxTempC:
			missed = append(missed, "temperature-high")
		}
	}
	if d.MinPH > 0 || d.MaxPH > 0 {
		switch {
		case ph == nil:
			missed = append(missed, "ph-unknown")
		case d.MinPH > 0 && *ph < d.MinPH, d.MaxPH > 0 && *ph > d.MaxPH:
			missed = append(missed, "ph")
		}
	}
	if !isChlorine(d.Active) {
		return missed, cares
	}
	if phNamed := d.MinPH > 0 || d.MaxPH > 0; ph != nil && !phNamed && (*ph < 6 || *ph > 8) {
		cares = append(cares, "chlorine-ph")
	}
	m, c := table(least, temp, ph)
	if tempNamed {
		// The label goes first for how warm it is at its strength. It says nothing of
		// the pH, and there the table still counts.
		m, c = nil, nil
		if named := d.MinPH > 0 || d.MaxPH > 0; named {
			// and here the label does
		} else if ph == nil {
			m = []string{"ph-unmeasured"}
		} else if *ph > 10 {
			m = []string{"chlorine-temperature"}
		}
	}
	if o.rule("chlorine-temperature", at).on {
		return append(missed, m...), append(cares, c...)
	}
	return missed, append(cares, append(m, c...)...) // switched off it leaves notes
}

// table is the published table of least temperatures (Food Code 4-501.114):
// no row under 25 ppm or over pH 10. It needs the temperature and the pH, since
// a pH over 10 has no row: both count as missed where nobody measured them.
// Reading: a solution colder than the table asks is accepted with care, since
// the label is the rule and the table a model code for retail; one that stands
// in no row is not accepted.
func table(ppm float64, temp, ph *float64) (missed, cares []string) {
	if ppm < 25 || ph != nil && *ph > 10 {
		return []string{"chlorine-temperature"}, nil
	}
	if ph == nil {
		missed = append(missed, "ph-unmeasured")
	}
	if temp == nil {
		return append(missed, "temperature-unmeasured"), nil
	}
	asks := 49.0
	switch {
	case ppm >= 100:
		asks = 13
	case ppm >= 50 && ph != nil && *ph <= 8:
		asks = 24
	case ppm >= 50:
		asks = 38
	}
	if *temp < asks {
		cares = append(cares, "chlorine-temperature")
	}
	return missed, cares
}

// --- one mat, by its facts ----------------------------------------------------

// voided says whether a later correction took a fact of a mat back.
func (o *oracle) voided(i int) bool {
	f := o.facts[i]
	for _, g := range o.facts[i+1:] {
		if c, ok := g.body.(*medium.Correct); ok && g.mat == f.mat && c.MatSeq == f.n && f.mat != "" {
			return true
		}
	}
	return false
}

// of gives the numbers of a mat's facts that count: voided ones count as never
// taken, corrections as nothing.
func (o *oracle) of(mat medium.Code) []int {
	var out []int
	for i, f := range o.facts {
		if _, c := f.body.(*medium.Correct); f.mat == mat && !c && !o.voided(i) {
			out = append(out, i)
		}
	}
	return out
}

// state is where a mat stands.
type state struct {
	stage     medium.Stage
	heldIn    medium.Stage
	mustWash  bool
	turn      int
	wetSince  time.Time
	wetWith   []string
	cleared   bool // an accepted sanitizing since the last crop
	last      int  // fact of the last accepted sanitizing, -1: none
	lastTaken bool // the last sanitizing of all was accepted
	uncleared bool // as the records stand, the crop was sown on a mat not cleared
	residue   bool
	uses      []int // facts of the sanitizings since a rinse, accepted or not
	added     time.Time
}

// washed says whether a look at the mat is one at a washed mat. Reading: on hold
// it is what it was before.
func (s *state) washed() bool {
	where := s.stage
	if where == medium.OnHold {
		where = s.heldIn
	}
	return where != medium.ToWash && where != medium.Growing && where != medium.Retired
}

func (s *state) hold(must bool) {
	if s.stage == medium.Retired {
		return
	}
	if s.stage != medium.OnHold {
		s.heldIn, s.mustWash = s.stage, false
	}
	s.stage = medium.OnHold
	s.mustWash = s.mustWash || must
}

func (s *state) toWash() {
	switch s.stage {
	case medium.OnHold:
		s.mustWash = true
	case medium.Retired, medium.Growing: // a crop stands on it: it is washed after that
	default:
		s.stage = medium.ToWash
	}
}

// stand goes through a mat's facts in the order of writing. A step that does not
// follow any more, because one before it was voided, can only leave the mat
// further from being sown on.
func (o *oracle) stand(mat medium.Code) state {
	s := state{last: -1}
	for _, i := range o.of(mat) {
		o.take(&s, i)
	}
	return s
}

func (o *oracle) take(s *state, i int) {
	f := o.facts[i]
	if !f.danger && f.at.Before(s.added) { // registered by a clock that was ahead: it was there
		s.added = f.at
	}
	washed := s.stage != medium.OnHold && s.stage != medium.Growing && s.stage != medium.Retired
	if s.stage == medium.OnHold && handles(f.body) {
		s.mustWash = true // a voided release: the hold stands, and what was done meanwhile does not follow
	}
	switch b := f.body.(type) {
	case *medium.Add:
		s.stage, s.added = medium.ToWash, f.at
	case *medium.Mist:
		if washed { // its sowing was voided: wet, and with what is not known
			s.wet(f.at)
		}
		s.toWash()
	case *medium.Sow:
		s.turn++
		s.wetSince = time.Time{} // a crop is kept wet
		s.uncleared = s.stage != medium.Ready || !s.cleared
		s.cleared = false
		if s.stage == medium.OnHold { // a voided release: the hold stands, with a crop on the mat
			s.heldIn = medium.Growing
			return
		}
		s.stage = medium.Growing
	case *medium.Harvest:
		if s.stage == medium.OnHold {
			s.mustWash = true
		} else if !b.MoreCutsToCome || s.stage != medium.Growing {
			s.stage = medium.ToWash
		}
		s.cleared = false
	case *medium.Rinse:
		s.wet(f.at)
		if s.residue, s.uses = false, nil; !washed {
			return
		}
		s.wetWith = nil
		s.stage = medium.ToDry
		if b.Debris != medium.DebrisNone {
			s.stage = medium.ToWash
		}
	case *medium.Dry:
		if f.accepted {
			s.wetSince = time.Time{}
		}
		if !f.accepted || !washed {
			return
		}
		s.wetWith = nil
		switch s.stage {
		case medium.ToDry:
			s.stage = medium.ToSanitize
		case medium.Airing:
			s.stage = medium.Ready
		}
	case *medium.Sanitize:
		o.takeSanitize(s, i, b)
	case *medium.Mold:
		s.hold(true)
	case *medium.Swab:
		if !b.Pass {
			s.hold(true)
		}
	case *medium.Hold:
		s.hold(b.MustWash || b.Dropped)
	case *medium.Release:
		if s.stage != medium.OnHold {
			return
		}
		s.stage = medium.ToWash
		if b.AsWas && !s.mustWash {
			s.stage = s.heldIn
		}
	case *medium.Inspect:
		if b.Mold {
			s.hold(true)
		}
		if b.Smell {
			s.toWash()
		}
	case *medium.Trim:
		s.toWash()
	case *medium.Retire:
		s.stage = medium.Retired
	}
}

func (o *oracle) takeSanitize(s *state, i int, b *medium.Sanitize) {
	f := o.facts[i]
	switch {
	case b.Rinsed:
		s.residue, s.uses = false, nil
	case slices.Contains(f.missed, "over-ceiling") || f.active == "":
		// Reading: of a product or a bottle that nobody knows nobody can say that what
		// it left is under a ceiling.
		s.residue = true
	}
	s.wet(f.at)
	s.wetWith, s.uses = append(s.wetWith, f.active), append(s.uses, i)
	if b.Rinsed { // nothing of it is left
		s.wetWith, s.uses = nil, nil
	}
	washed := s.stage == medium.ToSanitize || s.stage == medium.Airing || s.stage == medium.Ready
	counts := f.accepted && (washed || f.wetWhen && s.stage == medium.ToDry)
	s.lastTaken = counts
	if !counts {
		return
	}
	s.stage, s.cleared, s.last = medium.Airing, true, i
}

// wet: a mat is wet from when it was wetted dry until a drying that counts,
// whatever wets it in between. Reading: the hours of a crop do not count.
func (s *state) wet(at time.Time) {
	if s.wetSince.IsZero() && s.stage != medium.Growing && s.stage != medium.Retired {
		s.wetSince = at
	}
}

// --- a step, before it is written down ---------------------------------------

// danger: reports that are never refused. Reading: an inspection that saw mold
// is a report of mold; a retirement is for a danger where its cause is one or the
// mat is on hold.
func danger(body medium.Body, stage medium.Stage) bool {
	switch b := body.(type) {
	case *medium.Mold, *medium.Cut, *medium.Hold:
		return true
	case *medium.Swab:
		return !b.Pass
	case *medium.Inspect:
		return b.Mold
	case *medium.Retire:
		return b.Cause == medium.CauseCut || b.Cause == medium.CauseMold || stage == medium.OnHold
	}
	return false
}

// plainlyWrong: a time that can't be when it was seen.
func (o *oracle) plainlyWrong(f fact) bool {
	return badClock(f.at) || f.at.After(f.written.Add(drift)) || f.at.Before(o.stand(f.mat).added)
}

// hear decides on one step and, if it is not refused, writes it down.
func (o *oracle) hear(mat medium.Code, body medium.Body, at, now time.Time) answer {
	var a answer
	at = o.dated(mat, body, at, now)
	if medium.AboutFarm(body) {
		mat = ""
		a = o.admitFarm(body, at, now)
	} else if c, ok := body.(*medium.Correct); ok {
		a = o.admitCorrect(mat, c)
	} else {
		a = o.seenBy(len(o.facts), now).admit(mat, body, at, now)
		if _, sow := body.(*medium.Sow); sow && !at.Before(now) { // who gives the time does not go by the clock
			_, behind := o.clock(mat, now)
			a.refused = a.refused || behind
		}
	}
	if a.refused {
		return a
	}
	if mat == "" {
		o.setRight(at, now)
	}
	f := fact{place: len(o.facts), mat: mat, at: at, written: now, body: body, accepted: a.accepted,
		missed: a.missed, cares: a.cares, n: 1}
	if mat != "" {
		for _, g := range o.facts {
			if g.mat == mat {
				f.n++
			}
		}
		stage := o.stand(mat).stage
		f.wetWhen = medium.KindOf(body) == medium.KindSanitize && stage == medium.ToDry
		f.danger = danger(body, stage)
		if b, ok := body.(*medium.Sanitize); ok {
			f.active = o.active(b, at)
		}
	}
	o.facts = append(o.facts, f)
	return a
}

// dated: nothing is done after it was written down. What is dated now, or ahead by
// no more than clocks differ, was done now, and after all that is on record of the
// mat and of the farm. Reading: a danger keeps the time at which it was seen.
func (o *oracle) dated(mat medium.Code, body medium.Body, at, now time.Time) time.Time {
	if at.Before(now) || at.After(now.Add(drift)) || danger(body, o.stand(mat).stage) {
		return at
	}
	after := []time.Time{o.farmWritten()}
	for _, f := range o.facts {
		if f.mat == "" {
			after = append(after, f.at)
		}
	}
	if at = now; !medium.AboutFarm(body) {
		after = append(after, o.lastBy(mat, now))
	}
	for _, t := range after {
		if t.After(at) && !t.After(now.Add(drift)) {
			at = t
		}
	}
	return at
}

func refuse() answer { return answer{refused: true} }

func (o *oracle) admitFarm(body medium.Body, at, now time.Time) answer {
	if at.After(now.Add(drift)) || badClock(now) {
		return refuse()
	}
	if !at.Before(now) && now.Add(drift).Before(o.farmWritten()) {
		return refuse() // by a clock that says earlier than what is written down already
	}
	o = &oracle{facts: slices.Clone(o.facts)} // as it is once the other clock is set right
	o.setRight(at, now)
	switch b := body.(type) {
	case *medium.Sanitizer:
		if farOut(b) && !b.Confirmed || b.Corrects != "" && o.directions(b.Name, "", at) == nil {
			return refuse()
		}
	case *medium.Solution:
		if o.directions(b.Product, "", at) == nil {
			return refuse()
		}
		if in := o.bottleAt(b.Code, now); in.mix != nil && (in.discarded.IsZero() || in.discarded.After(at)) {
			return refuse() // there is something in that bottle
		}
	case *medium.Strip:
		if in := o.bottleAt(b.Code, at); in.mix == nil || !in.discarded.IsZero() {
			return refuse()
		}
	case *medium.Discard:
		// Reading: what was in it at that time can be poured away once only.
		in := o.bottleAt(b.Code, at)
		if in.mix == nil || !o.pouredAway(b.Code, in.mixedAt).IsZero() {
			return refuse()
		}
	}
	return answer{accepted: true}
}

// farmWritten is when the last fact about the farm was written down.
func (o *oracle) farmWritten() time.Time {
	for _, f := range slices.Backward(o.facts) {
		if f.mat == "" {
			return f.written
		}
	}
	return time.Time{}
}

// setRight: who gives a fact about the farm its time, by a clock that says earlier
// than what was written down before, says that the clock was ahead then. What it
// dated comes before the new fact, and after what it did not date.
func (o *oracle) setRight(at, now time.Time) {
	if !now.Add(drift).Before(o.farmWritten()) {
		return
	}
	for _, f := range o.facts {
		if f.mat == "" && !f.written.After(now) && f.at.After(at) {
			at = f.at
		}
	}
	for i, f := range o.facts {
		if f.mat != "" || !f.written.After(now) {
			continue
		}
		o.facts[i].written = now
		if f.at.After(at) {
			o.facts[i].at, o.facts[i].written = at, at
		}
	}
}

// seenBy is the list for whoever writes fact n by a clock of now: what was written
// down before is not still to come.
func (o *oracle) seenBy(n int, now time.Time) *oracle {
	before := oracle{facts: slices.Clone(o.facts[:n])}
	before.setRight(now, now)
	return &oracle{facts: append(before.facts, o.facts[n:]...)}
}

// pouredAway is when a filling was poured away, if that is written down.
func (o *oracle) pouredAway(code medium.Code, mixed time.Time) time.Time {
	for _, f := range o.facts {
		x, ok := f.body.(*medium.Discard)
		if ok && x.Code == code && !f.at.Before(mixed) && o.bottleAt(code, f.at).mixedAt.Equal(mixed) {
			return f.at
		}
	}
	return time.Time{}
}

func badClock(now time.Time) bool { return now.Year() < 2000 || now.Year() > 2200 }

func (o *oracle) admitCorrect(mat medium.Code, c *medium.Correct) answer {
	if strings.TrimSpace(c.Reason) == "" {
		return refuse()
	}
	for i, f := range o.facts {
		if f.mat != mat || f.n != c.MatSeq {
			continue
		}
		switch f.body.(type) {
		case *medium.Add, *medium.Relabel, *medium.Correct:
			return refuse()
		}
		if o.voided(i) {
			return refuse()
		}
		return answer{accepted: true}
	}
	return refuse()
}

// lastAt is when the last of a mat's steps was done. Reading: a report of danger
// from before other steps, or by a wrong clock, stands from when it was written;
// one that was dated ahead is the last until another step follows.
func (o *oracle) lastAt(mat medium.Code) time.Time {
	var last time.Time
	for _, i := range o.of(mat) {
		f := o.facts[i]
		if f.danger && (f.at.Before(last) || o.plainlyWrong(f)) {
			f.at = f.written
		}
		if !f.danger || f.at.After(last) && !badClock(f.at) {
			last = f.at
		}
	}
	return last
}

// lastBy is lastAt for a clock: a report of danger by another one that was ahead
// keeps no step off.
func (o *oracle) lastBy(mat medium.Code, now time.Time) time.Time {
	last := o.lastAt(mat)
	if last.After(now.Add(drift)) {
		last, _ = o.settled(mat)
	}
	return last
}

func (o *oracle) admit(mat medium.Code, body medium.Body, at, now time.Time) answer {
	s := o.stand(mat)
	if danger(body, s.stage) {
		_, look := body.(*medium.Inspect)
		return answer{accepted: !look || s.washed()}
	}
	if badClock(now) || at.After(now.Add(drift)) || at.Before(o.lastBy(mat, now)) {
		return refuse()
	}
	if s.stage == medium.Retired {
		return refuse()
	}
	growing, held := s.stage == medium.Growing, s.stage == medium.OnHold
	switch b := body.(type) {
	case *medium.Sow:
		return o.admitSow(mat, at)
	case *medium.Mist, *medium.Harvest:
		return answer{refused: !growing, accepted: true}
	case *medium.Rinse:
		return answer{refused: growing || held, accepted: b.Debris == medium.DebrisNone}
	case *medium.Dry:
		if growing || held {
			return refuse()
		}
		return o.admitDry(s, mat, b, at)
	case *medium.Sanitize:
		if growing || held || !o.fits(mat, at, time.Duration(b.ContactS)*time.Second, 0) {
			return refuse()
		}
		return o.admitSanitize(s, b, at)
	case *medium.Release:
		// Reading: a mat that fell on the floor is washed, as after mold: a release
		// to where it was is refused.
		if !held || b.AsWas && s.mustWash {
			return refuse()
		}
	case *medium.Inspect:
		if growing {
			return refuse()
		}
		untrimmed := func(c cut) bool { return !c.trimmed }
		if b.NoCuts && slices.ContainsFunc(o.cutsLeft(mat), untrimmed) {
			return refuse() // Reading: it contradicts the records, where no trim can have done it
		}
		return answer{accepted: s.washed()}
	case *medium.Trim:
		l, w := o.size(mat)
		if growing || b.LengthMM > l || b.WidthMM > w || b.LengthMM == l && b.WidthMM == w {
			return refuse()
		}
	}
	return answer{accepted: true}
}

// size is the mat's size now: as registered, or as last trimmed.
func (o *oracle) size(mat medium.Code) (l, w float64) {
	for _, i := range o.of(mat) {
		switch b := o.facts[i].body.(type) {
		case *medium.Add:
			l, w = b.Mat.LengthMM, b.Mat.WidthMM
		case *medium.Trim:
			l, w = b.LengthMM, b.WidthMM
		}
	}
	return l, w
}

// fits: what took a while and ended at a time began after the step before it.
// Reading: a report, a look or a paper does not interrupt a drying.
func (o *oracle) fits(mat medium.Code, at time.Time, took, slack time.Duration) bool {
	return !at.Add(-took).Before(o.handled(mat).Add(-slack))
}

// earliest is the first time of a day at which a step can have been over, after
// what was done to the mat before: a date alone is an interval, and is refused
// only if no time in it fits.
func (o *oracle) earliest(mat medium.Code, body medium.Body, day, now time.Time) time.Time {
	took := time.Duration(0)
	switch b := body.(type) {
	case *medium.Dry:
		took = max(0, time.Duration(b.DurationS)*time.Second-giveTake)
		s, least := o.stand(mat), o.rule("dry-least", forever)
		if wet := s.stage.Wet() || len(s.wetWith) > 0; b.DurationS == 0 && wet && least.on {
			took = time.Duration(least.limit * float64(time.Minute)) // nobody said: what the policy asks
		}
	case *medium.Sanitize:
		took = time.Duration(b.ContactS) * time.Second
	}
	at := day
	needs := o.handled(mat).Add(took)
	_, harvest := body.(*medium.Harvest)
	if harvest = harvest && o.stand(mat).stage == medium.Growing; harvest {
		needs = o.sownAt(mat).Add(cropDays / 2) // Reading: give or take half of its table's days
	}
	if late := !needs.Before(day.AddDate(0, 0, 1)) || needs.After(now); late && (took > 0 || harvest) {
		return time.Time{} // no time of the day fits
	}
	for _, other := range []time.Time{o.lastBy(mat, now), needs} {
		if other.After(at) {
			at = other
		}
	}
	if !at.Before(day.AddDate(0, 0, 1)) || at.After(now) {
		return day // no time of the day fits: it stands before the step before
	}
	return at
}

// cropDays is the least that the table says of every crop that is sown here.
const cropDays = 8 * 24 * time.Hour

func (o *oracle) sownAt(mat medium.Code) (at time.Time) {
	for _, i := range o.of(mat) {
		if _, sown := o.facts[i].body.(*medium.Sow); sown {
			at = o.facts[i].at
		}
	}
	return at
}

// handled is when the mat was last taken in hand.
func (o *oracle) handled(mat medium.Code) time.Time {
	var last time.Time
	for _, i := range o.of(mat) {
		f := o.facts[i]
		// Reading: a drying that did not count is part of the one that goes on.
		if _, dried := f.body.(*medium.Dry); handles(f.body) && (f.accepted || !dried) {
			last = f.at
		}
	}
	return last
}

func handles(body medium.Body) bool {
	switch body.(type) {
	case *medium.Add, *medium.Sow, *medium.Mist, *medium.Harvest, *medium.Rinse, *medium.Dry, *medium.Sanitize,
		*medium.Trim:
		return true
	}
	return false
}

// admitDry: a drying that takes longer than there was time is refused; one that
// is shorter than the policy's least, or on an unwashed mat, is kept and not
// accepted. Reading: one without a duration took as long as there was.
func (o *oracle) admitDry(s state, mat medium.Code, b *medium.Dry, at time.Time) answer {
	took := time.Duration(b.DurationS) * time.Second
	if !o.fits(mat, at, took, giveTake) {
		return refuse()
	}
	if s.stage == medium.ToWash {
		return answer{missed: []string{"unwashed"}}
	}
	a := answer{accepted: true}
	if took == 0 {
		took = at.Sub(o.handled(mat))
	}
	// Reading: there is nothing to dry on a mat that is not wet.
	wet := !s.wetSince.IsZero() || len(s.wetWith) > 0
	if least := o.rule("dry-least", at); wet && took < time.Duration(least.limit*float64(time.Minute)) {
		if least.on {
			return answer{missed: []string{"dry-least"}}
		}
		a.cares = append(a.cares, "dry-least")
	}
	if !s.wetSince.IsZero() && at.Sub(s.wetSince) > time.Duration(o.rule("wet-hours", at).limit*float64(time.Hour)) {
		a.cares = append(a.cares, "wet-hours")
	}
	return a
}

func (o *oracle) admitSanitize(s state, b *medium.Sanitize, at time.Time) answer {
	missed, cares := o.sanitizing(b, at)
	switch {
	case s.stage == medium.ToWash:
		missed = append(missed, "unwashed")
	case s.stage == medium.ToDry && !o.rule("sanitize-wet", at).on:
		missed = append(missed, "wet")
	}
	active := o.active(b, at)
	if slices.ContainsFunc(s.wetWith, func(w string) bool { return w != active }) {
		missed = append(missed, "two-products")
	}
	return answer{accepted: len(missed) == 0, missed: missed, cares: cares}
}

// admitSow: only where the verdict at that time lets it.
func (o *oracle) admitSow(mat medium.Code, at time.Time) answer {
	word, _, _ := o.verdict(mat, at)
	return answer{refused: word == medium.DoNotSow || word == medium.RetireMat, accepted: true}
}

// settled is when the last step that is no report of danger was done, and when it
// was written down. Reading: what nobody can take back, a registration or a
// relabelling, must not be in the way of all that comes after it.
func (o *oracle) settled(mat medium.Code) (at, written time.Time) {
	for _, i := range o.of(mat) {
		f := o.facts[i]
		_, added := f.body.(*medium.Add)
		_, named := f.body.(*medium.Relabel)
		if !f.danger && !added && !named {
			at, written = f.at, f.written
		}
	}
	return at, written
}

// clock says whether the clock is earlier than a record that stops (behind), or
// than a report of danger, which leaves a note.
func (o *oracle) clock(mat medium.Code, now time.Time) (note, behind bool) {
	now = now.Add(drift)
	at, written := o.settled(mat)
	if now.Before(at) || now.Before(written) || now.Before(o.farmWritten()) {
		return false, true
	}
	return now.Before(o.lastAt(mat)), false
}

// scan is the verdict by the clock of now: with one that is behind the records
// nothing is clear to sow.
func (o *oracle) scan(mat medium.Code, now time.Time) (medium.Word, []string, []string) {
	word, grave, cares := o.verdict(mat, now)
	note, behind := o.clock(mat, now)
	clear := word == medium.SowIt || word == medium.SowWithCare
	switch {
	case o.stand(mat).stage == medium.Retired:
	case behind:
		grave = append(grave, "clock-wrong")
		if clear {
			word = medium.DoNotSow
		}
	case note:
		cares = append(cares, "clock-wrong")
		if clear {
			word = medium.SowWithCare
		}
	}
	slices.Sort(grave)
	slices.Sort(cares)
	return word, grave, cares
}

// --- the verdict ----------------------------------------------------------------

type finding struct {
	rule  string
	grave medium.Severity
}

// verdict is the answer at sowing, with the rules that stop or retire, and the
// care notes.
func (o *oracle) verdict(mat medium.Code, now time.Time) (medium.Word, []string, []string) {
	s := o.stand(mat)
	if s.stage == medium.Retired {
		return medium.RetireMat, []string{"retired"}, nil
	}
	found := slices.Concat(o.stops(mat, s, now), o.retires(mat, s, now), o.careNotes(mat, s, now))
	var grave, cares []string
	word := medium.SowIt
	for _, f := range found {
		sev := f.grave
		if !limitless(f.rule) && sev != medium.Care && !o.rule(f.rule, forever).on {
			sev = medium.Care // switched off: a care note wherever it would have spoken
		}
		switch {
		case sev == medium.RetireIt:
			word = medium.RetireMat
		case sev == medium.Stop && word != medium.RetireMat:
			word = medium.DoNotSow
		case sev == medium.Care && word == medium.SowIt:
			word = medium.SowWithCare
		}
		if sev == medium.Care {
			cares = append(cares, f.rule)
		} else {
			grave = append(grave, f.rule)
		}
	}
	slices.Sort(grave)
	slices.Sort(cares)
	return word, slices.Compact(grave), slices.Compact(cares)
}

func (o *oracle) stops(mat medium.Code, s state, now time.Time) []finding {
	var out []finding
	stop := func(rule string) { out = append(out, finding{rule, medium.Stop}) }
	switch s.stage {
	case medium.OnHold:
		stop("held")
	case medium.Ready:
		if !s.cleared || !s.lastTaken {
			stop("not-sanitized")
		}
		if s.cleared && days(now.Sub(o.facts[s.last].at)) >= o.rule("sanitize-lapsed", forever).limit {
			stop("sanitize-lapsed")
		}
	default:
		stop("stage")
		if s.stage == medium.Growing && s.uncleared {
			stop("not-sanitized")
		}
	}
	if o.swabOpen(mat, s) {
		stop("swab-positive")
	}
	if s.residue || o.residueLearned(s) || len(s.uses) > 20 {
		stop("residue") // of more than 20 uses without a rinse none remembers them all
	}
	if o.restsOnSand(s) {
		stop("rested-on")
	}
	if o.unseen(mat, func(f fact) bool { h, ok := f.body.(*medium.Harvest); return ok && h.KnifeTouched }) {
		stop("knife-touched")
	}
	return out
}

func days(d time.Duration) float64 { return d.Hours() / 24 }

// swabOpen: a failed swab with neither an accepted sanitizing nor a passed swab
// since.
func (o *oracle) swabOpen(mat medium.Code, s state) bool {
	open := -1
	for _, i := range o.of(mat) {
		if b, ok := o.facts[i].body.(*medium.Swab); ok {
			open = i
			if b.Pass {
				open = -1
			}
		}
	}
	return open >= 0 && s.last < open
}

// restsOnSand: by what is written down now, the mat's last accepted sanitizing
// would have missed its rules, though it was accepted when it was recorded.
// Reading: a strip or directions entered later that change nothing of that stop
// no mat; nor does a strip that was read after the use.
func (o *oracle) restsOnSand(s state) bool {
	if s.last < 0 {
		return false
	}
	f := o.facts[s.last]
	then := o.seenBy(s.last, f.written)
	// What came later and was not entered late or as a correction is not of that time,
	// whatever a clock that was behind says of it.
	then.facts = slices.DeleteFunc(then.facts, func(g fact) bool {
		b, label := g.body.(*medium.Sanitizer)
		return g.place > f.place && g.mat == "" && !g.at.After(f.at) && !g.at.Before(g.written) && !(label && b.Corrects != "")
	})
	missed, _ := then.sanitizing(f.body.(*medium.Sanitize), f.at)
	return len(missed) > 0
}

// residueLearned: by what is written down now, a use since the last rinse left more
// than may stay, accepted or not, whatever was put on since.
func (o *oracle) residueLearned(s state) bool {
	return slices.ContainsFunc(s.uses, func(i int) bool {
		return o.leftTooMuch(o.facts[i].body.(*medium.Sanitize), o.facts[i].at)
	})
}

func (o *oracle) leftTooMuch(use *medium.Sanitize, at time.Time) bool {
	missed, _ := o.sanitizing(use, at)
	return slices.Contains(missed, "over-ceiling")
}

// unseen: such a thing happened and no accepted look at the mat came after it.
func (o *oracle) unseen(mat medium.Code, such func(fact) bool) bool {
	open := false
	for _, i := range o.of(mat) {
		f := o.facts[i]
		if _, look := f.body.(*medium.Inspect); look && f.accepted {
			open = false
		}
		open = open || such(f)
	}
	return open
}

// wrongThen: the time of a fact is no time at which it can have been seen, since
// the clock was plainly wrong or said earlier than what was written down before.
func (o *oracle) wrongThen(i int) bool {
	f := o.facts[i]
	behind := func(j int) bool { return j < i && o.facts[j].at.After(f.at.Add(drift)) }
	return o.plainlyWrong(f) || f.at.Equal(f.written) && slices.ContainsFunc(o.of(f.mat), behind)
}

// atTurn is the turn in which something was seen: that of the sowings up to
// then, or the present one where the clock is plainly wrong.
func (o *oracle) atTurn(i int) int {
	f, turn := o.facts[i], 0
	wrong := o.wrongThen(i)
	for _, j := range o.of(f.mat) {
		if _, sown := o.facts[j].body.(*medium.Sow); sown && (wrong && j < i || !wrong && !o.facts[j].at.After(f.at)) {
			turn++
		}
	}
	return turn
}

// molds lists the turns in which mold was seen: once for each wash since the
// sowing, since mold after a wash is mold again.
func (o *oracle) molds(mat medium.Code) []int {
	type when struct{ turn, wash int }
	seen := map[when]bool{}
	var turns []int
	for _, i := range o.of(mat) {
		f := o.facts[i]
		if !isMold(f) {
			continue
		}
		w := when{turn: o.atTurn(i)}
		for _, j := range o.of(mat) {
			r, ok := o.facts[j].body.(*medium.Rinse)
			if ok && r.Debris == medium.DebrisNone && j < i && (o.wrongThen(i) || !o.facts[j].at.After(f.at)) {
				w.wash++
			}
		}
		if !seen[w] {
			seen[w] = true
			turns = append(turns, w.turn)
		}
	}
	return turns
}

func (o *oracle) retires(mat medium.Code, s state, now time.Time) []finding {
	var out []finding
	retire := func(rule string, yes bool) {
		if yes {
			out = append(out, finding{rule, medium.RetireIt})
		}
	}
	limit := func(rule string) float64 { return o.rule(rule, forever).limit }
	// what a trim is said to have removed stops the mat until somebody looked
	damage := func(rule string, all, sure float64) {
		if l := limit(rule); all > 0 && all >= l {
			grave := medium.RetireIt
			if sure < l {
				grave = medium.Stop
			}
			out = append(out, finding{rule, grave})
		}
	}
	through, _, mm := sums(o.cutsLeft(mat))
	sure, _, sureMM := sums(slices.DeleteFunc(o.cutsLeft(mat), func(c cut) bool { return c.said }))
	damage("cut-through", float64(through), float64(sure))
	damage("cut-length", mm, sureMM)
	repeat := 0
	for _, turn := range o.molds(mat) {
		if float64(turn) > float64(s.turn)-o.rule("mold-repeat", forever).window {
			repeat++
		}
	}
	retire("mold-repeat", repeat > 0 && float64(repeat) >= limit("mold-repeat"))
	done := s.turn // a turn under way is not over
	if s.stage == medium.Growing {
		done--
	}
	retire("max-turns", float64(done) >= limit("max-turns"))
	retire("max-age", days(now.Sub(s.added)) >= limit("max-age"))
	sun, sunLimit := o.sun(mat)
	if sunLimit == 0 {
		sunLimit = limit("sun-wear")
	}
	retire("sun-wear", sun >= sunLimit)
	holes, said, snaps, _ := o.looks(mat)
	sureHoles := float64(holes)
	if said {
		sureHoles = 0
	}
	if retire("inspection-failed", snaps); !snaps {
		damage("inspection-failed", float64(holes), sureHoles)
	}
	retire("yield-down", o.yieldDown(mat, now))
	return out
}

// cut is damage that is still on the mat.
type cut struct {
	mm      float64
	through bool
	where   string
	trimmed bool // there was a trim since
	said    bool // which is said to have removed it, and nobody has looked since
}

// sums counts cuts.
func sums(cuts []cut) (through, other int, mm float64) {
	for _, c := range cuts {
		mm += c.mm
		if c.through {
			through++
		} else {
			other++
		}
	}
	return through, other, mm
}

// cutsLeft: a cut is gone when its place lay wholly in what was cut off, or when an
// inspection of the washed mat after the trim says that none is left. Reading: one
// at the edge lay in a strip as deep as the cut is long, one in the middle in half
// of the mat and half of the cut; of any other place nobody knows.
func (o *oracle) cutsLeft(mat medium.Code) []cut {
	var left []cut
	var l, w float64
	for _, i := range o.of(mat) {
		switch b := o.facts[i].body.(type) {
		case *medium.Add:
			l, w = b.Mat.LengthMM, b.Mat.WidthMM
		case *medium.Cut:
			left = append(left, cut{mm: b.LengthMM, through: b.Through, where: b.Where})
		case *medium.Trim:
			dl, dw := l-b.LengthMM, w-b.WidthMM
			left = deleteAtOnce(left, func(c cut) bool {
				edge := edges[c.where] && max(dl, dw) >= besides(left, c)
				middle := c.where == "middle" && (dl >= l/2+c.mm/2 || dw >= w/2+c.mm/2)
				return b.RemovesCuts && (edge || middle)
			})
			for k := range left {
				left[k].trimmed, left[k].said = true, left[k].said || b.RemovesCuts
			}
			l, w = b.LengthMM, b.WidthMM
		case *medium.Inspect:
			if !o.facts[i].accepted {
				continue
			}
			left = slices.DeleteFunc(left, func(c cut) bool { return b.NoCuts && c.trimmed })
			for k := range left {
				left[k].said = false
			}
		}
	}
	return left
}

var edges = map[string]bool{"edge": true, "left edge": true, "right edge": true}

// besides is how deep a strip must be that held a cut: there is one strip, so at an
// edge that is called by its name the cuts of all others come beside it. Reading: a
// plain "edge" is the one that was cut off.
func besides(all []cut, c cut) float64 {
	deep := c.mm
	for _, x := range all {
		if c.where != "edge" && x.where != "edge" && edges[x.where] && x.where != c.where {
			deep += x.mm
		}
	}
	return deep
}

// deleteAtOnce decides on all before it takes any away.
func deleteAtOnce(all []cut, gone func(cut) bool) (left []cut) {
	for _, c := range all {
		if !gone(c) {
			left = append(left, c)
		}
	}
	return left
}

func (o *oracle) sun(mat medium.Code) (kly, rating float64) {
	for _, i := range o.of(mat) {
		switch b := o.facts[i].body.(type) {
		case *medium.Add:
			rating = b.Mat.SunRatingKLy
		case *medium.Dry:
			kly += b.KLy
		}
	}
	return kly, rating
}

// looks sums what inspections found; holes, snapping threads and fuzz do not
// heal. Reading: after a trim a look at the washed mat that says that no cut and no
// hole is left counts the holes anew; until a look, a trim is said to have removed
// them.
func (o *oracle) looks(mat medium.Code) (holes int, said, snaps, fuzz bool) {
	trimmed := false
	for _, i := range o.of(mat) {
		switch b := o.facts[i].body.(type) {
		case *medium.Trim:
			trimmed = holes > 0
			said = trimmed && (said || b.RemovesCuts)
		case *medium.Inspect:
			if o.facts[i].accepted {
				if trimmed && b.NoCuts {
					holes = 0
				}
				trimmed, said = trimmed && b.Holes == 0 && !b.NoCuts, false
			}
			holes = max(holes, b.Holes)
			snaps, fuzz = snaps || b.FoldSnaps, fuzz || b.Fuzz
		}
	}
	return holes, said, snaps, fuzz
}

// yieldDown compares the yield per gram of seed of a crop's last turns with that
// of the turns before. Reading: both sides need as many turns as the window.
func (o *oracle) yieldDown(mat medium.Code, now time.Time) bool {
	r := o.rule("yield-down", forever)
	perSeed := map[string][]float64{}
	var crop string
	var seed, yield float64
	for _, i := range o.of(mat) {
		switch b := o.facts[i].body.(type) {
		case *medium.Sow:
			crop, seed, yield = mixName(b.Crops), seedOf(b.Crops), 0
		case *medium.Harvest:
			if b.YieldG == 0 {
				seed = 0 // a cut that nobody weighed: the turn's yield is not known
			}
			if yield += b.YieldG; !b.MoreCutsToCome && seed > 0 && crop != "" {
				perSeed[crop] = append(perSeed[crop], yield/seed)
			}
		}
	}
	for _, y := range perSeed {
		n := len(y) - int(r.window)
		if n < int(r.window) {
			continue
		}
		if mean(y[n:]) < r.limit/100*mean(y[:n]) {
			return true
		}
	}
	return false
}

func mean(v []float64) float64 {
	var sum float64
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}

// mixName: a crop is its parts with their shares. Reading: shares to the tenth.
func mixName(crops []medium.Sown) string {
	names := make([]string, len(crops))
	for i, c := range crops {
		share := 0.0
		if total := seedOf(crops); total > 0 {
			share = math.Round(10 * c.SeedG / total)
		}
		names[i] = fmt.Sprintf("%s %g", c.Crop, share)
	}
	slices.Sort(names)
	return strings.Join(names, "+")
}

// seedOf is all seed of a sowing, or 0 where some of it was not weighed.
func seedOf(crops []medium.Sown) float64 {
	var g float64
	for _, c := range crops {
		if c.SeedG == 0 {
			return 0
		}
		g += c.SeedG
	}
	return g
}

func (o *oracle) careNotes(mat medium.Code, s state, now time.Time) []finding {
	var out []finding
	care := func(rule string, yes bool) {
		if yes { // switched off too: then the note says so
			out = append(out, finding{rule, medium.Care})
		}
	}
	limit := func(rule string) float64 { return o.rule(rule, forever).limit }
	if s.last >= 0 {
		// by what is written down now of its time
		_, cares := o.sanitizing(o.facts[s.last].body.(*medium.Sanitize), o.facts[s.last].at)
		for _, rule := range cares {
			out = append(out, finding{rule, medium.Care})
		}
	}
	for _, i := range o.of(mat) {
		for _, rule := range o.facts[i].cares {
			_, dry := o.facts[i].body.(*medium.Dry)
			// Reading: what asks for a look at the mat stands until somebody looked; other
			// notes of a drying until then or until the next accepted sanitizing.
			if dry && o.unseenSince(mat, i) && (rule == "wet-hours" || i > s.last) {
				out = append(out, finding{rule, medium.Care})
			}
		}
	}
	share := limit("near-limit") / 100
	sun, rating := o.sun(mat)
	near := func(v float64, rule string, max float64) bool {
		return o.rule(rule, forever).on && v >= share*max && v < max
	}
	care("near-limit", near(float64(s.turn), "max-turns", limit("max-turns")) ||
		near(days(now.Sub(s.added)), "max-age", limit("max-age")) ||
		near(sun, "sun-wear", cmp.Or(rating, limit("sun-wear"))))
	last := slices.ContainsFunc(o.molds(mat), func(turn int) bool {
		return float64(turn) > float64(s.turn)-limit("mold-last-turn")
	})
	// Reading: mold in the last turns is told for as long as the rule says, and
	// beyond that until somebody looked.
	care("mold-last-turn", last || o.unseen(mat, isMold))
	care("contact-undocumented", !o.documented(mat))
	care("crop-voided", o.cropVoided(mat, s))
	_, other, _ := sums(o.cutsLeft(mat))
	care("cut-noted", other > 0 && float64(other) >= limit("cut-noted"))
	looked := 0
	for _, i := range o.of(mat) {
		if _, ok := o.facts[i].body.(*medium.Inspect); ok && o.facts[i].accepted {
			looked = o.turnBy(mat, i)
		}
	}
	care("inspection-due", float64(s.turn-looked) >= limit("inspection-due"))
	_, _, _, fuzz := o.looks(mat)
	if fuzz {
		out = append(out, finding{"inspection-failed", medium.Care})
	}
	care("report-voided", o.reportVoided(mat))
	return out
}

func limitless(rule string) bool { _, ok := limits[rule]; return !ok }

func isMold(f fact) bool {
	in, looked := f.body.(*medium.Inspect)
	_, mold := f.body.(*medium.Mold)
	return mold || looked && in.Mold
}

func (o *oracle) turnBy(mat medium.Code, at int) int {
	turn := 0
	for _, i := range o.of(mat) {
		if _, ok := o.facts[i].body.(*medium.Sow); ok && i < at {
			turn++
		}
	}
	return turn
}

func (o *oracle) unseenSince(mat medium.Code, since int) bool {
	for _, i := range o.of(mat) {
		if _, look := o.facts[i].body.(*medium.Inspect); look && i > since && o.facts[i].accepted {
			return false
		}
	}
	return true
}

func (o *oracle) documented(mat medium.Code) bool {
	yes := false
	for _, i := range o.of(mat) {
		switch b := o.facts[i].body.(type) {
		case *medium.Add:
			yes = b.Mat.ContactStatement != "" && b.Mat.ContactDate != ""
		case *medium.Document:
			yes = true
		}
	}
	return yes
}

// cropVoided: a sowing or harvest was taken back, and no sanitizing was accepted
// after it.
func (o *oracle) cropVoided(mat medium.Code, s state) bool {
	for i, f := range o.facts {
		switch f.body.(type) {
		case *medium.Sow, *medium.Harvest:
			if f.mat == mat && o.voided(i) && i > s.last {
				return true
			}
		}
	}
	return false
}

// reportVoided: a report of danger seen on the mat, or a use that left more than
// may stay, was taken back. Reading: a look at the mat since then answers what was
// seen, whether the report was taken back before the look or after it, and a rinse
// what was left. A hold alone tells of nothing to look for, but a fall does.
func (o *oracle) reportVoided(mat medium.Code) bool {
	rinsed := func(f fact) bool {
		use, ok := f.body.(*medium.Sanitize)
		_, rinse := f.body.(*medium.Rinse)
		return rinse || ok && use.Rinsed
	}
	for i, f := range o.facts {
		if f.mat != mat || !o.voided(i) {
			continue
		}
		swab, swabbed := f.body.(*medium.Swab)
		end, retired := f.body.(*medium.Retire)
		_, cut := f.body.(*medium.Cut)
		look, looked := f.body.(*medium.Inspect)
		hold, held := f.body.(*medium.Hold)
		seen := isMold(f) || cut || held && hold.Dropped || looked && (look.FoldSnaps || look.Smell || look.Holes > 0) || swabbed && !swab.Pass ||
			retired && (end.Cause == medium.CauseMold || end.Cause == medium.CauseCut)
		if seen && o.unseenSince(mat, i) {
			return true
		}
		use, used := f.body.(*medium.Sanitize)
		left := used && !rinsed(f) && (slices.Contains(f.missed, "over-ceiling") || f.active == "" || o.leftTooMuch(use, f.at))
		if left && !slices.ContainsFunc(o.of(mat), func(j int) bool { return j > i && rinsed(o.facts[j]) }) {
			return true
		}
	}
	return false
}
