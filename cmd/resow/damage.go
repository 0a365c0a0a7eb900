package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) moldCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindMold, "Report mold; the mats go on hold",
		`Mold puts a mat on hold and lists every mat that the same seed lot touched. Do
not keep a moldy crop; some molds make toxins. Fuzz that radiates from single
roots and vanishes when misted is root hair, not mold; on a stripped mat any fuzz
counts as not clean.`,
		`  resow mold TK7R2N81 --where "crop, middle" --seen growing --share 5% --by MK
  resow mold TK7R2N81 --where "mat, edge" --seen washing --area 20x10mm --by MK`, printSeedLotMats)
	return c
}

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
		fmt.Fprint(out, ui.Wrap(fmt.Sprintf("Seed lot %s touched %s; look at each, and hold those in doubt with `resow hold`:", lot, ui.Counted(len(touched), "mat")), 79, "  "))
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

func (a *app) cutCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindCut, "Report a cut or a tear in the mesh",
		`A cut through the mesh retires a mat unless the piece is trimmed off; loose
threads end up in food.`,
		`  resow cut TK7R2N81 --length 8mm --where middle --by MK
  resow cut TK7R2N81 --length 30mm --where edge --through --by MK`, nil)
	return c
}

func (a *app) swabCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindSwab, "Record a hygiene test of the mats",
		`A failed swab puts a mat on hold, and stands until an accepted sanitize step or
a passed swab. With a reading and a limit, over the limit is a fail.`,
		`  resow swab TK7R2N81 --test ATP --reading 8 --limit 30 --unit RLU --by MK
  resow swab TK7R2N81 --test "Listeria spp." --result fail --by MK`, nil)
	return c
}

func (a *app) inspectCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindInspect, "Record a look at washed mats",
		`Hold the mat against the light: fold it flat and listen for threads that snap,
look for fuzz or whitening at the crossings, holes, mold, and smell it. Measure
ten openings now and then. A clean look is not a clean mat.`,
		`  resow inspect TK7R2N81 --by MK                        nothing found
  resow inspect TK7R2N81 --fuzz --aperture 0.52mm --by MK
  resow inspect TK7R2N81 --holes 2 --by MK
  resow inspect TK7R2N81 --no-cuts --by MK              after a trim: none is left`, nil)
	return c
}

func (a *app) holdCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindHold, "Set mats apart until somebody decides",
		`Hold a mat that fell on the floor, carried a doubtful seed lot, or is in doubt for
any other reason. One that fell (--dropped) is washed, whatever is decided.`,
		`  resow hold TK7R2N81 --dropped --by MK
  resow hold TK7R2N81 --reason "seed lot S88 in doubt" --by MK`, nil)
	c.MarkFlagsOneRequired("reason", "dropped")
	return c
}

func (a *app) releaseCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindRelease, "End a hold; the mats go to the wash",
		`A released mat goes to the wash. With --as-was it goes back to where it was held;
after mold, a failed swab or a fall on the floor that is refused.`,
		`  resow release TK7R2N81 --reason "crop discarded" --by MK
  resow release TK7R2N81 --reason "seed lot cleared" --as-was --by MK`, nil)
	return c
}

func (a *app) trimCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindTrim, "Cut mats to a smaller size",
		`The fresh edges send a mat back to the wash. A cut at an edge or a corner goes with
an offcut that is as wide as the cut is long. Any other that is said to have gone
stops the mat until an inspection after the trim finds none (inspect --no-cuts).`,
		`  resow trim TK7R2N81 --size 250x250mm --removes-cuts --by MK`, nil)
	return c
}

func (a *app) documentCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindDocument, "Put the supplier's food-contact statement on file",
		`For mats that were registered without it, or for a newer statement. The mesh's
compliance belongs to its sheet: resin, additives and color, so ask for the
statement for that exact sheet. The care finding then drops off the verdicts.`,
		`  resow document TK7R2N81 --contact "complies with EU 10/2011" \
      --contact-date 2026-03-01 --by MK
  resow list --json | … | resow document - --contact "…" --contact-date 2026-03-01`, nil)
	return c
}

func (a *app) retireCommand() *cobra.Command {
	c, _ := a.fieldCommand(medium.KindRetire, "End the use of mats as a growing surface",
		"A retired mat keeps its history and takes no more steps. Cut the label through.",
		`  resow retire TK7R2N81 --cause cut --by MK
  resow retire TK7R2N81 --cause wear --note "threads snap" --by MK`, nil)
	return c
}

func (a *app) correctCommand() *cobra.Command {
	var reason string
	return finish(&cobra.Command{
		Use: "correct CODE STEP", Short: "Void an earlier step of a mat, with a reason", Args: cobra.ExactArgs(2),
		Long: `Nothing is edited or deleted. A correction voids an earlier step: both stay on
record, and the mat is as if the step had never been taken. STEP is the step's
number in ` + "`resow history`" + `. Then record what really happened, with --at. A mat whose
sowing or harvest was voided carries a care finding until it is sanitized again; so
does one whose mold, cut or failed swab was voided, until somebody looked at it.

On the command line there are no roles: whoever can write the ledger's file can
void a step, under the initials of --by.`,
		Example: `  resow history TK7R2N81
  resow correct TK7R2N81 14 --reason "wrong mat scanned" --by MK`,
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			seq, err := strconv.ParseUint(args[1], 10, 32)
			if err != nil {
				return ui.Wrong(fmt.Sprintf("step %q: want its number in `resow history`", args[1]))
			}
			if strings.EqualFold(args[0], "farm") {
				return ui.Wrong("a record about the farm is not voided: record it again, and the newer one counts (resow policy set, sanitizer add, solution strip, crop add, prices set); `resow report sanitation` shows both where a step relied on the older one")
			}
			return a.open(false, func(f *farm.Farm) error {
				code, err := f.Find(args[0])
				if err != nil {
					return err
				}
				return a.correct(f, code, seq, reason)
			})
		},
	}, func(c *cobra.Command) {
		c.Flags().StringVar(&reason, "reason", "", "what is wrong with it")
		must(c.MarkFlagRequired("reason"))
	})
}

func finish(c *cobra.Command, flags func(*cobra.Command)) *cobra.Command {
	flags(c)
	return c
}
