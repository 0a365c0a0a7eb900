package store

import (
	"bytes"
	"fmt"
	"slices"
	"time"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// What is kept beside the records is derived from them and can always be made
// anew. viewsRevision must go up when Condition.Apply, WorkOn or the form of an
// entry changes, so that older files are brought up to date when they are
// opened. (The test of the frozen ledger fails where that was forgotten. A
// change of medium.Rules, or of how values are encoded, is noticed without it.)
const viewsRevision = 9

// entry is what is kept of a mat beside its records.
type entry struct {
	Head      []byte           `cbor:"10,keyasint,omitzero"` // hash of its last record
	Len       uint64           `cbor:"11,keyasint,omitzero"` // records in its thread
	Condition medium.Condition `cbor:"12,keyasint,omitzero"`
	Due       time.Time        `cbor:"13,keyasint,omitzero"` // its key in the due index; zero: not in it
}

// farmEntry is the same for the farm's own thread.
type farmEntry struct {
	Head []byte      `cbor:"10,keyasint,omitzero"`
	Len  uint64      `cbor:"11,keyasint,omitzero"`
	Farm medium.Farm `cbor:"12,keyasint,omitzero"`
}

// viewsVersion names the way in which this program derives the views: a hash of
// viewsRevision, of medium.Rules and of a sample of what is stored. A test works
// it out and says what to write here; to do that at each start would take longer
// than to open the file.
func viewsVersion() []byte { return []byte{0x3c, 0xa4, 0xc2, 0xfe, 0x8c, 0xf3, 0x2a, 0xca} }

// thread is a mat's records as they were read, with the hash of the last.
type thread struct {
	steps []medium.Step
	head  hash
	n     uint64 // records so far
}

// next is an empty thread in the memory of this one.
func (t *thread) next() thread { return thread{steps: t.steps[:0]} }

// derived is all that is kept beside the records of one mat.
type derived struct {
	entry entry
	work  []byte   // value in the due index; nil: not in it
	lots  []string // keys, each once, in their order
	tags  []string
}

func derive(t thread, r rules) (derived, error) {
	d := derived{entry: entry{Head: t.head[:], Len: uint64(len(t.steps)), Condition: medium.Replay(t.steps)}}
	work, err := d.entry.due(r)
	d.work = work
	d.lots = lotsOf(t.steps)
	for i := range t.steps {
		d.tags = append(d.tags, tagsOf(&t.steps[i])...)
	}
	d.tags = once(d.tags)
	return d, err
}

// rules are what a line of the due list depends on beside the condition.
type rules struct {
	farm medium.Farm
	zone *time.Location // loading one reads a file
}

func rulesOf(f medium.Farm) rules { return rules{f, f.Location()} }

// due works out the mat's line of the due list: it sets the time in the entry
// and gives the stored line, nil where nothing is due.
func (e *entry) due(r rules) ([]byte, error) {
	work, ok := medium.WorkOn(e.Condition, r.farm, r.zone)
	if !ok {
		e.Due = time.Time{}
		return nil, nil
	}
	e.Due = work.At.UTC().Truncate(time.Second)
	return encode(&work)
}

// lotsOf gives the keys of the lots that a thread touched. A sowing that was
// voided touched none.
func lotsOf(steps []medium.Step) []string {
	voided := medium.Voided(steps)
	var keys []string
	for i := range steps {
		if s := &steps[i]; !voided[s.MatSeq] {
			keys = append(keys, lotsOfStep(s)...)
		}
	}
	return once(keys)
}

// once gives each key once, in their order.
func once(keys []string) []string {
	slices.Sort(keys)
	return slices.Compact(keys)
}

func lotsOfStep(s *medium.Step) (keys []string) {
	b, ok := s.Body.(*medium.Sow)
	if !ok {
		return nil
	}
	if k := lotKey(cropLot, b.Lot, s.Mat); k != "" {
		keys = append(keys, k)
	}
	if k := lotKey(seedLot, b.SeedLot, s.Mat); k != "" {
		keys = append(keys, k)
	}
	return keys
}

// tagsOf gives the keys of the other names that a step gives its mat. An old
// mark goes on naming the mat: it is punched into the mesh.
func tagsOf(s *medium.Step) (keys []string) {
	mark := ""
	switch b := s.Body.(type) {
	case *medium.Add:
		mark = b.Mat.Mark
	case *medium.Relabel:
		mark = b.Mark
		if b.NewCode != "" {
			keys = append(keys, string(tagKey(b.NewCode)))
		}
	}
	if fold(mark) != "" {
		keys = append(keys, string(markKey(mark)))
	}
	return keys
}

// read reads the next record of a thread and checks that it follows.
func (t *thread) read(code medium.Code, seq uint64, stored []byte) (medium.Step, error) {
	s, prev, err := decodeStep(stored)
	if err != nil {
		t.head = recordHash(stored)
		t.n++
		return s, err
	}
	if s.Mat != code || s.MatSeq != seq {
		err = &recordError{fmt.Sprintf("it says that it is step %d of mat %s", s.MatSeq, s.Mat)}
	}
	if follows := t.follow(seq, stored, prev); err == nil {
		err = follows
	}
	return s, err
}

// follow takes the next record's bytes and checks its place and its link.
func (t *thread) follow(seq uint64, stored, link []byte) (err error) {
	switch {
	case seq != t.n+1:
		err = &recordError{fmt.Sprintf("step %d is missing before it", t.n+1)}
	case t.n == 0 && len(link) != 0, t.n > 0 && !bytes.Equal(link, t.head[:]):
		err = &recordError{"it does not chain to the step before it"}
	}
	t.head = recordHash(stored)
	t.n++
	return err
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
