package moving

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"sort"
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

// field is one thing that a column can mean.
type field struct {
	name  string
	of    quantity
	other []string // names that other programs and people give it
}

var fields = []field{
	{"mat", text, []string{"code", "tag", "label", "id", "mat id", "mat code", "mat no", "mat number", "mat name or number", "no", "number"}},
	{"mark", text, []string{"mat name", "name", "old id"}},
	{"kind", text, []string{"step", "action", "event", "what", "activity", "what was done", "task", "job", "work", "work done"}},
	{"at", text, []string{"date", "happened at", "date and time", "datetime", "when", "day", "timestamp", "added at", "datum", "bought", "bought on", "date bought", "purchased", "purchase date", "registered", "in use since"}},
	{"time", text, []string{"time of day", "clock", "hour"}},
	{"by", text, []string{"initials", "who", "worker", "person", "done by", "operator", "staff", "employee"}},
	{"form", text, nil},
	{"size", text, []string{"mat size", "dimensions"}},
	{"length", length, []string{"mat length", "cut length"}},
	{"width", length, []string{"mat width"}},
	{"material", text, []string{"mesh", "mesh material", "material of mesh"}},
	{"aperture", length, []string{"opening", "mesh opening", "mesh size", "hole size"}},
	{"thread", length, []string{"thread thickness", "thread diameter", "wire"}},
	{"layers", number, nil},
	{"roll", text, []string{"mesh roll", "sheet"}},
	{"supplier", text, []string{"supplier name", "vendor", "bought from", "maker"}},
	{"contact statement", text, []string{"food contact", "food contact statement"}},
	{"contact date", text, []string{"food contact date", "statement date"}},
	{"cost", number, []string{"price", "unit price", "unit cost", "cost each", "price each"}},
	{"weight", mass, []string{"dry weight"}},
	{"crop", text, []string{"variety", "plant", "crops"}},
	{"seed", mass, []string{"seed mass", "seed weight"}},
	{"lot", text, []string{"crop lot", "batch", "lot no", "lot number", "batch no"}},
	{"seed lot", text, []string{"seed batch", "seed lot no", "seed lot number"}},
	{"place", text, []string{"shelf", "area", "location", "rack"}},
	{"yield", mass, []string{"harvest weight", "fresh weight"}},
	{"cut height", length, nil},
	{"knife touched", yesNo, []string{"knife touched mesh"}},
	{"more cuts", yesNo, []string{"more cuts to come"}},
	{"debris", text, []string{"left on mat", "roots left"}},
	{"detergent", text, []string{"soap"}},
	{"took", span, []string{"minutes", "hands on time"}},
	{"where", text, []string{"spot", "dried in"}},
	{"for", span, []string{"duration", "drying time"}},
	{"product", text, []string{"sanitizer", "sanitiser", "chemical"}},
	{"active", text, []string{"active ingredient"}},
	{"strength", strength, []string{"concentration"}},
	{"contact", span, []string{"contact time", "wet time"}},
	{"temp", temperature, []string{"temperature"}},
	{"ph", number, nil},
	{"sides", text, nil},
	{"method", text, nil},
	{"rinsed", yesNo, []string{"rinsed after"}},
	{"share", percent, []string{"share percent"}},
	{"seen", text, nil},
	{"treated", text, []string{"treatment"}},
	{"water", volume, nil},
	{"through", yesNo, []string{"cut through"}},
	{"test", text, nil},
	{"reading", number, []string{"result"}},
	{"limit", number, nil},
	{"unit", text, nil},
	{"pass", yesNo, []string{"passed"}},
	{"reason", text, []string{"why"}},
	{"cause", text, nil},
	{"note", text, []string{"notes", "comment", "remark"}},
	{"holes", number, nil},
	{"fuzz", yesNo, nil},
	{"smell", yesNo, nil},
	{"mold", yesNo, []string{"mould"}},
	{"fold snaps", yesNo, nil},
	{"dropped", yesNo, []string{"fell", "fell on the floor"}},
	{"no cuts", yesNo, nil},
}

func fieldNamed(name string) (field, bool) {
	p := plain(name)
	for _, f := range fields {
		if f.name == p {
			return f, true
		}
	}
	for _, f := range fields {
		for _, o := range f.other {
			if o == p {
				return f, true
			}
		}
	}
	return field{}, false
}

// FieldNames lists what --map can name.
func FieldNames() []string {
	names := make([]string, len(fields))
	for i, f := range fields {
		names[i] = f.name
	}
	return names
}

