package main

import (
	"fmt"
	"io"
	"sort"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/text/currency"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
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
			fmt.Fprint(w, ui.Wrap("Next: copy your sanitizer's label with `resow sanitizer add`, then register mats with `resow add`.", 79, ""))
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
	must(c.MarkFlagRequired("name"))
}

func (a *app) addCommand(c *cobra.Command) {
	var m medium.Mat
	var count int
	var size, aperture, thread, weight string
	c.RunE = func(*cobra.Command, []string) error {
		var err error
		if m.LengthMM, m.WidthMM, err = amount.Size("size", size); err != nil {
			return err
		}
		for _, o := range []struct {
			to         *float64
			text, what string
			read       func(string, string) (float64, error)
		}{
			{&m.ApertureMM, aperture, "aperture", amount.Length}, {&m.ThreadMM, thread, "thread", amount.Length}, {&m.DryWeightG, weight, "dry weight", amount.Mass},
		} {
			if err := farm.Optional(o.to, o.text, o.what, o.read); err != nil {
				return err
			}
		}
		if count < 1 || count > maxCodes {
			return ui.Wrong(fmt.Sprintf("--count %d: want 1 to %d", count, maxCodes))
		}
		if m.Mark != "" && count > 1 {
			return ui.Wrong("--mark is one mat's own; register marked mats one by one")
		}
		return a.open(false, func(f *farm.Farm) error { return a.add(f, m, count) })
	}
	flags := c.Flags()
	flags.IntVar(&count, "count", 1, "how many alike")
	flags.StringVar(&m.Form, "form", medium.FormMat, "mat or screen")
	flags.StringVar(&size, "size", "", "length x width: 250x510mm")
	flags.StringVar(&m.Material, "material", "", "polyester, polypropylene, stainless steel …")
	flags.StringVar(&aperture, "aperture", "", "opening of the mesh: 0.5mm")
	flags.StringVar(&thread, "thread", "", "thickness of the thread: 0.3mm")
	flags.IntVar(&m.Layers, "layers", 1, "layers of mesh")
	flags.StringVar(&m.Roll, "roll", "", "mesh roll or sheet it was cut from")
	flags.StringVar(&m.Supplier, "supplier", "", "who sold the mesh")
	flags.StringVar(&m.ContactStatement, "contact", "", "the supplier's statement on food contact, in its own words")
	flags.StringVar(&m.ContactDate, "contact-date", "", "its date: 2026-03-01")
	flags.Float64Var(&m.Cost, "cost", 0, "cost of one mat in the farm's currency")
	flags.StringVar(&weight, "weight", "", "dry weight: 38g")
	flags.StringVar(&m.Mark, "mark", "", "a second identity that needs no label: punched dots, a notch")
	flags.Float64Var(&m.SunRatingKLy, "sun-rating", 0, "the mesh's rating in kLy of total sun, where it has one")
	must(c.MarkFlagRequired("size"))
	must(c.RegisterFlagCompletionFunc("form", fixedWords(medium.FormMat, medium.FormScreen)))
}

func (a *app) add(f *farm.Farm, m medium.Mat, count int) error {
	at, day, err := a.happenedOn(f)
	if err != nil {
		return err
	}
	drawn := map[medium.Code]bool{}
	steps := make([]medium.Step, count)
	for i := range steps {
		code, err := f.FreshCode(drawn)
		if err != nil {
			return err
		}
		steps[i] = medium.Step{Mat: code, By: a.initials(), At: at, Day: day, Body: &medium.Add{Mat: m}}
	}
	done, err := a.keep(f, steps)
	if err != nil {
		return err
	}
	codes := make([]medium.Code, len(done))
	for i, s := range done {
		codes[i] = s.Mat
	}
	return a.Print(struct {
		Codes []medium.Code `json:"codes"`
	}{codes}, func(w io.Writer) {
		for i, c := range codes {
			end := "  "
			if i%6 == 5 || i == len(codes)-1 {
				end = "\n"
			}
			fmt.Fprint(w, c.String()+end)
		}
		fmt.Fprintf(w, "Registered %d, %s, waiting to wash.\n", len(codes), m.Size())
		if !m.ContactDocumented() {
			fmt.Fprintln(w, "No dated food-contact statement is on file for this mesh; ask the supplier\nfor one, and add it with `resow document`.")
		}
		fmt.Fprintln(w, "Next: print labels with `resow label --new`.")
	})
}

