package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) addCommand(c *cobra.Command) {
	var m medium.Mat
	var measures medium.Size
	var count int
	flags := c.Flags()
	flags.IntVar(&count, "count", 1, "how many alike")
	flags.StringVar(&m.Form, "form", medium.FormMat, "mat or screen")
	readAs(c, &measures, "size", "size", size, "length x width: 250x510mm")
	flags.StringVar(&m.Material, "material", "", "polyester, polypropylene, stainless steel …")
	readAs(c, &m.ApertureMM, "aperture", "aperture", amount.Length, "opening of the mesh: 0.5mm")
	readAs(c, &m.ThreadMM, "thread", "thread", amount.Length, "thickness of the thread: 0.3mm")
	flags.IntVar(&m.Layers, "layers", 1, "layers of mesh")
	flags.StringVar(&m.Roll, "roll", "", "mesh roll or sheet it was cut from")
	flags.StringVar(&m.Supplier, "supplier", "", "who sold the mesh")
	flags.StringVar(&m.ContactStatement, "contact", "", "the supplier's statement on food contact, in its own words")
	flags.StringVar(&m.ContactDate, "contact-date", "", "its date: 2026-03-01")
	flags.Float64Var(&m.Cost, "cost", 0, "cost of one mat in the farm's currency")
	readAs(c, &m.DryWeightG, "weight", "dry weight", amount.Mass, "dry weight: 38g")
	flags.StringVar(&m.Mark, "mark", "", "a second identity that needs no label: punched dots, a notch")
	flags.Float64Var(&m.SunRatingKLy, "sun-rating", 0, "the mesh's rating in kLy of total sun, where it has one")
	required(c, "size")
	oneOf(c, "form", medium.FormMat, medium.FormScreen)
	c.RunE = func(*cobra.Command, []string) error {
		if count < 1 || count > maxCodes {
			return ui.Wrongf("--count %d: want 1 to %d", count, maxCodes)
		}
		if m.Mark != "" && count > 1 {
			return ui.Wrong("--mark is one mat's own; register marked mats one by one")
		}
		m.LengthMM, m.WidthMM = measures.LengthMM, measures.WidthMM
		return a.open(false, func(f *farm.Farm) error { return a.add(f, m, count) })
	}
}

func (a *app) add(f *farm.Farm, m medium.Mat, count int) error {
	drawn := map[medium.Code]bool{}
	steps := make([]medium.Step, count)
	for i := range steps {
		code, err := f.FreshCode(drawn)
		if err != nil {
			return err
		}
		steps[i] = medium.Step{Mat: code, Body: &medium.Add{Mat: m}}
	}
	done, err := a.enter(f, steps...)
	if err != nil {
		return err
	}
	codes := make([]medium.Code, len(done))
	for i, s := range done {
		codes[i] = s.Mat
	}
	return a.Print(map[string]any{"codes": codes}, func(w io.Writer) {
		for i, c := range codes {
			end := "  "
			if i%6 == 5 || i == len(codes)-1 {
				end = "\n"
			}
			fmt.Fprint(w, c.String()+end)
		}
		fmt.Fprintf(w, "Registered %d, %s, waiting to wash.\n", len(codes), m.Size())
		if !m.ContactDocumented() {
			fmt.Fprintln(w, "No dated food-contact statement is on file for this mesh; ask the supplier\n"+
				"for one, and add it with `resow document`.")
		}
		fmt.Fprintln(w, "Next: print labels with `resow label --new`.")
	})
}
