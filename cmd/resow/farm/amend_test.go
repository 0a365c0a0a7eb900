package farm

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

func (w *washDay) amend(said map[string]string, at time.Time) error {
	w.t.Helper()
	f := w.farm()
	u, err := f.LastAct("MK")
	require.NoError(w.t, err)
	steps, err := f.Amended(u, said, at, false)
	if err != nil {
		return err
	}
	w.now = w.now.Add(time.Minute)
	_, err = w.store.Record(w.now.Format("amend 150405"), steps)
	return err
}

func TestAnActIsAmended(t *testing.T) {
	w := newWashDay(t)
	w.put(medium.FarmThread, &medium.PolicyChange{Setting: medium.Setting{Rule: "solution-measured", Limit: 1}, Reason: "test"})
	for _, m := range w.mats {
		w.ready(m)
	}
	w.now = w.now.Add(3 * time.Hour)
	w.act("MK", &medium.Sow{Crops: []medium.Sown{{Crop: "radish", SeedG: 20}}, Lot: "R-1", SeedLot: "S88", Place: "shelf A"}, w.mats...)
	sown := w.now
	require.NoError(t, w.amend(map[string]string{"lot": "R-12"}, time.Time{}))
	for _, m := range w.mats {
		c, err := w.farm().Condition(m)
		require.NoError(t, err)
		require.Equal(t, []string{"R-12", "S88", "shelf A"}, []string{c.Lot, c.SeedLot, c.Place})
		require.Equal(t, medium.Growing, c.Stage)
		require.Equal(t, 1, c.Turn)
		require.True(t, sown.Equal(c.SownAt), "at its own time")
	}
	require.NoError(t, w.amend(nil, sown.Add(-30*time.Minute)))
	c, err := w.farm().Condition(w.mats[0])
	require.NoError(t, err)
	require.True(t, sown.Add(-30*time.Minute).Equal(c.SownAt), "at another time")
	require.Equal(t, "R-12", c.Lot)
	require.ErrorContains(t, w.amend(map[string]string{"debris": "none"}, time.Time{}), "one that it has")
	w.act("JD", &medium.Mist{}, w.mats[0])
	var later *LaterError
	require.ErrorAs(t, w.amend(map[string]string{"lot": "R-13"}, time.Time{}), &later)
	require.Equal(t, medium.KindMist, later.Step.Kind)
}
