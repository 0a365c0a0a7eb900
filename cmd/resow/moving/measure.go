package moving

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// What a column can hold. A text is read by the field that it is for.
const (
	text        = medium.OfText
	length      = medium.OfLength
	mass        = medium.OfMass
	volume      = medium.OfVolume
	span        = medium.OfSpan
	temperature = medium.OfTemperature
	percent     = medium.OfPercent
	strength    = medium.OfStrength
	number      = medium.OfNumber
	yesNo       = medium.OfYesNo
)

// units by what they measure, with other words for each.
var units = map[medium.Measure][]string{
	length: {"mm", "cm", "m", "in"}, mass: {"mg", "g", "kg", "oz", "lb"},
	volume: {"ml", "l", "floz", "tsp", "tbsp", "gal", "qt"},
	span:   {"s", "min", "h", "d"}, temperature: {"c", "f"}, percent: {"%"}, strength: {"ppm", "%"},
}

// unitNamed gives the unit that a word names, in one spelling.
func unitNamed(word string) (string, bool) {
	word = plain(word)
	if u := called("units", word); u != "" {
		return u, true
	}
	for _, list := range units {
		if slices.Contains(list, word) {
			return word, true
		}
	}
	return "", false
}

var headUnit = lazily(`^(.*?)\s*[(\[]\s*(.+?)\s*[)\]]$`)

// unitInHead parts a column's head from the unit that it names: "yield (g)",
// "yield_g", "yield in g".
func unitInHead(head string, of medium.Measure) (name, unit string) {
	p := plain(head)
	if m := headUnit().FindStringSubmatch(p); m != nil {
		if u, ok := unitNamed(m[2]); ok {
			return m[1], u
		}
		return m[1], strings.ReplaceAll(m[2], " ", "")
	}
	words := strings.Fields(p)
	if n := len(words); n > 1 {
		if u, ok := unitNamed(words[n-1]); ok && slices.Contains(units[of], u) {
			name = strings.Join(words[:n-1], " ")
			if last := words[n-2]; n > 2 && (last == "in" || last == "en") {
				name = strings.Join(words[:n-2], " ")
			}
			return name, u
		}
	}
	return p, ""
}

// bare says whether a cell is a number without a unit.
func bare(cell string) bool {
	_, err := strconv.ParseFloat(cell, 64)
	return err == nil
}

// inUnits brings the unit of a cell to one spelling: 90 Sek. is 90s.
func inUnits(cell string) string {
	w, ok := parseNumber(cell)
	if !ok {
		return cell
	}
	if u, ok := unitNamed(w.after); ok {
		return w.before + w.digits + u
	}
	return cell
}

// measure reads a cell in the base unit of what its field measures: mm, g, mL, s, C, %.
func measure(f field, cell, unit string) (float64, error) {
	if cell = inUnits(cell); bare(cell) && f.of != number {
		cell += unit
	}
	if f.of == number {
		cell = strings.Trim(cell, "$€£ ")
	}
	v, err := farm.Amount(f.of, f.word, cell)
	return math.Round(v*1e6) / 1e6, err
}

func readYesNo(f field, cell string) (bool, error) {
	word := plain(cell)
	switch said := called("yes or no", word); {
	case word == "" || said == "no":
		return false, nil
	case said == "yes":
		return true, nil
	}
	return false, fmt.Errorf("%s %q: want yes or no", f.word, cell)
}
