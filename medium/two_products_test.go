package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// Two products never meet on a wet mat (CDC bleach advice: never mix bleach
// with another cleaner).
func TestASecondProductOnAWetMatIsNotAccepted(t *testing.T) {
	now := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	farm := Farm{Sanitizers: []Sanitizer{
		{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60},
		{Name: "bottle", Active: "peroxide", Directions: DirectionsLabel, MinPPM: 500, MaxPPM: 1100, ContactS: 60},
		{Name: "second drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60},
	}}
	wet := Condition{Code: "TK7R2N81", Stage: Airing, Since: now, WetWith: []string{"hypochlorite"}}
	give := func(b Sanitize) Step {
		b.ContactS, b.Sides, b.Method, b.TempC, b.PH = 120, 2, "spray", ptr(20), ptr(7)
		s, err := Admit(wet, farm, Step{Mat: wet.Code, By: "MK", Body: &b}, now)
		require.NoError(t, err)
		return s
	}
	s := give(Sanitize{Product: "bottle", StrengthPPM: 1000})
	require.False(t, s.Outcome.Accepted)
	require.Equal(t, Airing, s.Outcome.To)
	require.Equal(t, "two-products", s.Outcome.Findings[0].Rule)
	require.True(t, give(Sanitize{Product: "drum", StrengthPPM: 100}).Outcome.Accepted)

	s = give(Sanitize{Active: "hypochlorite", StrengthPPM: 100})
	require.Equal(t, "2 products on file have hypochlorite; name the one that was used", s.Outcome.Findings[0].Text)
}

// The refused step wetted the mat too, and so did one that was too short.
func TestASecondProductIsNotForgotten(t *testing.T) {
	now := time.Date(2026, 11, 2, 9, 0, 0, 0, time.UTC)
	farm := Farm{Sanitizers: []Sanitizer{
		{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60},
		{Name: "bottle", Active: "peroxyacetic", Directions: DirectionsLabel, MinPPM: 80, MaxPPM: 200, ContactS: 60},
	}}
	c := Condition{Code: "TK7R2N81", Stage: ToSanitize}
	give := func(product string, contact int) bool {
		now = now.Add(time.Duration(contact) * time.Second)
		s, err := Admit(c, farm, Step{Mat: c.Code, By: "MK", Body: &Sanitize{Product: product, StrengthPPM: 100, ContactS: contact, Sides: 2, Method: "spray"}}, now)
		require.NoError(t, err)
		c = c.Apply(s)
		return s.Outcome.Accepted
	}
	require.False(t, give("drum", 5), "too short")
	require.False(t, give("bottle", 60), "on a mat wet with the other")
	require.False(t, give("bottle", 60), "once more")
	c = c.Apply(Step{Kind: KindRinse, At: now, Body: &Rinse{Debris: DebrisNone}}).Apply(Step{Kind: KindDry, At: now, Body: &Dry{Where: DryAir}})
	require.True(t, give("bottle", 60), "rinsed and dried between")
}
