package station

import (
	"net/http"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/store"
)

func madeBackups(t *testing.T, dir string) []string {
	names, err := filepath.Glob(filepath.Join(dir, "*.backup"))
	require.NoError(t, err)
	return names
}

func TestScheduledBackups(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "stick")
	s, _ := start(t, func(c *Config) { c.BackupTo, c.BackupEvery, c.BackupKeep = dir, time.Hour, 2 })
	require.Eventually(t, func() bool { return s.backups.get().File != "" }, time.Minute, 10*time.Millisecond, "the first is made at the start")
	first := madeBackups(t, dir)
	require.Len(t, first, 1)
	p := s.paired(t, Supervisor, "SV")
	page := p.get("/status").body
	has(t, page, filepath.Base(first[0]))
	has(t, page, "25 Nov 10:00", "the next")

	// nothing new: no file, and no older one is pushed out
	s.clock.forward(time.Hour)
	s.backUp()
	require.Equal(t, first, madeBackups(t, dir))
	require.Equal(t, s.clock.Now().Add(time.Hour), s.backups.get().next(time.Hour, s.clock.Now()))
	require.Equal(t, s.clock.Now().AddDate(-1, 0, 0), s.backups.get().next(time.Hour, s.clock.Now().AddDate(-1, 0, 0)), "noted while the clock was ahead")

	mat := s.inStage(t, medium.Growing)[0]
	for range 3 {
		require.NoError(t, mist(s, mat, 10)())
		s.clock.forward(time.Hour)
		s.backUp()
	}
	kept := madeBackups(t, dir)
	require.Len(t, kept, 2, "the oldest are removed")
	newest, err := store.Open(kept[1], store.Options{ReadOnly: true})
	require.NoError(t, err)
	a, err := newest.Anchor()
	require.NoError(t, err)
	require.Equal(t, s.anchorText(t), a.String())
	require.NoError(t, newest.Close())
	require.NoError(t, os.Remove(kept[1]))
	s.backUp()
	require.Len(t, madeBackups(t, dir), 2, "one that was taken away is made again")

	// the station that is started again knows when it made the last
	again := loadBackups(s.backups.path)
	require.Equal(t, s.backups.get(), again.get())
}

func TestFailedBackupDoesNotStopRecording(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "file")
	require.NoError(t, os.WriteFile(dir, nil, 0o600)) // no folder can be made there
	s, log := start(t, func(c *Config) { c.BackupTo, c.BackupEvery = dir, 24*time.Hour })
	require.Eventually(t, func() bool { return s.backups.get().Failed != "" }, time.Minute, 10*time.Millisecond)
	require.Contains(t, log.String(), "the scheduled backup failed")
	require.Equal(t, today.Add(backupRetry), s.backups.get().next(24*time.Hour, today), "it is tried again soon")
	boss, worker := s.paired(t, Supervisor, "SV"), s.paired(t, Operator, "MK")
	has(t, boss.get("/status").body, dir)
	has(t, boss.get("/").body, "The last backup failed")
	hasNot(t, worker.get("/status").body, dir, "no paths on a phone")
	has(t, worker.get("/status").body, "failed")
	hasNot(t, worker.get("/").body, "The last backup failed")
	mat := s.inStage(t, medium.Growing)[0]
	require.Equal(t, http.StatusSeeOther, worker.record(mat, medium.KindMist, map[string][]string{"water": {"100"}}).status)
	require.NoError(t, os.Remove(dir))
	s.clock.forward(backupRetry)
	s.backUp()
	require.Empty(t, s.backups.get().Failed)
	hasNot(t, boss.get("/").body, "The last backup failed")
}

func TestBackupSettings(t *testing.T) {
	for _, bad := range []Config{{BackupTo: "x", BackupEvery: time.Minute}, {BackupTo: "x", BackupEvery: 1000 * time.Hour}, {BackupTo: "x", BackupEvery: time.Hour, BackupKeep: -1}} {
		require.True(t, as[*ConfigError](bad.checkBackup()))
	}
	require.NoError(t, Config{}.checkBackup())
}
