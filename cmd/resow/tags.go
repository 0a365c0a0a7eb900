package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
)

// conflictReason begins the hold of a mat whose code stands on two pieces.
const conflictReason = "two pieces carry this code"

func (a *app) relabelCommand() *cobra.Command {
	var flags *stepFlags
	var newCode bool
	var relabelled []medium.Code
	l := labelFlags{printer: defaultPrinter}
	c := a.stepCommand("relabel", "Put a new label on mats; the history stays",
		`Record a reprint of the same code, or give the mat a new code with --new-code:
both codes then name the mat. --print writes the label at once, with the number
of the reprint on it; resow label does so later. Destroy the old label: two
pieces with one code are found only by eye (resow tags conflict). A mat that has
neither a readable code nor a mark is set apart, never given a new history
(resow tags quarantine).`,
		`  resow relabel TK7R2N81 --reason "label worn" --print label.pdf --by MK
  resow relabel mark:"two notches" --reason "tag lost" --new-code --by MK`,
		func(f *farm.Farm, mat medium.Code) (medium.Body, error) {
			relabelled = append(relabelled, mat)
			b, err := flags.body(a, f)
			if err != nil || !newCode {
				return b, err
			}
			b.(*medium.Relabel).NewCode, err = f.FreshCode(nil)
			return b, err
		},
		func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
			for _, code := range codes {
				if c, err := f.Condition(code); err == nil && newCode {
					fmt.Fprintf(out, "%s is also %s from now on.\n", code, printedCode(c))
				}
			}
			if l.out == "" {
				fmt.Fprintln(out, "Print the label with `resow label`, and destroy the old one.")
			}
			return nil
		})
	record := c.RunE
	c.RunE = func(c *cobra.Command, args []string) error {
		if l.out == "" {
			return record(c, args)
		}
		file, err := a.beginLabels(l) // before the record, which can't be taken back
		if err != nil {
			return err
		}
		defer file.Drop()
		a.Hold = true
		if err := record(c, args); err != nil {
			return err
		}
		err = a.open(true, func(f *farm.Farm) error {
			printer, _ := f.Printer(l.printer)
			sheet, err := a.labelSheet(f, l, printer, relabelled)
			if err != nil {
				return err
			}
			if err := file.Finish(func(w io.Writer) error { return labels.WriteSheet(w, sheet) }); err != nil {
				return err
			}
			if !a.JSON {
				fmt.Fprintf(a.Out, "%s in %s; destroy the old.\n", ui.Counted(len(sheet.Labels), "new label"), l.out)
			}
			return nil
		})
		if err != nil {
			return &afterError{err, "resow label " + spaced(relabelled)}
		}
		return a.Release()
	}
	flags = a.fieldFlags(c, medium.KindRelabel)
	c.Flags().BoolVar(&newCode, "new-code", false, "give it a new code beside the old one")
	c.Flags().StringVar(&l.out, "print", "", "write the new labels to this PDF")
	c.Flags().StringVar(&l.stock, "stock", "", "label stock for --print")
	return c
}

// beginLabels checks the stock and begins the file.
func (a *app) beginLabels(l labelFlags) (*ui.Begun, error) {
	err := a.open(true, func(f *farm.Farm) error {
		_, err := l.paper(f)
		return err
	})
	if err != nil {
		return nil, err
	}
	return ui.BeginFile(l.out, ui.BeginsPDF)
}

func spaced(codes []medium.Code) string {
	list := make([]string, len(codes))
	for i, c := range codes {
		list[i] = string(c)
	}
	return strings.Join(list, " ")
}

func (a *app) tagsCommand() *cobra.Command {
	c := &cobra.Command{Use: "tags", Short: "Sort out pieces that nobody can identify, and codes found on two",
		Long: `Every piece has one history. Where two pieces carry one code, or a piece has
neither a readable code nor a mark, nobody can say which history is whose. Such a
piece is set apart under a code of its own, can't be released, and is never sown
on, until a person finds out which mat it is, or retires it.`,
		Example: `  resow tags check
  resow tags conflict TK7R2N81 --by MK
  resow tags quarantine --size 250x510mm --reason "no tag, no mark" --by MK
  resow tags resolve TB3DF6H2 --is TK7R2N81 --reason "the notch shows it" --by MK`}
	c.AddCommand(a.tagsCheckCommand(), a.tagsConflictCommand(), a.tagsQuarantineCommand(), a.tagsResolveCommand())
	return c
}

