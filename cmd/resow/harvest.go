package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
)

func (a *app) harvestCommand(c *cobra.Command) {
	var flags *stepFlags
	flags = a.fieldCommand(c, func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
		said := flags.said()
		if g, err := amount.Mass("yield", said["yield"]); err == nil && len(codes) > 1 {
			fmt.Fprintf(out, "%s on each of %d mats\n", f.Mass(g), len(codes))
		}
		if said["knife_touched"] == "true" {
			fmt.Fprintln(out,
				"The knife touched the mesh: look for cuts at the rinse (`resow cut`), and inspect\nthe washed mat before it "+
					"is sown on (`resow inspect`).")
		}
		return nil
	})
}
