package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) dueCommand(c *cobra.Command) {
	var ahead time.Duration
	var limit int
	var all bool
	readAs(c, &ahead, "within", "within", amount.Span, "also what falls due soon: 24h, 3d")
	c.Flags().IntVar(&limit, "limit", 50, "most mats to list; how many more there are is said")
	c.Flags().BoolVar(&all, "all", false, "all of them")
	c.MarkFlagsMutuallyExclusive("limit", "all")
	c.RunE = func(*cobra.Command, []string) error {
		if limit < 1 || limit > 100000 {
			return ui.Wrong(fmt.Sprintf("--limit %d: want 1 to 100000, or --all", limit))
		}
		return a.open(true, func(f *farm.Farm) error {
			now := f.Now()
			if all {
				limit = 0
			}
			list, err := f.DueNow(now, ahead, limit)
			if err != nil {
				return err
			}
			return a.Print(list, func(w io.Writer) { a.writeDue(w, f, list, now, ahead) })
		})
	}
}

func (a *app) writeDue(w io.Writer, f *farm.Farm, list farm.DueList, now time.Time, ahead time.Duration) {
	if list.Clock != nil {
		printFindings(w, []medium.Finding{*list.Clock})
	}
	if len(list.Items) == 0 {
		a.printNext(w, f, now, ahead)
		return
	}
	fmt.Fprintf(w, "%-9s  %-11s  %-8s  %-12s  %s\n", "CODE", "STAGE", "NEXT", "OVERDUE", "WHY")
	for _, it := range list.Items {
		lead := fmt.Sprintf("%-9s  %-11s  %-8s  %-12s  ", it.Code, it.Stage, it.NextStep, overdue(it.OverdueH))
		for _, reason := range it.Reasons {
			ui.Item(w, lead, reason)
			lead = strings.Repeat(" ", 48)
		}
	}
	if more := list.Total - len(list.Items); more > 0 {
		fmt.Fprintf(w, "+%d more; `resow due --all` lists them too\n", more)
	}
}

// printNext says what comes next where nothing is due.
func (a *app) printNext(w io.Writer, f *farm.Farm, now time.Time, ahead time.Duration) {
	next, err := f.Due(now.AddDate(10, 0, 0), 1)
	a.Note(err)
	if len(next) == 0 {
		fmt.Fprintln(w, "Nothing is due.")
		return
	}
	said := "Nothing is overdue."
	if ahead > 0 {
		said = "Nothing is due in that time."
	}
	within := "24h"
	if wait := next[0].At.Sub(now); wait > 24*time.Hour {
		within = fmt.Sprintf("%.0fd", math.Ceil(wait.Hours()/24))
	}
	ui.Tell(w, "%s Next: %s %s %s; `resow due --within %s` lists more.", said, next[0].Code, next[0].Step,
		overdue(next[0].OverdueH(now)), within)
}

// overdue says how late something is in the unit that reads best.
func overdue(h float64) string {
	sign := ""
	if h < 0 {
		sign, h = "in ", -h
	}
	if h < 1 {
		return fmt.Sprintf("%s%.0f min", sign, h*60)
	}
	if h < 48 {
		return fmt.Sprintf("%s%.0f h", sign, h)
	}
	return fmt.Sprintf("%s%.0f days", sign, h/24)
}
