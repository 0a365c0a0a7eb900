package report

import (
	"fmt"

	"resow/medium/cutting"
)

// CuttingInput is a plan of cuts with the sizes it was made for. One of
// Sheets, Best and Roll is set.
type CuttingInput struct {
	Origin
	Sizes   []cutting.Size
	Cutting cutting.Cutting
	Sheets  *cutting.SheetsPlan
	Best    *cutting.SheetPlan
	Roll    *cutting.RollPlan
}

// Patterns are the patterns to cut and how many sheets of each.
func (in CuttingInput) Patterns() []cutting.Batch {
	switch {
	case in.Sheets != nil:
		return in.Sheets.Batches
	case in.Best != nil:
		return []cutting.Batch{{Pattern: in.Best.Pattern, Times: 1}}
	case in.Roll != nil:
		return []cutting.Batch{{Pattern: in.Roll.Pattern, Times: 1}}
	}
	return nil
}

// Made is how many copies of each size come out.
func (in CuttingInput) Made() []int {
	switch {
	case in.Sheets != nil:
		return in.Sheets.Made
	case in.Best != nil:
		return in.Best.Made
	case in.Roll != nil:
		return in.Roll.Made
	}
	return nil
}

// Waste is the share of all stock, in percent, that is in no mat, and the part
// of it that is not worth keeping either.
func (in CuttingInput) Waste() (waste, lost float64) {
	area, pieces, kept := 0, 0, 0
	for _, b := range in.Patterns() {
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
	r := in.report("Cutting plan")
	r.Summary = in.say()
	for i, b := range in.Patterns() {
		r.Sections = append(r.Sections, in.pattern(i, b))
	}
	r.Sections = append([]Section{in.sizeTable()}, r.Sections...)
	r.Cautions = []string{
		"Measure the stock before the first cut; a sheet sold by its nominal size can be smaller.",
		"A hot knife burns and its fumes hurt: cut in moving air, with gloves. Cut edges of woven mesh fray and shed threads: seal them and look for loose threads before the first sowing.",
		"Write roll, supplier and the date of the food-contact statement on every mat that is cut.",
	}
	r.Method = []string{
		"Only edge-to-edge (guillotine) cuts are used, the kind that a knife and a straight edge make. Neighbors share one cut.",
		"A plan called proven reaches the bound that no such plan can pass; else the gap to that bound is given. All lengths are whole millimeters.",
	}
	return r
}

func (in CuttingInput) say() []string {
	waste, lost := in.Waste()
	var first, proof string
	switch {
	case in.Sheets != nil:
		first = fmt.Sprintf("%s of %s", count(in.Sheets.Sheets, "sheet", "sheets"), stock(in.Patterns()))
		proof = "No cutting plan needs fewer: proven."
		if !in.Sheets.Proven {
			proof = fmt.Sprintf("Not proven to be the fewest: no plan can need fewer than %d (gap %s %%).", in.Sheets.Bound, short(in.Sheets.GapPercent()))
		}
	case in.Best != nil:
		first = "1 sheet of " + stock(in.Patterns())
		proof = "No cutting plan gets more out of the sheet: proven."
		if !in.Best.Proven {
			proof = fmt.Sprintf("Not proven to be the best: another plan might get up to %s %% more out of it.", short(in.Best.GapPercent()))
		}
	case in.Roll != nil:
		first = fmt.Sprintf("%d mm off a roll %d mm wide", in.Roll.LengthMM, in.Roll.Pattern.Sheet.WidthMM)
		proof = "No cutting plan needs less of the roll: proven."
		if !in.Roll.Proven {
			proof = fmt.Sprintf("Not proven to be the shortest: no plan can need less than %d mm (gap %s %%).", in.Roll.BoundMM, short(in.Roll.GapPercent()))
		}
	}
	total := 0
	for _, n := range in.Made() {
		total += n
	}
	return []string{fmt.Sprintf("Cut %s from %s; %s of the mesh is waste, %s without the remnants worth keeping.", mats(total), first, keep(short(waste)+" %"), keep(short(lost)+" %")), proof}
}

func stock(b []cutting.Batch) string {
	if len(b) == 0 {
		return "mesh"
	}
	return keep(fmt.Sprintf("%d x %d mm", b[0].Pattern.Sheet.LengthMM, b[0].Pattern.Sheet.WidthMM))
}

func (in CuttingInput) sizeTable() Section {
	s := Section{Heading: "Mats that come out", Columns: []Column{{Head: "Size"}, {Head: "Wanted", Right: true}, {Head: "Cut", Right: true}, {Head: "May be turned"}, {Head: "Kind"}}}
	for i, n := range in.Made() {
		size, name := in.Sizes[i], letter(i)+": "+in.Sizes[i].Name
		wanted, kind, turn := "as many as fit", "mat", "no"
		if size.Count > 0 {
			wanted = fmt.Sprint(size.Count)
		}
		if size.Fill {
			kind = "from what is left"
		}
		if size.Turn {
			turn = "yes"
		}
		s.Rows = append(s.Rows, []string{name, wanted, fmt.Sprint(n), turn, kind})
	}
	return s
}

func (in CuttingInput) pattern(i int, b cutting.Batch) Section {
	p := b.Pattern
	s := Section{Heading: fmt.Sprintf("Pattern %d, %s", i+1, count(b.Times, "sheet", "sheets"))}
	if in.Roll != nil {
		s.Heading = "Cuts from the roll"
	}
	l := Layout{LengthMM: float64(p.Sheet.LengthMM), WidthMM: float64(p.Sheet.WidthMM), Along: "mesh direction (along the roll)",
		Alt: fmt.Sprintf("%s with %s, drawn to scale; gray is waste, dashes outline remnants worth keeping. Waste %s %%, %s %% without those.", stock([]cutting.Batch{b}), mats(len(p.Placed)), short(p.WastePercent()), short(p.LostPercent()))}
	counts := make([]int, len(in.Sizes))
	for _, placed := range p.Placed {
		counts[placed.Size]++
		text := in.Sizes[placed.Size].Name
		if placed.Turned {
			text += " · turned"
		}
		one := piece(placed.Rect, text)
		one.Short = letter(placed.Size)
		l.Pieces = append(l.Pieces, one)
	}
	for _, left := range p.Remnants {
		one := piece(left.Rect, "")
		one.Waste, one.Keep = !left.Keep, left.Keep
		if left.Keep {
			one.Text = fmt.Sprintf("keep · %d x %d", left.Length, left.Width)
		}
		l.Pieces = append(l.Pieces, one)
	}
	s.Layouts = []Layout{l}
	s.Columns = []Column{{Head: "Cut", Right: true}, {Head: "From, mm along the mesh / across it"}, {Head: "To"}, {Head: "Direction"}}
	for n, c := range p.Cuts {
		way := "along the mesh"
		if c.Across {
			way = "across the mesh"
		}
		s.Rows = append(s.Rows, []string{fmt.Sprint(n + 1), fmt.Sprintf("%d / %d", c.X, c.Y), fmt.Sprintf("%d / %d", c.X+c.Length, c.Y+c.Width), way})
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

func piece(r cutting.Rect, text string) Piece {
	return Piece{X: float64(r.X), Y: float64(r.Y), LengthMM: float64(r.Length), WidthMM: float64(r.Width), Text: text}
}
