package report

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"resow/medium"
)

// ReuseInput is what the reuse report is made from: every mat on file, retired
// ones too, and, where the caller has read the threads, their tally.
type ReuseInput struct {
	Origin
	Mats  []medium.Condition
	Tally *Tally
}

// Reuse says what the mats have done so far, what they are worth and what is
// to be replaced: life, mold, yield, cost, and what is not documented.
func Reuse(in ReuseInput) Report {
	r := in.report("Reuse of mats")
	f := in.figures()
	r.Summary = f.summary()
	r.Sections = f.sections(in)
	r.Method = []string{
		"A turn counts from its sowing; it is finished with its last cut, its first mold, the next sowing or the retirement. Mold rates and the chart count finished turns, the chart in the week in which they ended.",
		fmt.Sprintf("A mold rate needs at least 10 turns, a life 5 retired mats, a forecast 6, a control chart 20 weeks with harvests, a yield trend 5 comparable harvests, a mean yield %d harvests, a mesh cost %d turns; with fewer there are words.", fewHarvests, fewTurns),
		"Life is the Kaplan-Meier curve over turns with log-log intervals; mats still in use count as not ended. Materials are compared by the log-rank test and by the ratio of the mean turns up to the last turn that both curves know.",
		"Mold rates have Wilson's interval. Repeated turns of one mat are not independent of each other: a mat that molded once may mold again, so every interval and p-value here that counts turns is narrower than it should be. Read differences near the edge as hints.",
		"Corrections for many comparisons are Holm's, over all pairs of the table. A p-value under 0.05 is called beyond chance.",
		"The cost of a turn divides the price of mesh and label by the mean turns that the survival curve shows within the records, a lower bound while mats are in use; its interval combines the ends of those of life and of the noted minutes. The break-even does not depend on the life.",
		"Mesh cost per turn so far is the price of the mats divided by all turns they have begun, over mats with a recorded price.",
		"Yield is the mean of whole harvests of a crop; harvests with more cuts to come are left out. Mats of different sizes are not put on one scale.",
		"Sun is summed from the drying steps and counts as wear: 1 kLy is 41.84 MJ/m2 of total sun.",
	}
	if f.yields.sampled > 1 {
		r.Method = append(r.Method, fmt.Sprintf("The yield trend looks at one mat of every %d, so as to keep the report's size.", f.yields.sampled))
	}
	r.Method = append(r.Method, outlookMethod...)
	return r
}

func (f reuseFigures) sections(in ReuseInput) []Section {
	s := []Section{f.stageTable()}
	if !f.counted {
		return append(s, f.meshTable(), f.cropTable(), in.matTable())
	}
	s = append(s, f.outlook.section(), f.lives.table())
	if curves, ok := f.lives.curves(); ok {
		s = append(s, curves, f.lives.pairTable())
	}
	s = append(s, f.costs.section())
	if what, ok := f.costs.whatIf(); ok {
		s = append(s, what)
	}
	s = append(s, f.molds.chartSection(), f.molds.changeTable(), f.molds.rateTable(), f.molds.pairTable())
	return append(s, f.yields.section(), f.meshTable(), f.cropTable(), in.matTable())
}

// reuseFigures are the figures behind the sentences, settled once so that
// sentence and table can't differ.
type reuseFigures struct {
	units, currency string
	now             time.Time

	all, inUse group
	stages     map[medium.Stage]int
	waiting    map[medium.Stage]time.Time // the earliest since
	words      map[medium.Word]int        // mats in use
	procedure  int                        // in use, last sanitized by the farm's own procedure
	meshes     []group
	crops      []cropFigures
	counted    bool // the threads were read
	lives      lives
	molds      molds
	yields     yields
	costs      costs
	outlook    Outlook
	usedTurns  []int
}

// group sums mats up.
type group struct {
	name             string
	mats, inUse      int
	turns            int
	priced, unpriced int
	cost             float64
	pricedTurns      int
	undocumented     int // in use, no dated food-contact statement
}

