package store

import (
	"bytes"
	"fmt"
	"iter"
	"runtime"
	"slices"
	"sync"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// The log holds all records under their positions, in the order in which they were
// recorded. A mat's thread is read from its last record back.

// tail is the last record of a thread.
type tail struct {
	mat  medium.Code
	at   uint64 // its position
	n    uint64 // records in the thread
	hash []byte // of its bytes: see linkHash
}

// then is the tail after one more record.
func (t tail) then(position uint64, stored []byte) tail {
	return tail{t.mat, position, t.n + 1, linkHash(stored)}
}

func (t tail) link() link { return link{Prev: t.hash, Back: t.at} }

// readThread reads a thread, and holds each record against the one after it. Kinds
// that skip names are left out, and no more of their records is read than that.
func readThread(tx *bbolt.Tx, t tail, skip func(medium.Kind) bool) ([]medium.Step, error) {
	var steps []medium.Step
	if skip == nil && t.n > 0 {
		steps = make([]medium.Step, 0, min(t.n, 1024)) // the number may be false
	}
	log := tx.Bucket(bucketLog).Cursor()
	for n := t.n; n > 0; n-- {
		wrong := func(err error) error { return &RecordError{Code: printable(t.mat), MatSeq: n, Err: err} }
		key := logKey(t.at)
		at, stored := log.Seek(key)
		if !bytes.Equal(at, key) || !bytes.Equal(linkHash(stored), t.hash) {
			return nil, wrong(&recordError{fmt.Sprintf("record %d of the ledger is missing or was changed", t.at)})
		}
		head, before, rest, err := headOf(t.at, stored)
		if err == nil && (skip == nil || !skip(head.Kind)) {
			var s medium.Step
			s, err = stepOf(t.at, head, rest)
			steps = append(steps, s)
		}
		if err != nil {
			return nil, wrong(err)
		}
		if head.Mat != t.mat || head.MatSeq != n || (n == 1) != (before.Back == 0) {
			return nil, wrong(&recordError{fmt.Sprintf("it says that it is step %d of mat %s",
				head.MatSeq, printable(head.Mat))})
		}
		t.at, t.hash = before.Back, before.Prev
	}
	slices.Reverse(steps)
	return steps, nil
}

// appendTo puts a record behind the last one, never over one that is there.
func appendTo(log *bbolt.Bucket, position uint64, stored []byte) error {
	if last := lastKey(log); !bytes.Equal(last, logKey(position-1)) && (last != nil || position != 1) {
		return unsound(log.Tx(), "record %d was to be written, and the last one in the log has the key %x", position, last)
	}
	log.FillPercent = 1
	return log.Put(logKey(position), stored)
}

// sliceRecords is how many records are read at once: a few milliseconds.
const sliceRecords = 1024

// logged is a record in its place.
type logged[T any] struct {
	at     uint64 // its position
	head   hash   // the ledger's after it
	stored []byte
	read   T
}

// inOrder goes through all records in the order of the ledger, and holds each
// against its place, and all of them against the ledger's head: what do was given is
// good when inOrder gives no error. It reads those that were there when it began, a
// slice at a time; read works on all processors, do in their order.
func inOrder[T any](s *Store, read func(position uint64, stored []byte) (T, error), do func(logged[T]) error) error {
	l, want, err := s.ledgerNow()
	if err != nil {
		return err
	}
	return inOrderTo(s, l.Count, want, read, do)
}

// inOrderTo goes to a state that the ledger had.
func inOrderTo[T any](s *Store, count uint64, want hash,
	read func(position uint64, stored []byte) (T, error), do func(logged[T]) error) error {
	type slice struct {
		all  []byte
		ends []int
		read []T
	}
	if err := s.skim(); err != nil {
		return err
	}
	n, head := uint64(0), s.genesis
	firsts := func(yield func(uint64) bool) {
		for first := uint64(1); first <= count && yield(first); first += sliceRecords {
		}
	}
	err := parallel(firsts, func(first uint64) (p slice, err error) {
		err = s.view(func(tx *bbolt.Tx) error {
			p.all, p.ends = make([]byte, 0, 192*sliceRecords), make([]int, 0, sliceRecords)
			c := tx.Bucket(bucketLog).Cursor()
			at := first
			for k, v := c.Seek(logKey(at)); at <= count && at < first+sliceRecords; k, v = c.Next() {
				if positionIn(k) != at || v == nil {
					return unsound(tx, "a record with the key %x stands where record %d of the ledger belongs", k, at)
				}
				p.all = append(p.all, v...)
				p.ends, at = append(p.ends, len(p.all)), at+1
			}
			return nil
		})
		begin := 0
		p.read = make([]T, len(p.ends))
		for i := 0; err == nil && i < len(p.ends); i++ {
			p.read[i], err = read(first+uint64(i), p.all[begin:p.ends[i]])
			begin = p.ends[i]
		}
		return p, err
	}, func(p slice) error {
		begin := 0
		for i, end := range p.ends {
			stored := p.all[begin:end:end]
			n, begin, head = n+1, end, head.next(stored)
			if err := do(logged[T]{n, head, stored, p.read[i]}); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil && head != want {
		err = &UnsoundError{Path: s.path, Problems: []Problem{{Text: fmt.Sprintf("the ledger says %s, its records make %s",
			anchorOf(count, want), anchorOf(n, head))}}}
	}
	return err
}

// ledgerNow gives the count and the head of the ledger, which must be those of all
// that is in the log.
func (s *Store) ledgerNow() (l ledger, head hash, err error) {
	err = s.view(func(tx *bbolt.Tx) (err error) {
		if l, head, err = readLedger(tx); err != nil {
			return err
		}
		return checkEnd(tx)
	})
	return l, head, err
}

// stepAt reads the record that stands at a position.
func stepAt(position uint64, stored []byte) (medium.Step, error) {
	s, _, err := linkedStep(position, stored)
	return s, err
}

// headAt reads no more than the head of a record.
func headAt(position uint64, stored []byte) (recordHead, error) {
	h, _, _, err := headOf(position, stored)
	if err != nil {
		err = &RecordError{Seq: position, Err: err}
	}
	return h, err
}

// linkedStep gives the link to the record before one too.
func linkedStep(position uint64, stored []byte) (medium.Step, link, error) {
	s, before, err := decodeStep(position, stored)
	if err != nil {
		h, _, _, _ := headOf(position, stored)
		err = &RecordError{Code: printable(h.Mat), MatSeq: h.MatSeq, Seq: position, Err: err}
	}
	return s, before, err
}

// parallel works on parts on all processors, and gives what came of them in their
// order, until one of them, or give, has an error. Of the parts no more wait than
// there are processors.
func parallel[P, T any](parts iter.Seq[P], work func(P) (T, error), give func(T) error) error {
	type part struct {
		done  chan struct{}
		v     T
		err   error
		fault any // what work panicked with
	}
	var begun []*part // and not given yet
	var workers sync.WaitGroup
	defer workers.Wait()
	next := func() error {
		p := begun[0]
		begun = begun[1:]
		<-p.done
		if p.fault != nil {
			panic(p.fault)
		}
		if p.err != nil {
			return p.err
		}
		return give(p.v)
	}
	for in := range parts {
		if len(begun) > runtime.GOMAXPROCS(0) {
			if err := next(); err != nil {
				return err
			}
		}
		p := &part{done: make(chan struct{})}
		begun = append(begun, p)
		workers.Go(func() {
			defer close(p.done)
			defer func() { p.fault = recover() }()
			p.v, p.err = work(in)
		})
	}
	for len(begun) > 0 {
		if err := next(); err != nil {
			return err
		}
	}
	return nil
}
