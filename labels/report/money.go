package report

import (
	"fmt"
	"math"
	"strings"

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
	areaMM2  float64          // of the mats that one tray of medium is taken to fill
	sums                      // of all mats
	avoided  lifetime.Avoided // all turns, each by its mat's area
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

func costsOf(farm medium.Farm, all *census, l lives, t *Tally) costs {
	c := costs{currency: farm.Settings.Currency, prices: farm.Prices, timed: t.minutes.N, areaMM2: all.usualArea(),
		sums: all.all}
	c.minutes, c.untimed = t.minutes.Mean(confidence)
	c.minutes.Low = max(0, c.minutes.Low)
	c.weigh(all)
	for _, g := range l.groups {
		c.lines = append(c.lines, c.line(g, all))
	}
	return c
}

// weigh sets the medium that all turns would have used against the retired
// mats, taken to weigh what those with a weight on file do.
func (c *costs) weigh(all *census) {
	if c.turns == 0 {
		return
	}
	trays := 0.0
	for _, key := range all.bySize() {
		trays += float64(all.sizes[key].turns) * c.shareOf(key.areaMM2)
	}
	perTurn := lifetime.Medium{MassG: c.prices.MediumGPerTray * trays / float64(c.turns)}
	matG := c.weightG / math.Max(1, float64(c.weighed))
	if avoided, err := lifetime.MassAvoided(c.turns, perTurn, c.retired, matG); err == nil {
		c.avoided = avoided
	}
}

// shareOf is the share of a tray that a mat fills.
func (c costs) shareOf(areaMM2 float64) float64 {
	if c.areaMM2 <= 0 {
		return 1
	}
	return areaMM2 / c.areaMM2
}

func (c costs) line(g lifeGroup, all *census) costLine {
	line := costLine{name: g.name}
	p, sum, share, priced := c.prices, 0.0, 0.0, 0
	for _, key := range all.bySize() {
		if key.material != g.name {
			continue
		}
		s := all.sizes[key]
		share += float64(s.mats) * c.shareOf(key.areaMM2) / float64(len(g.obs))
		priced += s.priced
		sum += s.cost
	}
	switch {
	case priced == 0:
		line.refused = "no price of the mesh on file"
	case p.MediumPerTray == 0:
		line.refused = "no price of the medium on file"
	case c.untimed != nil:
		line.refused = "no washing times on file"
	case g.refused != nil:
		line.refused = "life not known yet"
	}
	if line.refused != "" {
		return line
	}
	line.mat = lifetime.MatCost{Mesh: sum / float64(priced), Label: p.LabelPerMat, SanitizerPerTurn: p.SanitizerPerTurn,
		WaterPerTurn: p.WaterPerTurn, Minutes: c.minutes, LaborPerHour: p.LaborPerHour}
	line.medium = lifetime.Medium{PerSowing: p.MediumPerTray * share, Minutes: p.MediumMinutes,
		MassG: p.MediumGPerTray * share}
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

func (c costs) amount(v float64) cell { return amount(v, c.currency) }

// price is an amount of the farm's price list, where 0 means that it is not set.
func (c costs) price(v float64) cell {
	if v == 0 {
		return cell{text: "not set"}
	}
	return c.amount(v)
}

// perTurn is the interval of the cost of a turn.
func (l costLine) perTurn() string {
	return hundredths(l.costs.PerTurn.Low) + " to " + hundredths(l.costs.PerTurn.High)
}

// known are the lines with figures.
func (c costs) known() []costLine {
	return where(c.lines, func(l costLine) bool { return l.refused == "" })
}

func (c costs) say() []string {
	var out []string
	lines := c.known()
	for _, l := range lines[:min(len(lines), 2)] {
		out = append(out, l.say(c))
	}
	switch {
	case len(lines) > 0 || c.turns == 0:
		return out
	case c.prices.MediumPerTray == 0:
		return []string{"Whether reuse pays can't be said without the price of the throw-away medium; put it on file."}
	}
	return []string{"Whether reuse pays can't be said yet: " + c.lines[0].refused + "."}
}

// pays is the answer that the interval of the cost of a turn allows. The life
// is the least that the records show, so the cost is rather too high.
func (l costLine) pays() string {
	switch {
	case l.costs.Saving.Low > 0:
		return "Reuse of " + l.name + " pays"
	case l.costs.Saving.High < 0 && l.costs.BreakEven.Never:
		return "Reuse of " + l.name + " does not pay at these prices"
	case l.costs.Saving.High < 0:
		return "Reuse of " + l.name + " has not paid so far"
	}
	return "Whether reuse of " + l.name + " pays is open"
}

func (l costLine) say(c costs) string {
	said := fmt.Sprintf("%s: a turn costs %s (%s; 95 %% interval), one on throw-away medium %s",
		l.pays(), c.amount(l.costs.PerTurn.Value).text, l.perTurn(), c.amount(l.costs.Medium).text)
	if l.costs.BreakEven.Never && !l.costs.Earliest.Never {
		return said + "; at the mean washing time a mat does not pay for itself, at the shortest it may."
	}
	if l.costs.BreakEven.Never {
		return said + "; a mat never pays for itself."
	}
	paid := l.paid()
	said += fmt.Sprintf("; a mat has paid for itself after %s (%s to %s)",
		turns(l.costs.BreakEven.Turns), turnOrNever(paid.Low), turnOrNever(paid.High))
	if l.reached {
		said += fmt.Sprintf(", and %s of them live that long", percentOf(l.reach.S))
		if l.reach.Known {
			said += fmt.Sprintf(" (%s)", percentSpan(l.reach.Low, l.reach.High))
		} else {
			said += fmt.Sprintf(" (at least %s)", percentOf(l.reach.Low))
		}
	}
	return said + "."
}

// paid is the turn at which a mat has paid for itself; one that never does is no
// number.
func (l costLine) paid() lifetime.Estimate {
	turn := func(b lifetime.BreakEven) float64 {
		if b.Never {
			return math.NaN()
		}
		return float64(b.Turns)
	}
	return lifetime.Estimate{Value: turn(l.costs.BreakEven), Low: turn(l.costs.Earliest), High: turn(l.costs.Latest)}
}

func turnOrNever(v float64) string { return shortOr(v, "never") }

func (c costs) weighsMedium() bool { return c.prices.MediumGPerTray > 0 && c.turns > 0 }

// sayMass is the mass of throw-away medium avoided.
func (c costs) sayMass() string {
	if !c.weighsMedium() {
		return ""
	}
	said := fmt.Sprintf(" The %s so far took the place of %s kg of throw-away medium", turns(c.turns),
		short(c.avoided.MediumG/1000))
	if c.weighed > 0 {
		said += fmt.Sprintf("; the %s that are retired weighed about %s kg, so %s kg less went to waste", mats(c.retired),
			short(c.avoided.MatsG/1000), minus(short(c.avoided.NetG/1000)))
	}
	return said + "."
}

// sayMinutes is what the washing takes.
func (c costs) sayMinutes() string {
	if c.untimed != nil {
		return ""
	}
	return fmt.Sprintf(" Washing took %s minutes of work a turn on average (%s), over %s with a noted time.",
		short(c.minutes.Value), interval95(c.minutes, short), turns(c.timed))
}

func (c costs) section() Section {
	p := c.prices
	sanitizer, water, labor := c.price(p.SanitizerPerTurn), c.price(p.WaterPerTurn), c.price(p.LaborPerHour)
	s := newSection("costs", "{sanitizer}", sanitizer.text, "{water}", water.text, "{labor}", labor.text)
	s.Note += c.sayMinutes() + c.sayMass()
	s.Figures = fields{"sanitizer_cost_per_turn": sanitizer.value, "water_cost_per_turn": water.value,
		"labor_cost_per_h": labor.value}
	if c.untimed == nil {
		s.Figures["washing_min_per_turn"], s.Figures["turns_timed"] = within(c.minutes, ""), c.timed
	}
	if c.weighsMedium() {
		s.Figures["turns"], s.Figures["medium_avoided_g"] = c.turns, num(c.avoided.MediumG)
		if c.weighed > 0 {
			s.Figures["mats_retired"], s.Figures["mats_retired_g"] = c.retired, num(c.avoided.MatsG)
			s.Figures["waste_avoided_g"] = num(c.avoided.NetG)
		}
	}
	if why, alike := c.refusedAlike(); alike {
		s.Empty = "No cost of a turn can be stated: " + why + "."
		return s
	}
	for _, l := range c.lines {
		s.add(c.row(l)...)
	}
	known := c.known()
	for _, l := range known[:min(len(known), panels)] {
		s.Plots = append(s.Plots, c.plot(l))
	}
	if len(known) > panels {
		s.Note = strings.TrimSpace(s.Note + fmt.Sprintf(" Drawn are the first %d of %d.", panels, len(known)))
	}
	return s
}

// refusedAlike says that no material has a cost, and all for one reason: a table
// of dashes would not say it better.
func (c costs) refusedAlike() (why string, alike bool) {
	for i, l := range c.lines {
		if l.refused == "" || i > 0 && l.refused != why {
			return "", false
		}
		why = l.refused
	}
	return why, why != ""
}

func (c costs) row(l costLine) []any {
	if l.refused != "" {
		return []any{l.name, nil, cell{text: l.refused}, nil, nil, nil, nil, nil}
	}
	paid, live := cell{text: "never"}, cell{text: "–"}
	if !l.costs.BreakEven.Never {
		paid = spanned(l.paid(), turnOrNever, "")
		live.text = "not known yet"
		if l.reached {
			live = cell{percentOf(l.reach.S), percentWithin(l.reach.S, l.reach.Low, l.reach.High, "Kaplan-Meier").value}
		}
	}
	perTurn := amountWithin(l.costs.PerTurn, c.currency)
	perTurn.text += " (" + l.perTurn() + ")"
	return []any{l.name, c.amount(l.costs.UpFront.Value), spanned(l.life.Estimate, short, "Kaplan-Meier"), perTurn,
		c.amount(l.costs.Medium), amountWithin(l.costs.Saving, c.currency), paid, live}
}

func (c costs) plot(l costLine) Plot {
	last := math.Ceil(math.Max(l.life.Until, 1.5*float64(l.costs.BreakEven.Turns)))
	up, running := l.costs.UpFront.Value, l.costs.Running
	line := func(start, each float64) []Point { return []Point{{X: 0, Y: start}, {X: last, Y: start + each*last}} }
	mat := line(up, running.Value)
	band := []Point{{X: 0, Y: up, Low: up}, {X: last, Y: up + last*running.High, Low: up + last*running.Low}}
	media := line(0, l.costs.Medium)
	p := newPlot("costs", "{currency}", c.currency)
	p.Title, p.X.To, p.Y.To = l.name, last, 1.05*math.Max(band[1].Y, media[1].Y)
	p.Series = []Series{{Shape: Band, Points: band}, {Name: "mat", Points: mat}, {Name: "medium", Style: 1, Points: media}}
	if !l.costs.BreakEven.Never && l.costs.BreakEven.Turns > 0 {
		n := float64(l.costs.BreakEven.Turns)
		crossing := Series{Name: "turn " + short(n), Shape: Dots, Points: []Point{{X: n, Y: n * l.costs.Medium}}}
		p.Series = append(p.Series, crossing)
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
	prices := []float64{l.mat.Mesh / 2, l.mat.Mesh, 2 * l.mat.Mesh}
	lives := []float64{math.Max(1, l.life.Value/2), l.life.Value, 1.5 * l.life.Value}
	rows, err := lifetime.WhatIf(l.mat, l.life.Estimate, l.medium, prices, lives)
	if err != nil {
		return Section{}, false
	}
	s := newSection("what_if", "{material}", l.name)
	s.Figures = fields{"material": l.name}
	for _, r := range rows {
		s.add(c.amount(r.Mesh), tenths(r.Life), c.amount(r.PerTurn.Value), c.amount(r.Saving.Value))
	}
	return s, true
}