func (g *group) add(c medium.Condition) {
	g.mats++
	g.turns += c.Turn
	if c.Mat.Cost > 0 {
		g.priced++
		g.cost += c.Mat.Cost
		g.pricedTurns += c.Turn
	} else {
		g.unpriced++
	}
	if c.Stage == medium.Retired {
		return
	}
	g.inUse++
	if !c.Mat.ContactDocumented() {
		g.undocumented++
	}
}

func (g group) costPerTurn(currency string) string {
	switch {
	case g.priced == 0:
		return "no price recorded"
	case g.pricedTurns < fewTurns:
		return "too few turns"
	}
	return money(g.cost/float64(g.pricedTurns), currency)
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
		counted: in.Tally != nil}
	meshes, crops := map[string]*group{}, map[string]*cropFigures{}
	for _, c := range in.Mats {
		f.addMat(c, in.Farm.Policy)
		name := mesh(c.Mat)
		if meshes[name] == nil {
			meshes[name] = &group{name: name}
		}
		meshes[name].add(c)
		for _, y := range c.Yields {
			crop := cropNamed(crops, y.Crop)
			crop.harvests += y.N
			crop.sumG += y.SumG
		}
	}
	if f.counted {
		f.count(in, crops)
	}
	for _, g := range meshes {
		f.meshes = append(f.meshes, *g)
	}
	slices.SortFunc(f.meshes, func(a, b group) int { return strings.Compare(a.name, b.name) })
	for _, c := range crops {
		f.crops = append(f.crops, *c)
	}
	slices.SortFunc(f.crops, func(a, b cropFigures) int {
		if a.harvests != b.harvests {
			return b.harvests - a.harvests
		}
		return strings.Compare(a.name, b.name)
	})
	return f
}

// count takes what the threads add to the conditions.
func (f *reuseFigures) count(in ReuseInput, crops map[string]*cropFigures) {
	for name, w := range in.Tally.crops {
		crop := cropNamed(crops, name)
		crop.turns, crop.mold = w.Turns, w.Moldy
	}
	f.lives, f.molds, f.yields = livesOf(in.Mats), moldsOf(in.Tally), yieldsOf(in.Tally)
	f.costs = costsOf(in.Farm, in.Mats, f.lives, in.Tally)
	f.outlook = ForecastInput{Origin: in.Origin, Mats: in.Mats, Tally: in.Tally}.Look()
}

func cropNamed(crops map[string]*cropFigures, name string) *cropFigures {
	if name == "" {
		name = unknown
	}
	if crops[name] == nil {
		crops[name] = &cropFigures{name: name}
	}
	return crops[name]
}

func (f *reuseFigures) addMat(c medium.Condition, p medium.Policy) {
	f.all.add(c)
	f.stages[c.Stage]++
	if since, ok := f.waiting[c.Stage]; !ok || c.Since.Before(since) {
		f.waiting[c.Stage] = c.Since
	}
	if c.Stage == medium.Retired {
		return
	}
	f.inUse.add(c)
	f.usedTurns = append(f.usedTurns, c.Turn)
	f.words[medium.Judge(c, p, f.now).Word]++
	if c.Sanitized != nil && c.Sanitized.FarmProcedure {
		f.procedure++
	}
}

func (f reuseFigures) summary() []string {
	if f.all.mats == 0 {
		return []string{"No mats are on file yet, so there is nothing to report. Register the first with `resow add`."}
	}
	var out []string
	if f.counted && f.inUse.mats > 0 {
		out = f.outlook.say()
	}
	out = append(out, f.sayPool())
	if f.inUse.mats > 0 {
		out = append(out, f.sayVerdicts())
	}
	out = append(out, f.sayTurns()...)
	if f.all.turns == 0 || !f.counted {
		return append(append(out, f.sayCost()), f.sayUndocumented()...)
	}
	out = append(out, f.lives.say()...)
	out = append(out, f.costs.say()...)
	out = append(out, f.sayCost())
	out = append(out, f.molds.say()...)
	out = append(out, f.yields.say()...)
	out = append(out, f.sayYields()...)
	if f.costs.untimed == nil {
		out = append(out, fmt.Sprintf("Washing took %s minutes of hands a turn on average (95 %% interval %s to %s), over %s with a noted time.",
			short(f.costs.minutes.Value), short(f.costs.minutes.Low), short(f.costs.minutes.High), turns(f.costs.timed)))
	}
	return append(out, f.sayUndocumented()...)
}

