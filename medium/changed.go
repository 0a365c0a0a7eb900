package medium

import "fmt"

// Changed is a step that was recorded, and judged, while another one that is
// void now was taken for true.
type Changed struct {
	Step Step
	Why  string
}

// ChangedBy lists what may have come out differently without the step seq: the
// later steps of the mat that no longer follow from its stage, or that were
// accepted and would lead elsewhere, and the sowings, with their lots, that
// were let through on it. The thread holds the correction already, or not yet:
// both give the same.
func ChangedBy(thread []Step, seq uint64) []Changed {
	voided := Voided(thread)
	delete(voided, seq)
	var with, without Condition
	var out []Changed
	for _, s := range thread {
		if voided[s.MatSeq] || s.Kind == KindCorrect {
			continue
		}
		from, instead := with, without
		with = with.Apply(s)
		if s.MatSeq == seq {
			continue
		}
		without = without.Apply(s)
		if s.MatSeq < seq {
			continue
		}
		if why := changedWhy(s, from, instead, with, without); why != "" {
			out = append(out, Changed{Step: s, Why: why})
		}
	}
	return out
}

func changedWhy(s Step, from, instead, to, now Condition) string {
	if do := refusal(s.Kind, instead.Stage); do != "" && refusal(s.Kind, from.Stage) == "" {
		return fmt.Sprintf("the mat was %s, without that step it was %s: %s%s", stagePhrase(from.Stage),
			stagePhrase(instead.Stage), do, lotOf(s))
	}
	if b, ok := s.Body.(*Sow); ok &&
		(instead.Cleared != from.Cleared || instead.SwabOpen != from.SwabOpen ||
			len(instead.MoldTurns) != len(from.MoldTurns) || instead.CutsThrough != from.CutsThrough) {
		return fmt.Sprintf("%s was sown on it on a verdict that counted that step%s", CropName(b.Crops), lotOf(s))
	}
	if s.Outcome.Accepted && to.Stage != now.Stage && to.Stage != from.Stage {
		return fmt.Sprintf("after it the mat was %s, without that step it is %s", stagePhrase(to.Stage),
			stagePhrase(now.Stage))
	}
	return ""
}

func lotOf(s Step) string {
	if b, ok := s.Body.(*Sow); ok && b.Lot != "" {
		return " (lot " + b.Lot + ")"
	}
	return ""
}
