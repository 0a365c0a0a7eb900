package moving

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"strconv"
	"strings"
	"time"
)

// The parts of a workbook (ECMA-376 part 1, SpreadsheetML) that a table needs:
// its sheets, their cells, the shared texts, and which styles are days. Written
// here since a library for all of XLSX is many times the size of this program's
// own packages, and reads much that a table must not obey.
type (
	workbook struct {
		Properties struct {
			Date1904 string `xml:"date1904,attr"`
		} `xml:"workbookPr"`
		Sheets []struct {
			Name  string `xml:"name,attr"`
			State string `xml:"state,attr"`
			ID    string `xml:"http://schemas.openxmlformats.org/officeDocument/2006/relationships id,attr"`
		} `xml:"sheets>sheet"`
	}
	relations struct {
		List []struct {
			ID     string `xml:"Id,attr"`
			Target string `xml:"Target,attr"`
		} `xml:"Relationship"`
	}
	richText struct {
		T string   `xml:"t"`
		R []string `xml:"r>t"`
	}
	styles struct {
		Formats []struct {
			ID   int    `xml:"numFmtId,attr"`
			Code string `xml:"formatCode,attr"`
		} `xml:"numFmts>numFmt"`
		Cells []struct {
			Format int `xml:"numFmtId,attr"`
		} `xml:"cellXfs>xf"`
	}
	sheetCell struct {
		Ref    string   `xml:"r,attr"`
		Type   string   `xml:"t,attr"`
		Style  int      `xml:"s,attr"`
		Value  string   `xml:"v"`
		Inline richText `xml:"is"`
	}
)

// Bounds of a workbook: a few bytes in the archive can be millions of elements.
const (
	maxSmall     = 8 << 20 // bytes of a part that is neither a sheet nor the shared texts
	maxTexts     = 1 << 20
	maxSheets    = 1000
	maxSheetRows = 1 << 20 // empty ones, too; spreadsheets have no more
)

func (r richText) String() string { return r.T + strings.Join(r.R, "") }

// book is an open workbook.
type book struct {
	files  map[string]*zip.File
	texts  []string
	styles styles
	y1904  bool
	left   int64 // bytes that may still be unpacked, of all parts together
}

// metered takes what is read of a part off what the whole workbook may unpack.
type metered struct {
	from io.Reader
	left *int64
}

func (m metered) Read(p []byte) (int, error) {
	if *m.left <= 0 {
		return 0, errors.New("it is too large: unpacked it has more than is taken")
	}
	n, err := m.from.Read(p[:min(int64(len(p)), *m.left)])
	*m.left -= int64(n)
	return n, err
}

func damaged(why string) error { return &Error{"workbook", why, saveAs} }

// part decodes one part of the workbook; none is as an empty one.
func (b *book) part(name string, to any) error {
	f := b.files[name]
	if f == nil {
		return nil
	}
	r, err := f.Open()
	if err != nil {
		return damaged(err.Error())
	}
	defer r.Close()
	left := int64(maxSmall)
	if err := xml.NewDecoder(metered{metered{r, &b.left}, &left}).Decode(to); err != nil {
		return damaged(err.Error())
	}
	return nil
}

// each reads a part element by element, and gives do those of one name.
func (b *book) each(f *zip.File, name string, do func(*xml.Decoder, xml.StartElement) error) error {
	r, err := f.Open()
	if err != nil {
		return damaged(err.Error())
	}
	defer r.Close()
	d := xml.NewDecoder(metered{r, &b.left})
	for {
		token, err := d.Token()
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return damaged(err.Error())
		}
		if start, ok := token.(xml.StartElement); ok && start.Name.Local == name {
			if err := do(d, start); err != nil {
				return err
			}
		}
	}
}

func (b *book) sharedTexts() error {
	f := b.files["xl/sharedStrings.xml"]
	if f == nil {
		return nil
	}
	return b.each(f, "si", func(d *xml.Decoder, start xml.StartElement) error {
		if len(b.texts) >= maxTexts {
			return damaged(fmt.Sprintf("it is too large: more than %d texts", maxTexts))
		}
		var text richText
		if err := d.DecodeElement(&text, &start); err != nil {
			return damaged(err.Error())
		}
		b.texts = append(b.texts, text.String())
		return nil
	})
}

