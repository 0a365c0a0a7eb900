package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

// bottleUp records a mixed solution under a new code.
func (a *app) bottleUp(f *farm, m mixer, d medium.Sanitizer, stock sanitizer.Stock, doc mixAnswer) (mixAnswer, error) {
	at, day, err := a.happenedOn(f)
	if err != nil {
		return doc, err
	}
	s, err := m.solution(f, d, stock, doc)
	if err != nil {
		return doc, err
	}
	if s.Code, err = a.freshBottle(f); err != nil {
		return doc, err
	}
	var paper labels.Stock
	var file *begun
	if m.tag != "" { // before the record, which can't be taken back
		if paper, err = f.tagPaper(m.tagStock); err != nil {
			return doc, err
		}
		if file, err = beginFile(m.tag, beginsPDF); err != nil {
			return doc, err
		}
		defer file.drop()
	}
	done, err := a.keep(f, []medium.Step{{Mat: medium.FarmThread, By: a.initials(), At: at, Day: day, Body: &s}})
	if err != nil {
		return doc, err
	}
	doc.Solution = done[0].Body.(*medium.Solution)
	if file == nil {
		return doc, nil
	}
	printer, _ := f.Printer(defaultPrinter)
	run := labels.BottleTags{Stock: paper, Correction: correctionOf(printer)}
	if err := a.drawTags(f, file, run, medium.Bottle{Solution: *doc.Solution, MadeAt: done[0].At, MadeBy: done[0].By}); err != nil {
		return doc, &afterError{err, "resow solution tag " + string(doc.Solution.Code)}
	}
	doc.Tag = m.tag
	return doc, nil
}

// solution is what is recorded of a mix, without its code: what a person
// measures, which is the rounded recipe where there is one.
func (m mixer) solution(f *farm, d medium.Sanitizer, stock sanitizer.Stock, doc mixAnswer) (s medium.Solution, err error) {
	s = medium.Solution{Product: d.Name, Stock: doc.Stock, StockML: doc.StockML, WaterML: doc.WaterML, StrengthPPM: doc.StrengthPPM}
	if s.TempC, err = measured("temperature", m.temp, amount.Temperature); err != nil {
		return s, err
	}
	if s.PH, err = measured("pH", m.pH, amount.Number); err != nil {
		return s, err
	}
	if stock.Active.Solid() {
		s.StockG = roundTo(doc.StockG, 4)
	}
	if doc.With != "" {
		s.Stock, s.StockML = doc.Stock+" + "+doc.With, doc.StockML+doc.Stock2ML
	}
	if r := doc.Recipe; r != nil && !m.exact {
		if err := asMeasured(&s, *r, stock, doc); err != nil {
			return s, err
		}
	}
	s.StockML, s.WaterML, s.StrengthPPM = roundTo(s.StockML, 4), roundTo(s.WaterML, 4), round3(s.StrengthPPM)
	s.OpenedAt, err = openedAt(f, m, d)
	return s, err
}

// asMeasured puts the rounded recipe's amounts in the place of the exact ones.
func asMeasured(s *medium.Solution, r sanitizer.Recipe, stock sanitizer.Stock, doc mixAnswer) error {
	s.StrengthPPM = r.StrengthPPM
	if doc.Question == "from-stock" {
		s.WaterML = r.MeasureML
		return nil
	}
	exact, err := sanitizer.Dilute(stock, sanitizer.Strength{Value: r.StrengthPPM, Basis: sanitizer.MgPerL}, r.FinalML, sanitizer.Use{RinseDeclared: true})
	s.StockML, s.WaterML = r.MeasureML, exact.WaterML
	return err
}

// openedAt reads when the stock was opened, which a product with a limit on it
// must tell.
func openedAt(f *farm, m mixer, d medium.Sanitizer) (time.Time, error) {
	if m.opened != "" {
		at, err := time.ParseInLocation(time.DateOnly, m.opened, f.loc)
		if err != nil {
			return at, &amount.Error{What: "opened", Input: m.opened, Want: "a date as 2026-11-01"}
		}
		return at, nil
	}
	if d.OpenedDays > 0 {
		return time.Time{}, &usageError{fmt.Sprintf("an opened bottle of %s is good for %g days; say when it was opened: --opened 2026-11-01", d.Name, d.OpenedDays)}
	}
	return time.Time{}, nil
}

