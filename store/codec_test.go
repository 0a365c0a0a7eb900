package store

import (
	"bytes"
	"encoding/hex"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"resow/medium"
)

// Expected bytes by hand from RFC 8949: section 3 (major types), Appendix A
// (half floats), 4.2.1 (shortest forms, keys in bytewise order).
func TestEncoding(t *testing.T) {
	zero := 0.0
	for name, c := range map[string]struct {
		v    any
		want string
	}{
		"appendix A: 1.5":           {1.5, "f93e00"},
		"appendix A: 65504.0":       {65504.0, "f97bff"},
		"appendix A: 100000.0":      {100000.0, "fa47c35000"},
		"appendix A: 1.1":           {1.1, "fb3ff199999999999a"},
		"appendix A: 5.96e-8":       {5.960464477539063e-8, "f90001"},
		"0.1":                       {0.1, "fb3fb999999999999a"},
		"appendix A: 24":            {24, "1818"},
		"appendix A: 1000000":       {1000000, "1a000f4240"},
		"appendix A: -1":            {-1, "20"},
		"appendix A: seconds":       {time.Unix(1363896240, 0), "1a514b67b0"},
		"empty fields are left out": {&medium.Condition{Code: "x"}, "a10a6178"},
		"a nil slice is left out, an empty one stays": {&medium.Condition{Code: "x", Tags: []medium.Code{}}, "a20a6178183480"},
		"pointer to zero stays":                       {&medium.Sanitize{TempC: &zero}, "a10ef90000"},
		"keys ascend past 23":                         {&medium.Mat{Form: "mat", Mark: "m", SunRatingKLy: 1.5}, "a30a636d617417616d1818f93e00"},
		"nested and embedded":                         {&medium.Add{Mat: medium.Mat{Layers: 2}}, "a10aa11002"},
	} {
		got, err := encode(c.v)
		require.NoError(t, err, name)
		require.Equal(t, c.want, hex.EncodeToString(got), name)
	}
}

func TestFloatsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.Float64().Draw(t, "v")
		b, err := encode(want)
		if err != nil {
			t.Fatal(err)
		}
		var got float64
		if err := decode(b, &got); err != nil {
			t.Fatal(err)
		}
		if math.Float64bits(got) != math.Float64bits(want) {
			t.Fatalf("%v (%x) came back as %v", want, b, got)
		}
	})
}

func aStep() medium.Step {
	ph := 7.25
	return medium.Step{Version: medium.Version, Seq: 300, Mat: "TK7R2N81", MatSeq: 2, At: start, Recorded: start, By: "ab", Kind: medium.KindSanitize,
		Outcome: medium.Outcome{Accepted: true, Findings: []medium.Finding{{Rule: "r", Severity: medium.Care, Text: "ü"}}},
		Body:    &medium.Sanitize{Product: "x", StrengthPPM: 0.1, ContactS: 600, PH: &ph, Sides: 2}}
}

func TestStepRoundTrip(t *testing.T) {
	prev := link{bytes.Repeat([]byte{7}, linkLen), 299}
	b, back, err := encodeStep(aStep(), prev)
	require.NoError(t, err)
	require.Equal(t, aStep(), back)
	again, _, err := encodeStep(back, prev)
	require.NoError(t, err)
	require.Equal(t, b, again)
	s, before, err := decodeStep(300, b)
	require.NoError(t, err)
	require.Equal(t, prev, before)
	for i := range b { // the bytes are bbolt's and go away
		b[i] = 0
	}
	require.Equal(t, aStep(), s)
	require.Equal(t, link{bytes.Repeat([]byte{7}, linkLen), 299}, before)
}

// Every kind of body survives with every field set.
func TestEveryBodyRoundTrips(t *testing.T) {
	kinds := append(medium.Kinds(), medium.FarmKinds()...)
	for _, k := range kinds {
		body := medium.NewBody(k)
		fill(reflect.ValueOf(body).Elem())
		want := medium.Step{Version: medium.Version, Seq: 1, Mat: "TK7R2N81", MatSeq: 1, At: start, Recorded: start, By: "ab", Kind: k, Body: body}
		_, got, err := encodeStep(want, link{})
		require.NoError(t, err, k)
		require.Equal(t, want, got, k)
	}
	var c medium.Condition
	fill(reflect.ValueOf(&c).Elem())
	b, err := encode(&entry{Condition: c, Len: 7, Due: start})
	require.NoError(t, err)
	e, err := readEntry(sealed{payload: b})
	require.NoError(t, err)
	require.Equal(t, c, e.Condition)
}

// fill sets every exported field to something that is not empty.
func fill(v reflect.Value) {
	switch v.Kind() {
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			v.Set(reflect.ValueOf(start))
			return
		}
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				fill(v.Field(i))
			}
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(v.Elem())
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		fill(v.Index(0))
		fill(v.Index(1))
	case reflect.String:
		v.SetString("text ü")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int:
		v.SetInt(70000)
	case reflect.Uint64:
		v.SetUint(1 << 40)
	case reflect.Float64:
		v.SetFloat(0.1)
	default:
		panic("fill: " + v.Kind().String())
	}
}

