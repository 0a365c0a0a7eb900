package lifetime

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
)

// Observation is one mat as far as it is known.
type Observation struct {
	// Turns the mat has done: at its retirement, or so far. 0 to 1e9.
	Turns float64
	// Retired is false for a mat that is still in use (a censored life).
	Retired bool
	// Cause of the retirement (cut, mold, wear, lost ...); ignored when the mat
	// is still in use.
	Cause string
	// From is the number of turns that the mat had already done when its
	// records began; 0 for a mat followed since it was new. Such a mat says
	// nothing about the turns before, because had it failed then it would not
	// be in the records (left truncation). Below Turns.
	From float64
}

// Band chooses how the interval of the survival curve is built. All have the
// same curve and standard error and differ in their limits.
type Band int

// The bands. LogLog stays within 0 and 1 by itself and is the default of
// several packages; Log is the default of R's survfit; Plain is the textbook
// curve plus and minus z standard errors. Log and Plain are cut off at 1, Plain
// also at 0.
const (
	LogLog Band = iota
	Log
	Plain
)

// Point is the survival curve from one observed turn to the next.
type Point struct {
	Turns    float64
	AtRisk   int // mats known to be in use just before Turns
	Retired  int
	Censored int // mats last seen in use at Turns
	S        float64
	// SE is Greenwood's standard error of S (Greenwood 1926). It is 0 and means
	// nothing when Known is false.
	SE float64
	// Low and High are the interval of S when Known. Otherwise, with no mat
	// retired yet, Low is the exact one-sided bound for AtRisk mats; with no mat
	// left, Low is 0 and High is the last known limit.
	Low, High float64
	// Known is false while S is 1 (no mat retired yet) and once S is 0 (none
	// left): there Greenwood's formula gives 0 or no value, and neither is an
	// honest uncertainty.
	Known bool
	// H is the Nelson-Aalen cumulative hazard, HSE the root of the sum of d/n^2
	// (Aalen 1978).
	H, HSE float64
}

// Curve is a Kaplan-Meier survival curve, a step function that starts at 1.
type Curve struct {
	Points     []Point // one for each observed turn, ascending
	Mats       int
	Retired    int
	LastTurn   float64 // nothing is known past it unless the curve is at 0
	Confidence float64
	Band       Band
}

const (
	maxTurns = 1e9
	// Fractional turns that differ by rounding only are one time, as R's
	// timefix does: 0.1+0.2 and 0.3 are not two retirements.
	sameTurn = 1e-9
)

// step is one distinct observed turn with the mats that leave at it, retired ones
// and others.
type step struct {
	turns   float64
	atRisk  int
	leaving int
	retired int
}

// KaplanMeier estimates how many mats outlast each turn (Kaplan & Meier 1958)
// with Greenwood's variance and, beside it, the Nelson-Aalen hazard.
// confidence lies between 0 and 1, usually 0.95.
//
// Errors: *TooLittle without any mat, *Invalid for turns or confidence out of
// range.
func KaplanMeier(obs []Observation, confidence float64, band Band) (Curve, error) {
	z, err := normalQuantile(confidence)
	if err != nil {
		return Curve{}, err
	}
	if band < LogLog || band > Plain {
		return Curve{}, invalid("band", fmt.Sprint(int(band)), "use LogLog, Log or Plain")
	}
	steps, err := lifeTable(obs)
	if err != nil {
		return Curve{}, err
	}
	c := Curve{Mats: len(obs), Confidence: confidence, Band: band, Points: make([]Point, 0, len(steps))}
	s, greenwood, hazard, hazardVar, lastHigh := 1.0, 0.0, 0.0, 0.0, 1.0
	for _, st := range steps {
		n, d := float64(st.atRisk), float64(st.retired)
		if st.retired > 0 {
			s *= (n - d) / n
			hazard += d / n
			hazardVar += d / (n * n)
			if n > d {
				greenwood += d / (n * (n - d))
			}
		}
		p := Point{Turns: st.turns, AtRisk: st.atRisk, Retired: st.retired,
			Censored: st.leaving - st.retired, S: s, H: hazard, HSE: math.Sqrt(hazardVar)}
		switch {
		case s <= 0:
			p.Low, p.High = 0, lastHigh
		case greenwood == 0:
			p.Low, p.High = math.Pow(1-confidence, 1/n), 1
		default:
			p.Known = true
			p.SE = s * math.Sqrt(greenwood)
			p.Low, p.High = limits(s, math.Sqrt(greenwood), z, band)
			lastHigh = p.High
		}
		c.Points = append(c.Points, p)
		c.Retired += st.retired
		c.LastTurn = st.turns
	}
	return c, nil
}

// limits of 0 < s < 1 whose logarithm has the standard error seLog.
func limits(s, seLog, z float64, band Band) (low, high float64) {
	switch band {
	case Log:
		low, high = s*math.Exp(-z*seLog), s*math.Exp(z*seLog)
	case Plain:
		low, high = s-z*s*seLog, s+z*s*seLog
	default:
		w := math.Exp(z * seLog / math.Abs(math.Log(s)))
		low, high = math.Pow(s, w), math.Pow(s, 1/w)
	}
	// s can stand a rounding step outside its own limits when seLog is tiny.
	return math.Min(s, clamp01(low)), math.Max(s, clamp01(high))
}

