package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// One read transaction gives so many values and, with the last of them, bytes at
// most: a transaction that is kept open for a slow reader makes the file grow
// with every commit.
const (
	chunk      = 256
	chunkBytes = 1 << 20
)

func readLedger(tx *bbolt.Tx) (ledger, hash, error) {
	var l ledger
	var head hash
	if err := decode(tx.Bucket(bucketMeta).Get(keyLedger), &l); err != nil {
		return l, head, &RecordError{Code: "ledger", Err: err}
	}
	if len(l.Head) != hashLen {
		return l, head, &RecordError{Code: "ledger", Err: &recordError{fmt.Sprintf("a head of %d bytes", len(l.Head))}}
	}
	copy(head[:], l.Head)
	return l, head, nil
}

func readFarm(tx *bbolt.Tx) (farmEntry, error) {
	var f farmEntry
	stored := tx.Bucket(bucketFarm).Get(keyFarm)
	if stored == nil { // while the store is made
		return f, nil
	}
	if err := decode(stored, &f); err != nil {
		return f, &RecordError{Code: medium.FarmThread, Err: err}
	}
	return f, nil
}

// readEntry gives what is kept of a mat, nil where there is none.
func readEntry(tx *bbolt.Tx, code medium.Code) (*entry, error) {
	if len(code) != codeLen {
		return nil, nil
	}
	stored := tx.Bucket(bucketMats).Get([]byte(code))
	if stored == nil {
		return nil, nil
	}
	e, err := decodeEntry(stored)
	if err != nil {
		return nil, &RecordError{Code: code, Err: err}
	}
	return e, nil
}

func decodeEntry(stored []byte) (*entry, error) {
	e := &entry{}
	return e, decode(stored, e)
}

// read runs f on what is derived, which must be up to date.
func (s *Store) read(f func(tx *bbolt.Tx) error) error {
	if s.viewsErr != nil {
		return s.viewsErr
	}
	return s.view(f)
}

// Farm gives the farm's settings, policy, crops and sanitizers.
func (s *Store) Farm() (medium.Farm, error) {
	var f farmEntry
	err := s.read(func(tx *bbolt.Tx) (err error) {
		f, err = readFarm(tx)
		return err
	})
	return f.Farm, err
}

// Condition gives a mat's condition. The code is the mat's first one: see
// Resolve. A code that names no mat is an UnknownMatError.
func (s *Store) Condition(code medium.Code) (medium.Condition, error) {
	var c medium.Condition
	err := s.read(func(tx *bbolt.Tx) error {
		e, err := readEntry(tx, code)
		if err != nil {
			return err
		}
		if e == nil {
			return &UnknownMatError{What: "code", Name: string(code)}
		}
		c = e.Condition
		return nil
	})
	return c, err
}

// Resolve gives the mat that a code names: its first code or one from a
// relabelling.
func (s *Store) Resolve(tag medium.Code) (medium.Code, error) {
	var mat medium.Code
	err := s.read(func(tx *bbolt.Tx) error {
		mat = ""
		if len(tag) == codeLen && tx.Bucket(bucketMats).Get([]byte(tag)) != nil {
			mat = tag
			return nil
		}
		return tagged(tx, tagKey(tag), &UnknownMatError{What: "code", Name: string(tag)}, &mat)
	})
	return mat, err
}

// Exists says whether a code names a mat, as its first code or a later one.
func (s *Store) Exists(tag medium.Code) bool {
	_, err := s.Resolve(tag)
	return err == nil
}

// ByMark gives the mat that has a mark.
func (s *Store) ByMark(mark string) (medium.Code, error) {
	var mat medium.Code
	err := s.read(func(tx *bbolt.Tx) error {
		unknown := &UnknownMatError{What: "mark", Name: mark}
		if fold(mark) == "" {
			return unknown
		}
		return tagged(tx, markKey(mark), unknown, &mat)
	})
	return mat, err
}

func tagged(tx *bbolt.Tx, key []byte, unknown error, mat *medium.Code) error {
	owner := tx.Bucket(bucketTags).Get(key)
	if owner == nil {
		return unknown
	}
	*mat = medium.Code(owner)
	return nil
}

