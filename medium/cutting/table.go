package cutting

import "slices"

// axis is the set of lengths at which cuts need to be tried, with 0, and a
// look-up of the greatest member not above a length.
type axis struct {
	at    []int
	floor []int32 // by length
}

func newAxis(points []int, length int) axis {
	a := axis{at: points, floor: make([]int32, length+1)}
	i := 0
	for v := range a.floor {
		if i+1 < len(points) && points[i+1] == v {
			i++
		}
		a.floor[v] = int32(i)
	}
	return a
}

func (a axis) below(length int) int { return int(a.floor[length]) }

// normal gives 0 and the sums of sides up to length (Herz 1972, Christofides
// and Whitlock 1977: some best pattern cuts only there), each side used at most
// so often, or without a limit.
func normal(rs []rect, side func(rect) int, most *copies, length int) []int {
	reach, used := make([]bool, length+1), make([]int16, length+1)
	reach[0] = true
	for _, r := range rs {
		clear(used)
		for v := side(r); v <= length; v++ {
			before := v - side(r)
			if !reach[v] && reach[before] && (most == nil || used[before] < most[r.size]) {
				reach[v], used[v] = true, used[before]+1
			}
		}
	}
	var out []int
	for v, ok := range reach {
		if ok {
			out = append(out, v)
		}
	}
	return out
}

// raster gives those normal points that can border a complement that is itself
// normal (Terno, Lindemann and Scheithauer 1987). Rounding every part of a
// pattern up to the raster keeps it feasible, so no best pattern is lost: if
// a+b+p <= L with all normal, the rounded a is L minus a normal length of at
// least b+p, hence still leaves room for b and p.
func raster(rs []rect, side func(rect) int, length int) []int {
	full, out := newAxis(normal(rs, side, nil, length), length), []int{0}
	for _, p := range slices.Backward(full.at) {
		out = append(out, full.at[full.below(length-p)])
	}
	return slices.Compact(out)
}

// thin drops every third point that is no multiple of a side. Any subset with
// the last point gives valid patterns; only the proof of optimality is lost.
func thin(points []int, rs []rect, side func(rect) int) []int {
	var out []int
	for i, p := range points {
		multiple := slices.ContainsFunc(rs, func(r rect) bool { return p%side(r) == 0 })
		if multiple || (len(points)-i)%3 != 2 {
			out = append(out, p)
		}
	}
	return out
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

// rastered says on which axes a table keeps to the raster: exact for the whole
// of the stock, but not for a part that is shorter along such an axis.
type rastered struct{ x, y bool }

// newTable lays out the points for patterns of at most so many copies on x
// times y. The table is not exact when the points had to be thinned to fit the
// budget, and nil when even that was not enough.
func newTable(rs []rect, most *copies, x, y int, on rastered, b *budget) *table {
	if rs = fitting(rs, most, x, y); !b.spend((x + y) * (len(rs) + 2)) {
		return nil
	}
	px, py, exact := normal(rs, rect.length, most, x), normal(rs, rect.width, most, y), true
	if on.x {
		px = raster(rs, rect.length, x)
	}
	if on.y {
		py = raster(rs, rect.width, y)
	}
	for len(px)*len(py) > maxCells || cost(px, py) > b.left {
		before := len(px) + len(py)
		px, py = thin(px, rs, rect.length), thin(py, rs, rect.width)
		if exact = false; len(px)+len(py) == before {
			return nil
		}
	}
	return &table{xs: newAxis(px, x), ys: newAxis(py, y), rects: rs, exact: exact}
}

// fitting are the rectangles that are wanted and fit on x times y.
func fitting(rs []rect, most *copies, x, y int) []rect {
	return slices.DeleteFunc(slices.Clone(rs), func(r rect) bool { return most[r.size] == 0 || r.x > x || r.y > y })
}

// cost is about the number of comparisons of fill.
func cost(px, py []int) int { return len(px) * len(py) * ((len(px)+len(py))/4 + 1) }

func (t *table) row(i int) []int { return t.best[i*len(t.ys.at) : (i+1)*len(t.ys.at)] }

// fill computes best for these values.
func (t *table) fill(value []int, b *budget) bool {
	if t == nil || !b.spend(cost(t.xs.at, t.ys.at)) {
		return false
	}
	t.value, t.best = value, make([]int, len(t.xs.at)*len(t.ys.at))
	for _, r := range t.rects {
		i, _ := slices.BinarySearch(t.xs.at, r.x)
		j, _ := slices.BinarySearch(t.ys.at, r.y)
		t.row(i)[j] = max(t.row(i)[j], value[r.size])
	}
	for i := 1; i < len(t.xs.at); i++ {
		t.fillRow(i)
	}
	return true
}

func (t *table) fillRow(i int) {
	x, row := t.xs.at[i], t.row(i)
	for j, v := range t.row(i - 1) {
		row[j] = max(row[j], v)
	}
	for u := 1; u < i && 2*t.xs.at[u] <= x; u++ {
		first, second := t.row(u), t.row(t.xs.below(x-t.xs.at[u]))
		for j := range row {
			if v := first[j] + second[j]; v > row[j] {
				row[j] = v
			}
		}
	}
	for j := 1; j < len(row); j++ {
		y, best := t.ys.at[j], max(row[j], row[j-1])
		for u := 1; u < j && 2*t.ys.at[u] <= y; u++ {
			if v := row[u] + row[t.ys.below(y-t.ys.at[u])]; v > best {
				best = v
			}
		}
		row[j] = best
	}
}

// at is the value of a part of these sides.
func (t *table) at(x, y int) int { return t.row(t.xs.below(x))[t.ys.below(y)] }

// top is the value of the whole.
func (t *table) top() int { return t.best[len(t.best)-1] }

// pattern traces the pattern behind at(x, y), without copies beyond most.
func (t *table) pattern(x, y int, most copies) *node {
	return t.trace(t.xs.below(x), t.ys.below(y), &most)
}

func (t *table) trace(i, j int, left *copies) *node {
	v, row := t.row(i)[j], t.row(i)
	// Trim first: what is trimmed is one large leftover instead of many small ones.
	switch {
	case v == 0:
		return nil
	case t.row(i - 1)[j] == v:
		return t.trace(i-1, j, left)
	case row[j-1] == v:
		return t.trace(i, j-1, left)
	}
	x, y := t.xs.at[i], t.ys.at[j]
	for k, r := range t.rects {
		if r.x <= x && r.y <= y && t.value[r.size] == v {
			if left[r.size] == 0 {
				return nil
			}
			left[r.size]--
			return single(&t.rects[k])
		}
	}
	// The larger half first, so that small pieces gather at the far end.
	for u := 1; u < i; u++ {
		if o := t.xs.below(x - t.xs.at[u]); t.row(u)[j]+t.row(o)[j] == v {
			return join(t.trace(o, j, left), t.trace(u, j, left), true)
		}
	}
	for u := 1; u < j; u++ {
		if o := t.ys.below(y - t.ys.at[u]); row[u]+row[o] == v {
			return join(t.trace(i, o, left), t.trace(i, u, left), false)
		}
	}
	panic("cutting: no cut gives a value that the table holds")
}
