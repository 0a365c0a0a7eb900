package store

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"io"
)

// This file reads bbolt's pages without bbolt, which panics, dies of a fault or
// never ends on a damaged file. The layout is that of bbolt's
// internal/common (meta.go, page.go, bucket.go), version 2 of its file format.

const (
	boltMagic   = 0xED0CDAED
	boltVersion = 2

	pageHeader = 16 // id 8, flags 2, count 2, overflow 4
	metaLen    = 64

	flagBranch   = 0x01
	flagLeaf     = 0x02
	flagMeta     = 0x04
	flagFreelist = 0x10

	noFreelist = ^uint64(0)

	// checkAtOpen is the largest file, in bytes, of which every page is checked
	// whenever it is opened, and skimAtOpen the largest of which the pages that
	// lead to others are: each takes about a millisecond. Verify checks all
	// pages of any file.
	checkAtOpen = 1 << 20
	skimAtOpen  = 32 << 20

	maxDepth = 32
)

// foreignError says that a file is none of ours.
type foreignError struct{ why string }

func (e *foreignError) Error() string { return e.why }

// container is bbolt's file as its newest valid meta page describes it.
type container struct {
	r        io.ReaderAt
	pageSize uint64
	root     uint64
	freelist uint64
	pages    uint64 // all pages lie below this one
	txid     uint64
	used     []bool
	skim     bool // leave out the leaves of the parts
	spare    bool // leave out those of the log

	mapped []byte // the file in memory, or nil: it is read

	ahead   []byte // what was read last
	aheadAt uint64 // where it lies in the file
}

// checkQuickly checks what can be checked whenever a file of this size is
// opened.
func (c *container) checkQuickly(size int64) error {
	c.skim = size > checkAtOpen
	if size > skimAtOpen {
		return nil
	}
	return c.check()
}

// recognize reads the meta pages. It tells an empty or foreign file
// (foreignError) from a damaged or cut one (any other error).
func recognize(r io.ReaderAt, size int64) (*container, error) {
	if size == 0 {
		return nil, &foreignError{"it is empty"}
	}
	var best *container
	ours := false
	for _, at := range metaOffsets(size) {
		c, magic := readMeta(r, at)
		ours = ours || magic
		if c != nil && (at == 0 || uint64(at) == c.pageSize) && (best == nil || c.txid > best.txid) {
			best = c
		}
	}
	if best == nil && !ours {
		return nil, &foreignError{"it is a file of another kind"}
	}
	if best == nil {
		return nil, fmt.Errorf("both of its first pages are broken")
	}
	if need := best.pages * best.pageSize; best.pages > 1<<40 || uint64(size) < need {
		return nil, fmt.Errorf("it was cut: %d bytes are there, %d are needed", size, need)
	}
	return best, nil
}

// metaOffsets lists where a meta page can stand: at the start and, the page
// size being unknown when the first is broken, at every page size.
func metaOffsets(size int64) []int64 {
	at := []int64{0}
	for p := int64(1024); p <= 1<<16 && p+pageHeader+metaLen <= size; p *= 2 {
		at = append(at, p)
	}
	return at
}

func readMeta(r io.ReaderAt, at int64) (c *container, magic bool) {
	b := make([]byte, pageHeader+metaLen)
	if _, err := r.ReadAt(b, at); err != nil {
		return nil, false
	}
	m := b[pageHeader:]
	n := binary.NativeEndian
	magic = n.Uint32(m) == boltMagic
	sum := fnv.New64a()
	sum.Write(m[:56])
	if !magic || n.Uint32(m[4:]) != boltVersion || sum.Sum64() != n.Uint64(m[56:]) {
		return nil, magic
	}
	c = &container{r: r, pageSize: uint64(n.Uint32(m[8:])), root: n.Uint64(m[16:]), freelist: n.Uint64(m[32:]),
		pages: n.Uint64(m[40:]), txid: n.Uint64(m[48:])}
	if c.pageSize < 1024 || c.pageSize > 1<<16 || c.pageSize&(c.pageSize-1) != 0 {
		return nil, magic
	}
	return c, magic
}

// check walks every page: each is used once or is free, keys ascend within
// their bounds, nothing points outside.
func (c *container) check() error {
	if c.pages < 3 {
		return fmt.Errorf("it has %d pages", c.pages)
	}
	c.used = make([]bool, c.pages)
	c.used[0], c.used[1] = true, true
	if err := c.checkFreelist(); err != nil {
		return err
	}
	if err := c.checkTree(c.root, 0, -1, nil, nil); err != nil {
		return err
	}
	for id, used := range c.used {
		if !used && !c.skim && !c.spare {
			return fmt.Errorf("page %d is neither used nor free", id)
		}
	}
	return nil
}

