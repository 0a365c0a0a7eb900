package main

import (
	"fmt"
	"io"
	"math"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium/sanitizer"
)

// strengthText writes ppm and percent by weight side by side.
func strengthText(m sanitizer.Mix) string {
	return fmt.Sprintf("%s ppm (mg/L) of %s; %s %% %s by weight", farm.Digits(m.StrengthPPM, 4), m.CountedAs, farm.Digits(m.StrengthPercentWW, 3), m.Active.Title())
}

func printMix(w io.Writer, f *farm.Farm, d farm.Mixed) {
	line := func(name, text string) {
		fmt.Fprint(w, ui.Column(fmt.Sprintf("  %-9s", name), text, 79))
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
		fmt.Fprint(w, ui.Column("  ! ", note, 79))
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
		fmt.Fprintln(w, "\nWith the measures of a kitchen:")
		fmt.Fprint(w, ui.Column("  ", r.Text, 79))
		fmt.Fprint(w, ui.Column("  ", fmt.Sprintf("That really gives %s ppm, %s.", farm.Digits(r.StrengthPPM, 4), offBy(r.ErrorPercent)), 79))
	} else if d.Kitchen != nil && d.Question == "dilute" {
		fmt.Fprint(w, "\n", ui.Wrap("No rounded recipe stays inside the directions and the ceiling: measure exactly with a syringe, or make a larger batch.", 79, ""))
	}
	if k := d.Kitchen; k != nil {
		text := fmt.Sprintf("The common kitchen sum (the printed figures taken as they stand) says %s of stock; that gives %s ppm, %s.", f.Volume(k.StockML), farm.Digits(k.StrengthPPM, 4), offBy(k.ErrorPercent))
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
		text = fmt.Sprintf("At pH %g about %.0f %% of the chlorine is hypochlorous acid, the form that sanitizes well. ", *c.PH, c.HOClPercent)
	}
	if c.MinTempC > 0 {
		below := ""
		if c.BelowMinTempC > 0 {
			below = fmt.Sprintf(" Warm it to %g C unless a strip shows clearly %g ppm or more.", c.BelowMinTempC, c.EdgePPM)
		}
		text += fmt.Sprintf("At this strength the solution must be at least %g C warm when used (FDA Food Code 4-501.114, a reference; the label decides).%s", c.MinTempC, below)
	}
	if text != "" {
		fmt.Fprint(w, "\n", ui.Wrap(text, 79, ""))
	}
	for _, warning := range c.Warnings {
		fmt.Fprint(w, ui.Column("  ! ", warning, 79))
	}
}

func printBottled(w io.Writer, f *farm.Farm, d farm.Mixed) {
	s := d.Solution
	fmt.Fprintf(w, "\nRecorded as solution %s, %g ppm computed, good until %s.\n", s.Code, s.StrengthPPM, f.Stamp(s.GoodUntil))
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
