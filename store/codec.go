package store

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"strings"

	"github.com/ugorji/go/codec"

	"resow/medium"
)

// Records are deterministic CBOR (RFC 8949, section 4.2.1): shortest integers
// and floats, definite lengths, keys in bytewise order. Keys are integers of
// two digits, since the library sorts the keys of structs as text, and for
// two digits that is the bytewise order too. A plan does the same work faster
// where it can (plan.go); the library is what it is held against.
//
// A record may hold only what this version knows. The handle strict refuses an
// unknown key; the handle lenient exists to tell an unknown key (a newer
// version wrote it) from bytes that are no record at all.
var (
	strict  = newHandle(true)
	lenient = newHandle(false)
)

// maxRecord bounds one stored record in bytes. The longest that medium admits
// is far below it.
const maxRecord = 64 << 10

func newHandle(errorIfNoField bool) *codec.CborHandle {
	h := &codec.CborHandle{TimeRFC3339: true}
	h.TypeInfos = codec.NewTypeInfos([]string{"cbor"})
	h.Canonical = true
	h.OptimumSize = true
	h.Raw = true // a step's body is embedded as it was encoded
	h.ErrorIfNoField = errorIfNoField
	h.ErrorIfNoArrayExpand = true
	h.MaxDepth = 32
	h.ValidateUnicode = true
	return h
}

// frame is one stored record: the step's envelope (keys 10 to 19), its body,
// and the hash of the mat's record before it (none for the first).
type frame struct {
	medium.Step
	Body codec.Raw `cbor:"30"`
	Prev []byte    `cbor:"31"`
}

func encode(v any) ([]byte, error) {
	if b, ok := planEncode(make([]byte, 0, 256), v); ok {
		return b, nil
	}
	return libraryEncode(v)
}

func libraryEncode(v any) ([]byte, error) {
	var out []byte
	if err := codec.NewEncoderBytes(&out, strict).Encode(v); err != nil {
		return nil, fmt.Errorf("encoding: %w", err)
	}
	return out, nil
}

// decodeWith reads one value and nothing behind it. It copies data first: the
// bytes belong to the file and are gone after the transaction.
func decodeWith(h *codec.CborHandle, data []byte, v any) error {
	data = bytes.Clone(data)
	d := codec.NewDecoderBytes(data, h)
	if err := d.Decode(v); err != nil {
		return err
	}
	if n := d.NumBytesRead(); n != len(data) {
		return fmt.Errorf("%d bytes follow the value", len(data)-n)
	}
	return nil
}

// decode reads a value, and says so where it holds a field that only a newer
// version knows.
func decode(data []byte, v any, fresh func() any) error {
	if planDecode(data, v) {
		return nil
	}
	reflect.ValueOf(v).Elem().SetZero() // of what the plan had read
	return libraryDecode(data, v, fresh)
}

func libraryDecode(data []byte, v any, fresh func() any) error {
	err := decodeWith(strict, data, v)
	if err == nil {
		return nil
	}
	if decodeWith(lenient, data, fresh()) == nil {
		return &NewerError{What: "a field that this version does not know"}
	}
	return &recordError{err.Error()}
}

// recordError says that stored bytes are no record. Callers wrap it with the
// place where it was found.
type recordError struct{ why string }

func (e *recordError) Error() string { return e.why }

// encodeStep gives the bytes of a record and the step as it will be read from
// them. A record that can't be read back must never get into the ledger.
func encodeStep(s medium.Step, prev []byte) ([]byte, medium.Step, error) {
	data, err := writeStep(s, prev)
	if err != nil {
		return nil, s, err
	}
	back, _, err := decodeStep(data)
	if err != nil {
		return nil, s, &medium.InputError{Field: "step", Value: string(s.Kind),
			Want: "text in UTF-8; this one could not be read back: " + err.Error()}
	}
	return data, back, nil
}

