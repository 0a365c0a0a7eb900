package report

import (
	"fmt"
	"math"

	"resow/medium"
	"resow/medium/lifetime"
)

// costs sets mats of each material against throw-away medium.
type costs struct {
	currency string
	prices   medium.Prices
	minutes  lifetime.Estimate
	timed    int
	untimed  error
	lines    []costLine
	areaMM2  float64 // of the mats that one tray of medium is taken to fill
	retired  int
	retiredG float64 // mean dry mass of a retired mat, 0 where not known
	turns    int
	mediumG  float64 // for all turns, each by its mat's area
}

type costLine struct {
	name    string
	mat     lifetime.MatCost
	medium  lifetime.Medium
	life    lifetime.RestrictedMean
	costs   lifetime.Costs
	reach   lifetime.Point // share of mats that live to the break-even
	reached bool
	refused string
}

// usualArea is the area that most mats have.
func usualArea(mats []medium.Condition) float64 {
	n := map[float64]int{}
	best := 0.0
	for _, c := range mats {
		a := c.Mat.AreaMM2()
		n[a]++
		if n[a] > n[best] || n[a] == n[best] && a > best {
			best = a
		}
	}
	return best
}

func costsOf(farm medium.Farm, mats []medium.Condition, l lives, t *Tally) costs {
	c := costs{currency: farm.Settings.Currency, prices: farm.Prices, timed: len(t.minutes), areaMM2: usualArea(mats)}
	c.minutes, c.untimed = lifetime.MeanOf(t.minutes, confidence)
	c.minutes.Low = max(0, c.minutes.Low)
	c.weigh(mats)
	for _, g := range l.groups {
		c.lines = append(c.lines, c.line(g, mats))
	}
	return c
}

func (c *costs) weigh(mats []medium.Condition) {
	weighed := 0
	for _, m := range mats {
		c.turns += m.Turn
		c.mediumG += float64(m.Turn) * c.prices.MediumGPerTray * c.shareOf(m.Mat)
		if m.Stage == medium.Retired {
			c.retired++
			if m.Mat.DryWeightG > 0 {
				weighed++
				c.retiredG += m.Mat.DryWeightG
			}
		}
	}
	if weighed > 0 {
		c.retiredG /= float64(weighed)
	}
}

// shareOf is the share of a tray that a mat fills.
func (c costs) shareOf(m medium.Mat) float64 {
	if c.areaMM2 <= 0 {
		return 1
	}
	return m.AreaMM2() / c.areaMM2
}

func (c costs) line(g lifeGroup, mats []medium.Condition) costLine {
	line := costLine{name: g.name}
	sum, share, priced, n := 0.0, 0.0, 0, 0
	for _, m := range mats {
		if named(m.Mat.Material) != g.name {
			continue
		}
		n++
		share += c.shareOf(m.Mat)
		if m.Mat.Cost > 0 {
			priced++
			sum += m.Mat.Cost
		}
	}
	share /= math.Max(1, float64(n))
	switch {
	case priced == 0:
		line.refused = "no price of the mesh on file"
	case c.prices.MediumPerTray == 0:
		line.refused = "no price of the medium on file"
	case c.untimed != nil:
		line.refused = "no washing times on file"
	case g.refused != nil:
		line.refused = "life not known yet"
	}
	if line.refused != "" {
		return line
	}
	line.mat = lifetime.MatCost{Mesh: sum / float64(priced), Label: c.prices.LabelPerMat, SanitizerPerTurn: c.prices.SanitizerPerTurn,
		WaterPerTurn: c.prices.WaterPerTurn, Minutes: c.minutes, LabourPerHour: c.prices.LabourPerHour}
	line.medium = lifetime.Medium{PerSowing: c.prices.MediumPerTray * share, Minutes: c.prices.MediumMinutes, MassG: c.prices.MediumGPerTray * share}
	var err error
	if line.life, err = g.curve.RestrictedMean(0); err == nil {
		line.costs, err = lifetime.CostPerTurn(line.mat, line.life.Estimate, line.medium)
	}
	if err != nil {
		line.refused = "can't be worked out from these records"
		return line
	}
	line.reach, line.reached = lifetime.ReachChance(g.curve, line.costs.BreakEven)
	return line
}

func (c costs) money(v float64) string { return minus(money(v, c.currency)) }

func (c costs) span(low, high float64) string {
	return fmt.Sprintf("%.2f to %.2f", low, high)
}

// known are the lines with figures.
func (c costs) known() []costLine {
	var out []costLine
	for _, l := range c.lines {
		if l.refused == "" {
			out = append(out, l)
		}
	}
	return out
}

func (c costs) say() []string {
	lines := c.known()
	if len(lines) == 0 {
		switch {
		case c.turns == 0:
			return nil
		case c.prices.MediumPerTray == 0:
			return []string{"Whether reuse pays can't be said without the price of the throw-away medium; give it with `resow prices set`."}
		}
		return []string{"Whether reuse pays can't be said yet: " + c.why() + "."}
	}
	var out []string
	for _, l := range lines[:min(len(lines), 2)] {
		out = append(out, l.say(c))
	}
	return append(out, c.sayMass()...)
}

func (c costs) why() string {
	if len(c.lines) == 0 {
		return "no mats are on file"
	}
	return c.lines[0].refused
}

func (l costLine) say(c costs) string {
	said := fmt.Sprintf("A turn on %s costs %s (%s), on throw-away medium %s", l.name, c.money(l.costs.PerTurn.Value),
		c.span(l.costs.PerTurn.Low, l.costs.PerTurn.High), c.money(l.costs.Medium))
	if l.costs.BreakEven.Never {
		return said + ": at these prices a mat never pays for itself."
	}
	said += fmt.Sprintf(": a mat has paid for itself after %s (%s)", turns(l.costs.BreakEven.Turns), l.breakSpan())
	if l.reached {
		said += fmt.Sprintf(", and %s of them live that long", percentOf(l.reach.S))
	}
	return said + "."
}

