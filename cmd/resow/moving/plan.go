package moving

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"resow/medium"
	"resow/store"
)

// What a file holds.
const (
	Mats  = "mats"
	Steps = "steps"
)

// Options are what the person says about the file, and what the farm knows.
type Options struct {
	What     string            // mats or steps; empty: find out
	Map      map[string]string // column or field: what it is, see say
	Set      map[string]string // field: value for every row without one
	Skip     string            // lines to leave out: 3,12-15
	By       string            // initials for rows that name nobody
	Location *time.Location
	US       bool
	Now      time.Time
	Find     func(text string) (medium.Code, bool) // a mat by its code
	Valid    func(text string) (medium.Code, bool) // a code that is well formed, on file or not
	Draw     func() (medium.Code, error)           // a fresh code
	Farm     medium.Farm
}

// Column says how one column is read.
type Column struct {
	Head  string `json:"column"`
	Field string `json:"field"` // empty: it is left out
	Unit  string `json:"unit,omitempty"`
	Guess string `json:"guess,omitempty"` // what was guessed about it, with an example
}

// Question is what can be read in two ways. Nothing is recorded before it is
// answered with one of its options.
type Question struct {
	Column string   `json:"column"`
	Text   string   `json:"text"` // with an example in each reading
	Say    []string `json:"say"`  // options, one for each reading
}

// Plan is a file as it will be imported.
type Plan struct {
	What      string         `json:"what"`
	Columns   []Column       `json:"columns"`
	Dates     string         `json:"dates"`
	Guesses   []string       `json:"guesses"`   // to be confirmed
	Questions []Question     `json:"questions"` // to be answered; no rows are made before
	Bad       []store.BadRow `json:"bad_rows"`
	Rows      []store.Row    `json:"-"`
	Count     int            `json:"rows"` // of the file
	Notes     []string       `json:"notes"`
	Ledger    string         `json:"-"` // of tables of resow's own export: whose they are
	Lack      error          `json:"-"` // of such tables: why they are not all of it
}

// Make finds out what the columns mean and makes the steps. A row that can't be
// read is listed, and the others are read all the same.
func Make(t Table, o Options) (Plan, error) {
	p := &planner{Options: o, table: &t, at: map[string]int{}, said: map[string]saying{}, notes: map[string]int{}}
	if err := p.sayings(); err != nil {
		return Plan{}, err
	}
	if err := t.findHead(p.knows); err != nil {
		return Plan{}, err
	}
	if IsOwn(t) {
		return Own([]string{""}, []Table{t})
	}
	if err := p.skip(); err != nil {
		return Plan{}, err
	}
	p.plan.Notes, p.plan.Guesses, p.plan.Count = t.Notes, slices.Clone(t.Guesses), len(t.Rows)
	if err := p.columns(); err != nil {
		return Plan{}, err
	}
	if err := p.kindOfFile(); err != nil {
		return Plan{}, err
	}
	p.fillDown()
	p.askUnits()
	p.askMarks()
	p.askDates()
	if len(p.plan.Questions) == 0 {
		p.rows()
	}
	return p.plan, nil
}

type planner struct {
	Options
	table *Table
	plan  Plan
	at    map[string]int    // field: column
	said  map[string]saying // column, in one spelling: what the person said of it
	notes map[string]int    // guess about cells: how often
}

// saying is what is known about a column: the words behind --map COLUMN=.
type saying struct {
	leave bool
	field string
	unit  string // of bare numbers
	mark  string // decimal mark
	order string // of dates
	year  int    // of dates without one
	down  bool   // an empty cell is as the one above it
}

const sayingWords = "a field, a unit (g, min), point or comma, dmy, mdy or ymd, a year, down for gaps; with " +
	"commas between them; or - to leave the column out"

// say reads the words behind --map COLUMN=.
func say(column, words string) (s saying, err error) {
	once := func(to *string, word string) {
		if *to != "" && *to != word {
			err = &Error{"--map " + column, *to + "," + word, "one of the two"}
		}
		*to = word
	}
	for word := range strings.SplitSeq(words, ",") {
		word = strings.TrimSpace(word)
		year, _ := strconv.Atoi(word)
		f, isField := fieldNamed(word)
		unit, isUnit := unitNamed(word)
		switch {
		case word == "-":
			s.leave = true
		case word == point || word == comma:
			once(&s.mark, word)
		case word == DMY || word == MDY || word == YMD:
			once(&s.order, word)
		case word == "down":
			s.down = true
		case year >= 1990 && year <= 2200:
			s.year = year
		case isField:
			once(&s.field, f.word)
		case isUnit:
			once(&s.unit, unit)
		default:
			return s, &Error{"--map " + column, word, sayingWords + "; the fields are " + strings.Join(FieldNames(), ", ")}
		}
	}
	return s, err
}

