package medium

import (
	"cmp"
	"fmt"
	"strings"
	"time"
)

// An error says what is wrong, with the figures, and what the trade asks for. Which
// command, page or button leads out of it is the face's to say, by the error's type
// and its Case.

// Case names what a face has a way out of, where the type of an error does not say it.
type Case string

// The cases. What is not on file has the case "no" with what it is: "no crop".
const (
	CaseRetired   Case = "retired"    // a step on a retired mat
	CaseNobody    Case = "nobody"     // a step without initials
	CaseCardBy    Case = "card-by"    // a card of a person without initials
	CaseCardTime  Case = "card-time"  // a card for the sun without a time
	CaseCardFor   Case = "card-for"   // a card for sanitizing without a product
	CaseHalfPlace Case = "half-place" // a latitude without a longitude, or the other way round
	CaseUnrinsed  Case = "unrinsed"   // a farm procedure that leaves too much on the mat
	CaseUnnamed   Case = "unnamed"    // the release of a piece that nobody could name
	CaseMustWash  Case = "must-wash"  // a release that would skip the wash
	CaseUncleared Case = "uncleared"  // "no cuts" while some are on record
	CaseNoReason  Case = "no-reason"  // a correction without a reason
	CaseNoStep    Case = "no-step"    // a correction of a step that is not there
	CaseNotVoid   Case = "not-void"   // a step that would stand for one that still stands
	CaseOtherKind Case = "other-kind" // a step that would stand for one of another kind
	CaseEarlyCrop Case = "early-crop" // a harvest before the crop's table allows it
	CaseSunTime   Case = "sun-time"   // a drying in the sun without its length
	CaseSunPlace  Case = "sun-place"  // a sky without the place that it is over
	CaseStrength  Case = "strength"   // a sanitizing without the strength of what was used
)

// StageError refuses a step that does not follow from the mat's stage.
type StageError struct {
	Code  Code
	Kind  Kind
	Stage Stage
	Turn  int
	Since time.Time
	Do    string
}

func (e *StageError) Error() string {
	turn := ""
	if e.Turn > 0 {
		turn = fmt.Sprintf(" (turn %d)", e.Turn)
	}
	return fmt.Sprintf("mat %s has been %s since %s%s; %s", e.Code, stagePhrase(e.Stage), e.Since.Format("2 Jan"), turn,
		e.Do)
}

func stagePhrase(s Stage) string {
	if strings.HasPrefix(string(s), "to ") {
		return "waiting " + string(s)
	}
	return string(s)
}

// Case tells a retired mat from others.
func (e *StageError) Case() Case {
	if e.Stage == Retired {
		return CaseRetired
	}
	return ""
}

// VerdictError refuses a sowing that the policy stops.
type VerdictError struct{ Verdict Verdict }

func (e *VerdictError) Error() string {
	var reasons []string
	for _, f := range e.Verdict.Findings {
		if f.Severity == Stop || f.Severity == RetireIt {
			reasons = append(reasons, f.Text)
		}
	}
	next := ""
	if e.Verdict.NextStep != "" {
		next = "; next step: " + string(e.Verdict.NextStep)
	}
	return fmt.Sprintf("mat %s: %s: %s%s", e.Verdict.Code, e.Verdict.Word, strings.Join(reasons, "; "), next)
}

// InputError refuses a value.
type InputError struct {
	Field, Value, Want string
	Way                Case // empty where Want says it all
}

// Case is the way out.
func (e *InputError) Case() Case { return e.Way }

func (e *InputError) Error() string {
	return fmt.Sprintf("%s %q: want %s", e.Field, e.Value, e.Want)
}

// TimeError refuses a time in the future or before the mat's last step.
type TimeError struct {
	Code Code
	At   time.Time
	Last time.Time // the mat's last step; zero for a time in the future
	Now  time.Time
}

// ClockBehind says that it is the clock of now that shows to be behind, or that of the
// mat's last step ahead, and no time that somebody gave.
func (e *TimeError) ClockBehind() bool { return e.Last.After(e.Now.Add(ClockDrift)) }

