package farm

import (
	"math"
	"strconv"
	"time"

	"resow/medium"
	"resow/medium/sanitizer"
)

// BatchLine is one product of tonight's work.
type BatchLine struct {
	sanitizer.BatchLine
	ContactS    int     `json:"contact_s"`
	StrengthPPM float64 `json:"strength_ppm,omitempty"`
	StockML     float64 `json:"stock_ml,omitempty"`
	StockG      float64 `json:"stock_g,omitempty"`
	WaterML     float64 `json:"water_ml,omitempty"`
	Make        string  `json:"-"` // so much is mixed, as a person says it
}

// Lapses says whether a ready mat is to be sanitized again by a time.
func (f *Farm) Lapses(c medium.Condition, until time.Time) bool {
	work, ok := medium.WorkOn(c, f.Farm, f.Loc)
	if !ok {
		return false
	}
	for _, d := range work.Dues {
		if d.Step == medium.KindSanitize && !d.At.After(until) {
			return true
		}
	}
	return false
}

// ProductFor is the product named, the one that the mat had last, or the only
// one with a label's directions.
func (f *Farm) ProductFor(c medium.Condition, name string) medium.Sanitizer {
	if name == "" && c.Sanitized != nil {
		name = c.Sanitized.Product
	}
	if d, ok := f.Sanitizer(name, ""); ok && name != "" {
		return d
	}
	var only []medium.Sanitizer
	for _, d := range f.Sanitizers {
		if d.Directions == medium.DirectionsLabel {
			only = append(only, d)
		}
	}
	if len(only) == 1 {
		return only[0]
	}
	return medium.Sanitizer{}
}

// BatchPlan adds the recipe to a product's line, or says why there is none; a line
// without a product stays as it is.
func (f *Farm) BatchPlan(g sanitizer.BatchLine) (line BatchLine, cautions []sanitizer.Caution, why string) {
	line = BatchLine{BatchLine: g}
	d, ok := f.Sanitizer(g.Product, "")
	if !ok {
		return line, nil, ""
	}
	line.ContactS = d.ContactS
	if d.Directions == "" {
		return line, nil, sanitizer.NoDirections
	}
	m := Mixing{Product: d.Name, Volume: roundUp(math.Round(g.MakeML))}
	doc, err := f.Mix(m)
	if err != nil {
		return line, nil, err.Error()
	}
	mix := roundMix(doc.Mix)
	line.StrengthPPM, line.StockML, line.WaterML = mix.StrengthPPM, mix.StockML, mix.WaterML
	if doc.stock.Active.Solid() {
		line.StockG = mix.StockG
	}
	line.Make = m.Volume
	return line, mix.Cautions, ""
}

// roundUp writes a volume for a command, up to the next 50 mL or tenth of a
// litre.
func roundUp(ml float64) string {
	if ml <= 950 {
		return strconv.FormatFloat(math.Ceil(ml/50)*50, 'f', -1, 64) + "mL"
	}
	return strconv.FormatFloat(math.Ceil(ml/100)/10, 'f', -1, 64) + "L"
}
