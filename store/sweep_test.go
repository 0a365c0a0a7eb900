package store

import (
	"fmt"
	"runtime"
	"testing"

	"github.com/stretchr/testify/require"
)

// What a verify finds, and the order in which it says so, does not depend on
// the number of processors.
func TestFindingsOnOneAndOnManyProcessors(t *testing.T) {
	path, c := closedLedger(t, 150)
	withStore(t, path, c, func(s *Store) {
		s.db.NoSync = true
		records := stepBytes(t, s)
		i := 0
		tamper(t, s, func(put func(bucket, key string, value []byte)) {
			for key, stored := range records {
				_, k := split(key)
				code, _, ok := parseStepKey([]byte(k))
				if i++; !ok || code[7] != 'X' || i%40 != 0 {
					continue
				}
				changed := []byte(stored)
				changed[len(changed)-1] ^= 1
				put("steps", k, changed)
			}
		})
		var reports []Report
		for _, n := range []int{1, 2, 7} {
			before := runtime.GOMAXPROCS(n)
			r, err := s.Verify(nil, nil)
			runtime.GOMAXPROCS(before)
			require.NoError(t, err)
			require.False(t, r.OK)
			reports = append(reports, r)
		}
		require.Greater(t, len(reports[0].Problems), 5)
		require.Equal(t, reports[0], reports[1])
		require.Equal(t, reports[0], reports[2])
	})
}

// The chain alone finds a changed, a missing and a doubled record and a false
// head, and does not look at what is derived.
func TestChainAlone(t *testing.T) {
	s, _ := smallLedger(t)
	a, err := s.Anchor()
	require.NoError(t, err)
	r, err := s.VerifyChain(nil, &a)
	require.NoError(t, err)
	require.True(t, r.OK, "%+v", r.Problems)
	full, err := s.Verify(nil, &a)
	require.NoError(t, err)
	require.Equal(t, full.Steps, r.Steps)
	require.Equal(t, full.Mats, r.Mats)

	records := stepBytes(t, s)
	for key, stored := range records {
		_, k := split(key)
		for what, value := range map[string][]byte{"changed": append([]byte(stored)[:len(stored)-1:len(stored)-1], stored[len(stored)-1]^1), "missing": nil} {
			tamper(t, s, func(put func(bucket, key string, value []byte)) { put("steps", k, value) })
			r, err := s.VerifyChain(nil, nil)
			require.NoError(t, err)
			require.False(t, r.OK, "%s: %x", what, k)
			tamper(t, s, func(put func(bucket, key string, value []byte)) { put("steps", k, []byte(stored)) })
		}
	}
	mats := dump(t, s)
	for key, stored := range mats {
		bucket, k := split(key)
		if bucket != "mats" {
			continue
		}
		tamper(t, s, func(put func(bucket, key string, value []byte)) { put(bucket, k, nil) })
		r, err := s.VerifyChain(nil, nil)
		require.NoError(t, err)
		require.True(t, r.OK, "conditions are not its business")
		tamper(t, s, func(put func(bucket, key string, value []byte)) { put(bucket, k, []byte(stored)) })
	}
	a.Head[0] ^= 1
	r, err = s.VerifyChain(nil, &a)
	require.NoError(t, err)
	require.False(t, r.OK)
}

// peek reads the number and the link of every record as the whole reading does.
func TestPeek(t *testing.T) {
	s, _ := smallLedger(t)
	for key, stored := range stepBytes(t, s) {
		seq, link, ok := peek([]byte(stored))
		require.True(t, ok)
		step, prev, err := decodeStep([]byte(stored))
		require.NoError(t, err)
		require.Equal(t, step.Seq, seq, key)
		require.Equal(t, fmt.Sprintf("%x", prev), fmt.Sprintf("%x", link), key)
	}
	for n := range 40 { // too short to be a record
		_, _, _ = peek(make([]byte, n))
	}
}
