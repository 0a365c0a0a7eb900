package moving

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"resow/cmd/resow/amount"
	"resow/cmd/resow/farm"
	"resow/medium"
	"resow/store"
)

// row is one row while its step is made. Every cell that is used is marked, so
// that none is dropped unseen.
type row struct {
	*planner
	cells map[string]string // by field, numbers with a decimal point
	raw   map[string]string // the same as they stand in the file
	used  map[string]bool
	err   error // the first
}

func (r *row) text(name string) string {
	r.used[name] = true
	return r.cells[name]
}

func (r *row) number(name string) float64 {
	cell := r.text(name)
	if cell == "" {
		return 0
	}
	f, _ := fieldNamed(name)
	v, err := measure(f, cell, r.said[name].unit)
	r.keep(err)
	return v
}

// choice reads one of a few words, in any of the languages that are known.
func (r *row) choice(name string) string {
	word := plain(r.text(name))
	if other := called(name, word); other != "" && other != word {
		r.note("%s %q is read as %s", name, r.cells[name], other)
		return other
	}
	return word
}

func (r *row) yes(name string) bool {
	f, _ := fieldNamed(name)
	v, err := readYesNo(f, r.text(name))
	r.keep(err)
	return v
}

func (r *row) keep(err error) {
	if r.err == nil {
		r.err = err
	}
}

func (r *row) note(format string, args ...any) { r.notes[fmt.Sprintf(format, args...)]++ }

func (r *row) make() (store.Row, error) {
	var out store.Row
	var err error
	if out.Step.At, out.Step.Day, err = r.when(); err != nil {
		return out, err
	}
	if out.Step.By = r.text("by"); out.Step.By == "" {
		out.Step.By = r.By
	}
	if r.plan.What == Mats {
		err = r.mat(&out)
	} else {
		err = r.step(&out)
	}
	if r.err != nil { // a cell that can't be read says more than what follows from it
		err = r.err
	}
	if err != nil {
		return out, err
	}
	for _, name := range slices.Sorted(maps.Keys(r.cells)) {
		if cell := r.cells[name]; cell != "" && !r.used[name] && r.Set[name] == "" {
			return out, fmt.Errorf("a row of %s has no %s, and %q stands there; empty the cell, say with --map what else "+
				"the column is, or leave it out with --map \"Column=-\"", r.kindText(out), name, cell)
		}
	}
	return out, nil
}

func (r *row) kindText(out store.Row) string {
	if r.plan.What == Mats {
		return Mats
	}
	return string(medium.KindOf(out.Step.Body))
}

func (r *row) when() (at time.Time, dayOnly bool, err error) {
	date, clock := r.text("at"), r.text("time")
	if date == "" && clock != "" {
		return time.Time{}, false, fmt.Errorf("it has a time of day (%s) and no date", clock)
	}
	if date == "" && r.plan.What == Steps {
		return time.Time{}, false,
			errors.New("it has no date, and a past step needs one; fill the cell, or take the date above with --map " +
				"\"COLUMN=at,down\"")
	}
	if date == "" {
		r.note("no date: the mat is registered as of now, so that no step before now can follow (give one with --set " +
			"at=2025-01-31)")
		return time.Time{}, false, nil
	}
	at, dayOnly, note, err := moment(date, clock, r.plan.Dates, r.said["at"].year, r.Location)
	if note != "" {
		r.note("%s", note)
	}
	return at, dayOnly, err
}

func (r *row) mat(out *store.Row) error {
	m := medium.Mat{Form: r.text("form"), Material: r.text("material"), ApertureMM: r.number("aperture"),
		ThreadMM: r.number("thread"), Layers: int(r.number("layers")),
		Roll: r.text("roll"), Supplier: r.text("supplier"), ContactStatement: r.text("contact statement"),
		ContactDate: r.text("contact date"), Cost: r.number("cost"),
		DryWeightG: r.number("weight"), Mark: r.text("mark")}
	if m.Form == "" {
		m.Form = medium.FormMat
	}
	if m.Layers == 0 {
		m.Layers = 1
	}
	m.LengthMM, m.WidthMM = r.number("length"), r.number("width")
	if size := r.text("size"); size != "" {
		if u := r.said["size"].unit; u != "" && strings.HasSuffix(strings.TrimRight(strings.ReplaceAll(size, "×", "x"),
			"0123456789., "), "x") {
			size += u
		}
		if m.LengthMM != 0 || m.WidthMM != 0 {
			return fmt.Errorf("it has both a size and a length or width; leave one out with --map")
		}
		l, w, err := amount.Size("size", size)
		if err != nil {
			return fmt.Errorf("%w (for all rows: --map \"COLUMN=mm\")", err)
		}
		m.LengthMM, m.WidthMM = l, w
	}
	if r.err != nil {
		return r.err
	}
	if r.cells["size"] == "" && r.cells["length"] == "" && r.cells["width"] == "" {
		return errors.New("it has no size, so it is not a mat; where the rows are past steps, say which column holds the " +
			"kind of step: --map \"Column=kind\"")
	}
	if err := m.Check(); err != nil {
		return err
	}
	name := r.text("mat")
	if code, ok := r.Valid(name); ok {
		out.Step.Mat = code
	} else {
		code, err := r.Draw()
		if err != nil {
			return err
		}
		out.Step.Mat = code
		r.note("the mat gets a new code: its old name is not a resow code")
		if name != "" && m.Mark != "" && name != m.Mark {
			return fmt.Errorf("its name %q is not a resow code and it has the mark %q too; keep one of them", name, m.Mark)
		}
		if name != "" {
			m.Mark = name
			r.note("the old name is kept as the mat's mark")
		}
	}
	out.Step.Body = &medium.Add{Mat: m}
	return nil
}

