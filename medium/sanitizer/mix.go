package sanitizer

import (
	"cmp"
	"math"

	"resow/medium"
)

// Window is a closed range; the zero Window means that nothing is stated.
type Window struct {
	Min float64 `json:"min"`
	Max float64 `json:"max"`
}

// Stated says whether there is a range at all.
func (w Window) Stated() bool { return w != Window{} }

// Has says whether v lies in the window.
func (w Window) Has(v float64) bool { return v >= w.Min && v <= w.Max }

// Use says under what rules a mixture will be used.
type Use struct {
	// RinseDeclared: the directions ask for a rinse with potable water and it
	// will be done. Without it the published no-rinse ceiling is enforced.
	RinseDeclared bool
	// LabelPPM is the label's strength range in mg/L; zero = not given.
	// Rounded recipes stay inside it or are left out.
	LabelPPM Window
	// Ceiling is the farm's own no-rinse ceiling; zero = the published one.
	Ceiling Ceiling
	Misting bool
}

// UseOf is how a product on file is used under the farm's policy. rinse says
// that the mats are rinsed with potable water even where the directions don't
// ask for it.
func UseOf(d medium.Sanitizer, p medium.Policy, rinse, mist bool) Use {
	use := Use{RinseDeclared: rinse || d.Rinse, Misting: mist}
	if d.Directions != "" {
		use.LabelPPM = Window{Min: d.MinPPM, Max: d.MaxPPM}
		if d.MaxPPM <= d.MinPPM*1.01 { // one strength, to three digits: any recipe is told with its error
			use.LabelPPM = Window{Min: d.MinPPM * 0.995, Max: d.MaxPPM * 1.005}
		}
	}
	use.Ceiling, _ = Active(d.Active).CeilingUnder(p)
	return use
}

// ceiling is the no-rinse ceiling in force.
func (use Use) ceiling(a Active) (Ceiling, bool) {
	if use.Ceiling.PPM > 0 {
		return use.Ceiling, true
	}
	return a.Ceiling()
}

// Mix is the answer to every mixing question. Strengths are mg/L of what is
// counted (Active.CountedAs) and percent by weight of the named compound.
// Volumes are at room temperature.
type Mix struct {
	Active  Active  `json:"active"`
	StockML float64 `json:"stock_ml"` // 0 for granules, see StockG
	StockG  float64 `json:"stock_g"`
	// Stock2ML is the second stock of a blend, or the solution that an
	// adjustment starts from.
	Stock2ML          float64 `json:"stock2_ml,omitempty"`
	WaterML           float64 `json:"water_ml"`
	FinalML           float64 `json:"final_ml"`
	StrengthPPM       float64 `json:"strength_ppm"`
	StrengthPercentWW float64 `json:"strength_percent_ww"`
	CountedAs         string  `json:"counted_as"`
	StockDensity      float64 `json:"stock_density_g_per_ml,omitempty"` // 0 for granules
	DensitySource     string  `json:"density_source,omitempty"`

	// Kitchen is the common answer, stock% * V1 = target% * V2 with the
	// printed figures taken as they stand (1 % = 10,000 ppm).
	Kitchen *Kitchen `json:"kitchen,omitempty"`
	Recipes []Recipe `json:"recipes,omitempty"`

	RinseNeeded bool      `json:"rinse_needed"`
	Notes       []string  `json:"notes,omitempty"`
	Cautions    []Caution `json:"cautions"`
}

// Kitchen is the v/v shortcut and what it really gives.
type Kitchen struct {
	StockML      float64 `json:"stock_ml"`
	StrengthPPM  float64 `json:"strength_ppm"`
	ErrorPercent float64 `json:"error_percent"` // against the wanted strength
}

// Recipe is a mix in marks that a kitchen has, and the strength it really
// gives.
type Recipe struct {
	System       System  `json:"system"`
	Text         string  `json:"text"`
	MeasureML    float64 `json:"measure_ml"` // what the spoon or syringe holds
	FinalML      float64 `json:"final_ml"`
	StrengthPPM  float64 `json:"strength_ppm"`
	ErrorPercent float64 `json:"error_percent"`
}

// Smallest amounts that can be measured at all: the first marks of a 1 mL
// syringe and of a pocket scale (common practice, no source).
const (
	SmallestML = 0.05
	SmallestG  = 0.1
)

