package store

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"runtime"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
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
				h, _, _, err := headOf(positionOf(k), []byte(stored))
				if i++; err != nil || h.Mat[7] != 'X' || i%40 != 0 {
					continue
				}
				changed := []byte(stored)
				changed[len(changed)-1] ^= 1
				put("log", k, changed)
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

	records := stepBytes(t, s)
	for key, stored := range records {
		_, k := split(key)
		for what, value := range map[string][]byte{"changed": append([]byte(stored)[:len(stored)-1:len(stored)-1], stored[len(stored)-1]^1), "missing": nil} {
			tamper(t, s, func(put func(bucket, key string, value []byte)) { put("log", k, value) })
			r, err := s.VerifyChain(nil, nil)
			require.NoError(t, err)
			require.False(t, r.OK, "%s: %x", what, k)
			tamper(t, s, func(put func(bucket, key string, value []byte)) { put("log", k, []byte(stored)) })
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

// A part among the records, also one without a name, hides nothing from the check
// of the chain alone, nor from a backup.
func TestChainOfStrangeParts(t *testing.T) {
	moved := func(name string) func(*bbolt.Bucket) error {
		return func(steps *bbolt.Bucket) error {
			var all []keyValue
			err := steps.ForEach(func(k, v []byte) error {
				all = append(all, keyValue{bytes.Clone(k), bytes.Clone(v)})
				return nil
			})
			part, err2 := steps.CreateBucket([]byte(name))
			for _, kv := range all {
				err = errors.Join(err, steps.Delete(kv.key), part.Put(kv.key, kv.value))
			}
			return errors.Join(err, err2)
		}
	}
	for name, strange := range map[string]func(*bbolt.Bucket) error{
		"a part beside the records": func(steps *bbolt.Bucket) error {
			_, err := steps.CreateBucket([]byte("x"))
			return err
		},
		"a part named like a record": func(steps *bbolt.Bucket) error {
			_, err := steps.CreateBucket(logKey(99))
			return err
		},
		"records in a part":                  moved("ZZZZ"),
		"records in a part without any name": moved("ZZZZ"),
	} {
		t.Run(name, func(t *testing.T) {
			path, c := closedLedger(t, 3)
			withStore(t, path, c, func(s *Store) {
				require.NoError(t, s.db.Update(func(tx *bbolt.Tx) error { return strange(tx.Bucket(bucketLog)) }))
			})
			if strings.HasSuffix(name, "any name") {
				unname(t, path, "ZZZZ")
			}
			withStore(t, path, c, func(s *Store) {
				r, err := s.VerifyChain(nil, nil)
				require.NoError(t, err)
				require.False(t, r.OK)
				r, err = s.Verify(nil, nil)
				require.NoError(t, err)
				require.False(t, r.OK)
			})
			_, err := BackUp(path, Backups{Dir: t.TempDir()}, c.options())
			require.Error(t, err)
		})
	}
}

// unname takes the name of a part away, where bbolt keeps it: in the element of a
// leaf (flags 4, position 4, size of the key 4, size of the value 4).
func unname(t *testing.T, path, name string) {
	file, err := os.ReadFile(path)
	require.NoError(t, err)
	n := binary.NativeEndian
	found := 0
	for at := range file {
		if !bytes.HasPrefix(file[at:], []byte(name)) {
			continue
		}
		for e := at - 16; e >= 0 && e > at-4096; e-- {
			if n.Uint32(file[e:]) == 1 && int(n.Uint32(file[e+4:])) == at-e && int(n.Uint32(file[e+8:])) == len(name) {
				n.PutUint32(file[e+4:], uint32(at-e+len(name)))
				n.PutUint32(file[e+8:], 0)
				found++
				break
			}
		}
	}
	require.NotZero(t, found)
	require.NoError(t, os.WriteFile(path, file, 0o600))
}

// A record with a token that is spelled as this version would not spell it is told
// by the check of the chain alone, too.
func TestChainOfARecordSpelledOtherwise(t *testing.T) {
	s, _ := smallLedger(t)
	_, err := s.Record("tok9", []medium.Step{step(code(3), &medium.Hold{Reason: "doubt"})})
	require.NoError(t, err)
	for key, stored := range stepBytes(t, s) {
		_, k := split(key)
		longer := slices.Insert([]byte(stored), 2, 24) // the version in two bytes
		tamper(t, s, func(put func(bucket, key string, value []byte)) { put("log", k, longer) })
		r, err := s.VerifyChain(nil, nil)
		require.NoError(t, err)
		require.False(t, r.OK)
		tamper(t, s, func(put func(bucket, key string, value []byte)) { put("log", k, []byte(stored)) })
	}
}