func (r *row) step(out *store.Row) error {
	name := r.text("mat")
	if name == "" {
		name = r.text("mark")
	}
	if name == "" {
		return errors.New("it names no mat; where merged cells leave gaps, --map \"COLUMN=mat,down\" takes the name " +
			"above, and --skip LINES leaves lines out")
	}
	if code, ok := r.Find(name); ok {
		out.Step.Mat = code
	} else {
		out.Mark = name
	}
	word := r.text("kind")
	kind := medium.Kind(plain(word))
	if other := kindCalled(string(kind)); other != "" && other != kind {
		r.note("the step %q is read as %s", word, other)
		kind = other
	}
	body, err := r.body(kind)
	out.Step.Body = body
	return err
}

// columnName is the name of the column that holds a field of a kind.
func columnName(k medium.Kind, f medium.Field) string {
	if k == medium.KindDocument && f.Name == "contact" {
		return "contact statement"
	}
	return ownName(f)
}

// ownName is a field's name as the other faces have it.
func ownName(f medium.Field) string { return strings.ReplaceAll(f.Name, "_", " ") }

// body makes the body of a step of the cells that hold its fields.
func (r *row) body(kind medium.Kind) (medium.Body, error) {
	row, ok := medium.KindNamed(kind)
	if asked := row.Asked(); !ok || len(asked) == 0 {
		return nil, fmt.Errorf("the kind of step %q is not known; want %s", r.cells["kind"], strings.Join(stepNames(), ", "))
	}
	said, any := map[string]string{}, false
	var missing, sets []string
	for _, f := range row.Asked() {
		name := columnName(kind, f)
		// Two columns for one.
		if kind == medium.KindTrim && f.Of == medium.OfSize && r.cells[name] == "" && r.cells["length"] != "" {
			said[f.Name] = fmt.Sprintf("%gmm x %gmm", r.number("length"), r.number("width"))
			continue
		}
		// Which is another field's of other kinds.
		if own := ownName(f); r.cells[name] == "" && own != name && r.raw[own] != "" {
			r.used[own], said[f.Name], any = true, r.raw[own], true
			continue
		}
		if r.cells[name] == "" && f.Needed {
			missing, sets = append(missing, name), append(sets, "--set "+name+"="+example(f))
		}
		said[f.Name] = r.asSaid(name, f)
		any = any || said[f.Name] != ""
	}
	if kind == medium.KindInspect && !any {
		r.keep(errors.New("it does not say what the look saw; fill fold snaps, fuzz, smell or mold with yes or no, or " +
			"say it for all rows with --set mold=no"))
	}
	if len(missing) > 0 { // nobody can know it for the person
		r.keep(fmt.Errorf("it has no %s; fill the cells, or say it for all rows with %s", strings.Join(missing, ", "),
			strings.Join(sets, " ")))
	}
	if r.err != nil {
		return nil, r.err
	}
	return farm.Reader{Farm: r.Farm, Past: true}.Body(kind, said)
}

// stepNames lists the kinds of steps that a row can be.
func stepNames() (names []string) {
	for _, row := range medium.StepKinds() {
		if len(row.Asked()) > 0 {
			names = append(names, string(row.Kind))
		}
	}
	return names
}

// example is what a person may say for a field in all rows.
func example(f medium.Field) string {
	if len(f.Choices) > 0 {
		return f.Choices[0]
	}
	return strings.ReplaceAll(f.Example, ", ", " ")
}

// asSaid is a cell as a person would say it, in the unit in which it is kept.
func (r *row) asSaid(name string, f medium.Field) string {
	cell := r.text(name)
	if cell == "" {
		return ""
	}
	switch f.Of {
	case medium.OfYesNo:
		return yesOrNo(r.yes(name))
	case medium.OfChoice:
		if w, ok := parseNumber(cell); ok && w.after == "" && name == "result" {
			r.keep(fmt.Errorf("%s %q: want %s; a number is a reading: --map \"COLUMN=reading\"",
				name, cell, strings.Join(f.Choices, " or ")))
		}
		return r.choice(name)
	case medium.OfActive:
		return plain(cell)
	case medium.OfCrops:
		return strings.ReplaceAll(cell, "/", "+")
	case medium.OfStrength:
		cell = inUnits(cell)
		if bare(cell) {
			cell += r.said[name].unit
		}
		return cell
	case medium.OfText, medium.OfDate, medium.OfSolution, medium.OfSize, medium.OfArea:
		return cell
	}
	return strconv.FormatFloat(r.number(name), 'f', -1, 64) + f.Of.Unit()
}

func yesOrNo(yes bool) string {
	if yes {
		return "yes"
	}
	return "no"
}