// Dilute computes stock and water for finalML of a use solution.
// Errors: amounts, unknown density, basis, *TooStrongError, *CeilingError,
// *TooSmallError.
func Dilute(stock Stock, target Strength, finalML float64, use Use) (Mix, error) {
	s, t, err := prepare(stock, target, use)
	if err = cmp.Or(err, checkML("final volume", finalML)); err != nil {
		return Mix{}, err
	}
	stockG := finalML * t.density() * t.fraction / s.fraction
	return dilution(result(stock, s, t, stockG, finalML, use), stock, s, t, target, use)
}

// FromStock computes the water for a given amount of stock: stockML for a
// liquid, grams for granules.
func FromStock(stock Stock, target Strength, amount float64, use Use) (Mix, error) {
	s, t, err := prepare(stock, target, use)
	if err = cmp.Or(err, checkML("amount of stock", amount)); err != nil {
		return Mix{}, err
	}
	stockG := amount
	if !stock.Active.Solid() {
		stockG = amount * s.density()
	}
	finalML := stockG * s.fraction / t.fraction / t.density()
	if err := checkML("final volume", finalML); err != nil {
		return Mix{}, err
	}
	m, err := dilution(result(stock, s, t, stockG, finalML, use), stock, s, t, target, use)
	if err != nil || stock.Active.Solid() || m.Recipes == nil {
		return m, err
	}
	// The amount of stock is fixed here, so it is the water that is measured.
	m.Recipes = recipes(m.WaterML, func(ml float64) (liquid, float64) {
		mass := stockG + ml*WaterDensity20C
		out := s.at(stockG * s.fraction / mass)
		return out, mass / out.density()
	}, func(text string) string { return "Measure " + text + " water and pour your stock into it." }, t.ppm(), use,
		s.active)
	return m, nil
}

// Reverse answers "2 tbsp in 1 gal is … ppm": amount of stock (mL, or grams
// for granules) put into waterML of water. It is a question about something
// that may exist already, so a result above the ceiling is answered with a
// note, not refused.
func Reverse(stock Stock, amount, waterML float64, use Use) (Mix, error) {
	s, err := stock.usable()
	if err = cmp.Or(err, checkML("amount of stock", amount), checkML("water", waterML)); err != nil {
		return Mix{}, err
	}
	stockG := amount
	if !stock.Active.Solid() {
		stockG = amount * s.density()
	}
	total := stockG + waterML*WaterDensity20C
	out := s.at(stockG / total * s.fraction)
	m := result(stock, s, out, stockG, total/out.density(), use)
	m.WaterML = waterML
	return m, nil
}

// Blend gives the strength of two stocks of one active poured together
// (mL each). Two actives are refused. A result above the ceiling is noted.
func Blend(a Stock, aML float64, b Stock, bML float64, use Use) (Mix, error) {
	la, lb, err := bothStocks(a, b)
	if err = cmp.Or(err, checkML("first stock", aML), checkML("second stock", bML)); err != nil {
		return Mix{}, err
	}
	massA, massB := aML*la.density(), bML*lb.density()
	strong := stronger(la, lb)
	out := strong.at((massA*la.fraction + massB*lb.fraction) / (massA + massB))
	m := result(a, strong, out, massA, (massA+massB)/out.density(), use)
	m.StockML, m.Stock2ML, m.WaterML = aML, bML, 0
	return m, nil
}

// BlendTo computes how much of two stocks of one active gives finalML of the
// wanted strength, with no water. The target must lie between the two.
func BlendTo(a, b Stock, target Strength, finalML float64, use Use) (Mix, error) {
	la, lb, err := bothStocks(a, b)
	if err = cmp.Or(err, checkML("final volume", finalML)); err != nil {
		return Mix{}, err
	}
	strong := stronger(la, lb)
	t, err := strong.want(target)
	if err != nil {
		return Mix{}, err
	}
	if weak := min(la.fraction, lb.fraction); t.fraction < weak*(1-1e-9) {
		return Mix{}, &TooWeakError{WantedPPM: t.ppm(), WeakestPPM: strong.at(weak).ppm()}
	}
	if err := aboveCeiling(t, use); err != nil {
		return Mix{}, err
	}
	share := 1.0 // of stock a by mass; equal stocks need no second one
	if la.fraction != lb.fraction {
		share = clamp01((t.fraction - lb.fraction) / (la.fraction - lb.fraction))
	}
	mass := finalML * t.density()
	m := result(a, strong, t, mass*share, finalML, use)
	m.StockML, m.Stock2ML, m.WaterML = mass*share/la.density(), mass*(1-share)/lb.density(), 0
	return m, nil
}

