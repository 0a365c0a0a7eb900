package store

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"

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
// order of the ledger. It gives the records that are there when it begins, and lets
// others record meanwhile. The same ledger gives the same bytes. What was written is
// good only where there is no error: a record that does not chain ends it.
func (s *Store) Lines(w io.Writer, progress func(done, total int)) (Anchor, error) {
	l, head, err := s.ledgerNow()
	if err != nil {
		return Anchor{}, err
	}
	anchor := anchorOf(l.Count, head)
	out := bufio.NewWriterSize(w, 1<<16)
	enc := json.NewEncoder(out)
	enc.SetEscapeHTML(false)
	err = enc.Encode(exportHead{Export: ExportVersion, Format: Format, MadeBy: s.identity.MadeBy,
		Store: fmt.Sprintf("%x", s.identity.ID), Records: l.Count, Anchor: anchor})
	if err != nil {
		return anchor, err
	}
	err = inOrderTo(s, l.Count, head, lineOf, func(r logged[[]byte]) error {
		if progress != nil && (r.at%1000 == 0 || r.at == l.Count) {
			progress(int(r.at), int(l.Count))
		}
		_, err := out.Write(r.read)
		return err
	})
	if err != nil {
		return anchor, err
	}
	return anchor, out.Flush()
}

// lineOf gives the line of one record, with its bytes where the line alone does not
// give them.
func lineOf(position uint64, stored []byte) ([]byte, error) {
	step, before, err := linkedStep(position, stored)
	if err != nil {
		return nil, err
	}
	line := exportLine{Step: step, Hash: fmt.Sprintf("%x", recordHash(stored))}
	if again, err := writeStep(step, before); err != nil || !bytes.Equal(again, stored) {
		line.Stored = stored
	}
	return jsonLine(line)
}

func jsonLine(line exportLine) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	err := enc.Encode(line)
	return b.Bytes(), err
}
