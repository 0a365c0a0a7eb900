package store

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"iter"
	"math"
	"runtime"
	"runtime/debug"
	"slices"
	"sort"
	"sync"
	"sync/atomic"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// A sweep goes through all threads on every processor: each worker takes a few
// mats at a time and holds them against all that is kept of them. What it finds
// does not depend on the number of workers.

// sweepMats is how many mats a worker takes at a time.
const sweepMats = 32

// largeFile is from where on a verify spends time on keeping its memory small.
const largeFile = 128 << 20

// chain holds the hash of every record at its place in the ledger: 36 bytes for
// each, the one thing of a verify that grows with the ledger.
type chain struct {
	hashes []hash
	mats   []uint32 // place in names, from 1; 0: no record has that number

	mu    sync.Mutex
	names []medium.Code
	stray []strayLink // numbers that are too large or were used before
}

type strayLink struct {
	seq    uint64
	mat    medium.Code
	matSeq uint64
	hash   hash
}

// newChain makes room for as many records as the ledger counts, within reason:
// the count may be false, and a record takes more than 40 bytes of the file.
func newChain(count uint64, fileSize int64) *chain {
	n := min(count, uint64(fileSize)/40)
	return &chain{hashes: make([]hash, n), mats: make([]uint32, n)}
}

// name gives the place of a mat's code.
func (c *chain) name(mat medium.Code) uint32 {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.names) == math.MaxUint32 {
		return 0
	}
	c.names = append(c.names, mat)
	return uint32(len(c.names))
}