// Adjust brings haveML of a solution that a strip reads as readPPM to the
// wanted strength: it adds stock when too weak, water when too strong.
// StockML (or StockG) and WaterML are what to add; Stock2ML is what was there.
func Adjust(stock Stock, readPPM, haveML float64, target Strength, use Use) (Mix, error) {
	s, t, err := prepare(stock, target, use)
	if err = cmp.Or(err, checkML("volume at hand", haveML), checkReading(readPPM)); err != nil {
		return Mix{}, err
	}
	// A reading of 0 is plain water as far as the strip can tell.
	now := s.at(0)
	if readPPM > s.ppm()*(1+1e-9) {
		return Mix{}, &ReadingError{ReadPPM: readPPM, StockPPM: s.ppm()}
	}
	if readPPM > 0 {
		if now, err = s.want(Strength{readPPM, MgPerL}); err != nil {
			return Mix{}, err
		}
	}
	if now.fraction > t.fraction {
		return weaken(stock, s, now, t, haveML, use)
	}
	return strengthen(stock, s, now, t, haveML, use)
}

func weaken(stock Stock, s, now, t liquid, haveML float64, use Use) (Mix, error) {
	haveG := haveML * now.density()
	addG := haveG * (now.fraction - t.fraction) / t.fraction
	waterML := addG / WaterDensity20C
	if err := checkML("water to add", waterML); err != nil {
		return Mix{}, err
	}
	m := result(stock, s, t, 0, (haveG+addG)/t.density(), use)
	m.WaterML, m.Stock2ML = waterML, haveML
	m.Recipes = recipes(waterML, func(ml float64) (liquid, float64) {
		mass := haveG + ml*WaterDensity20C
		out := s.at(haveG * now.fraction / mass)
		return out, mass / out.density()
	}, func(text string) string {
		return "Add " + text + " water, stir, read a strip again."
	}, t.ppm(), Use{LabelPPM: use.LabelPPM, Ceiling: use.Ceiling, RinseDeclared: true}, s.active)
	return m, nil
}

func strengthen(stock Stock, s, now, t liquid, haveML float64, use Use) (Mix, error) {
	haveG := haveML * now.density()
	if s.fraction <= t.fraction {
		return Mix{}, &TooStrongError{WantedPPM: t.ppm(), StockPPM: s.ppm()}
	}
	addG := haveG * (t.fraction - now.fraction) / (s.fraction - t.fraction)
	m := result(stock, s, t, addG, (haveG+addG)/t.density(), use)
	m.WaterML, m.Stock2ML = 0, haveML
	if addG == 0 {
		m.Notes = append(m.Notes, "The strip reads the wanted strength: add nothing.")
		return m, nil
	}
	if err := measurable(stock.Active, m); err != nil {
		return Mix{}, err
	}
	if !stock.Active.Solid() {
		m.Recipes = recipes(m.StockML, func(ml float64) (liquid, float64) {
			add := ml * s.density()
			mass := haveG + add
			out := s.at((haveG*now.fraction + add*s.fraction) / mass)
			return out, mass / out.density()
		}, func(text string) string {
			return "Add " + text + " stock, stir, read a strip again."
		}, t.ppm(), use, s.active)
	}
	return m, nil
}

// prepare resolves stock and target and applies the refusals common to all.
func prepare(stock Stock, target Strength, use Use) (s, t liquid, err error) {
	if s, err = stock.usable(); err != nil {
		return s, t, err
	}
	if t, err = s.want(target); err != nil {
		return s, t, err
	}
	return s, t, aboveCeiling(t, use)
}

