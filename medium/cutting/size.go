package cutting

import (
	"cmp"
	"fmt"
	"slices"
)

// Bounds on what one plan may ask for. They keep time and memory finite for
// absurd input; each is far above what a farm cuts.
const (
	MaxSideMM = 100_000 // longest side of stock, mm
	MaxSizes  = 60      // different sizes in one plan
	MaxCopies = 5_000   // wanted copies of all sizes together
	maxPieces = 20_000  // pieces in one pattern
	maxCells  = 1 << 22 // states of one dynamic program
	// DefaultSteps bounds the work of one plan where a caller says 0: about one
	// second on a small computer. It counts elementary comparisons, not time, so
	// that a plan is the same on every machine.
	DefaultSteps = 400_000_000
)

// Sheet is a piece of mesh stock, in whole millimetres. Its length runs along
// the mesh direction (along the roll it came from).
type Sheet struct {
	LengthMM, WidthMM int
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
	// area in square millimetres, which is what fill sizes always count by.
	Value int
	// Count is the most copies that BestSheet may cut (0: no limit), and the
	// copies wanted by FewestSheets and ShortestRoll.
	Count int
	// Fill marks a small tray that is cut only from what the other sizes
	// leave: it never displaces one of them.
	Fill bool
}

// budget is what is left of the steps of a plan, or of a part of them.
type budget struct {
	left int
	of   *budget
}

func (b *budget) spend(n int) bool {
	if n > b.left {
		return false
	}
	for ; b != nil; b = b.of {
		b.left -= n
	}
	return true
}

// part is a smaller budget; what it spends is spent of the whole too.
func (b *budget) part(n int) *budget { return &budget{min(n, b.left), b} }

// rect is one size in one direction, each side longer by one kerf: with the
// stock longer by one kerf too, kerf-free cutting of these is cutting of the
// real ones (every cut but the last of a row takes one kerf).
type rect struct {
	x, y   int
	size   int
	turned bool
}

func (r rect) area() int { return r.x * r.y }

func (r rect) length() int { return r.x }

func (r rect) width() int { return r.y }

// job is the work on one plan. x and y are the usable stock with one kerf
// added; the length of a roll is not limited, and x is 0.
type job struct {
	stock   Sheet
	sizes   []Size
	cutting Cutting
	x, y    int
	rects   []rect // the directions in which each size fits
	area    []int  // by size, kerf included; 0 where it does not fit
	wanted  []int  // the sizes that are not fill
	want    copies // of these
	any     copies // of these, without a limit
	most    copies // of all sizes
	budget  *budget
}

// newJob checks what is asked. Counted wants a count of every size that is not
// fill, and that it fits.
func newJob(stock Sheet, roll, counted bool, sizes []Size, c Cutting, steps int) (*job, error) {
	if err := check(stock, roll, counted, sizes, c); err != nil {
		return nil, err
	}
	j := &job{stock: stock, sizes: sizes, cutting: c, y: stock.WidthMM + c.KerfMM - 2*c.MarginMM,
		area: make([]int, len(sizes)), budget: &budget{left: cmp.Or(steps, DefaultSteps)}}
	if !roll {
		j.x = stock.LengthMM + c.KerfMM - 2*c.MarginMM
	}
	for i, s := range sizes {
		r := rect{s.LengthMM + c.KerfMM, s.WidthMM + c.KerfMM, i, false}
		for _, r := range []rect{r, {r.y, r.x, i, true}} {
			if (!r.turned || s.Turn && r.x != r.y) && (roll || r.x <= j.x) && r.y <= j.y {
				j.rects, j.area[i] = append(j.rects, r), r.area()
			}
		}
		j.most[i] = int16(cmp.Or(s.Count, maxPieces))
		if !s.Fill {
			j.wanted = append(j.wanted, i)
			j.want[i], j.any[i] = int16(s.Count), maxPieces
		}
	}
	for i, s := range sizes {
		if len(j.rects) == 0 || counted && !s.Fill && j.area[i] == 0 {
			return nil, j.noFit(s)
		}
	}
	for _, r := range j.rects {
		if pieces := j.x * j.y / r.area(); pieces > maxPieces {
			return nil, tooLarge("number of mats that the stock could hold", pieces, maxPieces,
				"cut the stock into smaller sheets first, or leave out the smallest size")
		}
	}
	return j, nil
}