// Thread gives all steps of a mat, or of FarmThread, in their order.
func (s *Store) Thread(code medium.Code) ([]medium.Step, error) {
	var t thread
	err := s.view(func(tx *bbolt.Tx) (err error) {
		t, err = readThread(tx, code)
		return err
	})
	if err == nil && len(t.steps) == 0 {
		err = &UnknownMatError{What: "code", Name: string(code)}
	}
	return t.steps, err
}

// Conditions gives the condition of every mat, in the order of their codes,
// until yield returns an error, which it passes on. Steps that are recorded
// meanwhile may or may not show.
func (s *Store) Conditions(yield func(medium.Condition) error) error {
	if s.viewsErr != nil {
		return s.viewsErr
	}
	return each(s, bucketMats, func(k, v []byte) (medium.Condition, error) {
		e, err := decodeEntry(v)
		if err != nil {
			return medium.Condition{}, &RecordError{Code: medium.Code(k), Err: err}
		}
		return e.Condition, nil
	}, nil, yield)
}

// Steps gives every step, thread by thread, the farm's first, until yield
// returns an error, which it passes on. With kinds it gives the steps of those
// only. Of the others it reads no more than their kind, so what is broken behind
// that is for Verify to find.
func (s *Store) Steps(yield func(medium.Step) error, kinds ...medium.Kind) error {
	var skip func(v []byte) bool
	if len(kinds) > 0 {
		others := otherKinds(kinds)
		skip = func(v []byte) bool {
			h, err := headOf(v)
			return err == nil && others[string(h.Kind)]
		}
	}
	return each(s, bucketSteps, func(k, v []byte) (medium.Step, error) {
		code, seq, _ := parseStepKey(k)
		step, _, err := decodeStep(v)
		if err != nil {
			err = &RecordError{Code: code, MatSeq: seq, Err: err}
		}
		return step, err
	}, skip, yield)
}

// otherKinds are the known kinds that are not wanted. A kind that is not known is
// never passed over.
func otherKinds(wanted []medium.Kind) map[string]bool {
	others := map[string]bool{}
	for _, k := range slices.Concat(medium.Kinds(), medium.FarmKinds()) {
		others[string(k)] = !slices.Contains(wanted, k)
	}
	return others
}

// each goes through a bucket in portions. One short transaction copies one out of
// the file; the copies are read on all processors, ahead of yield by as many
// portions as there are processors. No transaction is open during yield. Values
// that skip names are left out.
func each[T any](s *Store, bucket []byte, read func(k, v []byte) (T, error), skip func(v []byte) bool, yield func(T) error) error {
	if err := s.skim(); err != nil {
		return err
	}
	ring := make([]portion[T], runtime.GOMAXPROCS(0)+1)
	var readers sync.WaitGroup
	defer readers.Wait()
	var last []byte
	copied, end := 0, false
	for taken := 0; ; taken++ {
		for ; !end && copied < taken+len(ring); copied++ {
			p := &ring[copied%len(ring)]
			last = p.copy(s, bucket, last, skip)
			end = p.err != nil || last == nil
			p.done = make(chan struct{})
			readers.Go(func() { p.read(read) })
		}
		if taken == copied {
			return nil
		}
		if err := ring[taken%len(ring)].give(yield); err != nil {
			return err
		}
	}
}

// portion is some neighbouring values on their way to yield. Its memory serves
// again.
type portion[T any] struct {
	bytes []byte        // keys and values as they are in the file
	ends  []int         // of each in bytes
	done  chan struct{} // closed once the rest is set
	items []T
	err   error
	fault any // what read panicked with
}

// copy takes what follows the last key of the portion before. It gives its own
// last key, none at the end of the bucket.
func (p *portion[T]) copy(s *Store, bucket, last []byte, skip func(v []byte) bool) (next []byte) {
	p.bytes, p.ends = p.bytes[:0], p.ends[:0]
	p.err = s.view(func(tx *bbolt.Tx) error {
		c := tx.Bucket(bucket).Cursor()
		k, v := c.Seek(last)
		if last != nil && bytes.Equal(k, last) {
			k, v = c.Next()
		}
		for seen := 0; k != nil; k, v = c.Next() {
			if last != nil && bytes.Compare(k, last) <= 0 { // else a damaged file would never end
				return disordered(s.path, bucket)
			}
			if last = k; skip == nil || !skip(v) {
				p.add(k, v)
			}
			if seen++; seen == chunk || len(p.bytes) >= chunkBytes {
				next = bytes.Clone(k)
				return nil
			}
		}
		return nil
	})
	return next
}

