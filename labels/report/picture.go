package report

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// picture is a plot or a layout turned into strokes, in mm from its upper left
// corner. The PDF and the page draw the same one.
type picture struct {
	w, h    float64
	alt     string
	measure measurer
	inks    []ink
}

type vec struct{ x, y float64 }

// ink is one thing to draw: a line or an area through points, or a text.
type ink struct {
	path  []vec
	fill  int     // grey of the area, 0 black to 255 white; noFill
	line  int     // grey of the line
	width float64 // of the line, mm; 0 draws none
	dash  []float64

	text   string
	at     vec // base line
	anchor float64
	bold   bool // and a point larger
	up     bool // written from below to above
}

const noFill = -1

// dashes and marks tell series apart, in mm. The first is solid.
var dashes = [][]float64{nil, {2.2, 1.1}, {0.5, 0.9}, {3, 0.9, 0.6, 0.9}}

const (
	plotPt   = 7.2 // not under 7 points in print
	plotLine = 0.45
	faint    = 130
	bandGrey = 212
	markMM   = 0.85
)

// measurer gives the width in mm of a text of plotPt.
type measurer func(text string) float64

// points is the size of a text.
func (i ink) points() float64 {
	if i.bold {
		return plotPt + 1
	}
	return plotPt
}

// picture lays the plot out for a width and height in mm; the key comes above.
func (p Plot) picture(w, h float64, measure measurer) picture {
	pic := picture{w: w, h: h, alt: p.Alt, measure: measure}
	top := 1.0
	if p.Title != "" {
		pic.alt = p.Title + ": " + p.Alt
		pic.write(p.Title, vec{0, mm(plotPt+1) * 0.95}, 0, true)
		top = mm(plotPt+1) * 1.5
	}
	top = pic.key(p.Series, top)
	xTicks, yTicks := p.X.ticks(max(3, min(7, int(w/12)))), p.Y.ticks(6)
	left := 1.0
	for _, t := range yTicks {
		left = max(left, measure(t.Text))
	}
	left += mm(plotPt)*1.5 + 1.5
	right := 2.0
	if n := len(xTicks); n > 0 {
		right += measure(xTicks[n-1].Text) / 2
	}
	f := frame{x: left, y: top + 1.5, w: w - left - right, h: h - top - 1.5 - mm(plotPt)*2.9, p: p}
	f.axes(&pic, xTicks, yTicks)
	for _, under := range []bool{true, false} {
		for _, s := range p.Series {
			if (s.Shape == Band || s.Shape == StepBand) == under {
				f.series(&pic, s)
			}
		}
	}
	return pic
}

func (pic *picture) write(text string, at vec, anchor float64, bold bool) {
	pic.inks = append(pic.inks, ink{text: text, at: at, anchor: anchor, bold: bold})
}

func (pic *picture) stroke(width float64, grey int, dash []float64, path ...vec) {
	if len(path) > 1 {
		pic.inks = append(pic.inks, ink{path: path, fill: noFill, line: grey, width: width, dash: dash})
	}
}

func (pic *picture) area(grey int, path ...vec) {
	if len(path) > 2 {
		pic.inks = append(pic.inks, ink{path: path, fill: grey})
	}
}

// key names the series in rows and gives the height below it.
func (pic *picture) key(all []Series, top float64) float64 {
	const sample, gap = 8.0, 4.0
	x, row, below := 0.0, mm(plotPt)*1.45, top
	for _, s := range all {
		if s.Name == "" {
			continue
		}
		name := oneLine(s.Name, pic.w-sample-2, pic.measure)
		width := sample + 1.2 + pic.measure(name)
		if below > top && x+width > pic.w {
			x, top = 0, below
		}
		below = top + row
		pic.sample(s, vec{x, top + row/2}, sample)
		pic.write(name, vec{x + sample + 1.2, top + row/2 + mm(plotPt)*0.33}, 0, false)
		x += width + gap
	}
	return below
}

func (pic *picture) sample(s Series, at vec, width float64) {
	middle, end := vec{at.x + width/2, at.y}, vec{at.x + width, at.y}
	switch s.Shape {
	case Band, StepBand:
		pic.area(bandGrey, vec{at.x, at.y - 1}, vec{end.x, at.y - 1}, vec{end.x, at.y + 1}, vec{at.x, at.y + 1})
	case Ranges:
		pic.draw(s, nil, vec{middle.x, at.y - 1.2}, vec{middle.x, at.y + 1.2})
	case Line, Steps, Dotted, Across:
		pic.draw(s, s.dash(), at, end)
	}
	if s.Shape == Dots || s.Shape == Dotted {
		pic.mark(s.Style, middle)
	}
}

func (s Series) dash() []float64 { return dashes[s.Style%len(dashes)] }

// draw draws a line of a series.
func (pic *picture) draw(s Series, dash []float64, path ...vec) {
	if s.Faint {
		pic.stroke(0.22, faint, dash, path...)
		return
	}
	pic.stroke(plotLine, 0, dash, path...)
}