// usable is liquid plus the rule that granules are counted by weight.
func (s Stock) usable() (liquid, error) {
	l, err := s.liquid()
	if err != nil {
		return l, err
	}
	if s.Active.Solid() && !s.Strength.Basis.byMass() {
		return l, &BasisError{Active: s.Active, Basis: s.Strength.Basis, Why: "granules are counted by weight; use " +
			"%avail or %ww from the label"}
	}
	return l, nil
}

func bothStocks(a, b Stock) (la, lb liquid, err error) {
	if a.Active != b.Active {
		danger, _ := Danger(a.Active, b.Active)
		return la, lb, &MixedActivesError{A: a.Active, B: b.Active, Danger: danger}
	}
	if a.Active.Solid() {
		return la, lb, &BasisError{Active: a.Active, Basis: a.Strength.Basis,
			Why: "granules are dissolved one by one, not blended; dilute one of them"}
	}
	if la, err = a.usable(); err != nil {
		return la, lb, err
	}
	lb, err = b.usable()
	return la, lb, err
}

func stronger(a, b liquid) liquid {
	if b.fraction > a.fraction {
		return b
	}
	return a
}

// aboveCeiling applies the published no-rinse ceiling. One part in 1e6 is
// rounding of the unit conversion.
func aboveCeiling(t liquid, use Use) error {
	c, known := use.ceiling(t.active)
	if !known || use.RinseDeclared || t.ppm() <= c.PPM*(1+1e-6) {
		return nil
	}
	return &CeilingError{Active: t.active, WantedPPM: t.ppm(), Ceiling: c}
}

// allowed is the range that a rounded recipe must keep.
func (use Use) allowed(a Active) Window {
	w := Window{Max: math.Inf(1)}
	if use.LabelPPM.Stated() {
		w = use.LabelPPM
	}
	if c, known := use.ceiling(a); known && !use.RinseDeclared {
		w.Max = min(w.Max, c.PPM*(1+1e-6))
	}
	return w
}

// dilution completes a mix of stock and water whose final volume is known.
func dilution(m Mix, stock Stock, s, t liquid, target Strength, use Use) (Mix, error) {
	water := (m.FinalML*t.density() - m.StockG) / WaterDensity20C
	if water > 1e-9*m.FinalML { // less is the rounding of the sum
		m.WaterML = water
	}
	if err := measurable(stock.Active, m); err != nil {
		return Mix{}, err
	}
	if stock.Active.Solid() {
		m.Notes = append(m.Notes, "Weigh the granules; spoons of granules differ too much. Dissolve them in part of the "+
			"water first.")
		return m, nil
	}
	if s.fraction <= t.fraction*(1+1e-9) {
		m.Notes = append(m.Notes, "The stock already has the wanted strength: use it as it is.")
		return m, nil
	}
	m.Kitchen = kitchenAnswer(stock.Strength, target, s, t, m.FinalML)
	m.Recipes = dilutionRecipes(m.StockML, m.FinalML, s, t, use)
	return m, nil
}

// result fills what all answers share. StockML or StockG follows from the
// kind of stock.
func result(stock Stock, s, out liquid, stockG, finalML float64, use Use) Mix {
	m := Mix{
		Active: stock.Active, CountedAs: stock.Active.CountedAs(), FinalML: finalML,
		StrengthPPM: out.ppm(), StrengthPercentWW: out.percentWW(),
		Cautions: Cautions(Work{Active: stock.Active, StockPPM: s.ppm(), UsePPM: out.ppm(), Misting: use.Misting}),
	}
	if stock.Active.Solid() {
		m.StockG = stockG
	} else {
		m.StockG, m.StockML = stockG, stockG/s.density()
		m.StockDensity, m.DensitySource = s.density(), stock.densitySource()
	}
	if c, known := use.ceiling(stock.Active); known && m.StrengthPPM > c.PPM*(1+1e-6) {
		m.RinseNeeded = true
		m.Notes = append(m.Notes, figure(m.StrengthPPM)+" mg/L is "+figure(m.StrengthPPM/c.PPM)+" times the published "+
			"ceiling of "+figure(c.PPM)+" mg/L for food-contact surfaces without a rinse ("+c.Source+"): rinse with "+
			"potable water after the contact time, as the directions say, or mix it weaker.")
	}
	if stock.Active == Peroxide && m.StrengthPPM > drugstorePPM {
		m.Notes = append(m.Notes, DrugstorePeroxide)
	}
	return m
}

