package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) scanCommand() *cobra.Command {
	var crops []string
	var idle string
	c := &cobra.Command{
		Use: "scan [CODE]", Short: "Say whether a mat may be sown on, and why; alone: wash station", Args: cobra.MaximumNArgs(1),
		Long: `Scan gives the verdict of the farm's own rules: sow, sow with care, do not sow or
retire, with every reason and the next step. CODE is what the scanner or a person
gives: the code with or without spaces and dashes in any case, the whole text of
the QR symbol, or mark:TEXT. With --crop the seed is compared with the mesh.

Without CODE it is the wash station, for a scanner that types: scan your own card,
an action card, then mats; each is recorded as it is scanned, and on disk before
the answer shows. END closes the action, UNDO and CONFIRM take the last step back,
a mat alone gives its verdict, and a tag on a bottle begins sanitizing from it.
Any line end, no line end, Caps Lock and foreign keyboard layouts will do.

Exit codes: 0 sow, or sow with care; 3 do not sow; 4 retire.`,
		Example: `  resow scan TK7R2N81
  resow scan "tk7r-2n81" --crop amaranth
  resow scan TK7R2N81 --json
  resow scan --by MK                              the wash station`,
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				after, err := amount.Span("idle", idle)
				if err != nil {
					return err
				}
				return a.scanLoop(after)
			}
			return a.open(true, func(f *farm.Farm) error {
				c, err := f.Mat(args[0])
				if err != nil {
					return err
				}
				sown := make([]medium.Crop, len(crops))
				for i, name := range crops {
					name, _, _ = strings.Cut(name, "=")
					if sown[i], err = f.Crop(name); err != nil {
						return err
					}
				}
				v := medium.Judge(c, f.Farm, f.Now(), sown...)
				a.code = verdictExit(v.Word)
				return a.Print(v, func(w io.Writer) { a.printVerdict(w, f, c, v) })
			})
		},
	}
	c.Flags().StringArrayVar(&crops, "crop", nil, "crop to be sown, or several for a mix")
	c.Flags().StringVar(&idle, "idle", "2min", "at the wash station: how long an action stays open without a scan")
	must(c.RegisterFlagCompletionFunc("crop", a.completeCrops))
	return c
}

var verdictColor = map[medium.Word]string{medium.SowIt: ui.Green, medium.SowWithCare: ui.Yellow, medium.DoNotSow: ui.Red, medium.RetireMat: ui.Red}

func (a *app) printVerdict(w io.Writer, f *farm.Farm, c medium.Condition, v medium.Verdict) {
	fmt.Fprintf(w, "%s   %s\n", v.Code, a.Paint(verdictColor[v.Word], strings.ToUpper(string(v.Word))))
	fmt.Fprint(w, ui.Wrap(fmt.Sprintf("%s since %s, %s, %s %s", stageText(v.Stage), c.When(c.Since, f.Loc, farm.StampForm), turns(v.Turn), c.Mat.Size(), c.Mat.Material), 79, "  "))
	for _, finding := range v.Findings {
		fmt.Fprint(w, ui.Column(fmt.Sprintf("  %-6s  ", finding.Severity), finding.Text, 79))
		fmt.Fprint(w, ui.Column(strings.Repeat(" ", 10), "("+finding.Rule+"; limit from: "+finding.Source+")", 79))
	}
	printHints(w, v.Findings)
	if s := v.LastSanitized; s != nil {
		accepted := "accepted"
		if !s.Accepted {
			accepted = "not accepted"
		}
		fmt.Fprint(w, ui.Wrap(fmt.Sprintf("last sanitized %s: %s %g ppm, %s, %s", c.When(s.At, f.Loc, farm.StampForm), s.Active, s.StrengthPPM, medium.Seconds(s.ContactS), accepted), 79, "  "))
	}
	if v.NextStep != "" {
		fmt.Fprint(w, ui.Wrap("next step: "+string(v.NextStep), 79, "  "))
	}
	if v.Word == medium.SowIt || v.Word == medium.SowWithCare {
		fmt.Fprintln(w, "Clear by the farm's own rules. Look at the mat before you sow.")
	}
}

// stageText says a stage in a sentence: "to wash" alone would be an order.
func stageText(s medium.Stage) string {
	if strings.HasPrefix(string(s), "to ") {
		return "waiting " + string(s)
	}
	return string(s)
}

