package labels

import (
	"math"
	"strings"
)

// Stock is a label paper by its measures in mm, origin at the top left of the
// page. A roll or a tag is a page with one label.
type Stock struct {
	Name           string
	PageW, PageH   float64
	LabelW, LabelH float64
	Left, Top      float64 // of the first label
	PitchX, PitchY float64 // from one label to the next
	Columns, Rows  int
	Corner         float64 // radius of the label's corners
	Safe           float64 // clear edge inside each label, at least 1.5

	HoleX, HoleD float64 // a tag's hole: centre from the left end, and diameter (0: none)
	Fold         bool    // folds across the middle of its width: two faces
	Seam         float64 // at both ends of a folding tag, sewn in
	Dot          float64 // printer dot; modules become whole dots (0: any)

	Source string
}

// SafeEdge is the least clear edge inside a label, mm: die cutting and printers
// shift by about that much (common practice, no source).
const SafeEdge = 1.5

// The measures of the sheets were read from label templates in a Linux
// distribution's package and checked by adding them up to the page; those of
// the roll and the tags are from memory, so compare them with the stock in hand.
const (
	fromTemplates = "label templates, adds up to the page"
	plainPaper    = "plain paper, cut by hand"
	fromMemory    = "from memory: measure your stock, and give your own sizes if they differ"
)

var stocks = []Stock{
	{Name: "letter-30", PageW: 215.9, PageH: 279.4, LabelW: 66.67, LabelH: 25.4, Left: 4.76, Top: 12.7,
		PitchX: 69.85, PitchY: 25.4, Columns: 3, Rows: 10, Corner: 1.6, Safe: SafeEdge, Source: fromTemplates},
	// No gaps and no side margins: printers leave about 5 mm of the page blank.
	{Name: "a4-24", PageW: 210, PageH: 297, LabelW: 70, LabelH: 37, Left: 0, Top: 0.5,
		PitchX: 70, PitchY: 37, Columns: 3, Rows: 8, Safe: 5, Source: fromTemplates},
	{Name: "a4-24b", PageW: 210, PageH: 297, LabelW: 70, LabelH: 36, Left: 0, Top: 4.5,
		PitchX: 70, PitchY: 36, Columns: 3, Rows: 8, Safe: 5, Source: fromTemplates},
	{Name: "a4-21", PageW: 210, PageH: 297, LabelW: 63.5, LabelH: 38.1, Left: 7.21, Top: 15.15,
		PitchX: 66.04, PitchY: 38.1, Columns: 3, Rows: 7, Corner: 2, Safe: SafeEdge, Source: fromTemplates},
	{Name: "a4-65", PageW: 210, PageH: 297, LabelW: 38.1, LabelH: 21.2, Left: 4.75, Top: 10.7,
		PitchX: 40.6, PitchY: 21.2, Columns: 5, Rows: 13, Corner: 1, Safe: SafeEdge, Source: fromTemplates},
	{Name: "a4-65-butt", PageW: 210, PageH: 297, LabelW: 38.1, LabelH: 21.2, Left: 9.75, Top: 10.7,
		PitchX: 38.1, PitchY: 21.2, Columns: 5, Rows: 13, Safe: SafeEdge, Source: fromTemplates},
	{Name: "roll-50x25", PageW: 50, PageH: 25, LabelW: 50, LabelH: 25, PitchX: 50, PitchY: 25,
		Columns: 1, Rows: 1, Corner: 1, Safe: SafeEdge, Dot: 0.125, Source: fromMemory},
	{Name: "tag-80x28", PageW: 80, PageH: 28, LabelW: 80, LabelH: 28, PitchX: 80, PitchY: 28,
		Columns: 1, Rows: 1, Corner: 3, Safe: SafeEdge, HoleX: 7, HoleD: 5, Source: fromMemory},
	{Name: "loop-100x30", PageW: 100, PageH: 30, LabelW: 100, LabelH: 30, PitchX: 100, PitchY: 30,
		Columns: 1, Rows: 1, Safe: SafeEdge, Fold: true, Seam: 8, Source: fromMemory},
	{Name: "roll-100x60", PageW: 100, PageH: 60, LabelW: 100, LabelH: 60, PitchX: 100, PitchY: 60,
		Columns: 1, Rows: 1, Corner: 2, Safe: 2, Dot: 0.125, Source: fromMemory},
	// Plain paper or film, cut by hand.
	{Name: "a4-8", PageW: 210, PageH: 297, LabelW: 95, LabelH: 65, Left: 10, Top: 18.5,
		PitchX: 95, PitchY: 65, Columns: 2, Rows: 4, Safe: 3, Source: plainPaper},
	{Name: "letter-8", PageW: 215.9, PageH: 279.4, LabelW: 95, LabelH: 64, Left: 12.95, Top: 11.7,
		PitchX: 95, PitchY: 64, Columns: 2, Rows: 4, Safe: 3, Source: plainPaper},
	{Name: "a4-tags", PageW: 210, PageH: 297, LabelW: 80, LabelH: 28, Left: 20, Top: 20,
		PitchX: 85, PitchY: 32, Columns: 2, Rows: 8, Corner: 3, Safe: SafeEdge, HoleX: 7, HoleD: 5, Source: plainPaper},
	{Name: "letter-tags", PageW: 215.9, PageH: 279.4, LabelW: 80, LabelH: 28, Left: 20, Top: 14,
		PitchX: 85, PitchY: 32, Columns: 2, Rows: 8, Corner: 3, Safe: SafeEdge, HoleX: 7, HoleD: 5, Source: plainPaper},
}

