package farm

import (
	"slices"
	"time"

	"resow/medium"
)

// Act is what one person asked for at once: its steps, in the order in which they were
// recorded.
type Act struct {
	By       string        `json:"by"`
	Kind     medium.Kind   `json:"kind"`
	Recorded time.Time     `json:"recorded_at"`
	Codes    []medium.Code `json:"codes"`
	Void     bool          `json:"void"` // all of it was taken back
	Steps    []medium.Step `json:"-"`
}

// stepsBack bounds how far back acts are looked for, in steps of all people.
const stepsBack = 50000

// Acts gives the last acts of a person about mats, the latest first, at most n.
// Corrections are no acts of their own: what they took back is void.
func (f *Farm) Acts(by string, n int) ([]Act, error) {
	var acts []Act
	void := map[medium.Code]map[uint64]bool{}
	looked := 0
	token := ""
	err := f.Latest(func(s medium.Step) bool {
		looked++
		if b, ok := s.Body.(*medium.Correct); ok {
			if void[s.Mat] == nil {
				void[s.Mat] = map[uint64]bool{}
			}
			void[s.Mat][b.MatSeq] = true
			return true
		}
		mine := medium.SameName(s.By, by) && s.Mat != medium.FarmThread
		last := len(acts) - 1
		switch {
		case !mine:
		case last >= 0 && sameAct(acts[last], token, s):
			acts[last].Steps = append(acts[last].Steps, s)
		case len(acts) == n:
			return false
		default:
			acts = append(acts, Act{By: s.By, Kind: s.Kind, Recorded: s.Recorded, Steps: []medium.Step{s}})
			token = s.Token
		}
		return looked < stepsBack
	})
	for i := range acts {
		acts[i].close(void)
	}
	return acts, err
}

// sameAct says whether a step belongs to an act whose other steps came after it: they
// have one request, or none and one second.
func sameAct(a Act, token string, s medium.Step) bool {
	if token != "" {
		return s.Token == token
	}
	return s.Token == "" && s.Kind == a.Kind && s.Recorded.Equal(a.Recorded)
}

// close puts an act's steps in their order, and says what of it was taken back.
func (a *Act) close(void map[medium.Code]map[uint64]bool) {
	slices.Reverse(a.Steps)
	a.Void = true
	for _, s := range a.Steps {
		a.Codes = append(a.Codes, s.Mat)
		a.Void = a.Void && void[s.Mat][s.MatSeq]
	}
}
