package store

import (
	"bytes"
	"math"
	"slices"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// rebuild makes all that is derived anew from the records, in one transaction.
// It fails, and changes nothing, where a record can't be read.
func (s *Store) rebuild() error {
	s.write.Lock()
	defer s.write.Unlock()
	err := s.guard(func() error { return s.db.Update(rebuildViews) })
	if err != nil {
		return writeError(s.path, err)
	}
	return nil
}

func rebuildViews(tx *bbolt.Tx) error {
	_, err := rebuildIn(tx, math.MaxInt, nil)
	return err
}

// rebuildIn makes all that is derived anew, some mats at a time, and calls next
// between them to commit and to give the next transaction: bbolt keeps in memory
// what a transaction has written.
func rebuildIn(tx *bbolt.Tx, mats int, next func() (*bbolt.Tx, error)) (*bbolt.Tx, error) {
	for _, name := range [][]byte{bucketMats, bucketFarm, bucketDue, bucketLots, bucketTags, bucketTokens} {
		if err := tx.DeleteBucket(name); err != nil {
			return tx, err
		}
		if _, err := tx.CreateBucket(name); err != nil {
			return tx, err
		}
	}
	farm, err := readThread(tx, medium.FarmThread)
	if err != nil {
		return tx, err
	}
	f := foldFarm(farm.steps)
	if err := put(tx.Bucket(bucketFarm), keyFarm, &farmEntry{Head: farm.head[:], Len: farm.n, Farm: f}); err != nil {
		return tx, err
	}
	r := rebuilt{rules: rulesOf(f), tokens: map[string][]byte{}}
	for from := []byte{}; ; {
		if from, err = r.read(tx, from, mats); err != nil {
			return tx, err
		}
		if err := r.flush(tx); err != nil {
			return tx, err
		}
		if from == nil {
			return tx, tx.Bucket(bucketMeta).Put(keyViews, viewsVersion())
		}
		if tx, err = next(); err != nil {
			return nil, err
		}
	}
}

// rebuilt is what was derived and is not written yet.
type rebuilt struct {
	rules  rules
	tokens map[string][]byte

	mats, dues, lots, tags []keyValue
}

// read derives what follows from some mats' records, and gives the key at which
// the next ones begin.
func (r *rebuilt) read(tx *bbolt.Tx, from []byte, mats int) ([]byte, error) {
	return readThreads(tx, from, mats, func(mat medium.Code, t thread) error {
		for _, s := range t.steps {
			if s.Token != "" {
				r.tokens[s.Token] = appendRef(r.tokens[s.Token], s)
			}
		}
		if mat == medium.FarmThread {
			return nil
		}
		d, err := derive(t, r.rules)
		if err != nil {
			return err
		}
		stored, err := encode(&d.entry)
		if err != nil {
			return err
		}
		r.mats = append(r.mats, keyValue{[]byte(mat), stored})
		if d.work != nil {
			r.dues = append(r.dues, keyValue{dueKey(d.entry.Due, mat), d.work})
		}
		for k := range d.lots {
			r.lots = append(r.lots, keyValue{[]byte(k), []byte{}}) // nil would read as missing until it is committed
		}
		for k := range d.tags {
			r.tags = append(r.tags, keyValue{[]byte(k), []byte(mat)})
		}
		return nil
	})
}

func (r *rebuilt) flush(tx *bbolt.Tx) error {
	var tokens []keyValue
	b := tx.Bucket(bucketTokens)
	for token, refs := range r.tokens {
		tokens = append(tokens, keyValue{[]byte(token), sortedRefs(append(bytes.Clone(b.Get([]byte(token))), refs...))})
	}
	for _, part := range []struct {
		name []byte
		all  []keyValue
	}{{bucketMats, r.mats}, {bucketDue, r.dues}, {bucketLots, r.lots}, {bucketTags, r.tags}, {bucketTokens, tokens}} {
		if err := putSorted(tx.Bucket(part.name), part.all, rebuiltFill); err != nil {
			return err
		}
	}
	clear(r.tokens)
	r.mats, r.dues, r.lots, r.tags = r.mats[:0], r.dues[:0], r.lots[:0], r.tags[:0]
	return nil
}

// sortedRefs puts the places of a token's steps into the order of the ledger.
func sortedRefs(refs []byte) []byte {
	parts := slices.SortedFunc(slices.Chunk(refs, refLen), bytes.Compare)
	return slices.Concat(parts...)
}

// rebuiltFill is how full pages are made that are written in the order of their
// keys: some room is left for the steps to come.
const rebuiltFill = 0.9

// keyValue waits to be put in the order of the keys. bbolt splits what a page
// holds only when it commits: in a long transaction each key that does not come
// last would push all after it aside.
type keyValue struct{ key, value []byte }

// putSorted puts values in the order of their keys, and makes pages so full.
func putSorted(b *bbolt.Bucket, all []keyValue, fill float64) error {
	b.FillPercent = fill
	slices.SortFunc(all, func(x, y keyValue) int { return bytes.Compare(x.key, y.key) })
	for _, kv := range all {
		if err := b.Put(kv.key, kv.value); err != nil {
			return err
		}
	}
	return nil
}
