package sanitizer

import (
	"math"
	"strconv"
	"strings"
)

// Basis says what a strength figure counts. The text of a basis is its unit as
// a person types it.
type Basis string

// The bases. Percent by weight and weight by volume count the compound that
// the label names (sodium hypochlorite, hydrogen peroxide …); all others count
// what Active.CountedAs says (available chlorine for the chlorines).
const (
	PercentWW    Basis = "%ww"    // g of compound in 100 g
	PercentWV    Basis = "%wv"    // g of compound in 100 mL
	PercentTrade Basis = "%trade" // g available chlorine in 100 mL
	PercentAvail Basis = "%avail" // g available chlorine in 100 g
	GramPerL     Basis = "g/L"
	MgPerL       Basis = "mg/L" // ppm
	MgPerKg      Basis = "mg/kg"
	Volumes      Basis = "vol" // mL oxygen from 1 mL, peroxide only
)

// Strength is a figure together with its basis. They are never parted: 5.25 %
// bleach is 5.0 % available chlorine by weight and 5.4 % by the trade.
type Strength struct {
	Value float64 `json:"value"`
	Basis Basis   `json:"basis"`
}

var basisNames = map[string]Basis{
	// A percent with nothing behind it is read as by weight: that is how
	// bleach labels count (common practice, no source). The difference to w/v
	// is 1 % of the figure at 3 % peroxide.
	"%": PercentWW, "%ww": PercentWW, "%w/w": PercentWW,
	"%wv": PercentWV, "%w/v": PercentWV,
	"%trade": PercentTrade, "%avail": PercentAvail,
	"g/l": GramPerL, "gpl": GramPerL,
	"ppm": MgPerL, "mg/l": MgPerL,
	"mg/kg": MgPerKg, "vol": Volumes,
}

// mostOf is the largest figure that a basis can take at all. Pure peroxide is
// 1450 g/L and would be 478 volume.
var mostOf = map[Basis]float64{
	PercentWW: 100, PercentWV: 150, PercentTrade: 150, PercentAvail: 100,
	GramPerL: 1500, MgPerL: 1.5e6, MgPerKg: 1e6, Volumes: 480,
}

// ParseStrength reads `3%`, `3%ww`, `5.25%ww`, `10%trade`, `65%avail`,
// `120g/L`, `200ppm`, `1100mg/L`, `500mg/kg`, `10vol`. A bare number is
// refused because 3 could be percent, ppm or volumes. Errors are *InputError.
func ParseStrength(text string) (Strength, error) {
	digits, unit := SplitNumber(text)
	fail := func(why, fix string) (Strength, error) {
		return Strength{}, &InputError{What: "strength", Input: text, Why: why, Fix: fix}
	}
	const example = "write for example 3%, 5.25%ww, 10%trade, 200ppm, 1100mg/L, 500mg/kg or 10vol"
	if digits == "" {
		return fail("does not start with a number", example)
	}
	value, err := strconv.ParseFloat(digits, 64)
	if err != nil {
		return fail("the number cannot be read", example)
	}
	if unit == "" {
		return fail("has no unit and could be percent, ppm or volumes", example)
	}
	basis, known := basisNames[strings.ToLower(strings.ReplaceAll(unit, " ", ""))]
	if !known {
		return fail("the unit "+strconv.Quote(unit)+" is not known", example)
	}
	s := Strength{Value: value, Basis: basis}
	if value <= 0 || value > mostOf[basis] {
		return fail("must be above 0 and at most "+figure(mostOf[basis])+" "+string(basis), "look at the label again")
	}
	return s, nil
}

// String prints the strength so that ParseStrength reads it back unchanged.
func (s Strength) String() string {
	return strconv.FormatFloat(s.Value, 'f', -1, 64) + string(s.Basis)
}

// Check refuses figures that no label carries: not a number, zero, negative,
// above the pure substance, or a basis that does not fit the active.
func (s Strength) Check(a Active) error {
	if !a.Known() {
		return &UnknownActiveError{Input: string(a)}
	}
	most, known := mostOf[s.Basis]
	if !known {
		return &BasisError{Active: a, Basis: s.Basis, Why: "the basis is not known"}
	}
	if !(s.Value > 0) || s.Value > most {
		return &AmountError{What: "strength in " + string(s.Basis), Value: s.Value}
	}
	switch {
	case s.Basis == Volumes && a != Peroxide:
		return &BasisError{Active: a, Basis: s.Basis, Why: "volumes of oxygen count peroxide only"}
	case (s.Basis == PercentTrade || s.Basis == PercentAvail) && !a.Chlorine():
		return &BasisError{Active: a, Basis: s.Basis, Why: "available chlorine counts chlorine products only"}
	}
	return nil
}

// byMass says whether the basis counts per mass of solution.
func (b Basis) byMass() bool { return b == PercentWW || b == PercentAvail || b == MgPerKg }

// gramsPerVolume is the mass of H2O2 per litre in one "volume": 2 mol H2O2 per
// mol O2 at 0 C and 101.325 kPa. 10 volumes are 3 % (general chemistry texts).
const gramsPerVolume = 2 * molarH2O2 / (molarVolumeMLMol / 1000)

// unitMass is the mass in grams of the compound that one unit of the basis
// stands for, per gram (byMass) or per millilitre of solution.
func (b Basis) unitMass(a Active) float64 {
	switch b {
	case PercentWW, PercentWV:
		return 0.01
	case PercentTrade, PercentAvail:
		return 0.01 / a.countedShare()
	case GramPerL:
		return 1e-3 / a.countedShare()
	case Volumes:
		return gramsPerVolume / 1000
	default: // MgPerL, MgPerKg
		return 1e-6 / a.countedShare()
	}
}