func (a *app) policyCommand(c *cobra.Command) {
	c.Long += fileIsOpen

	a.sub(c, "show", (*app).policyShowCommand)
	a.sub(c, "set", (*app).policySetCommand)
}

// ruleInForce is one line of policy show --json.
type ruleInForce struct {
	medium.Rule
	On      bool    `json:"on"`
	Limit   float64 `json:"limit"`
	InTurns float64 `json:"limit_window,omitempty"`
	Changed bool    `json:"changed"`
}

func (a *app) policyShowCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		rules := make([]ruleInForce, len(medium.Rules))
		for i, r := range medium.Rules {
			s := f.Policy.Setting(r.Name)
			rules[i] = ruleInForce{Rule: r, On: s.On, Limit: s.Limit, InTurns: s.Window}
			for _, own := range f.Policy.Settings {
				rules[i].Changed = rules[i].Changed || own.Rule == r.Name
			}
		}
		return a.Print(struct {
			Version int           `json:"version"`
			Rules   []ruleInForce `json:"rules"`
		}{f.Policy.Version, rules}, func(w io.Writer) {
			fmt.Fprintf(w, "Policy of %s, version %d\n", medium.Visible(f.Settings.Name), f.Policy.Version)
			for _, r := range rules {
				printRule(w, r)
			}
		})
	})
}

func printRule(w io.Writer, r ruleInForce) {
	limit := fmt.Sprintf("%g %s", r.Limit, r.Unit)
	switch {
	case r.Fixed:
		limit = "always"
	case !r.On:
		limit = "off"
	case r.InTurns > 0:
		limit += fmt.Sprintf(", window %g turns", r.InTurns)
	}
	star := " "
	if r.Changed {
		star = "*"
	}
	fmt.Fprintf(w, "%s %-7s %-21s %s\n", star, r.Severity, r.Name, limit)
	fmt.Fprint(w, ui.Wrap("            "+r.About, 79, "            "))
	fmt.Fprint(w, ui.Wrap("            from: "+r.Source, 79, "            "))
}

func (a *app) policySetCommand(c *cobra.Command) {
	var limit, window float64
	var off bool
	var reason string

	c.Long += fileIsOpen
	c.Flags().Float64Var(&limit, "limit", 0, "the new figure")
	c.Flags().Float64Var(&window, "window", 0, "the second figure of a rule that has one, in turns")
	c.Flags().BoolVar(&off, "off", false, "switch the rule off")
	c.Flags().StringVar(&reason, "reason", "", "why")
	must(c.MarkFlagRequired("reason"))
	c.ValidArgsFunction = fixedWords(ruleNames()...)
	c.RunE = func(_ *cobra.Command, args []string) error {
		return a.open(false, func(f *farm.Farm) error {
			rule, ok := medium.RuleNamed(args[0])
			if !ok {
				return &medium.UnknownError{What: "rule", Name: args[0]}
			}
			old := f.Policy.Setting(args[0])
			set := old
			set.On = !off
			if c.Flags().Changed("limit") {
				set.Limit = limit
			}
			if c.Flags().Changed("window") {
				set.Window = window
			}
			if set == old && !rule.Fixed {
				return ui.Wrong(fmt.Sprintf("%s is set to that already (`resow policy show`); nothing was changed", rule.Name))
			}
			return a.recordFarm(f, &medium.PolicyChange{Setting: set, Reason: reason})
		})
	}
}

