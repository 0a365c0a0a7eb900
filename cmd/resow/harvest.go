package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
)

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
