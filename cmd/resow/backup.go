package main

import (
	"fmt"
	"io"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/ui"
	"resow/store"
)

func (a *app) backupCommand(c *cobra.Command) {
	var dir string
	var keep int
	var pause time.Duration
	c.RunE = func(*cobra.Command, []string) error {
		if keep < 0 || pause < 0 || pause > time.Minute {
			return ui.Wrong("--keep: want 0 or more, --pause: want 0 to 1m")
		}
		if dir == "" {
			dir = filepath.Join(filepath.Dir(a.storePath()), "backups")
		}
		to := store.Backups{Dir: dir, Keep: keep, Progress: a.Progress("copying and checking, percent", a.now),
			Throttle: func() { time.Sleep(pause) }}
		made, err := store.BackUp(a.storePath(), to, a.storeOptions(false))
		if err != nil {
			return err
		}
		return a.Print(made, func(w io.Writer) {
			ui.Say(w, "%s", "Made and verified "+made.Path)
			fmt.Fprintf(w, "%s, anchor %s\n", ui.Counted(int(made.Anchor.Count), "record"), made.Anchor)
			for _, old := range made.Removed {
				fmt.Fprintf(w, "removed %s\n", old)
			}
			for _, note := range made.Notes() {
				ui.Say(w, "%s", note)
			}
		})
	}
	c.Flags().StringVar(&dir, "to", "", "folder for the backups (backups, beside the ledger)")
	c.Flags().IntVar(&keep, "keep", 0, "how many of this ledger to keep there; 0 keeps all")
	c.Flags().DurationVar(&pause, "pause", 0, "rest after each MB, such as 20ms, to spare a slow disk")
}
