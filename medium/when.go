package medium

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Rounding by people, by which the time that a step took may reach over the end
// of the step before it (common practice, no source): dryings are said to the
// half hour, and times to the minute. Never more than half of it.
const (
	dryingSlack  = 30 * time.Minute
	contactSlack = time.Minute
)

// took is how long a step says that it took, up to its time; 0 where it does not
// say, and for what takes no time of its own.
func took(b Body) time.Duration {
	switch b := b.(type) {
	case *Sanitize:
		return time.Duration(b.ContactS) * time.Second
	case *Dry:
		return time.Duration(b.DurationS) * time.Second
	}
	return 0
}

// last is when the mat's last step was done. A report of danger that is dated
// after now shows that one of the clocks was wrong, and keeps off no real step:
// then it is the last step before such reports.
func (c *Condition) last(now time.Time) time.Time {
	if c.Last.After(now.Add(ClockDrift)) {
		return c.Settled
	}
	return c.Last
}

// byClock is the verdict where the clock says earlier than a record of the mat or
// of the farm: nobody knows how old anything is, so it is not clear to sow. A
// report of danger is no reason to stop for; then it is a note.
func (v Verdict) byClock(c Condition, f Farm, now time.Time) Verdict {
	behind := func(t time.Time) bool { return now.Before(t.Add(-ClockDrift)) }
	whose, last, mend := "mat", later(c.last(now), c.Recorded), "void that step and record it again"
	if f.Last.After(last) {
		whose, last, mend = "farm", f.Last, "give the time with the next record about the farm"
	}
	n := Finding{Rule: "clock-wrong", Severity: Stop, Source: "the times on record"}
	if !behind(last) {
		n.Severity, whose, last, mend = Care, "mat", c.Last, "go on"
	}
	if !behind(last) || c.Stage == Retired {
		return v
	}
	n.Text = fmt.Sprintf("the clock says %s, and the %s's last record is dated %s; set the clock, or, if it was "+
		"ahead then, %s",
		now.Format(fullStamp), whose, last.In(now.Location()).Format(fullStamp), mend)
	v.Findings = append(v.Findings, n)
	switch clear := v.Word == SowIt || v.Word == SowWithCare; {
	case clear && n.Severity == Stop:
		v.Word, v.NextStep = DoNotSow, ""
	case clear:
		v.Word = SowWithCare
	}
	return v
}

// needs is how long a step takes at least, and since when. Of a day alone a drying
// takes what the policy asks and a crop the days of its table, give or take half
// of them (common practice, no source): so the steps of one day fit together.
func (c *Condition) needs(s Step, p Policy) (d, slack time.Duration, since time.Time) {
	d, slack, since = took(s.Body), contactSlack, c.Handled
	switch s.Body.(type) {
	case *Dry:
		slack = dryingSlack
		wet := !c.WetSince.IsZero() || len(c.WetWith) > 0
		if least, on := p.limit("dry-least"); d == 0 && s.Day && wet && on {
			d, slack = time.Duration(least*float64(time.Minute)), 0
		}
	case *Harvest:
		if s.Day && c.Stage == Growing {
			d, since = daysMin(c.Crops), c.SownAt
			slack = d / 2
		}
	}
	return d, min(slack, d/2), since
}

// daysMin is after how many days the first of the crops can be harvested.
func daysMin(crops []Sown) time.Duration {
	least := 0
	for i, s := range crops {
		if i == 0 || s.DaysMin < least {
			least = s.DaysMin
		}
	}
	return time.Duration(least) * 24 * time.Hour
}

// earliest is the first time at which a step can have ended on a mat in this
// condition.
func (c *Condition) earliest(s Step, p Policy, now time.Time) time.Time {
	d, slack, since := c.needs(s, p)
	if d <= 0 || since.IsZero() {
		return c.last(now)
	}
	return later(c.last(now), since.Add(d-slack))
}

