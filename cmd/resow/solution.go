package main

import (
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
)

// bottleUp records a mixed solution under a new code.
func (a *app) bottleUp(f *farm.Farm, m mixFlags, doc farm.Mixed) (farm.Mixed, error) {
	if d := doc.Directions; m.Opened == "" && d.OpenedDays > 0 {
		return doc, ui.Wrongf("an opened bottle of %s is good for %g days; say when it was opened: --opened "+
			"2026-11-01", d.Name, d.OpenedDays)
	}
	s, err := f.Solution(m.Mixing, doc)
	if err != nil {
		return doc, err
	}
	if s.Code, err = f.FreshBottle(); err != nil {
		return doc, err
	}
	var paper labels.Stock
	var file *ui.Begun
	if m.tag != "" { // before the record, which can't be taken back
		if paper, err = f.TagPaper(m.tagStock); err != nil {
			return doc, err
		}
		if file, err = ui.BeginFile(m.tag, ui.BeginsPDF); err != nil {
			return doc, err
		}
		defer file.Drop()
	}
	done, err := a.enter(f, medium.Step{Mat: medium.FarmThread, Body: &s})
	if err != nil {
		return doc, err
	}
	doc.Solution = done[0].Body.(*medium.Solution)
	if file == nil {
		return doc, nil
	}
	printer, _ := f.Printer(defaultPrinter)
	run := labels.BottleTags{Stock: paper, Correction: correctionOf(printer)}
	b := medium.Bottle{Solution: *doc.Solution, MadeAt: done[0].At, MadeBy: done[0].By}
	if err := file.Finish(func(w io.Writer) error { return f.DrawTags(w, run, b) }); err != nil {
		return doc, &afterError{err, "resow solution tag " + string(doc.Solution.Code)}
	}
	doc.Tag = m.tag
	return doc, nil
}

// bottle gives the solution that a scanned or typed text names, also one that was
// discarded after the time of a late entry.
func (a *app) bottle(f *farm.Farm, text string) (medium.Bottle, error) {
	code, err := labels.Read(text)
	if err != nil {
		return medium.Bottle{}, err
	}
	at, err := a.asOf(f)
	if err != nil {
		return medium.Bottle{}, err
	}
	return f.BottleAt(medium.Code(code), at)
}

// asOf is the time of --at, the end of it where that is a day, else now.
func (a *app) asOf(f *farm.Farm) (time.Time, error) {
	at, day, err := a.happenedOn(f)
	now := f.Now()
	if day {
		at = time.Date(at.Year(), at.Month(), at.Day(), 23, 59, 59, 0, f.Loc)
	}
	if err != nil || at.IsZero() || at.After(now) {
		return now, err
	}
	return at, nil
}

func (a *app) solutionCommand(c *cobra.Command) {

	a.sub(c, "list", (*app).solutionListCommand)
	a.sub(c, "strip", (*app).solutionStripCommand)
	a.sub(c, "discard", (*app).solutionDiscardCommand)
	a.sub(c, "tag", (*app).solutionTagCommand)
}

// solutionLine is one solution of solution list --json.
type solutionLine struct {
	medium.Bottle
	StrengthPPM float64 `json:"strength_ppm"` // the strip's, or the computed one
	LeastPPM    float64 `json:"least_ppm"`
	MostPPM     float64 `json:"most_ppm"`
	State       string  `json:"state"`
}

func (a *app) solutionListCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		lines := []solutionLine{}
		for _, b := range f.Bottles {
			least, most := b.Range()
			lines = append(lines, solutionLine{Bottle: b, StrengthPPM: b.Strength(), LeastPPM: least, MostPPM: most,
				State: f.State(b, f.Now())})
		}
		return a.Print(map[string]any{"solutions": lines}, func(w io.Writer) {
			if len(lines) == 0 {
				fmt.Fprintln(w, "No solution on file. Mix one with `resow mix --bottle`.")
				return
			}
			fmt.Fprintf(w, "%-9s  %-16s  %-20s  %-12s  %s\n", "CODE", "PRODUCT", "PPM", "GOOD UNTIL", "STATE")
			for _, l := range lines {
				lead := fmt.Sprintf("%-9s  %-16s  %-20s  %-12s  ", l.Solution.Code, ui.Cut(l.Solution.Product, 16),
					bottleStrength(l.Bottle), f.Stamp(l.Solution.GoodUntil))
				ui.Item(w, lead, l.State)
			}
		})
	})
}

// bottleStrength says how strong a solution is and how that is known.
func bottleStrength(b medium.Bottle) string {
	if b.Strip == nil {
		return fmt.Sprintf("%g computed", b.Solution.StrengthPPM)
	}
	return fmt.Sprintf("%g ± %g by strip", b.Strip.ReadPPM, b.Strip.StepPPM/2)
}

