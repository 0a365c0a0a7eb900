package report

import (
	"cmp"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"resow/medium"
)

// ReuseInput is what the reuse report is made from: every mat on file, retired
// ones too, and, where the caller has read the threads, their tally. The mats
// are gone through once, so they can come straight from the store.
type ReuseInput struct {
	Origin
	Mats  iter.Seq[medium.Condition]
	Tally *Tally
}

// Reuse says what the mats have done so far, what they are worth and what is
// to be replaced: life, mold, yield, cost, and what is not documented.
func Reuse(in ReuseInput) Report {
	r := in.report("reuse")
	f := in.figures()
	r.Figures = fields{"mats": f.all.mats, "mats_in_use": f.all.inUse(), "mats_retired": f.stages[medium.Retired],
		"turns": f.all.turns, "mats_clear": f.words[medium.SowIt], "mats_with_care": f.words[medium.SowWithCare],
		"mats_not_clear": f.words[medium.DoNotSow], "mats_due": f.words[medium.RetireMat],
		"mats_without_contact_statement": f.all.undocumented, "mats_by_farm_procedure": f.procedure}
	if f.counted {
		r.Figures["mold"] = share(countOf("mold", in.Tally.ended)).value
	}
	r.Summary, r.Lacks = f.summary(), f.lacks()
	r.Sections = f.sections(in)
	if every := f.yields.sampled; every > 1 {
		r.Method = append(r.Method, words("reuse", "{every}", fmt.Sprint(every)).text("sampled"))
	}
	r.Method = append(r.Method, words("forecast").texts["method"]...)
	return r
}

func (f reuseFigures) sections(in ReuseInput) []Section {
	s := []Section{f.stageTable()}
	if !f.counted {
		return append(s, f.meshTable(), f.cropTable(), f.matTable(in))
	}
	s = append(s, f.outlook.section(), f.lives.table())
	if curves, ok := f.lives.curves(); ok {
		s = append(s, curves, f.lives.pairTable(), f.outlook.fits.section())
	}
	if f.all.mats > 0 {
		s = append(s, f.suppliers.supplierSections(f.census)...)
	}
	s = append(s, f.costs.section())
	if what, ok := f.costs.whatIf(); ok {
		s = append(s, what)
	}
	s = append(s, f.molds.chartSection(), f.molds.changeTable(), f.molds.rateTable(), f.molds.pairTable())
	return append(s, f.yields.section(), f.meshTable(), f.cropTable(), f.matTable(in))
}

// reuseFigures are the figures behind the sentences, settled once so that
// sentence and table can't differ.
type reuseFigures struct {
	units, currency string
	now             time.Time

	all       sums
	stages    map[medium.Stage]int
	waiting   map[medium.Stage]time.Time // the earliest since
	words     map[medium.Word]int        // mats in use
	procedure int                        // in use, last sanitized by the farm's own procedure
	meshes    []group
	crops     []cropFigures
	counted   bool // the threads were read
	census    *census
	listed    listing
	lives     lives
	suppliers lives
	molds     molds
	yields    yields
	costs     costs
	outlook   outlook
	usedTurns []int
}

// group is the mats of one mesh.
type group struct {
	name cell
	sums
}

func (s sums) costPerTurn(currency string) cell {
	switch {
	case s.priced == 0:
		return cell{text: "no price recorded"}
	case s.pricedTurns < fewTurns:
		return cell{text: "too few turns"}
	}
	return amount(s.cost/float64(s.pricedTurns), currency)
}

type cropFigures struct {
	name     string
	harvests int
	sumG     float64
	turns    int
	mold     int
}

func (in ReuseInput) figures() reuseFigures {
	now := in.now()
	f := reuseFigures{units: in.Farm.Settings.Units, currency: in.Farm.Settings.Currency, now: now,
		stages: map[medium.Stage]int{}, waiting: map[medium.Stage]time.Time{}, words: map[medium.Word]int{},
		counted: in.Tally != nil, census: newCensus(), listed: listing{most: matRows}}
	meshes, crops := map[string]*group{}, map[string]cropFigures{}
	for c := range each(in.Mats) {
		f.addMat(c, in.Farm)
		name := mesh(c.Mat)
		if meshes[name] == nil {
			meshes[name] = &group{name: meshCell(c.Mat)}
		}
		meshes[name].add(c)
		for _, y := range c.Yields {
			crop := crops[named(y.Crop)]
			crop.harvests += y.N
			crop.sumG += y.SumG
			crops[named(y.Crop)] = crop
		}
	}
	f.all = f.census.all
	if f.counted {
		f.count(in, crops)
	}
	for _, name := range slices.Sorted(maps.Keys(meshes)) {
		f.meshes = append(f.meshes, *meshes[name])
	}
	for name, c := range crops {
		c.name = name
		f.crops = append(f.crops, c)
	}
	slices.SortFunc(f.crops, func(a, b cropFigures) int {
		return cmp.Or(cmp.Compare(b.harvests, a.harvests), strings.Compare(a.name, b.name))
	})
	return f
}

