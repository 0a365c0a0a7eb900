package cutting

// Rect is a rectangle on the stock in millimetres: X along the length and the
// mesh direction, Y along the width, from one corner of the untrimmed stock.
type Rect struct {
	X, Y          int
	Length, Width int
}

// AreaMM2 is the area in square millimetres.
func (r Rect) AreaMM2() int { return r.Length * r.Width }

// Placed is one mat on the stock.
type Placed struct {
	Rect
	Size   int // index into the sizes that were asked for
	Turned bool
}

// Remnant is a leftover rectangle; Keep says that its shorter side has at
// least Cutting.KeepMM.
type Remnant struct {
	Rect
	Keep bool
}

// Cut is one edge-to-edge cut: the strip that the knife takes, of zero
// thickness at kerf 0. Cuts are listed in an order in which they can be made;
// Level 0 goes over the whole trimmed stock.
type Cut struct {
	Rect
	Across bool // runs across the mesh direction (parts the length)
	Level  int
}

// Pattern is the geometry of one piece of cut stock, enough to draw it to
// scale. PieceMM2 + RemnantMM2 + KerfMM2 + MarginMM2 is the area of the sheet,
// exactly.
type Pattern struct {
	Sheet    Sheet
	Usable   Rect
	Placed   []Placed
	Remnants []Remnant
	Cuts     []Cut

	PieceMM2   int
	RemnantMM2 int // all leftovers
	KeptMM2    int // those of them that are worth keeping
	KerfMM2    int
	MarginMM2  int
}

// WastePercent is the share of the stock that is in no mat, 0 to 100.
func (p Pattern) WastePercent() float64 {
	return percent(p.Sheet.AreaMM2()-p.PieceMM2, p.Sheet.AreaMM2())
}

// LostPercent is WastePercent without the leftovers worth keeping.
func (p Pattern) LostPercent() float64 {
	return percent(p.Sheet.AreaMM2()-p.PieceMM2-p.KeptMM2, p.Sheet.AreaMM2())
}

func percent(part, of int) float64 {
	if of <= 0 {
		return 0
	}
	return 100 * float64(part) / float64(of)
}

// render turns a tree of parts into geometry. usable is the stock that the tree
// was made for, without margins.
func render(n *node, sheet Sheet, usable Rect, c Cutting) Pattern {
	d := drawing{cutting: c}
	d.p.Sheet, d.p.Usable = sheet, usable
	d.p.MarginMM2 = sheet.AreaMM2() - usable.AreaMM2()
	d.place(n, usable, 0)
	return d.p
}

type drawing struct {
	p       Pattern
	cutting Cutting
}

// place puts the part n into the real rectangle r, which is at least as large.
func (d *drawing) place(n *node, r Rect, level int) {
	if n == nil {
		d.remnant(r)
		return
	}
	k := d.cutting.KerfMM
	r, level = d.trim(r, n.x-k, n.y-k, level)
	if n.piece != nil {
		d.p.Placed = append(d.p.Placed, Placed{Rect: r, Size: n.piece.size, Turned: n.piece.turned})
		d.p.PieceMM2 += r.AreaMM2()
		return
	}
	at := n.a.y - k
	if n.along {
		at = n.a.x - k
	}
	first, second := d.cut(r, at, n.along, level)
	d.place(n.a, first, level+1)
	d.place(n.b, second, level+1)
}

// trim cuts r down to length x width. Of the two orders it takes the one that
// leaves the larger single leftover.
func (d *drawing) trim(r Rect, length, width, level int) (Rect, int) {
	k := d.cutting.KerfMM
	restX, restY := max(0, r.Length-length-k), max(0, r.Width-width-k)
	alongFirst := max(restX*r.Width, restY*length) >= max(restY*r.Length, restX*width)
	for range 2 {
		switch {
		case alongFirst && r.Length > length:
			var rest Rect
			r, rest = d.cut(r, length, true, level)
			d.remnant(rest)
			level++
		case !alongFirst && r.Width > width:
			var rest Rect
			r, rest = d.cut(r, width, false, level)
			d.remnant(rest)
			level++
		}
		alongFirst = !alongFirst
	}
	return r, level
}

// cut parts r after at millimetres; the kerf is taken from what follows.
func (d *drawing) cut(r Rect, at int, along bool, level int) (first, second Rect) {
	first, second = r, r
	strip := r
	if along {
		strip.X, strip.Length = r.X+at, min(d.cutting.KerfMM, r.Length-at)
		first.Length = at
		second.X, second.Length = strip.X+strip.Length, r.Length-at-strip.Length
	} else {
		strip.Y, strip.Width = r.Y+at, min(d.cutting.KerfMM, r.Width-at)
		first.Width = at
		second.Y, second.Width = strip.Y+strip.Width, r.Width-at-strip.Width
	}
	d.p.Cuts = append(d.p.Cuts, Cut{Rect: strip, Across: along, Level: level})
	d.p.KerfMM2 += strip.AreaMM2()
	return first, second
}

func (d *drawing) remnant(r Rect) {
	if r.Length <= 0 || r.Width <= 0 {
		return
	}
	keep := d.cutting.KeepMM > 0 && min(r.Length, r.Width) >= d.cutting.KeepMM
	d.p.Remnants = append(d.p.Remnants, Remnant{Rect: r, Keep: keep})
	d.p.RemnantMM2 += r.AreaMM2()
	if keep {
		d.p.KeptMM2 += r.AreaMM2()
	}
}
