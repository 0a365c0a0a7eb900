package labels

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"
)

// Calibration is a ruler page for each stock: bars to measure, and the outline
// of the first and last label to hold against the label paper. Print it on
// plain paper with the corrections in use, so that their effect can be seen.
type Calibration struct {
	Stocks []Stock
	Correction
	Created time.Time // stands in the file
}

// WriteCalibration draws the ruler pages as a PDF.
func WriteCalibration(w io.Writer, c Calibration) error {
	if len(c.Stocks) == 0 {
		return refused("there is no label stock to calibrate for; name at least one")
	}
	first := c.Stocks[0]
	p, err := newPaper(first.PageW, first.PageH, "Calibration", c.Created, true)
	if err != nil {
		return err
	}
	for _, s := range c.Stocks {
		check := Sheet{Stock: s, Labels: make([]Label, 1), Correction: c.Correction}
		if err := check.validate(); err != nil {
			return err
		}
		p.w, p.h = s.PageW, s.PageH
		p.adjust(c.Correction)
		p.addPage()
		if s.PageW < 150 || s.PageH < 150 {
			s.smallRuler(p)
			continue
		}
		s.rulerPage(p)
	}
	return p.write(w)
}

func (s Stock) rulerPage(p *paper) {
	const bar = 100
	last := s.Cell(s.PerPage() - 1)
	p.outline(s.Cell(0), s.Corner)
	p.outline(last, s.Corner)
	first := fmt.Sprintf("first label of %s, %v x %v mm", s.Name, s.LabelW, s.LabelH)
	p.textIn(s.Cell(0).inset(min(5, s.LabelH/4)), first, false, 8, true)
	if s.PerPage() > 1 {
		p.textIn(last.inset(min(5, s.LabelH/4)), "last label", false, 8, true)
	}

	left, top := s.PageW/2-50, s.PageH/2-45
	p.bar(left, top, bar, true)
	p.bar(left, top, bar, false)
	text := Box{left + 10, top + 10, min(110, s.PageW-left-20), 95}
	for i, line := range strings.Split(strings.TrimSpace(howToCalibrate), "\n") {
		points := []float64{22, 11, 10}[min(i, 2)]
		text.Y += p.paragraph(text, line, i < 2, points, false) + 1.5
		text.H = top + 105 - text.Y
	}
}

const howToCalibrate = `
Print at 100 %
Choose “actual size”. Never “fit to page”.
1. Measure both bars with a steel rule. Each should be 100 mm.
Scale across = 100 divided by the length of the bar across; scale down the same way with the other bar.
2. Hold this page and a sheet of labels together against a light. Measure how far the first outline is off its label.
Offset across = how far the print has to move to the right; offset down = how far it has to move down. ` +
	`Left and up are negative.
3. Print this page again with the corrections, and then the labels.`

// smallRuler is for rolls and tags, on which a bar of 100 mm has no room.
func (s Stock) smallRuler(p *paper) {
	cell := s.Cell(0)
	p.outline(cell.inset(0.1), s.Corner)
	across := math.Floor((s.PageW-8)/10) * 10
	down := math.Floor((s.PageH-8)/10) * 10
	if across > 0 {
		p.bar(cell.X+4, cell.Y+4.5, across, true)
	}
	if down > 0 {
		p.bar(cell.X+4, cell.Y+4.5, down, false)
	}
	box := Box{cell.X + 10, cell.Y + 10, s.PageW - 13, s.PageH - 12}
	bars := fmt.Sprintf("%s: print at 100 %%. Bars: %v mm across, %v mm down.", s.Name, across, down)
	p.textIn(box, bars, false, 9, false)
}

// bar draws a ruler with a tick every 5 mm and a longer one every 10 mm.
func (p *paper) bar(x, y, length float64, across bool) {
	draw := func(a, b, c, d float64) {
		if across {
			p.line(x+a, y+b, x+c, y+d, 0.2)
			return
		}
		p.line(x+b, y+a, x+d, y+c, 0.2)
	}
	draw(0, 0, length, 0)
	for at := 0.0; at <= length; at += 5 {
		tick := 2.0
		if math.Mod(at, 10) == 0 {
			tick = 4
		}
		draw(at, 0, at, tick)
	}
	if across {
		p.textIn(Box{x + length - 18, y - 3.2, 18, 3.2}, fmt.Sprintf("%v mm", length), false, 7, true)
		return
	}
	p.textIn(Box{x - 2, y + length + 0.5, 18, 3.2}, fmt.Sprintf("%v mm", length), false, 7, false)
}
