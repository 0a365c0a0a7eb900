package main

import (
	"io"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels/report"
	"resow/medium"
)

func (a *app) reviewCommand(c *cobra.Command) {
	c.Long += fileIsOpen
	var b medium.Review
	c.RunE = a.writes(func(f *farm.Farm, _ []string) error {
		anchor, err := f.Anchor()
		if err != nil {
			return err
		}
		b.Anchor = anchor.String()
		done, err := a.enter(f, medium.Step{Mat: medium.FarmThread, Body: &b})
		if err != nil {
			return err
		}
		steps, own, err := f.Reviewed(done[0], &b)
		if err != nil {
			return err
		}
		return a.Print(struct {
			medium.Step
			Steps int `json:"steps_reviewed"`
			Own   int `json:"own_steps"`
		}{done[0], steps, own}, func(w io.Writer) {
			ui.Say(w, "%s reviewed the records of %s to %s, %s: %s of mats.", done[0].By, b.From, b.To,
				f.Stamp(done[0].Recorded), ui.Counted(steps, "step"))
			if own > 0 {
				ui.Tell(w, "%d of them are %s's own; the report shows those as reviewed by the same person, as long as nobody "+
					"else has reviewed them. 21 CFR 112.161(b) asks for a supervisor or responsible party.", own, done[0].By)
			}
		})
	})
	flags := c.Flags()
	flags.StringVar(&b.From, "from", "", "first day: 2026-11-16")
	flags.StringVar(&b.To, "to", "", "last day: 2026-11-22")
	flags.StringVar(&b.Name, "name", "", "your name, where the initials do not say it")
	flags.StringVar(&b.Note, "note", "", "what you found")
	required(c, "from", "to")
}

// fileIsOpen says in the help of what a supervisor does that the command line
// knows no roles.
const fileIsOpen = "\n\n" + `On the command line there are no roles: whoever can write the ledger's file can do
this, under the initials of --by; the pages of the station ask for a supervisor's
device.`

// between is the period of a report: whole days in the farm's zone.
type between struct{ from, to string }

func (b *between) flags(c *cobra.Command) {
	c.Flags().StringVar(&b.from, "from", "", "first day: 2026-11-01 (30 days ago)")
	c.Flags().StringVar(&b.to, "to", "", "last day: 2026-11-30 (today)")
}

func (b *between) period(a *app, f *farm.Farm) (from, to time.Time, err error) {
	now := f.Now()
	from, to = now.AddDate(0, 0, -30), now
	if b.from != "" {
		if from, err = time.ParseInLocation(time.DateOnly, b.from, f.Loc); err != nil {
			return from, to, &medium.InputError{Field: "first day", Value: b.from, Want: "a day as YYYY-MM-DD"}
		}
	}
	if b.to != "" {
		day, err := time.ParseInLocation(time.DateOnly, b.to, f.Loc)
		if err != nil {
			return from, to, &medium.InputError{Field: "last day", Value: b.to, Want: "a day as YYYY-MM-DD"}
		}
		if end := day.AddDate(0, 0, 1).Add(-time.Second); end.Before(now) {
			to = end
		}
		if b.from == "" {
			from = to.AddDate(0, 0, -30)
		}
	}
	if from.After(now) {
		return from, to, ui.Wrongf("--from %s is in the future; nothing is recorded for it yet", b.from)
	}
	if to.Before(from) {
		return from, to, ui.Wrongf("--from %s --to %s: want the earlier day first", b.from, b.to)
	}
	return from, to, nil
}

func (a *app) sanitationReportCommand(c *cobra.Command) {
	var days between
	days.flags(c)
	a.oneReport(c, func(f *farm.Farm, origin report.Origin, _ []string) (report.Report, error) {
		from, to, err := days.period(a, f)
		if err != nil {
			return report.Report{}, err
		}
		return f.SanitationReport(origin, from, to)
	})
}
