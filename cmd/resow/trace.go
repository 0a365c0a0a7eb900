package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels/report"
	"resow/medium"
	"resow/medium/trace"
	"resow/store"
)

// tracing holds the flags that trace and report trace share.
type tracing struct{ as, since string }

func (t *tracing) flags(c *cobra.Command) {
	c.Flags().StringVar(&t.as, "as", "",
		"what the name is: lot, seed-lot, mat, solution or roll (found out where only one fits)")
	c.Flags().StringVar(&t.since, "since", "",
		"of a mat, solution or roll: only what was sown from this day on: 2026-11-01")
	must(c.RegisterFlagCompletionFunc("as", fixedWords("lot", "seed-lot", "mat", "solution", "roll")))
}

var traceKinds = []struct{ flag, from string }{
	{"lot", trace.FromLot}, {"seed-lot", trace.FromSeedLot}, {"mat", trace.FromMat},
	{"solution", trace.FromSolution}, {"roll", trace.FromRoll},
}

// find traces a name. Without --as it tries all that the name can be.
func (t *tracing) find(a *app, f *farm.Farm, name string) (trace.Result, error) {
	since := time.Time{}
	if t.since != "" {
		day, err := time.ParseInLocation(time.DateOnly, t.since, f.Loc)
		if err != nil {
			return trace.Result{}, &medium.InputError{Field: "first day", Value: t.since, Want: "a day as YYYY-MM-DD"}
		}
		since = day
	}
	g := a.graph(f)
	var found []trace.Result
	var as []string
	var last error
	for _, k := range traceKinds {
		if t.as != "" && t.as != k.flag {
			continue
		}
		r, err := g.Find(trace.Query{From: k.from, Name: f.TraceName(k.from, name), Since: since})
		if err != nil {
			last = err
			continue
		}
		found, as = append(found, r), append(as, "--as "+k.flag)
	}
	var unknown *medium.UnknownError
	switch {
	case len(found) == 1:
		return found[0], nil
	case len(found) > 1:
		return trace.Result{}, ui.Wrongf("%q names more than one thing; say %s", name, strings.Join(as, " or "))
	case last == nil:
		return trace.Result{}, ui.Wrongf("--as %s: want lot, seed-lot, mat, solution or roll", t.as)
	case t.as == "" && errors.As(last, &unknown):
		unknown = &medium.UnknownError{What: traceAny, Name: name}
	}
	if unknown != nil {
		near, err := nearLots(f, name)
		if err != nil {
			return trace.Result{}, err
		}
		if len(near) > 0 {
			unknown.Why = "did you mean " + ui.Some(near, nearShown) + "?"
		}
		return trace.Result{}, unknown
	}
	return trace.Result{}, last
}

// nearShown is how many names like an unknown one are proposed.
const nearShown = 5

// indexes lists those of the ledger that know what a trace can start from.
var indexes = map[string][]store.Index{
	trace.FromLot: {store.Lots, store.VoidedLots}, trace.FromSeedLot: {store.SeedLots, store.VoidedSeedLots},
	trace.FromSolution: {store.Solutions}, trace.FromRoll: {store.Rolls},
}

// graph reads of the ledger no more than a trace comes to.
func (a *app) graph(f *farm.Farm) *trace.Graph {
	tell := a.Progress("reading the mats found", a.now)
	named, read := map[medium.Code]bool{}, 0
	mats := func(from, name string) (all []medium.Code, err error) {
		if from == trace.FromMat {
			if _, err = f.Condition(medium.Code(name)); farm.IsUnknownMat(err) {
				return nil, nil
			}
			all = append(all, medium.Code(name))
		}
		for _, x := range indexes[from] {
			touched, err := f.Touched(x, name)
			if err != nil {
				return nil, err
			}
			all = append(all, touched...)
		}
		for _, code := range all {
			named[code] = true
		}
		return all, err
	}
	thread := func(code medium.Code) ([]medium.Step, error) {
		if read++; tell != nil {
			tell(read, len(named))
		}
		return f.Thread(code)
	}
	return trace.New(trace.Ledger{Mats: mats, Thread: thread})
}

