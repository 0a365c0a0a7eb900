package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/medium"
)

func (a *app) tagsCommand(c *cobra.Command) {

	a.sub(c, "check", (*app).tagsCheckCommand)
	a.sub(c, "conflict", (*app).tagsConflictCommand)
	a.sub(c, "quarantine", (*app).tagsQuarantineCommand)
	a.sub(c, "resolve", (*app).tagsResolveCommand)
}

func (a *app) tagsConflictCommand(c *cobra.Command) {
	var piece medium.Size
	var reason string
	c.Flags().StringVar(&reason, "reason", "", "what is known about it")
	readAs(c, &piece, "size", "size", size, "size of the doubtful piece, where it differs: 250x510mm")
	c.ValidArgsFunction = a.completeCodes
	c.RunE = a.writes(func(f *farm.Farm, args []string) error {
		code, err := f.Find(args[0])
		if err != nil {
			return err
		}
		steps, err := f.Conflict(code, piece, reason)
		if err != nil {
			return err
		}
		return a.record(f, steps, printSetApart)
	})
}

func (a *app) tagsQuarantineCommand(c *cobra.Command) {
	var measures medium.Size
	piece := medium.Mat{Layers: 1}
	readAs(c, &measures, "size", "size", size, "its size: 250x510mm")
	c.Flags().StringVar(&piece.Unidentified, "reason", "", "why nobody can identify it")
	c.Flags().StringVar(&piece.Form, "form", medium.FormMat, "mat or screen")
	required(c, "size", "reason")
	oneOf(c, "form", medium.FormMat, medium.FormScreen)
	c.RunE = a.writes(func(f *farm.Farm, _ []string) error {
		piece.LengthMM, piece.WidthMM = measures.LengthMM, measures.WidthMM
		step, err := f.SetApart(piece)
		if err != nil {
			return err
		}
		return a.record(f, []medium.Step{step}, printSetApart)
	})
}

// printSetApart says what to do with a piece that was set apart, the last of the mats.
func printSetApart(_ *farm.Farm, codes []medium.Code, out io.Writer) error {
	code := codes[len(codes)-1]
	fmt.Fprint(out, ui.Wrap(fmt.Sprintf("The piece is %s from now on. Print its tag with `resow label %s`, tie it on, "+
		"and keep the piece away from the others.", code, string(code)), 78, ""))
	fmt.Fprint(out, ui.Wrap(fmt.Sprintf("When somebody knows which mat it is: `resow tags resolve %s --is CODE`. "+
		"If nobody ever does: `resow retire %[1]s --cause other`.", string(code)), 78, ""))
	return nil
}

func (a *app) tagsResolveCommand(c *cobra.Command) {
	var is, reason string
	c.Flags().StringVar(&is, "is", "", "the mat that it turned out to be")
	c.Flags().StringVar(&reason, "reason", "", "how that was found out")
	required(c, "is", "reason")
	must(c.RegisterFlagCompletionFunc("is", a.completeCodes))
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
		steps, err := f.Resolved(piece, mat, reason)
		if err != nil {
			return err
		}
		return a.record(f, steps, func(_ *farm.Farm, _ []medium.Code, out io.Writer) error {
			fmt.Fprint(out, ui.Wrap(fmt.Sprintf("Destroy both tags on the piece and print a new one with `resow label %s`.",
				string(mat)), 78, ""))
			return nil
		})
	})
}

func (a *app) tagsCheckCommand(c *cobra.Command) {
	c.RunE = a.reads(func(f *farm.Farm, _ []string) error {
		open, err := f.OpenTags()
		if err != nil {
			return err
		}
		return a.Print(map[string]any{"items": open}, func(w io.Writer) {
			if len(open) == 0 {
				fmt.Fprintln(w, "Every code names one piece, as far as the records tell.")
			}
			for _, t := range open {
				ui.Item(w, fmt.Sprintf("%-9s  %-12s  ", t.Code, t.Kind), t.Text)
			}
		})
	})
}
