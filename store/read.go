package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
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

// readWhole reads the ledger, and refuses one that is not of the log's last record.
func readWhole(tx *bbolt.Tx) (ledger, hash, error) {
	l, head, err := readLedger(tx)
	if err != nil {
		return l, head, err
	}
	if last := lastKey(tx.Bucket(bucketLog)); !bytes.Equal(last, logKey(l.Count)) && (last != nil || l.Count > 0) {
		err = unsound(tx, "the ledger counts %d records, and the last one in its log has the key %x", l.Count, last)
	}
	return l, head, err
}

func lastKey(b *bbolt.Bucket) []byte {
	k, _ := b.Cursor().Last()
	return k
}

func unsound(tx *bbolt.Tx, format string, args ...any) error {
	return &UnsoundError{Path: tx.DB().Path(), Problems: []Problem{{Text: fmt.Sprintf(format, args...)}}}
}

// farmKept reads the farm's entry; it is empty while the store is made.
func (t *tables) farmKept() (farmEntry, error) {
	var f farmEntry
	e, found, err := t.get(viewFarm, keyFarm)
	if err != nil || !found {
		return f, err
	}
	if err := decode(e.payload, &f); err != nil {
		return f, &RecordError{Code: medium.FarmThread, Err: err}
	}
	f.at = e.at
	return f, nil
}

// mat gives what is kept of a mat, nil where there is none.
func (t *tables) mat(code medium.Code) (*entry, error) {
	if len(code) != codeLen {
		return nil, nil
	}
	e, found, err := t.get(viewMats, []byte(code))
	if err != nil || !found {
		return nil, err
	}
	return readEntry(e)
}

func readEntry(e sealed) (*entry, error) {
	read := &entry{mat: medium.Code(e.key), at: e.at}
	if err := decode(e.payload, read); err != nil {
		return nil, &RecordError{Code: printable(read.mat), Err: err}
	}
	return read, nil
}

// tagged gives the mat that another code or a mark names, nothing where it names none.
func (t *tables) tagged(key []byte) (medium.Code, error) {
	e, _, err := t.get(viewTags, key)
	return medium.Code(e.payload), err
}

// token gives what names the records that a request token made: see named.
func (t *tables) token(token string) ([]byte, error) {
	e, _, err := t.get(viewTokens, tokenKey(token))
	return e.payload, err
}

// nameLen is the length of what names a record: its position and the first 64 bits of
// its hash.
const nameLen = 16

// named gives names with that of one record more.
func named(names []byte, position uint64, stored []byte) []byte {
	h := recordHash(stored)
	return append(binary.BigEndian.AppendUint64(names, position), h[:8]...)
}

// stepsNamed reads the records that are named.
func stepsNamed(tx *bbolt.Tx, names []byte) ([]medium.Step, error) {
	var steps []medium.Step
	for name := range slices.Chunk(names, nameLen) {
		if len(name) < nameLen {
			return nil, &recordError{"a list of records that was cut"}
		}
		at := binary.BigEndian.Uint64(name)
		stored := tx.Bucket(bucketLog).Get(logKey(at))
		if !bytes.Equal(named(nil, at, stored), name) {
			return nil, &RecordError{Seq: at, Err: &recordError{"it is missing or was changed"}}
		}
		s, err := stepAt(at, stored)
		if err != nil {
			return nil, err
		}
		steps = append(steps, s)
	}
	return steps, nil
}

// thread reads the whole thread of a mat or of the farm, nothing where there is none.
func (t *tables) thread(code medium.Code) ([]medium.Step, error) {
	last := tail{}
	if code == medium.FarmThread {
		f, err := t.farmKept()
		if err != nil {
			return nil, err
		}
		last = f.tail()
	} else if e, err := t.mat(code); err != nil {
		return nil, err
	} else if e != nil {
		last = e.tail()
	}
	return readThread(t.tx, last, nil)
}

