package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/labels"
	"resow/medium"
	"resow/store"
)

// epcisEvent is what a reader of an EPCIS document needs to keep who is on which
// parent. It is written from the standard and knows nothing of what wrote the
// document.
type epcisEvent struct {
	Type     string           `json:"type"`
	ID       string           `json:"eventID"`
	Time     time.Time        `json:"eventTime"`
	Action   string           `json:"action"`
	Step     string           `json:"bizStep"`
	Parent   string           `json:"parentID"`
	EPCs     []string         `json:"epcList"`
	Children []map[string]any `json:"childQuantityList"`
	Quantity []map[string]any `json:"quantityList"`
	Says     string           `json:"disposition"`
	Error    map[string]any   `json:"errorDeclaration"`
	By       string           `json:"mat:by"`
}

func readEPCIS(t *testing.T, path string) []epcisEvent {
	t.Helper()
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	var doc struct {
		Body struct {
			Events []epcisEvent `json:"eventList"`
		} `json:"epcisBody"`
	}
	require.NoError(t, json.Unmarshal(text, &doc))
	return doc.Body.Events
}

// replayEPCIS plays the events in the order of their times, without those that
// were declared in error, and gives the parents that still hold a child and how
// often one was put on. What can't follow is an error: a child put on a parent
// that holds one, or taken off one that holds none.
func replayEPCIS(events []epcisEvent) (open map[string]bool, begun int, err error) {
	events = slices.Clone(events)
	slices.SortStableFunc(events, func(a, b epcisEvent) int { return a.Time.Compare(b.Time) })
	open = map[string]bool{}
	for _, e := range events {
		switch {
		case e.Error != nil || e.Type != "AssociationEvent":
		case e.Action == "ADD" && open[e.Parent]:
			return open, begun, fmt.Errorf("%s begins on %s, which nothing left: %s", e.ID, e.Parent, e.Time)
		case e.Action == "ADD":
			open[e.Parent] = true
			begun++
		case e.Action == "DELETE" && !open[e.Parent]:
			return open, begun, fmt.Errorf("%s ends on %s, on which nothing is: %s", e.ID, e.Parent, e.Time)
		case e.Action == "DELETE":
			delete(open, e.Parent)
		}
	}
	return open, begun, nil
}

// growingMats gives the last parts of the names of the mats that carry a crop by
// the ledger, and how many sowings it counts.
func growingMats(t *testing.T, path string) (codes []string, sowings int) {
	t.Helper()
	s, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	require.NoError(t, s.Conditions(func(c medium.Condition) error {
		if c.Stage == medium.Growing || c.Stage == medium.OnHold && c.HeldIn == medium.Growing {
			codes = append(codes, string(c.Code))
		}
		sowings += c.Turn
		return nil
	}))
	slices.Sort(codes)
	return codes, sowings
}

// wholeEPCIS writes the steps of all mats, roll by roll as the command does, and
// gives the events of each mat once.
func wholeEPCIS(t *testing.T, path string, rolls ...string) []epcisEvent {
	t.Helper()
	events := map[string]epcisEvent{}
	var order []string
	for i, roll := range rolls {
		file := filepath.Join(t.TempDir(), fmt.Sprint(i)+".jsonld")
		w, _, errs := deadWorld(time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
		require.Equal(t, 0, run([]string{"trace", roll, "--as", "roll", "--epcis", file, "--store", path}, w), errs.String())
		for _, e := range readEPCIS(t, file) {
			if _, twice := events[e.ID]; !twice {
				order = append(order, e.ID)
			}
			events[e.ID] = e
		}
	}
	out := make([]epcisEvent, len(order))
	for i, id := range order {
		out[i] = events[id]
	}
	return out
}

// Every sowing of the demo that ended has its end, by a replay of the events
// alone.
func TestEPCISOfTheDemoReplays(t *testing.T) {
	dir := t.TempDir()
	demoOutput(t, dir, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC))
	path := filepath.Join(dir, demoFiles.store)
	events := wholeEPCIS(t, path, "roll 7", "roll 9", "sheet 3", "roll 11", "sheet 4", "roll 12")
	open, begun, err := replayEPCIS(events)
	require.NoError(t, err)
	growing, sowings := growingMats(t, path)
	var left []string
	for parent := range open {
		left = append(left, parent[strings.LastIndexByte(parent, '/')+1:])
	}
	slices.Sort(left)
	require.Equal(t, growing, left, "what is still open is what grows")
	require.Equal(t, sowings, begun)
	require.Greater(t, begun, 650)
	t.Logf("%d sowings begun, %d of them open", begun, len(open))

	for _, e := range events {
		require.Empty(t, e.By, "initials go out only where they are asked for")
		require.False(t, e.Says == "available" && strings.HasSuffix(e.Step, "inspecting"), "a release to the wash")
	}
}

