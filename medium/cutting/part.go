package cutting

// copies is a number of copies of each size.
type copies [MaxSizes]int16

// times is how often d is within c.
func (c *copies) times(d *copies) int {
	times := maxPieces
	for i, n := range d {
		if n > 0 {
			times = min(times, int(c[i]/n))
		}
	}
	return times
}

// add adds d so many times.
func (c *copies) add(d *copies, times int) {
	for i, n := range d {
		c[i] += n * int16(times)
	}
}

// worth is the worth of all copies at these values of one copy.
func (c *copies) worth(values []int) int {
	total := 0
	for i, v := range values {
		total += v * int(c[i])
	}
	return total
}

// node is one part of a pattern, in lengths that include a kerf: one mat, or
// two parts side by side. What they leave of it is waste, and so is a nil node.
type node struct {
	x, y  int
	mat   *rect
	a, b  *node
	along bool // a and b divide the length (x), else the width (y)
	made  copies
}

func single(r *rect) *node {
	n := &node{x: r.x, y: r.y, mat: r}
	n.made[r.size] = 1
	return n
}

// join puts b after a. A missing part is waste and is left out.
func join(a, b *node, along bool) *node {
	if a == nil {
		return b
	}
	if b == nil {
		return a
	}
	n := &node{x: max(a.x, b.x), y: max(a.y, b.y), a: a, b: b, along: along, made: a.made}
	if along {
		n.x = a.x + b.x
	} else {
		n.y = a.y + b.y
	}
	n.made.add(&b.made, 1)
	return n
}

// repeat lays n equal parts in a row, halving so that the tree stays flat.
func repeat(n *node, times int, along bool) *node {
	if times == 1 {
		return n
	}
	return join(repeat(n, times-times/2, along), repeat(n, times/2, along), along)
}

// array is nx by ny copies in one block.
func array(r *rect, nx, ny int) *node {
	return repeat(repeat(single(r), nx, true), ny, false)
}

// style is a plain way to lay mats: blocks of equal ones, largest first.
type style struct {
	rows bool // a block grows along the length first, else along the width
	wide bool // what is left beyond a block gets the full length, else the full width
}

var styles = []style{{true, true}, {true, false}, {false, true}, {false, false}}

// lay fills x times y with the copies left.
func (l style) lay(rs []rect, x, y int, left *copies) *node {
	var r *rect // the greatest that fits, in the direction that wastes the least of the width
	for i := range rs {
		c := &rs[i]
		fits := left[c.size] > 0 && c.x <= x && c.y <= y
		if fits && (r == nil || c.area() > r.area() || c.size == r.size && y%c.y < y%r.y) {
			r = c
		}
	}
	if r == nil {
		return nil
	}
	n := int(left[r.size])
	nx, ny := min(x/r.x, n), min(y/r.y, n)
	if l.rows {
		ny = min(ny, n/nx)
	} else {
		nx = min(nx, n/ny)
	}
	b := array(r, nx, ny)
	left.add(&b.made, -1)
	if l.wide {
		b = join(b, l.lay(rs, x-b.x, b.y, left), true)
		return join(b, l.lay(rs, x, y-b.y, left), false)
	}
	b = join(b, l.lay(rs, b.x, y-b.y, left), false)
	return join(b, l.lay(rs, x-b.x, y, left), true)
}
