package labels

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"time"

	"github.com/jung-kurt/gofpdf"

	"resow/labels/lettering"
)

// paper is a PDF in the making: the only place that knows the PDF library.
type paper struct {
	pdf    *gofpdf.Fpdf
	pen    *lettering.Pen
	w, h   float64
	matrix string
	open   bool
	begun  func() // draws what stands on every page besides; nil: nothing
}

func newPaper(w, h float64, title string, created time.Time, compress bool) (*paper, error) {
	pdf := lettering.NewDocument(gofpdf.SizeType{Wd: w, Ht: h}, title, created)
	pdf.SetCompression(compress)
	p := &paper{pdf: pdf, pen: lettering.NewPen(pdf), w: w, h: h}
	return p, pdf.Error()
}

// adjust moves and stretches everything on the pages that follow, from the top
// left corner.
func (p *paper) adjust(c Correction) {
	dx, dy, sx, sy := c.OffsetX, c.OffsetY, cmp.Or(c.ScaleX, 1), cmp.Or(c.ScaleY, 1)
	if dx == 0 && dy == 0 && sx == 1 && sy == 1 {
		return
	}
	p.matrix = fmt.Sprintf("%s 0 0 %s %s %s cm", number(sx), number(sy),
		number(dx*pointsPerMM), number((p.h*(1-sy)-dy)*pointsPerMM))
}

func (p *paper) addPage() {
	p.closePage()
	p.pdf.AddPageFormat("P", gofpdf.SizeType{Wd: p.w, Ht: p.h})
	if p.matrix != "" {
		p.pdf.RawWriteStr("q " + p.matrix)
		p.open = true
	}
	if p.begun != nil {
		p.begun()
	}
}

// cell is where label i of a print run goes, on a new page where it is the first
// of one.
func (p *paper) cell(s Stock, skip, i int) Box {
	place := (skip + i) % s.PerPage()
	if i == 0 || place == 0 {
		p.addPage()
	}
	return s.Cell(place)
}

func (p *paper) closePage() {
	if p.open {
		p.pdf.RawWriteStr("Q")
		p.open = false
	}
}

func (p *paper) write(w io.Writer) error {
	p.closePage()
	var b bytes.Buffer
	if err := p.pdf.Output(&b); err != nil {
		return err
	}
	_, err := w.Write(b.Bytes())
	return err
}

func (p *paper) drawLayout(l Layout, cell Box) {
	for _, s := range l.Symbols {
		p.symbol(s.Symbol, s.Box.shifted(cell.X, cell.Y))
	}
	for _, t := range l.Texts {
		box := t.Box.shifted(cell.X, cell.Y)
		p.text(box.X, box.Y+t.rise, t.Text, t.Bold, t.Points)
	}
}

func (p *paper) symbol(s Symbol, box Box) {
	p.pdf.RawWriteBuf(bytes.NewReader(s.path(box.X, box.Y, p.h)))
}

func (p *paper) text(x, baseline float64, text string, isBold bool, points float64) {
	left, _ := lettering.Overhang(text, isBold)
	p.pen.Text(x+left*mm(points), baseline, text, isBold, points)
}

// textIn sets text into a box, shrunk, wrapped and cut as needed, and gives the
// height used.
func (p *paper) textIn(box Box, text string, isBold bool, most float64, center bool) float64 {
	return p.lines(box, fit(isBold, text, box.W, box.H, most, leastPoints), isBold, center)
}

// paragraph is textIn for running text, which keeps its size and wraps.
func (p *paper) paragraph(box Box, text string, isBold bool, points float64, center bool) float64 {
	return p.lines(box, flow(isBold, text, box.W, box.H, points, leastPoints), isBold, center)
}

func (p *paper) lines(box Box, set fitted, isBold, center bool) float64 {
	em := mm(set.points)
	for i, line := range set.lines {
		x, _ := box.across(width(line, isBold)*em, center)
		p.text(x, box.Y+(float64(i)*lineEm+ascent)*em, line, isBold, set.points)
	}
	return set.height()
}

func (p *paper) line(x1, y1, x2, y2, width float64) {
	p.pdf.SetLineWidth(width)
	p.pdf.Line(x1, y1, x2, y2)
}

func (p *paper) dashed(x1, y1, x2, y2 float64) {
	p.pdf.SetDashPattern([]float64{1.5, 1}, 0)
	p.line(x1, y1, x2, y2, 0.15)
	p.pdf.SetDashPattern(nil, 0)
}

func (p *paper) outline(b Box, corner float64) {
	p.pdf.SetLineWidth(0.1)
	if corner > 0 {
		p.pdf.RoundedRect(b.X, b.Y, b.W, b.H, corner, "1234", "D")
		return
	}
	p.pdf.Rect(b.X, b.Y, b.W, b.H, "D")
}

func (p *paper) circle(x, y, radius float64) {
	p.pdf.SetLineWidth(0.1)
	p.pdf.Circle(x, y, radius, "D")
}