func (a *app) solutionStripCommand(c *cobra.Command) {
	var reads, step, temp, pH string
	c.ValidArgsFunction = a.completeSolutions()
	c.RunE = func(_ *cobra.Command, args []string) error {
		s, err := farm.ReadStrip(reads, step, temp, pH)
		if err != nil {
			return err
		}
		return a.open(false, func(f *farm.Farm) error {
			b, err := a.bottle(f, args[0])
			if err != nil {
				return err
			}
			s.Code = b.Solution.Code
			if err := a.recordFarm(f, &s); err != nil || a.JSON {
				return err
			}
			if f.Farm, err = f.Store.Farm(); err != nil {
				return err
			}
			if b, err = a.bottle(f, args[0]); err != nil {
				return err
			}
			at, err := a.asOf(f)
			if err != nil {
				return err
			}
			if at.Before(f.Now()) {
				fmt.Fprintf(a.Out, "As of %s:\n", f.Stamp(at))
			}
			printStrip(a.Out, f, b, at)
			return nil
		})
	}
	c.Flags().StringVar(&reads, "reads", "", "the nearest color block: 100ppm")
	c.Flags().StringVar(&step, "step", "", "distance between the blocks beside it: 50ppm")
	c.Flags().StringVar(&temp, "temp", "", "temperature of the solution: 20C, 68F")
	c.Flags().StringVar(&pH, "ph", "", "its pH: 7.2")
	c.MarkFlagsRequiredTogether("reads", "step")
	c.MarkFlagsOneRequired("reads", "temp", "ph")
}

// printStrip says what a reading means, and how to put a solution right.
func printStrip(w io.Writer, f *farm.Farm, b medium.Bottle, now time.Time) {
	d, _ := f.DirectionsOf(b)
	state := f.State(b, now)
	least, most := b.Range()
	text := fmt.Sprintf("%s: %s, between %g and %g ppm", b.Solution.Code, state, least, most)
	if b.Strip == nil {
		text = fmt.Sprintf("%s: %s", b.Solution.Code, state)
	}
	if d.Directions != "" {
		text += fmt.Sprintf("; the directions ask for %g to %g ppm", d.MinPPM, d.MaxPPM)
	}
	ui.Say(w, "%s", text+".")
	if state == "no temperature or pH" {
		ui.Say(w, "A step with it is not accepted until both have been read: resow solution strip %s --temp …C --ph …",
			string(b.Solution.Code))
	}
	if state == "unsure" {
		ui.Say(w, "The strip can't tell whether it is within the directions: use a strip with finer steps, or mix "+
			"nearer to their middle. A step with it is accepted and says so.")
	}
	if computed := b.Solution.StrengthPPM; b.Strip != nil && (computed < least*0.8 || computed > most*1.2) {
		ui.Say(w, "The recipe gives %g ppm: the stock may be old, the strip out of date, or the measuring wrong.", computed)
	}
	today, _ := f.Product(b.Solution.Product)
	switch {
	case state != "too weak" && state != "too strong":
	case today.MinPPM != d.MinPPM || today.MaxPPM != d.MaxPPM:
		ui.Say(w, "The directions on file have changed since it was mixed: discard it and mix a fresh one.")
	default:
		have := b.Solution.StockML + b.Solution.WaterML
		fmt.Fprintf(w, "To put it right: resow mix --product %q --reads %gppm --have %.4gL\nand then read a strip "+
			"again; or discard it and mix a fresh one.\n", b.Solution.Product, b.Strength(), have/1000)
	}
}

func (a *app) solutionDiscardCommand(c *cobra.Command) {
	var reason string
	c.ValidArgsFunction = a.completeSolutions()
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
		b, err := a.bottle(f, args[0])
		if err != nil {
			return err
		}
		return a.recordFarm(f, &medium.Discard{Code: b.Solution.Code, Reason: reason})
	})
	c.Flags().StringVar(&reason, "reason", "", "used up, out of date, dirty …")
}

func (a *app) solutionTagCommand(c *cobra.Command) {
	var out, stock, printer string
	var skip int
	c.ValidArgsFunction = a.completeSolutions()
	c.RunE = a.reads(func(f *farm.Farm, args []string) error {
		bottles := make([]medium.Bottle, len(args))
		for i, text := range args {
			var err error
			if bottles[i], err = a.bottle(f, text); err != nil {
				return err
			}
		}
		correction, err := knownPrinter(f, printer)
		if err != nil {
			return err
		}
		run := labels.BottleTags{Skip: skip, Correction: correctionOf(correction)}
		if err := a.writeTags(f, run, bottles, out, stock); err != nil {
			return err
		}
		return a.Print(map[string]any{"file": out, "tags": len(bottles)}, func(w io.Writer) {
			fmt.Fprintf(w, "%s in %s. Print at 100 %%, not fitted to the page.\n", ui.Counted(len(bottles), "tag"), out)
			printedCorrected(w, correction)
		})
	})
	c.Flags().StringVar(&out, "out", "bottle.pdf", "file to write")
	c.Flags().StringVar(&stock, "stock", "", "label stock: a4-8, letter-8 or roll-100x60 (by the farm's paper)")
	c.Flags().IntVar(&skip, "skip", 0, "tags already used up on the first page")
	c.Flags().StringVar(&printer, "printer", defaultPrinter, "printer whose correction is used (resow label --calibrate)")
	must(c.RegisterFlagCompletionFunc("stock", fixedWords("a4-8", "letter-8", "roll-100x60")))
	must(c.RegisterFlagCompletionFunc("printer", a.completePrinters()))
}

func (a *app) writeTags(f *farm.Farm, run labels.BottleTags, bottles []medium.Bottle, out, stock string) error {
	paper, err := f.TagPaper(stock)
	if err != nil {
		return err
	}
	file, err := ui.BeginFile(out, ui.BeginsPDF)
	if err != nil {
		return err
	}
	defer file.Drop()
	run.Stock = paper
	return file.Finish(func(w io.Writer) error { return f.DrawTags(w, run, bottles...) })
}
