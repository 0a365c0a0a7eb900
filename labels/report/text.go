package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"unicode"

	"golang.org/x/text/width"
)

// LeastWidth is the narrowest terminal that Text lays out for, in cells.
const LeastWidth = 40

const columnGap = 2

// Text writes a report for a terminal of so many cells, at least LeastWidth.
// Tables wrap long cells; where their words still do not fit, columns go in
// the order of Column.Drop, and a line below the table names them.
func Text(w io.Writer, r Report, cells int) error {
	t := &terminal{cells: max(cells, LeastWidth)}
	r = r.cleaned()
	t.line(r.Title)
	t.line(strings.Repeat("=", int(cellsOf(r.Title))))
	if r.owner() != "" {
		t.para("", r.owner())
	}
	t.para("", r.identity())
	if r.Mark != "" {
		t.para("", "*** "+r.Mark+" ***")
	}
	t.list("In short", r.Summary)
	for _, s := range r.Sections {
		t.section(s)
	}
	t.list("Read this with it", r.Cautions)
	t.list("How this was worked out", r.Method)
	if r.Sign {
		for _, what := range signLines {
			t.line("")
			t.para("", what+":")
			t.line(strings.Repeat("_", min(60, t.cells)))
		}
	}
	_, err := io.WriteString(w, t.b.String())
	return err
}

type terminal struct {
	b     strings.Builder
	cells int
}

func (t *terminal) line(s string) { fmt.Fprintln(&t.b, strings.TrimRight(loose(s), " ")) }

// para wraps a paragraph; lead stands before its first line, and the others
// are indented by as much.
func (t *terminal) para(lead, text string) {
	for i, line := range wrap(text, float64(t.cells-len(lead)), cellsOf) {
		if i > 0 {
			lead = strings.Repeat(" ", len(lead))
		}
		t.line(lead + line)
	}
}

func (t *terminal) list(heading string, items []string) {
	if len(items) == 0 {
		return
	}
	t.line("")
	t.line(heading)
	for _, item := range items {
		t.para("- ", item)
	}
}

func (t *terminal) section(s Section) {
	t.line("")
	t.line(s.Heading)
	t.line(strings.Repeat("-", int(cellsOf(s.Heading))))
	if s.Note != "" {
		t.para("", s.Note)
	}
	for _, text := range s.Captions() {
		t.para("", "(Drawn in the PDF and the page: "+text+")")
	}
	if len(s.Rows) == 0 {
		t.para("", s.Empty)
		return
	}
	s, widths, dropped := t.layOut(s)
	rules := make([]string, len(widths))
	for i, width := range widths {
		rules[i] = strings.Repeat("-", width)
	}
	t.row(s, s.heads(), widths)
	t.row(s, rules, widths)
	for _, row := range s.Rows {
		t.row(s, row, widths)
	}
	if len(dropped) > 0 {
		t.para("", "(not shown at this width: "+list(dropped)+")")
	}
}

// room is what the cells of a table can have beside the gaps between them.
func (t *terminal) room(s Section) float64 {
	return float64(t.cells - columnGap*(len(s.Columns)-1))
}

// longCell is what a column of long cells gets if it can, in cells: narrower
// and sentences stand on end.
const longCell = 20

// layOut leaves out columns of a cleaned section, in their order, until long cells
// have their longCell, and gives the widths of the others and the heads of those
// that went. With no column left to go, whole words must do.
func (t *terminal) layOut(s Section) (kept Section, widths []int, dropped []string) {
	longest, most := measureColumns(s, 18, cellsOf, cellsOf)
	least := make([]float64, len(longest))
	for i := range least {
		least[i] = max(longest[i], min(most[i], longCell))
	}
	for sum(least) > t.room(s) {
		next := nextToDrop(s.Columns)
		if next < 0 {
			least = longest
			break
		}
		dropped = append(dropped, s.Columns[next].Head)
		s.Columns = slices.Delete(s.Columns, next, next+1)
		for _, figures := range []*[]float64{&longest, &least, &most} {
			*figures = slices.Delete(*figures, next, next+1)
		}
		for i, row := range s.Rows {
			s.Rows[i] = slices.Delete(row, next, next+1)
		}
	}
	return s, whole(fitColumns(least, most, t.room(s)), most, int(t.room(s))), dropped
}

func nextToDrop(columns []Column) int {
	next := -1
	for i, c := range columns {
		if c.Drop > 0 && (next < 0 || c.Drop < columns[next].Drop) {
			next = i
		}
	}
	return next
}

// whole rounds widths down to cells, and gives what that leaves over to the
// first columns that would like more.
func whole(widths, most []float64, room int) []int {
	out := make([]int, len(widths))
	for i, w := range widths {
		out[i] = max(1, int(math.Floor(w+1e-9)))
		room -= out[i]
	}
	for i := range out {
		if room > 0 && float64(out[i]) < most[i] {
			out[i]++
			room--
		}
	}
	return out
}

func (t *terminal) row(s Section, cells []string, widths []int) {
	lines := make([][]string, len(cells))
	for i, text := range cells {
		lines[i] = wrap(text, float64(widths[i]), cellsOf)
	}
	for n := range tallest(lines) {
		var parts []string
		for i := range cells {
			text := ""
			if n < len(lines[i]) {
				text = lines[i][n]
			}
			pad := strings.Repeat(" ", max(0, widths[i]-int(cellsOf(text))))
			if s.Columns[i].Right {
				parts = append(parts, pad+text)
			} else {
				parts = append(parts, text+pad)
			}
		}
		t.line(strings.Join(parts, strings.Repeat(" ", columnGap)))
	}
}

// cellsOf is how many cells of a terminal a text takes: none for combining
// marks, two for the wide characters of Unicode Standard Annex 11.
func cellsOf(s string) float64 {
	n := 0
	for _, r := range s {
		switch {
		case r < 0x300 && r != 0xad: // most text, quickly: none of it wide or combining
			n++
		case unicode.In(r, unicode.Mn, unicode.Me, unicode.Cf):
		case wide(r):
			n += 2
		default:
			n++
		}
	}
	return float64(n)
}

func wide(r rune) bool {
	k := width.LookupRune(r).Kind()
	return k == width.EastAsianWide || k == width.EastAsianFullwidth
}
