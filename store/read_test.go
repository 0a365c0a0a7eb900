package store

import (
	"errors"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
)

// parts is more than are worked on at a time.
const parts = 256

// manyRecords makes a store with more records than are read ahead at a time, of
// several kinds.
func manyRecords(t *testing.T) (*Store, *clock) {
	t.Helper()
	c := &clock{now: start}
	s, err := Create(filepath.Join(folder(t), "farm.resow"), settings, "ab", c.options())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	const mats = 3*parts + 17
	record(t, s, adds(0, mats)...)
	c.after(3 * time.Hour)
	for i := range mats {
		if i%3 == 0 {
			rinse := step(code(i), &medium.Rinse{Debris: medium.DebrisNone})
			rinse.At = c.now.Add(-2 * time.Hour)
			record(t, s, rinse, step(code(i), &medium.Dry{Where: medium.DryAir, DurationS: 3600}))
		}
	}
	return s, c
}

// All values come, in the order of their keys, however many processors read.
func TestStepsAndConditionsInOrder(t *testing.T) {
	s, _ := manyRecords(t)
	for _, processors := range []int{1, 2, 7} {
		before := runtime.GOMAXPROCS(processors)
		t.Cleanup(func() { runtime.GOMAXPROCS(before) })
		var want, got []medium.Step
		for _, mat := range append([]medium.Code{medium.FarmThread}, codes(t, s)...) {
			thread, err := s.Thread(mat)
			require.NoError(t, err)
			want = append(want, thread...)
		}
		require.NoError(t, s.Steps(func(s medium.Step) error { got = append(got, s); return nil }))
		slices.SortStableFunc(want, func(a, b medium.Step) int { return slices.Compare([]byte(a.Mat), []byte(b.Mat)) })
		require.Equal(t, want, got)

		for _, kinds := range [][]medium.Kind{{medium.KindRinse}, {medium.KindAdd, medium.KindDry}, {medium.KindMold}} {
			var some []medium.Step
			require.NoError(t, s.Steps(func(s medium.Step) error { some = append(some, s); return nil }, kinds...))
			require.Equal(t, slices.DeleteFunc(slices.Clone(want), func(s medium.Step) bool { return !slices.Contains(kinds, s.Kind) }), append([]medium.Step{}, some...))
		}
	}
}

func codes(t *testing.T, s *Store) (out []medium.Code) {
	t.Helper()
	require.NoError(t, s.Conditions(func(c medium.Condition) error { out = append(out, c.Code); return nil }))
	require.Len(t, out, 3*parts+17)
	require.True(t, slices.IsSorted(out))
	return out
}

// Whoever has had enough gets no more, and may record meanwhile.
func TestStepsStop(t *testing.T) {
	s, c := manyRecords(t)
	enough := errors.New("enough")
	for _, n := range []int{1, parts, parts + 1, 3 * parts} {
		seen := 0
		require.Equal(t, enough, s.Steps(func(medium.Step) error {
			if seen++; seen == n {
				return enough
			}
			return nil
		}))
		require.Equal(t, n, seen)
	}
	c.after(1)
	seen := 0
	require.NoError(t, s.Conditions(func(medium.Condition) error {
		if seen++; seen%100 == 0 {
			record(t, s, adds(5000+seen, 1)...)
		}
		return nil
	}))
	require.GreaterOrEqual(t, seen, 3*parts+17)
}

// A broken record ends the reading where it stands; what was read ahead of it is
// not given. A kind that is left out is passed over without a look.
func TestStepsBroken(t *testing.T) {
	s, _ := manyRecords(t)
	broken := code(2*parts + 5)
	key := recordKey(t, s, broken, 1)
	require.NoError(t, s.db.Update(func(tx *bbolt.Tx) error {
		v := tx.Bucket(bucketLog).Get([]byte(key))
		return tx.Bucket(bucketLog).Put([]byte(key), slices.Clone(v[:len(v)-3]))
	}))
	var last medium.Code
	err := s.Steps(func(s medium.Step) error { last = s.Mat; return nil })
	var damaged *RecordError
	require.ErrorAs(t, err, &damaged)
	require.Equal(t, broken, damaged.Code)
	require.Less(t, last, broken)
	require.ErrorAs(t, s.Steps(func(medium.Step) error { return nil }, medium.KindAdd), &damaged)
	require.ErrorAs(t, s.Steps(func(medium.Step) error { return nil }, medium.KindRinse), &damaged, "what is cut has no kind")

	require.NoError(t, s.db.Update(func(tx *bbolt.Tx) error {
		v := slices.Clone(tx.Bucket(bucketLog).Get([]byte(key)))
		at := slices.Index(v, 17) + 2 // in the name of the kind
		v[at] = 'z'
		return tx.Bucket(bucketLog).Put([]byte(key), v)
	}))
	require.ErrorAs(t, s.Steps(func(medium.Step) error { return nil }, medium.KindRinse), &damaged, "a kind that is not known is never passed over")

	require.PanicsWithValue(t, "no such thing", func() {
		_ = parallel(slices.Values([]int{1, 2, 3}), func(int) (int, error) { panic("no such thing") }, func(int) error { return nil })
	})
}
