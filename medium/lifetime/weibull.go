package lifetime

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat"
)

// Weibull is the life S(t) = exp(-(t/Scale)^Shape), t and Scale in turns.
// Shape above 1 is wear (older mats fail more), below 1 early losses.
// Its methods treat a negative age or span as 0 and expect the parameters of a
// Fit: Shape within 0.05 and 10,000, Scale within 1e-6 and 1e12.
type Weibull struct {
	Shape float64
	Scale float64
}

// The lives that FitWeibull accepts. Outside, the mean overflows or all mats
// fail at one turn: neither is a life that records could show.
const (
	minShape = 0.05
	maxShape = 1e4
	minScale = 1e-6
	maxScale = 1e12
)

func (w Weibull) check() error {
	if w.Shape >= minShape && w.Shape <= maxShape && w.Scale >= minScale && w.Scale <= maxScale {
		return nil
	}
	return invalid("life", fmt.Sprintf("shape %g, scale %g", w.Shape, w.Scale), "use the result of FitWeibull")
}

// Survival is the chance to outlast t turns.
func (w Weibull) Survival(t float64) float64 {
	return math.Exp(-math.Pow(notNegative(t)/w.Scale, w.Shape))
}

// Quantile is the turns by which the share p is retired; p is cut to 0..1-1e-16.
func (w Weibull) Quantile(p float64) float64 {
	p = math.Min(notNegative(p), 1-1e-16)
	return w.Scale * math.Pow(-math.Log1p(-p), 1/w.Shape)
}

// MedianRemaining is the number of further turns that half of the mats with
// age turns reach: Scale ((age/Scale)^Shape + ln 2)^(1/Shape) - age.
func (w Weibull) MedianRemaining(age float64) float64 {
	age = notNegative(age)
	z := math.Pow(age/w.Scale, w.Shape)
	if z < 1 {
		return math.Max(0, w.Scale*math.Pow(z+math.Ln2, 1/w.Shape)-age)
	}
	// The difference of two nearly equal numbers, written without it.
	return age * math.Expm1(math.Log1p(math.Ln2/z)/w.Shape)
}

// MeanRemaining is the mean number of further turns of a mat with age turns:
// (Scale/Shape) e^z Gamma(1/Shape, z) with z = (age/Scale)^Shape and the upper
// incomplete gamma function.
func (w Weibull) MeanRemaining(age float64) float64 {
	age = notNegative(age)
	a, z := 1/w.Shape, math.Pow(age/w.Scale, w.Shape)
	if z > 30 {
		// e^z overflows long before the product does; z^a is age/Scale.
		return age / w.Shape * gammaFraction(a, z)
	}
	lg, _ := math.Lgamma(a)
	return w.Scale / w.Shape * math.Exp(z+lg) * mathext.GammaIncRegComp(a, z)
}

// gammaFraction is e^z z^-a Gamma(a, z) for z well above a, by Lentz's method
// on Legendre's continued fraction (NIST DLMF 8.9.2, from memory).
func gammaFraction(a, z float64) float64 {
	if math.IsInf(z, 1) {
		return 0
	}
	b := z + 1 - a
	c, d := math.MaxFloat64, 1/b
	h := d
	for i := 1.0; i < 500; i++ {
		an := -i * (i - a)
		b += 2
		d = 1 / (an*d + b)
		c = b + an/c
		h *= d * c
		if math.Abs(d*c-1) < 1e-15 {
			break
		}
	}
	return h
}

// ChanceRetired is the chance that a mat with age turns is retired within the
// next turns: 1 - S(age+turns)/S(age).
func (w Weibull) ChanceRetired(age, turns float64) float64 {
	age, turns = notNegative(age), notNegative(turns)
	if turns == 0 {
		return 0
	}
	if age == 0 {
		return -math.Expm1(-math.Pow(turns/w.Scale, w.Shape))
	}
	z := math.Pow(age/w.Scale, w.Shape)
	growth := math.Expm1(w.Shape * math.Log1p(turns/age))
	switch {
	case growth == 0:
		return 0
	case math.IsInf(z, 1):
		return 1
	case z == 0 || math.IsInf(growth, 1):
		return -math.Expm1(z - math.Pow((age+turns)/w.Scale, w.Shape))
	}
	return -math.Expm1(-z * growth)
}

func notNegative(x float64) float64 {
	if x > 0 {
		return x
	}
	return 0
}