// checkMetas checks both of the first pages. With one of them broken the file
// opens, but it may open as it was before the last transaction.
func (c *container) checkMetas() error {
	n := binary.NativeEndian
	for id := range uint64(2) {
		head := make([]byte, pageHeader)
		if _, err := c.r.ReadAt(head, int64(id*c.pageSize)); err != nil {
			return fmt.Errorf("page %d can't be read: %w", id, err)
		}
		m, _ := readMeta(c.r, int64(id*c.pageSize))
		if m == nil || n.Uint64(head) != id || n.Uint16(head[8:]) != flagMeta || m.txid%2 != id {
			return fmt.Errorf("page %d, one of the two that lead to all others, is broken: the last change "+
				"before that may be missing", id)
		}
	}
	return nil
}

// page reads a page with all that overflows from it, and marks it as used. Its
// bytes are good until the next page is read.
func (c *container) page(id uint64) ([]byte, error) {
	if id < 2 || id >= c.pages {
		return nil, fmt.Errorf("page %d lies outside", id)
	}
	head, err := c.run(id, 1)
	if err != nil {
		return nil, err
	}
	n := binary.NativeEndian
	if n.Uint64(head) != id {
		return nil, fmt.Errorf("page %d says that it is page %d", id, n.Uint64(head))
	}
	run := uint64(n.Uint32(head[12:])) + 1
	if run > c.pages-id {
		return nil, fmt.Errorf("page %d overflows the file", id)
	}
	for i := id; i < id+run; i++ {
		if c.used[i] {
			return nil, fmt.Errorf("page %d is used twice", i)
		}
		c.used[i] = true
	}
	return c.run(id, run)
}

// readAhead is how much of the file is read at once: pages that were written
// together are looked at one after another.
const readAhead = 256 << 10

// run gives a run of pages, from what was read ahead where it is there.
func (c *container) run(id, pages uint64) ([]byte, error) {
	from, size := id*c.pageSize, pages*c.pageSize
	if from+size <= uint64(len(c.mapped)) {
		return c.mapped[from : from+size], nil
	}
	if from < c.aheadAt || from+size > c.aheadAt+uint64(len(c.ahead)) {
		want := size
		if !c.skim { // which looks at few pages
			want = max(size, min(readAhead, (c.pages-id)*c.pageSize))
		}
		if uint64(cap(c.ahead)) < want {
			c.ahead = make([]byte, want)
		}
		c.ahead, c.aheadAt = c.ahead[:want], from
		n, err := c.r.ReadAt(c.ahead, int64(from))
		if c.ahead = c.ahead[:n]; uint64(n) < size {
			return nil, fmt.Errorf("page %d can't be read: %w", id, err)
		}
	}
	at := from - c.aheadAt
	return c.ahead[at : at+size], nil
}

func (c *container) checkFreelist() error {
	if c.freelist == noFreelist {
		return fmt.Errorf("its list of free pages is missing")
	}
	b, err := c.page(c.freelist)
	if err != nil {
		return err
	}
	n := binary.NativeEndian
	if n.Uint16(b[8:]) != flagFreelist {
		return fmt.Errorf("page %d is not a list of free pages", c.freelist)
	}
	count, ids := uint64(n.Uint16(b[10:])), b[pageHeader:]
	if count == 0xFFFF {
		count, ids = n.Uint64(ids), ids[8:]
	}
	if count > uint64(len(ids)/8) {
		return fmt.Errorf("its list of free pages is cut")
	}
	for i := range count {
		id := n.Uint64(ids[8*i:])
		if id < 2 || id >= c.pages || c.used[id] {
			return fmt.Errorf("page %d can't be free", id)
		}
		c.used[id] = true
	}
	return nil
}

// checkTree checks a page and all below it; keys lie from min on and below max. Leaves
// that lie so many pages below it are not read; a negative number has all of them read.
func (c *container) checkTree(id uint64, depth, unread int, min, max []byte) error {
	if depth > maxDepth {
		return fmt.Errorf("page %d lies too deep", id)
	}
	if unread == 0 {
		if id < 2 || id >= c.pages || c.used[id] {
			return fmt.Errorf("page %d can't be a leaf", id)
		}
		c.used[id] = true
		return nil
	}
	b, err := c.page(id)
	if err != nil {
		return err
	}
	var keys [][]byte
	var children []uint64
	switch kind := binary.NativeEndian.Uint16(b[8:]); {
	case kind == flagLeaf && unread < 0:
		err = c.checkLeaf(b, depth, min, max)
	case kind == flagBranch:
		if unread != 1 { // the pages below it are read to the same place
			b = bytes.Clone(b)
		}
		if keys, children, err = readBranch(b); err == nil {
			err = ascending(keys, min, max)
		}
	default:
		err = fmt.Errorf("it leads to no others")
	}
	if err != nil {
		return fmt.Errorf("page %d: %w", id, err)
	}
	return c.checkChildren(keys, children, depth, unread, max)
}

func (c *container) checkChildren(keys [][]byte, children []uint64, depth, unread int, max []byte) error {
	for i, child := range children {
		upper := max
		if i+1 < len(keys) {
			upper = keys[i+1]
		}
		if err := c.checkTree(child, depth+1, unread-1, keys[i], upper); err != nil {
			return err
		}
	}
	return nil
}

