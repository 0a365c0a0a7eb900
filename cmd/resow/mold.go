package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) moldCommand(c *cobra.Command) { a.fieldCommand(c, printSeedLotMats) }

// printSeedLotMats lists every mat that the seed lots of these mats touched.
func printSeedLotMats(f *farm.Farm, codes []medium.Code, out io.Writer) error {
	lots := map[string]bool{}
	for _, code := range codes {
		lot, err := seedLotOfMold(f, code)
		if err != nil {
			return err
		}
		if lot == "" || lots[lot] {
			continue
		}
		lots[lot] = true
		touched, err := f.SeedLot(lot)
		if err != nil {
			return err
		}
		ui.Say(out, "Seed lot %s touched %s; look at each, and hold those in doubt with `resow hold`:", lot,
			ui.Counted(len(touched), "mat"))
		for _, t := range touched {
			tc, err := f.Condition(t)
			if err != nil {
				return err
			}
			fmt.Fprintf(out, "  %s  %-11s  turn %d  %s\n", t, tc.Stage, tc.Turn, ui.Cut(medium.CropName(tc.Crops), 36))
		}
	}
	return nil
}

// seedLotOfMold is the seed lot of the crop on which the last step saw mold: told
// later, it is not the one that grows now.
func seedLotOfMold(f *farm.Farm, code medium.Code) (string, error) {
	thread, err := f.Thread(code)
	if err != nil {
		return "", err
	}
	if last := thread[len(thread)-1]; !last.Seen.IsZero() {
		if sow := medium.SownIn(thread, last.SeenTurn); sow != nil {
			return sow.SeedLot, nil
		}
		return "", nil
	}
	return medium.Replay(thread).SeedLot, nil
}