// Fit is a Weibull life fitted by maximum likelihood.
type Fit struct {
	Weibull
	Mats    int
	Retired int
	LogLik  float64
	// Covariance of (Shape, Scale), the inverse of the observed information.
	VarShape, VarScale, Cov float64
	ShapeSE, ScaleSE        float64
	Confidence              float64
	// Plain Wald limits, value plus and minus z standard errors; the lower one
	// can fall below 0. The log limits, built on the logarithm, cannot and are
	// the ones to show.
	ShapePlain, ScalePlain Interval
	ShapeLog, ScaleLog     Interval
	// Correlation of the Weibull probability plot: ln t against
	// ln(-ln(1-p)), p midway between the Kaplan-Meier steps (plotting positions
	// of Meeker & Escobar 1998, section 6.4, from memory; the correlation as a
	// goodness figure: Filliben 1975, NIST/SEMATECH e-Handbook 1.3.3.22). 1 is a
	// straight line. It needs three different turns of retirement, else
	// CorrelationKnown is false. What counts as low depends on the number of
	// mats: see GoodnessP.
	Correlation      float64
	CorrelationKnown bool
	// WearChiSquare and WearP test Shape = 1 (retirements at a steady rate, no
	// wear with age) by the likelihood ratio.
	WearChiSquare, WearP float64
}

// turnCount is a number of like observations: the fit runs over distinct turns,
// so a hundred thousand mats cost no more than their few dozen ages.
type turnCount struct {
	log, logFrom   float64 // ln(turns/longest), ln(from/longest)
	late           bool
	retired, count float64
}

// FitWeibull fits a Weibull life to mats retired and still in use. A mat that
// fails in its turn k is taken to fail at k; for lives of only a few turns that
// is a rough approximation, since it fails somewhere between k-1 and k.
//
// Errors: *TooLittle without a retired mat; *Invalid for turns out of range or
// a mat with 0 turns (a Weibull life is above 0; record it as retired in its
// first turn, or leave it out); *NoEstimate when the likelihood has no maximum,
// as when every retired mat went at the longest turn observed.
func FitWeibull(obs []Observation, confidence float64) (Fit, error) {
	z, err := normalQuantile(confidence)
	if err != nil {
		return Fit{}, err
	}
	counts, longest, retired, err := countTurns(obs)
	if err != nil {
		return Fit{}, err
	}
	shape, err := solveShape(counts, retired)
	if err != nil {
		return Fit{}, err
	}
	fit := Fit{Mats: len(obs), Retired: retired, Confidence: confidence}
	fit.Shape = shape
	sum, _, _ := powerSums(counts, shape)
	fit.Scale = longest * math.Exp(math.Log(sum/float64(retired))/shape)
	if err := fit.inform(counts, longest, z); err != nil {
		return Fit{}, err
	}
	if curve, err := KaplanMeier(obs, confidence, LogLog); err == nil {
		fit.Correlation, fit.CorrelationKnown = plotCorrelation(curve)
	}
	return fit, nil
}

func countTurns(obs []Observation) (counts []turnCount, longest float64, retired int, err error) {
	type key struct {
		turns, from float64
		retired     bool
	}
	seen := map[key]float64{}
	for i, o := range obs {
		if err := o.check(i); err != nil {
			return nil, 0, 0, err
		}
		if o.Turns < sameTurn {
			return nil, 0, 0, invalid(fmt.Sprintf("turns of mat %d in the list", i+1), number(o.Turns),
				"a fitted life starts above 0: count the turn in which it failed, or leave the mat out")
		}
		if o.Retired {
			retired++
		}
		longest = math.Max(longest, o.Turns)
		seen[key{o.Turns, o.From, o.Retired}]++
	}
	if retired == 0 {
		return nil, 0, 0, &TooLittle{Statement: "a fitted life", Have: 0, Need: 1, Of: "retired mats",
			Advice: "give the upper bound of the retirements per turn instead (RetirementRate)"}
	}
	// A map has no order and sums of floats do: sort, so that the same mats in
	// any order give the same digits.
	first := map[bool]int{true: 0, false: 1} // the retired ones
	for _, k := range slices.SortedFunc(maps.Keys(seen), func(a, b key) int {
		return cmp.Or(cmp.Compare(first[a.retired], first[b.retired]), cmp.Compare(a.turns, b.turns),
			cmp.Compare(a.from, b.from))
	}) {
		c := turnCount{log: math.Log(k.turns / longest), count: seen[k]}
		if k.retired {
			c.retired = c.count
		}
		if k.from > 0 {
			c.late, c.logFrom = true, math.Log(k.from/longest)
		}
		counts = append(counts, c)
	}
	return counts, longest, retired, nil
}

