package cutting

// filler cuts small trays from the leftovers of finished patterns.
type filler struct {
	rects  []rect
	values []int
	left   []int // by size
	sizes  int
	budget *budget
}

func newFiller(rs []rect, sizes []Size, b *budget) *filler {
	f := &filler{rects: rs, sizes: len(sizes), budget: b}
	for _, s := range sizes {
		n := s.Count
		if n == 0 {
			n = maxPieces
		}
		f.left = append(f.left, n)
		f.values = append(f.values, s.value())
	}
	return f
}

// fill replaces leftovers of p by mats and smaller leftovers; p is cut times.
func (f *filler) fill(p *Pattern, c Cutting, times int) {
	if len(f.rects) == 0 {
		return
	}
	old := p.Remnants
	p.Remnants, p.RemnantMM2, p.KeptMM2 = nil, 0, 0
	d := drawing{p: *p, cutting: c}
	level := 0
	for _, cut := range p.Cuts {
		level = max(level, cut.Level+1)
	}
	for _, r := range old {
		d.place(f.cut(r.Rect, c.KerfMM, times), r.Rect, level)
	}
	*p = d.p
}

func (f *filler) cut(r Rect, kerf, times int) *node {
	x, y := r.Length+kerf, r.Width+kerf
	var rs []rect
	for _, k := range f.rects {
		if k.x <= x && k.y <= y && f.left[k.size] >= times {
			rs = append(rs, k)
		}
	}
	if len(rs) == 0 {
		return nil
	}
	most := make([]int, f.sizes)
	for i, n := range f.left {
		most[i] = n / times
	}
	t := unconstrained(rs, f.values, x, y, f.budget)
	if t == nil {
		return nil
	}
	n := t.pattern(x, y).without(most)
	for i, m := range n.made(f.sizes) {
		f.left[i] -= m * times
	}
	return n
}
