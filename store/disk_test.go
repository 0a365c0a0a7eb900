package store

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// A larger file than those whose every page is checked at opening, with a bit
// turned or its end cut off at random places: nothing panics, and unless
// opening or verify finds it, all that is in the file reads as before.
func TestRandomPlacesOfALargerFile(t *testing.T) {
	places := 24
	if testing.Short() {
		places = 12
	}
	if deep() {
		places = 400
	}
	path, c := closedLedger(t, 700)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Greater(t, len(whole), checkAtOpen)
	var all map[string]string
	var anchor Anchor
	withStore(t, path, c, func(s *Store) {
		all = dump(t, s)
		anchor, err = s.Anchor()
		require.NoError(t, err)
	})
	o := c.options()
	o.ReadOnly = true
	random := rand.New(rand.NewPCG(7, 7))
	outcome := map[string]int{}
	copied := filepath.Join(folder(t), "farm.resow")
	for i := range places {
		content := bytes.Clone(whole)
		what := ""
		if i%4 == 0 {
			n := random.IntN(len(whole))
			content, what = content[:n], fmt.Sprintf("cut to %d bytes", n)
		} else {
			n := random.IntN(len(whole))
			content[n] ^= 1 << random.IntN(8)
			what = fmt.Sprintf("a bit of byte %d", n)
		}
		require.NoError(t, os.WriteFile(copied, content, 0o600))
		outcome[openAndVerify(t, copied, o, &anchor, all, what)]++
	}
	require.Greater(t, outcome["found"]+outcome["*store.DamagedError"], places/4, "the file has room that is not used: %v", outcome)
	t.Logf("%d bytes, %d places: %v", len(whole), places, outcome)
}

// A bit turned in a record, at 200 random places: verify names the mat and the
// step.
func TestDamagedRecordIsNamed(t *testing.T) {
	path, c := closedLedger(t, 12)
	random := rand.New(rand.NewPCG(8, 8))
	withStore(t, path, c, func(s *Store) {
		s.db.NoSync = true
		records := stepBytes(t, s)
		keys := make([]string, 0, len(records))
		for k := range records {
			keys = append(keys, k)
		}
		for range 200 {
			key := keys[random.IntN(len(keys))]
			_, k := split(key)
			stored := []byte(records[key])
			stored[random.IntN(len(stored))] ^= 1 << random.IntN(8)
			tamper(t, s, func(put func(bucket, key string, value []byte)) { put("log", k, stored) })
			r, err := s.Verify(nil, nil)
			require.NoError(t, err)
			require.False(t, r.OK)
			h, _, _, err := headOf(positionOf(k), []byte(records[key]))
			require.NoError(t, err)
			mat, seq := h.Mat, h.MatSeq
			named := false
			for _, p := range r.Problems { // itself, or the step after it; the farm's thread has no numbers for its settings
				named = named || p.Code == mat && (p.Seq >= seq && p.Seq <= seq+1 || mat == medium.FarmThread)
			}
			require.True(t, named, "%s step %d: %+v", mat, seq, r.Problems)
			tamper(t, s, func(put func(bucket, key string, value []byte)) { put("log", k, []byte(records[key])) })
		}
		verifyClean(t, s)
	})
}

// A disk that is mounted for reading only: reading works, recording says what
// to do, and so do a backup and an import.
func TestReadOnlyDisk(t *testing.T) {
	path, c := closedLedger(t, 2)
	dir := t.TempDir()
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=8m", "resow-test", dir).CombinedOutput(); err != nil {
		t.Skipf("a disk can't be mounted here: %s", out)
	}
	t.Cleanup(func() { _ = exec.Command("umount", dir).Run() })
	on := filepath.Join(dir, "farm.resow")
	require.NoError(t, os.WriteFile(on, content, 0o600))
	if out, err := exec.Command("mount", "-o", "remount,ro", dir).CombinedOutput(); err != nil {
		t.Skipf("the disk can't be made read-only here: %s", out)
	}
	o := c.options()
	_, err = Open(on, o)
	require.ErrorContains(t, err, "read-only file system; look whether you may read and write it")
	o.ReadOnly = true
	s, err := Open(on, o)
	require.NoError(t, err)
	verifyClean(t, s)
	text := lines(t, s)
	require.NoError(t, s.Close())
	var write *WriteError
	_, err = BackUp(on, Backups{Dir: filepath.Join(dir, "backups")}, o)
	require.ErrorAs(t, err, &write)
	_, _, err = FromLines(filepath.Join(dir, "new.resow"), strings.NewReader(text), o)
	require.ErrorAs(t, err, &write)
	_, _, err = Restore(path, on, true, "ab", o)
	require.ErrorAs(t, err, &write)
	b, err := BackUp(on, Backups{Dir: t.TempDir()}, o)
	require.NoError(t, err, "to another disk")
	require.Equal(t, anchorAt(t, path, c), b.Anchor)
}

