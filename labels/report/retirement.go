package report

import (
	"cmp"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
	"time"

	"resow/medium"
)

// RetirementInput is what the retirement report is made from: every mat on
// file, and the period for mats that are retired already. A zero From goes
// back to the beginning, a zero To up to the report's time.
type RetirementInput struct {
	Origin
	Mats     iter.Seq[medium.Condition]
	From, To time.Time
}

// watched are the rules whose care finding says that a mat nears its end.
var watched = []string{"near-limit", "mold-last-turn", "cut-noted", "inspection-failed"}

// Retirement says which mats to retire now and why, which ones near a limit,
// and what was retired in the period and after how many turns.
func Retirement(in RetirementInput) Report {
	r := in.report("retirement")
	f, c := in.figures()
	why := causesOverOf(c)
	r.Summary = append(f.summary(), why.say()...)
	r.Figures = fields{"from": moment(f.from), "to": moment(f.to), "mats": f.mats, "mats_due": len(f.due),
		"mats_due_growing": f.growing, "mats_near": len(f.near), "mats_retired": len(f.gone)}
	if s := f.reached(); s.n >= fewRetired {
		r.Figures["median_reached_turns"] = num(s.median)
		r.Figures["least_reached_turns"], r.Figures["most_reached_turns"] = s.least, s.most
	}
	if f.mats == 0 {
		r.Lacks = []Lack{LacksMats}
	}
	r.Sections = []Section{f.dueTable(), f.nearTable(), why.section(), f.causeTable(), f.goneTable(),
		limitTable(in.Farm.Policy)}
	return r
}

type judged struct {
	c     *medium.Condition
	found []medium.Finding
}

func (j judged) row() []any {
	rules := j.each(func(f medium.Finding) string { return f.Rule }, ", ")
	why := j.each(func(f medium.Finding) string { return f.Text }, "; ")
	return []any{j.c.Code, string(j.c.Stage), j.c.Turn, why, rules}
}

func (j judged) each(what func(medium.Finding) string, between string) cell {
	var out []string
	for _, f := range j.found {
		if text := what(f); !slices.Contains(out, text) {
			out = append(out, text)
		}
	}
	return cell{strings.Join(out, between), out}
}

type retirementFigures struct {
	loc      *time.Location
	mats     int
	growing  int // due, but with a crop on
	due      []judged
	near     []judged
	gone     []*medium.Condition
	byCause  map[medium.Cause][]int // turns reached
	from, to time.Time
}

func (in RetirementInput) figures() (retirementFigures, *census) {
	now, counted := in.now(), newCensus()
	f := retirementFigures{loc: now.Location(), byCause: map[medium.Cause][]int{}, from: in.From, to: in.To}
	if f.to.IsZero() {
		f.to = now
	}
	for c := range each(in.Mats) {
		f.mats++
		counted.add(c, false)
		if c.Stage == medium.Retired {
			if !c.RetiredAt.Before(in.From) && !c.RetiredAt.After(f.to) {
				f.gone = append(f.gone, &c)
				f.byCause[c.Cause] = append(f.byCause[c.Cause], c.Turn)
			}
			continue
		}
		f.judge(&c, medium.Judge(c, in.Farm, now))
	}
	slices.SortFunc(f.gone, func(a, b *medium.Condition) int {
		return cmp.Or(a.RetiredAt.Compare(b.RetiredAt), strings.Compare(string(a.Code), string(b.Code)))
	})
	for _, found := range [][]judged{f.due, f.near} {
		slices.SortFunc(found, func(a, b judged) int { return strings.Compare(string(a.c.Code), string(b.c.Code)) })
	}
	return f, counted
}

func (f *retirementFigures) judge(c *medium.Condition, v medium.Verdict) {
	due, near := judged{c: c}, judged{c: c}
	for _, found := range v.Findings {
		switch {
		case found.Severity == medium.RetireIt:
			due.found = append(due.found, found)
		case found.Severity == medium.Care && slices.Contains(watched, found.Rule):
			near.found = append(near.found, found)
		}
	}
	switch {
	case len(due.found) > 0:
		f.due = append(f.due, due)
		if c.Stage == medium.Growing {
			f.growing++
		}
	case len(near.found) > 0:
		f.near = append(f.near, near)
	}
}

// period names the period in the farm's own days.
func period(from, to time.Time, loc *time.Location) string {
	until := day(to.In(loc))
	if from.IsZero() {
		return "up to " + until
	}
	return "from " + day(from.In(loc)) + " to " + until
}

func (f retirementFigures) summary() []string {
	if f.mats == 0 {
		return []string{"No mats are on file yet, so there is nothing to retire. Register the first."}
	}
	return append([]string{f.sayDue(), f.sayNear()}, f.sayGone()...)
}

func (f retirementFigures) sayNear() string {
	n, more, other := len(f.near), "", ""
	if len(f.due) > 0 {
		more, other = "more ", "other "
	}
	switch n {
	case 0:
		return "No " + other + "mat is near a limit."
	case 1:
		return "1 " + more + "mat is near a limit, or gave a sign of wear or mold: look at it before the next sowing."
	}
	return fmt.Sprintf("%d %smats are near a limit, or gave a sign of wear or mold: look at them before "+
		"the next sowing.", n, more)
}

