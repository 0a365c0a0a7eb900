package report

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/jung-kurt/gofpdf"

	"resow/labels/lettering"
)

// Sizes in mm and points. Grey prints and tired eyes are the measure: no type
// under 7 points, no grey that carries meaning.
const (
	margin     = 16.0
	footRoom   = 12.0 // above the lower margin's edge, for the foot
	lineEm     = 1.25
	ascentEm   = 0.93
	bodyPt     = 9.5
	cellPt     = 8.2
	smallPt    = 7.2
	cellGap    = 3.5
	cellPad    = 0.9
	densePt    = 7.4 // of a table with many columns
	denseGap   = 2.2
	signGap    = 10.0 // to write in, above a line
	signRoom   = 26.0 // for the lines for review with their heading
	signRows   = 3    // rows of a log that stay on the page with them
	wordMost   = 30.0 // a word wider than this may be broken to save the other columns
	hairline   = 0.15
	boxPad     = 2.5
	bulletRoom = 4.0
)

func mm(points float64) float64 { return points * 25.4 / 72 }

func lineHeight(points float64) float64 { return mm(points) * lineEm }

// PDF writes a report for print. The same report gives the same bytes; the
// only date in the file is the report's own. Characters that the font lacks
// stand as a box, and a caution says so.
func PDF(w io.Writer, r Report) error {
	r, lacking := printable(r)
	if lacking > 0 {
		r.Cautions = append(r.Cautions, fmt.Sprintf("%s not in the printed fonts and shown as %c; the screen and "+
			"the CSV file have them.", count(lacking, "character is", "characters are"), stand))
	}
	d := newDrawing(r)
	d.title()
	d.bullets("In short", r.Summary, bodyPt)
	d.box("Read this with it", r.Cautions)
	for i, s := range r.Sections {
		follow := 0.0
		if r.Sign && i == len(r.Sections)-1 {
			follow = signRoom
		}
		d.section(s, follow)
	}
	if r.Sign {
		d.signature()
	}
	d.bullets("How this was worked out", r.Method, cellPt)
	d.feet()
	var b bytes.Buffer
	if err := d.pdf.Output(&b); err != nil {
		return fmt.Errorf("drawing the report: %w", err)
	}
	_, err := w.Write(b.Bytes())
	return err
}

// stand is what is printed for a character that the fonts lack.
const stand = '\u25a1'

// printable gives the report cleaned and with a box for every character that the
// fonts lack, and counts the different ones.
func printable(r Report) (Report, int) {
	lacking := map[rune]bool{}
	r = r.changed(func(s string) string {
		s, missing := lettering.Stand(clean(s), stand)
		for _, c := range missing {
			lacking[c] = true
		}
		return s
	})
	return r, len(lacking)
}

// drawing is a PDF in the making; y is the upper edge of what comes next.
type drawing struct {
	pdf    *gofpdf.Fpdf
	pen    *lettering.Pen
	r      Report
	w, h   float64
	y      float64
	bold   bool
	points float64
}

func newDrawing(r Report) *drawing {
	size := lettering.PageSize(r.Letter)
	if r.Wide {
		size.Wd, size.Ht = size.Ht, size.Wd
	}
	pdf := lettering.NewDocument(size, r.Title, r.At)
	pdf.SetSubject(r.identity(), true)
	d := &drawing{pdf: pdf, pen: lettering.NewPen(pdf), r: r, w: size.Wd, h: size.Ht}
	d.addPage()
	return d
}

func (d *drawing) addPage() {
	d.pdf.AddPage()
	d.y = margin
	d.font(d.bold, d.points)
	if d.pdf.PageNo() == 1 {
		return
	}
	bold, points := d.bold, d.points
	d.font(false, smallPt)
	room := d.inner()
	if d.r.Mark != "" {
		room -= d.measureIn(true, smallPt)(d.r.Mark) + 6
		d.font(false, smallPt)
	}
	d.at(margin, d.y, oneLine(strings.TrimSuffix(d.r.Title+" · "+d.r.owner(), " · "), room, d.measure))
	d.mark()
	d.rule(d.y + lineHeight(smallPt) + 0.8)
	d.y += lineHeight(smallPt) + 3.5
	d.font(bold, points)
}

