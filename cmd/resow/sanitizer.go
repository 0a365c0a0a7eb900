package main

import (
	"fmt"
	"io"
	"strconv"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/medium"
	"resow/medium/sanitizer"
)

func (a *app) sanitizerCommand() *cobra.Command {
	c := &cobra.Command{Use: "sanitizer", Short: "Keep the sanitizers with the directions of their labels",
		Long: "A sanitize step is checked against these directions. A product without directions can be kept on file, and no step with it is accepted.",
		Example: `  resow sanitizer add "blue drum" --active hypochlorite --stock 5.25% --directions label --strength 50-200ppm --contact 2min --by MK
  resow sanitizer list`}
	c.AddCommand(a.sanitizerAddCommand(), a.sanitizerListCommand())
	return c
}

func (a *app) sanitizerAddCommand() *cobra.Command {
	var s medium.Sanitizer
	var strength, contact, minTemp, maxTemp, ph string
	c := &cobra.Command{Use: "add NAME", Short: "Copy a sanitizer's label into the records", Args: cobra.ExactArgs(1),
		Long: `Copy what the printed label says for food-contact surfaces: the strength in use,
how long the surface stays wet, temperature, pH, and whether to rinse with
potable water. Use --directions "farm procedure" only for your own written
procedure; a care finding then stands on every verdict.

Drugstore peroxide of 3 % is about 27 times the published ceiling of 1,100 ppm for
peroxide that stays on a food-contact surface, and its label rarely has
food-contact directions: rinse, or choose a labelled product.

Keep products in their own closed containers, apart from food, acids and
ammonia. The label, local rules and qualified people come first.`,
		Example: `  resow sanitizer add "blue drum" --active hypochlorite --stock 5.25% --directions label \
      --strength 50-200ppm --contact 2min --min-temp 24C --registration "copied from the label" --by MK
  resow sanitizer add "drugstore peroxide" --active peroxide --stock 3% --directions "farm procedure" \
      --strength 3%-3% --contact 10min --rinse --by MK`,
		RunE: func(_ *cobra.Command, args []string) error {
			s.Name = args[0]
			if err := s.Check(); err != nil && s.Directions == "" {
				return err
			}
			var err error
			if strength != "" {
				if s.MinPPM, s.MaxPPM, err = strengthRange(s.Active, strength); err != nil {
					return err
				}
			}
			if contact != "" {
				d, err := amount.Span("contact time", contact)
				if err != nil {
					return err
				}
				s.ContactS = int(d.Seconds())
			}
			if err := optional(&s.MinTempC, minTemp, "least temperature", amount.Temperature); err != nil {
				return err
			}
			if err := optional(&s.MaxTempC, maxTemp, "greatest temperature", amount.Temperature); err != nil {
				return err
			}
			if ph != "" {
				if _, err := fmt.Sscanf(ph, "%g-%g", &s.MinPH, &s.MaxPH); err != nil {
					return &amount.Error{What: "pH", Input: ph, Want: "a range: 6.5-7.5"}
				}
			}
			return a.open(false, func(f *farm) error { return a.recordFarm(f, &s) })
		}}
	flags := c.Flags()
	flags.StringVar(&s.Active, "active", "", "active ingredient: peroxide, hypochlorite, peroxyacetic, quat …")
	flags.StringVar(&s.Stock, "stock", "", "stock strength from the label: 5.25%, 35%")
	flags.StringVar(&s.Directions, "directions", "", "label, or \"farm procedure\"; empty where there are none")
	flags.StringVar(&strength, "strength", "", "strength in use: 50-200ppm")
	flags.StringVar(&contact, "contact", "", "how long it stays wet: 2min")
	flags.StringVar(&minTemp, "min-temp", "", "least temperature: 24C, 75F")
	flags.StringVar(&maxTemp, "max-temp", "", "greatest temperature: 49C")
	flags.StringVar(&ph, "ph", "", "pH window: 6.5-7.5")
	flags.BoolVar(&s.Rinse, "rinse", false, "the directions ask for a rinse with potable water")
	flags.Float64Var(&s.MixedHours, "good-h", 0, "hours that a mixed solution stays good")
	flags.Float64Var(&s.OpenedDays, "opened-days", 0, "days that an opened bottle stays good")
	flags.StringVar(&s.Registration, "registration", "", "registration number, as text")
	flags.StringVar(&s.Note, "note", "", "anything else the label says")
	must(c.MarkFlagRequired("active"))
	must(c.RegisterFlagCompletionFunc("active", fixedWords(actives()...)))
	must(c.RegisterFlagCompletionFunc("directions", fixedWords(medium.DirectionsLabel, medium.DirectionsFarm)))
	return c
}

