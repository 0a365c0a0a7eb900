package report

import (
	"cmp"
	"slices"
	"strings"

	"resow/labels/lettering"
)

// fitColumns shares total among columns. Every column gets what it needs to
// keep its words whole (least). What is left goes to all in equal parts, but to
// none more than its longest line would fill (most): so short columns stay on
// one line, and only the long ones wrap. Where not even the least fits, all
// columns shrink by the same share and words are broken. Any one unit.
func fitColumns(least, most []float64, total float64) []float64 {
	widths := slices.Clone(least)
	left := total - sum(least)
	if left < 0 {
		for i := range widths {
			widths[i] *= total / sum(least)
		}
		return widths
	}
	order := make([]int, len(least))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(most[a]-least[a], most[b]-least[b]) })
	for n, i := range order {
		grow := min(most[i]-least[i], left/float64(len(order)-n))
		widths[i] += grow
		left -= grow
	}
	return widths
}

func sum(values []float64) float64 {
	total := 0.0
	for _, v := range values {
		total += v
	}
	return total
}

// wrap breaks cleaned text at spaces into lines of at most width by measure. A
// word that is wider than a line is broken between characters, never before a
// mark that belongs to the character ahead of it.
func wrap(text string, width float64, measure func(string) float64) []string {
	var lines []string
	line := ""
	for _, word := range spaced(text) {
		joined := word
		if line != "" {
			joined = line + " " + word
		}
		if measure(joined) <= width {
			line = joined
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for measure(word) > width {
			head := breakWord(word, width, measure)
			if head == len(word) {
				break
			}
			lines = append(lines, word[:head])
			word = word[head:]
		}
		line = word
	}
	return append(lines, line)
}

// oneLine cuts what goes beyond one line.
func oneLine(text string, width float64, measure func(string) float64) string {
	if measure(text) <= width {
		return text
	}
	return wrap(text, width-measure("…"), measure)[0] + "…"
}

// breakWord is how many bytes of a word fit, at least one character with its
// marks.
func breakWord(word string, width float64, measure func(string) float64) int {
	fits := 0
	for _, letter := range lettering.Letters(word) {
		next := fits + len(letter)
		if fits > 0 && measure(word[:next]) > width {
			return fits
		}
		fits = next
	}
	return fits
}

// spaced splits a text at its plain spaces.
func spaced(text string) []string {
	return strings.FieldsFunc(text, func(r rune) bool { return r == ' ' })
}

// measureColumns gives the least and the most width of every column. No word
// counts for more than wordMost in the least width.
func measureColumns(s Section, wordMost float64, head, cell func(string) float64) (least, most []float64) {
	least, most = make([]float64, len(s.Columns)), make([]float64, len(s.Columns))
	take := func(i int, text string, measure func(string) float64) {
		most[i] = max(most[i], measure(text))
		for _, word := range spaced(text) {
			least[i] = max(least[i], min(measure(word), wordMost))
		}
	}
	for i, c := range s.Columns {
		take(i, c.Head, head)
	}
	for _, row := range s.Rows {
		for i, text := range row {
			take(i, text, cell)
		}
	}
	return least, most
}
