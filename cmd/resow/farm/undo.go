package farm

import (
	"cmp"
	"fmt"

	"resow/medium"
)

// Undoing is the last act of a person that still stands, and what its end would bring.
type Undoing struct {
	Act   Act
	Later []medium.Step // steps of its mats that came after it and still count
}

// NothingToUndoError says that nothing of a person's last acts stands any more.
type NothingToUndoError struct{ By string }

func (e *NothingToUndoError) Error() string {
	return fmt.Sprintf("no act of %s is left to take back", e.By)
}

// FixedError says that an act can't be taken back, and which of its steps is why.
type FixedError struct{ Step medium.Step }

func (e *FixedError) Error() string {
	return fmt.Sprintf("the last act, %s of %s, can't be taken back", e.Step.Kind, e.Step.Mat)
}

// LastAct finds what an undo of a person takes back.
func (f *Farm) LastAct(by string) (Undoing, error) {
	acts, err := f.Acts(by, actsBack)
	if err != nil {
		return Undoing{}, err
	}
	for _, act := range acts {
		if !act.Void {
			return f.undoing(act)
		}
	}
	return Undoing{}, &NothingToUndoError{by}
}

// ActOf finds what an undo of the act of one request takes back.
func (f *Farm) ActOf(token string) (Undoing, error) {
	steps, err := f.Recorded(token)
	if err != nil || len(steps) == 0 {
		return Undoing{}, cmp.Or(err, error(&NothingToUndoError{}))
	}
	act := Act{By: steps[0].By, Kind: steps[0].Kind, Recorded: steps[0].Recorded, Steps: steps}
	u, err := f.undoing(act)
	if err == nil && len(u.Act.Steps) == 0 {
		err = &NothingToUndoError{act.By}
	}
	return u, err
}

// actsBack is how many acts an undo looks back.
const actsBack = 10

func (f *Farm) undoing(act Act) (u Undoing, err error) {
	u.Act = act
	u.Act.Steps = nil
	for _, s := range act.Steps {
		thread, err := f.Thread(s.Mat)
		if err != nil {
			return u, err
		}
		voided := medium.Voided(thread)
		if voided[s.MatSeq] {
			continue
		}
		if !medium.Voidable(s.Body) {
			return u, &FixedError{s}
		}
		u.Act.Steps = append(u.Act.Steps, s)
		for _, l := range thread {
			if l.MatSeq > s.MatSeq && l.Kind != medium.KindCorrect && !voided[l.MatSeq] {
				u.Later = append(u.Later, l)
			}
		}
	}
	return u, nil
}

// Corrections take the act back: one for each of its steps that still counts.
func (u Undoing) Corrections(reason string) []medium.Step {
	steps := make([]medium.Step, len(u.Act.Steps))
	for i, s := range u.Act.Steps {
		steps[i] = medium.Step{Mat: s.Mat, By: u.Act.By, Body: &medium.Correct{MatSeq: s.MatSeq, Reason: reason}}
	}
	return steps
}
