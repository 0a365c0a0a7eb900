package report

import (
	"cmp"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"

	"resow/medium"
)

// SanitationInput is what the sanitation log is made from. Steps gives all
// steps of the ledger in their order, or those of some kinds, from its beginning:
// a cleaning in the period needs the crop that was on the mat before. It is asked
// twice, first for the few records that change what others count for. A zero From
// goes back to the beginning, a zero To up to the report's time.
type SanitationInput struct {
	Origin
	Steps    func(kinds ...medium.Kind) iter.Seq[medium.Step]
	From, To time.Time
}

// Sanitation is the log of cleaning and sanitizing, gaps first, with lines for
// review and signature.
func Sanitation(in SanitationInput) Report {
	r := in.report("sanitation")
	r.Wide, r.Sign = true, true
	l := in.log()
	r.Figures = l.figures()
	r.Summary = l.summary(r.Figures)
	// the steps last: on paper the lines for review stand under their last rows
	r.Sections = []Section{l.gapTable(), l.supersededTable(), l.reviewTable(), l.productTable(), l.stepTable()}
	return r
}

// cleaning is one row of the log.
type cleaning struct {
	step medium.Step
	carried
	voidedBy *medium.Step
	accepted bool         // as the records stand now
	lost     *medium.Step // the correction since which a step accepted before no longer counts
	review   *medium.Step // the first review that takes it in
}

func (c cleaning) key() stepKey { return stepKey{c.step.Mat, c.step.MatSeq} }

func (c cleaning) sanitize() bool { return c.step.Kind == medium.KindSanitize }

// carried is what grew on a mat before, and where.
type carried struct {
	crop, lot, place string
	sown             bool // the mat had carried a crop
}

// gap is something that an inspector would ask about.
type gap struct {
	what string
	mat  medium.Code
	at   time.Time
	when string // at in words, where that is not its date and time
	by   string
	more string
	week int     // at is the Monday of a week with so many steps
	row  stepKey // of the log; empty: no row of its own
}

type sanitationLog struct {
	loc        *time.Location
	from, to   time.Time
	now        time.Time // of the report
	rows       []cleaning
	gaps       []gap
	reviews    []medium.Step            // that touch the period
	weeks      int                      // that are over and hold a step that nobody reviewed
	farm       map[string][]medium.Step // directions of a product, records of a solution, in order: see farmKey
	names      medium.Names
	directions map[medium.Sanitizer]*medium.Sanitizer // that the rows share
	unsown     int                                    // sowings without an accepted sanitize step before
	open       int                                    // mats harvested and not sanitized since
}

// thread is what the log keeps of a mat while it reads.
type thread struct {
	carried
	cleared   bool
	harvested time.Time
	corrected *corrected // nil: without corrections
}

// corrected is a mat with corrections: its steps so far and what they make of it
// now.
type corrected struct {
	past []medium.Step
	now  medium.Condition
}

type stepKey struct {
	mat medium.Code
	seq uint64
}

// decisive are the kinds of records that change what the steps of mats count for,
// whenever they were made.
func decisive() []medium.Kind {
	return []medium.Kind{medium.KindCorrect, medium.KindReview, medium.KindSanitizer, medium.KindSolution,
		medium.KindStrip, medium.KindDiscard}
}