func (p *planner) sayings() error {
	for _, column := range slices.Sorted(maps.Keys(p.Map)) {
		words := p.Map[column]
		s, err := say(column, words)
		if err != nil {
			return err
		}
		p.said[plain(column)] = s
	}
	set := map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(p.Set)) {
		f, ok := fieldNamed(name)
		if !ok {
			return &Error{"--set", name, "one of " + strings.Join(FieldNames(), ", ")}
		}
		if _, twice := set[f.word]; twice {
			return &Error{"--set", name, "each field once; " + f.word + " has another value already"}
		}
		set[f.word] = p.Set[name]
	}
	p.Set = set
	return nil
}

// knows says whether a head names a field, or the person named it.
func (p *planner) knows(head string) bool {
	if s, ok := p.said[plain(head)]; ok {
		return s.field != "" || !s.leave
	}
	_, _, known := recognise(head)
	return known
}

// skip takes out the lines that the person leaves out.
func (p *planner) skip() error {
	if p.Skip == "" {
		return nil
	}
	for part := range strings.SplitSeq(p.Skip, ",") {
		from, to, isRange := strings.Cut(strings.TrimSpace(part), "-")
		a, err := strconv.Atoi(from)
		b := a
		if isRange && err == nil {
			b, err = strconv.Atoi(to)
		}
		before := len(p.table.Rows)
		p.table.Rows = slices.DeleteFunc(p.table.Rows, func(l Line) bool { return l.N >= a && l.N <= b })
		if err != nil || before == len(p.table.Rows) {
			return &Error{"--skip", part, "lines that hold rows, such as 3,12-15"}
		}
	}
	return nil
}

func (p *planner) columns() error {
	used := map[string]bool{}
	for i, head := range p.table.Columns {
		c := Column{Head: head}
		s := p.said[plain(head)]
		f, unit, known := recognise(head)
		if _, ok := p.said[plain(head)]; ok {
			used[plain(head)] = true
		} else if byField, ok := p.said[f.word]; ok && known {
			s, used[f.word] = byField, true
		}
		if s.field != "" {
			g, _ := fieldNamed(s.field)
			if _, unit = unitInHead(head, g.of); g.word != f.word && len(units[g.of]) == 0 {
				unit = ""
			}
			f, known = g, true
		}
		if s.leave || !known {
			if !s.leave && p.numbers(i) {
				p.ask(head, "resow does not know this name, and the column holds numbers: say what they are, "+
					"with the unit of bare numbers and, where it is not plain, the decimal mark (yield,g,comma); "+
					"a row is one mat, or one step of one mat",
					fmt.Sprintf("--map %q", head+"=FIELD"), fmt.Sprintf("--map %q", head+"=-"))
			} else if !s.leave && p.anything(i) {
				c.Guess = "resow does not know this name: the column is left out (say what it is with --map \"" + head + "=FIELD\")"
				p.plan.Guesses = append(p.plan.Guesses, fmt.Sprintf("column %q: %s", head, c.Guess))
			}
			p.plan.Columns = append(p.plan.Columns, c)
			continue
		}
		if other, twice := p.at[f.word]; twice {
			p.ask(head, fmt.Sprintf("it and the column %q both read as %s; leave one out, or say what else it is",
				p.table.Columns[other], f.word),
				fmt.Sprintf("--map %q", head+"=-"), fmt.Sprintf("--map %q", p.table.Columns[other]+"=-"),
				fmt.Sprintf("--map %q", head+"=FIELD"))
			p.plan.Columns = append(p.plan.Columns, c)
			continue
		}
		for _, u := range []string{unit, s.unit} {
			if u != "" && f.of != number && f.of != text && !slices.Contains(units[f.of], u) {
				return &Error{"unit of the column " + head, u, "one of " + strings.Join(units[f.of], ", ")}
			}
		}
		if s.unit == "" {
			s.unit = unit
		}
		if len(units[f.of]) == 1 {
			s.unit = units[f.of][0]
		}
		p.at[f.word], c.Field, c.Unit = i, f.word, s.unit
		if s.field == "" && plain(head) != f.word && unit == "" {
			c.Guess = "read as " + f.word
			p.plan.Guesses = append(p.plan.Guesses, fmt.Sprintf("column %q is read as %s", head, f.word))
		}
		s.field = f.word
		p.said[f.word] = s
		p.plan.Columns = append(p.plan.Columns, c)
	}
	for _, column := range slices.Sorted(maps.Keys(p.Map)) {
		if !used[plain(column)] {
			return &Error{"--map", column, "a column of the file: " + strings.Join(p.table.Columns, ", ")}
		}
	}
	return nil
}

