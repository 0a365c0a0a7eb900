package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/store"
)

// What `export --csv` writes comes back in: a ledger that begins anew has the
// same mats with the same histories, each step judged and written down as it was.
func TestOwnTablesComeBackIn(t *testing.T) {
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	dir := t.TempDir()
	demoOutput(t, dir, now)
	old, again, tables := filepath.Join(dir, demoFiles.store), filepath.Join(dir, "again.resow"), filepath.Join(dir, "tables")
	do := func(args ...string) string {
		t.Helper()
		w, out, errs := deadWorld(now)
		require.Equal(t, 0, run(args, w), "%v: %s %s", args, out, errs)
		return out.String()
	}
	for mat, steps := range histories(t, old) { // a void step, and one with a text that a spreadsheet would run
		if len(steps) > 3 && !strings.Contains(steps[len(steps)-1], `"retire"`) {
			do("mold", string(mat), "--where", "edge", "--at", "2026-11-05 09:00", "--store", old, "--by", "MK")
			do("hold", string(mat), "--reason", "=doubt", "--store", old, "--by", "MK")
			do("correct", string(mat), strconv.Itoa(len(steps)+2), "--reason", "another mat", "--store", old, "--by", "MK")
			break
		}
	}
	do("export", "--csv", tables, "--store", old)
	molds, err := os.ReadFile(filepath.Join(tables, "mold.csv"))
	require.NoError(t, err)
	require.Contains(t, string(molds), ",2026-11-05T09:00:00Z,", "a report that was seen before the mat's last step")
	do("init", "--name", "Reed End Greens", "--zone", "Europe/Dublin", "--store", again, "--by", "MK")
	do("import", tables, "--store", again, "--by", "MK")
	require.Contains(t, do("import", tables, "--store", again, "--by", "MK", "--apply"), "Recorded.")
	want, got := histories(t, old), histories(t, again)
	require.Greater(t, len(want), 60)
	require.Len(t, got, len(want))
	for mat, steps := range want {
		require.Equal(t, steps, got[mat], mat)
	}
	require.Contains(t, do("import", tables, "--store", again, "--by", "MK", "--apply"), "every row was imported before")
	do("verify", "--store", again)
}

// histories gives what happened to each mat, but for the request that recorded it.
func histories(t *testing.T, path string) map[medium.Code][]string {
	t.Helper()
	s, err := store.Open(path, store.Options{ReadOnly: true})
	require.NoError(t, err)
	defer s.Close()
	all := map[medium.Code][]string{}
	require.NoError(t, s.Conditions(func(c medium.Condition) error { all[c.Code] = nil; return nil }))
	for mat := range all {
		thread, err := s.Thread(mat)
		require.NoError(t, err)
		for _, step := range thread {
			step.Token = ""
			line, err := json.Marshal(step)
			require.NoError(t, err)
			all[mat] = append(all[mat], string(line))
		}
	}
	return all
}
