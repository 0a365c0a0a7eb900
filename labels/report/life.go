package report

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"resow/medium/lifetime"
)

const confidence = 0.95

// tooFew puts a refusal in words.
func tooFew(err error) string {
	var little *lifetime.TooLittle
	if errors.As(err, &little) {
		return fmt.Sprintf("too few %s (%d so far, at least %d needed)", little.Of, little.Have, little.Need)
	}
	return "can't be worked out from these records"
}

// probability writes a p-value.
func probability(p float64) string {
	if p < 0.001 {
		return keep("p < 0.001")
	}
	if p < 0.1 {
		return keep(fmt.Sprintf("p %.3f", p))
	}
	return keep(fmt.Sprintf("p %.2f", p))
}

// minus sets a true minus sign, which no spreadsheet takes for a formula.
func minus(figure string) string {
	if rest, ok := strings.CutPrefix(figure, "-"); ok {
		return "\u2212" + rest
	}
	return figure
}

func hundredths(v float64) string { return decimals(v, 2) }

func percentOf(share float64) string { return keep(short(100*share) + " %") }

// percentSpan writes two shares as "6.1 to 17.2 %".
func percentSpan(low, high float64) string {
	return keep(short(100*low)) + " to " + keep(short(100*high)+" %")
}

// lives is how long the mats of each material, or supplier, last.
type lives struct {
	by     lifeBy
	groups []lifeGroup // most mats first
	all    lifeGroup
	until  float64 // the longest turn that all known curves reach
	test   lifetime.LogRankResult
	pairs  []lifePair
}

type lifeGroup struct {
	name    string
	obs     []lifetime.Observation
	curve   lifetime.Curve
	refused error // why nothing is said of the life
}

// lifePair compares two groups, the longer-lived first.
type lifePair struct {
	a, b     string
	ratio    lifetime.RestrictedMean
	adjusted float64 // log-rank, corrected by Holm for the pairs looked at
}

func newLifeGroup(name string, obs []lifetime.Observation) lifeGroup {
	g := lifeGroup{name: name, obs: obs}
	if g.refused = lifetime.DefaultLimits().Curve(obs); g.refused == nil {
		g.curve, g.refused = lifetime.KaplanMeier(obs, confidence, lifetime.LogLog)
	}
	return g
}

func livesOf(c *census, by lifeBy) lives {
	l := lives{by: by, all: newLifeGroup(allMats, c.observations())}
	for name, obs := range c.grouped(by) {
		l.groups = append(l.groups, newLifeGroup(name, obs))
	}
	slices.SortFunc(l.groups, func(a, b lifeGroup) int {
		return cmp.Or(cmp.Compare(len(b.obs), len(a.obs)), strings.Compare(a.name, b.name))
	})
	l.compare()
	return l
}

// noted says that the group is on file for some mat.
func (l lives) noted() bool {
	return slices.ContainsFunc(l.groups, func(g lifeGroup) bool { return g.name != unknown })
}

// known are the groups with enough retired mats.
func (l lives) known() []lifeGroup {
	return where(l.groups, func(g lifeGroup) bool { return g.refused == nil })
}

func (l *lives) compare() {
	groups := where(l.known(), func(g lifeGroup) bool { return g.name != unknown || len(l.groups) == 1 })
	var tested []lifetime.Group
	for i, g := range groups {
		if i == 0 || g.curve.LastTurn < l.until {
			l.until = g.curve.LastTurn
		}
		tested = append(tested, g.tested())
	}
	if len(groups) < 2 {
		return
	}
	l.test, _ = lifetime.LogRank(tested) // of which no pair is left where it is refused
	var p []float64
	for i := range groups {
		for j := i + 1; j < len(groups); j++ {
			pair, chance, err := comparePair(groups[i], groups[j])
			if err != nil {
				continue
			}
			l.pairs = append(l.pairs, pair)
			p = append(p, chance)
		}
	}
	adjusted, err := lifetime.Holm(p)
	if err != nil {
		l.pairs = nil
		return
	}
	for i := range l.pairs {
		l.pairs[i].adjusted = adjusted[i]
	}
}

func (g lifeGroup) tested() lifetime.Group { return lifetime.Group{Name: g.name, Observations: g.obs} }

// comparePair sets two groups against each other; too few expected
// retirements are an error.
func comparePair(a, b lifeGroup) (lifePair, float64, error) {
	test, err := lifetime.LogRank([]lifetime.Group{a.tested(), b.tested()})
	if err == nil {
		err = lifetime.DefaultLimits().Comparison(test)
	}
	if err != nil {
		return lifePair{}, 0, err
	}
	ratio, err := lifetime.LifeRatio(a.curve, b.curve, 0)
	if err == nil && ratio.Value < 1 {
		a, b = b, a
		ratio, err = lifetime.LifeRatio(a.curve, b.curve, 0)
	}
	return lifePair{a: a.name, b: b.name, ratio: ratio}, test.P, err
}

