// Package moving reads mats and past steps out of files that resow did not
// write: CSV, XLSX, JSON Lines and JSON arrays. table.go and xlsx.go read the
// file, head.go finds its head and what is no row, words.go holds the words that
// people use, plan.go finds out what the columns mean, and asks where a cell has
// two readings, number.go, date.go and measure.go read the cells, step.go makes
// the steps.
package moving

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"

	"resow/store"
)

// Error refuses a file or an option as a whole.
type Error struct{ What, Value, Want string }

func (e *Error) Error() string { return fmt.Sprintf("%s %q: want %s", e.What, e.Value, e.Want) }

// Table is a file as it was read.
type Table struct {
	Columns []string
	Rows    []Line
	Notes   []string // what was found out about the file's form
	Guesses []string // the same, to be confirmed
	grid    []Line   // where the head is still to be found
}

// Line is one row with its line in the file, from 1.
type Line struct {
	N     int
	Cells []string
	Exact []bool // the file itself says that the cell is a number or a day; nil: none
	Bad   string // why the row can't be read
}

// Bounds of a file. A person's spreadsheet is far below; a damaged or hostile
// one must not take the machine.
const (
	maxFile    = 64 << 20 // bytes
	maxRows    = 200_000
	maxColumns = 200
	maxCell    = 5000 // bytes
)

const saveAs = "the table saved as CSV UTF-8 (in the spreadsheet: Save as, CSV UTF-8)"

// others are files that are no tables that resow reads, by how they begin.
var others = []struct{ begin, name string }{
	{"\xd0\xcf\x11\xe0", "an old spreadsheet (.xls)"}, {"%PDF", "a PDF"}, {"{\\rtf", "a text document"},
	{"<", "a web page or XML"},
	{"\xff\xfe\x00\x00", "UTF-32 text"}, {"\x00\x00\xfe\xff", "UTF-32 text"}, {"\x1f\x8b", "a compressed file"},
	{"\x89PNG", "a picture"}, {"\xff\xd8", "a picture"},
}

// Read reads a table: CSV with commas, semicolons, tabs or bars, XLSX, JSON
// Lines with one object in each line, or a JSON array of objects. sheet names
// the sheet of a workbook; empty: the only one.
func Read(r io.Reader, sheet string) (Table, error) {
	content, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return Table{}, err
	}
	if len(content) > maxFile {
		return Table{}, &Error{"file", fmt.Sprintf("more than %d MB", maxFile>>20), "a smaller one; split it"}
	}
	for _, o := range others {
		if bytes.HasPrefix(content, []byte(o.begin)) {
			return Table{}, &Error{"file", o.name, saveAs}
		}
	}
	if bytes.HasPrefix(content, []byte("PK\x03\x04")) {
		return readXLSX(content, sheet)
	}
	if sheet != "" {
		return Table{}, &Error{"--sheet", sheet, "a workbook (.xlsx); this file has no sheets, leave it out"}
	}
	var t Table
	if content, err = t.decode(content); err != nil {
		return t, err
	}
	begin := bytes.TrimLeft(content, " \t\r\n")
	switch {
	case len(begin) == 0:
		return t, &Error{"file", "", "rows; it is empty"}
	case begin[0] == '{':
		err = t.readLines(content)
	case begin[0] == '[':
		err = t.readArray(content)
	default:
		err = t.readCSV(content)
	}
	return t, err
}

// decode brings a file to UTF-8 with lines that end in LF, and says what it was.
func (t *Table) decode(content []byte) ([]byte, error) {
	order, marked := unicode.BigEndian, true
	switch {
	case bytes.HasPrefix(content, []byte("\xff\xfe")):
		order = unicode.LittleEndian
	case bytes.HasPrefix(content, []byte("\xfe\xff")):
	default:
		marked = false
		even, odd := 0, 0 // zero bytes: half of all bytes of Latin text in UTF-16
		for i, b := range content[:min(len(content), 4096)] {
			if b == 0 && i%2 == 0 {
				even++
			} else if b == 0 {
				odd++
			}
		}
		if n := min(len(content), 4096); (even+odd)*4 < n || n == 0 {
			return t.eightBits(content)
		}
		if odd > even {
			order = unicode.LittleEndian
		}
	}
	text, err := unicode.UTF16(order, unicode.UseBOM).NewDecoder().Bytes(content)
	if !marked {
		text, err = unicode.UTF16(order, unicode.IgnoreBOM).NewDecoder().Bytes(content)
	}
	if err != nil || len(content)%2 == 1 || bytes.ContainsRune(text, utf8.RuneError) {
		return nil, &Error{"file", "damaged UTF-16 text", saveAs}
	}
	t.Notes = append(t.Notes, "the file is in UTF-16")
	return t.lineEnds(text)
}