// freshBottle draws a code that no solution on the farm has.
func (a *app) freshBottle(f *farm) (medium.Code, error) {
	for {
		code, err := labels.NewCode(labels.Bottle, a.random)
		if err != nil {
			return "", err
		}
		if _, err := f.BottleAt(medium.Code(code), time.Time{}); err != nil { // discarded ones are taken too
			return medium.Code(code), nil
		}
	}
}

// bottle gives the solution that a scanned or typed text names, also one that was
// discarded after the time of a late entry.
func (a *app) bottle(f *farm, text string) (medium.Bottle, error) {
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
func (a *app) asOf(f *farm) (time.Time, error) {
	at, day, err := a.happenedOn(f)
	now := f.now(a)
	if day {
		at = time.Date(at.Year(), at.Month(), at.Day(), 23, 59, 59, 0, f.loc)
	}
	if err != nil || at.IsZero() || at.After(now) {
		return now, err
	}
	return at, nil
}

func (a *app) solutionCommand() *cobra.Command {
	c := &cobra.Command{Use: "solution", Short: "Keep the mixed solutions: strips, tags, what to pour away",
		Long: `A solution is mixed and recorded with resow mix --bottle. Read a test strip in it
before use: chlorine fades, so the strip tells the strength and the recipe does
not. A solution that is out of date, too strong, too weak or never measured makes
a sanitize step not accepted, and so does a chlorine solution of which nobody
read the temperature and the pH.`,
		Example: `  resow solution list
  resow solution strip BK7R2N81 --reads 100ppm --step 50ppm --temp 24C --ph 7.2 --by MK
  resow solution tag BK7R2N81 --out bottle.pdf
  resow solution discard BK7R2N81 --reason "used up" --by MK`}
	c.AddCommand(a.solutionListCommand(), a.solutionStripCommand(), a.solutionDiscardCommand(), a.solutionTagCommand())
	return c
}

// solutionLine is one solution of solution list --json.
type solutionLine struct {
	medium.Bottle
	StrengthPPM float64 `json:"strength_ppm"` // the strip's, or the computed one
	LeastPPM    float64 `json:"least_ppm"`
	MostPPM     float64 `json:"most_ppm"`
	State       string  `json:"state"`
}

func (a *app) solutionListCommand() *cobra.Command {
	return &cobra.Command{Use: "list", Short: "List the solutions that were not discarded", Args: cobra.NoArgs,
		Long:    "List prints each solution with its strength, by the strip where one was read, and until when it is good.",
		Example: "  resow solution list\n  resow solution list --json",
		RunE: func(*cobra.Command, []string) error {
			return a.open(true, func(f *farm) error {
				lines := []solutionLine{}
				for _, b := range f.Bottles {
					least, most := b.Range()
					lines = append(lines, solutionLine{Bottle: b, StrengthPPM: b.Strength(), LeastPPM: least, MostPPM: most, State: f.state(b, f.now(a))})
				}
				return a.print(struct {
					Solutions []solutionLine `json:"solutions"`
				}{lines}, func(w io.Writer) {
					if len(lines) == 0 {
						fmt.Fprintln(w, "No solution on file. Mix one with `resow mix --bottle`.")
						return
					}
					fmt.Fprintf(w, "%-9s  %-16s  %-20s  %-12s  %s\n", "CODE", "PRODUCT", "PPM", "GOOD UNTIL", "STATE")
					for _, l := range lines {
						lead := fmt.Sprintf("%-9s  %-16s  %-20s  %-12s  ", l.Solution.Code, cut(l.Solution.Product, 16), bottleStrength(l.Bottle), f.stamp(l.Solution.GoodUntil))
						fmt.Fprint(w, column(lead, l.State, 79))
					}
				})
			})
		}}
}

// bottleStrength says how strong a solution is and how that is known.
func bottleStrength(b medium.Bottle) string {
	if b.Strip == nil {
		return fmt.Sprintf("%g computed", b.Solution.StrengthPPM)
	}
	return fmt.Sprintf("%g ± %g by strip", b.Strip.ReadPPM, b.Strip.StepPPM/2)
}

// state says in a word or two whether a solution can be used.
func (f *farm) state(b medium.Bottle, now time.Time) string {
	d, _ := f.DirectionsOf(b)
	least, most := b.Range()
	switch {
	case now.After(b.Solution.GoodUntil):
		return "out of date"
	case d.Directions == "":
		return "no directions"
	case b.Strength() < d.MinPPM || least == 0:
		return "too weak"
	case b.Strength() > d.MaxPPM:
		return "too strong"
	case b.Strip == nil:
		return "not measured"
	case least < d.MinPPM || most > d.MaxPPM:
		return "unsure"
	case len(f.Unmeasured(medium.Sanitize{Solution: b.Solution.Code, ContactS: d.ContactS, Sides: 2}, now)) > 0:
		return "no temperature or pH"
	}
	return "good"
}

func (a *app) solutionStripCommand() *cobra.Command {
	var reads, step, temp, pH string
	c := &cobra.Command{Use: "strip CODE", Short: "Record a test strip, the temperature or the pH of a solution", Args: cobra.ExactArgs(1),
		Long: `Dip the strip as its package says and give the nearest color block (--reads) and
the distance to the blocks beside it (--step). The true strength lies up to half
a step to either side. The temperature (--temp) and the pH (--ph) can be given
with it or by themselves; read once, they serve all uses of the solution for some
hours (the policy's reading-hours), so that nobody needs a thermometer at the mat.

A use is judged by what was last read before it. All readings stay on record; a
mistaken one is put right by the next, with --at where that is to count for
earlier uses.`,
		Example: `  resow solution strip BK7R2N81 --reads 100ppm --step 50ppm --temp 24C --ph 7.2 --by MK
  resow solution strip BK7R2N81 --temp 24C --ph 7.2 --by MK            no strip
  resow solution strip BK7R2N81 --reads 0ppm --step 10ppm --by MK      no color at all`,
		ValidArgsFunction: a.completeSolutions,
		RunE: func(_ *cobra.Command, args []string) error {
			var s medium.Strip
			if err := readStrip(&s, reads, step, temp, pH); err != nil {
				return err
			}
			return a.open(false, func(f *farm) error {
				b, err := a.bottle(f, args[0])
				if err != nil {
					return err
				}
				s.Code = b.Solution.Code
				if err := a.recordFarm(f, &s); err != nil || a.json {
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
				if at.Before(f.now(a)) {
					fmt.Fprintf(a.out, "As of %s:\n", f.stamp(at))
				}
				printStrip(a.out, f, b, at)
				return nil
			})
		}}
	c.Flags().StringVar(&reads, "reads", "", "the nearest color block: 100ppm")
	c.Flags().StringVar(&step, "step", "", "distance between the blocks beside it: 50ppm")
	c.Flags().StringVar(&temp, "temp", "", "temperature of the solution: 20C, 68F")
	c.Flags().StringVar(&pH, "ph", "", "its pH: 7.2")
	c.MarkFlagsRequiredTogether("reads", "step")
	c.MarkFlagsOneRequired("reads", "temp", "ph")
	return c
}

// readStrip reads what was typed of a solution: a strip, the temperature, the pH,
// or some of them.
func readStrip(s *medium.Strip, reads, step, temp, pH string) (err error) {
	if s.TempC, err = measured("temperature", temp, amount.Temperature); err != nil {
		return err
	}
	if s.PH, err = measured("pH", pH, amount.Number); err != nil {
		return err
	}
	if reads == "" && step == "" && (s.TempC != nil || s.PH != nil) {
		return nil
	}
	if s.ReadPPM, err = stripPPM("strip reading", reads); err != nil {
		return err
	}
	s.StepPPM, err = stripPPM("step of the strip", step)
	return err
}

// stripPPM reads what a strip shows; 0 is a reading too.
func stripPPM(what, text string) (float64, error) {
	if strings.EqualFold(strings.ReplaceAll(text, " ", ""), "0ppm") {
		return 0, nil
	}
	s, err := sanitizer.ParseStrength(text)
	if err != nil {
		return 0, err
	}
	if s.Basis != sanitizer.MgPerL {
		return 0, &amount.Error{What: what, Input: text, Want: "ppm, as the strip's package has it: 100ppm"}
	}
	return s.Value, nil
}

// printStrip says what a reading means, and how to put a solution right.
func printStrip(w io.Writer, f *farm, b medium.Bottle, now time.Time) {
	d, _ := f.DirectionsOf(b)
	state := f.state(b, now)
	least, most := b.Range()
	text := fmt.Sprintf("%s: %s, between %g and %g ppm", b.Solution.Code, state, least, most)
	if b.Strip == nil {
		text = fmt.Sprintf("%s: %s", b.Solution.Code, state)
	}
	if d.Directions != "" {
		text += fmt.Sprintf("; the directions ask for %g to %g ppm", d.MinPPM, d.MaxPPM)
	}
	fmt.Fprint(w, wrap(text+".", 79, "  "))
	if state == "no temperature or pH" {
		fmt.Fprint(w, wrap(fmt.Sprintf("A step with it is not accepted until both have been read: resow solution strip %s --temp …C --ph …", string(b.Solution.Code)), 79, "  "))
	}
	if state == "unsure" {
		fmt.Fprint(w, wrap("The strip can't tell whether it is within the directions: use a strip with finer steps, or mix nearer to their middle. A step with it is accepted and says so.", 79, "  "))
	}
	if computed := b.Solution.StrengthPPM; b.Strip != nil && (computed < least*0.8 || computed > most*1.2) {
		fmt.Fprint(w, wrap(fmt.Sprintf("The recipe gives %g ppm: the stock may be old, the strip out of date, or the measuring wrong.", computed), 79, "  "))
	}
	today, _ := f.product(b.Solution.Product)
	switch {
	case state != "too weak" && state != "too strong":
	case today.MinPPM != d.MinPPM || today.MaxPPM != d.MaxPPM:
		fmt.Fprint(w, wrap("The directions on file have changed since it was mixed: discard it and mix a fresh one.", 79, "  "))
	default:
		have := b.Solution.StockML + b.Solution.WaterML
		fmt.Fprintf(w, "To put it right: resow mix --product %q --reads %gppm --have %.4gL\nand then read a strip again; or discard it and mix a fresh one.\n", b.Solution.Product, b.Strength(), have/1000)
	}
}

func (a *app) solutionDiscardCommand() *cobra.Command {
	var reason string
	c := &cobra.Command{Use: "discard CODE", Short: "Record that a solution was used up or poured away", Args: cobra.ExactArgs(1),
		Long: `A discarded solution can't be used any more; a sanitize step that was done before
can still be recorded late, with --at. Pour
away only what the label and the local sewer or septic rules allow, with plenty
of water, and never two products into one drain.`,
		Example:           "  resow solution discard BK7R2N81 --reason \"used up\" --by MK",
		ValidArgsFunction: a.completeSolutions,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(false, func(f *farm) error {
				b, err := a.bottle(f, args[0])
				if err != nil {
					return err
				}
				return a.recordFarm(f, &medium.Discard{Code: b.Solution.Code, Reason: reason})
			})
		}}
	c.Flags().StringVar(&reason, "reason", "", "used up, out of date, dirty …")
	return c
}

func (a *app) solutionTagCommand() *cobra.Command {
	var out, stock, printer string
	var skip int
	c := &cobra.Command{Use: "tag CODE...", Short: "Print the tags of solution bottles as a PDF", Args: cobra.MinimumNArgs(1),
		Long: `The tag holds the QR symbol and the code, product, strength, good-until, maker and
the cautions, and where there is room the contact time and the rinse of the
product's directions. Print at 100 %, not fitted to the page, on a stock that survives
wet hands, or slip the paper into a clear pouch.`,
		Example:           "  resow solution tag BK7R2N81 --out bottle.pdf\n  resow solution tag BK7R2N81 --stock roll-100x60\n  resow solution tag BK7R2N81 --skip 3 --printer office",
		ValidArgsFunction: a.completeSolutions,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(true, func(f *farm) error {
				bottles := make([]medium.Bottle, len(args))
				for i, text := range args {
					var err error
					if bottles[i], err = a.bottle(f, text); err != nil {
						return err
					}
				}
				correction, err := f.knownPrinter(printer)
				if err != nil {
					return err
				}
				run := labels.BottleTags{Skip: skip, Correction: correctionOf(correction)}
				if err := a.writeTags(f, run, bottles, out, stock); err != nil {
					return err
				}
				return a.print(map[string]any{"file": out, "tags": len(bottles)}, func(w io.Writer) {
					fmt.Fprintf(w, "%s in %s. Print at 100 %%, not fitted to the page.\n", counted(len(bottles), "tag"), out)
					printedCorrected(w, correction)
				})
			})
		}}
	c.Flags().StringVar(&out, "out", "bottle.pdf", "file to write")
	c.Flags().StringVar(&stock, "stock", "", "label stock: a4-8, letter-8 or roll-100x60 (by the farm's paper)")
	c.Flags().IntVar(&skip, "skip", 0, "tags already used up on the first page")
	c.Flags().StringVar(&printer, "printer", defaultPrinter, "printer whose correction is used (resow label --calibrate)")
	must(c.RegisterFlagCompletionFunc("stock", fixedWords("a4-8", "letter-8", "roll-100x60")))
	must(c.RegisterFlagCompletionFunc("printer", a.completePrinters))
	return c
}

