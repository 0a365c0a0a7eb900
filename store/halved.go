package store

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// bbolt has two first pages and writes them by turns. Where one is broken the other
// opens the file, which may be the state before the last act; the next act writes over
// the broken one and nothing would show any more.

// tellHalved says that one of the two first pages is broken, and keeps a copy of the
// file before anything is written to it.
func (s *Store) tellHalved() error {
	if s.halved == nil {
		return nil
	}
	text := fmt.Sprintf("%s: %v; look at what was recorded last, and record it again if it is not there", s.path, s.halved)
	if !s.o.ReadOnly {
		kept, err := s.keepHalved()
		if err != nil {
			return err
		}
		text += fmt.Sprintf("; the file as it was is kept as %s", kept)
	}
	if s.o.Say != nil {
		s.o.Say(text)
	}
	return nil
}

// keepHalved copies the file, which is locked, as it is. The state in its name keeps
// those who open it again and again from making one copy after another.
func (s *Store) keepHalved() (string, error) {
	info, err := s.file.Stat()
	if err != nil {
		return "", err
	}
	name := fmt.Sprintf("%s.damaged-%d", s.path, lastCommitOf(s.file, info.Size()))
	if old, err := os.Stat(name); err == nil && old.Size() == info.Size() {
		return name, nil
	}
	f, err := begin(name)
	if err != nil {
		return "", err
	}
	defer os.Remove(f.Name())
	defer f.Close()
	_, err = io.Copy(f, io.NewSectionReader(s.file, 0, info.Size()))
	if err = errors.Join(err, f.Sync()); err != nil {
		return "", &WriteError{Path: filepath.Base(name), Err: err}
	}
	return name, rename(f.Name(), name)
}

// lastCommitOf gives the number of the last commit that can be read.
func lastCommitOf(r io.ReaderAt, size int64) uint64 {
	c, err := recognize(r, size)
	if err != nil {
		return 0
	}
	return c.txid
}
