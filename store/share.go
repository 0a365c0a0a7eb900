package store

import (
	"errors"
	"sync"
	"time"

	"go.etcd.io/bbolt"
)

// A store that is only read holds the file for a moment at a time, so that no export,
// report or verify keeps anybody from recording: after holdMost it is let go of, and
// the next who reads takes it again, restMost later at the earliest, which is longer
// than a pause of those who wait for it.
const (
	holdMost = 20 * time.Millisecond
	restMost = 3 * lockStep
)

// share is the turn of a store that is only read.
type share struct {
	on    bool // from the end of Open on, where it is not written to nor kept
	mu    sync.RWMutex
	since time.Time // when the file was taken
	left  time.Time // when it was let go of; zero: it is held
	timer *time.Timer
	noted uint64 // records when the file was opened first
	last  hash   // of the last of them
}

// held runs f while the file is held.
func (s *Store) held(f func() error) error {
	if !s.share.on {
		return f()
	}
	if err := s.take(); err != nil {
		return err
	}
	defer s.rest()
	defer s.share.mu.RUnlock()
	return f()
}

// take takes the file again where it was let go of, and leaves it to be read.
func (s *Store) take() error {
	for {
		s.share.mu.RLock()
		if s.share.left.IsZero() {
			return nil
		}
		s.share.mu.RUnlock()
		s.share.mu.Lock()
		err := s.again()
		s.share.mu.Unlock()
		if err != nil {
			return err
		}
	}
}

// again opens the file again. It must be the same ledger, with the same records up to
// where it was when it was opened first.
func (s *Store) again() error {
	if s.share.left.IsZero() {
		return nil
	}
	if damaged := s.broken.Load(); damaged != nil {
		return damaged
	}
	time.Sleep(restMost - time.Since(s.share.left))
	unseen := s.unseen
	if err := s.open(); err != nil {
		return err
	}
	s.unseen = unseen
	s.share.left = time.Time{}
	s.begun()
	err := s.guard(func() error { return s.db.View(s.sameAsNoted) })
	var damaged *DamagedError
	if errors.As(err, &damaged) {
		s.broken.Store(damaged)
	}
	return err
}

// note keeps where the ledger is when it is opened.
func (s *Store) note(tx *bbolt.Tx) {
	l, _, _ := readLedger(tx) // what is wrong with it shows where it is read
	s.share.noted, s.share.last = l.Count, recordHash(tx.Bucket(bucketLog).Get(logKey(l.Count)))
}

func (s *Store) sameAsNoted(tx *bbolt.Tx) error {
	meta, log := tx.Bucket(bucketMeta), tx.Bucket(bucketLog)
	if meta == nil || log == nil || genesis(meta.Get(keyIdentity)) != s.genesis ||
		recordHash(log.Get(logKey(s.share.noted))) != s.share.last {
		return &DamagedError{Path: s.path,
			Why: "another ledger, or another copy of it, was put in its place while it was read"}
	}
	return nil
}

// shared gives a store that was opened, known by what it noted of the ledger.
func (s *Store) shared() *Store {
	s.share.on = s.o.ReadOnly && !s.o.keep
	s.begun()
	return s
}

// begun starts the turn of a store that has taken its file.
func (s *Store) begun() {
	if !s.share.on {
		return
	}
	s.share.since = time.Now()
	s.share.timer = time.AfterFunc(holdMost, s.rest) // also where nobody reads any more
}

// rest lets go of the file where it was held long enough.
func (s *Store) rest() {
	sh := &s.share
	sh.mu.RLock()
	due := sh.left.IsZero() && time.Since(sh.since) >= holdMost
	sh.mu.RUnlock()
	if !due {
		return
	}
	sh.mu.Lock()
	defer sh.mu.Unlock()
	if sh.left.IsZero() && time.Since(sh.since) >= holdMost && s.broken.Load() == nil && s.db != nil {
		_ = s.db.Close()
		s.db, s.file, sh.left = nil, nil, time.Now()
	}
}
