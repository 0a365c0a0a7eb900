package main

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/medium/trace"
)

// A trace over the indexes of the ledger is the one over all of its threads, also
// where sowings and sanitize steps were voided.
func TestTraceIsThatOfAllThreads(t *testing.T) {
	dir := t.TempDir()
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	demoOutput(t, dir, now)
	w, _, _ := deadWorld(now)
	a := &app{world: w, path: filepath.Join(dir, demoFiles.store)}
	voided := map[medium.Kind]int{}
	require.NoError(t, a.open(false, func(f *farm.Farm) error {
		compareTraces(t, a, f)
		var last []medium.Step
		require.NoError(t, f.Threads(func(thread []medium.Step) {
			for _, s := range thread[max(0, len(thread)-12):] {
				if s.Kind == medium.KindSow || s.Kind == medium.KindSanitize || s.Kind == medium.KindHarvest {
					last = append(last, s)
				}
			}
		}))
		for i := len(last) - 1; i >= max(0, len(last)-150); i-- { // the newest first: a step that others rest on can't be voided
			s := last[i]
			void := medium.Step{Mat: s.Mat, By: "MK", Body: &medium.Correct{MatSeq: s.MatSeq, Reason: "wrong mat"}}
			if _, err := f.Record("", []medium.Step{void}); err == nil {
				voided[s.Kind]++
			}
		}
		compareTraces(t, a, f)
		r, err := f.Verify(nil, nil)
		require.NoError(t, err)
		require.True(t, r.OK, "%v", r.Problems)
		return nil
	}))
	require.Greater(t, voided[medium.KindSow], 3, "%v", voided)
	require.Greater(t, voided[medium.KindSanitize], 3, "%v", voided)
}

// compareTraces traces every name on file both ways.
func compareTraces(t *testing.T, a *app, f *farm.Farm) {
	var all []medium.Code
	names := map[string]map[string]bool{}
	add := func(from, name string) {
		if names[from] == nil {
			names[from] = map[string]bool{"no such name": true}
		}
		if len(names[from]) < 80 {
			names[from][name] = true
		}
	}
	require.NoError(t, f.Threads(func(thread []medium.Step) {
		all = append(all, thread[0].Mat)
		add(trace.FromMat, string(thread[0].Mat))
		for _, s := range thread {
			switch b := s.Body.(type) {
			case *medium.Add:
				add(trace.FromRoll, b.Mat.Roll)
			case *medium.Sow:
				add(trace.FromLot, b.Lot)
				add(trace.FromSeedLot, b.SeedLot)
			case *medium.Sanitize:
				add(trace.FromSolution, string(b.Solution))
			}
		}
	}))
	whole := trace.New(trace.Ledger{Thread: f.Thread,
		Mats: func(string, string) ([]medium.Code, error) { return append([]medium.Code{}, all...), nil }})
	found, atRisk, taken := 0, 0, 0
	for from, some := range names {
		require.Greater(t, len(some), 2, from)
		for name := range some {
			q := trace.Query{From: from, Name: name}
			want, wantErr := whole.Find(q)
			got, err := a.graph(f).Find(q)
			require.Equal(t, wantErr, err, "%v", q)
			require.Equal(t, want, got, "%v", q)
			if err == nil {
				found, atRisk, taken = found+1, atRisk+len(got.AtRisk), taken+len(got.Voided)
			}
		}
	}
	require.Greater(t, found, 50)
	require.NotZero(t, atRisk)
	t.Logf("%d traces, %d growths at risk, %d voided sowings", found, atRisk, taken)
}
