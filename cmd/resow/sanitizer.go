package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/medium/sanitizer"
)

func (a *app) sanitizerCommand(c *cobra.Command) {

	a.sub(c, "add", (*app).sanitizerAddCommand)
	a.sub(c, "list", (*app).sanitizerListCommand)
	a.sub(c, "show", (*app).sanitizerShowCommand)
}

func (a *app) sanitizerAddCommand(c *cobra.Command) {
	var s medium.Sanitizer
	var active, strength string
	flags := c.Flags()
	flags.StringVar(&active, "active", "", "active ingredient: peroxide, hypochlorite (or bleach), peroxyacetic, quat …")
	flags.StringVar(&s.Stock, "stock", "", "stock strength from the label: 5.25%, 35%, 3%wv, 10%trade")
	readAs(c, &s.DensityGPML, "density", "density", amount.Density, "density of the stock: 1.08g/mL")
	flags.StringVar(&s.Directions, "directions", "", "label, or \"farm procedure\"; empty where there are none")
	flags.StringVar(&strength, "strength", "", "strength in use: 50-200ppm")
	readAs(c, &s.ContactS, "contact", "contact time", seconds, "how long it stays wet: 2min")
	readAs(c, &s.MinTempC, "min-temp", "least temperature", amount.Temperature, "least temperature: 24C, 75F")
	readAs(c, &s.MaxTempC, "max-temp", "greatest temperature", amount.Temperature, "greatest temperature: 49C")
	readBy(c, "ph", "pH window: 6.5-7.5", func(text string) error {
		if _, err := fmt.Sscanf(text, "%g-%g", &s.MinPH, &s.MaxPH); err != nil {
			return &amount.Error{What: "pH", Input: text, Want: "a range: 6.5-7.5"}
		}
		return nil
	})
	flags.BoolVar(&s.Rinse, "rinse", false, "the directions ask for a rinse with potable water")
	flags.Float64Var(&s.MixedHours, "good-h", 0, "hours that a mixed solution stays good")
	flags.Float64Var(&s.OpenedDays, "opened-days", 0, "days that an opened bottle stays good")
	flags.StringVar(&s.Registration, "registration", "", "registration number, as text")
	flags.StringVar(&s.Corrects, "corrects", "", "why the copy on file was wrong from the start")
	flags.BoolVar(&s.Confirmed, "as-printed", false, "the label really says so, although no published range covers it")
	flags.StringVar(&s.Note, "note", "", "anything else the label says, such as the surfaces it covers")
	required(c, "active")
	oneOf(c, "active", actives()...)
	oneOf(c, "directions", medium.DirectionsLabel, medium.DirectionsFarm)
	c.RunE = func(_ *cobra.Command, args []string) error {
		s.Name = args[0]
		known, err := sanitizer.ParseActive(active)
		if err != nil {
			return err
		}
		s.Active = string(known)
		if s.Stock != "" {
			if s.Stock, err = sanitizer.ReadStock(known, s.Stock); err != nil {
				return err
			}
		}
		if strength != "" {
			if s.MinPPM, s.MaxPPM, err = farm.StrengthRange(s.Active, strength); err != nil {
				return err
			}
		}
		return a.open(false, func(f *farm.Farm) error { return a.addSanitizer(f, s) })
	}
}

func actives() []string { return slices.Sorted(maps.Keys(medium.Actives)) }

func (a *app) addSanitizer(f *farm.Farm, s medium.Sanitizer) error {
	old, known := f.Sanitizer(s.Name, "")
	err := a.recordFarm(f, &s)
	var unlikely *medium.UnlikelyError
	if errors.As(err, &unlikely) && a.askPrinted(unlikely) {
		s.Confirmed = true
		err = a.recordFarm(f, &s)
	}
	if err != nil || a.JSON {
		return err
	}
	switch {
	case known && s.Corrects != "":
		ui.Say(a.Out, "%s", correctedText(old, s))
	case known:
		if f.Farm, err = f.Store.Farm(); err != nil {
			return err
		}
		text := replacedText(old, s)
		if now, _ := f.Sanitizer(s.Name, ""); len(farm.Changes(now, s)) > 0 {
			text = "It counts for what was done since then and before the newer copy on file, which stays in force."
		}
		ui.Say(a.Out, "%s", text)
	}
	for _, note := range sanitizer.Notes(s) {
		ui.Item(a.Out, "  ", note)
	}
	return nil
}

// askPrinted asks whether the label really says so; without a terminal nobody can
// be asked.
func (a *app) askPrinted(e *medium.UnlikelyError) bool {
	if !a.canAsk() {
		return false
	}
	ui.Say(a.Out, "The directions of %s lie outside every published range: %s. Published: %s.", e.Product,
		e.What, e.Source)
	return a.ask("Look at the label again. Does it say so? Type yes to record it: ")
}

