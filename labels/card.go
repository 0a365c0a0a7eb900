package labels

import (
	"io"
	"strings"
	"time"
)

// ActionCard is a card that is scanned before the mats it applies to.
type ActionCard struct {
	Code   string // begins with X, or with P for a person's card
	Word   string // in large letters: RINSE
	Detail string // what scanning it does
}

// ActionCards is a set of cards on plain paper, six to a page, to be laminated
// matt and cut.
type ActionCards struct {
	Cards   []ActionCard
	Letter  bool // US Letter; else A4
	Farm    string
	Created time.Time // stands in the file
	Correction
}

// The symbols stand more than 80 mm apart, so that the neighbour is not caught
// in the same view, and have modules of 1 mm to be read from a step away.
var (
	cardsA4 = Stock{Name: "cards-a4", PageW: 210, PageH: 297, LabelW: 92, LabelH: 87, Left: 11.5, Top: 13,
		PitchX: 95, PitchY: 92, Columns: 2, Rows: 3, Corner: 4, Safe: 5, Source: plainPaper}
	cardsLetter = Stock{Name: "cards-letter", PageW: 215.9, PageH: 279.4, LabelW: 92, LabelH: 84, Left: 14.45, Top: 10,
		PitchX: 95, PitchY: 87.5, Columns: 2, Rows: 3, Corner: 4, Safe: 5, Source: plainPaper}
)

const cardModule = 1.0

func (set ActionCards) stock() Stock {
	if set.Letter {
		return cardsLetter
	}
	return cardsA4
}

// WriteCards draws the cards as a PDF.
func WriteCards(w io.Writer, set ActionCards) error {
	if len(set.Cards) == 0 {
		return refused("there are no action cards to print; name at least one action")
	}
	if err := set.Correction.check(); err != nil {
		return err
	}
	stock := set.stock()
	p, err := newPaper(stock.PageW, stock.PageH, "Action cards", set.Created, true)
	if err != nil {
		return err
	}
	p.adjust(set.Correction)
	for i, card := range set.Cards {
		layout, picture, err := card.layOut(stock, set.Farm)
		if err != nil {
			return err
		}
		cell := p.cell(stock, 0, i)
		p.outline(cell, stock.Corner)
		p.drawLayout(layout, cell)
		p.pictogram(card.Word, picture.shifted(cell.X, cell.Y))
	}
	return p.write(w)
}

// layOut places a card: the word, what it does, and below a picture beside the
// symbol; without a picture the symbol stands in the middle.
func (c ActionCard) layOut(stock Stock, farm string) (out Layout, picture Box, err error) {
	code, _, err := Label{Code: c.Code, Note: c.Detail, Farm: farm, Size: c.Word}.check()
	if err != nil {
		return Layout{}, Box{}, err
	}
	if code[0] != Card && code[0] != Person {
		return Layout{}, Box{}, refused("%s is the code of a %s; a card needs one that begins with %c, or %c for a person",
			Print(code), KindName(code), Card, Person)
	}
	if strings.TrimSpace(c.Word) == "" {
		return Layout{}, Box{}, refused("the card %s has no word; people must see what it does", Print(code))
	}
	usable := levels(code)
	symbol, err := encode(code, usable[0], cardModule)
	if err != nil {
		return Layout{}, Box{}, err
	}
	panel := stock.Panels()[0]
	side := symbol.Side()
	out = Layout{Label: Box{0, 0, stock.LabelW, stock.LabelH}}
	const foot, codeSize = 4.0, 10.0
	codeTop := panel.bottom() - foot - codeHeight(1, codeSize) - 2.5
	box := Box{panel.X + (panel.W-side)/2, codeTop - side, side, side}
	if pictogramOf(c.Word) != nil {
		box.X = panel.right() - side - 3
		picture = Box{panel.X + 6, box.Y + 2, side - 4, side - 4}
	}
	out.Symbols = []PlacedSymbol{{symbol, box}}
	out.code([]string{Print(code)}, Box{box.X, codeTop, side, 0}, codeSize, true)
	out.stack(Box{panel.X, panel.bottom() - foot, panel.W, foot}, []item{
		{role: "farm", text: farm, most: 8, least: leastPoints, rows: 1}}, 0, true)
	out.stack(Box{panel.X, panel.Y, panel.W, box.Y - panel.Y}, []item{
		{role: "word", text: c.Word, bold: true, most: 40, least: 14, rows: 1},
		{role: "detail", text: c.Detail, most: 12, least: 7, rows: 3}}, 0, true)
	return out, picture, nil
}
