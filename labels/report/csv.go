package report

import (
	"encoding/csv"
	"io"
	"regexp"
	"strings"
	"sync"
)

// CSV writes a report for a spreadsheet: UTF-8 with a byte order mark, without
// which common spreadsheets take it for another encoding, and lines ended as
// in RFC 4180. First come lines of two cells, what and its text; then each
// table after an empty line, under its heading and its column heads. A cell
// that a spreadsheet would take for a formula gets an apostrophe in front.
func CSV(w io.Writer, r Report) error {
	r = r.cleaned()
	if _, err := io.WriteString(w, "\ufeff"); err != nil {
		return err
	}
	c := csv.NewWriter(w)
	c.UseCRLF = true
	write := func(cells ...string) {
		// a failed write is kept and told by c.Error
		_ = c.Write(changed(cells, func(cell string) string { return guard(loose(cell)) }))
	}
	all := func(what string, texts []string) {
		for _, text := range texts {
			write(what, text)
		}
	}
	write("report", r.Title)
	write("farm", r.Farm)
	write("place", r.Place)
	write("store", r.StoreID)
	write("anchor", r.Anchor)
	write("printed at", r.At.Format("2006-01-02T15:04:05Z07:00"))
	if r.Mark != "" {
		write("mark", r.Mark)
	}
	all("summary", r.Summary)
	all("caution", r.Cautions)
	all("method", r.Method)
	for _, s := range r.Sections {
		write()
		write("table", s.Heading)
		if s.Note != "" {
			write("note", s.Note)
		}
		all("picture", s.Captions())
		if len(s.Rows) == 0 {
			write("note", s.Empty)
			continue
		}
		write(s.heads()...)
		for _, row := range s.Rows {
			write(row...)
		}
	}
	c.Flush()
	return c.Error()
}

var plainNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[+-]?[0-9]+([.][0-9]+)?$`) })

// guard keeps a spreadsheet from running a cell as a formula: OWASP, "CSV
// Injection", names = + - @ (also in full width), tab and line ends; those
// last are spaces by now. A plain number keeps its sign.
func guard(cell string) string {
	if cell == "" || plainNumber().MatchString(cell) {
		return cell
	}
	if strings.ContainsRune("=+-@＝＋－＠", []rune(cell)[0]) {
		return "'" + cell
	}
	return cell
}
