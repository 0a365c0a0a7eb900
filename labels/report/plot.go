package report

import "slices"

// Plot is one picture of a section, described in words and figures and not yet
// drawn: [PDF] and [HTML] draw it, [Text] and [CSV] give its Alt. It is made to
// be read in grey: series differ by the pattern of their line and the shape of
// their marks, never by a colour. The section's table holds its figures.
type Plot struct {
	Title  string // above the picture, where there are several side by side
	Alt    string // what it shows, as a caption and for who can't see it
	X, Y   Axis
	Series []Series // drawn in their order, areas under lines
}

// level is a line across the plot.
func (p Plot) level(y float64) []Point { return []Point{{X: p.X.From, Y: y}, {X: p.X.To, Y: y}} }

// Axis is one axis of a plot.
type Axis struct {
	Label    string
	From, To float64
	Unit     string // behind each figure: %
	Ticks    []Tick // none: round figures
}

// Tick is a place on an axis with its name.
type Tick struct {
	At   float64
	Text string
}

// Shape is how the points of a series are drawn.
type Shape int

// The shapes.
const (
	Line     Shape = iota // from point to point
	Steps                 // level to the next point, then straight up or down
	Band                  // the area between Y and Low
	StepBand              // the area between two stepped lines
	Dots                  // a mark at each point
	Dotted                // a mark at each point, joined by a line
	Ranges                // an upright line from Low to Y
	Across                // a level line from Low to X
)

// Point is one point of a series; Low is used by bands and
// ranges.
type Point struct{ X, Y, Low float64 }

// Series is what is drawn alike and has one name in the key.
type Series struct {
	Name   string // empty: not in the key
	Shape  Shape
	Style  int  // picks the line pattern and the mark
	Faint  bool // thin and grey, for what stands behind the main line
	Points []Point
}

// Layout is pieces on stock drawn to scale, such as the cuts of a mesh sheet.
type Layout struct {
	Alt      string
	LengthMM float64 // of the stock, from left to right
	WidthMM  float64
	Pieces   []Piece
	// Along names what runs from left to right, e.g. "mesh direction"; an arrow
	// shows it. Empty: no arrow.
	Along string
}

// Piece is one rectangle of a Layout; X and Y are its upper left corner.
type Piece struct {
	X, Y, LengthMM, WidthMM float64
	Text                    string
	Short                   string // where Text does not fit
	Waste                   bool   // shaded
	Keep                    bool   // a remnant worth keeping: outlined in dashes
}

// changed gives the plot with every text changed by one.
func (p Plot) changed(one func(string) string) Plot {
	p.Title, p.Alt = one(p.Title), one(p.Alt)
	p.X, p.Y = p.X.changed(one), p.Y.changed(one)
	p.Series = slices.Clone(p.Series)
	for i := range p.Series {
		p.Series[i].Name = one(p.Series[i].Name)
	}
	return p
}

func (a Axis) changed(one func(string) string) Axis {
	a.Label, a.Unit = one(a.Label), one(a.Unit)
	a.Ticks = slices.Clone(a.Ticks)
	for i := range a.Ticks {
		a.Ticks[i].Text = one(a.Ticks[i].Text)
	}
	return a
}

func (l Layout) changed(one func(string) string) Layout {
	l.Alt, l.Along = one(l.Alt), one(l.Along)
	l.Pieces = slices.Clone(l.Pieces)
	for i := range l.Pieces {
		l.Pieces[i].Text, l.Pieces[i].Short = one(l.Pieces[i].Text), one(l.Pieces[i].Short)
	}
	return l
}
