package medium

import (
	"math"
	"slices"
	"time"
)

// Noted is when something of the farm's happened, when it was written down, by
// whom, and the place of its record in the ledger.
type Noted struct {
	record
	At       time.Time `cbor:"10,keyasint,omitzero" json:"at"`
	Recorded time.Time `cbor:"11,keyasint,omitzero" json:"recorded_at"`
	By       string    `cbor:"12,keyasint,omitzero" json:"by"`
	Seq      uint64    `cbor:"13,keyasint,omitzero" json:"seq"`
}

func noted(s Step) Noted { return Noted{At: s.At, Recorded: s.Recorded, By: s.By, Seq: s.Seq} }

// later says that it was written down after it had happened: a step that was
// recorded in between could not know of it.
func (n Noted) later() bool { return n.Recorded.After(n.At) }

// LearnedLater says that a record about the farm tells of something earlier, on
// which steps that are recorded already may have rested otherwise.
func LearnedLater(s Step) bool {
	switch b := s.Body.(type) {
	case *Solution, *Strip, *Discard:
		return noted(s).later()
	case *Sanitizer:
		return noted(s).later() || b.Corrects != ""
	}
	return false
}

// Label is one copy of a product's directions. A correction counts since the
// copy that it corrects.
type Label struct {
	record
	Since     Noted     `cbor:"10,keyasint,omitzero" json:"since"`
	Sanitizer Sanitizer `cbor:"11,keyasint,omitzero" json:"sanitizer"`
	Corrects  string    `cbor:"12,keyasint,omitzero" json:"corrects,omitempty"` // why; empty: a label of its own
}

// PolicySince is one change of the policy. It counts from the later of its time
// and when it was written down.
type PolicySince struct {
	record
	Since   Noted   `cbor:"10,keyasint,omitzero" json:"since"`
	Setting Setting `cbor:"11,keyasint,omitzero" json:"setting"`
}

// known is what a decision on a step takes for true: what had happened by the
// step's time and was recorded before it.
type known struct {
	at   time.Time
	seq  uint64 // place of the step in the ledger
	late bool   // and what was recorded after the step, but had happened before
}

// knownAt is all that is on record now of what had happened by a time.
func knownAt(at time.Time) known { return known{at: at, seq: math.MaxUint64} }

func (k known) recorded(n Noted) bool { return n.Seq < k.seq || k.late && n.later() }

func (k known) of(n Noted) bool { return !n.At.After(k.at) && k.recorded(n) }

func (k known) label(l Label) bool {
	return k.of(l.Since) || k.late && l.Corrects != "" && !l.Since.At.After(k.at)
}

// AsOf gives the farm as it stood at a time, by what is on record now: the
// policy and the directions in force. What is late for a late entry is late for
// it too. Solutions are found as they stood by BottleAt.
func (f Farm) AsOf(at time.Time) Farm { return f.as(knownAt(at)) }

// as is AsOf for a decision on a step that is recorded already. The policy is
// never taken from what was learned later: a limit is not a fact that was found
// out, and counts from when it was written down.
func (f Farm) as(k known) Farm {
	f.Policy = f.policyAs(known{at: k.at, seq: k.seq})
	if slices.ContainsFunc(f.Labels, func(l Label) bool { return !k.label(l) }) {
		on := make([]Sanitizer, 0, len(f.Sanitizers))
		for _, s := range f.Sanitizers {
			if l, ok := f.label(s.Name, k); ok {
				on = append(on, l.Sanitizer)
			}
		}
		f.Sanitizers = on
	}
	return f
}

func (f Farm) policyAs(k known) Policy {
	inForce := func(c PolicySince) bool {
		return k.recorded(c.Since) && !later(c.Since.At, c.Since.Recorded).After(k.at)
	}
	if !slices.ContainsFunc(f.Policies, func(c PolicySince) bool { return !inForce(c) }) {
		return f.Policy
	}
	var p Policy
	for _, c := range f.Policies {
		if inForce(c) {
			p = p.with(c.Setting)
		}
	}
	return p
}

// applyPolicy takes a change in. Whatever its time, it counts from when it was
// written down, and so over all before it.
func (f Farm) applyPolicy(s Step, b *PolicyChange) Farm {
	f.Policies = append(slices.Clip(f.Policies), PolicySince{Since: noted(s), Setting: b.Setting})
	f.Policy = f.Policy.with(b.Setting)
	return f
}

