package store

import (
	"bytes"
	"encoding/json"
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
)

// testdata/ledger-v1 holds a ledger of format 1 that must open for ever.
//
// Before the first release it is made anew by
//
//	go test ./store -run TestFrozenLedger -update
//
// and never again after that. Where a later version derives other conditions
// or other due lines from the same steps, and means it, only what is derived is
// written anew (raise viewsRevision first):
//
//	go test ./store -run TestFrozenLedger -update-derived
var (
	updateFrozen  = flag.Bool("update", false, "make testdata/ledger-v1 anew; only before the first release")
	updateDerived = flag.Bool("update-derived", false, "write testdata/ledger-v1/derived.json anew")
)

var frozenFolder = filepath.Join("..", "testdata", "ledger-v1")

// derivedGolden is what follows from the frozen steps.
type derivedGolden struct {
	Conditions []medium.Condition `json:"conditions"`
	Due        []medium.Work      `json:"due"`
}

func TestFrozenLedger(t *testing.T) {
	if *updateFrozen {
		makeFrozen(t)
	}
	frozen, err := os.ReadFile(filepath.Join(frozenFolder, "farm.resow"))
	require.NoError(t, err)
	printed, err := os.ReadFile(filepath.Join(frozenFolder, "anchor.txt"))
	require.NoError(t, err)
	anchor, err := ParseAnchor(string(printed))
	require.NoError(t, err)

	for _, readOnly := range []bool{true, false} {
		path := filepath.Join(t.TempDir(), "farm.resow") // a copy: opening may bring it up to date
		require.NoError(t, os.WriteFile(path, frozen, 0o600))
		s, err := Open(path, Options{ReadOnly: readOnly})
		require.NoError(t, err)
		r, err := s.Verify(nil, &anchor)
		require.NoError(t, err)
		require.True(t, r.OK, "was viewsRevision forgotten? %+v", r.Problems)
		compareFrozen(t, s)
		requireSameBytes(t, s)
		require.NoError(t, s.Close())
	}
}

func compareFrozen(t *testing.T, s *Store) {
	steps := []medium.Step{}
	require.NoError(t, s.Steps(func(s medium.Step) error { steps = append(steps, s); return nil }))
	golden(t, "steps.json", steps, *updateFrozen)
	var d derivedGolden
	require.NoError(t, s.Conditions(func(c medium.Condition) error { d.Conditions = append(d.Conditions, c); return nil }))
	due, err := s.Due(start.AddDate(10, 0, 0), 0)
	require.NoError(t, err)
	d.Due = due
	golden(t, "derived.json", d, *updateFrozen || *updateDerived)
}

