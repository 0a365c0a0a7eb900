package store

import (
	"bytes"
	"errors"
	"fmt"
	"runtime/debug"
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

// Verify holds all against all: every record's bytes against the thread of its
// mat and the ledger's head, the sequences, each condition against a replay of
// its thread, and the indexes both ways. With an anchor it also holds the
// ledger against that: what was recorded up to it must be there unchanged.
//
// What does not agree is a Problem. A container that is broken, so that the
// contents can't be trusted to be read at all, is a DamagedError beside the
// report. progress, which may be nil, hears of the records that were read.
func (s *Store) Verify(progress func(done, total int), want *Anchor) (Report, error) {
	return s.verify(&verifier{progress: progress, want: want})
}

// VerifyChain is the part of Verify that needs no record to be decoded: every
// page, every record's bytes against the thread of its mat, and all of them
// against the ledger's head. It does not look at what is derived.
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
	if info, err := s.file.Stat(); err == nil && info.Size() > largeFile { // less garbage may wait beside a chain of many megabytes
		before := debug.SetGCPercent(20)
		defer func() {
			debug.FreeOSMemory() // the chain, or as much garbage again could wait beside it
			debug.SetGCPercent(before)
		}()
	}
	err := v.checkPages()
	if err == nil {
		err = s.view(v.run)
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

// checkContainer checks every page, and gives the records to a function that
// may be nil as it passes them.
func (s *Store) checkContainer(records func(key, value []byte)) error {
	if damaged := s.broken.Load(); damaged != nil {
		return damaged
	}
	info, err := s.file.Stat()
	if err != nil {
		return err
	}
	c, err := recognize(s.file, info.Size())
	if err == nil {
		c.records = records
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

// checkPages checks every page. Where nothing is decoded it takes the records on
// the way, so that the file is read once.
func (v *verifier) checkPages() error {
	if !v.chainOnly {
		return v.store.checkContainer(nil)
	}
	v.alone = &swept{v: v}
	err := v.store.view(func(tx *bbolt.Tx) error {
		l, _, _ := readLedger(tx) // what is wrong with it is told by run
		v.total = int(min(l.Count, 1<<40))
		v.alone.chain = newChain(l.Count, tx.Size())
		return nil
	})
	if err != nil {
		return err
	}
	return v.store.checkContainer(v.alone.record)
}

type verifier struct {
	store     *Store
	progress  func(done, total int)
	want      *Anchor
	chainOnly bool
	passing   func(n uint64, head hash) // hears of every state of the ledger; may be nil
	genesis   hash
	report    Report
	more      int

	tx    *bbolt.Tx
	farm  medium.Farm
	rules rules
	total int
	alone *swept // the records of a check of the chain alone

	mats, dues, lots, tags, refs int // entries that there must be
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

func (v *verifier) run(tx *bbolt.Tx) error {
	v.tx = tx
	v.genesis = genesis(tx.Bucket(bucketMeta).Get(keyIdentity))
	l, head, err := readLedger(tx)
	if err != nil {
		v.problem("", 0, "the ledger's head can't be read: %v", err)
	}
	v.total = int(min(l.Count, 1<<40))
	v.checkParts()
	v.checkFarm()
	if v.chainOnly {
		v.gather([]*swept{v.alone})
		if v.progress != nil {
			v.progress(v.total, v.total)
		}
		v.checkChain(v.alone.chain, l.Count, head)
		return nil
	}
	chain, err := v.checkThreads(l.Count)
	if err != nil {
		return err
	}
	v.checkChain(chain, l.Count, head)
	for _, b := range []struct {
		name    []byte
		want    int
		belongs func(k, val []byte) bool
	}{
		{bucketMats, v.mats, v.matBelongs}, {bucketDue, v.dues, v.dueBelongs}, {bucketLots, v.lots, v.lotBelongs},
		{bucketTags, v.tags, v.tagBelongs},
	} {
		v.checkSurplus(b.name, b.want, b.belongs)
	}
	v.checkTokens()
	return nil
}

// checkParts looks for what no version of this format writes.
func (v *verifier) checkParts() {
	known := map[string]bool{}
	for _, b := range buckets {
		known[string(b)] = true
	}
	c := v.tx.Cursor()
	for k, val := c.First(); k != nil; k, val = c.Next() {
		if val != nil || !known[string(k)] {
			v.problem("", 0, "the file has a part %q that does not belong there", k)
		}
	}
	meta := map[string]bool{string(keyIdentity): true, string(keyLedger): true, string(keyViews): true}
	c = v.tx.Bucket(bucketMeta).Cursor()
	for k, _ := c.First(); k != nil; k, _ = c.Next() {
		if !meta[string(k)] {
			v.problem("", 0, "the file has a value %q that does not belong there", k)
		}
	}
	if !v.chainOnly && !bytes.Equal(v.tx.Bucket(bucketMeta).Get(keyViews), viewsVersion()) {
		v.problem("", 0, "conditions and lists were not brought up to date, because of the problems below")
	}
	c = v.tx.Bucket(bucketFarm).Cursor()
	for k, _ := c.First(); k != nil; k, _ = c.Next() {
		if !bytes.Equal(k, keyFarm) {
			v.problem(medium.FarmThread, 0, "the farm's part has a value %q that does not belong there", k)
		}
	}
}

// checkFarm replays the farm's own thread. The policy in force is needed for
// the due list.
func (v *verifier) checkFarm() {
	t, err := readThread(v.tx, medium.FarmThread)
	if err != nil { // reported with the threads
		t.steps = nil
	}
	v.farm = foldFarm(t.steps)
	v.rules = rulesOf(v.farm)
	if err != nil || v.chainOnly {
		return
	}
	want, err := encode(&farmEntry{Head: t.head[:], Len: uint64(len(t.steps)), Farm: v.farm})
	if err != nil || !bytes.Equal(want, v.tx.Bucket(bucketFarm).Get(keyFarm)) {
		v.problem(medium.FarmThread, 0, "the farm's settings and policy are not what its records say")
	}
}

// checkTokens counts what the lists of the request tokens hold: each step was
// found in its list, so that equal numbers leave no room for anything else.
func (v *verifier) checkTokens() {
	refs := 0
	c := v.tx.Bucket(bucketTokens).Cursor()
	for k, val := c.First(); k != nil; k, val = c.Next() {
		if len(val) == 0 || len(val)%refLen != 0 {
			v.problem("", 0, "the list of the request token %q has %d bytes", k, len(val))
		}
		refs += len(val) / refLen
	}
	if refs != v.refs {
		v.problem("", 0, "the lists of the request tokens hold %d steps, the records make %d", refs, v.refs)
	}
}

// checkChain folds all records in the order of the ledger.
func (v *verifier) checkChain(c *chain, count uint64, head hash) {
	h := v.genesis
	v.checkAnchor(0, h)
	n, gap := uint64(0), false
	for seq, l := range c.inOrder() {
		n++
		if seq != n && !gap {
			matSeq := l.matSeq
			if matSeq == 0 {
				matSeq = v.place(l.mat, seq)
			}
			v.problem(l.mat, matSeq, "record %d of the ledger stands where record %d belongs: records are missing or were put in", seq, n)
			gap = true
		}
		h = h.next(l.mat, l.hash)
		v.checkAnchor(n, h)
		if v.passing != nil {
			v.passing(n, h)
		}
	}
	switch {
	case n != count:
		v.problem("", 0, "the ledger counts %d records, %d are there", count, n)
	case h != head || !v.ledgerIs(n, h):
		v.problem("", 0, "the ledger's head does not agree with its records: a record, or what the file says of itself, was changed")
	}
	if v.want != nil && v.want.Count > n {
		v.problem("", 0, "the anchor names %d records, %d are there: the end was cut off, or an older copy of the file was put back", v.want.Count, n)
	}
}

// place finds the step of a mat that has a number in the ledger.
func (v *verifier) place(mat medium.Code, seq uint64) uint64 {
	c := v.tx.Bucket(bucketSteps).Cursor()
	for k, stored := c.Seek([]byte(mat)); k != nil; k, stored = c.Next() {
		code, matSeq, ok := parseStepKey(k)
		if !ok || code != mat {
			return 0
		}
		if s, _, err := decodeStep(stored); err == nil && s.Seq == seq {
			return matSeq
		}
	}
	return 0
}

// ledgerIs compares the stored bytes: a decoder reads some values in more than
// one spelling.
func (v *verifier) ledgerIs(count uint64, head hash) bool {
	want, err := encode(&ledger{Count: count, Head: head[:]})
	return err == nil && bytes.Equal(want, v.tx.Bucket(bucketMeta).Get(keyLedger))
}

func (v *verifier) checkAnchor(n uint64, h hash) {
	if v.want != nil && v.want.Count == n && anchorOf(n, h) != *v.want {
		v.problem("", 0, "the first %d records are not those that the anchor names: something was changed since it was printed", n)
	}
}

// checkSurplus compares the number of entries, and names those that do not
// belong where there are too many.
func (v *verifier) checkSurplus(name []byte, want int, belongs func(k, val []byte) bool) {
	got := 0
	b := v.tx.Bucket(name)
	c := b.Cursor()
	for k, _ := c.First(); k != nil; k, _ = c.Next() {
		got++
	}
	if got == want {
		return
	}
	v.problem("", 0, "the part %q has %d entries, the records make %d", name, got, want)
	for k, val := c.First(); k != nil; k, val = c.Next() {
		if !belongs(k, val) {
			v.problem("", 0, "the entry %q of the part %q does not belong there", k, name)
		}
	}
}

func (v *verifier) matBelongs(k, _ []byte) bool {
	return v.tx.Bucket(bucketSteps).Get(stepKey(medium.Code(k), 1)) != nil
}

func (v *verifier) dueBelongs(k, _ []byte) bool {
	if len(k) != 8+codeLen {
		return false
	}
	e, err := readEntry(v.tx, medium.Code(k[8:]))
	return err == nil && e != nil && bytes.Equal(dueKey(e.Due, e.Condition.Code), k)
}

func (v *verifier) lotBelongs(k, _ []byte) bool {
	if len(k) <= codeLen {
		return false
	}
	t, err := readThread(v.tx, medium.Code(k[len(k)-codeLen:]))
	return err == nil && slices.Contains(lotsOf(t.steps), string(k))
}

func (v *verifier) tagBelongs(k, mat []byte) bool {
	t, err := readThread(v.tx, medium.Code(mat))
	if err != nil {
		return false
	}
	for i := range t.steps {
		if slices.Contains(tagsOf(&t.steps[i]), string(k)) {
			return true
		}
	}
	return false
}