// powerSums gives the sums of x^k, x^k ln x and x^k (ln x)^2 over all mats,
// x = turns/longest, less the same at the turn at which late mats came in.
func powerSums(counts []turnCount, k float64) (s0, s1, s2 float64) {
	for _, c := range counts {
		e := c.count * math.Exp(k*c.log)
		s0 += e
		s1 += e * c.log
		s2 += e * c.log * c.log
		if c.late {
			e = c.count * math.Exp(k*c.logFrom)
			s0 -= e
			s1 -= e * c.logFrom
			s2 -= e * c.logFrom * c.logFrom
		}
	}
	return s0, s1, s2
}

// solveShape finds the root of the profile score 1/k + mean ln x of the retired
// mats - sum x^k ln x / sum x^k. Without late entries the score falls steadily,
// so one root is the maximum; with them a scan takes the highest maximum.
func solveShape(counts []turnCount, retired int) (float64, error) {
	r := float64(retired)
	meanLog, late := 0.0, false
	for _, c := range counts {
		meanLog += c.retired * c.log / r
		late = late || c.late
	}
	none := &NoEstimate{Of: "a Weibull life",
		Why:    "every retired mat went at the longest turn observed, so any steeper wear fits better still",
		Advice: "use the survival curve, or wait until mats are retired at different turns"}
	// In x = turns/longest the condition mean ln t < ln max reads mean ln x < 0.
	if meanLog >= -1e-12 {
		return 0, none
	}
	score := func(logK float64) float64 {
		k := math.Exp(logK)
		s0, s1, _ := powerSums(counts, k)
		if s0 <= 0 {
			return math.Inf(-1)
		}
		return 1/k + meanLog - s1/s0
	}
	profile := func(logK float64) float64 {
		k := math.Exp(logK)
		s0, _, _ := powerSums(counts, k)
		return r*(logK-math.Log(s0)) + k*r*meanLog
	}
	lo, hi := math.Log(minShape), math.Log(maxShape)
	cells := 1
	if late {
		cells = 120
	}
	best, found := 0.0, false
	for i := range cells {
		a := lo + (hi-lo)*float64(i)/float64(cells)
		b := lo + (hi-lo)*float64(i+1)/float64(cells)
		if !(score(a) > 0 && score(b) <= 0) {
			continue
		}
		for range 200 {
			mid := a + (b-a)/2
			if mid <= a || mid >= b {
				break
			}
			if score(mid) > 0 {
				a = mid
			} else {
				b = mid
			}
		}
		if !found || profile(b) > profile(best) {
			best, found = b, true
		}
	}
	if !found {
		return 0, &NoEstimate{Of: "a Weibull life",
			Why:    fmt.Sprintf("no shape between %g and %g fits best", minShape, maxShape),
			Advice: "use the survival curve; look for mats with a wrong turn count"}
	}
	return math.Exp(best), nil
}

// inform fills in likelihood, covariance, limits and the test for wear.
func (f *Fit) inform(counts []turnCount, longest, z float64) error {
	k, eta, r := f.Shape, f.Scale, float64(f.Retired)
	logRatio := math.Log(longest / eta) // ln(t/eta) = ln x + logRatio
	var sumE, sumEZ, sumEZZ, sumLogT, exposure float64
	add := func(logX, weight float64) {
		lz := logX + logRatio
		e := weight * math.Exp(k*lz)
		sumE += e
		sumEZ += e * lz
		sumEZZ += e * lz * lz
		exposure += weight * longest * math.Exp(logX)
	}
	for _, c := range counts {
		add(c.log, c.count)
		sumLogT += c.retired * (c.log + logRatio)
		if c.late {
			add(c.logFrom, -c.count)
		}
	}
	f.LogLik = r*math.Log(k/eta) + (k-1)*sumLogT - sumE
	ikk := r/(k*k) + sumEZZ
	iss := -r*k/(eta*eta) + k*(k+1)*sumE/(eta*eta)
	iks := r/eta - (sumE+k*sumEZ)/eta
	det := ikk*iss - iks*iks
	f.VarShape, f.VarScale, f.Cov = iss/det, ikk/det, -iks/det
	if !(f.VarShape > 0 && f.VarScale > 0) || !finite(f.LogLik, f.VarShape, f.VarScale, f.Cov) || f.check() != nil {
		return flatLikelihood()
	}
	f.ShapeSE, f.ScaleSE = math.Sqrt(f.VarShape), math.Sqrt(f.VarScale)
	f.ShapePlain = Interval{k - z*f.ShapeSE, k + z*f.ShapeSE}
	f.ScalePlain = Interval{eta - z*f.ScaleSE, eta + z*f.ScaleSE}
	shape, scale := onLog(k, f.ShapeSE/k, z), onLog(eta, f.ScaleSE/eta, z)
	f.ShapeLog, f.ScaleLog = Interval{shape.Low, shape.High}, Interval{scale.Low, scale.High}
	if !finite(f.ShapeLog.High, f.ScaleLog.High) {
		return flatLikelihood()
	}
	steady := r*math.Log(r/exposure) - r
	f.WearChiSquare = math.Max(0, 2*(f.LogLik-steady))
	f.WearP = chiSquareTail(f.WearChiSquare, 1)
	return nil
}

