package medium

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSharesOfAMix: to the tenth, in the order of the names; none of one crop, or
// where not all seed was weighed.
func TestSharesOfAMix(t *testing.T) {
	assert.Equal(t, []int{30, 80}, seedShares([]Sown{{Crop: "radish", SeedG: 30}, {Crop: "kale", SeedG: 10}}))
	assert.Nil(t, seedShares([]Sown{{Crop: "radish", SeedG: 30}}))
	assert.Nil(t, seedShares([]Sown{{Crop: "radish", SeedG: 30}, {Crop: "kale"}}))
}

// TestYieldIsComparedLikeWithLike: three turns, a change, three more.
func TestYieldIsComparedLikeWithLike(t *testing.T) {
	kale := func(g float64) []Sown { return []Sown{{Crop: "kale", SeedG: g}} }
	for _, k := range []struct {
		name          string
		before, after []Sown
		yield         float64 // of 300 g before
		trim, uncut   bool
		down          bool
	}{
		{name: "worn", before: kale(20), after: kale(20), yield: 200, down: true},
		{name: "just not worn", before: kale(20), after: kale(20), yield: 211},
		{name: "half the seed", before: kale(20), after: kale(10), yield: 160},
		{name: "double the seed", before: kale(10), after: kale(20), yield: 310},
		{name: "half the seed and worn", before: kale(20), after: kale(10), yield: 100, down: true},
		{name: "trimmed to half", before: kale(20), after: kale(10), yield: 150, trim: true},
		{name: "trimmed and worn", before: kale(20), after: kale(10), yield: 100, trim: true, down: true},
		{name: "seed not noted", before: kale(20), after: kale(0), yield: 100},
		{name: "the first cut not weighed", before: kale(20), after: kale(20), yield: 100, uncut: true},
		{name: "a mix, the other way round", before: []Sown{{Crop: "kale", SeedG: 10}, {Crop: "radish", SeedG: 10}},
			after: []Sown{{Crop: "radish", SeedG: 10}, {Crop: "kale", SeedG: 10}}, yield: 200, down: true},
		{name: "a mix of other shares", before: []Sown{{Crop: "radish", SeedG: 80}, {Crop: "kale", SeedG: 20}},
			after: []Sown{{Crop: "radish", SeedG: 20}, {Crop: "kale", SeedG: 80}}, yield: 100},
		{name: "a mix weighed a little otherwise", before: []Sown{{Crop: "radish", SeedG: 80}, {Crop: "kale", SeedG: 20}},
			after: []Sown{{Crop: "radish", SeedG: 40.7}, {Crop: "kale", SeedG: 9.3}}, yield: 100, down: true},
		{name: "a mix with one seed not noted", before: []Sown{{Crop: "kale", SeedG: 10}, {Crop: "radish"}},
			after: []Sown{{Crop: "kale", SeedG: 10}, {Crop: "radish"}}, yield: 100},
	} {
		t.Run(k.name, func(t *testing.T) {
			w := ready(t)
			turn := func(crops []Sown, g float64, uncut bool) {
				w.do(&Sow{Crops: crops}, Growing)
				if uncut {
					w.do(&Harvest{MoreCutsToCome: true})
				}
				w.do(&Harvest{YieldG: g})
				w.wash()
			}
			for range 3 {
				turn(k.before, 300, false)
			}
			if k.trim {
				w.do(&Trim{LengthMM: w.c.Mat.LengthMM / 2, WidthMM: w.c.Mat.WidthMM})
				w.wash()
			}
			for i := range 3 {
				_, early := find(w.verdict(), "yield-down")
				require.False(t, early, "after %d turns the rule asks for three", i)
				turn(k.after, k.yield, k.uncut)
			}
			f, down := find(w.verdict(), "yield-down")
			assert.Equal(t, k.down, down, f.Text)
			if k.name == "a mix weighed a little otherwise" {
				assert.Contains(t, f.Text, "the last 3 harvests of kale + radish (20:80) give")
			}
		})
	}
}
