package cutting

import (
	"fmt"
	"slices"
	"sort"
)

// Roll is mesh from a roll: the width is fixed, the length is what is asked.
type Roll struct {
	WidthMM int `json:"width_mm"`
}

// RollPlan is a cutting of a demand from one length of roll.
type RollPlan struct {
	Pattern Pattern // on a sheet of the length used
	Made    []int   // copies by size
	// LengthMM is the length to cut off the roll. One more kerf parts it.
	LengthMM int
	// BoundMM is the length that no guillotine cutting can go below; Proven
	// says that LengthMM is that length.
	BoundMM int
	Proven  bool
	Steps   int
}

// GapPercent is how much longer than the bound, in percent of the bound.
func (p RollPlan) GapPercent() float64 { return percent(p.LengthMM-p.BoundMM, p.BoundMM) }

// ShortestRoll cuts the Count of every size from as short a length of a roll as
// it finds. One size alone, and small demands, are cut shortest and proven so;
// larger mixed demands are cut in bands (column generation over bands, rounded)
// and the gap to the bound is stated. Fill sizes are cut from what is left.
//
// Errors: *Invalid, *TooLarge, *NoFit.
func ShortestRoll(roll Roll, sizes []Size, c Cutting, limit Limit) (RollPlan, error) {
	d, err := newRollDemand(roll, sizes, c, limit)
	if err != nil {
		return RollPlan{}, err
	}
	n, bound := d.roll()
	if n.x-c.KerfMM > MaxSideMM {
		return RollPlan{}, &TooLarge{What: "length of roll in mm", Have: float64(n.x), Limit: MaxSideMM, Do: "split the demand"}
	}
	sheet := Sheet{LengthMM: n.x - c.KerfMM, WidthMM: roll.WidthMM}
	pattern := render(n, sheet, Rect{0, c.MarginMM, sheet.LengthMM, d.y - c.KerfMM}, c)
	newFiller(d.fillers, sizes, d.budget).fill(&pattern, c, 1)
	p := RollPlan{Pattern: pattern, Made: make([]int, len(sizes)), LengthMM: sheet.LengthMM,
		BoundMM: bound - c.KerfMM, Proven: n.x == bound, Steps: d.budget.used}
	for _, m := range pattern.Placed {
		p.Made[m.Size]++
	}
	return p, nil
}

func newRollDemand(roll Roll, sizes []Size, c Cutting, limit Limit) (*demand, error) {
	if err := checkCutting(c); err != nil {
		return nil, err
	}
	if err := checkSizes(sizes); err != nil {
		return nil, err
	}
	if roll.WidthMM < 1 || roll.WidthMM > MaxSideMM {
		return nil, invalid("width of the roll", fmt.Sprintf("%d mm", roll.WidthMM), fmt.Sprintf("give 1 to %d mm", MaxSideMM))
	}
	w := roll.WidthMM - 2*c.MarginMM
	if w < 1 {
		return nil, invalid("margin", fmt.Sprintf("%d mm", c.MarginMM), "nothing is left of the roll; give a smaller margin")
	}
	rs := rects(sizes, func(Size) bool { return true }, c.KerfMM, 0, w)
	if err := checkDemand(sizes, rs, 0, w); err != nil {
		return nil, err
	}
	return newDemand(sizes, rs, 0, w+c.KerfMM, newBudget(limit)), nil
}

// roll gives the shortest pattern found and the bound, both with a kerf.
func (d *demand) roll() (*node, int) {
	best := d.inRows()
	s := shortest{rects: d.rects, area: d.area, most: d.want, y: d.y, budget: d.budget.part(d.budget.left / 2)}
	n, bound := s.find(best, 0)
	d.budget.take(s.budget)
	best = n
	if best.x == bound {
		return best, bound
	}
	n, prices := d.bands(best.x)
	if n != nil && n.x < best.x {
		best = n
	}
	return best, max(bound, d.priced(prices, best.x))
}

