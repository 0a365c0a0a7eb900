package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strings"

	"github.com/spf13/cobra"

	rooms "resow/cmd/resow/farm"
	"resow/cmd/resow/moving"
	"resow/labels"
	"resow/medium"
	"resow/store"
)

func (a *app) exportCommand() *cobra.Command {
	var out, tables string
	c := &cobra.Command{
		Use: "export", Short: "Take everything out: JSON Lines, or CSV for each kind of step", Args: cobra.NoArgs,
		Long: `Export writes every record, in the order of the ledger. The JSON Lines hold all of
it, so that ` + "`resow import`" + ` makes the same ledger of them again, down to the anchor.
The tables are for spreadsheets. The same ledger gives the same bytes.`,
		Example: `  resow export --out farm.jsonl
  resow export --csv tables
  resow export | head -3`,
		RunE: func(*cobra.Command, []string) error {
			if out != "" && tables != "" {
				return &usageError{"--out and --csv: one of them at a time"}
			}
			if a.json && out == "" && tables == "" {
				return &usageError{"--json prints one document, an export has a line for each record: give it a file with --out"}
			}
			return a.open(true, func(f *farm) error {
				if tables != "" {
					return a.exportTables(f, tables)
				}
				return a.exportLines(f, out)
			})
		},
	}
	c.Flags().StringVar(&out, "out", "", "file for the JSON Lines; without it they go to the screen")
	c.Flags().StringVar(&tables, "csv", "", "folder for the tables, one file for each kind of step")
	return c
}

func (a *app) exportLines(f *farm, out string) error {
	if out == "" {
		a.printed = true
		out := a.out
		if !isTerminal(out) { // a program reads the bytes as they are
			out = bare(out)
		}
		if _, err := f.Lines(out, nil); err != nil {
			return fmt.Errorf("what was written is no whole export: %w", err)
		}
		return nil
	}
	var anchor store.Anchor
	err := writeFile(out, beginsLines, func(w io.Writer) (err error) {
		anchor, err = f.Lines(w, a.progress("exporting"))
		return err
	})
	if errors.Is(err, os.ErrNotExist) {
		return &store.WriteError{Path: out, Err: err}
	}
	if err != nil {
		return err
	}
	return a.print(map[string]any{"file": out, "records": anchor.Count, "anchor": anchor}, func(w io.Writer) {
		fmt.Fprintf(w, "Wrote %s to %s, anchor %s.\n", counted(int(anchor.Count), "record"), out, anchor)
	})
}

func (a *app) exportTables(f *farm, dir string) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	var tables []tableFile
	defer func() {
		for _, t := range tables {
			t.drop()
		}
	}()
	rows, err := f.Tables(func(kind medium.Kind) (io.WriteCloser, error) {
		f, err := beginFile(filepath.Join(dir, string(kind)+".csv"), beginsTable)
		if err != nil {
			return nil, err
		}
		tables = append(tables, tableFile{f})
		return tableFile{f}, nil
	})
	if err != nil {
		return err
	}
	for _, t := range tables {
		if err := t.place(); err != nil {
			return err
		}
	}
	return a.print(map[string]any{"folder": dir, "rows": rows}, func(w io.Writer) {
		kinds := make([]string, 0, len(rows))
		for k := range rows {
			kinds = append(kinds, string(k))
		}
		sort.Strings(kinds)
		for _, k := range kinds {
			fmt.Fprintf(w, "%7d  %s\n", rows[medium.Kind(k)], filepath.Join(dir, k+".csv"))
		}
	})
}