func turns(n int) string {
	if n == 0 {
		return "not sown yet"
	}
	return fmt.Sprintf("turn %d", n)
}

func (a *app) dueCommand() *cobra.Command {
	var within string
	var limit int
	var all bool
	c := &cobra.Command{
		Use: "due", Short: "List what the mats need now, most overdue first", Args: cobra.NoArgs,
		Long: `What to do now: mats wet for too long, not washed since the harvest, crops past
their days, sanitizing about to lapse, inspections, mats to retire.`,
		Example: `  resow due
  resow due --within 24h
  resow due --all
  resow due --json --limit 200`,
		RunE: func(*cobra.Command, []string) error {
			ahead := time.Duration(0)
			if within != "" {
				d, err := amount.Span("within", within)
				if err != nil {
					return err
				}
				ahead = d
			}
			if limit < 1 || limit > 100000 {
				return ui.Wrong(fmt.Sprintf("--limit %d: want 1 to 100000, or --all", limit))
			}
			return a.open(true, func(f *farm.Farm) error {
				now := f.Now()
				if all {
					limit = 0
				}
				list, err := f.DueNow(now, ahead, limit)
				if err != nil {
					return err
				}
				return a.Print(list, func(w io.Writer) { a.writeDue(w, f, list, now, ahead) })
			})
		},
	}
	c.Flags().StringVar(&within, "within", "", "also what falls due soon: 24h, 3d")
	c.Flags().IntVar(&limit, "limit", 50, "mats at most; how many more there are is said")
	c.Flags().BoolVar(&all, "all", false, "all of them")
	c.MarkFlagsMutuallyExclusive("limit", "all")
	return c
}

func (a *app) writeDue(w io.Writer, f *farm.Farm, list farm.DueList, now time.Time, ahead time.Duration) {
	if list.Clock != nil {
		printFindings(w, []medium.Finding{*list.Clock})
	}
	if len(list.Items) == 0 {
		a.printNext(w, f, now, ahead)
		return
	}
	fmt.Fprintf(w, "%-9s  %-11s  %-8s  %-12s  %s\n", "CODE", "STAGE", "NEXT", "OVERDUE", "WHY")
	for _, it := range list.Items {
		lead := fmt.Sprintf("%-9s  %-11s  %-8s  %-12s  ", it.Code, it.Stage, it.NextStep, overdue(it.OverdueH))
		for _, reason := range it.Reasons {
			fmt.Fprint(w, ui.Column(lead, reason, 79))
			lead = strings.Repeat(" ", 48)
		}
	}
	if more := list.Total - len(list.Items); more > 0 {
		fmt.Fprintf(w, "+%d more; `resow due --all` lists them too\n", more)
	}
}

// printNext says what comes next where nothing is due.
func (a *app) printNext(w io.Writer, f *farm.Farm, now time.Time, ahead time.Duration) {
	next, err := f.Due(now.AddDate(10, 0, 0), 1)
	a.Note(err)
	if len(next) == 0 {
		fmt.Fprintln(w, "Nothing is due.")
		return
	}
	said := "Nothing is overdue."
	if ahead > 0 {
		said = "Nothing is due in that time."
	}
	within := "24h"
	if wait := next[0].At.Sub(now); wait > 24*time.Hour {
		within = fmt.Sprintf("%.0fd", math.Ceil(wait.Hours()/24))
	}
	fmt.Fprint(w, ui.Wrap(fmt.Sprintf("%s Next: %s %s %s; `resow due --within %s` lists more.", said, next[0].Code, next[0].Step, overdue(next[0].OverdueH(now)), within), 79, ""))
}

// overdue says how late something is in the unit that reads best.
func overdue(h float64) string {
	sign := ""
	if h < 0 {
		sign, h = "in ", -h
	}
	if h < 1 {
		return fmt.Sprintf("%s%.0f min", sign, h*60)
	}
	if h < 48 {
		return fmt.Sprintf("%s%.0f h", sign, h)
	}
	return fmt.Sprintf("%s%.0f days", sign, h/24)
}

