// Package labels makes and reads the codes that tell mats apart, and draws
// everything that carries one: label sheets, cable-tie and loop tags, solution
// bottle tags, action cards, calibration pages and a door sign.
//
// All lengths are millimetres unless a name says otherwise; type sizes are
// points (1/72 inch). The package keeps no clock and no random source of its
// own: both are handed in, so the same input gives the same bytes.
package labels

import "fmt"

// PrintError says why something cannot be printed: a label, its stock, its
// payload or a printer's correction.
type PrintError struct{ Text string }

func (e *PrintError) Error() string { return e.Text }

func refused(format string, args ...any) error { return &PrintError{fmt.Sprintf(format, args...)} }

const pointsPerMM = 72 / 25.4

// Box is a rectangle in millimetres, origin at the top left, y down.
type Box struct{ X, Y, W, H float64 }

func (b Box) right() float64  { return b.X + b.W }
func (b Box) bottom() float64 { return b.Y + b.H }

func (b Box) inset(d float64) Box { return Box{b.X + d, b.Y + d, b.W - 2*d, b.H - 2*d} }

// across is where a line of some length begins in the box, at its left or in its
// middle.
func (b Box) across(long float64, center bool) (x, length float64) {
	if center {
		return b.X + (b.W-long)/2, long
	}
	return b.X, long
}

func (b Box) shifted(dx, dy float64) Box { return Box{b.X + dx, b.Y + dy, b.W, b.H} }
