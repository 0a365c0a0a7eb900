package sanitizer

import (
	"fmt"
	"strings"

	"resow/medium"
)

// drugstorePPM is where a peroxide solution is near drugstore strength: 2.5 %
// (lower edge of the pharmacopoeia's range, from memory).
const drugstorePPM = 25_000

// DrugstorePeroxide is said wherever peroxide near 3 % is registered or used.
// 30,000 / 1,100 = 27: 65 FR 75174 for the ceiling.
const DrugstorePeroxide = "Drugstore peroxide of 3 % is about 30,000 ppm, 27 times the published ceiling of 1,100 " +
	"ppm for sanitizing solutions of peroxide on food processing equipment (65 FR 75174). It is not a labeled " +
	"sanitizer unless its own label says so. Rinse with potable water and dry, and write it down as a farm " +
	"procedure; or use a product whose label covers food-contact surfaces."

// NoDirections is the text for a product with none on file.
const NoDirections = "No directions are on file for this product: copy the label's directions for food-contact " +
	"surfaces, or write and initial a farm procedure. Until then no step with it is accepted."

// Notes are sentences that belong beside a product's directions wherever they
// are shown: none on file, the farm procedure, the ceiling, drugstore peroxide.
func Notes(s medium.Sanitizer) []string {
	notes := []string{}
	if s.Directions == "" {
		notes = append(notes, NoDirections)
	}
	if s.Directions == medium.DirectionsFarm {
		notes = append(notes, "This is the farm's own procedure, not a label: a care note stands on every verdict and "+
			"report until a labeled product is used.")
	}
	a := Active(s.Active)
	if a == Peroxide && (s.MaxPPM >= drugstorePPM || s.MaxPPM == 0 && stockPPM(s) >= drugstorePPM) {
		notes = append(notes, DrugstorePeroxide)
	}
	if c, known := a.Ceiling(); known && s.MaxPPM > c.PPM && !s.Rinse {
		notes = append(notes, fmt.Sprintf("These directions go up to %s mg/L without a rinse, above the published %s "+
			"mg/L (%s): read the label again, it is the rule.", figure(s.MaxPPM), figure(c.PPM), c.Source))
	}
	if s.Directions == medium.DirectionsLabel && strings.TrimSpace(s.Registration) == "" {
		notes = append(notes, "No registration number is written down: a labeled sanitizer has one on its label.")
	}
	return notes
}

// ReadStock reads a stock's strength as a person types it and gives the text
// that a record keeps. Errors as in ParseStrength and Strength.Check.
func ReadStock(a Active, text string) (string, error) {
	strength, err := ParseStrength(text)
	if err != nil {
		return "", err
	}
	return strength.String(), strength.Check(a)
}

// StockOf is the stock of a product on file, as Dilute and the others take it.
// A product without a stock strength gives *NoStockError.
func StockOf(s medium.Sanitizer) (Stock, error) {
	if strings.TrimSpace(s.Stock) == "" {
		return Stock{}, &NoStockError{Product: s.Name}
	}
	strength, err := ParseStrength(s.Stock)
	if err != nil {
		return Stock{}, err
	}
	stock := Stock{Product: s.Name, Active: Active(s.Active), Strength: strength, DensityGPerML: s.DensityGPML}
	_, err = stock.usable()
	return stock, err
}

// PPM is the stock's own strength in mg/L of what is counted; for granules, of
// a solution that would hold nothing else.
func (s Stock) PPM() (float64, error) {
	l, err := s.usable()
	if err != nil {
		return 0, err
	}
	return l.ppm(), nil
}

func stockPPM(s medium.Sanitizer) float64 {
	stock, err := StockOf(s)
	if err != nil {
		return 0
	}
	ppm, _ := stock.PPM() // an unknown strength is no drugstore peroxide
	return ppm
}

// DensitySource says in words what density the arithmetic takes for a stock.
func (s Stock) DensitySource() string { return s.densitySource() }
