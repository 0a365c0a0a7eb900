package store

import (
	"bytes"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// planned are all types that go into the file, without the step's envelope.
func planned() []any {
	out := []any{&identity{}, &ledger{}, &entry{}, &farmEntry{}, &medium.Work{}}
	for _, k := range slices.Concat(medium.Kinds(), medium.FarmKinds()) {
		out = append(out, medium.NewBody(k))
	}
	return out
}

// random fills a value with what may be in it, and with what may not.
func random(r *rand.Rand, v reflect.Value) {
	if r.IntN(3) == 0 {
		return
	}
	if v.Type() == timeTyp {
		times := []time.Time{start, start.Add(time.Duration(r.Int64N(1 << 60))).Truncate(time.Second), start.Add(time.Duration(r.IntN(1e9))).Truncate(time.Microsecond),
			start.In(time.FixedZone("", 3600*r.IntN(5))), time.Date(r.IntN(9999), 2, 29, 0, 0, 0, 0, time.UTC), time.Unix(0, 0).UTC()}
		v.Set(reflect.ValueOf(times[r.IntN(len(times))]))
		return
	}
	switch v.Kind() {
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() && v.Type().Field(i).Tag.Get("cbor") != "-" {
				random(r, v.Field(i))
			}
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		random(r, v.Elem())
	case reflect.Slice:
		n := r.IntN(4)
		if r.IntN(20) == 0 {
			n = 30
		}
		v.Set(reflect.MakeSlice(v.Type(), n, n))
		for i := range n {
			random(r, v.Index(i))
		}
	case reflect.String:
		texts := []string{"x", "to wash", "Ä ü 樹", string(bytes.Repeat([]byte("a"), r.IntN(300)+1)), "\xff"}
		if r.IntN(40) > 0 {
			texts = texts[:4]
		}
		v.SetString(texts[r.IntN(len(texts))])
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt([]int64{1, 23, 24, 255, 256, 65535, 65536, -1, -24, -25, math.MaxInt64, math.MinInt64, r.Int64N(1 << 40)}[r.IntN(13)])
	case reflect.Uint, reflect.Uint64:
		v.SetUint([]uint64{1, 23, 24, 255, 256, 65535, 65536, 1 << 32, math.MaxUint64}[r.IntN(9)])
	case reflect.Uint8:
		v.SetUint(uint64(r.IntN(256)))
	case reflect.Float64:
		v.SetFloat([]float64{1, 0.1, 1.5, 12.25, 65504, 65505, 1e-7, 5.960464477539063e-8, 6.103515625e-05, 3.0517578125e-05, -2, math.Copysign(0, -1),
			math.Inf(1), math.MaxFloat64, math.SmallestNonzeroFloat32, math.Float64frombits(r.Uint64()), float64(r.IntN(4000)) / 8}[r.IntN(17)])
	default:
		panic(v.Type().String())
	}
}

// A plan writes the library's bytes, and reads what the library reads from
// them.
func TestPlansAgainstTheLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	rounds := 400
	if deep() {
		rounds = 3000
	}
	read := 0
	for _, v := range planned() {
		typ := reflect.TypeOf(v).Elem()
		require.NotNil(t, planOf(typ), "%s has no plan", typ)
		for range rounds {
			want := reflect.New(typ)
			random(r, want.Elem())
			lib, err := libraryEncode(want.Interface())
			require.NoError(t, err)
			got, ok := planEncode(nil, want.Interface())
			require.True(t, ok)
			require.Equal(t, lib, got, "%s %+v", typ, want)
			back, libBack := reflect.New(typ), reflect.New(typ)
			libErr := libraryDecode(lib, libBack.Interface(), func() any { return reflect.New(typ).Interface() })
			if planDecode(lib, back.Interface()) {
				require.NoError(t, libErr)
				require.Equal(t, libBack.Interface(), back.Interface())
				read++
			}
		}
	}
	t.Logf("%d of %d were read by the plan, the others hold what it leaves to the library", read, rounds*len(planned()))
	require.Greater(t, read, rounds*len(planned())/2)
}

