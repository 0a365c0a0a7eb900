package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// maxProblems bounds the problems that a report lists.
const maxProblems = 200

// Report is the outcome of Verify.
type Report struct {
	Mats     int       `json:"mats"`
	Steps    int       `json:"steps"` // records, those about the farm included
	OK       bool      `json:"ok"`
	Problems []Problem `json:"problems"`
}

// Problem is one thing that does not agree.
type Problem struct {
	Code medium.Code `json:"code"` // the mat, FARM0000, or empty: the file as a whole
	Seq  uint64      `json:"seq"`  // the step in the mat's own thread; 0: none of them
	Text string      `json:"text"`
}

// Verify holds all against all: every record's bytes against the ledger's head and
// the thread of its mat, each condition against a replay of its thread, and what else
// is derived both ways. With an anchor it also holds the ledger against that: what
// was recorded up to it must be there unchanged.
//
// What does not agree is a Problem. A container that is broken, so that the
// contents can't be trusted to be read at all, is a DamagedError beside the
// report. progress, which may be nil, hears of the records that were read.
func (s *Store) Verify(progress func(done, total int), want *Anchor) (Report, error) {
	return s.verify(&verifier{progress: progress, want: want})
}

// VerifyChain is the part of Verify that needs no record to be decoded: every
// page, and every record's bytes against the ledger's head. It does not look at what
// is derived, and counts no mats.
func (s *Store) VerifyChain(progress func(done, total int), want *Anchor) (Report, error) {
	return s.verify(&verifier{progress: progress, want: want, chainOnly: true})
}

// sound is VerifyChain with its problems as an UnsoundError.
func (s *Store) sound(v *verifier) error {
	v.chainOnly = true
	r, err := s.verify(v)
	if err == nil && !r.OK {
		err = &UnsoundError{Path: s.path, Problems: r.Problems}
	}
	return err
}

func (s *Store) verify(v *verifier) (Report, error) {
	s.write.Lock()
	defer s.write.Unlock()
	v.store, v.report.Problems = s, []Problem{}
	err := s.checkContainer()
	if err == nil {
		err = v.run()
	}
	if err != nil {
		v.problem("", 0, "%s", err.Error())
	}
	v.report.OK = len(v.report.Problems) == 0
	if v.more > 0 {
		v.report.Problems = append(v.report.Problems, Problem{Text: fmt.Sprintf("and %d more", v.more)})
	}
	var damaged *DamagedError
	if errors.As(err, &damaged) {
		return v.report, damaged
	}
	return v.report, nil
}

// checkContainer checks every page, but of a large file no leaf of the log: each
// record is held against the head a slice at a time, and nobody waits that long.
func (s *Store) checkContainer() error {
	if damaged := s.broken.Load(); damaged != nil {
		return damaged
	}
	return s.held(s.checkPages)
}

func (s *Store) checkPages() error {
	info, err := s.file.Stat()
	if err != nil {
		return err
	}
	c, err := recognize(s.file, info.Size())
	if err == nil {
		c.spare = info.Size() > skimAtOpen
		err = s.checkMapped(c, info.Size())
	}
	if err == nil {
		err = c.checkMetas()
	}
	var damaged *DamagedError
	if err == nil || errors.As(err, &damaged) {
		return err
	}
	return &DamagedError{Path: s.path, Why: err.Error()}
}

// checkMapped checks all pages in the memory that the file is mapped to: to read
// it all takes longer than to check it.
func (s *Store) checkMapped(c *container, size int64) error {
	mapped, unmap := mapFile(s.file, size)
	defer unmap()
	c.mapped = mapped
	return s.guard(c.check)
}

type verifier struct {
	store     *Store
	progress  func(done, total int)
	want      *Anchor
	chainOnly bool
	passing   func(n uint64, head hash) // hears of every state of the ledger; may be nil
	report    Report
	more      int

	ledger  ledger
	seen    []uint64     // a bit for each record that stands in the thread of a mat
	broken  bool         // some thread can't be read to its end
	entries map[byte]int // of each view that the records make
	listed  int          // steps that have a request token
}

func (v *verifier) problem(code medium.Code, seq uint64, format string, args ...any) {
	v.add(Problem{Code: printable(code), Seq: seq, Text: fmt.Sprintf(format, args...)})
}

func (v *verifier) add(p Problem) {
	if len(v.report.Problems) == maxProblems {
		v.more++
		return
	}
	v.report.Problems = append(v.report.Problems, p)
}

