package store

import (
	"bytes"
	"maps"
	"math"
	"slices"
	"strings"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// rebuild makes all that is derived anew from the records, in one transaction.
// It fails, and changes nothing, where a record can't be read.
func (s *Store) rebuild() error {
	s.write.Lock()
	defer s.write.Unlock()
	return s.update(func(tx *bbolt.Tx) error {
		all, err := s.threads()
		if err == nil {
			_, err = s.rebuildIn(tx, all, math.MaxInt, nil)
		}
		return err
	})
}

// threads is what has to be known of all records before anything is derived.
type threads struct {
	ends   map[medium.Code]tail
	tokens map[string][]byte // names of the records that request tokens made
}

func newThreads() threads {
	return threads{ends: map[medium.Code]tail{}, tokens: map[string][]byte{}}
}

// add takes the next record of the log.
func (t threads) add(mat medium.Code, token string, position uint64, stored []byte) {
	last := t.ends[mat]
	last.mat = mat
	t.ends[mat] = last.then(position, stored)
	if token != "" {
		t.tokens[token] = named(t.tokens[token], position, stored)
	}
}

// threads goes through the log.
func (s *Store) threads() (threads, error) {
	all := newThreads()
	err := inOrder(s, headAt, func(r logged[recordHead]) error {
		all.add(r.read.Mat, r.read.Token, r.at, r.stored)
		return nil
	})
	return all, err
}

// rebuildIn makes all that is derived anew, a batch of entries of one view after the
// other, and calls next between them, which may be nil, to commit and to give the next
// transaction: bbolt keeps in memory what a transaction has written. Only conditions
// come in the order of their keys and are written on the way; pages of the others
// would be written again with every batch. The records are read in transactions of
// their own.
func (s *Store) rebuildIn(tx *bbolt.Tx, all threads, batch int, next func() (*bbolt.Tx, error)) (*bbolt.Tx, error) {
	if err := checkEnd(tx); err != nil {
		return tx, err
	}
	t := &tables{tx: tx}
	for _, w := range views {
		if err := t.clear(w); err != nil {
			return tx, err
		}
	}
	if err := t.putTokens(all.tokens); err != nil {
		return tx, err
	}
	r, err := s.putFarm(t, all.ends[medium.FarmThread])
	if err != nil {
		return tx, err
	}
	tails := slices.SortedFunc(maps.Values(all.ends), func(a, b tail) int {
		return strings.Compare(string(a.mat), string(b.mat))
	})
	waiting := rebuilt{}
	write := func(w view) error {
		slices.SortFunc(waiting[w.name], byKey)
		for some := range slices.Chunk(waiting[w.name], batch) {
			if err := t.putSorted(w, some); err != nil {
				return err
			}
			if next == nil {
				continue
			}
			if tx, err = next(); err != nil {
				return err
			}
			t.tx = tx
		}
		waiting[w.name] = nil
		return nil
	}
	err = parallel(slices.Chunk(tails, matsAtOnce), func(some []tail) (rebuilt, error) {
		return s.derive(some, r)
	}, func(part rebuilt) error {
		for name, entries := range part {
			waiting[name] = append(waiting[name], entries...)
		}
		if len(waiting[viewMats.name]) < batch {
			return nil
		}
		return write(viewMats)
	})
	for _, w := range views {
		if err == nil {
			err = write(w)
		}
	}
	if err == nil {
		err = t.save()
	}
	if err == nil {
		err = tx.Bucket(bucketMeta).Put(keyViews, viewsVersion())
	}
	return tx, err
}

// putTokens puts the lists of the request tokens.
func (t *tables) putTokens(tokens map[string][]byte) error {
	var lines []keyValue
	for token, names := range tokens {
		key, value := sealedToken(token, names)
		lines = append(lines, keyValue{key, value})
	}
	return t.putSorted(viewTokens, lines)
}

// putFarm puts the farm's entry.
func (s *Store) putFarm(t *tables, last tail) (rules, error) {
	steps, err := s.threadTo(last)
	if err != nil {
		return rules{}, err
	}
	f := farmEntry{Head: last.hash, Len: last.n, Farm: foldFarm(steps), at: last.at}
	return f.rules(), t.keep(viewFarm, keyFarm, f.at, &f)
}

// threadTo reads a thread in a transaction of its own.
func (s *Store) threadTo(last tail) (steps []medium.Step, err error) {
	err = s.view(func(tx *bbolt.Tx) (err error) {
		steps, err = readThread(tx, last, nil)
		return err
	})
	return steps, err
}

// rebuilt is what was derived and is not written yet: the entries of each view.
type rebuilt map[byte][]keyValue

// derive works out what is kept of some mats.
func (s *Store) derive(tails []tail, r rules) (out rebuilt, err error) {
	out = rebuilt{}
	for _, last := range tails {
		if last.mat == medium.FarmThread {
			continue
		}
		steps, err := s.threadTo(last)
		if err != nil {
			return out, err
		}
		d, err := derive(last, steps, r)
		if err != nil {
			return out, err
		}
		for _, w := range views {
			kept, err := d.in(w)
			if err != nil {
				return out, err
			}
			out[w.name] = append(out[w.name], kept...)
		}
	}
	return out, nil
}

// in gives the entries of one view.
func (d *derived) in(w view) (all []keyValue, err error) {
	e := &d.entry
	switch w.name {
	case viewMats.name:
		payload, err := encode(e)
		return []keyValue{{[]byte(e.mat), w.seal([]byte(e.mat), e.at, payload)}}, err
	case viewDue.name:
		if key := dueKey(e.Due, e.mat); d.work != nil {
			all = append(all, keyValue{key, w.seal(key, e.at, d.work)})
		}
	}
	for _, n := range d.names {
		if n.name == w.name {
			all = append(all, keyValue{[]byte(n.key), n.value(e.mat)})
		}
	}
	return all, nil
}

// rebuiltFill is how full pages are made that are written in the order of their
// keys: some room is left for the steps to come.
const rebuiltFill = 0.9

// keyValue waits to be put in the order of the keys. bbolt splits what a page
// holds only when it commits: in a long transaction each key that does not come
// last would push all after it aside.
type keyValue struct{ key, value []byte }

func byKey(x, y keyValue) int { return bytes.Compare(x.key, y.key) }

// putSorted puts entries in the order of their keys, and makes full pages.
func (t *tables) putSorted(w view, all []keyValue) error {
	t.tx.Bucket(w.part).FillPercent = rebuiltFill
	slices.SortFunc(all, byKey)
	for _, kv := range all {
		if _, err := t.set(w, kv.key, kv.value); err != nil {
			return err
		}
	}
	return nil
}
