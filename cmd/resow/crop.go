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

func (a *app) cropCommand(c *cobra.Command) {
	a.sub(c, "list", (*app).cropListCommand)
	a.sub(c, "add", (*app).cropAddCommand)
}

func (a *app) cropListCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		crops, err := farm.AllCrops(f.Farm)
		if err != nil {
			return err
		}
		return a.Print(map[string]any{"crops": crops}, func(w io.Writer) {
			fmt.Fprintf(w, "%-12s %8s %8s %9s %7s  %s\n", "CROP", "SEED mm", "MESH mm", "g/m2", "DAYS", "SIZE FROM")
			for _, c := range crops {
				lead := fmt.Sprintf("%-12s %8.2f %8.2f %9g %3d-%-3d  ", ui.Cut(c.Name, 12), c.SeedMM(),
					medium.SeedMargin*c.SeedMM(), c.DensityGM2, c.DaysMin, c.DaysMax)
				ui.Item(w, lead, c.SizeSource)
			}
		})
	})
}

func (a *app) cropAddCommand(c *cobra.Command) {
	crop := medium.Crop{SizeSource: "measured at the farm", SowSource: "the farm's own"}
	readBy(c, "seed-size", "length x width x thickness: 1.9x1.7x1.6mm", func(text string) error {
		if _, err := fmt.Sscanf(text, "%gx%gx%gmm", &crop.LengthMM, &crop.WidthMM, &crop.ThicknessMM); err != nil {
			return &amount.Error{What: "seed size", Input: text, Want: "length x width x thickness in mm: 1.9x1.7x1.6mm"}
		}
		return nil
	})
	readAs(c, &crop.TSWG, "tsw", "mass of a thousand seeds", amount.Mass, "mass of a thousand seeds: 2.4g")
	c.Flags().Float64Var(&crop.DensityGM2, "density", 0, "sowing density in g/m2")
	readBy(c, "days", "days from sowing to harvest: 8-12", func(text string) error {
		if _, err := fmt.Sscanf(text, "%d-%d", &crop.DaysMin, &crop.DaysMax); err != nil {
			return &amount.Error{What: "days", Input: text, Want: "from sowing to harvest: 8-12"}
		}
		return nil
	})
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
		crop.Name = args[0]
		return a.recordFarm(f, &crop)
	})
}