// mark sets the report's mark at the upper right.
func (d *drawing) mark() {
	if d.r.Mark == "" {
		return
	}
	d.font(true, smallPt)
	d.atRight(d.w-margin, margin, d.r.Mark)
}

func (d *drawing) font(bold bool, points float64) {
	d.bold, d.points = bold, points
	if points == 0 {
		return
	}
	d.pen.SetFont(bold, points)
}

// at sets one line with its upper edge at y.
func (d *drawing) at(x, y float64, text string) {
	if text != "" {
		d.pen.Text(x, y+mm(d.points)*ascentEm, loose(text), d.bold, d.points)
	}
}

func (d *drawing) atRight(x, y float64, text string) { d.at(x-d.measure(text), y, text) }

func (d *drawing) measure(text string) float64 {
	text = loose(text)
	if lettering.Plain(text) {
		return d.pdf.GetStringWidth(text)
	}
	return lettering.Width(text, d.bold) * mm(d.points)
}

func (d *drawing) measureIn(bold bool, points float64) func(string) float64 {
	return func(text string) float64 {
		d.font(bold, points)
		return d.measure(text)
	}
}

func (d *drawing) rule(y float64) { d.line(margin, d.w-margin, y, hairline, 0) }

func (d *drawing) line(from, to, y, width float64, grey int) {
	d.pdf.SetLineWidth(width)
	d.pdf.SetDrawColor(grey, grey, grey)
	d.pdf.Line(from, y, to, y)
}

func (d *drawing) inner() float64  { return d.w - 2*margin }
func (d *drawing) bottom() float64 { return d.h - margin - footRoom + 4 }

// need starts a new page unless so much room is left on this one.
func (d *drawing) need(height float64) {
	if d.y+height > d.bottom() {
		d.addPage()
	}
}

// para sets a paragraph.
func (d *drawing) para(text string) { d.lines(margin, wrap(text, d.inner(), d.measure)) }

// lines sets lines one below the other; they may run on to the next page.
func (d *drawing) lines(x float64, lines []string) {
	for _, line := range lines {
		d.need(lineHeight(d.points))
		d.at(x, d.y, line)
		d.y += lineHeight(d.points)
	}
}

func (d *drawing) title() {
	d.mark()
	d.y += 2
	d.font(true, 17)
	d.para(d.r.Title)
	d.y += 1
	d.font(false, bodyPt+1)
	if d.r.owner() != "" {
		d.para(d.r.owner())
	}
	d.font(false, smallPt)
	d.para(d.r.identity())
	d.y += 1.5
	d.rule(d.y)
	d.y += 1
}

func (d *drawing) heading(text string, follow float64) {
	d.font(true, 11)
	lines := wrap(text, d.inner(), d.measure)
	d.need(4 + float64(len(lines))*lineHeight(11) + follow)
	if d.y > margin {
		d.y += 4
	}
	d.lines(margin, lines)
	d.y += 0.8
}

func (d *drawing) bullets(heading string, items []string, points float64) {
	if len(items) == 0 {
		return
	}
	d.heading(heading, 2*lineHeight(points))
	for _, item := range items {
		d.font(false, points)
		lines := wrap(item, d.inner()-bulletRoom, d.measure)
		d.need(float64(min(len(lines), 8)) * lineHeight(points)) // an item stays on one page unless it is very long
		d.at(margin+0.5, d.y, "–")
		d.lines(margin+bulletRoom, lines)
		d.y += 0.7
	}
}

// box frames a list that must stay together.
func (d *drawing) box(heading string, items []string) {
	if len(items) == 0 {
		return
	}
	var lines [][]string
	height := 2*boxPad + lineHeight(cellPt) + 0.6
	d.font(false, cellPt)
	for _, item := range items {
		l := wrap(item, d.inner()-2*boxPad-bulletRoom, d.measure)
		lines = append(lines, l)
		height += float64(len(l))*lineHeight(cellPt) + 0.4
	}
	d.y += 4
	d.need(height)
	d.pdf.SetLineWidth(0.35)
	d.pdf.SetDrawColor(0, 0, 0)
	d.pdf.Rect(margin, d.y, d.inner(), height, "D")
	end := d.y + height
	d.y += boxPad
	d.font(true, cellPt)
	d.lines(margin+boxPad, []string{heading})
	d.y += 0.6
	d.font(false, cellPt)
	for _, l := range lines {
		d.at(margin+boxPad, d.y, "–")
		d.lines(margin+boxPad+bulletRoom-0.5, l)
		d.y += 0.4
	}
	d.y = end
}

