package main

import (
	"cmp"
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

// roundsShown is how many rounds fit a screen of 24 lines, two or three lines each.
const roundsShown = 8

func (a *app) dueCommand(c *cobra.Command) {
	var ahead time.Duration
	var limit int
	var all, mats bool
	readAs(c, &ahead, "within", "within", amount.Span, "also what falls due soon: 24h, 3d")
	c.Flags().IntVar(&limit, "limit", 50, "with --mats: most mats to list; how many more there are is said")
	c.Flags().BoolVar(&all, "all", false, "all rounds, or all mats")
	c.Flags().BoolVar(&mats, "mats", false, "mat by mat, with every reason")
	c.MarkFlagsMutuallyExclusive("limit", "all")
	c.RunE = func(*cobra.Command, []string) error {
		if limit < 1 || limit > 100000 {
			return ui.Wrongf("--limit %d: want 1 to 100000, or --all", limit)
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
			return a.Print(list, func(w io.Writer) {
				if list.Clock != nil {
					printFindings(w, []medium.Finding{*list.Clock})
				}
				switch {
				case len(list.Items) == 0:
					a.printNext(w, f, now, ahead)
				case mats:
					printDueMats(w, list)
				default:
					printRounds(w, list, all)
				}
			})
		})
	}
}

// printRounds writes each round in two lines: what it is, and the command that does it.
func printRounds(w io.Writer, list farm.DueList, all bool) {
	shown := list.Rounds
	if !all {
		shown = shown[:min(len(shown), roundsShown)]
	}
	for _, r := range shown {
		lead := fmt.Sprintf("%-8s  %-9s  %-12s  ", r.Step, ui.Counted(r.Count, "mat"), ui.Cut(cmp.Or(r.Place, "-"), 12))
		ui.Item(w, lead, r.Reason)
		fmt.Fprintf(w, "          %s\n", roundCommand(r))
	}
	said := fmt.Sprintf("%s due in %s", ui.Counted(list.Total, "mat"), ui.Counted(len(list.Rounds), "round"))
	if more := list.Rounds[len(shown):]; len(more) > 0 {
		steps := 0
		for _, r := range more {
			steps += r.Count
		}
		said += fmt.Sprintf("; +%d more with %s, --all", len(more), ui.Counted(steps, "mat"))
	}
	fmt.Fprintln(w, said)
}

// roundCommand is the command that does a round. What somebody has to look at stands
// open in it.
func roundCommand(r medium.Round) string {
	command := fmt.Sprintf("resow %s due", r.Step)
	if r.Place != "" {
		command += fmt.Sprintf(" place:%q", r.Place)
	}
	row, _ := medium.KindNamed(r.Step)
	for _, field := range row.Asked() {
		if field.Needed {
			command += " --" + flagName(field) + " …"
		}
	}
	return command
}

// printDueMats writes what is due mat by mat, with every reason.
func printDueMats(w io.Writer, list farm.DueList) {
	fmt.Fprintf(w, "%-9s  %-11s  %-8s  %-12s  %s\n", "CODE", "STAGE", "NEXT", "OVERDUE", "WHY")
	for _, it := range list.Items {
		lead := fmt.Sprintf("%-9s  %-11s  %-8s  %-12s  ", it.Code, it.Stage, it.NextStep, overdue(it.OverdueH))
		for _, reason := range it.Reasons {
			ui.Item(w, lead, reason)
			lead = strings.Repeat(" ", 48)
		}
	}
	if more := list.Total - len(list.Items); more > 0 {
		fmt.Fprintf(w, "+%d more; `resow due --mats --all` lists them too\n", more)
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
	if h == 0 {
		return "now"
	}
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
