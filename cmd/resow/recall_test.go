package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"iter"
	"math/rand/v2"
	"os"
	"os/exec"
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

var recallDay = time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)

// recallFarm makes a farm of n mats, all but the last ten of one seed lot: of
// those two are on hold and one is retired.
func recallFarm(t *testing.T, n int) (path string, codes []medium.Code) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "farm.resow")
	random := rand.NewChaCha8([32]byte{7})
	seen := map[medium.Code]bool{}
	for len(codes) < n {
		text, err := labels.NewCode('T', random)
		require.NoError(t, err)
		if code := medium.Code(text); !seen[code] {
			seen[code] = true
			codes = append(codes, code)
		}
	}
	slices.Sort(codes)
	_, err := store.Load(path, recallSteps(codes), store.Options{Random: random, Now: func() time.Time { return recallDay }})
	require.NoError(t, err)
	return path, codes
}

func recallSteps(codes []medium.Code) iter.Seq2[medium.Step, error] {
	return func(yield func(medium.Step, error) bool) {
		settings := medium.FarmSettings{Name: "Reed End Greens", Zone: "UTC", Units: medium.Metric, Paper: "a4", Currency: "EUR"}
		drum := medium.Sanitizer{Name: "drum", Active: "hypochlorite", Stock: "5.25 %", Directions: medium.DirectionsLabel,
			MinPPM: 50, MaxPPM: 200, ContactS: 60, Note: "trial"}
		var farm medium.Farm
		for _, b := range []medium.Body{&settings, &drum} {
			s, err := medium.AdmitFarm(farm, medium.Step{By: "MK", Body: b}, recallDay.Add(-201*time.Hour)) // before its first use
			farm = farm.Apply(s)
			if !yield(s, err) {
				return
			}
		}
		for i, code := range codes {
			lot, seed := fmt.Sprintf("L%03d", i/100), "S7"
			if i >= len(codes)-10 {
				lot, seed = "other", "S9"
			}
			temp, ph := 20.0, 6.5
			life := []medium.Body{
				&medium.Add{Mat: medium.Mat{Form: medium.FormMat, LengthMM: 510, WidthMM: 250, Material: "polyester", ApertureMM: 0.5, ThreadMM: 0.3, Layers: 1}},
				&medium.Rinse{Debris: medium.DebrisNone}, &medium.Dry{Where: medium.DryAir, DurationS: 14400},
				&medium.Sanitize{Product: "drum", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "soak", TempC: &temp, PH: &ph},
				&medium.Dry{Where: medium.DryAir, DurationS: 14400},
				&medium.Sow{Crops: []medium.Sown{{Crop: "radish", SeedG: 40}}, Lot: lot, SeedLot: seed},
			}
			switch i {
			case 3, 4:
				life = append(life, &medium.Hold{Reason: "a doubt"})
			case 5:
				life = append(life, &medium.Retire{Cause: medium.CauseLost})
			}
			var c medium.Condition
			for k, b := range life {
				at := recallDay.Add(time.Duration(5*k-200) * time.Hour)
				s, err := medium.Admit(c, farm, medium.Step{Mat: code, By: "MK", Body: b}, at)
				c = c.Apply(s)
				if !yield(s, err) || err != nil {
					return
				}
			}
		}
	}
}

// holdsIn counts, of the mats of the recalled seed lot, those on hold for the
// reason, and fails where one has it twice.
func holdsIn(t *testing.T, path, reason string) (held int) {
	t.Helper()
	s, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	per := map[medium.Code]int{}
	require.NoError(t, s.Steps(func(step medium.Step) error {
		if b, ok := step.Body.(*medium.Hold); ok && b.Reason == reason {
			per[step.Mat]++
		}
		return nil
	}, medium.KindHold))
	for code, n := range per {
		require.Equal(t, 1, n, "%s is held %d times for one recall", code, n)
		c, err := s.Condition(code)
		require.NoError(t, err)
		require.True(t, c.IsHeldFor(reason))
	}
	return len(per)
}

type held struct {
	Held    []medium.Code
	Before  int `json:"held_before"`
	Added   int `json:"reason_added"`
	Retired int
	Others  bool `json:"recorded_meanwhile"`
}

func recall(t *testing.T, path string, args ...string) (out held, stderr string, code int) {
	t.Helper()
	w, text, errs := deadWorld(recallDay)
	w.waiter = func() waiter { return waiter{wait: func(time.Duration) bool { return false }, stop: func() {}} }
	code = run(append([]string{"trace", "S7", "--as", "seed-lot", "--store", path, "--json"}, args...), w)
	require.NoError(t, json.Unmarshal(text.Bytes(), &out), errs.String())
	return out, errs.String(), code
}

