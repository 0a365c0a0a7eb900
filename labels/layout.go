package labels

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"

	"resow/labels/lettering"
)

// Label is what one label says. Only Code is needed.
type Label struct {
	Code    string
	Payload string // what the symbol holds; empty: the bare code
	Size    string // of the mat, in words
	Farm    string
	Note    string
	Reprint int // which reprint this is; 0: the first print
}

// Layout says where everything on one label goes, relative to its corner.
type Layout struct {
	Label   Box
	Symbols []PlacedSymbol
	Texts   []PlacedText
	// Dropped names the texts for which the label has no room.
	Dropped []string

	shortened []string // roles of texts that were dropped or cut with an ellipsis
}

// PlacedSymbol is a symbol and its place, quiet zone included.
type PlacedSymbol struct {
	Symbol Symbol
	Box    Box
}

// PlacedText is one line of text in a box that its ink and accents stay in.
type PlacedText struct {
	Role   string // code, size, farm, note or reprint
	Text   string
	Points float64
	Bold   bool
	Box    Box
	rise   float64 // from the top of the box to the base line
}

const (
	codePoints  = 14.0 // the least size of the code that is wanted beside a symbol
	leastCode   = 7.0  // on small labels
	mostCode    = 26.0
	mostAcross  = 48.0 // in a strip across the label
	leastPoints = 5.0  // of any other text
	// Beyond about 20 mm a larger symbol reads hardly better when wet.
	wantedSide = 22.0
	// The widest four characters of the alphabet in DejaVu Sans Bold, in em.
	// Sizing by them gives all labels of a sheet the same look.
	halfCode  = 3.36
	wholeCode = 2*halfCode + 0.35
	codePitch = 1.02 // from one line of a code to the next, em
	codeDrop  = 0.21 // of J in DejaVu Sans Bold below the base line, em
)

// arrangement is one way to share a panel out, before any text is set.
type arrangement struct {
	symbols []Box
	column  Box // beside or below the symbol: code first
	strip   Box // below everything; no height when there is none
	twoLine bool
	below   bool    // the code goes in the strip, across the label
	points  float64 // of the code
	center  bool
	level   level
	module  float64
}

// LayOut places a label's symbols and texts on a stock: two symbols at opposite
// ends where they fit with the code in at least 14 points between them, so that
// a cut or a stain that spoils one leaves the other; else one symbol.
func LayOut(stock Stock, label Label) (Layout, error) {
	if err := stock.Validate(); err != nil {
		return Layout{}, err
	}
	return layOut(stock, label)
}

func layOut(stock Stock, label Label) (Layout, error) {
	code, payload, err := label.check()
	if err != nil {
		return Layout{}, err
	}
	panels := stock.Panels()
	plan, ok := choose(panels, payload, stock.Dot)
	if !ok {
		return Layout{}, tooSmall(stock, payload)
	}
	symbol, err := encode(payload, plan[0].level, plan[0].module)
	if err != nil {
		return Layout{}, err
	}
	out := Layout{Label: Box{0, 0, stock.LabelW, stock.LabelH}}
	for _, a := range plan {
		for _, box := range a.symbols {
			out.Symbols = append(out.Symbols, PlacedSymbol{symbol, box})
		}
		a.write(&out, code, label)
	}
	return out, nil
}

// check gives the code and payload in their printed form.
func (l Label) check() (code, payload string, err error) {
	if code, err = Parse(l.Code); err != nil {
		return "", "", err
	}
	payload = l.Payload
	if payload == "" {
		payload = code
	}
	read, err := Read(payload)
	if err != nil {
		return "", "", err
	}
	if read != code {
		return "", "", refused("the payload %q reads as %s and not as %s; build it from the label's own code",
			payload, read, code)
	}
	return code, payload, printable(l.Size, l.Farm, l.Note)
}

// printable refuses texts that would come out as empty boxes.
func printable(texts ...string) error {
	for _, text := range texts {
		if !utf8.ValidString(text) {
			return refused("%q is not text in UTF-8; type it again or convert the file it came from", shorten(text, 40))
		}
		if missing := lettering.Missing(text); len(missing) > 0 {
			return refused("%q has characters that no built-in font has, such as %q; leave them out or "+
				"write them in other letters", shorten(text, 40), string(missing[0]))
		}
	}
	return nil
}

func tooSmall(stock Stock, payload string) error {
	usable := levels(payload)
	if len(usable) == 0 {
		return &SymbolError{Payload: payload}
	}
	smallest := usable[len(usable)-1].side() * SmallestModule
	return refused("no label of %v x %v mm can carry a symbol for %q that scans: it needs %.1f mm square with its "+
		"quiet zone, beside or above the code in print; take a larger label or the bare code as payload",
		stock.LabelW, stock.LabelH, shorten(payload, 60), math.Ceil(smallest*10)/10)
}

