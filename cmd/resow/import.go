package main

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"resow/cmd/resow/farm"
	"resow/cmd/resow/moving"
	"resow/cmd/resow/ui"
	"resow/labels"
	"resow/medium"
	"resow/store"
)

func (a *app) importCommand(c *cobra.Command) {
	o := &importing{}
	c.RunE = func(_ *cobra.Command, args []string) error { return a.importFile(args[0], o) }
	flags := c.Flags()
	flags.StringVar(&o.What, "what", "", "mats or steps, where the columns do not say")
	flags.StringArrayVar(&o.maps, "map", nil, "what a column is: \"Wer=by\", yield=g,comma; \"Column=-\" leaves it out")
	flags.StringArrayVar(&o.sets, "set", nil, "value for every row without one: sides=both, at=2026-01-05")
	flags.StringVar(&o.Skip, "skip", "", "lines to leave out: 3,12-15")
	flags.StringVar(&o.sheet, "sheet", "", "the sheet of a workbook with more than one")
	flags.BoolVar(&o.apply, "apply", false, "record the rows")
	flags.BoolVar(&o.confirm, "confirm", false, "the guesses are right")
}

// importing is what the command line says of a file.
type importing struct {
	moving.Options
	maps, sets     []string
	sheet          string
	apply, confirm bool
}

func (a *app) importFile(path string, o *importing) (err error) {
	if o.Map, err = pairs("--map", o.maps); err != nil {
		return err
	}
	if o.Set, err = pairs("--set", o.sets); err != nil {
		return err
	}
	file, err := os.Open(path)
	if err != nil {
		return err
	}
	defer file.Close()
	if info, err := file.Stat(); err == nil && info.IsDir() {
		return a.open(false, func(f *farm.Farm) error { return a.importFolder(f, path, o) })
	}
	in := bufio.NewReader(file)
	begin, err := in.Peek(64)
	if err != nil && !errors.Is(err, io.EOF) {
		return err
	}
	if store.IsLines(begin) {
		if err := o.asItIs("an export of resow"); err != nil {
			return err
		}
		return a.importLedger(in, o.apply)
	}
	table, err := moving.Read(in, o.sheet)
	if err != nil {
		return err
	}
	return a.open(false, func(f *farm.Farm) error {
		plan, err := moving.Make(table, a.importOptions(f, o.Options))
		if err != nil {
			return err
		}
		return a.importPlan(f, plan, o)
	})
}

// pairs reads A=B; a file's column may hold an equals sign itself. What is said
// of one name in several options is put together.
func pairs(flag string, texts []string) (map[string]string, error) {
	out := map[string]string{}
	for _, t := range texts {
		i := strings.LastIndex(t, "=")
		if i < 1 {
			return nil, ui.Wrongf("%s %q: want NAME=VALUE", flag, t)
		}
		name, value := strings.TrimSpace(t[:i]), strings.TrimSpace(t[i+1:])
		before, twice := out[name]
		if twice && flag == "--set" {
			return nil, ui.Wrongf("--set %s=%s and %s=%s: keep one", name, before, name, value)
		}
		if twice {
			value = before + "," + value
		}
		out[name] = value
	}
	return out, nil
}