func readXLSX(content []byte, want string) (t Table, err error) {
	z, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
	if err != nil {
		return t, damaged(err.Error())
	}
	b := &book{files: map[string]*zip.File{}, left: maxFile}
	for _, f := range z.File {
		b.files[strings.TrimPrefix(f.Name, "/")] = f
	}
	if b.files["xl/workbook.xml"] == nil {
		return t, &Error{"file", "an archive that is not a workbook (.xlsx)", saveAs}
	}
	var w workbook
	var rel relations
	for name, to := range map[string]any{"xl/workbook.xml": &w, "xl/_rels/workbook.xml.rels": &rel,
		"xl/styles.xml": &b.styles} {
		if err := b.part(name, to); err != nil {
			return t, err
		}
	}
	if len(w.Sheets) > maxSheets {
		return t, damaged(fmt.Sprintf("it has more than %d sheets", maxSheets))
	}
	if err := b.sharedTexts(); err != nil {
		return t, err
	}
	b.y1904 = w.Properties.Date1904 == "1" || w.Properties.Date1904 == "true"
	var names []string
	for _, s := range w.Sheets {
		if want != "" && s.Name != want || want == "" && s.State != "" && s.State != "visible" {
			continue
		}
		target := ""
		for _, r := range rel.List {
			if r.ID == s.ID {
				target = strings.TrimPrefix(path.Join("xl", r.Target), "xl/xl/")
			}
		}
		var one Table
		if err := b.sheet(&one, target); err != nil {
			return t, err
		}
		if len(one.grid) > 0 {
			t, names = one, append(names, s.Name)
		}
	}
	switch {
	case len(names) > 1:
		return t, &Error{"workbook", "its sheets " + strings.Join(names, ", ") + " all hold rows",
			fmt.Sprintf("the one to read: --sheet %q", names[0])}
	case len(names) == 0 && want != "":
		return t, &Error{"--sheet", want, "the name of a sheet that holds rows"}
	case len(names) == 0:
		return t, &Error{"file", "a workbook", "rows; its sheets are empty"}
	}
	t.Notes = append(t.Notes, fmt.Sprintf("the sheet %q of a workbook", names[0]))
	return t, t.bounds()
}

// sheet reads the cells of a sheet row by row.
func (b *book) sheet(t *Table, name string) error {
	f := b.files[strings.TrimPrefix(name, "/")]
	if f == nil {
		f = b.files["xl/"+strings.TrimPrefix(name, "/")]
	}
	if f == nil {
		return damaged("the sheet " + name + " is missing")
	}
	rows, last := 0, 0
	return b.each(f, "row", func(d *xml.Decoder, start xml.StartElement) error {
		if rows++; rows > maxSheetRows {
			return damaged(fmt.Sprintf("it is too large: a sheet has more than %d rows", maxSheetRows))
		}
		line, err := b.row(d, start, last)
		if err != nil {
			return err
		}
		last = line.N
		if !t.put(line) {
			return t.bounds()
		}
		return nil
	})
}

// row reads the cells of a row one by one. One without a number follows on the
// row before it.
func (b *book) row(d *xml.Decoder, start xml.StartElement, before int) (line Line, err error) {
	line.N = before + 1
	for _, a := range start.Attr {
		if n, err := strconv.Atoi(a.Value); a.Name.Local == "r" && err == nil && n > 0 {
			line.N = n
		}
	}
	for i := 0; ; {
		token, err := d.Token()
		if err != nil {
			return line, damaged(err.Error())
		}
		if _, ok := token.(xml.EndElement); ok {
			return line, nil
		}
		start, ok := token.(xml.StartElement)
		if !ok {
			continue
		}
		if start.Name.Local != "c" {
			if err := d.Skip(); err != nil {
				return line, damaged(err.Error())
			}
			continue
		}
		var c sheetCell
		if err := d.DecodeElement(&c, &start); err != nil {
			return line, damaged(err.Error())
		}
		at := columnOf(c.Ref)
		if at < 0 {
			at = i
		}
		if at >= maxColumns || i >= maxColumns {
			return line, &Error{"row " + strconv.Itoa(line.N), c.Ref, fmt.Sprintf("cells in the first %d columns", maxColumns)}
		}
		for i++; len(line.Cells) <= at; {
			line.Cells, line.Exact = append(line.Cells, ""), append(line.Exact, false)
		}
		line.Cells[at], line.Exact[at], err = b.cell(c.Type, c.Style, c.Value, c.Inline)
		if err != nil && line.Bad == "" {
			line.Bad = c.Ref + " " + err.Error()
		}
	}
}

