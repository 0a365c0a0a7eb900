package main

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/medium"
)

func (a *app) moldCommand() *cobra.Command {
	var where, seen, share, area, treated string
	c := a.stepCommand("mold", "Report mold; the mats go on hold",
		`Mold puts a mat on hold and lists every mat that the same seed lot touched. Do
not keep a moldy crop; some molds make toxins. Fuzz that radiates from single
roots and vanishes when misted is root hair, not mold; on a stripped mat any fuzz
counts as not clean.`,
		`  resow mold TK7R2N81 --where "crop, middle" --seen growing --share 5% --by MK
  resow mold TK7R2N81 --where "mat, edge" --seen washing --area 20x10mm --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			b := &medium.Mold{Where: where, Seen: seen, Treated: treated}
			if err := optional(&b.SharePercent, share, "share", amount.Percent); err != nil {
				return nil, err
			}
			if area != "" {
				l, w, err := amount.Size("area", area)
				if err != nil {
					return nil, err
				}
				b.AreaMM2 = l * w
			}
			return b, nil
		},
		printSeedLotMats)
	c.Flags().StringVar(&where, "where", "", "where on the crop or the mat")
	c.Flags().StringVar(&seen, "seen", "", "when: growing, harvest, washing, store")
	c.Flags().StringVar(&share, "share", "", "share of the mat: 5%")
	c.Flags().StringVar(&area, "area", "", "or the area: 20x10mm")
	c.Flags().StringVar(&treated, "treated", "", "what was done about it")
	must(c.MarkFlagRequired("where"))
	return c
}

// printSeedLotMats lists every mat that the seed lots of these mats touched.
func printSeedLotMats(f *farm, codes []medium.Code, out io.Writer) error {
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
		fmt.Fprint(out, wrap(fmt.Sprintf("Seed lot %s touched %s; look at each, and hold those in doubt with `resow hold`:", lot, counted(len(touched), "mat")), 79, "  "))
		for _, t := range touched {
			tc, err := f.Condition(t)
			if err != nil {
				return err
			}
			fmt.Fprintf(out, "  %s  %-11s  turn %d  %s\n", t, tc.Stage, tc.Turn, cut(medium.CropName(tc.Crops), 36))
		}
	}
	return nil
}

// seedLotOfMold is the seed lot of the crop on which the last step saw mold: told
// later, it is not the one that grows now.
func seedLotOfMold(f *farm, code medium.Code) (string, error) {
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
	var length, where string
	var through bool
	c := a.stepCommand("cut", "Report a cut or a tear in the mesh",
		`A cut through the mesh retires a mat unless the piece is trimmed off; loose
threads end up in food.`,
		`  resow cut TK7R2N81 --length 8mm --where middle --by MK
  resow cut TK7R2N81 --length 30mm --where edge --through --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			mm, err := amount.Length("cut length", length)
			return &medium.Cut{LengthMM: mm, Where: where, Through: through}, err
		}, nil)
	c.Flags().StringVar(&length, "length", "", "length of the cut: 8mm")
	c.Flags().StringVar(&where, "where", "", "where: middle, edge, corner")
	c.Flags().BoolVar(&through, "through", false, "it goes through the mesh")
	must(c.MarkFlagRequired("length"))
	return c
}