// printable keeps what a tampered key holds off the screen.
func printable(c medium.Code) medium.Code {
	for i := range len(c) {
		if c[i] < ' ' || c[i] > '~' {
			return medium.Code(fmt.Sprintf("%x", string(c)))
		}
	}
	return c
}

func (v *verifier) run() error {
	var l ledger
	var head hash
	err := v.store.view(func(tx *bbolt.Tx) (err error) {
		l, head, err = readLedger(tx)
		return err
	})
	var damaged *DamagedError
	if errors.As(err, &damaged) {
		return err
	}
	if err != nil {
		v.problem("", 0, "the ledger's head can't be read: %v", err)
	}
	v.ledger = l
	if err := v.checkChain(l.Count, head); err != nil {
		return err
	}
	if err := v.store.view(func(tx *bbolt.Tx) error { v.checkParts(tx); return nil }); err != nil || v.chainOnly {
		return err
	}
	if err := v.checkThreads(); err != nil {
		return err
	}
	return v.store.view(func(tx *bbolt.Tx) error { v.checkViews(tx); return nil })
}

// checkChain goes through all records in the order of the ledger.
func (v *verifier) checkChain(count uint64, head hash) error {
	total := int(min(count, 1<<40))
	v.checkAnchor(0, v.store.genesis)
	last := uint64(0)
	unread := func(uint64, []byte) (none struct{}, err error) { return none, nil }
	err := inOrderTo(v.store, count, head, unread, func(r logged[struct{}]) error {
		last = r.at
		v.checkAnchor(r.at, r.head)
		if v.passing != nil {
			v.passing(r.at, r.head)
		}
		if v.progress != nil && (r.at%1000 == 0 || r.at == count) {
			v.progress(int(r.at), total)
		}
		return nil
	})
	v.report.Steps = int(last)
	var unsound *UnsoundError
	switch {
	case errors.As(err, &unsound) && last < count:
		v.problem("", 0, "the ledger counts %d records, and %s: records are missing or were put in",
			count, unsound.Problems[0].Text)
	case errors.As(err, &unsound):
		v.problem("", 0, "the ledger's head does not agree with its records: a record, or what the file says of itself, "+
			"was changed")
	case err != nil:
		return err
	}
	if v.want != nil && v.want.Count > count {
		v.problem("", 0, "the anchor names %d records, %d are there: the end was cut off, or an older copy of the file "+
			"was put back", v.want.Count, count)
	}
	return nil
}

func (v *verifier) checkAnchor(n uint64, h hash) {
	if v.want != nil && v.want.Count == n && anchorOf(n, h) != *v.want {
		v.problem("", 0, "the first %d records are not those that the anchor names: something was changed since it was "+
			"printed", n)
	}
}

// checkParts looks for what no version of this format writes.
func (v *verifier) checkParts(tx *bbolt.Tx) {
	known := map[string]bool{}
	for _, b := range buckets {
		known[string(b)] = true
	}
	c := tx.Cursor()
	for k, val := c.First(); k != nil; k, val = c.Next() {
		if val != nil || !known[string(k)] {
			v.problem("", 0, "the file has a part %q that does not belong there", k)
		}
	}
	meta := tx.Bucket(bucketMeta)
	if genesis(meta.Get(keyIdentity)) != v.store.genesis {
		v.problem("", 0, "what the file says of itself was changed")
	}
	known = map[string]bool{string(keyIdentity): true, string(keyLedger): true, string(keyViews): true,
		string(keySums): true}
	c = meta.Cursor()
	for k, _ := c.First(); k != nil; k, _ = c.Next() {
		if !known[string(k)] {
			v.problem("", 0, "the file has a value %q that does not belong there", k)
		}
	}
	if l, head, err := readLedger(tx); err == nil { // by the bytes: a decoder reads some values in more than one spelling
		want, err := encode(&ledger{Count: l.Count, Head: head[:]})
		if err != nil || !bytes.Equal(want, meta.Get(keyLedger)) {
			v.problem("", 0, "the ledger's count and head are not spelled as they were written")
		}
	}
	if k, _ := tx.Bucket(bucketLog).Cursor().First(); k != nil && bytes.Compare(k, logKey(1)) < 0 {
		v.problem("", 0, "a record with the key %x stands before the first one", k)
	}
	if k, _ := tx.Bucket(bucketLog).Cursor().Last(); k != nil && bytes.Compare(k, logKey(v.ledger.Count)) > 0 {
		now, _, err := readLedger(tx)
		if err != nil || bytes.Compare(k, logKey(now.Count)) > 0 { // else it was recorded meanwhile
			v.problem("", 0, "a record with the key %x stands behind the last one", k)
		}
	}
	if !v.chainOnly && !bytes.Equal(meta.Get(keyViews), viewsVersion()) {
		v.problem("", 0, "conditions and lists were not brought up to date, because of the problems below")
	}
}

