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
// and keeps one record of each mat in memory, never the whole. The same ledger
// gives the same bytes.
func (s *Store) Lines(w io.Writer, progress func(done, total int)) (Anchor, error) {
	out := bufio.NewWriterSize(w, 1<<16)
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	var anchor Anchor
	err := s.view(func(tx *bbolt.Tx) error {
		l, head, err := readLedger(tx)
		if err != nil {
			return err
		}
		anchor = anchorOf(l.Count, head)
		if err := enc.Encode(exportHead{Export: ExportVersion, Format: s.identity.Format, MadeBy: s.identity.MadeBy,
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

// inOrder goes through all records in the order of the ledger. It merges the
// threads, each of which is in that order already.
func inOrder(tx *bbolt.Tx, do func(n uint64, stored []byte, step medium.Step) error) error {
	steps := tx.Bucket(bucketSteps)
	var heads threadHeads
	c := steps.Cursor()
	for k, v := c.First(); k != nil; {
		code, seq, step, err := storedStep(k, v)
		if err != nil {
			return err
		}
		heads = append(heads, threadHead{step.Seq, code, seq})
		k, v = c.Seek(stepKey(code, 1<<32-1)) // past this thread
		if k != nil && string(k[:min(codeLen, len(k))]) == string(code) {
			k, v = c.Next()
		}
	}
	heap.Init(&heads)
	for n := uint64(1); len(heads) > 0; n++ {
		h := &heads[0]
		stored := steps.Get(stepKey(h.mat, h.matSeq))
		step, _, err := decodeStep(stored)
		if err != nil {
			return &RecordError{Code: h.mat, MatSeq: h.matSeq, Err: err}
		}
		if step.Seq != n {
			return &RecordError{Code: h.mat, MatSeq: h.matSeq, Err: &recordError{fmt.Sprintf("it is number %d of the ledger where number %d belongs", step.Seq, n)}}
		}
		if err := do(n, stored, step); err != nil {
			return err
		}
		following := steps.Get(stepKey(h.mat, h.matSeq+1))
		if following == nil {
			heap.Pop(&heads)
			continue
		}
		step, _, err = decodeStep(following)
		if err != nil {
			return &RecordError{Code: h.mat, MatSeq: h.matSeq + 1, Err: err}
		}
		h.seq, h.matSeq = step.Seq, h.matSeq+1
		heap.Fix(&heads, 0)
	}
	return nil
}

// threadHead is the next record of one thread.
type threadHead struct {
	seq    uint64
	mat    medium.Code
	matSeq uint64
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
