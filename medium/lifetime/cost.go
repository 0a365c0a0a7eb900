package lifetime

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// MatCost is what a mat costs, in the farm's own money.
type MatCost struct {
	Mesh             float64 // price of the mesh of one mat
	Label            float64 // price of its label, mark and making
	SanitizerPerTurn float64
	WaterPerTurn     float64
	OtherPerTurn     float64
	// Minutes of labor that one turn adds over throw-away medium: roots off,
	// rinse, sanitize, hang up. A farm that timed it gives the mean of its times (Sample); a
	// guess goes in with Exactly.
	Minutes      Estimate
	LaborPerHour float64
}

// Medium is the throw-away medium that a mat replaces.
type Medium struct {
	PerSowing float64 // price for one tray
	// Minutes of labor for one tray (laying out, composting).
	Minutes float64
	MassG   float64 // dry mass for one tray, grams
}

// Exactly is an estimate without spread: a price on a bill.
func Exactly(x float64) Estimate { return Estimate{Value: x, Low: x, High: x} }

// Sample sums measurements up as they come, so that none has to be kept. The
// zero value is empty.
type Sample struct {
	N             int
	mean, squares float64 // of the differences from the mean (Welford 1962)
}

// Add takes one measurement, within plus and minus 1e12; others are left out.
func (s *Sample) Add(v float64) {
	if !(math.Abs(v) <= maxValue) {
		return
	}
	s.N++
	d := v - s.mean
	s.mean += d / float64(s.N)
	s.squares += d * (v - s.mean)
}

// Mean is the mean with Student's t interval. Errors: *TooLittle with fewer
// than two measurements, *NoEstimate.
func (s Sample) Mean(confidence float64) (Estimate, error) {
	if _, err := normalQuantile(confidence); err != nil {
		return Estimate{}, err
	}
	if s.N < 2 {
		return Estimate{}, &TooLittle{Statement: "a mean with its interval", Have: s.N, Need: 2,
			Of: "measurements", Advice: "time the work on another day"}
	}
	m, n := s.mean, float64(s.N)
	se := math.Sqrt(s.squares / (n - 1) / n)
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile(1 - (1-confidence)/2)
	e := Estimate{Value: m, SE: se, Low: m - t*se, High: m + t*se}
	if !finite(e.Low, e.High) {
		return Estimate{}, &NoEstimate{Of: "a mean with its interval", Why: "the interval is wider than any number",
			Advice: "measure more often"}
	}
	return e, nil
}

// BreakEven is the number of turns at which a mat has paid for itself.
type BreakEven struct {
	Turns int
	// Never is true when a turn of the mat costs as much as the medium or more:
	// then no life is long enough. Turns is 0.
	Never bool
}

// Costs sets a mat against throw-away medium. Its intervals combine the ends of
// the intervals of labor and life, so they are at least as wide as a joint
// interval would be.
type Costs struct {
	UpFront Estimate // price of the mat; no spread
	Running Estimate // cost of one turn besides the mat
	// PerTurn is UpFront over the expected life, plus Running. It is total cost
	// over total turns: averaging each mat's own cost per turn overstates it and
	// is endless for a mat that never made a turn.
	PerTurn Estimate
	Medium  float64  // cost of one sowing on throw-away medium
	Saving  Estimate // Medium less PerTurn; below 0 the mat loses money
	// BreakEven at the best figures, and at the kindest and harshest ends of
	// the labor interval. It does not depend on the life of the mat; whether a
	// mat lives to see it does (see ReachChance).
	BreakEven, Earliest, Latest BreakEven
	// ParityMinutes is the labor per turn at which the mat and the medium cost
	// the same over the expected life; below 0 the mat loses money with no
	// labor at all. ParityKnown is false when labor costs nothing.
	ParityMinutes float64
	ParityKnown   bool
}

const maxMoney = 1e9

// CostPerTurn sets a mat with the given expected life (turns) against
// throw-away medium. Take the life from Curve.RestrictedMean, which is a lower
// bound as long as mats are still in use, or from Fit.MeanLife; never from the
// retired mats only.
// Errors: *Invalid for a negative or huge amount or a life below one turn.
func CostPerTurn(mat MatCost, life Estimate, medium Medium) (Costs, error) {
	amounts := []struct {
		what  string
		value float64
	}{
		{"price of the mesh", mat.Mesh}, {"price of the label", mat.Label},
		{"sanitizer per turn", mat.SanitizerPerTurn}, {"water per turn", mat.WaterPerTurn},
		{"other cost per turn", mat.OtherPerTurn}, {"labor per hour", mat.LaborPerHour},
		{"minutes per turn", mat.Minutes.Value}, {"price of the medium", medium.PerSowing},
		{"minutes per tray of medium", medium.Minutes}, {"mass of the medium", medium.MassG},
	}
	for _, a := range amounts {
		if !(a.value >= 0 && a.value <= maxMoney) {
			return Costs{}, invalid(a.what, number(a.value), "give an amount from 0 to 1e9")
		}
	}
	if !(life.Value >= 1 && life.Value <= maxTurns) {
		return Costs{}, invalid("expected life", number(life.Value)+" turns", "give at least 1 turn and at most 1e9")
	}
	minutes, err := mat.Minutes.ordered("minutes per turn", 0)
	if err != nil {
		return Costs{}, err
	}
	// Each mat makes a first turn, so a life below 1 costs no more than that.
	life, err = life.ordered("expected life", 1)
	if err != nil {
		return Costs{}, err
	}
	up := mat.Mesh + mat.Label
	running := func(min float64) float64 {
		return mat.SanitizerPerTurn + mat.WaterPerTurn + mat.OtherPerTurn + min*mat.LaborPerHour/60
	}
	c := Costs{UpFront: Exactly(up), Medium: medium.PerSowing + medium.Minutes*mat.LaborPerHour/60}
	c.Running = Estimate{Value: running(minutes.Value), Low: running(minutes.Low), High: running(minutes.High)}
	c.PerTurn = Estimate{Value: up/life.Value + c.Running.Value,
		Low: up/life.High + c.Running.Low, High: up/life.Low + c.Running.High}
	c.Saving = Estimate{Value: c.Medium - c.PerTurn.Value, Low: c.Medium - c.PerTurn.High, High: c.Medium - c.PerTurn.Low}
	c.BreakEven = breakEven(up, c.Medium-c.Running.Value)
	c.Earliest = breakEven(up, c.Medium-c.Running.Low)
	c.Latest = breakEven(up, c.Medium-c.Running.High)
	if mat.LaborPerHour > 0 {
		parity := (c.Medium - running(0) - up/life.Value) * 60 / mat.LaborPerHour
		c.ParityKnown = finite(parity)
		if c.ParityKnown {
			c.ParityMinutes = parity
		}
	}
	return c, nil
}