// Stocks lists the stocks that are known by name.
func Stocks() []Stock { return append([]Stock(nil), stocks...) }

// FindStock looks a stock up by name.
func FindStock(name string) (Stock, error) {
	var names []string
	for _, s := range stocks {
		if s.Name == name {
			return s, nil
		}
		names = append(names, s.Name)
	}
	return Stock{}, refused("no label stock is called %q; there are %s, or give your own measures", name,
		strings.Join(names, ", "))
}

// PerPage is the number of labels on a page.
func (s Stock) PerPage() int { return s.Columns * s.Rows }

// Cell is the place of label i (from 0, row by row) on its page.
func (s Stock) Cell(i int) Box {
	i %= s.PerPage()
	return Box{s.Left + float64(i%s.Columns)*s.PitchX, s.Top + float64(i/s.Columns)*s.PitchY, s.LabelW, s.LabelH}
}

// CutByHand says that the labels come on plain paper or film, and need a line to
// cut along.
func (s Stock) CutByHand() bool { return s.Source == plainPaper }

// Panels are the areas of one label that may be printed, relative to its
// corner: the label less its safe edge; past the hole and 3 mm of a tag; the
// two faces of a folding tag less fold and seams.
func (s Stock) Panels() []Box {
	whole := Box{0, 0, s.LabelW, s.LabelH}.inset(s.Safe)
	if s.Fold {
		w := s.LabelW/2 - s.Seam - 2*s.Safe
		return []Box{{s.Seam + s.Safe, s.Safe, w, whole.H}, {s.LabelW/2 + s.Safe, s.Safe, w, whole.H}}
	}
	if s.HoleD > 0 {
		left := s.HoleX + s.HoleD/2 + 3
		return []Box{{left, whole.Y, whole.right() - left, whole.H}}
	}
	return []Box{whole}
}

// Validate checks measures that a person typed: finite, positive, within the
// page, labels that do not overlap, and something left to print on.
func (s Stock) Validate() error {
	measures := []struct {
		name     string
		value    float64
		positive bool
	}{
		{"page width", s.PageW, true}, {"page height", s.PageH, true},
		{"label width", s.LabelW, true}, {"label height", s.LabelH, true},
		{"pitch across", s.PitchX, true}, {"pitch down", s.PitchY, true},
		{"left margin", s.Left, false}, {"top margin", s.Top, false}, {"corner", s.Corner, false},
		{"hole center", s.HoleX, false}, {"hole diameter", s.HoleD, false},
		{"seam", s.Seam, false}, {"printer dot", s.Dot, false},
	}
	for _, m := range measures {
		if math.IsNaN(m.value) || math.IsInf(m.value, 0) || m.value < 0 || m.value > 2000 || (m.positive && m.value == 0) {
			return refused("%s of %v mm is not possible; give millimeters from the label pack, at most 2000", m.name, m.value)
		}
	}
	if s.Columns < 1 || s.Rows < 1 || s.Columns > 100 || s.Rows > 100 {
		return refused("%d columns and %d rows are not possible; give 1 to 100 of each", s.Columns, s.Rows)
	}
	if !(s.Safe >= SafeEdge) || s.Safe > 50 {
		return refused("a clear edge of %v mm is too little or too much; give %v mm or some more", s.Safe, SafeEdge)
	}
	const slack = 0.05 // measures are often given to a tenth
	if (s.Columns > 1 && s.PitchX < s.LabelW-slack) || (s.Rows > 1 && s.PitchY < s.LabelH-slack) {
		return refused("labels of %v x %v mm overlap at a pitch of %v x %v mm; the pitch is from one label's edge to the "+
			"next label's same edge", s.LabelW, s.LabelH, s.PitchX, s.PitchY)
	}
	last := s.Cell(s.PerPage() - 1)
	if last.right() > s.PageW+slack || last.bottom() > s.PageH+slack {
		return refused("the last label ends at %.2f x %.2f mm, outside the page of %v x %v mm; check "+
			"margins, pitch and count", last.right(), last.bottom(), s.PageW, s.PageH)
	}
	if s.Dot > 0.3 {
		return refused("a printer dot of %v mm is too coarse; 203 dpi is 0.125 mm", s.Dot)
	}
	for _, p := range s.Panels() {
		if p.W <= 0 || p.H <= 0 {
			return refused("nothing is left to print on a label of %v x %v mm; make the label larger, or hole, seam and "+
				"edge smaller", s.LabelW, s.LabelH)
		}
	}
	return nil
}