func (c *chain) put(seq uint64, name uint32, mat medium.Code, matSeq uint64, h hash) {
	if seq > 0 && seq <= uint64(len(c.mats)) && atomic.CompareAndSwapUint32(&c.mats[seq-1], 0, name) {
		c.hashes[seq-1] = h
		return
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.stray = append(c.stray, strayLink{seq, mat, matSeq, h})
}

// inOrder gives all records by their number in the ledger. The step is 0 where
// it was not kept.
func (c *chain) inOrder() iter.Seq2[uint64, strayLink] {
	slices.SortFunc(c.stray, func(a, b strayLink) int {
		return cmp.Or(cmp.Compare(a.seq, b.seq), cmp.Compare(a.mat, b.mat), cmp.Compare(a.matSeq, b.matSeq))
	})
	return func(yield func(uint64, strayLink) bool) {
		stray := c.stray
		for i := 0; i <= len(c.mats); i++ {
			for len(stray) > 0 && (i == len(c.mats) || stray[0].seq < uint64(i)+1) {
				if !yield(stray[0].seq, stray[0]) {
					return
				}
				stray = stray[1:]
			}
			if i == len(c.mats) || c.mats[i] == 0 {
				continue
			}
			if !yield(uint64(i)+1, strayLink{mat: c.names[c.mats[i]-1], hash: c.hashes[i]}) {
				return
			}
		}
	}
}

// swept is what one worker found in the mats that it took.
type swept struct {
	v     *verifier
	tx    *bbolt.Tx
	chain *chain

	first    []byte // key of the first record
	problems []Problem
	more     int

	steps, mats, dues, lots, tags, refs int

	due, lotsIn, tagsIn, tokensIn *bbolt.Bucket

	kept      *bbolt.Cursor // of the mats' part, which has the order of the threads
	keptKey   []byte
	keptValue []byte

	mat    medium.Code // whose thread is being read
	name   uint32      // its place in the chain's names
	thread thread
	broken bool // a record of the thread can't be read or does not chain
}

// checkThreads sweeps all threads; the ledger counts so many records.
func (v *verifier) checkThreads(count uint64) (*chain, error) {
	if v.tx.Size() > largeFile {
		debug.FreeOSMemory() // what the check of the pages left, before the chain asks for more
	}
	c := newChain(count, v.tx.Size())
	var mu sync.Mutex
	next := []byte{} // key that the next worker begins at
	var parts []*swept
	done, ended := 0, false
	mats := v.tx.Bucket(bucketMats).Cursor() // whose keys tell where a worker's part may end, wrong or not
	mats.First()
	take := func() (begin, end []byte) {
		mu.Lock()
		defer mu.Unlock()
		if ended {
			return nil, nil
		}
		begin, next = next, nil
		for range sweepMats {
			if next, _ = mats.Next(); next == nil {
				break
			}
			next = next[:min(len(next), codeLen)] // never between two records of a mat
		}
		ended = next == nil
		return begin, next
	}
	finish := func(p *swept) {
		mu.Lock()
		defer mu.Unlock()
		parts = append(parts, p)
		before := done
		done += p.steps
		if v.progress != nil && (done/1000 > before/1000 || done == v.total) {
			v.progress(done, v.total)
		}
	}
	work := func(tx *bbolt.Tx) error {
		for {
			p := &swept{v: v, tx: tx, chain: c}
			begin, end := take()
			if begin == nil {
				return nil
			}
			p.sweep(begin, end)
			finish(p)
		}
	}
	if v.tx.Writable() { // what it has changed shows in no other transaction
		err := work(v.tx)
		v.gather(parts)
		return c, err
	}
	var workers sync.WaitGroup
	errs := make([]error, runtime.GOMAXPROCS(0))
	for i := range errs {
		workers.Go(func() { errs[i] = v.store.view(work) }) // each with its own transaction and its own guard
	}
	workers.Wait()
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	v.gather(parts)
	return c, nil
}

// gather brings the workers' findings into the order of the keys.
func (v *verifier) gather(parts []*swept) {
	slices.SortFunc(parts, func(a, b *swept) int { return bytes.Compare(a.first, b.first) })
	for _, p := range parts {
		for _, found := range p.problems {
			v.add(found)
		}
		v.more += p.more
		v.report.Steps += p.steps
		v.report.Mats += p.mats
		v.mats, v.dues, v.lots, v.tags, v.refs = v.mats+p.mats, v.dues+p.dues, v.lots+p.lots, v.tags+p.tags, v.refs+p.refs
	}
}

func (p *swept) problem(code medium.Code, seq uint64, format string, args ...any) {
	if len(p.problems) == maxProblems {
		p.more++
		return
	}
	p.problems = append(p.problems, Problem{Code: printable(code), Seq: seq, Text: fmt.Sprintf(format, args...)})
}

// sweep reads the records from one key to before another; nil is the end.
func (p *swept) sweep(begin, end []byte) {
	p.first = begin
	p.due, p.lotsIn, p.tagsIn, p.tokensIn = p.tx.Bucket(bucketDue), p.tx.Bucket(bucketLots), p.tx.Bucket(bucketTags), p.tx.Bucket(bucketTokens)
	p.kept = p.tx.Bucket(bucketMats).Cursor()
	p.keptKey, p.keptValue = p.kept.Seek(begin)
	c := p.tx.Bucket(bucketSteps).Cursor()
	for k, stored := c.Seek(begin); k != nil; k, stored = c.Next() {
		if end != nil && bytes.Compare(k, end) >= 0 {
			break
		}
		p.record(k, stored)
	}
	p.endThread()
	p.thread, p.kept = thread{}, nil // the findings are kept until all is swept
}

// record takes the next record in the order of the keys.
func (p *swept) record(k, stored []byte) {
	if len(k) != stepKeyLen {
		p.problem("", 0, "a record has a key of unknown form: %x", k)
		return
	}
	if string(k[:codeLen]) != string(p.mat) {
		p.endThread()
		p.mat, p.broken = medium.Code(k[:codeLen]), false
		p.name, p.thread = p.chain.name(p.mat), p.thread.next()
		if p.mat != medium.FarmThread {
			p.mats++
		}
	}
	p.steps++
	seq := uint64(binary.BigEndian.Uint32(k[codeLen:]))
	at, err := p.read(seq, stored)
	if err != nil {
		p.problem(p.mat, seq, "%s", err.Error())
		p.broken = true
	}
	p.chain.put(at, p.name, p.mat, seq, p.thread.head)
}

// read reads one record and gives its number in the ledger.
func (p *swept) read(seq uint64, stored []byte) (uint64, error) {
	t := &p.thread
	if p.v.chainOnly {
		if p.v.progress != nil && p.steps%1000 == 0 {
			p.v.progress(p.steps, p.v.total)
		}
		if h, err := headOf(stored); err == nil {
			return h.Seq, t.follow(seq, stored, h.Prev)
		}
	}
	s, err := t.read(p.mat, seq, stored)
	t.steps = append(t.steps, s)
	if err == nil && s.Token != "" && !p.v.chainOnly {
		p.checkToken(s)
	}
	return s.Seq, err
}

// endThread holds what is kept of a mat against its thread.
func (p *swept) endThread() {
	if p.mat != "" && !p.broken && !p.v.chainOnly {
		p.checkMat(p.mat, p.thread)
	}
}

// entryOf gives what is kept of the next mat.
func (p *swept) entryOf(mat medium.Code) []byte {
	for p.keptKey != nil && string(p.keptKey) < string(mat) {
		p.keptKey, p.keptValue = p.kept.Next()
	}
	if string(p.keptKey) != string(mat) {
		return nil
	}
	return p.keptValue
}

// checkMat compares what is kept of a mat with what its records say.
func (p *swept) checkMat(mat medium.Code, t thread) {
	if mat == medium.FarmThread {
		return
	}
	d, err := derive(t, p.v.rules)
	if err != nil {
		p.problem(mat, 0, "its condition can't be derived: %v", err)
		return
	}
	want, err := encode(&d.entry)
	if err != nil || !bytes.Equal(want, p.entryOf(mat)) {
		p.problem(mat, uint64(len(t.steps)), "its condition is not what its steps say")
	}
	if d.work != nil {
		p.dues++
		if !bytes.Equal(p.due.Get(dueKey(d.entry.Due, mat)), d.work) {
			p.problem(mat, 0, "its line of the due list is not what its steps say")
		}
	}
	for _, k := range d.lots {
		p.lots++
		if got := p.lotsIn.Get([]byte(k)); got == nil || len(got) != 0 {
			p.problem(mat, 0, "it is missing from the list of the lot %q", k[1:len(k)-codeLen-1])
		}
	}
	for _, k := range d.tags {
		p.tags++
		if got := p.tagsIn.Get([]byte(k)); string(got) != string(mat) {
			p.problem(mat, 0, "its other name %q does not lead to it", k[1:])
		}
	}
}

// checkToken looks for the step in the list of its request token.
func (p *swept) checkToken(s medium.Step) {
	refs := p.tokensIn.Get([]byte(s.Token))
	n := len(refs) / refLen
	at := sort.Search(n, func(i int) bool { return binary.BigEndian.Uint64(refs[refLen*i:]) >= s.Seq })
	if at == n || !bytes.Equal(refs[refLen*at:refLen*(at+1)], appendRef(nil, s)) {
		p.problem(s.Mat, s.MatSeq, "it is missing from the list of its request token")
		return
	}
	p.refs++
}
