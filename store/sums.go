package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"sort"

	"go.etcd.io/bbolt"
)

// The views are what is derived from the log: conditions, due lines, lots, other
// names, tokens, the farm's settings. Each entry carries the position that it speaks
// of and a checksum over its key and value. Each view is divided into slots by the
// first bytes of its keys, and of each slot the number of its entries and the sum of
// their marks are kept, whatever their order. Who reads an entry, or finds none,
// holds the whole slot against that: one that is missing, foreign, changed or stale
// shows.

// view is one of them.
type view struct {
	name byte
	part []byte // its bucket
	slot int    // bytes of a key that name its slot
	late bool   // most keys come behind those that are there: pages are made full
}

var (
	viewMats   = view{'m', bucketMats, 2, false}
	viewFarm   = view{'f', bucketFarm, 0, false}
	viewDue    = view{'d', bucketDue, 6, true} // slots of 18 hours
	viewLots   = view{'l', bucketLots, 1, false}
	viewTags   = view{'n', bucketTags, 1, false}
	viewTokens = view{'t', bucketTokens, 1, false}

	views = []view{viewDue, viewFarm, viewLots, viewMats, viewTags, viewTokens} // in the order of their names
)

// ViewError says that what is kept beside the records does not agree with itself,
// so that nothing is answered from it. It can be made again from the records.
type ViewError struct{ Path, Part string }

func (e *ViewError) Error() string {
	return fmt.Sprintf("%s: its part %q is not what was written there, so nothing is answered from it; "+
		"it can be made again from the records, which are kept apart from it",
		e.Path, e.Part)
}

// sums holds what is kept of all slots, in the order of their names: the view's name,
// the slot's in six bytes, the number of its entries (4), the sum of their marks (8),
// all integers big-endian. A slot without entries is left out. In the file a checksum
// and what they rest on stand before them: see tie.
type sums []byte

const (
	slotName = 1 + 6
	slotLen  = slotName + 4 + 8
)

func (w view) slotOf(key []byte) (name [slotName]byte) {
	name[0] = w.name
	copy(name[1:], key[:min(w.slot, len(key))])
	return name
}

// find gives where a slot is, or belongs.
func (s sums) find(name [slotName]byte) (at int, found bool) {
	i := sort.Search(len(s)/slotLen, func(i int) bool {
		return bytes.Compare(s[i*slotLen:i*slotLen+slotName], name[:]) >= 0
	})
	at = i * slotLen
	return at, at < len(s) && bytes.Equal(s[at:at+slotName], name[:])
}

func (s sums) get(name [slotName]byte) (count uint32, sum uint64) {
	at, found := s.find(name)
	if !found {
		return 0, 0
	}
	return binary.BigEndian.Uint32(s[at+slotName:]), binary.BigEndian.Uint64(s[at+slotName+4:])
}

// with gives the sums with entries more, or fewer, in a slot.
func (s sums) with(name [slotName]byte, count uint32, sum uint64) sums {
	at, found := s.find(name)
	if !found {
		s = append(s, make([]byte, slotLen)...)
		copy(s[at+slotLen:], s[at:])
		clear(s[at : at+slotLen])
		copy(s[at:], name[:])
	}
	n := binary.BigEndian.Uint32(s[at+slotName:]) + count
	if n == 0 {
		return append(s[:at], s[at+slotLen:]...)
	}
	binary.BigEndian.PutUint32(s[at+slotName:], n)
	binary.BigEndian.PutUint64(s[at+slotName+4:], binary.BigEndian.Uint64(s[at+slotName+4:])+sum)
	return s
}

const (
	checkLen = 8
	sealLen  = checkLen + 8
	tieLen   = 3*8 + 8*6
)

// tie gives the state of the file that the sums rest on: the position of the last
// record, the first 64 bits of the ledger's head and of that record's hash, and of each
// part that holds a view the number of the transaction that wrote there last. A part,
// or the log with its ledger, that is of another state of the same file shows by it.
func tie(tx *bbolt.Tx) ([]byte, error) {
	l, head, err := readWhole(tx)
	if err != nil {
		return nil, err
	}
	last := recordHash(tx.Bucket(bucketLog).Get(logKey(l.Count)))
	b := append(append(binary.BigEndian.AppendUint64(nil, l.Count), head[:8]...), last[:8]...)
	for _, w := range views {
		b = binary.BigEndian.AppendUint64(b, tx.Bucket(w.part).Sequence())
	}
	return b, nil
}

// stored gives the sums as they stand in the file.
func (s sums) stored(tx *bbolt.Tx) ([]byte, error) {
	tied, err := tie(tx)
	if err != nil {
		return nil, err
	}
	b := append(append(make([]byte, checkLen, checkLen+len(tied)+len(s)), tied...), s...)
	sum := sha256.Sum256(b[checkLen:])
	copy(b, sum[:checkLen])
	return b, nil
}

