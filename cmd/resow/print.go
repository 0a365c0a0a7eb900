package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"resow/labels/report"
	"resow/medium"
)

func (a *app) reportCommand() *cobra.Command {
	c := &cobra.Command{Use: "report", Short: "Print what the records say: reuse, retirement, sanitation, trace",
		Long: `Each report goes to the screen as a table, or into a file by its name's ending:
.pdf, .html or .csv. Every one carries the ledger's anchor, the usual cautions
and the method. It gives no certification.`,
		Example: "  resow report reuse\n  resow report retirement --out retirement.pdf\n  resow report sanitation --out log.csv"}
	c.AddCommand(
		a.oneReport("reuse", "How often the mats were used, with what mold, yield and cost", a.reuseReport),
		a.oneReport("retirement", "Which mats must go, which are near a limit, which went and why", a.retirementReport),
		a.sanitationReportCommand(),
		a.traceReportCommand(),
	)
	return c
}

func (a *app) oneReport(name, short string, build func(*farm, report.Origin) (report.Report, error)) *cobra.Command {
	var out string
	c := &cobra.Command{Use: name, Short: short, Args: cobra.NoArgs,
		Long:    short + ". The plain summary comes first, the method last.",
		Example: fmt.Sprintf("  resow report %s\n  resow report %s --out %s.pdf", name, name, name),
		RunE: func(*cobra.Command, []string) error {
			return a.open(true, func(f *farm) error {
				origin, err := a.origin(f)
				if err != nil {
					return err
				}
				r, err := build(f, origin)
				if err != nil {
					return err
				}
				if out == "" {
					return a.print(r, func(w io.Writer) {
						a.note(report.Text(w, r, 79))
						for _, l := range r.Lacks {
							fmt.Fprint(w, column("  ", ways[lacks(l)], 79))
						}
					})
				}
				if err := writeReport(out, r); err != nil {
					return err
				}
				return a.print(map[string]string{"file": out}, func(w io.Writer) { fmt.Fprintf(w, "Wrote %s to %s.\n", r.Title, out) })
			})
		}}
	c.Flags().StringVar(&out, "out", "", "file to write: .pdf, .html or .csv")
	return c
}

func (a *app) origin(f *farm) (report.Origin, error) {
	anchor, err := f.Anchor()
	if err != nil {
		return report.Origin{}, err
	}
	return report.Origin{Farm: f.Farm, StoreID: fmt.Sprintf("%x", f.ID()[:6]), Anchor: anchor.String(), At: f.now(a), Demo: f.Settings.Place == demoPlace}, nil
}

func writeReport(path string, r report.Report) error {
	switch strings.ToLower(filepath.Ext(path)) {
	case ".pdf":
		return writeFile(path, beginsPDF, func(w io.Writer) error { return report.PDF(w, r) })
	case ".html":
		return writeFile(path, beginsHTML, func(w io.Writer) error { return report.HTML(w, r) })
	case ".csv":
		return writeFile(path, beginsCSV, func(w io.Writer) error { return report.CSV(w, r) })
	}
	return &usageError{fmt.Sprintf("--out %s: want a name that ends in .pdf, .html or .csv", path)}
}

func (a *app) conditions(f *farm) ([]medium.Condition, error) {
	var mats []medium.Condition
	err := f.Conditions(func(c medium.Condition) error {
		mats = append(mats, c)
		return nil
	})
	return mats, err
}
