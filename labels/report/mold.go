package report

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"resow/medium/lifetime"
)

// molds is what the finished turns say about mold.
type molds struct {
	tally      *Tally
	groups     [][]lifetime.Count // by rateGroups
	compared   []comparedPair     // least p first
	uncompared int                // groups that were left out of the comparison
	weeks      []lifetime.Week
	first      int // week of the first of them
	chart      lifetime.Chart
	refused    error // why there are no control limits
	changes    []change
}

type comparedPair struct {
	by string
	lifetime.PairComparison
}

// change is a sanitizer that came in while the records ran.
type change struct {
	product       string
	day           int
	before, after lifetime.Count
	lifetime.Comparison
	refused error
}

func moldsOf(t *Tally) molds {
	m := molds{tally: t}
	for _, by := range rateGroups {
		m.groups = append(m.groups, t.group(by))
	}
	m.compare()
	m.weekly()
	m.sanitizers()
	return m
}

// compare sets every pair of a breakdown against each other and corrects for
// all pairs of all breakdowns together.
func (m *molds) compare() {
	var p []float64
	for i, counts := range m.groups {
		enough := where(counts, func(c lifetime.Count) bool { return ratable(c) && c.Name != unknown })
		m.uncompared += max(0, len(enough)-groupsCompared)
		enough = enough[:min(len(enough), groupsCompared)]
		pairs, err := lifetime.ComparePairs(enough, confidence)
		if err != nil {
			continue
		}
		for _, pair := range pairs {
			m.compared = append(m.compared, comparedPair{rateGroups[i], pair})
			p = append(p, pair.P)
		}
	}
	adjusted, err := lifetime.Holm(p)
	if err != nil {
		m.compared = nil
		return
	}
	for i := range m.compared {
		m.compared[i].Adjusted = adjusted[i]
	}
	slices.SortStableFunc(m.compared, func(a, b comparedPair) int { return cmp.Compare(a.P, b.P) })
}

// groupsCompared bounds the pairs of one breakdown: 12 groups make 66.
const groupsCompared = 12

func (m *molds) weekly() {
	if len(m.tally.weeks) == 0 {
		m.refused = &lifetime.TooLittle{Of: "weeks with harvests", Need: lifetime.DefaultLimits().WeeksForChart}
		return
	}
	weeks := slices.Sorted(maps.Keys(m.tally.weeks))
	m.first = weeks[0]
	for w := weeks[0]; w <= weeks[len(weeks)-1]; w++ {
		m.weeks = append(m.weeks, m.tally.weeks[w])
	}
	if m.refused = lifetime.DefaultLimits().Chart(m.weeks, 0); m.refused == nil {
		m.chart, m.refused = lifetime.ControlChart(m.weeks, 0, lifetime.PChart)
	}
}

// sanitizers finds the products that came in later, and compares the turns
// that they cleared a mat for with those sown before.
func (m *molds) sanitizers() {
	began, since := 0, map[string]int{}
	for key := range m.tally.days {
		if began == 0 || key.day < began {
			began = key.day
		}
		if day, ok := since[key.product]; !ok || key.day < day {
			since[key.product] = key.day
		}
	}
	for _, product := range slices.Sorted(maps.Keys(since)) {
		if product == unknown || since[product] < began+14 {
			continue
		}
		c := change{product: product, day: since[product]}
		var before, after lifetime.Week
		for key, week := range m.tally.days {
			switch {
			case key.day < c.day:
				before = sumWeeks(before, week)
			case key.product == product:
				after = sumWeeks(after, week)
			}
		}
		c.before, c.after = countOf("before", before), countOf(product, after)
		limits := lifetime.DefaultLimits()
		if c.refused = cmp.Or(limits.Rate(c.before), limits.Rate(c.after)); c.refused == nil {
			c.Comparison, c.refused = lifetime.Compare(c.after, c.before, confidence)
		}
		m.changes = append(m.changes, c)
	}
	slices.SortStableFunc(m.changes, func(a, b change) int { return cmp.Compare(a.day, b.day) })
}

// ratable says that a group has enough turns to state its rate.
func ratable(c lifetime.Count) bool { return lifetime.DefaultLimits().Rate(c) == nil }