// Whatever the bytes, a plan reads what the library reads, or leaves them to
// it: a whole record with bits turned, bytes put in, taken out and cut off.
func TestPlansOnBrokenBytes(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	rounds := 300
	if deep() {
		rounds = 3000
	}
	kinds := slices.Concat(medium.Kinds(), medium.FarmKinds())
	prev := bytes.Repeat([]byte{9}, hashLen)
	read, left := 0, 0
	for _, k := range kinds {
		for range rounds {
			s := medium.Step{Body: medium.NewBody(k)}
			random(r, reflect.ValueOf(&s).Elem())
			random(r, reflect.ValueOf(s.Body).Elem())
			s.Kind = k
			if r.IntN(4) > 0 {
				s.Version = medium.Version
			}
			lib, err := libraryEncodeStep(s, prev)
			require.NoError(t, err)
			whole, ok := planEncodeStep(&s, prev)
			require.True(t, ok)
			require.Equal(t, lib, whole)
			for i := range 8 {
				b := bytes.Clone(whole)
				at := r.IntN(len(b))
				switch i {
				case 0: // as it is
				case 1:
					b = b[:at]
				case 2:
					b = slices.Insert(b, at, byte(r.IntN(256)))
				case 3:
					b = slices.Delete(b, at, at+1)
				case 4:
					b = append(b, 0)
				default:
					b[at] ^= 1 << r.IntN(8)
				}
				step, link, ok := planDecodeStep(b, string(b))
				if !ok {
					left++
					continue
				}
				read++
				libStep, libLink, err := libraryDecodeStep(b)
				require.NoError(t, err, "%x", b)
				require.Equal(t, libStep, step, "%x", b)
				require.Equal(t, libLink, link)
			}
		}
	}
	t.Logf("%d were read by the plan, %d left to the library", read, left)
	require.NotZero(t, read)
	require.NotZero(t, left)
}

// Lines of the due list that share their memory are those that the library reads,
// whole and broken ones, one after another.
func TestDueLinesAgainstTheLibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 6))
	rounds := 2000
	if deep() {
		rounds = 50000
	}
	var lines dueLines
	var got, want []medium.Work
	for range rounds {
		var w medium.Work
		random(r, reflect.ValueOf(&w).Elem())
		b, err := libraryEncode(&w)
		require.NoError(t, err)
		if at := r.IntN(len(b)); r.IntN(2) == 0 {
			b[at] ^= 1 << r.IntN(8)
		}
		var ours, theirs medium.Work
		err = lines.read(b, &ours)
		libErr := libraryDecode(b, &theirs, func() any { return &medium.Work{} })
		require.Equal(t, libErr, err, "%x", b)
		if err == nil {
			got, want = append(got, ours), append(want, theirs)
		}
	}
	require.Greater(t, len(got), rounds/4)
	require.Equal(t, want, got)
}

// The farm's own records and what is kept of mats are read by plans, not by the
// library behind them.
func TestPlansReadWhatRecordWrites(t *testing.T) {
	s, _ := smallLedger(t)
	for k, stored := range stepBytes(t, s) {
		_, _, ok := planDecodeStep([]byte(stored), stored)
		require.True(t, ok, "%q %x", k, stored)
	}
	for k, stored := range dump(t, s) {
		name, _ := split(k)
		switch name {
		case "mats":
			require.True(t, planDecode([]byte(stored), &entry{}), "%q %x", k, stored)
		case "due":
			require.True(t, planDecode([]byte(stored), &medium.Work{}), "%q %x", k, stored)
			require.True(t, new(reader).work(stored, &medium.Work{}, new([]medium.Due)), "%q %x", k, stored)
		case "farm":
			require.True(t, planDecode([]byte(stored), &farmEntry{}), "%q %x", k, stored)
		}
	}
}

func FuzzPlan(f *testing.F) {
	whole, _ := planEncodeStep(new(aStep()), bytes.Repeat([]byte{7}, hashLen))
	f.Add(whole)
	f.Fuzz(func(t *testing.T, b []byte) {
		step, link, ok := planDecodeStep(b, string(b))
		if !ok {
			return
		}
		libStep, libLink, err := libraryDecodeStep(b)
		require.NoError(t, err)
		require.Equal(t, libStep, step)
		require.Equal(t, libLink, link)
	})
}
