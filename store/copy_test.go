package store

import (
	"os"
	"path/filepath"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"resow/medium"
)

// Whatever is recorded between any two pieces of a copy, however often it is
// compared and however large the file becomes: the copy has the bytes of the file
// at its end, and all of it agrees.
func TestCopyIsOneState(t *testing.T) {
	rapidChecks(t, 12)
	path, c := closedLedger(t, 40)
	to := filepath.Join(folder(t), "copy")
	next := 1000
	rapid.Check(t, func(r *rapid.T) {
		b := newCopying(path, c.options())
		require.NoError(r, b.begin())
		defer b.end()
		var err error
		b.to, err = os.Create(to)
		require.NoError(r, err)
		defer b.to.Close()
		b.buf = make([]byte, copyBlock*rapid.IntRange(8, 60).Draw(r, "blocks"))
		chance := rapid.IntRange(0, 4).Draw(r, "of 10")
		count, commits := 0, 0
		b.between = func(_, _ int64) {
			if commits == 12 || rapid.IntRange(0, 9).Draw(r, "now") >= chance {
				return
			}
			commits += 2
			withStore(t, path, c, func(s *Store) {
				s.db.NoSync = true
				n := rapid.IntRange(1, 30).Draw(r, "steps")
				record(t, s, adds(next, n)...)
				next += n
				count += n
				record(t, s, step(code(1+next%40), &medium.Hold{Reason: "meanwhile"}))
				count++
			})
		}
		before := anchorAt(t, path, c).Count
		require.NoError(r, b.run())
		require.Equal(r, before+uint64(count), b.anchor.Count)
		require.Equal(r, anchorAt(t, path, c), b.anchor)
		require.NoError(r, b.check(func(int, int) {}, nil))
		requireSameFile(t, path, to)
		require.NoError(r, verifyFile(to, b.anchor, c.options()))
	})
}

// begun is a copy that has begun, with a file to go to.
func begun(t *testing.T, path string, c *clock) *copying {
	b := newCopying(path, c.options())
	require.NoError(t, b.begin())
	t.Cleanup(b.end)
	var err error
	b.to, err = os.Create(filepath.Join(folder(t), "copy"))
	require.NoError(t, err)
	t.Cleanup(func() { b.to.Close() })
	return b
}

// What changed while writers wait is kept in memory up to a limit, and written
// under the lock beyond it: the same bytes.
func TestCopyOfMuchThatChanged(t *testing.T) {
	path, c := closedLedger(t, 40)
	b := begun(t, path, c)
	withStore(t, path, c, func(s *Store) { // the file that was looked at is a small part of what is there now
		s.db.NoSync = true
		for n := range 22 {
			record(t, s, adds(1000+1000*n, 1000)...)
		}
	})
	require.NoError(t, b.settle())
	require.Greater(t, b.wrote, lateMost)
	require.Greater(t, b.behind, 0)
	for _, l := range b.late {
		require.NoError(t, b.write(l.bytes, l.at))
	}
	requireSameFile(t, path, b.to.Name())
	require.NoError(t, verifyFile(b.to.Name(), anchorAt(t, path, c), c.options()))
}

// After many commits the file is compared again before anybody waits.
func TestCopyIsComparedAgain(t *testing.T) {
	path, c := closedLedger(t, 40)
	b := begun(t, path, c)
	commits := copyCommits + 1
	passes := 0
	b.between = func(done, total int64) {
		if done == total {
			passes++
		}
		withStore(t, path, c, func(s *Store) {
			s.db.NoSync = true
			for range commits {
				record(t, s, step(code(1), &medium.Hold{Reason: "meanwhile"}))
			}
		})
		commits = 0
	}
	require.NoError(t, b.run())
	require.Equal(t, 2, passes)
	require.Zero(t, b.wrote, "nothing was left to be done while writers waited")
	requireSameFile(t, path, b.to.Name())
	require.NoError(t, verifyFile(b.to.Name(), anchorAt(t, path, c), c.options()))
}

// Copy keeps nobody out while it reads, and needs no folder of its own.
func TestCopy(t *testing.T) {
	path, c := closedLedger(t, 3)
	to, err := os.CreateTemp(folder(t), "copy")
	require.NoError(t, err)
	require.NoError(t, Copy(path, to, c.options()))
	require.NoError(t, to.Close())
	requireSameFile(t, path, to.Name())
	withStore(t, to.Name(), c, func(s *Store) { verifyClean(t, s) })
	var missing *MissingError
	require.ErrorAs(t, Copy(path+"x", to, c.options()), &missing)
	var write *WriteError
	require.ErrorAs(t, Copy(path, to, c.options()), &write, "it is closed")
}

// Rests are as long as the work before, and only while somebody records.
func TestRoom(t *testing.T) {
	synctest.Test(t, func(t *testing.T) { // a clock that only sleeping moves
		commits := uint64(7)
		r := room{look: func() uint64 { return commits }, last: commits}
		rests := func() time.Duration {
			time.Sleep(10 * time.Millisecond) // at work
			begun := time.Now()
			r.make()
			return time.Since(begun)
		}
		for range 3 {
			require.Zero(t, rests(), "alone")
		}
		require.False(t, r.wanted())
		commits++
		require.Equal(t, 10*time.Millisecond, rests())
		require.Equal(t, 10*time.Millisecond, rests(), "who recorded a moment ago will again")
		require.True(t, r.wanted())
		time.Sleep(roomFor)
		require.Zero(t, rests())
	})
}