// columnOf gives the column of a reference as B7, from 0; -1 where there is none.
func columnOf(ref string) int {
	n := 0
	for _, r := range strings.TrimRight(ref, "0123456789") {
		if r < 'A' || r > 'Z' || n > 1<<20 {
			return -1
		}
		n = n*26 + int(r-'A') + 1
	}
	return n - 1
}

// cell gives a cell's text, and whether the file says what it is.
func (b *book) cell(kind string, style int, value string, inline richText) (text string, exact bool, err error) {
	switch kind {
	case "s":
		i, err := strconv.Atoi(value)
		if err != nil || i < 0 || i >= len(b.texts) {
			return "", false, fmt.Errorf("names a text that the workbook does not have")
		}
		return b.texts[i], false, nil
	case "inlineStr":
		return inline.String(), false, nil
	case "b":
		return map[string]string{"1": "yes", "0": "no"}[value], false, nil
	case "e":
		return "", false, fmt.Errorf("holds the error %s; mend the formula, or write the value", value)
	case "str", "d":
		return value, false, nil
	}
	v, err := strconv.ParseFloat(value, 64)
	if err != nil {
		return value, false, nil // an empty cell
	}
	switch b.format(style) {
	case "day":
		return b.day(v), true, nil
	case "%":
		return strconv.FormatFloat(math.Round(v*1e8)/1e6, 'f', -1, 64) + "%", true, nil
	}
	return strconv.FormatFloat(v, 'f', -1, 64), true, nil
}

// unsaid is what a format writes as it stands: quoted, behind a backslash, or a colour or
// language in brackets.
var unsaid = lazily(`\\.|"[^"]*"?|\[[^\]]*\]?`)

// format says what a style makes of a number: a day or time, a percentage, or
// nothing that matters here.
func (b *book) format(style int) string {
	if style < 0 || style >= len(b.styles.Cells) {
		return ""
	}
	id := b.styles.Cells[style].Format
	switch {
	case id >= 14 && id <= 22 || id >= 27 && id <= 36 || id >= 45 && id <= 47 || id >= 50 && id <= 58:
		return "day"
	case id == 9 || id == 10:
		return "%"
	}
	for _, f := range b.styles.Formats {
		if f.ID != id {
			continue
		}
		code := unsaid().ReplaceAllString(strings.ToLower(f.Code), "")
		if strings.ContainsAny(code, "ydhs") || strings.Contains(code, "mm") {
			return "day"
		}
		if strings.Contains(code, "%") {
			return "%"
		}
	}
	return ""
}

// day writes the number of a day, which counts from 30 December 1899 (the first
// day of March 1900 is 61, as if 1900 had been a leap year) or, in workbooks of
// old Macs, from 1 January 1904. A number below 1 is a time of day.
func (b *book) day(v float64) string {
	from := time.Date(1899, 12, 30, 0, 0, 0, 0, time.UTC)
	if b.y1904 {
		from = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	at := from.Add(time.Duration(math.Round(v*86400)) * time.Second)
	switch {
	case v < 0 || v > 200_000:
		return strconv.FormatFloat(v, 'f', -1, 64)
	case v < 1:
		return at.Format("15:04:05")
	case v == math.Floor(v):
		return at.Format(time.DateOnly)
	}
	return at.Format(time.DateTime)
}