// lifeTable counts the mats by turn, and who is at risk just before each. Mats are
// counted before they are sorted: a hundred thousand have a few dozen turns.
func lifeTable(obs []Observation) ([]step, error) {
	if len(obs) == 0 {
		return nil, &TooLittle{Statement: "the life of these mats", Have: 0, Need: 1, Of: "mats",
			Advice: "add mats and record their turns"}
	}
	var entries []float64
	var steps []step
	places := map[float64]int{}
	for i, o := range obs {
		if err := o.check(i); err != nil {
			return nil, err
		}
		if o.From > 0 {
			entries = append(entries, o.From)
		}
		at, ok := places[o.Turns]
		if !ok {
			at = len(steps)
			places[o.Turns] = at
			steps = append(steps, step{turns: o.Turns})
		}
		steps[at].leaving++
		if o.Retired {
			steps[at].retired++
		}
	}
	slices.SortFunc(steps, func(a, b step) int { return cmp.Compare(a.turns, b.turns) })
	steps = joinSame(steps)
	slices.Sort(entries)
	left, sinceNew := 0, len(obs)-len(entries)
	for i := range steps {
		st := &steps[i]
		// A mat whose records begin at this very turn is not yet at risk in it.
		entered := sort.Search(len(entries), func(i int) bool {
			return entries[i] >= st.turns || same(st.turns, entries[i])
		})
		st.atRisk = sinceNew + entered - left
		left += st.leaving
	}
	return steps, nil
}

// joinSame makes one step of those that differ by rounding only.
func joinSame(sorted []step) []step {
	out := sorted[:1]
	for _, st := range sorted[1:] {
		last := &out[len(out)-1]
		if !same(last.turns, st.turns) {
			out = append(out, st)
			continue
		}
		last.leaving += st.leaving
		last.retired += st.retired
	}
	return out
}

func same(a, b float64) bool { return math.Abs(a-b) <= sameTurn*math.Max(1, math.Abs(a)) }

func (o Observation) check(i int) error {
	if !(o.Turns >= 0 && o.Turns <= maxTurns) {
		return invalid(fmt.Sprintf("turns of mat %d in the list", i+1), number(o.Turns),
			"give a number of turns from 0 to 1e9")
	}
	if o.From == 0 {
		return nil
	}
	if !(o.From > 0 && o.From < o.Turns) || same(o.From, o.Turns) {
		return invalid(fmt.Sprintf("earlier turns of mat %d in the list", i+1), number(o.From),
			fmt.Sprintf("give fewer than its %g turns in all, or leave the mat out until it has done one more", o.Turns))
	}
	return nil
}

// At gives the curve just after the given number of turns. The second result
// is false past the last observed turn, where the curve is not known (unless
// it has reached 0), and for a turn that is not a number.
func (c Curve) At(turns float64) (Point, bool) {
	if len(c.Points) == 0 || math.IsNaN(turns) || turns < 0 {
		return Point{}, false
	}
	i := sort.Search(len(c.Points), func(i int) bool {
		return c.Points[i].Turns > turns && !same(c.Points[i].Turns, turns)
	})
	if i == 0 {
		first := c.Points[0]
		low := 0.0
		if first.AtRisk > 0 {
			low = math.Pow(1-c.Confidence, 1/float64(first.AtRisk))
		}
		return Point{Turns: turns, AtRisk: first.AtRisk, S: 1, Low: low, High: 1}, true
	}
	p := c.Points[i-1]
	if i == len(c.Points) && p.S > 0 && !same(p.Turns, turns) && turns > p.Turns {
		return Point{}, false
	}
	return p, true
}

// Crossing is a number of turns that may not have been reached yet.
type Crossing struct {
	Turns   float64
	Reached bool
}

// Quantile is the number of turns by which a share of the mats is retired,
// with the interval found by inverting the band (Brookmeyer & Crowley 1982).
type Quantile struct {
	At, Low, High Crossing
}

// Quantile gives the turns by which the share p (between 0 and 1) is retired.
// Convention: the first turn at which the curve falls below 1-p; if it runs
// level at exactly 1-p, the middle of that level stretch, which at the end of
// the records reaches to the last observed turn (as R's quantile.survfit does).
func (c Curve) Quantile(p float64) (Quantile, error) {
	if !(p > 0 && p < 1) {
		return Quantile{}, invalid("share retired", number(p), "give a share between 0 and 1, 0.5 for the median")
	}
	return Quantile{
		At:   c.crossing(1-p, func(pt Point) (float64, bool) { return pt.S, true }),
		Low:  c.crossing(1-p, func(pt Point) (float64, bool) { return pt.Low, pt.Known }),
		High: c.crossing(1-p, func(pt Point) (float64, bool) { return pt.High, pt.Known }),
	}, nil
}

