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
	"resow/medium"
	"resow/medium/sanitizer"
)

// batchJob holds the flags of batch.
type batchJob struct {
	within, product, sides             string
	spray, dip, bottle, margin, handle string
	dipMats                            int
}

// batchLine is one product of tonight's work.
type batchLine struct {
	sanitizer.BatchLine
	ContactS    int     `json:"contact_s"`
	StrengthPPM float64 `json:"strength_ppm,omitempty"`
	StockML     float64 `json:"stock_ml,omitempty"`
	StockG      float64 `json:"stock_g,omitempty"`
	WaterML     float64 `json:"water_ml,omitempty"`
	Mix         string  `json:"mix,omitempty"` // the command that makes it
	Why         string  `json:"why_no_mix,omitempty"`
}

func (a *app) batchCommand() *cobra.Command {
	var b batchJob
	c := &cobra.Command{
		Use: "batch [CODE...]", Short: "Plan tonight's sanitizing: which product, how much, how long",
		Long: `Batch takes the mats that wait to be sanitized, and those whose sanitizing lapses
within the time given, and says for each product how much solution to make, how
many spray bottles that fills and how long the work takes. A mat gets the product
that it was last sanitized with, or --product.

The spray rate, the margin and the handling time are assumptions (common
practice, no source): weigh a bottle before and after ten mats and give your own.`,
		Example: `  resow batch
  resow batch --within 24h --product "blue drum" --spray 150mL/m2 --bottle 750mL
  resow batch --dip 8L --dip-mats 6`,
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(true, func(f *farm) error { return a.batch(f, b, args) })
		},
	}
	flags := c.Flags()
	flags.StringVar(&b.within, "within", "24h", "also mats whose sanitizing lapses this soon")
	flags.StringVar(&b.product, "product", "", "one product for all of them")
	flags.StringVar(&b.sides, "sides", "both", "both or one")
	flags.StringVar(&b.spray, "spray", "200mL/m2", "solution sprayed on each side")
	flags.StringVar(&b.dip, "dip", "", "or a bath of this volume: 8L")
	flags.IntVar(&b.dipMats, "dip-mats", 4, "mats that the bath holds at once")
	flags.StringVar(&b.margin, "margin", "10%", "more than is needed")
	flags.StringVar(&b.bottle, "bottle", "750mL", "what a spray bottle holds")
	flags.StringVar(&b.handle, "handling", "30s", "hands-on time for each mat")
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers))
	must(c.RegisterFlagCompletionFunc("sides", fixedWords("both", "one")))
	return c
}

