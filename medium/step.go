package medium

import (
	"time"
)

// Version is the format of the steps that this code writes.
const Version = 1

// Step is one dated, initialled record: an envelope around a typed body.
// The store fills in Seq, MatSeq and Recorded.
//
// A step is recorded when it is done, so At is its end: a contact time or a
// drying began that long before. Where only the day is known (Day), At is the
// earliest time of that day at which it can have ended. A report of danger that
// comes after later steps stands at the time from which its stop counts, and
// Seen says when it was seen.
type Step struct {
	Version  int       `json:"version"`
	Seq      uint64    `json:"seq"`             // place in the whole ledger, from 1
	Mat      Code      `json:"mat"`             // the mat, or FarmThread
	MatSeq   uint64    `json:"mat_seq"`         // place in the mat's own thread, from 1
	At       time.Time `json:"happened_at"`     // when it was done
	Recorded time.Time `json:"recorded_at"`     // when it was written down
	By       string    `json:"by"`              // initials of the person who did it
	Kind     Kind      `json:"kind"`            //
	Token    string    `json:"token,omitempty"` // makes a repeated request harmless
	Outcome  Outcome   `json:"outcome"`         //
	// the voided step of the mat, by its MatSeq, that this one stands for
	Replaces uint64 `json:"replaces,omitempty"`
	Day      bool   `json:"day_only,omitempty"` // of At, or of Seen, only the day is known
	// of a report of danger, where that is not At
	Seen     time.Time `json:"seen_at,omitzero"`
	SeenTurn int       `json:"seen_in_turn,omitempty"`
	// initials of who sent it, where that is not who did it: a phone had kept it
	SentBy string `json:"sent_by,omitempty"`
	Body   Body   `json:"body"`

	// Unread is why no time could be made of what somebody wrote; nil where that is
	// no matter. Admit gives it back, but takes a report of danger and says it there.
	Unread error `json:"-"`
}

// Result is what became of a recorded step, in the form in which programs get it.
type Result struct {
	Code     Code      `json:"code"`
	Kind     Kind      `json:"kind"`
	Seq      uint64    `json:"seq"`
	MatSeq   uint64    `json:"mat_seq"`
	Accepted bool      `json:"accepted"`
	Late     bool      `json:"late,omitempty"`
	SeenAt   time.Time `json:"seen_at,omitzero"`
	From     Stage     `json:"from"`
	To       Stage     `json:"to"`
	NextStep Kind      `json:"next_step"`
	Findings []Finding `json:"findings"`
}

// Result gives what became of the step.
func (s Step) Result() Result {
	return Result{Code: s.Mat, Kind: s.Kind, Seq: s.Seq, MatSeq: s.MatSeq, Accepted: s.Outcome.Accepted,
		Late: s.Outcome.Late, SeenAt: s.Seen,
		From: s.Outcome.From, To: s.Outcome.To, NextStep: s.Outcome.To.Next(),
		Findings: append([]Finding{}, s.Outcome.Findings...)}
}

// Outcome is what the rules of the day made of a step. It is kept with the
// step, so that a later change of policy does not restate the past.
type Outcome struct {
	Accepted bool  `json:"accepted"`
	From     Stage `json:"from,omitempty"`
	To       Stage `json:"to,omitempty"`
	// written down more than LateAfter after it was done
	Late     bool      `json:"late,omitempty"`
	Policy   int       `json:"policy,omitempty"`
	Findings []Finding `json:"findings,omitempty"`
}

// LateAfter is how long after the work a record still counts as made at the
// time of the activity (21 CFR 112.161(a)(2) asks for that and names no
// minutes: common practice, no source).
const LateAfter = time.Hour

// ClockDrift is how far in the future a step may be dated before it is refused.
const ClockDrift = 5 * time.Minute
