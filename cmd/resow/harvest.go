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

func (a *app) harvestCommand(c *cobra.Command) {
	flags := a.fieldFlags(c, medium.KindHarvest)
	var total float64
	var shares map[medium.Code]float64
	alone := false // some have weights of their own
	a.stepCommand(c,
		func(f *farm.Farm, mats named, code medium.Code) (medium.Body, error) {
			alone = len(mats.own) > 0
			if total == 0 {
				return flags.body(a, f, mats.own[code])
			}
			if alone {
				return nil, ui.Wrong("--total is what all gave together; leave it out where mats have weights of their own")
			}
			if shares == nil {
				var err error
				if shares, err = f.SharesByArea(total, mats.codes); err != nil {
					return nil, err
				}
			}
			return flags.body(a, f, map[string]string{"yield": fmt.Sprintf("%.1fg", shares[code]), "shared": "true"})
		},
		func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
			said := flags.said()
			if g, err := amount.Mass("yield", said["yield"]); err == nil && len(codes) > 1 && !alone {
				fmt.Fprintf(out, "%s on each of %d mats\n", f.Mass(g), len(codes))
			}
			if total > 0 {
				fmt.Fprintf(out, "%s shared by area over %s\n", f.Mass(total), ui.Counted(len(codes), "mat"))
			}
			if said["knife_touched"] == "true" {
				fmt.Fprintln(out,
					"The knife touched the mesh: look for cuts at the rinse (`resow cut`), and inspect\nthe washed mat before it "+
						"is sown on (`resow inspect`).")
			}
			return nil
		})
	readAs(c, &total, "total", "total", amount.Mass, "what all gave together, to be shared by area: 1240g")
	c.MarkFlagsMutuallyExclusive("yield", "total")
}