// recordFarm records something about the farm, also as a late entry, and says so.
func (a *app) recordFarm(f *farm.Farm, body medium.Body) error {
	at, day, err := a.happenedOn(f)
	if err != nil {
		return err
	}
	done, err := a.keep(f, []medium.Step{{Mat: medium.FarmThread, By: a.initials(), At: at, Day: day, Body: body}})
	if err != nil {
		return err
	}
	return a.Print(done[0], func(w io.Writer) {
		fmt.Fprint(w, ui.Wrap(fmt.Sprintf("recorded %s: %s", done[0].Kind, farm.Line(done[0].Body)), 79, "  "))
		printFindings(w, done[0].Outcome.Findings)
	})
}

func (a *app) cropCommand(c *cobra.Command) {

	a.sub(c, "list", (*app).cropListCommand)
	a.sub(c, "add", (*app).cropAddCommand)
}

func (a *app) cropListCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		crops, err := medium.ShippedCrops()
		if err != nil {
			return err
		}
		own := map[string]bool{}
		for _, c := range f.OwnCrops {
			own[c.Name] = true
		}
		all := append([]medium.Crop(nil), f.OwnCrops...)
		for _, c := range crops {
			if !own[c.Name] {
				all = append(all, c)
			}
		}
		sort.Slice(all, func(i, j int) bool { return all[i].Name < all[j].Name })
		return a.Print(struct {
			Crops []medium.Crop `json:"crops"`
		}{all}, func(w io.Writer) {
			fmt.Fprintf(w, "%-12s %8s %8s %9s %7s  %s\n", "CROP", "SEED mm", "MESH mm", "g/m2", "DAYS", "SIZE FROM")
			for _, c := range all {
				lead := fmt.Sprintf("%-12s %8.2f %8.2f %9g %3d-%-3d  ", ui.Cut(c.Name, 12), c.SeedMM(), medium.SeedMargin*c.SeedMM(), c.DensityGM2, c.DaysMin, c.DaysMax)
				fmt.Fprint(w, ui.Column(lead, c.SizeSource, 79))
			}
		})
	})
}

func (a *app) cropAddCommand(c *cobra.Command) {
	var crop medium.Crop
	var size, tsw, days string
	c.RunE = func(_ *cobra.Command, args []string) error {
		crop.Name = args[0]
		crop.SizeSource, crop.SowSource = "measured at the farm", "the farm's own"
		if size != "" {
			if _, err := fmt.Sscanf(size, "%gx%gx%gmm", &crop.LengthMM, &crop.WidthMM, &crop.ThicknessMM); err != nil {
				return &amount.Error{What: "seed size", Input: size, Want: "length x width x thickness in mm: 1.9x1.7x1.6mm"}
			}
		}
		if err := farm.Optional(&crop.TSWG, tsw, "mass of a thousand seeds", amount.Mass); err != nil {
			return err
		}
		if days != "" {
			if _, err := fmt.Sscanf(days, "%d-%d", &crop.DaysMin, &crop.DaysMax); err != nil {
				return &amount.Error{What: "days", Input: days, Want: "from sowing to harvest: 8-12"}
			}
		}
		return a.open(false, func(f *farm.Farm) error { return a.recordFarm(f, &crop) })
	}
	c.Flags().StringVar(&size, "seed-size", "", "length x width x thickness: 1.9x1.7x1.6mm")
	c.Flags().StringVar(&tsw, "tsw", "", "mass of a thousand seeds: 2.4g")
	c.Flags().Float64Var(&crop.DensityGM2, "density", 0, "sowing density in g/m2")
	c.Flags().StringVar(&days, "days", "", "days from sowing to harvest: 8-12")
}

func ruleNames() []string {
	names := make([]string, len(medium.Rules))
	for i, r := range medium.Rules {
		names[i] = r.Name
	}
	return names
}

func actives() []string {
	var names []string
	for name := range medium.Actives {
		names = append(names, name)
	}
	sort.Strings(names)
	return names
}
