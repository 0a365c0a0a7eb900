package farm

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// act records one step on mats at once, as one person's act.
func (w *washDay) act(by string, body medium.Body, mats ...medium.Code) {
	w.t.Helper()
	w.now = w.now.Add(time.Minute)
	var steps []medium.Step
	for _, m := range mats {
		steps = append(steps, medium.Step{Mat: m, By: by, Body: body})
	}
	_, err := w.store.Record(w.now.Format("150405.05"), steps)
	require.NoError(w.t, err)
}

func (w *washDay) undo(by string) {
	w.t.Helper()
	u, err := w.farm().LastAct(by)
	require.NoError(w.t, err)
	w.now = w.now.Add(time.Minute)
	_, err = w.store.Record(w.now.Format("150405.05"), u.Corrections("slip"))
	require.NoError(w.t, err)
}

func TestUndoTakesBackTheLastActOfThatPerson(t *testing.T) {
	w := row(t)
	w.now = w.now.Add(12 * time.Hour)
	w.act("MK", &medium.Mist{WaterML: 100}, w.mats[0], w.mats[1])
	w.act("JD", &medium.Move{Place: "shelf C"}, w.mats...)
	w.act("mk", &medium.Note{Text: "pale"}, w.mats[2])
	acts, err := w.farm().Acts("MK", 3)
	require.NoError(t, err)
	require.Equal(t, []medium.Kind{medium.KindNote, medium.KindMist, medium.KindSow}, []medium.Kind{acts[0].Kind, acts[1].Kind, acts[2].Kind})
	require.Equal(t, w.mats[:2], acts[1].Codes)

	w.undo("MK")
	u, err := w.farm().LastAct("MK")
	require.NoError(t, err)
	require.Equal(t, medium.KindMist, u.Act.Kind, "the note is gone, the act before it is next")
	require.Len(t, u.Later, 2, "the mats were moved since")
	w.undo("MK")
	acts, err = w.farm().Acts("MK", 2)
	require.NoError(t, err)
	require.Equal(t, []bool{true, true}, []bool{acts[0].Void, acts[1].Void})
	c, err := w.farm().Condition(w.mats[0])
	require.NoError(t, err)
	require.True(t, c.Misted.IsZero())
	require.Equal(t, "shelf C", c.Place, "what somebody else did stays")
	u, err = w.farm().LastAct("JD")
	require.NoError(t, err)
	require.Equal(t, medium.KindMove, u.Act.Kind)
	_, err = w.farm().LastAct("nobody")
	var nothing *NothingToUndoError
	require.ErrorAs(t, err, &nothing)
}

func TestARegistrationIsNotUndone(t *testing.T) {
	w := newWashDay(t)
	_, err := w.farm().LastAct("MK")
	var fixed *FixedError
	require.ErrorAs(t, err, &fixed)
	require.Equal(t, medium.KindAdd, fixed.Step.Kind)
}

// An undo of one request finds its act whoever did what after it, and nothing of it once
// it was taken back.
func TestActOfOneRequest(t *testing.T) {
	w := row(t)
	w.now = w.now.Add(12 * time.Hour)
	w.act("MK", &medium.Mist{WaterML: 100}, w.mats[0], w.mats[1])
	token := w.now.Format("150405.05")
	w.act("JD", &medium.Move{Place: "shelf C"}, w.mats[1])
	u, err := w.farm().ActOf(token)
	require.NoError(t, err)
	require.Equal(t, "MK", u.Act.By)
	require.Len(t, u.Corrections("slip"), 2)
	require.Len(t, u.Later, 1)
	w.undo("MK")
	var nothing *NothingToUndoError
	_, err = w.farm().ActOf(token)
	require.ErrorAs(t, err, &nothing)
	_, err = w.farm().ActOf("never sent")
	require.ErrorAs(t, err, &nothing)
}
