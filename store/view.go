package store

import (
	"encoding/binary"
	"time"

	"resow/medium"
)

// What is kept beside the records is derived from them and can always be made
// anew. viewsRevision must go up when Condition.Apply, WorkOn or the form of an
// entry changes, so that older files are brought up to date when they are
// opened. (The test of the export of format 1 fails where that was forgotten. A
// change of medium.Rules, or of how values are encoded, is noticed without it.)
const viewsRevision = 14

// entry is what is kept of a mat beside its records.
type entry struct {
	Head      []byte           `cbor:"10,keyasint,omitzero"` // hash of its last record
	Len       uint64           `cbor:"11,keyasint,omitzero"` // records in its thread
	Condition medium.Condition `cbor:"12,keyasint,omitzero"`
	Due       time.Time        `cbor:"13,keyasint,omitzero"` // its key in the due list; zero: not in it
	mat       medium.Code      // its key in the file
	at        uint64           // its last record, which stands before the entry
}

func (e *entry) tail() tail { return tail{e.mat, e.at, e.Len, e.Head} }

// farmEntry is the same for the farm's own thread.
type farmEntry struct {
	Head []byte      `cbor:"10,keyasint,omitzero"`
	Len  uint64      `cbor:"11,keyasint,omitzero"`
	Farm medium.Farm `cbor:"12,keyasint,omitzero"`
	at   uint64      // its last record, which stands before the entry
}

func (f *farmEntry) tail() tail { return tail{medium.FarmThread, f.at, f.Len, f.Head} }

func (f *farmEntry) rules() rules { return rules{f.Farm, f.at} }

// viewsVersion names the way in which this program derives the views: a hash of
// viewsRevision, of medium.Rules and of a sample of what is stored. A test works
// it out and says what to write here; to do that at each start would take longer
// than to open the file.
func viewsVersion() []byte { return []byte{0xb0, 0x2f, 0x3e, 0x94, 0x90, 0x4f, 0x8f, 0xbd} }

// derived is all that is kept beside the records of one mat.
type derived struct {
	entry entry
	work  []byte   // payload in the due list; nil: not in it
	names []naming // each once
}

// naming is an entry of the lots, rolls and solutions or of the other names.
type naming struct {
	view
	key string
	at  uint64 // the record that gave it
}

// derive works out all that is kept of a mat.
func derive(t tail, steps []medium.Step, r rules) (derived, error) {
	d := derived{entry: entry{Head: t.hash, Len: t.n, Condition: medium.Replay(steps), mat: t.mat, at: t.at}}
	work, err := d.entry.due(r)
	d.work = work
	d.names = namesOf(steps)
	return d, err
}

// rules are what a line of the due list depends on beside the condition.
type rules struct {
	farm medium.Farm
	at   uint64 // the farm's last record
}

// farmPosLen is how much of a due line is the position of the farm's record.
const farmPosLen = 8

// due works out the mat's line of the due list: it sets the time in the entry and
// gives the line with the position of the farm before it, nil where nothing is due.
func (e *entry) due(r rules) ([]byte, error) {
	work, ok := medium.WorkOn(e.Condition, r.farm, r.farm.Location())
	if !ok {
		e.Due = time.Time{}
		return nil, nil
	}
	e.Due = work.At.UTC().Truncate(time.Second)
	line, err := encode(&work)
	return append(binary.BigEndian.AppendUint64(nil, r.at), line...), err
}

// namesOf gives what a thread's mat has in common with others, and the other names that
// it gave its mat.
func namesOf(steps []medium.Step) (names []naming) {
	voided := medium.Voided(steps)
	seen := map[string]bool{}
	for i := range steps {
		for _, n := range namesOfStep(&steps[i], voided[steps[i].MatSeq]) {
			if !seen[n.key] {
				seen[n.key] = true
				names = append(names, n)
			}
		}
	}
	return names
}

// namesOfStep gives those of one step. A sowing that was voided stands by itself; an
// old mark goes on naming the mat, since it is punched into the mesh.
func namesOfStep(s *medium.Step, voided bool) (names []naming) {
	tag := func(key []byte) { names = append(names, naming{viewTags, string(key), s.Seq}) }
	touched := func(x Index, name string) {
		if fold(name) != "" {
			names = append(names, naming{viewLots, x.key(name, s.Mat), s.Seq})
		}
	}
	mark := ""
	switch b := s.Body.(type) {
	case *medium.Sow:
		lots, seeds := Lots, SeedLots
		if voided {
			lots, seeds = VoidedLots, VoidedSeedLots
		}
		touched(lots, b.Lot)
		for _, lot := range b.SeedLots() {
			touched(seeds, lot)
		}
	case *medium.Sanitize:
		if !voided {
			touched(Solutions, string(b.Solution))
		}
	case *medium.Add:
		mark = b.Mat.Mark
		touched(Rolls, b.Mat.Roll)
	case *medium.Relabel:
		mark = b.Mark
		if b.NewCode != "" {
			tag(tagKey(b.NewCode))
		}
	}
	if fold(mark) != "" {
		tag(markKey(mark))
	}
	return names
}

// value is the entry as it is stored: a lot's says no more than its key.
func (n naming) value(mat medium.Code) []byte {
	if n.name == viewLots.name {
		return n.seal([]byte(n.key), n.at, nil)
	}
	return n.seal([]byte(n.key), n.at, []byte(mat))
}

func foldFarm(steps []medium.Step) medium.Farm {
	var f medium.Farm
	for _, s := range steps {
		f = f.Apply(s)
	}
	return f
}
