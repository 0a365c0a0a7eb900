package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/medium/sanitizer"
	"resow/store"
)

// mixFlags are the flags of mix.
type mixFlags struct {
	farm.Mixing
	bottle        bool
	tag, tagStock string
}

func (a *app) mixCommand(c *cobra.Command) {
	var m mixFlags
	c.RunE = func(*cobra.Command, []string) error { return a.mix(m) }
	flags := c.Flags()
	flags.SortFlags = false
	flags.StringVar(&m.Product, "product", "", "the stock: a sanitizer on file, by its `NAME`")
	flags.StringVar(&m.Active, "active", "", "or its active ingredient, a `WORD`: bleach, peroxide, quat")
	flags.StringVar(&m.Stock, "stock", "", "and its `STRENGTH` on the label: 5.25%, 35%")
	flags.StringVar(&m.Density, "density", "", "and its `DENSITY`, where the label has one: 1.08g/mL")
	flags.StringVar(&m.Strength, "to", "", "`STRENGTH` wanted: 100ppm, 3%")
	flags.StringVar(&m.Volume, "make", "", "`VOLUME` of solution wanted: 2L, 1gal")
	flags.StringVar(&m.Use, "use", "", "or `AMOUNT` of stock to use up: 50mL, 30g")
	flags.StringVar(&m.Reads, "reads", "", "`PPM` that a strip reads in your solution: 120ppm")
	flags.StringVar(&m.Have, "have", "", "and the `VOLUME` of it that you have: 5L")
	flags.StringVar(&m.Add, "add", "", "`AMOUNT` of stock that went …: 2tbsp, 30g")
	flags.StringVar(&m.Water, "water", "", "… into this `VOLUME` of water: 1gal")
	flags.StringVar(&m.With, "with", "", "`STRENGTH` of a second stock, or a product on file")
	flags.StringVar(&m.WithAdd, "with-add", "", "`VOLUME` of the second stock: 500mL")
	flags.BoolVar(&m.Rinse, "rinse", false, "mats are rinsed with potable water afterwards")
	flags.BoolVar(&m.Mist, "mist", false, "it will be sprayed as a mist: adds the caution")
	flags.StringVar(&m.PH, "ph", "", "`PH` of the chlorine solution, by a strip: 7.5")
	flags.StringVar(&m.Temp, "temp", "", "`TEMPERATURE` of the water: 20C, 68F")
	flags.BoolVar(&m.bottle, "bottle", false, "record the solution and print its code")
	flags.BoolVar(&m.Exact, "exact", false, "record the exact amounts, not the rounded recipe")
	flags.StringVar(&m.Opened, "opened", "", "`DATE` on which the stock was opened: 2026-11-01")
	flags.StringVar(&m.tag, "tag", "", "print the bottle's tag to this PDF `FILE`")
	flags.StringVar(&m.tagStock, "tag-stock", "", "label `STOCK` of the tag (a4-8 or letter-8)")
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers()))
	must(c.RegisterFlagCompletionFunc("with", a.completeSanitizers()))
	must(c.RegisterFlagCompletionFunc("active", fixedWords(actives()...)))
	c.MarkFlagsMutuallyExclusive("product", "active")
	c.MarkFlagsOneRequired("product", "active")
}

func (a *app) mix(m mixFlags) error {
	if a.at != "" && !m.bottle {
		return ui.Wrong("--at is when a solution was mixed that is recorded: give --bottle too, or leave it out")
	}
	if m.tag != "" && !m.bottle {
		return ui.Wrong("--tag prints the tag of a recorded solution: give --bottle too")
	}
	if m.bottle && m.Product == "" {
		return ui.Wrong("--bottle records a solution of a product on file: give --product (resow sanitizer add copies " +
			"its label)")
	}
	answer := func(f *farm.Farm) error {
		f.Settings.Units = unitsOf(f.Settings.Units, m.Volume, m.Use, m.Have, m.Water, m.Add)
		return a.answerMix(f, m)
	}
	err := a.open(!m.bottle, answer)
	var missing *store.MissingError
	if m.Product == "" && errors.As(err, &missing) { // arithmetic needs no ledger
		return answer(farm.Of(nil, medium.Farm{}, a.now, a.random))
	}
	return err
}

// unitsOf takes the measures of the first amount that was typed, so that the
// answer comes in the measures of the question; else the farm's.
func unitsOf(farm string, texts ...string) string {
	for _, text := range texts {
		unit := strings.ToLower(strings.TrimLeft(text, "0123456789./, "))
		if unit == "" {
			continue
		}
		if slices.Contains([]string{"ml", "l", "cc", "g", "kg", "mg"}, unit) {
			return medium.Metric
		}
		return medium.US
	}
	return farm
}

