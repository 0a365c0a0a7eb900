package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
)

func (a *app) pricesCommand() *cobra.Command {
	c := &cobra.Command{Use: "prices", Short: "Show or set what the farm pays, for the cost of a turn",
		Long: `Prices are the farm's own, in its currency: an hour of work, the throw-away
medium that a mat takes the place of, sanitizer, water and label. The price of
the mesh stands with each mat (resow add --cost). From these the reuse report compares a turn
of a mat with a tray of medium.`,
		Example: "  resow prices show\n  resow prices set --labor 15 --medium 0.95 --medium-mass 42g --by MK"}
	c.AddCommand(a.pricesShowCommand(), a.pricesSetCommand())
	return c
}

func (a *app) pricesShowCommand() *cobra.Command {
	return &cobra.Command{Use: "show", Short: "Show the farm's prices", Args: cobra.NoArgs,
		Long:    "Show prints the prices in force. `resow history FARM` tells by whom and when they were set.",
		Example: "  resow prices show\n  resow prices show --json",
		RunE: func(*cobra.Command, []string) error {
			return a.open(true, func(f *farm.Farm) error {
				return a.Print(struct {
					Currency string `json:"currency"`
					medium.Prices
				}{f.Settings.Currency, f.Prices}, func(w io.Writer) {
					for _, l := range priceLines(f.Prices, f.Settings.Currency) {
						fmt.Fprintf(w, "%-28s %s\n", l.what, l.value)
					}
				})
			})
		}}
}

type priceLine struct{ what, value string }

func priceLines(p medium.Prices, currency string) []priceLine {
	money := func(v float64) string {
		if v == 0 {
			return "not set"
		}
		return fmt.Sprintf("%.2f %s", v, currency)
	}
	return []priceLine{{"labor, an hour", money(p.LaborPerHour)}, {"medium, a tray", money(p.MediumPerTray)},
		{"medium, dry mass a tray", fmt.Sprintf("%g g", p.MediumGPerTray)}, {"medium, work a tray", fmt.Sprintf("%g min", p.MediumMinutes)},
		{"sanitizer, a turn", money(p.SanitizerPerTurn)}, {"water, a turn", money(p.WaterPerTurn)}, {"label and mark, a mat", money(p.LabelPerMat)}}
}

func (a *app) pricesSetCommand() *cobra.Command {
	var p medium.Prices
	var mass, work string
	c := &cobra.Command{Use: "set", Short: "Set one or more of the farm's prices", Args: cobra.NoArgs,
		Long: `Set changes the prices that are given and keeps the others. They are a record of
the farm, with initials. Time the washing once: resow rinse --took.`,
		Example: `  resow prices set --labor 15 --medium 0.95 --medium-mass 42g --by MK
  resow prices set --sanitizer 0.03 --water 0.02 --label 0.25 --by MK`}
	flags := c.Flags()
	own := []struct {
		name, help string
		given      *float64
		in         func(*medium.Prices) *float64
	}{
		{"labor", "an hour of work", &p.LaborPerHour, func(p *medium.Prices) *float64 { return &p.LaborPerHour }},
		{"medium", "throw-away medium for one tray of the usual mat size", &p.MediumPerTray, func(p *medium.Prices) *float64 { return &p.MediumPerTray }},
		{"sanitizer", "sanitizer for one turn", &p.SanitizerPerTurn, func(p *medium.Prices) *float64 { return &p.SanitizerPerTurn }},
		{"water", "water for one turn", &p.WaterPerTurn, func(p *medium.Prices) *float64 { return &p.WaterPerTurn }},
		{"label", "label, mark and making of one mat", &p.LabelPerMat, func(p *medium.Prices) *float64 { return &p.LabelPerMat }},
	}
	for _, o := range own {
		flags.Float64Var(o.given, o.name, 0, o.help+", in the farm's currency")
	}
	flags.StringVar(&mass, "medium-mass", "", "dry mass of the medium for one tray: 42g")
	flags.StringVar(&work, "medium-time", "", "work on one tray of medium: 1min")
	c.RunE = func(*cobra.Command, []string) error {
		return a.open(false, func(f *farm.Farm) error {
			now := f.Prices
			for _, o := range own {
				if flags.Changed(o.name) {
					*o.in(&now) = *o.given
				}
			}
			if err := farm.Optional(&now.MediumGPerTray, mass, "mass of the medium", amount.Mass); err != nil {
				return err
			}
			if work != "" {
				span, err := amount.Span("work on a tray of medium", work)
				if err != nil {
					return err
				}
				now.MediumMinutes = span.Minutes()
			}
			return a.recordFarm(f, &now)
		})
	}
	return c
}
