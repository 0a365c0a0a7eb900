package main

import (
	"errors"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels/report"
	"resow/medium"
	"resow/store"
)

func (a *app) forecastCommand(c *cobra.Command) {
	var in report.ForecastInput
	var out string

	c.ValidArgsFunction = a.completeCodes
	c.RunE = func(c *cobra.Command, args []string) error {
		if in.Weeks < 1 || in.Weeks > 260 {
			return ui.Wrongf("--weeks %d: want 1 to 260", in.Weeks)
		}
		for _, n := range in.Sowings {
			if n < 0 || n > 1e6 {
				return ui.Wrongf("--sowings %d: want the sowings in a week, 0 or more", n)
			}
		}
		if in.Spares < 0 {
			return ui.Wrongf("--spares %d: want 0 or more", in.Spares)
		}
		if flags := c.Flags(); len(args) == 1 && (flags.Changed("weeks") || flags.Changed("sowings") ||
			flags.Changed("spares")) {
			return ui.Wrong("--weeks, --sowings and --spares are about all mats; leave them out with a CODE")
		}
		return a.open(true, func(f *farm.Farm) (err error) {
			if in.Origin, err = f.Origin(); err != nil {
				return err
			}
			var broken error
			in.Mats = f.EachMat(&broken)
			var r report.Report
			if len(args) == 1 {
				mat, err := f.Mat(args[0])
				if err != nil {
					return err
				}
				r = in.Left(mat)
			} else {
				if in.Sown, err = f.Sown(); err != nil {
					return err
				}
				r = report.Forecast(in)
			}
			if broken != nil {
				return broken
			}
			return a.paper(out, r)
		})
	}
	c.Flags().IntVar(&in.Weeks, "weeks", 12, "how many weeks ahead")
	c.Flags().IntSliceVar(&in.Sowings, "sowings", nil, "planned sowings of each week; the last goes on")
	c.Flags().IntVar(&in.Spares, "spares", 0, "mats that lie ready to replace others")
	c.Flags().StringVar(&out, "out", "", "file to write: .pdf, .html or .csv")
}

// maybeFarm opens the farm's ledger where there is one; planning needs none.
func (a *app) maybeFarm(do func(*farm.Farm, report.Origin) error) error {
	err := a.open(true, func(f *farm.Farm) error {
		origin, err := f.Origin()
		if err != nil {
			return err
		}
		return do(f, origin)
	})
	var missing *store.MissingError
	if !errors.As(err, &missing) || a.path != "" {
		return err
	}
	return do(nil, report.Origin{Farm: medium.Farm{Settings: medium.FarmSettings{Paper: "a4", Currency: "EUR"}},
		At: a.now()})
}
