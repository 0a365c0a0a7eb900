package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
)

// labelFlags are the flags of label; relabel --print uses some of them.
type labelFlags struct {
	stock, page, label, pitch, margin     string
	out, note, png, svg                   string
	fresh, all                            bool
	cropMarks, explain, calibrate         bool
	skip, copies                          int
	printer, offset, scale                string
	payload, station, prefix, assetNumber string
}

const (
	defaultPrinter = "default"
	anchorLead     = "resow ledger, anchor "
)

func (a *app) labelCommand(c *cobra.Command) {
	var l labelFlags
	c.ValidArgsFunction = a.completeCodes
	c.RunE = func(c *cobra.Command, args []string) error {
		if l.copies < 1 {
			return ui.Wrongf("--copies %d: want 1 or more", l.copies)
		}
		if len(args) > 0 && (l.all || l.fresh) {
			return ui.Wrong("--all and --new choose the mats themselves: leave the codes out, or leave the flag out")
		}
		return a.open(!l.corrects(), func(f *farm.Farm) error {
			if l.calibrate {
				return a.calibrate(f, l)
			}
			codes, err := a.labelledMats(f, args, l.fresh, l.all)
			if err != nil {
				return err
			}
			if l.out == "" {
				l.out = "labels.pdf"
			}
			if err := a.warnRetired(f, codes); err != nil {
				return err
			}
			printer, err := a.correction(f, l)
			if err != nil {
				return err
			}
			sheet, err := a.writeLabels(f, l, printer, codes)
			if err != nil {
				return err
			}
			return a.printLabelled(sheet, printer, l)
		})
	}
	flags := c.Flags()
	flags.StringVar(&l.stock, "stock", "", "label stock; see --help for the names (default by the farm's paper)")
	flags.StringVar(&l.page, "page", "", "page of your own stock: 210x297mm")
	flags.StringVar(&l.label, "label", "", "one label of it: 63.5x38.1mm")
	flags.StringVar(&l.pitch, "pitch", "", "from one label to the next: 66x38.1mm (default the label)")
	flags.StringVar(&l.margin, "margin", "", "left and top of the first label: 7.2x15.1mm (default 0x0mm)")
	flags.StringVar(&l.out, "out", "", "file to write (default labels.pdf, or calibration.pdf)")
	flags.StringVar(&l.png, "png", "", "folder for symbols with their codes as PNG too")
	flags.StringVar(&l.svg, "svg", "", "folder for symbols with their codes as SVG too")
	flags.StringVar(&l.note, "note", "", "one more line on each label")
	flags.BoolVar(&l.fresh, "new", false, "every mat not sown on yet, those labeled before too")
	flags.BoolVar(&l.all, "all", false, "every mat that is not retired")
	flags.IntVar(&l.skip, "skip", 0, "labels already used up on the first page")
	flags.IntVar(&l.copies, "copies", 1, "copies of each label")
	flags.BoolVar(&l.cropMarks, "crop-marks", false, "crop marks in the margins")
	flags.BoolVar(&l.explain, "explain", false, "say how the symbol was chosen")
	flags.BoolVar(&l.calibrate, "calibrate", false, "write the ruler page of the stock instead of labels")
	flags.StringVar(&l.printer, "printer", defaultPrinter, "printer whose correction is used and kept")
	flags.StringVar(&l.offset, "offset", "", "move the print right x down: 1.5x-0.5mm")
	flags.StringVar(&l.scale, "scale", "", "stretch the print across x down: 100.3x100%")
	flags.StringVar(&l.payload, "payload", "code", "what the symbol holds: code, web or grai")
	flags.StringVar(&l.station, "station", "", "address of the station for web, of the resolver for grai")
	flags.StringVar(&l.prefix, "company-prefix", "", "GS1 company prefix, as issued to the farm")
	flags.StringVar(&l.assetNumber, "asset-type", "", "GRAI asset type; with its check digit, that is verified")
	names := make([]string, 0, len(labels.Stocks()))
	for _, s := range labels.Stocks() {
		names = append(names, s.Name)
	}
	c.Long += "\n\nStocks: " + strings.TrimSpace(ui.Wrap(strings.Join(names, ", "), 78, "")) + "."
	must(c.RegisterFlagCompletionFunc("stock", fixedWords(names...)))
	must(c.RegisterFlagCompletionFunc("payload", fixedWords("code", "web", "grai")))
	must(c.RegisterFlagCompletionFunc("printer", a.completePrinters()))
}

// corrects says whether the run states a correction, which is then recorded.
func (l labelFlags) corrects() bool { return l.offset != "" || l.scale != "" }