// dated sets the time of a step that is no report of danger. Times are kept in
// UTC, to the second: a record is read by people. Steps of a mat go forward in
// time. Of a day alone it takes the earliest time that fits. Nothing is done after
// it was written down: what is dated now, or a little ahead by another clock,
// comes after all that is on record of the mat and of the farm.
func dated(c Condition, f Farm, s Step, now time.Time) (Step, error) {
	if !clockRuns(now) {
		return s, &ClockError{Now: now}
	}
	if s.Unread != nil {
		return s, s.Unread
	}
	last := c.last(now)
	if s.At.IsZero() || !s.Day && !s.At.Before(s.Recorded) && !s.At.After(now.Add(ClockDrift)) {
		s.At, s.Day = s.Recorded, false
		for _, l := range []time.Time{last, f.Last} { // another machine's clock is a little ahead
			if !l.After(s.Recorded.Add(ClockDrift)) {
				s.At = later(s.At, l)
			}
		}
	}
	if !clockRuns(s.At) {
		return s, &InputError{Field: "time", Value: s.At.Format(time.DateTime), Want: "a year from 2000 to 2200"}
	}
	s.At = s.At.UTC().Truncate(time.Second)
	if s.Day {
		s.At = dayOf(s.At, now.Location())
		if fit := c.earliest(s, f.Policy, now); !fit.After(latest(s, now)) {
			s.At = later(s.At, fit)
		} else if s.At = latest(s, now).UTC().Truncate(time.Second); !s.At.Before(last) {
			return s, c.misfit(s, f.Policy, now)
		}
	}
	if s.At.After(now.Add(ClockDrift)) {
		return s, &TimeError{Code: s.Mat, At: s.At.In(now.Location()), Now: now}
	}
	if s.At.Before(last) {
		return s, &TimeError{Code: s.Mat, At: s.At.In(now.Location()), Last: last.In(now.Location()), Now: now}
	}
	s.Outcome.Late = s.Recorded.Sub(s.At) > LateAfter
	return s, nil
}

// dated sets the time of a record about the farm. Without a time of its own it
// comes after all that is on record: by a clock that says earlier it is refused.
func (f Farm) dated(s Step, now time.Time) (Step, error) {
	s, err := dated(Condition{}, Farm{}, s, now)
	if s.Day {
		s.At = f.ofDay(s, now)
	}
	ahead := f.Last.Sub(s.At)
	if err != nil || ahead <= 0 || s.At.Before(s.Recorded) {
		return s, err
	}
	if ahead > ClockDrift {
		return s, &ClockError{Now: now, Last: f.Last.In(now.Location())}
	}
	s.At = f.Last
	return s, nil
}

// ofDay is when a record of which only the day is known counts: a strip says nothing
// of the uses of that day, and what was mixed on it was poured away after that.
func (f Farm) ofDay(s Step, now time.Time) time.Time {
	switch b := s.Body.(type) {
	case *Strip:
		return latest(s, now).UTC().Truncate(time.Second)
	case *Discard:
		if in, ok := f.Bottle(b.Code); ok && !in.MadeAt.After(latest(s, now)) {
			return later(s.At, in.MadeAt)
		}
	}
	return s.At
}

// fits refuses a step that says that it took longer than there was time for
// since the mat was last taken in hand.
func fits(c Condition, p Policy, s Step, now time.Time) (Step, error) {
	if d, _, _ := c.needs(s, p); d <= 0 || !s.At.Before(c.earliest(s, p, now)) {
		return s, nil
	}
	return s, c.misfit(s, p, now)
}

func (c *Condition) misfit(s Step, p Policy, now time.Time) error {
	d, _, since := c.needs(s, p)
	return &FitError{Code: s.Mat, Kind: s.Kind, At: s.At.In(now.Location()), Took: d, Last: since.In(now.Location())}
}

// dayAlone says that only the day of At is known.
func (s *Step) dayAlone() bool { return s.Day && s.Seen.IsZero() }

