package store

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// builder makes a store again from records that were admitted long ago: those
// of an export or of another file. It writes beside the place where the store
// will stand; the store gets its name when all of it was verified.
type builder struct {
	path string
	temp string
	o    Options
	db   *bbolt.DB
	tx   *bbolt.Tx
	n    int // records in the transaction under way
}

// buildBatch is how many records are written in one transaction.
const buildBatch = 5000

func newBuilder(path string, made []byte, o Options) (*builder, error) {
	temp := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.%d.new", filepath.Base(path), os.Getpid()))
	if err := os.Remove(temp); err != nil && !os.IsNotExist(err) { // left by a run that died
		return nil, &WriteError{Path: temp, Err: err}
	}
	f, err := os.OpenFile(temp, os.O_CREATE|os.O_EXCL|os.O_RDWR, 0o600)
	if err != nil {
		return nil, &WriteError{Path: temp, Err: err}
	}
	if err := f.Close(); err != nil {
		return nil, &WriteError{Path: temp, Err: err}
	}
	b := &builder{path: path, temp: temp, o: o}
	// nothing reads the file before close, which makes it durable as a whole
	b.db, err = bbolt.Open(temp, 0o600, &bbolt.Options{Timeout: time.Second, NoSync: true, FreelistType: bbolt.FreelistMapType})
	if err != nil {
		return nil, &WriteError{Path: temp, Err: err}
	}
	if b.tx, err = b.db.Begin(true); err != nil {
		b.abandon()
		return nil, &WriteError{Path: temp, Err: err}
	}
	for _, name := range buckets {
		if _, err := b.tx.CreateBucket(name); err != nil {
			b.abandon()
			return nil, &WriteError{Path: temp, Err: err}
		}
	}
	if err := b.tx.Bucket(bucketMeta).Put(keyIdentity, made); err != nil {
		b.abandon()
		return nil, &WriteError{Path: temp, Err: err}
	}
	return b, nil
}

// put takes one record as it is stored.
func (b *builder) put(mat medium.Code, matSeq uint64, stored []byte) error {
	if err := b.tx.Bucket(bucketSteps).Put(stepKey(mat, matSeq), stored); err != nil {
		return &WriteError{Path: b.temp, Err: err}
	}
	if b.n++; b.n%buildBatch != 0 {
		return nil
	}
	if err := b.tx.Commit(); err != nil {
		return &WriteError{Path: b.temp, Err: err}
	}
	tx, err := b.db.Begin(true)
	if err != nil {
		return &WriteError{Path: b.temp, Err: err}
	}
	b.tx = tx
	return nil
}

// finish derives what is derived, closes the file and holds all against all.
func (b *builder) finish(count uint64, head []byte, want Anchor) error {
	defer b.abandon()
	if err := put(b.tx.Bucket(bucketMeta), keyLedger, &ledger{Count: count, Head: head}); err != nil {
		return err
	}
	if err := rebuildViews(b.tx); err != nil {
		return err
	}
	if err := b.tx.Commit(); err != nil {
		return &WriteError{Path: b.temp, Err: err}
	}
	b.tx = nil
	if err := b.db.Sync(); err != nil {
		return &WriteError{Path: b.temp, Err: err}
	}
	if err := b.db.Close(); err != nil {
		return &WriteError{Path: b.temp, Err: err}
	}
	b.db = nil
	if err := verifyFile(b.temp, want, b.o); err != nil {
		return err
	}
	return rename(b.temp, b.path)
}

// abandon lets go of everything and leaves no file. After finish it does
// nothing.
func (b *builder) abandon() {
	if b.tx != nil {
		_ = b.tx.Rollback()
		b.tx = nil
	}
	if b.db != nil {
		_ = b.db.Close()
		b.db = nil
	}
	_ = os.Remove(b.temp)
}

// verifyFile opens a file and holds all of it against all, and against an anchor.
func verifyFile(path string, want Anchor, o Options) error {
	o.ReadOnly = true
	s, err := Open(path, o)
	if err != nil {
		return err
	}
	defer s.Close()
	r, err := s.Verify(nil, &want)
	if err != nil {
		return err
	}
	now, err := s.Anchor()
	if err != nil {
		return err
	}
	if !r.OK {
		return &UnsoundError{Path: path, Problems: r.Problems}
	}
	if now != want {
		return &UnsoundError{Path: path, Problems: []Problem{{Text: fmt.Sprintf("its anchor is %s, it must be %s", now, want)}}}
	}
	return nil
}
