package store

import (
	"bytes"
	"errors"
	"fmt"
	"reflect"
	"slices"
	"sync"
	"time"

	"github.com/fxamacker/cbor/v2"

	"resow/medium"
)

// Records are deterministic CBOR (RFC 8949, section 4.2.1): shortest integers
// and floats, definite lengths, keys in bytewise order, times as whole seconds.
// What is read may hold only what this version knows.
var encoding, decoding = modes()

func modes() (write cbor.UserBufferEncMode, read cbor.DecMode) {
	write, err := cbor.EncOptions{
		Sort:          cbor.SortCoreDeterministic,
		ShortestFloat: cbor.ShortestFloat16,
		NaNConvert:    cbor.NaNConvertReject,
		InfConvert:    cbor.InfConvertFloat16,
		Time:          cbor.TimeUnix,
		IndefLength:   cbor.IndefLengthForbidden,
		TagsMd:        cbor.TagsForbidden,
	}.UserBufferEncMode()
	if err != nil {
		panic(err)
	}
	read, err = cbor.DecOptions{
		DupMapKey:         cbor.DupMapKeyEnforcedAPF,
		TimeTag:           cbor.DecTagOptional,
		IndefLength:       cbor.IndefLengthForbidden,
		TagsMd:            cbor.TagsForbidden,
		ExtraReturnErrors: cbor.ExtraDecErrorUnknownField,
		NaN:               cbor.NaNDecodeForbidden,
	}.DecMode()
	if err != nil {
		panic(err)
	}
	return write, read
}

// maxRecord bounds one stored record in bytes. The longest that medium admits
// is far below it.
const maxRecord = 64 << 10

// A record is two items of CBOR, one behind the other: a recordHead and a frame.

// recordHead is what every record says: which step of which mat it is, and where the
// mat's record before it stands. To follow a thread no more is read.
type recordHead struct {
	_        struct{} `cbor:",toarray"`
	Kind     medium.Kind
	Mat      medium.Code
	MatSeq   uint64
	Back     uint64 // how many records before this one the mat's last stands; 0: this is its first
	Prev     []byte // the hash of that record, its first linkLen bytes
	Token    string
	Happened int64 // seconds since 1970
	By       string
	From, To int // places in stages
}

// frame is the rest of a record. Reserved are the keys 22 (the ledger of the mat's
// record before, where it is another), 23 (the number of the act) and 24 (of the mat).
type frame struct {
	Version   int              `cbor:"10,keyasint,omitzero"` // left out where it is 1
	Body      medium.Body      `cbor:"11,keyasint"`          // the struct of its kind
	RecordedS int64            `cbor:"12,keyasint,omitzero"` // seconds from when it happened until it was written down
	Missed    bool             `cbor:"13,keyasint,omitzero"` // not accepted
	Late      bool             `cbor:"14,keyasint,omitzero"`
	Policy    int              `cbor:"15,keyasint,omitzero"`
	Findings  []medium.Finding `cbor:"16,keyasint,omitzero"`
	Replaces  uint64           `cbor:"17,keyasint,omitzero"`
	Day       bool             `cbor:"18,keyasint,omitzero"`
	Seen      time.Time        `cbor:"19,keyasint,omitzero"`
	SeenTurn  int              `cbor:"20,keyasint,omitzero"`
	SentBy    string           `cbor:"21,keyasint,omitzero"`
}

// stages are stored by their places here: a new one comes last.
var stages = []medium.Stage{"", medium.ToWash, medium.ToDry, medium.ToSanitize, medium.Airing, medium.Ready,
	medium.Growing, medium.OnHold, medium.Retired}

// linkLen is how much of the hash of the record before one stands in it: as much as an
// anchor has of the head.
const linkLen = 10

// link leads to the record of the same mat before one; it is empty for the first.
type link struct {
	Prev []byte // the hash of that record, its first linkLen bytes
	Back uint64 // its position in the ledger
}

// linkHash is what the next record of a mat keeps of the hash of this one.
func linkHash(stored []byte) []byte {
	h := recordHash(stored)
	return h[:linkLen]
}

// headOf reads the head of the record at a position, and gives the rest of it.
func headOf(position uint64, stored []byte) (h recordHead, before link, rest []byte, err error) {
	if len(stored) > maxRecord {
		return h, before, nil, &recordError{fmt.Sprintf("%d bytes, the longest record has %d", len(stored), maxRecord)}
	}
	if rest, err = decoding.UnmarshalFirst(stored, &h); err != nil {
		return h, before, nil, readError(err)
	}
	first := h.Back == 0 && len(h.Prev) == 0
	if !first && (h.Back == 0 || h.Back >= position || len(h.Prev) != linkLen) {
		err = &recordError{fmt.Sprintf("a link of %d bytes to the record %d before it", len(h.Prev), h.Back)}
	}
	if !first && err == nil {
		before = link{h.Prev, position - h.Back}
	}
	return h, before, rest, err
}

func encode(v any) ([]byte, error) {
	b, err := encoding.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("encoding: %w", err)
	}
	return b, nil
}

// decode reads one value and nothing behind it into what v points to, and says so
// where it holds a field that only a newer version knows. It keeps nothing of data.
func decode(data []byte, v any) error {
	if err := decoding.Unmarshal(data, v); err != nil {
		return readError(err)
	}
	inUTC(reflect.ValueOf(v))
	return nil
}

func readError(err error) error {
	var unknown *cbor.UnknownFieldError
	if errors.As(err, &unknown) {
		return &NewerError{What: "a field that this version does not know"}
	}
	return &recordError{err.Error()}
}