// until is the farm with nothing on record after a time: what was recorded by a
// clock that is seen now to have been ahead counts by its place in the ledger,
// before what happened at a time and was recorded at another. What a person gave
// an earlier time keeps it.
func (f Farm) until(at, recorded time.Time) Farm {
	if !f.Last.After(recorded.Add(ClockDrift)) {
		return f
	}
	f.eachNoted(func(n Noted) Noted {
		if !n.Recorded.After(recorded) {
			at = later(at, n.At)
		}
		return n
	})
	return f.eachNoted(func(n Noted) Noted {
		switch {
		case !n.Recorded.After(recorded):
		case n.At.After(at):
			n.At, n.Recorded = at, at
		default:
			n.Recorded = recorded
		}
		return n
	})
}

// eachNoted is the farm with its times changed.
func (f Farm) eachNoted(change func(Noted) Noted) Farm {
	f.Policies, f.Labels = slices.Clone(f.Policies), slices.Clone(f.Labels)
	for i := range f.Policies {
		f.Policies[i].Since = change(f.Policies[i].Since)
	}
	for i := range f.Labels {
		f.Labels[i].Since = change(f.Labels[i].Since)
	}
	f.Bottles, f.Discarded = slices.Clone(f.Bottles), slices.Clone(f.Discarded)
	for _, list := range [][]Bottle{f.Bottles, f.Discarded} {
		for i := range list {
			list[i] = list[i].eachNoted(change)
		}
	}
	return f
}

func (b Bottle) eachNoted(change func(Noted) Noted) Bottle {
	made := change(b.Made)
	if ahead := b.Made.At.Sub(made.At); ahead > 0 {
		b.MadeAt, b.Solution.GoodUntil = made.At, b.Solution.GoodUntil.Add(-ahead)
	}
	b.Made = made
	if !b.DiscardedAt.IsZero() {
		b.Gone = change(b.Gone)
		b.DiscardedAt = b.Gone.At
	}
	b.Readings = slices.Clone(b.Readings)
	for i := range b.Readings {
		b.Readings[i].Noted = change(b.Readings[i].Noted)
	}
	return b.measured()
}

// label gives the copy of a product's directions that was in force.
func (f Farm) label(name string, k known) (found Label, ok bool) {
	for _, l := range f.Labels {
		if SameName(l.Sanitizer.Name, name) && k.label(l) && (!ok || !l.Since.At.Before(found.Since.At)) {
			found, ok = l, true
		}
	}
	return found, ok
}

// applySanitizer puts directions on file. A copy that was written down late does
// not take the place of a newer one.
func (f Farm) applySanitizer(s Step, b *Sanitizer) Farm {
	l := Label{Since: noted(s), Sanitizer: *b, Corrects: b.Corrects}
	l.Sanitizer.Corrects, l.Sanitizer.Confirmed = "", false
	if wrong, ok := f.label(b.Name, knownAt(s.At)); ok && b.Corrects != "" {
		l.Since.At = wrong.Since.At
	}
	f.Labels = append(slices.Clip(f.Labels), l)
	now, _ := f.label(b.Name, knownAt(lastTime))
	f.Sanitizers = replaceNamed(f.Sanitizers, now.Sanitizer, func(s Sanitizer) string { return s.Name })
	if LearnedLater(s) {
		f.Bottles, f.Discarded = f.relabelled(f.Bottles, l), f.relabelled(f.Discarded, l)
	}
	return f
}

// relabelled works out anew how long the solutions that were mixed under a copy
// are good.
func (f Farm) relabelled(list []Bottle, l Label) []Bottle {
	list = slices.Clone(list)
	for i, b := range list {
		d, ok := f.DirectionsOf(b)
		if !ok || !SameName(b.Solution.Product, l.Sanitizer.Name) || b.MadeAt.Before(l.Since.At) {
			continue
		}
		list[i].Solution.GoodUntil = d.goodUntil(f.policyAs(knownAt(b.MadeAt)), b.MadeAt, b.Solution.OpenedAt)
		list[i].Doubted = true
	}
	return list
}

// DirectionsOf gives the directions that a solution was mixed under. A label that
// is copied anew does not change what is in a bottle; a correction does.
func (f Farm) DirectionsOf(b Bottle) (Sanitizer, bool) { return f.directionsAs(b, knownAt(b.MadeAt)) }

func (f Farm) directionsAs(b Bottle, k known) (Sanitizer, bool) {
	var found Label
	ok := false
	k.at = b.MadeAt
	for _, l := range f.Labels {
		then := l.Since.Seq < b.Made.Seq || l.Since.later() || l.Corrects != ""
		if !then || !k.label(l) || !SameName(l.Sanitizer.Name, b.Solution.Product) {
			continue
		}
		if !ok || !l.Since.At.Before(found.Since.At) {
			found, ok = l, true
		}
	}
	d := found.Sanitizer
	if !ok { // mixed before its label was on file
		d, ok = f.Sanitizer(b.Solution.Product, "")
	}
	return d, ok && d.Active == b.Solution.Active
}
