package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// growingMat is a mat with a crop of the shipped table, sown on 24 October at 09:00.
func growingMat(t *testing.T, crops ...string) Condition {
	t.Helper()
	c := testCondition(Growing)
	c.Crops = nil
	for _, name := range crops {
		crop, err := testFarm().Crop(name)
		require.NoError(t, err)
		c.Crops = append(c.Crops, crop.sown(10))
	}
	return c
}

// done is an accepted step as the ledger keeps it.
func done(b Body, at time.Time) Step {
	return Step{Mat: testCode, By: "ab", Kind: KindOf(b), Body: b, At: at, Recorded: at, Outcome: Outcome{Accepted: true}}
}

func duesOf(t *testing.T, c Condition, p Policy) map[string]Due {
	t.Helper()
	got := map[string]Due{}
	w, _ := WorkOn(c, Farm{Policy: p}, berlin)
	for _, d := range w.Dues {
		if _, twice := got[d.Rule+d.Text]; twice {
			t.Errorf("%s is due twice: %s", d.Rule, d.Text)
		}
		if old, ok := got[d.Rule]; !ok || d.At.Before(old.At) {
			got[d.Rule] = d
		}
	}
	return got
}

// TestCareOfAGrowingCrop: the crop table's days and mistings (Utah State University
// Extension for days; mistings common practice, no source) make a day's work due.
func TestCareOfAGrowingCrop(t *testing.T) {
	at := func(d, h int) time.Time { return time.Date(2026, 10, d, h, 0, 0, 0, berlin) }
	c := growingMat(t, "radish") // sown on 24 October at 09:00, 2 days dark, 8 to 12 days
	got := duesOf(t, c, Policy{})
	assert.Equal(t, "sown 24 Oct 09:00, every 12 h in the dark", got["misting"].Text)
	assert.Equal(t, at(24, 21).UTC(), got["misting"].At)
	assert.Equal(t, KindMist, got["misting"].Step)
	assert.Equal(t, "radish sown 24 Oct 09:00, 2 days in the dark", got["uncovering"].Text)
	assert.True(t, at(26, 9).Equal(got["uncovering"].At)) // 25 October has 25 hours
	assert.Equal(t, "radish sown 24 Oct 09:00, day 8 to 12", got["harvest-window"].Text)
	assert.Equal(t, "radish sown 24 Oct 09:00, at most 12 days", got["crop-days"].Text)

	c = c.Apply(done(&Mist{WaterML: 200}, at(24, 20)))
	assert.Equal(t, at(25, 7).UTC(), duesOf(t, c, Policy{})["misting"].At)
	assert.Equal(t, at(25, 7).UTC(), duesOf(t, c.Apply(done(&Mist{Treated: "peroxide", Where: "left corner"}, at(24, 22))), Policy{})["misting"].At,
		"a spot that is treated is no misting")

	c = c.Apply(done(&Uncover{Place: "shelf B"}, at(26, 8)))
	assert.Equal(t, Light, c.Phase())
	assert.Equal(t, "shelf B", c.Place)
	got = duesOf(t, c, Policy{})
	assert.NotContains(t, got, "uncovering")
	assert.Equal(t, "misted 24 Oct 20:00, every 24 h in the light", got["misting"].Text)

	off := Policy{Settings: []Setting{{Rule: "misting"}, {Rule: "harvest-window"}}}
	assert.NotContains(t, duesOf(t, c, off), "misting")
	assert.NotContains(t, duesOf(t, c, off), "harvest-window")
	twice := Policy{Settings: []Setting{{Rule: "misting", On: true, Limit: 200}}}
	assert.Equal(t, "misted 24 Oct 20:00, every 12 h in the light", duesOf(t, c, twice)["misting"].Text)
}

// TestSeedThatMayFallIsWiped: seed finer than the mesh holds (FitSeed) is wiped off from
// below once; that of a mesh that holds it is not.
func TestSeedThatMayFallIsWiped(t *testing.T) {
	c := growingMat(t, "radish", "amaranth") // amaranth is about 1.0 mm across
	c.Mat.ApertureMM = 0.9
	got := duesOf(t, c, Policy{})
	assert.Equal(t, "amaranth sown 24 Oct 09:00: seed that fell through rots", got["wiping"].Text)
	assert.Equal(t, time.Date(2026, 10, 26, 8, 0, 0, 0, berlin).UTC(), got["wiping"].At)
	assert.Equal(t, KindWipe, got["wiping"].Step)
	wiped := c.Apply(done(&Wipe{}, time.Date(2026, 10, 25, 8, 0, 0, 0, berlin)))
	assert.NotContains(t, duesOf(t, wiped, Policy{}), "wiping")
	c.Mat.ApertureMM = 0.7
	assert.NotContains(t, duesOf(t, c, Policy{}), "wiping")
	c.Mat.ApertureMM = 0
	assert.NotContains(t, duesOf(t, c, Policy{}), "wiping", "nobody knows the mesh")
}

// TestAMixGoesByEachOfItsCrops: each crop has a line of its own, and the cover comes
// off when the first of them needs light.
func TestAMixGoesByEachOfItsCrops(t *testing.T) {
	c := growingMat(t, "basil", "radish") // 5 and 2 days dark, 12 to 16 and 8 to 12 days
	w, ok := WorkOn(c, Farm{}, berlin)
	require.True(t, ok)
	var texts []string
	for _, d := range w.Dues {
		texts = append(texts, string(d.Step)+": "+d.Text)
	}
	assert.Equal(t, []string{
		"mist: sown 24 Oct 09:00, every 12 h in the dark",
		"uncover: basil + radish sown 24 Oct 09:00, 2 days in the dark",
		"harvest: radish sown 24 Oct 09:00, day 8 to 12",
		"harvest: basil sown 24 Oct 09:00, day 12 to 16",
		"harvest: radish sown 24 Oct 09:00, at most 12 days",
		"harvest: basil sown 24 Oct 09:00, at most 16 days",
	}, texts)
	from, to := HarvestDays(c.Crops)
	assert.Equal(t, []int{12, 12}, []int{from, to})
	from, to = HarvestDays([]Sown{{DaysMin: 21, DaysMax: 28}, {DaysMin: 6, DaysMax: 8}, {Crop: "own"}})
	assert.Equal(t, []int{8, 8}, []int{from, to}, "the first is over before the last can be cut")
	from, to = HarvestDays([]Sown{{Crop: "own"}})
	assert.Equal(t, []int{0, 0}, []int{from, to})
}

func TestStandOnAMat(t *testing.T) {
	c := growingMat(t, "radish")
	c.Lot, c.SeedLot, c.Place = "R-7", "S88", "shelf A"
	now := time.Date(2026, 10, 28, 7, 0, 0, 0, berlin)
	assert.Equal(t, &CropStand{Lot: "R-7", Crops: []CropOn{{"radish", "S88"}}, Place: "shelf A", Day: 4, Phase: Dark, Weighted: true,
		HarvestFrom: time.Date(2026, 11, 1, 9, 0, 0, 0, berlin), HarvestBy: time.Date(2026, 11, 5, 9, 0, 0, 0, berlin)}, StandOn(c, now))
	assert.Equal(t, 1, StandOn(c, time.Date(2026, 10, 25, 0, 5, 0, 0, berlin)).Day, "by the calendar, not by the clock")
	c.Stage = ToWash
	assert.Nil(t, StandOn(c, now))
}