// priced is a lower bound on the length: a length that holds all copies holds
// all of what they are worth, whatever whole numbers they are priced at.
func (d *demand) priced(prices []int, most int) int {
	b := d.budget.part(d.budget.left)
	defer func() { d.budget.take(b) }()
	t, ok := grid(d.rects, most, d.y, b, normalPoints, rasterPoints)
	if prices == nil || !ok || !t.exact || !t.fill(prices, b, nil) {
		return 0
	}
	x, _ := t.reach(worth(d.want, prices), d.y)
	return x
}

// inRows cuts each size for itself in full rows: long, but always possible.
func (d *demand) inRows() *node {
	var all *node
	for _, size := range d.rows {
		var best *node
		for i := range d.rects {
			r := &d.rects[i]
			if r.size != size {
				continue
			}
			n := rowsOf(r, d.want[size], d.y/r.y)
			if best == nil || n.x < best.x {
				best = n
			}
		}
		all = join(all, best, true)
	}
	return all
}

func rowsOf(r *rect, copies, across int) *node {
	across = min(across, copies)
	n := array(r, copies/across, across)
	if rest := copies % across; rest > 0 {
		n = join(n, array(r, 1, rest), true)
	}
	return n
}

// bands solves "least length of bands that meets the demand" over bands up to a
// few mats long, rounds it down, and cuts the rest shortest. It also gives the dual prices.
func (d *demand) bands(most int) (*node, []int) {
	longest := 0
	for _, r := range d.rects {
		longest = max(longest, r.x)
	}
	b := d.budget.part(d.budget.left / 2)
	t, ok := grid(d.rects, min(most, 3*longest), d.y, b, normalPoints, rasterPoints)
	if !ok {
		d.budget.take(b)
		return nil, nil
	}
	demand := make([]float64, len(d.rows))
	var start []column
	for i, size := range d.rows {
		demand[i] = float64(d.want[size])
		start = append(start, d.band(size))
	}
	m := newMaster(demand, start)
	m.solve(func(pi []float64) (column, bool) { return d.priceBand(t, pi, b) }, 2000)
	d.budget.take(b)
	return d.chain(m.whole()), d.wholePrices(m.prices())
}

// band is one row of a size, in the direction of the least length a copy.
func (d *demand) band(size int) column {
	var best *rect
	for i := range d.rects {
		r := &d.rects[i]
		if r.size == size && (best == nil || r.x*(d.y/best.y) < best.x*(d.y/r.y)) {
			best = r
		}
	}
	return d.column(array(best, 1, d.y/best.y), float64(best.x))
}

func (d *demand) priceBand(t *table, pi []float64, b *budget) (column, bool) {
	if !t.fill(d.wholePrices(pi), b, nil) {
		return column{}, false
	}
	bestX, gain := 0, len(d.rows)+1
	for _, x := range t.xs.at {
		if g := t.at(x, d.y) - bandScale*x; g > gain {
			bestX, gain = x, g
		}
	}
	if bestX == 0 {
		return column{}, false
	}
	n := t.pattern(bestX, d.y)
	return d.column(n, float64(n.x)), true
}

// bandScale: prices are in mm of roll, kept in whole thousandths.
const bandScale = 1000

func (d *demand) wholePrices(pi []float64) []int {
	prices := make([]int, len(d.want))
	for i, size := range d.rows {
		prices[size] = int(max(0, pi[i])*bandScale + 0.5)
	}
	return prices
}

// chain lays whole bands one after the other and cuts the rest shortest.
func (d *demand) chain(whole []batch) *node {
	left := slices.Clone(d.want)
	sort.SliceStable(whole, func(i, j int) bool { return whole[i].times > whole[j].times })
	var all *node
	for _, b := range whole {
		made := b.n.made(len(left))
		times := min(b.times, timesWithin(made, left))
		if !within(made, left) {
			continue
		}
		all = join(all, repeat(b.n, times, true), true)
		subtract(left, made, times)
	}
	if sum(left) == 0 {
		return all
	}
	rest := *d
	rest.want, rest.rows = left, nil
	for _, size := range d.rows {
		if left[size] > 0 {
			rest.rows = append(rest.rows, size)
		}
	}
	s := shortest{rects: d.rects, area: d.area, most: left, y: d.y, budget: d.budget.part(d.budget.left)}
	n, _ := s.find(rest.inRows(), 0)
	d.budget.take(s.budget)
	return join(all, n, true)
}

