package labels

import (
	"io"
	"time"
)

// Sheet is a print run of labels on one stock.
type Sheet struct {
	Stock  Stock
	Labels []Label
	Skip   int // labels already used up on the first page
	Copies int // of every label, side by side; 0 counts as 1

	Correction

	// Anchor is printed in a page margin of at least 10 mm; sheets without such a
	// margin, rolls and tags leave it out (see HasAnchorRoom).
	Anchor    string
	CropMarks bool // ticks in the page margins in line with the labels' edges
	CutLines  bool // the outline of every label, for plain paper

	Created  time.Time // stands in the file; the same input gives the same bytes
	Progress func(done, total int)
}

// marginLeast is the page margin that is sure to be printable and has room for
// one line, mm (common practice, no source).
const marginLeast = 10.0

// Crop marks: their distance from the label and their length, mm.
const (
	cropGap  = 0.7
	cropTick = 2.5
)

// HasAnchorRoom reports whether the stock has a margin for the anchor line.
func (s Stock) HasAnchorRoom() bool {
	_, ok := s.anchorBox()
	return ok
}

func (s Stock) anchorBox() (Box, bool) {
	const side, line = 8.0, 3.0
	last := s.Cell(s.PerPage() - 1).bottom()
	if s.PageH-last >= marginLeast {
		return Box{side, last + cropGap + cropTick + 0.3, s.PageW - 2*side, line}, true
	}
	if s.Top >= marginLeast {
		return Box{side, s.Top - cropGap - cropTick - 0.3 - line, s.PageW - 2*side, line}, true
	}
	return Box{}, false
}

// Pages is the number of pages that the sheet takes.
func (s Sheet) Pages() int {
	per := s.Stock.PerPage()
	return (s.Skip + len(s.Labels)*max(1, s.Copies) + per - 1) / per
}

func (s Sheet) validate() error {
	if err := s.Stock.Validate(); err != nil {
		return err
	}
	if len(s.Labels) == 0 {
		return refused("there are no labels to print; name at least one mat")
	}
	if err := s.Stock.checkSkip(s.Skip); err != nil {
		return err
	}
	if s.Copies < 0 || s.Copies > 100 {
		return refused("%d copies are not possible; give 1 to 100", s.Copies)
	}
	if err := s.Correction.check(); err != nil {
		return err
	}
	return printable(s.Anchor)
}

// checkSkip refuses to leave out more labels than a page has.
func (s Stock) checkSkip(skip int) error {
	if skip < 0 || skip >= s.PerPage() {
		return refused("%d labels can't be skipped; a page of this stock has %d, so give 0 to %d", skip, s.PerPage(),
			s.PerPage()-1)
	}
	return nil
}

// WriteSheet draws the labels as a PDF. Errors are *PrintError, *SymbolError,
// *CodeError, or whatever w returns.
func WriteSheet(w io.Writer, sheet Sheet) error {
	return writeSheet(w, sheet, true)
}

func writeSheet(w io.Writer, sheet Sheet, compress bool) error {
	if err := sheet.validate(); err != nil {
		return err
	}
	p, err := newPaper(sheet.Stock.PageW, sheet.Stock.PageH, "Labels", sheet.Created, compress)
	if err != nil {
		return err
	}
	p.adjust(sheet.Correction)
	copies := max(1, sheet.Copies)
	total := len(sheet.Labels) * copies
	p.begun = func() { sheet.furnish(p) }
	for i, label := range sheet.Labels {
		layout, err := layOut(sheet.Stock, label)
		if err != nil {
			return err
		}
		for c := range copies {
			cell := p.cell(sheet.Stock, sheet.Skip, i*copies+c)
			sheet.Stock.drawTag(p, cell, sheet.CutLines)
			p.drawLayout(layout, cell)
			if sheet.Progress != nil {
				sheet.Progress(i*copies+c+1, total)
			}
		}
	}
	return p.write(w)
}

// furnish draws what stands outside the labels.
func (s Sheet) furnish(p *paper) {
	if box, ok := s.Stock.anchorBox(); ok && s.Anchor != "" {
		p.textIn(box, s.Anchor, false, 7, true)
	}
	if s.CropMarks {
		s.Stock.cropMarks(p)
	}
}

// cropMarks draws ticks in line with every label edge, in the page margins.
func (s Stock) cropMarks(p *paper) {
	const room = cropGap + cropTick
	last := s.Cell(s.PerPage() - 1)
	right, bottom := last.right(), last.bottom()
	for c := range s.Columns {
		cell := s.Cell(c)
		for _, x := range []float64{cell.X, cell.right()} {
			if s.Top >= room {
				p.line(x, s.Top-room, x, s.Top-room+cropTick, 0.1)
			}
			if s.PageH-bottom >= room {
				p.line(x, bottom+cropGap, x, bottom+room, 0.1)
			}
		}
	}
	for r := range s.Rows {
		cell := s.Cell(r * s.Columns)
		for _, y := range []float64{cell.Y, cell.bottom()} {
			if s.Left >= room {
				p.line(s.Left-room, y, s.Left-room+cropTick, y, 0.1)
			}
			if s.PageW-right >= room {
				p.line(right+cropGap, y, right+room, y, 0.1)
			}
		}
	}
}

// drawTag draws what a label needs besides its print: its outline if it is to
// be cut out, the hole, the fold and the seams.
func (s Stock) drawTag(p *paper, cell Box, outline bool) {
	if outline {
		p.outline(cell, s.Corner)
	}
	if s.HoleD > 0 {
		p.circle(cell.X+s.HoleX, cell.Y+cell.H/2, s.HoleD/2)
	}
	if !s.Fold {
		return
	}
	middle := cell.X + cell.W/2
	p.dashed(middle, cell.Y, middle, cell.bottom())
	for _, x := range []float64{cell.X + s.Seam, cell.right() - s.Seam} {
		p.dashed(x, cell.Y, x, cell.bottom())
	}
}
