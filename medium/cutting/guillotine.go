package cutting

// node is one part of a pattern, in lengths that include a kerf. A node with
// neither piece nor halves is waste.
type node struct {
	x, y  int
	piece *rect
	a, b  *node // halves of a split
	along bool  // the split divides the length (x), else the width (y)
}

// table is the exact dynamic program of unconstrained two-dimensional
// guillotine cutting (Gilmore and Gomory 1966, over the raster points of
// Terno, Lindemann and Scheithauer 1987): best[x][y] is the greatest value cut
// from x times y with no limit on copies.
type table struct {
	xs, ys axis
	rects  []rect
	value  []int // by size
	best   []int
	exact  bool // the points were not thinned
}

// grid lays out the points for stock of x times y (both with a kerf added).
// alongX and alongY turn sides into cut positions. The result is not exact when
// the points had to be thinned to fit the budget.
func grid(rs []rect, x, y int, b *budget, alongX, alongY points) (*table, bool) {
	if !b.spend((x + y) * (len(rs) + 2)) {
		return nil, false
	}
	sx, sy := sides(rs, func(r rect) int { return r.x }), sides(rs, func(r rect) int { return r.y })
	px, py := alongX(sx, x), alongY(sy, y)
	if len(px) == 0 || len(py) == 0 {
		return nil, false
	}
	exact := true
	for !fitsBudget(len(px), len(py), len(rs), b.left) {
		exact = false
		if len(px) <= 2 && len(py) <= 2 {
			return nil, false
		}
		if len(px) >= len(py) {
			px = thin(px, sx, max(2, len(px)*3/4))
		} else {
			py = thin(py, sy, max(2, len(py)*3/4))
		}
	}
	return &table{xs: newAxis(px, x), ys: newAxis(py, y), rects: rs, exact: exact}, true
}

func sides(rs []rect, side func(rect) int) []int {
	out := make([]int, len(rs))
	for i, r := range rs {
		out[i] = side(r)
	}
	return out
}

// cost is about the number of comparisons of fill.
func cost(nx, ny, rects int) int { return nx * ny * (rects + (nx+ny)/4 + 1) }

func fitsBudget(nx, ny, rects, steps int) bool {
	return nx*ny <= maxCells && cost(nx, ny, rects) <= steps
}

type points func(sides []int, length int) []int

func rasterPoints(s []int, length int) []int { return raster(normal(s, nil, length), length) }

// normalPoints are exact for every shorter length too; the raster is exact only
// for the length that it was made for.
func normalPoints(s []int, length int) []int { return normal(s, nil, length) }

// unconstrained fills the table for the values of the sizes; nil when not even
// a thinned one fits the budget.
func unconstrained(rs []rect, value []int, x, y int, b *budget) *table {
	t, ok := grid(rs, x, y, b, rasterPoints, rasterPoints)
	if !ok || !t.fill(value, b, nil) {
		return nil
	}
	return t
}

// fill computes best for these values. A cap, if given, is an upper bound on
// the value of a part by its sides; the table is then a bound, not a pattern.
func (t *table) fill(value []int, b *budget, cap func(x, y int) int) bool {
	nx, ny := len(t.xs.at), len(t.ys.at)
	if !b.spend(cost(nx, ny, len(t.rects))) {
		return false
	}
	t.value = value
	t.best = make([]int, nx*ny)
	for i := range nx {
		t.fillRow(i, ny, cap)
	}
	return true
}

func (t *table) fillRow(i, ny int, cap func(x, y int) int) {
	x := t.xs.at[i]
	row := t.best[i*ny : (i+1)*ny]
	for j := range row {
		row[j] = t.single(x, t.ys.at[j])
	}
	if i > 0 {
		for j, v := range t.best[(i-1)*ny : i*ny] {
			row[j] = max(row[j], v)
		}
	}
	for u := 0; u < i && 2*t.xs.at[u] <= x; u++ {
		o := t.xs.below(x - t.xs.at[u])
		first, second := t.best[u*ny:(u+1)*ny], t.best[o*ny:(o+1)*ny]
		for j := range row {
			if v := first[j] + second[j]; v > row[j] {
				row[j] = v
			}
		}
	}
	for j, y := range t.ys.at {
		best := row[j]
		if j > 0 {
			best = max(best, row[j-1])
		}
		for u := 0; u < j && 2*t.ys.at[u] <= y; u++ {
			if v := row[u] + row[t.ys.below(y-t.ys.at[u])]; v > best {
				best = v
			}
		}
		if cap != nil {
			best = min(best, cap(x, y))
		}
		row[j] = best
	}
}