func (a *app) importCommand() *cobra.Command {
	var o moving.Options
	var maps, set []string
	var sheet string
	var apply, confirm bool
	c := &cobra.Command{
		Use: "import FILE", Short: "Bring in mats and past steps, or a whole export", Args: cobra.ExactArgs(1),
		Long: `Import reads CSV, XLSX or JSON with a row for each mat, or for each past step. It
first only shows how it reads the columns, what it guessed, and every row that it
can't take with the reason. What has two readings it asks: is 1.250 a thousand or
one, is 3/4 in March or in April, is a bare 60 seconds or minutes? Nothing is
recorded before each is answered with --map, and before --apply; where something
was guessed, --confirm says that the guesses are right. All rows are recorded or
none. A row that was imported before is passed over, so that the same file can be
imported again.

--map says what is known of a column, by its name or its field, with commas
between: the field, the unit of bare numbers, the decimal mark (point, comma), the
order of dates (dmy, mdy, ymd) or their year, and down where a gap means the cell
above.

Mats get a code of resow; an old name is kept as the mat's mark, and rows of
steps find the mat by it. Past steps go through today's rules, as late entries.

An export of resow becomes a ledger of its own with the same records, at a path
(--store) where no file is yet. The folder of ` + "`export --csv`" + ` comes in as past
steps of a ledger that has none.`,
		Example: `  resow import mats.csv --set at=2026-01-05
  resow import mats.csv --set at=2026-01-05 --apply --confirm --by MK
  resow import washing.csv --map "Wer=by" --map contact=min --map datum=dmy --set sides=both
  resow import harvest.xlsx --sheet 2026 --map yield=g,comma --set kind=harvest --skip 40-42
  resow import farm.jsonl --store new.resow --apply`,
		RunE: func(_ *cobra.Command, args []string) error {
			var err error
			for _, p := range []struct {
				to   *map[string]string
				from []string
				flag string
			}{{&o.Map, maps, "--map"}, {&o.Set, set, "--set"}} {
				if *p.to, err = pairs(p.flag, p.from); err != nil {
					return err
				}
			}
			file, err := os.Open(args[0])
			if err != nil {
				return err
			}
			defer file.Close()
			if info, err := file.Stat(); err == nil && info.IsDir() {
				return a.open(false, func(f *farm) error { return a.importFolder(f, args[0], o, apply, confirm) })
			}
			in := bufio.NewReader(file)
			begin, err := in.Peek(64)
			if err != nil && !errors.Is(err, io.EOF) {
				return err
			}
			if store.IsLines(begin) {
				return a.importLedger(in, apply)
			}
			table, err := moving.Read(in, sheet)
			if err != nil {
				return err
			}
			return a.open(false, func(f *farm) error {
				plan, err := moving.Make(table, a.importOptions(f, o))
				if err != nil {
					return err
				}
				return a.importPlan(f, plan, apply, confirm)
			})
		},
	}
	flags := c.Flags()
	flags.StringVar(&o.What, "what", "", "mats or steps, where the columns do not tell")
	flags.StringArrayVar(&maps, "map", nil, "what a column is: \"Wer=by\", yield=g,comma; \"Column=-\" leaves it out")
	flags.StringArrayVar(&set, "set", nil, "value for every row without one: sides=both, at=2026-01-05")
	flags.StringVar(&o.Skip, "skip", "", "lines to leave out: 3,12-15")
	flags.StringVar(&sheet, "sheet", "", "the sheet of a workbook with more than one")
	flags.BoolVar(&apply, "apply", false, "record the rows")
	flags.BoolVar(&confirm, "confirm", false, "what was guessed is right")
	return c
}

// pairs reads A=B; a file's column may hold an equals sign itself.
func pairs(flag string, texts []string) (map[string]string, error) {
	out := map[string]string{}
	for _, t := range texts {
		i := strings.LastIndex(t, "=")
		if i < 1 {
			return nil, &usageError{fmt.Sprintf("%s %q: want NAME=VALUE", flag, t)}
		}
		out[strings.TrimSpace(t[:i])] = strings.TrimSpace(t[i+1:])
	}
	return out, nil
}

