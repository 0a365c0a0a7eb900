package report

import (
	"fmt"

	"resow/medium"
	"resow/medium/pool"
)

// PoolInput is what the paper on the number of mats is made from.
type PoolInput struct {
	Origin
	Level  float64 // wanted chance, at most, that a week runs short
	Plan   pool.Plan
	Needs  pool.Needs
	Have   int              // mats that the farm has; 0 where not known
	WithIt *pool.Outcome    // simulated with those
	Enough *pool.Sufficient // nil where no number of mats is enough
	Stuck  string           // why not
}

// Pool says how many mats a sowing plan needs, how likely each week runs short
// with those at hand, and what holds the mats up.
func Pool(in PoolInput) Report {
	r := in.report("Mats for the sowing plan")
	r.Summary = in.say()
	r.Sections = []Section{in.cropTable()}
	if in.Enough != nil {
		r.Sections = append(r.Sections, in.closedForm())
	}
	if in.WithIt != nil {
		r.Sections = append(r.Sections, in.weekTable(fmt.Sprintf("Chance of running short with %s", mats(in.Have)), *in.WithIt))
	}
	if in.Enough != nil {
		r.Sections = append(r.Sections, in.weekTable(fmt.Sprintf("Chance of running short with %s", mats(in.Enough.Mats)), in.Enough.With))
	}
	r.Method = []string{
		"The mean is by " + pool.NeedSource + ".",
		"Where sowings come by chance, the share of sowings that find no mat is by Erlang's loss formula, and the mats that enough moments are content with by Palm's theorem (Poisson); both take sowings one by one at any hour, while the simulation sows once a day.",
		"The simulation plays each day: drying weather, limits of washing, racks and sanitizing, losses and their replacement; its random numbers have a fixed seed, so the same plan gives the same answer. The interval of a chance is Wilson's and says how well the simulation knows it, not how well the plan knows the weather.",
		"Plan, shares and capacities are the farm's own figures, taken as given.",
	}
	return r
}

func (in PoolInput) say() []string {
	out := []string{fmt.Sprintf("On average %s mats are busy; the plan needs %s on its fullest day.", short(in.Needs.Mean), mats(in.Needs.AtOnce))}
	if in.Plan.ByOrder {
		out[0] = fmt.Sprintf("On average %s mats are busy.", short(in.Needs.Mean))
	}
	outcome := in.WithIt
	if in.Enough != nil {
		out = append([]string{fmt.Sprintf("%s are enough for this plan: a week then runs short with a chance of %s (%s), at most %s is wanted.",
			mats(in.Enough.Mats), percentOf(in.Enough.With.InAWeek.Share), percentSpan(in.Enough.With.InAWeek.Low, in.Enough.With.InAWeek.High), percentOf(in.Level))}, out...)
		if outcome == nil {
			outcome = &in.Enough.With
		}
	} else if in.Stuck != "" {
		out = append([]string{"No number of mats is enough: " + in.Stuck + "."}, out...)
	}
	if in.WithIt != nil {
		out = append(out, fmt.Sprintf("With %s a week runs short with a chance of %s (%s).", mats(in.Have), percentOf(in.WithIt.InAWeek.Share),
			percentSpan(in.WithIt.InAWeek.Low, in.WithIt.InAWeek.High)))
	}
	if outcome != nil {
		out = append(out, "What holds the mats up: "+outcome.Bottleneck.Text+".")
	}
	return out
}

func (in PoolInput) cropTable() Section {
	s := Section{Heading: "Mats kept busy, by crop (mean)", Columns: []Column{{Head: "Crop"}, {Head: "Mats a week", Right: true}, {Head: "Days growing", Right: true},
		{Head: "Growing", Right: true}, {Head: "Turn-around", Right: true}, {Head: "On order", Right: true, Drop: 1}, {Head: "In all", Right: true}}}
	for _, c := range in.Needs.Crops {
		s.Rows = append(s.Rows, []string{c.Crop, fmt.Sprint(c.MatsPerWeek), short(c.GrowDays), short(c.Growing), short(c.TurnAround), short(c.OnOrder), short(c.Total())})
	}
	return s
}