// shortest looks for the least length on which all copies can be cut.
type shortest struct {
	rects  []rect
	area   []int
	most   []int
	y      int
	budget *budget
}

// find starts from a pattern that holds all copies. It gives the shortest found
// and a lower bound on the length (both with a kerf): equal means proven.
func (s shortest) find(best *node, low int) (*node, int) {
	sx, copies := make([]int, 0, len(s.rects)), make([]int, 0, len(s.rects))
	sy := []int{}
	for _, r := range s.rects {
		if s.most[r.size] > 0 {
			sx, sy, copies = append(sx, r.x), append(sy, r.y), append(copies, s.most[r.size])
		}
	}
	if !s.budget.spend((best.x + s.y) * (len(sx) + 1)) {
		return best, low
	}
	lengths := normal(sx, copies, best.x)
	low = max(low, s.areaLength(sy, copies))
	for i, r := range s.rects {
		if s.most[r.size] > 0 {
			low = max(low, s.least(i))
		}
	}
	best, low = s.single(best, low)
	return s.bisect(best, low, lengths)
}

// areaLength: no cross-section is fuller than the greatest sum of widths.
func (s shortest) areaLength(sy, copies []int) int {
	full := normal(sy, copies, s.y)
	total := 0
	for i, n := range s.most {
		total += n * s.area[i]
	}
	return ceilDiv(total, full[len(full)-1])
}

// least: the length must hold one copy in its shorter allowed direction.
func (s shortest) least(i int) int {
	x := s.rects[i].x
	for _, r := range s.rects {
		if r.size == s.rects[i].size {
			x = min(x, r.x)
		}
	}
	return x
}

// single settles a demand of one size by the exact unconstrained program,
// and otherwise raises the bound by the area program over the whole length.
func (s shortest) single(best *node, low int) (*node, int) {
	size, kinds, goal := 0, 0, 0
	var rs []rect
	for i, n := range s.most {
		if n > 0 {
			size, kinds = i, kinds+1
			goal += n * s.area[i]
		}
	}
	for _, r := range s.rects {
		if s.most[r.size] > 0 {
			rs = append(rs, r)
		}
	}
	p := s.budget.part(s.budget.left / 3)
	defer func() { s.budget.take(p) }()
	t, ok := grid(rs, best.x, s.y, p, normalPoints, rasterPoints)
	if !ok || !t.exact || !t.fill(s.area, p, nil) {
		return best, low
	}
	x, ok := t.reach(goal, s.y)
	if !ok {
		return best, low
	}
	if kinds == 1 && x < best.x {
		most := make([]int, len(s.most))
		most[size] = s.most[size]
		best = t.pattern(x, s.y).without(most)
	}
	return best, max(low, x)
}

// bisect closes in on the least length by bounded searches for all copies.
func (s shortest) bisect(best *node, low int, lengths []int) (*node, int) {
	goal := 0
	for i, n := range s.most {
		goal += n * s.area[i]
	}
	at := func(x int) int { return sort.SearchInts(lengths, x) }
	tried := at(low) // lengths before this are ruled out or were given up
	for tried < at(best.x) {
		mid := (tried + at(best.x)) / 2
		p := s.budget.part(s.budget.left / 6)
		n, _, bound := bounded(s.rects, s.area, s.most, lengths[mid], s.y, nil, goal, p)
		s.budget.take(p)
		if n != nil {
			best = n
			continue
		}
		tried = mid + 1
		if bound < goal { // then no shorter length holds them either
			low = max(low, s.after(lengths, tried, best.x))
		}
	}
	return best, low
}

func (s shortest) after(lengths []int, i, most int) int {
	if i < len(lengths) {
		return lengths[i]
	}
	return most
}