// importLedger makes a ledger of an export. Without apply it only tries every
// line.
func (a *app) importLedger(in io.Reader, apply bool) error {
	path := a.storePath()
	o := a.storeOptions(false)
	var anchor store.Anchor
	var repeated bool
	var err error
	if apply {
		anchor, repeated, err = store.FromLines(path, in, o)
	} else {
		anchor, err = store.TryLines(in, o)
	}
	if err != nil {
		return a.importFailed(err)
	}
	there, same := false, false
	if !apply {
		there, same = fileAt(path, anchor, o)
	}
	doc := map[string]any{"store": path, "records": anchor.Count, "anchor": anchor, "applied": apply && !repeated, "repeated": repeated || same}
	if there && !same {
		doc["refused"] = (&store.ExistsError{Path: path}).Error()
	}
	return a.print(doc, func(w io.Writer) {
		switch {
		case repeated || same:
			fmt.Fprintf(w, "%s holds these %s already; nothing to do.\n", path, counted(int(anchor.Count), "record"))
		case apply:
			fmt.Fprintf(w, "Made %s with %s, anchor %s.\n", path, counted(int(anchor.Count), "record"), anchor)
		case there:
			fmt.Fprintf(w, "All %s can be taken, anchor %s.\nNothing was written, and --apply will refuse:\n", counted(int(anchor.Count), "record"), anchor)
			fmt.Fprint(w, wrap((&store.ExistsError{Path: path}).Error()+".", 79, "  "))
		default:
			fmt.Fprintf(w, "All %s can be taken, anchor %s.\nNothing was written; --apply makes %s.\n", counted(int(anchor.Count), "record"), anchor, path)
		}
	})
}

// fileAt looks at the file that is where an import would make its ledger.
func fileAt(path string, want store.Anchor, o store.Options) (there, same bool) {
	if _, err := os.Lstat(path); err != nil {
		return false, false
	}
	o.ReadOnly = true
	s, err := store.Open(path, o)
	if err != nil {
		return true, false
	}
	defer s.Close()
	now, err := s.Anchor()
	return true, err == nil && now == want
}

// importFailed prints every row that was refused; the error itself names one.
func (a *app) importFailed(err error) error {
	var bad *store.ImportError
	if !errors.As(err, &bad) || a.json {
		return err
	}
	printBadRows(a.out, bad.Rows, bad.More)
	return err
}

func printBadRows(w io.Writer, rows []store.BadRow, more int) {
	for _, r := range rows {
		fmt.Fprint(w, column(fmt.Sprintf("line %5d  ", r.Line), r.Text, 79))
	}
	if more > 0 {
		fmt.Fprintf(w, "and %d more\n", more)
	}
}

// importDoc is what import --json prints.
type importDoc struct {
	moving.Plan
	store.Imported
	Applied bool `json:"applied"`
}

func (a *app) importOptions(f *farm, o moving.Options) moving.Options {
	drawn := map[medium.Code]bool{}
	o.By, o.Location, o.US, o.Now = a.initials(), f.loc, f.Settings.Units == medium.US, f.now(a)
	o.Find = func(text string) (medium.Code, bool) {
		code, err := f.find(text)
		return code, err == nil
	}
	o.Valid = func(text string) (medium.Code, bool) {
		code, err := labels.Parse(text)
		return medium.Code(code), err == nil && strings.HasPrefix(code, "T")
	}
	o.Draw = func() (medium.Code, error) { return a.freshCode(f, drawn) }
	o.Strength = func(product, active, text string) (float64, error) {
		return rooms.Strength(f.Farm, product, active, text)
	}
	return o
}

// importFolder takes the tables of an export, which belong together: a step in
// one rests on a solution in another.
func (a *app) importFolder(f *farm, dir string, o moving.Options, apply, confirm bool) error {
	names, err := filepath.Glob(filepath.Join(dir, "*.csv"))
	if err != nil || len(names) == 0 {
		return &usageError{fmt.Sprintf("the folder %s holds no tables (.csv); name one file, or the folder of `resow export --csv`", dir)}
	}
	var plans []moving.Plan
	for i, name := range names {
		file, err := os.Open(name)
		if err != nil {
			return err
		}
		table, err := moving.Read(file, "")
		_ = file.Close()
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		plan, err := moving.Make(table, a.importOptions(f, o))
		if err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
		plans, names[i] = append(plans, plan), filepath.Base(name)
	}
	plan, err := moving.Join(names, plans)
	if err != nil {
		return err
	}
	return a.importPlan(f, plan, apply, confirm)
}