func (in SanitationInput) log() *sanitationLog {
	l := &sanitationLog{loc: in.now().Location(), now: in.now(), from: in.From, to: in.To,
		farm: map[string][]medium.Step{}, names: medium.Names{}, directions: map[medium.Sanitizer]*medium.Sanitizer{}}
	if l.to.IsZero() {
		l.to = in.now()
	}
	voids := map[stepKey]medium.Step{}
	corrections := map[medium.Code][]medium.Step{}
	for s := range in.steps(decisive()...) {
		switch b := s.Body.(type) {
		case *medium.Correct:
			voids[stepKey{s.Mat, b.MatSeq}] = s
			corrections[s.Mat] = append(corrections[s.Mat], s)
		case *medium.Review:
			l.reviews = append(l.reviews, s)
		}
		if key := farmKey(s.Body); key != "" {
			l.farm[key] = append(l.farm[key], s)
		}
	}
	threads := map[medium.Code]*thread{}
	for s := range in.steps() {
		if s.Mat == medium.FarmThread || s.At.After(l.to) {
			continue
		}
		t := threads[s.Mat]
		if t == nil {
			t = &thread{}
			threads[medium.Code(strings.Clone(string(s.Mat)))] = t // else the whole record stays
		}
		by, voided := voids[stepKey{s.Mat, s.MatSeq}]
		now := medium.Standing{Accepted: s.Outcome.Accepted, Void: voided}
		if later := corrections[s.Mat]; len(later) > 0 {
			if t.corrected == nil {
				t.corrected = &corrected{}
			}
			now = t.corrected.standing(s, voided, later)
		}
		row := cleaning{step: s, accepted: now.Accepted}
		if voided {
			void := by // each row has its own
			row.voidedBy = &void
		}
		if by, ok := voids[stepKey{s.Mat, now.Since}]; ok {
			lost := by
			row.lost = &lost
		}
		l.note(t, row)
		if row.counts() {
			l.follow(t, row)
		}
	}
	slices.SortStableFunc(l.rows, func(a, b cleaning) int { return a.step.At.Compare(b.step.At) })
	l.stillOpen(threads)
	l.rowGaps()
	l.review()
	return l
}

// standing is what a step of a mat with corrections counts for today.
func (t *corrected) standing(s medium.Step, voided bool, corrections []medium.Step) medium.Standing {
	t.past = append(t.past, s)
	if voided {
		return medium.Standing{Void: true}
	}
	credited := t.now.Credits(s)
	t.now = t.now.Apply(s)
	if credited || !s.Outcome.Accepted {
		return medium.Standing{Accepted: credited}
	}
	return medium.Standings(append(slices.Clip(t.past), corrections...))[len(t.past)-1]
}

// review joins each row to the first review by somebody else that takes it in,
// or else to the last by whoever did the step. The weeks that
// are over and not reviewed stand before all other gaps.
func (l *sanitationLog) review() {
	var weeks []gap
	for i, r := range l.rows {
		for j, s := range l.reviews {
			if !s.Body.(*medium.Review).Covers(r.step, s.Recorded, l.loc) {
				continue
			}
			if l.rows[i].review == nil || l.rows[i].own() {
				l.rows[i].review = &l.reviews[j]
			}
		}
		monday := mondayOf(r.step.At.In(l.loc))
		if l.rows[i].review != nil || monday.AddDate(0, 0, 7).After(l.now) {
			continue
		}
		if n := len(weeks); n == 0 || !weeks[n-1].at.Equal(monday) { // the rows stand in order
			weeks = append(weeks, gap{what: "week not reviewed", at: monday})
		}
		weeks[len(weeks)-1].week++
	}
	l.weeks = len(weeks)
	l.gaps = append(weeks, append(l.ownReviews(), l.gaps...)...)
}

// own says that a step was reviewed by whoever did it.
func (c cleaning) own() bool { return c.review != nil && medium.SamePerson(c.step, *c.review) }

// ownReviews lists the reviews by which somebody reviewed their own steps.
func (l *sanitationLog) ownReviews() (out []gap) {
	for i, s := range l.reviews {
		b := s.Body.(*medium.Review)
		all := l.tally(func(r cleaning) bool { return r.review == &l.reviews[i] })
		own := l.tally(func(r cleaning) bool { return r.review == &l.reviews[i] && r.own() })
		if own > 0 {
			out = append(out, gap{what: "reviewed by the same person", at: s.Recorded, by: s.By,
				more: fmt.Sprintf("%d of %s from %s to %s", own, count(all, "step", "steps"), b.From, b.To)})
		}
	}
	return out
}

// mondayOf gives the Monday on which a moment's week began (ISO 8601).
func mondayOf(t time.Time) time.Time {
	day := (int(t.Weekday()) + 6) % 7
	return time.Date(t.Year(), t.Month(), t.Day()-day, 0, 0, 0, 0, t.Location())
}