// Options are what the person says about the file, and what the farm knows.
type Options struct {
	What     string            // mats or steps; empty: find out
	Map      map[string]string // column: field, or - to leave it out
	Units    map[string]string // field: unit of bare numbers
	Dates    string            // dmy, mdy or ymd; empty: find out
	Set      map[string]string // field: value for every row without one
	By       string            // initials for rows that name nobody
	Location *time.Location
	US       bool
	Now      time.Time
	Find     func(text string) (medium.Code, bool) // a mat by its code
	Valid    func(text string) (medium.Code, bool) // a code that is well formed, on file or not
	Draw     func() (medium.Code, error)           // a fresh code
	Strength func(product, active, text string) (ppm float64, _ error)
}

// Column says how one column is read.
type Column struct {
	Head  string `json:"column"`
	Field string `json:"field"` // empty: it is left out
	Unit  string `json:"unit,omitempty"`
	Guess string `json:"guess,omitempty"` // what was guessed about it, with an example
}

// Plan is a file as it will be imported.
type Plan struct {
	What    string         `json:"what"`
	Columns []Column       `json:"columns"`
	Dates   string         `json:"dates"`
	Guesses []string       `json:"guesses"` // to be confirmed
	Bad     []store.BadRow `json:"bad_rows"`
	Rows    []store.Row    `json:"-"`
}

// Make finds out what the columns mean and makes the steps. A row that can't be
// read is listed, and the others are read all the same.
func Make(t Table, o Options) (Plan, error) {
	p := &planner{Options: o, table: t, at: map[string]int{}, unit: map[string]string{}, notes: map[string]int{}}
	if err := p.columns(); err != nil {
		return Plan{}, err
	}
	if err := p.kindOfFile(); err != nil {
		return Plan{}, err
	}
	p.guessUnits()
	if err := p.dates(); err != nil {
		return Plan{}, err
	}
	p.rows()
	return p.plan, nil
}

type planner struct {
	Options
	table Table
	plan  Plan
	at    map[string]int    // field: column
	unit  map[string]string // field: unit of bare numbers
	notes map[string]int    // guess about cells: how often
}

func (p *planner) columns() error {
	byHead := map[string]string{}
	for head, to := range p.Map {
		byHead[plain(head)] = to
	}
	for i, head := range p.table.Columns {
		c := Column{Head: head}
		to, said := byHead[plain(head)]
		delete(byHead, plain(head))
		f, known := field{}, false
		switch {
		case said && to == "-":
			p.plan.Columns = append(p.plan.Columns, c)
			continue
		case said:
			if f, known = fieldNamed(to); !known {
				return &Error{"field", to, "one of " + strings.Join(FieldNames(), ", ") + ", or - to leave the column out"}
			}
			_, c.Unit = unitInHead(head, f.of)
		default:
			f, c.Unit, known = p.recognise(head)
		}
		if !known {
			if p.anything(i) {
				c.Guess = "its name says nothing to resow: it is left out (say what it is with --map \"" + head + "=FIELD\")"
				p.plan.Guesses = append(p.plan.Guesses, fmt.Sprintf("column %q: %s", head, c.Guess))
			}
			p.plan.Columns = append(p.plan.Columns, c)
			continue
		}
		if other, twice := p.at[f.name]; twice {
			return &Error{"column", head, fmt.Sprintf("one column for %s; %q is one already (leave one out with --map \"%s=-\")", f.name, p.table.Columns[other], head)}
		}
		if c.Unit != "" && len(units[f.of]) > 0 && !contains(units[f.of], c.Unit) {
			return &Error{"unit of the column " + head, c.Unit, "one of " + strings.Join(units[f.of], ", ")}
		}
		p.at[f.name] = i
		c.Field = f.name
		p.unit[f.name] = c.Unit
		if !said && plain(head) != f.name && c.Unit == "" {
			c.Guess = "read as " + f.name
			p.plan.Guesses = append(p.plan.Guesses, fmt.Sprintf("column %q is read as %s", head, f.name))
		}
		p.plan.Columns = append(p.plan.Columns, c)
	}
	for head := range byHead {
		return &Error{"--map", head, "a column of the file: " + strings.Join(p.table.Columns, ", ")}
	}
	for name := range p.Units {
		if f, ok := fieldNamed(name); !ok || !contains(units[f.of], strings.ToLower(p.Units[name])) {
			return &Error{"--unit", name + "=" + p.Units[name], "a field with a unit, such as yield=oz, length=in or contact=min"}
		}
	}
	for name := range p.Set {
		if _, ok := fieldNamed(name); !ok {
			return &Error{"--set", name, "one of " + strings.Join(FieldNames(), ", ")}
		}
	}
	return nil
}

func contains(list []string, s string) bool {
	for _, l := range list {
		if l == s {
			return true
		}
	}
	return false
}

