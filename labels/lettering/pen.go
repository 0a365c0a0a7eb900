package lettering

import (
	"bytes"
	"fmt"
	"strconv"
	"time"
	"unicode/utf16"

	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/font/opentype"
	"github.com/jung-kurt/gofpdf"
)

const family = "sans"

// Pen sets text on one PDF document. A shaped line is put in the file once, as
// a form, however often it is drawn.
type Pen struct {
	pdf   *gofpdf.Fpdf
	forms map[lineKey]gofpdf.Template
}

// PageSize is that of US Letter paper, or of A4, in mm.
func PageSize(letter bool) gofpdf.SizeType {
	if letter {
		return gofpdf.SizeType{Wd: 215.9, Ht: 279.4}
	}
	return gofpdf.SizeType{Wd: 210, Ht: 297}
}

// NewDocument begins a PDF of pages of so many mm, whose only date is the one
// given: the same drawing gives the same bytes.
func NewDocument(size gofpdf.SizeType, title string, created time.Time) *gofpdf.Fpdf {
	pdf := gofpdf.NewCustom(&gofpdf.InitType{UnitStr: "mm", Size: size})
	pdf.SetMargins(0, 0, 0)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(created)
	pdf.SetModificationDate(created)
	pdf.SetTitle(title, true)
	pdf.SetCreator("resow", true)
	return pdf
}

// NewPen registers the typefaces with the document.
func NewPen(pdf *gofpdf.Fpdf) *Pen {
	pdf.AddUTF8FontFromBytes(family, "", File(Book))
	pdf.AddUTF8FontFromBytes(family, "B", File(Bold))
	return &Pen{pdf, map[lineKey]gofpdf.Template{}}
}

// SetFont takes a face and a size in points; it stays until the next page or
// the next call.
func (p *Pen) SetFont(bold bool, points float64) {
	style := ""
	if bold {
		style = "B"
	}
	p.pdf.SetFont(family, style, points)
}

// Text sets one line of text from x on, in the document's units.
func (p *Pen) Text(x, baseline float64, text string, bold bool, points float64) {
	if Plain(text) {
		p.SetFont(bold, points)
		p.pdf.Text(x, baseline, text)
		return
	}
	l := shaped(text, bold)
	if len(l.glyphs) == 0 {
		return
	}
	size := points / p.pdf.GetConversionRatio()
	key := lineKey{text, bold}
	form, ok := p.forms[key]
	if !ok {
		form = p.form(l)
		p.forms[key] = form
	}
	p.pdf.RawWriteStr("/Span <</ActualText <" + utf16Hex(text) + ">>> BDC")
	corner := gofpdf.PointType{X: x, Y: baseline - Ascent*size}
	p.pdf.UseTemplateScaled(form, corner, gofpdf.SizeType{Wd: l.width * size, Ht: (Ascent + Descent) * size})
	p.hold(x, baseline, l.width, bold, points)
	p.pdf.RawWriteStr("EMC")
}

// hold sets an invisible full stop as wide as the line that is drawn there:
// programs that search a file or read it aloud take the line's text in the
// place of a character, not of a shape.
func (p *Pen) hold(x, baseline, width float64, bold bool, points float64) {
	p.SetFont(bold, points)
	p.pdf.RawWriteStr(fmt.Sprintf("3 Tr %.1f Tz", 100*width/Width(".", bold)))
	p.pdf.Text(x, baseline, ".")
	p.pdf.RawWriteStr("0 Tr 100 Tz")
}

func utf16Hex(s string) string {
	out := "FEFF"
	for _, v := range utf16.Encode([]rune(s)) {
		out += fmt.Sprintf("%04X", v)
	}
	return out
}

