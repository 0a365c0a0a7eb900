package moving

import (
	"strconv"
	"strings"
)

// Marks of a decimal fraction.
const (
	point = "point"
	comma = "comma"
)

// written is a number as it stands in a cell: what is before it (a sign of
// money), its digits with their marks, and what follows (a unit).
type written struct{ before, digits, after string }

var numberPattern = lazily(`^([€$£]?\s*[+-]?)((?:\d[\d.,'’\x{00a0}\x{202f}\x{2009} ]*)?[.,]?\d+)(.*)$`)

func parseNumber(cell string) (written, bool) {
	m := numberPattern().FindStringSubmatch(strings.TrimSpace(cell))
	if m == nil || strings.HasPrefix(strings.TrimSpace(m[3]), "/") || strings.HasPrefix(m[3], ".") && len(m[3]) > 1 &&
		m[3][1] >= '0' && m[3][1] <= '9' {
		return written{}, false // a fraction such as 1 1/2, or a date
	}
	return written{m[1], m[2], m[3]}, true
}

var thousands = strings.NewReplacer("'", "", "’", "", "\u00a0", "", "\u202f", "", "\u2009", "", " ", "")

// grouped says whether digits are parted into thousands by one mark.
func grouped(digits, mark string) bool {
	parts := strings.Split(digits, mark)
	for i, p := range parts {
		if i == 0 && (len(p) < 1 || len(p) > 3 || strings.Trim(p, "0") == "") || i > 0 && len(p) != 3 ||
			strings.Trim(p, "0123456789") != "" {
			return false
		}
	}
	return true
}

// mark says which decimal mark the digits show: point, comma, "" where there is
// no mark at all, or both where they can be read in either way. ok is false for
// what is no number in any way.
func (w written) mark() (mark string, both, ok bool) {
	d := w.digits
	if strings.ContainsAny(d, "'’\u00a0\u202f\u2009 ") { // thousands parted by a space or an apostrophe
		whole := d
		if i := strings.LastIndexAny(d, ".,"); i >= 0 {
			whole = d[:i]
		}
		if !grouped(strings.NewReplacer("’", "'", "\u00a0", "'", "\u202f", "'", "\u2009", "'", " ",
			"'").Replace(whole), "'") {
			return "", false, false
		}
		d = thousands.Replace(d)
		if i := strings.IndexAny(d, ".,"); i >= 0 {
			return map[byte]string{'.': point, ',': comma}[d[i]], false, strings.Count(d, ".")+strings.Count(d, ",") == 1
		}
		return "", false, true
	}
	points, commas := strings.Count(d, "."), strings.Count(d, ",")
	switch {
	case points == 0 && commas == 0:
		return "", false, true
	case points > 0 && commas > 0:
		whole, mark, other := d, point, ","
		if strings.LastIndex(d, ",") > strings.LastIndex(d, ".") {
			mark, other = comma, "."
		}
		whole = d[:strings.LastIndexAny(d, ".,")]
		return mark, false, grouped(whole, other)
	case points > 1:
		return comma, false, grouped(d, ".")
	case commas > 1:
		return point, false, grouped(d, ",")
	case points == 1:
		return point, grouped(d, "."), true
	}
	return comma, grouped(d, ","), true
}

// with writes the number with a decimal point and no thousands, read with that
// decimal mark.
func (w written) with(mark string) string {
	d := thousands.Replace(w.digits)
	if mark == comma {
		d = strings.NewReplacer(".", "", ",", ".").Replace(d)
	} else {
		d = strings.ReplaceAll(d, ",", "")
	}
	return w.before + d + w.after
}

// as says for a person what the number is with a decimal mark: 1250 g.
func (w written) as(mark, unit string) string {
	v, _ := strconv.ParseFloat(written{digits: w.digits}.with(mark), 64)
	if after := strings.TrimSpace(w.after); after != "" {
		unit = after
	}
	return strings.TrimSpace(strconv.FormatFloat(v, 'f', -1, 64) + " " + unit)
}

// evidence is what the cells of a column, or of a file, show about their
// decimal mark: a cell that can be read in one way only, and one in two.
type evidence struct {
	sure map[string]string // mark: the first cell that shows it
	open string            // the first cell with two readings
}

func (e *evidence) look(cell string) {
	w, ok := parseNumber(cell)
	if !ok {
		return
	}
	mark, both, ok := w.mark()
	switch {
	case !ok || mark == "":
	case both && e.open == "":
		e.open = cell
	case !both && e.sure[mark] == "":
		if e.sure == nil {
			e.sure = map[string]string{}
		}
		e.sure[mark] = cell
	}
}

// one gives the mark that the evidence shows, empty where it shows none or both.
func (e evidence) one() string {
	if len(e.sure) != 1 {
		return ""
	}
	for mark := range e.sure {
		return mark
	}
	return ""
}

// canonical rewrites a cell's number with a decimal point. A cell that has one
// reading has it whatever the column's mark is.
func canonical(cell, mark string) string {
	w, ok := parseNumber(cell)
	if !ok {
		return cell
	}
	own, both, ok := w.mark()
	if !ok {
		return cell
	}
	if both && mark != "" {
		own = mark
	}
	return w.with(own)
}