// nearLots gives the lots on file whose names are like one that is not.
func nearLots(f *farm.Farm, name string) (near []string, err error) {
	near = trace.Near(func(yield func([]medium.Step) bool) {
		more := true
		err = f.Threads(func(thread []medium.Step) { more = more && yield(thread) }, medium.KindSow, medium.KindCorrect)
	}, name)
	return near, err
}

func (a *app) traceCommand(c *cobra.Command) {
	var t tracing
	var hold, epcis string
	var n trace.Names
	var initials, voided bool
	c.RunE = func(cmd *cobra.Command, args []string) error {
		if cmd.Flags().Changed("hold") && strings.TrimSpace(hold) == "" {
			return ui.Wrong("--hold: say why, in a few words")
		}
		if voided && hold == "" {
			return ui.Wrong("--voided holds more mats: give it with --hold")
		}
		if n.Base != "" {
			if err := n.Check(); err != nil {
				return err
			}
		}
		var f *farm.Farm
		var r trace.Result
		var step medium.Step
		var anchor store.Anchor
		err := a.open(true, func(opened *farm.Farm) (err error) {
			f = opened
			if hold != "" {
				if step, err = a.holdStep(f, hold); err != nil {
					return err
				}
			}
			if anchor, err = f.Anchor(); err != nil {
				return err
			}
			if r, err = t.find(a, f, args[0]); err != nil || epcis == "" {
				return err
			}
			doc := trace.EPCIS{Names: n, Store: f.ID(), Zone: f.Loc, Made: f.Now(), Initials: initials}
			return a.writeEPCIS(f, epcis, r.Mats, doc)
		})
		held := farm.Holding{Held: []medium.Code{}}
		if err == nil && hold != "" {
			also := voidedMats(r)
			if !voided {
				also = nil
			}
			held, err = a.holdAll(slices.Concat(r.Mats, also), step, anchor.Count)
			held.Voided = len(voidedMats(r)) - len(also)
		}
		if err != nil {
			return err
		}
		return a.Print(struct {
			trace.Result
			farm.Holding
			EPCIS string `json:"epcis_file,omitempty"`
		}{r, held, epcis}, func(w io.Writer) {
			a.printTrace(w, f, r)
			if hold != "" {
				a.printHolding(w, held, hold)
			}
			if voided {
				r.VoidedHold = nil
			}
			a.printHoldCommands(w, r, hold != "")
			if epcis != "" {
				fmt.Fprintf(w, "Wrote %s (GS1 EPCIS 2.0, JSON-LD).\n", epcis)
			}
		})
	}
	t.flags(c)
	c.Flags().StringVar(&hold, "hold", "", "put all of these mats on hold, for this reason")
	c.Flags().BoolVar(&voided, "voided", false, "hold also the mats whose sowing of such a lot was voided")
	c.Flags().StringVar(&epcis, "epcis", "", "file for the steps of these mats as GS1 EPCIS 2.0 JSON-LD")
	c.Flags().BoolVar(&initials, "initials", false, "put into that file also who did each step")
	c.Flags().StringVar(&n.Base, "base", "",
		"address of your own under which the names in it stand: https://greens.example/")
	c.Flags().StringVar(&n.GRAI, "grai", "", "your GS1 company prefix and asset type for the mats: 9521234.00001")
}

// voidedMats are the mats whose sowing of such a lot was voided, each once.
func voidedMats(r trace.Result) (mats []medium.Code) {
	for _, v := range r.Voided {
		mats = append(mats, v.Mat)
	}
	return slices.Compact(mats) // they stand mat by mat
}

// printHoldCommands shows the commands that hold what is not on hold yet, and the one
// for the paper.
func (a *app) printHoldCommands(w io.Writer, r trace.Result, held bool) {
	if held {
		r.Hold = nil
	}
	for _, c := range a.holdCommands(r) {
		fmt.Fprintf(w, "to hold    %s\n", c)
	}
	fmt.Fprintf(w, "to print   %s report trace %s --as %s --out trace.pdf\n", a.self,
		ui.Quoted(r.Query.Name), traceFlag(r.Query.From))
}