func (a *app) tagsConflictCommand() *cobra.Command {
	var size, reason string
	c := &cobra.Command{Use: "conflict CODE", Short: "Report that two pieces carry one code", Args: cobra.ExactArgs(1),
		Long: `The mat with that code goes on hold, since nobody knows which of the two pieces
its history belongs to. The piece that you doubt more gets a code of its own, and
is set apart. Tie the new tag to it, then find out: marks, size, mesh, where each
was. Release the mat that is known again; resolve or retire the other.`,
		Example:           `  resow tags conflict TK7R2N81 --reason "found at the wash, both tags readable" --by MK`,
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(false, func(f *farm.Farm) error {
				code, err := f.Find(args[0])
				if err != nil {
					return err
				}
				mat, err := f.Condition(code)
				if err != nil {
					return err
				}
				piece := medium.Mat{Form: mat.Mat.Form, LengthMM: mat.Mat.LengthMM, WidthMM: mat.Mat.WidthMM, Layers: 1,
					Unidentified: farm.Join("it carried the code of "+code.String(), reason)}
				if size != "" {
					if piece.LengthMM, piece.WidthMM, err = amount.Size("size", size); err != nil {
						return err
					}
				}
				var steps []medium.Step
				if mat.Stage != medium.Retired {
					steps = append(steps, medium.Step{Mat: code, Body: &medium.Hold{Reason: farm.Join(conflictReason, reason), MustWash: true}})
				}
				return a.quarantine(f, steps, piece)
			})
		}}
	c.Flags().StringVar(&reason, "reason", "", "what is known about it")
	c.Flags().StringVar(&size, "size", "", "size of the doubtful piece, where it differs: 250x510mm")
	return c
}

func (a *app) tagsQuarantineCommand() *cobra.Command {
	var size, reason string
	piece := medium.Mat{Layers: 1}
	c := &cobra.Command{Use: "quarantine", Short: "Set a piece apart that has no readable code and no mark", Args: cobra.NoArgs,
		Long: `The piece gets a code, so that it can be told apart, and no history: it is on hold
from the start and can't be released.`,
		Example: `  resow tags quarantine --size 250x510mm --reason "tag torn off in the wash" --by MK`,
		RunE: func(*cobra.Command, []string) error {
			var err error
			if piece.LengthMM, piece.WidthMM, err = amount.Size("size", size); err != nil {
				return err
			}
			piece.Unidentified = reason
			return a.open(false, func(f *farm.Farm) error { return a.quarantine(f, nil, piece) })
		}}
	c.Flags().StringVar(&size, "size", "", "its size: 250x510mm")
	c.Flags().StringVar(&reason, "reason", "", "why nobody can identify it")
	c.Flags().StringVar(&piece.Form, "form", medium.FormMat, "mat or screen")
	must(c.MarkFlagRequired("size"))
	must(c.MarkFlagRequired("reason"))
	must(c.RegisterFlagCompletionFunc("form", fixedWords(medium.FormMat, medium.FormScreen)))
	return c
}

// quarantine registers a piece as unidentified, after other steps in the same
// transaction. One record does it, so that no correction can void the hold.
func (a *app) quarantine(f *farm.Farm, steps []medium.Step, piece medium.Mat) error {
	code, err := f.FreshCode(nil)
	if err != nil {
		return err
	}
	steps = append(steps, medium.Step{Mat: code, Body: &medium.Add{Mat: piece}})
	return a.record(f, steps, func(_ *farm.Farm, _ []medium.Code, out io.Writer) error {
		fmt.Fprint(out, ui.Wrap(fmt.Sprintf("The piece is %s from now on. Print its tag with `resow label %s`, tie it on, and keep the piece away from the others.", code, string(code)), 78, ""))
		fmt.Fprint(out, ui.Wrap(fmt.Sprintf("When somebody knows which mat it is: `resow tags resolve %s --is CODE`. If nobody ever does: `resow retire %s --cause other`.", string(code), string(code)), 78, ""))
		return nil
	})
}