func (a *app) showCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show CODE", Short: "Show everything on file about a mat", Args: cobra.ExactArgs(1),
		Long:              "Show prints the mat as it was registered, its turns and wear, and the verdict of the moment.",
		Example:           "  resow show TK7R2N81\n  resow show TK7R2N81 --json",
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(true, func(f *farm.Farm) error {
				c, err := f.Mat(args[0])
				if err != nil {
					return err
				}
				v := medium.Judge(c, f.Farm, f.Now())
				return a.Print(struct {
					medium.Verdict
					Mat       medium.Mat       `json:"mat"`
					OpenArea  float64          `json:"open_area_percent"`
					Condition medium.Condition `json:"condition"`
				}{v, c.Mat, c.Mat.OpenArea(), c}, func(w io.Writer) {
					a.printMat(w, f, c)
					fmt.Fprintln(w)
					a.printVerdict(w, f, c, v)
				})
			})
		},
	}
}

func (a *app) printMat(w io.Writer, f *farm.Farm, c medium.Condition) {
	line := func(name, format string, args ...any) {
		fmt.Fprint(w, ui.Column(ui.Padded(name, 16), fmt.Sprintf(format, args...), 79))
	}
	m := c.Mat
	line(m.Form, "%s  %s, registered %s", c.Code, m.Size(), f.Date(c.Added))
	if m.ApertureMM > 0 {
		line("mesh", "%s, opening %g mm, thread %g mm, %.0f %% open, %.1f openings an inch, layers: %d", m.Material, m.ApertureMM, m.ThreadMM, m.OpenArea(), m.MeshCount(), m.Layers)
	} else {
		line("mesh", "%s, opening not on file", m.Material)
	}
	line("from", "%s %s", orNone(m.Supplier), m.Roll)
	if m.ContactDocumented() {
		line("food contact", "%s (%s)", m.ContactStatement, m.ContactDate)
	} else {
		line("food contact", "no dated statement of the supplier on file; add it with `resow document`")
	}
	if m.Cost > 0 {
		line("cost", "%.2f %s", m.Cost, f.Settings.Currency)
	}
	if m.Mark != "" {
		line("mark", "%s", m.Mark)
	}
	for _, tag := range c.Tags {
		line("also labeled", "%s", tag)
	}
	line("wear", "%s, %.1f kLy of sun, cuts: %d through, %d not, %g mm in all", turns(c.Turn), c.SunKLy, c.CutsThrough, c.Cuts, c.CutMM)
	if len(c.MoldTurns) > 0 {
		line("mold", "in turns %s", strings.Trim(fmt.Sprint(slices.Compact(slices.Clone(c.MoldTurns))), "[]"))
	}
	for _, y := range c.Yields {
		line("yield", "%s: %s, %s on average", y.Name(), ui.Counted(y.N, "harvest"), f.Mass(y.SumG/float64(y.N)))
	}
}

func orNone(s string) string {
	if s == "" {
		return "supplier not on file"
	}
	return s
}

// listItem is one line of list --json.
type listItem struct {
	Code    medium.Code  `json:"code"`
	Stage   medium.Stage `json:"stage"`
	Turn    int          `json:"turn"`
	Verdict medium.Word  `json:"verdict"`
	Size    string       `json:"size"`
	Mesh    string       `json:"mesh"`
	Crop    string       `json:"crop,omitempty"`
	Lot     string       `json:"lot,omitempty"`
	HeldIn  medium.Stage `json:"held_in,omitempty"` // of a mat on hold: its stage before
}

