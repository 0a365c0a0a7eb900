package main

import (
	"fmt"
	"io"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
	"strings"

	"github.com/spf13/cobra"
)

func (a *app) relabelCommand(c *cobra.Command) {
	flags := a.fieldFlags(c, medium.KindRelabel)
	var newCode bool
	var relabelled []medium.Code
	l := labelFlags{printer: defaultPrinter}
	a.stepCommand(c,
		func(f *farm.Farm, _ named, mat medium.Code) (medium.Body, error) {
			relabelled = append(relabelled, mat)
			b, err := flags.body(a, f, nil)
			if err != nil || !newCode {
				return b, err
			}
			b.(*medium.Relabel).NewCode, err = f.FreshCode(nil)
			return b, err
		},
		func(f *farm.Farm, codes []medium.Code, out io.Writer) error {
			for _, code := range codes {
				if c, err := f.Condition(code); err == nil && newCode {
					fmt.Fprintf(out, "%s is also %s from now on.\n", code, farm.PrintedCode(c))
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
