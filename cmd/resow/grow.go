package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) sowCommand() *cobra.Command {
	var flags *stepFlags
	c, flags := a.fieldCommand(medium.KindSow, "Sow a crop or a mix on ready mats",
		`Sow begins a turn. It is refused on a mat that is not ready, or that the policy
stops or retires; the reasons are the verdict's. Seed that may fall through
the mesh is pointed out, not refused. Without --seed it says how much seed the area takes.`,
		`  resow sow TK7R2N81 --crop radish --seed 42g --lot R-1124 --seed-lot S88 --by MK
  resow sow TK7R2N81 TB3DF6H2 --crop broccoli=18g --crop radish=10g --by MK`,
		func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
			if strings.TrimSpace(flags.said()["lot"]) == "" {
				fmt.Fprintln(out, "No lot: a recall finds this crop only by its mat or its seed lot (--lot).")
			}
			return printSeed(f, codes, out)
		})
	return c
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
		fmt.Fprint(out, ui.Wrap(fmt.Sprintf("%s on %s: %s by the table (%g g/m2; %s)", crop.Name, c.Mat.Size(), f.Mass(table), crop.DensityGM2, crop.SowSource), 79, "  "))
		if s.SeedG > 0 && (s.SeedG > 2*table || s.SeedG < table/2) {
			fmt.Fprint(out, ui.Wrap(fmt.Sprintf("Check the seed: %s on one mat is %s times the figure in the table. --seed is for each mat, not for all of them.", f.Mass(s.SeedG), farm.Digits(s.SeedG/table, 2)), 79, "  "))
		}
	}
	if d := medium.DaysMax(c.Crops); d > 0 {
		fmt.Fprintf(out, "harvest by %s\n", f.Date(c.SownAt.AddDate(0, 0, d)))
	}
	return nil
}

func (a *app) mistCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindMist, "Record misting, or the treatment of a spot, on growing mats",
		`Misting is worth a record where it is a treatment, or where the water is
counted. Do not breathe sprayed mist; gloves and eye protection for anything
but water; the product's label says whether it may touch a crop at all.`,
		`  resow mist TK7R2N81 --water 200mL --by MK
  resow mist TK7R2N81 --treated "peroxide 0.5 %" --where "left corner" --by MK`, nil)
	return c
}

func (a *app) harvestCommand() *cobra.Command {
	var flags *stepFlags
	c, flags := a.fieldCommand(medium.KindHarvest, "Record the harvest; the mats go to the wash",
		`Harvest ends the growing. Wash soon: roots and biofilm hold harder by the hour.
After a knife that touched the mesh the washed mat is inspected before it is
sown on again (resow inspect; resow cut for what is found).`,
		`  resow harvest TK7R2N81 --yield 310g --cut-height 12mm --by MK
  resow harvest TK7R2N81 --yield 200g --more-cuts --by MK     pea shoots, to be cut again`,
		func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
			said := flags.said()
			if g, err := amount.Mass("yield", said["yield"]); err == nil && len(codes) > 1 {
				fmt.Fprintf(out, "%s on each of %d mats\n", f.Mass(g), len(codes))
			}
			if said["knife_touched"] == "true" {
				fmt.Fprintln(out, "The knife touched the mesh: look for cuts at the rinse (`resow cut`), and inspect\nthe washed mat before it is sown on (`resow inspect`).")
			}
			return nil
		})
	return c
}

func must(err error) {
	if err != nil {
		panic(err)
	}
}
