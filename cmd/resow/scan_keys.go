package main

import (
	"strings"
	"time"
	"unicode/utf8"

	"resow/labels"
)

const (
	// scannerGap is the longest time between two keys that counts as a scanner's
	// typing, and burstKeys how many such keys a burst has: a scanner types ten
	// characters in half a second, a person does not (common practice, no source).
	scannerGap = 60 * time.Millisecond
	burstKeys  = 4
	// scanPause ends a scan of a scanner that sends no Enter and no Tab; handPause
	// ends a line that a person began and left (common practice, no source).
	scanPause = 150 * time.Millisecond
	handPause = 10 * time.Second
	// maxTyped is where a line without an end is cut, in bytes.
	maxTyped = 600
)

// The keys that end the loop or take back a character.
const (
	keyCtrlC     = 0x03
	keyCtrlD     = 0x04
	keyBackspace = 0x08
	keyDelete    = 0x7f
)

// typed collects keys to lines. A line ends with Enter or Tab in any form, or
// with a pause.
type typed struct {
	buffer string
	last   time.Time
	slow   bool // a key came later than scannerGap after the one before
}

// feed takes keys and gives the lines that they complete; empty lines are
// dropped. Stop says that the loop shall end.
func (t *typed) feed(keys []byte, now time.Time) (lines []string, stop bool) {
	if t.buffer != "" && now.Sub(t.last) > scannerGap {
		t.slow = true
	}
	t.last = now
	for _, k := range keys {
		switch k {
		case '\r', '\n', '\t':
			lines = append(lines, t.rest()...)
		case keyCtrlC, keyCtrlD:
			return lines, true
		case keyBackspace, keyDelete:
			_, size := utf8.DecodeLastRuneInString(t.buffer)
			t.buffer = t.buffer[:len(t.buffer)-size]
		default:
			t.buffer += string([]byte{k})
			if len(t.buffer) >= maxTyped {
				lines = append(lines, t.rest()...)
			}
		}
	}
	return lines, false
}

// pause is how long to wait until the line counts as complete, 0 for no line.
func (t *typed) pause() time.Duration {
	if strings.TrimSpace(t.buffer) == "" {
		return 0
	}
	if _, err := labels.Read(t.buffer); err == nil || !t.slow && len(t.buffer) >= burstKeys {
		return scanPause
	}
	return handPause
}

// rest gives the line as far as it was typed, and begins a new one.
func (t *typed) rest() []string {
	line := strings.TrimSpace(t.buffer)
	t.buffer, t.slow = "", false
	if line == "" {
		return nil
	}
	return []string{line}
}
