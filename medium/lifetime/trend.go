package lifetime

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Reading is one measured value at one turn.
type Reading struct {
	Turn  float64 // 0 to 1e9, told apart down to a millionth
	Value float64 // within plus and minus 1e12
}

// Series is a set of readings that may be compared with one another, such as
// the harvests of one crop on one mat. Readings of different series are never
// compared.
type Series struct {
	Name   string
	Points []Reading
}

// Trend is the Mann-Kendall test and the Theil-Sen slope over one or more
// series.
type Trend struct {
	Readings int
	// S is the number of pairs that rise less those that fall; VarS its
	// variance without a trend, with the correction for ties in turn and value
	// (Kendall 1975). Several series add up (Hirsch, Slack & Smith 1982).
	S    int64
	VarS float64
	// Z is the continuity-corrected normal score, PNormal its two-sided p-value.
	Z, PNormal float64
	// P is the p-value to use: exact without ties and with at most 50 readings
	// in all, else PNormal.
	P     float64
	Exact bool
	// Slope is the median of the slopes of all pairs (Theil 1950, Sen 1968), in
	// value per turn, and its interval by linear interpolation of the ordered
	// slopes (Gilbert 1987, section 16.4.2). Its SE is not defined and is 0.
	Slope Estimate
	// LevelReached is false when there are too few pairs for the level asked
	// for; Low and High are then the least and greatest slope.
	LevelReached bool
	// Intercept is the median value less Slope times the median turn (Conover),
	// for a single series only, else 0.
	Intercept float64
}

const (
	maxValue      = 1e12
	exactReadings = 50
	// Up to this many pairs every slope is computed and sorted; beyond, the
	// ordered slopes are found by counting, to ten digits.
	listedPairs = 1 << 21
)

// FindTrend tests the series for a common trend and estimates its slope.
// Errors: *Invalid for values out of range, *NoEstimate when no series has two
// readings at different turns.
func FindTrend(series []Series, confidence float64) (Trend, error) {
	z, err := normalQuantile(confidence)
	if err != nil {
		return Trend{}, err
	}
	sorted := make([][]Reading, 0, len(series))
	var t Trend
	tieFree, pairs := true, int64(0)
	for _, s := range series {
		points, err := s.ordered()
		if err != nil {
			return Trend{}, err
		}
		if len(points) == 0 {
			continue
		}
		sorted = append(sorted, points)
		t.Readings += len(points)
		k := kendall(points)
		t.S += k.s
		t.VarS += k.variance
		pairs += k.slopes
		tieFree = tieFree && !k.ties
	}
	if pairs == 0 {
		return Trend{}, &NoEstimate{Of: "a trend", Why: "no two readings of the same series lie at different turns",
			Advice: "weigh the harvest of the same crop on the same mat for more turns"}
	}
	t.Z = score(t.S, t.VarS)
	t.PNormal = twoSided(t.Z)
	t.P = t.PNormal
	if tieFree && t.Readings <= exactReadings {
		t.P, t.Exact = exactKendall(sorted, t.S), true
	}
	t.slopes(sorted, pairs, z)
	if len(sorted) == 1 {
		t.Intercept = conover(sorted[0], t.Slope.Value)
	}
	return t, nil
}

// ordered checks and sorts the readings by turn, then value.
func (s Series) ordered() ([]Reading, error) {
	points := slices.Clone(s.Points)
	for i, p := range points {
		if !(p.Turn >= 0 && p.Turn <= maxTurns) {
			return nil, invalid(fmt.Sprintf("turn of reading %d of %q", i+1, s.Name), number(p.Turn),
				"give a number of turns from 0 to 1e9")
		}
		if !(math.Abs(p.Value) <= maxValue) {
			return nil, invalid(fmt.Sprintf("value of reading %d of %q", i+1, s.Name), number(p.Value),
				"give a number within plus and minus 1e12")
		}
		// Closer turns than this are one turn; it also bounds the slopes.
		points[i].Turn = math.Round(p.Turn*1e6) / 1e6
	}
	slices.SortFunc(points, func(a, b Reading) int {
		return cmp.Or(cmp.Compare(a.Turn, b.Turn), cmp.Compare(a.Value, b.Value))
	})
	return points, nil
}

