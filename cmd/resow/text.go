package main

import (
	"path/filepath"
	"strings"
	"unicode/utf8"
)

// wrap breaks a text into lines of at most width characters; those after the
// first begin with indent. It ends with a line end.
func wrap(text string, width int, indent string) string {
	var b strings.Builder
	line := text[:len(text)-len(strings.TrimLeft(text, " "))]
	empty := true
	for _, word := range strings.Fields(text) {
		if !empty && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > width {
			b.WriteString(line + "\n")
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		line += word
		empty = false
	}
	b.WriteString(line + "\n")
	return b.String()
}

// cut shortens a text to at most n characters.
func cut(text string, n int) string {
	if utf8.RuneCountInString(text) <= n {
		return text
	}
	return string([]rune(text)[:n-1]) + "…"
}

func dirOf(path string) string { return filepath.Dir(path) }
