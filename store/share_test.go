package store

import (
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// Whoever reads, however long, keeps nobody from recording: in the middle of each
// long reading another process records a step, which waits for the file at most as
// long as anybody does, and the reading goes on and gives what there was when it began.
func TestReadingLetsOthersRecord(t *testing.T) {
	path, c := closedLedger(t, 60)
	o := c.options()
	o.ReadOnly = true
	n := 0
	for name, read := range map[string]func(s *Store, meanwhile func()) error{
		"export": func(s *Store, meanwhile func()) error {
			before, err := s.Anchor()
			require.NoError(t, err)
			got, err := s.Lines(writes(meanwhile), nil)
			require.Equal(t, before, got)
			return err
		},
		"tables": func(s *Store, meanwhile func()) error {
			_, err := s.Tables(func(medium.Kind) (io.WriteCloser, error) { meanwhile(); return &buffer{}, nil })
			return err
		},
		"steps": func(s *Store, meanwhile func()) error {
			return s.Steps(func(medium.Step) error { meanwhile(); return nil })
		},
		"conditions": func(s *Store, meanwhile func()) error {
			return s.Conditions(func(medium.Condition) error { meanwhile(); return nil })
		},
		"threads": func(s *Store, meanwhile func()) error {
			for i := range 20 {
				if _, err := s.Thread(code(i + 1)); err != nil {
					return err
				}
				meanwhile()
			}
			return nil
		},
		"verify": func(s *Store, meanwhile func()) error {
			r, err := s.Verify(func(int, int) { meanwhile() }, nil)
			require.True(t, r.OK, "%+v", r.Problems)
			return err
		},
	} {
		s, err := Open(path, o)
		require.NoError(t, err)
		recorded := 0
		require.NoError(t, read(s, func() {
			if recorded == 3 {
				return
			}
			recorded++
			n++
			withStore(t, path, c, func(w *Store) { record(t, w, adds(50000+n, 1)...) })
		}), name)
		require.NotZero(t, recorded, name)
		_, err = s.Condition(code(50000 + n))
		require.NoError(t, err, "%s: what is read next is new", name)
		require.NoError(t, s.Close())
	}
	withStore(t, path, c, func(s *Store) { verifyClean(t, s) })
}

// writes is a writer that does something at each write.
type writes func()

func (w writes) Write(b []byte) (int, error) { w(); return len(b), nil }

// A ledger that is replaced while it is read ends the reading.
func TestReadingOfAReplacedLedgerEnds(t *testing.T) {
	path, c := closedLedger(t, 5)
	older := filepath.Join(folder(t), "older.resow")
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(older, content, 0o600))
	withStore(t, path, c, func(s *Store) { record(t, s, step(code(1), &medium.Hold{Reason: "doubt"})) })
	for name, other := range map[string]string{"another farm's": anotherFarm(t, c), "an older copy": older} {
		at := filepath.Join(t.TempDir(), "farm.resow")
		content, err := os.ReadFile(path)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(at, content, 0o600))
		o := c.options()
		o.ReadOnly = true
		s, err := Open(at, o)
		require.NoError(t, err)
		f, err := os.Open(at)
		require.NoError(t, err)
		require.NoError(t, lock(f, true, DefaultWait), "the reader lets go of it")
		content, err = os.ReadFile(other)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(at+".new", content, 0o600))
		require.NoError(t, os.Rename(at+".new", at))
		require.NoError(t, f.Close())
		var damaged *DamagedError
		_, err = s.Condition(code(1))
		require.ErrorAs(t, err, &damaged, name)
		_, err = s.Lines(io.Discard, nil)
		require.ErrorAs(t, err, &damaged, name)
		require.NoError(t, s.Close())
	}
}