func (a *app) importPlan(f *farm, plan moving.Plan, apply, confirm bool) (err error) {
	doc := importDoc{Plan: plan}
	open := len(plan.Guesses) > 0 && !confirm // guesses that nobody has looked at
	more := 0
	if len(plan.Rows) > 0 {
		dry := !apply || open || len(plan.Bad) > 0 || len(plan.Questions) > 0
		doc.Imported, err = f.Import(plan.Rows, dry)
		var bad *store.ImportError
		if errors.As(err, &bad) {
			doc.Bad, more, err = append(doc.Bad, bad.Rows...), bad.More, nil
		}
		if err != nil {
			return err
		}
		doc.Applied = !dry && len(doc.Bad) == 0
	}
	sort.SliceStable(doc.Bad, func(i, j int) bool { return doc.Bad[i].Line < doc.Bad[j].Line })
	doc.Recorded = nil // codes and steps are asked for with list and history
	if len(doc.Bad) > 0 || len(doc.Questions) > 0 || apply && !doc.Applied {
		a.code = exitFailed
	}
	return a.print(doc, func(w io.Writer) { a.printImport(w, doc, apply, more) })
}

func printQuestion(w io.Writer, q moving.Question) {
	text := q.Text
	if q.Column != "" {
		text = fmt.Sprintf("column %q: %s", q.Column, text)
	}
	fmt.Fprint(w, column("  ", text, 79))
	for _, say := range q.Say {
		fmt.Fprintln(w, "      "+say)
	}
}

func (a *app) printImport(w io.Writer, doc importDoc, apply bool, more int) {
	for _, n := range doc.Notes {
		fmt.Fprint(w, wrap(n, 79, "  "))
	}
	dates := ""
	if doc.Dates != "" {
		dates = ", dates read as " + doc.Dates
	}
	fmt.Fprintf(w, "%s of %s%s\n", counted(doc.Count, "row"), doc.What, dates)
	if len(doc.Columns) > 0 {
		fmt.Fprintf(w, "  %-24s  %-18s  %s\n", "COLUMN", "IS", "UNIT")
	}
	for _, c := range doc.Columns {
		is := c.Field
		if is == "" {
			is = "(left out)"
		}
		fmt.Fprintf(w, "  %s  %-18s  %s\n", padded(c.Head, 24), is, cut(c.Unit, 31))
	}
	if len(doc.Guesses) > 0 {
		fmt.Fprintln(w, "Guessed; look at each:")
		for _, g := range doc.Guesses {
			fmt.Fprint(w, column("  ", g, 79))
		}
		if slices.ContainsFunc(doc.Guesses, func(g string) bool { return strings.Contains(g, "=FIELD") }) {
			fmt.Fprint(w, column("  FIELD is one of: ", strings.Join(moving.FieldNames(), ", "), 79))
		}
	}
	if len(doc.Questions) > 0 {
		fmt.Fprintln(w, "Asked; say each with the option that is right:")
		for _, q := range doc.Questions {
			printQuestion(w, q)
		}
		fmt.Fprintln(w, a.paint(red, "Nothing was recorded.")+"\nRun it again with an option for each.")
		return
	}
	if len(doc.Bad) > 0 {
		fmt.Fprintf(w, "%s can't be taken:\n", counted(len(doc.Bad)+more, "row"))
		printBadRows(w, doc.Bad, more)
		fmt.Fprintln(w, a.paint(red, "Nothing was recorded.")+"\nMend the rows, say what the columns are (--map), give all rows a value\n(--set debris=none) or leave lines out (--skip 12,15-17), and run it again.")
		return
	}
	taken := fmt.Sprintf("%s, imported before: %d", counted(doc.New, "new row"), doc.Repeated)
	if doc.Missed > 0 {
		taken += fmt.Sprintf("; steps that the rules do not accept, and that do not move their mats: %d", doc.Missed)
	}
	fmt.Fprint(w, wrap(taken, 79, "  "))
	switch {
	case doc.Applied && doc.New == 0:
		fmt.Fprintln(w, "Nothing to do: every row was imported before.")
	case doc.Applied:
		fmt.Fprintln(w, a.paint(green, "Recorded."))
		if doc.What == moving.Mats {
			fmt.Fprintf(w, "An old name finds its mat as mark:NAME; `%s label` prints the labels.\n", a.self)
		}
	case apply:
		fmt.Fprintln(w, a.paint(red, "Nothing was recorded.")+"\nIf the guesses are right, run it again with --apply --confirm.")
	default:
		fmt.Fprintln(w, "Nothing was recorded yet; --apply records the rows.")
	}
}