// looked is what came of some mats.
type looked struct {
	problems []Problem
	broken   bool
	at       []uint64 // records of their threads
	entries  map[byte]int
	listed   int
}

func (f *looked) problem(code medium.Code, seq uint64, format string, args ...any) {
	f.problems = append(f.problems, Problem{printable(code), seq, fmt.Sprintf(format, args...)})
}

// checkThreads replays every thread and holds what is kept of its mat against that,
// on all processors, some mats at a time.
func (v *verifier) checkThreads() error {
	var mats [][]byte
	err := v.store.view(func(tx *bbolt.Tx) error {
		c := tx.Bucket(bucketMats).Cursor()
		for k, _ := c.First(); k != nil; k, _ = c.Next() {
			mats = append(mats, bytes.Clone(k))
		}
		return nil
	})
	if err != nil {
		return err
	}
	v.seen, v.entries = make([]uint64, min(v.ledger.Count, 1<<32)/64+1), map[byte]int{viewFarm.name: 1}
	mats = append([][]byte{[]byte(medium.FarmThread)}, mats...)
	err = parallel(slices.Chunk(mats, matsAtOnce), func(some [][]byte) (f looked, err error) {
		err = v.store.view(func(tx *bbolt.Tx) error {
			f = looked{entries: map[byte]int{}}
			farm, err := tablesOf(tx).farmKept()
			r := farm.rules()
			for _, mat := range some {
				if string(mat) != string(medium.FarmThread) {
					f.mat(tx, mat, r)
					continue
				}
				if err != nil {
					f.problem(medium.FarmThread, 0, "its settings can't be read: %v", err)
				}
				f.farm(tx, &farm)
			}
			return nil
		})
		return f, err
	}, func(f looked) error {
		for _, p := range f.problems {
			v.add(p)
		}
		v.broken = v.broken || f.broken
		v.listed += f.listed
		for name, n := range f.entries {
			v.entries[name] += n
		}
		for _, at := range f.at {
			if at <= v.ledger.Count {
				v.seen[(at-1)/64] |= 1 << ((at - 1) % 64)
			}
		}
		return nil
	})
	v.report.Mats = max(0, len(mats)-1)
	if err != nil || v.broken {
		return err
	}
	for at := uint64(1); at <= v.ledger.Count; at++ {
		if v.seen[(at-1)/64]&(1<<((at-1)%64)) == 0 {
			v.problem(v.matOf(at), 0, "record %d of the ledger stands in no thread", at)
		}
	}
	return nil
}

func (v *verifier) matOf(position uint64) (mat medium.Code) {
	_ = v.store.view(func(tx *bbolt.Tx) error {
		h, _, _, _ := headOf(position, tx.Bucket(bucketLog).Get(logKey(position)))
		mat = h.Mat
		return nil
	})
	return mat
}

// thread reads a thread and the lists of its request tokens.
func (f *looked) thread(tx *bbolt.Tx, last tail) ([]medium.Step, bool) {
	steps, err := readThread(tx, last, nil)
	var unreadable *RecordError
	if errors.As(err, &unreadable) {
		f.problem(unreadable.Code, unreadable.MatSeq, "%s", unreadable.Err.Error())
	}
	if err != nil {
		f.broken = true
		return nil, false
	}
	for i := range steps {
		f.at = append(f.at, steps[i].Seq)
		if steps[i].Token != "" {
			f.token(tx, &steps[i])
		}
	}
	return steps, true
}

// token looks for a step in the list of its request token.
func (f *looked) token(tx *bbolt.Tx, s *medium.Step) {
	key := tokenKey(s.Token)
	e, ok := viewTokens.open(key, tx.Bucket(bucketTokens).Get(key))
	name := named(nil, s.Seq, tx.Bucket(bucketLog).Get(logKey(s.Seq)))
	i := bytes.Index(e.payload, name)
	if !ok || i < 0 || i%nameLen != 0 || len(e.payload)%nameLen != 0 || e.at != binary.BigEndian.Uint64(e.payload) {
		f.problem(s.Mat, s.MatSeq, "it is missing from the list of its request token")
	}
	if i == 0 {
		f.entries[viewTokens.name]++
	}
	f.listed++
}