// lively is a store of mats on which anything happens that the rules take: crops
// that end in every way, and corrections of all of it.
func lively(t *testing.T, seed uint64, path string, clock *time.Time) (step func()) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 1))
	s, err := store.Create(path, medium.FarmSettings{Name: "Reed End Greens", Zone: "UTC", Units: medium.Metric, Paper: "a4", Currency: "EUR"}, "ab",
		store.Options{Now: func() time.Time { return *clock }, Random: &seeded{seed: t.Name()}, NoSync: true})
	require.NoError(t, err)
	do := func(mat medium.Code, b medium.Body) error {
		_, err := s.Record("", []medium.Step{{Mat: mat, By: "ab", Body: b}})
		return err
	}
	drum := medium.Sanitizer{Name: "drum", Active: "hypochlorite", Stock: "5.25 %", Directions: medium.DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60}
	require.NoError(t, do(medium.FarmThread, &drum))
	var mats []medium.Code
	for range 8 {
		code, err := labels.NewCode('T', &seeded{seed: fmt.Sprint(seed, len(mats))})
		require.NoError(t, err)
		mats = append(mats, medium.Code(code))
		require.NoError(t, do(mats[len(mats)-1], &medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 500, WidthMM: 250, ApertureMM: 0.5, ThreadMM: 0.3, Layers: 1, Roll: "roll 1"}}))
	}
	require.NoError(t, s.Close())
	sown := 0
	next := func(c medium.Condition) medium.Body {
		switch draw := rng.IntN(100); {
		case draw < 3:
			return &medium.Hold{Reason: "a doubt"}
		case draw < 5:
			return &medium.Mold{Where: "edge"}
		case draw < 6:
			return &medium.Swab{Test: "ATP"}
		case draw == 6 && rng.IntN(4) == 0:
			return &medium.Retire{Cause: medium.CauseLost}
		case draw < 16:
			return &medium.Correct{MatSeq: uint64(2 + rng.IntN(40)), Reason: "a slip"}
		}
		switch c.Stage {
		case medium.ToWash:
			return &medium.Rinse{Debris: medium.DebrisNone, Place: "sink"}
		case medium.ToDry, medium.Airing:
			return &medium.Dry{Where: medium.DryAir, DurationS: 3600}
		case medium.ToSanitize:
			temp, ph := 20.0, 6.5
			return &medium.Sanitize{Product: "drum", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "soak", TempC: &temp, PH: &ph}
		case medium.Ready:
			sown++
			return &medium.Sow{Crops: []medium.Sown{{Crop: "radish"}}, Lot: []string{"", "R-1", "R 2/ü"}[sown%3], SeedLot: "S1", Place: "shelf A"}
		case medium.OnHold:
			return &medium.Release{Reason: "looked at", AsWas: rng.IntN(2) == 0}
		}
		return &medium.Harvest{YieldG: float64(rng.IntN(2) * 300), MoreCutsToCome: rng.IntN(3) == 0}
	}
	return func() {
		s, err = store.Open(path, store.Options{Now: func() time.Time { return *clock }, NoSync: true})
		require.NoError(t, err)
		defer s.Close()
		for range 400 {
			*clock = clock.Add(time.Duration(1+rng.IntN(9)) * time.Hour)
			mat := mats[rng.IntN(len(mats))]
			c, err := s.Condition(mat)
			require.NoError(t, err)
			_ = do(mat, next(c)) // what the rules refuse did not happen
		}
	}
}

// Whatever happened to mats and was taken back again, a crop that left its mat
// has left it in the document; and what an earlier document said stands in every
// later one, or is declared in error there.
func TestEPCISOfAnyHistoryReplays(t *testing.T) {
	ended, declared := 0, 0
	for seed := range uint64(4) {
		path := filepath.Join(t.TempDir(), "farm.resow")
		clock := time.Date(2026, 1, 5, 8, 0, 0, 0, time.UTC)
		live := lively(t, seed, path, &clock)
		said := map[string]epcisEvent{}
		for range 3 {
			live()
			file := filepath.Join(t.TempDir(), "out.jsonld")
			w, _, errs := deadWorld(clock)
			require.Equal(t, 0, run([]string{"trace", "roll 1", "--epcis", file, "--initials", "--store", path}, w), errs.String())
			events := readEPCIS(t, file)
			open, begun, err := replayEPCIS(events)
			require.NoError(t, err, "history %d", seed)
			var left []string
			for parent := range open {
				left = append(left, parent[strings.LastIndexByte(parent, '/')+1:])
			}
			slices.Sort(left)
			growing, _ := growingMats(t, path)
			require.Equal(t, growing, left, "history %d", seed)
			ended += begun - len(open)
			now := map[string]epcisEvent{}
			for _, e := range events {
				require.NotContains(t, now, e.ID, "named twice")
				require.Equal(t, "ab", e.By)
				now[e.ID] = e
			}
			for id, was := range said {
				is, ok := now[id]
				require.True(t, ok, "%s %s of %s is gone without a word", was.Action, was.Step, was.Time)
				require.False(t, was.Error != nil && is.Error == nil, "declared in error, and stands again")
				require.Equal(t, was.Type+was.Action+was.Step+was.Parent, is.Type+is.Action+is.Step+is.Parent)
				if is.Error != nil && was.Error == nil {
					declared++
				}
			}
			said = now
		}
	}
	require.Greater(t, ended, 100)
	require.Greater(t, declared, 20)
	t.Logf("%d crops ended, %d events declared in error later", ended, declared)
}
