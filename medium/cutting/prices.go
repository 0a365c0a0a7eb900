package cutting

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
)

// priceScale: prices are in mm of stock, kept in whole parts of this.
const priceScale = 10_000

// relax solves the linear program "least stock of patterns that meets the
// demand" with patterns made on demand (Gilmore and Gomory 1961), on sheets or
// on bands of a roll up to this length. It gives the patterns to be used in
// full, which is the solution rounded down, and in whole numbers the prices:
// what one more copy of each size would cost.
//
// It ends when no pattern is worth more than it costs, or when the budget or
// the arithmetic does: that changes only what is tried, never a proof. The
// bound, for sheets, is the number that no plan goes below: no sheet holds more
// than the top of an exact table, whatever floating point did to the prices, so
// the demand needs at least its worth divided by that (Farley 1990).
func (j *job) relax(length int, on rastered) (whole []batch, prices []int, bound int) {
	b := j.budget.part(j.budget.left / 2)
	t := newTable(j.rects, &j.any, length, j.y, on, b)
	rs := fitting(j.rects, &j.any, math.MaxInt, j.y)
	var patterns []*node // one block of each size and direction to begin with
	var basis []int
	for k, r := range rs {
		if k == 0 || rs[k-1].size != r.size {
			basis = append(basis, len(j.wanted)+k)
		}
		patterns = append(patterns, array(&rs[k], max(1, j.x/r.x), min(j.y/r.y, int(j.want[r.size]))))
	}
	gain := func(x int) int { return t.at(x, j.y) - priceScale*cmp.Or(j.x, x) }
	prices = j.area
	for range 1000 {
		times, dual := j.simplex(patterns, basis)
		if dual == nil {
			break
		}
		whole, prices = nil, make([]int, len(j.sizes))
		for i, n := range patterns {
			if full := int(times[i] + 0.01); full > 0 {
				whole = append(whole, batch{n, full})
			}
		}
		for i, size := range j.wanted {
			prices[size] = max(1, int(math.Round(dual[i]*priceScale))) // a free size must still be cut
		}
		if !t.fill(prices, b) {
			break
		}
		if t.exact {
			bound = max(bound, ceilDiv(j.want.worth(prices), t.top()))
		}
		best := slices.MaxFunc(t.xs.at[1:], func(a, b int) int { return cmp.Compare(gain(a), gain(b)) })
		n := t.pattern(best, j.y, j.any)
		if gain(best) <= 0 || slices.ContainsFunc(patterns, func(p *node) bool { return p.made == n.made }) {
			break // what is left of a gain is rounding
		}
		patterns = append(patterns, n)
	}
	return whole, prices, bound
}

// simplex meets the demand from these patterns, which follow one surplus a row
// in the columns, starting from a basis that meets it whatever the rounding: gonum
// panics on another. It gives how often each is used and the dual prices by
// row, nil when the arithmetic gave up.
func (j *job) simplex(patterns []*node, basis []int) (times, dual []float64) {
	rows := len(j.wanted)
	a := mat.NewDense(rows, rows+len(patterns), nil)
	cost, want := make([]float64, rows+len(patterns)), make([]float64, rows)
	for i, size := range j.wanted {
		a.Set(i, i, -1)
		for k, n := range patterns {
			a.Set(i, rows+k, float64(n.made[size]))
			cost[rows+k] = float64(cmp.Or(j.x, n.x))
		}
		// No two sums of these small shares are equal (e is transcendental), so
		// no basis is degenerate: gonum's simplex gives up on those.
		want[i] = float64(j.want[size]) + 1e-3*math.Exp(-float64(i)/MaxSizes)
	}
	_, used, err := lp.Simplex(cost, a, want, 1e-9, basis)
	var next []int // the basis that it ended with
	for c, n := range used {
		if n > 1e-6 { // far from what rounding makes of 0
			next = append(next, c)
		}
	}
	if err != nil || len(next) != rows {
		return nil, nil
	}
	columns, costs := mat.NewDense(rows, rows, nil), mat.NewVecDense(rows, nil)
	for i, c := range next {
		columns.SetRow(i, mat.Col(nil, c, a))
		costs.SetVec(i, cost[c])
	}
	var y mat.VecDense
	if y.SolveVec(columns, costs) != nil {
		return nil, nil
	}
	return used[rows:], y.RawVector().Data
}
