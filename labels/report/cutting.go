package report

import (
	"cmp"
	"fmt"
	"maps"

	"resow/medium/cutting"
)

// CuttingInput is a plan of cuts with the sizes it was made for. One of
// Sheets, Best and Roll is set.
type CuttingInput struct {
	Origin
	Sizes              []cutting.Size
	Sheets, Best, Roll *cutting.Plan
}

// cuts is the plan, and what is said of it.
type cuts struct {
	cutting.Plan
	from    string // what the mats are cut from
	proof   string // what is proven of the plan, or how near it comes
	figures fields
}

func (in CuttingInput) cuts() cuts {
	c := cuts{Plan: *cmp.Or(in.Sheets, in.Best, in.Roll, &cutting.Plan{})}
	gap := short(c.GapPercent())
	switch {
	case in.Sheets != nil:
		c.from = count(c.Value, "sheet", "sheets") + " of " + stock(c.Batches)
		c.figures = fields{"sheets": c.Value, "least_sheets": c.Bound}
		c.proof = "No cutting plan needs fewer: proven."
		if !c.Proven {
			c.proof = fmt.Sprintf("Not proven to be the fewest: no plan can need fewer than %d (gap %s %%).", c.Bound, gap)
		}
	case in.Best != nil:
		c.from = "1 sheet of " + stock(c.Batches)
		c.figures = fields{"sheets": 1}
		c.proof = "No cutting plan gets more out of the sheet: proven."
		if !c.Proven {
			c.proof = fmt.Sprintf("Not proven to be the best: another plan might get up to %s %% more out of it.", gap)
		}
	case in.Roll != nil:
		c.from = fmt.Sprintf("%d mm off a roll %d mm wide", c.Value, c.Batches[0].Pattern.Sheet.WidthMM)
		c.figures = fields{"roll_length_mm": c.Value, "least_length_mm": c.Bound}
		c.proof = "No cutting plan needs less of the roll: proven."
		if !c.Proven {
			c.proof = fmt.Sprintf("Not proven to be the shortest: no plan can need less than %d mm (gap %s %%).", c.Bound, gap)
		}
	}
	return c
}

// waste is the share of all stock, in percent, that is in no mat, and the part
// of it that is not worth keeping either.
func waste(batches []cutting.Batch) (waste, lost float64) {
	area, pieces, kept := 0, 0, 0
	for _, b := range batches {
		area += b.Times * b.Pattern.Sheet.AreaMM2()
		pieces += b.Times * b.Pattern.PieceMM2
		kept += b.Times * b.Pattern.KeptMM2
	}
	if area == 0 {
		return 0, 0
	}
	return 100 * float64(area-pieces) / float64(area), 100 * float64(area-pieces-kept) / float64(area)
}

// Cutting is the plan of cuts, drawn to scale.
func Cutting(in CuttingInput) Report {
	r := in.report("cutting_plan")
	c, total := in.cuts(), 0
	for _, n := range c.Made {
		total += n
	}
	waste, lost := waste(c.Batches)
	r.Summary = []string{fmt.Sprintf("Cut %s from %s; %s of the mesh is waste, %s without the remnants worth keeping.",
		mats(total), c.from, keep(short(waste)+" %"), keep(short(lost)+" %")), c.proof}
	r.Figures = fields{"mats": total, "waste_percent": num(waste), "lost_percent": num(lost), "proven": c.Proven,
		"gap_percent": num(c.GapPercent())}
	maps.Copy(r.Figures, c.figures)
	r.Sections = []Section{in.sizeTable(c.Made)}
	for i, b := range c.Batches {
		r.Sections = append(r.Sections, in.pattern(i, b))
	}
	return r
}

func stock(b []cutting.Batch) string {
	if len(b) == 0 {
		return "mesh"
	}
	return keep(fmt.Sprintf("%d x %d mm", b[0].Pattern.Sheet.LengthMM, b[0].Pattern.Sheet.WidthMM))
}

func (in CuttingInput) sizeTable(made []int) Section {
	s := newSection("sizes")
	for i, n := range made {
		size := in.Sizes[i]
		var wanted any = cell{text: "as many as fit"}
		kind, turn := "mat", cell{"no", size.Turn}
		if size.Count > 0 {
			wanted = size.Count
		}
		if size.Fill {
			kind = "from what is left"
		}
		if size.Turn {
			turn.text = "yes"
		}
		name := cell{letter(i) + ": " + size.Name, fields{"size": letter(i), "length_mm": size.LengthMM,
			"width_mm": size.WidthMM}}
		s.add(name, wanted, n, turn, kind)
	}
	return s
}

func (in CuttingInput) pattern(i int, b cutting.Batch) Section {
	p := b.Pattern
	var pieces, remnants []fields
	wasted, lost := waste([]cutting.Batch{b})
	filled := []string{"{number}", fmt.Sprint(i + 1), "{sheets}", count(b.Times, "sheet", "sheets"),
		"{stock}", stock([]cutting.Batch{b}), "{mats}", mats(len(p.Placed)),
		"{waste}", short(wasted), "{lost}", short(lost)}
	s := newSection("pattern_{number}", filled...)
	if in.Roll != nil {
		s.Heading = words("pattern_{number}").text("roll")
	}
	l := Layout{LengthMM: float64(p.Sheet.LengthMM), WidthMM: float64(p.Sheet.WidthMM),
		Along: "mesh direction (along the roll)", Alt: words("pattern_{number}", filled...).text("plot")}
	for _, placed := range p.Placed {
		text := in.Sizes[placed.Size].Name
		if placed.Turned {
			text += " · turned"
		}
		one := piece(placed.Rect, text)
		one.Short = letter(placed.Size)
		l.Pieces = append(l.Pieces, one)
		named := rect(placed.Rect)
		named["size"], named["turned"] = one.Short, placed.Turned
		pieces = append(pieces, named)
	}
	for _, left := range p.Remnants {
		one := piece(left.Rect, "")
		one.Waste, one.Keep = !left.Keep, left.Keep
		if left.Keep {
			one.Text = fmt.Sprintf("keep · %d x %d", left.Length, left.Width)
		}
		l.Pieces = append(l.Pieces, one)
		named := rect(left.Rect)
		named["keep"] = left.Keep
		remnants = append(remnants, named)
	}
	s.Layouts = []Layout{l}
	s.Figures = fields{"length_mm": p.Sheet.LengthMM, "width_mm": p.Sheet.WidthMM, "sheets": b.Times, "pieces": pieces,
		"remnants": remnants}
	for n, c := range p.Cuts {
		way := "along the mesh"
		if c.Across {
			way = "across the mesh"
		}
		s.add(n+1, cell{fmt.Sprintf("%d / %d", c.X, c.Y), rect(c.Rect)},
			cell{fmt.Sprintf("%d / %d", c.X+c.Length, c.Y+c.Width), fields{"to_x_mm": c.X + c.Length, "to_y_mm": c.Y +
				c.Width}}, way)
	}
	return s
}

// letter names a size where its measures do not fit: A to Z, then numbers.
func letter(i int) string {
	if i < 26 {
		return string(rune('A' + i))
	}
	return fmt.Sprint(i + 1)
}

func rect(r cutting.Rect) fields {
	return fields{"x_mm": r.X, "y_mm": r.Y, "length_mm": r.Length, "width_mm": r.Width}
}

func piece(r cutting.Rect, text string) Piece {
	return Piece{X: float64(r.X), Y: float64(r.Y), LengthMM: float64(r.Length), WidthMM: float64(r.Width), Text: text}
}
