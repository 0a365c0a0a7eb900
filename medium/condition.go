package medium

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Condition is all that the rules need to know of a mat: the fold of its
// thread. The store keeps it beside the thread and can always rebuild it.
type Condition struct {
	record
	Code     Code      `cbor:"10,keyasint,omitzero" json:"code"`
	Mat      Mat       `cbor:"11,keyasint,omitzero" json:"mat"`
	Stage    Stage     `cbor:"12,keyasint,omitzero" json:"stage"`
	Since    time.Time `cbor:"13,keyasint,omitzero" json:"stage_since"`
	Turn     int       `cbor:"14,keyasint,omitzero" json:"turn"`
	Added    time.Time `cbor:"15,keyasint,omitzero" json:"added_at"`
	Last     time.Time `cbor:"16,keyasint,omitzero" json:"last_step_at"`
	WetSince time.Time `cbor:"17,keyasint,omitzero" json:"wet_since,omitzero"`

	// of the turn under way, or of the last one
	Crops   []Sown    `cbor:"20,keyasint,omitzero" json:"crops,omitempty"`
	Lot     string    `cbor:"21,keyasint,omitzero" json:"lot,omitempty"`
	SeedLot string    `cbor:"22,keyasint,omitzero" json:"seed_lot,omitempty"`
	SownAt  time.Time `cbor:"23,keyasint,omitzero" json:"sown_at,omitzero"`
	Debris  Debris    `cbor:"24,keyasint,omitzero" json:"debris,omitempty"`
	// an accepted sanitize step since the last crop
	Cleared   bool           `cbor:"25,keyasint,omitzero" json:"sanitized_since_crop,omitempty"`
	Sanitized *LastSanitized `cbor:"26,keyasint,omitzero" json:"last_sanitized,omitempty"`
	// SownUncleared: as the records stand now, the crop was sown without an
	// accepted sanitize step before it. Only a correction brings that about.
	SownUncleared bool `cbor:"27,keyasint,omitzero" json:"sown_uncleared,omitempty"`
	// WetWith are the sanitizers put on since the mat was last dried or rinsed,
	// accepted or not.
	WetWith []string `cbor:"28,keyasint,omitzero" json:"wet_with,omitempty"`
	// CropVoided: a sowing or a harvest since the last accepted sanitize step
	// was taken back. Whether a crop lay on the mat is not certain.
	CropVoided bool `cbor:"29,keyasint,omitzero" json:"crop_step_voided,omitempty"`

	// Care are the findings of the last accepted sanitize step, DryCare those of
	// the dryings since, or since a look at the mat. They stand on the verdict.
	Care    []Finding `cbor:"53,keyasint,omitzero" json:"sanitize_findings,omitempty"`
	DryCare []Finding `cbor:"54,keyasint,omitzero" json:"dry_findings,omitempty"`

	HeldIn  Stage  `cbor:"30,keyasint,omitzero" json:"held_in,omitempty"` // stage before the hold
	HeldFor string `cbor:"31,keyasint,omitzero" json:"held_for,omitempty"`
	// mold or a failed swab: no release back to where it was
	MustWash bool `cbor:"32,keyasint,omitzero" json:"must_wash,omitempty"`
	// failed and neither sanitized nor passed since
	SwabOpen  bool   `cbor:"33,keyasint,omitzero" json:"swab_open,omitempty"`
	SwabText  string `cbor:"34,keyasint,omitzero" json:"swab,omitempty"`
	MoldTurns []int  `cbor:"35,keyasint,omitzero" json:"mold_turns,omitempty"`
	// cuts so far of a crop that is cut more than once
	TurnG float64 `cbor:"36,keyasint,omitzero" json:"turn_yield_g,omitempty"`
	// HeldSince is since when it was in the stage before the hold.
	HeldSince time.Time `cbor:"37,keyasint,omitzero" json:"held_in_since,omitzero"`

	CutsThrough int         `cbor:"40,keyasint,omitzero" json:"cuts_through,omitempty"`
	Cuts        int         `cbor:"41,keyasint,omitzero" json:"cuts,omitempty"` // not through
	CutMM       float64     `cbor:"42,keyasint,omitzero" json:"cut_mm,omitempty"`
	SunKLy      float64     `cbor:"43,keyasint,omitzero" json:"sun_kly,omitempty"`
	Inspected   int         `cbor:"44,keyasint,omitzero" json:"inspected_turn,omitempty"` // turn of the last inspection
	Holes       int         `cbor:"45,keyasint,omitzero" json:"holes,omitempty"`
	FoldSnaps   bool        `cbor:"46,keyasint,omitzero" json:"fold_snaps,omitempty"`
	Fuzz        bool        `cbor:"47,keyasint,omitzero" json:"fuzz,omitempty"`
	Yields      []CropYield `cbor:"48,keyasint,omitzero" json:"yields,omitempty"`
	YieldG      float64     `cbor:"49,keyasint,omitzero" json:"yield_g,omitempty"` // all turns
	Harvests    int         `cbor:"50,keyasint,omitzero" json:"harvests,omitempty"`
	Labels      int         `cbor:"51,keyasint,omitzero" json:"relabels,omitempty"`
	Tags        []Code      `cbor:"52,keyasint,omitzero" json:"other_codes,omitempty"`

	// Residue is what was left on the mat over its ceiling and not rinsed off since.
	Residue *Residue `cbor:"70,keyasint,omitzero" json:"residue,omitempty"`
	// Uses are the sanitizers put on since a rinse, accepted or not, voided or not: what
	// is learned later of one can tell of a residue. At most usesKept, and one that says so.
	Uses []Rested `cbor:"71,keyasint,omitzero" json:"-"`
	// Doubts are the reports of danger that were taken back, each once: what was seen,
	// until somebody looked, or doubtResidue, until a rinse. (Key 88 was one of mold.)
	Doubts []string `cbor:"72,keyasint,omitzero" json:"voided_reports,omitempty"`

	// of the crop that grows: where it stands, and its care since it was sown
	Place     string    `cbor:"100,keyasint,omitzero" json:"place,omitempty"`
	Misted    time.Time `cbor:"101,keyasint,omitzero" json:"misted_at,omitzero"`
	Uncovered time.Time `cbor:"102,keyasint,omitzero" json:"uncovered_at,omitzero"`
	Wiped     time.Time `cbor:"103,keyasint,omitzero" json:"wiped_at,omitzero"`

	RetiredAt time.Time `cbor:"60,keyasint,omitzero" json:"retired_at,omitzero"`
	Cause     Cause     `cbor:"61,keyasint,omitzero" json:"cause,omitempty"`

	// Handled is when the last step that takes the mat in hand was done: no
	// contact time and no drying after it can have begun before.
	Handled time.Time `cbor:"80,keyasint,omitzero" json:"handled_at,omitzero"`
	// when the last step that was no report of danger was written down
	Recorded time.Time `cbor:"81,keyasint,omitzero" json:"last_recorded_at,omitzero"`
	// a cut of this turn's crop was not weighed
	CutUnweighed bool `cbor:"82,keyasint,omitzero" json:"cut_not_weighed,omitempty"`
	// those of CutsThrough and Cuts
	CutList []MeshCut `cbor:"83,keyasint,omitzero" json:"cut_list,omitempty"`
	// a trim may have removed the holes
	HolesTrimmed bool `cbor:"84,keyasint,omitzero" json:"holes_trimmed,omitempty"`
	// with that trim, and nobody has looked since
	HolesSaid    bool `cbor:"91,keyasint,omitzero" json:"holes_said_removed,omitempty"`
	KnifeTouched bool `cbor:"85,keyasint,omitzero" json:"knife_touched,omitempty"` // and nobody has looked since
	// MoldLook: mold was seen, and nobody has looked at the washed mat since.
	MoldLook bool `cbor:"86,keyasint,omitzero" json:"look_for_mold,omitempty"`
	// MoldWashes is how often the mat had been washed before each mold of MoldTurns:
	// mold after a wash counts again. (Key 95 was when it was seen.) Washed is how often
	// it was washed up to now, and Washes when, of the last washesKept.
	MoldWashes []int       `cbor:"98,keyasint,omitzero" json:"mold_after_washes,omitempty"`
	Washed     int         `cbor:"99,keyasint,omitzero" json:"washes,omitempty"`
	Washes     []time.Time `cbor:"96,keyasint,omitzero" json:"washed_at,omitempty"`
	// DayAlone are those of its times of which only the day is known: see When.
	DayAlone []time.Time `cbor:"97,keyasint,omitzero" json:"day_only,omitempty"`
	// Settled is when the last step was done that was no report of danger.
	// A registration and a relabelling, which can't be voided, do not count either.
	Settled time.Time `cbor:"90,keyasint,omitzero" json:"last_other_step_at,omitzero"`
}