// Convert expresses s in another basis. densityGPerML is the density of this
// very solution; it is needed only between a weight basis and a volume basis
// (then 0 gives *NoDensityError). Available chlorine = NaOCl * 70.906/74.442
// and trade percent = weight percent available * specific gravity: producers'
// profile citing Handbook of Chlorination (1972).
func (s Strength) Convert(to Basis, a Active, densityGPerML float64) (Strength, error) {
	if err := s.Check(a); err != nil {
		return Strength{}, err
	}
	// The target basis is checked with a figure that always fits, so that
	// only its meaning is judged.
	if err := (Strength{Value: 1e-9, Basis: to}).Check(a); err != nil {
		return Strength{}, err
	}
	ratio := s.Basis.unitMass(a) / to.unitMass(a)
	if s.Basis.byMass() == to.byMass() {
		return Strength{Value: s.Value * ratio, Basis: to}, nil
	}
	if densityGPerML == 0 {
		return Strength{}, &NoDensityError{Active: a, Strength: s}
	}
	if err := checkDensity(densityGPerML); err != nil {
		return Strength{}, err
	}
	if to.byMass() {
		return Strength{Value: s.Value * ratio / densityGPerML, Basis: to}, nil
	}
	return Strength{Value: s.Value * ratio * densityGPerML, Basis: to}, nil
}

// fraction is the mass of the compound per mass of solution.
func (s Strength) fraction(a Active, c curve) (float64, error) {
	content := s.Value * s.Basis.unitMass(a)
	if s.Basis.byMass() {
		if last := c.last(); content > last {
			return 0, c.outside(content)
		}
		return content, nil
	}
	return c.fractionAt(content)
}

// PPM is the strength in mg/L. The density is the handbook's, or the one
// given (0 = not given). Errors as in Stock.
func (s Strength) PPM(a Active, densityGPerML float64) (float64, error) {
	l, err := Stock{Active: a, Strength: s, DensityGPerML: densityGPerML}.liquid()
	if err != nil {
		return 0, err
	}
	return l.ppm(), nil
}

// UsePPM reads a strength in use and gives it in mg/L of what the active's label
// counts. One that is typed in ppm is kept as typed, less the noise of the
// conversion, since it is compared with a limit (49.96ppm is not 50); any other
// keeps the three digits that it can mean. Errors as in ParseStrength and PPM.
func UsePPM(active, text string) (float64, error) {
	s, err := ParseStrength(text)
	if err != nil {
		return 0, err
	}
	v, err := s.PPM(Active(active), 0)
	if err != nil {
		return 0, err
	}
	digits := 3
	if s.Basis == MgPerL {
		digits = 10
	}
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	return rounded, nil
}

// UseRange reads a strength of directions and gives the span, in mg/L, of what it
// can honestly mean. A percent with nothing behind it can be by weight or by
// volume, for chlorine what is available of it, and for peroxide a tenth of three
// volumes (10 volumes are 3 %: general chemistry texts). Anything else means one
// figure. Errors as UsePPM.
func UseRange(active, text string) (least, most float64, err error) {
	least, err = UsePPM(active, text)
	most = least
	digits, unit := SplitNumber(text)
	if err != nil || unit != "%" {
		return least, most, err
	}
	value, _ := strconv.ParseFloat(digits, 64) // UsePPM has read it
	readings := []string{digits + string(PercentWV)}
	switch a := Active(active); {
	case a.Chlorine():
		readings = append(readings, digits+string(PercentTrade), digits+string(PercentAvail))
	case a == Peroxide:
		readings = append(readings, strconv.FormatFloat(value*10/3, 'f', 6, 64)+string(Volumes))
	}
	for _, r := range readings {
		if v, err := UsePPM(active, r); err == nil { // 100 % by weight is no volume of anything
			least, most = min(least, v), max(most, v)
		}
	}
	return least, most, nil
}

// SplitNumber cuts text into a plain decimal number and the rest. A decimal
// comma is given back as a point; one that can as well part thousands (1,000)
// is refused. Signs, exponents, "nan" and "inf" are not numbers here.
func SplitNumber(text string) (digits, rest string) {
	text = strings.TrimSpace(text)
	end, dots := 0, 0
	for end < len(text) {
		c := text[end]
		if c == '.' || c == ',' {
			dots++
		} else if c < '0' || c > '9' {
			break
		}
		end++
	}
	whole, part, comma := strings.Cut(text[:end], ",")
	if comma && len(part) == 3 && strings.Trim(whole, "0") != "" {
		return "", text
	}
	digits = strings.Replace(text[:end], ",", ".", 1)
	if dots > 1 || strings.Trim(digits, ".") == "" || len(digits) > 24 {
		return "", text
	}
	return digits, strings.TrimSpace(text[end:])
}

// figure prints a number for a person: four significant digits, no exponent
// and no trailing zeros.
func figure(v float64) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	if v == 0 {
		return "0"
	}
	places := 3 - int(math.Floor(math.Log10(math.Abs(v))))
	if places <= 0 {
		return strconv.FormatFloat(math.Round(v), 'f', 0, 64)
	}
	text := strconv.FormatFloat(v, 'f', min(places, 12), 64)
	return strings.TrimRight(strings.TrimRight(text, "0"), ".")
}