func (a *app) swabCommand() *cobra.Command {
	var test, reading, limit, unit string
	var pass, fail bool
	c := a.stepCommand("swab", "Record a hygiene test of the mats",
		`A failed swab puts a mat on hold, and stands until an accepted sanitize step or
a passed swab. With a reading and a limit, over the limit is a fail.`,
		`  resow swab TK7R2N81 --test ATP --reading 8 --limit 30 --unit RLU --by MK
  resow swab TK7R2N81 --test "Listeria spp." --fail --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			b := &medium.Swab{Test: test, Unit: unit, Pass: pass}
			if err := optional(&b.Reading, reading, "reading", amount.Number); err != nil {
				return nil, err
			}
			if err := optional(&b.Limit, limit, "limit", amount.Number); err != nil {
				return nil, err
			}
			measured := reading != "" && limit != ""
			if !pass && !fail && !measured {
				return nil, &usageError{"say --pass or --fail, or give --reading and --limit"}
			}
			if measured && !pass && !fail {
				b.Pass = b.Reading <= b.Limit
			}
			if measured && pass && b.Reading > b.Limit {
				return nil, &usageError{fmt.Sprintf("a reading of %g over the limit of %g is no pass", b.Reading, b.Limit)}
			}
			return b, nil
		}, nil)
	c.Flags().StringVar(&test, "test", "", "what was tested: ATP, coliforms, Listeria spp.")
	c.Flags().StringVar(&reading, "reading", "", "the reading")
	c.Flags().StringVar(&limit, "limit", "", "the limit, from the test's maker")
	c.Flags().StringVar(&unit, "unit", "", "unit of both")
	c.Flags().BoolVar(&pass, "pass", false, "the test passed")
	c.Flags().BoolVar(&fail, "fail", false, "the test failed")
	c.MarkFlagsMutuallyExclusive("pass", "fail")
	must(c.MarkFlagRequired("test"))
	return c
}

func (a *app) inspectCommand() *cobra.Command {
	var snaps, fuzz, smell, mold, noCuts bool
	var holes int
	var aperture, note string
	c := a.stepCommand("inspect", "Record a look at washed mats",
		`Hold the mat against the light: fold it flat and listen for threads that snap,
look for fuzz or whitening at the crossings, holes, mold, and smell it. Measure
ten openings now and then. A clean look is not a clean mat.`,
		`  resow inspect TK7R2N81 --by MK                        nothing found
  resow inspect TK7R2N81 --fuzz --aperture 0.52mm --by MK
  resow inspect TK7R2N81 --holes 2 --by MK
  resow inspect TK7R2N81 --no-cuts --by MK              after a trim: none is left`,
		func(*farm, medium.Code) (medium.Body, error) {
			b := &medium.Inspect{FoldSnaps: snaps, Fuzz: fuzz, Holes: holes, Smell: smell, Mold: mold, Note: note, NoCuts: noCuts}
			return b, optional(&b.ApertureMM, aperture, "aperture", amount.Length)
		}, nil)
	c.Flags().BoolVar(&snaps, "fold-snaps", false, "a thread snaps when the mat is folded flat")
	c.Flags().BoolVar(&fuzz, "fuzz", false, "fuzz, chalking or whitening at the crossings")
	c.Flags().IntVar(&holes, "holes", 0, "holes found")
	c.Flags().BoolVar(&smell, "smell", false, "it smells; back to the wash")
	c.Flags().BoolVar(&mold, "mold", false, "mold seen; the mat goes on hold")
	c.Flags().BoolVar(&noCuts, "no-cuts", false, "looked for after a trim: no cut and no hole is left")
	c.Flags().StringVar(&aperture, "aperture", "", "mean opening over ten: 0.52mm")
	c.Flags().StringVar(&note, "note", "", "anything else")
	return c
}

func (a *app) holdCommand() *cobra.Command {
	var b medium.Hold
	c := a.stepCommand("hold", "Set mats apart until somebody decides",
		`Hold a mat that fell on the floor, carried a doubtful seed lot, or is in doubt for
any other reason. One that fell (--dropped) is washed, whatever is decided.`,
		`  resow hold TK7R2N81 --dropped --by MK
  resow hold TK7R2N81 --reason "seed lot S88 in doubt" --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			body := b
			return &body, nil
		}, nil)
	c.Flags().StringVar(&b.Reason, "reason", "", "why")
	c.Flags().BoolVar(&b.Dropped, "dropped", false, "it fell on the floor: no release but to the wash")
	c.MarkFlagsOneRequired("reason", "dropped")
	return c
}

