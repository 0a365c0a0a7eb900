package moving

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"resow/cmd/resow/amount"
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

func (r *row) optional(name string) *float64 {
	if r.text(name) == "" {
		return nil
	}
	v := r.number(name)
	return &v
}

// choice reads one of a few words, in any of the languages that are known.
func (r *row) choice(name string) string {
	word := plain(r.text(name))
	if other, ok := choiceWords[name][word]; ok {
		r.note("%s %q is read as %s", name, r.cells[name], other)
		return other
	}
	return word
}

// needs refuses a row that leaves out what nobody can know for the person.
func (r *row) needs(name, say string) {
	if r.cells[name] == "" {
		r.keep(fmt.Errorf("it has no %s; fill the cell, or say it for all rows with --set %s", name, say))
	}
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
			return out, fmt.Errorf("a row of %s has no %s, and %q stands there; empty the cell, say with --map what else the column is, or leave it out with --map \"Column=-\"", r.kindText(out), name, cell)
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
		return time.Time{}, false, errors.New("it has no date, and a past step needs one; fill the cell, or take the date above with --map \"COLUMN=at,down\"")
	}
	if date == "" {
		r.note("no date: the mat is registered as of now, so that no step before now can follow (give one with --set at=2025-01-31)")
		return time.Time{}, false, nil
	}
	at, dayOnly, note, err := moment(date, clock, r.plan.Dates, r.said["at"].year, r.Location)
	if note != "" {
		r.note("%s", note)
	}
	return at, dayOnly, err
}

