package moving

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"

	"resow/cmd/resow/amount"
)

// quantity is what a column measures.
type quantity int

const (
	text quantity = iota
	length
	mass
	volume
	span
	temperature
	percent
	strength
	number
	yesNo
)

// units that a column's head may name, by quantity.
var units = map[quantity][]string{
	length: {"mm", "cm", "m", "in"}, mass: {"mg", "g", "kg", "oz", "lb"}, volume: {"ml", "l", "floz", "tsp", "tbsp", "gal", "qt"},
	span: {"s", "sec", "min", "h", "d"}, temperature: {"c", "f"}, percent: {"%"}, strength: {"ppm", "%"},
}

var headUnit = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^(.*?)\s*[(\[]\s*(.+?)\s*[)\]]$`) })

// unitInHead parts a column's head from the unit that it names: "yield (g)",
// "yield_g".
func unitInHead(head string, of quantity) (name, unit string) {
	p := plain(head)
	if m := headUnit().FindStringSubmatch(p); m != nil {
		return m[1], strings.ReplaceAll(m[2], " ", "")
	}
	for _, u := range units[of] {
		if rest, ok := strings.CutSuffix(p, " "+u); ok {
			return rest, u
		}
	}
	return p, ""
}

// guessUnit takes the unit for bare numbers that the farm's own units suggest.
func guessUnit(f field, cells []string, us bool) string {
	pick := func(metric, other string) string {
		if us {
			return other
		}
		return metric
	}
	switch f.of {
	case length:
		return pick("mm", "in")
	case mass:
		return pick("g", "oz")
	case volume:
		return pick("ml", "floz")
	case temperature:
		return pick("c", "f")
	case percent:
		return "%"
	case strength:
		return "ppm"
	case span:
		return guessSpan(f, cells)
	}
	return ""
}

func guessSpan(f field, cells []string) string {
	if f.name == "for" {
		return "h"
	}
	if f.name == "took" {
		return "min"
	}
	for _, c := range cells { // contact times: no label asks for less than half a minute of half a minute
		if v, err := strconv.ParseFloat(strings.Replace(c, ",", ".", 1), 64); err == nil && v < 30 {
			return "min"
		}
	}
	return "s"
}

func bare(cell string) bool {
	_, err := strconv.ParseFloat(strings.Replace(cell, ",", ".", 1), 64)
	return err == nil
}

// measure reads a cell in the base unit of its quantity: mm, g, mL, s, C, %.
func measure(f field, cell, unit string) (float64, error) {
	if bare(cell) && f.of != number {
		cell += unit
	}
	var v float64
	var err error
	switch f.of {
	case length:
		v, err = amount.Length(f.name, cell)
	case mass:
		v, err = amount.Mass(f.name, cell)
	case volume:
		v, err = amount.Volume(f.name, cell)
	case span:
		d, spanErr := amount.Span(f.name, cell)
		v, err = d.Seconds(), spanErr
	case temperature:
		v, err = amount.Temperature(f.name, cell)
	case percent:
		v, err = amount.Percent(f.name, cell)
	default:
		v, err = amount.Number(f.name, strings.Trim(cell, "$€£ "))
	}
	return math.Round(v*1e6) / 1e6, err
}

func readYesNo(f field, cell string) (bool, error) {
	switch plain(cell) {
	case "yes", "y", "true", "1", "x", "pass", "passed":
		return true, nil
	case "no", "n", "false", "0", "", "fail", "failed":
		return false, nil
	}
	return false, fmt.Errorf("%s %q: want yes or no", f.name, cell)
}