// Every field that is stored has a key of two digits or three, used once in its struct.
func TestKeysAreUsedOnce(t *testing.T) {
	seen := map[reflect.Type]bool{}
	var walk func(reflect.Type)
	walk = func(rt reflect.Type) {
		for rt.Kind() == reflect.Pointer || rt.Kind() == reflect.Slice {
			rt = rt.Elem()
		}
		if rt.Kind() != reflect.Struct || rt == reflect.TypeFor[time.Time]() || seen[rt] {
			return
		}
		seen[rt] = true
		used := map[string]bool{}
		for _, f := range reflect.VisibleFields(rt) {
			tag := f.Tag.Get("cbor")
			if f.Anonymous || !f.IsExported() || tag == "-" {
				continue
			}
			require.Regexp(t, `^[1-9][0-9]{1,2},keyasint(,omitzero)?$`, tag, "%v.%s", rt, f.Name)
			key, _, _ := strings.Cut(tag, ",")
			require.False(t, used[key], "%v.%s", rt, f.Name)
			used[key] = true
			walk(f.Type)
		}
	}
	for _, v := range []any{frame{}, entry{}, farmEntry{}, identity{}, ledger{}, medium.Work{}} {
		walk(reflect.TypeOf(v))
	}
	for _, k := range append(medium.Kinds(), medium.FarmKinds()...) {
		walk(reflect.TypeOf(medium.NewBody(k)))
	}
}

func TestWhatANewerVersionWroteIsRefused(t *testing.T) {
	make := func(change func(head []any, f map[int]any)) []byte {
		head := []any{"hold", "TK7R2N81", 1, 0, []byte{}, "", 1700000000, "ab", 1, 7}
		f := map[int]any{11: map[int]any{10: "x"}, 17: 1}
		change(head, f)
		b, err := encode(head)
		require.NoError(t, err)
		rest, err := encode(f)
		require.NoError(t, err)
		return append(b, rest...)
	}
	field := func(key int, v any) []byte { return make(func(_ []any, f map[int]any) { f[key] = v }) }
	linked := func(back int, prev []byte) []byte {
		return make(func(head []any, _ map[int]any) { head[3], head[4] = back, prev })
	}
	whole := field(17, 1)
	_, _, err := decodeStep(5, whole)
	require.NoError(t, err)
	_, _, err = decodeStep(5, linked(4, bytes.Repeat([]byte{7}, linkLen)))
	require.NoError(t, err)
	var newer *NewerError
	for name, b := range map[string][]byte{
		"version":       field(10, 2),
		"kind":          make(func(head []any, _ map[int]any) { head[0] = "polish" }),
		"field":         field(29, "x"),
		"field of body": field(11, map[int]any{10: "x", 99: 3}),
		"nested field":  field(16, []any{map[int]any{10: "r", 40: 3}}),
		"stage":         make(func(head []any, _ map[int]any) { head[9] = len(stages) }),
	} {
		_, _, err := decodeStep(5, b)
		if !errors.As(err, &newer) {
			t.Errorf("%s: %v", name, err)
		} else if !strings.HasPrefix(err.Error(), "a newer version wrote this") {
			t.Error(err)
		}
	}
	var broken *recordError
	for name, b := range map[string][]byte{
		"nothing": {}, "text": []byte("hello"), "cut": whole[:20], "head alone": whole[:29],
		"trailing byte":        append(bytes.Clone(whole), 0),
		"short link":           linked(1, []byte{1, 2, 3}),
		"link without a place": linked(0, bytes.Repeat([]byte{7}, linkLen)),
		"link without a hash":  linked(1, nil),
		"link before all":      linked(5, bytes.Repeat([]byte{7}, linkLen)),
		"a key twice":          bytes.Replace(append(bytes.Clone(whole), 17, 2), []byte{0xa2, 11}, []byte{0xa3, 11}, 1),
		"a longer head":        append([]byte{0x8b, 0}, whole[1:]...),
		"no body":              field(11, nil),
		"wrong type":           field(17, "x"),
		"too long":             bytes.Repeat([]byte{0}, maxRecord+1),
	} {
		_, _, err := decodeStep(5, b)
		if !errors.As(err, &broken) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzDecode(f *testing.F) {
	b, _, err := encodeStep(aStep(), link{bytes.Repeat([]byte{7}, linkLen), 299})
	require.NoError(f, err)
	f.Add(b)
	f.Add([]byte{0xa1, 0x0a, 0xbf, 0xff})
	f.Add([]byte{0x9b, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff})
	f.Fuzz(func(t *testing.T, data []byte) {
		s, prev, err := decodeStep(300, data)
		if err != nil {
			return
		}
		again, back, err := encodeStep(s, prev)
		if err != nil {
			t.Fatalf("read but not written: %v", err)
		}
		twice, _, err := encodeStep(back, prev)
		if err != nil || !bytes.Equal(again, twice) {
			t.Fatalf("two spellings: %x and %x (%v)", again, twice, err)
		}
		medium.Replay([]medium.Step{s})
	})
}

func BenchmarkReadRecord(b *testing.B) {
	data, _, err := encodeStep(aStep(), link{bytes.Repeat([]byte{7}, linkLen), 299})
	require.NoError(b, err)
	b.ReportAllocs()
	for b.Loop() {
		_, _, _ = decodeStep(300, data)
	}
}

func BenchmarkWriteRecord(b *testing.B) {
	prev := link{bytes.Repeat([]byte{7}, linkLen), 299}
	b.ReportAllocs()
	for b.Loop() {
		_, _ = writeStep(aStep(), prev)
	}
}