func (r *row) mat(out *store.Row) error {
	m := medium.Mat{Form: r.text("form"), Material: r.text("material"), ApertureMM: r.number("aperture"), ThreadMM: r.number("thread"), Layers: int(r.number("layers")),
		Roll: r.text("roll"), Supplier: r.text("supplier"), ContactStatement: r.text("contact statement"), ContactDate: r.text("contact date"), Cost: r.number("cost"),
		DryWeightG: r.number("weight"), Mark: r.text("mark")}
	if m.Form == "" {
		m.Form = medium.FormMat
	}
	if m.Layers == 0 {
		m.Layers = 1
	}
	m.LengthMM, m.WidthMM = r.number("length"), r.number("width")
	if size := r.text("size"); size != "" {
		if u := r.said["size"].unit; u != "" && strings.HasSuffix(strings.TrimRight(strings.ReplaceAll(size, "×", "x"), "0123456789., "), "x") {
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
		return errors.New("it has no size, so it is no mat; where the rows are past steps, say which column holds the kind of step: --map \"Column=kind\"")
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
		r.note("the mat gets a new code: its old name is no code of resow")
		if name != "" && m.Mark != "" && name != m.Mark {
			return fmt.Errorf("its name %q is no code of resow and it has the mark %q too; keep one of them", name, m.Mark)
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
		return errors.New("it names no mat; where merged cells leave gaps, --map \"COLUMN=mat,down\" takes the name above, and --skip LINES leaves lines out")
	}
	if code, ok := r.Find(name); ok {
		out.Step.Mat = code
	} else {
		out.Mark = name
	}
	word := r.text("kind")
	kind := medium.Kind(plain(word))
	if other, ok := kindWords()[string(kind)]; ok {
		r.note("the step %q is read as %s", word, other)
		kind = other
	}
	body, err := r.body(kind)
	out.Step.Body = body
	return err
}

func (r *row) body(kind medium.Kind) (medium.Body, error) {
	switch kind {
	case medium.KindSow:
		return r.sow()
	case medium.KindMist:
		return &medium.Mist{WaterML: r.number("water"), Treated: r.text("treated"), Where: r.text("where")}, nil
	case medium.KindHarvest:
		return &medium.Harvest{YieldG: r.number("yield"), CutHeightMM: r.number("cut height"), KnifeTouched: r.yes("knife touched"), MoreCutsToCome: r.yes("more cuts"), Place: r.text("place")}, nil
	case medium.KindRinse:
		r.needs("debris", "debris=none")
		return &medium.Rinse{Debris: medium.Debris(r.choice("debris")), Detergent: r.text("detergent"), Minutes: r.number("took") / 60, Place: r.text("place")}, nil
	case medium.KindDry:
		r.needs("where", "where=air")
		return &medium.Dry{Where: r.choice("where"), DurationS: int(r.number("for"))}, nil
	case medium.KindSanitize:
		return r.sanitize()
	case medium.KindMold:
		return &medium.Mold{Where: r.text("where"), Seen: r.text("seen"), SharePercent: r.number("share"), Treated: r.text("treated")}, nil
	case medium.KindCut:
		return &medium.Cut{LengthMM: r.number("length"), Where: r.text("where"), Through: r.yes("through")}, nil
	case medium.KindSwab:
		r.needs("pass", "pass=yes")
		return &medium.Swab{Test: r.text("test"), Reading: r.number("reading"), Limit: r.number("limit"), Unit: r.text("unit"), Pass: r.yes("pass")}, nil
	case medium.KindHold:
		return &medium.Hold{Reason: r.text("reason"), Dropped: r.yes("dropped")}, nil
	case medium.KindRelease:
		return &medium.Release{Reason: r.text("reason")}, nil
	case medium.KindInspect:
		if !slices.ContainsFunc([]string{"fold snaps", "fuzz", "holes", "smell", "mold", "no cuts", "aperture", "note"}, func(n string) bool { return r.cells[n] != "" }) {
			r.keep(errors.New("it does not say what the look saw; fill fold snaps, fuzz, smell or mold with yes or no, or say it for all rows with --set mold=no"))
		}
		return &medium.Inspect{FoldSnaps: r.yes("fold snaps"), Fuzz: r.yes("fuzz"), Holes: int(r.number("holes")), Smell: r.yes("smell"),
			Mold: r.yes("mold"), NoCuts: r.yes("no cuts"), ApertureMM: r.number("aperture"), Note: r.text("note")}, nil
	case medium.KindTrim:
		return &medium.Trim{LengthMM: r.number("length"), WidthMM: r.number("width")}, nil
	case medium.KindRetire:
		return &medium.Retire{Cause: medium.Cause(plain(r.text("cause"))), Note: r.text("note")}, nil
	}
	return nil, fmt.Errorf("the kind of step %q is not known; want sow, mist, harvest, rinse, dry, sanitize, mold, cut, swab, hold, release, inspect, trim or retire", r.cells["kind"])
}

func (r *row) sow() (medium.Body, error) {
	b := &medium.Sow{Lot: r.text("lot"), SeedLot: r.text("seed lot"), Place: r.text("place")}
	names := strings.FieldsFunc(r.text("crop"), func(c rune) bool { return c == '+' || c == '/' })
	seed := r.number("seed")
	if len(names) > 1 && seed > 0 {
		return nil, fmt.Errorf("the seed of a mix (%s) can't be split among its crops; leave the cell empty", r.cells["crop"])
	}
	for _, n := range names {
		b.Crops = append(b.Crops, medium.Sown{Crop: strings.TrimSpace(n), SeedG: seed})
	}
	return b, nil
}

func (r *row) sanitize() (medium.Body, error) {
	b := &medium.Sanitize{Product: r.text("product"), Active: plain(r.text("active")), ContactS: int(r.number("contact")), TempC: r.optional("temp"), PH: r.optional("ph"),
		Method: r.choice("method"), Rinsed: r.yes("rinsed"), Place: r.text("place")}
	switch r.choice("sides") {
	case "both":
		b.Sides = 2
	case "one":
		b.Sides = 1
	default:
		return nil, fmt.Errorf("sides %q: want both or one (for all rows: --set sides=both)", r.cells["sides"])
	}
	r.needs("contact", "contact=2min")
	r.needs("method", "method=spray")
	cell := inUnits(r.text("strength"))
	if bare(cell) {
		cell += r.said["strength"].unit
	}
	var err error
	b.StrengthPPM, err = r.Strength(b.Product, b.Active, cell)
	return b, err
}
