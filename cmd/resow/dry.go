package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/medium/sunlight"
)

func (a *app) dryCommand(c *cobra.Command) {
	flags := a.fieldFlags(c, medium.KindDry)
	var from, to string
	var place sunlight.Place
	a.stepCommand(c,
		func(f *farm.Farm, _ named, _ medium.Code) (medium.Body, error) {
			r := a.reader(f)
			if flags.Flags().Changed("lat") {
				r.Place = &place
			}
			said := flags.said()
			if from != "" {
				start, err := amount.At(from, f.Now())
				if err != nil {
					return nil, err
				}
				if !start.Before(r.At) {
					return nil, ui.Wrongf("--from %s --to %s: want the earlier time first; over midnight --from needs "+
						"its day: \"2026-11-24 20:00\"", from, to)
				}
				said["for"] = fmt.Sprintf("%.0fs", r.At.Sub(start).Seconds())
			}
			return r.Body(medium.KindDry, said)
		},
		func(_ *farm.Farm, _ []medium.Code, out io.Writer) error {
			if flags.said()["where"] == medium.DrySun {
				ui.Tell(out, "%s", sunlight.NoSanitizingCredit)
			}
			return nil
		})
	c.Flags().StringVar(&from, "from", "", "when the mats were laid in the sun: 10:00")
	c.Flags().StringVar(&to, "to", "", "when they were taken in: 14:30")
	c.Flags().Float64Var(&place.LatDeg, "lat", 0, "latitude in degrees, north positive, where the farm's is not on file")
	c.Flags().Float64Var(&place.LonDeg, "lon", 0, "longitude in degrees, east positive")
	c.MarkFlagsRequiredTogether("lat", "lon")
	c.MarkFlagsRequiredTogether("from", "to")
	c.MarkFlagsMutuallyExclusive("for", "from")
	record := c.RunE
	c.RunE = func(cmd *cobra.Command, args []string) error {
		if to != "" {
			if a.at != "" {
				return ui.Wrong("--to says when the mats were taken in; leave --at out")
			}
			a.at = to
		}
		return record(cmd, args)
	}
}
