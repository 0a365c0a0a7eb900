package store

import (
	"bufio"
	"bytes"
	"container/heap"
	"encoding/json"
	"fmt"
	"io"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// ExportVersion is the form of the JSON Lines that Lines writes.
const ExportVersion = 1

// exportHead is the first line of an export: whose records follow and the state
// of the ledger after the last of them.
type exportHead struct {
	Export  int    `json:"resow_export"`
	Format  int    `json:"format"`
	MadeBy  string `json:"made_by"`
	Store   string `json:"store"` // the file's number, hexadecimal
	Records uint64 `json:"records"`
	Anchor  Anchor `json:"anchor"`
}

// exportLine is one record: the step, and the hash of its stored bytes. Those
// bytes follow from the step and the hash of its mat's record before it, which
// is how FromLines makes them again. Where they do not, the line has them: an
// older version wrote a field in another way, such as an empty list where this
// one writes none.
type exportLine struct {
	medium.Step
	Hash   string `json:"hash"`
	Stored []byte `json:"stored,omitempty"`
}

// Lines writes the whole ledger as JSON Lines: a head, then every record in the
// order of the ledger. It reads one state of the file, even while others write,
// and keeps one number and hash of each mat in memory, never the whole. The same
// ledger gives the same bytes. What was written is good only where there is no
// error: a record that does not chain ends it.
func (s *Store) Lines(w io.Writer, progress func(done, total int)) (Anchor, error) {
	out := bufio.NewWriterSize(w, 1<<16)
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	var anchor Anchor
	err := s.walk(func(tx *bbolt.Tx) error {
		l, head, err := readLedger(tx)
		if err != nil {
			return err
		}
		anchor = anchorOf(l.Count, head)
		if err := enc.Encode(exportHead{Export: ExportVersion, Format: Format, MadeBy: s.identity.MadeBy,
			Store: fmt.Sprintf("%x", s.identity.ID), Records: l.Count, Anchor: anchor}); err != nil {
			return err
		}
		return inOrder(tx, func(n uint64, stored []byte, step medium.Step) error {
			if progress != nil && (n%1000 == 0 || n == l.Count) {
				progress(int(n), int(l.Count))
			}
			return writeLine(out, step, stored)
		})
	})
	if err != nil {
		return anchor, err
	}
	return anchor, out.Flush()
}

// writeLine writes one record, with its bytes where the line alone does not
// give them.
func writeLine(w io.Writer, step medium.Step, stored []byte) error {
	line := exportLine{Step: step, Hash: fmt.Sprintf("%x", recordHash(stored))}
	text, err := jsonLine(line)
	if err != nil {
		return err
	}
	if !givesBytes(text, stored) {
		line.Stored = stored
		if text, err = jsonLine(line); err != nil {
			return err
		}
	}
	_, err = w.Write(text)
	return err
}

func jsonLine(line exportLine) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	err := enc.Encode(line)
	return b.Bytes(), err
}

// givesBytes says whether a record can be made again from its line.
func givesBytes(text, stored []byte) bool {
	line, err := parseLine(text)
	if err != nil {
		return false
	}
	_, prev, err := decodeStep(stored)
	if err != nil {
		return false
	}
	again, _, err := encodeStep(line.Step, prev)
	return err == nil && bytes.Equal(again, stored)
}

