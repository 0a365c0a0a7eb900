package main

import (
	"encoding/binary"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"resow/store"
)

// How the files begin that resow writes. A file at the place of a new one is
// replaced only where it begins the same: it is most likely an earlier one.
const (
	beginsPDF   = "%PDF-"
	beginsHTML  = "<!doctype html>"
	beginsCSV   = "\ufeffreport,"  // of a report
	beginsTable = "\ufeffseq,mat," // of an export
	beginsLines = `{"resow_export":`
	beginsEPCIS = "{\n  \"@context\":"
	beginsPNG   = "\x89PNG\r\n"
	beginsSVG   = "<svg "
)

// kindNames say what a person calls them.
var kindNames = map[string]string{
	beginsPDF: "a PDF", beginsHTML: "a page of a report", beginsCSV: "a table of a report", beginsTable: "a table of an export",
	beginsLines: "an export of resow", beginsEPCIS: "an EPCIS document", beginsPNG: "a PNG", beginsSVG: "an SVG",
}

// writeFile writes a whole file beside its place and moves it there, so that a
// failed run leaves no half file and no damaged old one.
func writeFile(path, begins string, write func(io.Writer) error) error {
	f, err := beginFile(path, begins)
	if err != nil {
		return err
	}
	defer f.drop()
	return f.finish(write)
}

// begun is a file that can be written; it is not at its place yet. It is begun
// before a record is made that can't be taken back. Every output file of the
// commands goes this way.
type begun struct {
	path    string
	to      *os.File // beside path, or path itself where that is written through
	mode    fs.FileMode
	through bool // a device or a pipe
}

// beginFile refuses to replace what is not an earlier file of the same kind:
// one word in the wrong place must not cost a ledger, a backup or a letter.
func beginFile(path, begins string) (*begun, error) {
	if path == "" {
		return nil, &usageError{"the file to write needs a name"}
	}
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		if to, err := os.Readlink(path); err == nil {
			return nil, &usageError{path + " is a link to " + to + ", which is not there; name another file"}
		}
		return beginBeside(path, path, 0o644)
	}
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, &usageError{path + " is a folder; name a file in it"}
	}
	if !info.Mode().IsRegular() {
		return beginThrough(path)
	}
	if err := replaceable(path, begins); err != nil {
		return nil, err
	}
	real, err := filepath.EvalSymlinks(path) // a link stays one
	if err != nil {
		return nil, err
	}
	return beginBeside(path, real, info.Mode().Perm())
}

func beginBeside(named, path string, mode fs.FileMode) (*begun, error) {
	tmp, err := os.CreateTemp(dirOf(path), ".resow-*")
	var at *fs.PathError
	if errors.As(err, &at) { // it names the temporary file, which nobody knows
		return nil, &fs.PathError{Op: "write", Path: named, Err: at.Err}
	}
	if err != nil {
		return nil, err
	}
	return &begun{path: path, to: tmp, mode: mode}, nil
}

// beginThrough opens a device or a pipe. It does not wait for a reader of the
// pipe: the ledger may be locked meanwhile.
func beginThrough(path string) (*begun, error) {
	to, err := os.OpenFile(path, os.O_WRONLY|syscall.O_NONBLOCK, 0)
	if errors.Is(err, syscall.ENXIO) {
		return nil, &usageError{path + " is a pipe that nobody reads yet; start its reader first"}
	}
	if err != nil {
		return nil, err
	}
	return &begun{path: path, to: to, through: true}, nil
}

// replaceable says whether the ordinary file at path may go for a new one.
func replaceable(path, begins string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	head := make([]byte, 1<<17) // both first pages of a ledger, with the largest pages there are
	n, err := io.ReadFull(f, head)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return err
	}
	head = head[:n]
	switch {
	case isLedger(head):
		return &usageError{path + " is a ledger of resow or a backup of one, and is never overwritten; name another file"}
	case n > 0 && !strings.HasPrefix(strings.ToLower(string(head)), strings.ToLower(begins)):
		return &usageError{path + " exists and is not " + kindNames[begins] + ", so it is not overwritten; name another file"}
	}
	return nil
}

// isLedger looks for the magic number of bbolt where its two meta pages begin,
// behind a page header of 16 bytes. One that is broken must be kept too.
func isLedger(head []byte) bool {
	const header, magic = 16, 0xED0CDAED
	for at := 0; at+header+4 <= len(head); at = max(1024, 2*at) {
		if binary.NativeEndian.Uint32(head[at+header:]) == magic {
			return true
		}
	}
	return false
}

// drop removes what was not finished; after finish it does nothing.
func (f *begun) drop() {
	if f == nil || f.to == nil {
		return
	}
	f.to.Close()
	if !f.through {
		os.Remove(f.to.Name())
	}
}

func (f *begun) finish(write func(io.Writer) error) error {
	if err := write(f.to); err != nil {
		return f.named(err)
	}
	if f.through {
		err := f.to.Close()
		f.to = nil
		return f.named(err)
	}
	if err := f.to.Chmod(f.mode); err != nil {
		return f.named(err)
	}
	if err := store.Replace(f.to, f.path); err != nil {
		return f.named(err)
	}
	f.to = nil
	return nil
}

// named puts the file's own name in the place of the temporary one.
func (f *begun) named(err error) error {
	var at *fs.PathError
	if errors.As(err, &at) {
		return &fs.PathError{Op: "write", Path: f.path, Err: at.Err}
	}
	return err
}

// tableFile is one of several output files that are written bit by bit. All are
// put in their places together, when the last was written whole.
type tableFile struct{ *begun }

func (t tableFile) Write(p []byte) (int, error) { return t.to.Write(p) }

func (t tableFile) Close() error { return nil }

func (t tableFile) place() error { return t.finish(func(io.Writer) error { return nil }) }
