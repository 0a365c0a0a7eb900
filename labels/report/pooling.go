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
	r := in.report("pool")
	r.Summary, r.Figures = in.say(), in.named()
	r.Sections = []Section{in.cropTable()}
	if in.Enough != nil {
		r.Sections = append(r.Sections, in.closedForm())
	}
	if in.WithIt != nil {
		r.Sections = append(r.Sections, in.weekTable("weeks_at_hand", in.Have, *in.WithIt))
	}
	if in.Enough != nil {
		r.Sections = append(r.Sections, in.weekTable("weeks_enough", in.Enough.Mats, in.Enough.With))
	}
	return r
}

func (in PoolInput) named() fields {
	f := fields{"busy_mean_mats": num(in.Needs.Mean), "mats_at_hand": given(float64(in.Have)),
		"wanted_percent": num(100 * in.Level), "mats_enough": nil, "bottleneck": nil}
	if !in.Plan.ByOrder {
		f["fullest_day_mats"] = in.Needs.AtOnce
	}
	if in.Enough != nil {
		f["mats_enough"] = in.Enough.Mats
	} else if in.Stuck != "" {
		f["why_none_is_enough"] = in.Stuck
	}
	if b := in.bottleneck(); b != nil {
		f["bottleneck"] = fields{"name": b.Name, "days_per_turn": num(b.Days), "text": b.Text}
	}
	return f
}

// bottleneck is that with the mats at hand, or else with enough.
func (in PoolInput) bottleneck() *pool.Bottleneck {
	switch {
	case in.WithIt != nil:
		return &in.WithIt.Bottleneck
	case in.Enough != nil:
		return &in.Enough.With.Bottleneck
	}
	return nil
}

func (in PoolInput) say() []string {
	var out sentences
	if in.Enough != nil {
		out.say("%s are enough for this plan: the chance that a week runs short is then %s, "+
			"and at most %s is wanted.", mats(in.Enough.Mats), simulated(in.Enough.With.InAWeek).text, percentOf(in.Level))
	} else if in.Stuck != "" {
		out = append(out, "No number of mats is enough: "+in.Stuck+".")
	}
	busy := fmt.Sprintf("On average %s mats are busy", short(in.Needs.Mean))
	if !in.Plan.ByOrder {
		busy += fmt.Sprintf("; the plan needs %s on its fullest day", mats(in.Needs.AtOnce))
	}
	out = append(out, busy+".")
	if in.WithIt != nil {
		out.say("With %s the chance that a week runs short is %s.", mats(in.Have), simulated(in.WithIt.InAWeek).text)
	}
	if b := in.bottleneck(); b != nil {
		out = append(out, "What holds the mats up: "+b.Text+".")
	}
	return out
}

func (in PoolInput) cropTable() Section {
	s := newSection("pool.crops")
	for _, c := range in.Needs.Crops {
		s.add(c.Crop, c.MatsPerWeek, tenths(c.GrowDays), tenths(c.Growing), tenths(c.TurnAround), tenths(c.OnOrder),
			tenths(c.Total()))
	}
	return s
}

// closedForm sets what can be worked out without playing the weeks beside what
// the simulation saw.
func (in PoolInput) closedForm() Section {
	out, n := in.Enough.With, in.Needs
	s := newSection("closed_form", "{mats}", mats(in.Enough.Mats))
	s.Figures = fields{"mats": in.Enough.Mats, "wanted_percent": num(100 * in.Level)}
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
	s.add(cell{"Mats growing, mean (Little)", "growing_mats"}, tenths(growing), tenths(grew))
	s.add(cell{"Mats in the turn-around, mean (Little)", "turn_around_mats"}, tenths(turnAround), tenths(turned))
	s.add(cell{"Mats on order, mean (Little)", "on_order_mats"}, tenths(onOrder), tenths(ordered))
	s.add(cell{"Mats busy in all, mean (Little)", "busy_mats"}, tenths(n.Mean), tenths(out.InUse))
	if in.Plan.ByOrder {
		s.Note += " " + words("closed_form").text("by order")
	} else {
		s.add(cell{"Mats on the fullest day", "fullest_day_mats"}, n.AtOnce, nil)
		return s
	}
	ready := int(float64(in.Enough.Mats) * (1 - in.Plan.Losses.Aside))
	if lost, err := pool.ErlangB(n.Mean, ready); err == nil {
		s.add(cell{"Sowings that find no mat (Erlang)", "sowings_without_mat_percent"}, percentage(lost),
			percentage(in.lacking(out)))
	}
	if enough, err := pool.PoissonMats(n.Mean, in.Level); err == nil {
		s.add(cell{fmt.Sprintf("Mats that are enough in all but %s of moments (Palm)",
			percentOf(in.Level)), "enough_mats"}, enough, nil)
	}
	return s
}

// simulated is a chance that was counted in the runs.
func simulated(c pool.Share) cell { return percentWithin(c.Share, c.Low, c.High, "Wilson") }

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

func (in PoolInput) weekTable(name string, with int, o pool.Outcome) Section {
	s := newSection("weeks.{name}", "{name}", name, "{mats}", mats(with))
	s.Figures = fields{"mats": with, "short_in_a_week_percent": simulated(o.InAWeek).value}
	p := newPlot("weeks.{name}")
	p.X.From, p.X.To, p.Y.To = 1, float64(len(o.Weeks)), 10
	var band, line []Point
	for i, w := range o.Weeks {
		s.add(i+1, simulated(w.Short), cell{hundredths(w.MatsShort), num(w.MatsShort)})
		x := float64(i + 1)
		band = append(band, Point{X: x, Y: 100 * w.Short.High, Low: 100 * w.Short.Low})
		line = append(line, Point{X: x, Y: 100 * w.Short.Share})
		p.Y.To = min(100, max(p.Y.To, 110*w.Short.High))
	}
	p.Series = []Series{{Name: "95 % interval", Shape: Band, Points: band}, {Name: "chance", Points: line},
		{Name: "wanted at most", Style: 1, Points: p.level(100 * in.Level)}}
	s.Plots = []Plot{p}
	return s
}
