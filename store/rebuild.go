package store

import (
	"bytes"
	"encoding/binary"
	"hash/maphash"
	"math"
	"runtime"
	"runtime/debug"
	"slices"
	"strings"
	"sync"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// rebuild makes all that is derived anew from the records, in one transaction.
// It fails, and changes nothing, where a record can't be read.
func (s *Store) rebuild() error {
	s.write.Lock()
	defer s.write.Unlock()
	return s.update(rebuildViews)
}

func rebuildViews(tx *bbolt.Tx) error {
	_, err := rebuildIn(tx, newPartsSum(), math.MaxInt, nil)
	return err
}

var derivedParts = [][]byte{bucketMats, bucketFarm, bucketDue, bucketLots, bucketTags, bucketTokens}

// rebuildIn makes all that is derived anew, some mats at a time, and calls next
// between them to commit and to give the next transaction: bbolt keeps in memory
// what a transaction has written. All that it writes is summed.
func rebuildIn(tx *bbolt.Tx, all *partsSum, mats int, next func() (*bbolt.Tx, error)) (*bbolt.Tx, error) {
	for _, name := range derivedParts {
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
	stored, err := encode(&farmEntry{Head: farm.head[:], Len: farm.n, Farm: f})
	if err != nil {
		return tx, err
	}
	all.add(bucketFarm, keyFarm, stored)
	if err := tx.Bucket(bucketFarm).Put(keyFarm, stored); err != nil {
		return tx, err
	}
	r := rebuilt{rules: rulesOf(f), tokens: map[string][]byte{}}
	for from := []byte{}; ; {
		if from, err = r.read(tx, from, mats); err != nil {
			return tx, err
		}
		if err := r.flush(tx, all); err != nil {
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

// rebuildMats is how many mats are derived at a time on one processor.
const rebuildMats = 32

// read derives what follows from some mats' records, on every processor, and
// gives the key at which the next ones begin. Nothing may be written meanwhile.
func (r *rebuilt) read(tx *bbolt.Tx, from []byte, mats int) ([]byte, error) {
	var all []*derivation
	jobs := make(chan *derivation, 16)
	var workers sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		workers.Go(func() {
			for d := range jobs {
				d.run(r.rules)
			}
		})
	}
	next, err := func() ([]byte, error) {
		defer close(jobs) // also where the file fails under the cursor
		return recordsOf(tx, from, mats, func(records []keyValue) {
			d := &derivation{records: records}
			all = append(all, d)
			jobs <- d
		})
	}()
	workers.Wait()
	for _, d := range all {
		if d.fault != nil {
			panic(d.fault) // for the guard of this goroutine
		}
		if d.err != nil {
			return nil, d.err
		}
		r.add(&d.rebuilt)
	}
	return next, err
}

func (r *rebuilt) add(part *rebuilt) {
	r.mats, r.dues = append(r.mats, part.mats...), append(r.dues, part.dues...)
	r.lots, r.tags = append(r.lots, part.lots...), append(r.tags, part.tags...)
	for token, refs := range part.tokens {
		r.tokens[token] = append(r.tokens[token], refs...)
	}
}

// recordsOf gives the records of some mats from a key on, those of a few whole
// threads at a time, and the key after them, nil at the end.
func recordsOf(tx *bbolt.Tx, from []byte, mats int, do func([]keyValue)) ([]byte, error) {
	var records []keyValue
	var mat []byte
	n := 0
	c := tx.Bucket(bucketSteps).Cursor()
	for k, v := c.Seek(from); k != nil; k, v = c.Next() {
		if len(k) != stepKeyLen {
			return nil, &RecordError{Code: medium.Code(mat), Err: &recordError{"a key of unknown form"}}
		}
		if !bytes.Equal(mat, k[:codeLen]) {
			mat = k[:codeLen]
			if n > 0 && n%rebuildMats == 0 {
				do(records)
				records = make([]keyValue, 0, len(records))
			}
			if n++; n > mats {
				do(records)
				return bytes.Clone(k), nil
			}
		}
		records = append(records, keyValue{k, v})
	}
	do(records)
	return nil, nil
}

// derivation derives what follows from the records of some whole threads.
type derivation struct {
	records []keyValue
	rebuilt
	err   error
	fault any // what the file's memory did
}

func (d *derivation) run(with rules) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() { d.fault = recover() }()
	d.rules, d.tokens = with, map[string][]byte{}
	var t thread
	var mat medium.Code
	for _, kv := range d.records {
		code, seq, _ := parseStepKey(kv.key)
		if code != mat {
			if d.err = d.end(mat, t); d.err != nil {
				return
			}
			mat, t = code, t.next()
		}
		s, err := t.read(code, seq, kv.value)
		if err != nil {
			d.err = &RecordError{Code: code, MatSeq: seq, Err: err}
			return
		}
		t.steps = append(t.steps, s)
	}
	d.err = d.end(mat, t)
	d.records = nil
}

// end takes what follows from one thread.
func (d *derivation) end(mat medium.Code, t thread) error {
	for i := range t.steps {
		if s := &t.steps[i]; s.Token != "" {
			token := strings.Clone(s.Token)
			d.tokens[token] = appendRef(d.tokens[token], *s)
		}
	}
	if mat == medium.FarmThread || t.n == 0 {
		return nil
	}
	kept, err := derive(t, d.rules)
	if err != nil {
		return err
	}
	stored, err := encode(&kept.entry)
	if err != nil {
		return err
	}
	d.mats = append(d.mats, keyValue{[]byte(mat), stored})
	if kept.work != nil {
		d.dues = append(d.dues, keyValue{dueKey(kept.entry.Due, mat), kept.work})
	}
	for _, k := range kept.lots {
		d.lots = append(d.lots, keyValue{[]byte(k), []byte{}}) // nil would read as missing until it is committed
	}
	for _, k := range kept.tags {
		d.tags = append(d.tags, keyValue{[]byte(k), []byte(mat)})
	}
	return nil
}

// flush writes what was derived, and counts it into the sum of it all.
func (r *rebuilt) flush(tx *bbolt.Tx, all *partsSum) error {
	var tokens []keyValue
	b := tx.Bucket(bucketTokens)
	for token, refs := range r.tokens {
		was := bytes.Clone(b.Get([]byte(token)))
		if was != nil {
			all.remove(bucketTokens, []byte(token), was)
		}
		tokens = append(tokens, keyValue{[]byte(token), sortedRefs(append(was, refs...))})
	}
	for _, part := range []struct {
		name []byte
		all  []keyValue
	}{{bucketMats, r.mats}, {bucketDue, r.dues}, {bucketLots, r.lots}, {bucketTags, r.tags}, {bucketTokens, tokens}} {
		if err := putSorted(tx.Bucket(part.name), part.all, rebuiltFill); err != nil {
			return err
		}
		for _, kv := range part.all {
			all.add(part.name, kv.key, kv.value)
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

// partsSum is a sum over all that is derived, whatever its order. What differs
// has the same sum once in 2^64, whoever made it: the seed is drawn anew each time.
type partsSum struct {
	seed maphash.Seed
	sum  uint64
}

func newPartsSum() *partsSum { return &partsSum{seed: maphash.MakeSeed()} }

func (c *partsSum) add(part, key, value []byte)    { c.sum += c.of(part, key, value) }
func (c *partsSum) remove(part, key, value []byte) { c.sum -= c.of(part, key, value) }

func (c *partsSum) of(part, key, value []byte) uint64 {
	var h maphash.Hash
	h.SetSeed(c.seed)
	for _, b := range [][]byte{part, key, value} {
		var n [4]byte
		binary.BigEndian.PutUint32(n[:], uint32(len(b)))
		h.Write(n[:])
		h.Write(b)
	}
	return h.Sum64()
}

// are says whether the sum is that of what a file holds.
func (c *partsSum) are(tx *bbolt.Tx) bool {
	held := partsSum{seed: c.seed}
	for _, part := range derivedParts {
		cur := tx.Bucket(part).Cursor()
		for k, v := cur.First(); k != nil; k, v = cur.Next() {
			held.add(part, k, v)
		}
	}
	return held.sum == c.sum
}
