package main

import (
	"path/filepath"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/width"

	"resow/medium"
)

// wrap breaks a text into lines of at most most columns; those after the first
// begin with indent. A word that is longer is broken. It ends with a line end.
func wrap(text string, most int, indent string) string {
	var b strings.Builder
	line := text[:len(text)-len(strings.TrimLeft(text, " "))]
	empty := true
	for _, word := range strings.Fields(text) {
		if !empty && columns(line)+1+columns(word) > most {
			b.WriteString(line + "\n")
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		for columns(line)+columns(word) > most {
			head := fitColumns(word, max(2, most-columns(line))) // 2: a wide letter always goes on
			if head == word {
				break
			}
			b.WriteString(line + head + "\n")
			line, word = indent, word[len(head):]
		}
		line += word
		empty = false
	}
	b.WriteString(line + "\n")
	return b.String()
}

// columns is the width of a text on a terminal: a letter of East Asian width
// Wide or Fullwidth takes two columns (Unicode Standard Annex 11), a combining
// mark none.
func columns(text string) int {
	n := 0
	for _, r := range text {
		n += runeColumns(r)
	}
	return n
}

func runeColumns(r rune) int {
	if r <= unicode.MaxASCII {
		return 1
	}
	if unicode.Is(unicode.Mn, r) {
		return 0
	}
	switch width.LookupRune(r).Kind() {
	case width.EastAsianWide, width.EastAsianFullwidth:
		return 2
	}
	return 1
}

// fitColumns is the beginning of a text that fits into n columns.
func fitColumns(text string, n int) string {
	for i, r := range text {
		if n -= runeColumns(r); n < 0 {
			return text[:i]
		}
	}
	return text
}

// cut shortens a text to at most n columns.
func cut(text string, n int) string {
	text = medium.Visible(text)
	if columns(text) <= n {
		return text
	}
	return fitColumns(text, n-1) + "…"
}

// padded is a text in n columns, cut or filled.
func padded(text string, n int) string {
	text = cut(text, n)
	return text + strings.Repeat(" ", max(0, n-columns(text)))
}

// foldExample breaks the lines of an example before a flag, as a shell reads
// them.
func foldExample(example string, most int) string {
	var lines []string
	for line := range strings.SplitSeq(example, "\n") {
		for columns(line) > most {
			head := fitColumns(line, most-2)
			at := strings.LastIndex(head, " --")
			if at < 8 {
				break
			}
			lines = append(lines, line[:at]+" \\")
			line = "      " + line[at+1:]
		}
		lines = append(lines, line)
	}
	return strings.Join(lines, "\n")
}

// foldProse breaks the paragraphs that have a line of more than most columns.
// Lists and tables, whose lines begin with a space, stay as they are.
func foldProse(text string, most int) string {
	paragraphs := strings.Split(text, "\n\n")
	for i, p := range paragraphs {
		set := strings.HasPrefix(p, " ") || strings.Contains(p, "\n ")
		wide := slices.ContainsFunc(strings.Split(p, "\n"), func(line string) bool { return columns(line) > most })
		if wide && !set {
			paragraphs[i] = strings.TrimSuffix(wrap(p, most, ""), "\n")
		}
	}
	return strings.Join(paragraphs, "\n\n")
}

func dirOf(path string) string { return filepath.Dir(path) }
