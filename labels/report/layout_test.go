package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"pgregory.net/rapid"
)

// Wrapping loses nothing, and no line is too wide but for a single character.
func TestWrapKeepsTheText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := clean(rapid.String().Draw(t, "text"))
		room := float64(rapid.IntRange(1, 30).Draw(t, "width"))
		lines := wrap(text, room, cellsOf)
		if got, want := strings.ReplaceAll(strings.Join(lines, ""), " ", ""), strings.ReplaceAll(text, " ", ""); got != want {
			t.Fatalf("%q became %q", want, got)
		}
		for _, line := range lines {
			if cellsOf(line) > max(room, 2) && len([]rune(line)) > 1 && breakWord(line, room, cellsOf) < len(line) {
				t.Fatalf("%q is %v wide, the room is %v", line, cellsOf(line), room)
			}
		}
	})
}

func TestFitColumnsFillsButNeverOverflows(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "columns")
		least, most := make([]float64, n), make([]float64, n)
		for i := range n {
			least[i] = rapid.Float64Range(0.5, 20).Draw(t, "least")
			most[i] = least[i] + rapid.Float64Range(0, 100).Draw(t, "more")
		}
		total := rapid.Float64Range(10, 300).Draw(t, "total")
		widths := fitColumns(least, most, total)
		if got, want := sum(widths), min(total, sum(most)); got > want+1e-6 || (sum(least) <= total && got < want-1e-6) {
			t.Fatalf("%v in all, want %v", got, want)
		}
		for i, w := range widths {
			if w > most[i]+1e-9 || (sum(least) <= total && w < least[i]-1e-9) {
				t.Fatalf("column %d is %v, outside %v to %v", i, w, least[i], most[i])
			}
		}
	})
}

func TestTextStaysWithinTheTerminal(t *testing.T) {
	names := []string{"Grünhof Süd", "農場の長い名前の網", "ферма у реки", "חווה ירוקה", "مزرعة", "x", "a-very-long-name-without-any-space-at-all-in-it-0123456789", "🌱🌱"}
	rapid.Check(t, func(t *rapid.T) {
		cells := rapid.IntRange(0, 140).Draw(t, "cells")
		word := rapid.SampledFrom(names)
		r := Report{Title: word.Draw(t, "title"), Farm: word.Draw(t, "farm"), Summary: []string{word.Draw(t, "said")}, Sign: true}
		s := Section{Heading: "Table"}
		for i := range rapid.IntRange(1, 6).Draw(t, "columns") {
			s.Columns = append(s.Columns, Column{Head: word.Draw(t, "head"), Right: i%2 == 1, Drop: i})
		}
		for range rapid.IntRange(0, 4).Draw(t, "rows") {
			var row []string
			for range s.Columns {
				row = append(row, strings.Join(rapid.SliceOfN(word, 0, 4).Draw(t, "cell"), " "))
			}
			s.Rows = append(s.Rows, row)
		}
		r.Sections = []Section{s}
		var b strings.Builder
		if err := Text(&b, r, cells); err != nil {
			t.Fatal(err)
		}
		for _, line := range strings.Split(b.String(), "\n") {
			if int(cellsOf(line)) > max(cells, LeastWidth) && !strings.HasPrefix(line, "=") && line != r.Title {
				t.Fatalf("%q is %v wide in a terminal of %d", line, cellsOf(line), cells)
			}
		}
	})
}

func TestColumnsDropInTheirOrder(t *testing.T) {
	s := Section{Heading: "T", Columns: []Column{{Head: "stays"}, {Head: "second", Drop: 2}, {Head: "first", Drop: 1}, {Head: "third", Drop: 3}},
		Rows: [][]string{{strings.Repeat("a", 18), strings.Repeat("b", 18), strings.Repeat("c", 18), strings.Repeat("d", 18)}}}
	for cells, want := range map[int]string{100: "", 70: "(not shown at this width: first)", 50: "(not shown at this width: first and second)"} {
		var b strings.Builder
		require.NoError(t, Text(&b, Report{Title: "R", Sections: []Section{s}}, cells))
		if want == "" {
			require.NotContains(t, b.String(), "not shown", cells)
			continue
		}
		require.Contains(t, b.String(), want, cells)
	}
}

func TestCellsOfATerminal(t *testing.T) {
	for s, want := range map[string]float64{"abc": 3, "農場": 4, "e\u0301": 1, "ﾊ": 1, "": 0, "🌱": 2} {
		require.Equal(t, want, cellsOf(s), s)
	}
}