func (t *Table) eightBits(content []byte) ([]byte, error) {
	content = bytes.TrimPrefix(content, []byte("\ufeff"))
	if utf8.Valid(content) {
		return t.lineEnds(content)
	}
	text, err := charmap.Windows1252.NewDecoder().Bytes(content)
	if err != nil || bytes.ContainsRune(text, utf8.RuneError) {
		return nil, &Error{"file", "text that is neither UTF-8 nor Windows-1252", saveAs}
	}
	example := ""
	for _, word := range bytes.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" \t\r\n;,|\"", r) }) {
		if example == "" && bytes.ContainsFunc(word, func(r rune) bool { return r >= utf8.RuneSelf }) {
			example = string(word[:min(len(word), 40)])
		}
	}
	t.Guesses = append(t.Guesses,
		fmt.Sprintf("the file is not in UTF-8: it is read as Windows-1252, which gives %q, for example (if that is "+
			"wrong, save it as CSV UTF-8)", example))
	return t.lineEnds(text)
}

func (t *Table) lineEnds(text []byte) ([]byte, error) {
	if i := bytes.IndexByte(text, 0); i >= 0 {
		return nil, &Error{"file", fmt.Sprintf("a zero byte in line %d", 1+bytes.Count(text[:i], []byte("\n"))), saveAs}
	}
	if bytes.IndexByte(text, '\n') < 0 && bytes.IndexByte(text, '\r') >= 0 {
		t.Notes = append(t.Notes, "lines end with CR alone, as old Macs wrote them")
		return bytes.ReplaceAll(text, []byte("\r"), []byte("\n")), nil
	}
	return text, nil
}

// separators that part columns. A line that says "sep=;" comes before all.
const separators = ",;\t|"

// separator finds what parts the columns: with the right one, most lines have
// the same number of cells.
func separator(content []byte) rune {
	best, fits := ',', 0
	for _, s := range separators {
		counts := map[int]int{}
		n, lines, quoted := 0, 0, false
		for _, b := range content[:min(len(content), 1<<16)] {
			switch {
			case b == '"':
				quoted = !quoted
			case quoted:
			case rune(b) == s:
				n++
			case b == '\n':
				counts[n]++
				n, lines = 0, lines+1
			}
		}
		counts[n]++
		for cells, same := range counts {
			if score := same*100*min(cells, 1) + cells; cells > 0 && score > fits {
				best, fits = s, score
			}
		}
	}
	return best
}

func (t *Table) readCSV(content []byte) error {
	skipped, comma := 0, rune(0)
	head, rest, _ := bytes.Cut(content, []byte("\n"))
	if sep := bytes.Trim(head, "\r\" "); len(sep) == 5 && strings.EqualFold(string(sep[:4]), "sep=") {
		comma, content, skipped = rune(sep[4]), rest, 1
	} else {
		comma = separator(content)
	}
	if !strings.ContainsRune(separators, comma) {
		return &Error{"separator", string(comma), "a comma, a semicolon, a tab or a bar between the columns"}
	}
	c := csv.NewReader(bytes.NewReader(content))
	c.Comma, c.FieldsPerRecord, c.TrimLeadingSpace = comma, -1, comma != '\t'
	if comma != ',' {
		t.Notes = append(t.Notes, fmt.Sprintf("columns are separated by %q", comma))
	}
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			return t.bounds()
		}
		line := Line{Cells: cells}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			line.N, line.Bad = parse.StartLine+skipped, "its quotes can't be read: "+parse.Err.Error()
		} else if err != nil {
			return err
		} else if len(cells) > 0 {
			line.N, _ = c.FieldPos(0)
			line.N += skipped
		}
		if !t.put(line) {
			return t.bounds()
		}
	}
}

// put adds a row of the grid, and says whether there is room for more.
func (t *Table) put(line Line) bool {
	empty := line.Bad == ""
	for i, c := range line.Cells {
		line.Cells[i] = strings.TrimSpace(c)
		empty = empty && line.Cells[i] == ""
		if len(c) > maxCell && line.Bad == "" {
			line.Bad = fmt.Sprintf("a cell of it has %d bytes; at most %d are taken (a quote that is never closed makes "+
				"one cell of many)", len(c), maxCell)
		}
	}
	if !empty {
		t.grid = append(t.grid, line)
	}
	return len(t.grid) <= maxRows+50
}

func (t *Table) bounds() error {
	if len(t.grid) > maxRows {
		return &Error{"file", fmt.Sprintf("more than %d rows", maxRows), "fewer; split it"}
	}
	for _, l := range t.grid {
		if len(l.Cells) > maxColumns {
			return &Error{"line " + strconv.Itoa(l.N), fmt.Sprintf("%d columns", len(l.Cells)),
				fmt.Sprintf("at most %d", maxColumns)}
		}
	}
	return nil
}

// readLines reads one object in each line. The columns are all names that
// occur, in the order in which they come.
func (t *Table) readLines(content []byte) error {
	in := bufio.NewScanner(bytes.NewReader(content))
	in.Buffer(make([]byte, 1<<16), 1<<20)
	for n := 1; in.Scan(); n++ {
		if text := bytes.TrimSpace(in.Bytes()); len(text) > 0 {
			if err := t.addObject(n, text); err != nil {
				return err
			}
		}
	}
	if err := in.Err(); err != nil {
		return &Error{"file", "", "lines of at most 1 MB: " + err.Error()}
	}
	return t.check()
}

