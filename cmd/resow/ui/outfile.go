package ui

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
	BeginsPDF   = "%PDF-"
	BeginsHTML  = "<!doctype html>"
	BeginsCSV   = "\ufeffreport,"  // of a report
	BeginsTable = "\ufeffseq,mat," // of an export
	BeginsLines = `{"resow_export":`
	BeginsEPCIS = "{\n  \"@context\":"
	BeginsPNG   = "\x89PNG\r\n"
	BeginsSVG   = "<svg "
)

// kindNames say what a person calls them.
var kindNames = map[string]string{
	BeginsPDF: "a PDF", BeginsHTML: "a page of a report", BeginsCSV: "a table of a report",
	BeginsTable: "a table of an export",
	BeginsLines: "an export of resow", BeginsEPCIS: "an EPCIS document", BeginsPNG: "a PNG", BeginsSVG: "an SVG",
}

// WriteFile writes a whole file beside its place and moves it there, so that a
// failed run leaves no half file and no damaged old one.
func WriteFile(path, begins string, write func(io.Writer) error) error {
	f, err := BeginFile(path, begins)
	if err != nil {
		return err
	}
	defer f.Drop()
	return f.Finish(write)
}

// Begun is a file that can be written; it is not at its place yet. It is begun
// before a record is made that can't be taken back. Every output file of the
// commands goes this way.
type Begun struct {
	path    string
	to      *os.File // beside path, or path itself where that is written through
	mode    fs.FileMode
	through bool // a device or a pipe
}

// BeginFile refuses to replace what is not an earlier file of the same kind:
// one word in the wrong place must not cost a ledger, a backup or a letter.
func BeginFile(path, begins string) (*Begun, error) {
	if path == "" {
		return nil, Wrong("the file to write needs a name")
	}
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		if to, err := os.Readlink(path); err == nil {
			return nil, Wrong(path + " is a link to " + to + ", which is not there; name another file")
		}
		return beginBeside(path, path, 0o644)
	}
	if err != nil {
		return nil, err
	}
	if info.IsDir() {
		return nil, Wrong(path + " is a folder; name a file in it")
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

func beginBeside(named, path string, mode fs.FileMode) (*Begun, error) {
	tmp, err := os.CreateTemp(filepath.Dir(path), ".resow-*")
	var at *fs.PathError
	if errors.As(err, &at) { // it names the temporary file, which nobody knows
		return nil, &fs.PathError{Op: "write", Path: named, Err: at.Err}
	}
	if err != nil {
		return nil, err
	}
	return &Begun{path: path, to: tmp, mode: mode}, nil
}

// beginThrough opens a device or a pipe. It does not wait for a reader of the
// pipe: the ledger may be locked meanwhile.
func beginThrough(path string) (*Begun, error) {
	to, err := os.OpenFile(path, os.O_WRONLY|syscall.O_NONBLOCK, 0)
	if errors.Is(err, syscall.ENXIO) {
		return nil, Wrong(path + " is a pipe that nobody reads yet; start its reader first")
	}
	if err != nil {
		return nil, err
	}
	return &Begun{path: path, to: to, through: true}, nil
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
	case IsLedger(head):
		return Wrong(path + " is a resow ledger or a backup of one, and is never overwritten; name another file")
	case n > 0 && !strings.HasPrefix(strings.ToLower(string(head)), strings.ToLower(begins)):
		return Wrong(path + " exists and is not " + kindNames[begins] + ", so it is not overwritten; name another file")
	}
	return nil
}

// IsLedger looks for the magic number of bbolt where its two meta pages begin,
// behind a page header of 16 bytes. One that is broken must be kept too.
func IsLedger(head []byte) bool {
	const header, magic = 16, 0xED0CDAED
	for at := 0; at+header+4 <= len(head); at = max(1024, 2*at) {
		if binary.NativeEndian.Uint32(head[at+header:]) == magic {
			return true
		}
	}
	return false
}

// Drop removes what was not finished; after finish it does nothing.
func (f *Begun) Drop() {
	if f == nil || f.to == nil {
		return
	}
	f.to.Close()
	if !f.through {
		os.Remove(f.to.Name())
	}
}

func (f *Begun) Finish(write func(io.Writer) error) error {
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
func (f *Begun) named(err error) error {
	var at *fs.PathError
	if errors.As(err, &at) {
		return &fs.PathError{Op: "write", Path: f.path, Err: at.Err}
	}
	return err
}

// Write and Close are for a file that is written bit by bit; Place then puts it where
// it belongs.
func (f *Begun) Write(p []byte) (int, error) { return f.to.Write(p) }

func (f *Begun) Close() error { return nil }

func (f *Begun) Place() error { return f.Finish(func(io.Writer) error { return nil }) }
