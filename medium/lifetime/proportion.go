package lifetime

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"
)

// Count is how often something was found in a number of trials, such as turns
// with mold among the turns on one crop. The intervals and tests take the
// trials as independent; many turns of few mats are not, and then all
// uncertainties here are too small.
type Count struct {
	Name   string
	Hits   int
	Trials int // 0 to 1e9
}

func (c Count) label() string {
	if c.Name == "" {
		return "these mats"
	}
	return c.Name
}

// Share is Hits/Trials, 0 without trials.
func (c Count) Share() float64 {
	if c.Trials <= 0 {
		return 0
	}
	return float64(c.Hits) / float64(c.Trials)
}

func (c Count) check() error {
	if c.Trials == 0 && c.Hits == 0 {
		return &TooLittle{Statement: "a rate of " + c.label(), Have: 0, Need: 1, Of: "turns",
			Advice: "record harvests, clean ones too"}
	}
	if c.Hits < 0 || c.Trials < c.Hits || c.Trials > maxTurns {
		return invalid("count of "+c.label(), fmt.Sprintf("%d of %d", c.Hits, c.Trials),
			"give hits from 0 to the number of trials, and at most 1e9 trials")
	}
	return nil
}

// Wilson is the score interval of a share (Wilson 1927): never empty, also for
// 0 or all hits. Errors: *TooLittle without trials, *Invalid.
func (c Count) Wilson(confidence float64) (Interval, error) {
	z, err := normalQuantile(confidence)
	if err != nil {
		return Interval{}, err
	}
	if err := c.check(); err != nil {
		return Interval{}, err
	}
	return c.wilson(z), nil
}

func (c Count) wilson(z float64) Interval {
	n, p := float64(c.Trials), c.Share()
	centre := p + z*z/(2*n)
	half := z * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	low, high := (centre-half)/(1+z*z/n), (centre+half)/(1+z*z/n)
	// At 0 and at all hits the limit is exact; rounding can leave -1e-17.
	if c.Hits == 0 {
		low = 0
	}
	if c.Hits == c.Trials {
		high = 1
	}
	return Interval{math.Min(p, clamp01(low)), math.Max(p, clamp01(high))}
}

// ClopperPearson is the exact interval of a share (Clopper & Pearson 1934). It
// covers at least at its level and is wider than Wilson's.
func (c Count) ClopperPearson(confidence float64) (Interval, error) {
	if _, err := normalQuantile(confidence); err != nil {
		return Interval{}, err
	}
	if err := c.check(); err != nil {
		return Interval{}, err
	}
	x, n, tail := float64(c.Hits), float64(c.Trials), (1-confidence)/2
	exact := Interval{0, 1}
	// gonum's Beta.Quantile panics at a shape of 0; there the limit is the end
	// of the scale. The upper limit is asked for from the other side, where the
	// tail keeps its digits.
	if c.Hits > 0 {
		exact.Low = clamp01(distuv.Beta{Alpha: x, Beta: n - x + 1}.Quantile(tail))
	}
	if c.Hits < c.Trials {
		exact.High = 1 - clamp01(distuv.Beta{Alpha: n - x, Beta: x + 1}.Quantile(tail))
	}
	return Interval{math.Min(exact.Low, c.Share()), math.Max(exact.High, c.Share())}, nil
}

// Comparison is how two shares differ.
type Comparison struct {
	A, B Count
	// P is Fisher's exact two-sided p-value; Greater and Less are the one-sided
	// ones for A molding more and less often than B.
	P, Greater, Less float64
	// Difference is A's share less B's with Newcombe's hybrid score interval
	// (Newcombe 1998, method 10); it exists also when one side is clean.
	Difference Interval
	// Ratio is A's share over B's with an interval on its logarithm (Katz et
	// al. 1978). It needs hits on both sides, else RatioKnown is false.
	Ratio      Estimate
	RatioKnown bool
}

// Compare sets two shares against each other. Errors: *TooLittle for a side
// without trials, *Invalid; *NoEstimate when neither side has a hit (or both
// have nothing but hits): there is nothing to compare.
func Compare(a, b Count, confidence float64) (Comparison, error) {
	z, err := normalQuantile(confidence)
	if err != nil {
		return Comparison{}, err
	}
	for _, c := range []Count{a, b} {
		if err := c.check(); err != nil {
			return Comparison{}, err
		}
	}
	if hits := a.Hits + b.Hits; hits == 0 || hits == a.Trials+b.Trials {
		return Comparison{}, &NoEstimate{Of: fmt.Sprintf("a difference between %s and %s", a.label(), b.label()),
			Why:    fmt.Sprintf("%d hits in %d trials of both together", hits, a.Trials+b.Trials),
			Advice: "give each side's own interval instead"}
	}
	cmp := Comparison{A: a, B: b, Difference: newcombe(a, b, z)}
	cmp.P, cmp.Greater, cmp.Less = fisher(a, b)
	if a.Hits > 0 && b.Hits > 0 {
		ratio := a.Share() / b.Share()
		seLog := math.Sqrt(1/float64(a.Hits) - 1/float64(a.Trials) + 1/float64(b.Hits) - 1/float64(b.Trials))
		cmp.Ratio = onLog(ratio, seLog, z)
		cmp.RatioKnown = finite(cmp.Ratio.High)
		if !cmp.RatioKnown {
			cmp.Ratio = Estimate{}
		}
	}
	return cmp, nil
}

