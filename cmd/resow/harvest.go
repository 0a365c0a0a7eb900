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
	var flags *stepFlags
	var total float64
	flags = a.fieldCommand(c, func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
		said := flags.said()
		if g, err := amount.Mass("yield", said["yield"]); err == nil && len(codes) > 1 && len(a.ofMat) == 0 {
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
	readAs(c, &total, "total", "total", amount.Mass,
		"what all mats gave together; it is shared by area and marked so: 1240g")
	c.MarkFlagsMutuallyExclusive("yield", "total")
	record := c.RunE
	c.RunE = func(c *cobra.Command, args []string) error {
		a.prepare = func(f *farm.Farm, codes []medium.Code) error { return a.shareTotal(f, total, codes) }
		return record(c, args)
	}
}

// shareTotal gives each mat its share of what all gave together.
func (a *app) shareTotal(f *farm.Farm, total float64, codes []medium.Code) error {
	if total == 0 {
		return nil
	}
	if len(a.ofMat) > 0 {
		return ui.Wrong("--total is what all gave together; leave it out where mats have weights of their own")
	}
	shares, err := f.SharesByArea(total, codes)
	a.ofMat = map[medium.Code]map[string]string{}
	for code, g := range shares {
		a.ofMat[code] = map[string]string{"yield": fmt.Sprintf("%.1fg", g), "shared": "true"}
	}
	return err
}