func (a *app) writeTags(f *farm, run labels.BottleTags, bottles []medium.Bottle, out, stock string) error {
	paper, err := f.tagPaper(stock)
	if err != nil {
		return err
	}
	file, err := beginFile(out, beginsPDF)
	if err != nil {
		return err
	}
	defer file.drop()
	run.Stock = paper
	return a.drawTags(f, file, run, bottles...)
}

// tagPaper is the stock named, or the one for the farm's paper.
func (f *farm) tagPaper(stock string) (labels.Stock, error) {
	if stock == "" {
		stock = map[string]string{"a4": "a4-8", "letter": "letter-8"}[f.Settings.Paper]
	}
	return labels.FindStock(stock)
}

func (a *app) drawTags(f *farm, file *begun, run labels.BottleTags, bottles ...medium.Bottle) error {
	run.Created = f.now(a)
	for _, b := range bottles {
		run.Tags = append(run.Tags, f.tag(b))
	}
	return file.finish(func(w io.Writer) error { return labels.WriteBottleTags(w, run) })
}

func (f *farm) tag(b medium.Bottle) labels.BottleTag {
	const stamp = "2 Jan 2006 15:04"
	active := sanitizer.Active(b.Solution.Active)
	strength := fmt.Sprintf("%g ppm computed", b.Solution.StrengthPPM)
	if b.Strip != nil {
		strength = fmt.Sprintf("%g ppm by strip", b.Strip.ReadPPM)
	}
	directions, _ := f.DirectionsOf(b)
	return labels.BottleTag{Code: string(b.Solution.Code), Product: b.Solution.Product, Active: active.Title(), Strength: strength, Use: tagUse(directions),
		MadeAt: b.MadeAt.In(f.loc).Format(stamp), GoodUntil: b.Solution.GoodUntil.In(f.loc).Format(stamp), MadeBy: b.MadeBy, Farm: f.Settings.Name,
		Cautions: pack(sanitizer.TagCautions(active, b.Solution.StrengthPPM), tagLine)}
}

// tagUse says in a few words what the directions ask for on the mat; nothing
// where the product has none on file.
func tagUse(d medium.Sanitizer) string {
	if d.Directions == "" || d.ContactS == 0 {
		return ""
	}
	rinse := "no rinse asked for"
	if d.Rinse {
		rinse = "then rinse with potable water"
	}
	return "Wet " + medium.Seconds(d.ContactS) + ", " + rinse
}

// tagLine is what one line of a tag's cautions holds at a type that can be read.
const tagLine = 54

// pack joins short sentences to lines of at most so many characters. The first
// stays first; a later one goes up where it fits.
func pack(sentences []string, most int) []string {
	var lines []string
next:
	for _, s := range sentences {
		for i := range lines {
			if len(lines[i])+1+len(s) <= most {
				lines[i] += " " + s
				continue next
			}
		}
		lines = append(lines, s)
	}
	return lines
}