// checkTie holds the sums against the ledger, its log and the parts with the views. It
// gives an UnsoundError where they were written after the end that the log has now, so
// that nothing may be made again from it, and a ViewError where the log is the newer.
func checkTie(tx *bbolt.Tx) error {
	now, err := tie(tx)
	if err != nil {
		return err
	}
	kept := tx.Bucket(bucketMeta).Get(keySums)
	if len(kept) < checkLen+tieLen {
		return &ViewError{Path: tx.DB().Path(), Part: string(keySums)}
	}
	sum, was := sha256.Sum256(kept[checkLen:]), kept[checkLen:checkLen+tieLen]
	if !bytes.Equal(sum[:checkLen], kept[:checkLen]) {
		return &ViewError{Path: tx.DB().Path(), Part: string(keySums)}
	}
	if bytes.Equal(was, now) {
		return nil
	}
	older := bytes.Compare(now[:8], was[:8]) < 0
	for at := 3 * 8; at < tieLen && bytes.Equal(now[:8], was[:8]); at += 8 {
		older = older || bytes.Compare(now[at:at+8], was[at:at+8]) > 0
	}
	if older {
		return unsound(tx, "what is derived was written after record %d, with which the log ends: "+
			"an older copy of the log was put back", binary.BigEndian.Uint64(now))
	}
	return &ViewError{Path: tx.DB().Path(), Part: string(keySums)}
}

// checkEnd is checkTie for who reads or makes again from the log alone.
func checkEnd(tx *bbolt.Tx) error {
	err := checkTie(tx)
	var stale *ViewError
	if errors.As(err, &stale) {
		return nil
	}
	return err
}

// checksum is the first 64 bits of the SHA-256 of the view's name, the length of the
// key in four bytes, the key, and the value behind its checksum.
func (w view) checksum(key, value []byte) uint64 {
	var room [1024]byte
	b := binary.BigEndian.AppendUint32(append(room[:0], w.name), uint32(len(key)))
	sum := sha256.Sum256(append(append(b, key...), value...))
	return binary.BigEndian.Uint64(sum[:])
}

// mark is what an entry counts in the sum of its slot: its checksum and the FNV-1a
// hash (64 bits) of its key. It costs little to work out for a whole slot.
func mark(key, value []byte) uint64 { return fnv1a(key) + binary.BigEndian.Uint64(value) }

func fnv1a(key []byte) uint64 {
	h := uint64(0xcbf29ce484222325)
	for _, b := range key {
		h = (h ^ uint64(b)) * 0x100000001b3
	}
	return h
}

// seal gives an entry's value: its checksum, the position that it speaks of, and what
// it says.
func (w view) seal(key []byte, at uint64, payload []byte) []byte {
	b := binary.BigEndian.AppendUint64(make([]byte, checkLen, sealLen+len(payload)), at)
	b = append(b, payload...)
	binary.BigEndian.PutUint64(b, w.checksum(key, b[checkLen:]))
	return b
}

// sealed is an entry that was read.
type sealed struct {
	key     []byte
	at      uint64
	payload []byte
}

// open checks one entry.
func (w view) open(key, value []byte) (sealed, bool) {
	if len(value) < sealLen || binary.BigEndian.Uint64(value) != w.checksum(key, value[checkLen:]) {
		return sealed{}, false
	}
	return sealed{key, binary.BigEndian.Uint64(value[checkLen:]), value[sealLen:]}, true
}

// tables reads and writes the views in one transaction.
type tables struct {
	tx   *bbolt.Tx
	sums sums
	good map[[slotName]byte]bool // slots that were held against their sums
	keys map[[slotName]byte]map[uint64]bool
}

// tablesOf gives the views; whoever answers from them calls checkTie first.
func tablesOf(tx *bbolt.Tx) *tables {
	t := &tables{tx: tx, good: map[[slotName]byte]bool{}, keys: map[[slotName]byte]map[uint64]bool{}}
	kept := tx.Bucket(bucketMeta).Get(keySums)
	if n := len(kept) - checkLen - tieLen; n >= 0 && n%slotLen == 0 { // else nothing agrees with them
		t.sums = bytes.Clone(kept[checkLen+tieLen:])
	}
	return t
}

func (t *tables) broken(w view) error {
	return &ViewError{Path: t.tx.DB().Path(), Part: string(w.part)}
}

// check holds a slot against its sum. take, which may be nil, is given its entries as
// they are stored.
func (t *tables) check(w view, slot []byte, take func(k, v []byte)) error {
	c := t.tx.Bucket(w.part).Cursor()
	var count uint32
	var sum uint64
	for k, v := c.Seek(slot); k != nil && bytes.HasPrefix(k, slot) && len(v) >= sealLen; k, v = c.Next() {
		count, sum = count+1, sum+mark(k, v)
		if take != nil {
			take(k, v)
		}
	}
	name := w.slotOf(slot)
	if n, want := t.sums.get(name); n != count || sum != want {
		return t.broken(w)
	}
	t.good[name] = true
	return nil
}

