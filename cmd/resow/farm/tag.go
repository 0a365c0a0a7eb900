package farm

import (
	"fmt"
	"strings"

	"resow/labels"
	"resow/medium"
)

// conflictReason begins the hold of a mat whose code stands on two pieces.
const conflictReason = "two pieces carry this code"

// SetApart registers a piece as unidentified, under a code of its own. One record does
// it, so that no correction can void the hold.
func (f *Farm) SetApart(piece medium.Mat) (medium.Step, error) {
	code, err := f.FreshCode(nil)
	return medium.Step{Mat: code, Body: &medium.Add{Mat: piece}}, err
}

// Conflict gives the steps for two pieces that carry the code of one mat: that goes on
// hold, and the piece that is doubted more is set apart. A size of zero is the mat's.
func (f *Farm) Conflict(code medium.Code, size medium.Size, reason string) (steps []medium.Step, err error) {
	mat, err := f.Condition(code)
	if err != nil {
		return nil, err
	}
	piece := medium.Mat{Form: mat.Mat.Form, LengthMM: mat.Mat.LengthMM, WidthMM: mat.Mat.WidthMM, Layers: 1,
		Unidentified: Join("it carried the code of "+code.String(), reason)}
	if size.LengthMM > 0 {
		piece.LengthMM, piece.WidthMM = size.LengthMM, size.WidthMM
	}
	if mat.Stage != medium.Retired {
		steps = append(steps, medium.Step{Mat: code,
			Body: &medium.Hold{Reason: Join(conflictReason, reason), MustWash: true}})
	}
	apart, err := f.SetApart(piece)
	return append(steps, apart), err
}

// Resolved gives the steps for a piece in quarantine that turned out to be a mat. What
// is not in quarantine, and another unidentified piece, are refused.
func (f *Farm) Resolved(piece, mat medium.Code, reason string) ([]medium.Step, error) {
	p, err := f.Condition(piece)
	if err != nil {
		return nil, err
	}
	m, err := f.Condition(mat)
	if err != nil {
		return nil, err
	}
	if p.Mat.Unidentified == "" || p.Stage == medium.Retired {
		return nil, &medium.UnknownError{What: "quarantined piece", Name: labels.Print(string(piece))}
	}
	if m.Mat.Unidentified != "" {
		return nil, &medium.InputError{Field: "the mat that it is", Value: labels.Print(string(mat)),
			Want: "a mat with a history, not another piece in quarantine"}
	}
	apart := "it was set apart as " + piece.String()
	return []medium.Step{
		{Mat: piece, Body: &medium.Retire{Cause: medium.CauseOther, Note: Join("it is mat "+mat.String(), reason)}},
		{Mat: mat, Body: &medium.Relabel{Reason: Join(apart, reason)}},
		{Mat: mat, Body: &medium.Hold{Reason: apart + "; look at it, then release it to the wash", MustWash: true}},
	}, nil
}

// OpenTag is a code or a piece that a person still has to sort out.
type OpenTag struct {
	Code medium.Code `json:"code"`
	Kind string      `json:"kind"` // conflict, unidentified or relabelled
	Text string      `json:"text"`
}

// OpenTags lists the mats that are held because two pieces carry their code, the
// pieces in quarantine, and the mats that were relabelled.
func (f *Farm) OpenTags() (open []OpenTag, err error) {
	open = []OpenTag{}
	for c := range f.EachMat(&err) {
		switch {
		case c.Stage == medium.Retired:
		case c.Mat.Unidentified != "":
			open = append(open, OpenTag{c.Code, "unidentified", c.Mat.Unidentified})
		case c.Stage == medium.OnHold && strings.Contains(c.HeldFor, conflictReason):
			open = append(open, OpenTag{c.Code, "conflict", c.HeldFor})
		case c.Labels > 0:
			open = append(open, OpenTag{c.Code, "relabelled", relabelled(c)})
		}
	}
	return open, err
}

func relabelled(c medium.Condition) string {
	times := "1 time"
	if c.Labels > 1 {
		times = fmt.Sprintf("%d times", c.Labels)
	}
	codes := make([]string, len(c.Tags))
	for i, t := range c.Tags {
		codes[i] = t.String()
	}
	return Join(times, Named("also", strings.Join(codes, ", ")), "the old label must be destroyed")
}