func (l costLine) breakSpan() string {
	name := func(b lifetime.BreakEven) string {
		if b.Never {
			return "never"
		}
		return fmt.Sprint(b.Turns)
	}
	return name(l.costs.Earliest) + " to " + name(l.costs.Latest)
}

func (c costs) sayMass() []string {
	if c.prices.MediumGPerTray == 0 || c.turns == 0 {
		return nil
	}
	said := fmt.Sprintf("The %s so far took the place of %s kg of throw-away medium", turns(c.turns), short(c.mediumG/1000))
	if c.retired > 0 && c.retiredG > 0 {
		said += fmt.Sprintf("; the %s that are retired weighed about %s kg", mats(c.retired), short(float64(c.retired)*c.retiredG/1000))
	}
	return []string{said + "."}
}

func (c costs) section() Section {
	s := Section{Heading: "What a turn costs, against throw-away medium", Empty: "No mats are on file.",
		Note: fmt.Sprintf("Mesh and label over the mean life, sanitizer %s and water %s a turn, labor at %s an hour for the minutes noted at rinsing. One tray of medium stands for a mat of the farm's usual size; smaller mats for their share of it.",
			c.money(c.prices.SanitizerPerTurn), c.money(c.prices.WaterPerTurn), c.money(c.prices.LabourPerHour)),
		Columns: []Column{{Head: "Material"}, {Head: "Mesh and label", Right: true}, {Head: "Mean life, turns (at least)"}, {Head: "Cost per turn (95 % interval)"},
			{Head: "Medium", Right: true}, {Head: "Saved per turn", Right: true}, {Head: "Paid for at turn (interval)"}, {Head: "Mats that live so long", Right: true, Drop: 1}}}
	for _, l := range c.lines {
		s.Rows = append(s.Rows, c.row(l))
	}
	for i, l := range c.known() {
		if i < panels {
			s.Plots = append(s.Plots, c.plot(l))
		}
	}
	return s
}

func (c costs) row(l costLine) []string {
	if l.refused != "" {
		return []string{l.name, "–", l.refused, "–", "–", "–", "–", "–"}
	}
	paid, live := "never", "–"
	if !l.costs.BreakEven.Never {
		paid = fmt.Sprintf("%d (%s)", l.costs.BreakEven.Turns, l.breakSpan())
		live = "not known yet"
		if l.reached {
			live = percentOf(l.reach.S)
		}
	}
	return []string{l.name, c.money(l.costs.UpFront.Value), fmt.Sprintf("%s (%s to %s)", short(l.life.Value), short(l.life.Low), short(l.life.High)),
		fmt.Sprintf("%s (%s)", c.money(l.costs.PerTurn.Value), c.span(l.costs.PerTurn.Low, l.costs.PerTurn.High)), c.money(l.costs.Medium),
		c.money(l.costs.Saving.Value), paid, live}
}

func (c costs) plot(l costLine) Plot {
	last := math.Ceil(math.Max(l.life.Until, 1.5*float64(l.costs.BreakEven.Turns)))
	up := l.costs.UpFront.Value
	line := func(start, each float64) []Point { return []Point{{X: 0, Y: start}, {X: last, Y: start + each*last}} }
	mat := line(up, l.costs.Running.Value)
	band := []Point{{X: 0, Y: up, Low: up}, {X: last, Y: up + last*l.costs.Running.High, Low: up + last*l.costs.Running.Low}}
	media := line(0, l.costs.Medium)
	p := Plot{Title: l.name, Alt: "Money spent after so many turns on one mat (line; grey: 95 % interval of the washing time) and on throw-away medium (dashed). Where they cross the mat has paid for itself.",
		X: Axis{Label: "turns", To: last}, Y: Axis{Label: "spent, " + c.currency, To: 1.05 * math.Max(band[1].Y, media[1].Y)}}
	p.Series = []Series{{Shape: Band, Points: band}, {Name: "mat", Points: mat}, {Name: "medium", Style: 1, Points: media}}
	if !l.costs.BreakEven.Never && l.costs.BreakEven.Turns > 0 {
		n := float64(l.costs.BreakEven.Turns)
		p.Series = append(p.Series, Series{Name: fmt.Sprintf("turn %d", l.costs.BreakEven.Turns), Shape: Dots, Points: []Point{{X: n, Y: n * l.costs.Medium}}})
	}
	return p
}

// whatIf shows what another price of the mesh or another life would make of
// the cost of a turn, for the material with most mats.
func (c costs) whatIf() (Section, bool) {
	lines := c.known()
	if len(lines) == 0 {
		return Section{}, false
	}
	l := lines[0]
	prices, lives := []float64{l.mat.Mesh / 2, l.mat.Mesh, 2 * l.mat.Mesh}, []float64{math.Max(1, l.life.Value/2), l.life.Value, 1.5 * l.life.Value}
	rows, err := lifetime.WhatIf(l.mat, l.life.Estimate, l.medium, prices, lives)
	if err != nil {
		return Section{}, false
	}
	s := Section{Heading: "What if the mesh of " + l.name + " cost more, or lasted otherwise",
		Columns: []Column{{Head: "Price of the mesh", Right: true}, {Head: "Life, turns", Right: true}, {Head: "Cost per turn", Right: true}, {Head: "Saved per turn", Right: true}}}
	for _, r := range rows {
		s.Rows = append(s.Rows, []string{c.money(r.Mesh), short(r.Life), c.money(r.PerTurn.Value), c.money(r.Saving.Value)})
	}
	return s, true
}
