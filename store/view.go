package store

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"sync"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// What is kept beside the records is derived from them and can always be made
// anew. viewsRevision must go up when Condition.Apply, WorkOn or the form of an
// entry changes, so that older files are brought up to date when they are
// opened. (The test of the frozen ledger fails where that was forgotten. A
// change of medium.Rules, or of how values are encoded, is noticed without it.)
const viewsRevision = 1

// entry is what is kept of a mat beside its records.
type entry struct {
	intKeys
	Head      []byte           `cbor:"10"` // hash of its last record
	Len       uint64           `cbor:"11"` // records in its thread
	Condition medium.Condition `cbor:"12"`
	Due       time.Time        `cbor:"13"` // its key in the due index; zero: not in it
}

// farmEntry is the same for the farm's own thread.
type farmEntry struct {
	intKeys
	Head []byte      `cbor:"10"`
	Len  uint64      `cbor:"11"`
	Farm medium.Farm `cbor:"12"`
}

// viewsVersion names the way in which this program derives the views.
var viewsVersion = sync.OnceValue(func() []byte {
	rules, err := json.Marshal(medium.Rules)
	if err != nil {
		panic("store: the rules can't be encoded: " + err.Error()) // plain structs: can't fail
	}
	ph := 6.5
	sample, err := encode([]any{0.1, 1.5, 1e300, -1, 70000, "ü", time.Unix(1e9, 0).UTC(), &medium.Sanitize{PH: &ph}})
	if err != nil {
		panic("store: the sample can't be encoded: " + err.Error())
	}
	sum := sha256.Sum256(append(append(fmt.Appendf(nil, "views %d\n", viewsRevision), rules...), sample...))
	return sum[:8]
})

// thread is a mat's records as they were read, with the hash of the last.
type thread struct {
	steps []medium.Step
	head  hash
}

// derived is all that is kept beside the records of one mat.
type derived struct {
	entry entry
	work  []byte // value in the due index; nil: not in it
	lots  map[string]bool
	tags  map[string]bool
}

func derive(t thread, farm medium.Farm) (derived, error) {
	d := derived{entry: entry{Head: t.head[:], Len: uint64(len(t.steps)), Condition: medium.Replay(t.steps)}}
	work, err := d.entry.due(farm)
	d.work = work
	d.lots, d.tags = lotsOf(t.steps), map[string]bool{}
	for _, s := range t.steps {
		for _, k := range tagsOf(s) {
			d.tags[string(k)] = true
		}
	}
	return d, err
}

// due works out the mat's line of the due list: it sets the time in the entry
// and gives the stored line, nil where nothing is due.
func (e *entry) due(farm medium.Farm) ([]byte, error) {
	work, ok := medium.WorkOn(e.Condition, farm.Policy, farm.Location())
	if !ok {
		e.Due = time.Time{}
		return nil, nil
	}
	e.Due = work.At.UTC().Truncate(time.Second)
	return encode(&work)
}

// lotsOf gives the keys of the lots that a thread touched. A sowing that was
// voided touched none.
func lotsOf(steps []medium.Step) map[string]bool {
	voided := map[uint64]bool{}
	for _, s := range steps {
		if b, ok := s.Body.(*medium.Correct); ok {
			voided[b.MatSeq] = true
		}
	}
	keys := map[string]bool{}
	for _, s := range steps {
		if voided[s.MatSeq] {
			continue
		}
		for _, k := range lotsOfStep(s) {
			keys[string(k)] = true
		}
	}
	return keys
}

func lotsOfStep(s medium.Step) (keys [][]byte) {
	b, ok := s.Body.(*medium.Sow)
	if !ok {
		return nil
	}
	if fold(b.Lot) != "" {
		keys = append(keys, lotKey(cropLot, b.Lot, s.Mat))
	}
	if fold(b.SeedLot) != "" {
		keys = append(keys, lotKey(seedLot, b.SeedLot, s.Mat))
	}
	return keys
}

// tagsOf gives the keys of the other names that a step gives its mat. An old
// mark goes on naming the mat: it is punched into the mesh.
func tagsOf(s medium.Step) (keys [][]byte) {
	mark := ""
	switch b := s.Body.(type) {
	case *medium.Add:
		mark = b.Mat.Mark
	case *medium.Relabel:
		mark = b.Mark
		if b.NewCode != "" {
			keys = append(keys, tagKey(b.NewCode))
		}
	}
	if fold(mark) != "" {
		keys = append(keys, markKey(mark))
	}
	return keys
}

// readThreads reads all records, thread by thread, and calls f with each. A
// record that can't be read or does not chain goes to bad, which may be nil:
// then the first one ends the reading.
func readThreads(tx *bbolt.Tx, f func(mat medium.Code, t thread) error) error {
	var t thread
	var mat medium.Code
	flush := func() error {
		if len(t.steps) == 0 {
			return nil
		}
		return f(mat, t)
	}
	c := tx.Bucket(bucketSteps).Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		code, seq, ok := parseStepKey(k)
		if !ok {
			return &RecordError{Code: mat, Err: &recordError{"a key of unknown form"}}
		}
		if code != mat {
			if err := flush(); err != nil {
				return err
			}
			mat, t = code, thread{}
		}
		s, err := t.read(code, seq, v)
		if err != nil {
			return &RecordError{Code: code, MatSeq: seq, Err: err}
		}
		t.steps = append(t.steps, s)
	}
	return flush()
}

// read reads the next record of a thread and checks that it follows.
func (t *thread) read(code medium.Code, seq uint64, stored []byte) (medium.Step, error) {
	want := bytes.Clone(t.head[:])
	if len(t.steps) == 0 {
		want = nil
	}
	t.head = recordHash(stored)
	s, prev, err := decodeStep(stored)
	if err != nil {
		return s, err
	}
	switch {
	case s.Mat != code || s.MatSeq != seq:
		err = &recordError{fmt.Sprintf("it says that it is step %d of mat %s", s.MatSeq, s.Mat)}
	case seq != uint64(len(t.steps))+1:
		err = &recordError{fmt.Sprintf("step %d is missing before it", len(t.steps)+1)}
	case !bytes.Equal(prev, want):
		err = &recordError{"it does not chain to the step before it"}
	}
	return s, err
}

// readThread reads one thread.
func readThread(tx *bbolt.Tx, mat medium.Code) (thread, error) {
	var t thread
	c := tx.Bucket(bucketSteps).Cursor()
	for k, v := c.Seek([]byte(mat)); k != nil; k, v = c.Next() {
		code, seq, ok := parseStepKey(k)
		if !ok || code != mat {
			break
		}
		s, err := t.read(code, seq, v)
		if err != nil {
			return t, &RecordError{Code: code, MatSeq: seq, Err: err}
		}
		t.steps = append(t.steps, s)
	}
	return t, nil
}

func foldFarm(steps []medium.Step) medium.Farm {
	var f medium.Farm
	for _, s := range steps {
		f = f.Apply(s)
	}
	return f
}
