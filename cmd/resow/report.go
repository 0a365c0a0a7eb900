package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels/report"
)

func (a *app) reportCommand(c *cobra.Command) {
	for _, r := range farm.Reports[:2] { // the third takes a period here
		a.sub(c, r.Name, func(a *app, c *cobra.Command) {
			c.Short = r.About
			a.oneReport(c, func(f *farm.Farm, origin report.Origin, _ []string) (report.Report,
				error) {
				return r.Build(f, origin)
			})
		})
	}
	a.sub(c, "sanitation", (*app).sanitationReportCommand)
	a.sub(c, "trace", (*app).traceReportCommand)
}

// oneReport is the command of a report: it prints it, or writes it to a file.
func (a *app) oneReport(c *cobra.Command, build func(*farm.Farm, report.Origin, []string) (report.Report, error)) {
	var out string
	c.Flags().StringVar(&out, "out", "", "file to write: .pdf, .html or .csv")
	c.Long = c.Short + ". The plain summary comes first, the method last."
	c.RunE = a.reads(func(f *farm.Farm, args []string) error {
		origin, err := f.Origin()
		if err != nil {
			return err
		}
		r, err := build(f, origin, args)
		if err != nil {
			return err
		}
		if out == "" {
			return a.paper("", r)
		}
		if err := writeReport(out, r); err != nil {
			return err
		}
		return a.Print(map[string]string{"file": out},
			func(w io.Writer) { fmt.Fprintf(w, "Wrote %s to %s.\n", r.Title, out) })
	})
}

// paper prints a report or writes it to a file; programs get its document.
func (a *app) paper(out string, r report.Report) error {
	if out == "" {
		return a.Print(r.Document(), func(w io.Writer) {
			a.Note(report.Text(w, r, 79))
			for _, l := range r.Lacks {
				ui.Item(w, "  ", ways[lacks(l)])
			}
		})
	}
	if err := writeReport(out, r); err != nil {
		return err
	}
	return a.Print(r.Document(), func(w io.Writer) {
		for _, said := range r.Summary {
			ui.Say(w, "%s", said)
		}
		fmt.Fprintf(w, "Wrote %s to %s.\n", r.Title, out)
	})
}

func writeReport(path string, r report.Report) error {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".pdf":
		return ui.WriteFile(path, ui.BeginsPDF, func(w io.Writer) error { return report.PDF(w, r) })
	case ".html":
		return ui.WriteFile(path, ui.BeginsHTML, func(w io.Writer) error { return report.HTML(w, r) })
	case ".csv":
		return ui.WriteFile(path, ui.BeginsCSV, func(w io.Writer) error { return report.CSV(w, r) })
	}
	return ui.Wrongf("--out %s: want a name that ends in .pdf, .html or .csv", path)
}
