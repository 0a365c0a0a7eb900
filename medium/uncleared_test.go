package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Voiding the sanitize step under a growing crop is said by the verdict and by
// the due list until somebody decides.
func TestACropSownOnAVoidedSanitizingIsTold(t *testing.T) {
	now := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	farm := Farm{Sanitizers: []Sanitizer{{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60}}}
	var thread []Step
	take := func(body Body) {
		s := Step{Mat: "TK7R2N81", By: "MK", Body: body, MatSeq: uint64(len(thread) + 1)}
		s, err := Admit(Replay(thread), farm, s, now)
		require.NoError(t, err)
		thread = append(thread, s)
		now = now.Add(time.Hour)
	}
	clean := &Sanitize{Product: "drum", StrengthPPM: 100, ContactS: 60, TempC: ptr(20), PH: ptr(7), Sides: 2, Method: "spray"}
	short := &Sanitize{Product: "drum", StrengthPPM: 100, ContactS: 5, Sides: 2, Method: "spray"}
	take(&Add{Mat: Mat{Form: FormMat, LengthMM: 500, WidthMM: 250, Layers: 1}})
	take(&Rinse{Debris: DebrisNone})
	take(&Dry{Where: DryAir})
	take(clean)
	take(&Dry{Where: DryAir})
	take(short) // not accepted: without the next one the mat would not have been sown on
	take(clean)
	take(&Dry{Where: DryAir})
	take(&Sow{Crops: []Sown{{Crop: "radish"}}, Lot: "R-1"})
	require.False(t, Replay(thread).SownUncleared)

	void, err := AdmitCorrect(thread, Step{Mat: "TK7R2N81", By: "MK", Body: &Correct{MatSeq: 7, Reason: "never did it"}}, now)
	require.NoError(t, err)
	void.MatSeq = uint64(len(thread) + 1)
	c := Replay(append(thread, void))
	require.True(t, c.SownUncleared)
	v := Judge(c, Farm{}, now)
	require.Contains(t, v.Findings[1].Text, "lot R-1 was sown before the mat was sanitized and dry again")
	work, due := WorkOn(c, Farm{}, time.UTC)
	require.True(t, due)
	require.Equal(t, KindHold, work.Step)
}

// A clock that is a little ahead elsewhere never keeps somebody from reporting
// mold now.
func TestAReportIsNotRefusedForAnotherClocksDrift(t *testing.T) {
	now := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	c := Condition{Code: "TK7R2N81", Stage: Ready, Last: now.Add(4 * time.Minute)}
	s, err := Admit(c, Farm{}, Step{Mat: c.Code, By: "MK", Body: &Mold{Where: "edge"}}, now)
	require.NoError(t, err)
	require.Equal(t, c.Last, s.At)
	_, err = Admit(c, Farm{}, Step{Mat: c.Code, By: "MK", At: now.Add(-time.Hour), Body: &Inspect{}}, now)
	require.ErrorContains(t, err, "before its last step")
}

func TestAHoldThatAsksForTheWash(t *testing.T) {
	now := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	c := Condition{Code: "TK7R2N81", Stage: Ready, Cleared: true}.Apply(Step{At: now, Body: &Hold{Reason: "two pieces carry this code", MustWash: true}, Kind: KindHold})
	_, err := Admit(c, Farm{}, Step{Mat: c.Code, By: "MK", Body: &Release{Reason: "looked at", AsWas: true}}, now)
	require.Error(t, err)
	require.Equal(t, ToWash, c.Apply(Step{At: now, Kind: KindRelease, Body: &Release{Reason: "x", AsWas: true}}).Stage)
}

// What is typed is shown later on terminals, pages and paper.
func TestControlCharactersAreRefused(t *testing.T) {
	for _, text := range []string{"x\x1b[2J", "a\nb", "a\u202eb", "a\u2066b", "\x07", "bad\xff"} {
		require.Error(t, checkText("note", text), "%q", text)
		require.Error(t, FarmSettings{Name: text, Zone: "UTC", Units: Metric, Paper: "a4", Currency: "EUR"}.Check(), "%q", text)
		require.Error(t, Sanitizer{Name: text, Active: "quat"}.Check(), "%q", text)
		require.Error(t, Crop{Name: text}.Check(), "%q", text)
		_, err := Admit(Condition{Code: "TK7R2N81", Stage: Ready}, Farm{}, Step{Mat: "TK7R2N81", By: text, Body: &Hold{Reason: "x"}}, time.Now())
		require.Error(t, err, "%q", text)
	}
	require.NoError(t, checkText("note", "Łódź, große Füße, 大根 (№ 7)"))
	require.Error(t, FarmSettings{Name: "F", Zone: "UTC", Units: Metric, Paper: "a4", Currency: "==="}.Check())
}

// A strip proves no more than its reading: the reading itself lies within the
// directions, and one that can't be told from water proves nothing.
func TestAStripsReadingLiesWithinTheDirections(t *testing.T) {
	d := Sanitizer{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60}
	for _, k := range []struct {
		read, step float64
		accepted   bool
	}{{100, 50, true}, {50, 50, true}, {200, 100, true}, {40, 50, false}, {0, 100, false}, {5000, 10000, false}, {100, 400, false}, {250, 200, false}} {
		b := &Sanitize{Product: "drum", Active: "hypochlorite", StrengthPPM: k.read, ContactS: 60, TempC: ptr(50), PH: ptr(7),
			Mixed: &Bottle{Strip: &Strip{ReadPPM: k.read, StepPPM: k.step}}}
		found := append(missedDirections(Policy{}, d, b), missedCeilings(Policy{}, d, b)...)
		require.Equal(t, k.accepted, !misses(found), "%g by steps of %g: %v", k.read, k.step, found)
	}
}
