package lifetime

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
)

// Harvest is one weighed crop off one mat.
type Harvest struct {
	Mat    string
	Mesh   string // kind of mesh, for grouping
	Crop   string
	Turn   float64
	YieldG float64 // grams, 0 for a lost crop
	SeedG  float64 // grams of dry seed sown, above 0
}

// YieldSeries turns harvests into comparable series, one for each crop on each
// mat: yield per gram of seed, in percent of the median of that crop over all
// mats. A slope over them reads as percent of the usual yield per turn. Crops
// and mats are compared only with themselves, so neither a change of the crop
// plan nor a good mat looks like a trend; the season does if all mats are
// equally old in it.
//
// Errors: *Invalid for masses out of range; *NoEstimate for a crop whose usual
// yield is 0.
func YieldSeries(harvests []Harvest) ([]Series, error) {
	usual, err := usualYields(harvests)
	if err != nil {
		return nil, err
	}
	return yieldSeries(harvests, usual), nil
}

// usualYields is the median yield per gram of seed of each crop.
func usualYields(harvests []Harvest) (map[string]float64, error) {
	perSeed := map[string][]float64{}
	for i, h := range harvests {
		if !(h.SeedG > 1e-6 && h.SeedG <= 1e9) || !(h.YieldG >= 0 && h.YieldG <= 1e9) {
			return nil, &Invalid{What: fmt.Sprintf("harvest %d (mat %s, turn %g)", i+1, h.Mat, h.Turn),
				Value:  fmt.Sprintf("%g g from %g g of seed", h.YieldG, h.SeedG),
				Advice: "give both masses in grams, the seed above 0, or leave the harvest out"}
		}
		perSeed[h.Crop] = append(perSeed[h.Crop], h.YieldG/h.SeedG)
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

func yieldSeries(harvests []Harvest, usual map[string]float64) []Series {
	type key struct{ mat, crop string }
	points := map[key][]Reading{}
	for _, h := range harvests {
		k := key{h.Mat, h.Crop}
		points[k] = append(points[k], Reading{h.Turn, 100 * h.YieldG / h.SeedG / usual[h.Crop]})
	}
	keys := make([]key, 0, len(points))
	for k := range points {
		keys = append(keys, k)
	}
	slices.SortFunc(keys, func(a, b key) int {
		return cmp.Or(cmp.Compare(a.mat, b.mat), cmp.Compare(a.crop, b.crop))
	})
	series := make([]Series, 0, len(keys))
	for _, k := range keys {
		series = append(series, Series{Name: k.mat + " " + k.crop, Points: points[k]})
	}
	return series
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

// YieldTrends gives the trend of each group of harvests, steepest loss first,
// groups without enough data last. by names the group of a harvest, such as
// its mat or its mesh.
func YieldTrends(harvests []Harvest, by func(Harvest) string, limits Limits, confidence float64) ([]YieldTrend, error) {
	if _, err := normalQuantile(confidence); err != nil {
		return nil, err
	}
	// The usual yield is taken over all groups, so that their slopes compare.
	usual, err := usualYields(harvests)
	if err != nil {
		return nil, err
	}
	groups := map[string][]Harvest{}
	for _, h := range harvests {
		groups[by(h)] = append(groups[by(h)], h)
	}
	var trends []YieldTrend
	var tested []int
	var p []float64
	for _, name := range slices.Sorted(maps.Keys(groups)) {
		t := YieldTrend{Name: name}
		series := yieldSeries(groups[name], usual)
		err := limits.Trend(series)
		if err == nil {
			t.Trend, err = FindTrend(series, confidence)
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