// inUTC brings all times of a value to UTC: the library gives them in the zone of
// the machine.
func inUTC(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer, reflect.Interface:
		if !v.IsNil() {
			inUTC(v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			inUTC(v.Index(i))
		}
	case reflect.Struct:
		if t, ok := v.Addr().Interface().(*time.Time); ok {
			*t = t.UTC()
			return
		}
		for _, i := range withTimes(v.Type()) {
			inUTC(v.Field(i))
		}
	}
}

var timesIn sync.Map // reflect.Type: []int

// withTimes lists the fields of a struct that are times or hold some.
func withTimes(t reflect.Type) []int {
	if known, ok := timesIn.Load(t); ok {
		return known.([]int)
	}
	var fields []int
	for i := range t.NumField() {
		if f := t.Field(i); (f.IsExported() || f.Anonymous) && holdsTime(f.Type) {
			fields = append(fields, i)
		}
	}
	timesIn.Store(t, fields)
	return fields
}

func holdsTime(t reflect.Type) bool {
	switch t.Kind() {
	case reflect.Pointer, reflect.Slice:
		return holdsTime(t.Elem())
	case reflect.Interface:
		return true
	case reflect.Struct:
		return t == reflect.TypeFor[time.Time]() || len(withTimes(t)) > 0
	}
	return false
}

// recordError says that stored bytes are no record. Callers wrap it with the
// place where it was found.
type recordError struct{ why string }

func (e *recordError) Error() string { return e.why }

// encodeStep gives the bytes of a record and the step as it will be read from
// them. A record that can't be read back must never get into the ledger.
func encodeStep(s medium.Step, before link) ([]byte, medium.Step, error) {
	data, err := writeStep(s, before)
	if err != nil {
		return nil, s, err
	}
	back, _, err := decodeStep(s.Seq, data)
	if err != nil {
		return nil, s, &medium.InputError{Field: "step", Value: string(s.Kind),
			Want: "text in UTF-8; this one could not be read back: " + err.Error()}
	}
	return data, back, nil
}

// writeStep gives the bytes of a record without reading them back: the caller
// does that later.
func writeStep(s medium.Step, before link) ([]byte, error) {
	if s.Body == nil {
		return nil, errors.New("encoding: a step without a body")
	}
	o := s.Outcome
	h := recordHead{Kind: s.Kind, Mat: s.Mat, MatSeq: s.MatSeq, Prev: []byte{}, Token: s.Token, Happened: s.At.Unix(),
		By: s.By, From: slices.Index(stages, o.From), To: slices.Index(stages, o.To)}
	if before.Back > 0 {
		h.Back, h.Prev = s.Seq-before.Back, before.Prev
	}
	f := frame{Body: s.Body, RecordedS: s.Recorded.Unix() - h.Happened, Missed: !o.Accepted, Late: o.Late,
		Policy: o.Policy, Replaces: s.Replaces, Day: s.Day, Seen: s.Seen, SeenTurn: s.SeenTurn, SentBy: s.SentBy}
	if s.Version != 1 {
		f.Version = s.Version
	}
	if len(o.Findings) > 0 { // only a list that is nil is left out
		f.Findings = o.Findings
	}
	var b bytes.Buffer
	if err := errors.Join(encoding.MarshalToBuffer(&h, &b), encoding.MarshalToBuffer(&f, &b)); err != nil {
		return nil, fmt.Errorf("encoding: %w", err)
	}
	if b.Len() > maxRecord {
		return nil, &medium.InputError{Field: "step", Value: fmt.Sprintf("%s of %d bytes", s.Kind, b.Len()),
			Want: fmt.Sprintf("at most %d bytes; shorten its texts", maxRecord)}
	}
	return b.Bytes(), nil
}

// decodeStep reads the record at a position, and gives the link to the one before it.
// It refuses a version, kind or field that it does not know with a NewerError.
func decodeStep(position uint64, data []byte) (medium.Step, link, error) {
	h, before, rest, err := headOf(position, data)
	if err != nil {
		return medium.Step{}, link{}, err
	}
	s, err := stepOf(position, h, rest)
	return s, before, err
}

// stepOf reads what follows the head of a record.
func stepOf(position uint64, h recordHead, rest []byte) (s medium.Step, err error) {
	f := frame{Version: 1, Body: medium.NewBody(h.Kind)}
	if f.Body == nil {
		return s, &NewerError{What: fmt.Sprintf("a step of kind %q", h.Kind)}
	}
	if err := decode(rest, &f); err != nil {
		return s, err
	}
	switch {
	case f.Version != medium.Version:
		err = &NewerError{What: fmt.Sprintf("a record of version %d", f.Version)}
	case f.Body == nil:
		err = &recordError{"a step without a body"}
	case h.From < 0 || h.From >= len(stages) || h.To < 0 || h.To >= len(stages):
		err = &NewerError{What: fmt.Sprintf("a step from stage %d to stage %d", h.From, h.To)}
	}
	if err != nil {
		return s, err
	}
	at, recorded := time.Unix(h.Happened, 0).UTC(), time.Unix(h.Happened+f.RecordedS, 0).UTC()
	return medium.Step{Version: f.Version, Seq: position, Mat: h.Mat, MatSeq: h.MatSeq, At: at, Recorded: recorded,
		By: h.By, Kind: h.Kind, Token: h.Token, Replaces: f.Replaces, Day: f.Day, Seen: f.Seen, SeenTurn: f.SeenTurn,
		SentBy: f.SentBy, Body: f.Body, Outcome: medium.Outcome{Accepted: !f.Missed, From: stages[h.From],
			To: stages[h.To], Late: f.Late, Policy: f.Policy, Findings: f.Findings}}, nil
}