// The clock goes back by an hour, a day, ten years: nothing is refused that was
// done now, nothing gets a time before the mat's last step unnoticed, and the
// order of the records is that of the ledger.
func TestClockGoesBack(t *testing.T) {
	s, c := newStore(t)
	record(t, s, adds(1, 2)...)
	c.after(24 * time.Hour)
	record(t, s, step(code(1), &medium.Rinse{Debris: medium.DebrisNone}))
	for _, back := range []time.Duration{time.Hour, 24 * time.Hour, 10 * 365 * 24 * time.Hour} {
		c.now = start.Add(24*time.Hour - back)
		_, err := s.Record("", []medium.Step{step(code(1), &medium.Inspect{})})
		var late *medium.TimeError
		require.ErrorAs(t, err, &late, "back by %s", back)
		require.ErrorContains(t, err, "and the clock says")
		a, err := s.Anchor()
		require.NoError(t, err)
		require.Equal(t, uint64(4), a.Count)
		verifyClean(t, s)
	}
	c.now = start.Add(24 * time.Hour)
	got := record(t, s, step(code(1), &medium.Inspect{}))
	require.Equal(t, uint64(5), got[0].Seq)
	due, err := s.Due(c.now.AddDate(20, 0, 0), 0)
	require.NoError(t, err)
	require.Len(t, due, 2)
}

// Through both changes of daylight time of a zone, and over a leap day, steps
// five minutes apart keep their order, their times and the chain, and the due
// list follows time, not the clock on the wall. The dates are those of EU
// Directive 2000/84/EC (last Sundays of March and October, 01:00 UTC) and of the
// Gregorian calendar.
func TestDaylightTimeAndLeapDay(t *testing.T) {
	for name, at := range map[string]time.Time{
		"forward":                  time.Date(2026, 3, 29, 0, 30, 0, 0, time.UTC),
		"back":                     time.Date(2026, 10, 25, 0, 30, 0, 0, time.UTC),
		"leap day":                 time.Date(2028, 2, 28, 22, 45, 0, 0, time.UTC),
		"no leap day":              time.Date(2100, 2, 28, 22, 45, 0, 0, time.UTC),
		"end of the year":          time.Date(2026, 12, 31, 22, 30, 0, 0, time.UTC),
		"the day after a leap day": time.Date(2028, 2, 29, 22, 45, 0, 0, time.UTC),
	} {
		t.Run(name, func(t *testing.T) {
			s, c := newStore(t)
			s.db.NoSync = true
			c.now = at
			record(t, s, adds(1, 1)...)
			want := []time.Time{at}
			for i := range 20 {
				c.after(5 * time.Minute)
				body := medium.Body(&medium.Hold{Reason: "x"})
				if i%2 == 1 {
					body = &medium.Release{Reason: "y"}
				}
				record(t, s, step(code(1), body))
				want = append(want, c.now)
			}
			thread, err := s.Thread(code(1))
			require.NoError(t, err)
			for i, step := range thread {
				require.True(t, step.At.Equal(want[i]) && step.Recorded.Equal(want[i]), "%d: %s", i, step.At)
				require.False(t, step.Outcome.Late)
			}
			record(t, s, step("", &medium.FarmSettings{Name: "Dew Lane", Zone: "America/Chicago", Units: medium.US, Currency: "USD", Paper: "letter"}))
			again, err := s.Thread(code(1))
			require.NoError(t, err)
			require.Equal(t, thread, again, "another zone changes no record")
			due, err := s.Due(c.now.AddDate(1, 0, 0), 0)
			require.NoError(t, err)
			require.Len(t, due, 1)
		})
	}
}
