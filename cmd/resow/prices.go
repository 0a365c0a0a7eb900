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
			for _, p := range pricesOf(&f.Prices) {
				fmt.Fprintf(w, "%-28s %s\n", p.what, p.value(f.Settings.Currency))
			}
		})
	})
}

// price is one of the farm's prices: its flag, and how it is listed.
type price struct {
	flag, help string
	what       string
	of         *float64
	unit       string // none: it is money
}

func pricesOf(p *medium.Prices) []price {
	return []price{
		{"labor", "an hour of work", "labor, an hour", &p.LaborPerHour, ""},
		{"medium", "throw-away medium for one tray of the usual mat size", "medium, a tray", &p.MediumPerTray, ""},
		{"medium-mass", "", "medium, dry mass a tray", &p.MediumGPerTray, "g"},
		{"medium-time", "", "medium, work a tray", &p.MediumMinutes, "min"},
		{"sanitizer", "sanitizer for one turn", "sanitizer, a turn", &p.SanitizerPerTurn, ""},
		{"water", "water for one turn", "water, a turn", &p.WaterPerTurn, ""},
		{"label", "label, mark and making of one mat", "label and mark, a mat", &p.LabelPerMat, ""},
	}
}

func (p price) value(currency string) string {
	switch {
	case p.unit != "":
		return fmt.Sprintf("%g %s", *p.of, p.unit)
	case *p.of == 0:
		return "not set"
	}
	return fmt.Sprintf("%.2f %s", *p.of, currency)
}

func (a *app) pricesSetCommand(c *cobra.Command) {
	var given medium.Prices
	own := pricesOf(&given)
	for _, p := range own {
		if p.unit == "" {
			c.Flags().Float64Var(p.of, p.flag, 0, p.help+", in the farm's currency")
		}
	}
	readAs(c, &given.MediumGPerTray, "medium-mass", "mass of the medium", amount.Mass,
		"dry mass of the medium for one tray: 42g")
	readAs(c, &given.MediumMinutes, "medium-time", "work on a tray of medium", minutes, "work on one tray of medium: 1min")
	c.RunE = a.writes(func(f *farm.Farm, _ []string) error {
		now := f.Prices
		for i, p := range pricesOf(&now) {
			if c.Flags().Changed(p.flag) {
				*p.of = *own[i].of
			}
		}
		return a.recordFarm(f, &now)
	})
}

func minutes(what, text string) (float64, error) {
	d, err := amount.Span(what, text)
	return d.Minutes(), err
}