// read runs f on what is derived, which must be up to date.
func (s *Store) read(f func(t *tables) error) error {
	if s.viewsErr != nil {
		return s.viewsErr
	}
	return s.view(func(tx *bbolt.Tx) error {
		if state := int64(tx.ID()); s.tied.Load() != state {
			if err := checkTie(tx); err != nil {
				return err
			}
			s.tied.Store(state)
		}
		return f(tablesOf(tx))
	})
}

// Farm gives the farm's settings, policy, crops and sanitizers.
func (s *Store) Farm() (medium.Farm, error) {
	var f farmEntry
	err := s.read(func(t *tables) (err error) {
		f, err = t.farmKept()
		return err
	})
	return f.Farm, err
}

// Condition gives a mat's condition. The code is the mat's first one: see
// Resolve. A code that names no mat is an UnknownMatError.
func (s *Store) Condition(code medium.Code) (medium.Condition, error) {
	var c medium.Condition
	err := s.read(func(t *tables) error {
		e, err := t.mat(code)
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
// relabeling.
func (s *Store) Resolve(tag medium.Code) (mat medium.Code, err error) {
	err = s.read(func(t *tables) error {
		if len(tag) == codeLen {
			if _, found, err := t.get(viewMats, []byte(tag)); found || err != nil {
				mat = tag
				return err
			}
		}
		if mat, err = t.tagged(tagKey(tag)); mat == "" && err == nil {
			err = &UnknownMatError{What: "code", Name: string(tag)}
		}
		return err
	})
	return mat, err
}

// Exists says whether a code names a mat, as its first code or a later one.
func (s *Store) Exists(tag medium.Code) bool {
	_, err := s.Resolve(tag)
	return err == nil
}

// ByMark gives the mat that has a mark.
func (s *Store) ByMark(mark string) (mat medium.Code, err error) {
	err = s.read(func(t *tables) error {
		if fold(mark) != "" {
			mat, err = t.tagged(markKey(mark))
		}
		if mat == "" && err == nil {
			err = &UnknownMatError{What: "mark", Name: mark}
		}
		return err
	})
	return mat, err
}

// Thread gives all steps of a mat, or of FarmThread, in their order.
func (s *Store) Thread(code medium.Code) ([]medium.Step, error) {
	var steps []medium.Step
	err := s.read(func(t *tables) (err error) {
		steps, err = t.thread(code)
		return err
	})
	if err == nil && len(steps) == 0 {
		err = &UnknownMatError{What: "code", Name: string(code)}
	}
	return steps, err
}

// matsAtOnce is how many mats are worked on at once.
const matsAtOnce = 32

// entries takes a whole view out of the file, as it is at one moment.
func (s *Store) entries(w view) (all []sealed, err error) {
	if err := s.skim(); err != nil {
		return nil, err
	}
	err = s.read(func(t *tables) error {
		all = nil
		return t.each(w, nil, func(e sealed) (bool, error) {
			both := append(bytes.Clone(e.key), e.payload...)
			all = append(all, sealed{both[:len(e.key):len(e.key)], e.at, both[len(e.key):]})
			return true, nil
		})
	})
	return all, err
}

// Conditions gives the condition of every mat as it was at one moment, in the order
// of their codes, until yield returns an error, which it passes on.
func (s *Store) Conditions(yield func(medium.Condition) error) error {
	all, err := s.entries(viewMats)
	if err != nil {
		return err
	}
	return parallel(slices.Chunk(all, matsAtOnce), func(some []sealed) (read []medium.Condition, err error) {
		for _, e := range some {
			kept, err := readEntry(e)
			if err != nil {
				return nil, err
			}
			read = append(read, kept.Condition)
		}
		return read, nil
	}, eachOf(yield))
}

func eachOf[T any](yield func(T) error) func([]T) error {
	return func(all []T) error {
		for _, v := range all {
			if err := yield(v); err != nil {
				return err
			}
		}
		return nil
	}
}

// Steps gives every step, thread by thread, the farm's first, until yield
// returns an error, which it passes on. With kinds it gives the steps of those
// only. Of the others it reads no more than their kind, so what is broken behind
// that is for Verify to find. What is recorded meanwhile may or may not show.
func (s *Store) Steps(yield func(medium.Step) error, kinds ...medium.Kind) error {
	mats, err := s.entries(viewMats)
	if err != nil {
		return err
	}
	var skip func(medium.Kind) bool
	if len(kinds) > 0 {
		others := otherKinds(kinds)
		skip = func(k medium.Kind) bool { return others[k] }
	}
	var farm []medium.Step
	err = s.read(func(t *tables) error {
		f, err := t.farmKept()
		if err == nil {
			farm, err = readThread(t.tx, f.tail(), skip)
		}
		return err
	})
	if err == nil {
		err = eachOf(yield)(farm)
	}
	if err != nil {
		return err
	}
	return parallel(slices.Chunk(mats, matsAtOnce), func(some []sealed) (steps []medium.Step, err error) {
		var tails []tail
		for _, e := range some {
			kept, err := readEntry(e)
			if err != nil {
				return nil, err
			}
			tails = append(tails, kept.tail())
		}
		err = s.view(func(tx *bbolt.Tx) error {
			steps = steps[:0]
			for _, t := range tails {
				thread, err := readThread(tx, t, skip)
				if err != nil {
					return err
				}
				steps = append(steps, thread...)
			}
			return nil
		})
		return steps, err
	}, eachOf(yield))
}

// otherKinds are the known kinds that are not wanted. A kind that is not known is
// never passed over.
func otherKinds(wanted []medium.Kind) map[medium.Kind]bool {
	others := map[medium.Kind]bool{}
	for _, k := range slices.Concat(medium.Kinds(), medium.FarmKinds()) {
		others[k] = !slices.Contains(wanted, k)
	}
	return others
}

// Due gives what is due until a time, most overdue first, at most limit lines;
// a limit of 0 or less gives all.
func (s *Store) Due(until time.Time, limit int) ([]medium.Work, error) {
	var out []medium.Work
	err := s.dueUntil(until, func(e sealed) (bool, error) {
		if limit > 0 && len(out) == limit {
			return false, nil
		}
		out = append(out, medium.Work{})
		if len(e.payload) < farmPosLen {
			return false, &RecordError{Code: "due list", Err: &recordError{"a line without a position"}}
		}
		return true, decode(e.payload[farmPosLen:], &out[len(out)-1])
	})
	return out, err
}

func (s *Store) dueUntil(until time.Time, do func(sealed) (bool, error)) error {
	end := dueKey(until, "")
	return s.read(func(t *tables) error {
		return t.each(viewDue, nil, func(e sealed) (bool, error) {
			if len(e.key) != len(end)+codeLen || bytes.Compare(e.key[:len(end)], end) > 0 {
				return false, nil
			}
			return do(e)
		})
	})
}

// LastRecorded is when the ledger's last record was written down.
func (s *Store) LastRecorded() (at time.Time, err error) {
	err = s.read(func(t *tables) error {
		key, stored := t.tx.Bucket(bucketLog).Cursor().Last()
		if key == nil {
			return nil
		}
		last, err := stepAt(positionIn(key), stored)
		at = last.Recorded
		return err
	})
	return at, err
}

// Lot gives the mats that carried a lot, in the order of their codes. Case does
// not matter.
func (s *Store) Lot(lot string) ([]medium.Code, error) { return s.Touched(Lots, lot) }

// SeedLot gives the mats that a supplier's seed lot touched.
func (s *Store) SeedLot(lot string) ([]medium.Code, error) { return s.Touched(SeedLots, lot) }

// Touched gives the mats that a name of an index touched, in the order of their codes.
func (s *Store) Touched(x Index, name string) ([]medium.Code, error) {
	if fold(name) == "" {
		return nil, nil
	}
	prefix := x.prefix(name)
	var out []medium.Code
	err := s.read(func(t *tables) error {
		return t.each(viewLots, prefix, func(e sealed) (bool, error) {
			out = append(out, medium.Code(e.key[len(prefix):]))
			return true, nil
		})
	})
	return out, err
}

// Anchor names the present state of the ledger.
func (s *Store) Anchor() (Anchor, error) {
	l, head, err := s.ledgerNow()
	if err != nil {
		return Anchor{}, err
	}
	return anchorOf(l.Count, head), nil
}
