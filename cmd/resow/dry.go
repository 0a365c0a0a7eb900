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

func (a *app) dryCommand() *cobra.Command {
	var flags *stepFlags
	var from, to string
	var place sunlight.Place
	c := a.stepCommand("dry", "Record that the mats are dry",
		`Dry after the rinse, and again after the sanitizer. Drying in the sun earns no
sanitizing credit; it is counted as wear of the mesh.

For the sun say how long (--for, or --from and --to). Where the farm's place is
on file (resow init --lat --lon), or given here, the sun's height gives the wear
and the sunburning dose of a clear sky, less what --sky keeps off. --uv takes the
UV index of a forecast for the dose instead. With neither, the hours count at the
policy's sun-power.`,
		`  resow dry TK7R2N81 TB3DF6H2 --where sun --from 10:00 --to 14:30 --sky scattered --by MK
  resow dry TK7R2N81 --where sun --for 3h --uv 6 --by MK
  resow dry TK7R2N81 --where air --for 10h --by MK`,
		func(f *farm.Farm, _ medium.Code) (medium.Body, error) {
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
					return nil, ui.Wrong(fmt.Sprintf("--from %s --to %s: want the earlier time first; over midnight --from needs its day: \"2026-11-24 20:00\"", from, to))
				}
				said["for"] = fmt.Sprintf("%.0fs", r.At.Sub(start).Seconds())
			}
			return r.Body(medium.KindDry, said)
		},
		func(_ *farm.Farm, _ []medium.Code, out io.Writer) error {
			if flags.said()["where"] == medium.DrySun {
				fmt.Fprint(out, ui.Wrap(sunlight.NoSanitizingCredit, 79, ""))
			}
			return nil
		})
	flags = a.fieldFlags(c, medium.KindDry)
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
	return c
}
