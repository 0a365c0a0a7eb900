package store

import (
	"cmp"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"resow/medium"
)

// Tables writes every record into a table of its kind, for a spreadsheet: UTF-8
// with a byte order mark, lines ended as in RFC 4180, a column for each field.
// A cell is empty where nothing was recorded. A list inside a record, such as
// the crops of a mix, takes a row for each part, with the record's other cells
// on each. open makes the table of a kind when its first record comes; Tables
// closes it, and gives the number of records in each.
func (s *Store) Tables(open func(kind medium.Kind) (io.WriteCloser, error)) (map[medium.Kind]int, error) {
	tables := map[medium.Kind]*table{}
	records := map[medium.Kind]int{}
	l, head, err := s.ledgerNow()
	var voided map[stepName]string
	if err == nil {
		voided, err = s.voidedSteps(l.Count, head)
	}
	if err == nil {
		err = inOrderTo(s, l.Count, head, stepAt, func(r logged[medium.Step]) error {
			step := r.read
			t := tables[step.Kind]
			if t == nil {
				w, err := open(step.Kind)
				if err != nil {
					return err
				}
				t = newTable(w, step.Body, fmt.Sprintf("%x", s.identity.ID), l.Count)
				tables[step.Kind] = t
			}
			records[step.Kind]++
			return t.write(step, voided[stepName{step.Mat, step.MatSeq}])
		})
	}
	for _, t := range tables {
		if closing := t.close(); err == nil {
			err = closing
		}
	}
	return records, err
}

// stepName names a step by its mat and its place there.
type stepName struct {
	mat medium.Code
	seq uint64
}

// voidedSteps says of each step that is void in a state of the ledger which one voids
// it, and why.
func (s *Store) voidedSteps(count uint64, head hash) (map[stepName]string, error) {
	voided := map[stepName]string{}
	err := inOrderTo(s, count, head, stepAt, func(r logged[medium.Step]) error {
		if b, ok := r.read.Body.(*medium.Correct); ok {
			voided[stepName{r.read.Mat, b.MatSeq}] = fmt.Sprintf("by step %d: %s", r.read.MatSeq, b.Reason)
		}
		return nil
	})
	return voided, err
}

// table is one file of Tables.
type table struct {
	w      io.WriteCloser
	csv    *csv.Writer
	ledger string // as an export's first line names it
	count  string // records of the ledger, in all tables together
	err    error
}

// The columns of every table, before those of the body. A file that begins so
// is one of ours.
var envelopeColumns = []string{"seq", "mat", "mat_seq", "happened_at", "recorded_at", "by", "kind", "day_only",
	"seen_at", "voided", "replaces", "token",
	"accepted", "from", "to", "late", "policy", "findings", "sent_by", "ledger", "records"}

func newTable(w io.WriteCloser, body medium.Body, ledger string, count uint64) *table {
	t := &table{w: w, csv: csv.NewWriter(w), ledger: ledger, count: strconv.FormatUint(count, 10)}
	t.csv.UseCRLF = true
	_, t.err = io.WriteString(w, "\ufeff")
	t.row(append(slices.Clone(envelopeColumns), columnsOf(reflect.TypeOf(body).Elem(), "")...))
	return t
}

func (t *table) row(cells []string) {
	for i, c := range cells {
		cells[i] = guardCell(c)
	}
	if err := t.csv.Write(cells); t.err == nil {
		t.err = err
	}
}

