package medium

import (
	"fmt"
	"time"
)

// Review says that a supervisor or responsible party looked at the records of a
// period (21 CFR 112.161(b): reviewed, dated and signed within a reasonable time
// after they are made). Who did it, and when, stand in the step itself; Name is
// the person in full where initials do not say it.
type Review struct {
	record
	From   string `cbor:"10,keyasint,omitzero" json:"from"` // first day, YYYY-MM-DD in the farm's zone
	To     string `cbor:"11,keyasint,omitzero" json:"to"`   // last day
	Name   string `cbor:"12,keyasint,omitzero" json:"name,omitempty"`
	Note   string `cbor:"13,keyasint,omitzero" json:"note,omitempty"`
	Anchor string `cbor:"14,keyasint,omitzero" json:"anchor,omitempty"` // state of the ledger that was looked at
}

func (*Review) kind() Kind { return KindReview }

// maxReviewDays bounds the period of one review: a year's papers signed at once
// is no review within a reasonable time (common practice, no source).
const maxReviewDays = 92

// check refuses a period that is not over, is turned round or is too long.
func (b Review) check(f Farm, at time.Time) error {
	from, err := time.ParseInLocation(time.DateOnly, b.From, f.Location())
	if err != nil {
		return &InputError{Field: "first day of the review", Value: b.From, Want: "a day as YYYY-MM-DD"}
	}
	to, err := time.ParseInLocation(time.DateOnly, b.To, f.Location())
	if err != nil {
		return &InputError{Field: "last day of the review", Value: b.To, Want: "a day as YYYY-MM-DD"}
	}
	if to.Before(from) {
		return &InputError{Field: "period of the review", Value: b.From + " to " + b.To, Want: "the earlier day first"}
	}
	if over := to.AddDate(0, 0, 1); over.After(at) {
		return &ReviewError{To: b.To, Over: over, Now: at.In(f.Location())}
	}
	if to.Sub(from) > maxReviewDays*24*time.Hour+2*time.Hour {
		return &InputError{Field: "period of the review", Value: b.From + " to " + b.To,
			Want: fmt.Sprintf("at most %d days at once", maxReviewDays)}
	}
	return first(checkText("name", b.Name), checkText("note", b.Note), checkText("anchor", b.Anchor))
}

// ReviewError refuses to sign a period that is not over.
type ReviewError struct {
	To   string    // its last day
	Over time.Time // when that day ends
	Now  time.Time
}

func (e *ReviewError) Error() string {
	return fmt.Sprintf("the period to %s is not over before %s (now %s): nobody has seen records that are still to "+
		"come; review it then, or up to %s now",
		e.To, e.Over.Format(fullStamp), e.Now.Format(fullStamp), e.Now.AddDate(0, 0, -1).Format(time.DateOnly))
}

// SamePerson says that a step was reviewed by whoever did it, by the initials.
// 21 CFR 112.161(b) asks for a supervisor or responsible party; on a farm of one
// that is the same person, so it is shown and not refused.
func SamePerson(step, review Step) bool {
	return SameName(step.By, review.By)
}

// Covers says whether a review took in a step: the day of the work lies in the
// period, and the step was written down before the review was. loc is the farm's
// zone.
func (b Review) Covers(s Step, reviewed time.Time, loc *time.Location) bool {
	day := s.At.In(loc).Format(time.DateOnly)
	return b.From <= day && day <= b.To && !reviewed.Before(s.Recorded)
}
