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

func (a *app) reportCommand() *cobra.Command {
	c := &cobra.Command{Use: "report", Short: "Print what the records say: reuse, retirement, sanitation, trace",
		Long: `Each report goes to the screen as a table, or into a file by its name's ending:
.pdf, .html or .csv. Every one carries the ledger's anchor, the usual cautions
and the method. It gives no certification.

With --json it is one document: report, farm, store, anchor, printed_at,
summary, figures, sections, cautions and method. A section has a name, figures,
rows and, without rows, why_empty. A row holds named values with their unit in
the name (mean_yield_g, sun_kly, mold_percent); money has its currency beside it.
What is not known is null, and NAME_why says why. An interval is value, low,
high, level_percent and, where the paper names one, the method. What a table
gives for each material or cause stands under groups. Forecast, pool and cutplan
give the same document.`,
		Example: "  resow report reuse\n  resow report retirement --out retirement.pdf\n  resow report sanitation --out log.csv"}
	c.AddCommand(
		a.oneReport(farm.Reports[0].Name, farm.Reports[0].About, farm.Reports[0].Build),
		a.oneReport(farm.Reports[1].Name, farm.Reports[1].About, farm.Reports[1].Build),
		a.sanitationReportCommand(),
		a.traceReportCommand(),
	)
	return c
}

func (a *app) oneReport(name, short string, build func(*farm.Farm, report.Origin) (report.Report, error)) *cobra.Command {
	var out string
	c := &cobra.Command{Use: name, Short: short, Args: cobra.NoArgs,
		Long:    short + ". The plain summary comes first, the method last.",
		Example: fmt.Sprintf("  resow report %s\n  resow report %s --out %s.pdf", name, name, name),
		RunE: func(*cobra.Command, []string) error {
			return a.open(true, func(f *farm.Farm) error {
				origin, err := f.Origin()
				if err != nil {
					return err
				}
				r, err := build(f, origin)
				if err != nil {
					return err
				}
				if out == "" {
					return a.paper("", r)
				}
				if err := writeReport(out, r); err != nil {
					return err
				}
				return a.Print(map[string]string{"file": out}, func(w io.Writer) { fmt.Fprintf(w, "Wrote %s to %s.\n", r.Title, out) })
			})
		}}
	c.Flags().StringVar(&out, "out", "", "file to write: .pdf, .html or .csv")
	return c
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
	return ui.Wrong(fmt.Sprintf("--out %s: want a name that ends in .pdf, .html or .csv", path))
}