// get gives an entry, false where there is none.
func (t *tables) get(w view, key []byte) (e sealed, found bool, err error) {
	if !t.good[w.slotOf(key)] {
		if err := t.check(w, key[:min(w.slot, len(key))], nil); err != nil {
			return e, false, err
		}
	}
	value := t.tx.Bucket(w.part).Get(key)
	if value == nil {
		return e, false, t.absent(w, key)
	}
	if e, found = w.open(key, value); !found {
		err = t.broken(w)
	}
	return e, found, err
}

// absent says whether a key that was not found is not there: a key that is broken
// leads the search for others astray. The keys of a slot in which this is asked again
// are remembered.
func (t *tables) absent(w view, key []byte) error {
	name := w.slotOf(key)
	keys, again := t.keys[name]
	if keys == nil {
		present := false
		if again {
			keys = map[uint64]bool{}
		}
		err := t.check(w, key[:min(w.slot, len(key))], func(k, _ []byte) {
			present = present || bytes.Equal(k, key)
			if again {
				keys[fnv1a(k)] = true
			}
		})
		if t.keys[name] = keys; present || err != nil {
			return t.broken(w)
		}
	}
	if keys[fnv1a(key)] {
		return t.broken(w)
	}
	return nil
}

// each gives the entries whose keys begin with prefix, until do says that it has
// enough. A prefix is none, or it names a slot.
func (t *tables) each(w view, prefix []byte, do func(sealed) (more bool, err error)) error {
	at, _ := t.sums.find(w.slotOf(prefix))
	if len(prefix) == 0 {
		at, _ = t.sums.find([slotName]byte{w.name})
	}
	slots := 0
	for ; at < len(t.sums) && t.sums[at] == w.name; at += slotLen { // slots without an entry in the part show too
		slot := t.sums[at+1 : at+1+w.slot]
		if len(prefix) > 0 && !bytes.HasPrefix(prefix, slot) {
			break
		}
		var all []keyValue
		err := t.check(w, slot, func(k, v []byte) {
			if bytes.HasPrefix(k, prefix) {
				all = append(all, keyValue{k, v})
			}
		})
		if err != nil {
			return err
		}
		slots++
		for _, kv := range all {
			e, ok := w.open(kv.key, kv.value)
			if !ok {
				return t.broken(w)
			}
			if more, err := do(e); err != nil || !more {
				return err
			}
		}
	}
	if slots == 0 && len(prefix) > 0 {
		return t.check(w, prefix[:w.slot], nil) // it must be empty
	}
	return nil
}

// set puts a value as it is stored, nil takes it away, and keeps the sums. It gives
// what was there.
func (t *tables) set(w view, key, value []byte) (was []byte, err error) {
	b := t.tx.Bucket(w.part)
	if err := stamp(b); err != nil {
		return nil, err
	}
	name := w.slotOf(key)
	if was = bytes.Clone(b.Get(key)); len(was) >= sealLen {
		t.sums = t.sums.with(name, ^uint32(0), -mark(key, was))
	}
	if keys := t.keys[name]; keys != nil {
		keys[fnv1a(key)] = value != nil
	}
	if value == nil {
		return was, b.Delete(key)
	}
	if w.late {
		b.FillPercent = rebuiltFill
	}
	t.sums = t.sums.with(name, 1, mark(key, value))
	return was, b.Put(key, value)
}

// clear empties a view.
func (t *tables) clear(w view) error {
	if err := t.tx.DeleteBucket(w.part); err != nil {
		return err
	}
	b, err := t.tx.CreateBucket(w.part)
	if err == nil {
		err = stamp(b)
	}
	var kept sums
	for at := 0; at < len(t.sums); at += slotLen {
		if t.sums[at] != w.name {
			kept = append(kept, t.sums[at:at+slotLen]...)
		}
	}
	t.sums = kept
	return err
}

// stamp notes in a part which transaction wrote there last: it costs no page more.
func stamp(b *bbolt.Bucket) error { return b.SetSequence(uint64(b.Tx().ID())) }

// save writes the sums, which must come after all else.
func (t *tables) save() error {
	kept, err := t.sums.stored(t.tx)
	if err != nil {
		return err
	}
	return t.tx.Bucket(bucketMeta).Put(keySums, kept)
}

// counted reads a whole view, and gives its sums as they should be and the number of
// its entries; bad names an entry whose checksum is wrong, nil where all are right.
func (w view) counted(tx *bbolt.Tx) (s sums, n int, bad []byte) {
	c := tx.Bucket(w.part).Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		if _, ok := w.open(k, v); !ok {
			return s, n, bytes.Clone(k)
		}
		s, n = s.with(w.slotOf(k), 1, mark(k, v)), n+1
	}
	return s, n, nil
}
