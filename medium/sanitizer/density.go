package sanitizer

// WaterDensity20C is the density of water at 20 C in g/mL (handbook value,
// from memory).
const WaterDensity20C = 0.9982

// densityRow is one line of a handbook table.
type densityRow struct {
	percentWW  float64 // of the named compound
	gPerML     float64
	fromMemory bool
}

// peroxideTable: International Critical Tables / Perry at 18 C, recalled from
// memory; it agrees with the two-digit values that open sources print (3 %
// 1.01, 30 % 1.11, 35 % 1.13 at 20 C). Between 18 and 25 C the density moves
// by less than 0.5 %.
var peroxideTable = []densityRow{
	{0, 0.9986, true}, {2, 1.0058, true}, {4, 1.0131, true}, {6, 1.0204, true},
	{8, 1.0277, true}, {10, 1.0351, true}, {12, 1.0425, true}, {20, 1.0725, true},
	{30, 1.1122, true}, {35, 1.1327, true}, {50, 1.1966, true}, {70, 1.2897, true},
}

// hypochloriteTable at 20 C with the usual 0.2 % excess caustic. The row at
// 120 g/L available chlorine (specific gravity 1.160) is published by a maker
// of bleach plants ("Specific Gravity of Sodium Hypochlorite"); 150 g/L is
// from memory. The percent is 120 g/L / 1.160 * 74.442/70.906.
var hypochloriteTable = []densityRow{
	{0, WaterDensity20C, true},
	{12.0 / 1.160 * molarNaOCl / molarCl2, 1.160, false},
	{15.0 / 1.200 * molarNaOCl / molarCl2, 1.200, true},
}

// handbook gives the table of an active and where it comes from.
func handbook(a Active) (c curve, source string, ok bool) {
	switch a {
	case Peroxide:
		return curveOf(peroxideTable), "International Critical Tables / Perry, 18 C, from memory", true
	case Hypochlorite:
		return curveOf(hypochloriteTable), "bleach plant maker's specific gravity note (120 g/L, 20 C, 0.2 % excess " +
			"caustic); 150 g/L from memory", true
	}
	return nil, "", false
}

// checkDensity allows what a water-based stock can weigh.
func checkDensity(gPerML float64) error {
	if gPerML >= 0.7 && gPerML <= 2 {
		return nil
	}
	return &RangeError{What: "density", Value: gPerML, Min: 0.7, Max: 2, Unit: "g/mL",
		Fix: "read it from the label or the safety data sheet (water is 1.00)"}
}

// curve is specific volume (mL/g) against mass fraction, straight between the
// nodes.
type curve []curveNode

type curveNode struct{ fraction, mlPerG float64 }

func curveOf(rows []densityRow) curve {
	c := make(curve, len(rows))
	for i, r := range rows {
		c[i] = curveNode{r.percentWW / 100, 1 / r.gPerML}
	}
	return c
}

// waterCurve is for stocks so thin that they weigh as water.
var waterCurve = curve{{0, 1 / WaterDensity20C}, {1, 1 / WaterDensity20C}}

func (c curve) last() float64 { return c[len(c)-1].fraction }

func (c curve) density(fraction float64) float64 {
	i := 1
	for i < len(c)-1 && fraction > c[i].fraction {
		i++
	}
	lo, hi := c[i-1], c[i]
	share := (fraction - lo.fraction) / (hi.fraction - lo.fraction)
	return 1 / (lo.mlPerG + share*(hi.mlPerG-lo.mlPerG))
}

// fractionAt inverts fraction*density = gPerML. On one straight piece the
// specific volume is a+b*fraction, so fraction = a*g/(1-b*g).
func (c curve) fractionAt(gPerML float64) (float64, error) {
	if top := c.last() / c[len(c)-1].mlPerG; gPerML > top*(1+1e-12) {
		return 0, c.outside(gPerML * c[len(c)-1].mlPerG)
	}
	i := 1
	for i < len(c)-1 && gPerML > c[i].fraction/c[i].mlPerG {
		i++
	}
	lo, hi := c[i-1], c[i]
	b := (hi.mlPerG - lo.mlPerG) / (hi.fraction - lo.fraction)
	a := lo.mlPerG - b*lo.fraction
	return min(a*gPerML/(1-b*gPerML), c.last()), nil
}

func (c curve) outside(fraction float64) error {
	return &RangeError{What: "strength", Value: fraction * 100, Min: 0, Max: c.last() * 100, Unit: "% by weight",
		Fix: "give the density in g/mL from the label, or use a weaker stock"}
}
