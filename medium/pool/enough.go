package pool

import (
	"fmt"
	"math/rand/v2"
)

// Sufficient is the number of mats at which running short is rare enough.
type Sufficient struct {
	Mats  int
	Level float64 // wanted
	// With is the outcome at Mats, Without at one mat fewer (the same luck).
	With, Without Outcome
	Closed        Needs // the closed form beside it
}

// Enough looks for the least number of mats at which the simulated chance that
// a week runs short is at most level. Every number of mats is tried with the
// same luck, so that the answer does not jump about; it is an estimate all the
// same, and the intervals in With say how sure. o.Mats is ignored.
//
// Errors: *medium.InputError, and *Overloaded where a stage cannot keep up
// with the plan, so that no number of mats is enough.
func Enough(p Plan, level float64, o Options, src rand.Source) (Sufficient, error) {
	if err := checkLevel(level); err != nil {
		return Sufficient{}, err
	}
	closed, err := Need(p)
	if err != nil {
		return Sufficient{}, err
	}
	one, two := src.Uint64(), src.Uint64()
	try := func(mats int) (Outcome, error) {
		o := o
		o.Mats = mats
		return Simulate(p, o, rand.NewPCG(one, two))
	}
	high := max(1, closed.AtOnce)
	for {
		out, err := try(high)
		if err != nil {
			return Sufficient{}, err
		}
		if out.InAWeek.Share <= level {
			break
		}
		if high >= MaxMats {
			return Sufficient{}, invalid("number of mats", MaxMats+1, fmt.Sprintf("at most %d; give more hands or drying "+
				"places, or a higher level", MaxMats))
		}
		high = min(MaxMats, high+max(1, high/2))
	}
	low := 0 // too few: nothing can be sown
	for high-low > 1 {
		mid := low + (high-low)/2
		out, err := try(mid)
		if err != nil {
			return Sufficient{}, err
		}
		if out.InAWeek.Share <= level {
			high = mid
		} else {
			low = mid
		}
	}
	s := Sufficient{Mats: high, Level: level, Closed: closed}
	if s.With, err = try(high); err != nil {
		return Sufficient{}, err
	}
	s.Without, err = try(high - 1)
	return s, err
}