// say gives at most two sentences: which lasts longer, or how long all last.
func (l lives) say() []string {
	if l.all.refused != nil {
		rate, err := lifetime.RetirementRate(l.all.obs, confidence)
		if err != nil {
			return nil
		}
		done := turns(int(rate.Turns + 0.5))
		if rate.Retired == 0 {
			return []string{"No mat is retired yet, so how long a mat lasts can't be said; the mats have made " +
				done + " in all."}
		}
		return []string{fmt.Sprintf("Too few mats are retired to say how long a mat lasts: %d so far, in "+
			"%s of all mats together.", rate.Retired, done)}
	}
	unlike := l.sayUnlike()
	if len(unlike) > 0 {
		return unlike[:min(len(unlike), 2)]
	}
	out := sentences{l.all.sayHalf()}
	if len(l.pairs) > 0 {
		out.say("The records show no difference in life between %s beyond chance (log-rank %s).",
			l.by.many, probability(l.test.P))
	} else if len(l.groups) > 1 {
		out.say("Too few mats are retired to compare the life of the %s.", l.by.many)
	}
	return out
}

// sayUnlike names the pairs that differ beyond chance.
func (l lives) sayUnlike() []string {
	var out sentences
	for _, p := range l.pairs {
		if p.adjusted < 1-confidence {
			out.say("Mats of %s last %s times as long as %s over the first %s turns (%s; log-rank %s).", p.a,
				hundredths(p.ratio.Value), p.b, short(p.ratio.Until), interval95(p.ratio.Estimate, hundredths),
				probability(p.adjusted))
		}
	}
	return out
}

func (g lifeGroup) sayHalf() string {
	half := g.curve.Median()
	if !half.At.Reached {
		last := g.curve.Points[len(g.curve.Points)-1]
		return fmt.Sprintf("Fewer than half of the mats end within the %s turns that the records reach: "+
			"%s are still in use then (95 %% interval %s).",
			short(g.curve.LastTurn), percentOf(last.S), percentSpan(last.Low, last.High))
	}
	e := medianTurns(half)
	return fmt.Sprintf("Half of the mats are retired by turn %s (%s).", short(e.Value), interval95(e, turnReached))
}

// medianTurns is the turn by which a share is retired; an end that the curve does
// not reach is no number.
func medianTurns(q lifetime.Quantile) lifetime.Estimate {
	turn := func(c lifetime.Crossing) float64 {
		if !c.Reached {
			return math.NaN()
		}
		return c.Turns
	}
	return lifetime.Estimate{Value: turn(q.At), Low: turn(q.Low), High: turn(q.High)}
}

func turnReached(v float64) string { return shortOr(v, "not reached") }

func (l lives) table() Section {
	s := l.section("life_by_{one}", "{mean turns}", l.meanHead())
	s.Figures = fields{"mean_within_turns": given(l.until)}
	for _, g := range l.groups {
		s.add(l.row(g)...)
	}
	if len(l.groups) > 1 {
		s.add(l.row(l.all)...)
	}
	return s
}

// section begins a section whose words name what the lives are broken down by.
func (l lives) section(key string, filled ...string) Section {
	one, many := l.by.one, l.by.many
	return newSection(key, append(filled, "{one}", one, "{One}", headed(one), "{many}", many, "{Many}", headed(many))...)
}