// mark draws a filled circle, an open square, a filled triangle or an open
// diamond.
func (pic *picture) mark(style int, at vec) {
	r := markMM
	var path []vec
	switch style % 4 {
	case 0:
		for i := range 12 {
			a := 2 * math.Pi * float64(i) / 12
			path = append(path, vec{at.x + r*math.Cos(a), at.y + r*math.Sin(a)})
		}
	case 1:
		path = []vec{{at.x - r, at.y - r}, {at.x + r, at.y - r}, {at.x + r, at.y + r}, {at.x - r, at.y + r}}
	case 2:
		path = []vec{{at.x, at.y - 1.3*r}, {at.x + 1.2*r, at.y + r}, {at.x - 1.2*r, at.y + r}}
	case 3:
		r *= 2
		path = []vec{{at.x, at.y - r}, {at.x + r, at.y}, {at.x, at.y + r}, {at.x - r, at.y}}
	}
	fill := []int{0, 255, 0, noFill}[style%4]
	pic.inks = append(pic.inks, ink{path: append(path, path[0]), fill: fill, width: 0.25})
}

// frame is the field of a plot on its picture.
type frame struct {
	x, y, w, h float64
	p          Plot
}

func (f frame) at(x, y float64) vec {
	share := func(v float64, a Axis) float64 {
		if a.To <= a.From {
			return 0
		}
		return max(0, min(1, (v-a.From)/(a.To-a.From)))
	}
	return vec{f.x + f.w*share(x, f.p.X), f.y + f.h*(1-share(y, f.p.Y))}
}

func (f frame) axes(pic *picture, xTicks, yTicks []Tick) {
	for _, t := range yTicks {
		at := f.at(f.p.X.From, t.At)
		pic.stroke(0.12, 190, nil, at, vec{f.x + f.w, at.y})
		pic.write(t.Text, vec{at.x - 1.2, at.y + mm(plotPt)*0.33}, 1, false)
	}
	base := f.y + f.h
	lastEnd := math.Inf(-1)
	for _, t := range xTicks {
		at := f.at(t.At, f.p.Y.From)
		pic.stroke(0.2, 0, nil, vec{at.x, base}, vec{at.x, base + 0.9})
		half := pic.measure(t.Text) / 2
		if at.x-half < lastEnd+1 {
			continue
		}
		lastEnd = at.x + half
		pic.write(t.Text, vec{at.x, base + 0.9 + mm(plotPt)*1.05}, 0.5, false)
	}
	pic.stroke(0.25, 0, nil, vec{f.x, f.y}, vec{f.x, base}, vec{f.x + f.w, base})
	pic.write(oneLine(f.p.X.Label, f.w, pic.measure), vec{f.x + f.w/2, base + mm(plotPt)*2.55}, 0.5, false)
	label := oneLine(f.p.Y.Label, f.h, pic.measure)
	pic.inks = append(pic.inks, ink{text: label, at: vec{mm(plotPt) * 0.95, f.y + f.h/2}, anchor: 0.5, up: true})
}

func (f frame) series(pic *picture, s Series) {
	switch s.Shape {
	case Band, StepBand:
		high, low := f.path(s.Points, s.Shape == StepBand, upper), f.path(s.Points, s.Shape == StepBand, lower)
		slices.Reverse(low)
		pic.area(bandGrey, append(high, low...)...)
	case Line, Steps, Dotted:
		pic.draw(s, s.dash(), f.path(s.Points, s.Shape == Steps, upper)...)
	}
	for _, p := range s.Points {
		at := f.at(p.X, p.Y)
		switch s.Shape {
		case Dots, Dotted:
			pic.mark(s.Style, at)
		case Ranges:
			pic.draw(s, nil, f.at(p.X, p.Low), at)
		case Across:
			pic.draw(s, nil, f.at(p.Low, p.Y), at)
		}
	}
}

func upper(p Point) float64 { return p.Y }
func lower(p Point) float64 { return p.Low }

func (f frame) path(points []Point, steps bool, y func(Point) float64) []vec {
	var path []vec
	for i, p := range points {
		if steps && i > 0 {
			path = append(path, f.at(p.X, y(points[i-1])))
		}
		path = append(path, f.at(p.X, y(p)))
	}
	return path
}

// ticks gives the axis' own ticks, or at most about most round ones.
func (a Axis) ticks(most int) []Tick {
	if len(a.Ticks) > 0 {
		return a.Ticks
	}
	span := a.To - a.From
	if !(span > 0) || math.IsInf(span, 0) {
		return nil
	}
	step := math.Pow(10, math.Floor(math.Log10(span/float64(most))))
	for _, m := range []float64{1, 2, 5, 10} {
		if span/(step*m) <= float64(most) {
			step *= m
			break
		}
	}
	unit := ""
	if a.Unit != "" {
		unit = string(hard) + a.Unit
	}
	digits := max(0, int(-math.Floor(math.Log10(step)+1e-9)))
	var out []Tick
	for i := math.Ceil(a.From/step - 1e-9); i*step <= a.To+step*1e-9; i++ {
		out = append(out, Tick{i * step, fmt.Sprintf("%.*f%s", digits, i*step+0, unit)})
	}
	return out
}