// reviewTable lists the reviews whose days lie in the period.
func (l *sanitationLog) reviewTable() Section {
	s := newSection("reviews")
	for _, step := range l.reviews {
		b := step.Body.(*medium.Review)
		if b.To < l.from.In(l.loc).Format(time.DateOnly) || b.From > l.to.In(l.loc).Format(time.DateOnly) {
			continue
		}
		n := l.tally(func(r cleaning) bool { return b.Covers(r.step, step.Recorded, l.loc) })
		own := l.tally(func(r cleaning) bool {
			return b.Covers(r.step, step.Recorded, l.loc) && medium.SamePerson(r.step, step)
		})
		s.add(cell{b.From + " to " + b.To, fields{"from": b.From, "to": b.To, "name": known(b.Name)}},
			cell{l.time(step.Recorded), step.Recorded},
			cell{strings.TrimSpace(step.By + " " + b.Name), step.By}, n, own, cell{cmp.Or(b.Note, "–"), known(b.Note)})
	}
	return s
}

func (in SanitationInput) steps(kinds ...medium.Kind) iter.Seq[medium.Step] {
	if in.Steps == nil {
		return slices.Values([]medium.Step(nil))
	}
	return in.Steps(kinds...)
}

func (l *sanitationLog) covers(at time.Time) bool { return !at.Before(l.from) && !at.After(l.to) }

// note takes a cleaning of the period into the log.
func (l *sanitationLog) note(t *thread, row cleaning) {
	s := row.step
	if (s.Kind != medium.KindRinse && s.Kind != medium.KindSanitize) || !l.covers(s.At) {
		return
	}
	row.step = l.slim(s)
	row.carried = t.carried
	row.place = cmp.Or(placeOf(row.step.Body), t.place)
	l.rows = append(l.rows, row)
}

// slim is a step with one copy of each text, since a text is part of its record's,
// and without what no row shows.
func (l *sanitationLog) slim(s medium.Step) medium.Step {
	s.Mat, s.By, s.Kind, s.Token = kept(l.names, s.Mat), l.names.Kept(s.By), kept(l.names, s.Kind), ""
	s.Outcome.From, s.Outcome.To = "", ""
	switch b := s.Body.(type) {
	case *medium.Rinse:
		slim := *b
		slim.Debris, slim.Detergent, slim.Place = kept(l.names, b.Debris), l.names.Kept(b.Detergent), l.names.Kept(b.Place)
		s.Body = &slim
	case *medium.Sanitize:
		slim := *b
		slim.Product, slim.Active, slim.Method = l.names.Kept(b.Product), l.names.Kept(b.Active), l.names.Kept(b.Method)
		slim.Solution, slim.Place = kept(l.names, b.Solution), l.names.Kept(b.Place)
		if b.Directions != nil {
			if l.directions[*b.Directions] == nil {
				l.directions[*b.Directions] = b.Directions
			}
			slim.Directions = l.directions[*b.Directions]
		}
		s.Body = &slim
	}
	return s
}

func kept[T ~string](names medium.Names, text T) T { return T(names.Kept(string(text))) }

// placeOf is where a step was done.
func placeOf(body medium.Body) string {
	switch b := body.(type) {
	case *medium.Rinse:
		return b.Place
	case *medium.Sanitize:
		return b.Place
	}
	return ""
}

// follow keeps a mat's state, and notes a sowing that should not have been.
func (l *sanitationLog) follow(t *thread, row cleaning) {
	s := row.step
	switch b := s.Body.(type) {
	case *medium.Sow:
		crop := medium.CropName(b.Crops)
		if !t.cleared && l.covers(s.At) {
			l.unsown++
			l.gaps = append(l.gaps, gap{what: "sown on without an accepted sanitizing step before",
				mat: s.Mat, at: s.At, by: s.By, more: lotText(crop, b.Lot)})
		}
		*t = thread{corrected: t.corrected,
			carried: carried{l.names.Kept(crop), l.names.Kept(b.Lot), l.names.Kept(b.Place), true}}
	case *medium.Harvest:
		if !b.MoreCutsToCome {
			t.harvested, t.cleared = s.At, false
		}
	case *medium.Sanitize:
		if row.accepted {
			t.cleared, t.harvested = true, time.Time{}
		}
	case *medium.Retire:
		t.harvested = time.Time{}
	}
}

