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

func (a *app) relabelCommand(c *cobra.Command) {
	flags := a.fieldFlags(c, medium.KindRelabel)
	var newCode bool
	var relabelled []medium.Code
	l := labelFlags{printer: defaultPrinter}
	a.stepCommand(c,
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
	c.Flags().BoolVar(&newCode, "new-code", false, "give it a new code beside the old one")
	c.Flags().StringVar(&l.out, "print", "", "write the new labels to this PDF")
	c.Flags().StringVar(&l.stock, "stock", "", "label stock for --print")
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

func (a *app) tagsCommand(c *cobra.Command) {

	a.sub(c, "check", (*app).tagsCheckCommand)
	a.sub(c, "conflict", (*app).tagsConflictCommand)
	a.sub(c, "quarantine", (*app).tagsQuarantineCommand)
	a.sub(c, "resolve", (*app).tagsResolveCommand)
}

func (a *app) tagsConflictCommand(c *cobra.Command) {
	var size, reason string
	c.ValidArgsFunction = a.completeCodes
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
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
	c.Flags().StringVar(&reason, "reason", "", "what is known about it")
	c.Flags().StringVar(&size, "size", "", "size of the doubtful piece, where it differs: 250x510mm")
}

func (a *app) tagsQuarantineCommand(c *cobra.Command) {
	var size, reason string
	piece := medium.Mat{Layers: 1}
	c.RunE = func(*cobra.Command, []string) error {
		var err error
		if piece.LengthMM, piece.WidthMM, err = amount.Size("size", size); err != nil {
			return err
		}
		piece.Unidentified = reason
		return a.open(false, func(f *farm.Farm) error { return a.quarantine(f, nil, piece) })
	}
	c.Flags().StringVar(&size, "size", "", "its size: 250x510mm")
	c.Flags().StringVar(&reason, "reason", "", "why nobody can identify it")
	c.Flags().StringVar(&piece.Form, "form", medium.FormMat, "mat or screen")
	must(c.MarkFlagRequired("size"))
	must(c.MarkFlagRequired("reason"))
	must(c.RegisterFlagCompletionFunc("form", fixedWords(medium.FormMat, medium.FormScreen)))
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

func (a *app) tagsResolveCommand(c *cobra.Command) {
	var is, reason string
	c.ValidArgsFunction = a.completeCodes
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
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
	c.Flags().StringVar(&is, "is", "", "the mat that it turned out to be")
	c.Flags().StringVar(&reason, "reason", "", "how that was found out")
	must(c.MarkFlagRequired("is"))
	must(c.MarkFlagRequired("reason"))
	must(c.RegisterFlagCompletionFunc("is", a.completeCodes))
}

// tagItem is one line of tags check --json.
type tagItem struct {
	Code medium.Code `json:"code"`
	Kind string      `json:"kind"` // conflict, unidentified or relabelled
	Text string      `json:"text"`
}

func (a *app) tagsCheckCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
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
