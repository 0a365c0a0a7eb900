package store

import (
	"bytes"
	"hash/maphash"
	"io"
	"os"
	"time"
)

// The file of a store is copied while others record. First its bytes are taken
// as they come, with nothing locked: a commit writes in many places, so what that
// gives may be a mixture of two states. Then writers are kept out for as long as
// it takes to read the file from memory once, and what has changed in between is
// kept and written behind it. So nobody waits for the disk that the copy is on.

const (
	copyPiece = 1 << 20 // bytes that are read at once
	copyBlock = 4096    // bytes that are compared at once
	copySync  = 4 << 20 // bytes that are written before the disk is given them

	// lateMost is how many bytes are kept in memory while writers wait. After more
	// than copyCommits commits, as on a slow disk, the file is compared once more
	// with nothing locked, copyAgain times at most, so that less is left.
	lateMost    = 8 << 20
	copyCommits = 200
	copyAgain   = 3
)

// Copy copies the store at path into the empty file to, as one state that the
// ledger had. Those who record wait once, about 25 ms for 100 MB that are in
// memory, and the copy makes room for them while it goes on. It is neither made
// durable nor checked: BackUp does both.
func Copy(path string, to *os.File, o Options) error {
	c := newCopying(path, o)
	if err := c.begin(); err != nil {
		return err
	}
	defer c.end()
	c.to = to
	return c.run()
}

// copying is a copy under way.
type copying struct {
	path    string
	o       Options
	to      *os.File
	durable bool
	between func(done, total int64) // bytes; called with nothing locked; may be nil

	from *os.File // to read with nothing locked
	room room

	genesis hash
	id      []byte
	txid    uint64 // of the last commit when it began
	size    int64  // that the copy must have
	anchor  Anchor // of the state that was copied
	at      time.Time

	buf     []byte // whole blocks
	seed    maphash.Seed
	marks   []uint64 // of each block as it is in the copy
	locked  bool     // writers wait
	late    []lateBlocks
	wrote   int // bytes in this pass, those in late included
	behind  int // bytes that the disk was not asked to take yet
	syncing chan error
}

// lateBlocks are bytes that go into the copy when writers are let in again.
type lateBlocks struct {
	at    int64
	bytes []byte
}

func newCopying(path string, o Options) *copying {
	o = o.withDefaults()
	o.ReadOnly, o.keep = true, true // it is the lock that keeps the file as it is
	return &copying{path: path, o: o, buf: make([]byte, copyPiece), seed: maphash.MakeSeed()}
}

// begin looks at the store, and opens it for reading without a lock.
func (c *copying) begin() error {
	s, err := Open(c.path, c.o)
	if err != nil {
		return err
	}
	defer s.Close()
	if s.viewsErr != nil { // a record can't be read
		return s.viewsErr
	}
	c.genesis, c.id = s.genesis, s.ID()
	if c.from, err = os.Open(c.path); err != nil {
		return err
	}
	now, err := c.layout(c.from)
	if err != nil {
		c.end()
		return err
	}
	c.size = int64(now.pages * now.pageSize)
	c.room = room{look: func() uint64 { return lastCommit(c.from, int64(now.pageSize)) }, last: now.txid, rest: time.Now()}
	if sameOpen(s.file, c.from) { // or a restore came between: then all is compared at the end
		c.txid = now.txid
	}
	return nil
}

// end lets go of the store. The copy stays open.
func (c *copying) end() {
	_ = c.written()
	c.from.Close()
}

// layout reads how much of the file is in use. It must not change meanwhile.
func (c *copying) layout(f *os.File) (*container, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, &DamagedError{Path: c.path, Why: err.Error()}
	}
	now, err := recognize(f, info.Size())
	if err != nil {
		return nil, &DamagedError{Path: c.path, Why: err.Error()}
	}
	return now, nil
}

// lastCommit gives the number of the last commit, 0 while one is written.
func lastCommit(r io.ReaderAt, pageSize int64) (txid uint64) {
	for _, at := range []int64{0, pageSize} {
		m, _ := readMeta(r, at)
		if m == nil {
			return 0
		}
		txid = max(txid, m.txid)
	}
	return txid
}

func sameOpen(a, b *os.File) bool {
	x, errA := a.Stat()
	y, errB := b.Stat()
	return errA == nil && errB == nil && os.SameFile(x, y)
}

// run makes the copy. What the file has beyond its last page in use is left out.
func (c *copying) run() error {
	for range 1 + copyAgain {
		before := c.room.look()
		if err := c.pass(c.from); err != nil {
			return err
		}
		if c.room.look()-before <= copyCommits {
			break
		}
		if now, err := c.layout(c.from); err == nil { // it may be looked at while it grows
			c.size = int64(now.pages * now.pageSize)
		}
	}
	if err := c.settle(); err != nil {
		return err
	}
	for _, l := range c.late {
		if err := c.write(l.bytes, l.at); err != nil {
			return err
		}
	}
	c.late = nil
	if err := c.to.Truncate(c.size); err != nil {
		return &WriteError{Path: c.to.Name(), Err: err}
	}
	c.writeOut()
	return nil
}

