package ui

import (
	"bytes"
	"fmt"
	"io"
	"sync"
	"unicode/utf8"

	"resow/medium"
)

// Outcome is standard output, or that of errors. All text for people goes
// through it, and what is unprintable in a text comes out as an escape: names
// come from files, phones and exports that others wrote, and must not move the
// cursor or turn a line round. A JSON document stays the same document. What the
// program itself does to the terminal is marked by control.
//
// It remembers its first error, so that a full disk is not taken for success.
type Outcome struct {
	To   io.Writer
	Own  string // marks what control made; drawn for each run
	Err  error
	mu   sync.Mutex
	rest []byte // the beginning of a character or of a marked sequence
}

// Control marks a sequence that the program itself sends to a terminal.
func Control(w io.Writer, sequence string) string {
	if o, ok := w.(*Outcome); ok {
		return o.mark() + sequence + "\x00"
	}
	return sequence
}

func (o *Outcome) mark() string { return "\x00" + o.Own + "\x00" }

// Bare is the writer behind an outcome, for what is no text.
func Bare(w io.Writer) io.Writer {
	if o, ok := w.(*Outcome); ok {
		return o.To
	}
	return w
}

func (o *Outcome) Write(p []byte) (int, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	text := p
	if len(o.rest) > 0 {
		text = append(o.rest, p...)
		o.rest = nil
	}
	if err := o.put(o.harmless(text)); err != nil {
		return 0, err
	}
	return len(p), nil
}

// End writes what was held back for the rest of a character that never came.
func (o *Outcome) End() {
	o.mu.Lock()
	defer o.mu.Unlock()
	_ = o.put([]byte(medium.Visible(string(o.rest))))
	o.rest = nil
}

func (o *Outcome) put(text []byte) error {
	if len(text) == 0 {
		return nil
	}
	_, err := o.To.Write(text)
	if o.Err == nil && err != nil {
		o.Err = fmt.Errorf("the output can't be written; what was recorded stays recorded: %w", err)
	}
	return err
}

// harmless gives the text with escapes. What it can't judge before more comes it
// keeps.
func (o *Outcome) harmless(text []byte) []byte {
	plain := true
	for _, c := range text {
		plain = plain && (c >= ' ' && c <= '~' || c == '\n' || c == '\t')
	}
	if plain {
		return text
	}
	var out []byte
	mark := []byte(o.mark())
	before := rune(0)
	for len(text) > 0 {
		if n, ok := ownSequence(text, mark); ok && n == 0 || !utf8.FullRune(text) || len(text) == 1 && text[0] == '\r' {
			o.rest = bytes.Clone(text)
			return out
		} else if ok {
			out = append(out, text[len(mark):n-1]...)
			text = text[n:]
			continue
		}
		r, size := utf8.DecodeRune(text)
		switch {
		case r == utf8.RuneError && size == 1:
			out = fmt.Appendf(out, `\x%02x`, text[0])
		case r == '\n' || r == '\t' || r == '\r' && text[1] == '\n':
			out = append(out, text[0])
		case medium.Unprintable(before, r):
			out = medium.AppendVisible(out, r)
		default:
			out = append(out, text[:size]...)
		}
		before, text = r, text[size:]
	}
	return out
}

// ownSequence says whether a text begins with a marked sequence, and how long
// mark, sequence and end are; 0 where the end is still to come.
func ownSequence(text, mark []byte) (n int, ok bool) {
	if text[0] != 0 {
		return 0, false
	}
	if !bytes.HasPrefix(text, mark) {
		return 0, bytes.HasPrefix(mark, text)
	}
	end := bytes.IndexByte(text[len(mark):], 0)
	if end < 0 {
		return 0, true
	}
	return len(mark) + end + 1, true
}