// count takes what the threads add to the conditions. What needs only the census
// and the tally is worked out side by side.
func (f *reuseFigures) count(in ReuseInput, crops map[string]cropFigures) {
	for _, c := range in.Tally.group("crop") {
		crop := crops[c.Name]
		crop.turns, crop.mold = c.Trials, c.Hits
		crops[c.Name] = crop
	}
	sideBySide(
		func() { f.yields = yieldsOf(in.Tally) },
		func() { f.outlook = ForecastInput{Origin: in.Origin, Sown: in.Tally.recent}.look(f.census) },
		func() {
			f.lives, f.suppliers = livesOf(f.census, byMaterial), livesOf(f.census, bySupplier)
			f.costs = costsOf(in.Farm, f.census, f.lives, in.Tally)
		},
		func() { f.molds = moldsOf(in.Tally) },
	)
}

// sideBySide does work of which no piece needs another. A panic in one becomes
// the caller's.
func sideBySide(work ...func()) {
	faults := make([]any, len(work))
	var all sync.WaitGroup
	for i, do := range work {
		all.Go(func() {
			defer func() { faults[i] = recover() }()
			do()
		})
	}
	all.Wait()
	for _, fault := range faults {
		if fault != nil {
			panic(fault)
		}
	}
}

func (f *reuseFigures) addMat(c medium.Condition, farm medium.Farm) {
	f.stages[c.Stage]++
	if since, ok := f.waiting[c.Stage]; !ok || c.Since.Before(since) {
		f.waiting[c.Stage] = c.Since
	}
	if c.Stage == medium.Retired {
		f.census.add(c, false)
		return
	}
	f.usedTurns = append(f.usedTurns, c.Turn)
	v := medium.Judge(c, farm, f.now)
	f.words[v.Word]++
	f.census.add(c, v.Word == medium.RetireMat)
	f.listed.add(c)
	if v.LastSanitized != nil && v.LastSanitized.FarmProcedure { // as is known now
		f.procedure++
	}
}

func (f reuseFigures) summary() []string {
	if f.all.mats == 0 {
		return []string{"No mats are on file yet, so there is nothing to report. Register the first."}
	}
	var out []string
	if f.counted && f.all.inUse() > 0 {
		out = append(out, f.outlook.say())
	}
	if f.all.turns > 0 && f.counted {
		out = append(out, f.lives.say()...)
		out = append(out, f.costs.say()...)
		out = append(out, f.molds.say()...)
		out = append(out, f.yields.say()...)
	}
	out = append(out, f.sayPool())
	if f.all.turns == 0 {
		out = append(out, "No mat has been sown on yet.")
	}
	return append(out, f.sayUndocumented()...)
}

func (f reuseFigures) sayPool() string {
	retired := f.stages[medium.Retired]
	if f.all.inUse() == 0 {
		return fmt.Sprintf("%s on file, none in use: %d retired.", mats(f.all.mats), retired)
	}
	return fmt.Sprintf("%s on file, %d retired and %d in use; of these, by the farm's own rules: %d clear to sow on now, "+
		"%d with care, %d not clear, %d due to be retired.", mats(f.all.mats), retired, f.all.inUse(),
		f.words[medium.SowIt], f.words[medium.SowWithCare], f.words[medium.DoNotSow], f.words[medium.RetireMat])
}

// sayTurns says what the mats in use have done so far.
func (f reuseFigures) sayTurns() string {
	s := spreadOf(f.usedTurns)
	switch {
	case s.n == 0 || f.all.turns == 0:
		return ""
	case s.n == 1:
		return fmt.Sprintf("The mat in use has done %s so far.", turns(s.sum))
	case s.least == s.most:
		return fmt.Sprintf("Each mat in use has done %s so far.", turns(s.least))
	}
	return fmt.Sprintf("Mats in use have done %s turns each so far on average (%d to %d).",
		short(s.mean()), s.least, s.most)
}

func (f reuseFigures) lacks() (out []Lack) {
	if f.all.mats == 0 {
		return []Lack{LacksMats}
	}
	if f.counted && f.costs.turns > 0 && f.costs.prices.MediumPerTray == 0 {
		out = append(out, LacksMediumPrice)
	}
	if f.all.priced == 0 {
		out = append(out, LacksMatPrices)
	}
	if f.counted && !f.suppliers.noted() {
		out = append(out, LacksSuppliers)
	}
	return out
}

func (f reuseFigures) sayCost() string {
	g := f.all
	switch {
	case g.priced == 0:
		return "No mat has a price on file, so there is no cost per turn; put it on file when mats are added."
	case g.pricedTurns < fewTurns:
		return fmt.Sprintf("Mats with a price on file: %d, with %s in all; too few to state a cost per turn.",
			g.priced, turns(g.pricedTurns))
	}
	said := fmt.Sprintf("The mesh has cost %s per turn so far: %s over %s of %s", g.costPerTurn(f.currency).text,
		money(g.cost, f.currency), turns(g.pricedTurns), mats(g.priced))
	if unpriced := g.mats - g.priced; unpriced > 0 {
		said += fmt.Sprintf("; %s without a price left out", mats(unpriced))
	}
	return said + "."
}

