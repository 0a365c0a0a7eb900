package moving

import (
	"fmt"
	"slices"
	"strings"
)

// headWithin is how many rows may stand above the head.
const headWithin = 20

// findHead makes the columns of a grid: the first row whose cells name fields,
// or are named by the person. Above it stand titles; right under it may stand a
// row of units, or right above it the names of groups of columns.
func (t *Table) findHead(known func(head string) bool) error {
	if t.grid == nil {
		return nil
	}
	head := max(0, slices.IndexFunc(t.grid, func(l Line) bool { return filled(l.Cells) > 1 }))
	most := 0
	for i, l := range t.grid[:min(len(t.grid), headWithin)] {
		n := 0
		for _, c := range l.Cells {
			if c != "" && known(c) {
				n++
			}
		}
		if i == head || n > most+1 { // a word in a row may be the name of a field, too
			head, most = i, n
		}
	}
	if bad := t.grid[head].Bad; bad != "" {
		return &Error{"head of the file", firstText(t.grid[head].Cells), "the names of the columns: " + bad}
	}
	t.Columns = slices.Clone(t.grid[head].Cells)
	rest := t.grid[head+1:]
	above := t.grid[:head]
	if head > 0 && mergedNames(t.grid[head-1].Cells, t.Columns) {
		above = t.grid[:head-1]
		t.Guesses = append(t.Guesses, fmt.Sprintf("lines %d and %d are both taken as the head", t.grid[head-1].N,
			t.grid[head].N))
		for i := range t.Columns {
			if t.Columns[i] == "" && i < len(t.grid[head-1].Cells) {
				t.Columns[i] = t.grid[head-1].Cells[i]
			}
		}
	}
	if len(rest) > 0 && unitsOnly(rest[0].Cells) {
		t.Guesses = append(t.Guesses, fmt.Sprintf("line %d is taken as the units of the columns: %s", rest[0].N,
			firstText(rest[0].Cells)))
		for i, u := range rest[0].Cells {
			if u = strings.Trim(u, "()[] "); u != "" && i < len(t.Columns) {
				t.Columns[i] += " (" + u + ")"
			}
		}
		rest = rest[1:]
	}
	for _, l := range above {
		t.Guesses = append(t.Guesses, fmt.Sprintf("line %d stands above the head and is left out: %s", l.N,
			firstText(l.Cells)))
	}
	t.Rows, t.grid = rest, nil
	t.nameColumns()
	t.leaveOut(head)
	return t.check()
}

// nameColumns gives a name to columns that have none and hold something.
func (t *Table) nameColumns() {
	for len(t.Columns) > 0 && t.Columns[len(t.Columns)-1] == "" && !slices.ContainsFunc(t.Rows, func(l Line) bool {
		return len(l.Cells) >= len(t.Columns) && l.Cells[len(t.Columns)-1] != ""
	}) {
		t.Columns = t.Columns[:len(t.Columns)-1]
	}
	for i, c := range t.Columns {
		if c == "" {
			t.Columns[i] = "column " + columnLetters(i)
		}
	}
}

func columnLetters(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return columnLetters(i/26-1) + string(rune('A'+i%26))
}

func filled(cells []string) (n int) {
	for _, c := range cells {
		if c != "" {
			n++
		}
	}
	return n
}

func firstText(cells []string) string {
	text := strings.Join(strings.FieldsFunc(strings.Join(cells, " "),
		func(r rune) bool { return r == ' ' || r == '\n' }), " ")
	if r := []rune(text); len(r) > 60 {
		return fmt.Sprintf("%q", string(r[:60])+"…")
	}
	return fmt.Sprintf("%q", text)
}

// mergedNames says whether a row over the head completes it: it has names where
// the head has none.
func mergedNames(over, head []string) bool {
	for i, c := range over {
		if c != "" && i < len(head) && head[i] == "" {
			return true
		}
	}
	return false
}

// unitsOnly says whether a row holds units and nothing else.
func unitsOnly(cells []string) bool {
	n := 0
	for _, c := range cells {
		if c == "" {
			continue
		}
		if _, ok := unitNamed(strings.Trim(c, "()[] ")); !ok {
			return false
		}
		n++
	}
	return n > 0
}

// isTotal says whether a row is one of sums or means: the first word says so.
func isTotal(cells []string) bool {
	first := slices.IndexFunc(cells, func(c string) bool { return c != "" })
	return first >= 0 && called("rows", plain(cells[first])) != "" &&
		!slices.ContainsFunc(cells, func(c string) bool { return len(readings(c, 0)) > 0 })
}

// leaveOut takes out what is no row: the head once more, sums, and remarks that
// stand alone on a line. Each is said, to be confirmed.
func (t *Table) leaveOut(above int) {
	var rows []Line
	for _, l := range t.Rows {
		why := ""
		switch {
		case l.Bad != "":
		case slices.Equal(trimmed(l.Cells), trimmed(t.Columns)):
			why = "repeats the head"
		case isTotal(l.Cells):
			why = "is a sum or mean"
		case filled(l.Cells) == 1 && len(t.Columns) > 2 && (!hasCode(l.Cells[0]) || l.Cells[0] == ""):
			why = "holds only a remark"
		}
		if why == "" {
			rows = append(rows, l)
			continue
		}
		t.Guesses = append(t.Guesses, fmt.Sprintf("line %d %s and is left out: %s", l.N, why, firstText(l.Cells)))
	}
	t.Rows = rows
}

func trimmed(cells []string) []string {
	for len(cells) > 0 && cells[len(cells)-1] == "" {
		cells = cells[:len(cells)-1]
	}
	return cells
}

// hasCode says whether a lone cell could be a mat's name: one word with a digit.
func hasCode(cell string) bool {
	return !strings.ContainsAny(cell, " *") && strings.ContainsAny(cell, "0123456789")
}
