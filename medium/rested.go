package medium

import (
	"fmt"
	"slices"
	"time"
)

// Rested is what the last accepted sanitize step rested on, to be held against
// what is learned later.
type Rested struct {
	record
	Seq    uint64    `cbor:"10,keyasint,omitzero"` // of the step
	Use    Sanitize  `cbor:"11,keyasint,omitzero"` // without its copies of directions and solution
	MadeAt time.Time `cbor:"12,keyasint,omitzero"` // of the solution
}

func restedOn(s *Step, b *Sanitize) *Rested {
	r := &Rested{Seq: s.Seq, Use: *b}
	if b.Mixed != nil {
		r.MadeAt = b.Mixed.MadeAt
	}
	r.Use.Directions, r.Use.Mixed, r.Use.Place = nil, nil, ""
	return r
}

// Residue is what a sanitize step left on a mat over its ceiling.
type Residue struct {
	record
	What        string    `cbor:"10,keyasint,omitzero" json:"what"`
	StrengthPPM float64   `cbor:"11,keyasint,omitzero" json:"strength_ppm"`
	At          time.Time `cbor:"12,keyasint,omitzero" json:"at"`
}

// residueOf is the residue after a sanitize step, accepted or not.
func residueOf(old *Residue, s *Step, b *Sanitize) *Residue {
	switch {
	case b.Rinsed:
		return nil
	case slices.ContainsFunc(s.Outcome.Findings, func(f Finding) bool { return f.Rule == overCeiling && f.Severity == StepRule }):
		r := &Residue{What: name(b), StrengthPPM: b.StrengthPPM, At: s.At}
		if b.Solution != "" && b.Mixed == nil {
			r.What, r.StrengthPPM = "unknown solution "+b.Solution.String(), 0
		}
		return r
	}
	return old
}

const stamp = "2 Jan 15:04"

// residueFinding stops a mat until it is rinsed, whatever was put on it since:
// another product takes nothing off.
func (c *Condition) residueFinding(p Policy, loc *time.Location) (Finding, bool) {
	r := c.Residue
	if r == nil || c.Stage == Retired {
		return Finding{}, false
	}
	what := r.What
	if r.StrengthPPM > 0 {
		what = fmt.Sprintf("%g ppm of %s", r.StrengthPPM, what)
	}
	return p.finding("residue", "%s was put on it on %s and not rinsed off; rinse the mat with potable water, then dry and sanitize it",
		what, r.At.In(loc).Format("2 Jan, 15:04")), true
}

// restedFinding stops a mat whose last accepted sanitizing rested on facts that
// were learned later to be otherwise, if it would not have been accepted by them.
// It gives when that was learned.
func (c *Condition) restedFinding(f Farm, loc *time.Location) (Finding, time.Time, bool) {
	if c.Sanitized == nil || c.Sanitized.Rested == nil || c.Stage == Retired {
		return Finding{}, time.Time{}, false
	}
	r, at := c.Sanitized.Rested, c.Sanitized.AcceptedAt
	fact, what := f.learned(r, at)
	if what == "" {
		return Finding{}, time.Time{}, false
	}
	why := f.refutes(r, at, loc)
	if why == "" {
		return Finding{}, time.Time{}, false
	}
	of := r.Use.Product
	if r.Use.Solution != "" {
		of = "solution " + r.Use.Solution.String()
	}
	return f.Policy.finding("rested-on", "the sanitizing of %s rested on %s, of which %s was recorded later, on %s by %s: %s; sanitize it again",
		at.In(loc).Format(stamp), of, what, fact.Recorded.In(loc).Format(stamp), fact.By, why), fact.Recorded, true
}

// learned gives the newest record of something that had happened by the time of a
// step, and was recorded after it, about the solution or product that it used.
func (f Farm) learned(r *Rested, at time.Time) (newest Noted, what string) {
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
		case !sameName(l.Sanitizer.Name, r.Use.Product):
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
				take(read.Noted, at, read.Noted.later(), fmt.Sprintf("a reading of %s by %s", read.Noted.At.In(loc).Format(stamp), read.Noted.By))
			}
		}
	}
	return newest, what
}

// refutes says what was missed by what is known now and was not by what was known
// to the step; nothing where the step stands.
func (f Farm) refutes(r *Rested, at time.Time, loc *time.Location) string {
	before := known{at: at, seq: r.Seq}
	after := known{at: at, seq: r.Seq, late: true}
	if r.Use.Solution != "" {
		b, err := f.bottleAs(r.Use.Solution, after)
		if err == nil && !b.MadeAt.Equal(r.MadeAt) {
			return fmt.Sprintf("what had been in it was another filling, mixed %s and not %s", b.MadeAt.In(loc).Format(stamp), r.MadeAt.In(loc).Format(stamp))
		}
	}
	missed := map[string]bool{}
	for _, m := range r.missed(f, before) {
		missed[m.Rule] = m.Rule != "solution-expired" // by its directions as they were: it was accepted
	}
	for _, m := range r.missed(f, after) {
		if m.Severity == StepRule && !missed[m.Rule] {
			return m.Text
		}
	}
	return ""
}

// missed judges the use anew. A reading that served it is looked for again.
func (r *Rested) missed(f Farm, k known) []Finding {
	b := r.Use
	if !b.TempAt.IsZero() {
		b.TempC = nil
	}
	if !b.PHAt.IsZero() {
		b.PH = nil
	}
	return slices.DeleteFunc(missedUse(f.as(k), &b, k), func(f Finding) bool { return f.Severity != StepRule })
}