// recognise finds the field that a head names, with or without a unit.
func recognise(head string) (f field, unit string, known bool) {
	if f, ok := fieldNamed(head); ok {
		if u, ok := unitNamed(head); ok && slices.Contains(units[f.of], u) {
			return f, u, true
		}
		return f, "", true
	}
	if m := headUnit().FindStringSubmatch(plain(head)); m != nil {
		if f, ok := fieldNamed(m[1]); ok {
			_, unit := unitInHead(head, f.of)
			return f, unit, true
		}
	}
	for _, f := range fields() {
		if name, unit := unitInHead(head, f.of); unit != "" {
			if g, ok := fieldNamed(name); ok && g.word == f.word {
				return f, unit, true
			}
		}
	}
	return field{}, "", false
}

// anything says whether a column holds anything.
func (p *planner) anything(column int) bool {
	return slices.ContainsFunc(p.table.Rows, func(r Line) bool { return r.Bad == "" && r.Cells[column] != "" })
}

// numbers says whether a column holds numbers and nothing else.
func (p *planner) numbers(column int) bool {
	return p.anything(column) && !slices.ContainsFunc(p.table.Rows, func(r Line) bool {
		w, ok := parseNumber(r.Cells[column])
		_, _, one := w.mark()
		return r.Bad == "" && r.Cells[column] != "" && (!ok || !one || w.after != "")
	})
}

func (p *planner) has(names ...string) bool {
	return slices.ContainsFunc(names, func(n string) bool {
		_, column := p.at[n]
		_, set := p.Set[n]
		return column || set
	})
}

func (p *planner) kindOfFile() error {
	p.plan.What = p.What
	switch {
	case p.What != "" && p.What != Mats && p.What != Steps:
		return &Error{"--what", p.What, "mats or steps"}
	case p.What == "" && p.has("kind"):
		p.plan.What = Steps
	case p.What == "":
		p.plan.What = Mats
		if !p.has("size", "length", "width") {
			p.ask("", "no column says what was done to a mat, and none gives a mat's size",
				`--set kind=harvest`, `--map "COLUMN=kind"`, `--map "COLUMN=size"`)
			return nil
		}
		p.plan.Guesses = append(p.plan.Guesses, "no column says what kind of step a row is: each row is a mat (--what mats)")
	}
	if p.plan.What == Steps && !p.has("mat", "mark") {
		p.ask("", "no column names the mat of a step", `--map "COLUMN=mat"`)
	}
	if p.plan.What == Steps && !p.has("at") {
		p.ask("", "no column says when a step was done", `--map "COLUMN=at"`, "--set at=2026-01-05")
	}
	return nil
}

func (p *planner) ask(column, text string, say ...string) {
	p.plan.Questions = append(p.plan.Questions, Question{Column: column, Text: text, Say: say})
}

// cells gives what stands in a field's column, without what the file itself
// says is a number, unless all is wanted.
func (p *planner) cells(name string, all bool) (out []string) {
	i, ok := p.at[name]
	if !ok {
		return nil
	}
	for _, r := range p.table.Rows {
		if c := r.Cells[i]; r.Bad == "" && c != "" && !isMark(c, nothing) && (all || !r.Exact[i]) {
			out = append(out, c)
		}
	}
	return out
}

// fillDown fills the gaps of the columns of which the person said so.
func (p *planner) fillDown() {
	for _, name := range slices.Sorted(maps.Keys(p.at)) {
		i := p.at[name]
		if !p.said[name].down {
			continue
		}
		above, n := "", 0
		for _, r := range p.table.Rows {
			if r.Bad != "" {
				continue
			}
			if c := r.Cells[i]; c != "" && !isMark(c, ditto) {
				above = c
			} else if above != "" {
				r.Cells[i] = above
				n++
			}
		}
		p.plan.Guesses = append(p.plan.Guesses, fmt.Sprintf("column %q: gaps are filled with the cell above (%s)",
			p.table.Columns[i], rowsOf(n)))
	}
}