func (a *app) tagsResolveCommand() *cobra.Command {
	var is, reason string
	c := &cobra.Command{Use: "resolve CODE --is CODE", Short: "Say which mat a quarantined piece turned out to be", Args: cobra.ExactArgs(1),
		Long: `The code of the quarantine is retired, with the mat that the piece turned out to
be. That mat keeps its history, gets a reprint of its label, and goes on hold:
what happened to the piece meanwhile is not in its history. Look at it, then
release it to the wash.`,
		Example:           `  resow tags resolve TB3DF6H2 --is TK7R2N81 --reason "the notch shows it" --by MK`,
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(false, func(f *farm.Farm) error {
				piece, err := f.Find(args[0])
				if err != nil {
					return err
				}
				mat, err := f.Find(is)
				if err != nil {
					return err
				}
				if err := f.Resolvable(piece, mat); err != nil {
					return err
				}
				return a.record(f, []medium.Step{
					{Mat: piece, Body: &medium.Retire{Cause: medium.CauseOther, Note: farm.Join("it is mat "+mat.String(), reason)}},
					{Mat: mat, Body: &medium.Relabel{Reason: farm.Join("it was set apart as "+piece.String(), reason)}},
					{Mat: mat, Body: &medium.Hold{Reason: "it was set apart as " + piece.String() + "; look at it, then release it to the wash", MustWash: true}},
				}, func(_ *farm.Farm, _ []medium.Code, out io.Writer) error {
					fmt.Fprint(out, ui.Wrap(fmt.Sprintf("Destroy both tags on the piece and print a new one with `resow label %s`.", string(mat)), 78, ""))
					return nil
				})
			})
		}}
	c.Flags().StringVar(&is, "is", "", "the mat that it turned out to be")
	c.Flags().StringVar(&reason, "reason", "", "how that was found out")
	must(c.MarkFlagRequired("is"))
	must(c.MarkFlagRequired("reason"))
	must(c.RegisterFlagCompletionFunc("is", a.completeCodes))
	return c
}

// tagItem is one line of tags check --json.
type tagItem struct {
	Code medium.Code `json:"code"`
	Kind string      `json:"kind"` // conflict, unidentified or relabelled
	Text string      `json:"text"`
}

func (a *app) tagsCheckCommand() *cobra.Command {
	return &cobra.Command{Use: "check", Short: "List codes and pieces that a person still has to sort out", Args: cobra.NoArgs,
		Long: `Check lists mats that are held because two pieces carry their code, pieces in
quarantine, and mats that were relabelled: an old label that was not destroyed is
where a second piece with the code comes from. No program can see two equal tags;
the wash-station loop says so when a code is scanned twice in one action.`,
		Example: "  resow tags check\n  resow tags check --json",
		RunE: func(*cobra.Command, []string) error {
			return a.open(true, func(f *farm.Farm) error {
				items := []tagItem{}
				var err error
				for c := range f.EachMat(&err) {
					if it, ok := checkTag(c); ok {
						items = append(items, it)
					}
				}
				if err != nil {
					return err
				}
				return a.Print(struct {
					Items []tagItem `json:"items"`
				}{items}, func(w io.Writer) {
					if len(items) == 0 {
						fmt.Fprintln(w, "Every code names one piece, as far as the records tell.")
					}
					for _, it := range items {
						fmt.Fprint(w, ui.Column(fmt.Sprintf("%-9s  %-12s  ", it.Code, it.Kind), it.Text, 79))
					}
				})
			})
		}}
}

func checkTag(c medium.Condition) (tagItem, bool) {
	switch {
	case c.Stage == medium.Retired:
		return tagItem{}, false
	case c.Mat.Unidentified != "":
		return tagItem{c.Code, "unidentified", c.Mat.Unidentified}, true
	case c.Stage == medium.OnHold && strings.Contains(c.HeldFor, conflictReason):
		return tagItem{c.Code, "conflict", c.HeldFor}, true
	case c.Labels > 0:
		codes := make([]string, len(c.Tags))
		for i, t := range c.Tags {
			codes[i] = t.String()
		}
		return tagItem{c.Code, "relabelled", farm.Join(ui.Counted(c.Labels, "time"), farm.Named("also", strings.Join(codes, ", ")), "the old label must be destroyed")}, true
	}
	return tagItem{}, false
}