func (a *app) answerMix(f *farm.Farm, m mixFlags) error {
	if err := m.complete(f); err != nil {
		return err
	}
	doc, err := f.Mix(m.Mixing)
	var second *medium.InputError
	if errors.As(err, &second) && second.Field == farm.SecondStock {
		return ui.Wrongf("--with %q is neither a product on file nor a strength such as 3%%; two different "+
			"products never go into one bottle", m.With)
	}
	if err != nil {
		return err
	}
	if m.bottle {
		if doc, err = a.bottleUp(f, m, doc); err != nil {
			if doc.Solution != nil && a.JSON { // recorded: the document tells so beside the error
				var b bytes.Buffer
				if ui.Encode(&b, doc) == nil {
					a.Held = b.Bytes()
				}
			}
			return err
		}
	}
	return a.Print(doc.Rounded(), func(w io.Writer) { printMix(w, f, doc) })
}

// complete refuses what the flags leave open, in their words.
func (m mixFlags) complete(f *farm.Farm) (err error) {
	directions := false
	if m.Product != "" {
		d, err := f.Product(m.Product)
		if directions = d.Directions != ""; err != nil {
			return err
		}
	} else if _, err := sanitizer.ParseActive(m.Active); err != nil {
		return err
	} else if m.Stock == "" {
		return ui.Wrong("say how strong the stock is: --stock and the figure from its label, for example --stock 5.25%")
	}
	reverse, blend := m.With == "" && (m.Add != "" || m.Water != ""), m.With != "" && (m.WithAdd != "" || m.Add != "")
	adjust := m.With == "" && !reverse && (m.Reads != "" || m.Have != "")
	wanted := !reverse && !blend // a strength, and of how much
	plain := wanted && !adjust && m.With == ""
	for _, no := range []struct {
		is   bool
		text string
	}{
		{reverse && (m.Add == "" || m.Water == ""),
			"give both: --add 2tbsp for the stock and --water 1gal for the water that it went into"},
		{reverse && (m.Strength != "" || m.Volume != "" || m.Use != "" || m.Reads != ""),
			"--add and --water ask how strong a mix is; leave out --to, --make, --use and --reads"},
		{blend && (m.WithAdd == "" || m.Add == ""),
			"give both amounts: --add 500mL of the first stock and --with-add 500mL of the second"},
		{wanted && m.With != "" && m.Volume == "", "say how much you want of the two stocks together: --make 1L"},
		{wanted && m.Strength == "" && !directions,
			"say how strong the solution must be: --to and the figure from the label, for example --to 100ppm"},
		{adjust && (m.Reads == "" || m.Have == ""),
			"give both: --reads 120ppm for the strip and --have 5L for how much there is"},
		{adjust && m.bottle,
			"a solution that was put right keeps its code: read a strip in it again and record it with `resow solution strip`"},
		{plain && m.Volume != "" && m.Use != "", "--make and --use are two questions: give one of them"},
		{plain && m.Volume == "" && m.Use == "",
			"say how much: --make 2L for the solution wanted, --use 50mL for the stock to use up, --reads 120ppm --have 5L " +
				"for a solution that you have, or --add 2tbsp --water 1gal for one that was mixed"},
	} {
		if no.is {
			return ui.Wrong(no.text)
		}
	}
	return nil
}

// strengthText writes ppm and percent by weight side by side.
func strengthText(m sanitizer.Mix) string {
	return fmt.Sprintf("%s ppm (mg/L) of %s; %s %% %s by weight", farm.Digits(m.StrengthPPM, 4), m.CountedAs,
		farm.Digits(m.StrengthPercentWW, 3), m.Active.Title())
}

func printMix(w io.Writer, f *farm.Farm, d farm.Mixed) {
	line := func(name, text string) {
		ui.Item(w, fmt.Sprintf("  %-9s", name), text)
	}
	stock := d.Stock + " " + d.Active.Title()
	if d.Product != "" {
		stock = d.Product + ", " + stock
	}
	weighed := func(ml, g float64) string {
		if d.Active.Solid() {
			return farm.Digits(g, 3) + " g of " + stock
		}
		return f.Volume(ml) + " of " + stock
	}
	switch d.Question {
	case "reverse":
		fmt.Fprintln(w, "This mix:")
		line("stock", weighed(d.StockML, d.StockG))
		line("water", f.Volume(d.WaterML))
	case "adjust":
		fmt.Fprintf(w, "To the %s that you have:\n", f.Volume(d.Stock2ML))
		printAdded(line, f, d, weighed)
	case "blend", "blend-to":
		fmt.Fprintln(w, "Two stocks, no water:")
		line("first", weighed(d.StockML, 0))
		line("second", f.Volume(d.Stock2ML)+" of "+d.With+" "+d.Active.Title())
	default:
		fmt.Fprintln(w, "Exactly:")
		line("stock", weighed(d.StockML, d.StockG))
		line("water", f.Volume(d.WaterML))
	}
	line("gives", f.Volume(d.FinalML)+" of "+strengthText(d.Mix))
	if d.Fits != "" {
		line("", d.Fits)
	}
	printRecipe(w, f, d)
	for _, note := range d.Notes {
		ui.Item(w, "  ! ", note)
	}
	printChlorine(w, d.Chlorine)
	if d.Solution != nil {
		printBottled(w, f, d)
	}
	printCautions(w, d.Cautions)
}