func (t *table) write(s medium.Step, voided string) error {
	o := s.Outcome
	findings := make([]string, len(o.Findings))
	for i, f := range o.Findings {
		findings[i] = f.Rule + ": " + f.Text
	}
	replaces, seen := "", ""
	if !s.Seen.IsZero() {
		seen = s.Seen.Format(time.RFC3339)
	}
	if s.Replaces > 0 {
		replaces = strconv.FormatUint(s.Replaces, 10)
	}
	envelope := []string{strconv.FormatUint(s.Seq, 10), string(s.Mat), strconv.FormatUint(s.MatSeq, 10),
		s.At.Format(time.RFC3339), s.Recorded.Format(time.RFC3339), s.By, string(s.Kind), strconv.FormatBool(s.Day),
		seen, voided, replaces, s.Token, strconv.FormatBool(o.Accepted), string(o.From), string(o.To),
		strconv.FormatBool(o.Late), strconv.Itoa(o.Policy), strings.Join(findings, "; "), s.SentBy, t.ledger, t.count}
	body := reflect.ValueOf(s.Body).Elem()
	for part := range partsOf(body) {
		t.row(append(slices.Clone(envelope), cellsOf(body, part)...))
	}
	return t.err
}

func (t *table) close() error {
	t.csv.Flush()
	if err := t.csv.Error(); t.err == nil {
		t.err = err
	}
	if err := t.w.Close(); t.err == nil {
		t.err = err
	}
	return t.err
}