// ordered puts the ends of an interval around its value and above a floor.
func (e Estimate) ordered(what string, floor float64) (Estimate, error) {
	if !finite(e.Low, e.High) || math.Abs(e.Low) > maxTurns || math.Abs(e.High) > maxTurns {
		return Estimate{}, invalid("interval of the "+what, fmt.Sprintf("%g to %g", e.Low, e.High),
			"give finite limits up to 1e9")
	}
	e.Low = math.Max(floor, math.Min(e.Low, e.Value))
	e.High = math.Max(e.High, e.Value)
	return e, nil
}

func breakEven(up, savedPerTurn float64) BreakEven {
	if up == 0 && savedPerTurn >= 0 {
		return BreakEven{}
	}
	if savedPerTurn <= 0 {
		return BreakEven{Never: true}
	}
	// The slack keeps 11/0.55 = 20.000000000000004 at 20 turns.
	turns := math.Ceil(up/savedPerTurn - 1e-9)
	if !(turns <= maxTurns) {
		return BreakEven{Never: true}
	}
	return BreakEven{Turns: int(turns)}
}

// ReachChance is the share of mats that live to make their break-even turn,
// with its interval, from the survival curve. The second result is false when
// the curve does not reach so far; at Never the share is 0.
func ReachChance(c Curve, b BreakEven) (Point, bool) {
	if b.Never {
		return Point{}, true
	}
	// A mat retired in turn n has made turn n: the curve just before it counts.
	return c.At(math.Max(0, float64(b.Turns)-0.5))
}

// CostWhatIf is one row of a what-if table.
type CostWhatIf struct {
	Mesh float64 // price of the mesh
	Life float64 // expected life, turns
	Costs
}

// WhatIf recomputes the costs for each price of the mesh and each life, prices
// outermost. An empty list keeps the base value. At most 10,000 rows.
func WhatIf(mat MatCost, life Estimate, medium Medium, prices, lives []float64) ([]CostWhatIf, error) {
	if len(prices) == 0 {
		prices = []float64{mat.Mesh}
	}
	estimates := make([]Estimate, 0, len(lives)+1)
	for _, l := range lives {
		estimates = append(estimates, Exactly(l))
	}
	if len(lives) == 0 {
		estimates = append(estimates, life)
	}
	if rows := len(prices) * len(estimates); rows > 10000 {
		return nil, invalid("what-if table", fmt.Sprintf("%d rows", rows), "give fewer prices or lives")
	}
	var rows []CostWhatIf
	for _, price := range prices {
		for _, l := range estimates {
			m := mat
			m.Mesh = price
			costs, err := CostPerTurn(m, l, medium)
			if err != nil {
				return nil, err
			}
			rows = append(rows, CostWhatIf{Mesh: price, Life: l.Value, Costs: costs})
		}
	}
	return rows, nil
}

// Avoided is the mass of throw-away medium not bought, in grams.
type Avoided struct {
	MediumG float64 // medium that the turns would have used
	MatsG   float64 // mesh thrown away instead
	NetG    float64 // MediumG less MatsG; below 0 the mats weighed more
}

// MassAvoided sets the medium that the turns would have used against the mats
// retired meanwhile.
func MassAvoided(turns int, medium Medium, matsRetired int, matG float64) (Avoided, error) {
	if turns < 0 || turns > maxTurns || matsRetired < 0 || matsRetired > maxTurns {
		return Avoided{}, invalid("count of turns or mats", fmt.Sprintf("%d turns, %d mats", turns, matsRetired),
			"give counts from 0 to 1e9")
	}
	if !(medium.MassG >= 0 && medium.MassG <= maxMoney && matG >= 0 && matG <= maxMoney) {
		return Avoided{}, invalid("mass of medium or mat", fmt.Sprintf("%g g, %g g", medium.MassG, matG),
			"give grams from 0 to 1e9")
	}
	a := Avoided{MediumG: float64(turns) * medium.MassG, MatsG: float64(matsRetired) * matG}
	a.NetG = a.MediumG - a.MatsG
	return a, nil
}
