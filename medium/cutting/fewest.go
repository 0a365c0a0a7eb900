package cutting

import (
	"math"
	"slices"
	"sort"
)

// Batch is one pattern and how many sheets are cut by it.
type Batch struct {
	Pattern Pattern
	Times   int
}

// SheetsPlan is a cutting of a whole demand from equal sheets.
type SheetsPlan struct {
	Batches []Batch
	Sheets  int
	Made    []int // copies by size, at least those wanted
	Spare   []int // of them beyond those wanted (all copies of a fill size without a count)
	// Bound is the number of sheets that no guillotine cutting can go below;
	// Proven says that Sheets is that number.
	Bound  int
	Proven bool
	Steps  int
}

// GapPercent is how many sheets more than the bound, in percent of the bound.
func (p SheetsPlan) GapPercent() float64 { return percent(p.Sheets-p.Bound, p.Bound) }

// FewestSheets meets the Count of every size from as few equal sheets as it
// finds: column generation (Gilmore and Gomory 1961, 1965), rounded, the rest
// by bounded search. The bound comes from the dual prices in whole numbers and
// an exact dynamic program over them (Farley 1990), so it holds without
// rounding error. The last sheets are cut from one end, so that what is left of
// them is one piece. Fill sizes are cut from what is then left over.
//
// Errors: *Invalid, *TooLarge, *NoFit.
func FewestSheets(sheet Sheet, sizes []Size, c Cutting, limit Limit) (SheetsPlan, error) {
	rs, err := checkBest(sheet, sizes, c)
	if err != nil {
		return SheetsPlan{}, err
	}
	l, w := usable(sheet, c)
	if err := checkDemand(sizes, rs, l, w); err != nil {
		return SheetsPlan{}, err
	}
	d := newDemand(sizes, rs, l+c.KerfMM, w+c.KerfMM, newBudget(limit))
	batches := d.sheets()
	return d.plan(batches, sheet, sizes, c), nil
}

func wanted(s Size) bool { return !s.Fill }

func checkDemand(sizes []Size, rs []rect, length, width int) error {
	for i, s := range sizes {
		if wanted(s) && s.Count == 0 {
			return invalid("count of "+sizeName(sizes, i), s.Count, "say how many are wanted, or leave the size out")
		}
	}
	return checkFits(sizes, rs, length, width, wanted)
}

// demand is the work on one plan for wanted copies.
type demand struct {
	x, y    int
	rects   []rect // of the wanted sizes
	rows    []int  // sizes by row of the master
	want    []int  // by size; 0 for fill
	area    []int  // by size, kerf included
	bound   int
	budget  *budget
	fillers []rect
}

func newDemand(sizes []Size, rs []rect, x, y int, b *budget) *demand {
	d := &demand{x: x, y: y, budget: b, want: make([]int, len(sizes)), area: make([]int, len(sizes))}
	for _, r := range rs {
		if sizes[r.size].Fill {
			d.fillers = append(d.fillers, r)
			continue
		}
		d.rects = append(d.rects, r)
		d.area[r.size] = r.x * r.y
	}
	for i, s := range sizes {
		if wanted(s) {
			d.rows = append(d.rows, i)
			d.want[i] = s.Count
		}
	}
	return d
}

// sheets gives the batches of the best plan found and sets the bound.
func (d *demand) sheets() []batch {
	total := 0
	for i, n := range d.want {
		total += n * d.area[i]
	}
	d.bound = max(1, ceilDiv(total, d.x*d.y))
	tries := [][]batch{d.finish(nil, d.area)}
	if sheetsIn(tries[0]) > d.bound {
		m, prices := d.relax()
		whole := m.whole()
		tries = append(tries, d.finish(whole, d.area), d.finish(whole, prices), d.finish(nil, prices))
	}
	best := slices.MinFunc(tries, func(a, b []batch) int { return sheetsIn(a) - sheetsIn(b) })
	return d.tidy(best)
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }

func sheetsIn(batches []batch) int {
	n := 0
	for _, b := range batches {
		n += b.times
	}
	return n
}

const priceScale = 1_000_000

// relax solves the linear program and raises the bound; prices are by size.
func (d *demand) relax() (*master, []int) {
	var start []column
	demand := make([]float64, len(d.rows))
	for i, size := range d.rows {
		demand[i] = float64(d.want[size])
		start = append(start, d.column(d.alone(size), 1))
	}
	m := newMaster(demand, start)
	prices := slices.Clone(d.area)
	setup := d.budget.part(d.budget.left / 2)
	t, ok := grid(d.rects, d.x, d.y, setup, rasterPoints, rasterPoints)
	if ok {
		m.solve(func(pi []float64) (column, bool) { return d.price(t, pi, prices, setup) }, 2000)
	}
	d.budget.take(setup)
	return m, prices
}