func (t *Table) readArray(content []byte) error {
	d := json.NewDecoder(bytes.NewReader(content))
	_, _ = d.Token() // the bracket that was seen
	n, counted := 1, int64(0)
	line := func() int { // counts on from where it last was
		n += bytes.Count(content[counted:d.InputOffset()], []byte("\n"))
		counted = d.InputOffset()
		return n
	}
	for d.More() {
		var text json.RawMessage
		n := line()
		if err := d.Decode(&text); err != nil {
			return &Error{"line " + strconv.Itoa(n), "", "a JSON array of objects: " + err.Error()}
		}
		if err := t.addObject(line(), text); err != nil {
			return err
		}
	}
	if _, err := d.Token(); err != nil {
		return &Error{"line " + strconv.Itoa(line()), "", "the end of the JSON array: " + err.Error()}
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return &Error{"line " + strconv.Itoa(line()), "", "nothing after the JSON array; one array in a file"}
	}
	return t.check()
}

// addObject adds a row, and refuses one beyond the bounds at once, since each
// row is as wide as all names before it.
func (t *Table) addObject(n int, text []byte) error {
	if len(t.Rows) >= maxRows {
		return &Error{"file", fmt.Sprintf("more than %d rows", maxRows), "fewer; split it"}
	}
	line, names, err := object(text)
	if err != nil {
		t.Rows = append(t.Rows, Line{N: n, Bad: err.Error()})
		return nil
	}
	cells, exact := make([]string, len(t.Columns)), make([]bool, len(t.Columns))
	for i, name := range names {
		at := slices.Index(t.Columns, name)
		if at < 0 && len(t.Columns) >= maxColumns {
			return &Error{"line " + strconv.Itoa(n), fmt.Sprintf("more than %d names", maxColumns),
				fmt.Sprintf("at most %d names in all objects together", maxColumns)}
		}
		if at < 0 {
			at, t.Columns = len(t.Columns), append(t.Columns, name)
			cells, exact = append(cells, ""), append(exact, false)
		}
		cells[at], exact[at] = line.Cells[i], line.Exact[i]
	}
	t.Rows = append(t.Rows, Line{N: n, Cells: cells, Exact: exact})
	return nil
}

// object reads the names and values of a flat object in their order.
func object(text []byte) (line Line, names []string, err error) {
	err = store.Members(text, func(name string, value json.RawMessage) error {
		if len(names) >= maxColumns {
			return fmt.Errorf("it has more than %d names", maxColumns)
		}
		cell, exact := string(value), false
		switch value[0] {
		case '"':
			if err := json.Unmarshal(value, &cell); err != nil {
				return err
			}
			cell = strings.TrimSpace(cell)
		case 't':
			cell = "yes"
		case 'f':
			cell = "no"
		case 'n':
			cell = ""
		case '[', '{':
			return fmt.Errorf("%v holds a list or an object; give it a plain value", name)
		default:
			exact = true
		}
		if len(cell) > maxCell {
			return fmt.Errorf("%v has %d bytes; at most %d are taken", name, len(cell), maxCell)
		}
		names, line.Cells, line.Exact = append(names, name), append(line.Cells, cell), append(line.Exact, exact)
		return nil
	})
	return line, names, err
}

// check refuses a table without rows or with a name twice, and makes all rows
// as long as the head.
func (t *Table) check() error {
	seen := map[string]bool{}
	spelling := plain
	if IsOwn(*t) { // made_at and made.at are two
		spelling = func(name string) string { return name }
	}
	for _, c := range t.Columns {
		if key := spelling(c); key != "" && seen[key] {
			return &Error{"column", c, "each column once; it stands there twice: give one of them another name"}
		} else {
			seen[key] = true
		}
	}
	if len(t.Rows) == 0 {
		return &Error{"file", strings.Join(t.Columns, ", "), "rows under the head; there are none"}
	}
	for i := range t.Rows {
		r := &t.Rows[i]
		if len(r.Cells) > len(t.Columns) && r.Bad == "" && strings.Join(r.Cells[len(t.Columns):], "") != "" {
			r.Bad = fmt.Sprintf("it has %d cells, the head has %d columns; a cell with a comma in it, such as 1,5, needs "+
				"quotes round it (or save the table with semicolons)", len(r.Cells), len(t.Columns))
		}
		r.Cells = append(r.Cells, make([]string, max(0, len(t.Columns)-len(r.Cells)))...)[:len(t.Columns)]
		r.Exact = append(r.Exact, make([]bool, max(0, len(t.Columns)-len(r.Exact)))...)[:len(t.Columns)]
	}
	return nil
}

// plain brings a name to one spelling: small letters, single spaces, no signs of
// money; a # stands for "no".
func plain(s string) string {
	s = strings.NewReplacer("_", " ", "-", " ", ".", " ", "/", " ", ":", " ", "\n", " ", "#", " no ", "$", " ", "€", " ",
		"£", " ", "\ufeff", "").Replace(strings.ToLower(s))
	return strings.Join(strings.Fields(s), " ")
}
