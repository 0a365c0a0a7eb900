package store

import (
	"errors"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
)

// pretend is a later version, of format 3, that knows the way there. It keeps
// lots in another spelling on the way, so that only what is made anew is right.
func pretend(o Options, ran *[]int) Options {
	o.Program = "resow 3.0.0"
	o.formats = &formats{now: 3, up: map[int]func(*bbolt.Tx) error{
		1: func(tx *bbolt.Tx) error {
			*ran = append(*ran, 1)
			if err := tx.DeleteBucket(bucketDue); err != nil {
				return err
			}
			_, err := tx.CreateBucket(bucketDue)
			return err
		},
		2: func(tx *bbolt.Tx) error {
			*ran = append(*ran, 2)
			return tx.Bucket(bucketLots).Put([]byte("lOT"), nil)
		},
	}}
	return o
}

// listing is what a folder holds, the store itself left out.
func listing(t *testing.T, path string) (names []string) {
	t.Helper()
	entries, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	for _, e := range entries {
		if e.Name() != filepath.Base(path) {
			names = append(names, e.Name())
		}
	}
	return names
}

func only(all map[string]string, bucket string) map[string]string {
	out := maps.Clone(all)
	maps.DeleteFunc(out, func(k, _ string) bool { return !strings.HasPrefix(k, bucket+"/") })
	return out
}

// A file of an older format is copied and brought up to date when it is opened,
// for writing or reading, once; its records and its anchor stay.
func TestOlderFormat(t *testing.T) {
	for _, readOnly := range []bool{false, true} {
		path, c := closedLedger(t, 5)
		before, err := os.ReadFile(path)
		require.NoError(t, err)
		var was map[string]string
		anchor := anchorAt(t, path, c)
		withStore(t, path, c, func(s *Store) { was = dump(t, s) })
		var ran []int
		o := pretend(c.options(), &ran)
		o.ReadOnly = readOnly
		for range 2 {
			s, err := Open(path, o)
			require.NoError(t, err)
			require.Equal(t, []int{1, 2}, ran)
			now := dump(t, s)
			require.Equal(t, only(was, "steps"), only(now, "steps"))
			require.Equal(t, only(was, "due"), only(now, "due"))
			require.Equal(t, only(was, "lots"), only(now, "lots"))
			a, err := s.Anchor()
			require.NoError(t, err)
			require.Equal(t, anchor, a)
			r, err := s.Verify(nil, &anchor)
			require.NoError(t, err)
			require.True(t, r.OK, "%+v", r.Problems)
			require.NoError(t, s.Close())
		}
		copies := listing(t, path)
		require.Equal(t, []string{"farm.resow.format-1.32.backup"}, copies)
		kept, err := os.ReadFile(filepath.Join(filepath.Dir(path), copies[0]))
		require.NoError(t, err)
		require.Equal(t, before, kept, "the copy has the bytes of the older file")

		_, err = Open(path, c.options()) // the version of format 1
		var newer *NewerError
		require.True(t, errors.As(err, &newer), "%v", err)
		require.Equal(t, "resow 3.0.0", newer.MadeBy)
		require.ErrorContains(t, err, "a file of format 3 (the file was made by resow 3.0.0)")
	}
}

// What a way to a later format gets wrong is found before anything is
// committed: the file is as it was, and one copy is kept however often it is
// tried.
func TestOlderFormatThatFails(t *testing.T) {
	oops := errors.New("the disk is on fire")
	for name, up := range map[string]func(*bbolt.Tx) error{
		"half-way": func(tx *bbolt.Tx) error {
			return errors.Join(tx.DeleteBucket(bucketLots), oops)
		},
		"a record is lost": func(tx *bbolt.Tx) error { return tx.Bucket(bucketSteps).Delete(stepKey(code(2), 3)) },
		"a thread is lost": func(tx *bbolt.Tx) error {
			for n := uint32(1); n < 10; n++ {
				if err := tx.Bucket(bucketSteps).Delete(stepKey(code(2), uint64(n))); err != nil {
					return err
				}
			}
			return nil
		},
		"the end is cut off, with a head to fit": func(tx *bbolt.Tx) error {
			var head, last hash
			var count uint64
			var end medium.Step
			at := genesis(tx.Bucket(bucketMeta).Get(keyIdentity))
			err := inOrder(tx, func(n uint64, stored []byte, step medium.Step) error {
				head, last, count, end = at, recordHash(stored), n-1, step
				at = at.next(step.Mat, last)
				return nil
			})
			return errors.Join(err, tx.Bucket(bucketSteps).Delete(stepKey(end.Mat, end.MatSeq)), put(tx.Bucket(bucketMeta), keyLedger, &ledger{Count: count, Head: head[:]}))
		},
		"who made it is changed": func(tx *bbolt.Tx) error {
			return put(tx.Bucket(bucketMeta), keyIdentity, &identity{Format: 1, MadeBy: "somebody else", ID: make([]byte, 16)})
		},
		"a part that nobody knows": func(tx *bbolt.Tx) error { _, err := tx.CreateBucket([]byte("attic")); return err },
	} {
		t.Run(name, func(t *testing.T) {
			path, c := closedLedger(t, 5)
			before, err := os.ReadFile(path)
			require.NoError(t, err)
			o := c.options()
			o.formats = &formats{now: 2, up: map[int]func(*bbolt.Tx) error{1: up}}
			for range 3 {
				_, err = Open(path, o)
				var older *OlderError
				require.True(t, errors.As(err, &older), "%v", err)
				require.Equal(t, []string{filepath.Base(older.Copy)}, listing(t, path))
			}
			after, err := os.ReadFile(path)
			require.NoError(t, err)
			require.Equal(t, len(before), len(after))
			withStore(t, path, c, func(s *Store) { verifyClean(t, s) })
		})
	}
}

