package medium

// Stage is what a mat waits for.
type Stage string

// The stages of a turn, in the order in which a mat goes through them, and the
// two that can be reached from any other.
const (
	ToWash     Stage = "to wash"
	ToDry      Stage = "to dry"
	ToSanitize Stage = "to sanitize"
	Airing     Stage = "airing" // sanitized, still wet
	Ready      Stage = "ready"
	Growing    Stage = "growing"
	OnHold     Stage = "on hold"
	Retired    Stage = "retired"
)

// Stages lists every stage once.
var Stages = []Stage{ToWash, ToDry, ToSanitize, Airing, Ready, Growing, OnHold, Retired}

// Next gives the step that takes a mat on from this stage; a retired mat has none.
func (s Stage) Next() Kind {
	switch s {
	case ToWash:
		return KindRinse
	case ToDry, Airing:
		return KindDry
	case ToSanitize:
		return KindSanitize
	case Ready:
		return KindSow
	case Growing:
		return KindHarvest
	case OnHold:
		return KindRelease
	}
	return ""
}

// Wet says whether a mat in this stage is wet.
func (s Stage) Wet() bool { return s == ToDry || s == Airing }