// LastSanitized is the last sanitize step, accepted or not.
type LastSanitized struct {
	record
	At            time.Time `cbor:"10,keyasint,omitzero" json:"at"`
	Product       string    `cbor:"11,keyasint,omitzero" json:"product,omitempty"`
	Active        string    `cbor:"12,keyasint,omitzero" json:"active"`
	StrengthPPM   float64   `cbor:"13,keyasint,omitzero" json:"strength_ppm"`
	ContactS      int       `cbor:"14,keyasint,omitzero" json:"contact_s"`
	Accepted      bool      `cbor:"15,keyasint,omitzero" json:"accepted"`
	FarmProcedure bool      `cbor:"16,keyasint,omitzero" json:"farm_procedure,omitempty"`
	// AcceptedAt is the last accepted step, which an unaccepted one does not undo.
	AcceptedAt time.Time `cbor:"17,keyasint,omitzero" json:"accepted_at,omitzero"`
	Solution   Code      `cbor:"18,keyasint,omitzero" json:"solution,omitempty"`
	Rested     *Rested   `cbor:"19,keyasint,omitzero" json:"-"` // of the last accepted step
}

// Replay folds a mat's whole thread. A step that a correction voids counts as
// never taken, and so does the correction itself.
func Replay(thread []Step) Condition {
	voided := Voided(thread)
	var c Condition
	for i := range thread {
		s := &thread[i]
		if voided[s.MatSeq] {
			c.without(s)
			continue
		}
		c.apply(s)
	}
	return c
}

