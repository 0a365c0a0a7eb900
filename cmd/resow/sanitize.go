package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// sanitizing holds the flags of sanitize.
type sanitizing struct {
	*stepFlags
	timer bool
	wet   time.Duration // what the timer counted
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
		func(f *farm.Farm, _ medium.Code) (medium.Body, error) { return s.body(a, f) },
		func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
			if a.code == 0 {
				fmt.Fprintln(out, "Let the mats drain and dry before they are sown on.")
			}
			return nil
		})
	s.stepFlags = a.fieldFlags(c, medium.KindSanitize, "contact", "sides", "method")
	s.usually("sides", "both")
	s.usually("method", "spray")
	c.Flags().BoolVar(&s.timer, "timer", false, "count the contact time down now and record the real one")
	c.MarkFlagsOneRequired("product", "active", "solution")
	c.MarkFlagsMutuallyExclusive("product", "solution")
	c.MarkFlagsMutuallyExclusive("active", "solution")
	c.MarkFlagsMutuallyExclusive("strength", "solution")
	c.MarkFlagsOneRequired("contact", "timer")
	record := c.RunE
	c.RunE = func(cmd *cobra.Command, args []string) error {
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
func (s sanitizing) body(a *app, f *farm.Farm) (medium.Body, error) {
	said := s.said()
	if s.timer {
		said["contact"] = fmt.Sprintf("%.0fs", s.wet.Seconds())
	}
	if said["solution"] != "" {
		if _, err := a.bottle(f, said["solution"]); err != nil {
			return nil, err
		}
	}
	b, err := a.reader(f).Body(medium.KindSanitize, said)
	if err != nil {
		return nil, err
	}
	b.(*medium.Sanitize).Timed = s.timer
	return b, nil
}

// needed is the contact time to count down: --contact, or the directions'.
func (s sanitizing) needed(a *app, f *farm.Farm) (time.Duration, error) {
	said := s.said()
	if said["contact"] != "" {
		return amount.Span("contact time", said["contact"])
	}
	d, ok := f.Sanitizer(said["product"], said["active"])
	if said["solution"] != "" {
		b, err := a.bottle(f, said["solution"])
		if err != nil {
			return 0, err
		}
		d, ok = f.DirectionsOf(b)
	}
	if !ok || d.ContactS == 0 {
		return 0, ui.Wrong("no contact time is on file for this sanitizer; say how long with --contact 2min")
	}
	return time.Duration(d.ContactS) * time.Second, nil
}
