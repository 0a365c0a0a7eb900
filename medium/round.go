package medium

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// Round is work of one kind that is done in one go: the same step for the same reason
// on the mats of one place.
type Round struct {
	Step   Kind      `json:"step"`
	Place  string    `json:"place"`
	Reason string    `json:"reason"`
	DueAt  time.Time `json:"due_at"` // of the mat that has waited longest
	Count  int       `json:"count"`
	Codes  []Code    `json:"codes"`
	Haste  Haste     `json:"-"`
	Rule   string    `json:"-"` // why it is due; with step and place it names the round
}

// Overdue is how long ago what a rule makes due was to be done; negative before. A crop
// that can be cut is not overdue on the days of its harvest: what is due then is not
// late, and crop-days says when it is.
func Overdue(rule string, dueAt, now time.Time) time.Duration {
	late := now.Sub(dueAt)
	if rule == "harvest-window" {
		late = min(late, 0)
	}
	return late
}

// Haste is how little a thing that is due can wait.
type Haste int

// What can wait, the care of the day, and what spoils.
const (
	CanWait Haste = iota
	DaysCare
	Spoils
)

// hasteOf says how little can wait what a rule makes due.
func hasteOf(rule string) Haste {
	switch rule {
	case "unwashed-hours", "wet-hours", "crop-days", "hold-hours", "residue", "rested-on", "not-sanitized":
		return Spoils
	case "misting", "uncovering", "wiping", "harvest-window":
		return DaysCare
	}
	return CanWait
}

// Rounds puts together what is due by a time: what spoils first, then the day's care,
// then what can wait, and within each the longest overdue first. A mat stands in one
// round for each step that it needs, for its most pressing reason.
func Rounds(work []Work, until time.Time) []Round {
	type kind struct {
		step        Kind
		place, rule string
	}
	rounds := []Round{}
	at := map[kind]int{}
	for _, w := range work {
		for _, d := range w.pressing(until) {
			k := kind{d.Step, w.Place, d.Rule}
			i, ok := at[k]
			if !ok {
				i, at[k] = len(rounds), len(rounds)
				rounds = append(rounds, Round{Step: d.Step, Place: w.Place, Haste: hasteOf(d.Rule), Rule: d.Rule})
			}
			rounds[i].add(w.Code, d)
		}
	}
	slices.SortFunc(rounds, func(a, b Round) int {
		return cmp.Or(cmp.Compare(b.Haste, a.Haste), a.DueAt.Compare(b.DueAt), cmp.Compare(a.Step, b.Step),
			cmp.Compare(a.Place, b.Place), cmp.Compare(a.Rule, b.Rule))
	})
	return rounds
}

// by is what is due by a time, of what can wait least first: a crop in doubt is held
// before anything else is done with it.
func (w Work) by(until time.Time) []Due {
	due := slices.DeleteFunc(slices.Clone(w.Dues), func(d Due) bool { return d.At.After(until) })
	slices.SortStableFunc(due, func(a, b Due) int {
		switch {
		case a.Step == KindHold && b.Step != KindHold:
			return -1
		case b.Step == KindHold && a.Step != KindHold:
			return 1
		}
		return cmp.Or(cmp.Compare(hasteOf(b.Rule), hasteOf(a.Rule)), a.At.Compare(b.At))
	})
	return due
}

// pressing are the steps that a mat needs by a time, each once, for its most pressing
// reason.
func (w Work) pressing(until time.Time) []Due {
	var steps []Due
	for _, d := range w.by(until) {
		if !slices.ContainsFunc(steps, func(s Due) bool { return s.Step == d.Step }) {
			steps = append(steps, d)
		}
	}
	return steps
}

// andLater ends the reason of a round whose mats were not all left at one time.
const andLater = ", and later"

func (r *Round) add(code Code, d Due) {
	r.Codes = append(r.Codes, code)
	r.Count++
	switch {
	case r.Count == 1:
		r.Reason, r.DueAt = d.Text, d.At
	case d.At.Before(r.DueAt):
		r.Reason, r.DueAt = d.Text+andLater, d.At
	case d.Text != strings.TrimSuffix(r.Reason, andLater):
		r.Reason = strings.TrimSuffix(r.Reason, andLater) + andLater
	}
}