// readBranch reads a page that leads to others.
func readBranch(b []byte) (keys [][]byte, children []uint64, err error) {
	n := binary.NativeEndian
	count := int(n.Uint16(b[10:]))
	if count == 0 || pageHeader+16*count > len(b) {
		return nil, nil, fmt.Errorf("it holds %d keys", count)
	}
	keys, children = make([][]byte, count), make([]uint64, count)
	for i := range count {
		at := pageHeader + 16*i
		if keys[i], err = cutOut(b, at, n.Uint32(b[at:]), n.Uint32(b[at+4:])); err != nil {
			return nil, nil, err
		}
		children[i] = n.Uint64(b[at+8:])
	}
	return keys, children, nil
}

// skimPart checks the branch pages of a part, without reading its leaves: all
// of them lie equally deep, as deep as the first. What it keeps out is a page
// that leads back to one above it, on which bbolt would go round for ever.
func (c *container) skimPart(root uint64) error {
	head := make([]byte, pageHeader+16) // with the first child
	for id, depth := root, 0; ; depth++ {
		if id < 2 || id >= c.pages || depth > maxDepth {
			return fmt.Errorf("page %d lies outside", id)
		}
		if _, err := c.r.ReadAt(head, int64(id*c.pageSize)); err != nil {
			return fmt.Errorf("page %d can't be read: %w", id, err)
		}
		if binary.NativeEndian.Uint16(head[8:]) != flagBranch {
			return c.checkTree(root, 0, depth, nil, nil)
		}
		id = binary.NativeEndian.Uint64(head[pageHeader+8:])
	}
}

// checkLeaf checks the leaf page in b, which may be one that lies inside the
// value of a small bucket.
func (c *container) checkLeaf(b []byte, depth int, min, max []byte) error {
	n := binary.NativeEndian
	count := int(n.Uint16(b[10:]))
	if pageHeader+16*count > len(b) {
		return fmt.Errorf("it holds %d keys", count)
	}
	var last []byte
	var parts []keyValue
	for i := range count {
		at := pageHeader + 16*i
		flags, pos, ksize, vsize := n.Uint32(b[at:]), n.Uint32(b[at+4:]), n.Uint32(b[at+8:]), n.Uint32(b[at+12:])
		key, err := cutOut(b, at, pos, ksize)
		if err != nil {
			return err
		}
		value, err := cutOut(b, at, pos+ksize, vsize)
		if err != nil || pos+ksize < pos {
			return fmt.Errorf("a value lies outside")
		}
		if i == 0 && min != nil && bytes.Compare(key, min) < 0 || i > 0 && bytes.Compare(last, key) >= 0 {
			return fmt.Errorf("its keys are out of order")
		}
		last = key
		switch {
		case flags == 0:
		case flags == 1:
			// the page is gone when its parts are looked at
			parts = append(parts, keyValue{bytes.Clone(key), bytes.Clone(value)})
		default:
			return fmt.Errorf("a key of unknown kind")
		}
	}
	if last != nil && max != nil && bytes.Compare(last, max) >= 0 {
		return fmt.Errorf("its keys are out of order")
	}
	for _, p := range parts {
		if err := c.checkBucket(p.key, p.value, depth); err != nil {
			return err
		}
	}
	return nil
}

// checkBucket checks a part as it stands in the page above it.
func (c *container) checkBucket(name, value []byte, depth int) error {
	if len(value) < 16 {
		return fmt.Errorf("a part of %d bytes", len(value))
	}
	if root := binary.NativeEndian.Uint64(value); root != 0 && (c.skim || c.spare && string(name) == string(bucketLog)) {
		return c.skimPart(root)
	} else if root != 0 {
		return c.checkTree(root, depth+1, -1, nil, nil)
	}
	inline := value[16:]
	if len(inline) < pageHeader || binary.NativeEndian.Uint16(inline[8:]) != flagLeaf || depth > maxDepth {
		return fmt.Errorf("a small part is cut")
	}
	return c.checkLeaf(inline, depth+1, nil, nil)
}

// cutOut takes size bytes from pos on, counted from the element at.
func cutOut(b []byte, at int, pos, size uint32) ([]byte, error) {
	from := uint64(at) + uint64(pos)
	to := from + uint64(size)
	if from < pageHeader || to > uint64(len(b)) {
		return nil, fmt.Errorf("a key lies outside")
	}
	return b[from:to], nil
}

func ascending(keys [][]byte, min, max []byte) error {
	for i, k := range keys {
		switch {
		case i > 0 && bytes.Compare(keys[i-1], k) >= 0,
			i == 0 && min != nil && bytes.Compare(k, min) < 0,
			max != nil && bytes.Compare(k, max) >= 0:
			return fmt.Errorf("its keys are out of order")
		}
	}
	return nil
}
