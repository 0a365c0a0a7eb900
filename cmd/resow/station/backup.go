package station

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"resow/cmd/resow/farm"
	"resow/store"
)

// Scheduled backups: a failed one is tried again sooner than the next is due.
const (
	leastBackupEvery = 10 * time.Minute
	mostBackupEvery  = 31 * 24 * time.Hour
	backupRetry      = 15 * time.Minute
	backupLook       = time.Minute
)

// backups is what became of the scheduled backups. It outlives the station, so
// that a farm that starts the station each morning still gets one a day.
type backups struct {
	path string

	mu   sync.Mutex
	note backupNote
}

// backupNote is the file.
type backupNote struct {
	Looked  time.Time `json:"looked_at"` // the last good one, or that nothing was new
	Made    time.Time `json:"made_at,omitzero"`
	File    string    `json:"file,omitempty"`
	Anchor  string    `json:"anchor,omitempty"`
	Records uint64    `json:"records,omitempty"`
	Tried   time.Time `json:"failed_at,omitzero"` // since the last good one
	Failed  string    `json:"failure,omitempty"`
}

func loadBackups(path string) *backups {
	b := &backups{path: path}
	if readJSONFile(path, &b.note) != nil {
		b.note = backupNote{} // a backup too many is no harm
	}
	return b
}

func (b *backups) get() backupNote {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.note
}

func (b *backups) set(n backupNote) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.note = n
	return writeJSONFile(b.path, n)
}

// next says when the next backup is due. A time that lies ahead was noted while
// the clock was wrong.
func (n backupNote) next(every time.Duration, now time.Time) time.Time {
	if n.Looked.After(now.Add(backupLook)) || n.Tried.After(now.Add(backupLook)) {
		return now
	}
	if n.Failed != "" {
		return n.Tried.Add(min(every, backupRetry))
	}
	return n.Looked.Add(every)
}

func (c Config) checkBackup() error {
	if c.BackupTo == "" {
		return nil
	}
	if c.BackupEvery < leastBackupEvery || c.BackupEvery > mostBackupEvery {
		return &ConfigError{fmt.Sprintf("--backup-every %s: want 10m to 744h", c.BackupEvery)}
	}
	if c.BackupKeep < 0 {
		return &ConfigError{fmt.Sprintf("--backup-keep %d: want 0 (keep all) or more", c.BackupKeep)}
	}
	return nil
}

// keepBackups makes backups until ctx ends.
func (s *Station) keepBackups(ctx context.Context) {
	if s.c.BackupTo == "" {
		return
	}
	for ctx.Err() == nil {
		wait := s.backups.get().next(s.c.BackupEvery, s.c.Now()).Sub(s.c.Now())
		if wait <= 0 {
			s.backUp()
			wait = backupLook
		}
		select {
		case <-ctx.Done():
		case <-time.After(min(wait, backupLook)): // the clock may be set meanwhile
		}
	}
}

// backUp makes one backup, unless nothing was recorded since the last, and notes
// what became of it. Whatever fails here, recording goes on.
func (s *Station) backUp() {
	note := s.backups.get()
	made, anchor, err := s.tryBackup(note)
	now := s.c.Now().UTC()
	switch {
	case errors.As(err, new(*ClosedError)):
		return
	case err != nil:
		if made != "" { // good, and on the disk; an older one could not be removed
			note = backupNote{Looked: now, Made: now, File: made, Anchor: anchor.String(), Records: anchor.Count}
		}
		note.Tried, note.Failed = now, err.Error()
		s.log.Printf("the scheduled backup failed: %v", err)
	case made == "":
		note.Looked, note.Tried, note.Failed = now, time.Time{}, ""
	default:
		note = backupNote{Looked: now, Made: now, File: made, Anchor: anchor.String(), Records: anchor.Count}
	}
	if err := s.backups.set(note); err != nil {
		s.log.Printf("what became of the backup can't be noted: %v", err)
	}
}

// tryBackup gives no file where the last one still holds all.
func (s *Station) tryBackup(note backupNote) (made string, anchor store.Anchor, err error) {
	defer recovered(&err)
	err = s.door.read(func(v *farm.Farm) (err error) {
		anchor, err = v.Anchor()
		return err
	})
	if err != nil {
		return "", anchor, err
	}
	if note.Anchor == anchor.String() && note.Records == anchor.Count {
		if _, err := os.Stat(filepath.Join(s.c.BackupTo, note.File)); err == nil {
			return "", anchor, nil
		}
	}
	to := store.Backups{Dir: s.c.BackupTo, Keep: s.c.BackupKeep}
	done, err := store.BackUp(s.c.Store, to, store.Options{Now: s.c.Now, Random: s.c.Random})
	if done.Path == "" && err == nil {
		err = errors.New("no file was made")
	}
	if done.Path == "" {
		return "", anchor, err
	}
	for _, note := range done.Notes() {
		s.log.Print(note)
	}
	return filepath.Base(done.Path), done.Anchor, err
}

type statusPage struct {
	frame
	Address, Local string
	TLS            bool
	Records        uint64
	Anchor         string
	Queue          int
	Devices        int
	Steps, Refused int64
	Scheduled      bool
	Every          string
	Keep           int
	Backup         backupNote
	MadeAt         string
	NextAt         string
	TriedAt        string
}

// statusPage shows how the station does.
func (v *visit) statusPage(f *farm.Farm) (filling, error) {
	anchor, err := f.Anchor()
	note := v.backups.get()
	return &statusPage{frame: frame{Live: true}, Address: v.address, Local: v.localName, TLS: v.tls,
		Records: anchor.Count, Anchor: anchor.String(), Queue: v.door.length(), Devices: len(v.people.list()),
		Steps: v.counts.steps.Load(), Refused: v.counts.refused.Load(), Scheduled: v.c.BackupTo != "",
		Every: fmt.Sprintf("%.3g h", v.c.BackupEvery.Hours()), Keep: v.c.BackupKeep, Backup: note,
		MadeAt: f.Stamp(note.Made), TriedAt: f.Stamp(note.Tried), NextAt: f.Stamp(note.next(v.c.BackupEvery, v.c.Now()))}, err
}
