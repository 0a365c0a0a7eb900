package labels

import (
	"io"
	"math"
	"slices"
	"strings"
	"time"
)

// BottleTag is what hangs on a bottle of mixed solution. Times are texts, as
// the farm writes them. Code and Product are needed.
type BottleTag struct {
	Code      string
	Payload   string // what the symbol holds; empty: the bare code
	Product   string
	Active    string // active ingredient
	Strength  string
	Use       string // the directions' contact time and rinse; left out whole where it has no room
	MadeAt    string
	GoodUntil string
	MadeBy    string
	Farm      string
	Cautions  []string
}

// BottleTags is a print run of tags on a stock with large labels, such as
// roll-100x60 (one tag a page), a4-8 or letter-8.
type BottleTags struct {
	Stock   Stock
	Tags    []BottleTag
	Skip    int       // labels already used up on the first page
	Created time.Time // stands in the file
	Correction
}

// The type sizes of a tag, in points. What must be read at arm's length is
// 11 points or more (common practice, no source).
const (
	leastCaution = 6.5
	bottleSide   = 26.0 // of the symbol, mm
)

// WriteBottleTags draws the tags as a PDF. A tag whose cautions do not all fit
// in full is refused with a *PrintError.
func WriteBottleTags(w io.Writer, run BottleTags) error {
	if err := run.Stock.Validate(); err != nil {
		return err
	}
	if len(run.Tags) == 0 {
		return refused("there are no bottle tags to print; name at least one solution")
	}
	if err := run.Stock.checkSkip(run.Skip); err != nil {
		return err
	}
	if err := run.Correction.check(); err != nil {
		return err
	}
	p, err := newPaper(run.Stock.PageW, run.Stock.PageH, "Solution tags", run.Created, true)
	if err != nil {
		return err
	}
	p.adjust(run.Correction)
	for i, tag := range run.Tags {
		layout, ruleAt, err := tag.layOut(run.Stock)
		if err != nil {
			return err
		}
		cell := p.cell(run.Stock, run.Skip, i)
		run.Stock.drawTag(p, cell, run.Stock.PerPage() > 1)
		p.drawLayout(layout, cell)
		if ruleAt > 0 {
			panel := run.Stock.Panels()[0].shifted(cell.X, cell.Y)
			p.line(panel.X, cell.Y+ruleAt, panel.right(), cell.Y+ruleAt, 0.3)
		}
	}
	return p.write(w)
}

// layOut places a tag: product, strength and dates at the left, the symbol and
// the code at the right, the cautions below a rule, which is ruleAt from the
// label's top (0: no cautions).
func (t BottleTag) layOut(stock Stock) (out Layout, ruleAt float64, err error) {
	code, payload, err := t.check()
	if err != nil {
		return Layout{}, 0, err
	}
	panel := stock.Panels()[0]
	out = Layout{Label: Box{0, 0, stock.LabelW, stock.LabelH}}
	side := min(bottleSide, panel.W*0.32, panel.H*0.5)
	symbol, err := NewSymbol(payload, side)
	if err != nil {
		return Layout{}, 0, err
	}
	if stock.Dot > 0 {
		symbol.Module = math.Floor(symbol.Module/stock.Dot+1e-6) * stock.Dot
		side = symbol.Side()
	}
	out.Symbols = []PlacedSymbol{{symbol, Box{panel.right() - side, panel.Y, side, side}}}

	points := min(17, side/halfCode*pointsPerMM)
	out.code([]string{code[:4], code[4:]}, Box{panel.right() - side, panel.Y + side, side, 0}, points, true)
	head := side + codeHeight(2, points) + 0.3

	cautions := t.cautionItems()
	if len(cautions) > 0 {
		used := out.stackTop(Box{panel.X, panel.Y + head + 1, panel.W, panel.H - head - 1}, cautions)
		// What the cautions leave over goes to the head.
		spare := panel.H - head - 1 - used
		out.moveDown("caution", spare)
		head += spare
		ruleAt = panel.Y + head
	} else {
		head = panel.H
	}
	out.stack(Box{panel.X, panel.Y, panel.W - side - 1, head - 0.5}, t.headItems(), 0, false)
	if t.Use != "" && len(out.shortened) > 0 { // half of it could be misread, and the others come first
		t.Use = ""
		return t.layOut(stock)
	}
	for _, role := range []string{"product", "strength", "good until", "caution"} {
		if slices.Contains(out.shortened, role) {
			return Layout{}, 0, refused("the %s of %q does not fit in full on %v x %v mm; take a larger tag or say it shorter",
				role, t.Product, stock.LabelW, stock.LabelH)
		}
	}
	return out, ruleAt, nil
}

func (t BottleTag) check() (code, payload string, err error) {
	code, payload, err = Label{Code: t.Code, Payload: t.Payload}.check()
	if err != nil {
		return "", "", err
	}
	if code[0] != Bottle {
		return "", "", refused("%s is the code of a %s; a bottle tag needs one that begins with %c", Print(code),
			KindName(code), Bottle)
	}
	if strings.TrimSpace(t.Product) == "" {
		return "", "", refused("a bottle tag without the product's name would be dangerous; give the name")
	}
	texts := []string{t.Product, t.Active, t.Strength, t.Use, t.MadeAt, t.GoodUntil, t.MadeBy, t.Farm}
	return code, payload, printable(append(texts, t.Cautions...)...)
}

func (t BottleTag) headItems() []item {
	made := strings.TrimSpace(prefixed("Made ", t.MadeAt) + " " + prefixed("by ", t.MadeBy))
	return []item{
		{role: "product", text: t.Product, bold: true, most: 22, least: 11, rows: 2},
		{role: "strength", text: t.Strength, bold: true, most: 20, least: 11, rows: 1},
		{role: "use", text: t.Use, bold: true, most: 12, least: 8, rows: 2},
		{role: "good until", text: prefixed("Good until ", t.GoodUntil), bold: true, most: 13, least: 9, rows: 2},
		{role: "active", text: t.Active, most: 11, least: 7, rows: 2},
		{role: "made", text: made, most: 11, least: 7, rows: 2},
		{role: "farm", text: t.Farm, most: 8, least: leastPoints, rows: 1},
	}
}

func (t BottleTag) cautionItems() []item {
	var items []item
	for _, c := range t.Cautions {
		if strings.TrimSpace(c) != "" {
			items = append(items, item{role: "caution", text: "\u26a0 " + c, bold: true, most: 9, least: leastCaution, rows: 3})
		}
	}
	return items
}

func prefixed(before, text string) string {
	if strings.TrimSpace(text) == "" {
		return ""
	}
	return before + text
}

// stackTop is stack from the top of the box down; it gives the height used.
func (l *Layout) stackTop(box Box, items []item) float64 {
	before := len(l.Texts)
	l.stack(box, items, 0, false)
	used := 0.0
	for _, t := range l.Texts[before:] {
		used += t.Box.H
	}
	lift := box.Y
	if len(l.Texts) > before {
		lift = l.Texts[before].Box.Y
	}
	for i := before; i < len(l.Texts); i++ {
		l.Texts[i].Box.Y -= lift - box.Y
	}
	return used
}

func (l *Layout) moveDown(role string, by float64) {
	for i := range l.Texts {
		if l.Texts[i].Role == role {
			l.Texts[i].Box.Y += by
		}
	}
}