func countOf(name string, w lifetime.Week) lifetime.Count {
	return lifetime.Count{Name: name, Hits: w.Moldy, Trials: w.Turns}
}

func dayTime(n int) time.Time { return time.Unix(int64(n)*86400, 0).UTC() }

// say gives at most three sentences: how often, where most, and whether the
// sanitizer made a difference.
func (m molds) say() []string {
	ended := countOf("mold", m.tally.ended)
	if ended.Trials == 0 {
		return []string{"No turn is finished yet to count mold in."}
	}
	said := "Mold was found in " + share(ended).text
	if !ratable(ended) {
		return []string{said + ", too few turns to state a rate."}
	}
	out := append([]string{said + m.sayWeeks() + "."}, m.sayPairs()...)
	changes := m.sayChanges()
	return append(out, changes[max(0, len(changes)-1):]...)
}

func (m molds) sayPairs() []string {
	if len(m.compared) == 0 {
		return nil
	}
	pairs := count(len(m.compared), "pair", "pairs")
	if p := m.compared[0]; p.Adjusted < 1-confidence {
		return []string{p.say(pairs)}
	}
	return []string{fmt.Sprintf("No material, crop, sanitizer, place, season or age molds more often than "+
		"another beyond chance (%s looked at, corrected).", pairs)}
}

func (p comparedPair) say(of string) string {
	more, less := p.A, p.B
	if more.Share() < less.Share() {
		more, less = less, more
	}
	return fmt.Sprintf("By %s, %s molds more often than %s: %s against %s of finished turns (%s after correction for %s).",
		p.by, more.Name, less.Name, percentOf(more.Share()), percentOf(less.Share()), probability(p.Adjusted), of)
}

// sayWeeks ends the sentence on the rate with what the control chart says.
func (m molds) sayWeeks() string {
	weeks := 0
	for _, w := range m.weeks {
		if w.Turns > 0 {
			weeks++
		}
	}
	if m.refused != nil {
		return fmt.Sprintf("; too few weeks with harvests (%d) for a control chart", weeks)
	}
	marks := map[lifetime.Mark]int{}
	for _, w := range m.chart.Weeks {
		marks[w.Mark]++
	}
	of, above, runs := count(weeks, "week", "weeks"), marks[lifetime.Above], marks[lifetime.RunAbove]
	if above+runs == 0 {
		return fmt.Sprintf("; none of %s has more than chance explains", of)
	}
	said := fmt.Sprintf("; %d of %s above the limit of the control chart", above, of)
	if runs > 0 {
		said += fmt.Sprintf(" and %d at the end of a long run above the mean", runs)
	}
	return said + fmt.Sprintf(" (chance alone marks a week in %s of such charts)", percentOf(m.chart.FalseAlarmChance))
}

func (m molds) sayChanges() []string {
	var out sentences
	for _, c := range m.changes {
		if c.refused != nil {
			continue
		}
		word := "no difference beyond chance"
		switch {
		case c.P >= 1-confidence:
		case c.Difference.High < 0:
			word = "less often"
		default:
			word = "more often"
		}
		out.say("Mats sanitized with %s, in use since %s: mold in %s of turns, before it %s: %s "+
			"(difference %s points; Fisher %s).",
			c.product, date(dayTime(c.day)).text, percentOf(c.after.Share()), percentOf(c.before.Share()), word,
			difference(c.Comparison).text, probability(c.P))
	}
	return out
}

func (m molds) rateTable() Section {
	s := newSection("mold_rates")
	var left sentences
	for i, counts := range m.groups {
		by := rateGroups[i]
		if more := len(counts) - rowsPerGroup; more > 0 {
			left.say("%d by %s", more, by)
		}
		for _, c := range counts[:min(len(counts), rowsPerGroup)] {
			rate, interval, exact := cell{}, "too few turns", cell{}
			if w, err := c.Wilson(confidence); err == nil && ratable(c) {
				rate = cell{percentOf(c.Share()), percentWithin(c.Share(), w.Low, w.High, "Wilson").value}
				interval = percentSpan(w.Low, w.High)
			}
			if w, err := c.ClopperPearson(confidence); err == nil && ratable(c) {
				exact = cell{percentSpan(w.Low, w.High), percentWithin(c.Share(), w.Low, w.High, "Clopper-Pearson").value}
			}
			s.add(cell{by, rateGroups[i]}, c.Name, c.Trials, c.Hits, rate, interval, exact)
			by = ""
		}
	}
	if len(left) > 0 {
		s.Note += fmt.Sprintf(" Of each breakdown the %d groups with most turns are listed; left out are %s.",
			rowsPerGroup, list(left))
	}
	for i := range m.groups {
		if p, ok := m.ratePlot(i); ok {
			s.Plots = append(s.Plots, p)
		}
	}
	if slices.ContainsFunc(m.groups, func(c []lifetime.Count) bool { return len(c) > groupsDrawn }) {
		s.Note += fmt.Sprintf(" A plot holds the %d with most turns.", groupsDrawn)
	}
	return s
}

