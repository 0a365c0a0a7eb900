package lifetime

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Week is the mold record of one week: turns harvested and turns with mold.
type Week struct {
	Turns int
	Moldy int
}

// ChartKind chooses the limits of a control chart.
type ChartKind int

const (
	// PChart has the limits of a binomial share (Shewhart). The default.
	PChart ChartKind = iota
	// LaneyChart widens (or narrows) them by the spread that the weeks really
	// show (Laney 2002, Quality Engineering 14(4) 531-537): for weeks of very
	// many turns, where small real differences between weeks put points outside
	// a p-chart.
	LaneyChart
)

// Mark says why a week stands out.
type Mark int

const (
	// Unmarked weeks are within the play of chance.
	Unmarked Mark = iota
	// Above its upper limit: the mold rate of this week is really higher.
	Above
	// Below its lower limit.
	Below
	// RunAbove is a week that ends a run above the centre too long for chance.
	RunAbove
	// RunBelow likewise below the centre.
	RunBelow
)

// ChartWeek is one point of the chart. A week without turns has no point: its
// Plotted is false and runs pass over it.
type ChartWeek struct {
	Week
	Plotted   bool
	Share     float64
	Low, High float64 // control limits of this week, within 0 and 1
	Mark      Mark
	// FalseAlarm is the chance that this week alone falls beyond its limits
	// though nothing has changed. Near 0.0027 for a normal chart (three
	// standard deviations); the exact binomial chance on a p-chart, which for
	// small counts is often several times larger.
	FalseAlarm float64
}

// Chart is a control chart of a mold rate over weeks.
type Chart struct {
	Kind   ChartKind
	Centre float64 // all mold over all turns of the baseline weeks
	// Spread is Laney's sigma z: the spread between neighbouring weeks over the
	// binomial one. 1 is pure chance; well above 1 the weeks really differ.
	Spread float64
	// SpreadP is the chance of so large a spread over the baseline weeks by
	// chance (chi-square of dispersion); SpreadKnown is false with fewer than
	// two plotted weeks or a centre of 0 or 1.
	SpreadP     float64
	SpreadKnown bool
	Weeks       []ChartWeek
	// FalseAlarmChance is the cost of looking: the chance that a chart of just
	// these weeks shows at least one mark though nothing has changed, both rules
	// together and the centre taken as true.
	FalseAlarmChance float64
}

const (
	chartSigmas = 3.0
	// runChance is what eight points in a row on one side come to when either
	// side is as likely: the Western Electric run rule (Statistical Quality
	// Control Handbook, 1956). A skewed week (most weeks of a small farm have no
	// mold at all) counts with its own exact chance instead, so that a long
	// clean spell on a low rate is not called a shift.
	runChance = 1.0 / 256
)

// ControlChart draws limits from the first baseline weeks (0: from all of
// them) and marks weeks that chance does not explain. Take as baseline the
// weeks before a change (a new sanitizer): limits estimated from weeks that
// already shifted hide the shift. Two rules mark: a week beyond its three-sigma
// limits, and a run on one side of the centre that is as unlikely as eight in a
// row on an even chart. The zone rules (two of three beyond two sigma, four of
// five beyond one) are left out: all four together give a false alarm every
// 91.75 points instead of every 370 (Champ & Woodall 1987), and far more on the
// skewed counts of a mold chart.
//
// Errors: *TooLittle without a baseline week with turns, *Invalid.
func ControlChart(weeks []Week, baseline int, kind ChartKind) (Chart, error) {
	if kind != PChart && kind != LaneyChart {
		return Chart{}, invalid("chart kind", fmt.Sprint(int(kind)), "use PChart or LaneyChart")
	}
	if baseline < 0 || baseline > len(weeks) {
		return Chart{}, invalid("baseline weeks", fmt.Sprint(baseline), fmt.Sprintf("give 0 (all) to %d", len(weeks)))
	}
	if baseline == 0 {
		baseline = len(weeks)
	}
	var moldy, turns int
	for i, w := range weeks {
		if w.Turns < 0 || w.Turns > maxTurns || w.Moldy < 0 || w.Moldy > w.Turns {
			return Chart{}, invalid(fmt.Sprintf("week %d", i+1), fmt.Sprintf("%d moldy of %d turns", w.Moldy, w.Turns),
				"give moldy turns from 0 to the turns of the week")
		}
		if i < baseline {
			moldy += w.Moldy
			turns += w.Turns
		}
	}
	if turns == 0 {
		return Chart{}, &TooLittle{Statement: "a control chart of the mold rate", Have: 0, Need: 1,
			Of: "baseline weeks with harvests", Advice: "record harvests, clean ones too"}
	}
	c := Chart{Kind: kind, Centre: float64(moldy) / float64(turns), Spread: 1, SpreadP: 1}
	c.measureSpread(weeks[:baseline])
	c.draw(weeks)
	c.markRuns()
	c.FalseAlarmChance = c.falseAlarmChance()
	return c, nil
}

func (c *Chart) sigma(turns int) float64 {
	return math.Sqrt(c.Centre * (1 - c.Centre) / float64(turns))
}

