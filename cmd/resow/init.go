package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/text/currency"

	"resow/cmd/resow/ui"
	"resow/medium"
	"resow/store"
)

func (a *app) initCommand(c *cobra.Command) {
	var s medium.FarmSettings
	var lat, lon float64
	c.RunE = func(cmd *cobra.Command, _ []string) error {
		if cmd.Flags().Changed("lat") {
			s.Lat, s.Lon = &lat, &lon
		}
		if strings.TrimSpace(s.Name) == "" {
			return ui.Wrong("the farm needs a name for its labels and reports: --name \"Reed End Greens\"")
		}
		if _, err := currency.ParseISO(s.Currency); err != nil {
			return &medium.InputError{Field: "currency", Value: s.Currency, Want: "a code of ISO 4217 such as EUR, USD or GBP"}
		}
		st, err := store.Create(a.storePath(), s, a.initials(), a.storeOptions(false))
		if err != nil {
			return err
		}
		if err := st.Close(); err != nil {
			return err
		}
		return a.Print(map[string]string{"store": a.storePath(), "farm": s.Name}, func(w io.Writer) {
			fmt.Fprintf(w, "Began the ledger of %s in %s.\n", s.Name, a.storePath())
			ui.Tell(w, "Next: copy your sanitizer's label with `resow sanitizer add`, then register mats with `resow add`.")
		})
	}
	flags := c.Flags()
	flags.StringVar(&s.Name, "name", "", "the farm's name, as it stands on labels and reports")
	flags.StringVar(&s.Place, "place", "", "its address, for the records")
	flags.StringVar(&s.Zone, "zone", "UTC", "time zone: Europe/Dublin, America/Chicago")
	flags.StringVar(&s.Units, "units", medium.Metric, "metric or us")
	flags.StringVar(&s.Currency, "currency", "EUR", "ISO 4217 code")
	flags.StringVar(&s.Paper, "paper", "a4", "a4 or letter")
	flags.Float64Var(&lat, "lat", 0, "latitude in degrees, north positive, for the sun while drying: 53.3")
	flags.Float64Var(&lon, "lon", 0, "longitude in degrees, east positive: -6.3")
	c.MarkFlagsRequiredTogether("lat", "lon")
	required(c, "name")
}