// writeStep gives the bytes of a record without reading them back: the caller
// does that later.
func writeStep(s medium.Step, prev []byte) ([]byte, error) {
	if s.Body == nil {
		return nil, errors.New("encoding: a step without a body")
	}
	if len(s.Outcome.Findings) == 0 { // the codec leaves out no list but one that is nil
		s.Outcome.Findings = nil
	}
	data, ok := planEncodeStep(&s, prev)
	if !ok {
		var err error
		if data, err = libraryEncodeStep(s, prev); err != nil {
			return nil, err
		}
	}
	if len(data) > maxRecord {
		return nil, &medium.InputError{Field: "step", Value: fmt.Sprintf("%s of %d bytes", s.Kind, len(data)),
			Want: fmt.Sprintf("at most %d bytes; shorten its texts", maxRecord)}
	}
	return data, nil
}

func libraryEncodeStep(s medium.Step, prev []byte) ([]byte, error) {
	body, err := libraryEncode(s.Body)
	if err != nil {
		return nil, err
	}
	return libraryEncode(&frame{Step: s, Body: body, Prev: prev})
}

// storedStep reads a record of the steps bucket with its place.
func storedStep(k, v []byte) (medium.Code, uint64, medium.Step, error) {
	code, seq, ok := parseStepKey(k)
	if !ok {
		return "", 0, medium.Step{}, &RecordError{Err: &recordError{"a key of unknown form"}}
	}
	step, _, err := decodeStep(v)
	if err != nil {
		return code, seq, step, &RecordError{Code: code, MatSeq: seq, Err: err}
	}
	return code, seq, step, nil
}

// decodeStep reads a stored record. It refuses a version, kind or field that
// it does not know with a NewerError.
func decodeStep(data []byte) (medium.Step, []byte, error) {
	s, prev, err := decodeCopied(data, string(data))
	return s, bytes.Clone(prev), err
}

// decodeCopied is decodeStep for a caller who has copied the bytes to a text:
// the step's own texts are parts of that, and the link may be a part of data.
func decodeCopied(data []byte, text string) (medium.Step, []byte, error) {
	if len(data) > maxRecord {
		return medium.Step{}, nil, &recordError{fmt.Sprintf("%d bytes, the longest record has %d", len(data), maxRecord)}
	}
	if s, prev, ok := planDecodeStep(data, text); ok {
		return s, prev, nil
	}
	return libraryDecodeStep(data)
}

// dueLines reads lines of the due list. They share their memory: whoever wants one
// of them has wanted all.
type dueLines struct {
	texts
	reader
	dues []medium.Due
}

func (l *dueLines) read(data []byte, w *medium.Work) error {
	if l.work(l.of(data), w, &l.dues) {
		return nil
	}
	*w = medium.Work{} // of what the plan had read
	return libraryDecode(data, w, func() any { return &medium.Work{} })
}

// texts copies the bytes of many records to few pieces of memory. Whoever keeps
// one of their texts keeps a whole piece, so it is for those who keep none.
type texts struct{ piece strings.Builder }

const textPiece = 16 << 10

func (t *texts) of(data []byte) string {
	if t.piece.Cap()-t.piece.Len() < len(data) {
		t.piece = strings.Builder{}
		t.piece.Grow(max(textPiece, len(data)))
	}
	from := t.piece.Len()
	t.piece.Write(data)
	return t.piece.String()[from:]
}

func libraryDecodeStep(data []byte) (medium.Step, []byte, error) {
	var f frame
	if err := libraryDecode(data, &f, func() any { return &frame{} }); err != nil {
		return medium.Step{}, nil, err
	}
	if f.Version != medium.Version {
		return medium.Step{}, nil, &NewerError{What: fmt.Sprintf("a record of version %d", f.Version)}
	}
	body := medium.NewBody(f.Kind)
	if body == nil {
		return medium.Step{}, nil, &NewerError{What: fmt.Sprintf("a step of kind %q", f.Kind)}
	}
	if err := libraryDecode(f.Body, body, func() any { return medium.NewBody(f.Kind) }); err != nil {
		return medium.Step{}, nil, err
	}
	if len(f.Prev) != 0 && len(f.Prev) != hashLen {
		return medium.Step{}, nil, &recordError{fmt.Sprintf("a link of %d bytes", len(f.Prev))}
	}
	s := f.Step
	s.Body = body
	return s, f.Prev, nil
}