func (l *sanitationLog) stillOpen(threads map[medium.Code]*thread) {
	var open []gap
	for mat, t := range threads {
		if !t.harvested.IsZero() && l.covers(t.harvested) {
			open = append(open, gap{what: "harvested, no accepted sanitizing step since", mat: mat, at: t.harvested,
				more: lotText(t.crop, t.lot)})
		}
	}
	slices.SortFunc(open, func(a, b gap) int {
		return cmp.Or(a.at.Compare(b.at), strings.Compare(string(a.mat), string(b.mat)))
	})
	l.open = len(open)
	l.gaps = append(l.gaps, open...)
}

// rowGaps lists what is wrong with the rows themselves.
func (l *sanitationLog) rowGaps() {
	add := func(what string, pick func(cleaning) bool, more func(cleaning) string) {
		for _, r := range l.rows {
			if pick(r) {
				l.gaps = append(l.gaps, gap{what: what, mat: r.step.Mat, at: r.step.At, when: l.when(r.step), by: r.step.By,
					more: more(r), row: r.key()})
			}
		}
	}
	crop := func(r cleaning) string { return r.crop }
	add("sanitizing step not accepted", cleaning.notAccepted, func(r cleaning) string { return r.why(l.loc) })
	add("late entry", cleaning.late, func(r cleaning) string {
		return "written down " + minute(r.step.Recorded.In(l.loc))
	})
	add("voided step", func(r cleaning) bool { return !r.counts() }, func(r cleaning) string { return r.void(l.loc) })
	add("no lot on file", func(r cleaning) bool { return r.counts() && r.sown && r.lot == "" }, crop)
	add("no place on file", func(r cleaning) bool { return r.counts() && r.sown && r.place == "" }, crop)
}

func (c cleaning) counts() bool { return c.voidedBy == nil }
func (c cleaning) late() bool   { return c.step.Outcome.Late }

func (c cleaning) notAccepted() bool {
	return c.counts() && c.sanitize() && !c.accepted
}

func (c cleaning) void(loc *time.Location) string {
	return fmt.Sprintf("void since %s (%s): %s", day(c.voidedBy.At.In(loc)), c.voidedBy.By,
		c.voidedBy.Body.(*medium.Correct).Reason)
}

func lotText(crop, lot string) string {
	switch {
	case crop == "":
		return "no crop yet"
	case lot == "":
		return crop + ", lot " + unknown
	}
	return crop + ", lot " + lot
}

// why gives the reasons for which a step was not accepted.
func (c cleaning) why(loc *time.Location) string {
	if c.lost != nil {
		b := c.lost.Body.(*medium.Correct)
		return fmt.Sprintf("accepted when recorded; not counted since step %d (%s) was voided on %s (%s): %s",
			b.MatSeq, b.Voids, day(c.lost.At.In(loc)), c.lost.By, b.Reason)
	}
	var out []string
	for _, f := range c.step.Outcome.Findings {
		if f.Severity == medium.StepRule {
			out = append(out, f.Text)
		}
	}
	if len(out) == 0 {
		return "no reason on file"
	}
	return strings.Join(out, "; ")
}

func (l *sanitationLog) tally(pick func(cleaning) bool) int {
	n := 0
	for _, r := range l.rows {
		if pick(r) {
			n++
		}
	}
	return n
}

// figures are what the sentences say.
func (l *sanitationLog) figures() fields {
	codes := map[medium.Code]bool{}
	for _, r := range l.rows {
		if r.counts() {
			codes[r.step.Mat] = true
		}
	}
	return fields{"from": moment(l.from), "to": moment(l.to), "mats": len(codes), "mats_not_sanitized_since": l.open,
		"sowings_not_sanitized_before":  l.unsown,
		"rinses":                        l.tally(func(r cleaning) bool { return r.counts() && !r.sanitize() }),
		"sanitizings":                   l.tally(func(r cleaning) bool { return r.counts() && r.sanitize() }),
		"sanitizings_not_accepted":      l.tally(cleaning.notAccepted),
		"steps_late":                    l.tally(cleaning.late),
		"steps_voided":                  l.tally(func(r cleaning) bool { return !r.counts() }),
		"steps_reviewed_by_their_own":   l.tally(cleaning.own),
		"records_superseded":            len(l.superseded()),
		"sanitizings_by_farm_procedure": l.tally(byProcedure),
		"weeks_not_reviewed":            l.weeks}
}

