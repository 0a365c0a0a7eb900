//go:build unix

package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"

	"resow/cmd/resow/demo"
	"resow/medium"
	"resow/store"
)

// A bit of a ledger is turned: in the key of a record, or anywhere. Each command
// ends within seconds and says what it found, and none that reads the records
// ends as if they were whole.
func TestFlippedBits(t *testing.T) {
	keys, anywhere := 4, 6
	if deep() {
		keys, anywhere = 60, 200
	}
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	large, small := someOfTheDemo(t, now, 60), someOfTheDemo(t, now, 5)
	require.Greater(t, len(large.bytes), 1<<20, "its leaves are not read when it is opened")
	require.Less(t, len(small.bytes), 1<<20, "it is read as a whole when it is opened")
	for _, c := range []struct {
		name   string
		ledger wholeLedger
		times  int
		inKeys bool
	}{
		{"in keys", large, keys, true},
		{"anywhere", large, anywhere, false},
		{"in keys of a small ledger", small, keys, true},
		{"anywhere in a small ledger", small, anywhere, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			random := rand.New(rand.NewPCG(11, 11))
			ended := map[string]int{}
			for i := range c.times {
				at := random.IntN(len(c.ledger.bytes))
				switch {
				case c.inKeys && i%2 == 0: // where a slice begins
					at = c.ledger.firsts[random.IntN(len(c.ledger.firsts))] + random.IntN(8)
				case c.inKeys:
					at = c.ledger.keys[random.IntN(len(c.ledger.keys))] + random.IntN(8)
				}
				bad := bytes.Clone(c.ledger.bytes)
				bit := random.IntN(8)
				bad[at] ^= 1 << bit
				c.ledger.flipped(t, fmt.Sprintf("bit %d of byte %d", bit, at), bad, c.inKeys, ended)
			}
			t.Log(ended)
		})
	}
}

func deep() bool { return os.Getenv("RESOW_DEEP") == "1" }

// wholeLedger is a ledger before a bit of it is turned.
type wholeLedger struct {
	now    time.Time
	bytes  []byte
	keys   []int // where the keys of its records are in the file
	firsts []int // those of the records at which a slice begins
	lines  string
	backup string
	mat    medium.Code
}

func someOfTheDemo(t *testing.T, now time.Time, mats int) wholeLedger {
	t.Helper()
	dir := t.TempDir()
	o := store.Options{Now: func() time.Time { return now }}
	require.NoError(t, demo.Build(filepath.Join(dir, "demo.resow"), now))
	s, err := store.Open(filepath.Join(dir, "demo.resow"), o)
	require.NoError(t, err)
	var steps []medium.Step
	wanted := map[medium.Code]bool{medium.FarmThread: true}
	require.NoError(t, s.Steps(func(s medium.Step) error {
		if len(wanted) <= mats {
			wanted[s.Mat] = true
		}
		if wanted[s.Mat] {
			steps = append(steps, s)
		}
		return nil
	}))
	require.NoError(t, s.Close())
	slices.SortFunc(steps, func(a, b medium.Step) int { return int(a.Seq) - int(b.Seq) })
	l := wholeLedger{now: now}
	for _, s := range steps {
		if s.Mat != medium.FarmThread {
			l.mat = s.Mat
		}
	}
	path := filepath.Join(dir, "farm.resow")
	_, err = store.Load(path, func(yield func(medium.Step, error) bool) {
		for _, s := range steps {
			if !yield(s, nil) {
				return
			}
		}
	}, o)
	require.NoError(t, err)
	l.bytes, err = os.ReadFile(path)
	require.NoError(t, err)
	l.keys, l.firsts = placesOfKeys(t, path)
	var text bytes.Buffer
	s, err = store.Open(path, o)
	require.NoError(t, err)
	_, err = s.Lines(&text, nil)
	require.NoError(t, err)
	require.NoError(t, s.Close())
	l.lines = text.String()
	made, err := store.BackUp(path, store.Backups{Dir: filepath.Join(dir, "backups")}, o)
	require.NoError(t, err)
	l.backup = made.Path
	return l
}

func placesOfKeys(t *testing.T, path string) (all, firsts []int) {
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true})
	require.NoError(t, err)
	defer db.Close()
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		return tx.Bucket([]byte("log")).ForEach(func(k, _ []byte) error {
			all = append(all, int(uintptr(unsafe.Pointer(&k[0]))-db.Info().Data))
			if len(all)%1024 == 1 {
				firsts = append(firsts, all[len(all)-1])
			}
			return nil
		})
	}))
	return all, firsts
}