// headed begins a text with a capital letter.
func headed(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

func (l lives) meanHead() string {
	if l.until == 0 {
		return "Mean turns"
	}
	return fmt.Sprintf("Mean turns within the first %s", short(l.until))
}

func (l lives) row(g lifeGroup) []any {
	half, mean := cell{text: tooFewShort(g.refused)}, cell{text: "–"}
	rate := cell{"no turns yet", fields{"turns_watched": 0}}
	if g.refused == nil {
		half = cell{text: "not reached"}
		if q := g.curve.Median(); q.At.Reached {
			half = spanned(medianTurns(q), turnReached, "Kaplan-Meier")
		}
		if m, err := g.curve.RestrictedMean(l.until); err == nil {
			mean = spanned(m.Estimate, short, "Kaplan-Meier")
		}
	}
	if r, err := lifetime.RetirementRate(g.obs, confidence); err == nil {
		rate = turnsForEach(r)
	}
	return []any{g.name, len(g.obs), retiredIn(g.obs), half, mean, rate}
}

func retiredIn(obs []lifetime.Observation) int {
	n := 0
	for _, o := range obs {
		if o.Retired {
			n++
		}
	}
	return n
}

// turnsForEach gives a rate of retirements as the turns that one stands for: a
// rate per 100 turns would read as a percentage, and can be over 100.
func turnsForEach(r lifetime.Rate) cell {
	if r.Retired == 0 {
		return cell{fmt.Sprintf("none in %s", turns(int(r.Turns+0.5))), fields{"turns_watched": num(r.Turns),
			"turns_per_retired_mat": nil}}
	}
	each := spanned(lifetime.Estimate{Value: 1 / r.PerTurn, Low: 1 / r.High, High: 1 / r.Low}, short, "exact Poisson")
	each.value = fields{"turns_watched": num(r.Turns), "turns_per_retired_mat": each.value}
	return each
}

func tooFewShort(err error) string {
	var few *lifetime.TooLittle
	switch {
	case err == nil:
		return ""
	case errors.As(err, &few):
		return "too few retired"
	}
	return "no life can be fitted"
}

// supplierSections are the life by supplier, or why there is none.
func (l lives) supplierSections(c *census) []Section {
	texts := words("life_by_{one}")
	if !l.noted() {
		none := l.section("life_by_{one}")
		none.Note, none.Empty = "", texts.text("not noted")
		return []Section{none}
	}
	table := l.table()
	table.Note = texts.text("suppliers")
	if c.oneMaterialEach() {
		table.Note = texts.text("one material each")
		return []Section{table}
	}
	curves, ok := l.curves()
	if !ok {
		return []Section{table, l.pairTable()}
	}
	return []Section{table, curves, l.pairTable()}
}

// panels is how many groups are drawn side by side.
const panels = 3

// curves draws the survival curve of each material with its band, the others
// faint behind it, and gives the figures as a table.
func (l lives) curves() (Section, bool) {
	groups := l.known()
	groups = groups[:min(len(groups), panels)]
	if len(groups) == 0 {
		return Section{}, false
	}
	last := 0.0
	for _, g := range groups {
		last = max(last, g.curve.LastTurn)
	}
	s := l.section("survival_by_{one}")
	if of := len(l.known()); of > panels {
		s.Note = fmt.Sprintf("The %d with most mats, of %d; the table before has all.", panels, of)
	}
	for i, g := range groups {
		s.Plots = append(s.Plots, survivalPlot(groups, i, last))
		s.Columns = append(s.Columns, Column{Head: g.name + " (95 % interval)", Of: g.name, Name: "in_use_percent"},
			Column{Head: "Mats watched", Of: g.name, Name: "mats_watched", Right: true})
	}
	step := max(1, int(last/10+0.5))
	for turn := step; float64(turn) <= last; turn += step {
		row := []any{turn}
		for _, g := range groups {
			p, ok := g.curve.At(float64(turn))
			if !ok {
				row = append(row, cell{text: "not known yet"}, "")
				continue
			}
			row = append(row, percentWithin(p.S, p.Low, p.High, "Kaplan-Meier, log-log"), watchedIn(g.obs, float64(turn)))
		}
		s.add(row...)
	}
	return s, true
}

// watchedIn counts the mats known to be in use in a turn.
func watchedIn(obs []lifetime.Observation, turn float64) int {
	n := 0
	for _, o := range obs {
		if o.Turns >= turn {
			n++
		}
	}
	return n
}

func survivalPlot(groups []lifeGroup, at int, last float64) Plot {
	p := newPlot("survival_by_{one}")
	p.Title, p.X.To, p.Y.To = groups[at].name, last, 100
	steps, band := curvePoints(groups[at].curve)
	p.Series = append(p.Series, Series{Shape: StepBand, Points: band})
	for i, g := range groups {
		if i != at {
			points, _ := curvePoints(g.curve)
			p.Series = append(p.Series, Series{Name: g.name, Shape: Steps, Style: i, Faint: true, Points: points})
		}
	}
	p.Series = append(p.Series, Series{Shape: Steps, Points: steps})
	if f, err := fitLife(sownOn(groups[at].obs)); err == nil {
		points := fittedPoints(f.Weibull, groups[at].curve.LastTurn)
		p.Series = append(p.Series, Series{Name: "fitted life", Style: 2, Points: points})
	}
	return p
}

// fittedPoints draws a fitted life as far as the records reach, in percent.
func fittedPoints(w lifetime.Weibull, last float64) []Point {
	const pieces = 48
	points := make([]Point, 0, pieces+1)
	for i := range pieces + 1 {
		x := last * float64(i) / pieces
		points = append(points, Point{X: x, Y: 100 * w.Survival(x)})
	}
	return points
}

// curvePoints gives the steps of a curve and its band, in percent.
func curvePoints(c lifetime.Curve) (steps, band []Point) {
	steps, band = []Point{{Y: 100}}, []Point{{Y: 100, Low: 100}}
	for _, p := range c.Points {
		steps = append(steps, Point{X: p.Turns, Y: 100 * p.S})
		band = append(band, Point{X: p.Turns, Y: 100 * p.High, Low: 100 * p.Low})
	}
	return steps, band
}

func (l lives) pairTable() Section {
	s := l.section("life_pairs_by_{one}")
	if len(l.pairs) == 0 {
		s.Note = ""
		return s
	}
	s.Figures = fields{"log_rank_p": num(l.test.P)}
	for _, p := range l.pairs {
		s.add(p.a, p.b, spanned(p.ratio.Estimate, hundredths, ""), tenths(p.ratio.Until), pValue(p.adjusted))
	}
	return s
}