// single is the value of the best one copy on x times y.
func (t *table) single(x, y int) int {
	best := 0
	for _, r := range t.rects {
		if r.x <= x && r.y <= y {
			best = max(best, t.value[r.size])
		}
	}
	return best
}

// at is the value of a part of these sides.
func (t *table) at(x, y int) int {
	i, j := t.xs.below(x), t.ys.below(y)
	if i < 0 || j < 0 {
		return 0
	}
	return t.best[i*len(t.ys.at)+j]
}

// reach is the least length that holds the goal over the full width.
func (t *table) reach(goal, y int) (int, bool) {
	for _, x := range t.xs.at {
		if t.at(x, y) >= goal {
			return x, true
		}
	}
	return 0, false
}

func (t *table) top() int { return t.best[len(t.best)-1] }

// pattern traces the pattern behind at(x, y).
func (t *table) pattern(x, y int) *node {
	i, j := t.xs.below(x), t.ys.below(y)
	if i < 0 || j < 0 {
		return nil
	}
	return t.trace(i, j)
}

func (t *table) trace(i, j int) *node {
	ny := len(t.ys.at)
	v := t.best[i*ny+j]
	if v == 0 {
		return nil
	}
	// Trim first: what is trimmed is one large leftover instead of many small ones.
	if i > 0 && t.best[(i-1)*ny+j] == v {
		return t.trace(i-1, j)
	}
	if j > 0 && t.best[i*ny+j-1] == v {
		return t.trace(i, j-1)
	}
	x, y := t.xs.at[i], t.ys.at[j]
	for k, r := range t.rects {
		if r.x <= x && r.y <= y && t.value[r.size] == v {
			return &node{x: r.x, y: r.y, piece: &t.rects[k]}
		}
	}
	for u := 0; u < i && 2*t.xs.at[u] <= x; u++ {
		o := t.xs.below(x - t.xs.at[u])
		if t.best[u*ny+j]+t.best[o*ny+j] == v {
			// The larger half first, so that small pieces gather at the far end.
			return join(t.trace(o, j), t.trace(u, j), true)
		}
	}
	for u := 0; u < j && 2*t.ys.at[u] <= y; u++ {
		o := t.ys.below(y - t.ys.at[u])
		if t.best[i*ny+u]+t.best[i*ny+o] == v {
			return join(t.trace(i, o), t.trace(i, u), false)
		}
	}
	panic("cutting: no cut gives a value that the table holds")
}

// join puts b after a. A missing part is waste and is left out.
func join(a, b *node, along bool) *node {
	if a == nil {
		return b
	}
	if b == nil {
		return a
	}
	n := &node{a: a, b: b, along: along}
	if along {
		n.x, n.y = a.x+b.x, max(a.y, b.y)
	} else {
		n.x, n.y = max(a.x, b.x), a.y+b.y
	}
	return n
}

// count adds the copies of each size in n to made.
func (n *node) count(made []int) {
	if n == nil {
		return
	}
	if n.piece != nil {
		made[n.piece.size]++
		return
	}
	n.a.count(made)
	n.b.count(made)
}

func (n *node) made(sizes int) []int {
	out := make([]int, sizes)
	n.count(out)
	return out
}

// without drops the copies of n beyond most, and gives what is left of it.
func (n *node) without(most []int) *node {
	seen := make([]int, len(most))
	return n.keep(seen, most)
}

func (n *node) keep(seen, most []int) *node {
	if n == nil {
		return nil
	}
	if n.piece == nil {
		return join(n.a.keep(seen, most), n.b.keep(seen, most), n.along)
	}
	if seen[n.piece.size] >= most[n.piece.size] {
		return nil
	}
	seen[n.piece.size]++
	return n
}