// holdCommands gives the commands that hold the mats of a trace and those with
// other crops of the same seed lots, as far as they are not on hold.
func (a *app) holdCommands(r trace.Result) (out []string) {
	since := ""
	if !r.Query.Since.IsZero() {
		since = " --since " + r.Query.Since.Format(time.DateOnly)
	}
	voided := ""
	if len(r.Hold) == 0 && len(r.VoidedHold) > 0 {
		voided = " --voided"
	}
	if len(r.Hold)+len(r.VoidedHold) > 0 {
		why := ui.Quoted("recall of " + r.Query.From + " " + r.Query.Name)
		out = append(out, fmt.Sprintf("%s trace %s --as %s%s%s --hold %s", a.self, ui.Quoted(r.Query.Name),
			traceFlag(r.Query.From), since, voided, why))
	}
	for _, s := range r.Seeds {
		if len(s.Hold) > 0 {
			why := ui.Quoted("same seed lot as " + r.Query.From + " " + r.Query.Name)
			out = append(out, fmt.Sprintf("%s trace %s --as seed-lot --hold %s", a.self, ui.Quoted(s.Name), why))
		}
	}
	return out
}

func traceFlag(from string) string {
	for _, k := range traceKinds {
		if k.from == from {
			return k.flag
		}
	}
	return from
}

// writeEPCIS writes mat by mat: of a large recall the document is larger than
// the memory.
func (a *app) writeEPCIS(f *farm.Farm, path string, mats []medium.Code, doc trace.EPCIS) error {
	tell := a.Progress("writing EPCIS, mats", a.now)
	if doc.Names.Base == "" {
		doc.Names.Base = trace.NoBase(fmt.Sprintf("%x", f.ID()[:6]))
	}
	head, err := doc.Head()
	if err != nil {
		return err
	}
	return ui.WriteFile(path, ui.BeginsEPCIS, func(w io.Writer) error {
		to := bufio.NewWriterSize(w, 1<<16)
		to.Write(head) // a bufio.Writer keeps its error for Flush
		for done, code := range mats {
			if tell != nil {
				tell(done+1, len(mats))
			}
			thread, err := f.Thread(code)
			if err != nil {
				return err
			}
			events, err := doc.Thread(thread)
			if err != nil {
				return err
			}
			to.Write(events)
		}
		to.Write(doc.Tail())
		return to.Flush()
	})
}

func (a *app) printTrace(w io.Writer, f *farm.Farm, r trace.Result) {
	fmt.Fprint(w, ui.Wrap(fmt.Sprintf("%s %s, growths: %d, other lots at risk: %d, mats: %d", r.Query.From, r.Query.Name,
		len(r.Start), len(otherLots(r)), len(r.Mats)), 79, "  "))
	for _, g := range r.Start {
		a.printGrowth(w, f, g, "")
		for _, c := range g.Before {
			fmt.Fprint(w, ui.Column("    |- ", "before it: "+f.CleaningText(c), 79))
		}
		if len(g.Before) == 0 {
			fmt.Fprintln(w, "    |- before it: no sanitize step since the crop before")
		}
	}
	part := func(head string, reaches []trace.Reach) {
		if len(reaches) == 0 {
			fmt.Fprintf(w, "%s: none.\n", head)
			return
		}
		fmt.Fprintf(w, "%s:\n", head)
		for _, x := range reaches {
			a.printGrowth(w, f, x.Growth, strings.Repeat("  ", min(x.Hops-1, 6)))
			fmt.Fprint(w, ui.Column(strings.Repeat("  ", min(x.Hops-1, 6))+"    |- ", x.Why, 79))
		}
	}
	part(a.Paint(ui.Red, "AT RISK, sown later or of the same lots"), r.AtRisk)
	part("POSSIBLE SOURCES, on the same mats before", r.Sources)
	a.printSeedAlso(w, f, r)
	if len(r.Voided) > 0 {
		fmt.Fprint(w, ui.Wrap(a.Paint(ui.Red, "SOWING VOIDED, and the mat not found otherwise")+
			" (--hold alone does not hold it, --hold with --voided does):", 79, "  "))
	}
	for _, v := range r.Voided {
		lot := farm.Join(farm.Named("lot", v.Lot), farm.Named("seed lot", v.SeedLot))
		fmt.Fprint(w, ui.Column("  "+string(v.Mat)+"  ", fmt.Sprintf("sowing voided on %s by %s: %s (%s, sown %s by %s)",
			f.Date(v.VoidedAt), v.VoidedBy, v.Reason, farm.Join(lot, v.Crop), f.Date(v.SownAt), v.SownBy), 79))
	}
	for _, s := range r.Solutions {
		text := s.Product
		if s.Code != "" {
			text += ", solution " + s.Code.String()
		}
		if s.MadeBy != "" {
			text += ", mixed by " + s.MadeBy + " " + f.Stamp(s.MadeAt)
		}
		if s.Missed > 0 {
			text += fmt.Sprintf(", %s NOT ACCEPTED", ui.Counted(s.Missed, "step"))
		}
		fmt.Fprint(w, ui.Column("sanitizer  ", text, 79))
	}
	if len(r.Rolls) > 0 {
		fmt.Fprint(w, ui.Column("mesh       ", strings.Join(r.Rolls, ", "), 79))
	}
	fmt.Fprint(w, ui.Column(fmt.Sprintf("%-11s", "mats"), codeList(r.Mats), 79))
	if len(r.Hold) < len(r.Mats) {
		fmt.Fprint(w, ui.Column(fmt.Sprintf("%-11s", "in use"), codeList(r.Hold), 79))
	}
}