// choose tries, best first: the recommended module before the least, strong
// error correction before weak, two symbols before one, a large code before a
// small one, and a column beside the symbol before one below it.
func choose(panels []Box, payload string, dot float64) ([]arrangement, bool) {
	counts := []int{2, 1}
	if len(panels) > 1 {
		counts = []int{1}
	}
	usable := levels(payload)
	for _, module := range []float64{RecommendedModule, SmallestModule} {
		for _, l := range usable {
			for _, points := range []float64{codePoints, leastCode} {
				for _, count := range counts {
					if plan, ok := arrangeAll(panels, l, count, module, points, dot); ok {
						return plan, true
					}
				}
			}
		}
	}
	return nil, false
}

func arrangeAll(panels []Box, l level, count int, module, points, dot float64) ([]arrangement, bool) {
	var plan []arrangement
	for _, p := range panels {
		p = p.onDots(dot)
		a, ok := beside(p, l, count, module, points, dot)
		if !ok {
			a, ok = stacked(p, l, count, module, points, dot)
		}
		if !ok {
			return nil, false
		}
		plan = append(plan, a)
	}
	return plan, true
}

// onDots shrinks a panel to whole printer dots.
func (b Box) onDots(dot float64) Box {
	if dot == 0 {
		return b
	}
	x, y := math.Ceil(b.X/dot-1e-6)*dot, math.Ceil(b.Y/dot-1e-6)*dot
	return Box{x, y, onDot(b.right(), dot) - x, onDot(b.bottom(), dot) - y}
}

// moduleFor is the largest useful module for a symbol of at most side mm, in
// whole printer dots or steps of 0.025 mm; 0 if it falls below least.
func moduleFor(l level, side, least, dot float64) float64 {
	if dot == 0 {
		dot = 0.025
	}
	wanted := max(wantedSide/l.side(), RecommendedModule+dot/2)
	module := math.Floor(min(side/l.side(), wanted)/dot+1e-6) * dot
	if module < least-1e-9 {
		// The least module need not be a whole number of steps.
		if dot == 0.025 && side/l.side() >= least {
			return least
		}
		return 0
	}
	return module
}

// beside puts one symbol at the left, or one at either end, and the code beside.
func beside(p Box, l level, count int, least, points, dot float64) (arrangement, bool) {
	column := halfCode * mm(points)
	module := moduleFor(l, min(p.H, (p.W-column)/float64(count)), least, dot)
	if module == 0 || 2*codePitch*mm(points) > p.H {
		return arrangement{}, false
	}
	side := module * l.side()
	a := arrangement{level: l, module: module, center: count == 2}
	rest := p.H - side
	top := p.Y
	if rest >= stripLeast {
		a.strip = Box{p.X, p.Y + side + stripGap, p.W, rest - stripGap}
	} else {
		top += rest / 2
	}
	a.symbols = []Box{{p.X, onDot(top, dot), side, side}}
	a.column = Box{p.X + side, p.Y, p.W - side*float64(count), p.H}
	if a.strip.H > 0 {
		a.column.H = side
	}
	if count == 2 {
		a.symbols = append(a.symbols, Box{onDot(p.right()-side, dot), a.symbols[0].Y, side, side})
	}
	a.setCode(0.55)
	a.setBelow()
	return a, a.points >= points-1e-9
}

// setBelow moves the code into a strip that is tall enough for a much larger
// one: on a large label it is read across the room.
func (a *arrangement) setBelow() {
	points := min(mostAcross, a.strip.W/wholeCode*pointsPerMM, a.strip.H*0.55/codeHeight(1, 1))
	if points < a.points*1.3 {
		return
	}
	a.below, a.twoLine, a.points = true, false, math.Floor(points*4)/4
}

// The least height below the symbols that is worth a line of its own, and the
// gap above it, mm.
const (
	stripLeast = 3.4
	stripGap   = 0.4
)

// stacked puts the code below the symbol, or between two above each other.
func stacked(p Box, l level, count int, least, points, dot float64) (arrangement, bool) {
	lines := 1.0
	if wholeCode*mm(points) > p.W {
		lines = 2
	}
	text := lines*codePitch*mm(points) + 2*lineEm*mm(leastPoints)
	module := moduleFor(l, min(p.W, (p.H-text)/float64(count)), least, dot)
	if module == 0 {
		return arrangement{}, false
	}
	side := module * l.side()
	left := onDot(p.X+(p.W-side)/2, dot)
	a := arrangement{level: l, module: module, center: true,
		symbols: []Box{{left, onDot(p.Y, dot), side, side}},
		column:  Box{p.X, p.Y + side, p.W, p.H - side*float64(count)}}
	if count == 2 {
		a.symbols = append(a.symbols, Box{left, onDot(p.bottom()-side, dot), side, side})
	}
	a.setCode(0.7)
	return a, a.points >= points-1e-9
}