// section draws a section. Its last rows stay on one page with what follows, of
// the height follow, where that is not 0.
func (d *drawing) section(s Section, follow float64) {
	d.heading(s.Heading, d.opening(s))
	d.font(false, cellPt)
	if s.Note != "" {
		d.para(s.Note)
		d.y += 1
	}
	d.figures(s)
	d.font(false, cellPt)
	if len(s.Rows) == 0 {
		if s.Empty != "" {
			d.para(s.Empty)
		}
		return
	}
	t := d.table(s)
	t.head()
	for i, row := range s.Rows {
		if follow > 0 && i == max(0, len(s.Rows)-signRows) {
			t.keep(s.Rows[i:], follow)
		}
		t.row(row)
	}
}

// opening is the room that must follow a heading on its page: the first
// pictures, or a few rows.
func (d *drawing) opening(s Section) float64 {
	rows := d.pictures(s)
	if len(rows) == 0 {
		return 6 * lineHeight(cellPt)
	}
	return min(rowHeight(rows[0])+3*lineHeight(cellPt), d.bottom()-margin-20)
}

func (d *drawing) pictures(s Section) [][]picture {
	return s.pictures(d.inner(), d.bottom()-margin-40, d.measureIn(false, plotPt))
}

func rowHeight(row []picture) float64 {
	return slices.MaxFunc(row, func(a, b picture) int { return cmp.Compare(a.h, b.h) }).h
}

// figures draws the pictures of a section with their captions.
func (d *drawing) figures(s Section) {
	for _, row := range d.pictures(s) {
		h := rowHeight(row)
		d.need(h + 2)
		x := margin
		for _, pic := range row {
			d.picture(x, d.y, pic)
			x += pic.w + plotGap
		}
		d.y += h + 1
	}
	d.font(false, smallPt)
	for _, text := range s.Captions() {
		d.para(text)
		d.y += 1.5
	}
}

func (d *drawing) picture(x, y float64, pic picture) {
	for _, i := range pic.inks {
		if i.text != "" {
			d.inkText(x+i.at.x, y+i.at.y, i)
		} else {
			d.inkPath(x, y, i)
		}
	}
	d.pdf.SetDashPattern(nil, 0)
	d.pdf.SetFillColor(0, 0, 0)
}

func (d *drawing) inkText(x, y float64, i ink) {
	d.font(i.bold, i.points())
	shift := d.measure(i.text) * i.anchor
	text := loose(i.text)
	if !i.up {
		d.pen.Text(x-shift, y, text, i.bold, i.points())
		return
	}
	d.pdf.TransformBegin()
	d.pdf.TransformRotate(90, x, y)
	d.pen.Text(x-shift, y, text, i.bold, i.points())
	d.pdf.TransformEnd()
}

func (d *drawing) inkPath(x, y float64, i ink) {
	style := ""
	if i.width > 0 {
		d.pdf.SetLineWidth(i.width)
		d.pdf.SetDrawColor(i.line, i.line, i.line)
		d.pdf.SetDashPattern(i.dash, 0)
		style = "D"
	}
	if i.fill != noFill {
		d.pdf.SetFillColor(i.fill, i.fill, i.fill)
		style += "F"
	}
	if style == "" {
		return
	}
	d.pdf.MoveTo(x+i.path[0].x, y+i.path[0].y)
	for _, p := range i.path[1:] {
		d.pdf.LineTo(x+p.x, y+p.y)
	}
	d.pdf.DrawPath(style)
}

// table is a section with the place of its columns.
type table struct {
	*drawing
	columns []Column
	x, w    []float64
	heads   [][]string
	size    float64 // of the type, in points
}

func (d *drawing) table(s Section) *table {
	size, gap := cellPt, cellGap
	if s.Dense {
		size, gap = densePt, denseGap
	}
	least, most := measureColumns(s, wordMost, d.measureIn(true, size), d.measureIn(false, size))
	gaps := gap * float64(len(s.Columns)-1)
	for i := range least { // rounding of the writer must not break a word that just fits
		least[i] += 0.05
		most[i] += 0.05
	}
	t := &table{drawing: d, size: size, columns: s.Columns, w: fitColumns(least, most, d.inner()-gaps)}
	x := margin
	for i, c := range s.Columns {
		t.x = append(t.x, x)
		x += t.w[i] + gap
		t.heads = append(t.heads, wrap(c.Head, t.w[i], d.measureIn(true, size)))
	}
	return t
}

