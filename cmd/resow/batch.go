package main

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/medium/sanitizer"
)

// batchJob holds the flags of batch.
type batchJob struct {
	within         time.Duration
	product, sides string
	setup          sanitizer.BenchSetup
	dipMats        int
}

// batchLine is a product's line with the command that makes its solution.
type batchLine struct {
	farm.BatchLine
	Mix string `json:"mix,omitempty"`
	Why string `json:"why_no_mix,omitempty"`
}

func (a *app) batchCommand(c *cobra.Command) {
	var b batchJob
	parse := func(read func(string) (float64, error)) func(_, text string) (float64, error) {
		return func(_, text string) (float64, error) { return read(text) }
	}
	flags := c.Flags()
	readAs(c, &b.within, "within", "within", amount.Span, "also mats whose sanitizing lapses this soon")
	usually(c, "within", "24h")
	flags.StringVar(&b.product, "product", "", "one product for all of them")
	flags.StringVar(&b.sides, "sides", "both", "both or one")
	readAs(c, &b.setup.SprayMLPerM2, "spray", "spray rate", sprayRate, "solution sprayed on each side")
	usually(c, "spray", "200mL/m2")
	readAs(c, &b.setup.DipML, "dip", "", parse(sanitizer.ParseVolume), "or a bath of this volume: 8L")
	flags.IntVar(&b.dipMats, "dip-mats", 4, "mats that the bath holds at once")
	readAs(c, &b.setup.MarginPercent, "margin", "margin", amount.Percent, "more than is needed")
	usually(c, "margin", "10%")
	readAs(c, &b.setup.BottleML, "bottle", "", parse(sanitizer.ParseVolume), "what a spray bottle holds")
	usually(c, "bottle", "750mL")
	readAs(c, &b.setup.HandlingS, "handling", "handling time", seconds, "hands-on time for each mat")
	usually(c, "handling", "30s")
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers()))
	oneOf(c, "sides", "both", "one")
	c.ValidArgsFunction = a.completeCodes
	c.RunE = a.reads(func(f *farm.Farm, args []string) error { return a.batch(f, b, args) })
}

// sprayRate reads a volume for a square meter of one side, in mL.
func sprayRate(what, text string) (float64, error) {
	rate, unit, ok := strings.Cut(text, "/")
	ml, err := sanitizer.ParseVolume(rate)
	if err != nil || !ok || strings.TrimSpace(unit) != "m2" {
		return 0, &amount.Error{What: what, Input: text, Want: "a volume for a square meter of one side: 200mL/m2"}
	}
	return ml, nil
}

func (a *app) batch(f *farm.Farm, job batchJob, args []string) error {
	if job.setup.DipML > 0 {
		job.setup.DipMats = job.dipMats
	}
	mats, err := a.batchMats(f, job, args)
	if err != nil {
		return err
	}
	areas, err := job.areas(f, mats)
	if err != nil {
		return err
	}
	groups, err := sanitizer.Tonight(areas, job.setup)
	if err != nil {
		return err
	}
	doc := struct {
		Lines    []batchLine         `json:"lines"`
		Cautions []sanitizer.Caution `json:"cautions"`
	}{Lines: []batchLine{}, Cautions: []sanitizer.Caution{}}
	seen := map[string]bool{}
	for _, g := range groups {
		var line batchLine
		var cautions []sanitizer.Caution
		line.BatchLine, cautions, line.Why = f.BatchPlan(g)
		switch {
		case line.Product == "":
			line.Why = "which product? give --product, or add one with `resow sanitizer add`"
		case line.Make != "":
			line.Mix = fmt.Sprintf("resow mix --product %s --make %s --bottle", strconv.Quote(line.Product), line.Make)
		}
		doc.Lines = append(doc.Lines, line)
		for _, c := range cautions {
			if !seen[c.Code] {
				doc.Cautions = append(doc.Cautions, c)
				seen[c.Code] = true
			}
		}
	}
	return a.Print(doc, func(w io.Writer) {
		if len(doc.Lines) == 0 {
			fmt.Fprintln(w, "No mat is waiting to be sanitized.")
			return
		}
		for _, line := range doc.Lines {
			printBatch(w, f, line)
		}
		if len(doc.Cautions) > 0 {
			printCautions(w, doc.Cautions)
		}
	})
}

// batchMats gives the mats that wait to be sanitized, or those named.
func (a *app) batchMats(f *farm.Farm, job batchJob, args []string) ([]medium.Condition, error) {
	var mats []medium.Condition
	if len(args) > 0 {
		codes, err := a.findAll(f, args, medium.KindSanitize)
		for _, code := range codes {
			c, err := f.Condition(code)
			if err != nil {
				return nil, err
			}
			mats = append(mats, c)
		}
		return mats, err
	}
	var err error
	until := f.Now().Add(job.within)
	for c := range f.EachMat(&err) {
		if c.Stage == medium.ToSanitize || c.Stage == medium.Ready && f.Lapses(c, until) {
			mats = append(mats, c)
		}
	}
	return mats, err
}

func (j batchJob) areas(f *farm.Farm, mats []medium.Condition) ([]sanitizer.MatArea, error) {
	sides := 2
	switch j.sides {
	case "both":
	case "one":
		sides = 1
	default:
		return nil, &medium.InputError{Field: "sides", Value: j.sides, Want: "both or one"}
	}
	if j.product != "" {
		if _, err := f.Product(j.product); err != nil {
			return nil, err
		}
	}
	areas := make([]sanitizer.MatArea, len(mats))
	for i, c := range mats {
		d := f.ProductFor(c, j.product)
		areas[i] = sanitizer.MatArea{Code: string(c.Code), Product: d.Name, AreaM2: c.Mat.AreaM2(), Sides: sides,
			ContactS: float64(d.ContactS)}
	}
	return areas, nil
}

func printBatch(w io.Writer, f *farm.Farm, l batchLine) {
	name := l.Product
	if name == "" {
		name = "No product known"
	}
	ui.Say(w, "%s: %s, %.2f m2 to wet, %s of solution, %s, about %.0f min", name, ui.Counted(len(l.Mats), "mat"), l.AreaM2,
		f.Volume(l.MakeML), ui.Counted(l.Bottles, "bottle"), math.Ceil(l.Minutes))
	codes := make([]string, len(l.Mats))
	for i, c := range l.Mats {
		codes[i] = medium.Code(c).String()
	}
	ui.Say(w, "%s", "  "+strings.Join(codes, ", "))
	if l.Why != "" {
		ui.Item(w, "  ! ", l.Why)
		return
	}
	stock := f.Volume(l.StockML)
	if l.StockG > 0 {
		stock = farm.Digits(l.StockG, 3) + " g"
	}
	fmt.Fprintf(w, "  %g ppm: %s of stock, %s of water; each side wet for %s\n", l.StrengthPPM, stock, f.Volume(l.WaterML),
		medium.Seconds(l.ContactS))
	fmt.Fprintf(w, "  %s\n", l.Mix)
}
