package report

import "resow/medium"

// Turn is what the reuse report needs of one turn of a mat, beyond the mat's
// condition.
type Turn struct {
	Crop    string  // crop or mix
	Mold    bool    // seen in this turn, on crop or mat
	Minutes float64 // hands-on time at the sink, 0 where none was noted
}

// Turns reads the turns from a mat's whole thread. Voided steps count as never
// taken.
func Turns(thread []medium.Step) []Turn {
	voided := map[uint64]bool{}
	for _, s := range thread {
		if b, ok := s.Body.(*medium.Correct); ok {
			voided[b.MatSeq] = true
		}
	}
	var out []Turn
	for _, s := range thread {
		if sow, ok := s.Body.(*medium.Sow); ok && !voided[s.MatSeq] {
			out = append(out, Turn{Crop: medium.CropName(sow.Crops)})
		}
		if len(out) == 0 || voided[s.MatSeq] {
			continue
		}
		turn := &out[len(out)-1]
		switch b := s.Body.(type) {
		case *medium.Mold:
			turn.Mold = true
		case *medium.Inspect:
			turn.Mold = turn.Mold || b.Mold
		case *medium.Rinse:
			turn.Minutes += b.Minutes
		}
	}
	return out
}
