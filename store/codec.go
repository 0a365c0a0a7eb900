package store

import (
	"errors"
	"fmt"
	"reflect"
	"sync"
	"time"

	"github.com/fxamacker/cbor/v2"

	"resow/medium"
)

// Records are deterministic CBOR (RFC 8949, section 4.2.1): shortest integers
// and floats, definite lengths, keys in bytewise order, times as whole seconds.
// A record may hold only what this version knows; lenient passes over the rest.
var encoding, decoding, lenient = modes()

func modes() (write cbor.EncMode, read, readSome cbor.DecMode) {
	write, err := cbor.EncOptions{
		Sort:          cbor.SortCoreDeterministic,
		ShortestFloat: cbor.ShortestFloat16,
		NaNConvert:    cbor.NaNConvertReject,
		InfConvert:    cbor.InfConvertFloat16,
		Time:          cbor.TimeUnix,
		IndefLength:   cbor.IndefLengthForbidden,
		TagsMd:        cbor.TagsForbidden,
	}.EncMode()
	if err != nil {
		panic(err)
	}
	options := cbor.DecOptions{
		DupMapKey:         cbor.DupMapKeyEnforcedAPF,
		TimeTag:           cbor.DecTagOptional,
		IndefLength:       cbor.IndefLengthForbidden,
		TagsMd:            cbor.TagsForbidden,
		ExtraReturnErrors: cbor.ExtraDecErrorUnknownField,
		NaN:               cbor.NaNDecodeForbidden,
	}
	if read, err = options.DecMode(); err != nil {
		panic(err)
	}
	options.ExtraReturnErrors = cbor.ExtraDecErrorNone
	if readSome, err = options.DecMode(); err != nil {
		panic(err)
	}
	return write, read, readSome
}

// maxRecord bounds one stored record in bytes. The longest that medium admits
// is far below it.
const maxRecord = 64 << 10

// frame is one stored record: the step's envelope (keys 10 to 29), its body, and
// where the mat's record before it is. Reserved are the keys 33 (the ledger of that
// record, where it is another), 34 (the number of the act) and 35 (of the mat).
type frame struct {
	medium.Step
	Body cbor.RawMessage `cbor:"30,keyasint"`
	link
}

// link leads to the record of the same mat before one; it is empty for the first.
type link struct {
	Prev []byte `cbor:"31,keyasint,omitzero"` // the hash of that record
	Back uint64 `cbor:"32,keyasint,omitzero"` // its position in the ledger
}

// recordHead is what can be said of a record without reading its body.
type recordHead struct {
	Seq    uint64      `cbor:"11,keyasint"`
	Mat    medium.Code `cbor:"12,keyasint"`
	MatSeq uint64      `cbor:"13,keyasint"`
	Kind   medium.Kind `cbor:"17,keyasint"`
	Token  string      `cbor:"18,keyasint"`
	link
}

func headOf(stored []byte) (h recordHead, err error) {
	err = lenient.Unmarshal(stored, &h)
	return h, err
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
	err := decoding.Unmarshal(data, v)
	var unknown *cbor.UnknownFieldError
	switch {
	case err == nil:
		inUTC(reflect.ValueOf(v))
		return nil
	case errors.As(err, &unknown):
		return &NewerError{What: "a field that this version does not know"}
	}
	return &recordError{err.Error()}
}

// inUTC brings all times of a value to UTC: the library gives them in the zone of
// the machine.
func inUTC(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
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
	back, _, err := decodeStep(data)
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
	if len(s.Outcome.Findings) == 0 { // only a list that is nil is left out
		s.Outcome.Findings = nil
	}
	body, err := encode(s.Body)
	if err != nil {
		return nil, err
	}
	data, err := encode(&frame{Step: s, Body: body, link: before})
	if err != nil {
		return nil, err
	}
	if len(data) > maxRecord {
		return nil, &medium.InputError{Field: "step", Value: fmt.Sprintf("%s of %d bytes", s.Kind, len(data)),
			Want: fmt.Sprintf("at most %d bytes; shorten its texts", maxRecord)}
	}
	return data, nil
}

// decodeStep reads a stored record, and gives the link to the one before it. It
// refuses a version, kind or field that it does not know with a NewerError.
func decodeStep(data []byte) (medium.Step, link, error) {
	if len(data) > maxRecord {
		return medium.Step{}, link{}, &recordError{fmt.Sprintf("%d bytes, the longest record has %d", len(data), maxRecord)}
	}
	var f frame
	if err := decode(data, &f); err != nil {
		return medium.Step{}, link{}, err
	}
	if f.Version != medium.Version {
		return medium.Step{}, link{}, &NewerError{What: fmt.Sprintf("a record of version %d", f.Version)}
	}
	body := medium.NewBody(f.Kind)
	if body == nil {
		return medium.Step{}, link{}, &NewerError{What: fmt.Sprintf("a step of kind %q", f.Kind)}
	}
	if err := decode(f.Body, body); err != nil {
		return medium.Step{}, link{}, err
	}
	l := f.link
	first := l.Back == 0 && len(l.Prev) == 0
	if !first && (l.Back == 0 || l.Back >= f.Seq || len(l.Prev) != hashLen) {
		return medium.Step{}, link{}, &recordError{fmt.Sprintf("a link of %d bytes to record %d", len(l.Prev), l.Back)}
	}
	s := f.Step
	s.Body = body
	return s, f.link, nil
}
