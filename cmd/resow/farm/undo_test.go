package farm

import (
	"fmt"
	"math/rand/v2"
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

// TestUndoLeavesWhatReplayLeavesWithoutTheAct: whatever was done before and after, each
// mat stands where it would stand had the act never been recorded.
func TestUndoLeavesWhatReplayLeavesWithoutTheAct(t *testing.T) {
	bodies := []func() medium.Body{
		func() medium.Body { return &medium.Rinse{Debris: medium.DebrisNone} },
		func() medium.Body { return &medium.Rinse{Debris: medium.DebrisRoots} },
		func() medium.Body { return &medium.Dry{Where: medium.DryAir, DurationS: 3600} },
		func() medium.Body {
			return &medium.Sanitize{Product: "drum", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "spray"}
		},
		func() medium.Body { return &medium.Sow{Crops: []medium.Sown{{Crop: "radish", SeedG: 20}}, Lot: "R-1"} },
		func() medium.Body { return &medium.Mist{WaterML: 100} },
		func() medium.Body { return &medium.Uncover{} },
		func() medium.Body { return &medium.Move{Place: "shelf B"} },
		func() medium.Body { return &medium.Harvest{YieldG: 300} },
		func() medium.Body { return &medium.Mold{Where: "crop"} },
		func() medium.Body { return &medium.Hold{Reason: "doubt"} },
		func() medium.Body { return &medium.Release{Reason: "looked at"} },
		func() medium.Body { return &medium.Inspect{} },
	}
	for seed := range 12 {
		w := newWashDay(t)
		w.put(medium.FarmThread, &medium.PolicyChange{Setting: medium.Setting{Rule: "solution-measured", Limit: 1}, Reason: "test"})
		rng := rand.New(rand.NewPCG(uint64(seed), 7))
		mine := 0
		for n := 0; n < 40; n++ {
			w.now = w.now.Add(time.Duration(1+rng.IntN(30)) * time.Hour)
			by := []string{"MK", "JD"}[rng.IntN(2)]
			if _, err := w.store.Record(fmt.Sprint("act ", n), []medium.Step{
				{Mat: w.mats[0], By: by, Body: bodies[rng.IntN(len(bodies))]()},
				{Mat: w.mats[1], By: by, Body: bodies[rng.IntN(len(bodies))]()},
			}); err == nil && by == "MK" {
				mine++
			}
		}
		for ; mine > 0; mine-- {
			u, err := w.farm().LastAct("MK")
			require.NoError(t, err)
			gone := map[medium.Code]uint64{}
			for _, s := range u.Act.Steps {
				gone[s.Mat] = s.MatSeq
			}
			want := map[medium.Code]medium.Stage{}
			for mat := range gone {
				want[mat] = stageWithout(t, w, mat, gone[mat])
			}
			w.undo("MK")
			for mat, stage := range want {
				c, err := w.farm().Condition(mat)
				require.NoError(t, err)
				require.Equal(t, stage, c.Stage, "seed %d, %s step %d", seed, mat, gone[mat])
			}
		}
	}
}

// stageWithout replays a mat's thread as if a step had never been recorded.
func stageWithout(t *testing.T, w *washDay, mat medium.Code, seq uint64) medium.Stage {
	thread, err := w.store.Thread(mat)
	require.NoError(t, err)
	voided := medium.Voided(thread)
	var c medium.Condition
	for _, s := range thread {
		if s.MatSeq != seq && !voided[s.MatSeq] && s.Kind != medium.KindCorrect {
			c = c.Apply(s)
		}
	}
	return c.Stage
}