// asItIs refuses what says how to read a file that says so itself.
func (o *importing) asItIs(what string) error {
	for _, option := range []struct{ name, said string }{
		{"--what", o.What}, {"--map", strings.Join(o.maps, "")}, {"--set", strings.Join(o.sets, "")}, {"--skip", o.Skip},
		{"--sheet", o.sheet},
	} {
		if option.said != "" {
			return ui.Wrongf("%s does not apply to %s, which is read as it is; leave it out", option.name, what)
		}
	}
	return nil
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
	doc := map[string]any{"store": path, "records": anchor.Count, "anchor": anchor, "applied": apply && !repeated,
		"repeated": repeated || same}
	if there && !same {
		doc["refused"] = (&store.ExistsError{Path: path}).Error()
	}
	return a.Print(doc, func(w io.Writer) {
		switch {
		case repeated || same:
			fmt.Fprintf(w, "%s holds these %s already; nothing to do.\n", path, ui.Counted(int(anchor.Count), "record"))
		case apply:
			fmt.Fprintf(w, "Made %s with %s, anchor %s.\n", path, ui.Counted(int(anchor.Count), "record"), anchor)
		case there:
			fmt.Fprintf(w, "All %s can be taken, anchor %s.\nNothing was written, and --apply will refuse:\n",
				ui.Counted(int(anchor.Count), "record"), anchor)
			ui.Say(w, "%s", (&store.ExistsError{Path: path}).Error()+".")
		default:
			fmt.Fprintf(w, "All %s can be taken, anchor %s.\nNothing was written; --apply makes %s.\n",
				ui.Counted(int(anchor.Count), "record"), anchor, path)
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
	if !errors.As(err, &bad) || a.JSON {
		return err
	}
	printBadRows(a.Out, bad.Rows, bad.More)
	return err
}

func printBadRows(w io.Writer, rows []store.BadRow, more int) {
	for _, r := range rows {
		file := ""
		if r.File != "" {
			file = r.File + " "
		}
		ui.Item(w, fmt.Sprintf("%sline %5d  ", file, r.Line), r.Text)
	}
	if more > 0 {
		fmt.Fprintf(w, "and %d more\n", more)
	}
	hints := make([]string, len(rows))
	for i, r := range rows {
		hints[i] = hintTo(r.Err)
	}
	printOnce(w, hints)
}

// importDoc is what import --json prints.
type importDoc struct {
	moving.Plan
	store.Imported
	Applied bool `json:"applied"`
}

func (a *app) importOptions(f *farm.Farm, o moving.Options) moving.Options {
	drawn := map[medium.Code]bool{}
	o.Farm, o.By, o.Location, o.US, o.Now = f.Farm, a.initials(), f.Loc, f.Settings.Units == medium.US, f.Now()
	o.Find = func(text string) (medium.Code, bool) {
		code, err := f.Find(text)
		return code, err == nil
	}
	o.Valid = func(text string) (medium.Code, bool) {
		code, err := labels.Parse(text)
		return medium.Code(code), err == nil && strings.HasPrefix(code, "T")
	}
	o.Draw = func() (medium.Code, error) { return f.FreshCode(drawn) }
	return o
}

// importFolder takes the tables of an export, which belong together: a step in
// one rests on a solution in another.
func (a *app) importFolder(f *farm.Farm, dir string, o *importing) error {
	if err := o.asItIs("a folder"); err != nil {
		return err
	}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	var names []string
	var tables []moving.Table
	for _, e := range entries {
		if !strings.EqualFold(filepath.Ext(e.Name()), ".csv") {
			continue
		}
		file, err := os.Open(filepath.Join(dir, e.Name()))
		if err != nil {
			return err
		}
		table, err := moving.Read(file, "")
		_ = file.Close()
		if err != nil {
			return fmt.Errorf("%s: %w", file.Name(), err)
		}
		names, tables = append(names, e.Name()), append(tables, table)
	}
	if len(names) == 0 {
		return ui.Wrongf("the folder %s holds no tables (.csv); name one file, or the folder of "+
			"`resow export --csv`", dir)
	}
	plan, err := moving.Own(names, tables)
	if err != nil {
		return err
	}
	return a.importPlan(f, plan, o)
}

func (a *app) importPlan(f *farm.Farm, plan moving.Plan, o *importing) (err error) {
	if plan.Ledger != "" {
		o.sheet = "" // a workbook's was read
		if err := o.asItIs("a table of resow's own export"); err != nil {
			return err
		}
	}
	if plan.Ledger == fmt.Sprintf("%x", f.ID()) {
		return ui.Wrong("these tables are this ledger's own export, and an import changes nothing of the ledger that it " +
			"came from; to mend a record, void it with `resow correct` and record it anew")
	}
	if plan.Lack != nil {
		return plan.Lack
	}
	doc := importDoc{Plan: plan}
	open := len(plan.Guesses) > 0 && !o.confirm // guesses that nobody has looked at
	more := 0
	if len(plan.Rows) > 0 {
		dry := !o.apply || open || len(plan.Bad) > 0 || len(plan.Questions) > 0
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
	slices.SortStableFunc(doc.Bad, func(a, b store.BadRow) int {
		return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line))
	})
	doc.Recorded = nil // codes and steps are asked for with list and history
	if len(doc.Bad) > 0 || len(doc.Questions) > 0 || o.apply && !doc.Applied {
		a.code = exitFailed
	}
	return a.Print(doc, func(w io.Writer) { a.printImport(w, doc, o.apply, more) })
}

func namesField(text string) bool { return strings.Contains(text, "=FIELD") }

func printQuestion(w io.Writer, q moving.Question) {
	text := q.Text
	if q.Column != "" {
		text = fmt.Sprintf("column %q: %s", q.Column, text)
	}
	ui.Item(w, "  ", text)
	for _, say := range q.Say {
		fmt.Fprintln(w, "      "+say)
	}
}

func (a *app) printImport(w io.Writer, doc importDoc, apply bool, more int) {
	for _, n := range doc.Notes {
		ui.Say(w, "%s", n)
	}
	dates := ""
	if doc.Dates != "" {
		dates = ", dates read as " + doc.Dates
	}
	fmt.Fprintf(w, "%s of %s%s\n", ui.Counted(doc.Count, "row"), doc.What, dates)
	if len(doc.Columns) > 0 {
		fmt.Fprintf(w, "  %-24s  %-18s  %s\n", "COLUMN", "IS", "UNIT")
	}
	for _, c := range doc.Columns {
		is := c.Field
		if is == "" {
			is = "(left out)"
		}
		fmt.Fprintf(w, "  %s  %-18s  %s\n", ui.Padded(c.Head, 24), is, ui.Cut(c.Unit, 31))
	}
	if len(doc.Guesses) > 0 {
		fmt.Fprintln(w, "Guessed; check each:")
		for _, g := range doc.Guesses {
			ui.Item(w, "  ", g)
		}
	}
	fields := slices.ContainsFunc(doc.Guesses, namesField)
	if len(doc.Questions) > 0 {
		fmt.Fprintln(w, "Questions; answer each with the option that is right:")
	}
	for _, q := range doc.Questions {
		printQuestion(w, q)
		fields = fields || slices.ContainsFunc(q.Say, namesField)
	}
	if fields {
		ui.Item(w, "  FIELD is one of: ", strings.Join(moving.FieldNames(), ", "))
	}
	if len(doc.Questions) > 0 {
		fmt.Fprintln(w, a.Paint(ui.Red, "Nothing was recorded.")+"\nRun it again with an option for each.")
		return
	}
	if len(doc.Bad) > 0 {
		fmt.Fprintf(w, "%s can't be taken:\n", ui.Counted(len(doc.Bad)+more, "row"))
		printBadRows(w, doc.Bad, more)
		way := "Mend the rows, say what the columns are (--map), give all rows a value\n" +
			"(--set debris=none) or leave lines out (--skip 12,15-17), and run it again."
		if doc.Ledger != "" {
			way = "Export the tables again, or mend the rows in them, and run it again. An exact\n" +
				"copy of a ledger is made of JSON Lines: export --out FILE, import FILE."
		}
		fmt.Fprintln(w, a.Paint(ui.Red, "Nothing was recorded.")+"\n"+way)
		return
	}
	fmt.Fprintf(w, "  %s, imported before: %d\n", ui.Counted(doc.New, "new row"), doc.Repeated)
	if doc.Missed > 0 {
		fmt.Fprintf(w, "Not accepted by the rules, so kept without moving a mat: %d\n", doc.Missed)
		printBadRows(w, doc.Misses, doc.Missed-len(doc.Misses))
	}
	switch {
	case doc.Applied && doc.New == 0:
		fmt.Fprintln(w, "Nothing to do: every row was imported before.")
	case doc.Applied:
		fmt.Fprintln(w, a.Paint(ui.Green, "Recorded."))
		if doc.What == moving.Mats {
			fmt.Fprintf(w, "An old name finds its mat as mark:NAME; `%s label` prints the labels.\n", a.self)
		}
	case apply:
		fmt.Fprintln(w, a.Paint(ui.Red,
			"Nothing was recorded.")+"\nIf the guesses are right, run it again with --apply --confirm.")
	default:
		fmt.Fprintln(w, "Nothing was recorded yet; --apply records the rows.")
	}
}