// inOrder goes through all records in the order of the ledger, and holds each
// against its place, against the record of its mat before it, and all of them
// against the ledger's head: what do was given is good when inOrder gives no
// error. It merges the threads, each of which is in that order already.
func inOrder(tx *bbolt.Tx, do func(n uint64, stored []byte, step medium.Step) error) error {
	l, want, err := readLedger(tx)
	if err != nil {
		return err
	}
	heads, err := firstOfThreads(tx)
	if err != nil {
		return err
	}
	head := genesis(tx.Bucket(bucketMeta).Get(keyIdentity))
	steps := tx.Bucket(bucketSteps)
	n := uint64(0)
	for len(heads) > 0 {
		n++
		h := &heads[0]
		stored := steps.Get(stepKey(h.mat, h.matSeq))
		step, link, err := decodeStep(stored)
		if err != nil {
			return &RecordError{Code: printable(h.mat), MatSeq: h.matSeq, Err: err}
		}
		if wrong := h.wrong(n, step, link); wrong != "" {
			return unsound(tx, Problem{Code: printable(h.mat), Seq: h.matSeq, Text: wrong})
		}
		if err := do(n, stored, step); err != nil {
			return err
		}
		h.last = recordHash(stored)
		head = head.next(h.mat, h.last)
		following := steps.Get(stepKey(h.mat, h.matSeq+1))
		if following == nil {
			heap.Pop(&heads)
			continue
		}
		h.matSeq++
		if h.seq, err = numberOf(following); err != nil {
			return &RecordError{Code: h.mat, MatSeq: h.matSeq, Err: err}
		}
		heap.Fix(&heads, 0)
	}
	if n != l.Count || head != want {
		return unsound(tx, Problem{Text: fmt.Sprintf("the ledger says %s, its records make %s", anchorOf(l.Count, want), anchorOf(n, head))})
	}
	return nil
}

func unsound(tx *bbolt.Tx, p Problem) error {
	return &UnsoundError{Path: tx.DB().Path(), Problems: []Problem{p}}
}

// firstOfThreads gives where each thread begins. Keys that do not ascend would
// lead the search for the next thread back, and it would never end.
func firstOfThreads(tx *bbolt.Tx) (threadHeads, error) {
	var heads threadHeads
	var last []byte
	c := tx.Bucket(bucketSteps).Cursor()
	for k, v := c.First(); k != nil; {
		code, matSeq, ok := parseStepKey(k)
		if !ok || bytes.Compare(k, last) <= 0 {
			return nil, disordered(tx.DB().Path(), bucketSteps)
		}
		seq, err := numberOf(v)
		if err != nil {
			return nil, &RecordError{Code: printable(code), MatSeq: matSeq, Err: err}
		}
		heads = append(heads, threadHead{seq: seq, mat: code, matSeq: matSeq})
		last = stepKey(code, 1<<32-1) // past this thread
		k, v = c.Seek(last)
		if bytes.Equal(k, last) {
			k, v = c.Next()
		}
	}
	heap.Init(&heads)
	return heads, nil
}

func disordered(path string, part []byte) error {
	return &DamagedError{Path: path, Why: fmt.Sprintf("the keys of its part %q are out of order", part)}
}

// numberOf gives a record's number in the ledger.
func numberOf(stored []byte) (uint64, error) {
	h, err := headOf(stored)
	return h.Seq, err
}

// threadHead is the next record of one thread.
type threadHead struct {
	seq    uint64
	mat    medium.Code
	matSeq uint64
	last   hash // of the record before it
}

// wrong says why a record is not the n-th of the ledger in its place.
func (h *threadHead) wrong(n uint64, step medium.Step, link []byte) string {
	first := h.last == hash{}
	switch {
	case step.Seq != n:
		return fmt.Sprintf("it is number %d of the ledger where number %d belongs", step.Seq, n)
	case step.Mat != h.mat || step.MatSeq != h.matSeq:
		return fmt.Sprintf("it says that it is step %d of mat %s", step.MatSeq, printable(step.Mat))
	case first && (h.matSeq != 1 || len(link) != 0), !first && !bytes.Equal(link, h.last[:]):
		return "it does not chain to the step before it"
	}
	return ""
}

type threadHeads []threadHead

func (h threadHeads) Len() int           { return len(h) }
func (h threadHeads) Less(i, j int) bool { return h[i].seq < h[j].seq }
func (h threadHeads) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *threadHeads) Push(x any)        { *h = append(*h, x.(threadHead)) }
func (h *threadHeads) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}
