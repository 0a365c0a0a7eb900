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
	path string
	temp string
	o    Options
	db   *bbolt.DB
	tx   *bbolt.Tx
	n    int     // records in the transaction
	fill float64 // how full pages are made: 1 where records come in the order of their keys

	batch   []keyValue      // records that wait
	batches chan []keyValue // to the writer, which alone has tx until it is closed
	written chan struct{}   // closed when the writer has ended
	failed  atomic.Bool     // the writer has stopped
	err     error           // why; read it when the writer has ended
}

// putBatch is how many records are handed to the writer at once, buildBatch is
// how many are written in one transaction. buildAlloc is by how many bytes the
// file grows: what is left of the last growth stays in it.
const (
	putBatch   = 1000
	buildBatch = 20000
	buildMats  = 5000 // whose conditions and indexes are written in one
	buildAlloc = 1 << 20
)

func newBuilder(path string, made []byte, o Options) (*builder, error) {
	f, err := begin(path)
	if err != nil {
		return nil, err
	}
	temp := f.Name()
	b := &builder{path: path, temp: temp, o: o, fill: 1}
	// nothing reads the file before seal, which makes it durable as a whole
	b.db, err = bbolt.Open(temp, 0o600, &bbolt.Options{Timeout: time.Second, NoSync: true, FreelistType: bbolt.FreelistMapType, OpenFile: opened(f)})
	if err != nil {
		f.Close()
		_ = os.Remove(temp) // a disk that is too full even for an empty one
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
	if err := meta.Put(keyIdentity, made); err != nil {
		b.abandon()
		return nil, &WriteError{Path: temp, Err: err}
	}
	b.batches, b.written = make(chan []keyValue, 4), make(chan struct{})
	go b.write()
	return b, nil
}

// put takes one record as it is stored. It is written beside the work on the
// next ones; what goes wrong shows at a later call.
func (b *builder) put(mat medium.Code, matSeq uint64, stored []byte) error {
	b.batch = append(b.batch, keyValue{stepKey(mat, matSeq), stored})
	if len(b.batch) < putBatch {
		return nil
	}
	b.batches <- b.batch
	b.batch = make([]keyValue, 0, putBatch)
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
	for batch := range b.batches {
		if b.err == nil {
			b.err = b.putAll(batch)
		}
		b.failed.Store(b.err != nil)
	}
}

func (b *builder) putAll(batch []keyValue) error {
	steps := b.tx.Bucket(bucketSteps)
	steps.FillPercent = b.fill
	for _, kv := range batch {
		if err := steps.Put(kv.key, kv.value); err != nil {
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

// finish seals the store and gives it its name.
func (b *builder) finish(count uint64, head []byte, want Anchor) error {
	defer b.abandon()
	if err := b.seal(count, head, want); err != nil {
		return err
	}
	return rename(b.temp, b.path)
}

// seal derives what is derived, closes the file, and holds it against what was
// written: every page, every record against its thread and the anchor, and what
// was derived from these records against the sum of it. It has no name yet.
func (b *builder) seal(count uint64, head []byte, want Anchor) error {
	if err := b.settle(); err != nil {
		return err
	}
	if err := put(b.tx.Bucket(bucketMeta), keyLedger, &ledger{Count: count, Head: head}); err != nil {
		return err
	}
	derived := newPartsSum()
	if _, err := rebuildIn(b.tx, derived, buildMats, b.commit); err != nil {
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
	return verifyBuilt(b.temp, want, b.o, derived)
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
func verifyBuilt(path string, want Anchor, o Options, derived *partsSum) error {
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
	unsound := func(text string) error { return &UnsoundError{Path: path, Problems: []Problem{{Text: text}}} }
	if now != want {
		return unsound(fmt.Sprintf("its anchor is %s, it must be %s", now, want))
	}
	return s.view(func(tx *bbolt.Tx) error {
		if !derived.are(tx) {
			return unsound("what follows from its records is not what was written")
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