// kitchenAnswer takes the printed figures as they stand. Between percent
// bases the basis is what it ignores; ppm counts as percent/10,000.
func kitchenAnswer(stock, target Strength, s, t liquid, finalML float64) *Kitchen {
	share := printedPercent(target) / printedPercent(stock)
	if !(share > 0) || share > 1 {
		return nil // the shortcut has no answer here
	}
	ml := share * finalML
	ppm := madeUp(s, ml, finalML).ppm()
	return &Kitchen{StockML: ml, StrengthPPM: ppm, ErrorPercent: (ppm/t.ppm() - 1) * 100}
}

func printedPercent(s Strength) float64 {
	switch s.Basis {
	case GramPerL:
		return s.Value / 10
	case MgPerL, MgPerKg:
		return s.Value / 10_000
	case Volumes:
		return s.Value * 0.3 // the rule of thumb, 10 volume = 3 %
	}
	return s.Value
}

// madeUp is the liquid when stockML is filled up with water to finalML. The
// mass of the mixture depends on its own density, so the fraction is found
// from the content per volume, which is exact.
func madeUp(s liquid, stockML, finalML float64) liquid {
	content := s.fraction * s.density() * stockML / finalML
	f, err := s.curve.fractionAt(content)
	if err != nil {
		return s // stockML <= finalML keeps the content on the curve
	}
	return s.at(f)
}

func dilutionRecipes(stockML, finalML float64, s, t liquid, use Use) []Recipe {
	list := []Recipe{}
	for _, system := range []System{Metric, US} {
		total, totalText := RoundVolume(finalML, system)
		if total <= 0 {
			continue
		}
		wanted := stockML * total / finalML
		strength := func(ml float64) (liquid, float64) { return madeUp(s, min(ml, total), total), total }
		words := func(text string) string {
			return "Measure " + text + " stock into part of the water, fill up to " + totalText + "."
		}
		if r, ok := recipe(wanted, system, strength, words, t.ppm(), use.allowed(s.active)); ok && r.MeasureML < total {
			list = append(list, r)
		}
	}
	return list
}

type outcome func(measureML float64) (liquid, float64)
type wording func(measure string) string

func recipes(ml float64, gives outcome, words wording, wantedPPM float64, use Use, a Active) []Recipe {
	list := []Recipe{}
	for _, system := range []System{Metric, US} {
		if r, ok := recipe(ml, system, gives, words, wantedPPM, use.allowed(a)); ok {
			list = append(list, r)
		}
	}
	return list
}

// recipe rounds one measure to the nearest mark, or to the mark beside it when
// the nearest would leave the allowed range. With no mark in the range there
// is no recipe.
func recipe(ml float64, system System, gives outcome, words wording, wantedPPM float64, allowed Window) (Recipe, bool) {
	mark := MarkML(ml, system)
	for _, try := range []float64{ml, ml - mark/2, ml + mark/2} {
		rounded, text := roundToMark(try, mark, system)
		if rounded <= 0 {
			continue
		}
		out, final := gives(rounded)
		if !allowed.Has(out.ppm()) {
			continue
		}
		return Recipe{
			System: system, Text: words(text), MeasureML: rounded, FinalML: final,
			StrengthPPM: out.ppm(), ErrorPercent: (out.ppm()/wantedPPM - 1) * 100,
		}, true
	}
	return Recipe{}, false
}

func measurable(a Active, m Mix) error {
	if a.Solid() {
		if m.StockG < SmallestG {
			return &TooSmallError{Amount: m.StockG, Smallest: SmallestG, Unit: "g"}
		}
		return nil
	}
	if m.StockML < SmallestML {
		return &TooSmallError{Amount: m.StockML, Smallest: SmallestML, Unit: "mL"}
	}
	return nil
}

func checkML(what string, v float64) error {
	if v > 0 && v <= MaxML {
		return nil
	}
	return &AmountError{What: what, Value: v}
}

// checkReading allows a strip reading of 0.
func checkReading(ppm float64) error {
	if ppm >= 0 && !math.IsInf(ppm, 0) {
		return nil
	}
	return &AmountError{What: "strip reading", Value: ppm}
}

func clamp01(v float64) float64 { return min(1, max(0, v)) }