// form draws a line at an em of formEm points, with the lower left corner of
// its box at the origin.
func (p *Pen) form(l *line) gofpdf.Template {
	k := p.pdf.GetConversionRatio()
	size := gofpdf.SizeType{Wd: l.width * formEm / k, Ht: (Ascent + Descent) * formEm / k}
	return p.pdf.CreateTemplateCustom(gofpdf.PointType{}, size, func(t *gofpdf.Tpl) {
		t.RawWriteBuf(bytes.NewReader(l.path()))
	})
}

const formEm = 72.0

// path gives the PDF operators that draw a line, in thousandths of an em. Bold
// shapes get their line after all are filled.
func (l *line) path() []byte {
	opened.Lock()
	defer opened.Unlock()
	scale := formEm / 1000
	out := fmt.Appendf(nil, "0 g 0 G %.4f 0 0 %.4f 0 %.4f cm\n", scale, scale, Descent*formEm)
	for _, heavier := range []bool{false, true} {
		drawn := false
		for _, g := range l.glyphs {
			if g.heavier == heavier {
				out = appendOperators(out, g.outline(l))
				drawn = true
			}
		}
		switch {
		case drawn && heavier:
			out = fmt.Appendf(out, "%.1f w 1 j B\n", heavy*l.scale*1000)
		case drawn:
			out = append(out, "f\n"...)
		}
	}
	return out
}

func appendOperators(out []byte, outline []Segment) []byte {
	for i, s := range outline {
		if s.Op == 'm' && i > 0 {
			out = append(out, "h\n"...)
		}
		for _, p := range s.Points() {
			for _, v := range p {
				out = append(strconv.AppendFloat(out, 1000*v, 'f', 0, 64), ' ')
			}
		}
		out = append(out, s.Op, '\n')
	}
	return append(out, "h\n"...)
}

// Segment is a part of an outline: m moves the pen, l draws a straight line, c
// a curve with two control points.
type Segment struct {
	Op     byte
	points [3][2]float64
}

// Points are the end of a segment, x then y, or both control points and the end.
func (s Segment) Points() [][2]float64 {
	if s.Op == 'c' {
		return s.points[:]
	}
	return s.points[:1]
}

// Outline gives the shapes of a line of text in em, from the left end of its
// base line, y up. They are filled where the winding number is not zero.
func Outline(s string, bold bool) []Segment {
	l := shaped(s, bold)
	opened.Lock()
	defer opened.Unlock()
	var out []Segment
	for _, g := range l.glyphs {
		out = append(out, g.outline(l)...)
	}
	return out
}

// outline gives a glyph's shape. TrueType curves have one control point, those
// of a PDF two.
func (g placed) outline(l *line) []Segment {
	data, ok := g.face.GlyphData(g.id).(font.GlyphOutline)
	if !ok {
		return nil
	}
	unit := 1 / float64(g.face.Upem())
	at := func(p opentype.SegmentPoint) [2]float64 {
		return [2]float64{l.left + l.scale*(g.x+float64(p.X)*unit), l.base + l.scale*(g.y+float64(p.Y)*unit)}
	}
	var out []Segment
	var pen [2]float64
	for _, s := range data.Segments {
		a, b, c := at(s.Args[0]), at(s.Args[1]), at(s.Args[2])
		switch s.Op {
		case opentype.SegmentOpMoveTo:
			out, pen = append(out, Segment{'m', [3][2]float64{a}}), a
		case opentype.SegmentOpLineTo:
			out, pen = append(out, Segment{'l', [3][2]float64{a}}), a
		case opentype.SegmentOpQuadTo:
			out, pen = append(out, Segment{'c', [3][2]float64{third(pen, a), third(b, a), b}}), b
		case opentype.SegmentOpCubeTo:
			out, pen = append(out, Segment{'c', [3][2]float64{a, b, c}}), c
		}
	}
	return out
}

// third is the point two thirds of the way to a control point.
func third(from, control [2]float64) [2]float64 {
	return [2]float64{from[0] + (control[0]-from[0])*2/3, from[1] + (control[1]-from[1])*2/3}
}