func (e *TimeError) Error() string {
	stamp := fullStamp
	if other := cmp.Or(e.Last, e.Now); e.At.Format(stamp) == other.In(e.At.Location()).Format(stamp) {
		stamp += ":05"
	}
	if e.Last.IsZero() {
		return fmt.Sprintf("the time %s is in the future (now %s); give the time at which it was done, or set the clock",
			e.At.Format(stamp), e.Now.Format(stamp))
	}
	if e.ClockBehind() {
		return fmt.Sprintf("mat %s: its last step is dated %s, and the clock says %s; set the clock, or, if it was "+
			"ahead then, void that step and record it again", e.Code, e.Last.Format(stamp), e.Now.Format(stamp))
	}
	return fmt.Sprintf("mat %s: the time %s is before its last step, at %s; a mat's steps go forward in time, so "+
		"void the later ones first", e.Code, e.At.Format(stamp), e.Last.Format(stamp))
}

// ClockError refuses a step while the clock is plainly wrong.
type ClockError struct {
	Now  time.Time
	Last time.Time // of a record about the farm: when the last one was written down, later than Now
}

func (e *ClockError) Error() string {
	if !e.Last.IsZero() {
		return fmt.Sprintf("the clock of this machine says %s, and the farm's last record was written down at %s; set "+
			"the clock, or, if that record's clock was ahead, give the time at which this was done",
			e.Now.Format(fullStamp), e.Last.Format(fullStamp))
	}
	return fmt.Sprintf("the clock of this machine says %s; set it and record the step again", e.Now.Format(fullStamp))
}

// FitError refuses a step that took longer than there was time for.
type FitError struct {
	Code Code
	Kind Kind
	At   time.Time     // when it was done
	Took time.Duration // up to then
	Last time.Time     // until when the mat was in other hands
}

func (e *FitError) Error() string {
	form := fullStamp
	if e.At.Sub(e.Last) < 2*time.Minute {
		form += ":05"
	}
	if e.Kind == KindHarvest {
		return fmt.Sprintf("mat %s: a crop sown on %s can't be harvested on %s: its table says %.0f days at least; give "+
			"the right day, or put your own days on file",
			e.Code, e.Last.Format("2 Jan 2006"), e.At.Format("2 Jan 2006"), e.Took.Hours()/24)
	}
	return fmt.Sprintf("mat %s: %s of %s can't end at %s when the step before it was at %s; record it when it is "+
		"over, or void the step before if its time is wrong",
		e.Code, hoursText(e.Took), byKind[e.Kind].Doing, e.At.Format(form), e.Last.Format(form))
}

// Case tells a harvest from what else takes its time.
func (e *FitError) Case() Case {
	if e.Kind == KindHarvest {
		return CaseEarlyCrop
	}
	return ""
}

// UnknownError says that something of that name is not on file.
type UnknownError struct {
	What, Name string
	Why        string // what more is known of it; may be empty
}

func (e *UnknownError) Error() string {
	text := fmt.Sprintf("no %s %q on file", e.What, e.Name)
	if e.Why != "" {
		text += "; " + e.Why
	}
	return text
}

// Case says what is not on file.
func (e *UnknownError) Case() Case { return Case("no " + e.What) }

// CorrectError refuses a correction.
type CorrectError struct {
	Code   Code
	MatSeq uint64
	Why    string
	Way    Case // empty where Why says it all
}

func (e *CorrectError) Error() string {
	return fmt.Sprintf("mat %s, step %d: %s", e.Code, e.MatSeq, e.Why)
}

// Case is the way out.
func (e *CorrectError) Case() Case { return e.Way }

// DiscardedError refuses a solution that was no longer on the farm.
type DiscardedError struct {
	Code Code
	At   time.Time // when it was discarded
	By   string
}

func (e *DiscardedError) Error() string {
	return fmt.Sprintf("solution %s was discarded on %s by %s; mix a fresh one, or give the time at which it was "+
		"used if that was before", e.Code, e.At.Format("2 Jan 2006 15:04"), e.By)
}

// UnlikelyError asks for a second look at directions that no published range
// covers. Confirmed by whoever copied them, they are taken.
type UnlikelyError struct{ Product, What, Source string }

func (e *UnlikelyError) Error() string {
	return fmt.Sprintf("the directions of %s lie outside every published range (%s); look at the label again, and "+
		"confirm them if it does say so. Published: %s", e.Product, e.What, e.Source)
}
