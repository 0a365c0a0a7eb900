package store

import (
	"fmt"
	"iter"
	"os"
	"sync/atomic"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// builder makes a store again from records that were admitted long ago: those
// of an export or of another file. It writes beside the place where the store
// will stand; the store gets its name when all of it was verified.
type builder struct {
	path  string
	temp  string
	o     Options
	db    *bbolt.DB
	tx    *bbolt.Tx
	n     int    // records in the transaction
	count uint64 // records in all
	head  hash
	threads

	batch   [][]byte      // records that wait
	batches chan [][]byte // to the writer, which alone has tx until it is closed
	written chan struct{} // closed when the writer has ended
	failed  atomic.Bool   // the writer has stopped
	err     error         // why; read it when the writer has ended
}

// putBatch is how many records are handed to the writer at once, buildBatch is
// how many records or entries are written in one transaction.
const (
	putBatch   = 1000
	buildBatch = 20000
)

func newBuilder(path string, made []byte, o Options) (*builder, error) {
	f, err := begin(path)
	if err != nil {
		return nil, err
	}
	b := &builder{path: path, temp: f.Name(), o: o, head: genesis(made), threads: newThreads()}
	// nothing reads the file before seal, which makes it durable as a whole
	b.db, err = bbolt.Open(b.temp, 0o600,
		&bbolt.Options{Timeout: time.Second, NoSync: true, FreelistType: bbolt.FreelistMapType, OpenFile: opened(f)})
	if err != nil {
		f.Close()
		_ = os.Remove(b.temp) // a disk that is too full even for an empty one
		return nil, &WriteError{Path: b.temp, Err: err}
	}
	b.db.AllocSize = growBy
	if b.tx, err = b.db.Begin(true); err == nil {
		err = makeParts(b.tx, made)
	}
	if err != nil {
		b.abandon()
		return nil, &WriteError{Path: b.temp, Err: err}
	}
	b.batches, b.written = make(chan [][]byte, 4), make(chan struct{})
	go b.write()
	return b, nil
}

// end is the last record of a mat so far.
func (b *builder) end(mat medium.Code) tail {
	t := b.ends[mat]
	t.mat = mat
	return t
}

// put takes the next record of a mat as it is stored. It is written beside the work
// on the next ones; what goes wrong shows at a later call.
func (b *builder) put(mat medium.Code, token string, stored []byte) error {
	b.count++
	b.head = b.head.next(stored)
	b.add(mat, token, b.count, stored)
	b.batch = append(b.batch, stored)
	if len(b.batch) < putBatch {
		return nil
	}
	b.batches <- b.batch
	b.batch = make([][]byte, 0, putBatch)
	if b.failed.Load() {
		return b.settle()
	}
	return nil
}

// settle waits until all that was put is written.
func (b *builder) settle() error {
	if b.batches == nil {
		return b.err
	}
	b.batches <- b.batch
	close(b.batches)
	<-b.written
	b.batch, b.batches = nil, nil
	return b.err
}

func (b *builder) write() {
	defer close(b.written)
	position := uint64(0)
	for batch := range b.batches {
		if b.err == nil {
			b.err = b.putAll(batch, position)
		}
		position += uint64(len(batch))
		b.failed.Store(b.err != nil)
	}
}

func (b *builder) putAll(batch [][]byte, after uint64) error {
	log := b.tx.Bucket(bucketLog)
	for i, stored := range batch {
		if err := appendTo(log, after+uint64(i)+1, stored); err != nil {
			return &WriteError{Path: b.temp, Err: err}
		}
	}
	if b.n += len(batch); b.n < buildBatch {
		return nil
	}
	b.n = 0
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

func (b *builder) anchor() Anchor { return anchorOf(b.count, b.head) }

// seal derives what is derived, closes the file, and holds it against what was
// written: every page, every record against the anchor, and every view against its
// sums. It has no name yet.
func (b *builder) seal() error {
	if err := b.settle(); err != nil {
		return err
	}
	if err := put(b.tx.Bucket(bucketMeta), keyLedger, &ledger{Count: b.count, Head: b.head[:]}); err != nil {
		return err
	}
	if _, err := b.commit(); err != nil { // what follows is read from what is there
		return err
	}
	s := &Store{path: b.temp, o: b.o, db: b.db, genesis: genesis(b.tx.Bucket(bucketMeta).Get(keyIdentity))}
	err := s.guard(func() error {
		_, err := s.rebuildIn(b.tx, b.threads, buildBatch, b.commit)
		return err
	})
	if err != nil {
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
	return verifyBuilt(b.temp, b.anchor(), b.o)
}

// abandon lets go of everything and leaves no file but one that has its name.
func (b *builder) abandon() {
	_ = b.settle()
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

// verifyBuilt opens a file that was made just now and holds it against what was
// written into it.
func verifyBuilt(path string, want Anchor, o Options) error {
	o.ReadOnly = true
	s, err := Open(path, o)
	if err != nil {
		return err
	}
	defer s.Close()
	if err := s.sound(&verifier{want: &want}); err != nil {
		return err
	}
	now, err := s.Anchor()
	if err != nil {
		return err
	}
	if now != want {
		text := fmt.Sprintf("its anchor is %s, it must be %s", now, want)
		return &UnsoundError{Path: path, Problems: []Problem{{Text: text}}}
	}
	return s.view(func(tx *bbolt.Tx) error {
		v := &verifier{store: s}
		if v.checkViews(tx); len(v.report.Problems) > 0 {
			return &UnsoundError{Path: path, Problems: v.report.Problems}
		}
		return nil
	})
}

// Load makes a store at path from steps that were admitted elsewhere, in the
// order that the ledger will have; within a mat that is the order of its thread.
// Seq and MatSeq are counted anew; nothing else is changed, added or refused by
// today's rules. The first steps are the farm's own. What is derived is derived
// from the file, and all of it is held against what was written before it gets its
// name.
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
	for s, err := range steps {
		if err != nil {
			return Anchor{}, err
		}
		if s.Mat != medium.FarmThread {
			if err := checkCode(s.Mat); err != nil {
				return Anchor{}, err
			}
		}
		last := b.end(s.Mat)
		s.Seq, s.MatSeq = b.count+1, last.n+1
		stored, err := writeStep(s, last.link()) // seal reads all of them
		if err != nil {
			return Anchor{}, err
		}
		if err := b.put(s.Mat, s.Token, stored); err != nil {
			return Anchor{}, err
		}
	}
	if err := b.seal(); err != nil {
		return Anchor{}, err
	}
	return b.anchor(), rename(b.temp, b.path)
}
