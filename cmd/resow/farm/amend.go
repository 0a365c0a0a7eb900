package farm

import (
	"fmt"
	"time"

	"resow/medium"
)

// LaterError says that an act can't be amended, since something was recorded after it
// that rests on it: nothing can be put in front of that.
type LaterError struct{ Step medium.Step }

func (e *LaterError) Error() string {
	return fmt.Sprintf("%s of mat %s was recorded after that act; what is changed can't be put in front of it",
		e.Step.Kind, e.Step.Mat)
}

// Amended takes an act back and records it again with what is said of some fields, each
// step at its own time or at another one, where that is not zero.
func (f *Farm) Amended(u Undoing, said map[string]string, at time.Time, day bool) ([]medium.Step, error) {
	if len(u.Later) > 0 {
		return nil, &LaterError{u.Later[0]}
	}
	var steps []medium.Step
	for _, s := range u.Act.Steps {
		r := Reader{Farm: f.Farm, At: s.At}
		again := medium.Step{Mat: s.Mat, By: s.By, At: s.At, Day: s.Day, Replaces: s.MatSeq}
		if !at.IsZero() {
			r.At, again.At, again.Day = at, at, day
		}
		body, err := r.amended(s, said)
		if err != nil {
			return nil, err
		}
		again.Body = body
		steps = append(steps, medium.Step{Mat: s.Mat, By: u.Act.By,
			Body: &medium.Correct{MatSeq: s.MatSeq, Reason: "amended"}}, again)
	}
	return steps, nil
}

// amended is the body of a step with what is said of some fields. What the rules filled
// in is worked out anew.
func (r Reader) amended(s medium.Step, said map[string]string) (medium.Body, error) {
	row, _ := medium.KindNamed(s.Kind)
	b := row.New()
	told := map[string]string{}
	for _, f := range row.Fields {
		if v, ok := f.Value(s.Body); ok && !f.Hidden {
			f.Set(b, v)
			told[f.Name] = fmt.Sprint(v)
		}
	}
	for name, text := range said {
		f, ok := row.Field(name)
		if !ok || f.Hidden {
			return nil, &medium.InputError{Field: "field of a " + string(s.Kind) + " step", Value: name,
				Want: "one that it has"}
		}
		if err := r.set(b, f, text); err != nil {
			return nil, err
		}
		told[name] = text
	}
	return b, r.together(b, told)
}