func golden(t *testing.T, name string, v any, update bool) {
	t.Helper()
	got, err := json.MarshalIndent(v, "", " ")
	require.NoError(t, err)
	got = append(got, '\n')
	path := filepath.Join(frozenFolder, name)
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

// requireSameBytes fails when the codec writes the frozen records in another
// way than it did: harmless for what is stored, whose bytes are hashed as they
// are, and to be known all the same.
func requireSameBytes(t *testing.T, s *Store) {
	require.NoError(t, s.db.View(func(tx *bbolt.Tx) error {
		return tx.Bucket(bucketSteps).ForEach(func(k, stored []byte) error {
			step, prev, err := decodeStep(stored)
			require.NoError(t, err)
			again, _, err := encodeStep(step, prev)
			require.NoError(t, err)
			require.Equal(t, bytes.Clone(stored), again)
			return nil
		})
	}))
}

// makeFrozen writes the ledger: every kind of step, accepted and not.
func makeFrozen(t *testing.T) {
	require.NoError(t, os.MkdirAll(frozenFolder, 0o755))
	path := filepath.Join(frozenFolder, "farm.resow")
	require.NoError(t, os.RemoveAll(path))
	c := &clock{now: start}
	o := c.options()
	o.Random, o.Program = rand.NewChaCha8([32]byte{9}), "resow, before its first release"
	s, err := Create(path, settings, "ab", o)
	require.NoError(t, err)
	do := func(steps ...medium.Step) {
		t.Helper()
		c.after(70 * time.Minute)
		_, err := s.Record("frozen "+c.now.Format(time.RFC3339), steps)
		require.NoError(t, err)
	}
	marked := mesh()
	marked.Mark, marked.Roll, marked.Supplier, marked.Material = "three dots", "roll 4", "Mesh & Söhne", "polypropylene"
	marked.Cost, marked.DryWeightG, marked.SunRatingKLy = 4.1, 38.5, 150
	do(sanitizer(), step("", &medium.Sanitizer{Name: "Drugstore peroxide", Active: "peroxide", Stock: "3 %", Directions: medium.DirectionsFarm,
		MinPPM: 5000, MaxPPM: 31000, ContactS: 600, MinTempC: 10, MixedHours: 24, Rinse: true}))
	do(step(code(1), &medium.Add{Mat: marked}))
	do(adds(2, 5)...)
	do(step("", &medium.Crop{Name: "shiso", WidthMM: 1.2, ThicknessMM: 1.1, LengthMM: 1.3, TSWG: 1.4, DensityGM2: 60, DaysMin: 14, DaysMax: 21, SizeSource: "measured", SowSource: "own"}),
		step("", &medium.PolicyChange{Setting: medium.Setting{Rule: "wet-hours", On: true, Limit: 20}, Reason: "warm room"}))
	do(step(code(1), &medium.Rinse{Debris: medium.DebrisRoots, Detergent: "mild", Minutes: 4.5}))
	do(c.wash(code(1))[:2]...)
	temp, ph := 21.5, 0.0
	do(step(code(1), &medium.Sanitize{Product: "Peroxide 3 %", StrengthPPM: 500, ContactS: 60, Sides: 1, Method: "spray", TempC: &temp, PH: &ph}))
	do(step(code(1), &medium.Sanitize{Product: "Peroxide 3 %", StrengthPPM: 1000, ContactS: 600, Sides: 2, Method: "soak", Rinsed: true}))
	do(step(code(1), &medium.Dry{Where: medium.DrySun, DurationS: 4200}))
	do(sow(code(1), "Lot 1"))
	do(step(code(1), &medium.Mist{WaterML: 120, Where: "corner", Treated: "peroxide 0.3 %"}))
	do(step(code(1), &medium.Harvest{YieldG: 210.4, CutHeightMM: 8, KnifeTouched: true, MoreCutsToCome: true}))
	do(step(code(1), &medium.Harvest{YieldG: 90.1}))
	do(step(code(1), &medium.Cut{LengthMM: 12.5, Where: "edge"}), step(code(1), &medium.Swab{Test: "ATP", Reading: 12, Limit: 30, Unit: "RLU", Pass: true}))
	late := step(code(2), &medium.Rinse{Debris: medium.DebrisNone})
	late.At = c.now.Add(-2 * time.Hour)
	do(late)
	do(step(code(2), &medium.Dry{Where: medium.DrySun, DurationS: 5400}), step(code(2), &medium.Inspect{Fuzz: true, ApertureMM: 0.82, Note: "chalky"}))
	do(step(code(2), &medium.Mold{Where: "edge", Seen: "in store", SharePercent: 2.5}))
	do(step(code(2), &medium.Release{Reason: "washed twice"}))
	do(step(code(3), &medium.Hold{Reason: "fell on the floor"}))
	do(step(code(3), &medium.Correct{MatSeq: 2, Reason: "it was another mat"}))
	do(step(code(3), &medium.Relabel{Reason: "faded", NewCode: code(13), Mark: "notch"}))
	do(step(code(3), &medium.Document{ContactStatement: "complies with EU 10/2011", ContactDate: "2026-03-01"}))
	do(step(code(13), &medium.Trim{LengthMM: 500, WidthMM: 240, RemovesCuts: true}))
	do(step(code(4), &medium.Retire{Cause: medium.CauseLost, Note: "gone with a tray"}))
	do(step(code(5), &medium.Swab{Test: "Listeria spp.", Pass: false}))
	moved := settings
	moved.Zone, moved.Place = "America/Chicago", "shed 2"
	do(step("", &moved))
	a, err := s.Anchor()
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(frozenFolder, "anchor.txt"), []byte(a.String()+"\n"), 0o644))
	verifyClean(t, s)
	require.NoError(t, s.Close())
}

// The frozen ledger is worth something only if every kind of step is in it.
func TestFrozenLedgerHasEveryKind(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(frozenFolder, "steps.json"))
	require.NoError(t, err)
	var steps []struct {
		Kind medium.Kind `json:"kind"`
	}
	require.NoError(t, json.Unmarshal(b, &steps))
	seen := map[medium.Kind]bool{}
	for _, s := range steps {
		seen[s.Kind] = true
	}
	for _, k := range append(medium.Kinds(), medium.KindFarm, medium.KindPolicy, medium.KindCrop, medium.KindSanitizer) {
		require.True(t, seen[k], "no step of kind %s", k)
	}
}