// paper gives the stock that the flags name or describe.
func (l labelFlags) paper(f *farm.Farm) (labels.Stock, error) {
	if l.page == "" && l.label == "" && l.pitch == "" && l.margin == "" {
		name := l.stock
		if name == "" {
			name = map[string]string{"a4": "a4-21", "letter": "letter-30"}[f.Settings.Paper]
		}
		return labels.FindStock(name)
	}
	if l.stock != "" {
		return labels.Stock{},
			ui.Wrong("--stock names a stock; --page, --label, --pitch and --margin describe one: give either")
	}
	if l.page == "" || l.label == "" {
		return labels.Stock{},
			ui.Wrong("a stock of your own needs at least --page and --label: --page 210x297mm --label 63.5x38.1mm")
	}
	return l.ownStock()
}

// ownStock puts as many labels on the page as fit.
func (l labelFlags) ownStock() (labels.Stock, error) {
	s := labels.Stock{Name: "own stock", Safe: labels.SafeEdge, Source: "given on the command line"}
	if l.pitch == "" {
		l.pitch = l.label
	}
	if l.margin == "" {
		l.margin = "0x0mm"
	}
	for _, m := range []struct {
		what, text string
		x, y       *float64
	}{
		{"page", l.page, &s.PageW, &s.PageH}, {"label", l.label, &s.LabelW, &s.LabelH},
		{"pitch", l.pitch, &s.PitchX, &s.PitchY}, {"margin", l.margin, &s.Left, &s.Top},
	} {
		var err error
		if *m.x, *m.y, err = amount.Pair("--"+m.what, m.text, amount.Lengths,
			"width x height with the unit: 63.5x38.1mm or 2.5x1.5in"); err != nil {
			return s, err
		}
	}
	s.Columns, s.Rows = fitting(s.PageW, s.Left, s.LabelW, s.PitchX), fitting(s.PageH, s.Top, s.LabelH, s.PitchY)
	return s, s.Validate()
}

// fitting is how many labels stand in a row: sizes are often given to a tenth,
// so the last may end 0.05 mm beyond the page.
func fitting(page, margin, label, pitch float64) int {
	const slack = 0.05
	if !(pitch > 0) {
		return 1
	}
	return 1 + int(math.Min(math.Max(0, math.Floor((page-margin-label+slack)/pitch)), 1000))
}

// correction gives the printer's correction, and records it where this run
// states a new one.
func (a *app) correction(f *farm.Farm, l labelFlags) (medium.Printer, error) {
	p, known := f.Printer(l.printer)
	if !l.corrects() && l.calibrate { // the page by which it is measured
		return p, nil
	}
	if !l.corrects() {
		return knownPrinter(f, l.printer)
	}
	old := p
	var err error
	if l.offset != "" {
		if p.OffsetXMM, p.OffsetYMM, err = amount.Pair("--offset", l.offset, amount.Lengths,
			"how far to move the print right x down: 1.5x-0.5mm"); err != nil {
			return p, err
		}
	}
	if l.scale != "" {
		if p.ScaleX, p.ScaleY, err = amount.Pair("--scale", l.scale, amount.Percents,
			"how much to stretch the print across x down: 100.3x100%"); err != nil {
			return p, err
		}
	}
	if p == old && known {
		return p, nil
	}
	_, err = a.keep(f, []medium.Step{{Mat: medium.FarmThread, By: a.initials(), Body: &p}})
	return p, err
}

// knownPrinter gives the correction on record for a printer.
func knownPrinter(f *farm.Farm, name string) (medium.Printer, error) {
	p, known := f.Printer(name)
	if !known && name != defaultPrinter {
		return p, &medium.UnknownError{What: "printer", Name: name}
	}
	return p, nil
}

func correctionOf(p medium.Printer) labels.Correction {
	return labels.Correction{OffsetX: p.OffsetXMM, OffsetY: p.OffsetYMM, ScaleX: p.ScaleX / 100, ScaleY: p.ScaleY / 100}
}

// printedCorrected says that a print is corrected, where it is.
func printedCorrected(w io.Writer, p medium.Printer) {
	if correctionOf(p) != (labels.Correction{ScaleX: 1, ScaleY: 1}) {
		fmt.Fprintf(w, "Corrected for the printer %s.\n", farm.Line(&p))
	}
}

