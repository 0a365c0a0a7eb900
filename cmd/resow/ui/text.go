package ui

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/width"

	"resow/medium"
)

// Some lists the first few texts.
func Some(texts []string, most int) string {
	if len(texts) <= most {
		return strings.Join(texts, "; ")
	}
	return fmt.Sprintf("%s; and %d more", strings.Join(texts[:most], "; "), len(texts)-most)
}

func UpperFirst(s string) string {
	r := []rune(s)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
}

func Counted(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}

// oneLine keeps a name in its line: with a line end in it, it could make lines that
// look like others.
var oneLine = strings.NewReplacer("\r", `\u000d`, "\n", `\u000a`)

// Column prints a text in what is left of the line behind lead.
func Column(lead, text string, width int) string {
	lead = oneLine.Replace(lead)
	pad := strings.Repeat(" ", Columns(lead))
	lines := strings.Split(strings.TrimSuffix(Wrap(text, width-len(pad), ""), "\n"), "\n")
	return lead + strings.Join(lines, "\n"+pad) + "\n"
}

// Say prints a sentence; where it takes several lines, those after the first are
// indented.
func Say(w io.Writer, format string, args ...any) {
	fmt.Fprint(w, Wrap(fmt.Sprintf(format, args...), lineWidth, "  "))
}

// Tell prints a paragraph.
func Tell(w io.Writer, format string, args ...any) {
	fmt.Fprint(w, Wrap(fmt.Sprintf(format, args...), lineWidth, ""))
}

// Item prints a text in what is left of the line behind lead.
func Item(w io.Writer, lead, text string) { fmt.Fprint(w, Column(lead, text, lineWidth)) }

// lineWidth is that of a terminal of 80 columns, the last of which stays empty.
const lineWidth = 79

// OrList writes choices as a sentence does: none, traces or roots.
func OrList(words []string) string {
	n := len(words) - 1
	return strings.Join(words[:n], ", ") + " or " + words[n]
}

// Wrap breaks a text into lines of at most most columns; those after the first
// begin with indent. A word that is longer is broken. It ends with a line end.
func Wrap(text string, most int, indent string) string {
	var b strings.Builder
	line := text[:len(text)-len(strings.TrimLeft(text, " "))]
	empty := true
	for _, word := range strings.Fields(text) {
		if !empty && Columns(line)+1+Columns(word) > most {
			b.WriteString(line + "\n")
			line, empty = indent, true
		}
		if !empty {
			line += " "
		}
		for Columns(line)+Columns(word) > most {
			head := fitColumns(word, max(2, most-Columns(line))) // 2: a wide letter always goes on
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

// Columns is the width of a text on a terminal: a letter of East Asian width
// Wide or Fullwidth takes two columns (Unicode Standard Annex 11), a combining
// mark none.
func Columns(text string) int {
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

// Cut shortens a text to at most n columns.
func Cut(text string, n int) string {
	text = medium.Visible(text)
	if Columns(text) <= n {
		return text
	}
	return fitColumns(text, n-1) + "…"
}

// Padded is a text in n columns, cut or filled.
func Padded(text string, n int) string {
	text = Cut(text, n)
	return text + strings.Repeat(" ", max(0, n-Columns(text)))
}

// FoldExample breaks the lines of an example before a flag, as a shell reads
// them.
func FoldExample(example string, most int) string {
	var lines []string
	for line := range strings.SplitSeq(example, "\n") {
		for Columns(line) > most {
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

// FoldProse breaks the paragraphs that have a line of more than most columns.
// Lists and tables, whose lines begin with a space, stay as they are.
func FoldProse(text string, most int) string {
	paragraphs := strings.Split(text, "\n\n")
	for i, p := range paragraphs {
		set := strings.HasPrefix(p, " ") || strings.Contains(p, "\n ")
		wide := slices.ContainsFunc(strings.Split(p, "\n"), func(line string) bool { return Columns(line) > most })
		if wide && !set {
			paragraphs[i] = strings.TrimSuffix(Wrap(p, most, ""), "\n")
		}
	}
	return strings.Join(paragraphs, "\n\n")
}

// Quoted gives a name as it is typed in a shell.
func Quoted(name string) string {
	if name != "" && strings.Trim(name, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789._-") == "" &&
		name[0] != '-' {
		return name
	}
	return "'" + strings.ReplaceAll(name, "'", `'\''`) + "'"
}