func (l *sanitationLog) summary(f fields) []string {
	when := period(l.from, l.to, l.loc)
	if len(l.rows) == 0 && len(l.gaps) == 0 {
		return []string{"No cleaning or sanitizing is on file " + when + "."}
	}
	n := func(name string) int { return f[name].(int) }
	sanitized := count(n("sanitizings"), "sanitizing step", "sanitizing steps")
	var out sentences
	out.say("On file %s: %s and %s, on %s.", when, count(n("rinses"), "rinse", "rinses"), sanitized, mats(n("mats")))
	out.say("Sown on without an accepted sanitizing step before: %s.", count(l.unsown, "time", "times"))
	out.say("Harvested, and no accepted sanitizing step since, at the end of the period: %s.", mats(l.open))
	out.say("Not accepted: %d of %s.", n("sanitizings_not_accepted"), sanitized)
	out.say("Written down late: %s. Voided: %s.",
		count(n("steps_late"), "step", "steps"), count(n("steps_voided"), "step", "steps"))
	out.say("Weeks that are over and hold steps that nobody has reviewed: %d.", l.weeks)
	if own := n("steps_reviewed_by_their_own"); own > 0 {
		out.say("Reviewed by the person who did them: %s.", count(own, "step", "steps"))
	}
	if n := n("records_superseded"); n > 0 {
		out.say("Directions, solutions or strip readings that a step relied on and that a newer record replaced: %d.", n)
	}
	if farm := n("sanitizings_by_farm_procedure"); farm > 0 {
		out.say("By the farm's own procedure, not by label directions for food-contact surfaces: %d of %s.", farm, sanitized)
	}
	return out
}

func byProcedure(r cleaning) bool {
	b, ok := r.step.Body.(*medium.Sanitize)
	return ok && r.counts() && b.Directions != nil && b.Directions.Directions == medium.DirectionsFarm
}

func (l *sanitationLog) gapTable() Section {
	s := newSection("gaps")
	for i, g := range l.gaps {
		when := cell{cmp.Or(g.when, l.time(g.at)), fields{"at": moment(g.at)}}
		more := cell{g.more, fields{"more": known(g.more)}}
		if g.week > 0 {
			monday := date(g.at.In(l.loc))
			when = cell{"week of " + monday.text, fields{"week_from": monday.value}}
			more = cell{count(g.week, "step", "steps"), fields{"steps": g.week}}
		}
		mat := cell{cmp.Or(keep(g.mat.String()), "–"), known(string(g.mat))}
		s.add(i+1, g.what, mat, when, cell{cmp.Or(g.by, "–"), known(g.by)}, more)
	}
	return s
}

// numbers gives the numbers of the gaps that speak of a row.
func (l *sanitationLog) numbers() map[stepKey][]int {
	out := map[stepKey][]int{}
	for i, g := range l.gaps {
		if g.row.mat != "" {
			out[g.row] = append(out[g.row], i+1)
		}
	}
	return out
}

func (l *sanitationLog) time(t time.Time) string {
	return keep(day(t.In(l.loc))) + " " + t.In(l.loc).Format("15:04")
}

// when is the time of a step, which says where only its day is known.
func (l *sanitationLog) when(s medium.Step) string {
	if day := s.When(l.loc, "2 Jan 2006 15:04"); !strings.Contains(day, ":") {
		return keep(day) + ", day only"
	}
	return l.time(s.At)
}

func (l *sanitationLog) stepTable() Section {
	s, numbers := newSection("steps"), l.numbers()
	s.Dense = true
	if len(numbers) == 0 {
		s.Note = ""
	}
	for i := range l.rows {
		r := &l.rows[i]
		s.addWhole(func() any { return r.named(numbers[r.key()]) }, l.row(*r, numbers[r.key()])...)
	}
	return s
}

