package labels

import (
	"io"
	"net/url"
	"time"

	"resow/labels/lettering"
)

// DoorSign is a page that takes a phone to the farm's station.
type DoorSign struct {
	Address string // http or https
	Title   string
	Lines   []string
	Letter  bool      // US Letter; else A4
	Created time.Time // stands in the file
}

// WriteDoorSign draws the sign as a PDF.
func WriteDoorSign(w io.Writer, sign DoorSign) error {
	u, err := url.Parse(sign.Address)
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
		return refused("a door sign needs the station's web address, such as http://192.168.1.10:8080; got \"%s\"",
			shorten(sign.Address, 60))
	}
	if err := printable(append([]string{sign.Title, sign.Address}, sign.Lines...)...); err != nil {
		return err
	}
	page := lettering.PageSize(sign.Letter)
	width, height := page.Wd, page.Ht
	const side, margin = 120.0, 20.0
	symbol, err := NewSymbol(sign.Address, side)
	if err != nil {
		return err
	}
	p, err := newPaper(width, height, "Door sign", sign.Created, true)
	if err != nil {
		return err
	}
	p.addPage()
	p.textIn(Box{margin, 22, width - 2*margin, 34}, sign.Title, true, 44, true)
	box := Box{(width - side) / 2, 62, side, side}
	p.symbol(symbol, box)
	y := box.bottom() + 2
	y += p.textIn(Box{margin, y, width - 2*margin, 14}, sign.Address, true, 20, true) + 6
	for _, line := range sign.Lines {
		y += p.paragraph(Box{margin, y, width - 2*margin, max(0, height-margin-y)}, line, false, 16, true) + 2
	}
	return p.write(w)
}