// readingsOf are the two units between which a bare number stands, that of the
// farm's own first.
func readingsOf(f field, us bool) [2]string {
	two := map[medium.Measure][2]string{length: {"mm", "in"}, mass: {"g", "oz"}, volume: {"ml", "floz"},
		temperature: {"c", "f"}, strength: {"ppm", "%"}, span: {"min", "s"}}[f.of]
	if f.word == "for" {
		two = [2]string{"h", "min"}
	}
	if us && f.of != strength && f.of != span {
		two[0], two[1] = two[1], two[0]
	}
	return two
}

// askUnits asks for the unit of bare numbers: each could be in another one.
func (p *planner) askUnits() {
	for _, c := range p.plan.Columns {
		f, ok := fieldNamed(c.Field)
		if !ok || len(units[f.of]) < 2 || c.Unit != "" {
			continue
		}
		least, most := "", ""
		for _, cell := range p.cells(f.word, true) {
			if w, ok := parseNumber(cell); !ok || strings.TrimSpace(w.after) != "" {
				continue
			}
			if v := value(cell); least == "" || v < value(least) {
				least = cell
			}
			if most == "" || value(cell) > value(most) {
				most = cell
			}
		}
		if least == "" {
			continue
		}
		u := readingsOf(f, p.US)
		text := fmt.Sprintf("no unit is given: %q is %s %s or %s %s", least, least, u[0], least, u[1])
		if most != least {
			text += fmt.Sprintf(", and %q too", most)
		}
		p.ask(c.Head, text+"; where they differ, write the unit into the cells", p.option(c.Head, u[0]),
			p.option(c.Head, u[1]))
	}
}

func value(cell string) float64 {
	v, _ := strconv.ParseFloat(canonical(cell, ""), 64)
	return v
}

// option is a --map to copy, with what was said of the column before.
func (p *planner) option(head, word string) string {
	for _, column := range slices.Sorted(maps.Keys(p.Map)) {
		words := p.Map[column]
		f, _, _ := recognise(head)
		if plain(column) == plain(head) || plain(column) == f.word {
			return fmt.Sprintf("--map %q", column+"="+words+","+word)
		}
	}
	return fmt.Sprintf("--map %q", head+"="+word)
}

// askMarks settles the decimal mark of each column of numbers: by the column's
// own cells, else by the other columns', else it asks.
func (p *planner) askMarks() {
	var all evidence
	columns := map[string]evidence{}
	for _, name := range slices.Sorted(maps.Keys(p.at)) {
		f, _ := fieldNamed(name)
		if f.of == text || f.of == yesNo {
			continue
		}
		var own evidence
		for _, c := range p.cells(name, false) {
			own.look(c)
			all.look(c)
		}
		columns[name] = own
	}
	for i, c := range p.plan.Columns {
		own, ok := columns[c.Field]
		s := p.said[c.Field]
		if !ok || own.open == "" || s.mark != "" {
			continue
		}
		w, _ := parseNumber(own.open)
		mark, by := own.one(), own.sure[own.one()]
		if len(own.sure) == 0 {
			mark, by = all.one(), all.sure[all.one()]
		}
		if mark == "" {
			p.ask(c.Head, fmt.Sprintf("%q is %s or %s", own.open, w.as(point, c.Unit), w.as(comma, c.Unit)),
				p.option(c.Head, point), p.option(c.Head, comma))
			continue
		}
		s.mark = mark
		p.said[c.Field] = s
		p.plan.Columns[i].Guess = fmt.Sprintf("decimal %s", mark)
		p.plan.Guesses = append(p.plan.Guesses,
			fmt.Sprintf("column %q: %q is read as %s, since %q has a decimal %s (say it with %s)",
				c.Head, own.open, w.as(mark, c.Unit), by, mark, p.option(c.Head, mark)))
	}
}

