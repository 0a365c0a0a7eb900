package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
)

func (a *app) pricesCommand(c *cobra.Command) {

	a.sub(c, "show", (*app).pricesShowCommand)
	a.sub(c, "set", (*app).pricesSetCommand)
}

func (a *app) pricesShowCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		return a.Print(struct {
			Currency string `json:"currency"`
			medium.Prices
		}{f.Settings.Currency, f.Prices}, func(w io.Writer) {
			for _, l := range priceLines(f.Prices, f.Settings.Currency) {
				fmt.Fprintf(w, "%-28s %s\n", l.what, l.value)
			}
		})
	})
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

func (a *app) pricesSetCommand(c *cobra.Command) {
	var p medium.Prices
	var mass, work string

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
}
