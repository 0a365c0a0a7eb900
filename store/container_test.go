package store

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

// pages reads a closed ledger's file, as long as it needs to be, and what its
// newest meta page says of it.
func pages(t testing.TB, path string) ([]byte, *container) {
	t.Helper()
	f, err := os.Open(path)
	require.NoError(t, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(t, err)
	c, err := recognize(f, info.Size())
	require.NoError(t, err)
	content := make([]byte, c.pages*c.pageSize)
	_, err = f.ReadAt(content, 0)
	require.NoError(t, err)
	return content, c
}

func requireDamaged(t testing.TB, path string, content []byte, why string) {
	t.Helper()
	require.NoError(t, os.WriteFile(path, content, 0o600))
	s, err := Open(path, Options{ReadOnly: true})
	if err == nil {
		s.Close()
	}
	var damaged *DamagedError
	require.ErrorAs(t, err, &damaged, why)
	require.Contains(t, damaged.Why, why)
}

// A file that ends with its last page is whole; one byte less and it was cut.
func TestFileOneByteShort(t *testing.T) {
	path, c := closedLedger(t, 2)
	content, _ := pages(t, path)
	require.NoError(t, os.WriteFile(path, content, 0o600))
	withStore(t, path, c, func(s *Store) { verifyClean(t, s) })
	content, _ = pages(t, path)
	requireDamaged(t, path, content[:len(content)-1], fmt.Sprintf("it was cut: %d bytes are there, %d are needed", len(content)-1, len(content)))
}

// A page that stands in the list of free pages twice would be given out twice. So
// would one that lies outside, is one of the first two, or is in use.
func TestPageFreeTwice(t *testing.T) {
	path, _ := closedLedger(t, 20)
	whole, c := pages(t, path)
	free := whole[c.freelist*c.pageSize:]
	n := int(binary.NativeEndian.Uint16(free[10:]))
	require.Positive(t, n)
	last := binary.NativeEndian.Uint64(free[pageHeader+8*(n-1):])
	for _, id := range []uint64{last, 0, 1, c.pages, c.freelist} {
		content := append([]byte{}, whole...)
		free := content[c.freelist*c.pageSize:]
		binary.NativeEndian.PutUint16(free[10:], uint16(n+1))
		binary.NativeEndian.PutUint64(free[pageHeader+8*n:], id)
		requireDamaged(t, path, content, fmt.Sprintf("page %d can't be free", id))
	}
	content := append([]byte{}, whole...)
	binary.NativeEndian.PutUint64(content[c.freelist*c.pageSize+pageHeader+8*uint64(n):], c.root)
	binary.NativeEndian.PutUint16(content[c.freelist*c.pageSize+10:], uint16(n+1))
	requireDamaged(t, path, content, fmt.Sprintf("page %d is used twice", c.root))
	binary.NativeEndian.PutUint16(content[c.freelist*c.pageSize+10:], uint16(n-1))
	requireDamaged(t, path, content, fmt.Sprintf("page %d is neither used nor free", last))
}

// A file has two first pages, a list of free ones and one that leads to its parts:
// less than three is none, whatever its sums say.
func TestFileOfTooFewPages(t *testing.T) {
	path, _ := closedLedger(t, 1)
	whole, c := pages(t, path)
	for _, n := range []uint64{0, 1, 2} {
		content := append([]byte{}, whole...)
		for at := range uint64(2) {
			m := content[at*c.pageSize+pageHeader:]
			binary.NativeEndian.PutUint64(m[40:], n)
			sum := fnv.New64a()
			sum.Write(m[:56])
			binary.NativeEndian.PutUint64(m[56:], sum.Sum64())
		}
		requireDamaged(t, path, content, fmt.Sprintf("it has %d pages", n))
	}
	three := &container{r: strings.NewReader(strings.Repeat("\x00", 3*4096)), pageSize: 4096, pages: 3, freelist: 2, root: 2}
	require.ErrorContains(t, three.check(), "page 2 says that it is page 0", "three are looked at")
}

// A record may have maxRecord bytes and not one more, when it is written and when
// it is read.
func TestRecordAtItsLimit(t *testing.T) {
	hold := func(n int) medium.Step {
		return medium.Step{Version: medium.Version, Seq: 1, Mat: code(1), MatSeq: 1, At: start, Recorded: start, By: "ab", Kind: medium.KindHold,
			Body: &medium.Hold{Reason: strings.Repeat("x", n)}}
	}
	n := maxRecord
	for {
		data, _, err := encodeStep(hold(n), link{})
		if err == nil {
			require.Len(t, data, maxRecord, "the longest that is taken")
			break
		}
		var input *medium.InputError
		require.ErrorAs(t, err, &input)
		require.ErrorContains(t, err, "at most 65536 bytes")
		n--
	}
	longest, _, err := encodeStep(hold(n), link{})
	require.NoError(t, err)
	_, _, err = decodeStep(1, append(longest, 0))
	require.ErrorContains(t, err, "the longest record has 65536")
}

// Of the two first pages each commit writes the other one: two of the same turn
// mean that the last commit, or the one before it, is gone.
func TestFirstPagesOfOneTurn(t *testing.T) {
	path, c := closedLedger(t, 2)
	whole, was := pages(t, path)
	for id := range uint64(2) {
		content := append([]byte{}, whole...)
		copy(content[id*was.pageSize:][:was.pageSize], whole[(1-id)*was.pageSize:])
		binary.NativeEndian.PutUint64(content[id*was.pageSize:], id)
		require.NoError(t, os.WriteFile(path, content, 0o600))
		o := c.options()
		o.ReadOnly = true
		s, err := Open(path, o)
		require.NoError(t, err, "one of them leads to all others")
		_, err = s.Verify(nil, nil)
		require.ErrorContains(t, err, fmt.Sprintf("page %d, one of the two that lead to all others, is broken", id))
		require.NoError(t, s.Close())
	}
}