// alone is the densest simple grid of one size.
func (d *demand) alone(size int) *node {
	var best *node
	most := 0
	for i := range d.rects {
		r := &d.rects[i]
		if nx, ny := d.x/r.x, d.y/r.y; r.size == size && nx*ny > most {
			best, most = array(r, nx, ny), nx*ny
		}
	}
	return best
}

func (d *demand) column(n *node, cost float64) column {
	made := n.made(len(d.want))
	c := column{n: n, cost: cost, copies: make([]float64, len(d.rows))}
	for i, size := range d.rows {
		c.copies[i] = float64(made[size])
	}
	return c
}

// price looks for a pattern worth more than a sheet at these dual prices. The
// prices in whole numbers give a bound whatever the floating point did: no
// sheet holds more than top of them, so the demand needs at least its worth
// divided by top.
func (d *demand) price(t *table, pi []float64, prices []int, b *budget) (column, bool) {
	for i, size := range d.rows {
		prices[size] = int(math.Round(max(0, pi[i]) * priceScale))
	}
	if !t.fill(prices, b, nil) {
		return column{}, false
	}
	if t.exact && t.top() > 0 {
		d.bound = max(d.bound, ceilDiv(worth(d.want, prices), t.top()))
	}
	if t.top() <= priceScale+len(d.want)+1 {
		return column{}, false
	}
	return d.column(t.pattern(d.x, d.y), 1), true
}

// finish cuts what the given patterns leave of the demand, sheet by sheet, each
// as full as the search can make it at these values.
func (d *demand) finish(whole []batch, values []int) []batch {
	out := slices.Clone(whole)
	left := slices.Clone(d.want)
	for _, b := range whole {
		subtract(left, b.n.made(len(left)), b.times)
	}
	for sum(left) > 0 {
		n := d.full(left, values)
		made := n.made(len(left))
		times := timesWithin(made, left)
		out = append(out, batch{n, times})
		subtract(left, made, times)
	}
	return out
}

// full is one sheet as valuable as possible within the copies left.
func (d *demand) full(left, values []int) *node {
	v := make([]int, len(values))
	for i := range v {
		v[i] = max(1, values[i]) // a free size must still be cut
	}
	p := d.budget.part(min(d.budget.left/8, 30_000_000))
	n, _, _ := bounded(d.rects, v, left, d.x, d.y, nil, 0, p)
	d.budget.take(p)
	return n
}

func subtract(left, made []int, times int) {
	for i, m := range made {
		left[i] = max(0, left[i]-m*times)
	}
}

// timesWithin is how often a pattern fits into the copies left, at least once.
func timesWithin(made, left []int) int {
	times := math.MaxInt
	for i, m := range made {
		if m > 0 {
			times = min(times, left[i]/m)
		}
	}
	return max(1, times)
}

func sum(xs []int) int {
	n := 0
	for _, x := range xs {
		n += x
	}
	return n
}

// tidy drops copies beyond the demand and cuts sheets that are not full from
// one end, so that their leftover is one piece.
func (d *demand) tidy(batches []batch) []batch {
	left := slices.Clone(d.want)
	var out []batch
	for _, b := range batches {
		made := b.n.made(len(left))
		for b.times > 0 {
			times := min(b.times, timesWithin(made, left))
			n := b.n
			if !within(made, left) {
				times = 1
				n = b.n.without(left)
			}
			b.times -= times
			if n == nil {
				continue
			}
			subtract(left, n.made(len(left)), times)
			out = append(out, batch{n, times})
		}
	}
	for i, b := range out {
		if b.times == 1 && worth(b.n.made(len(left)), d.area) < d.x*d.y*3/4 {
			out[i].n = d.compact(b.n)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].times > out[j].times })
	return out
}

// compact looks for the same copies on a shorter part of the sheet.
func (d *demand) compact(n *node) *node {
	made := n.made(len(d.want))
	p := d.budget.part(min(d.budget.left/8, 20_000_000))
	s := shortest{rects: d.rects, area: d.area, most: made, y: d.y, budget: p}
	best, _ := s.find(n, 0)
	d.budget.take(p)
	return best
}

func (d *demand) plan(batches []batch, sheet Sheet, sizes []Size, c Cutting) SheetsPlan {
	l, w := usable(sheet, c)
	p := SheetsPlan{Bound: d.bound, Made: make([]int, len(sizes)), Spare: make([]int, len(sizes))}
	fill := newFiller(d.fillers, sizes, d.budget)
	for _, b := range batches {
		pattern := render(b.n, sheet, Rect{c.MarginMM, c.MarginMM, l, w}, c)
		fill.fill(&pattern, c, b.times)
		p.Batches = append(p.Batches, Batch{Pattern: pattern, Times: b.times})
		p.Sheets += b.times
		for _, m := range pattern.Placed {
			p.Made[m.Size] += b.times
		}
	}
	for i, s := range sizes {
		p.Spare[i] = max(0, p.Made[i]-s.Count)
	}
	p.Proven = p.Sheets == p.Bound
	p.Steps = d.budget.used
	return p
}