// Voided gives the steps of a mat's whole thread that corrections took back, by
// their MatSeq; nil where there are none.
func Voided(thread []Step) map[uint64]bool {
	var voided map[uint64]bool
	for i := range thread {
		b, ok := thread[i].Body.(*Correct)
		if !ok {
			continue
		}
		if voided == nil {
			voided = map[uint64]bool{}
		}
		voided[b.MatSeq] = true
	}
	return voided
}

// Voidable says whether a step of this body can be taken back. By a clock that was
// ahead one that can't be must keep no later step off: there would be no way out.
func Voidable(b Body) bool {
	switch b.(type) {
	case *Add, *Relabel, *Correct:
		return false
	}
	return true
}

// Apply gives the mat's condition after a recorded step. It is history: total,
// it never refuses, and it takes from the step whether the step was accepted.
// Where a correction has taken away an earlier step, a step that no longer
// follows from the stage can only leave the mat further from being sown on. A
// correction itself changes nothing here: see Replay.
func (c Condition) Apply(s Step) Condition {
	c.apply(&s)
	return c
}

// apply is Apply in place, which spares a replay of a long thread two copies a
// step. Lists are never changed in place: a copy of the condition shares them.
func (c *Condition) apply(s *Step) {
	if s.Kind == KindCorrect {
		return
	}
	from, heldIn, heldSince := c.Stage, c.HeldIn, c.HeldSince
	if !c.danger(s.Body) && Voidable(s.Body) {
		c.Settled, c.Recorded = s.At, s.Recorded
	}
	if s.At.Before(c.Added) { // it was registered by a clock that was ahead
		c.Added = s.At
	}
	c.Last = s.At
	if takesInHand(s) {
		c.Handled = s.At
	}
	c.take(s)
	if from == OnHold && leavesChanged(s) {
		c.MustWash = true
	}
	if c.Stage != from {
		c.Since = s.At
		if from == OnHold && c.Stage == heldIn { // a hold neither washes a mat nor lets its crop stand still
			c.Since = heldSince
		}
	}
	if alone := s.dayAlone(); alone || len(c.DayAlone) > 0 {
		c.keepDays(s.At, alone)
	}
}