// closedForm sets what can be worked out without playing the weeks beside what
// the simulation saw.
func (in PoolInput) closedForm() Section {
	out, n := in.Enough.With, in.Needs
	s := Section{Heading: fmt.Sprintf("Closed form beside the simulation, with %s", mats(in.Enough.Mats)),
		Note:    "The closed form knows no waiting for hands or drying places and no sowing that fails; where the two columns differ much, that is what the mats wait for.",
		Columns: []Column{{Head: "Figure"}, {Head: "Closed form", Right: true}, {Head: "Simulated", Right: true}}}
	var growing, turnAround, onOrder float64
	for _, c := range n.Crops {
		growing, turnAround, onOrder = growing+c.Growing, turnAround+c.TurnAround, onOrder+c.OnOrder
	}
	var grew, turned, ordered float64
	for _, stage := range out.Stages {
		switch stage.Stage {
		case medium.Growing:
			grew += stage.Mean
		case pool.OnOrder:
			ordered += stage.Mean
		case medium.Ready:
		default:
			turned += stage.Mean
		}
	}
	row := func(name string, closed, simulated string) {
		s.Rows = append(s.Rows, []string{name, closed, simulated})
	}
	row("Mats growing, mean (Little)", short(growing), short(grew))
	row("Mats in the turn-around, mean (Little)", short(turnAround), short(turned))
	row("Mats on order, mean (Little)", short(onOrder), short(ordered))
	row("Mats busy in all, mean (Little)", short(n.Mean), short(out.InUse))
	if in.Plan.ByOrder {
		s.Note += " Erlang's and Palm's forms spread the sowings evenly over all hours; the simulation keeps them on the days of the plan, which bunches them and runs short more often."
	} else {
		row("Mats on the fullest day", fmt.Sprint(n.AtOnce), "–")
		return s
	}
	ready := int(float64(in.Enough.Mats) * (1 - in.Plan.Losses.Aside))
	if lost, err := pool.ErlangB(n.Mean, ready); err == nil {
		row("Sowings that find no mat (Erlang)", percentOf(lost), percentOf(in.lacking(out)))
	}
	if enough, err := pool.PoissonMats(n.Mean, in.Level); err == nil {
		row(fmt.Sprintf("Mats that are enough but for %s of moments (Palm)", percentOf(in.Level)), fmt.Sprint(enough), "–")
	}
	return s
}

// lacking is the share of the sowings that found no mat.
func (in PoolInput) lacking(o pool.Outcome) float64 {
	lack, wanted := 0.0, 0.0
	for _, w := range o.Weeks {
		lack += w.MatsShort
	}
	for _, c := range in.Needs.Crops {
		wanted += float64(c.MatsPerWeek * len(o.Weeks))
	}
	if wanted == 0 {
		return 0
	}
	return lack / wanted
}

func (in PoolInput) weekTable(heading string, o pool.Outcome) Section {
	s := Section{Heading: heading, Columns: []Column{{Head: "Week", Right: true}, {Head: "Chance of running short (95 % interval)"}, {Head: "Mats lacking, mean", Right: true}}}
	p := Plot{Alt: "Chance of each week that some sowing lacks a mat (line), with the 95 % interval of the simulation (gray) and the chance that is wanted at most (dashes).",
		X: Axis{Label: "week", From: 1, To: float64(len(o.Weeks))}, Y: Axis{Label: "runs short", To: 10, Unit: "%"}}
	var band, line []Point
	for i, w := range o.Weeks {
		s.Rows = append(s.Rows, []string{fmt.Sprint(i + 1), fmt.Sprintf("%s (%s)", percentOf(w.Short.Share), percentSpan(w.Short.Low, w.Short.High)), hundredths(w.MatsShort)})
		x := float64(i + 1)
		band = append(band, Point{X: x, Y: 100 * w.Short.High, Low: 100 * w.Short.Low})
		line = append(line, Point{X: x, Y: 100 * w.Short.Share})
		p.Y.To = min(100, max(p.Y.To, 110*w.Short.High))
	}
	p.Series = []Series{{Name: "95 % interval", Shape: Band, Points: band}, {Name: "chance", Points: line},
		{Name: "wanted at most", Style: 1, Points: []Point{{X: p.X.From, Y: 100 * in.Level}, {X: p.X.To, Y: 100 * in.Level}}}}
	s.Plots = []Plot{p}
	return s
}
