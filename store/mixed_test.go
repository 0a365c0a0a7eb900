package store

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/medium"
)

// mixable are what a file may have as an older copy of it had it.
var mixable = []string{"log", "mats", "farm", "due", "lots", "tags", "tokens", "meta/ledger", "meta/sums"}

// mix puts what of another file into the one at path, with the header of each part.
func mix(t *testing.T, path, from string, what []string) {
	t.Helper()
	open := func(path string, readOnly bool) *bbolt.DB {
		db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: readOnly, NoSync: true, Timeout: time.Second})
		require.NoError(t, err)
		return db
	}
	a, b := open(from, true), open(path, false)
	defer a.Close()
	defer b.Close()
	require.NoError(t, a.View(func(was *bbolt.Tx) error {
		return b.Update(func(tx *bbolt.Tx) error {
			for _, name := range what {
				part, key := split(name)
				old := was.Bucket([]byte(part))
				if key != "" {
					require.NoError(t, tx.Bucket([]byte(part)).Put([]byte(key), old.Get([]byte(key))))
					continue
				}
				require.NoError(t, tx.DeleteBucket([]byte(part)))
				fresh, err := tx.CreateBucket([]byte(part))
				require.NoError(t, err)
				require.NoError(t, fresh.SetSequence(old.Sequence()))
				require.NoError(t, old.ForEach(fresh.Put))
			}
			return nil
		})
	}))
}

// told is all that answers gives, and what leaves the file as a whole.
func told(s *Store, mats int) map[string]string {
	out := answers(s, mats)
	var text strings.Builder
	if _, err := s.Lines(&text, nil); err == nil {
		out["export"] = fmt.Sprintf("%x", sha256.Sum256([]byte(text.String())))
	}
	if a, err := s.Anchor(); err == nil {
		out["anchor"] = a.String()
	}
	return out
}

func records(t *testing.T, s *Store) map[string]string {
	all := dump(t, s)
	maps.DeleteFunc(all, func(k, _ string) bool { return !strings.HasPrefix(k, "log/") })
	return all
}

// Every part of a file, alone and with others, is put back as an older copy of the same
// file had it. No verdict, due line, recall, token, export or anchor changes silently,
// nothing that is recorded takes the place of a record, and a repair makes again what
// the whole log says, or refuses.
func TestPartsOfAnOlderCopy(t *testing.T) {
	const mats = 4
	dir := folder(t)
	path, c := closedLedger(t, mats)
	act := func(i int) {
		withStore(t, path, c, func(s *Store) {
			c.after(time.Hour)
			_, err := s.Record(fmt.Sprint("token ", i), []medium.Step{
				step(code(i), &medium.Mold{Where: "edge"}),
				step(code(i), &medium.Relabel{Reason: "faded", NewCode: code(100000 + i)})})
			require.NoError(t, err)
			record(t, s, step("", &medium.PolicyChange{Reason: "warm room",
				Setting: medium.Setting{Rule: "wet-hours", On: true, Limit: float64(20 + i)}}))
			record(t, s, step(code(3+i%2), &medium.Harvest{YieldG: 90}))
			record(t, s, append(c.wash(code(3+i%2)), sow(code(3+i%2), fmt.Sprint("L", i)))...)
		})
	}
	keep := func(name string) (string, map[string]string) {
		content, err := os.ReadFile(path)
		require.NoError(t, err)
		kept := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(kept, content, 0o600))
		var said map[string]string
		withStore(t, kept, c, func(s *Store) { said = told(s, mats) })
		return kept, said
	}
	act(1)
	older, was := keep("older")
	act(2)
	newer, is := keep("newer")
	for _, what := range []string{"farm", "export", "anchor", "verdict 2", "token 2", "other code 2", "lot 2"} {
		require.NotEqual(t, was[what], is[what], what)
	}
	whole, err := os.ReadFile(newer)
	require.NoError(t, err)

	mixed := filepath.Join(dir, "mixed")
	refused, repaired := 0, 0
	for set := range 1 << len(mixable) {
		var what []string
		for i, name := range mixable {
			if set&(1<<i) != 0 {
				what = append(what, name)
			}
		}
		require.NoError(t, os.WriteFile(mixed, whole, 0o600))
		mix(t, mixed, older, what)
		want := is
		if len(what) == len(mixable) {
			want = was
		}
		same := func(s *Store, when string) int {
			got := told(s, mats)
			for k, v := range got {
				require.Equal(t, want[k], v, "%s: %s of %v", k, when, what)
			}
			return len(got)
		}
		o := c.options()
		o.ReadOnly, o.keep = true, true
		s, err := Open(mixed, o)
		require.NoError(t, err, "%v", what)
		answered := same(s, "read")
		require.Equal(t, len(what) == 0 || len(what) == len(mixable), answered == len(want), "%v", what)
		if answered == 0 {
			refused++
		}
		require.NoError(t, s.Close())
		withStore(t, mixed, c, func(s *Store) {
			before := records(t, s)
			_, _, err := s.Repair(nil)
			var older *UnsoundError
			if err != nil {
				require.ErrorAs(t, err, &older, "%v", what)
			} else {
				repaired++
			}
			require.Equal(t, err == nil, same(s, "repaired") == len(want), "%v", what)
			_, err = s.Record("", adds(50, 1))
			require.Equal(t, older == nil, err == nil, "%v: %v", what, err)
			for k, v := range records(t, s) {
				if was, there := before[k]; there {
					require.Equal(t, was, v, "%x of %v", k, what)
				}
			}
			require.GreaterOrEqual(t, len(records(t, s)), len(before))
		})
	}
	t.Logf("of %d mixtures %d gave no answer, %d could be repaired", 1<<len(mixable), refused, repaired)
}

// A record at a position that is taken is refused, and the one that is there stays.
func TestNoRecordIsWrittenOver(t *testing.T) {
	s, _ := smallLedger(t)
	before := records(t, s)
	for _, at := range []uint64{1, uint64(len(before)), uint64(len(before)) + 2} {
		err := s.update(func(tx *bbolt.Tx) error {
			return appendTo(tx.Bucket(bucketLog), at, []byte("x"))
		})
		var unsound *UnsoundError
		require.ErrorAs(t, err, &unsound)
	}
	require.Equal(t, before, records(t, s))

	var kept []byte // the ledger as it was before the last record
	require.NoError(t, s.view(func(tx *bbolt.Tx) error {
		kept = append(kept, tx.Bucket(bucketMeta).Get(keyLedger)...)
		return nil
	}))
	record(t, s, adds(50, 1)...)
	before = records(t, s)
	now := dump(t, s)["meta/ledger"]
	tamper(t, s, func(put func(string, string, []byte)) { put("meta", "ledger", kept) })
	_, err := s.Record("", adds(51, 1))
	require.Error(t, err)
	_, err = s.Lines(io.Discard, nil)
	require.Error(t, err)
	_, _, err = s.Repair(nil)
	require.Error(t, err)
	var unsound *UnsoundError
	require.True(t, errors.As(err, &unsound), "%v", err)
	require.Equal(t, before, records(t, s))
	tamper(t, s, func(put func(string, string, []byte)) { put("meta", "ledger", []byte(now)) })
}
