package farm

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"resow/medium"
)

// row is a farm with mats in different stages, sizes, places and crops.
func row(t *testing.T) *washDay {
	w := newWashDay(t)
	w.put(medium.FarmThread, &medium.PolicyChange{Setting: medium.Setting{Rule: "solution-measured", Limit: 1}, Reason: "test"})
	for i, code := range w.mats {
		w.ready(code)
		w.put(code, &medium.Sow{Crops: []medium.Sown{{Crop: []string{"radish", "kale", "radish"}[i], SeedG: 20}},
			Lot: []string{"R-1", "K-1", "R-1"}[i], SeedLot: "S88", Place: []string{"shelf A", "Shelf A", "shelf B"}[i]})
	}
	return w
}

// ready brings a mat to where it can be sown on.
func (w *washDay) ready(code medium.Code) {
	for _, b := range []medium.Body{&medium.Rinse{Debris: medium.DebrisNone}, &medium.Dry{Where: medium.DryAir, DurationS: 3600},
		&medium.Sanitize{Product: "drum", StrengthPPM: 100, ContactS: 120, Sides: 2, Method: "spray"},
		&medium.Dry{Where: medium.DryAir, DurationS: 3600}} {
		w.now = w.now.Add(2 * time.Hour)
		w.put(code, b)
	}
}

func (w *washDay) farm() *Farm {
	state, err := w.store.Farm()
	require.NoError(w.t, err)
	return Of(w.store, state, func() time.Time { return w.now }, nil)
}

func TestSelectorsNameMats(t *testing.T) {
	w := row(t)
	f := w.farm()
	for _, k := range []struct {
		words string
		want  []int
	}{
		{"lot:R-1", []int{0, 2}},
		{"lot:r-1", []int{0, 2}},
		{"place:shelf a", []int{0, 1}},
		{"place:shelf A|crop:radish", []int{0}},
		{"crop:kale", []int{1}},
		{"seed-lot:S88|stage:growing", []int{0, 1, 2}},
		{"size:250x510mm", nil},
		{"size:510x250mm", []int{0, 1, 2}},
		{"stage:ready", nil},
	} {
		got, err := f.Select(strings.Split(k.words, "|"), medium.KindMist, "MK")
		var want []medium.Code
		for _, i := range k.want {
			want = append(want, w.mats[i])
		}
		if want == nil {
			var none *NoneError
			require.ErrorAs(t, err, &none, k.words)
			continue
		}
		require.NoError(t, err, k.words)
		require.ElementsMatch(t, want, got, k.words)
	}
	for words, want := range map[string]string{"stage:wet": "to wash, to dry", "size:big": "size", "lot:": "something behind the colon"} {
		_, err := f.Select([]string{words}, medium.KindMist, "MK")
		require.ErrorContains(t, err, want)
	}
}

func TestDueAndAgainNameMats(t *testing.T) {
	w := row(t)
	_, err := w.farm().Select([]string{SelectDue}, medium.KindHarvest, "MK")
	require.Error(t, err, "nothing can be cut yet")
	w.now = w.now.Add(20 * time.Hour)
	due, err := w.farm().Select([]string{SelectDue}, medium.KindMist, "MK")
	require.NoError(t, err)
	require.ElementsMatch(t, w.mats, due)
	w.put(w.mats[1], &medium.Mist{})
	due, err = w.farm().Select([]string{SelectDue}, medium.KindMist, "MK")
	require.NoError(t, err)
	require.NotContains(t, due, w.mats[1], "it was misted a moment ago")
	due, err = w.farm().Select([]string{SelectDue, "crop:radish", "place:shelf A"}, medium.KindMist, "MK")
	require.NoError(t, err)
	require.Equal(t, w.mats[:1], due)
	again, err := w.farm().Select([]string{SelectAgain}, medium.KindMist, "MK")
	require.NoError(t, err)
	require.Equal(t, w.mats[1:2], again)
	_, err = w.farm().Select([]string{SelectAgain}, medium.KindMist, "nobody")
	require.Error(t, err)
}

// TestSelectorsAreANaiveFilter holds drawn selectors against a loop over all mats.
func TestSelectorsAreANaiveFilter(t *testing.T) {
	w := row(t)
	f := w.farm()
	var all []medium.Condition
	require.NoError(t, f.Conditions(func(c medium.Condition) error { all = append(all, c); return nil }))
	rapid.Check(t, func(t *rapid.T) {
		var words []string
		lot := rapid.SampledFrom([]string{"", "R-1", "K-1", "X"}).Draw(t, "lot")
		place := rapid.SampledFrom([]string{"", "shelf A", "shelf B"}).Draw(t, "place")
		crop := rapid.SampledFrom([]string{"", "radish", "kale"}).Draw(t, "crop")
		stage := rapid.SampledFrom([]string{"", "growing", "to wash"}).Draw(t, "stage")
		for key, v := range map[string]string{"lot": lot, "place": place, "crop": crop, "stage": stage} {
			if v != "" {
				words = append(words, key+":"+v)
			}
		}
		var want []medium.Code
		for _, c := range all {
			if (lot == "" || c.Lot == lot) && (place == "" || strings.EqualFold(c.Place, place)) &&
				(crop == "" || c.Crops[0].Crop == crop) && (stage == "" || string(c.Stage) == stage) {
				want = append(want, c.Code)
			}
		}
		got, err := f.Select(words, medium.KindMist, "MK")
		slices.Sort(want)
		slices.Sort(got)
		if (err != nil) != (len(want) == 0) || fmt.Sprint(got) != fmt.Sprint(want) {
			t.Fatalf("%v: %v %v, want %v", words, got, err, want)
		}
	})
}
