package medium

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
)

// SeedOf is all the seed of a sowing in grams; 0 where one crop of a mix has
// none noted.
func SeedOf(crops []Sown) float64 {
	total := 0.0
	for _, c := range crops {
		if c.SeedG <= 0 {
			return 0
		}
		total += c.SeedG
	}
	return total
}

// PerSeed makes the harvest of a whole turn comparable with others of its crop:
// grams of yield for each gram of seed. The mat's area cancels out, so a mat that
// was trimmed or sown thinner is not worse for that. It is false for a harvest
// that was not weighed and for seed that was not noted: those say nothing.
func PerSeed(yieldG, seedG float64) (float64, bool) {
	if !(yieldG > 0) || !(seedG > 0) {
		return 0, false
	}
	return yieldG / seedG, true
}

// YieldRate is what a turn gave for its seed and for its area.
type YieldRate struct {
	record
	PerSeed float64 `cbor:"10,keyasint,omitzero" json:"g_per_g_seed"`
	PerM2   float64 `cbor:"11,keyasint,omitzero" json:"g_per_m2"`
}

// CropYield sums a mat's harvests of one crop, or of one mix with the same shares.
type CropYield struct {
	record
	Crop string  `cbor:"10,keyasint,omitzero" json:"crop"`
	N    int     `cbor:"11,keyasint,omitzero" json:"n"`
	SumG float64 `cbor:"12,keyasint,omitzero" json:"sum_g"`
	// harvests in Sum: weighed whole, with the seed noted
	NSum int         `cbor:"14,keyasint,omitzero" json:"compared,omitempty"`
	Sum  YieldRate   `cbor:"15,keyasint,omitzero" json:"sum_rates,omitzero"`
	Last []YieldRate `cbor:"16,keyasint,omitzero" json:"last_rates,omitempty"` // newest last, at most yieldsKept
	// Shares of a mix's seed in percent, in the order of the crops' names; none for
	// one crop, or where some seed was not noted.
	Shares []int `cbor:"17,keyasint,omitzero" json:"shares_percent,omitempty"`
}

// Name names the crop, or the mix with its shares.
func (y CropYield) Name() string {
	if len(y.Shares) == 0 {
		return y.Crop
	}
	parts := make([]string, len(y.Shares))
	for i, s := range y.Shares {
		parts[i] = strconv.Itoa(s)
	}
	return y.Crop + " (" + strings.Join(parts, ":") + ")"
}

// seedShares gives the Shares of a sowing to the tenth, so that what was weighed
// twice alike is alike (common practice, no source).
func seedShares(crops []Sown) []int {
	total := SeedOf(crops)
	if len(crops) < 2 || total == 0 {
		return nil
	}
	sorted := slices.SortedFunc(slices.Values(crops), func(a, b Sown) int {
		return cmp.Or(strings.Compare(a.Crop, b.Crop), cmp.Compare(a.SeedG, b.SeedG))
	})
	out := make([]int, len(sorted))
	for i, c := range sorted {
		out[i] = 10 * int(math.Round(10*c.SeedG/total))
	}
	return out
}

// yieldsKept is the widest window of the yield-down rule.
const yieldsKept = 10

func (y CropYield) with(r YieldRate) CropYield {
	y.NSum++
	y.Sum.PerSeed += r.PerSeed
	y.Sum.PerM2 += r.PerM2
	last := y.Last[max(0, len(y.Last)+1-yieldsKept):]
	y.Last = append(append(make([]YieldRate, 0, len(last)+1), last...), r)
	return y
}

func (c *Condition) yielded() {
	sown := CropYield{Crop: CropName(c.Crops), Shares: seedShares(c.Crops)}
	at, found := slices.BinarySearchFunc(c.Yields, sown, func(a, b CropYield) int {
		return cmp.Or(strings.Compare(a.Crop, b.Crop), slices.Compare(a.Shares, b.Shares))
	})
	out := slices.Clone(c.Yields)
	if !found {
		out = slices.Insert(out, at, sown)
	}
	y := &out[at]
	y.N++
	y.SumG += c.TurnG
	if seed, ok := PerSeed(c.TurnG, SeedOf(c.Crops)); ok && !c.CutUnweighed && c.Mat.AreaM2() > 0 {
		*y = y.with(YieldRate{PerSeed: seed, PerM2: c.TurnG / c.Mat.AreaM2()})
	}
	c.Yields = out
}

// share compares the mean of the last n harvests with the mean of those before,
// in percent; it needs n on each side. A worn mat gives less for its seed and for
// its area too, and the better of the two counts: half the seed gives less for
// the area only, double the seed less for the seed only, and neither is wear.
func (y CropYield) share(n int) (float64, bool) {
	if n < 1 || y.NSum < 2*n || len(y.Last) < n {
		return 0, false
	}
	var last YieldRate
	for _, r := range y.Last[len(y.Last)-n:] {
		last.PerSeed += r.PerSeed
		last.PerM2 += r.PerM2
	}
	seed, area := y.Sum.PerSeed-last.PerSeed, y.Sum.PerM2-last.PerM2
	if seed <= 0 || area <= 0 {
		return 0, false
	}
	same := 100 * float64(y.NSum-n) / float64(n)
	return max(same*last.PerSeed/seed, same*last.PerM2/area), true
}