// take folds in what only this kind of step says.
func (c *Condition) take(s *Step) {
	switch b := s.Body.(type) {
	case *Add:
		c.add(s, b)
	case *Sow:
		c.sow(s, b)
	case *Mist:
		c.mist(s, b)
	case *Uncover:
		c.Uncovered = s.At
		c.moved(b.Place)
	case *Wipe:
		c.Wiped = s.At
	case *Move:
		c.moved(b.Place)
	case *Harvest:
		c.harvest(b)
	case *Rinse:
		c.rinse(s, b)
	case *Dry:
		c.dry(s, b)
	case *Sanitize:
		c.sanitize(s, b)
	case *Mold:
		c.mold(s, "mold: "+b.Where)
	case *Cut:
		c.cut(b)
	case *Swab:
		c.swab(b)
	case *Hold:
		c.MustWash = c.MustWash || b.MustWash || b.Dropped
		c.hold(cmp.Or(strings.TrimSpace(b.Reason), "fell on the floor"))
	case *Release:
		c.release(b)
	case *Inspect:
		c.inspect(s, b)
	case *Trim:
		c.trim(b)
	case *Relabel:
		c.relabel(b)
	case *Document:
		c.document(b)
	case *Retire:
		c.retire(s, b)
	}
}

func (c *Condition) add(s *Step, b *Add) {
	if c.Stage != "" {
		return // a second registration is no way out of a hold
	}
	c.Code, c.Mat, c.Added = s.Mat, b.Mat, s.At
	c.Stage = ToWash
	if b.Mat.Unidentified != "" { // quarantined in one record, which no correction can void
		c.Since = s.At
		c.hold("not known which mat it is: " + b.Mat.Unidentified)
	}
}

func (c *Condition) sow(s *Step, b *Sow) {
	c.Turn++
	c.SownUncleared = c.Stage != Ready || !c.Cleared || c.Sanitized != nil && !c.Sanitized.Accepted
	c.Crops, c.Lot, c.SeedLot, c.SownAt = b.Crops, b.Lot, b.SeedLot, s.At
	c.Misted, c.Uncovered, c.Wiped = time.Time{}, time.Time{}, time.Time{}
	c.moved(b.Place)
	c.Cleared, c.TurnG, c.CutUnweighed, c.WetSince = false, 0, false, time.Time{}
	switch c.Stage {
	case Retired:
	case OnHold:
		c.HeldIn, c.HeldSince = Growing, s.At
	default:
		c.Stage = Growing
	}
}

func (c *Condition) mist(s *Step, b *Mist) {
	if b.Treated == "" { // a spot that is treated is no misting
		c.Misted = later(c.Misted, s.At)
	}
	if c.apart() || c.Stage == Growing {
		return
	}
	c.backToWash() // its sowing was voided, but something wetted it
	c.wetted(s.At)
}

func (c *Condition) harvest(b *Harvest) {
	c.YieldG += b.YieldG
	c.Harvests++
	c.TurnG += b.YieldG
	c.KnifeTouched = c.KnifeTouched || b.KnifeTouched
	c.CutUnweighed = c.CutUnweighed || b.YieldG == 0 || b.Shared
	if !b.MoreCutsToCome {
		if c.TurnG > 0 && c.Stage == Growing {
			c.yielded()
		}
		c.TurnG, c.CutUnweighed = 0, false
	}
	if c.apart() || (b.MoreCutsToCome && c.Stage == Growing) {
		return
	}
	c.Stage, c.Cleared = ToWash, false
}

func (c *Condition) rinse(s *Step, b *Rinse) {
	c.rinsed()
	c.Debris, c.Place = b.Debris, b.Place // it has left the shelf that it grew on
	if b.Debris == DebrisNone {
		c.Washed++
		c.Washes = append(slices.Clone(c.Washes[max(0, len(c.Washes)-washesKept+1):]), s.At)
	}
	c.backToWash()
	if c.Stage == ToWash && b.Debris == DebrisNone {
		c.Stage = ToDry
	}
	c.wetted(s.At)
}