func (a *app) batch(f *farm, job batchJob, args []string) error {
	setup, err := job.setup()
	if err != nil {
		return err
	}
	mats, err := a.batchMats(f, job, args)
	if err != nil {
		return err
	}
	areas, err := job.areas(f, mats)
	if err != nil {
		return err
	}
	groups, err := sanitizer.Tonight(areas, setup)
	if err != nil {
		return err
	}
	doc := struct {
		Lines    []batchLine         `json:"lines"`
		Cautions []sanitizer.Caution `json:"cautions"`
	}{Lines: []batchLine{}, Cautions: []sanitizer.Caution{}}
	seen := map[string]bool{}
	for _, g := range groups {
		line, cautions := f.plan(g)
		doc.Lines = append(doc.Lines, line)
		for _, c := range cautions {
			if !seen[c.Code] {
				doc.Cautions = append(doc.Cautions, c)
				seen[c.Code] = true
			}
		}
	}
	return a.print(doc, func(w io.Writer) {
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

func (j batchJob) setup() (s sanitizer.BenchSetup, err error) {
	rate, unit, ok := strings.Cut(j.spray, "/")
	ml, err := sanitizer.ParseVolume(rate)
	if err != nil || !ok || strings.TrimSpace(unit) != "m2" {
		return s, &amount.Error{What: "spray rate", Input: j.spray, Want: "a volume for a square meter of one side: 200mL/m2"}
	}
	s.SprayMLPerM2 = ml
	if j.dip != "" {
		if s.DipML, err = sanitizer.ParseVolume(j.dip); err != nil {
			return s, err
		}
		s.DipMats = j.dipMats
	}
	if s.BottleML, err = sanitizer.ParseVolume(j.bottle); err != nil {
		return s, err
	}
	if s.MarginPercent, err = amount.Percent("margin", j.margin); err != nil {
		return s, err
	}
	handling, err := amount.Span("handling time", j.handle)
	s.HandlingS = handling.Seconds()
	return s, err
}

// batchMats gives the mats that wait to be sanitized, or those named.
func (a *app) batchMats(f *farm, job batchJob, args []string) ([]medium.Condition, error) {
	var mats []medium.Condition
	if len(args) > 0 {
		codes, err := a.findAll(f, args)
		for _, code := range codes {
			c, err := f.Condition(code)
			if err != nil {
				return nil, err
			}
			mats = append(mats, c)
		}
		return mats, err
	}
	ahead, err := amount.Span("within", job.within)
	if err != nil {
		return nil, err
	}
	until := f.now(a).Add(ahead)
	err = f.Conditions(func(c medium.Condition) error {
		if c.Stage == medium.ToSanitize || c.Stage == medium.Ready && f.lapses(c, until) {
			mats = append(mats, c)
		}
		return nil
	})
	return mats, err
}

// lapses says whether a ready mat is to be sanitized again by a time.
func (f *farm) lapses(c medium.Condition, until time.Time) bool {
	work, ok := medium.WorkOn(c, f.Farm, f.loc)
	if !ok {
		return false
	}
	for _, d := range work.Dues {
		if d.Step == medium.KindSanitize && !d.At.After(until) {
			return true
		}
	}
	return false
}

func (j batchJob) areas(f *farm, mats []medium.Condition) ([]sanitizer.MatArea, error) {
	sides := 2
	switch j.sides {
	case "both":
	case "one":
		sides = 1
	default:
		return nil, &medium.InputError{Field: "sides", Value: j.sides, Want: "both or one"}
	}
	if j.product != "" {
		if _, err := f.product(j.product); err != nil {
			return nil, err
		}
	}
	areas := make([]sanitizer.MatArea, len(mats))
	for i, c := range mats {
		d := f.productFor(c, j.product)
		areas[i] = sanitizer.MatArea{Code: string(c.Code), Product: d.Name, AreaM2: c.Mat.AreaM2(), Sides: sides, ContactS: float64(d.ContactS)}
	}
	return areas, nil
}

// productFor is the product named, the one that the mat had last, or the only
// one with a label's directions.
func (f *farm) productFor(c medium.Condition, name string) medium.Sanitizer {
	if name == "" && c.Sanitized != nil {
		name = c.Sanitized.Product
	}
	if d, ok := f.Sanitizer(name, ""); ok && name != "" {
		return d
	}
	var only []medium.Sanitizer
	for _, d := range f.Sanitizers {
		if d.Directions == medium.DirectionsLabel {
			only = append(only, d)
		}
	}
	if len(only) == 1 {
		return only[0]
	}
	return medium.Sanitizer{}
}

// plan adds the recipe to a product's line.
func (f *farm) plan(g sanitizer.BatchLine) (batchLine, []sanitizer.Caution) {
	line := batchLine{BatchLine: g}
	d, ok := f.Sanitizer(g.Product, "")
	if !ok {
		line.Why = "which product? give --product, or add one with `resow sanitizer add`"
		return line, nil
	}
	line.ContactS = d.ContactS
	if d.Directions == "" {
		line.Why = sanitizer.NoDirections
		return line, nil
	}
	m := mixer{product: d.Name, make: roundUp(math.Round(g.MakeML))}
	_, stock, err := m.what(f)
	if err != nil {
		line.Why = withHint(err)
		return line, nil
	}
	doc, err := m.ask(f, d, stock, m.useOf(f, d))
	if err != nil {
		line.Why = withHint(err)
		return line, nil
	}
	mix := roundMix(doc.Mix)
	line.StrengthPPM, line.StockML, line.WaterML = mix.StrengthPPM, mix.StockML, mix.WaterML
	if stock.Active.Solid() {
		line.StockG = mix.StockG
	}
	line.Mix = fmt.Sprintf("resow mix --product %s --make %s --bottle", strconv.Quote(d.Name), m.make)
	return line, mix.Cautions
}

// roundUp writes a volume for a command, up to the next 50 mL or tenth of a
// litre.
func roundUp(ml float64) string {
	if ml <= 950 {
		return strconv.FormatFloat(math.Ceil(ml/50)*50, 'f', -1, 64) + "mL"
	}
	return strconv.FormatFloat(math.Ceil(ml/100)/10, 'f', -1, 64) + "L"
}

func printBatch(w io.Writer, f *farm, l batchLine) {
	name := l.Product
	if name == "" {
		name = "No product known"
	}
	fmt.Fprint(w, wrap(fmt.Sprintf("%s: %s, %.2f m2 to wet, %s of solution, %s, about %.0f min", name, counted(len(l.Mats), "mat"), l.AreaM2, f.volume(l.MakeML), counted(l.Bottles, "bottle"), math.Ceil(l.Minutes)), 79, "  "))
	codes := make([]string, len(l.Mats))
	for i, c := range l.Mats {
		codes[i] = medium.Code(c).String()
	}
	fmt.Fprint(w, wrap("  "+strings.Join(codes, ", "), 79, "  "))
	if l.Why != "" {
		fmt.Fprint(w, column("  ! ", l.Why, 79))
		return
	}
	stock := f.volume(l.StockML)
	if l.StockG > 0 {
		stock = digits(l.StockG, 3) + " g"
	}
	fmt.Fprintf(w, "  %g ppm: %s of stock, %s of water; each side wet for %s\n", l.StrengthPPM, stock, f.volume(l.WaterML), medium.Seconds(l.ContactS))
	fmt.Fprintf(w, "  %s\n", l.Mix)
}
