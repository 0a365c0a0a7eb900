package farm

import (
	"slices"

	"resow/medium"
)

// Recordable are the steps that are recorded by what is said of their fields, in the
// order of a turn.
var Recordable = func() (kinds []medium.Kind) {
	for _, row := range medium.StepKinds() {
		if len(row.Asked()) > 0 {
			kinds = append(kinds, row.Kind)
		}
	}
	return kinds
}()

// reports are the steps that say that something is wrong with a mat. The first three
// are taken of a retired one too.
var reports = []medium.Kind{medium.KindMold, medium.KindCut, medium.KindSwab, medium.KindHold, medium.KindTrim,
	medium.KindRelabel, medium.KindRetire}

// Offer gives the steps that make sense for a mat: first those that take it on, then
// those that report something wrong.
func Offer(c medium.Condition, v medium.Verdict, p medium.Policy) (next, wrong []medium.Kind) {
	if c.Stage == medium.Retired {
		return nil, reports[:3]
	}
	add := func(kinds ...medium.Kind) {
		for _, k := range kinds {
			if slices.Contains(Recordable, k) && !slices.Contains(next, k) {
				next = append(next, k)
			}
		}
	}
	if clear := v.Word == medium.SowIt || v.Word == medium.SowWithCare; c.Stage == medium.Ready && clear {
		add(medium.KindSow)
	} else if v.NextStep != medium.KindSow { // a ready mat that is not clear is not sown
		add(v.NextStep)
	}
	if c.Stage != medium.Ready {
		add(c.Stage.Next())
	}
	if c.Stage == medium.Ready || c.Stage == medium.ToDry && p.Setting("sanitize-wet").On {
		add(medium.KindSanitize)
	}
	if slices.Contains([]medium.Stage{medium.ToDry, medium.ToSanitize, medium.Ready}, c.Stage) {
		add(medium.KindInspect)
	}
	for _, row := range medium.StepKinds() { // what is done with a crop while it grows
		if c.Stage == medium.Growing && slices.Contains(row.From, medium.Growing) {
			add(row.Kind)
		}
	}
	for _, k := range reports {
		if k == medium.KindTrim && c.Stage == medium.Growing || k == medium.KindHold && c.Stage == medium.OnHold {
			continue
		}
		if !slices.Contains(next, k) {
			wrong = append(wrong, k)
		}
	}
	return next, wrong
}