// scales that a drawing may have: 1 to so many.
var scales = []float64{1, 2, 2.5, 5, 10, 12, 15, 20, 25, 30, 40, 50, 60, 75, 100, 150, 200, 250, 500, 1000}

// scale is the largest of the usual scales at which the stock fits.
func (l Layout) scale(w, h float64) float64 {
	for _, s := range scales {
		if l.LengthMM/s <= w && l.WidthMM/s <= h {
			return s
		}
	}
	return math.Max(l.LengthMM/w, l.WidthMM/h)
}

// picture draws the layout to scale within a width and height in mm.
func (l Layout) picture(w, h float64, measure measurer) picture {
	pic := picture{w: w, alt: l.Alt, measure: measure}
	const below = 9.0
	scale := l.scale(w, h-below)
	pic.write(fmt.Sprintf("scale 1 : %v", math.Round(scale*10)/10), vec{0, mm(plotPt+1) * 0.95}, 0, true)
	top := mm(plotPt+1) * 1.6
	at := func(x, y float64) vec { return vec{x / scale, top + y/scale} }
	box := func(x, y, length, width float64) []vec {
		return []vec{at(x, y), at(x+length, y), at(x+length, y+width), at(x, y+width), at(x, y)}
	}
	pic.area(225, box(0, 0, l.LengthMM, l.WidthMM)...)
	for _, p := range l.Pieces {
		shape := ink{path: box(p.X, p.Y, p.LengthMM, p.WidthMM), fill: 255, width: 0.3}
		if p.Keep {
			shape.fill, shape.dash = 245, dashes[1]
		} else if p.Waste {
			shape.fill, shape.width = 225, 0
		}
		pic.inks = append(pic.inks, shape)
		pic.label(p, at(p.X+p.LengthMM/2, p.Y+p.WidthMM/2), p.LengthMM/scale-1, p.WidthMM/scale-1)
	}
	pic.stroke(0.45, 0, nil, box(0, 0, l.LengthMM, l.WidthMM)...)
	end := at(0, l.WidthMM).y
	if l.Along != "" {
		y := end + 4
		pic.stroke(0.3, 0, nil, vec{0, y}, vec{18, y})
		pic.area(0, vec{18, y - 0.9}, vec{20.5, y}, vec{18, y + 0.9}, vec{18, y - 0.9})
		pic.write(l.Along, vec{22, y + mm(plotPt)*0.33}, 0, false)
	}
	pic.h = end + below - 3
	return pic
}

// label writes a text, or its short form, in the middle of a box where it
// fits, along or upright.
func (pic *picture) label(p Piece, middle vec, w, h float64) {
	if p.Text != "" && !pic.fitText(p.Text, middle, w, h) && p.Short != "" {
		pic.fitText(p.Short, middle, w, h)
	}
}

func (pic *picture) fitText(text string, middle vec, w, h float64) bool {
	lines := strings.Split(text, " · ")
	wide := 0.0
	for _, l := range lines {
		wide = max(wide, pic.measure(l))
	}
	tall := float64(len(lines)) * lineHeight(plotPt)
	up := wide > w || tall > h
	if up && (wide > h || tall > w) {
		return false
	}
	for i, l := range lines {
		shift := (float64(i)-float64(len(lines)-1)/2)*lineHeight(plotPt) + mm(plotPt)*0.33
		at := vec{middle.x, middle.y + shift}
		if up {
			at = vec{middle.x + shift, middle.y}
		}
		pic.inks = append(pic.inks, ink{text: l, at: at, anchor: 0.5, up: up})
	}
	return true
}

// pictures lays out what a section shows for a page so many mm wide: plots side
// by side, up to three in a row, then the layouts one below the other.
func (s Section) pictures(width, tallest float64, measure measurer) (rows [][]picture) {
	for from := 0; from < len(s.Plots); from += plotsInRow(len(s.Plots)) {
		n := plotsInRow(len(s.Plots))
		group := s.Plots[from:min(from+n, len(s.Plots))]
		w, h := (width-plotGap*float64(n-1))/float64(n), []float64{66, 58, 54}[n-1]
		var row []picture
		for _, p := range group {
			row = append(row, p.picture(w, h, measure))
		}
		rows = append(rows, row)
	}
	for _, l := range s.Layouts {
		rows = append(rows, []picture{l.picture(width, tallest, measure)})
	}
	return rows
}

const plotGap = 5.0

func plotsInRow(n int) int {
	if n == 4 {
		return 2
	}
	return min(n, 3)
}

// Captions are the words for the pictures of a section, each said once.
func (s Section) Captions() []string {
	var out []string
	for _, p := range s.Plots {
		out = append(out, p.Alt)
	}
	for _, l := range s.Layouts {
		out = append(out, l.Alt)
	}
	return slices.Compact(out)
}