var (
	timeType  = reflect.TypeFor[time.Time]()
	cellGuard = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^[+-]?[0-9]+([.][0-9]+)?([eE][+-]?[0-9]+)?$`)
	})
)

const formulaSigns = "=+-@\t\r＝＋－＠"

// guardCell keeps a spreadsheet from running a cell as a formula: OWASP, "CSV
// Injection". A plain number keeps its sign.
func guardCell(cell string) string {
	if needsGuard(cell) {
		return "'" + cell
	}
	return cell
}

// needsGuard is true for a guarded cell too, so that one that was typed so comes
// back.
func needsGuard(cell string) bool {
	if rest, ok := strings.CutPrefix(cell, "'"); ok {
		return needsGuard(rest)
	}
	return cell != "" && !cellGuard().MatchString(cell) && strings.ContainsRune(formulaSigns, []rune(cell)[0])
}

// unguarded gives the text that guardCell made a cell of.
func unguarded(cell string) string {
	if rest, ok := strings.CutPrefix(cell, "'"); ok && needsGuard(rest) {
		return rest
	}
	return cell
}

// listOf gives the type of a list's parts, where a field is a list of records.
func listOf(t reflect.Type) (reflect.Type, bool) {
	return t, t.Kind() == reflect.Slice && t.Elem().Kind() == reflect.Struct
}

// partsOf is the number of rows that a body takes.
func partsOf(v reflect.Value) int {
	for i := range v.NumField() {
		if _, ok := listOf(v.Field(i).Type()); ok {
			return max(1, v.Field(i).Len())
		}
	}
	return 1
}

// columnsOf lists the fields of a body by their JSON names; those of a part
// stand behind its name and a dot, those of a list's parts by themselves behind
// the column that numbers them. A list inside a part has none: it is a copy of
// what has records of its own, such as the strips of a solution.
func columnsOf(t reflect.Type, prefix string) (names []string) {
	for i := range t.NumField() {
		f := t.Field(i)
		if !f.IsExported() {
			continue
		}
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		if list, ok := listOf(f.Type); ok && prefix != "" {
			continue
		} else if ok {
			names = append(append(names, "part"), columnsOf(list.Elem(), "")...)
		} else if part, ok := partOf(f.Type); ok {
			names = append(names, columnsOf(part, prefix+name+".")...)
		} else {
			names = append(names, prefix+name)
		}
	}
	return names
}

func partOf(t reflect.Type) (reflect.Type, bool) {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	return t, t.Kind() == reflect.Struct && t != timeType
}

// inside stands for the row of a part: it has no lists of its own.
const inside = -1

// cellsOf gives the cells of one row of a body.
func cellsOf(v reflect.Value, row int) (cells []string) {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		if !field.IsExported() {
			continue
		}
		f := v.Field(i)
		if list, ok := listOf(f.Type()); ok {
			if row >= f.Len() {
				cells = append(cells, make([]string, 1+len(columnsOf(list.Elem(), "")))...)
			} else if row != inside {
				cells = append(append(cells, fmt.Sprintf("%d of %d", row+1, f.Len())), cellsOf(f.Index(row), inside)...)
			}
			continue
		}
		part, ok := partOf(f.Type())
		name, options, _ := strings.Cut(field.Tag.Get("json"), ",")
		if f.Kind() == reflect.Pointer && f.IsNil() {
			n := 1
			if ok {
				n = len(columnsOf(part, name+"."))
			}
			cells = append(cells, make([]string, n)...)
			continue
		}
		said := f.Kind() == reflect.Pointer
		f = reflect.Indirect(f)
		switch {
		case ok:
			cells = append(cells, cellsOf(f, inside)...)
		case !said && f.IsZero() && f.Kind() != reflect.Bool && strings.Contains(options, "omitempty"):
			cells = append(cells, "") // nothing was recorded, which is not none
		default:
			cells = append(cells, cellOf(f))
		}
	}
	return cells
}

func cellOf(v reflect.Value) string {
	switch x := v.Interface().(type) {
	case time.Time:
		if x.IsZero() {
			return ""
		}
		return x.Format(time.RFC3339)
	case float64:
		return strconv.FormatFloat(x, 'g', -1, 64)
	case []string:
		return strings.Join(x, " ")
	}
	if v.Kind() == reflect.String { // a code, too, as it is stored and not as it is printed
		return v.String()
	}
	return fmt.Sprint(v.Interface())
}

// IsTable says whether the head of a table is one that Tables writes.
func IsTable(head []string) bool {
	return len(head) >= 7 && slices.Equal(head[:7], envelopeColumns[:7])
}

// TableRow is one row of a table that Tables wrote.
type TableRow struct {
	File  string
	Line  int
	Cells map[string]string
}

// Tabled is what the rows of tables say that Tables wrote.
type Tabled struct {
	Rows   []Row  // in the order in which they were recorded
	Ledger string // that wrote all of them
	Bad    []BadRow
	Lack   error // why they are not all of it; nil: they are
}

// FromTables makes the steps of rows that Tables wrote. What a step was checked
// against is left to the rules that it goes through again, and what they made of it
// then is kept to be held against them. The rows of two ledgers are refused, since
// each counts its records for itself, and so are columns that are not as Tables
// writes them. Rows that can't be read are listed.
func FromTables(rows []TableRow) (Tabled, error) {
	var t Tabled
	count := ""
	at := map[uint64]int{} // seq: place among the steps
	type tableOf struct{ file, kind string }
	looked := map[tableOf]bool{}
	open := map[uint64]int{} // seq: its last part, where others are to come
	for _, r := range rows {
		if name := (tableOf{r.File, r.Cells["kind"]}); !looked[name] {
			looked[name] = true
			if err := r.checkColumns(); err != nil {
				return t, err
			}
		}
		step, err := stepOfRow(r.Cells)
		if err != nil {
			t.Bad = append(t.Bad, BadRow{File: r.File, Line: r.Line, Text: err.Error()})
			continue
		}
		if t.Ledger == "" {
			t.Ledger, count = r.Cells["ledger"], r.Cells["records"]
		}
		if other := r.Cells["ledger"]; other != t.Ledger {
			return t, &medium.InputError{Field: "the ledger in " + r.where(), Value: other,
				Want: t.Ledger + ", as in the rows before it; import the tables of each ledger by themselves"}
		}
		if other := r.Cells["records"]; other != count {
			return t, &medium.InputError{Field: "the number of records in " + r.where(), Value: other,
				Want: count + ", as in the rows before it; import the tables of one export together"}
		}
		i, before := at[step.Seq]
		last, more := open[step.Seq]
		part, parts := 1, 1
		if text := r.Cells["part"]; text != "" {
			_, _ = fmt.Sscanf(text, "%d of %d", &part, &parts)
		}
		if open[step.Seq] = part; part == parts {
			delete(open, step.Seq)
		}
		switch {
		case before != more || part != last+1:
			err = fmt.Errorf("part %d of record %d stands where part %d belongs: its rows are missing, doubled or out of order",
				part, step.Seq, last+1)
		case before:
			err = addParts(t.Rows[i].Step.Body, step.Body)
		}
		if err != nil {
			t.Bad = append(t.Bad, BadRow{File: r.File, Line: r.Line, Text: err.Error()})
		}
		if before || err != nil {
			continue
		}
		at[step.Seq] = len(t.Rows)
		mat := string(step.Mat)
		if step.Mat == medium.FarmThread { // its name is no text for a token
			mat = "farm-" + t.Ledger
		}
		token := fmt.Sprintf("table-%s-%d-%d", mat, step.MatSeq, step.At.Unix())
		t.Rows = append(t.Rows, Row{File: r.File, Line: r.Line, Step: step, Token: token})
	}
	slices.SortStableFunc(t.Rows, func(a, b Row) int { return cmp.Compare(a.Step.Seq, b.Step.Seq) })
	t.Lack = t.lack(rows, count)
	for i := range t.Rows {
		r := &t.Rows[i]
		if part, ok := open[r.Step.Seq]; ok {
			t.Bad = append(t.Bad, r.bad("of its parts only the first %d are in the table; export it again", part))
		}
		was := r.Step
		r.Was, r.Step.Body = &was, asked(was.Body)
	}
	return t, nil
}

func (r TableRow) where() string { return BadRow{File: r.File, Line: r.Line}.where() }

// checkColumns refuses a table whose columns are not those that Tables gives its
// kind: what is dropped without a word is lost to every verdict.
func (r TableRow) checkColumns() error {
	body := medium.NewBody(medium.Kind(r.Cells["kind"]))
	if body == nil {
		return nil // the row is refused
	}
	want := append(slices.Clone(envelopeColumns), columnsOf(reflect.TypeOf(body).Elem(), "")...)
	has := slices.Sorted(maps.Keys(r.Cells))
	not := func(in []string) func(string) bool { return func(c string) bool { return slices.Contains(in, c) } }
	unknown, missing := slices.DeleteFunc(slices.Clone(has), not(want)), slices.DeleteFunc(want, not(has))
	file := cmp.Or(r.File, "the table")
	lacks := "its column " + strings.Join(missing, ", ")
	e := &medium.InputError{Field: "column of " + file}
	switch {
	case len(unknown) > 0 && len(missing) > 0:
		e.Value, e.Want = unknown[0], lacks+"; did you mean that?"
	case len(unknown) > 0:
		e.Value, e.Want = unknown[0], "only the columns that export wrote; take it out"
	case len(missing) > 0:
		e.Value, e.Want = strings.Join(has, ", "), lacks+", too; export the tables again"
	default:
		return nil
	}
	return e
}

// lack says which records of the ledger are in none of the tables: a verdict rests
// on all of them. It names the tables that those at hand rest on.
func (t Tabled) lack(rows []TableRow, count string) error {
	want, _ := strconv.ParseUint(count, 10, 64)
	have := map[uint64]bool{}
	void, added, policies := map[stepName]bool{}, map[medium.Code]bool{}, 0
	for _, r := range t.Rows {
		have[r.Step.Seq] = true
		switch b := r.Step.Body.(type) {
		case *medium.Correct:
			void[stepName{r.Step.Mat, b.MatSeq}] = true
		case *medium.Add:
			added[r.Step.Mat] = true
		case *medium.PolicyChange:
			policies++
		}
	}
	for _, r := range rows { // those that are bad are there
		if seq, err := strconv.ParseUint(r.Cells["seq"], 10, 64); err == nil {
			have[seq] = true
		}
	}
	e := &LackError{Want: want, Missing: max(want, uint64(len(have))) - uint64(len(have))}
	need := map[string]bool{}
	for _, r := range rows {
		seq, _ := strconv.ParseUint(r.Cells["mat_seq"], 10, 64)
		mat := medium.Code(r.Cells["mat"])
		version, _ := strconv.Atoi(r.Cells["policy"])
		need["add.csv"] = need["add.csv"] || mat != medium.FarmThread && !added[mat]
		need["correct.csv"] = need["correct.csv"] || r.Cells["voided"] != "" && !void[stepName{mat, seq}]
		need["policy.csv"] = need["policy.csv"] || version > policies
	}
	for _, name := range slices.Sorted(maps.Keys(need)) {
		if need[name] {
			e.Tables = append(e.Tables, name)
		}
	}
	if e.Missing == 0 && len(e.Tables) == 0 {
		return nil
	}
	return e
}

// LackError refuses tables that are not all of an export.
type LackError struct {
	Want, Missing uint64   // records
	Tables        []string // that others rest on, and that lack records
}

func (e *LackError) Error() string {
	var why []string
	if e.Missing > 0 {
		why = append(why, fmt.Sprintf("%d of the %d records of that ledger are in none of these tables", e.Missing, e.Want))
	}
	if len(e.Tables) > 0 {
		why = append(why, fmt.Sprintf("some records rest on others in %s that are not as export wrote them",
			strings.Join(e.Tables, " and ")))
	}
	return strings.Join(why, ", and ") + "; import the whole folder as it was exported"
}

// asked is a body as it was before it was admitted: what the solution's reading
// gave, it gives again.
func asked(body medium.Body) medium.Body {
	b, ok := body.(*medium.Sanitize)
	if !ok {
		return body
	}
	done := *b
	if !b.TempAt.IsZero() {
		done.TempC, done.TempAt = nil, time.Time{}
	}
	if !b.PHAt.IsZero() {
		done.PH, done.PHAt = nil, time.Time{}
	}
	return &done
}

// otherwise says where a step that was recorded is not what its row says; empty
// where it is. Positions in the ledger are counted anew.
func otherwise(was, got medium.Step) string {
	a, b := was.Outcome, got.Outcome
	switch {
	case a.Policy != b.Policy:
		return fmt.Sprintf("it was judged by version %d of the policy, and would be by version %d here: "+
			"import the tables into a ledger that was just begun", a.Policy, b.Policy)
	case a.Accepted && !b.Accepted:
		return "it was accepted, and would not be here: " + missed(got)
	case b.Accepted && !a.Accepted:
		return "it was not accepted, and would be here"
	case a.From != b.From || a.To != b.To:
		return fmt.Sprintf("it took the mat from %q to %q, and would from %q to %q here", a.From, a.To, b.From, b.To)
	case a.Late != b.Late:
		return fmt.Sprintf("whether it was written down late was %t, and would be %t here", a.Late, b.Late)
	case !was.At.Equal(got.At) || !was.Seen.Equal(got.Seen) || was.Day != got.Day:
		return "its time would be another here: " + got.At.Format(time.RFC3339) + "; give this ledger the other's time zone"
	}
	v, w := reflect.ValueOf(was.Body).Elem(), reflect.ValueOf(got.Body).Elem()
	names := columnsOf(v.Type(), "")
	for part := range partsOf(v) {
		old, now := cellsOf(v, part), cellsOf(w, part)
		for i, name := range names {
			if old[i] != now[i] && !strings.HasSuffix(name, ".seq") {
				return fmt.Sprintf("its %s is %q, and would be %q here", name, old[i], now[i])
			}
		}
	}
	return ""
}

// addParts puts the list of one row's body behind that of another.
func addParts(to, from medium.Body) error {
	a, b := reflect.ValueOf(to).Elem(), reflect.ValueOf(from).Elem()
	if a.Type() == b.Type() {
		for i := range a.NumField() {
			if _, ok := listOf(a.Field(i).Type()); ok {
				a.Field(i).Set(reflect.AppendSlice(a.Field(i), b.Field(i)))
				return nil
			}
		}
	}
	return errors.New("its record has another kind in a row before it")
}

func stepOfRow(cells map[string]string) (medium.Step, error) {
	for name, cell := range cells {
		cells[name] = unguarded(cell)
	}
	s := medium.Step{Mat: medium.Code(cells["mat"]), By: cells["by"], SentBy: cells["sent_by"],
		Kind: medium.Kind(cells["kind"])}
	s.Body = medium.NewBody(s.Kind)
	if s.Body == nil {
		return s, &NewerError{What: fmt.Sprintf("a step of kind %q", s.Kind)}
	}
	to := map[string]any{"seq": &s.Seq, "mat_seq": &s.MatSeq, "replaces": &s.Replaces,
		"happened_at": &s.At, "recorded_at": &s.Recorded, "day_only": &s.Day, "seen_at": &s.Seen,
		"accepted": &s.Outcome.Accepted, "from": &s.Outcome.From, "to": &s.Outcome.To,
		"late": &s.Outcome.Late, "policy": &s.Outcome.Policy}
	for _, name := range slices.Sorted(maps.Keys(to)) {
		if err := readCell(reflect.ValueOf(to[name]).Elem(), name, cells[name]); err != nil {
			return s, err
		}
	}
	if s.Seq == 0 || s.MatSeq == 0 || s.At.IsZero() || s.Recorded.IsZero() || cells["ledger"] == "" {
		return s, errors.New("it has no number (seq, mat_seq), no time (happened_at, recorded_at) or no ledger; " +
			"export it again")
	}
	_, err := readCells(reflect.ValueOf(s.Body).Elem(), "", cells)
	return s, err
}

// readCells fills a body from the cells of its columns, and says whether any
// was filled.
func readCells(v reflect.Value, prefix string, cells map[string]string) (any bool, err error) {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		if !field.IsExported() {
			continue
		}
		f := v.Field(i)
		name, _, _ := strings.Cut(field.Tag.Get("json"), ",")
		name = prefix + name
		filled := false
		if list, ok := listOf(f.Type()); ok && prefix != "" {
			continue
		} else if ok {
			part := reflect.New(list.Elem()).Elem()
			if filled, err = readCells(part, prefix, cells); filled {
				f.Set(reflect.Append(f, part))
			}
		} else if part, ok := partOf(f.Type()); ok {
			one := reflect.New(part)
			if filled, err = readCells(one.Elem(), name+".", cells); filled && f.Kind() == reflect.Pointer {
				f.Set(one)
			} else if filled {
				f.Set(one.Elem())
			}
		} else if filled = cells[name] != ""; filled {
			if f.Kind() == reflect.Pointer {
				f.Set(reflect.New(f.Type().Elem()))
			}
			err = readCell(reflect.Indirect(f), name, cells[name])
		}
		if err != nil {
			return any, err
		}
		any = any || filled
	}
	return any, nil
}

func readCell(v reflect.Value, name, cell string) (err error) {
	if cell == "" {
		return nil
	}
	switch v.Kind() {
	case reflect.String:
		v.SetString(cell)
	case reflect.Bool:
		var on bool
		on, err = strconv.ParseBool(strings.ToLower(cell)) // a spreadsheet writes TRUE
		v.SetBool(on)
	case reflect.Int:
		var n int64
		n, err = strconv.ParseInt(cell, 10, 64)
		v.SetInt(n)
	case reflect.Uint64:
		var n uint64
		n, err = strconv.ParseUint(cell, 10, 64)
		v.SetUint(n)
	case reflect.Float64:
		var x float64
		x, err = strconv.ParseFloat(cell, 64)
		v.SetFloat(x)
	case reflect.Slice:
		v.Set(reflect.ValueOf(strings.Fields(cell)))
	case reflect.Struct:
		var t time.Time
		t, err = time.Parse(time.RFC3339, cell)
		v.Set(reflect.ValueOf(t))
	default:
		panic("store: a field of a body that a table can't hold: " + name)
	}
	if err != nil {
		return fmt.Errorf("%s %q is not as the export wrote it; a spreadsheet may have changed it: "+
			"export again, and import the file as it is", name, cell)
	}
	return nil
}