// farm holds the farm's settings and policy against its records.
func (f *looked) farm(tx *bbolt.Tx, farm *farmEntry) {
	steps, ok := f.thread(tx, farm.tail())
	if !ok {
		return
	}
	payload, err := encode(&farmEntry{Head: farm.Head, Len: farm.Len, Farm: foldFarm(steps)})
	if err != nil || !bytes.Equal(viewFarm.seal(keyFarm, farm.at, payload), tx.Bucket(bucketFarm).Get(keyFarm)) {
		f.problem(medium.FarmThread, 0, "the farm's settings and policy are not what its records say")
	}
}

// mat compares what is kept of a mat with what its records say.
func (f *looked) mat(tx *bbolt.Tx, key []byte, r rules) {
	f.entries[viewMats.name]++
	code := medium.Code(key)
	stored := tx.Bucket(bucketMats).Get(key)
	kept, ok := viewMats.open(key, stored)
	e, err := &entry{}, error(nil)
	if ok {
		e, err = readEntry(kept)
	}
	if !ok || err != nil {
		f.broken = true
		f.problem(code, 0, "its condition was changed")
		return
	}
	steps, ok := f.thread(tx, e.tail())
	if !ok {
		return
	}
	d, err := derive(e.tail(), steps, r)
	if err != nil {
		f.problem(code, 0, "its condition can't be derived: %v", err)
		return
	}
	payload, err := encode(&d.entry)
	if err != nil || !bytes.Equal(viewMats.seal(key, e.at, payload), stored) {
		f.problem(code, e.Len, "its condition is not what its steps say")
	}
	if d.work != nil {
		f.entries[viewDue.name]++
		f.due(tx, dueKey(d.entry.Due, code), d)
	}
	for _, n := range d.names {
		f.entries[n.name]++
		switch {
		case bytes.Equal(tx.Bucket(n.part).Get([]byte(n.key)), n.value(code)):
		case n.name == viewLots.name:
			f.problem(code, 0, "it is missing from the list of the lot, roll or solution %q", n.key[2:len(n.key)-codeLen-1])
		default:
			f.problem(code, 0, "its other name %q does not lead to it", n.key[2:])
		}
	}
}

// due compares a line of the due list. It may be older than the condition, and than
// the farm's settings, where nothing in it has changed since.
func (f *looked) due(tx *bbolt.Tx, key []byte, d derived) {
	kept, ok := viewDue.open(key, tx.Bucket(bucketDue).Get(key))
	if ok && len(kept.payload) > farmPosLen && bytes.Equal(kept.payload[farmPosLen:], d.work[farmPosLen:]) &&
		kept.at <= d.entry.at && bytes.Compare(kept.payload[:farmPosLen], d.work[:farmPosLen]) <= 0 {
		return
	}
	f.problem(d.entry.mat, 0, "its line of the due list is not what its steps say")
}

// checkViews holds every view against its sums and, where nobody has recorded
// meanwhile, against the number of entries that the records make.
func (v *verifier) checkViews(tx *bbolt.Tx) {
	l, _, err := readLedger(tx)
	still := err == nil && l.Count == v.ledger.Count && v.entries != nil && !v.broken
	var all sums
	for _, w := range views {
		s, n, bad := w.counted(tx)
		if bad != nil {
			v.problem("", 0, "the entry %q of the part %q was changed", bad, w.part)
			continue
		}
		if want := v.entries[w.name]; still && n != want {
			v.problem("", 0, "the part %q has %d entries, the records make %d", w.part, n, want)
		}
		all = append(all, s...)
	}
	listed := 0
	c := tx.Bucket(bucketTokens).Cursor()
	for k, val := c.First(); k != nil; k, val = c.Next() {
		listed += (len(val) - sealLen) / nameLen
	}
	if still && listed != v.listed {
		v.problem("", 0, "the lists of the request tokens hold %d steps, the records make %d", listed, v.listed)
	}
	if want, err := all.stored(tx); err != nil || !bytes.Equal(want, tx.Bucket(bucketMeta).Get(keySums)) {
		v.problem("", 0, "the sums over what is derived are not those of what is there, or of another state of the ledger")
	}
}