// noFit says that a size can't be cut from the stock in any allowed direction.
func (j *job) noFit(s Size) error {
	length, width := j.x-j.cutting.KerfMM, j.y-j.cutting.KerfMM
	stock, do := fmt.Sprintf("%d x %d mm", length, width), "use larger stock, a smaller margin or a smaller mat"
	if j.x == 0 {
		stock = fmt.Sprintf("a roll %d mm wide", width)
	}
	if !s.Turn && s.LengthMM <= width && (j.x == 0 || s.WidthMM <= length) {
		do = "allow this size to be turned by 90 degrees (the mesh direction then runs across the mat), or use larger stock"
	}
	fault := fmt.Sprintf("%s (%d x %d mm) does not fit on %s of usable mesh", s.Name, s.LengthMM, s.WidthMM, stock)
	return &Invalid{Fault: fault, Do: do}
}

func check(stock Sheet, roll, counted bool, sizes []Size, c Cutting) error {
	err := cmp.Or(inRange("kerf", c.KerfMM, 0, MaxSideMM, " mm"), inRange("margin", c.MarginMM, 0, MaxSideMM, " mm"),
		inRange("smallest remnant to keep", c.KeepMM, 0, MaxSideMM, " mm"),
		inRange("number of sizes", len(sizes), 1, MaxSizes, ""))
	total := 0
	for _, s := range sizes {
		err = cmp.Or(err, s.check(counted))
		total += s.Count
	}
	name, side := "sheet", min(stock.LengthMM, stock.WidthMM)
	if roll {
		name, side = "roll", stock.WidthMM
		err = cmp.Or(err, inRange("width of the roll", side, 1, MaxSideMM, " mm"))
	} else {
		err = cmp.Or(err, checkSides(name, stock))
	}
	switch {
	case err != nil:
		return err
	case total > MaxCopies:
		return tooLarge("number of copies", total, MaxCopies, "split the plan into batches")
	case !slices.ContainsFunc(sizes, func(s Size) bool { return !s.Fill }):
		return invalid("every size", "a fill size", "mark at least one size as not fill")
	case c.MarginMM > 0 && c.MarginMM < c.KerfMM:
		return invalid("margin", mm(c.MarginMM),
			"the cut along the margin alone takes the kerf of "+mm(c.KerfMM)+"; give 0 or at least the kerf")
	case side <= 2*c.MarginMM:
		return invalid("margin", mm(c.MarginMM), "nothing is left of the "+name+"; give a smaller margin")
	}
	return nil
}

func (s Size) check(counted bool) error {
	if counted && !s.Fill && s.Count == 0 {
		return invalid("count of "+s.Name, s.Count, "say how many are wanted, or leave the size out")
	}
	return cmp.Or(checkSides(s.Name, Sheet{s.LengthMM, s.WidthMM}), inRange("count of "+s.Name, s.Count, 0, MaxCopies, ""),
		inRange("value of "+s.Name, s.Value, 0, 1<<40, ""))
}

func inRange(what string, v, low, high int, unit string) error {
	if v < low || v > high {
		return invalid(what, fmt.Sprint(v, unit), fmt.Sprintf("give %d to %d%s", low, high, unit))
	}
	return nil
}

func checkSides(what string, s Sheet) error {
	if min(s.LengthMM, s.WidthMM) < 1 || max(s.LengthMM, s.WidthMM) > MaxSideMM {
		return invalid(what, fmt.Sprintf("%d x %d mm", s.LengthMM, s.WidthMM), "give sides of 1 to "+mm(MaxSideMM))
	}
	return nil
}

func mm(v int) string { return fmt.Sprintf("%d mm", v) }
