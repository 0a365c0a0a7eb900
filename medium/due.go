package medium

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"
)

// Due is one thing that a mat needs by a time.
type Due struct {
	record
	Step Kind      `cbor:"10,keyasint,omitzero" json:"step"`
	At   time.Time `cbor:"11,keyasint,omitzero" json:"due_at"`
	Rule string    `cbor:"12,keyasint,omitzero" json:"rule"`
	Text string    `cbor:"13,keyasint,omitzero" json:"text"`
}

// Work is a mat's line of the due list: what it needs first, by when, and all
// the reasons.
type Work struct {
	record
	Code  Code      `cbor:"10,keyasint,omitzero" json:"code"`
	Stage Stage     `cbor:"11,keyasint,omitzero" json:"stage"`
	Turn  int       `cbor:"12,keyasint,omitzero" json:"turn"`
	Step  Kind      `cbor:"13,keyasint,omitzero" json:"next_step"`
	At    time.Time `cbor:"14,keyasint,omitzero" json:"due_at"`
	Dues  []Due     `cbor:"15,keyasint,omitzero" json:"dues"`
	Place string    `cbor:"16,keyasint,omitzero" json:"place"`
}

// OverdueH is how many hours ago the work was due; negative before.
func (w Work) OverdueH(now time.Time) float64 { return now.Sub(w.At).Hours() }

// DueItem is a line of the due list at a moment, in the form in which programs get it.
type DueItem struct {
	Code     Code      `json:"code"`
	Stage    Stage     `json:"stage"`
	NextStep Kind      `json:"next_step"`
	DueAt    time.Time `json:"due_at"`
	OverdueH float64   `json:"overdue_h"` // to the hundredth; negative before
	Reasons  []string  `json:"reasons"`
}

// Item gives the line as of now, with what is due by until: the step that can wait
// least, and all the reasons, of what can wait least first.
func (w Work) Item(now, until time.Time) DueItem {
	first := Due{Step: w.Step, At: w.At}
	if due := w.pressing(until); len(due) > 0 {
		first = due[0]
	}
	item := DueItem{Code: w.Code, Stage: w.Stage, NextStep: first.Step, DueAt: first.At,
		OverdueH: math.Round(Overdue(first.Rule, first.At, now).Hours()*100) / 100, Reasons: []string{}}
	for _, d := range w.by(until) {
		item.Reasons = append(item.Reasons, d.Text)
	}
	return item
}

// WorkOn gives a mat's line of the due list, or false for a mat that needs
// nothing. It depends on the condition and the farm only, never on the time of
// day, so that the store can keep it. The location is used for dates.
func WorkOn(c Condition, f Farm, loc *time.Location) (Work, bool) {
	dues := append(againDues(c, f, loc), dues(c, f.Policy, loc)...)
	if len(dues) == 0 {
		return Work{}, false
	}
	slices.SortStableFunc(dues, func(a, b Due) int { return a.At.Compare(b.At) })
	if i := slices.IndexFunc(dues, func(d Due) bool { return d.Step == KindHold }); i > 0 {
		hold := dues[i] // a crop in doubt is held before all else
		dues = slices.Insert(slices.Delete(dues, i, i+1), 0, hold)
	}
	return Work{Code: c.Code, Stage: c.Stage, Turn: c.Turn, Place: c.Place, Step: dues[0].Step, At: dues[0].At,
			Dues: dues},
		true
}

// DueByClock says of a list by a clock that says earlier than the ledger's last record
// that nobody knows what is due: nothing looks overdue to it, or all was recorded by a
// clock that was ahead.
func DueByClock(recorded, now time.Time) (Finding, bool) {
	return Finding{Rule: "clock-wrong", Severity: Stop, Source: "the times on record",
		Text: fmt.Sprintf("the clock says %s, and the last record is of %s; one of the two is wrong, so it can't tell "+
			"what is due: set the clock",
			now.Format(fullStamp), recorded.In(now.Location()).Format(fullStamp))}, now.Before(recorded.Add(-ClockDrift))
}

// Worklist puts lines in the order in which they are done: most overdue first.
func Worklist(work []Work) {
	sort.Slice(work, func(i, j int) bool {
		if !work[i].At.Equal(work[j].At) {
			return work[i].At.Before(work[j].At)
		}
		return work[i].Code < work[j].Code
	})
}