// When writes when a step was done by a layout with 15:04 in it, or without the
// time of day where nobody knows it.
func (s *Step) When(loc *time.Location, layout string) string {
	return when(s.At, s.dayAlone(), loc, layout)
}

func when(t time.Time, alone bool, loc *time.Location, layout string) string {
	if alone {
		layout = strings.TrimRight(strings.Replace(layout, "15:04", "", 1), " ,")
	}
	return t.In(loc).Format(layout)
}

// dayOf is the first moment of a day, by the clocks of a place.
func dayOf(t time.Time, loc *time.Location) time.Time {
	y, m, d := t.In(loc).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, loc).UTC()
}

// latest is the last time at which a step can have been done: its own, or the
// end of its day, which is not over yet where it is today.
func latest(s Step, now time.Time) time.Time {
	if !s.Day {
		return s.At
	}
	over := dayOf(s.At, now.Location()).In(now.Location()).AddDate(0, 0, 1).Add(-time.Second)
	if over.After(now) {
		return now
	}
	return over
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// clockRuns says that a time is one at which somebody can use this program.
func clockRuns(t time.Time) bool { return t.Year() >= 2000 && t.Year() <= 2200 }

// danger says that a step reports a danger: mold, a cut, a failed swab, a hold,
// or the retirement of a mat for one of them. It is never refused for its time,
// for the clock or for the mat's stage.
func (c Condition) danger(b Body) bool {
	switch b := b.(type) {
	case *Mold, *Cut, *Hold:
		return true
	case *Swab:
		return !b.Pass
	case *Inspect:
		return b.Mold
	case *Retire:
		return b.Cause == CauseMold || b.Cause == CauseCut || c.Stage == OnHold || c.SwabOpen
	}
	return false
}

// MayReportDanger says that a step of a kind can be a report of danger: some are
// whatever they say, of the others see danger.
func MayReportDanger(k Kind) bool {
	switch k {
	case KindMold, KindCut, KindHold, KindSwab, KindInspect, KindRetire:
		return true
	}
	return false
}

// ReportsDanger says that a step is a report of danger whatever the mat's stage: of
// several mats it counts for those that exist.
func ReportsDanger(b Body) bool { return Condition{}.danger(b) }

// SeenBefore says of a report of danger from before the mat's last step when it
// was seen. Whoever records it gives Admit the turn of that time, from TurnAt.
func (c Condition) SeenBefore(s Step) (seen time.Time, before bool) {
	if s.Body == nil || !c.danger(s.Body) {
		return time.Time{}, false
	}
	if !s.Seen.IsZero() {
		return s.Seen, true
	}
	return s.At, !s.At.IsZero() && s.At.Before(c.Last)
}

// TurnAt is the turn that was under way at a time, 0 before the first. It needs
// the mat's whole thread.
func TurnAt(thread []Step, at time.Time) int {
	turn := 0
	for _, s := range sowings(thread) {
		if !s.At.After(at) {
			turn++
		}
	}
	return turn
}

// SownIn is the sowing of a turn; nil where the mat's whole thread has none.
func SownIn(thread []Step, turn int) *Sow {
	sown := sowings(thread)
	if turn < 1 || turn > len(sown) {
		return nil
	}
	return sown[turn-1].Body.(*Sow)
}

// sowings are those of a thread that were not voided, in their order.
func sowings(thread []Step) (sown []Step) {
	voided := Voided(thread)
	for _, s := range thread {
		if _, ok := s.Body.(*Sow); ok && !voided[s.MatSeq] {
			sown = append(sown, s)
		}
	}
	return sown
}

// reported dates a report of danger. In its place among the mat's steps it keeps
// its time. What was seen before later steps, or by a clock that is wrong, stops
// the mat from now on, and Seen keeps what was said. A report that is brought from
// another ledger keeps the Seen that it has, and its At, when it was made.
func reported(c Condition, s Step, now time.Time) Step {
	if s.Unread != nil {
		s.At, s.Day = time.Time{}, false
		s.Outcome.Findings = append(s.Outcome.Findings,
			Finding{Rule: "clock-wrong", Severity: Care, Source: "the time as it was given",
				Text: fmt.Sprintf("the time that was given can't be read (%s); the report counts from now on", s.Unread)})
		s.Unread = nil
	}
	turn, given, brought := s.SeenTurn, !s.At.IsZero() && !s.At.Truncate(time.Second).Equal(s.Recorded), s.Seen
	s.SeenTurn = 0
	if !given {
		s.At, s.Day = now, false
		if ahead := c.Last.Sub(now); ahead > 0 && ahead <= ClockDrift {
			s.At = c.Last
		}
	}
	s.At = s.At.UTC().Truncate(time.Second)
	if s.Day && brought.IsZero() {
		s.At = dayOf(s.At, now.Location())
		if !c.Last.After(latest(s, now)) {
			s.At = later(s.At, c.Last)
		}
	}
	done := s.At
	if !brought.IsZero() {
		done = brought
	}
	s.Outcome.Late = clockRuns(now) && s.Recorded.Sub(done) > LateAfter
	wrong := c.clockWrong(s.At, now)
	if said := s.At; wrong != "" || s.At.Before(c.Last) {
		if s.At = c.Last; brought.IsZero() {
			s.Seen = said
		}
		if clockRuns(now) {
			s.At = later(c.Last, s.Recorded)
		}
	} else if brought.IsZero() {
		return s
	} else if wrong = c.clockWrong(brought, now); wrong == "" && brought.After(s.At) {
		wrong = fmt.Sprintf("clock wrong: it is dated %s, after it was reported",
			brought.In(now.Location()).Format(fullStamp))
	}
	note := Finding{Rule: "clock-wrong", Severity: Care, Source: "the times on record", Text: wrong +
		"; the report counts from now on"}
	s.SeenTurn = c.Turn
	if (given || !brought.IsZero()) && s.Seen.Before(c.Last) && !s.Seen.Before(c.Added) {
		s.SeenTurn = turn
	}
	if wrong == "" {
		note.Rule = "seen-before"
		form := fullStamp
		if s.Day {
			form = "2 Jan 2006"
		}
		note.Text = fmt.Sprintf("seen %s, before later steps: it counts for that time (%s), and the stop begins now",
			s.Seen.In(now.Location()).Format(form), turnText(s.SeenTurn))
	}
	s.Outcome.Findings = append(s.Outcome.Findings, note)
	return s
}

const fullStamp = "2 Jan 2006 15:04"

// clockWrong says what is wrong with the clock, or with the time that was said;
// empty where nothing shows.
func (c Condition) clockWrong(seen, now time.Time) string {
	at := seen.In(now.Location()).Format(fullStamp)
	switch last := later(c.Last, c.Recorded); {
	case !clockRuns(now):
		return fmt.Sprintf("clock wrong: it says %s; set it", now.Format(fullStamp))
	case now.Before(last.Add(-ClockDrift)):
		return fmt.Sprintf("clock wrong: it says %s, and the mat's last record is dated %s; find out which of the two "+
			"is wrong", now.Format(fullStamp), last.In(now.Location()).Format(fullStamp))
	case seen.After(now.Add(ClockDrift)):
		return fmt.Sprintf("clock wrong: it is dated %s, which is still to come", at)
	case seen.Before(c.Added.Add(-24 * time.Hour)):
		return fmt.Sprintf("clock wrong: it is dated %s, before the mat was registered", at)
	}
	return ""
}

func turnText(n int) string {
	if n == 0 {
		return "before its first turn"
	}
	return fmt.Sprintf("turn %d", n)
}

// hoursText writes a span for people: 8 h, 2.5 h, 20 min, 90 s.
func hoursText(d time.Duration) string {
	switch {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	}
	return fmt.Sprintf("%g h", math.Round(d.Hours()*10)/10)
}
