package main

import (
	"fmt"
	"io"
	"os"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

// hasDay says whether there is a farm whose day can be shown.
func (a *app) hasDay() bool {
	_, err := os.Stat(a.storePath())
	return err == nil
}

// day is what the program alone shows: what is due, what grows and what is ready.
func (a *app) day() error {
	return a.open(true, func(f *farm.Farm) error {
		now := f.Now()
		list, err := f.DueNow(now, 0, 0)
		if err != nil {
			return err
		}
		count, err := f.Count()
		if err != nil {
			return err
		}
		return a.Print(struct {
			farm.DueList
			Stages map[medium.Stage]int `json:"stages"`
		}{list, count.Stages}, func(w io.Writer) {
			fmt.Fprintf(w, "%s, %s\n\n", f.Settings.Name, f.Stamp(now))
			if list.Clock != nil {
				printFindings(w, []medium.Finding{*list.Clock})
			}
			if len(list.Rounds) == 0 {
				a.printNext(w, f, now, 0)
			} else {
				printRounds(w, list, false)
			}
			fmt.Fprintln(w)
			ui.Say(w, "%s growing (resow growing), %d ready to sow on (resow list stage:ready), of %s in use.",
				ui.Counted(count.Stages[medium.Growing], "tray"), count.Verdicts[medium.SowIt]+count.Verdicts[medium.SowWithCare],
				ui.Counted(count.InUse(), "mat"))
			fmt.Fprintln(w, "resow --help lists the commands.")
		})
	})
}