func (f retirementFigures) sayDue() string {
	if len(f.due) == 0 {
		return "No mat in use is due to be retired by the farm's own rules."
	}
	byRule := map[string]int{}
	for _, j := range f.due {
		byRule[j.found[0].Rule]++
	}
	var parts sentences
	for _, r := range medium.Rules {
		if n := byRule[r.Name]; n > 0 {
			parts.say("%d by %s", n, r.Name)
		}
	}
	said := fmt.Sprintf("%s due to be retired now by the farm's own rules: %s.",
		count(len(f.due), "mat is", "mats are"), list(parts))
	if f.growing > 0 {
		said += fmt.Sprintf(" %s a crop; harvest that first.", count(f.growing, "of them carries", "of them carry"))
	}
	return said
}

// reached is how many turns the mats of the period had made.
func (f retirementFigures) reached() spread {
	var turns []int
	for _, c := range f.gone {
		turns = append(turns, c.Turn)
	}
	return spreadOf(turns)
}

func (f retirementFigures) sayGone() []string {
	when := period(f.from, f.to, f.loc)
	if len(f.gone) == 0 {
		return []string{"No mat was retired " + when + "."}
	}
	var parts sentences
	for _, cause := range causes(f.byCause) {
		parts.say("%d %s", len(f.byCause[cause]), causeName(cause))
	}
	said := fmt.Sprintf("%s retired %s: %s.", count(len(f.gone), "mat was", "mats were"), when, list(parts))
	s := f.reached()
	if s.n < fewRetired {
		return []string{said, "That is too few to say how many turns a mat usually reaches."}
	}
	return []string{said, fmt.Sprintf("Half of them had reached %s turns or more; the least was %d and the most %d.",
		short(s.median), s.least, s.most)}
}

// causes lists the causes that occur, in the order of medium.Causes; others
// follow by name.
func causes(by map[medium.Cause][]int) []medium.Cause {
	all := append(slices.Clone(medium.Causes), slices.Sorted(maps.Keys(by))...)
	return slices.SortedFunc(maps.Keys(by), func(a, b medium.Cause) int {
		return cmp.Compare(slices.Index(all, a), slices.Index(all, b))
	})
}

func causeName(c medium.Cause) string {
	if c == "" {
		return "no cause given"
	}
	return string(c)
}

// cut keeps the list of mats of a very large farm to a size that can be printed.
func (s Section) cut() Section {
	if over := len(s.Rows) - matRows; over > 0 {
		s.Rows, s.values, s.Figures = s.Rows[:matRows], s.values[:matRows], fields{"mats_left_out": over}
		s.Note = fmt.Sprintf("The first %d; %d more are left out; the list of mats has all.", matRows, over)
	}
	return s
}

func (f retirementFigures) dueTable() Section {
	s := newSection("retire_now")
	for _, j := range f.due {
		do := "retire"
		if j.c.Stage == medium.Growing {
			do = "harvest, then retire"
		}
		s.add(append(j.row(), do)...)
	}
	return s.cut()
}

func (f retirementFigures) nearTable() Section {
	s := newSection("near_a_limit")
	for _, j := range f.near {
		s.add(j.row()...)
	}
	return s.cut()
}

func (f retirementFigures) causeTable() Section {
	s := newSection("retired_by_cause", "{period}", period(f.from, f.to, f.loc))
	for _, cause := range causes(f.byCause) {
		sp := spreadOf(f.byCause[cause])
		middle := cell{text: "too few"}
		if sp.n >= fewRetired {
			middle = tenths(sp.median)
		}
		s.add(cell{causeName(cause), known(string(cause))}, sp.n, middle, sp.least, sp.most)
	}
	return s
}

func (f retirementFigures) goneTable() Section {
	s := newSection("retired")
	for _, c := range f.gone {
		s.add(date(c.RetiredAt.In(f.loc)), c.Code, cell{causeName(c.Cause), known(string(c.Cause))}, c.Turn, moldTurns(*c),
			tenths(c.SunKLy), meshCell(c.Mat))
	}
	return s.cut()
}

// limitTable gives every limit that can end a mat's use, as it stands in the
// farm's policy, with its source.
func limitTable(p medium.Policy) Section {
	s := newSection("limits")
	for _, r := range medium.Rules {
		if r.Fixed || (r.Severity != medium.RetireIt && !slices.Contains(watched, r.Name)) {
			continue
		}
		set := p.Setting(r.Name)
		named := fields{"on": set.On, "limit": num(set.Limit), "window_turns": nil}
		limit, unit := cell{fmt.Sprint(set.Limit), named}, cell{r.Unit, r.Unit}
		if set.Window > 0 {
			unit.text += fmt.Sprintf("; window of %v turns", set.Window)
			named["window_turns"] = set.Window
		}
		if !set.On {
			limit.text, unit.text, named["limit"] = "off", "", nil
		}
		s.add(r.Name, r.About, limit, unit, source(p, r))
	}
	return s
}

func source(p medium.Policy, r medium.Rule) string {
	for _, s := range p.Settings {
		if s.Rule == r.Name {
			return fmt.Sprintf("the farm's policy, version %d; shipped with: %s", p.Version, r.Source)
		}
	}
	return r.Source
}
