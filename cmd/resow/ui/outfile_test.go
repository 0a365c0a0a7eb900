package ui

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
)

func writeText(text string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	}
}

// A pipe is written through: nothing may be put in its place.
func TestAPipeIsWrittenThrough(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no named pipes in folders there")
	}
	pipe := filepath.Join(t.TempDir(), "pipe")
	require.NoError(t, mkfifo(pipe))

	err := WriteFile(pipe, BeginsPDF, writeText("%PDF-1"))
	require.ErrorContains(t, err, "nobody reads yet")

	reader, err := os.OpenFile(pipe, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	require.NoError(t, err)
	defer reader.Close()
	require.NoError(t, WriteFile(pipe, BeginsPDF, writeText("%PDF-1")))
	got := make([]byte, 20)
	n, err := reader.Read(got)
	require.NoError(t, err)
	require.Equal(t, "%PDF-1", string(got[:n]))

	info, err := os.Lstat(pipe)
	require.NoError(t, err)
	require.NotZero(t, info.Mode()&os.ModeNamedPipe, "the pipe is still one")
	left, err := os.ReadDir(filepath.Dir(pipe))
	require.NoError(t, err)
	require.Len(t, left, 1, "no temporary file stays")
}

// A reader that goes away is a failed write, not a success.
func TestAFailedWriteToAPipeIsTold(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no named pipes in folders there")
	}
	pipe := filepath.Join(t.TempDir(), "pipe")
	require.NoError(t, mkfifo(pipe))
	reader, err := os.OpenFile(pipe, os.O_RDONLY|syscall.O_NONBLOCK, 0)
	require.NoError(t, err)
	f, err := BeginFile(pipe, BeginsPDF)
	require.NoError(t, err)
	defer f.Drop()
	require.NoError(t, reader.Close())
	err = f.Finish(writeText("%PDF-1"))
	require.ErrorIs(t, err, syscall.EPIPE)
}

func TestAFailedRunLeavesTheOldFile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "labels.pdf")
	require.NoError(t, os.WriteFile(path, []byte("%PDF-old"), 0o600))
	broken := errors.New("broken")
	err := WriteFile(path, BeginsPDF, func(w io.Writer) error {
		_, _ = io.WriteString(w, "%PDF-half")
		return broken
	})
	require.ErrorIs(t, err, broken)
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, "%PDF-old", string(got))

	require.NoError(t, WriteFile(path, BeginsPDF, writeText("%PDF-new")))
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm(), "its owner closed it to others")
	left, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, left, 1)
}

// A ledger with one broken first page is damaged, and still a ledger.
func TestALedgerWithABrokenPageIsStillOne(t *testing.T) {
	head := make([]byte, 1<<15)
	for _, page := range []int{0, 1024, 4096, 16384} {
		b := append([]byte{}, head...)
		copy(b[page+16:], []byte{0xED, 0xDA, 0x0C, 0xED})
		require.True(t, IsLedger(b), page)
	}
	require.False(t, IsLedger(head))
	require.False(t, IsLedger([]byte("%PDF-1.3 and so on and on and on")))
}
