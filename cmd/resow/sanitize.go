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

func (a *app) sanitizeCommand(c *cobra.Command) {
	var s sanitizing
	a.stepCommand(c,
		func(f *farm.Farm, _ named, _ medium.Code) (medium.Body, error) { return s.body(a, f) },
		func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
			if a.code == 0 {
				fmt.Fprintln(out, "Let the mats drain and dry before they are sown on.")
			}
			return nil
		})
	s.stepFlags = a.fieldFlags(c, medium.KindSanitize, "contact", "sides", "method")
	usually(c, "sides", "both")
	usually(c, "method", "spray")
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
