package ui

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"regexp"
	"sync"
	"time"

	"golang.org/x/term"
)

func Encode(w io.Writer, doc any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(doc)
}

const (
	Green  = "\x1b[1;32m"
	Yellow = "\x1b[1;33m"
	Red    = "\x1b[1;31m"
)

func IsTerminal(w io.Writer) bool {
	f, ok := FileOf(w)
	return ok && term.IsTerminal(int(f.Fd()))
}

func FileOf(w io.Writer) (*os.File, bool) {
	w = Bare(w)
	f, ok := w.(*os.File)
	return f, ok
}

// Terminal is where a command speaks: its text for people or its one document for
// programs, and its errors.
type Terminal struct {
	Out, Err io.Writer
	JSON     bool   // one document instead of a text
	Color    string // auto, always or never
	NoColor  bool   // the environment wants none
	Printed  bool   // the document is out
	Hold     bool   // the document waits until a file is written too
	Held     []byte // that document
	textErr  error  // the first error of a text for people
}

// Remark says something beside the result of a command.
func (t *Terminal) Remark(text string) {
	fmt.Fprint(t.Err, Wrap("resow: "+Brief(text), t.ErrWidth(), "  "))
}

// ErrWidth is the width of a message: a program reads it in one line.
func (t *Terminal) ErrWidth() int {
	if IsTerminal(t.Err) {
		return 79
	}
	return 1000
}

// Print writes the one JSON document of a command, or its text for people.
func (t *Terminal) Print(doc any, text func(w io.Writer)) error {
	if !t.JSON {
		page := bufio.NewWriter(t.Out)
		text(page)
		_ = page.Flush() // an outcome keeps the error
		return t.textErr
	}
	var b bytes.Buffer
	if err := Encode(&b, doc); err != nil {
		return err
	}
	t.Held = b.Bytes()
	if t.Hold {
		return nil
	}
	return t.Release()
}

// Note keeps the first error of a text for people, for print to give back.
func (t *Terminal) Note(err error) {
	if t.textErr == nil {
		t.textErr = err
	}
}

// Release prints the document that was held back.
func (t *Terminal) Release() error {
	t.Hold = false
	if t.Held == nil {
		return nil
	}
	t.Printed = true
	_, err := t.Out.Write(t.Held)
	return err
}

// Paint colours a word on a terminal; the word itself always says all.
func (t *Terminal) Paint(color, word string) string {
	if t.Color == "never" || t.Color == "auto" && (t.NoColor || !IsTerminal(t.Out)) {
		return word
	}
	return Control(t.Out, color) + word + Control(t.Out, "\x1b[0m")
}

// Progress tells on a terminal how far a long work is.
func (t *Terminal) Progress(what string, clock func() time.Time) func(done, total int) {
	if !IsTerminal(t.Err) {
		return nil
	}
	begun := clock()
	shown := begun
	return func(done, total int) {
		now := clock()
		if now.Sub(begun).Seconds() < 1 || total == 0 || done < total && now.Sub(shown).Milliseconds() < 200 {
			return
		}
		shown = now
		left := now.Sub(begun).Seconds() / float64(max(done, 1)) * float64(total-done)
		back := Control(t.Err, "\r")
		end := back
		if done == total {
			end = "\n"
		}
		fmt.Fprintf(t.Err, "%s%s: %d of %d, about %.0f s left   %s", back, what, done, total, left, end)
	}
}

// UsageError is wrong use that only the command itself can see.
type UsageError struct{ text string }

func (e *UsageError) Error() string { return e.text }

// Wrong makes a UsageError.
func Wrong(text string) error { return &UsageError{text} }

// Wrongf is Wrong with figures.
func Wrongf(format string, args ...any) error { return &UsageError{fmt.Sprintf(format, args...)} }

// At first use: to make longWord takes longer than anything else at the start.
var (
	quotedText = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`"(?:[^"\\]|\\.)*"`) })
	longWord   = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`\S{300,}`) })
)

// Brief cuts what somebody typed, or pasted, where a message says it again.
func Brief(text string) string {
	text = quotedText().ReplaceAllStringFunc(text, func(s string) string { return `"` + Cut(s[1:len(s)-1], 60) + `"` })
	return longWord().ReplaceAllStringFunc(text, func(s string) string { return Cut(s, 60) })
}
