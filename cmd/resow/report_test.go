package main

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/labels/report"
	"resow/medium"
)

// The figures of the reports come from some kinds of step only, and are those of
// all steps, also where a step was voided that is of no such kind.
func TestTallyIsThatOfAllSteps(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	demoOutput(t, dir, now)
	w, _, _ := deadWorld(now)
	a := &app{world: w, path: filepath.Join(dir, demoFiles.store)}
	check := func(f *farm.Farm) {
		all, sown := report.NewTally(f.Farm, f.Now()), 0
		require.NoError(t, f.Threads(func(thread []medium.Step) {
			all.Add(thread)
			sown += report.Sown(thread, f.Now())
		}))
		some, err := f.Tally()
		require.NoError(t, err)
		require.Equal(t, all, some)
		n, err := f.Sown()
		require.NoError(t, err)
		require.Equal(t, sown, n)
		require.NotZero(t, n)
	}
	require.NoError(t, a.open(false, func(f *farm.Farm) error {
		check(f)
		var voids []medium.Step
		require.NoError(t, f.Threads(func(thread []medium.Step) {
			for i, s := range thread[:len(thread)-1] {
				if s.Kind == medium.KindDry && thread[i+1].Kind == medium.KindSanitize && thread[i+1].Outcome.Accepted {
					voids = append(voids, medium.Step{Mat: s.Mat, By: "MK", Body: &medium.Correct{MatSeq: s.MatSeq, Reason: "wrong mat"}})
				}
			}
		}))
		done := 0
		for _, v := range voids {
			if _, err := f.Record("", []medium.Step{v}); err == nil {
				done++
			}
		}
		require.NotZero(t, done)
		check(f)
		return nil
	}))
}