// settle brings the copy to the state that the store has now, while nobody may
// write to it.
func (c *copying) settle() error {
	s, err := Open(c.path, c.o)
	if err != nil {
		return err
	}
	defer s.Close()
	if s.genesis != c.genesis {
		return &DamagedError{Path: c.path, Why: "the ledger of another farm was put in its place while it was copied"}
	}
	c.at = c.o.Now()
	if c.anchor, err = s.Anchor(); err != nil {
		return err
	}
	now, err := c.layout(s.file)
	if err != nil {
		return err
	}
	c.size = int64(now.pages * now.pageSize)
	if now.txid == c.txid && sameOpen(s.file, c.from) { // it is exact: nobody wrote anything
		return nil
	}
	c.locked = true
	defer func() { c.locked = false }()
	return c.pass(s.file)
}

// pass makes the copy what is read from a file, and writes only what differs.
func (c *copying) pass(from *os.File) error {
	c.wrote = 0
	for at := int64(0); at < c.size; at += int64(len(c.buf)) {
		piece := c.buf[:min(int64(len(c.buf)), c.size-at)]
		if _, err := from.ReadAt(piece, at); err != nil {
			return &DamagedError{Path: c.path, Why: err.Error()}
		}
		if err := c.compare(piece, at); err != nil {
			return err
		}
		if c.locked {
			continue
		}
		if c.behind >= copySync && (c.syncing == nil || len(c.syncing) > 0) { // or the disk is at it
			c.writeOut()
		}
		if c.room.wanted() { // the disk too, and for as long as this takes
			if err := c.written(); err != nil {
				return err
			}
		}
		if c.between != nil {
			c.between(at+int64(len(piece)), c.size)
		}
		c.room.make()
	}
	return nil
}

// compare takes the blocks of a piece that are not in the copy yet. A block is
// known by a hash of 64 bits with a seed of its own, so that the copy, which may
// lie on a slow stick, is not read again.
func (c *copying) compare(piece []byte, at int64) error {
	first := int(at / copyBlock)
	from := 0 // of a run that is not in the copy
	for b := 0; b < len(piece); b += copyBlock {
		n, end := first+b/copyBlock, min(b+copyBlock, len(piece))
		mark := maphash.Bytes(c.seed, piece[b:end])
		switch {
		case n == len(c.marks):
			c.marks = append(c.marks, mark)
		case c.marks[n] != mark:
			c.marks[n] = mark
		default:
			if err := c.take(piece[from:b], at+int64(from)); err != nil {
				return err
			}
			from = end
		}
	}
	return c.take(piece[from:], at+int64(from))
}

// take writes a part of the copy, or keeps it until nobody waits.
func (c *copying) take(b []byte, at int64) error {
	if len(b) == 0 {
		return nil
	}
	c.wrote += len(b)
	if c.locked && c.wrote <= lateMost {
		c.late = append(c.late, lateBlocks{at, bytes.Clone(b)})
		return nil
	}
	return c.write(b, at)
}

func (c *copying) write(b []byte, at int64) error {
	if _, err := c.to.WriteAt(b, at); err != nil {
		return &WriteError{Path: c.to.Name(), Err: err}
	}
	c.behind += len(b)
	return nil
}

// writeOut has the disk take what was written so far, beside what follows: one
// long write at the end would keep all others waiting who use that disk.
func (c *copying) writeOut() {
	c.behind = 0
	if !c.durable {
		return
	}
	before, done := c.syncing, make(chan error, 1)
	c.syncing = done
	go func() {
		if before != nil {
			if err := <-before; err != nil {
				done <- err
				return
			}
		}
		done <- c.to.Sync()
	}()
}

// written waits until the disk has what it was given by writeOut.
func (c *copying) written() error {
	if c.syncing == nil {
		return nil
	}
	err := <-c.syncing
	c.syncing = nil
	if err != nil {
		return &WriteError{Path: c.to.Name(), Err: err}
	}
	return nil
}

// room is made for those who record while something long goes on: while there
// are any, it rests for as long as it works.
type room struct {
	look func() uint64 // a number that every commit changes

	last       uint64
	seen, rest time.Time // the last commit, the end of the last rest
}

// Somebody records while a commit was seen within roomFor; a rest is at most
// roomMost.
const (
	roomFor  = 100 * time.Millisecond
	roomMost = 50 * time.Millisecond
)

func (r *room) make() {
	if last := r.look(); last != r.last {
		r.last, r.seen = last, time.Now()
	}
	if r.wanted() {
		time.Sleep(min(time.Since(r.rest), roomMost))
	}
	r.rest = time.Now()
}

// wanted says that somebody records.
func (r *room) wanted() bool { return time.Since(r.seen) < roomFor }