func flatLikelihood() error {
	return &NoEstimate{Of: "a Weibull life", Why: "the records leave shape and scale all but free",
		Advice: "use the survival curve, or wait for more retirements"}
}

// MeanLife is the mean life of a new mat with its interval.
func (f Fit) MeanLife() (Estimate, error) { return f.MeanRemainingTurns(0) }

// MeanRemainingTurns is MeanRemaining with its interval, by the delta method on
// the logarithm (Meeker & Escobar 1998, section 8.4.2, from memory). It
// carries the uncertainty of the fit, not the spread between mats.
// *NoEstimate when the interval is wider than any number.
func (f Fit) MeanRemainingTurns(age float64) (Estimate, error) {
	return f.delta(func(w Weibull) float64 { return w.MeanRemaining(age) })
}

// MedianRemainingTurns is MedianRemaining with its interval, as MeanRemainingTurns.
func (f Fit) MedianRemainingTurns(age float64) (Estimate, error) {
	return f.delta(func(w Weibull) float64 { return w.MedianRemaining(age) })
}

// QuantileTurns is Quantile with its interval, as MeanRemainingTurns.
func (f Fit) QuantileTurns(p float64) (Estimate, error) {
	if !(p > 0 && p < 1) {
		return Estimate{}, invalid("share retired", number(p), "give a share between 0 and 1")
	}
	return f.delta(func(w Weibull) float64 { return w.Quantile(p) })
}

func (f Fit) delta(figure func(Weibull) float64) (Estimate, error) {
	wide := &NoEstimate{Of: "the remaining turns", Why: "the interval is wider than any number",
		Advice: "wait for more retirements"}
	z, err := normalQuantile(f.Confidence)
	if err != nil {
		return Estimate{}, err
	}
	const h = 1e-5
	at := func(dShape, dScale float64) float64 {
		return math.Log(figure(Weibull{f.Shape * math.Exp(dShape), f.Scale * math.Exp(dScale)}))
	}
	value := figure(f.Weibull)
	gk := (at(h, 0) - at(-h, 0)) / (2 * h)
	gs := (at(0, h) - at(0, -h)) / (2 * h)
	vk, vs, c := f.logCovariance()
	seLog := math.Sqrt(math.Max(0, gk*gk*vk+gs*gs*vs+2*gk*gs*c))
	e := onLog(value, seLog, z)
	if !finite(e.Value, e.SE, e.Low, e.High) || value <= 0 {
		return Estimate{}, wide
	}
	return e, nil
}

// logCovariance is the covariance of (ln Shape, ln Scale).
func (f Fit) logCovariance() (varShape, varScale, cov float64) {
	return f.VarShape / (f.Shape * f.Shape), f.VarScale / (f.Scale * f.Scale), f.Cov / (f.Shape * f.Scale)
}

// plotCorrelation is the correlation of the Weibull probability plot.
func plotCorrelation(c Curve) (float64, bool) {
	var xs, ys []float64
	before := 1.0
	for _, p := range c.Points {
		if p.Retired == 0 {
			continue
		}
		mid := (before + p.S) / 2
		before = p.S
		if p.Turns > 0 && mid > 0 && mid < 1 {
			xs = append(xs, math.Log(p.Turns))
			ys = append(ys, math.Log(-math.Log(mid)))
		}
	}
	if len(xs) < 3 {
		return 0, false
	}
	r := stat.Correlation(xs, ys, nil)
	if !finite(r) {
		return 0, false
	}
	return math.Max(-1, math.Min(1, r)), true
}
