package labels

import (
	"math"
)

// Correction is what the calibration page showed of a printer: how far to move
// the print, mm right and down, and how much to stretch it (1.01 is one per
// cent; 0 counts as 1).
type Correction struct {
	OffsetX, OffsetY float64
	ScaleX, ScaleY   float64
}

// check refuses a correction that no printer in order needs.
func (c Correction) check() error {
	for _, v := range []float64{c.OffsetX, c.OffsetY} {
		if !(math.Abs(v) <= 20) {
			return refused("a printer offset of %v mm cannot be; give -20 to 20 as measured on the calibration page", v)
		}
	}
	for _, v := range []float64{c.ScaleX, c.ScaleY} {
		if v != 0 && !(v >= 0.9 && v <= 1.1) {
			return refused("a scale of %v cannot be; give 0.9 to 1.1, and print at 100 %% first", v)
		}
	}
	return nil
}
