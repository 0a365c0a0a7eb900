package ui

import (
	"regexp"
	"sync"
)

// UsageError is wrong use that only the command itself can see.
type UsageError struct{ text string }

func (e *UsageError) Error() string { return e.text }

// Wrong makes a UsageError.
func Wrong(text string) error { return &UsageError{text} }

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
