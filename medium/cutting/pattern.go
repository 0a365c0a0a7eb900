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
// thickness at kerf 0. Cuts are listed in an order in which they can be made.
type Cut struct {
	Rect
	Across bool // runs across the mesh direction (parts the length)
}

// Pattern is the geometry of one piece of cut stock, enough to draw it to
// scale. Mats, remnants and cuts are all of the usable stock, exactly.
type Pattern struct {
	Sheet    Sheet
	Usable   Rect // without the margins
	Placed   []Placed
	Remnants []Remnant
	Cuts     []Cut

	PieceMM2 int
	KeptMM2  int // remnants that are worth keeping
}

// drawing turns a tree of parts into geometry.
type drawing struct {
	Pattern
	kerf, keep int
}

// place puts the part n into the real rectangle r, which is at least as large.
func (d *drawing) place(n *node, r Rect) {
	if n == nil {
		d.remnant(r)
		return
	}
	r = d.trim(r, n.x-d.kerf, n.y-d.kerf)
	if n.mat != nil {
		d.Placed = append(d.Placed, Placed{Rect: r, Size: n.mat.size, Turned: n.mat.turned})
		d.PieceMM2 += r.AreaMM2()
		return
	}
	at := n.a.y - d.kerf
	if n.along {
		at = n.a.x - d.kerf
	}
	first, second := d.cut(r, at, n.along)
	d.place(n.a, first)
	d.place(n.b, second)
}

// trim cuts r down to length x width. Of the two orders it takes the one that
// leaves the larger single leftover.
func (d *drawing) trim(r Rect, length, width int) Rect {
	restX, restY := max(0, r.Length-length-d.kerf), max(0, r.Width-width-d.kerf)
	along := max(restX*r.Width, restY*length) >= max(restY*r.Length, restX*width)
	for range 2 {
		at, side := width, r.Width
		if along {
			at, side = length, r.Length
		}
		if side > at {
			var rest Rect
			r, rest = d.cut(r, at, along)
			d.remnant(rest)
		}
		along = !along
	}
	return r
}

// cut parts r after at millimetres; the kerf is taken from what follows.
func (d *drawing) cut(r Rect, at int, along bool) (first, second Rect) {
	first, strip, second := r, r, r
	if along {
		strip.X, strip.Length = r.X+at, min(d.kerf, r.Length-at)
		first.Length = at
		second.X, second.Length = strip.X+strip.Length, r.Length-at-strip.Length
	} else {
		strip.Y, strip.Width = r.Y+at, min(d.kerf, r.Width-at)
		first.Width = at
		second.Y, second.Width = strip.Y+strip.Width, r.Width-at-strip.Width
	}
	d.Cuts = append(d.Cuts, Cut{Rect: strip, Across: along})
	return first, second
}

func (d *drawing) remnant(r Rect) {
	if r.Length <= 0 || r.Width <= 0 {
		return
	}
	keep := d.keep > 0 && min(r.Length, r.Width) >= d.keep
	d.Remnants = append(d.Remnants, Remnant{Rect: r, Keep: keep})
	if keep {
		d.KeptMM2 += r.AreaMM2()
	}
}