func (f reuseFigures) sayPool() string {
	var stages []string
	for _, s := range medium.Stages {
		if n := f.stages[s]; n > 0 && s != medium.Retired {
			stages = append(stages, fmt.Sprintf("%d %s", n, s))
		}
	}
	retired := fmt.Sprintf("%d retired", f.stages[medium.Retired])
	if len(stages) == 0 {
		return fmt.Sprintf("%s on file, none in use: %s.", mats(f.all.mats), retired)
	}
	return fmt.Sprintf("%s on file: %d in use (%s), %s.", mats(f.all.mats), f.inUse.mats, list(stages), retired)
}

func (f reuseFigures) sayVerdicts() string {
	return fmt.Sprintf("Of %s in use, by the farm's own rules: %d clear to sow on now, %d more with care, %d not clear, %d due to be retired.",
		mats(f.inUse.mats), f.words[medium.SowIt], f.words[medium.SowWithCare], f.words[medium.DoNotSow], f.words[medium.RetireMat])
}

func (f reuseFigures) sayTurns() []string {
	if f.all.turns == 0 {
		return []string{"No mat has been sown on yet."}
	}
	var out []string
	if s := spreadOf(f.usedTurns); s.n == 1 {
		out = append(out, fmt.Sprintf("The mat in use has done %s so far.", turns(s.sum)))
	} else if s.n > 1 {
		out = append(out, fmt.Sprintf("Mats in use have done %s turns each so far on average (%d to %d).", short(s.mean()), s.least, s.most))
	}
	return out
}

func (f reuseFigures) sayCost() string {
	g := f.all
	switch {
	case g.priced == 0:
		return "No mat has a price on file, so there is no cost per turn; give it with `resow add --cost`."
	case g.pricedTurns < fewTurns:
		return fmt.Sprintf("Mats with a price on file: %d, with %s in all; too few to state a cost per turn.", g.priced, turns(g.pricedTurns))
	}
	said := fmt.Sprintf("The mesh has cost %s per turn so far: %s over %s of %s", g.costPerTurn(f.currency),
		money(g.cost, f.currency), turns(g.pricedTurns), mats(g.priced))
	if g.unpriced > 0 {
		said += fmt.Sprintf("; %s without a price left out", mats(g.unpriced))
	}
	return said + "."
}

// cropsSaid is how many crops the summary names; the table has them all.
const cropsSaid = 4

func (f reuseFigures) sayYields() []string {
	var said []string
	few := 0
	for _, c := range f.crops {
		switch {
		case c.harvests == 0:
		case c.harvests < fewHarvests:
			few++
		case len(said) < cropsSaid:
			said = append(said, fmt.Sprintf("%s %s (%d)", c.name, mass(c.sumG/float64(c.harvests), f.units), c.harvests))
		}
	}
	switch {
	case len(said) > 0:
		return []string{"Mean yield per harvest, with the number of harvests: " + list(said) + "."}
	case few > 0:
		return []string{fmt.Sprintf("No crop has %d weighed harvests yet: too few to state a yield.", fewHarvests)}
	}
	return []string{"No harvest has been weighed yet."}
}

func (f reuseFigures) sayUndocumented() []string {
	if f.inUse.mats == 0 {
		return nil
	}
	said := fmt.Sprintf("Without a dated food-contact statement of the supplier on file: %d of %s in use.", f.inUse.undocumented, mats(f.inUse.mats))
	if f.procedure == 0 {
		return []string{said}
	}
	return []string{said, fmt.Sprintf("Last sanitized by the farm's own procedure, not by label directions for food-contact surfaces: %d of %s in use.",
		f.procedure, mats(f.inUse.mats))}
}

func (f reuseFigures) stageTable() Section {
	s := Section{Heading: "Mats by stage", Empty: "No mats are on file.",
		Columns: []Column{{Head: "Stage"}, {Head: "Mats", Right: true}, {Head: "Longest wait, days", Right: true, Drop: 1}}}
	if f.all.mats == 0 {
		return s
	}
	for _, stage := range medium.Stages {
		wait := ""
		if since, ok := f.waiting[stage]; ok && stage != medium.Retired {
			wait = short(f.now.Sub(since).Hours() / 24)
		}
		s.Rows = append(s.Rows, []string{string(stage), fmt.Sprint(f.stages[stage]), wait})
	}
	s.Rows = append(s.Rows, []string{"all", fmt.Sprint(f.all.mats), ""})
	return s
}

