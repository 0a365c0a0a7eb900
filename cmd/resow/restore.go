package main

import (
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/store"
)

func (a *app) restoreCommand(c *cobra.Command) {
	var replace, try bool
	c.RunE = func(_ *cobra.Command, args []string) error {
		o := a.storeOptions(false)
		if try {
			loss, err := store.CompareBackup(args[0], a.storePath(), o)
			if err != nil {
				return err
			}
			if loss.Other {
				a.code = exitFailed
			}
			return a.Print(loss, func(w io.Writer) { a.printLoss(w, loss) })
		}
		aside, loss, err := store.Restore(args[0], a.storePath(), replace, a.initials(), o)
		var refused *store.LossError
		if errors.As(err, &refused) && !a.JSON {
			a.printLoss(a.Out, loss)
		}
		if err != nil {
			return err
		}
		return a.Print(struct {
			Store string     `json:"store"`
			Kept  string     `json:"kept,omitempty"`
			Loss  store.Loss `json:"loss"`
		}{a.storePath(), aside, loss}, func(w io.Writer) {
			a.printLoss(w, loss)
			a.printHeld(w, loss)
			fmt.Fprintf(w, "Restored %s, anchor %s.\n", a.storePath(), *loss.Restored)
			if aside != "" {
				fmt.Fprintf(w, "The file that was there is kept as %s.\n", aside)
			}
		})
	}
	c.Flags().BoolVar(&replace, "replace", false, "put it where a ledger is; that one is kept under another name")
	c.Flags().BoolVar(&try, "try", false, "only show what would be lost")
}

// printHeld says what a restore did about findings that the backup lacks.
func (a *app) printHeld(w io.Writer, l store.Loss) {
	if l.Problem != "" {
		ui.Say(w, "%s", a.Paint(ui.Red,
			"Nobody can say what mold, cuts, holds, failed inspections and swabs were lost with the file that can't be "+
				"read.")+" Look at every mat before you sow on it.")
	}
	if len(l.Held) > 0 {
		fmt.Fprintf(w, "Put on hold: %s; release each when you have looked at it:\n", ui.Counted(len(l.Held), "mat"))
	}
	for _, s := range l.Held {
		ui.Item(w, fmt.Sprintf("  %6d  %-9s  ", s.Seq, s.Mat), farm.Line(s.Body))
	}
	for _, mat := range l.Unheld {
		ui.Say(w, "%s is not in the backup, and something was found on it since, or it was sown on: set it apart, and "+
			"register it again before it is used.", mat)
	}
}

func (a *app) printLoss(w io.Writer, l store.Loss) {
	fmt.Fprintf(w, "backup  %s\n", l.Backup)
	if l.Present != nil {
		fmt.Fprintf(w, "present %s\n", *l.Present)
	}
	switch {
	case l.Problem != "":
		ui.Say(w, "%s", "The present file can't be read: "+l.Problem)
		return
	case l.Other:
		fmt.Fprintln(w, a.Paint(ui.Red, "The present file is the ledger of another farm."))
	case l.Diverge:
		fmt.Fprintln(w, a.Paint(ui.Red, "The present file and the backup do not have the same history."))
	}
	if l.Present == nil && l.Problem == "" {
		fmt.Fprintln(w, "No ledger is there, so nothing can be lost.")
		return
	}
	if l.Lost == 0 {
		fmt.Fprintln(w, "No record of the present file is missing from the backup.")
		return
	}
	fmt.Fprintf(w, "Of the present file the backup lacks %s:\n", ui.Counted(l.Lost, "record"))
	for i, s := range l.Steps {
		if i == 20 {
			break
		}
		ui.Item(w, fmt.Sprintf("  %6d  %s  %-9s  %-9s  ", s.Seq, s.At.Format("2006-01-02 15:04"), s.Mat, s.Kind),
			farm.Line(s.Body))
	}
	if l.Lost > 20 {
		fmt.Fprintf(w, "  and %d more\n", l.Lost-20)
	}
	if mats := l.Speaks(); mats > 0 {
		ui.Say(w, "Among them are findings against %s. A restore puts on hold what would look fit for use without them.",
			ui.Counted(mats, "mat"))
	}
}