// askDates settles the order of day, month and year by the dates that have one
// reading, else it asks.
func (p *planner) askDates() {
	s := p.said["at"]
	cells := p.cells("at", true)
	if _, set := p.Set["at"]; set && len(cells) == 0 {
		cells = []string{p.Set["at"]}
	}
	p.plan.Dates = s.order
	if s.order != "" || len(cells) == 0 {
		return
	}
	head := ""
	if i, ok := p.at["at"]; ok {
		head = p.table.Columns[i]
	}
	fit, shown := orders(cells, s.year)
	for _, c := range cells {
		all := readings(c, s.year)
		if len(all) < 2 && shown == "" || len(fit) > 0 && len(all) > 0 && all[0].order == "" {
			continue
		}
		var here []reading
		for _, r := range all {
			if (len(fit) == 0 || slices.Contains(fit, r.order)) &&
				!slices.ContainsFunc(here, func(o reading) bool { return o.String() == r.String() }) {
				here = append(here, r)
			}
		}
		if len(here) > 1 {
			text, say := "every date could be read in two ways", []string{}
			if len(fit) == 0 {
				text = "no one order of day and month fits every date"
			}
			for i, r := range here {
				text += map[bool]string{true: fmt.Sprintf(": %q is ", c), false: " or "}[i == 0] + r.String()
				if head == "" {
					say = append(say, fmt.Sprintf("--set at=%04d-%02d-%02d", r.y, r.m, r.d))
					continue
				}
				say = append(say, p.option(head, r.order))
			}
			p.ask(head, text, say...)
			return
		}
	}
	if len(fit) > 0 && shown != "" {
		p.plan.Dates = fit[0]
		p.plan.Guesses = append(p.plan.Guesses,
			fmt.Sprintf("dates are read as %s, since %q fits no other order (say it with %s)", fit[0], shown,
				p.option(head, fit[0])))
	} else if len(fit) > 0 && slices.ContainsFunc(cells, func(c string) bool { return len(readings(c, s.year)) > 1 }) {
		p.plan.Dates = fit[0] // 3.3.2026 is the same day in both
	}
}

// rows makes a step of every row.
func (p *planner) rows() {
	seen := map[string]int{}
	for _, line := range p.table.Rows {
		bad := func(err error) {
			p.plan.Bad = append(p.plan.Bad, store.BadRow{Line: line.N, Text: err.Error(), Err: err})
		}
		if line.Bad != "" {
			bad(fmt.Errorf("%s", line.Bad))
			continue
		}
		r := &row{planner: p, cells: map[string]string{}, raw: map[string]string{}, used: map[string]bool{}}
		for name, i := range p.at {
			r.raw[name] = line.Cells[i]
			r.cells[name] = p.cell(name, line.Cells[i], line.Exact[i])
		}
		for name, value := range p.Set {
			if r.cells[name] == "" {
				r.cells[name], r.raw[name] = value, value
			}
		}
		made, err := r.make()
		if err != nil {
			bad(err)
			continue
		}
		made.Line = line.N
		made.Token = r.token(seen)
		p.plan.Rows = append(p.plan.Rows, made)
	}
	if p.plan.What == Steps { // a mat's steps go forward in time
		sort.SliceStable(p.plan.Rows, func(i, j int) bool { return p.plan.Rows[i].Step.At.Before(p.plan.Rows[j].Step.At) })
	}
	var notes []string
	for note, n := range p.notes {
		notes = append(notes, note+" ("+rowsOf(n)+")")
	}
	sort.Strings(notes)
	p.plan.Guesses = append(p.plan.Guesses, notes...)
}

// cell is a cell as it is read: with a decimal point, and empty where a dash
// stands for nothing.
func (p *planner) cell(name, said string, exact bool) string {
	f, _ := fieldNamed(name)
	switch {
	case f.of == text && name != "at" && name != "time":
		return said
	case isMark(said, nothing):
		return ""
	case exact || f.of == text || f.of == yesNo:
		return said
	}
	return canonical(said, p.said[name].mark)
}

// token names a row by what it says, and by how many rows before it say the
// same: so it is the same in the next run, also when rows were added.
func (r *row) token(seen map[string]int) string {
	said := map[string]string{"what": r.plan.What}
	for name, cell := range r.raw {
		if cell != "" {
			said[name] = cell
		}
	}
	key, err := json.Marshal(said) // sorted by name
	if err != nil {
		panic("moving: a map of texts can't be encoded: " + err.Error())
	}
	seen[string(key)]++
	sum := sha256.Sum256(fmt.Appendf(key, "\n%d", seen[string(key)]))
	return fmt.Sprintf("import-%x", sum[:12])
}

func rowsOf(n int) string {
	if n == 1 {
		return "1 row"
	}
	return fmt.Sprintf("%d rows", n)
}