func printAdded(line func(name, text string), f *farm.Farm, d farm.Mixed, weighed func(ml, g float64) string) {
	switch {
	case d.WaterML > 0:
		line("add", f.Volume(d.WaterML)+" of water")
	case d.StockML > 0 || d.StockG > 0 && d.Active.Solid():
		line("add", weighed(d.StockML, d.StockG))
	default:
		line("add", "nothing")
	}
}

func printRecipe(w io.Writer, f *farm.Farm, d farm.Mixed) {
	if r := d.Recipe; r != nil {
		fmt.Fprintln(w, "\nIn kitchen measures:")
		ui.Item(w, "  ", r.Text)
		ui.Item(w, "  ", fmt.Sprintf("That really gives %s ppm, %s.", farm.Digits(r.StrengthPPM, 4), offBy(r.ErrorPercent)))
	} else if d.Kitchen != nil && d.Question == "dilute" {
		fmt.Fprint(w, "\n",
			ui.Wrap("No rounded recipe stays inside the directions and the ceiling: measure exactly with a syringe, or "+
				"make a larger batch.", 79, ""))
	}
	if k := d.Kitchen; k != nil {
		text := fmt.Sprintf("The common kitchen sum (the printed figures taken as they stand) says %s of stock; that "+
			"gives %s ppm, %s.", f.Volume(k.StockML), farm.Digits(k.StrengthPPM, 4), offBy(k.ErrorPercent))
		fmt.Fprint(w, "\n", ui.Wrap(text, 79, ""))
	}
}

func offBy(percent float64) string {
	switch {
	case math.Abs(percent) < 0.05:
		return "as wanted"
	case percent > 0:
		return fmt.Sprintf("%.1f %% stronger than wanted", percent)
	}
	return fmt.Sprintf("%.1f %% weaker than wanted", -percent)
}

func printChlorine(w io.Writer, c *farm.Chlorine) {
	if c == nil {
		return
	}
	text := ""
	if c.PH != nil {
		text = fmt.Sprintf("At pH %g about %.0f %% of the chlorine is hypochlorous acid, the form that sanitizes well. ",
			*c.PH, c.HOClPercent)
	}
	if c.MinTempC > 0 {
		below := ""
		if c.BelowMinTempC > 0 {
			below = fmt.Sprintf(" Warm it to %g C unless a strip shows clearly %g ppm or more.", c.BelowMinTempC, c.EdgePPM)
		}
		text += fmt.Sprintf("At this strength the solution must be at least %g C warm when used (FDA Food Code "+
			"4-501.114, a reference; the label decides).%s", c.MinTempC, below)
	}
	if text != "" {
		fmt.Fprint(w, "\n", ui.Wrap(text, 79, ""))
	}
	for _, warning := range c.Warnings {
		ui.Item(w, "  ! ", warning)
	}
}

func printBottled(w io.Writer, f *farm.Farm, d farm.Mixed) {
	s := d.Solution
	fmt.Fprintf(w, "\nRecorded as solution %s, %g ppm computed, good until %s.\n", s.Code, s.StrengthPPM,
		f.Stamp(s.GoodUntil))
	if d.Tag != "" {
		fmt.Fprintf(w, "Wrote its tag to %s. Print at 100 %%, not fitted to the page.\n", d.Tag)
	} else {
		fmt.Fprintf(w, "Print its tag: resow solution tag %s\n", string(s.Code))
	}
	water := " --temp …C --ph …"
	if s.TempC != nil && s.PH != nil || !sanitizer.Active(s.Active).Chlorine() {
		water = ""
	}
	fmt.Fprintf(w, "Read a strip:  resow solution strip %s --reads …ppm --step …ppm%s\n", string(s.Code), water)
	fmt.Fprintf(w, "Use it:        resow sanitize CODE... --solution %s --timer\n", string(s.Code))
}
