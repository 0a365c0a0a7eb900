package store

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"go.etcd.io/bbolt"

	"resow/medium"
)

// formats says how a file of an older format becomes one of today's. A format
// says where things stand in the file beside the records. The records, and what
// the file said of itself when it was made, keep their bytes in every format:
// the hashes cover them, and paper holds those hashes.
type formats struct {
	now int
	up  map[int]func(tx *bbolt.Tx) error // from that format to the next; what is derived is made anew after the last
}

// shipped is the table of this version: format 1 is the first.
var shipped = formats{now: Format}

// raised is kept in a file that was made in an older format than it has now.
type raised struct {
	intKeys
	Format int    `cbor:"10"`
	By     string `cbor:"11"` // the program that raised it, for an older one to name
}

// OlderError says that a file of an older format could not be brought up to
// date. The file is as it was.
type OlderError struct {
	Path         string
	Format, Want int
	Copy         string // the copy that was made of it; empty: none was
	Err          error
}

func (e *OlderError) Error() string {
	what := "no copy of it could be made first"
	if e.Copy != "" {
		what = "its records did not pass the check that followed; a copy is kept as " + e.Copy
	}
	return fmt.Sprintf("%s is of the older format %d and must be brought to format %d once, and %s: %v; the file is as it was: run `resow verify` where you may write beside it, or use the version that made it",
		e.Path, e.Format, e.Want, what, e.Err)
}

func (e *OlderError) Unwrap() error { return e.Err }

// readFormat gives the format that the file has now, and the program that
// brought it there.
func readFormat(meta *bbolt.Bucket, made identity) (format int, by string, err error) {
	stored := meta.Get(keyFormat)
	if stored == nil {
		return made.Format, made.MadeBy, nil
	}
	var r raised
	if err := decodeWith(lenient, stored, &r); err != nil || r.Format <= made.Format {
		return 0, "", errors.New("what it says of its format can't be read")
	}
	return r.Format, r.By, nil
}

// putFormat notes the format in a file that was made in an older one.
func putFormat(meta *bbolt.Bucket, made []byte, o Options) error {
	var m identity
	if err := decodeWith(lenient, made, &m); err != nil {
		return err
	}
	if m.Format >= o.formats.now {
		return nil
	}
	return put(meta, keyFormat, &raised{Format: o.formats.now, By: o.Program})
}

// migrate brings a file of an older format up to date: first a copy beside it,
// read back and checked, then everything in one transaction that holds all
// against all before it is committed.
func (s *Store) migrate() error {
	s.write.Lock()
	defer s.write.Unlock()
	older := OlderError{Path: s.path, Format: s.format, Want: s.o.formats.now}
	if older.Copy, older.Err = s.copyBeside(); older.Err != nil {
		older.Copy = ""
		return &older
	}
	if older.Err = s.update(s.raise); older.Err != nil {
		return &older
	}
	s.format = s.o.formats.now
	return nil
}

func (s *Store) raise(tx *bbolt.Tx) error {
	before, _, err := readLedger(tx)
	if err != nil {
		return err
	}
	for f := s.format; f < s.o.formats.now; f++ {
		up := s.o.formats.up[f]
		if up == nil {
			return fmt.Errorf("nothing leads on from format %d", f)
		}
		if err := up(tx); err != nil {
			return err
		}
	}
	meta := tx.Bucket(bucketMeta)
	if err := putFormat(meta, meta.Get(keyIdentity), s.o); err != nil {
		return err
	}
	if err := rebuildViews(tx); err != nil {
		return err
	}
	v := &verifier{report: Report{Problems: []Problem{}}}
	if err := v.run(tx); err != nil {
		return err
	}
	if after, _, err := readLedger(tx); err != nil || after.Count != before.Count || !bytes.Equal(after.Head, before.Head) {
		v.problem("", 0, "the ledger has another head than before: a record was changed")
	}
	if genesis(meta.Get(keyIdentity)) != s.genesis {
		v.problem("", 0, "what the file said of itself when it was made was changed")
	}
	if len(v.report.Problems) > 0 {
		return &UnsoundError{Path: s.path, Problems: v.report.Problems}
	}
	return nil
}

// copyBeside keeps the file as it is, byte for byte, under a name of its own.
// The name tells the state of the ledger, so that a migration that fails again
// and again makes one copy and no more. The file is locked meanwhile.
func (s *Store) copyBeside() (string, error) {
	a, err := s.Anchor()
	if err != nil {
		return "", err
	}
	name := fmt.Sprintf("%s.format-%d.%d.backup", s.path, s.format, a.Count)
	if s.checkCopy(name, a) == nil {
		return name, nil
	}
	name = freeName(name)
	temp := filepath.Join(filepath.Dir(name), "."+filepath.Base(name)+".new")
	if err := os.Remove(temp); err != nil && !os.IsNotExist(err) { // left by a run that died
		return "", &WriteError{Path: temp, Err: err}
	}
	defer os.Remove(temp)
	if err := s.copyTo(temp); err != nil {
		return "", &WriteError{Path: temp, Err: err}
	}
	if err := s.checkCopy(temp, a); err != nil {
		return "", err
	}
	return name, rename(temp, name)
}

// copyTo copies the file through the handle that holds the lock.
func (s *Store) copyTo(path string) error {
	info, err := s.file.Stat()
	if err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, io.NewSectionReader(s.file, 0, info.Size()))
	return errors.Join(err, f.Sync(), f.Close())
}

// checkCopy holds a copy's pages and records against the ledger's state. What
// is derived is not looked at: how an older format kept it is not known here.
func (s *Store) checkCopy(path string, want Anchor) error {
	o := s.o
	o.ReadOnly = true
	c := &Store{path: path, o: o}
	if err := c.open(); err != nil {
		return err
	}
	defer c.Close()
	if _, err := c.readIdentity(); err != nil {
		return err
	}
	if c.genesis != s.genesis || c.format != s.format {
		return &ExistsError{Path: path}
	}
	if err := c.checkContainer(nil); err != nil {
		return err
	}
	if got, err := c.Anchor(); err != nil || got != want {
		return cmp.Or(err, error(&UnsoundError{Path: s.path, Problems: []Problem{{Text: fmt.Sprintf("the copy's anchor is %s, the ledger's %s", got, want)}}}))
	}
	return c.view(func(tx *bbolt.Tx) error {
		return inOrder(tx, func(uint64, []byte, medium.Step) error { return nil })
	})
}

// inTodaysFormat gives a backup as it can be read today: the file itself, or,
// where that is of an older format, a copy that was brought up to date and that
// done removes. A backup is never written to.
func inTodaysFormat(backup string, o Options) (path string, done func(), err error) {
	o.ReadOnly = true
	s := &Store{path: backup, o: o}
	if s.open() != nil { // who opens it says why
		return backup, func() {}, nil
	}
	defer s.Close()
	if _, err := s.readIdentity(); err != nil || s.format >= o.formats.now {
		return backup, func() {}, nil
	}
	dir, err := os.MkdirTemp("", "resow-restore-")
	if err != nil {
		return "", nil, &WriteError{Path: backup, Err: err}
	}
	done = func() { _ = os.RemoveAll(dir) }
	path = filepath.Join(dir, filepath.Base(backup))
	if err := s.copyTo(path); err != nil {
		done()
		return "", nil, &WriteError{Path: path, Err: err}
	}
	o.ReadOnly = false
	raised, err := Open(path, o)
	if err != nil {
		done()
		return "", nil, err
	}
	return path, done, raised.Close()
}