func (a *app) listCommand() *cobra.Command {
	var stage string
	c := &cobra.Command{
		Use: "list", Short: "List the mats", Args: cobra.NoArgs,
		Long: "List prints every mat with its stage, turn and verdict, in the order of the codes.",
		Example: `  resow list
  resow list --stage ready
  resow list --json`,
		RunE: func(*cobra.Command, []string) error {
			if stage != "" && !isStage(stage) {
				return &medium.InputError{Field: "stage", Value: stage, Want: strings.Join(stageNames(), ", ")}
			}
			return a.open(true, func(f *farm.Farm) error {
				items := []listItem{}
				now := f.Now()
				err := f.Conditions(func(c medium.Condition) error {
					if stage == "" || string(c.Stage) == stage {
						items = append(items, listItem{Code: c.Code, Stage: c.Stage, Turn: c.Turn, Verdict: medium.Judge(c, f.Farm, now).Word,
							Size: c.Mat.Size(), Mesh: c.Mat.Material, Crop: medium.CropName(c.Crops), Lot: c.Lot, HeldIn: c.HeldIn})
					}
					return nil
				})
				if err != nil {
					return err
				}
				return a.Print(struct {
					Mats []listItem `json:"mats"`
				}{items}, func(w io.Writer) {
					fmt.Fprintf(w, "%-9s  %-11s  %4s  %-13s  %-14s  %s\n", "CODE", "STAGE", "TURN", "VERDICT", "SIZE", "CROP")
					for _, it := range items {
						crop := it.Crop
						if it.Stage != medium.Growing && it.HeldIn != medium.Growing {
							crop = ""
						}
						fmt.Fprintf(w, "%-9s  %-11s  %4d  %-13s  %-14s  %s\n", it.Code, it.Stage, it.Turn, it.Verdict, it.Size, ui.Cut(crop, 16))
					}
					fmt.Fprintf(w, "%s\n", ui.Counted(len(items), "mat"))
				})
			})
		},
	}
	c.Flags().StringVar(&stage, "stage", "", "only this stage: ready, \"to wash\", growing …")
	must(c.RegisterFlagCompletionFunc("stage", fixedWords(stageNames()...)))
	return c
}

func stageNames() []string {
	names := make([]string, len(medium.Stages))
	for i, s := range medium.Stages {
		names[i] = string(s)
	}
	return names
}

func isStage(s string) bool {
	for _, n := range stageNames() {
		if n == s {
			return true
		}
	}
	return false
}

func (a *app) historyCommand() *cobra.Command {
	return &cobra.Command{
		Use: "history CODE", Short: "Show every step of a mat", Args: cobra.ExactArgs(1),
		Long: `History prints a mat's steps in the order in which they were recorded, with the
number that ` + "`resow correct`" + ` takes. Voided steps stay in the list. FARM shows the
records about the farm itself: policy, sanitizers, crops.`,
		Example:           "  resow history TK7R2N81\n  resow history FARM\n  resow history TK7R2N81 --json",
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(true, func(f *farm.Farm) error {
				code := medium.FarmThread
				if !strings.EqualFold(args[0], "farm") {
					var err error
					if code, err = f.Find(args[0]); err != nil {
						return err
					}
				}
				thread, err := f.Thread(code)
				if err != nil {
					return err
				}
				return a.Print(struct {
					Code  medium.Code   `json:"code"`
					Steps []medium.Step `json:"steps"`
				}{code, thread}, func(w io.Writer) { a.printThread(w, f, thread) })
			})
		},
	}
}

func (a *app) printThread(w io.Writer, f *farm.Farm, thread []medium.Step) {
	now := medium.Standings(thread)
	for i, s := range thread {
		state := ""
		switch {
		case now[i].Void:
			state = "VOID "
		case now[i].Since > 0:
			state = fmt.Sprintf("NOT COUNTED SINCE STEP %d WAS VOIDED ", now[i].Since)
		case !s.Outcome.Accepted:
			state = "NOT ACCEPTED "
		}
		lead := fmt.Sprintf("%4d  %-16s  %-5s %-9s ", s.MatSeq, s.When(f.Loc, "2006-01-02 15:04"), s.By, s.Kind)
		text := farm.Join(state+farm.Line(s.Body), f.StripText(s.Body))
		if s.Replaces > 0 {
			text += fmt.Sprintf(" (stands for step %d)", s.Replaces)
		}
		if s.SentBy != "" {
			text += fmt.Sprintf(" (sent by %s)", s.SentBy)
		}
		if s.Outcome.From != s.Outcome.To {
			text += fmt.Sprintf(" -> %s", s.Outcome.To)
		}
		if s.Outcome.Late {
			text += fmt.Sprintf(" (late entry, written %s)", f.Stamp(s.Recorded))
		}
		fmt.Fprint(w, ui.Column(lead, text, 79))
		for _, finding := range s.Outcome.Findings {
			fmt.Fprint(w, ui.Column(strings.Repeat(" ", len(lead))+"  ", finding.Text, 79))
		}
	}
}

func verdictExit(w medium.Word) int {
	switch w {
	case medium.DoNotSow:
		return exitDoNotSow
	case medium.RetireMat:
		return exitRetire
	}
	return exitDone
}