// groupsDrawn is how many groups of a breakdown the plot holds.
const groupsDrawn = 8

// ratePlot draws the rates of one breakdown, a group to a line: the rate as a
// dot on its interval.
func (m molds) ratePlot(at int) (Plot, bool) {
	drawn := where(m.groups[at], ratable)
	drawn = drawn[:min(len(drawn), groupsDrawn)]
	if len(drawn) < 2 {
		return Plot{}, false
	}
	n := float64(len(drawn))
	p := newPlot("mold_rates")
	p.X.To, p.Y.To, p.Y.Label = 10, n, rateGroups[at]
	var dots, lines []Point
	for i, c := range drawn {
		w, err := c.Wilson(confidence)
		if err != nil {
			return Plot{}, false
		}
		y := n - 0.5 - float64(i)
		dots = append(dots, Point{X: 100 * c.Share(), Y: y})
		lines = append(lines, Point{X: 100 * w.High, Low: 100 * w.Low, Y: y})
		p.Y.Ticks = append(p.Y.Ticks, Tick{y, brief(c.Name)})
		p.X.To = min(100, max(p.X.To, 105*w.High))
	}
	all := 100 * countOf("", m.tally.ended).Share()
	p.Series = []Series{{Shape: Line, Style: 1, Points: []Point{{X: all}, {X: all, Y: n}}},
		{Shape: Across, Points: lines}, {Shape: Dots, Points: dots}}
	return p, true
}

// brief shortens a name for an axis.
func brief(name string) string {
	const most = 18
	if r := []rune(name); len(r) > most {
		return string(r[:most-1]) + "…"
	}
	return name
}

// rowsPerGroup keeps a farm with hundreds of shelves to a readable table.
const rowsPerGroup = 20

// pairsShown is how many pairs are shown that are not beyond chance.
const pairsShown = 8

func (m molds) pairTable() Section {
	pairs := count(len(m.compared), "pair", "pairs")
	shown := 0 // all that are beyond chance, and some more: least p first
	for shown < len(m.compared) && (shown < pairsShown || m.compared[shown].Adjusted < 1-confidence) {
		shown++
	}
	if shown < len(m.compared) {
		pairs += fmt.Sprintf("; the %d with the least p are shown", shown)
	}
	if m.uncompared > 0 {
		pairs += fmt.Sprintf("; of each breakdown only the %d groups with most turns are compared, %d are not",
			groupsCompared, m.uncompared)
	}
	s := newSection("mold_pairs", "{pairs}", pairs)
	if len(m.compared) == 0 {
		s.Note = ""
		return s
	}
	s.Figures = fields{"pairs": len(m.compared)}
	for _, p := range m.compared[:shown] {
		rates := cell{keep(short(100*p.A.Share()) + " / " + short(100*p.B.Share()) + " %"),
			fields{"group_percent": num(100 * p.A.Share()), "against_percent": num(100 * p.B.Share())}}
		s.add(p.by, p.A.Name, p.B.Name, rates, difference(p.Comparison), ratio(p.Comparison), pValue(p.P), pValue(p.Adjusted))
	}
	return s
}

// difference is that of two shares, in percentage points.
func difference(c lifetime.Comparison) cell {
	low, high := c.Difference.Low, c.Difference.High
	text := minus(short(100*low)) + " to " + minus(short(100*high))
	return cell{text, percentWithin(c.A.Share()-c.B.Share(), low, high, "Newcombe").value}
}