func tallest(cells [][]string) int {
	n := 0
	for _, lines := range cells {
		n = max(n, len(lines))
	}
	return n
}

// under rules the table off below what was drawn.
func (t *table) under(width float64, grey int) {
	last := len(t.x) - 1
	t.line(margin, t.x[last]+t.w[last], t.y, width, grey)
}

// head draws the column heads, standing on a line.
func (t *table) head() {
	n := tallest(t.heads)
	height := t.height(n)
	t.need(height + lineHeight(t.size)*2)
	t.font(true, t.size)
	for i, lines := range t.heads {
		padded := append(make([]string, n-len(lines)), lines...)
		t.cell(i, padded, t.y+cellPad)
	}
	t.y += height
	t.under(0.35, 0)
	t.font(false, t.size)
}

func (t *table) cell(i int, lines []string, y float64) {
	for _, line := range lines {
		if t.columns[i].Right {
			t.atRight(t.x[i]+t.w[i], y, line)
		} else {
			t.at(t.x[i], y, line)
		}
		y += lineHeight(t.size)
	}
}

// keep begins a new page unless these rows and what follows them fit on this one.
func (t *table) keep(rows [][]string, follow float64) {
	t.font(false, t.size)
	height := follow
	for _, row := range rows {
		height += t.height(tallest(t.cells(row)))
	}
	if t.y+height > t.bottom() {
		t.turn()
	}
}

// turn goes on with the table on a new page.
func (t *table) turn() {
	t.addPage()
	t.head()
}

// cells wraps the texts of a row.
func (t *table) cells(row []string) [][]string {
	cells := make([][]string, len(row))
	for i, text := range row {
		cells[i] = wrap(text, t.w[i], t.measure)
	}
	return cells
}

func (t *table) height(lines int) float64 { return float64(lines)*lineHeight(t.size) + 2*cellPad }

// row draws one row. It stays whole where a page can hold it; a taller one
// runs on, with the heads repeated.
func (t *table) row(row []string) {
	t.font(false, t.size)
	cells := t.cells(row)
	rows := tallest(cells)
	if t.y+t.height(rows) > t.bottom() {
		t.turn()
	}
	for from := 0; from < rows; {
		fits := int(math.Floor((t.bottom() - t.y - 2*cellPad) / lineHeight(t.size)))
		if fits < 1 {
			t.turn()
			continue
		}
		to := min(rows, from+fits)
		for i, lines := range cells {
			t.cell(i, lines[min(from, len(lines)):min(to, len(lines))], t.y+cellPad)
		}
		t.y += t.height(to - from)
		t.under(hairline, 175)
		from = to
	}
}

// signature draws the lines for review side by side, each with what belongs on
// it written under it.
func (d *drawing) signature() {
	d.need(signRoom)
	d.heading("Review", 0)
	d.y += signGap
	d.font(false, smallPt)
	const gap = 8.0
	x, room := margin, d.inner()-gap*float64(len(signLines)-1)
	d.pdf.SetLineWidth(hairline)
	d.pdf.SetDrawColor(0, 0, 0)
	for i, what := range signLines {
		width := room * signShare[i]
		d.pdf.Line(x, d.y, x+width, d.y)
		d.at(x, d.y+0.8, what)
		x += width + gap
	}
	d.y += lineHeight(smallPt) + 0.8
}

// feet sets the foot of every page, once it is known how many there are.
func (d *drawing) feet() {
	total := d.pdf.PageNo()
	y := d.h - margin - lineHeight(smallPt)
	for page := 1; page <= total; page++ {
		d.pdf.SetPage(page)
		d.font(false, smallPt)
		d.rule(y - 1.2)
		number := fmt.Sprintf("page %d of %d", page, total)
		d.atRight(d.w-margin, y, number)
		d.at(margin, y, oneLine(d.r.identity(), d.inner()-d.measure(number)-6, d.measure))
	}
}