func (a *app) sanitizerListCommand() *cobra.Command {
	return &cobra.Command{Use: "list", Short: "List the sanitizers on file", Args: cobra.NoArgs,
		Long:    "List prints each product with the directions that steps are checked against.",
		Example: "  resow sanitizer list\n  resow sanitizer list --json",
		RunE: func(*cobra.Command, []string) error {
			return a.open(true, func(f *farm) error {
				list := f.Sanitizers
				if list == nil {
					list = []medium.Sanitizer{}
				}
				return a.print(struct {
					Sanitizers []medium.Sanitizer `json:"sanitizers"`
				}{list}, func(w io.Writer) {
					if len(list) == 0 {
						fmt.Fprintln(w, "No sanitizer on file. Copy a label with `resow sanitizer add`.")
					}
					for _, s := range list {
						printSanitizer(w, s)
					}
				})
			})
		}}
}

func printSanitizer(w io.Writer, s medium.Sanitizer) {
	fmt.Fprintf(w, "%s (%s%s)\n", s.Name, s.Active, quantityText(", stock ", s.Stock))
	if s.Directions == "" {
		fmt.Fprintln(w, "  no directions on file: no step with it is accepted")
		return
	}
	rinse := "no rinse asked for"
	if s.Rinse {
		rinse = "rinse with potable water"
	}
	text := join(s.Directions+fmt.Sprintf(": %g-%g ppm", s.MinPPM, s.MaxPPM), medium.Seconds(s.ContactS)+" wet",
		quantity("at least %g C", s.MinTempC), quantity("at most %g C", s.MaxTempC), rinse, named("registration", s.Registration), s.Note)
	fmt.Fprint(w, wrap("  "+text, 79, "    "))
}

func quantityText(lead, text string) string {
	if text == "" {
		return ""
	}
	return lead + text
}

// strengthRange reads 50-200ppm, or a single strength for both ends.
func strengthRange(active, text string) (lo, hi float64, err error) {
	from, to, ok := cutRange(text)
	if !ok {
		from, to = text, text
	}
	if lo, err = ppm(active, from); err != nil {
		return 0, 0, err
	}
	hi, err = ppm(active, to)
	return lo, hi, err
}

// cutRange parts 50-200ppm into 50ppm and 200ppm.
func cutRange(text string) (from, to string, ok bool) {
	for i := 1; i < len(text); i++ {
		if text[i] != '-' {
			continue
		}
		from, to = text[:i], text[i+1:]
		if last := from[len(from)-1]; last >= '0' && last <= '9' || last == '.' {
			unit := to
			for len(unit) > 0 && (unit[0] >= '0' && unit[0] <= '9' || unit[0] == '.') {
				unit = unit[1:]
			}
			from += unit
		}
		return from, to, true
	}
	return "", "", false
}

// strengthPPM reads the strength of a sanitize step in mg/L of its active.
func strengthPPM(f *farm, b *medium.Sanitize, text string) (float64, error) {
	active := b.Active
	if s, ok := f.Sanitizer(b.Product, b.Active); ok {
		active = s.Active
	}
	return ppm(active, text)
}

func ppm(active, text string) (float64, error) {
	s, err := sanitizer.ParseStrength(text)
	if err != nil {
		return 0, err
	}
	v, err := s.PPM(sanitizer.Active(active), 0)
	if err != nil {
		return 0, err
	}
	return round3(v), nil
}

// round3 keeps the three digits that a measured strength can mean.
func round3(v float64) float64 {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 3, 64), 64)
	return rounded
}