// correctedText says what was wrong in the copy before.
func correctedText(old, s medium.Sanitizer) string {
	changed := farm.Changes(old, s)
	if len(changed) == 0 {
		return "The directions are those that were on file already."
	}
	return "It corrects " + old.Name + " from the start: " + strings.Join(changed, "; ") +
		". A mat whose last sanitizing misses them is stopped until it is sanitized again: see resow due."
}

// replacedText says what a product's new directions change.
func replacedText(old, s medium.Sanitizer) string {
	changed := farm.Changes(old, s)
	if len(changed) == 0 {
		return "It replaces " + old.Name + ", which was on file with the same directions."
	}
	return "It replaces " + old.Name + " on file: " + strings.Join(changed, "; ") +
		". Solutions mixed before keep the directions that they were mixed under."
}

func (a *app) sanitizerListCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		list := f.Sanitizers
		if list == nil {
			list = []medium.Sanitizer{}
		}
		return a.Print(map[string]any{"sanitizers": list}, func(w io.Writer) {
			if len(list) == 0 {
				fmt.Fprintln(w, "No sanitizer on file. Copy a label with `resow sanitizer add`.")
			}
			for _, s := range list {
				printSanitizer(w, s)
			}
		})
	})
}

func printSanitizer(w io.Writer, s medium.Sanitizer) {
	fmt.Fprintln(w, medium.Visible(fmt.Sprintf("%s (%s)", s.Name, farm.Join(s.Active, farm.Named("stock", s.Stock)))))
	if s.Directions == "" {
		fmt.Fprintln(w, "  no directions on file: no step with it is accepted")
		return
	}
	text := farm.Join(s.Directions+": "+farm.Strengths(s.MinPPM, s.MaxPPM), medium.Seconds(s.ContactS)+" wet",
		farm.Quantity("at least %g C", s.MinTempC), farm.Quantity("at most %g C", s.MaxTempC), farm.RinseText(s),
		farm.Named("registration", s.Registration), s.Note)
	fmt.Fprint(w, ui.Wrap("  "+text, 79, "    "))
}

func (a *app) sanitizerShowCommand(c *cobra.Command) {
	c.ValidArgsFunction = a.completeSanitizers()
	c.RunE = a.reads(func(f *farm.Farm, args []string) error {
		s, err := f.Product(args[0])
		if err != nil {
			return err
		}
		doc := f.SheetOf(s)
		return a.Print(doc, func(w io.Writer) { printBench(w, f, doc) })
	})
}

func printBench(w io.Writer, f *farm.Farm, d farm.SanitizerSheet) {
	s := d.Sanitizer
	fmt.Fprintln(w, medium.Visible(s.Name))
	line := func(name, text string) {
		if text != "" {
			ui.Item(w, fmt.Sprintf("  %-12s", name), text)
		}
	}
	line("active", d.Title+"; ppm counts "+d.CountedAs+" in mg/L")
	if s.Stock == "" {
		line("stock", "strength not on file: nothing can be mixed from it by `resow mix --product`")
	} else if sanitizer.Active(s.Active).Solid() {
		line("stock", s.Stock+", granules: weigh them")
	} else {
		line("stock", fmt.Sprintf("%s, that is %g ppm (density: %s)", s.Stock, d.StockPPM, d.DensitySource))
	}
	if s.Directions != "" {
		line("directions", farm.Join(s.Directions, farm.Named("registration", s.Registration)))
		line("strength", fmt.Sprintf("%g to %g ppm", s.MinPPM, s.MaxPPM))
		line("contact", medium.Seconds(s.ContactS)+" wet")
		line("temperature", farm.Join(farm.Quantity("at least %g C", s.MinTempC), farm.Quantity("at most %g C", s.MaxTempC)))
		line("pH", farm.Join(farm.Quantity("at least %g", s.MinPH), farm.Quantity("at most %g", s.MaxPH)))
		line("rinse", farm.RinseText(s))
	}
	good := fmt.Sprintf("%g h after mixing (the farm's solution-hours; the directions name none)",
		f.Policy.Setting("solution-hours").Limit)
	if s.MixedHours > 0 {
		good = fmt.Sprintf("%g h after mixing", s.MixedHours)
	}
	line("good for", farm.Join(good, farm.Quantity("%g days after opening", s.OpenedDays)))
	if d.CeilingPPM > 0 {
		line("ceiling", fmt.Sprintf("%g ppm may stay on a food-contact surface without a rinse (%s)", d.CeilingPPM,
			d.CeilingSource))
	}
	line("note", s.Note)
	line("never with", strings.Join(d.NeverWith, "; "))
	for _, note := range d.Notes {
		ui.Item(w, "  ! ", note)
	}
	printCautions(w, d.Cautions)
}

func printCautions(w io.Writer, list []sanitizer.Caution) {
	fmt.Fprintln(w, "\nMind:")
	for _, c := range list {
		ui.Item(w, "  - ", c.Text)
	}
}
