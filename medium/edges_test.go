package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The edges of rules, at the second at which they turn over. The figures are
// written out: a limit that is changed by a slip must show here.

// Two machines' clocks may differ by five minutes: what is seen now is put at
// the time of the step before, and a time of its own may lie so far ahead.
func TestClocksFiveMinutesApart(t *testing.T) {
	growing := func(ahead time.Duration) Condition {
		c := testCondition(Growing)
		c.Last = testNow.Add(ahead)
		c.Settled = c.Last // a real step, no report of danger
		return c
	}
	for ahead, taken := range map[time.Duration]bool{time.Second: true, 5*time.Minute - time.Second: true, 5 * time.Minute: true, 5*time.Minute + time.Second: false} {
		s, err := Admit(growing(ahead), testFarm(), testStep(&Mist{WaterML: 100}), testNow)
		if !taken {
			assert.Error(t, err, ahead)
			continue
		}
		require.NoError(t, err, ahead)
		assert.Equal(t, testNow.Add(ahead).UTC(), s.At, "in the order in which it was recorded")
		assert.Equal(t, testNow.UTC(), s.Recorded)
	}
	for ahead, taken := range map[time.Duration]bool{5 * time.Minute: true, 5*time.Minute + time.Second: false} {
		step := testStep(&Mist{WaterML: 100})
		step.At = testNow.Add(ahead)
		_, err := Admit(growing(0), testFarm(), step, testNow)
		assert.Equal(t, taken, err == nil, "%s: %v", ahead, err)
	}
}

// A solution is good up to and at the second that its bottle says.
func TestUsedAtExactlyGoodUntil(t *testing.T) {
	for late, good := range map[time.Duration]bool{-time.Second: true, 0: true, time.Second: false} {
		f := bench(t, strip(150, 50))
		f.Bottles[0].Solution.GoodUntil = testNow.Add(-late)
		b := fromBottle()
		b.TempC = ptr(50)
		s, err := Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
		require.NoError(t, err)
		assert.Equal(t, good, s.Outcome.Accepted, late)
		var rules []string
		for _, f := range s.Outcome.Findings {
			rules = append(rules, f.Rule)
		}
		assert.Equal(t, !good, assert.ObjectsAreEqual([]string{"solution-expired"}, rules), "%s: %v", late, rules)
	}
}

// A ready mat whose last sanitizing was not accepted is due to be sanitized from
// that time on; the next accepted one ends it.
func TestSanitizingNotAcceptedIsDue(t *testing.T) {
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()}, ToWash)
	w.wash()
	due := func() (lines []Due) {
		work, _ := WorkOn(w.c, w.f, w.f.Location())
		for _, d := range work.Dues {
			if d.Rule == "not-sanitized" {
				lines = append(lines, d)
			}
		}
		return lines
	}
	assert.Empty(t, due())
	weak := goodSanitize()
	weak.StrengthPPM = 1
	missed := w.do(weak)
	require.False(t, missed.Outcome.Accepted)
	require.Equal(t, Ready, w.c.Stage)
	lines := due()
	require.Len(t, lines, 1)
	assert.Equal(t, KindSanitize, lines[0].Step)
	assert.Equal(t, missed.At, lines[0].At)
	assert.Contains(t, lines[0].Text, "not accepted")
	w.do(goodSanitize(), Airing)
	w.do(&Dry{Where: DryAir}, Ready)
	assert.Empty(t, due())
}

// A product that was put on file anew with another active is another product:
// its directions say nothing about a bottle that was mixed before.
func TestDirectionsOfAnotherActive(t *testing.T) {
	f := bench(t)
	b := f.Bottles[0]
	f.Labels = nil // it was mixed before its label was on file
	d, ok := f.DirectionsOf(b)
	require.True(t, ok)
	assert.Equal(t, "Chlor Five", d.Name)
	f.Sanitizers[0].Active = "quat"
	_, ok = f.DirectionsOf(b)
	assert.False(t, ok)
	b.Solution.Product = "Pink"
	_, ok = f.DirectionsOf(b)
	assert.False(t, ok)
}

// A swab that passed has no reading over its limit, however small the limit.
func TestSwabOverASmallLimit(t *testing.T) {
	for _, k := range []struct {
		limit, reading float64
		fits           bool
	}{{0.5, 0.8, false}, {0.5, 0.5, true}, {1, 1.5, false}, {0, 3, true}, {30, 30.1, false}} {
		err := (&Swab{Test: "ATP", Pass: true, Limit: k.limit, Reading: k.reading, Unit: "RLU"}).check()
		assert.Equal(t, k.fits, err == nil, "%+v: %v", k, err)
	}
}

// Initials are what a step may have: who lets a person choose them asks here.
func TestInitials(t *testing.T) {
	for text, want := range map[string]string{"mk": "mk", "  M. K. ": "M. K.", "ÄÖ": "ÄÖ", "12345678901234567890": "12345678901234567890"} {
		by, ok := Initials(text)
		assert.True(t, ok, text)
		assert.Equal(t, want, by)
		s, err := Admit(testCondition(Growing), testFarm(), Step{Mat: testCode, By: text, Body: &Mist{}}, testNow)
		require.NoError(t, err, text)
		assert.Equal(t, want, s.By)
		assert.NoError(t, (Card{Code: "PK7R2N81", Action: ActOperator, Initials: text}).Check())
	}
	for _, text := range []string{"", " \t", "123456789012345678901", "ÄÖÜÄÖÜÄÖÜÄ.", "m\nk", "m\x1b[2Jk", "\xff", "m\u202ek"} {
		_, ok := Initials(text)
		assert.False(t, ok, "%q", text)
		_, err := Admit(testCondition(Growing), testFarm(), Step{Mat: testCode, By: text, Body: &Mist{}}, testNow)
		assert.Error(t, err, "%q", text)
		assert.Error(t, (Card{Code: "PK7R2N81", Action: ActOperator, Initials: text}).Check(), "%q", text)
	}
}
