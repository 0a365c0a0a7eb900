package ui

import (
	"bytes"
	"iter"
	"testing"

	"github.com/stretchr/testify/require"
)

// A text comes out the same however it is cut into writes, and what the program
// marks as its own goes through.
func TestOutcomeIsHarmless(t *testing.T) {
	for text, want := range map[string]string{
		"plain\n":                        "plain\n",
		"Füße 大根\r\n":                    "Füße 大根\r\n",
		"a\x1b[2Jb\rc\x00d\u202ee\u009b": `a\u001b[2Jb\u000dc\u0000d\u202ee\u009b`,
		"bad\xff, cut\xe2\x82":           `bad\xff, cut\xe2\x82`,
		"\x00wrong\x00\x1b[31m\x00":      `\u0000wrong\u0000\u001b[31m\u0000`,
		"\r":                             `\u000d`,
	} {
		for size := 1; size <= len(text); size++ {
			var b bytes.Buffer
			o := &Outcome{To: &b, Own: "own"}
			for part := range chunks(text, size) {
				n, err := o.Write([]byte(part))
				require.NoError(t, err)
				require.Equal(t, len(part), n)
			}
			o.End()
			require.Equal(t, want, b.String(), "%q in writes of %d", text, size)
		}
	}
	var b bytes.Buffer
	o := &Outcome{To: &b, Own: "own"}
	text := Control(o, Red) + "ü" + Control(o, "\x1b[0m") + "\x1b"
	for part := range chunks(text, 3) {
		_, _ = o.Write([]byte(part))
	}
	o.End()
	require.Equal(t, Red+"ü\x1b[0m\\u001b", b.String())
}

func chunks(text string, size int) iter.Seq[string] {
	return func(yield func(string) bool) {
		for len(text) > 0 {
			n := min(size, len(text))
			if !yield(text[:n]) {
				return
			}
			text = text[n:]
		}
	}
}
