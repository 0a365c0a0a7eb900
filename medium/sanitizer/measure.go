package sanitizer

import (
	"math"
	"strconv"
	"strings"
)

// US customary volumes in mL. The US gallon is 231 cubic inches of 25.4 mm by
// definition; the others are its exact parts (NIST Handbook 44, appendix C).
const (
	GallonML     = 3785.411784
	QuartML      = GallonML / 4
	PintML       = GallonML / 8
	CupML        = GallonML / 16
	FluidOunceML = GallonML / 128
	TablespoonML = GallonML / 256
	TeaspoonML   = GallonML / 768
)

// Avoirdupois masses in g, exact by the international pound of 1959.
const (
	PoundG = 453.59237
	OunceG = PoundG / 16
)

// MaxML bounds every volume: 100 m3, more than a farm mixes, so that no sum
// in here can overflow.
const MaxML = 1e8

var volumeUnits = map[string]float64{
	"ml": 1, "cc": 1, "l": 1000,
	"tsp": TeaspoonML, "tbsp": TablespoonML, "cup": CupML, "cups": CupML,
	"floz": FluidOunceML, "pt": PintML, "qt": QuartML, "gal": GallonML,
}

var massUnits = map[string]float64{
	"mg": 0.001, "g": 1, "kg": 1000, "oz": OunceG, "lb": PoundG,
}

// ParseVolume reads `500mL`, `2tbsp`, `1gal`, `1 1/2 tsp`, `3/4 cup`,
// `3.5 fl oz` and gives millilitres. A bare number and a bare `oz` (weight or
// fluid?) are refused. Errors are *InputError.
func ParseVolume(text string) (ml float64, err error) {
	return parseMeasure("volume", text, volumeUnits, MaxML, "write for example 500mL, 2L, 2tbsp, 1 1/2 tsp, 1cup, "+
		"8floz or 1gal")
}

// ParseMass reads `14.3g`, `1/2 oz`, `2lb`, `1kg` and gives grams. Errors are
// *InputError.
func ParseMass(text string) (grams float64, err error) {
	return parseMeasure("mass", text, massUnits, MaxML, "write for example 14.3g, 1kg, 1/2 oz or 2lb")
}

func parseMeasure(what, text string, units map[string]float64, most float64, example string) (float64, error) {
	fail := func(why string) (float64, error) {
		return 0, &InputError{What: what, Input: text, Why: why, Fix: example}
	}
	value, unit, ok := splitMixedNumber(text)
	if !ok {
		return fail("does not start with a number that can be read")
	}
	unit = strings.ToLower(strings.NewReplacer(" ", "", ".", "").Replace(unit))
	if unit == "" {
		return fail("has no unit")
	}
	if unit == "oz" && what == "volume" {
		return fail("oz can be weight or volume; write floz for fluid ounces")
	}
	size, known := units[unit]
	if !known {
		return fail("the unit " + strconv.Quote(unit) + " is not known")
	}
	amount := value * size
	if !(amount > 0) || amount > most {
		return fail("must be above 0 and not absurdly large")
	}
	return amount, nil
}

// splitMixedNumber reads `2`, `2.5`, `1/2` and `1 1/2` at the start of text.
func splitMixedNumber(text string) (value float64, rest string, ok bool) {
	digits, rest := SplitNumber(text)
	if digits == "" {
		return 0, "", false
	}
	whole, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return 0, "", false
	}
	if strings.HasPrefix(rest, "/") {
		value, rest, ok = overDenominator(whole, rest[1:])
		return value, rest, ok && !strings.Contains(digits, ".")
	}
	numerator, afterNumerator := SplitNumber(rest)
	if numerator == "" {
		return whole, rest, true
	}
	if !strings.HasPrefix(afterNumerator, "/") || strings.Contains(digits+numerator, ".") {
		return 0, "", false
	}
	top, err := strconv.ParseFloat(numerator, 64)
	if err != nil {
		return 0, "", false
	}
	part, rest, ok := overDenominator(top, afterNumerator[1:])
	return whole + part, rest, ok && part < 1
}