func (c *Condition) dry(s *Step, b *Dry) {
	c.SunKLy += b.KLy
	if s.Outcome.Accepted {
		c.WetSince = time.Time{}
	}
	if tooShort(s) {
		return // as wet as before
	}
	c.WetWith = nil
	c.DryCare = lasting(c.DryCare, s.Outcome)
	switch c.Stage {
	case ToDry:
		c.Stage = ToSanitize
	case Airing:
		c.Stage = Ready
	}
}

func (c *Condition) sanitize(s *Step, b *Sanitize) {
	c.moved(b.Place)
	last := LastSanitized{At: s.At, Product: b.Product, Active: b.Active, StrengthPPM: b.StrengthPPM, ContactS: b.ContactS,
		Accepted: c.credits(s), Solution: b.Solution}
	if c.Sanitized != nil {
		last.AcceptedAt = c.Sanitized.AcceptedAt
		last.FarmProcedure, last.Rested = c.Sanitized.FarmProcedure, c.Sanitized.Rested
	}
	if last.Accepted {
		rested := restedOn(s, b)
		last.AcceptedAt, last.Rested, last.FarmProcedure = s.At, &rested, b.byProcedure()
		c.Stage, c.Cleared, c.SwabOpen, c.CropVoided = Airing, true, false, false
		c.Care, c.DryCare = lasting(nil, s.Outcome), asksForLook(c.DryCare)
	}
	c.Sanitized = &last
	c.wetted(s.At)
	c.used(s, b)
}

// lasting adds the findings of a step that stand on the verdict after it. One of
// the same rule takes the place of an earlier one.
func lasting(old []Finding, o Outcome) []Finding {
	var out []Finding
	for _, f := range o.Findings {
		// the verdict says by itself that a farm procedure was used, or a clock wrong
		if f.Severity == Care && f.Rule != "farm-procedure" && f.Rule != "clock-wrong" {
			out = append(out, f)
		}
	}
	for _, f := range old {
		if !slices.ContainsFunc(out, func(n Finding) bool { return n.Rule == f.Rule }) {
			out = append(out, f)
		}
	}
	return out
}

// asksForLook keeps the findings of dryings that ask for a look: only a look
// answers them, no sanitizer.
func asksForLook(dry []Finding) (out []Finding) {
	for _, f := range dry {
		if f.Rule == "wet-hours" {
			out = append(out, f)
		}
	}
	return out
}

// mold counts mold for the turn in which it was seen. Two reports of one turn
// count once, unless the mat was washed between them. What was washed before it
// shows by the order of the records; of mold that was seen earlier, by the times.
func (c *Condition) mold(s *Step, why string) {
	turn, washed := c.Turn, c.Washed
	if !s.Seen.IsZero() {
		turn = s.SeenTurn
		if !s.Seen.Equal(s.Recorded) && !s.Seen.Before(c.Added) && s.Seen.Before(s.At) { // not by a clock that was wrong
			washed = c.washedBy(s.Seen)
		}
	}
	from, _ := slices.BinarySearch(c.MoldTurns, turn)
	at, _ := slices.BinarySearch(c.MoldTurns, turn+1)
	if !slices.Contains(c.MoldWashes[from:at], washed) {
		turns := slices.Insert(slices.Clone(c.MoldTurns), at, turn)
		washes := slices.Insert(slices.Clone(c.MoldWashes), at, washed)
		more := max(0, len(turns)-moldsKept)
		c.MoldTurns, c.MoldWashes = turns[more:], washes[more:]
	}
	c.MoldLook = true
	c.MustWash = true
	c.hold(why)
}

// washedBy counts the washes up to a time.
func (c *Condition) washedBy(t time.Time) int {
	n := c.Washed
	for _, wash := range c.Washes {
		if wash.After(t) {
			n--
		}
	}
	return n
}

// moldsKept is more than any window of the mold rules, and washesKept reaches back
// as far for mats that are washed twice a turn.
const (
	moldsKept  = 20
	washesKept = 24
)