type kendallSums struct {
	s        int64
	variance float64
	slopes   int64 // pairs at different turns
	ties     bool
}

// kendall counts rising less falling pairs by sorting (Knight 1966). gonum's
// stat.Kendall takes a tied pair for a rising one and cannot be used.
func kendall(points []Reading) kendallSums {
	n := int64(len(points))
	values := make([]float64, n)
	for i, p := range points {
		values[i] = p.Value
	}
	xTies := tieRuns(points, func(a, b Reading) bool { return a.Turn == b.Turn })
	both := tieRuns(points, func(a, b Reading) bool { return a == b })
	falling := inversions(values, make([]float64, n)) // values is sorted now
	yTies := tieRuns(values, func(a, b float64) bool { return a == b })

	all := n * (n - 1) / 2
	sameTurn, sameValue, sameBoth := pairsIn(xTies), pairsIn(yTies), pairsIn(both)
	k := kendallSums{slopes: all - sameTurn, ties: sameTurn+sameValue > 0}
	k.s = all - sameTurn - sameValue + sameBoth - 2*falling
	k.variance = kendallVariance(float64(n), xTies, yTies)
	return k
}

func kendallVariance(n float64, xTies, yTies []int) float64 {
	if n < 2 {
		return 0
	}
	five := func(t float64) float64 { return t * (t - 1) * (2*t + 5) }
	three := func(t float64) float64 { return t * (t - 1) * (t - 2) }
	two := func(t float64) float64 { return t * (t - 1) }
	v := (five(n) - over(xTies, five) - over(yTies, five)) / 18
	if n > 2 {
		v += over(xTies, three) * over(yTies, three) / (9 * three(n))
	}
	v += over(xTies, two) * over(yTies, two) / (2 * two(n))
	return math.Max(0, v)
}

func over(ties []int, f func(float64) float64) float64 {
	sum := 0.0
	for _, t := range ties {
		sum += f(float64(t))
	}
	return sum
}

func tieRuns[T any](sorted []T, equal func(a, b T) bool) []int {
	var runs []int
	for i := 0; i < len(sorted); {
		j := i + 1
		for j < len(sorted) && equal(sorted[i], sorted[j]) {
			j++
		}
		if j-i > 1 {
			runs = append(runs, j-i)
		}
		i = j
	}
	return runs
}

func pairsIn(ties []int) int64 {
	var sum int64
	for _, t := range ties {
		sum += int64(t) * int64(t-1) / 2
	}
	return sum
}

// inversions sorts v and counts the pairs that stood in strictly falling order.
func inversions(v, spare []float64) int64 {
	n := len(v)
	if n < 2 {
		return 0
	}
	m := n / 2
	count := inversions(v[:m], spare[:m]) + inversions(v[m:], spare[m:])
	copy(spare, v)
	i, j := 0, m
	for k := range v {
		if j >= n || (i < m && spare[i] <= spare[j]) {
			v[k] = spare[i]
			i++
			continue
		}
		v[k] = spare[j]
		j++
		count += int64(m - i)
	}
	return count
}

func score(s int64, variance float64) float64 {
	if variance <= 0 || s == 0 {
		return 0
	}
	return (float64(s) - math.Copysign(1, float64(s))) / math.Sqrt(variance)
}

// exactKendall is the two-sided chance of so large a sum over all orders of
// the values within each series: the distribution of inversions, one series
// after the other.
func exactKendall(series [][]Reading, s int64) float64 {
	chances := []float64{1} // of 0, 1, 2 ... falling pairs
	for _, points := range series {
		for n := 2; n <= len(points); n++ {
			next := make([]float64, len(chances)+n-1)
			for falling, c := range chances {
				for more := range n {
					next[falling+more] += c / float64(n)
				}
			}
			chances = next
		}
	}
	p, pairs := 0.0, int64(len(chances)-1)
	if s < 0 {
		s = -s
	}
	for falling, c := range chances {
		if d := pairs - 2*int64(falling); d >= s || -d >= s {
			p += c
		}
	}
	return math.Min(1, p)
}