// measureSpread is Laney's: the mean moving range of the standardised weeks
// over 1.128 (d2 for ranges of two).
func (c *Chart) measureSpread(weeks []Week) {
	var zs []float64
	for _, w := range weeks {
		if w.Turns == 0 {
			continue
		}
		sd := c.sigma(w.Turns)
		if sd == 0 {
			return
		}
		zs = append(zs, (float64(w.Moldy)/float64(w.Turns)-c.Centre)/sd)
	}
	if len(zs) < 2 {
		return
	}
	moved, dispersion := 0.0, zs[0]*zs[0]
	for i := 1; i < len(zs); i++ {
		moved += math.Abs(zs[i] - zs[i-1])
		dispersion += zs[i] * zs[i]
	}
	c.Spread = moved / float64(len(zs)-1) / 1.128
	c.SpreadP = chiSquareTail(dispersion, len(zs)-1)
	c.SpreadKnown = true
}

func (c *Chart) draw(weeks []Week) {
	for _, w := range weeks {
		p := ChartWeek{Week: w}
		if w.Turns > 0 {
			c.place(&p)
		}
		c.Weeks = append(c.Weeks, p)
	}
}

func (c *Chart) place(p *ChartWeek) {
	width := chartSigmas * c.sigma(p.Turns)
	if c.Kind == LaneyChart {
		width *= c.Spread
	}
	p.Plotted = true
	p.Share = float64(p.Moldy) / float64(p.Turns)
	p.Low, p.High = clamp01(c.Centre-width), clamp01(c.Centre+width)
	// A point on its limit is not beyond it; the slack keeps rounding from
	// deciding.
	const slack = 1e-9
	switch {
	case p.Share > p.High+slack:
		p.Mark = Above
	case p.Share < p.Low-slack:
		p.Mark = Below
	}
	p.FalseAlarm = c.beyondHigh(*p) + c.beyondLow(*p)
}

// The chances of a week under an unchanged rate. On a p-chart they are exact;
// on Laney's chart, which denies the binomial, they are those of a normal.

func (c Chart) beyondHigh(p ChartWeek) float64 {
	if c.Kind == LaneyChart {
		return twoSided(chartSigmas) / 2
	}
	return c.atLeast(p.Turns, int(math.Floor(float64(p.Turns)*(p.High+1e-9)))+1)
}

func (c Chart) beyondLow(p ChartWeek) float64 {
	if c.Kind == LaneyChart {
		return twoSided(chartSigmas) / 2
	}
	return c.atMost(p.Turns, int(math.Ceil(float64(p.Turns)*(p.Low-1e-9)))-1)
}

// sides gives the chances to fall above and below the centre.
func (c Chart) sides(p ChartWeek) (above, below float64) {
	if c.Kind == LaneyChart {
		return 0.5, 0.5
	}
	middle := float64(p.Turns) * c.Centre
	return c.atLeast(p.Turns, int(math.Floor(middle+1e-9))+1), c.atMost(p.Turns, int(math.Ceil(middle-1e-9))-1)
}

func (c Chart) atLeast(n, x int) float64 {
	if x <= 0 {
		return 1
	}
	if x > n || c.Centre <= 0 {
		return 0
	}
	return 1 - c.atMost(n, x-1)
}

func (c Chart) atMost(n, x int) float64 {
	if x < 0 {
		return 0
	}
	if x >= n || c.Centre <= 0 {
		return 1
	}
	if c.Centre >= 1 {
		return 0
	}
	return clamp01(distuv.Binomial{N: float64(n), P: c.Centre}.CDF(float64(x)))
}

func (c *Chart) markRuns() {
	var run float64
	side := 0
	for i := range c.Weeks {
		p := &c.Weeks[i]
		if !p.Plotted {
			continue
		}
		above, below := c.sides(*p)
		now, chance := 0, 1.0
		switch {
		case p.Share > c.Centre+1e-12:
			now, chance = 1, above
		case p.Share < c.Centre-1e-12:
			now, chance = -1, below
		}
		if now == 0 || now != side {
			run = 1
		}
		side = now
		run *= chance
		if now == 0 || run > runChance || p.Mark != Unmarked {
			continue
		}
		p.Mark = RunAbove
		if now < 0 {
			p.Mark = RunBelow
		}
	}
}

// falseAlarmChance follows, week by week, the chance of having seen no mark
// yet, split by side and by the chance product of the run so far. The product
// depends only on the week in which the run began, so the states are few.
func (c Chart) falseAlarmChance() float64 {
	type run struct {
		side    int
		product float64
		chance  float64
	}
	quiet := []run{{0, 1, 1}}
	for _, p := range c.Weeks {
		if !p.Plotted {
			continue
		}
		above, below := c.sides(p)
		high, low := c.beyondHigh(p), c.beyondLow(p)
		level := math.Max(0, 1-above-below)
		var next []run
		fresh := [3]float64{} // below, level, above: runs that begin this week
		for _, r := range quiet {
			fresh[1] += r.chance * level
			for _, s := range []struct {
				side         int
				prob, inside float64
			}{{1, above, math.Max(0, above-high)}, {-1, below, math.Max(0, below-low)}} {
				if r.side != s.side {
					fresh[s.side+1] += r.chance * s.inside
					continue
				}
				if q := r.product * s.prob; q > runChance {
					next = append(next, run{s.side, q, r.chance * s.inside})
				}
			}
		}
		next = append(next, run{0, 1, fresh[1]})
		if above > runChance {
			next = append(next, run{1, above, fresh[2]})
		}
		if below > runChance {
			next = append(next, run{-1, below, fresh[0]})
		}
		quiet = next
	}
	still := 0.0
	for _, r := range quiet {
		still += r.chance
	}
	return clamp01(1 - still)
}
