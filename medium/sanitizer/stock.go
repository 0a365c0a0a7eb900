package sanitizer

// Stock is what is in the bottle that one mixes from.
type Stock struct {
	Product       string   `json:"product,omitempty"`
	Active        Active   `json:"active"`
	Strength      Strength `json:"strength"`
	DensityGPerML float64  `json:"density_g_per_ml,omitempty"` // 0 = handbook
}

// liquid is a stock or mixture that the mass balance can work on.
type liquid struct {
	active   Active
	fraction float64 // mass of compound per mass
	curve    curve
}

func (l liquid) density() float64 { return l.curve.density(l.fraction) }

// ppm in mg/L of what is counted.
func (l liquid) ppm() float64 {
	return l.fraction * l.density() * l.active.countedShare() * 1e6
}

// percentWW is percent by weight of the named compound.
func (l liquid) percentWW() float64 { return l.fraction * 100 }

// at is the same kind of liquid at another strength.
func (l liquid) at(fraction float64) liquid {
	l.fraction = fraction
	return l
}

// want turns a wanted strength into a liquid on the curve of this stock.
func (l liquid) want(target Strength) (liquid, error) {
	if err := target.Check(l.active); err != nil {
		return liquid{}, err
	}
	f, err := target.fraction(l.active, l.curve)
	if err != nil {
		return liquid{}, l.tooStrong(target)
	}
	// One part in 1e9 is the noise of the arithmetic, not a stronger target.
	if f > l.fraction*(1+1e-9) {
		return liquid{}, &TooStrongError{WantedPPM: l.at(f).ppm(), StockPPM: l.ppm()}
	}
	return l.at(min(f, l.fraction)), nil
}

// tooStrong names a target that lies even beyond the density curve; its ppm
// is then estimated with the density of the stock.
func (l liquid) tooStrong(target Strength) error {
	ppm, err := target.Convert(MgPerL, l.active, l.density())
	if err != nil {
		return err
	}
	return &TooStrongError{WantedPPM: ppm.Value, StockPPM: l.ppm()}
}

// thinFraction: a product up to 2 % by weight weighs within about 2 % of
// water, less than a measuring spoon shows (common practice, no source).
const thinFraction = 0.02

// liquid resolves basis and density. A given density is used together with
// water as a two-point curve; without one, peroxide and hypochlorite use the
// handbook; a thin product weighs as water; a volume basis needs no density
// (volumes are then taken to add); all else is *NoDensityError.
func (s Stock) liquid() (liquid, error) {
	if err := s.Strength.Check(s.Active); err != nil {
		return liquid{}, err
	}
	c, err := s.curve()
	if err != nil {
		return liquid{}, err
	}
	f, err := s.Strength.fraction(s.Active, c)
	if err != nil {
		return liquid{}, err
	}
	return liquid{active: s.Active, fraction: f, curve: c}, nil
}

func (s Stock) curve() (curve, error) {
	content := s.Strength.Value * s.Strength.Basis.unitMass(s.Active)
	if s.DensityGPerML != 0 {
		return givenCurve(s.Strength.Basis, content, s.DensityGPerML)
	}
	if c, _, ok := handbook(s.Active); ok {
		return c, nil
	}
	if s.Active.Solid() || content <= thinFraction {
		return waterCurve, nil
	}
	if !s.Strength.Basis.byMass() {
		return givenCurve(s.Strength.Basis, content, WaterDensity20C)
	}
	return nil, &NoDensityError{Active: s.Active, Strength: s.Strength}
}

func givenCurve(b Basis, content, density float64) (curve, error) {
	if err := checkDensity(density); err != nil {
		return nil, err
	}
	f := content
	if !b.byMass() {
		f = content / density
	}
	if f > 1 {
		return nil, &RangeError{What: "strength", Value: f * 100, Min: 0, Max: 100, Unit: "% by weight",
			Fix: "strength and density do not fit each other; look at the label again"}
	}
	return curve{{0, 1 / WaterDensity20C}, {f, 1 / density}}, nil
}

// densitySource says in words what density the mass balance used.
func (s Stock) densitySource() string {
	if s.DensityGPerML != 0 {
		return "given with the product"
	}
	if _, source, ok := handbook(s.Active); ok {
		return source
	}
	return "not known: taken as water, volumes taken to add"
}