func (c *Condition) swab(b *Swab) {
	if b.Pass {
		c.SwabOpen = false
		return
	}
	c.SwabOpen, c.SwabText, c.MustWash = true, swabText(b), true
	c.hold("failed swab: " + b.Test)
}

func swabText(b *Swab) string {
	if b.Limit == 0 && b.Reading == 0 {
		return b.Test + " failed"
	}
	return b.Test + " " + trimZeros(b.Reading) + " " + b.Unit + ", limit " + trimZeros(b.Limit)
}

func (c *Condition) hold(why string) {
	if c.Stage == Retired {
		return
	}
	if c.Stage == OnHold {
		c.alsoHeldFor(why)
		return
	}
	c.HeldIn, c.HeldFor, c.HeldSince = c.Stage, why, c.Since
	c.Stage = OnHold
}

// maxHeldFor bounds the reasons of one hold in bytes: eight of the longest. What
// is over it is kept in the steps, and heldForMore says so.
const (
	maxHeldFor  = 8 * maxText
	heldForMore = "and more, which its history shows"
)

// alsoHeldFor adds a reason: a second one does not hide the first.
func (c *Condition) alsoHeldFor(why string) {
	if c.IsHeldFor(why) {
		return
	}
	if len(c.HeldFor)+len(why) > maxHeldFor {
		why = heldForMore
	}
	if !c.IsHeldFor(why) {
		c.HeldFor += "; " + why
	}
}

// IsHeldFor says whether a reason is among those of the hold.
func (c *Condition) IsHeldFor(why string) bool {
	return c.Stage == OnHold && strings.Contains("; "+c.HeldFor+"; ", "; "+why+"; ")
}

func (c *Condition) release(b *Release) {
	if c.Stage != OnHold {
		return
	}
	c.Stage = ToWash
	if b.AsWas && !c.MustWash && c.HeldIn != "" {
		c.Stage = c.HeldIn
	}
	if c.Stage == ToWash {
		c.Cleared = false
	}
	c.HeldIn, c.HeldFor, c.MustWash, c.HeldSince = "", "", false, time.Time{}
}

func (c *Condition) inspect(s *Step, b *Inspect) {
	if s.Outcome.Accepted && s.Seen.IsZero() { // not one from before later steps
		c.Inspected, c.DryCare = c.Turn, nil
		c.KnifeTouched, c.MoldLook = false, false
		c.undoubt(func(what string) bool { return what != doubtResidue })
		c.looked()
		if b.NoCuts {
			c.uncut(func(m MeshCut) bool { return m.Trimmed })
		}
		if c.HolesTrimmed && b.NoCuts {
			c.Holes = 0
		}
		c.HolesTrimmed = c.HolesTrimmed && b.Holes == 0 && !b.NoCuts
	}
	// wear does not heal: a later look can find more, a mistaken one is voided
	c.FoldSnaps, c.Fuzz, c.Holes = c.FoldSnaps || b.FoldSnaps, c.Fuzz || b.Fuzz, max(c.Holes, b.Holes)
	if b.ApertureMM > 0 {
		c.Mat.ApertureMM = b.ApertureMM
	}
	if b.Mold {
		c.mold(s, "mold seen at inspection")
		return
	}
	if b.Smell {
		c.backToWash()
	}
}

func (c *Condition) relabel(b *Relabel) {
	c.Labels++
	if b.NewCode != "" {
		c.Tags = append(append([]Code(nil), c.Tags...), b.NewCode)
	}
	if b.Mark != "" {
		c.Mat.Mark = b.Mark
	}
}

func (c *Condition) document(b *Document) {
	c.Mat.ContactStatement, c.Mat.ContactDate = b.ContactStatement, b.ContactDate
	if b.Supplier != "" {
		c.Mat.Supplier = b.Supplier
	}
}

func (c *Condition) retire(s *Step, b *Retire) {
	if c.Stage != Retired {
		c.Stage, c.RetiredAt, c.Cause = Retired, s.At, b.Cause
	}
}

// apart says that the mat is out of the turn.
func (c *Condition) apart() bool { return c.Stage == OnHold || c.Stage == Retired }

// backToWash has a mat washed anew, unless a crop grows on it or it is out of the turn.
func (c *Condition) backToWash() {
	if !c.apart() && c.Stage != Growing {
		c.Stage, c.Cleared = ToWash, false
	}
}

