package report

import (
	"fmt"
	"maps"
	"slices"

	"resow/medium"
	"resow/medium/lifetime"
)

// yields is what the weighed harvests say about the turns.
type yields struct {
	harvests int
	compared lifetime.Yields
	all      []lifetime.YieldTrend // one
	crops    []lifetime.YieldTrend
	meshes   []lifetime.YieldTrend
	losing   []medium.Code
	sampled  int // of so many mats one was looked at
	refused  error
}

func yieldsOf(t *Tally) yields {
	y := yields{losing: []medium.Code{}, harvests: len(t.harvests), sampled: t.every}
	y.compared, y.refused = lifetime.CompareYields(t.harvests)
	limits := lifetime.DefaultLimits()
	by := func(name func(lifetime.Harvest) string) (trends []lifetime.YieldTrend) {
		if y.refused == nil {
			trends, y.refused = y.compared.Trends(name, limits, confidence)
		}
		return trends
	}
	y.all = by(func(lifetime.Harvest) string { return "all crops" })
	y.crops = by(func(h lifetime.Harvest) string { return h.Crop })
	y.meshes = by(func(h lifetime.Harvest) string { return h.Mesh })
	for _, m := range by(func(h lifetime.Harvest) string { return h.Mat }) {
		if m.Losing {
			y.losing = append(y.losing, medium.Code(m.Name))
		}
	}
	return y
}

// say gives the common trend and, where some mats lose yield, which.
func (y yields) say() []string {
	if y.refused != nil || len(y.all) == 0 || y.all[0].Refused != nil {
		return nil
	}
	t := y.all[0]
	word := "shows no trend beyond chance"
	switch {
	case t.P >= 1-confidence:
	case t.Slope.Value < 0:
		word = "falls"
	default:
		word = "rises"
	}
	var out sentences
	out.say("Yield, adjusted for crop and seed, %s from turn to turn: %s percentage points per turn (%s, %d harvests).",
		word, signed(t.Slope.Value), interval95(t.Slope, signed), t.Readings)
	if n := len(y.losing); n > 0 {
		shown := codes(y.losing[:min(n, 6)])
		if n > 6 {
			shown += fmt.Sprintf(" and %d more", n-6)
		}
		out.say("%s yield beyond chance: %s.", count(n, "mat loses", "mats lose"), shown)
	}
	return out
}

// signed writes a figure with two decimals and its sign.
func signed(v float64) string {
	figure := decimals(v, 2)
	switch {
	case figure == "0.00":
		return "0"
	case v > 0:
		return "+" + figure
	}
	return minus(figure)
}

func (y yields) section() Section {
	s := newSection("yield_trend")
	s.Figures = fields{"mats_losing": y.losing}
	if y.harvests == 0 {
		return s
	}
	if y.refused != nil {
		s.Empty = "No trend: " + tooFew(y.refused) + "."
		return s
	}
	for _, t := range append(append(slices.Clone(y.all), y.crops...), y.meshes...) {
		row := []any{t.Name, "", "", "", "too few harvests to compare"}
		if t.Refused == nil {
			row = []any{t.Name, t.Readings, spanned(t.Slope, signed, "Theil-Sen"), pValue(t.Adjusted), "no trend beyond chance"}
			if t.Losing {
				row[4] = "loses yield"
			} else if t.Adjusted < 1-confidence {
				row[4] = "gains yield"
			}
		}
		s.add(row...)
	}
	if p, ok := y.plot(); ok {
		s.Plots = []Plot{p}
	}
	return s
}

// plot shows the middle half of the harvests at each turn and the common
// slope.
func (y yields) plot() (Plot, bool) {
	if len(y.all) == 0 || y.all[0].Refused != nil {
		return Plot{}, false
	}
	by := map[float64][]float64{}
	var xs, ys []float64
	for _, s := range y.compared.Series() {
		for _, p := range s.Points {
			by[p.Turn] = append(by[p.Turn], p.Value)
			xs, ys = append(xs, p.Turn), append(ys, p.Value)
		}
	}
	turns := slices.Sorted(maps.Keys(by))
	last := turns[len(turns)-1]
	p := newPlot("yield_trend")
	p.X.To, p.Y.From, p.Y.To = last+1, 50, 150
	var middle, half []Point
	for _, t := range turns {
		v := by[t]
		slices.Sort(v)
		middle = append(middle, Point{X: t, Y: quantileOf(v, 0.5)})
		half = append(half, Point{X: t, Y: quantileOf(v, 0.75), Low: quantileOf(v, 0.25)})
	}
	slices.Sort(xs)
	slices.Sort(ys)
	x0, y0, slope := quantileOf(xs, 0.5), quantileOf(ys, 0.5), y.all[0].Slope.Value
	p.Series = []Series{
		{Name: "middle half of the harvests", Shape: Ranges, Points: half},
		{Name: "middle harvest", Shape: Dots, Points: middle},
		{Name: "common slope", Shape: Line, Style: 1, Points: []Point{{X: turns[0], Y: y0 + slope*(turns[0]-x0)},
			{X: last, Y: y0 + slope*(last-x0)}}},
	}
	return p, true
}

// quantileOf gives a quantile of sorted values, between neighbours where it falls there.
func quantileOf(sorted []float64, share float64) float64 {
	place := share * float64(len(sorted)-1)
	i := int(place)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (place-float64(i))*(sorted[i+1]-sorted[i])
}
