package store

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// testdata/export-v1 holds what a program of format 1 exported, the steps,
// conditions and due lines that it gave for that, and its verdicts. Where a later
// version derives others from the same steps, and means it, what is derived is
// written anew (raise viewsRevision first):
//
//	go test ./store -run TestExportOfFormat1 -update-derived
var updateDerived = flag.Bool("update-derived", false, "write what is derived in testdata/export-v1 anew")

var export1 = filepath.Join("..", "testdata", "export-v1")

func TestExportOfFormat1(t *testing.T) {
	text, err := os.ReadFile(filepath.Join(export1, "farm.jsonl"))
	require.NoError(t, err)
	c := &clock{now: start}
	path := filepath.Join(folder(t), "farm.resow")
	anchor, repeated, err := FromLines(path, bytes.NewReader(text), c.options())
	require.NoError(t, err)
	require.False(t, repeated)
	s, err := Open(path, c.options())
	require.NoError(t, err)
	defer s.Close()
	verifyClean(t, s)
	now, err := s.Anchor()
	require.NoError(t, err)
	require.Equal(t, now, anchor)
	require.Contains(t, string(text), fmt.Sprintf(`"store":"%x"`, s.ID()), "the farm's number stays")

	var steps []medium.Step
	require.NoError(t, s.Steps(func(s medium.Step) error { steps = append(steps, s); return nil }))
	golden(t, "steps.json", steps, false)
	var derived struct {
		Conditions []medium.Condition `json:"conditions"`
		Due        []medium.Work      `json:"due"`
	}
	require.NoError(t, s.Conditions(func(c medium.Condition) error { derived.Conditions = append(derived.Conditions, c); return nil }))
	derived.Due, err = s.Due(start.AddDate(10, 0, 0), 0)
	require.NoError(t, err)
	golden(t, "derived.json", derived, *updateDerived)
	farm, err := s.Farm()
	require.NoError(t, err)
	var verdicts []medium.Verdict
	for _, c := range derived.Conditions {
		verdicts = append(verdicts, medium.Judge(c, farm, time.Date(2026, 3, 6, 12, 0, 0, 0, time.UTC)))
	}
	golden(t, "verdicts.json", verdicts, *updateDerived)
	seen := map[medium.Kind]bool{}
	for _, s := range steps {
		seen[s.Kind] = true
	}
	require.Len(t, seen, 22, "it is worth something only while every kind of its time is in it")
}

func golden(t *testing.T, name string, v any, update bool) {
	t.Helper()
	got, err := json.MarshalIndent(v, "", " ")
	require.NoError(t, err)
	got = append(got, '\n')
	path := filepath.Join(export1, name)
	if update {
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	if !bytes.Equal(want, got) {
		a, b := strings.Split(string(want), "\n"), strings.Split(string(got), "\n")
		for i := range min(len(a), len(b)) {
			require.Equal(t, a[i], b[i], "%s, line %d", name, i+1)
		}
		t.Fatalf("%s has another length", name)
	}
}