// Where nothing leads on from a format, it is refused in the same way.
func TestOlderFormatWithoutAWay(t *testing.T) {
	path, c := closedLedger(t, 1)
	o := c.options()
	o.formats = &formats{now: 2}
	_, err := Open(path, o)
	require.ErrorContains(t, err, "nothing leads on from format 1")
}

// Without a copy nothing is migrated: the sentence says what to do.
func TestOlderFormatNeedsACopy(t *testing.T) {
	path, c := closedLedger(t, 5)
	temp := filepath.Join(filepath.Dir(path), ".farm.resow.format-1.32.backup.new")
	require.NoError(t, os.MkdirAll(filepath.Join(temp, "in the way"), 0o700))
	before, err := os.ReadFile(path)
	require.NoError(t, err)
	var ran []int
	for _, readOnly := range []bool{true, false} {
		o := pretend(c.options(), &ran)
		o.ReadOnly = readOnly
		_, err := Open(path, o)
		var older *OlderError
		require.True(t, errors.As(err, &older), "%v", err)
		require.ErrorContains(t, err, "older format 1 and must be brought to format 3 once, and no copy of it could be made first")
		require.ErrorContains(t, err, "the file is as it was")
	}
	require.Empty(t, ran)
	after, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, before, after)
}

// A changed record is not carried on as if it were sound.
func TestOlderFormatThatWasTamperedWith(t *testing.T) {
	path, c := closedLedger(t, 5)
	withStore(t, path, c, func(s *Store) {
		records := stepBytes(t, s)
		tamper(t, s, func(put func(bucket, key string, value []byte)) {
			put("steps", string(stepKey(code(2), 3)), []byte(strings.Replace(records["steps/"+string(stepKey(code(2), 3))], "air", "sun", 1)))
		})
	})
	var ran []int
	_, err := Open(path, pretend(c.options(), &ran))
	var unsound *UnsoundError
	require.True(t, errors.As(err, &unsound), "%v", err)
	require.Empty(t, ran)
	require.Empty(t, listing(t, path))
}

// The frozen ledger of format 1 goes on to a later format with its anchor.
func TestFrozenLedgerGoesOn(t *testing.T) {
	frozen, err := os.ReadFile(filepath.Join(frozenFolder, "farm.resow"))
	require.NoError(t, err)
	printed, err := os.ReadFile(filepath.Join(frozenFolder, "anchor.txt"))
	require.NoError(t, err)
	anchor, err := ParseAnchor(string(printed))
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "farm.resow")
	require.NoError(t, os.WriteFile(path, frozen, 0o600))
	var ran []int
	s, err := Open(path, pretend(Options{}, &ran))
	require.NoError(t, err)
	defer s.Close()
	r, err := s.Verify(nil, &anchor)
	require.NoError(t, err)
	require.True(t, r.OK, "%+v", r.Problems)
	requireSameBytes(t, s)
}

// A later version makes backups and exports of a file that it brought up to
// date, and restores backups of the older format, which it leaves as they are.
func TestOlderFormatInBackups(t *testing.T) {
	path, c := closedLedger(t, 5)
	dir := t.TempDir()
	old, err := BackUp(path, Backups{Dir: dir}, c.options())
	require.NoError(t, err)
	content, err := os.ReadFile(old.Path)
	require.NoError(t, err)
	var ran []int
	o := pretend(c.options(), &ran)
	c.after(1)
	s, err := Open(path, o)
	require.NoError(t, err)
	record(t, s, step(code(1), &medium.Hold{Reason: "doubt"}))
	text := lines(t, s)
	require.NoError(t, s.Close())

	made, err := BackUp(path, Backups{Dir: t.TempDir()}, o)
	require.NoError(t, err)
	l, err := CompareBackup(made.Path, path, o)
	require.NoError(t, err)
	require.True(t, l.Nothing())

	l, err = CompareBackup(old.Path, path, o)
	require.NoError(t, err)
	require.Equal(t, 1, l.Lost)
	_, l, err = Restore(old.Path, path, true, "ab", o)
	require.NoError(t, err)
	require.Len(t, l.Held, 1)
	again, err := os.ReadFile(old.Path)
	require.NoError(t, err)
	require.Equal(t, content, again)

	other := filepath.Join(t.TempDir(), "farm.resow")
	_, _, err = FromLines(other, strings.NewReader(text), o)
	require.NoError(t, err)
	s, err = Open(other, o)
	require.NoError(t, err)
	require.Equal(t, text, lines(t, s))
	require.Equal(t, 3, s.format)
	require.NoError(t, s.Close())
}
