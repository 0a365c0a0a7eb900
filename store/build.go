package store

import (
	"errors"
	"fmt"
	"iter"
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
	n    int     // records so far
	fill float64 // how full pages are made: 1 where records come in the order of their keys
}

// buildBatch is how many records are written in one transaction. buildAlloc is
// by how many bytes the file grows: what is left of the last growth stays in it.
const (
	buildBatch = 20000
	buildMats  = 5000 // whose conditions and indexes are written in one
	buildAlloc = 1 << 20
)

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
	b := &builder{path: path, temp: temp, o: o, fill: 1}
	// nothing reads the file before close, which makes it durable as a whole
	b.db, err = bbolt.Open(temp, 0o600, &bbolt.Options{Timeout: time.Second, NoSync: true, FreelistType: bbolt.FreelistMapType})
	if err != nil {
		return nil, &WriteError{Path: temp, Err: err}
	}
	b.db.AllocSize = buildAlloc
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
	meta := b.tx.Bucket(bucketMeta)
	if err := errors.Join(meta.Put(keyIdentity, made), putFormat(meta, made, o)); err != nil {
		b.abandon()
		return nil, &WriteError{Path: temp, Err: err}
	}
	return b, nil
}

// put takes one record as it is stored.
func (b *builder) put(mat medium.Code, matSeq uint64, stored []byte) error {
	steps := b.tx.Bucket(bucketSteps)
	steps.FillPercent = b.fill
	if err := steps.Put(stepKey(mat, matSeq), stored); err != nil {
		return &WriteError{Path: b.temp, Err: err}
	}
	if b.n++; b.n%buildBatch != 0 {
		return nil
	}
	_, err := b.commit()
	return err
}

// commit ends a transaction and begins the next.
func (b *builder) commit() (*bbolt.Tx, error) {
	err := b.tx.Commit()
	b.tx = nil
	if err == nil {
		b.tx, err = b.db.Begin(true)
	}
	if err != nil {
		return nil, &WriteError{Path: b.temp, Err: err}
	}
	return b.tx, nil
}

// finish derives what is derived, closes the file and holds all against all.
func (b *builder) finish(count uint64, head []byte, want Anchor) error {
	defer b.abandon()
	if err := put(b.tx.Bucket(bucketMeta), keyLedger, &ledger{Count: count, Head: head}); err != nil {
		return err
	}
	if _, err := rebuildIn(b.tx, buildMats, b.commit); err != nil {
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

// Load makes a store at path from steps that were admitted elsewhere, in the
// order that the ledger will have; within a mat that is the order of its thread.
// Seq and MatSeq are counted anew; nothing else is changed, added or refused by
// today's rules. The first steps are the farm's own. What is derived is derived
// from the file, and all of it is held against all before it gets its name.
func Load(path string, steps iter.Seq2[medium.Step, error], o Options) (Anchor, error) {
	o = o.withDefaults()
	if _, err := os.Lstat(path); err == nil {
		return Anchor{}, &ExistsError{Path: path}
	}
	made, err := newIdentity(o)
	if err != nil {
		return Anchor{}, err
	}
	b, err := newBuilder(path, made, o)
	if err != nil {
		return Anchor{}, err
	}
	defer b.abandon()
	head, count, ends := genesis(made), uint64(0), map[medium.Code]threadEnd{}
	for s, err := range steps {
		if err != nil {
			return Anchor{}, err
		}
		if s.Mat != medium.FarmThread {
			if err := checkCode(s.Mat); err != nil {
				return Anchor{}, err
			}
		}
		count++
		end := ends[s.Mat]
		s.Seq, s.MatSeq = count, end.seq+1
		stored, err := writeStep(s, end.hash) // finish reads all of them
		if err != nil {
			return Anchor{}, err
		}
		if err := b.put(s.Mat, s.MatSeq, stored); err != nil {
			return Anchor{}, err
		}
		h := recordHash(stored)
		head = head.next(s.Mat, h)
		ends[s.Mat] = threadEnd{s.MatSeq, h[:]}
	}
	anchor := anchorOf(count, head)
	return anchor, b.finish(count, head[:], anchor)
}