// sayUndocumented is what keeps the mats in use from being in order on paper.
func (f reuseFigures) sayUndocumented() (out sentences) {
	if f.all.undocumented > 0 {
		out.say("Without a dated food-contact statement of the supplier on file: %d of %s in use.",
			f.all.undocumented, mats(f.all.inUse()))
	}
	if f.procedure > 0 {
		out.say("Last sanitized by the farm's own procedure, not by label directions for food-contact surfaces: "+
			"%d of %s in use.", f.procedure, mats(f.all.inUse()))
	}
	return out
}

func (f reuseFigures) stageTable() Section {
	s := newSection("stages")
	s.Note = f.sayTurns()
	if used := spreadOf(f.usedTurns); used.n > 0 {
		s.Figures = fields{"mean_turns": num(used.mean()), "least_turns": used.least, "most_turns": used.most}
	}
	if f.all.mats == 0 {
		return s
	}
	for _, stage := range medium.Stages {
		wait := cell{}
		if since, ok := f.waiting[stage]; ok && stage != medium.Retired {
			wait = tenths(f.now.Sub(since).Hours() / 24)
		}
		s.add(string(stage), f.stages[stage], wait)
	}
	s.add("all", f.all.mats, "")
	return s
}

func (f reuseFigures) meshTable() Section {
	s := newSection("meshes")
	s.Note += " " + f.sayCost()
	if f.all.priced > 0 {
		s.Figures = fields{"mesh_cost": amount(f.all.cost, f.currency).value, "mats_priced": f.all.priced,
			"turns_priced": f.all.pricedTurns}
	}
	rows := f.meshes
	if len(rows) > 1 {
		rows = append(slices.Clone(rows), group{cell{"all", fields{"material": "all"}}, f.all})
	}
	for _, g := range rows {
		s.add(g.name, g.mats, g.inUse(), g.turns, tenths(float64(g.turns)/float64(g.mats)), g.costPerTurn(f.currency),
			g.undocumented)
	}
	return s
}

func (f reuseFigures) cropTable() Section {
	s := newSection("crops")
	if !f.counted {
		s.Columns = s.Columns[:3]
	}
	for _, c := range f.crops {
		mean := cell{text: "too few"}
		if c.harvests >= fewHarvests {
			mean = mass(c.sumG/float64(c.harvests), f.units)
		}
		row := []any{c.name, c.harvests, mean}
		if f.counted {
			found := fields{"turns_with_mold": c.mold, "finished_turns": c.turns}
			row = append(row, cell{keep(fmt.Sprintf("%d of %d", c.mold, c.turns)), found})
		}
		s.add(row...)
	}
	return s
}

func (f reuseFigures) matTable(in ReuseInput) Section {
	s := newSection("mats_in_use")
	fitted := f.counted && f.outlook.fits.all.refused == nil
	if fitted {
		s.Note += " " + words("mats_in_use").text("fitted")
	} else {
		s.Columns = slices.Delete(s.Columns, 5, 6)
	}
	left := f.furtherTurns()
	for _, c := range f.listed.sorted() {
		row := []any{c.Code, meshCell(c.Mat), c.Turn, moldTurns(c), tenths(c.SunKLy)}
		if fitted {
			row = append(row, left(c))
		}
		s.add(append(row, reasons(medium.Judge(c, in.Farm, f.now)))...)
	}
	if f.listed.left > 0 {
		s.Figures = fields{"mats_left_out": f.listed.left}
		s.Note += fmt.Sprintf(" The first %d by code; %d more are left out; the list of mats has all.",
			matRows, f.listed.left)
	}
	return s
}

// furtherTurns gives the turns left of a mat in words; mats of one material and
// age have the same.
func (f reuseFigures) furtherTurns() func(medium.Condition) cell {
	type age struct {
		life string
		turn int
	}
	known := map[age]cell{}
	return func(c medium.Condition) cell {
		life := f.outlook.fits.of(named(c.Mat.Material))
		at := age{life.name, c.Turn}
		if _, ok := known[at]; !ok {
			known[at] = life.left(c.Turn)
		}
		return known[at]
	}
}

// matRows keeps the report of a very large farm to a size that can be printed.
const matRows = 1000

// listing keeps the mats with the first codes, and counts the others.
type listing struct {
	most int
	mats []medium.Condition
	left int
}

func (l *listing) add(c medium.Condition) {
	l.mats = append(l.mats, c)
	if len(l.mats) >= 2*l.most {
		l.cut()
	}
}

func (l *listing) cut() {
	slices.SortStableFunc(l.mats, func(a, b medium.Condition) int { return cmp.Compare(a.Code, b.Code) })
	if over := len(l.mats) - l.most; over > 0 {
		clear(l.mats[l.most:]) // else their texts stay in memory
		l.left += over
		l.mats = l.mats[:l.most]
	}
}

func (l *listing) sorted() []medium.Condition {
	l.cut()
	return l.mats
}