// named is a step of the log for programs: its record, and what it counts for.
func (c cleaning) named(gaps []int) fields {
	f := fields{"step": c.step, "place": known(c.place), "crop_before": known(c.crop), "lot_before": known(c.lot),
		"accepted": c.accepted && c.counts(),
		"voided":   !c.counts(), "by_farm_procedure": byProcedure(c), "gaps": gaps, "reviewed_by": nil, "reviewed_at": nil,
		"own_review": c.own()}
	if c.review != nil {
		f["reviewed_by"], f["reviewed_at"] = c.review.By, c.review.Recorded
	}
	return f
}

func (l *sanitationLog) row(r cleaning, numbers []int) []string {
	place := cmp.Or(r.place, unknown)
	if !r.sown && r.place == "" {
		place = "–" // a new mat was on no shelf yet
	}
	reviewed := "–"
	if r.review != nil {
		reviewed = r.review.By + " " + keep(day(r.review.Recorded.In(l.loc)))
	}
	if r.own() {
		reviewed += " (own)"
	}
	cells := append([]string{l.when(r.step), place, keep(r.step.Mat.String()), lotText(r.crop, r.lot)},
		l.values(r.step.Body)...)
	return append(cells, r.step.By, reviewed, result(r, numbers))
}

// values gives method, product, strength, contact time and the other values.
func (l *sanitationLog) values(body medium.Body) []string {
	switch b := body.(type) {
	case *medium.Rinse:
		other := "debris: " + cmp.Or(string(b.Debris), unknown)
		if b.Minutes > 0 {
			other += "; " + keep(short(b.Minutes)+" min")
		}
		return []string{"rinse", cmp.Or(b.Detergent, "water"), "–", "–", other}
	case *medium.Sanitize:
		return []string{method(b), cmp.Or(b.Product, b.Active, unknown), fmt.Sprint(b.StrengthPPM),
			keep(medium.Seconds(b.ContactS)), l.otherValues(b)}
	}
	return make([]string, 5)
}

func method(b *medium.Sanitize) string {
	sides := "both sides"
	if b.Sides < 2 {
		sides = "one side"
	}
	return "sanitize: " + cmp.Or(b.Method, "method "+unknown) + ", " + sides
}

// readIn says when a figure was read in the bottle that served several uses.
func (l *sanitationLog) readIn(at time.Time) string {
	if at.IsZero() {
		return ""
	}
	return ", read " + l.time(at)
}

func (l *sanitationLog) otherValues(b *medium.Sanitize) string {
	var out sentences
	if b.TempC != nil {
		out.say("%v C%s", *b.TempC, l.readIn(b.TempAt))
	}
	if b.PH != nil {
		out.say("pH %v%s", *b.PH, l.readIn(b.PHAt))
	}
	if b.Rinsed {
		out = append(out, "rinsed after")
	}
	if b.Solution != "" {
		out = append(out, "solution "+b.Solution.String())
	}
	switch {
	case b.Mixed == nil:
	case b.Mixed.Strip == nil:
		out = append(out, "no strip read before")
	default:
		out.say("strip %v ppm, %s by %s", b.Mixed.Strip.ReadPPM, l.time(b.Mixed.StripAt), b.Mixed.StripBy)
	}
	if len(out) == 0 {
		return "–"
	}
	return strings.Join(out, "; ")
}

// result says accepted or not, with the numbers of the gaps where the reasons
// stand, so that a row keeps to one line.
func result(r cleaning, numbers []int) string {
	said := "accepted"
	switch {
	case !r.counts():
		said = "void"
	case r.lost != nil:
		said = fmt.Sprintf("accepted when recorded; not counted since step %d was voided",
			r.lost.Body.(*medium.Correct).MatSeq)
	case !r.accepted:
		said = "not accepted"
	case byProcedure(r):
		said = "accepted (farm procedure)"
	}
	if r.step.Replaces > 0 {
		said += fmt.Sprintf(", stands for void step %d", r.step.Replaces)
	}
	if r.step.Outcome.Late {
		said += ", late"
	}
	if len(numbers) > 0 {
		said += ", see " + list(strings.Fields(strings.Trim(fmt.Sprint(numbers), "[]")))
	}
	return said
}