func (a *app) calibrate(f *farm.Farm, l labelFlags) error {
	paper, err := l.paper(f)
	if err != nil {
		return err
	}
	p, err := a.correction(f, l)
	if err != nil {
		return err
	}
	out := l.out
	if out == "" {
		out = "calibration.pdf"
	}
	page := labels.Calibration{Stocks: []labels.Stock{paper}, Correction: correctionOf(p), Created: f.PaperTime(nil)}
	if err := ui.WriteFile(out, ui.BeginsPDF, func(w io.Writer) error {
		return labels.WriteCalibration(w,
			page)
	}); err != nil {
		return err
	}
	return a.Print(struct {
		File    string         `json:"file"`
		Stock   string         `json:"stock"`
		Printer medium.Printer `json:"printer"`
	}{out, paper.Name, p}, func(w io.Writer) {
		fmt.Fprintf(w, "Wrote the ruler page of %s to %s, corrected as on record for printer %s:\n", paper.Name, out, p.Name)
		fmt.Fprintf(w, "  %s\n", farm.Line(&p))
		fmt.Fprint(w, ui.Wrap("Print it at 100 % on plain paper, measure, and run this again with --offset and "+
			"--scale.", 78, ""))
	})
}

// writeLabels writes the sheet, and the single files that were asked for.
func (a *app) writeLabels(f *farm.Farm, l labelFlags, printer medium.Printer,
	codes []medium.Code) (labels.Sheet, error) {
	sheet, err := a.labelSheet(f, l, printer, codes)
	if err != nil {
		return sheet, err
	}
	if err := ui.WriteFile(l.out, ui.BeginsPDF, func(w io.Writer) error {
		return labels.WriteSheet(w,
			sheet)
	}); err != nil {
		return sheet, err
	}
	return sheet, writeSymbols(sheet, l.png, l.svg, a.Progress("writing single files", a.now))
}

func (a *app) labelSheet(f *farm.Farm, l labelFlags, printer medium.Printer,
	codes []medium.Code) (labels.Sheet, error) {
	paper, err := l.paper(f)
	if err != nil {
		return labels.Sheet{}, err
	}
	anchor, err := f.Anchor()
	if err != nil {
		return labels.Sheet{}, err
	}
	sheet := labels.Sheet{Stock: paper, Skip: l.skip, Copies: l.copies, CropMarks: l.cropMarks,
		CutLines:   paper.CutByHand(),
		Correction: correctionOf(printer),
		Anchor:     anchorLead + anchor.String(), Progress: a.Progress("drawing labels", a.now)}
	last := make([]time.Time, len(codes))
	for i, code := range codes {
		c, err := f.Condition(code)
		if err != nil {
			return sheet, err
		}
		payload, err := l.payloadOf(string(farm.PrintedCode(c)))
		if err != nil {
			return sheet, err
		}
		label, err := f.Label(c, payload, l.note)
		if err != nil {
			return sheet, err
		}
		sheet.Labels = append(sheet.Labels, label)
		last[i] = c.Last
	}
	sheet.Created = f.PaperTime(last)
	return sheet, nil
}

// payloadOf builds what the symbol holds; empty is the bare code.
func (l labelFlags) payloadOf(code string) (string, error) {
	switch l.payload {
	case "", "code":
		return "", nil
	case "web":
		if l.station == "" {
			return "", ui.Wrong("--payload web needs the station's address: --station http://192.168.1.10:8080")
		}
		return labels.WebPayload(l.station, code)
	case "grai":
		return l.graiPayload(code)
	}
	return "", &medium.InputError{Field: "payload", Value: l.payload, Want: "code, web or grai"}
}

// graiPayload takes the asset type with or without the check digit; where it
// is there it must be right.
func (l labelFlags) graiPayload(code string) (string, error) {
	if l.prefix == "" || l.assetNumber == "" {
		return "", ui.Wrong("--payload grai needs --company-prefix as GS1 issued it to the farm, and --asset-type")
	}
	asset := l.assetNumber
	if len(l.prefix)+len(asset) == 13 {
		key := l.prefix + asset
		want, err := labels.CheckDigit(key[:12])
		if err != nil {
			return "", err
		}
		if key[12] != want {
			return "", &labels.PrintError{Text: fmt.Sprintf("the GRAI %s should end in the check digit %c; compare it with "+
				"what GS1 issued", key, want)}
		}
		asset = asset[:len(asset)-1]
	}
	resolver := l.station
	if resolver == "" {
		resolver = "https://id.gs1.org" // the standard's own resolver
	}
	return labels.GRAIPayload(resolver, l.prefix, asset, code)
}

// pngPixels is the side of a module in pixels: 4 dots of a 203 dpi printer
// make 0.5 mm, and 12 leave room to scale.
const pngPixels = 12