func (p *portion[T]) add(k, v []byte) {
	p.bytes = append(p.bytes, k...)
	p.ends = append(p.ends, len(p.bytes))
	p.bytes = append(p.bytes, v...)
	p.ends = append(p.ends, len(p.bytes))
}

// read reads the values. A panic is kept for whoever waits for them.
func (p *portion[T]) read(read func(k, v []byte) (T, error)) {
	defer close(p.done)
	defer func() { p.fault = recover() }()
	clear(p.items)
	p.items = p.items[:0]
	begin := 0
	for i := 0; p.err == nil && i < len(p.ends); i += 2 {
		var item T
		item, p.err = read(p.bytes[begin:p.ends[i]], p.bytes[p.ends[i]:p.ends[i+1]])
		p.items = append(p.items, item)
		begin = p.ends[i+1]
	}
}

// give yields the values in their order, none where one can't be read.
func (p *portion[T]) give(yield func(T) error) error {
	<-p.done
	if p.fault != nil {
		panic(p.fault)
	}
	if p.err != nil {
		return p.err
	}
	for _, item := range p.items {
		if err := yield(item); err != nil {
			return err
		}
	}
	return nil
}

// Due gives what is due until a time, most overdue first, at most limit lines;
// a limit of 0 or less gives all.
func (s *Store) Due(until time.Time, limit int) ([]medium.Work, error) {
	end := binary.BigEndian.AppendUint64(nil, uint64(until.Unix())^1<<63)
	var out []medium.Work
	err := s.read(func(tx *bbolt.Tx) error {
		c := tx.Bucket(bucketDue).Cursor()
		for k, v := c.First(); k != nil; k, v = c.Next() {
			if len(k) != 8+codeLen {
				return &RecordError{Code: "due list", Err: &recordError{"a key of unknown form"}}
			}
			if bytes.Compare(k[:8], end) > 0 || limit > 0 && len(out) == limit {
				return nil
			}
			if out == nil {
				out = make([]medium.Work, 0, max(1, min(limit, 256)))
			}
			out = append(out, medium.Work{})
			if err := decode(v, &out[len(out)-1]); err != nil {
				return &RecordError{Code: medium.Code(k[8:]), Err: err}
			}
		}
		return nil
	})
	return out, err
}

// DueTotal counts what is due until a time: what Due gives without a limit.
func (s *Store) DueTotal(until time.Time) (n int, err error) {
	end := binary.BigEndian.AppendUint64(nil, uint64(until.Unix())^1<<63)
	err = s.read(func(tx *bbolt.Tx) error {
		n = 0
		c := tx.Bucket(bucketDue).Cursor()
		for k, _ := c.First(); len(k) >= 8 && bytes.Compare(k[:8], end) <= 0; k, _ = c.Next() {
			n++
		}
		return nil
	})
	return n, err
}

// Lot gives the mats that carried a lot, in the order of their codes. Case does
// not matter.
func (s *Store) Lot(lot string) ([]medium.Code, error) { return s.lot(cropLot, lot) }

// SeedLot gives the mats that a supplier's seed lot touched.
func (s *Store) SeedLot(lot string) ([]medium.Code, error) { return s.lot(seedLot, lot) }

func (s *Store) lot(kind byte, lot string) ([]medium.Code, error) {
	if fold(lot) == "" {
		return nil, nil
	}
	prefix := lotPrefix(kind, strings.TrimSpace(lot))
	var out []medium.Code
	err := s.read(func(tx *bbolt.Tx) error {
		c := tx.Bucket(bucketLots).Cursor()
		for k, _ := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, _ = c.Next() {
			if len(k) == len(prefix)+codeLen {
				out = append(out, medium.Code(k[len(prefix):]))
			}
		}
		return nil
	})
	return out, err
}

// Anchor names the present state of the ledger.
func (s *Store) Anchor() (Anchor, error) {
	var a Anchor
	err := s.view(func(tx *bbolt.Tx) error {
		l, head, err := readLedger(tx)
		a = anchorOf(l.Count, head)
		return err
	})
	return a, err
}
