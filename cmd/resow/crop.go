package main

import (
	"cmp"
	"fmt"
	"io"
	"slices"

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
				ui.Item(w, "             ", growsText(c))
			}
		})
	})
}

// growsText says how a crop is grown, with the sources.
func growsText(c medium.Crop) string {
	dark := "not covered"
	if c.DarkDays > 0 {
		dark = ui.Counted(c.DarkDays, "day") + " dark"
	}
	if c.Weighted {
		dark += " under a weight"
	}
	return fmt.Sprintf("%s, misted %g times a day in the dark and %g in the light (%s); seed and days: %s", dark,
		c.MistDark, c.MistLight, cmp.Or(c.GrowSource, "the farm's own"), c.SowSource)
}

func (a *app) cropAddCommand(c *cobra.Command) {
	var crop medium.Crop
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
	c.Flags().IntVar(&crop.DarkDays, "dark", 0, "days in the dark after sowing; 0: not covered")
	c.Flags().BoolVar(&crop.Weighted, "weighted", false, "pressed down by a weight while it is dark")
	readBy(c, "mist", "mistings a day in the dark and in the light: 2-1", func(text string) error {
		if _, err := fmt.Sscanf(text, "%g-%g", &crop.MistDark, &crop.MistLight); err != nil {
			return &amount.Error{What: "mist", Input: text, Want: "times a day in the dark and in the light: 2-1"}
		}
		return nil
	})
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
		row := medium.Crop{Name: args[0]}
		if known, err := f.Crop(args[0]); err == nil {
			row = known
		}
		return a.recordFarm(f, changedCrop(row, crop, c.Flags().Changed))
	})
}

// changedCrop is a row of the crop table with what was said of it; the rest stays as it is.
func changedCrop(row, said medium.Crop, changed func(flag string) bool) *medium.Crop {
	if changed("seed-size") {
		row.LengthMM, row.WidthMM, row.ThicknessMM = said.LengthMM, said.WidthMM, said.ThicknessMM
	}
	if changed("tsw") {
		row.TSWG = said.TSWG
	}
	if changed("density") {
		row.DensityGM2 = said.DensityGM2
	}
	if changed("days") {
		row.DaysMin, row.DaysMax = said.DaysMin, said.DaysMax
	}
	if changed("dark") {
		row.DarkDays = said.DarkDays
	}
	if changed("weighted") {
		row.Weighted = said.Weighted
	}
	if changed("mist") {
		row.MistDark, row.MistLight = said.MistDark, said.MistLight
	}
	own := func(source *string, text string, flags ...string) {
		if *source == "" || slices.ContainsFunc(flags, changed) {
			*source = text
		}
	}
	own(&row.SizeSource, "measured at the farm", "seed-size", "tsw")
	own(&row.SowSource, "the farm's own", "density", "days")
	own(&row.GrowSource, "the farm's own", "dark", "weighted", "mist")
	return &row
}