func ratio(c lifetime.Comparison) any {
	if !c.RatioKnown {
		return nil
	}
	return spanned(c.Ratio, hundredths, "Katz")
}

// figure writes a p-value without its letter.
func figure(p float64) string {
	return strings.TrimPrefix(probability(p), "p"+string(hard))
}

func (m molds) chartSection() Section {
	s := newSection("mold_by_week", "{center}", percentOf(m.chart.Centre), "{chance}", percentOf(m.chart.FalseAlarmChance))
	switch {
	case m.refused == nil:
		s.Figures = fields{"center_percent": num(100 * m.chart.Centre),
			"false_alarm_percent": num(100 * m.chart.FalseAlarmChance)}
	case len(m.weeks) > 0:
		s.Note, s.Columns = "No limits: "+tooFew(m.refused)+".", s.Columns[:4]
	default:
		s.Note = ""
	}
	from := max(0, len(m.weeks)-weeksShown)
	if from > 0 {
		s.Note = strings.TrimSpace(s.Note + fmt.Sprintf(" The last %d of %d weeks are shown.", weeksShown, len(m.weeks)))
	}
	for i := from; i < len(m.weeks); i++ {
		w := m.weeks[i]
		row := []any{date(weekStart(m.first + i)), w.Turns, w.Moldy, nil}
		if w.Turns > 0 {
			row[3] = percentage(countOf("", w).Share())
		}
		if m.refused == nil {
			row = append(row, percentage(m.chart.Weeks[i].High), markWords[m.chart.Weeks[i].Mark])
		}
		s.add(row...)
	}
	if len(m.weeks) > 1 {
		s.Plots = []Plot{m.chartPlot(from)}
	}
	return s
}

// weeksShown keeps the chart and its table to a year.
const weeksShown = 52

var markWords = map[lifetime.Mark]string{lifetime.Above: "above", lifetime.Below: "below",
	lifetime.RunAbove: "long run above", lifetime.RunBelow: "long run below"}

func (m molds) chartPlot(from int) Plot {
	p := newPlot("mold_by_week")
	p.X.From, p.X.To, p.Y.To = float64(from), float64(len(m.weeks)-1), 10
	var shares, limits, marks []Point
	for i, w := range m.weeks[from:] {
		if w.Turns == 0 {
			continue
		}
		at := Point{X: float64(from + i), Y: 100 * countOf("", w).Share()}
		shares = append(shares, at)
		p.Y.To = max(p.Y.To, at.Y)
		if m.refused != nil {
			continue
		}
		week := m.chart.Weeks[from+i]
		limits = append(limits, Point{X: at.X - 0.5, Y: 100 * week.High})
		p.Y.To = max(p.Y.To, min(60, 100*week.High))
		if week.Mark != lifetime.Unmarked {
			marks = append(marks, at)
		}
	}
	if len(limits) > 0 {
		limits = append(limits, Point{X: p.X.To, Y: limits[len(limits)-1].Y})
	}
	p.Y.To = min(100, float64(int(p.Y.To/10)+1)*10)
	span := len(m.weeks) - from
	for i := from; i < len(m.weeks); i += max(1, (span+7)/8) {
		p.X.Ticks = append(p.X.Ticks, Tick{float64(i), weekStart(m.first + i).Format("2 Jan")})
	}
	p.Series = []Series{{Name: "share of turns with mold", Shape: Dotted, Points: shares}}
	if m.refused == nil {
		p.Series = append(p.Series,
			Series{Name: "mean of all weeks", Shape: Line, Style: 2, Points: p.level(100 * m.chart.Centre)},
			Series{Name: "upper limit", Shape: Steps, Style: 1, Points: limits})
		if len(marks) > 0 {
			p.Series = append(p.Series, Series{Name: "beyond chance", Shape: Dots, Style: 3, Points: marks})
		}
	}
	return p
}

func (m molds) changeTable() Section {
	s := newSection("sanitizer_changes")
	for _, c := range m.changes {
		var times any
		test := cell{text: "too few"}
		if c.refused == nil {
			times = ratio(c.Comparison)
			test = cell{figure(c.P), fields{"fisher_p": num(c.P), "difference_points": difference(c.Comparison).value}}
		}
		s.add(c.product, date(dayTime(c.day)), share(c.before), share(c.after), times, test)
	}
	return s
}