func (c *Condition) moved(to string) {
	if to != "" {
		c.Place = to
	}
}

// wetted begins the hours wet of a dry mat. A wet one has been so all along, and
// only an accepted drying ends that. A crop is kept wet: its hours do not count.
func (c *Condition) wetted(at time.Time) {
	if c.WetSince.IsZero() && c.Stage != Growing && c.Stage != Retired {
		c.WetSince = at
	}
}

// takesInHand says that a step took the mat in hand, so that a contact time or a
// drying recorded later began after it. A drying that was not accepted goes on.
func takesInHand(s *Step) bool {
	switch s.Body.(type) {
	case *Add, *Sow, *Mist, *Harvest, *Rinse, *Sanitize, *Trim:
		return true
	case *Dry:
		return s.Outcome.Accepted
	}
	return false
}

// leavesChanged says that a step leaves a mat in another state than the one in which
// it was held, so that a release can't put it back there. Only a trim and a bad
// smell are admitted on a held mat; the others follow from a voided release.
func leavesChanged(s *Step) bool {
	switch b := s.Body.(type) {
	case *Sow, *Mist, *Harvest, *Rinse, *Dry, *Sanitize, *Trim:
		return true
	case *Inspect:
		return b.Smell
	}
	return false
}

// tooShort says that a drying was kept and did not dry the mat.
func tooShort(s *Step) bool {
	return slices.ContainsFunc(s.Outcome.Findings,
		func(f Finding) bool { return f.Rule == "dry-least" && f.Severity == StepRule })
}

// without is the condition after a step that was taken back later. A mat on
// which a crop or a danger was recorded by mistake is looked at before it is sown
// on.
func (c *Condition) without(s *Step) {
	switch b := s.Body.(type) {
	case *Sow, *Harvest:
		c.CropVoided = true
	case *Mold:
		c.doubt("mold", true)
	case *Inspect:
		c.doubt("mold", b.Mold)
		c.doubt("a snapped thread", b.FoldSnaps)
		c.doubt("a bad smell", b.Smell)
		c.doubt("holes", b.Holes > 0)
	case *Hold:
		c.doubt("a fall on the floor", b.Dropped)
	case *Cut:
		c.doubt("a cut", true)
	case *Swab:
		c.doubt("a failed swab", !b.Pass)
	case *Retire:
		c.doubt("mold", b.Cause == CauseMold)
		c.doubt("a cut", b.Cause == CauseCut)
	case *Sanitize:
		c.unused(s, b)
	}
}

// doubtResidue is that too much of a sanitizer was left on the mat. A look does not
// show it, a rinse takes it off.
const doubtResidue = "a residue"

func (c *Condition) doubt(what string, doubted bool) {
	if doubted && !slices.Contains(c.Doubts, what) {
		c.Doubts = append(slices.Clone(c.Doubts), what)
	}
}

func (c *Condition) undoubt(gone func(what string) bool) {
	if slices.ContainsFunc(c.Doubts, gone) {
		c.Doubts = slices.DeleteFunc(slices.Clone(c.Doubts), gone)
	}
}

// keepDays keeps which of the times are days alone.
func (c *Condition) keepDays(at time.Time, alone bool) {
	times := []time.Time{c.Since, c.WetSince, c.SownAt, c.HeldSince}
	if c.Sanitized != nil {
		times = append(times, c.Sanitized.At, c.Sanitized.AcceptedAt)
	}
	var days []time.Time
	for _, t := range times {
		is := c.dayAlone(t)
		if t.Equal(at) {
			is = alone
		}
		if is && !slices.ContainsFunc(days, t.Equal) {
			days = append(days, t)
		}
	}
	c.DayAlone = days
}

func (c *Condition) dayAlone(t time.Time) bool { return slices.ContainsFunc(c.DayAlone, t.Equal) }

// When writes one of the mat's times by a layout, without the time of day where
// nobody knows it.
func (c *Condition) When(t time.Time, loc *time.Location, layout string) string {
	return when(t, c.dayAlone(t), loc, layout)
}