// recognise finds the field that a head names, with or without a unit.
func (p *planner) recognise(head string) (field, string, bool) {
	if f, ok := fieldNamed(head); ok {
		return f, "", true
	}
	if m := headUnit().FindStringSubmatch(plain(head)); m != nil {
		if f, ok := fieldNamed(m[1]); ok {
			return f, strings.ReplaceAll(m[2], " ", ""), true
		}
	}
	for _, f := range fields {
		if name, unit := unitInHead(head, f.of); unit != "" {
			if g, ok := fieldNamed(name); ok && g.name == f.name {
				return f, unit, true
			}
		}
	}
	return field{}, "", false
}

// anything says whether a column holds anything.
func (p *planner) anything(column int) bool {
	for _, r := range p.table.Rows {
		if r.Bad == "" && r.Cells[column] != "" {
			return true
		}
	}
	return false
}

func (p *planner) kindOfFile() error {
	_, kind := p.at["kind"]
	_, set := p.Set["kind"]
	p.plan.What = p.What
	switch {
	case p.What != "" && p.What != Mats && p.What != Steps:
		return &Error{"--what", p.What, "mats or steps"}
	case p.What == "" && (kind || set):
		p.plan.What = Steps
	case p.What == "":
		p.plan.What = Mats
		p.plan.Guesses = append(p.plan.Guesses, "no column says what kind of step a row is: each row is a mat (--what mats)")
	}
	return nil
}

// cells gives what stands in a field's column.
func (p *planner) cells(name string) (out []string) {
	i, ok := p.at[name]
	if !ok {
		return nil
	}
	for _, r := range p.table.Rows {
		if r.Bad == "" && r.Cells[i] != "" {
			out = append(out, r.Cells[i])
		}
	}
	return out
}

func (p *planner) guessUnits() {
	for name, u := range p.Units {
		f, _ := fieldNamed(name)
		p.unit[f.name] = strings.ToLower(u)
	}
	for i, c := range p.plan.Columns {
		f, ok := fieldNamed(c.Field)
		if !ok || len(units[f.of]) == 0 {
			continue
		}
		var numbers []string
		for _, cell := range p.cells(f.name) {
			if bare(cell) {
				numbers = append(numbers, cell)
			}
		}
		if len(numbers) > 0 && p.unit[f.name] == "" {
			p.unit[f.name] = guessUnit(f, numbers, p.US)
			guess := fmt.Sprintf("no unit is given: %q is read as %s %s", numbers[0], numbers[0], p.unit[f.name])
			p.plan.Columns[i].Guess = strings.TrimPrefix(p.plan.Columns[i].Guess+"; "+guess, "; ")
			p.plan.Guesses = append(p.plan.Guesses, fmt.Sprintf("column %q: %s (say it with --unit %s=%s)", c.Head, guess, f.name, p.unit[f.name]))
		}
		p.plan.Columns[i].Unit = p.unit[f.name]
	}
}

func (p *planner) dates() error {
	cells := p.cells("at")
	switch p.Dates {
	case DMY, MDY, YMD:
		p.plan.Dates = p.Dates
		return nil
	case "":
	default:
		return &Error{"--dates", p.Dates, "dmy, mdy or ymd"}
	}
	units := ""
	if p.US {
		units = "us"
	}
	order, guessed := dateOrder(cells, units)
	p.plan.Dates = order
	if guessed {
		example := cells[0]
		if y, m, d, _, err := day(example, order); err == nil {
			example = fmt.Sprintf("%q is read as %d %s %d", example, d, m, y)
		}
		why := "every date could be read in two ways"
		if !fitsAll(cells, DMY) && !fitsAll(cells, MDY) {
			why = "no one order of day and month fits every date"
		}
		p.plan.Guesses = append(p.plan.Guesses, fmt.Sprintf("%s: %s (say it with --dates %s)", why, example, order))
	}
	return nil
}

// rows makes a step of every row.
func (p *planner) rows() {
	seen := map[string]int{}
	for _, line := range p.table.Rows {
		bad := func(err error) {
			p.plan.Bad = append(p.plan.Bad, store.BadRow{Line: line.N, Text: err.Error()})
		}
		if line.Bad != "" {
			bad(fmt.Errorf("%s", line.Bad))
			continue
		}
		r := &row{planner: p, cells: map[string]string{}, used: map[string]bool{}}
		for name, i := range p.at {
			r.cells[name] = line.Cells[i]
		}
		for name, value := range p.Set {
			f, _ := fieldNamed(name)
			if r.cells[f.name] == "" {
				r.cells[f.name] = value
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

// token names a row by what it says, and by how many rows before it say the
// same: so it is the same in the next run, also when rows were added.
func (r *row) token(seen map[string]int) string {
	said := map[string]string{"what": r.plan.What}
	for name, cell := range r.cells {
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