// Median is Quantile(0.5).
func (c Curve) Median() Quantile {
	q, _ := c.Quantile(0.5) // 0.5 is never refused
	return q
}

func (c Curve) crossing(target float64, height func(Point) (float64, bool)) Crossing {
	const level = 1.4901161193847656e-08 // square root of the float64 epsilon, R's tolerance here
	flatFrom := Crossing{}
	for _, p := range c.Points {
		y, known := height(p)
		if !known {
			continue
		}
		if math.Abs(y-target) <= level {
			if !flatFrom.Reached {
				flatFrom = Crossing{p.Turns, true}
			}
			continue
		}
		if y > target {
			continue
		}
		if flatFrom.Reached {
			return Crossing{(flatFrom.Turns + p.Turns) / 2, true}
		}
		return Crossing{p.Turns, true}
	}
	if flatFrom.Reached {
		return Crossing{(flatFrom.Turns + c.LastTurn) / 2, true}
	}
	return Crossing{}
}

// RestrictedMean is the mean number of turns up to a limit: what a mat gives on
// average if it is thrown out at Until at the latest.
type RestrictedMean struct {
	Estimate
	Until float64
}

// RestrictedMean gives the area under the curve up to the given turn, with the
// plain interval (Klein & Moeschberger 2003, section 4.5, from memory). until
// = 0 means the last observed turn. Past the last observed turn the curve is
// not known, so a later limit is *Invalid unless the curve has reached 0.
func (c Curve) RestrictedMean(until float64) (RestrictedMean, error) {
	z, err := normalQuantile(c.Confidence)
	if err != nil || len(c.Points) == 0 {
		return RestrictedMean{}, &TooLittle{Statement: "the mean life", Have: 0, Need: 1, Of: "mats",
			Advice: "add mats and record their turns"}
	}
	if until == 0 {
		until = c.LastTurn
	}
	last := c.Points[len(c.Points)-1]
	if !(until >= 0 && until <= maxTurns) || (until > c.LastTurn && last.S > 0) {
		return RestrictedMean{}, invalid("limit of the restricted mean", number(until),
			fmt.Sprintf("give at most the last observed turn, %g", c.LastTurn))
	}
	n := sort.Search(len(c.Points), func(i int) bool { return c.Points[i].Turns > until })
	right, area, variance := until, 0.0, 0.0
	for i := n - 1; i >= 0; i-- {
		p := c.Points[i]
		area += p.S * (right - p.Turns)
		right = p.Turns
		if p.Retired > 0 && p.AtRisk > p.Retired {
			// The later area moves with every retirement before it.
			variance += area * area * float64(p.Retired) / (float64(p.AtRisk) * float64(p.AtRisk-p.Retired))
		}
	}
	area += right
	se := math.Sqrt(variance)
	return RestrictedMean{Until: until, Estimate: Estimate{Value: area, SE: se,
		Low: math.Max(0, area-z*se), High: math.Min(until, area+z*se)}}, nil
}

// LifeRatio tells how many times as long mats a last as mats b: the ratio of
// the restricted means up to a common turn, with an interval built on its
// logarithm by the delta method (Royston & Parmar 2013 propose the restricted
// mean for comparing two curves, from memory). until = 0 means the longest
// turn that both curves know. The level is that of curve a.
func LifeRatio(a, b Curve, until float64) (RestrictedMean, error) {
	if until == 0 {
		until = math.Min(a.knownUntil(), b.knownUntil())
		if until == maxTurns {
			until = math.Max(a.LastTurn, b.LastTurn)
		}
	}
	ma, err := a.RestrictedMean(until)
	if err != nil {
		return RestrictedMean{}, err
	}
	mb, err := b.RestrictedMean(until)
	if err != nil {
		return RestrictedMean{}, err
	}
	if ma.Value <= 0 || mb.Value <= 0 || (ma.SE == 0 && mb.SE == 0) {
		return RestrictedMean{}, &NoEstimate{Of: "how many times as long one kind lasts",
			Why:    fmt.Sprintf("up to turn %g neither kind shows a spread of lives", until),
			Advice: "wait until mats of both kinds are retired at different turns"}
	}
	z, err := normalQuantile(a.Confidence)
	if err != nil {
		return RestrictedMean{}, err
	}
	ratio := ma.Value / mb.Value
	seLog := math.Hypot(ma.SE/ma.Value, mb.SE/mb.Value)
	return logEstimate(ratio, seLog, z, until)
}

func (c Curve) knownUntil() float64 {
	if len(c.Points) > 0 && c.Points[len(c.Points)-1].S == 0 {
		return maxTurns
	}
	return c.LastTurn
}

func logEstimate(value, seLog, z, until float64) (RestrictedMean, error) {
	e := RestrictedMean{Until: until, Estimate: onLog(value, seLog, z)}
	if !finite(e.Value, e.SE, e.Low, e.High) {
		return RestrictedMean{}, &NoEstimate{Of: "how many times as long one kind lasts",
			Why: "its interval is wider than any number", Advice: "wait for more retirements"}
	}
	return e, nil
}
