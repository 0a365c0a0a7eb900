package medium

// Standing is what a recorded step counts for as its mat's records stand now.
type Standing struct {
	Void     bool
	Accepted bool // counts as accepted: recorded so, and no later correction took that away
	// Since is the number of the voided step since which a step that was
	// accepted when it was recorded no longer counts; 0 where none did that.
	Since uint64
}

// Standings says of each step of a mat's whole thread what it counts for, in the
// thread's order. Reports, traces and histories ask here, so that none of them
// credits a step that the verdict does not.
func Standings(thread []Step) []Standing {
	out := standings(thread, Voided(thread))
	for i, s := range thread {
		if s.Outcome.Accepted && !out[i].Accepted && !out[i].Void {
			out[i].Since = lostSince(thread, i)
		}
	}
	return out
}

func standings(thread []Step, voided map[uint64]bool) []Standing {
	out := make([]Standing, len(thread))
	var c Condition
	for i := range thread {
		s := &thread[i]
		if voided[s.MatSeq] {
			out[i].Void = true
			c.without(s)
			continue
		}
		out[i].Accepted = c.credits(s)
		c.apply(s)
	}
	return out
}

// lostSince gives the number of the step whose voiding took away what the step
// at i counted for.
func lostSince(thread []Step, i int) (since uint64) {
	voided, counted := map[uint64]bool{}, true
	for _, s := range thread {
		b, ok := s.Body.(*Correct)
		if !ok {
			continue
		}
		voided[b.MatSeq] = true
		now := standings(thread[:i+1], voided)[i].Accepted
		if counted && !now {
			since = b.MatSeq
		}
		counted = now
	}
	return since
}

// Credits says whether a step counts as accepted on a mat in this condition. A
// sanitize step that was accepted on a washed mat does not count where a
// correction has made the mat unwashed before it.
func (c Condition) Credits(s Step) bool { return c.credits(&s) }

func (c *Condition) credits(s *Step) bool {
	if _, ok := s.Body.(*Sanitize); !ok {
		return s.Outcome.Accepted
	}
	// accepted on a dry mat, it does not stand on a mat that a correction made wet
	wetBefore := c.Stage == ToDry && s.Outcome.From == ToDry
	return s.Outcome.Accepted && (wetBefore || c.Stage == ToSanitize || c.Stage == Airing || c.Stage == Ready)
}
