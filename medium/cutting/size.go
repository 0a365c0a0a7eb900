package cutting

import "fmt"

// Bounds on what one plan may ask for. They keep time and memory finite for
// absurd input; each is far above what a farm cuts.
const (
	MaxSideMM    = 100_000 // longest side of stock, mm
	MaxSizes     = 60      // different sizes in one plan
	MaxCopies    = 5_000   // wanted copies of all sizes together
	maxPieces    = 20_000  // pieces in one pattern
	maxCells     = 1 << 22 // states of one dynamic program
	DefaultSteps = 400_000_000
)

// Sheet is a piece of mesh stock, in whole millimetres. Its length runs along
// the mesh direction (along the roll it came from).
type Sheet struct {
	LengthMM int `json:"length_mm"`
	WidthMM  int `json:"width_mm"`
}

// AreaMM2 is the area of the sheet in square millimetres.
func (s Sheet) AreaMM2() int { return s.LengthMM * s.WidthMM }

// Cutting says what the knife and the edges take.
type Cutting struct {
	// KerfMM is lost to every cut: 0 for scissors, about 1 to 3 for a hot
	// knife that melts the edge (common practice, no source).
	KerfMM int
	// MarginMM is taken off every edge of a sheet, and off the two long edges
	// of a roll (selvedge, frayed edge). It includes the kerf of that cut, so
	// it is 0 or at least the kerf.
	MarginMM int
	// KeepMM: a leftover whose shorter side has at least this is marked as
	// worth keeping. 0 keeps none.
	KeepMM int
}

// Size is one mat size to be cut.
type Size struct {
	Name     string
	LengthMM int // along the mesh direction unless turned
	WidthMM  int
	// Turn allows the mat to be cut turned by 90 degrees, the mesh direction
	// running across it. Leave it false where the mesh must run one way
	// (diagonal, leno or stretching mesh).
	Turn bool
	// Value is what one copy is worth in BestSheet, in any unit; 0 means its
	// area in square millimetres.
	Value int
	// Count is the most copies that BestSheet may cut (0: no limit), and the
	// copies wanted by FewestSheets and ShortestRoll.
	Count int
	// Fill marks a small tray that is cut only from what the other sizes
	// leave: it never displaces one of them.
	Fill bool
}

func (s Size) value() int {
	if s.Value > 0 {
		return s.Value
	}
	return s.LengthMM * s.WidthMM
}

// Limit bounds the work of one plan. It counts steps, not time, so that a plan
// is the same on every machine.
type Limit struct {
	// Steps is the number of elementary comparisons; 0 means DefaultSteps,
	// about one second on a small computer.
	Steps int
}

// budget is what is left of a Limit.
type budget struct{ left, used int }

func newBudget(l Limit) *budget {
	if l.Steps <= 0 {
		return &budget{left: DefaultSteps}
	}
	return &budget{left: l.Steps}
}

func (b *budget) spend(n int) bool {
	if n > b.left {
		return false
	}
	b.left -= n
	b.used += n
	return true
}

// part gives a smaller budget out of this one; what it used is paid back by take.
func (b *budget) part(n int) *budget { return &budget{left: min(n, b.left)} }

func (b *budget) take(p *budget) {
	b.left -= p.used
	b.used += p.used
}

func checkCutting(c Cutting) error {
	for _, v := range []struct {
		name string
		mm   int
	}{{"kerf", c.KerfMM}, {"margin", c.MarginMM}, {"smallest remnant to keep", c.KeepMM}} {
		if v.mm < 0 || v.mm > MaxSideMM {
			return invalid(v.name, fmt.Sprintf("%d mm", v.mm), fmt.Sprintf("give 0 to %d mm", MaxSideMM))
		}
	}
	if c.MarginMM > 0 && c.MarginMM < c.KerfMM {
		return invalid("margin", fmt.Sprintf("%d mm", c.MarginMM),
			fmt.Sprintf("the cut along the margin alone takes the kerf of %d mm; give 0 or at least the kerf", c.KerfMM))
	}
	return nil
}

