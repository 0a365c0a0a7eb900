package medium

import (
	"fmt"
	"slices"
	"time"
)

// Rested is what a use of a sanitizer rested on, to be held against what is
// learned later.
type Rested struct {
	record
	Seq    uint64    `cbor:"10,keyasint,omitzero"` // of the step
	Use    Sanitize  `cbor:"11,keyasint,omitzero"` // without its copies of directions and solution
	MadeAt time.Time `cbor:"12,keyasint,omitzero"` // of the solution
	At     time.Time `cbor:"13,keyasint,omitzero"` // of the step
	Void   bool      `cbor:"14,keyasint,omitzero"` // taken back: nobody knows whether it was put on
}

func restedOn(s *Step, b *Sanitize) Rested {
	r := Rested{Seq: s.Seq, Use: *b, At: s.At}
	if b.Mixed != nil {
		r.MadeAt = b.Mixed.MadeAt
	}
	r.Use.Directions, r.Use.Mixed, r.Use.Place = nil, nil, ""
	return r
}

// usesKept bounds the uses since a rinse that a mat remembers. With one more the
// oldest is forgotten, and the verdict asks for a rinse: see residueFinding.
const usesKept = 20

// used notes a use, accepted or not, and what it left on the mat. A rinse after
// the contact time takes off all that was there.
func (c *Condition) used(s *Step, b *Sanitize) {
	if b.Rinsed {
		c.rinsed()
		return
	}
	if with := b.substance(); !slices.Contains(c.WetWith, with) {
		c.WetWith = append(slices.Clone(c.WetWith), with)
	}
	if r := residueOf(b, s.Outcome.Findings, s.At); r != nil {
		c.Residue = r
	}
	c.remember(restedOn(s, b))
}

func (c *Condition) remember(use Rested) {
	uses := append(slices.Clone(c.Uses), use)
	c.Uses = uses[max(0, len(uses)-usesKept-1):]
}

// unused is used for a step that was taken back.
func (c *Condition) unused(s *Step, b *Sanitize) {
	c.doubt(doubtResidue, residueOf(b, s.Outcome.Findings, s.At) != nil)
	if use := restedOn(s, b); !b.Rinsed {
		use.Void = true
		c.remember(use)
	}
}

func (c *Condition) rinsed() {
	c.WetWith, c.Residue, c.Uses = nil, nil, nil
	c.undoubt(func(what string) bool { return what == doubtResidue })
}

// Residue is what a sanitize step left on a mat over its ceiling.
type Residue struct {
	record
	What        string    `cbor:"10,keyasint,omitzero" json:"what"`
	StrengthPPM float64   `cbor:"11,keyasint,omitzero" json:"strength_ppm"`
	At          time.Time `cbor:"12,keyasint,omitzero" json:"at"`
}

// residueOf is what a use left by the findings on it; nil where they name none.
func residueOf(b *Sanitize, found []Finding, at time.Time) *Residue {
	over := func(f Finding) bool { return f.Rule == overCeiling && f.Severity == StepRule }
	switch {
	case b.Rinsed || !slices.ContainsFunc(found, over):
		return nil
	case b.Solution != "" && b.Mixed == nil:
		return &Residue{What: "unknown solution " + b.Solution.String(), At: at}
	}
	return &Residue{What: name(b), StrengthPPM: b.StrengthPPM, At: at}
}

const stamp = "2 Jan 15:04"

// residueFinding stops a mat until it is rinsed, whatever was put on it since:
// another product takes nothing off. What a use left counts too where it was
// learned later. It gives since when the mat is to be rinsed.
func (c *Condition) residueFinding(f Farm, loc *time.Location) (Finding, time.Time, bool) {
	if c.Stage == Retired {
		return Finding{}, time.Time{}, false
	}
	left, learned := c.Residue, ""
	var since time.Time
	if left != nil {
		since = left.At
	} else {
		late, fact, by := c.learnedResidue(f, false)
		if late == nil {
			return c.forgotten(f.Policy, loc)
		}
		left, since = late, fact.Recorded
		learned = fmt.Sprintf(", by %s, recorded later, on %s by %s", by, since.In(loc).Format(stamp), fact.By)
	}
	what := left.What
	if left.StrengthPPM > 0 {
		what = fmt.Sprintf("%g ppm of %s", left.StrengthPPM, what)
	}
	return f.Policy.finding("residue",
		"%s was put on it on %s and not rinsed off%s; rinse the mat with potable water, then dry and sanitize it",
		what, left.At.In(loc).Format("2 Jan, 15:04"), learned), since, true
}

// learnedResidue is what a use since the last rinse left by what was learned of it
// later, or a use that was taken back; nil where none is known to have. The fact is
// the one from which that is known.
func (c *Condition) learnedResidue(f Farm, void bool) (left *Residue, fact Noted, what string) {
	for i := len(c.Uses) - 1; i >= 0; i-- {
		r := &c.Uses[i]
		if r.Void != void {
			continue
		}
		if fact, what = f.learned(r); what == "" {
			continue
		}
		use, found := r.judged(f, true)
		if left = residueOf(&use, found, r.At); left != nil {
			return left, fact, what
		}
	}
	return nil, Noted{}, ""
}

