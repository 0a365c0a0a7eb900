package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/medium"
	"resow/medium/sanitizer"
)

// sanitizing holds the flags of sanitize.
type sanitizing struct {
	product, active, solution          string
	strength, contact, temp, ph, sides string
	method, place                      string
	rinsed, timer                      bool
	wet                                time.Duration // what the timer counted
}

func (a *app) sanitizeCommand() *cobra.Command {
	var s sanitizing
	c := a.stepCommand("sanitize", "Record a sanitize step and check it against the directions",
		`The step is checked against the directions on file for the product (resow
sanitizer add), then against the published ceilings for what may stay on a
food-contact surface. One that misses is recorded, not accepted, and does not
move the mat.

With --solution, product and strength come from the solution's record (resow mix
--bottle), the strength from its last strip. With --timer the contact time is
counted down here while the mats are kept wet, and the real time is recorded;
Ctrl-C stops it and asks whether to record the short time or nothing.

The product's own label is the rule. Gloves and eye protection; air the room; do
not breathe sprayed mist; never mix two products, never chlorine with acid or
ammonia; wet floors are slippery.`,
		`  resow sanitize TK7R2N81 TB3DF6H2 --solution BK7R2N81 --timer --temp 24C --ph 7.2 --by MK
  resow sanitize TK7R2N81 --product "blue drum" --strength 100ppm --contact 2min --temp 24C --ph 7.2 --by MK
  resow sanitize TK7R2N81 --active peroxide --strength 3% --contact 10min --rinsed --by MK`,
		func(f *farm, _ medium.Code) (medium.Body, error) { return s.body(a, f) },
		func(f *farm, codes []medium.Code, out io.Writer) error {
			if a.code == 0 {
				fmt.Fprintln(out, "Let the mats drain and dry before they are sown on.")
			}
			return nil
		})
	flags := c.Flags()
	flags.StringVar(&s.solution, "solution", "", "the mixed solution, by its code: gives product and strength")
	flags.StringVar(&s.product, "product", "", "or a sanitizer on file")
	flags.StringVar(&s.active, "active", "", "or its active ingredient, where one product on file has it")
	flags.StringVar(&s.strength, "strength", "", "strength used: 100ppm (mg/L), 3%")
	flags.StringVar(&s.contact, "contact", "", "how long it stayed wet: 2min, 30s")
	flags.BoolVar(&s.timer, "timer", false, "count the contact time down now and record the real one")
	flags.StringVar(&s.temp, "temp", "", "temperature of the solution: 20C, 68F")
	flags.StringVar(&s.ph, "ph", "", "its pH, where measured: 7.2")
	flags.StringVar(&s.sides, "sides", "both", "both or one")
	flags.StringVar(&s.place, "place", "", "where it was done: wash house, yard sink")
	flags.StringVar(&s.method, "method", "spray", "spray, soak or wipe")
	flags.BoolVar(&s.rinsed, "rinsed", false, "rinsed with potable water after the contact time")
	c.MarkFlagsOneRequired("product", "active", "solution")
	c.MarkFlagsMutuallyExclusive("product", "solution")
	c.MarkFlagsMutuallyExclusive("active", "solution")
	c.MarkFlagsMutuallyExclusive("strength", "solution")
	c.MarkFlagsOneRequired("contact", "timer")
	must(c.RegisterFlagCompletionFunc("solution", a.completeSolutions))
	must(c.RegisterFlagCompletionFunc("product", a.completeSanitizers))
	must(c.RegisterFlagCompletionFunc("active", fixedWords(actives()...)))
	must(c.RegisterFlagCompletionFunc("sides", fixedWords("both", "one")))
	must(c.RegisterFlagCompletionFunc("method", fixedWords("spray", "soak", "wipe")))
	record := c.RunE
	c.RunE = func(cmd *cobra.Command, args []string) error {
		if s.active != "" {
			active, err := sanitizer.ParseActive(s.active)
			if err != nil {
				return err
			}
			s.active = string(active)
		}
		if s.timer {
			done, err := a.timeSanitizing(args, &s)
			if err != nil || !done {
				return err
			}
		}
		return record(cmd, args)
	}
	return c
}

// body makes the step. The contact time is the timer's where it ran.
func (s sanitizing) body(a *app, f *farm) (*medium.Sanitize, error) {
	b := &medium.Sanitize{Product: s.product, Active: s.active, Method: s.method, Rinsed: s.rinsed, Timed: s.timer, Place: s.place}
	switch s.sides {
	case "both":
		b.Sides = 2
	case "one":
		b.Sides = 1
	default:
		return nil, &medium.InputError{Field: "sides", Value: s.sides, Want: "both or one"}
	}
	var err error
	if b.ContactS, err = s.seconds(); err != nil {
		return nil, err
	}
	if b.TempC, err = measured("temperature", s.temp, amount.Temperature); err != nil {
		return nil, err
	}
	if b.PH, err = measured("pH", s.ph, amount.Number); err != nil {
		return nil, err
	}
	if s.solution != "" {
		bottle, err := a.bottle(f, s.solution)
		b.Solution = bottle.Solution.Code
		return b, err
	}
	if s.strength == "" {
		return nil, &usageError{"say how strong the solution was: --strength 100ppm; or name it with --solution and its code"}
	}
	if s.product != "" {
		if _, err := f.product(s.product); err != nil {
			return nil, err
		}
	}
	b.StrengthPPM, err = strengthPPM(f, b, s.strength)
	return b, err
}

func (s sanitizing) seconds() (int, error) {
	if s.timer {
		return int(s.wet.Seconds()), nil
	}
	wet, err := amount.Span("contact time", s.contact)
	return int(wet.Seconds()), err
}

// needed is the contact time to count down: --contact, or the directions'.
func (s sanitizing) needed(a *app, f *farm) (time.Duration, error) {
	if s.contact != "" {
		return amount.Span("contact time", s.contact)
	}
	d, ok := f.Sanitizer(s.product, s.active)
	if s.solution != "" {
		b, err := a.bottle(f, s.solution)
		if err != nil {
			return 0, err
		}
		d, ok = f.DirectionsOf(b)
	}
	if !ok || d.ContactS == 0 {
		return 0, &usageError{"no contact time is on file for this sanitizer; say how long with --contact 2min"}
	}
	return time.Duration(d.ContactS) * time.Second, nil
}
