package main

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels/report"
	"resow/medium/cutting"
)

// cutFlags are the flags of the cutplan command as they were typed.
type cutFlags struct {
	sheet, roll, kerf, margin, keep, out string
	sizes, fill                          []string
	oneWay                               bool
}

func (a *app) cutplanCommand(c *cobra.Command) {
	var p cutFlags
	c.RunE = func(*cobra.Command, []string) error {
		return a.maybeFarm(func(_ *farm.Farm, origin report.Origin) error { return a.cutplan(origin, p) })
	}
	flags := c.Flags()
	flags.StringVar(&p.sheet, "sheet", "", "stock in sheets: length along the mesh x width: 2000x1000mm")
	flags.StringVar(&p.roll, "roll", "", "stock on a roll: its width: 1000mm")
	flags.StringArrayVar(&p.sizes, "size", nil, "a mat size with the number wanted: 510x250mm=24")
	flags.StringArrayVar(&p.fill, "fill", nil, "a small size to be cut from what is left: 250x125mm")
	flags.StringVar(&p.kerf, "kerf", "0mm", "what each cut takes: 0mm for scissors, 2mm for a hot knife")
	flags.StringVar(&p.margin, "margin", "0mm", "to take off every edge of a sheet, and off both long edges of a roll")
	flags.StringVar(&p.keep, "keep", "100mm", "remnants whose shorter side has at least this are worth keeping")
	flags.BoolVar(&p.oneWay, "one-way", false, "the mesh must run one way: no mat is turned")
	flags.StringVar(&p.out, "out", "", "file to write: .pdf (drawn to scale), .html or .csv")
}

// wholeMM reads a length to the millimetre.
func wholeMM(what, text string) (int, error) {
	v, err := amount.Length(what, text)
	return int(math.Round(v)), err
}

func (p cutFlags) size(text string, fill bool) (cutting.Size, error) {
	dims, count, given := strings.Cut(text, "=")
	length, width, err := amount.Size("--size", dims)
	if err != nil {
		return cutting.Size{}, err
	}
	s := cutting.Size{LengthMM: int(math.Round(length)), WidthMM: int(math.Round(width)), Turn: !p.oneWay, Fill: fill}
	s.Name = fmt.Sprintf("%d x %d", s.LengthMM, s.WidthMM)
	if given {
		if s.Count, err = strconv.Atoi(count); err != nil || s.Count < 1 {
			return s, &amount.Error{What: "--size", Input: text, Want: "a size with the number wanted: 510x250mm=24"}
		}
	}
	return s, nil
}

func (p cutFlags) read() (sizes []cutting.Size, knife cutting.Cutting, err error) {
	for _, text := range p.sizes {
		s, err := p.size(text, false)
		if err != nil {
			return nil, knife, err
		}
		sizes = append(sizes, s)
	}
	for _, text := range p.fill {
		s, err := p.size(text, true)
		if err != nil {
			return nil, knife, err
		}
		sizes = append(sizes, s)
	}
	if len(p.sizes) == 0 || (p.sheet == "") == (p.roll == "") {
		return nil, knife,
			ui.Wrong("give the stock, --sheet 2000x1000mm or --roll 1000mm, and at least one --size 510x250mm=24")
	}
	for _, o := range []struct {
		to         *int
		flag, text string
	}{{&knife.KerfMM, "--kerf", p.kerf}, {&knife.MarginMM, "--margin", p.margin}, {&knife.KeepMM, "--keep", p.keep}} {
		if *o.to, err = wholeMM(o.flag, o.text); err != nil {
			return nil, knife, err
		}
	}
	if knife.KerfMM > maxKerfMM {
		return nil, knife, &amount.Error{What: "--kerf", Input: p.kerf,
			Want: fmt.Sprintf("what one cut takes away, at most %d mm", maxKerfMM)}
	}
	return sizes, knife, nil
}

// maxKerfMM is far over what a knife, a saw or a jet takes from mesh (common
// practice, no source): more is a slip of the unit.
const maxKerfMM = 20

func (a *app) cutplan(origin report.Origin, p cutFlags) error {
	sizes, knife, err := p.read()
	if err != nil {
		return err
	}
	in := report.CuttingInput{Origin: origin, Sizes: sizes}
	if p.roll != "" {
		width, wrong := wholeMM("--roll", p.roll)
		if wrong != nil {
			return wrong
		}
		in.Roll, err = cutting.ShortestRoll(width, sizes, knife, 0)
	} else {
		length, width, wrong := amount.Size("--sheet", p.sheet)
		if wrong != nil {
			return wrong
		}
		sheet := cutting.Sheet{LengthMM: int(math.Round(length)), WidthMM: int(math.Round(width))}
		if allCounted(sizes) {
			in.Sheets, err = cutting.FewestSheets(sheet, sizes, knife, 0)
		} else {
			in.Best, err = cutting.BestSheet(sheet, sizes, knife, 0)
		}
	}
	if err != nil {
		return err
	}
	return a.paper(p.out, report.Cutting(in))
}

func allCounted(sizes []cutting.Size) bool {
	for _, s := range sizes {
		if !s.Fill && s.Count == 0 {
			return false
		}
	}
	return true
}
