package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"resow/labels"
	"resow/labels/report"
	"resow/medium"
)

func (a *app) labelCommand() *cobra.Command {
	var stock, out, note string
	var fresh, all, cropMarks, explain bool
	var skip, copies int
	c := &cobra.Command{
		Use: "label [CODE...]", Short: "Print labels for mats as a PDF, to scale",
		Long: `Label writes a sheet of labels: the QR symbol, the code in large type, the mat's
size and the farm. Print at 100 %, without "fit to page". Use a stock that
survives water and sanitizer (resin print on film, or laser print on film under a
matt cover), and give each mat a second identity that needs no label: mark it
with punched dots and note them with --mark.

The ledger's anchor is printed where the sheet has a margin: paper is the
witness that resow verify --anchor holds the file against.`,
		Example: `  resow label --new --stock a4-21 --out labels.pdf
  resow label TK7R2N81 TB3DF6H2 --stock letter-30 --skip 4 --out labels.pdf
  resow label --all --stock a4-tags --crop-marks`,
		ValidArgsFunction: a.completeCodes,
		RunE: func(_ *cobra.Command, args []string) error {
			return a.open(true, func(f *farm) error {
				mats, err := a.labelledMats(f, args, fresh, all)
				if err != nil {
					return err
				}
				if stock == "" {
					stock = map[string]string{"a4": "a4-21", "letter": "letter-30"}[f.Settings.Paper]
				}
				paper, err := labels.FindStock(stock)
				if err != nil {
					return err
				}
				anchor, err := f.Anchor()
				if err != nil {
					return err
				}
				sheet := labels.Sheet{Stock: paper, Skip: skip, Copies: copies, CropMarks: cropMarks, CutLines: true, Created: f.now(a),
					Anchor: "resow ledger, anchor " + anchor.String()}
				for _, c := range mats {
					sheet.Labels = append(sheet.Labels, labels.Label{Code: string(printedCode(c)), Size: c.Mat.Size(), Farm: f.Settings.Name, Note: note, Reprint: c.Labels})
				}
				if err := writeFile(out, func(w io.Writer) error { return labels.WriteSheet(w, sheet) }); err != nil {
					return err
				}
				return a.printLabelled(sheet, out, explain)
			})
		},
	}
	flags := c.Flags()
	flags.StringVar(&stock, "stock", "", "label stock; see --help for the names (default by the farm's paper)")
	flags.StringVar(&out, "out", "labels.pdf", "file to write")
	flags.StringVar(&note, "note", "", "one more line on each label")
	flags.BoolVar(&fresh, "new", false, "every mat that was not sown on yet")
	flags.BoolVar(&all, "all", false, "every mat that is not retired")
	flags.IntVar(&skip, "skip", 0, "labels already used up on the first page")
	flags.IntVar(&copies, "copies", 1, "copies of each label")
	flags.BoolVar(&cropMarks, "crop-marks", false, "crop marks in the margins")
	flags.BoolVar(&explain, "explain", false, "say how the symbol was chosen")
	names := make([]string, 0, len(labels.Stocks()))
	for _, s := range labels.Stocks() {
		names = append(names, s.Name)
	}
	c.Long += "\n\nStocks: " + strings.TrimSpace(wrap(strings.Join(names, ", "), 78, "")) + "."
	must(c.RegisterFlagCompletionFunc("stock", fixedWords(names...)))
	return c
}

// printedCode is the code that goes on a mat's label: the newest it was given.
func printedCode(c medium.Condition) medium.Code {
	if n := len(c.Tags); n > 0 {
		return c.Tags[n-1]
	}
	return c.Code
}

func (a *app) labelledMats(f *farm, args []string, fresh, all bool) ([]medium.Condition, error) {
	var mats []medium.Condition
	if fresh || all {
		err := f.Conditions(func(c medium.Condition) error {
			if c.Stage != medium.Retired && (all || c.Turn == 0) {
				mats = append(mats, c)
			}
			return nil
		})
		return mats, err
	}
	codes, err := a.findAll(f, args)
	if err != nil {
		return nil, err
	}
	for _, code := range codes {
		c, err := f.Condition(code)
		if err != nil {
			return nil, err
		}
		mats = append(mats, c)
	}
	return mats, nil
}

func (a *app) printLabelled(sheet labels.Sheet, out string, explain bool) error {
	layout, err := labels.LayOut(sheet.Stock, sheet.Labels[0])
	if err != nil {
		return err
	}
	symbol := layout.Symbols[0].Symbol
	return a.print(struct {
		File    string   `json:"file"`
		Labels  int      `json:"labels"`
		Pages   int      `json:"pages"`
		Stock   string   `json:"stock"`
		Symbols int      `json:"symbols_per_label"`
		Dropped []string `json:"left_out,omitempty"`
	}{out, len(sheet.Labels), sheet.Pages(), sheet.Stock.Name, len(layout.Symbols), layout.Dropped}, func(w io.Writer) {
		fmt.Fprintf(w, "%d labels on %d pages of %s in %s. Print at 100 %%, not fitted to the page.\n", len(sheet.Labels), sheet.Pages(), sheet.Stock.Name, out)
		if explain {
			fmt.Fprint(w, wrap(symbol.Explain(), 78, ""))
		}
	})
}

func (a *app) reportCommand() *cobra.Command {
	c := &cobra.Command{Use: "report", Short: "Print what the records say: reuse, retirement, sanitation",
		Long: `Each report goes to the screen as a table, or into a file by its name's ending:
.pdf, .html or .csv. Every one carries the ledger's anchor, the usual cautions
and the method. It gives no certification.`,
		Example: "  resow report reuse\n  resow report retirement --out retirement.pdf\n  resow report sanitation --out log.csv"}
	c.AddCommand(
		a.oneReport("reuse", "How often the mats were used, with what mold, yield and cost", a.reuseReport),
		a.oneReport("retirement", "Which mats must go, which are near a limit, which went and why", a.retirementReport),
		a.oneReport("sanitation", "The log of cleaning and sanitizing, with its gaps", a.sanitationReport),
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
					return a.print(r, func(w io.Writer) { must(report.Text(w, r, 79)) })
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
		return writeFile(path, func(w io.Writer) error { return report.PDF(w, r) })
	case ".html":
		return writeFile(path, func(w io.Writer) error { return report.HTML(w, r) })
	case ".csv":
		return writeFile(path, func(w io.Writer) error { return report.CSV(w, r) })
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