// seedShown is how many growths of the same seed lots are printed one by one; of
// more their number and lots are given, and those with mold, so that they do not
// bury what is at risk.
const seedShown = 8

func (a *app) printSeedAlso(w io.Writer, f *farm.Farm, r trace.Result) {
	of := map[string][]trace.Growth{}
	for _, g := range r.SeedAlso {
		for _, lot := range g.Seeds {
			of[medium.FoldLot(lot)] = append(of[medium.FoldLot(lot)], g)
		}
	}
	for _, seed := range r.Seeds {
		growths := of[medium.FoldLot(seed.Name)]
		fmt.Fprintf(w, "OTHER CROPS OF THE SAME SEED LOT, %s:\n", seed.Name)
		if len(r.SeedAlso) > seedShown {
			fmt.Fprint(w, ui.Column("  ", fmt.Sprintf("%s, %s: %s", ui.Counted(len(growths), "growth"),
				ui.Counted(len(seed.Lots), "lot"),
				strings.Join(seed.Lots, ", ")), 79))
		}
		for _, g := range growths {
			if g.Mold || len(r.SeedAlso) <= seedShown {
				a.printGrowth(w, f, g, "")
			}
		}
	}
}

func codeList(codes []medium.Code) string {
	if len(codes) == 0 {
		return "none"
	}
	texts := make([]string, len(codes))
	for i, c := range codes {
		texts[i] = string(c)
	}
	return strings.Join(texts, " ")
}

// otherLots are the lots at risk that the start does not have itself.
func otherLots(r trace.Result) (out []string) {
	own := map[string]bool{}
	for _, g := range r.Start {
		own[medium.FoldLot(g.Lot)] = true
	}
	for _, lot := range r.Lots {
		if !own[medium.FoldLot(lot)] {
			out = append(out, lot)
		}
	}
	return out
}

func (a *app) printGrowth(w io.Writer, f *farm.Farm, g trace.Growth, indent string) {
	text := fmt.Sprintf("turn %d, %s, sown %s by %s", g.Turn, g.Crop, f.Date(g.SownAt), g.SownBy)
	if g.Lot != "" {
		text = "lot " + g.Lot + ", " + text
	}
	if !g.Ended.IsZero() {
		text += ", harvested " + f.Date(g.Ended)
	}
	text = farm.Join(text, farm.Named("seed lot", g.SeedLot), g.Place, farm.When(g.Mold, "MOLD SEEN"))
	fmt.Fprint(w, ui.Column(indent+"  "+string(g.Mat)+"  ", text, 79))
}

func (a *app) traceReportCommand(c *cobra.Command) {
	var t tracing
	t.flags(c)
	a.oneReport(c, func(f *farm.Farm, origin report.Origin, args []string) (report.Report, error) {
		r, err := t.find(a, f, args[0])
		if err != nil {
			return report.Report{}, err
		}
		return report.Trace(report.TraceInput{Origin: origin, Result: r, Commands: a.holdCommands(r)}), nil
	})
}
