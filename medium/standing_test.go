package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// A rinse that is voided takes away what the sanitize step after it counted for,
// and the answer names that step; the one that the verdict goes by is the same.
func TestStandings(t *testing.T) {
	now := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	farm := Farm{Sanitizers: []Sanitizer{{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60}}}
	var thread []Step
	take := func(body Body) {
		s, err := Admit(Replay(thread), farm, Step{Mat: "TK7R2N81", By: "MK", Body: body}, now)
		require.NoError(t, err)
		s.MatSeq = uint64(len(thread) + 1)
		thread = append(thread, s)
		now = now.Add(time.Hour)
	}
	void := func(n uint64) {
		s, err := AdmitCorrect(thread, Step{Mat: "TK7R2N81", By: "MK", Body: &Correct{MatSeq: n, Reason: "never did it"}}, now)
		require.NoError(t, err)
		s.MatSeq = uint64(len(thread) + 1)
		thread = append(thread, s)
	}
	clean := &Sanitize{Product: "drum", StrengthPPM: 100, ContactS: 60, TempC: ptr(20), PH: ptr(7), Sides: 2, Method: "spray"}
	take(&Add{Mat: Mat{Form: FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}})
	take(&Rinse{Debris: DebrisNone})
	take(&Dry{Where: DryAir})
	take(clean)
	take(&Cut{LengthMM: 3})
	take(&Dry{Where: DryAir})
	take(&Sow{Crops: []Sown{{Crop: "radish"}}, Lot: "R-1"})
	for i, s := range thread {
		require.Equal(t, Standing{Accepted: s.Outcome.Accepted}, Standings(thread)[i], "as recorded: nothing was corrected")
	}

	void(5) // has nothing to do with it
	require.Equal(t, Standing{Void: true}, Standings(thread)[4])
	require.Equal(t, Standing{Accepted: true}, Standings(thread)[3])
	void(2)
	got := Standings(thread)
	require.Equal(t, Standing{Void: true}, got[1])
	require.Equal(t, Standing{Since: 2}, got[3])
	require.Equal(t, Standing{Accepted: true}, got[6], "that it was sown on stays true")
	c := Replay(thread)
	require.True(t, c.SownUncleared)
	require.False(t, c.Sanitized.Accepted)
	void(3)
	require.Equal(t, Standing{Since: 2}, Standings(thread)[3], "the first that took it away")
}