func (a *app) releaseCommand() *cobra.Command {
	var reason string
	var asWas bool
	c := a.stepCommand("release", "End a hold; the mats go to the wash",
		`A released mat goes to the wash. With --as-was it goes back to where it was held;
after mold, a failed swab or a fall on the floor that is refused.`,
		`  resow release TK7R2N81 --reason "crop discarded" --by MK
  resow release TK7R2N81 --reason "seed lot cleared" --as-was --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			return &medium.Release{Reason: reason, AsWas: asWas}, nil
		}, nil)
	c.Flags().StringVar(&reason, "reason", "", "what was decided")
	c.Flags().BoolVar(&asWas, "as-was", false, "back to the stage that it was held in")
	must(c.MarkFlagRequired("reason"))
	return c
}

func (a *app) trimCommand() *cobra.Command {
	var size string
	var removes bool
	c := a.stepCommand("trim", "Cut mats to a smaller size",
		`The fresh edges send a mat back to the wash. A cut counts as gone when it
could have lain in the offcut; one that could not, such as a long one in the
middle, counts until an inspection after the trim finds none (inspect --no-cuts).`,
		`  resow trim TK7R2N81 --size 250x250mm --removes-cuts --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			l, w, err := amount.Size("size", size)
			return &medium.Trim{LengthMM: l, WidthMM: w, RemovesCuts: removes}, err
		}, nil)
	c.Flags().StringVar(&size, "size", "", "the new size: 250x250mm")
	c.Flags().BoolVar(&removes, "removes-cuts", false, "the damaged part went with the offcut")
	must(c.MarkFlagRequired("size"))
	return c
}

func (a *app) documentCommand() *cobra.Command {
	var b medium.Document
	c := a.stepCommand("document", "Put the supplier's food-contact statement on file",
		`For mats that were registered without it, or for a newer statement. The mesh's
compliance belongs to its sheet: resin, additives and color, so ask for the
statement for that exact sheet. The care finding then drops off the verdicts.`,
		`  resow document TK7R2N81 --contact "complies with EU 10/2011" \
      --contact-date 2026-03-01 --by MK
  resow list --json | … | resow document - --contact "…" --contact-date 2026-03-01`,
		func(*farm, medium.Code) (medium.Body, error) {
			body := b
			return &body, nil
		}, nil)
	c.Flags().StringVar(&b.ContactStatement, "contact", "", "the statement, in the supplier's words")
	c.Flags().StringVar(&b.ContactDate, "contact-date", "", "its date: 2026-03-01")
	c.Flags().StringVar(&b.Supplier, "supplier", "", "who sold the mesh, if it is not on file yet")
	must(c.MarkFlagRequired("contact"))
	must(c.MarkFlagRequired("contact-date"))
	return c
}

func (a *app) retireCommand() *cobra.Command {
	var cause, note string
	causes := make([]string, len(medium.Causes))
	for i, c := range medium.Causes {
		causes[i] = string(c)
	}
	c := a.stepCommand("retire", "End the use of mats as a growing surface",
		"A retired mat keeps its history and takes no more steps. Cut the label through.",
		`  resow retire TK7R2N81 --cause cut --by MK
  resow retire TK7R2N81 --cause wear --note "threads snap" --by MK`,
		func(*farm, medium.Code) (medium.Body, error) {
			return &medium.Retire{Cause: medium.Cause(cause), Note: note}, nil
		}, nil)
	c.Flags().StringVar(&cause, "cause", "", "cut, mold, wear, yield, age, lost or other")
	c.Flags().StringVar(&note, "note", "", "anything else")
	must(c.MarkFlagRequired("cause"))
	must(c.RegisterFlagCompletionFunc("cause", fixedWords(causes...)))
	return c
}

func (a *app) correctCommand() *cobra.Command {
	var reason string
	return finish(&cobra.Command{
		Use: "correct CODE STEP", Short: "Void an earlier step of a mat, with a reason", Args: cobra.ExactArgs(2),
		Long: `Nothing is edited or deleted. A correction voids an earlier step: both stay on
record, and the mat is as if the step had never been taken. STEP is the step's
number in ` + "`resow history`" + `. Then record what really happened, with --at. A mat whose
sowing or harvest was voided carries a care finding until it is sanitized again.

On the command line there are no roles: whoever can write the ledger's file can
void a step, under the initials of --by.`,
		Example: `  resow history TK7R2N81
  resow correct TK7R2N81 14 --reason "wrong mat scanned" --by MK`,
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			seq, err := strconv.ParseUint(args[1], 10, 32)
			if err != nil {
				return &usageError{fmt.Sprintf("step %q: want its number in `resow history`", args[1])}
			}
			if strings.EqualFold(args[0], "farm") {
				return &usageError{"a record about the farm is not voided: record it again, and the newer one counts (resow policy set, sanitizer add, solution strip, crop add, prices set); `resow report sanitation` shows both where a step relied on the older one"}
			}
			return a.open(false, func(f *farm) error {
				code, err := f.find(args[0])
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