// forgotten stops a mat of which more uses went without a rinse than are kept.
func (c *Condition) forgotten(p Policy, loc *time.Location) (Finding, time.Time, bool) {
	if len(c.Uses) <= usesKept {
		return Finding{}, time.Time{}, false
	}
	last := c.Uses[len(c.Uses)-1].At
	return p.finding("residue", "sanitized more than %d times since it was rinsed, the last time on %s; rinse the "+
		"mat with potable water, then dry and sanitize it",
		usesKept, last.In(loc).Format(stamp)), last, true
}

// restedFinding stops a mat whose last accepted sanitizing rested on facts that
// were learned later to be otherwise, if it would not have been accepted by them.
// It gives when that was learned.
func (c *Condition) restedFinding(f Farm, loc *time.Location) (Finding, time.Time, bool) {
	if c.Sanitized == nil || c.Sanitized.Rested == nil || c.Stage == Retired {
		return Finding{}, time.Time{}, false
	}
	r := c.Sanitized.Rested
	fact, what := f.learned(r)
	if what == "" {
		return Finding{}, time.Time{}, false
	}
	why := f.refutes(r, loc)
	if why == "" {
		return Finding{}, time.Time{}, false
	}
	of := r.Use.Product
	if r.Use.Solution != "" {
		of = "solution " + r.Use.Solution.String()
	}
	return f.Policy.finding("rested-on",
		"the sanitizing of %s rested on %s, of which %s was recorded later, on %s by %s: %s; sanitize it again",
		r.At.In(loc).Format(stamp), of, what, fact.Recorded.In(loc).Format(stamp), fact.By, why), fact.Recorded, true
}

// asKnown gives the last sanitizing, and the care notes of the last accepted one,
// by what is known now of its time.
func (c *Condition) asKnown(f Farm) (last *LastSanitized, cares []Finding) {
	if c.Sanitized == nil || c.Sanitized.Rested == nil {
		return c.Sanitized, c.Care
	}
	if _, what := f.learned(c.Sanitized.Rested); what == "" {
		return c.Sanitized, c.Care
	}
	use, found := c.Sanitized.Rested.judged(f, true)
	now := *c.Sanitized
	now.FarmProcedure = use.byProcedure()
	return &now, lasting(nil, Outcome{Findings: found})
}

func (b *Sanitize) byProcedure() bool {
	return b.Directions != nil && b.Directions.Directions == DirectionsFarm
}

// learned gives the newest record of something that had happened by the time of a
// step, and was recorded after it, about the solution or product that it used.
func (f Farm) learned(r *Rested) (newest Noted, what string) {
	at := r.At
	take := func(n Noted, by time.Time, late bool, text string) {
		if late && n.Seq > r.Seq && !n.At.After(by) && (what == "" || n.Seq > newest.Seq) {
			newest, what = n, text
		}
	}
	loc := f.Location()
	mixed := at
	if r.Use.Solution != "" {
		mixed = r.MadeAt
	}
	for _, l := range f.Labels {
		switch {
		case !SameName(l.Sanitizer.Name, r.Use.Product):
		case l.Corrects != "":
			take(l.Since, mixed, true, fmt.Sprintf("a correction of the directions (%s)", l.Corrects))
		default:
			take(l.Since, mixed, l.Since.later(), "a newer label, in force since "+l.Since.At.In(loc).Format(stamp)+",")
		}
	}
	for _, list := range [][]Bottle{f.Discarded, f.Bottles} {
		for i := range list {
			b := &list[i]
			if b.Solution.Code != r.Use.Solution || !b.Doubted {
				continue
			}
			take(b.Made, at, b.Made.later(), "the mixing at "+b.MadeAt.In(loc).Format(stamp))
			if !b.DiscardedAt.IsZero() {
				take(b.Gone, at, b.Gone.later(), "the discarding at "+b.DiscardedAt.In(loc).Format(stamp))
			}
			for _, read := range b.Readings {
				take(read.Noted, at, read.Noted.later(),
					fmt.Sprintf("a reading of %s by %s", read.Noted.At.In(loc).Format(stamp), read.Noted.By))
			}
		}
	}
	return newest, what
}

// refutes says what was missed by what is known now and was not by what was known
// to the step; nothing where the step stands.
func (f Farm) refutes(r *Rested, loc *time.Location) string {
	if r.Use.Solution != "" {
		b, err := f.bottleAs(r.Use.Solution, known{at: r.At, seq: r.Seq, late: true})
		if err == nil && !b.MadeAt.Equal(r.MadeAt) {
			return fmt.Sprintf("what had been in it was another filling, mixed %s and not %s", b.MadeAt.In(loc).Format(stamp),
				r.MadeAt.In(loc).Format(stamp))
		}
	}
	missed := map[string]bool{}
	_, before := r.judged(f, false)
	for _, m := range before {
		if m.Severity == StepRule { // by its directions as they were it had not expired: it was accepted
			missed[m.Rule] = m.Rule != "solution-expired"
		}
	}
	_, after := r.judged(f, true)
	for _, m := range after {
		if m.Severity == StepRule && !missed[m.Rule] {
			return m.Text
		}
	}
	return ""
}

// judged judges the use anew, with what was learned later or without. A reading
// that served it is looked for again.
func (r *Rested) judged(f Farm, late bool) (Sanitize, []Finding) {
	k := known{at: r.At, seq: r.Seq, late: late}
	b := r.Use
	if !b.TempAt.IsZero() {
		b.TempC = nil
	}
	if !b.PHAt.IsZero() {
		b.PH = nil
	}
	found := missedUse(f.as(k), &b, k)
	return b, found
}
