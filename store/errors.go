package store

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"time"

	"resow/medium"
)

// Errors of this package say what is wrong; how to get out of it is the face's to
// say. A failed write has recorded nothing: a transaction is all or nothing. Only an
// UnsureError leaves that open.

// MissingError says that there is no file at the path.
type MissingError struct {
	Path   string
	Backup bool // a backup was wanted, not the farm's own store
}

func (e *MissingError) Error() string {
	if e.Backup {
		return fmt.Sprintf("there is no backup file %s", e.Path)
	}
	return fmt.Sprintf("there is no ledger at %s", e.Path)
}

// Unwrap lets callers ask for fs.ErrNotExist.
func (e *MissingError) Unwrap() error { return fs.ErrNotExist }

// ExistsError refuses to make a store where a file is.
type ExistsError struct{ Path string }

func (e *ExistsError) Error() string {
	return fmt.Sprintf("%s exists already and is left as it is; choose another name, or move the file away first", e.Path)
}

// Unwrap lets callers ask for fs.ErrExist.
func (e *ExistsError) Unwrap() error { return fs.ErrExist }

// NotStoreError refuses a file that resow did not make.
type NotStoreError struct{ Path, Why string }

func (e *NotStoreError) Error() string {
	return fmt.Sprintf("%s is not a resow ledger: %s", e.Path, e.Why)
}

// DamagedError says that the container is broken: the file was cut, or pages of
// it were overwritten. Contents that do not chain are a Problem of a Report.
type DamagedError struct{ Path, Why string }

func (e *DamagedError) Error() string {
	return fmt.Sprintf("%s is damaged (%s); keep a copy of it and restore the last backup", e.Path, e.Why)
}

// NewerError refuses what this version does not know. MadeBy is the program
// that made the file, where it is known.
type NewerError struct{ What, MadeBy string }

func (e *NewerError) Error() string {
	made := ""
	if e.MadeBy != "" {
		made = " (the file was made by " + e.MadeBy + ")"
	}
	return fmt.Sprintf("a newer version wrote this: %s%s; use that version of the program or a later one", e.What, made)
}

// BusyError says that another process held the store for the whole wait.
type BusyError struct {
	Path   string
	Waited time.Duration
}

func (e *BusyError) Error() string {
	return fmt.Sprintf("%s has been in use by another program for more than %s; "+
		"let it finish (a backup, an import, a second station) and try again",
		e.Path, e.Waited.Round(10*time.Millisecond))
}

// ReadOnlyError refuses to write to a store that was opened for reading.
type ReadOnlyError struct{ Path string }

func (e *ReadOnlyError) Error() string {
	return fmt.Sprintf("%s was opened for reading only; open it for writing to record steps", e.Path)
}

// WriteError says that the file could not be written, for instance because the
// disk is full. Nothing was recorded.
type WriteError struct {
	Path string
	Err  error
}

func (e *WriteError) Error() string {
	if errors.Is(e.Err, fs.ErrNotExist) {
		return fmt.Sprintf("%s could not be written and nothing was recorded: the folder %s does not exist; "+
			"make it, or name another place", e.Path, filepath.Dir(e.Path))
	}
	return fmt.Sprintf("%s could not be written and nothing was recorded: %v; "+
		"make room on the disk, or check that you may write there", e.Path, e.Err)
}

func (e *WriteError) Unwrap() error { return e.Err }

// UnsureError says that the disk failed when all was written and only its word for
// it was missing. After a start of the machine it may be there or not.
type UnsureError struct {
	Path string
	Err  error
}

func (e *UnsureError) Error() string {
	return fmt.Sprintf("%s: the disk failed at the very end (%v), so it is not known whether this was recorded; "+
		"look whether it is there before you do it again, and make a backup on another disk",
		e.Path, e.Err)
}

func (e *UnsureError) Unwrap() error { return e.Err }

// RecordError says that a stored record can't be read, though the container is
// whole: somebody changed it, or a newer version wrote it.
type RecordError struct {
	Code   medium.Code
	MatSeq uint64
	Seq    uint64 // in the ledger, where the mat is not known
	Err    error
}

func (e *RecordError) Error() string {
	if e.Code == "" {
		return fmt.Sprintf("record %d of the ledger can't be read: %v", e.Seq, e.Err)
	}
	return fmt.Sprintf("mat %s, step %d can't be read: %v", e.Code, e.MatSeq, e.Err)
}

func (e *RecordError) Unwrap() error { return e.Err }

// UnknownMatError says that a code, or a mark, names no mat.
type UnknownMatError struct {
	What string // code or mark
	Name string
}

func (e *UnknownMatError) Error() string {
	return fmt.Sprintf("no mat has the %s %q; look at the label again, or set the mat apart: "+
		"a mat without a readable code never gets a fresh history", e.What, e.Name)
}

// TakenError refuses a code or a mark that names a mat already.
type TakenError struct {
	What string // code or mark
	Name string
	Mat  medium.Code
}

func (e *TakenError) Error() string {
	return fmt.Sprintf("the %s %q belongs to mat %s already; take another one", e.What, e.Name, e.Mat)
}

// TokenError refuses a request token that was used for other steps.
type TokenError struct{ Token string }

func (e *TokenError) Error() string {
	return fmt.Sprintf("the request token %q was used for other steps already; make a fresh one for each request", e.Token)
}

// AnchorError refuses text that is no anchor.
type AnchorError struct{ Text, Why string }

func (e *AnchorError) Error() string {
	return fmt.Sprintf("%q is not an anchor: %s; type it as it is printed, such as 1234-BCDE-FGHJ-KNPR-STVX-42",
		e.Text, e.Why)
}