// writeSymbols writes each label's symbol, with the code below it, into a file
// named for its code.
func writeSymbols(sheet labels.Sheet, pngDir, svgDir string, tell func(done, total int)) error {
	for _, kind := range []struct {
		dir, ext, begins string
		write            func(s labels.Symbol, w io.Writer, code string) error
	}{
		{pngDir, ".png", ui.BeginsPNG, func(s labels.Symbol, w io.Writer,
			code string) error {
			return s.WritePNG(w, pngPixels, code)
		}},
		{svgDir, ".svg", ui.BeginsSVG, labels.Symbol.WriteSVG},
	} {
		if kind.dir == "" {
			continue
		}
		if err := os.MkdirAll(kind.dir, 0o755); err != nil {
			return err
		}
		for i, label := range sheet.Labels {
			if tell != nil {
				tell(i+1, len(sheet.Labels))
			}
			layout, err := labels.LayOut(sheet.Stock, label)
			if err != nil {
				return err
			}
			err = ui.WriteFile(filepath.Join(kind.dir, label.Code+kind.ext), kind.begins, func(w io.Writer) error {
				return kind.write(layout.Symbols[0].Symbol, w, label.Code)
			})
			if err != nil {
				return err
			}
		}
	}
	return nil
}

func (a *app) labelledMats(f *farm.Farm, args []string, fresh, all bool) (codes []medium.Code, err error) {
	if !fresh && !all {
		return a.findAll(f, args, "")
	}
	for c := range f.EachMat(&err) {
		if c.Stage != medium.Retired && (all || c.Turn == 0) {
			codes = append(codes, medium.Code(strings.Clone(string(c.Code))))
		}
	}
	return codes, err
}

// warnRetired says which of the mats take no more steps: a fresh label brings
// one back into use.
func (a *app) warnRetired(f *farm.Farm, codes []medium.Code) error {
	var gone []string
	for _, code := range codes {
		c, err := f.Condition(code)
		if err != nil {
			return err
		}
		if c.Stage == medium.Retired {
			gone = append(gone, code.String())
		}
	}
	if len(gone) > 0 {
		a.Remark("retired, and not to be used again, whatever its label says: " + ui.Some(gone, 10))
	}
	return nil
}

func (a *app) printLabelled(sheet labels.Sheet, printer medium.Printer, l labelFlags) error {
	layout, err := labels.LayOut(sheet.Stock, sheet.Labels[0])
	if err != nil {
		return err
	}
	symbol := layout.Symbols[0].Symbol
	return a.Print(struct {
		File    string          `json:"file"`
		Labels  int             `json:"labels"`
		Pages   int             `json:"pages"`
		Stock   string          `json:"stock"`
		Symbols int             `json:"symbols_per_label"`
		Dropped []string        `json:"left_out,omitempty"`
		Anchor  bool            `json:"anchor_printed"`
		Explain string          `json:"symbol"`
		Payload string          `json:"first_payload"`
		Printer *medium.Printer `json:"printer"`
	}{l.out, len(sheet.Labels), sheet.Pages(), sheet.Stock.Name, len(layout.Symbols), layout.Dropped,
		sheet.Stock.HasAnchorRoom(), symbol.Explain(), symbol.Payload, &printer}, func(w io.Writer) {
		fmt.Fprint(w, ui.Wrap(fmt.Sprintf("%s on %s of %s in %s. Print at 100 %%, not fitted to the page.",
			ui.Counted(len(sheet.Labels)*max(1, l.copies), "label"), ui.Counted(sheet.Pages(), "page"), sheet.Stock.Name,
			l.out), 78, ""))
		if l.fresh {
			fmt.Fprint(w, ui.Wrap("These are all mats not sown on yet, those labeled before too. Two tags of one code mix "+
				"up two mats: destroy the spare ones.", 78, ""))
		}
		if len(layout.Dropped) > 0 {
			fmt.Fprint(w, ui.Wrap("No room on the label for: "+strings.Join(layout.Dropped, ", ")+".", 78, ""))
		}
		if !sheet.Stock.HasAnchorRoom() {
			fmt.Fprint(w, ui.Wrap("This stock has no margin for the ledger's anchor: write "+strings.TrimPrefix(sheet.Anchor,
				anchorLead)+" down, or print a report, for resow verify --anchor.", 78, ""))
		}
		printedCorrected(w, printer)
		for _, dir := range []string{l.png, l.svg} {
			if dir != "" {
				fmt.Fprintf(w, "One file a label in %s.\n", dir)
			}
		}
		if l.explain {
			fmt.Fprint(w, ui.Wrap("Symbol for "+symbol.Payload+": "+symbol.Explain(), 78, ""))
		}
	})
}
