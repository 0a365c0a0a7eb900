// Package sunlight works out how much sun a mat got while it dried outdoors:
// where the sun stands, the clear-sky UV index, the erythemal dose and the
// total sun, which wears the plastic.
//
// Drying in the sun earns no sanitizing credit. The figures in here are for
// wear only.
package sunlight

import (
	"fmt"
	"math"
	"time"
)

// NoSanitizingCredit stands beside every sun figure. No produce or food code
// text was found that names sun drying as sanitizing: those codes name hot
// water or chemicals, and an erythemal dose is not a germicidal dose (our
// inference from that absence).
const NoSanitizingCredit = "Sun drying earns no sanitizing credit: sunlight is counted as wear on the mat, never " +
	"as a kill step. Sanitize by the product's label."

// Place is where the mat dries. Latitude north and longitude east are
// positive, in degrees.
type Place struct {
	LatDeg float64 `json:"lat_deg"`
	LonDeg float64 `json:"lon_deg"`
}

// Check refuses figures that are no place on earth. Error: *RangeError.
func (p Place) Check() error {
	if !(p.LatDeg >= -90 && p.LatDeg <= 90) {
		return &RangeError{What: "latitude", Value: p.LatDeg, Min: -90, Max: 90, Unit: "degrees", Fix: "north is positive"}
	}
	if !(p.LonDeg >= -180 && p.LonDeg <= 180) {
		return &RangeError{What: "longitude", Value: p.LonDeg, Min: -180, Max: 180, Unit: "degrees",
			Fix: "east is positive, the Americas are negative"}
	}
	return nil
}

// RangeError reports a figure outside what the formula that uses it covers.
type RangeError struct {
	What     string
	Value    float64
	Min, Max float64
	Unit     string
	Fix      string
}

func (e *RangeError) Error() string {
	return fmt.Sprintf("%s %g %s is outside %g to %g; %s", e.What, e.Value, e.Unit, e.Min, e.Max, e.Fix)
}

// WindowError reports a drying time that is empty, backwards or longer than a
// day.
type WindowError struct{ Start, End time.Time }

func (e *WindowError) Error() string {
	return fmt.Sprintf("from %s to %s is not a time in the sun of one day at most; give start and end of one drying",
		e.Start.Format(time.RFC3339), e.End.Format(time.RFC3339))
}

// NoSunriseError reports a polar day or night.
type NoSunriseError struct{ AlwaysUp bool }

func (e *NoSunriseError) Error() string {
	if e.AlwaysUp {
		return "the sun does not set on this day at this place; give start and end of the drying yourself"
	}
	return "the sun does not rise on this day at this place; there is no sun to count"
}

func sin(deg float64) float64    { return math.Sin(deg * math.Pi / 180) }
func cos(deg float64) float64    { return math.Cos(deg * math.Pi / 180) }
func asin(x float64) float64     { return math.Asin(min(1, max(-1, x))) * 180 / math.Pi }
func atan2(y, x float64) float64 { return math.Atan2(y, x) * 180 / math.Pi }

// turn brings an angle into 0 to 360 degrees.
func turn(deg float64) float64 {
	deg = math.Mod(deg, 360)
	if deg < 0 {
		deg += 360
	}
	return deg
}
