package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) sowCommand(c *cobra.Command) {
	var flags *stepFlags
	flags = a.fieldCommand(c, func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
		if strings.TrimSpace(flags.said()["lot"]) == "" {
			fmt.Fprintln(out, "No lot: a recall finds this crop only by its mat or its seed lot (--lot).")
		}
		return printSeed(f, codes, out)
	})
}

// printSeed compares the seed used with what the crop table asks for.
func printSeed(f *farm.Farm, codes []medium.Code, out io.Writer) error {
	c, err := f.Condition(codes[0])
	if err != nil {
		return err
	}
	for _, s := range c.Crops {
		if s.SeedG > 0 && len(codes) > 1 {
			fmt.Fprintf(out, "%s of %s on each of %d mats\n", f.Mass(s.SeedG), s.Crop, len(codes))
		}
		crop, err := f.Crop(s.Crop)
		if err != nil || crop.DensityGM2 == 0 || len(c.Crops) > 1 {
			continue
		}
		table := crop.SeedG(c.Mat.AreaM2())
		ui.Say(out, "%s on %s: %s by the table (%g g/m2; %s)", crop.Name, c.Mat.Size(), f.Mass(table), crop.DensityGM2,
			crop.SowSource)
		if s.SeedG > 0 && (s.SeedG > 2*table || s.SeedG < table/2) {
			ui.Say(out, "Check the seed: %s on one mat is %s times the figure in the table. --seed is for each mat, not "+
				"for all of them.", f.Mass(s.SeedG), farm.Digits(s.SeedG/table, 2))
		}
	}
	if _, d := medium.HarvestDays(c.Crops); d > 0 {
		fmt.Fprintf(out, "harvest by %s\n", f.Date(c.SownAt.AddDate(0, 0, d)))
	}
	return nil
}