func (f reuseFigures) meshTable() Section {
	s := Section{Heading: "Mats by mesh", Empty: "No mats are on file.",
		Note: "Retired mats count too. Groups differ in age and crops, so a difference between them is not yet a finding about the mesh.",
		Columns: []Column{{Head: "Mesh"}, {Head: "Mats", Right: true}, {Head: "In use", Right: true}, {Head: "Turns", Right: true},
			{Head: "Turns per mat", Right: true}, {Head: "Mesh cost per turn", Right: true, Drop: 2},
			{Head: "In use without contact statement", Right: true, Drop: 1}}}
	for _, g := range f.meshes {
		s.Rows = append(s.Rows, f.meshRow(g))
	}
	if len(f.meshes) > 1 {
		all := f.all
		all.name = "all"
		s.Rows = append(s.Rows, f.meshRow(all))
	}
	return s
}

func (f reuseFigures) meshRow(g group) []string {
	return []string{g.name, fmt.Sprint(g.mats), fmt.Sprint(g.inUse), fmt.Sprint(g.turns),
		short(float64(g.turns) / float64(g.mats)), g.costPerTurn(f.currency), fmt.Sprint(g.undocumented)}
}

func (f reuseFigures) cropTable() Section {
	s := Section{Heading: "Crops", Empty: "No turns with a crop are on file.",
		Columns: []Column{{Head: "Crop"}, {Head: "Weighed harvests", Right: true}, {Head: "Mean yield per harvest", Right: true}}}
	if f.counted {
		s.Columns = append(s.Columns, Column{Head: "Finished turns with mold"})
	}
	for _, c := range f.crops {
		mean := "too few"
		if c.harvests >= fewHarvests {
			mean = mass(c.sumG/float64(c.harvests), f.units)
		}
		row := []string{c.name, fmt.Sprint(c.harvests), mean}
		if f.counted {
			row = append(row, keep(fmt.Sprintf("%d of %d", c.mold, c.turns)))
		}
		s.Rows = append(s.Rows, row)
	}
	return s
}

func (in ReuseInput) matTable() Section {
	s := Section{Heading: "Each mat in use", Empty: "No mats are in use.",
		Note: "The verdict is by the farm's own rules at the time of this report. Retired mats stand in the retirement report.",
		Columns: []Column{{Head: "Code"}, {Head: "Size", Drop: 2}, {Head: "Mesh", Drop: 3}, {Head: "Turns", Right: true},
			{Head: "Mold turns", Right: true}, {Head: "Sun, kLy", Right: true, Drop: 1},
			{Head: "Verdict and why"}}}
	units, now := in.Farm.Settings.Units, in.now()
	left := 0
	for _, c := range byCode(in.Mats) {
		if c.Stage == medium.Retired {
			continue
		}
		if len(s.Rows) == matRows {
			left++
			continue
		}
		s.Rows = append(s.Rows, []string{keep(c.Code.String()), size(c.Mat, units), mesh(c.Mat), fmt.Sprint(c.Turn),
			fmt.Sprint(moldTurns(*c)), short(c.SunKLy), reasons(medium.Judge(*c, in.Farm.Policy, now))})
	}
	if left > 0 {
		s.Note += fmt.Sprintf(" The first %d by code; %d more are left out: `resow list` has all.", matRows, left)
	}
	return s
}

// matRows keeps the report of a very large farm to a size that can be printed.
const matRows = 1000

// byCode gives the mats in the order of their codes.
func byCode(mats []medium.Condition) []*medium.Condition {
	out := make([]*medium.Condition, len(mats))
	for i := range mats {
		out[i] = &mats[i]
	}
	slices.SortStableFunc(out, func(a, b *medium.Condition) int { return strings.Compare(string(a.Code), string(b.Code)) })
	return out
}