func newcombe(a, b Count, z float64) Interval {
	wa, wb, pa, pb := a.wilson(z), b.wilson(z), a.Share(), b.Share()
	d := pa - pb
	return Interval{
		math.Max(-1, d-math.Hypot(pa-wa.Low, wb.High-pb)),
		math.Min(1, d+math.Hypot(wa.High-pa, pb-wb.Low)),
	}
}

// fisher walks the tables with the same margins outward from the most likely
// one by the ratio of neighbours, which needs no factorials and cannot
// overflow; what has underflowed to 0 is not walked.
func fisher(a, b Count) (two, greater, less float64) {
	hits := a.Hits + b.Hits
	lo, hi := max(0, hits-b.Trials), min(hits, a.Trials)
	// ratio of table x+1 to table x, x hits in a
	ratio := func(x int) float64 {
		return float64(a.Trials-x) / float64(x+1) * float64(hits-x) / float64(b.Trials-hits+x+1)
	}
	mode := int(float64(a.Trials+1) * float64(hits+1) / float64(a.Trials+b.Trials+2))
	mode = min(hi, max(lo, mode))
	from, to := mode, mode
	up, down := []float64{}, []float64{}
	for x, w := mode, 1.0; x < hi; x++ {
		if w *= ratio(x); w < 1e-300 {
			break
		}
		up = append(up, w)
		to = x + 1
	}
	for x, w := mode, 1.0; x > lo; x-- {
		if w /= ratio(x - 1); w < 1e-300 {
			break
		}
		down = append(down, w)
		from = x - 1
	}
	slices.Reverse(down)
	weights := append(append(down, 1), up...)
	observed := 0.0
	if a.Hits >= from && a.Hits <= to {
		observed = weights[a.Hits-from]
	}
	total := 0.0
	for i, w := range weights {
		total += w
		x := from + i
		// Tables exactly as likely as the observed one can differ in the last
		// digits; R uses the same slack.
		if w <= observed*(1+1e-7) {
			two += w
		}
		if x >= a.Hits {
			greater += w
		}
		if x <= a.Hits {
			less += w
		}
	}
	return math.Min(1, two/total), math.Min(1, greater/total), math.Min(1, less/total)
}

// Holm raises p-values for having looked at several comparisons at once (Holm
// 1979): the chance of even one false alarm among all of them stays at the
// level, whatever their dependence. Holm and not Benjamini-Hochberg because a
// farm makes few comparisons and acts on each by itself. The result is in the
// order given; values outside 0..1 are *Invalid.
func Holm(p []float64) ([]float64, error) {
	for i, v := range p {
		if !(v >= 0 && v <= 1) {
			return nil, invalid(fmt.Sprintf("p-value %d", i+1), number(v), "give values from 0 to 1")
		}
	}
	order, adjusted := make([]int, len(p)), make([]float64, len(p))
	floats.ArgsortStable(slices.Clone(p), order)
	running := 0.0
	for rank, i := range order {
		running = math.Max(running, math.Min(1, p[i]*float64(len(p)-rank)))
		adjusted[i] = running
	}
	return adjusted, nil
}

// PairComparison is a Comparison with its p-value corrected for the number of
// pairs looked at.
type PairComparison struct {
	Comparison
	Adjusted float64 // Holm
}

// ComparePairs compares every pair of counts and corrects for having looked at
// all of them. Pairs with nothing to compare (no hit on either side) are left
// out and not counted.
func ComparePairs(counts []Count, confidence float64) ([]PairComparison, error) {
	var pairs []PairComparison
	var p []float64
	for i := range counts {
		for j := i + 1; j < len(counts); j++ {
			c, err := Compare(counts[i], counts[j], confidence)
			if _, nothing := err.(*NoEstimate); nothing {
				continue
			}
			if err != nil {
				return nil, err
			}
			pairs = append(pairs, PairComparison{Comparison: c})
			p = append(p, c.P)
		}
	}
	adjusted, err := Holm(p)
	if err != nil {
		return nil, err
	}
	for i := range pairs {
		pairs[i].Adjusted = adjusted[i]
	}
	return pairs, nil
}