// flipped runs the commands on a ledger with a turned bit.
func (l wholeLedger) flipped(t *testing.T, what string, bad []byte, broken bool, ended map[string]int) {
	dir := t.TempDir()
	path, out, copied := filepath.Join(dir, "farm.resow"), filepath.Join(dir, "out.jsonl"), filepath.Join(dir, "copy.resow")
	require.NoError(t, os.WriteFile(path, bad, 0o600))
	call := func(args ...string) int {
		code, said, errs := l.within(t, 5*time.Second, what, args...)
		if code != exitDone && code != exitDoNotSow && code != exitRetire {
			require.Equal(t, exitFailed, code, "%s: %v", what, args)
			require.NotEmpty(t, said+errs, "%s: %v", what, args)
		}
		ended[fmt.Sprintf("%s %d", args[0], code)]++
		return code
	}
	call("scan", string(l.mat), "--store", path)
	whole := call("verify", "--store", path) == exitDone
	require.False(t, whole && broken, "verify: %s", what)

	if call("export", "--store", path, "--out", out) == exitDone {
		require.False(t, broken, "export: %s", what)
		text, err := os.ReadFile(out)
		require.NoError(t, err)
		require.True(t, l.lines == string(text), "export: %s", what)
	} else {
		require.False(t, whole, "export of a whole ledger: %s", what)
		require.NoFileExists(t, out)
	}
	require.False(t, call("export", "--store", path, "--csv", filepath.Join(dir, "tables")) == exitDone && broken, "tables: %s", what)
	if call("restore", path, "--store", copied) == exitDone {
		require.False(t, broken, "restore: %s", what)
		code, text, _ := l.within(t, 5*time.Second, what, "export", "--store", copied)
		require.Equal(t, exitDone, code, "restored: %s", what)
		require.True(t, l.lines == text, "restored: %s", what)
	} else {
		require.NoFileExists(t, copied)
	}
	require.Equal(t, exitDone, call("restore", l.backup, "--store", path, "--replace"), "the good backup in its place: %s", what)
	code, text, _ := l.within(t, 5*time.Second, what, "export", "--store", path)
	require.Equal(t, exitDone, code)
	_, records, _ := strings.Cut(l.lines, "\n")
	_, restored, _ := strings.Cut(text, "\n")
	require.True(t, strings.HasPrefix(restored, records), "what was restored: %s", what)
	if file := call("verify", "--store", path); file != exitDone {
		require.Fail(t, "what was restored", what)
	}
}

// within runs a command that must end in time.
func (l wholeLedger) within(t *testing.T, most time.Duration, what string, args ...string) (code int, out, errs string) {
	w, o, e := deadWorld(l.now)
	w.env = func(name string) string { return map[string]string{"RESOW_BY": "MK"}[name] }
	done := make(chan int, 1)
	go func() { done <- run(args, w) }()
	select {
	case code = <-done:
		return code, o.String(), e.String()
	case <-time.After(most):
		t.Fatalf("%s: %v did not end within %s", what, args, most)
	}
	return 0, "", ""
}

// One of the two first pages is broken: every command that opens the ledger says so,
// also those that only read.
func TestEveryCommandSaysThatAFirstPageIsBroken(t *testing.T) {
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	l := someOfTheDemo(t, now, 5)
	bad := bytes.Clone(l.bytes)
	bad[4096+40] ^= 1
	path := filepath.Join(t.TempDir(), "farm.resow")
	for _, args := range [][]string{{"scan", string(l.mat)}, {"show", string(l.mat)}, {"due"}, {"list"}, {"history", string(l.mat)}, {"report", "reuse"},
		{"hold", string(l.mat), "--reason", "a look"}} {
		require.NoError(t, os.WriteFile(path, bad, 0o600))
		_, _, errs := l.within(t, 5*time.Second, "a first page", append(args, "--store", path)...)
		require.Contains(t, errs, "the last change before that may be missing", "%v", args)
	}
	kept, err := filepath.Glob(path + ".damaged-*")
	require.NoError(t, err)
	require.Len(t, kept, 1, "before a step was written")
}

// What is derived is broken, also that by which a command begins, the farm's settings:
// no command answers from it, verify says so, and its repair makes it whole.
func TestBrokenViewsAreRepaired(t *testing.T) {
	now := time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)
	l := someOfTheDemo(t, now, 5)
	path := filepath.Join(t.TempDir(), "farm.resow")
	for part, key := range map[string]string{"meta": "sums", "farm": "farm", "mats": string(l.mat)} {
		require.NoError(t, os.WriteFile(path, l.bytes, 0o600))
		db, err := bbolt.Open(path, 0o600, nil)
		require.NoError(t, err)
		require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
			b := tx.Bucket([]byte(part))
			value := bytes.Clone(b.Get([]byte(key)))
			value[len(value)/2] ^= 8
			if key == "sums" {
				value = value[1:]
			}
			return b.Put([]byte(key), value)
		}))
		require.NoError(t, db.Close())
		call := func(args ...string) (int, string) {
			code, said, errs := l.within(t, 10*time.Second, part, append(args, "--store", path)...)
			return code, said + errs
		}
		code, said := call("scan", string(l.mat))
		require.Equal(t, exitFailed, code, said)
		require.Contains(t, said, "verify --repair")
		code, said = call("hold", string(l.mat), "--reason", "a look")
		require.Equal(t, exitFailed, code, said)
		code, said = call("verify")
		require.Equal(t, exitFailed, code, "%s: %s", part, said)
		code, said = call("verify", "--repair")
		require.Equal(t, exitDone, code, "%s: %s", part, said)
		code, said = call("verify")
		require.Equal(t, exitDone, code, "%s: %s", part, said)
		code, said = call("export")
		require.Equal(t, exitDone, code)
		require.True(t, strings.HasPrefix(said, l.lines), "no record was touched")
	}
}
