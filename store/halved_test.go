package store

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// With one of its two first pages broken a ledger opens, perhaps without the last act:
// that is said whenever it is opened, and before anything is written a copy is kept.
func TestOneFirstPageBroken(t *testing.T) {
	for _, newer := range []bool{true, false} {
		path, c := closedLedger(t, 3)
		before := anchorAt(t, path, c)
		withStore(t, path, c, func(s *Store) { record(t, s, step(code(1), &medium.Hold{Reason: "the last act"})) })
		whole, now := pages(t, path)
		page := int(now.txid % 2) // of the last commit
		if !newer {
			page = 1 - page
		}
		whole[page*int(now.pageSize)+pageHeader+16] ^= 4
		require.NoError(t, os.WriteFile(path, whole, 0o600))
		var said []string
		o := c.options()
		o.Say = func(text string) { said = append(said, text) }
		for _, o.ReadOnly = range []bool{true, true, false, false} {
			s, err := Open(path, o)
			require.NoError(t, err)
			a, err := s.Anchor()
			require.NoError(t, err)
			require.Equal(t, newer, a == before, "the last act is missing or not")
			require.NoError(t, s.Close())
		}
		require.Len(t, said, 4)
		require.Contains(t, said[0], "the last change before that may be missing")
		kept, err := filepath.Glob(path + ".damaged-*")
		require.NoError(t, err)
		require.Len(t, kept, 1, "one copy, however often it is opened")
		require.Contains(t, said[3], kept[0])
		content, err := os.ReadFile(kept[0])
		require.NoError(t, err)
		require.True(t, bytes.Equal(whole, content))

		o.ReadOnly, said = false, nil
		s, err := Open(path, o)
		require.NoError(t, err)
		record(t, s, step(code(2), &medium.Hold{Reason: "writes over it"}))
		require.NoError(t, s.Close())
		said = nil
		s, err = Open(path, o)
		require.NoError(t, err)
		verifyClean(t, s)
		require.NoError(t, s.Close())
		require.Empty(t, said, "both are whole again")
		require.FileExists(t, kept[0])
	}
}
