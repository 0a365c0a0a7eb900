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
		of, err := seedLotsOfMold(f, code)
		if err != nil {
			return err
		}
		for _, lot := range of {
			if lots[lot] {
				continue
			}
			lots[lot] = true
			if err := printTouched(f, lot, out); err != nil {
				return err
			}
		}
	}
	return nil
}

func printTouched(f *farm.Farm, lot string, out io.Writer) error {
	touched, err := f.SeedLot(lot)
	if err != nil {
		return err
	}
	ui.Say(out, "Seed lot %s touched %s; look at each, and hold those in doubt with `resow hold`:", lot,
		ui.Counted(len(touched), "mat"))
	for _, t := range touched {
		c, err := f.Condition(t)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "  %s  %-11s  turn %d  %s\n", t, c.Stage, c.Turn, ui.Cut(medium.CropName(c.Crops), 36))
	}
	return nil
}

// seedLotsOfMold are the seed lots of the crop on which the last step saw mold: told
// later, they are not those of the one that grows now.
func seedLotsOfMold(f *farm.Farm, code medium.Code) ([]string, error) {
	thread, err := f.Thread(code)
	if err != nil {
		return nil, err
	}
	if last := thread[len(thread)-1]; !last.Seen.IsZero() {
		if sow := medium.SownIn(thread, last.SeenTurn); sow != nil {
			return sow.SeedLots(), nil
		}
		return nil, nil
	}
	c := medium.Replay(thread)
	return c.SeedLots(), nil
}
