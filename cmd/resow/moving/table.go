// Package moving reads mats and past steps out of files that resow did not
// write: spreadsheets saved as CSV, and JSON Lines. table.go reads the file,
// plan.go finds out what its columns mean, and says where it guessed, date.go
// and quantity.go read the cells, step.go makes the steps.
package moving

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Error refuses a file or an option as a whole.
type Error struct{ What, Value, Want string }

func (e *Error) Error() string { return fmt.Sprintf("%s %q: want %s", e.What, e.Value, e.Want) }

// Table is a file as it was read.
type Table struct {
	Columns []string
	Rows    []Line
	Notes   []string // what was found out about the file's form
}

// Line is one row with its line in the file, from 1.
type Line struct {
	N     int
	Cells []string
	Bad   string // why the row can't be read
}

// maxFile bounds a file in bytes.
const maxFile = 64 << 20

// Read reads CSV, with commas, semicolons or tabs, or JSON Lines, one object in
// each line.
func Read(r io.Reader) (Table, error) {
	content, err := io.ReadAll(io.LimitReader(r, maxFile+1))
	if err != nil {
		return Table{}, err
	}
	if len(content) > maxFile {
		return Table{}, &Error{"file", fmt.Sprintf("more than %d MB", maxFile>>20), "a smaller one; split it"}
	}
	content = bytes.TrimPrefix(content, []byte("\ufeff"))
	if len(bytes.TrimSpace(content)) == 0 {
		return Table{}, &Error{"file", "", "rows; it is empty"}
	}
	if bytes.TrimLeft(content, " \t\r\n")[0] == '{' {
		return readLines(content)
	}
	return readCSV(content)
}

func readCSV(content []byte) (Table, error) {
	head, _, _ := bytes.Cut(content, []byte("\n"))
	separator, most := ',', 0
	for _, s := range ",;\t" {
		if n := bytes.Count(head, []byte(string(s))); n > most {
			separator, most = s, n
		}
	}
	c := csv.NewReader(bytes.NewReader(content))
	c.Comma, c.FieldsPerRecord, c.TrimLeadingSpace = separator, -1, true
	var t Table
	if separator != ',' {
		t.Notes = append(t.Notes, fmt.Sprintf("columns are parted by %q", separator))
	}
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil && t.Columns == nil {
			return t, &Error{"head of the file", firstText(head), "the names of the columns: " + err.Error()}
		}
		line := 0
		if len(cells) > 0 {
			line, _ = c.FieldPos(0)
		}
		if err != nil {
			var parse *csv.ParseError
			if errors.As(err, &parse) {
				line = parse.StartLine
			}
			t.Rows = append(t.Rows, Line{N: line, Bad: err.Error()})
			continue
		}
		if t.Columns == nil {
			t.Columns = cells
			continue
		}
		t.add(line, cells)
	}
	return t, t.check()
}

func (t *Table) add(line int, cells []string) {
	empty := true
	for i, c := range cells {
		cells[i] = strings.TrimSpace(c)
		empty = empty && cells[i] == ""
	}
	if empty {
		return
	}
	bad := ""
	if len(cells) > len(t.Columns) {
		bad = fmt.Sprintf("it has %d cells, the head has %d columns", len(cells), len(t.Columns))
	}
	cells = append(cells, make([]string, max(0, len(t.Columns)-len(cells)))...)
	t.Rows = append(t.Rows, Line{N: line, Cells: cells, Bad: bad})
}

func (t *Table) check() error {
	seen := map[string]bool{}
	for _, c := range t.Columns {
		if key := plain(c); key != "" && seen[key] {
			return &Error{"column", c, "each column once; it stands there twice"}
		} else {
			seen[key] = true
		}
	}
	if len(t.Rows) == 0 {
		return &Error{"file", strings.Join(t.Columns, ", "), "rows under the head; there are none"}
	}
	return nil
}

func firstText(b []byte) string { return string(b[:min(len(b), 60)]) }

// readLines reads one object in each line. The columns are all names that
// occur, in the order in which they come.
func readLines(content []byte) (Table, error) {
	var t Table
	at := map[string]int{}
	in := bufio.NewScanner(bytes.NewReader(content))
	in.Buffer(make([]byte, 1<<16), 1<<20)
	for n := 1; in.Scan(); n++ {
		text := bytes.TrimSpace(in.Bytes())
		if len(text) == 0 {
			continue
		}
		names, cells, err := object(text)
		if err != nil {
			t.Rows = append(t.Rows, Line{N: n, Bad: err.Error()})
			continue
		}
		row := make([]string, len(t.Columns))
		for i, name := range names {
			if _, ok := at[name]; !ok {
				at[name] = len(t.Columns)
				t.Columns = append(t.Columns, name)
				row = append(row, "")
			}
			row[at[name]] = cells[i]
		}
		t.Rows = append(t.Rows, Line{N: n, Cells: row})
	}
	if err := in.Err(); err != nil {
		return t, &Error{"file", "", "lines of at most 1 MB: " + err.Error()}
	}
	for i := range t.Rows {
		t.Rows[i].Cells = append(t.Rows[i].Cells, make([]string, max(0, len(t.Columns)-len(t.Rows[i].Cells)))...)
	}
	return t, t.check()
}

// object reads the names and values of a flat object in their order.
func object(text []byte) (names, cells []string, err error) {
	d := json.NewDecoder(bytes.NewReader(text))
	d.UseNumber()
	if open, err := d.Token(); err != nil || open != json.Delim('{') {
		return nil, nil, errors.New("it is no JSON object")
	}
	for d.More() {
		name, err := d.Token()
		if err != nil {
			return nil, nil, err
		}
		value, err := d.Token()
		if err != nil {
			return nil, nil, err
		}
		cell := ""
		switch v := value.(type) {
		case string:
			cell = strings.TrimSpace(v)
		case json.Number:
			cell = v.String()
		case bool:
			cell = strconv.FormatBool(v)
		case nil:
		default:
			return nil, nil, fmt.Errorf("%v holds a list or an object; give it a plain value", name)
		}
		names, cells = append(names, name.(string)), append(cells, cell)
	}
	if _, err := d.Token(); err != nil {
		return nil, nil, err
	}
	if d.More() {
		return nil, nil, errors.New("something follows the object")
	}
	return names, cells, nil
}

// plain brings a name to one spelling: small letters, single spaces, no signs of
// money; a # stands for "no".
func plain(s string) string {
	s = strings.NewReplacer("_", " ", "-", " ", ".", " ", "/", " ", "#", " no ", "$", " ", "€", " ", "£", " ", "\ufeff", "").Replace(strings.ToLower(s))
	return strings.Join(strings.Fields(s), " ")
}