// againDues are what a mat needs because of what was left on it, or was learned
// of its last sanitizing.
func againDues(c Condition, f Farm, loc *time.Location) []Due {
	var out []Due
	residue, since, left := c.residueFinding(f, loc)
	switch {
	case !left || c.Stage == OnHold:
	case c.Stage == Growing:
		out = append(out, Due{Step: KindHold, At: since.UTC(), Rule: residue.Rule, Text: residue.Text})
	default:
		out = append(out, Due{Step: KindRinse, At: since.UTC(), Rule: residue.Rule, Text: residue.Text})
	}
	rested, learned, ok := c.restedFinding(f, loc)
	if (ok || left) && c.Stage != Growing &&
		slices.ContainsFunc(retireFindings(c, f.Policy, c.Last.In(loc)), Finding.retires) {
		return nil // it is not washed any more
	}
	due := Due{Step: KindSanitize, At: learned.UTC(), Rule: rested.Rule, Text: rested.Text}
	switch {
	case !ok:
	case c.Stage == Growing:
		due.Step = KindHold
		out = append(out, due)
	case c.Stage == Airing || c.Stage == Ready:
		out = append(out, due)
	}
	return out
}

func dues(c Condition, p Policy, loc *time.Location) []Due {
	if c.Stage == Retired || c.Stage == "" {
		return nil
	}
	var out []Due
	add := func(step Kind, at time.Time, rule, text string) {
		out = append(out, Due{Step: step, At: at.UTC(), Rule: rule, Text: text})
	}
	after := func(step Kind, from time.Time, rule, text string) {
		if l, on := p.limit(rule); on {
			add(step, from.Add(time.Duration(l*float64(time.Hour))), rule, text)
		}
	}
	var looks []Finding
	if c.Stage != Growing {
		for _, f := range retireFindings(c, p, c.Last.In(loc)) {
			switch {
			case f.retires():
				add(KindRetire, c.Last, f.Rule, f.Text)
			case f.asksForLook():
				looks = append(looks, f)
			}
		}
		if len(out) > 0 {
			return out
		}
		if l, on := p.limit("max-age"); on {
			add(KindRetire, c.Added.Add(time.Duration(l*24)*time.Hour), "max-age", plural(int(l), "day")+" old")
		}
	}
	rule, since, waits := c.waiting(loc)
	switch c.Stage {
	case ToWash:
		after(KindRinse, since, rule, waits)
		if n := len(out); n > 0 && out[n-1].Step == KindRinse { // and after the rinse
			for _, f := range looks {
				add(KindInspect, out[n-1].At, f.Rule, f.Text)
			}
		}
	case ToDry, Airing:
		after(KindDry, since, rule, waits)
	case ToSanitize:
		after(KindSanitize, since, rule, waits)
	case Ready:
		if l, on := p.limit("sanitize-lapsed"); on && c.Sanitized != nil {
			at := c.Sanitized.AcceptedAt.Add(time.Duration(l*24) * time.Hour)
			add(KindSanitize, at, "sanitize-lapsed", "sanitizing is good until "+
				when(at, c.dayAlone(c.Sanitized.AcceptedAt), loc, "2 Jan 15:04")+"; sow on it before that, sanitize again after")
			if !c.Sanitized.Accepted {
				add(KindSanitize, c.Sanitized.At, "not-sanitized", "the last sanitize step was not accepted")
			}
		}
	case Growing:
		if _, on := p.limit("not-sanitized"); on && c.SownUncleared {
			add(KindHold, c.SownAt, "not-sanitized", unclearedText(c))
		}
		out = append(out, growingDues(c, p, loc)...)
	case OnHold:
		after(KindRelease, since, rule, waits+": "+c.HeldFor+"; release it or retire it")
	}
	inspectable := c.Stage == ToDry || c.Stage == ToSanitize || c.Stage == Airing || c.Stage == Ready
	if l, on := p.limit("inspection-due"); on && inspectable && float64(c.Turn-c.Inspected) >= l {
		add(KindInspect, c.Since, "inspection-due", plural(c.Turn-c.Inspected, "turn")+" since the last inspection")
	}
	for _, f := range looks {
		if inspectable {
			add(KindInspect, c.Since, f.Rule, f.Text)
		}
	}
	if _, on := p.limit("knife-touched"); on && inspectable && c.KnifeTouched {
		add(KindInspect, c.Since, "knife-touched", "the knife touched the mesh at the harvest")
	}
	return out
}

// waiting is the rule about how long a mat stays in its stage, since when it has, and
// how a sentence says so; no rule where none asks for haste.
func (c *Condition) waiting(loc *time.Location) (rule string, since time.Time, text string) {
	day := func(t time.Time) string { return c.When(t, loc, stamp) }
	switch c.Stage {
	case ToWash:
		if c.Turn == 0 && c.Harvests == 0 && c.Since.Equal(c.Added) {
			return "new-mat-hours", c.Since, "new, to be washed before its first crop"
		}
		return "unwashed-hours", c.Since, "not washed since " + day(c.Since)
	case ToDry, Airing:
		return "wet-hours", c.WetSince, "wet since " + day(c.WetSince)
	case ToSanitize:
		return "sanitize-hours", c.Since, "washed and dry, not sanitized since " + day(c.Since)
	case OnHold:
		return "hold-hours", c.Since, "on hold since " + day(c.Since)
	}
	return "", time.Time{}, ""
}