// A recall of more mats than one request takes is held, killed on the way, and
// held to its end by a second run.
func TestRecallOfAnySize(t *testing.T) {
	const reason = "recall of S7"
	mats := 3 * holdBatch
	if os.Getenv("RESOW_DEEP") == "1" {
		mats = 2*store.MaxSteps + 500
	}
	path, _ := recallFarm(t, mats)
	want := mats - 10 - 1 // another seed lot, and the retired one

	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	killed, wait := 0, 10*time.Millisecond
	for range 20 { // on a busy machine it can be too early or too late
		killWriting(t, path, wait, "trace", "S7", "--as", "seed-lot", "--hold", reason, "--by", "MK")
		if killed = holdsIn(t, path, reason); killed == 0 {
			wait *= 2
		}
		if killed == want {
			wait /= 3
			require.NoError(t, os.WriteFile(path, whole, 0o600))
			continue
		}
		if killed > 0 {
			break
		}
	}
	require.Greater(t, killed, 0)
	require.Less(t, killed, want)
	require.Contains(t, []int{0, holdBatch - 1}, killed%holdBatch, "each act is whole") // the retired one is in the first

	out, errs, code := recall(t, path, "--hold", reason, "--by", "MK")
	require.Equal(t, 0, code, errs)
	require.Equal(t, want, holdsIn(t, path, reason))
	require.Equal(t, want-killed, len(out.Held))
	require.Equal(t, killed, out.Before)
	require.Equal(t, 1, out.Retired)
	require.False(t, out.Others)
	t.Logf("killed after %d of %d", killed, want)

	out, errs, code = recall(t, path, "--hold", reason, "--by", "MK")
	require.Equal(t, 0, code, errs)
	require.Empty(t, out.Held)
	require.Equal(t, want, out.Before)
	require.Zero(t, out.Added)
}

// killWriting runs the program and kills it a moment after its ledger changed.
func killWriting(t *testing.T, path string, wait time.Duration, args ...string) {
	t.Helper()
	program := filepath.Join(t.TempDir(), "resow") // this binary, as the scripts call it
	require.NoError(t, os.Symlink(os.Args[0], program))
	cmd := exec.Command(program, append(args, "--store", path)...)
	cmd.Env = append(os.Environ(), "RESOW_TEST_NOW="+recallDay.Format(time.RFC3339))
	begun, err := os.Stat(path)
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	for end := time.Now().Add(time.Minute); time.Now().Before(end); time.Sleep(time.Millisecond) {
		now, err := os.Stat(path)
		require.NoError(t, err)
		if !now.ModTime().Equal(begun.ModTime()) {
			break
		}
	}
	time.Sleep(wait)
	_ = cmd.Process.Kill() // it may have ended
	_ = cmd.Wait()
}

func TestRecallIsCounted(t *testing.T) {
	path, codes := recallFarm(t, holdBatch+60)
	for _, bad := range [][]string{{"--hold", "x"}, {"--hold", strings.Repeat("x", 501), "--by", "MK"}} {
		w, _, errs := deadWorld(recallDay)
		require.Equal(t, exitUsage, run(append([]string{"trace", "S7", "--store", path}, bad...), w), errs.String())
	}

	w, out, errs := deadWorld(recallDay)
	asked := 0
	w.waiter = func() waiter {
		return waiter{wait: func(time.Duration) bool { asked++; return true }, stop: func() {}}
	}
	require.Equal(t, exitFailed, run([]string{"trace", "S7", "--store", path, "--hold", "recall", "--by", "MK"}, w))
	require.Empty(t, out.String())
	require.Equal(t, "resow: put on hold 997 mats; not reached yet: 50; stopped by Ctrl-C; run the same command again: it holds the rest\n", errs.String())
	require.Equal(t, 1, asked)

	// two were on hold for a doubt: the recall's reason is added, so that nobody
	// releases them for the doubt alone
	w, out, errs = deadWorld(recallDay)
	w.waiter = func() waiter { return waiter{wait: func(time.Duration) bool { return false }, stop: func() {}} }
	require.Equal(t, 0, run([]string{"trace", "S7", "--store", path, "--hold", "recall", "--by", "MK"}, w), errs.String())
	require.Contains(t, saidOf(out), "ON HOLD: 50 mats, \"recall\".\nOn hold before: 999. Retired, and so not held: 1.\n")
	require.NotContains(t, saidOf(out), "Others recorded")
	s, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	c, err := s.Condition(codes[3])
	require.NoError(t, err)
	require.Equal(t, "a doubt; recall", c.HeldFor)
	require.NoError(t, s.Close())

	out2, _, code := recall(t, path, "--hold", "second recall", "--by", "MK")
	require.Equal(t, 0, code)
	require.Empty(t, out2.Held)
	require.Equal(t, 1049, out2.Before)
	require.Equal(t, 1049, out2.Added)
	require.False(t, out2.Others, "the steps were its own")
}

// saidOf is what a hold says behind the lists of mats.
func saidOf(out *bytes.Buffer) string {
	return out.String()[max(0, strings.LastIndex(out.String(), "ON HOLD")):]
}

// Others record between two batches: what they did is taken as it stands then,
// and it is said that a mat may have come in.
func TestRecallBesideOthers(t *testing.T) {
	path, codes := recallFarm(t, holdBatch+60)
	w, out, errs := deadWorld(recallDay)
	w.waiter = func() waiter {
		return waiter{wait: func(time.Duration) bool {
			s, err := store.Open(path, store.Options{Now: func() time.Time { return recallDay }})
			require.NoError(t, err)
			_, err = s.Record("", []medium.Step{{Mat: codes[holdBatch+10], By: "AB", Body: &medium.Retire{Cause: medium.CauseCut}},
				{Mat: codes[holdBatch+11], By: "AB", Body: &medium.Hold{Reason: "torn"}}})
			require.NoError(t, err)
			require.NoError(t, s.Close())
			return false
		}, stop: func() {}}
	}
	require.Equal(t, 0, run([]string{"trace", "S7", "--store", path, "--hold", "recall", "--by", "MK"}, w), errs.String())
	require.Contains(t, saidOf(out), "ON HOLD: 1045 mats, \"recall\".\n"+
		"On hold before: 3. Of those for something else: 3; this reason was added.\n  Retired, and so not held: 2.\n"+
		"Others recorded steps meanwhile; run the same command once more, to be sure\n  that it has every mat.\n")
}
