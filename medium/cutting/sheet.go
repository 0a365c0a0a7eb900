package cutting

import "math"

// SheetPlan is the best cutting of one sheet.
type SheetPlan struct {
	Pattern Pattern
	Made    []int // copies by size
	Value   int   // of the sizes that are not fill
	// Bound is an upper bound on Value for any guillotine cutting of the
	// sheet. Proven says that Value reaches it (and that the fill sizes are
	// best for that value).
	Bound  int
	Proven bool
	Steps  int // spent of the limit
}

// GapPercent is how far Value may be below the best, in percent of the bound;
// 0 when proven.
func (p SheetPlan) GapPercent() float64 {
	if p.Proven {
		return 0
	}
	return percent(p.Bound-p.Value, p.Bound)
}

// BestSheet cuts one sheet for the greatest value, with any number of copies
// or at most Count of each size. Fill sizes are added only as far as they cost
// nothing of the others.
//
// Without counts the plan is exact by dynamic programming (Gilmore and Gomory
// 1966); with counts by best-first search (Viswanathan and Bagchi 1993), both
// within the limit. Kerf is taken as in the trade: neighbours share one cut,
// so n mats in a row take n-1 kerfs.
//
// Errors: *Invalid, *TooLarge, *NoFit (when no size at all fits).
func BestSheet(sheet Sheet, sizes []Size, c Cutting, limit Limit) (SheetPlan, error) {
	rs, err := checkBest(sheet, sizes, c)
	if err != nil {
		return SheetPlan{}, err
	}
	l, w := usable(sheet, c)
	x, y := l+c.KerfMM, w+c.KerfMM
	values, scale, err := ranked(sizes, rs, x*y)
	if err != nil {
		return SheetPlan{}, err
	}
	b := newBudget(limit)
	n, value, upper := bestOf(rs, sizes, values, x, y, b)
	plan := SheetPlan{
		Pattern: render(n, sheet, Rect{c.MarginMM, c.MarginMM, l, w}, c),
		Made:    n.made(len(sizes)),
		Value:   value / scale, Bound: upper / scale, Proven: value == upper,
		Steps: b.used,
	}
	return plan, nil
}

func checkBest(sheet Sheet, sizes []Size, c Cutting) ([]rect, error) {
	if err := checkCutting(c); err != nil {
		return nil, err
	}
	if err := checkSizes(sizes); err != nil {
		return nil, err
	}
	if err := checkSheet(sheet, c); err != nil {
		return nil, err
	}
	l, w := usable(sheet, c)
	rs := rects(sizes, func(Size) bool { return true }, c.KerfMM, l, w)
	if len(rs) == 0 {
		return nil, noFit(sizes, 0, l, w)
	}
	return rs, checkPieces(rs, (l+c.KerfMM)*(w+c.KerfMM))
}

// checkPieces refuses patterns of more mats than anyone would cut.
func checkPieces(rs []rect, area int) error {
	smallest := math.MaxInt
	for _, r := range rs {
		smallest = min(smallest, r.x*r.y)
	}
	if area/smallest > maxPieces {
		return &TooLarge{What: "number of mats that the stock could hold", Have: float64(area / smallest), Limit: maxPieces,
			Do: "cut the stock into smaller sheets first, or leave out the smallest size"}
	}
	return nil
}

// ranked scales the values so that no number of fill copies outweighs the
// least value of another size.
func ranked(sizes []Size, rs []rect, area int) (values []int, scale int, err error) {
	fill, most := 0, 0.0
	for _, r := range rs {
		s := sizes[r.size]
		n := area / (r.x * r.y)
		if s.Fill {
			fill = max(fill, int(math.Ceil(float64(s.value())*float64(area)/float64(r.x*r.y))))
		} else {
			most = max(most, float64(s.value())*float64(n+1))
		}
	}
	scale = fill + 1
	if total := most*float64(scale) + float64(fill); total > 1<<61 {
		return nil, 0, &TooLarge{What: "greatest value of the sheet times that of its fill sizes", Have: total, Limit: 1 << 61,
			Do: "give smaller values, for example 1 a mat, or leave out the fill sizes"}
	}
	values = make([]int, len(sizes))
	for i, s := range sizes {
		values[i] = s.value()
		if !s.Fill {
			values[i] *= scale
		}
	}
	return values, scale, nil
}

// bestOf gives the best pattern found with its value and an upper bound.
func bestOf(rs []rect, sizes []Size, values []int, x, y int, b *budget) (*node, int, int) {
	most, limited := make([]int, len(sizes)), 0
	for i, s := range sizes {
		most[i] = s.Count
		if s.Count == 0 {
			most[i] = maxPieces
			continue
		}
		limited++
	}
	var n *node
	upper := areaBound(rs, values, x*y)
	if t := unconstrained(rs, values, x, y, b); t != nil {
		n = t.pattern(x, y)
		if t.exact {
			upper = t.top()
		}
	}
	made := n.made(len(sizes))
	if limited == 0 || within(made, most) {
		return n, worth(made, values), upper
	}
	n, value, bound := bounded(rs, values, most, x, y, n.without(most), 0, b)
	return n, value, max(value, min(upper, bound))
}

func within(made, most []int) bool {
	for i, m := range made {
		if m > most[i] {
			return false
		}
	}
	return true
}

func worth(made, values []int) int {
	v := 0
	for i, m := range made {
		v += m * values[i]
	}
	return v
}

// areaBound is the greatest value per area times the area, rounded up.
func areaBound(rs []rect, values []int, area int) int {
	best := 0.0
	for _, r := range rs {
		best = max(best, float64(values[r.size])/float64(r.x*r.y))
	}
	return int(math.Ceil(best * float64(area) * (1 + 1e-12)))
}
