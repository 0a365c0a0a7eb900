package main

import (
	"fmt"
	"io"
	"math"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/medium"
)

func (a *app) rinseCommand() *cobra.Command {
	var debris, detergent, took string
	c := a.stepCommand("rinse", "Record that roots were pulled and the mats washed",
		`A rinse that leaves nothing behind moves a mat on to drying. One that leaves
traces or roots is recorded, and the mat stays at the wash: sanitizer can't work
through soil. Wet floors are slippery; wear gloves.`,
		`  resow rinse TK7R2N81 TB3DF6H2 --debris none --by MK
  resow rinse TK7R2N81 --debris roots --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			b := &medium.Rinse{Debris: medium.Debris(debris), Detergent: detergent}
			if took == "" {
				return b, nil
			}
			d, err := amount.Span("time", took)
			b.Minutes = d.Minutes()
			return b, err
		}, nil)
	c.Flags().StringVar(&debris, "debris", "", "what is left on the mat: none, traces or roots")
	c.Flags().StringVar(&detergent, "detergent", "", "detergent used")
	c.Flags().StringVar(&took, "took", "", "hands-on time for each mat: 3min")
	must(c.MarkFlagRequired("debris"))
	must(c.RegisterFlagCompletionFunc("debris", fixedWords("none", "traces", "roots")))
	return c
}

func (a *app) dryCommand() *cobra.Command {
	var where, took string
	c := a.stepCommand("dry", "Record that the mats are dry",
		`Dry after the rinse, and again after the sanitizer. Drying in the sun earns no
sanitizing credit; its hours are counted as wear of the mesh.`,
		`  resow dry TK7R2N81 TB3DF6H2 --where sun --for 3h --by MK
  resow dry TK7R2N81 --where air --for 10h --by MK`,
		func(f *farm, _ medium.Code) (medium.Body, error) {
			b := &medium.Dry{Where: where}
			if took == "" && where == medium.DrySun {
				return nil, &usageError{"say how long the mats lay in the sun with --for, it is counted as wear"}
			}
			if took == "" {
				return b, nil
			}
			d, err := amount.Span("drying time", took)
			b.DurationS = int(d.Seconds())
			return b, err
		}, nil)
	c.Flags().StringVar(&where, "where", "", "sun or air")
	c.Flags().StringVar(&took, "for", "", "how long it took: 3h, 45min")
	must(c.MarkFlagRequired("where"))
	must(c.RegisterFlagCompletionFunc("where", fixedWords(medium.DrySun, medium.DryAir)))
	return c
}

func (a *app) sanitizeCommand() *cobra.Command {
	var product, active, strength, contact, temp, ph, sides, method string
	var rinsed bool
	c := a.stepCommand("sanitize", "Record a sanitize step and check it against the directions",
		`The step is checked against the directions on file for the product (resow
sanitizer add), then against the published ceilings for what may stay on a
food-contact surface. One that misses is recorded, not accepted, and does not
move the mat.

The product's own label is the rule. Gloves and eye protection; air the room; do
not breathe sprayed mist; never mix two products, never chlorine with acid or
ammonia.`,
		`  resow sanitize TK7R2N81 --product "blue drum" --strength 100ppm --contact 2min --temp 20C --by MK
  resow sanitize TK7R2N81 --active peroxide --strength 3% --contact 10min --rinsed --by MK`,
		func(f *farm, _ medium.Code) (medium.Body, error) {
			b := &medium.Sanitize{Product: product, Active: active, Method: method, Rinsed: rinsed}
			if product != "" {
				if _, ok := f.Sanitizer(product, ""); !ok {
					return nil, &medium.UnknownError{What: "sanitizer", Name: product, Do: "see `resow sanitizer list`, or copy its label with `resow sanitizer add`"}
				}
			}
			switch sides {
			case "both":
				b.Sides = 2
			case "one":
				b.Sides = 1
			default:
				return nil, &medium.InputError{Field: "sides", Value: sides, Want: "both or one"}
			}
			var err error
			if b.StrengthPPM, err = strengthPPM(f, b, strength); err != nil {
				return nil, err
			}
			wet, err := amount.Span("contact time", contact)
			if err != nil {
				return nil, err
			}
			b.ContactS = int(wet.Seconds())
			if b.TempC, err = measured("temperature", temp, amount.Temperature); err != nil {
				return nil, err
			}
			b.PH, err = measured("pH", ph, amount.Number)
			return b, err
		},
		func(f *farm, codes []medium.Code, out io.Writer) error {
			if a.code == 0 {
				fmt.Fprintln(out, "Let the mats drain and dry before they are sown on.")
			}
			return nil
		})
	flags := c.Flags()
	flags.StringVar(&product, "product", "", "sanitizer on file")
	flags.StringVar(&active, "active", "", "or its active ingredient, where one product on file has it")
	flags.StringVar(&strength, "strength", "", "strength used: 100ppm (mg/L), 3%")
	flags.StringVar(&contact, "contact", "", "how long it stayed wet: 2min, 30s")
	flags.StringVar(&temp, "temp", "", "temperature of the solution: 20C, 68F")
	flags.StringVar(&ph, "ph", "", "its pH, where measured: 7.2")
	flags.StringVar(&sides, "sides", "both", "both or one")
	flags.StringVar(&method, "method", "spray", "spray, soak or wipe")
	flags.BoolVar(&rinsed, "rinsed", false, "rinsed with potable water after the contact time")
	must(c.MarkFlagRequired("strength"))
	must(c.MarkFlagRequired("contact"))
	c.MarkFlagsOneRequired("product", "active")
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers))
	must(c.RegisterFlagCompletionFunc("active", fixedWords(actives()...)))
	must(c.RegisterFlagCompletionFunc("sides", fixedWords("both", "one")))
	must(c.RegisterFlagCompletionFunc("method", fixedWords("spray", "soak", "wipe")))
	return c
}

// measured reads a flag whose absence means that nothing was measured.
func measured(what, text string, read func(what, text string) (float64, error)) (*float64, error) {
	if text == "" {
		return nil, nil
	}
	v, err := read(what, text)
	if err != nil {
		return nil, err
	}
	v = math.Round(v*10) / 10
	return &v, nil
}