func checkSizes(sizes []Size) error {
	if len(sizes) == 0 || len(sizes) > MaxSizes {
		return invalid("number of sizes", len(sizes), fmt.Sprintf("give 1 to %d", MaxSizes))
	}
	total, real := 0, 0
	for i, s := range sizes {
		name := sizeName(sizes, i)
		if s.LengthMM < 1 || s.WidthMM < 1 || s.LengthMM > MaxSideMM || s.WidthMM > MaxSideMM {
			return invalid(name, fmt.Sprintf("%d x %d mm", s.LengthMM, s.WidthMM), fmt.Sprintf("give sides of 1 to %d mm", MaxSideMM))
		}
		if s.Value < 0 || s.Value > 1<<40 {
			return invalid("value of "+name, s.Value, "give 0 (its area) or a positive worth")
		}
		if s.Count < 0 || s.Count > MaxCopies {
			return invalid("count of "+name, s.Count, fmt.Sprintf("give 0 to %d", MaxCopies))
		}
		total += s.Count
		if !s.Fill {
			real++
		}
	}
	if total > MaxCopies {
		return &TooLarge{What: "number of copies", Have: float64(total), Limit: MaxCopies, Do: "split the plan into batches"}
	}
	if real == 0 {
		return invalid("every size", "a fill size", "mark at least one size as not fill")
	}
	return nil
}

func sizeName(sizes []Size, i int) string {
	if sizes[i].Name != "" {
		return sizes[i].Name
	}
	return fmt.Sprintf("size %d", i+1)
}

// usable is the sheet without its margins. Zero or less: nothing is left.
func usable(s Sheet, c Cutting) (length, width int) {
	return s.LengthMM - 2*c.MarginMM, s.WidthMM - 2*c.MarginMM
}

func checkSheet(s Sheet, c Cutting) error {
	if s.LengthMM < 1 || s.WidthMM < 1 || s.LengthMM > MaxSideMM || s.WidthMM > MaxSideMM {
		return invalid("sheet", fmt.Sprintf("%d x %d mm", s.LengthMM, s.WidthMM), fmt.Sprintf("give sides of 1 to %d mm", MaxSideMM))
	}
	if l, w := usable(s, c); l < 1 || w < 1 {
		return invalid("margin", fmt.Sprintf("%d mm", c.MarginMM), "nothing is left of the sheet; give a smaller margin")
	}
	return nil
}

// rect is one size in one direction, each side longer by one kerf: with the
// stock longer by one kerf too, kerf-free cutting of these is cutting of the
// real ones (every cut but the last of a row takes one kerf).
type rect struct {
	x, y   int
	size   int
	turned bool
}

// rects lists the directions in which each size fits on length x width (real
// millimetres). length 0 means a roll: no limit along it.
func rects(sizes []Size, use func(Size) bool, kerf, length, width int) []rect {
	fits := func(l, w int) bool { return (length == 0 || l <= length) && w <= width }
	var out []rect
	for i, s := range sizes {
		if !use(s) {
			continue
		}
		if fits(s.LengthMM, s.WidthMM) {
			out = append(out, rect{s.LengthMM + kerf, s.WidthMM + kerf, i, false})
		}
		if s.Turn && s.LengthMM != s.WidthMM && fits(s.WidthMM, s.LengthMM) {
			out = append(out, rect{s.WidthMM + kerf, s.LengthMM + kerf, i, true})
		}
	}
	return out
}

func noFit(sizes []Size, i, length, width int) error {
	s := sizes[i]
	help := !s.Turn && s.LengthMM <= width && (length == 0 || s.WidthMM <= length)
	return &NoFit{Name: sizeName(sizes, i), LengthMM: s.LengthMM, WidthMM: s.WidthMM,
		UsableLengthMM: length, UsableWidthMM: width, TurningWouldHelp: help}
}

// checkFits wants every size that is asked for to fit in some direction.
func checkFits(sizes []Size, rs []rect, length, width int, needed func(Size) bool) error {
	fit := make([]bool, len(sizes))
	for _, r := range rs {
		fit[r.size] = true
	}
	for i, s := range sizes {
		if needed(s) && !fit[i] {
			return noFit(sizes, i, length, width)
		}
	}
	return nil
}