// slopes fills in the Theil-Sen slope and its interval.
func (t *Trend) slopes(series [][]Reading, pairs int64, z float64) {
	at := ranked(series, pairs)
	n := float64(pairs)
	width := z * math.Sqrt(t.VarS)
	low, high := (n-width)/2, (n+width)/2+1
	t.LevelReached = low >= 1 && high <= n
	t.Slope.Value = at((n + 1) / 2)
	t.Slope.Low = math.Min(t.Slope.Value, at(low))
	t.Slope.High = math.Max(t.Slope.Value, at(high))
}

// ranked gives the ordered slopes at a rank from 1, interpolated between whole
// ranks and held at the ends.
func ranked(series [][]Reading, pairs int64) func(rank float64) float64 {
	if pairs > listedPairs {
		return func(rank float64) float64 { return countedSlope(series, pairs, rank) }
	}
	all := make([]float64, 0, pairs)
	for _, points := range series {
		for i, p := range points {
			for _, q := range points[i+1:] {
				if q.Turn > p.Turn {
					all = append(all, (q.Value-p.Value)/(q.Turn-p.Turn))
				}
			}
		}
	}
	slices.Sort(all)
	return func(rank float64) float64 {
		rank = math.Max(1, math.Min(rank, float64(len(all))))
		whole := int(rank)
		if whole == len(all) {
			return all[whole-1]
		}
		part := rank - float64(whole)
		return all[whole-1] + part*(all[whole]-all[whole-1])
	}
}

// countedSlope finds an ordered slope among too many to list: a slope below b
// is a pair that falls once b times the turn is taken off its values.
func countedSlope(series [][]Reading, pairs int64, rank float64) float64 {
	steepest, longest := 0.0, 0
	for _, points := range series {
		longest = max(longest, len(points))
		steepest = math.Max(steepest, steepestStep(points))
	}
	buffer, spare := make([]float64, longest), make([]float64, longest)
	below := func(b float64) int64 {
		var count int64
		for _, points := range series {
			rest := buffer[:len(points)]
			for i, p := range points {
				rest[i] = p.Value - b*p.Turn
			}
			// Within a turn the values stand in rising order and so add none.
			count += inversions(rest, spare[:len(points)])
		}
		return count
	}
	rank = math.Max(1, math.Min(rank, float64(pairs)))
	lo, hi := -steepest*(1+1e-12)-1e-300, steepest*(1+1e-12)+1e-300
	for hi-lo > 1e-10*math.Max(math.Abs(lo+hi)/2, 1e-4*steepest) {
		mid := lo + (hi-lo)/2
		if mid <= lo || mid >= hi {
			break
		}
		if float64(below(mid)) >= rank {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo + (hi-lo)/2
}

// steepestStep is the steepest slope of a series: any slope is an average of
// steps between neighbouring turns, so it is found among those.
func steepestStep(points []Reading) float64 {
	steepest := 0.0
	for i := 0; i < len(points); {
		j := turnEnd(points, i)
		if j == len(points) {
			break
		}
		k := turnEnd(points, j)
		// Within a turn the values are sorted: first and last are the extremes.
		gap := points[j].Turn - points[i].Turn
		up := math.Abs(points[k-1].Value - points[i].Value)
		down := math.Abs(points[j].Value - points[j-1].Value)
		steepest = math.Max(steepest, math.Max(up, down)/gap)
		i = j
	}
	return steepest
}

func turnEnd(points []Reading, i int) int {
	j := i + 1
	for j < len(points) && points[j].Turn == points[i].Turn {
		j++
	}
	return j
}

func conover(points []Reading, slope float64) float64 {
	turns, values := make([]float64, len(points)), make([]float64, len(points))
	for i, p := range points {
		turns[i], values[i] = p.Turn, p.Value
	}
	slices.Sort(values)
	return median(values) - slope*median(turns)
}
