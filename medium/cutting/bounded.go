package cutting

import (
	"container/heap"
	"encoding/binary"
	"math"
	"slices"
	"sort"
)

// search cuts one sheet with at most so many copies of each size, for the
// greatest value: best-first joining of parts (Viswanathan and Bagchi 1993),
// bounded by what the rest of the sheet could hold at most. The first part
// whose bound is no better than the best pattern found proves it best.
type search struct {
	x, y   int
	rects  []rect
	value  []int
	most   []int
	bound  *table // upper bound on any part
	rest   []int  // upper bound on what a sheet holds beside a part, by grid index
	dense  []int  // sizes by value per area, best first
	area   []int  // smallest area of a size, kerf included
	budget *budget

	open   queue
	closed []*block
	seen   map[string][][2]int // by copies: the sides already met

	best  *node
	worth int
	nodes int
}

type block struct {
	n      *node
	x, y   int
	copies []uint16
	value  int
	upper  int
}

type queue []*block

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	if q[i].upper != q[j].upper {
		return q[i].upper > q[j].upper
	}
	return q[i].x*q[i].y > q[j].x*q[j].y
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(b any)   { *q = append(*q, b.(*block)) }
func (q *queue) Pop() any {
	old := *q
	b := old[len(old)-1]
	*q = old[:len(old)-1]
	return b
}

const maxNodes = 200_000 // parts kept by one search, about 100 bytes each

// bounded gives the best pattern it finds on x times y (kerf included), its
// value and an upper bound; value == bound is a proof. start may be nil. With a
// goal above 0 only patterns worth at least that are looked for: the node is
// nil when none was found, and a bound under the goal says that there is none.
func bounded(rs []rect, value, most []int, x, y int, start *node, goal int, b *budget) (*node, int, int) {
	rs = slices.DeleteFunc(slices.Clone(rs), func(r rect) bool { return most[r.size] == 0 || r.x > x || r.y > y })
	s := &search{x: x, y: y, rects: rs, value: value, most: most, budget: b, seen: map[string][][2]int{}, worth: max(0, goal-1)}
	s.offer(start)
	if len(rs) == 0 {
		return s.best, s.worth, 0
	}
	s.order()
	upper := s.knapsack(x*y, make([]uint16, len(most)))
	if s.worth >= upper {
		return s.best, s.worth, s.worth
	}
	s.greedy()
	if !s.prepare() {
		return s.best, s.worth, max(upper, s.worth)
	}
	upper = min(upper, s.bound.at(x, y))
	if s.worth < upper {
		upper = min(upper, s.run())
	}
	return s.best, s.worth, max(upper, s.worth)
}

func (s *search) offer(n *node) {
	v := 0
	for size, c := range n.made(len(s.most)) {
		v += c * s.value[size]
	}
	if v > s.worth {
		s.best, s.worth = n, v
	}
}

// order sorts the sizes by value per area for the area bound.
func (s *search) order() {
	s.area = make([]int, len(s.most))
	for _, r := range s.rects {
		if s.area[r.size] == 0 {
			s.area[r.size] = r.x * r.y
			s.dense = append(s.dense, r.size)
		}
	}
	sort.SliceStable(s.dense, func(i, j int) bool {
		a, b := s.dense[i], s.dense[j]
		return float64(s.value[a])/float64(s.area[a]) > float64(s.value[b])/float64(s.area[b])
	})
}

// knapsack is the most that an area can hold of the copies not yet used, with
// a fraction of the last one (Dantzig's bound).
func (s *search) knapsack(area int, used []uint16) int {
	total := 0
	for _, size := range s.dense {
		n := s.most[size] - int(used[size])
		if n <= 0 {
			continue
		}
		whole := min(n, area/s.area[size])
		total += whole * s.value[size]
		area -= whole * s.area[size]
		if whole < n {
			// One rounding up, so that floating point cannot cut the bound.
			return total + int(math.Ceil(float64(s.value[size])*float64(area)/float64(s.area[size])*(1+1e-12)))
		}
	}
	return total
}

// prepare fills the bounds; false when they do not fit the budget.
func (s *search) prepare() bool {
	// A join of normal parts is normal but not always on the raster.
	limited := func(sides []int, length int) []int {
		copies := make([]int, len(sides))
		for i := range sides {
			copies[i] = s.most[s.rects[i].size]
		}
		return normal(sides, copies, length)
	}
	t, ok := grid(s.rects, s.x, s.y, s.budget, limited, limited)
	if !ok || !t.exact {
		return false
	}
	none := make([]uint16, len(s.most))
	if !s.budget.spend(len(t.xs.at)*len(t.ys.at)*len(s.dense)) ||
		!t.fill(s.value, s.budget, func(x, y int) int { return s.knapsack(x*y, none) }) {
		return false
	}
	s.bound = t
	return s.fillRest()
}

// fillRest computes, for a part of these sides in the corner of the sheet, the
// most that guillotine joins can still add to it.
func (s *search) fillRest() bool {
	t := s.bound
	nx, ny := len(t.xs.at), len(t.ys.at)
	if !s.budget.spend(nx * ny * (nx + ny) / 2) {
		return false
	}
	s.rest = make([]int, nx*ny)
	for i := nx - 1; i >= 0; i-- {
		for j := ny - 1; j >= 0; j-- {
			x, y, best := t.xs.at[i], t.ys.at[j], 0
			for u := i + 1; u < nx; u++ {
				best = max(best, s.rest[u*ny+j]+t.at(t.xs.at[u]-x, y))
			}
			for u := j + 1; u < ny; u++ {
				best = max(best, s.rest[i*ny+u]+t.at(x, t.ys.at[u]-y))
			}
			s.rest[i*ny+j] = best
		}
	}
	return true
}