// setCode sets the code on one line or two, whichever is larger, in at most a
// share of the column's height (but 14 points if that can be had at all).
func (a *arrangement) setCode(share float64) {
	size := func(width, lines float64) float64 {
		byWidth := a.column.W / width * pointsPerMM
		byShare := a.column.H * share / (lines * codePitch) * pointsPerMM
		byHeight := a.column.H / (lines * codePitch) * pointsPerMM
		return min(byWidth, mostCode, max(byShare, min(byHeight, codePoints)))
	}
	one, two := size(wholeCode, 1), size(halfCode, 2)
	a.twoLine = two > one+2
	a.points = one
	if a.twoLine {
		a.points = two
	}
	a.points = math.Floor(a.points*4+1e-6) / 4
}

func onDot(v, dot float64) float64 {
	if dot == 0 {
		return v
	}
	return math.Floor(v/dot+1e-6) * dot
}

// item is a text that wants a place.
type item struct {
	role, text  string
	bold        bool
	most, least float64 // points
	rows        int     // at most, at the largest size
	height      float64
	set         fitted
}

func (a arrangement) write(out *Layout, code string, label Label) {
	reprint := ""
	if label.Reprint > 0 {
		reprint = fmt.Sprintf("reprint %d", label.Reprint)
	}
	column := []item{
		{role: "size", text: label.Size, bold: true, most: 10, least: 6, rows: 2},
		{role: "reprint", text: reprint, bold: true, most: 6, least: leastPoints, rows: 1},
	}
	// A tall strip takes larger type: a quarter of its height for the name.
	larger := max(1, min(1.5, a.strip.H/4/(mm(9)*lineEm)))
	others := []item{
		{role: "farm", text: label.Farm, most: 9 * larger, least: leastPoints, rows: 2},
		{role: "note", text: label.Note, most: 7 * larger, least: leastPoints, rows: 2},
	}
	if a.below {
		column[0].most = 10 * larger
		out.stack(a.column, column, 0, a.center)
		top := out.stack(a.strip, others, codeHeight(1, a.points)+0.1*mm(a.points), a.center)
		out.code([]string{Print(code)}, Box{a.strip.X, top, a.strip.W, 0}, a.points, a.center)
		return
	}
	if a.strip.H > 0 {
		out.stack(a.strip, others, 0, a.center)
	} else {
		column = append(column, others...)
	}
	lines := []string{Print(code)}
	if a.twoLine {
		lines = []string{code[:4], code[4:]}
	}
	top := out.stack(a.column, column, codeHeight(len(lines), a.points)+0.05*mm(a.points), a.center)
	out.code(lines, Box{a.column.X, top, a.column.W, 0}, a.points, a.center)
}

// codeHeight is the height of a code in a number of lines. Of its letters only
// J goes below the base line.
func codeHeight(lines int, points float64) float64 {
	return (float64(lines-1)*codePitch + capHeight + 0.02 + codeDrop) * mm(points)
}

// code places the lines of a code from the top of box down.
func (l *Layout) code(lines []string, box Box, points float64, center bool) {
	em := mm(points)
	for i, line := range lines {
		x, long := box.across(width(line, true)*em, center)
		l.Texts = append(l.Texts, PlacedText{Role: "code", Text: line, Points: points, Bold: true,
			Box:  Box{x, box.Y + float64(i)*codePitch*em, long, (capHeight + 0.02 + codeDrop) * em},
			rise: (capHeight + 0.01) * em})
	}
}

// stack sets the items below a reserved height in box, the whole lot centred
// from top to bottom, and gives back where the reserved part begins. Items for
// which even the smallest type has no room are dropped.
func (l *Layout) stack(box Box, items []item, reserved float64, center bool) float64 {
	items = l.setItems(items, box.W, box.H-reserved)
	total := reserved
	for _, it := range items {
		total += it.set.height()
	}
	top := box.Y + max(0, (box.H-total)/2)
	y := top + reserved
	for _, it := range items {
		em := mm(it.set.points)
		for _, line := range it.set.lines {
			x, long := box.across(width(line, it.bold)*em, center)
			l.Texts = append(l.Texts, PlacedText{Role: it.role, Text: line, Points: it.set.points, Bold: it.bold,
				Box: Box{x, y, long, lineEm * em}, rise: ascent * em})
			y += lineEm * em
		}
	}
	return top
}

// setItems shares height out: every item in turn gets what its text needs in the
// smallest type, and then what is left up to what it can use.
func (l *Layout) setItems(items []item, width, height float64) []item {
	var kept []item
	for _, it := range items {
		if strings.TrimSpace(it.text) == "" {
			continue
		}
		need := min(height, float64(it.rows)*(lineEm*mm(it.least)+1e-6))
		it.set = fit(it.bold, it.text, width, need, it.least, it.least)
		if it.set.cut {
			l.shortened = append(l.shortened, it.role)
		}
		if len(it.set.lines) == 0 {
			l.Dropped = append(l.Dropped, it.role)
			continue
		}
		it.height = it.set.height() + 1e-6
		height -= it.height
		kept = append(kept, it)
	}
	for i := range kept {
		it := &kept[i]
		extra := min(height, float64(it.rows)*lineEm*mm(it.most)-it.height)
		it.set = fit(it.bold, it.text, width, it.height+max(0, extra), it.most, it.least)
		height -= max(0, it.set.height()-it.height)
	}
	return kept
}
