package lifetime

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
)

// Harvest is one weighed crop off one mat.
type Harvest struct {
	Mat  string
	Mesh string // kind of mesh, for grouping
	Crop string
	Turn float64
	// PerSeed is grams of yield for each gram of dry seed sown, which makes mats
	// of any area and sown at any rate comparable; 0 for a lost crop.
	PerSeed float64
}

// Yields are harvests made comparable: series, one for each crop on each mat, of
// the yield per gram of seed in percent of the median of that crop over all
// mats. A slope over them reads as percent of the usual yield per turn. Crops
// and mats are compared only with themselves, so neither a change of the crop
// plan nor a good mat looks like a trend; the season does if all mats are
// equally old in it.
type Yields struct {
	harvests []Harvest // by mat and crop, else as they were given
	series   []Series  // of those, in the same order
}

// CompareYields makes harvests comparable.
//
// Errors: *Invalid for masses out of range and for a turn that is no number;
// *NoEstimate for a crop whose usual yield is 0.
func CompareYields(harvests []Harvest) (Yields, error) {
	usual, err := usualYields(harvests)
	if err != nil {
		return Yields{}, err
	}
	y := Yields{harvests: slices.Clone(harvests)}
	slices.SortStableFunc(y.harvests, func(a, b Harvest) int {
		return cmp.Or(cmp.Compare(a.Mat, b.Mat), cmp.Compare(a.Crop, b.Crop))
	})
	points := make([]Reading, len(y.harvests))
	for i, h := range y.harvests {
		points[i] = Reading{h.Turn, 100 * h.PerSeed / usual[h.Crop]}
	}
	for i := 0; i < len(points); {
		first, j := y.harvests[i], i+1
		for j < len(points) && y.harvests[j].Mat == first.Mat && y.harvests[j].Crop == first.Crop {
			j++
		}
		y.series = append(y.series, Series{Name: first.Mat + " " + first.Crop, Points: points[i:j:j]})
		i = j
	}
	return y, nil
}

// Series gives all series, by mat and crop.
func (y Yields) Series() []Series { return y.series }

// usualYields is the median yield per gram of seed of each crop.
func usualYields(harvests []Harvest) (map[string]float64, error) {
	perSeed := map[string][]float64{}
	for i, h := range harvests {
		if !(h.PerSeed >= 0 && h.PerSeed <= 1e9) {
			return nil, invalid(fmt.Sprintf("harvest %d (mat %s, turn %g)", i+1, h.Mat, h.Turn),
				fmt.Sprintf("%g g for each gram of seed", h.PerSeed),
				"give both masses in grams, the seed above 0, or leave the harvest out")
		}
		if !finite(h.Turn) {
			return nil, invalid(fmt.Sprintf("harvest %d (mat %s)", i+1, h.Mat), fmt.Sprintf("turn %g", h.Turn),
				"give the number of the turn")
		}
		perSeed[h.Crop] = append(perSeed[h.Crop], h.PerSeed)
	}
	usual := map[string]float64{}
	for _, crop := range slices.Sorted(maps.Keys(perSeed)) {
		yields := perSeed[crop]
		slices.Sort(yields)
		usual[crop] = median(yields)
		if usual[crop] <= 1e-9 {
			return nil, &NoEstimate{Of: "the yield trend of " + crop, Why: "its median yield is 0",
				Advice: "check the recorded masses, or leave the crop out"}
		}
	}
	return usual, nil
}

// YieldTrend is the yield trend of one mat, mesh or other group.
type YieldTrend struct {
	Name string
	Trend
	// Adjusted is P corrected for the number of groups looked at (Holm).
	Adjusted float64
	// Losing marks a falling yield that chance does not explain: slope below 0
	// and Adjusted at most 1 less the confidence.
	Losing bool
	// Refused says why this group has no trend; its figures are then 0.
	Refused error
}

// Trends gives the trend of each group of harvests, steepest loss first, groups
// without enough data last. by names the group of a harvest, such as its mat or
// its mesh. The usual yields are those of all groups, so that their slopes
// compare.
func (y Yields) Trends(by func(Harvest) string, limits Limits, confidence float64) ([]YieldTrend, error) {
	if _, err := normalQuantile(confidence); err != nil {
		return nil, err
	}
	groups := y.grouped(by)
	var trends []YieldTrend
	var tested []int
	var p []float64
	for _, name := range slices.Sorted(maps.Keys(groups)) {
		t := YieldTrend{Name: name}
		err := limits.Trend(groups[name])
		if err == nil {
			t.Trend, err = FindTrend(groups[name], confidence)
		}
		t.Refused = err
		if err == nil {
			tested = append(tested, len(trends))
			p = append(p, t.P)
		}
		trends = append(trends, t)
	}
	adjusted, err := Holm(p)
	if err != nil {
		return nil, err
	}
	for i, at := range tested {
		trends[at].Adjusted = adjusted[i]
		trends[at].Losing = trends[at].Slope.Value < 0 && adjusted[i] <= 1-confidence
	}
	slices.SortStableFunc(trends, func(a, b YieldTrend) int {
		if (a.Refused == nil) != (b.Refused == nil) {
			if a.Refused == nil {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.Slope.Value, b.Slope.Value)
	})
	return trends, nil
}

// grouped gives the series of each group.
func (y Yields) grouped(by func(Harvest) string) map[string][]Series {
	groups := map[string][]Series{}
	at := 0
	for _, s := range y.series {
		harvests := y.harvests[at : at+len(s.Points)]
		at += len(s.Points)
		name := by(harvests[0])
		if !slices.ContainsFunc(harvests, func(h Harvest) bool { return by(h) != name }) {
			groups[name] = append(groups[name], s)
			continue
		}
		parts := map[string][]Reading{}
		for i, h := range harvests {
			parts[by(h)] = append(parts[by(h)], s.Points[i])
		}
		for name, points := range parts {
			groups[name] = append(groups[name], Series{Name: s.Name, Points: points})
		}
	}
	return groups
}