// greedy offers first patterns: the unconstrained one without its surplus
// copies, and blocks of equal mats, largest first, laid in four ways.
func (s *search) greedy() {
	for _, style := range []layout{{true, true}, {true, false}, {false, true}, {false, false}} {
		left := slices.Clone(s.most)
		s.offer(s.lay(s.x, s.y, left, style))
	}
	p := s.budget.part(s.budget.left / 4)
	if t := unconstrained(s.rects, s.value, s.x, s.y, p); t != nil {
		s.offer(t.pattern(s.x, s.y).without(s.most))
	}
	s.budget.take(p)
}

// layout: rows run along the length, and the rest beside a block gets the full
// length, or not.
type layout struct{ rows, wideRest bool }

func (s *search) lay(x, y int, left []int, style layout) *node {
	r := s.largest(x, y, left)
	if r == nil {
		return nil
	}
	size := r.size
	nx, ny := x/r.x, y/r.y
	if style.rows {
		nx = min(nx, left[size])
		ny = min(ny, left[size]/nx)
	} else {
		ny = min(ny, left[size])
		nx = min(nx, left[size]/ny)
	}
	left[size] -= nx * ny
	b := array(r, nx, ny)
	if style.wideRest {
		b = join(b, s.lay(x-b.x, b.y, left, style), true)
		return join(b, s.lay(x, y-b.y, left, style), false)
	}
	b = join(b, s.lay(b.x, y-b.y, left, style), false)
	return join(b, s.lay(x-b.x, y, left, style), true)
}

// largest is the greatest size that is still wanted and fits, in the direction
// that wastes the least of the width.
func (s *search) largest(x, y int, left []int) *rect {
	var best *rect
	for i := range s.rects {
		r := &s.rects[i]
		if left[r.size] == 0 || r.x > x || r.y > y {
			continue
		}
		switch {
		case best == nil, s.area[r.size] > s.area[best.size]:
			best = r
		case r.size == best.size && y%r.y < y%best.y:
			best = r
		}
	}
	return best
}

// array is nx by ny copies in one block.
func array(r *rect, nx, ny int) *node {
	row := repeat(&node{x: r.x, y: r.y, piece: r}, nx, true)
	return repeat(row, ny, false)
}

// repeat lays n equal parts in a row, halving so that the tree stays flat.
func repeat(n *node, times int, along bool) *node {
	if times == 1 {
		return n
	}
	return join(repeat(n, times-times/2, along), repeat(n, times/2, along), along)
}

func (s *search) run() int {
	for i, r := range s.rects {
		copies := make([]uint16, len(s.most))
		copies[r.size] = 1
		s.push(&block{n: &node{x: r.x, y: r.y, piece: &s.rects[i]}, x: r.x, y: r.y, copies: copies, value: s.value[r.size]})
	}
	for s.open.Len() > 0 {
		b := heap.Pop(&s.open).(*block)
		if b.upper <= s.worth {
			return s.worth
		}
		s.closed = append(s.closed, b)
		if s.nodes > maxNodes || !s.budget.spend(6*len(s.closed)) {
			return b.upper
		}
		if len(s.closed)%4096 == 0 {
			s.closed = slices.DeleteFunc(s.closed, func(c *block) bool { return c.upper <= s.worth })
		}
		for _, c := range s.closed {
			s.combine(b, c)
		}
	}
	return s.worth
}

func (s *search) combine(b, c *block) {
	wide, high := b.x+c.x <= s.x, b.y+c.y <= s.y
	if !wide && !high || b.x*b.y+c.x*c.y > s.x*s.y {
		return
	}
	for i, n := range b.copies {
		if int(n)+int(c.copies[i]) > s.most[i] {
			return
		}
	}
	value := b.value + c.value
	if wide {
		s.consider(b, c, true, b.x+c.x, max(b.y, c.y), value)
	}
	if high {
		s.consider(b, c, false, max(b.x, c.x), b.y+c.y, value)
	}
}

func (s *search) consider(b, c *block, along bool, x, y, value int) {
	upper := value + s.beside(x, y)
	if upper <= s.worth {
		return
	}
	copies := make([]uint16, len(b.copies))
	for i := range copies {
		copies[i] = b.copies[i] + c.copies[i]
	}
	n := &block{n: join(b.n, c.n, along), x: x, y: y, copies: copies, value: value}
	s.push(n)
}

func (s *search) beside(x, y int) int {
	return s.rest[s.bound.xs.below(x)*len(s.bound.ys.at)+s.bound.ys.below(y)]
}

// push keeps a new part unless its bound or an earlier part of the same copies
// and no larger sides rules it out.
func (s *search) push(b *block) {
	b.upper = b.value + min(s.beside(b.x, b.y), s.knapsack(s.x*s.y-b.x*b.y, b.copies))
	if b.value > s.worth {
		s.best, s.worth = b.n, b.value
	}
	if b.upper <= s.worth {
		return
	}
	k := key(b.copies)
	for _, d := range s.seen[k] {
		if d[0] <= b.x && d[1] <= b.y {
			return
		}
	}
	s.seen[k] = append(s.seen[k], [2]int{b.x, b.y})
	s.nodes++
	heap.Push(&s.open, b)
}

func key(copies []uint16) string {
	out := make([]byte, 0, 2*len(copies))
	for _, c := range copies {
		out = binary.AppendUvarint(out, uint64(c))
	}
	return string(out)
}
