package cutting

import (
	"cmp"
	"math"
	"slices"
)

// search cuts one sheet with at most so many copies of each size, for the
// greatest value: best-first joining of parts (Viswanathan and Bagchi 1993),
// bounded by what the rest of the sheet could hold at most. The first part
// whose bound is no better than the best pattern found proves it best.
type search struct {
	x, y    int
	rects   []rect
	value   []int
	most    copies
	limited bool   // some size has a count
	dense   []rect // one a size, by value per area, best first
	bound   *table // upper bound on any part
	rest    []int  // upper bound on what the sheet holds beside a part, by cell of bound
	budget  *budget

	open   []*block
	closed []*block
	seen   map[copies][]*node

	best  *node
	worth int
}

// block is a part on its way into a pattern. No pattern with it is worth more
// than upper.
type block struct {
	*node
	value, upper int
}

const maxNodes = 200_000 // parts kept by one search, about 300 bytes each

// filling is what is to be filled: x times y, kerf included, with rectangles of which
// each is worth something and no more than most are wanted. With a goal above 0 only
// patterns worth at least that are looked for.
type filling struct {
	rects      []rect
	value      []int
	most       copies
	x, y, goal int
}

// fullest gives the best pattern it finds, its value and an upper bound; value == bound
// is a proof. The pattern is nil when none reached the goal, and a bound under the goal
// says that there is none.
func (w filling) fullest(b *budget) (*node, int, int) {
	x, y, value := w.x, w.y, w.value
	s := &search{x: x, y: y, rects: fitting(w.rects, &w.most, x, y), value: value, most: w.most, budget: b,
		seen: map[copies][]*node{}, worth: max(0, w.goal-1)}
	for _, r := range s.rects {
		s.limited = s.limited || w.most[r.size] < maxPieces
		s.most[r.size] = int16(min(int(w.most[r.size]), x*y/r.area()))
	}
	s.dense = slices.SortedStableFunc(slices.Values(s.rects), func(a, b rect) int {
		return cmp.Compare(float64(value[b.size])/float64(b.area()), float64(value[a.size])/float64(a.area()))
	})
	s.dense = slices.CompactFunc(s.dense, func(a, b rect) bool { return a.size == b.size })
	upper := s.knapsack(x*y, new(copies))
	stages := []func() int{s.greedy, s.program, s.join}
	if !s.limited {
		slices.Reverse(stages[:2])
	}
	for _, stage := range stages {
		if s.worth < upper {
			upper = min(upper, stage())
		}
	}
	return s.best, s.worth, max(upper, s.worth)
}

// offer keeps n if it is the best pattern so far, and gives its worth.
func (s *search) offer(n *node) int {
	v := n.made.worth(s.value)
	if v > s.worth {
		s.best, s.worth = n, v
	}
	return v
}

// knapsack is the most that an area can hold of the copies not yet used, with
// a fraction of the last one (Dantzig's bound).
func (s *search) knapsack(area int, used *copies) int {
	total := 0
	for _, r := range s.dense {
		n := int(s.most[r.size] - used[r.size])
		if n*r.area() > area { // one rounding up, so that floating point cannot cut the bound
			return total + int(math.Ceil(float64(s.value[r.size])*float64(area)/float64(r.area())*(1+1e-12)))
		}
		total += n * s.value[r.size]
		area -= n * r.area()
	}
	return total
}

// program offers the best pattern without limits on copies, less its surplus.
func (s *search) program() int {
	b := s.budget
	if s.limited {
		b = b.part(b.left / 4)
	}
	t := newTable(s.rects, &s.most, s.x, s.y, rastered{true, true}, b)
	if !t.fill(s.value, b) {
		return math.MaxInt
	}
	s.offer(t.pattern(s.x, s.y, s.most))
	if !t.exact {
		return math.MaxInt
	}
	return t.top()
}

// greedy offers plain layouts.
func (s *search) greedy() int {
	for _, l := range styles {
		left := s.most
		s.offer(l.lay(s.rects, s.x, s.y, &left))
	}
	return math.MaxInt
}

// besides fills, for a part of these sides in the corner of the sheet, what
// joins can still add to it.
func (s *search) besides() bool {
	t := newTable(s.rects, &s.most, s.x, s.y, rastered{}, s.budget)
	if t == nil || !t.exact || !t.fill(s.value, s.budget) || !s.budget.spend(2*cost(t.xs.at, t.ys.at)) {
		return false
	}
	s.bound = t
	nx, ny := len(t.xs.at), len(t.ys.at)
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

// beside is the most that the sheet holds beside a part in its corner.
func (s *search) beside(x, y int) int {
	return s.rest[s.bound.xs.below(x)*len(s.bound.ys.at)+s.bound.ys.below(y)]
}

// join is the search itself, in waves of the open parts with the best bounds.
func (s *search) join() int {
	if !s.besides() {
		return math.MaxInt
	}
	for i := range s.rects {
		s.push(single(&s.rects[i]))
	}
	for len(s.open) > 0 {
		slices.SortFunc(s.open, func(a, b *block) int {
			return cmp.Or(cmp.Compare(a.upper, b.upper), cmp.Compare(a.x*a.y, b.x*b.y))
		})
		rest := len(s.open) * 7 / 8
		wave := slices.Clone(s.open[rest:])
		s.open = s.open[:rest]
		for _, b := range slices.Backward(wave) {
			if b.upper <= s.worth {
				break
			}
			s.closed = append(s.closed, b)
			if len(s.open)+len(s.closed) > maxNodes || !s.budget.spend(6*len(s.closed)) {
				return wave[len(wave)-1].upper
			}
			for _, c := range s.closed {
				s.combine(b, c)
			}
		}
	}
	return s.worth
}

func (s *search) combine(b, c *block) {
	wide, high := b.x+c.x <= s.x, b.y+c.y <= s.y
	if !wide && !high || b.x*b.y+c.x*c.y > s.x*s.y {
		return
	}
	for _, r := range s.rects {
		if b.made[r.size]+c.made[r.size] > s.most[r.size] {
			return
		}
	}
	value := b.value + c.value
	if wide && value+s.beside(b.x+c.x, max(b.y, c.y)) > s.worth {
		s.push(join(b.node, c.node, true))
	}
	if high && value+s.beside(max(b.x, c.x), b.y+c.y) > s.worth {
		s.push(join(b.node, c.node, false))
	}
}

// push keeps a new part unless its bound or an earlier part of the same copies
// and no larger sides rules it out.
func (s *search) push(n *node) {
	value := s.offer(n)
	upper := value + min(s.beside(n.x, n.y), s.knapsack(s.x*s.y-n.x*n.y, &n.made))
	if upper <= s.worth {
		return
	}
	for _, d := range s.seen[n.made] {
		if d.x <= n.x && d.y <= n.y {
			return
		}
	}
	s.seen[n.made] = append(s.seen[n.made], n)
	s.open = append(s.open, &block{n, value, upper})
}
