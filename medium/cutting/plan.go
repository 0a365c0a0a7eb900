package cutting

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// Batch is one pattern and how many sheets are cut by it.
type Batch struct {
	Pattern Pattern
	Times   int
}

// Plan is a cutting of a sheet, of many sheets or of a length of roll.
type Plan struct {
	Batches []Batch
	Made    []int // copies by size
	// Value is what was sought: the value of one sheet's mats that are not
	// fill, the number of sheets, or the millimetres to cut off the roll (one
	// more kerf parts them).
	Value int
	// Bound is the value that no guillotine cutting can pass. Proven says that
	// Value reaches it (and on one sheet, that the fill sizes are best for that
	// value).
	Bound  int
	Proven bool
}

// GapPercent is how far Value may be from the best, in percent of the bound.
func (p Plan) GapPercent() float64 {
	return 100 * math.Abs(float64(p.Value-p.Bound)) / float64(max(1, p.Bound))
}

// batch is one pattern used so many times.
type batch struct {
	n     *node
	times int
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
// Errors: *Invalid.
func BestSheet(sheet Sheet, sizes []Size, c Cutting, steps int) (*Plan, error) {
	j, err := newJob(sheet, false, false, sizes, c, steps)
	if err != nil {
		return nil, err
	}
	// No number of fill copies outweighs the least value of another size.
	values, scale := slices.Clone(j.area), 1
	if len(j.wanted) < len(sizes) {
		scale = j.x*j.y + 1
	}
	for _, i := range j.wanted {
		v := cmp.Or(sizes[i].Value, sizes[i].LengthMM*sizes[i].WidthMM)
		if total := float64(v*(j.x*j.y/max(1, j.area[i])+1)) * float64(scale); total > 1<<61 {
			return nil, tooLarge("greatest value of the sheet times that of its fill sizes", total, 1<<61,
				"give smaller values, for example 1 a mat, or leave out the fill sizes")
		}
		values[i] = v * scale
	}
	n, value, bound := filling{j.rects, values, j.most, j.x, j.y, 0}.fullest(j.budget)
	p := j.plan([]batch{{n, 1}}, value/scale, bound/scale)
	p.Proven = value == bound
	return p, nil
}

// FewestSheets meets the Count of every size from as few equal sheets as it
// finds: column generation (Gilmore and Gomory 1961, 1965), rounded, the rest
// by bounded search. The bound comes from the dual prices in whole numbers and
// an exact dynamic program over them (Farley 1990), so it holds without
// rounding error. The last sheets are cut from one end, so that what is left of
// them is one piece. Fill sizes are cut from what is then left over.
//
// Errors: *Invalid.
func FewestSheets(sheet Sheet, sizes []Size, c Cutting, steps int) (*Plan, error) {
	j, err := newJob(sheet, false, true, sizes, c, steps)
	if err != nil {
		return nil, err
	}
	best, bound := j.finish(nil, j.area), max(1, ceilDiv(j.want.worth(j.area), j.x*j.y))
	if sheetsIn(best) > bound {
		whole, prices, low := j.relax(j.x, rastered{true, true})
		tries := [][]batch{best, j.finish(whole, j.area), j.finish(whole, prices), j.finish(nil, prices)}
		best = slices.MinFunc(tries, func(a, b []batch) int { return cmp.Compare(sheetsIn(a), sheetsIn(b)) })
		bound = max(bound, low)
	}
	for i, b := range best {
		if b.times == 1 && b.n.made.worth(j.area) < j.x*j.y*3/4 {
			best[i].n, _ = j.shorten(b.n, j.budget.part(min(j.budget.left/8, 20_000_000)))
		}
	}
	slices.SortStableFunc(best, func(a, b batch) int { return cmp.Compare(b.times, a.times) })
	return j.plan(best, sheetsIn(best), bound), nil
}

// ShortestRoll cuts the Count of every size from as short a length of a roll of
// this width as it finds. One size alone, and small demands, are cut shortest
// and proven so; larger mixed demands are cut in bands (column generation over
// bands, rounded) and the gap to the bound is stated. Fill sizes are cut from
// what is left.
//
// Errors: *Invalid.
func ShortestRoll(widthMM int, sizes []Size, c Cutting, steps int) (*Plan, error) {
	j, err := newJob(Sheet{WidthMM: widthMM}, true, true, sizes, c, steps)
	if err != nil {
		return nil, err
	}
	best, bound := j.shorten(j.inRows(j.want), j.budget.part(j.budget.left/2))
	if best.x > bound {
		longest := slices.MaxFunc(j.rects, func(a, b rect) int { return cmp.Compare(a.x, b.x) }).x
		whole, prices, _ := j.relax(min(best.x, 3*longest), rastered{y: true})
		whole, left := j.use(whole)
		chain, _ := j.shorten(j.inRows(left), j.budget)
		for _, b := range slices.Backward(whole) {
			chain = join(repeat(b.n, b.times, true), chain, true)
		}
		if chain.x < best.x {
			best = chain
		}
		n, low := j.least(best, prices, j.budget)
		best, bound = n, max(bound, low)
	}
	j.x, j.stock.LengthMM = best.x, best.x-c.KerfMM
	if j.stock.LengthMM > MaxSideMM {
		return nil, tooLarge("length of roll in mm", best.x, MaxSideMM, "split the demand")
	}
	return j.plan([]batch{{best, 1}}, j.stock.LengthMM, bound-c.KerfMM), nil
}

// plan draws the batches and cuts fill sizes from what they leave.
func (j *job) plan(batches []batch, value, bound int) *Plan {
	p := &Plan{Value: value, Bound: bound, Proven: value == bound, Made: make([]int, len(j.sizes))}
	left := j.most
	for _, b := range batches {
		d := &drawing{kerf: j.cutting.KerfMM, keep: j.cutting.KeepMM}
		length, width := j.x-d.kerf, j.y-d.kerf
		d.Sheet, d.Usable = j.stock, Rect{(j.stock.LengthMM - length) / 2, j.cutting.MarginMM, length, width}
		d.place(b.n, d.Usable)
		j.fill(d, &left, b.times)
		p.Batches = append(p.Batches, Batch{Pattern: d.Pattern, Times: b.times})
		for _, m := range d.Placed {
			p.Made[m.Size] += b.times
		}
	}
	return p
}

// fill cuts small trays from the leftovers of a pattern that is cut times.
func (j *job) fill(d *drawing, left *copies, times int) {
	old := d.Remnants
	d.Remnants, d.KeptMM2 = nil, 0
	for _, r := range old {
		var most copies
		for i, s := range j.sizes {
			if s.Fill && s.Count == 0 {
				most[i] = maxPieces
			} else if s.Fill {
				most[i] = left[i] / int16(times)
			}
		}
		b := j.budget.part(j.budget.left / 8)
		n, _, _ := filling{j.rects, j.area, most, r.Length + d.kerf, r.Width + d.kerf, 0}.fullest(b)
		if n != nil {
			left.add(&n.made, -times)
		}
		d.place(n, r.Rect)
	}
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }

func sheetsIn(batches []batch) (n int) {
	for _, b := range batches {
		n += b.times
	}
	return n
}

// use takes the given patterns as often as all their copies are wanted.
func (j *job) use(whole []batch) (out []batch, left copies) {
	left = j.want
	for _, b := range whole {
		if times := min(b.times, left.times(&b.n.made)); times > 0 {
			left.add(&b.n.made, -times)
			out = append(out, batch{b.n, times})
		}
	}
	return out, left
}

// finish cuts what the given patterns leave of the demand, sheet by sheet, each
// as full as the search can make it at these values.
func (j *job) finish(whole []batch, values []int) []batch {
	out, left := j.use(whole)
	for left != (copies{}) {
		b := j.budget.part(min(j.budget.left/8, 30_000_000))
		n, _, _ := filling{j.rects, values, left, j.x, j.y, 0}.fullest(b)
		times := left.times(&n.made)
		left.add(&n.made, -times)
		out = append(out, batch{n, times})
	}
	return out
}

// inRows lays the copies on as much length as that takes.
func (j *job) inRows(want copies) *node {
	total := 0
	for _, r := range j.rects {
		total += r.x * int(want[r.size])
	}
	return style{}.lay(j.rects, total, j.y, &want)
}

// least is a lower bound on the length of the copies of n: a length that holds
// them holds all they are worth, whatever whole numbers they are priced at. It
// gives the pattern of that length if it has them all, and else n.
func (j *job) least(n *node, prices []int, b *budget) (*node, int) {
	t := newTable(j.rects, &n.made, n.x, j.y, rastered{y: true}, b)
	if t == nil || !t.exact || !t.fill(prices, b) {
		return n, 0
	}
	goal := n.made.worth(prices)
	i := sort.Search(len(t.xs.at)-1, func(i int) bool { return t.at(t.xs.at[i], j.y) >= goal })
	x := t.xs.at[i]
	if found := t.pattern(x, j.y, n.made); x < n.x && found.made == n.made {
		return found, x
	}
	return n, x
}

// shorten looks for the least length for the copies of a pattern: by their
// area, then closing in by searches for all of them. It gives the shortest
// pattern found and a lower bound on the length: equal means proven.
func (j *job) shorten(best *node, b *budget) (*node, int) {
	if best == nil || !b.spend((best.x+j.y)*(len(j.rects)+1)) {
		return best, 0
	}
	widths := normal(j.rects, rect.width, &best.made, j.y)
	most, goal := best.made, best.made.worth(j.area)
	best, low := j.least(best, j.area, b.part(b.left/3))
	low = max(low, ceilDiv(goal, widths[len(widths)-1])) // no cross-section is fuller than that
	for tried := low; tried < best.x; {                  // lengths before tried are ruled out or were given up
		mid := (tried + best.x) / 2
		n, _, bound := filling{j.rects, j.area, most, mid, j.y, goal}.fullest(b.part(b.left / 6))
		if n != nil {
			best = n
			continue
		}
		tried = mid + 1
		if bound < goal { // then no shorter length holds them either
			low = tried
		}
	}
	return best, low
}
