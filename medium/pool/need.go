package pool

import (
	"fmt"
	"math"

	"resow/medium"
)

// NeedSource is where the closed form comes from, for a report.
const NeedSource = "Little's law, L = lambda W (Little 1961; Little and Graves 2008, chapter 5): " +
	"mats at a stage = mats a day through it x days in it; the share set aside divides the sum by (1 - share)"

// CropNeed is the mean number of mats that one line of the plan keeps busy.
type CropNeed struct {
	Crop        string
	MatsPerWeek int
	GrowDays    float64 // mean
	Growing     float64 // mats under the crop
	TurnAround  float64 // mats between harvest and ready
	OnOrder     float64 // mats lost and not yet replaced
}

// Total is the mean number of mats of the crop.
func (c CropNeed) Total() float64 { return c.Growing + c.TurnAround + c.OnOrder }

// StageLoad is how much of a capacity the plan uses.
type StageLoad struct {
	Stage medium.Stage
	Need  float64 // mats a week through it; for the racks (to dry), mats hanging at a time
	Can   float64
}

// Share is Need/Can: 1 or more means that the queue before it grows without end.
func (l StageLoad) Share() float64 { return l.Need / l.Can }

// Needs is the closed form for a plan.
type Needs struct {
	Crops          []CropNeed
	TurnAroundDays float64 // mean, from harvest to ready, without waiting for capacity
	Mean           float64 // mats busy on average, without those aside
	Mats           int     // the mean with those aside, rounded up: the least pool that can keep up on average
	// AtOnce is the number of mats busy on the fullest day of the week when
	// every crop takes its longest time, with those on order and aside. With
	// Exact it is the number needed: one fewer runs short, and no more is ever
	// used. Otherwise it is a planning figure; ask Enough.
	AtOnce int
	Exact  bool
	Loads  []StageLoad // of the capacities that have a limit
	Source string
}

// Need gives the mats that a plan needs by Little's law, by crop and in all.
// Waiting for washing, racks or sanitizing is not in it (the simulation has
// it); a capacity below the plan's need gives an *Overloaded beside the result.
// Other errors: *medium.InputError.
func Need(p Plan) (Needs, error) {
	if err := p.Check(); err != nil {
		return Needs{}, err
	}
	t := p.TurnAround.MeanDays()
	n := Needs{TurnAroundDays: t, Source: NeedSource}
	perDay := 0.0
	for i, s := range p.Sowings {
		rate := float64(s.perWeek()) / 7
		c := CropNeed{
			Crop: s.name(i), MatsPerWeek: s.perWeek(), GrowDays: s.meanDays(),
			Growing: rate * s.meanDays(), TurnAround: rate * t,
			OnOrder: rate * p.Losses.PerTurn * float64(p.Losses.ReplaceDays),
		}
		n.Crops = append(n.Crops, c)
		n.Mean += c.Total()
		perDay += rate
	}
	n.Mats = ceil(n.Mean / (1 - p.Losses.Aside))
	onOrder := perDay * p.Losses.PerTurn * float64(p.Losses.ReplaceDays)
	n.AtOnce = ceil((float64(p.fullestDay(ceil(t))) + onOrder) / (1 - p.Losses.Aside))
	n.Exact = p.fixed()
	n.Loads = p.loads(perDay)
	for _, l := range n.Loads {
		if l.Share() > 1 {
			return n, &Overloaded{StageLoad: l}
		}
	}
	return n, nil
}

// ceil forgives the last digits of a sum that should be whole.
func ceil(x float64) int { return int(math.Ceil(x - 1e-9*max(1, x))) }

// MeanDays is the mean time from harvest until the mat can be sown on again,
// when nothing waits for washing, racks or sanitizing. The first drying day is
// awaited from weather at its long-run share (1 + NoDry x Spell days), each
// further one from a drying day (1/(1-NoDry) days).
func (t TurnAround) MeanDays() float64 {
	w := t.Weather
	rack, nights := t.DryDays+t.AirDays, 0.0
	if t.AirDays == 0 {
		nights = 1
	}
	if rack == 0 {
		return nights
	}
	return nights + 1 + w.NoDry*w.spell() + float64(rack-1)/(1-w.NoDry)
}

// fullestDay counts the mats that are out at once on the fullest day of the
// week, each for its longest growing time and t days of turn-around.
func (p Plan) fullestDay(t int) int {
	most := 0
	for day := range 7 {
		out := 0
		for _, s := range p.Sowings {
			days := s.GrowMax + t
			out += days / 7 * s.perWeek()
			for back := range days % 7 {
				out += s.Mats[(day-back+7)%7]
			}
		}
		most = max(most, out)
	}
	return most
}

// fixed says that nothing in the plan is left to chance or to a queue.
func (p Plan) fixed() bool {
	t := p.TurnAround
	for _, s := range p.Sowings {
		if s.GrowMin != s.GrowMax {
			return false
		}
	}
	return !p.ByOrder && p.Losses.PerTurn == 0 && t.Weather.NoDry == 0 &&
		t.Racks == 0 && week(t.WashPerDay) == 0 && week(t.SanitizePerDay) == 0
}

func (p Plan) loads(perDay float64) []StageLoad {
	t := p.TurnAround
	var out []StageLoad
	if c := week(t.WashPerDay); c > 0 {
		out = append(out, StageLoad{medium.ToWash, 7 * perDay, float64(c)})
	}
	if t.Racks > 0 && t.DryDays+t.AirDays > 0 {
		days := t.MeanDays()
		if t.AirDays == 0 {
			days--
		}
		out = append(out, StageLoad{medium.ToDry, perDay * days, float64(t.Racks)})
	}
	if c := week(t.SanitizePerDay); c > 0 {
		out = append(out, StageLoad{medium.ToSanitize, 7 * perDay, float64(c)})
	}
	return out
}

// Overloaded says that a stage cannot keep up with the plan, however many mats
// there are.
type Overloaded struct{ StageLoad }

// Error names the stage, what the plan needs and what it can take.
func (e *Overloaded) Error() string {
	if e.Stage == medium.ToDry {
		return fmt.Sprintf("drying: on average %s at a time, there are places for %s; add drying places, dry faster or "+
			"sow less: more mats do not help", hanging(e.Need), figure(e.Can))
	}
	work := map[medium.Stage]string{medium.ToWash: "washing", medium.ToSanitize: "sanitizing"}[e.Stage]
	return fmt.Sprintf("%s: the plan needs %s a week, %s can be done; add a day or hands, or sow less: more mats do "+
		"not help", work, mats(e.Need), figure(e.Can))
}