func overDenominator(top float64, text string) (value float64, rest string, ok bool) {
	digits, rest := SplitNumber(text)
	if digits == "" || strings.Contains(digits, ".") {
		return 0, "", false
	}
	bottom, err := strconv.ParseFloat(digits, 64)
	if err != nil || bottom == 0 {
		return 0, "", false
	}
	return top / bottom, rest, true
}

// System is a kitchen's set of measures.
type System string

// The two systems.
const (
	Metric System = "metric"
	US     System = "US"
)

// step is the finest mark used up to a volume. The ladders say what a 1 mL, a
// 3 mL and a 10 mL syringe, a 60 mL syringe, a 1 L jug and a bucket show, and what US
// spoons and cups show (common practice, no source).
type step struct{ uptoML, markML float64 }

var ladders = map[System][]step{
	Metric: {{1, 0.05}, {3, 0.1}, {10, 0.2}, {60, 1}, {1000, 10}, {5000, 50}, {math.Inf(1), 500}},
	US: {
		{TablespoonML, TeaspoonML / 8}, {CupML / 4, TeaspoonML / 4}, {CupML, TeaspoonML},
		{QuartML, TablespoonML}, {GallonML, CupML / 4}, {math.Inf(1), CupML},
	},
}

// MarkML is the finest step, in mL, that is used at a volume of ml.
func MarkML(ml float64, system System) float64 {
	for _, s := range ladders[system] {
		if ml < s.uptoML {
			return s.markML
		}
	}
	return ladders[Metric][0].markML
}

// RoundVolume rounds ml to what a spoon, syringe or jug shows and writes it,
// for example `2 tbsp + 1/2 tsp`. The result is 0 with an empty text when the
// volume is below half the finest mark.
func RoundVolume(ml float64, system System) (rounded float64, text string) {
	if !(ml > 0) || ml > 2*MaxML {
		return 0, ""
	}
	return roundToMark(ml, MarkML(ml, system), system)
}

func roundToMark(ml, mark float64, system System) (rounded float64, text string) {
	rounded = math.Round(ml/mark) * mark
	if rounded <= 0 {
		return 0, ""
	}
	return rounded, VolumeText(rounded, system)
}

// VolumeText writes a volume that is already rounded to marks.
func VolumeText(ml float64, system System) string {
	if system == US {
		return usText(ml)
	}
	if ml >= 1000 {
		return figure(ml/1000) + " L"
	}
	return figure(ml) + " mL"
}

func usText(ml float64) string {
	// Eighths of a teaspoon are the common measure of all US kitchen units.
	left := int64(math.Round(ml / (TeaspoonML / 8)))
	parts := []string{}
	take := func(unit string, eighths, quarter int64) {
		whole := left / eighths
		left -= whole * eighths
		quarters := int64(0)
		if quarter > 0 && (whole > 0 || left >= quarter) {
			quarters = left / quarter
			left -= quarters * quarter
		}
		if whole+quarters > 0 {
			parts = append(parts, mixedText(whole, quarters, 4)+" "+unit)
		}
	}
	take("gal", 768*8, 0)
	take("cup", 48*8, 12*8)
	take("tbsp", 3*8, 0)
	if left > 0 {
		parts = append(parts, mixedText(left/8, left%8, 8)+" tsp")
	}
	return strings.Join(parts, " + ")
}

func mixedText(whole, top, bottom int64) string {
	for top > 0 && top%2 == 0 {
		top, bottom = top/2, bottom/2
	}
	if top == 0 {
		return strconv.FormatInt(whole, 10)
	}
	fraction := strconv.FormatInt(top, 10) + "/" + strconv.FormatInt(bottom, 10)
	if whole == 0 {
		return fraction
	}
	return strconv.FormatInt(whole, 10) + " " + fraction
}
