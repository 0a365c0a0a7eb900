package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func refused(f Farm, b Body) string {
	_, err := AdmitFarm(f, Step{By: "ab", Body: b}, testNow)
	if err == nil {
		return ""
	}
	return err.Error()
}

// What is in a bottle does not change when a label is copied anew.
func TestABottleKeepsWhatItWasMixedUnder(t *testing.T) {
	again := Sanitizer{Name: "CHLOR FIVE", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 20, MaxPPM: 60, ContactS: 30}
	f := bench(t, strip(150, 50), &again)
	b := fromBottle()
	s, err := Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
	require.NoError(t, err)
	got := s.Body.(*Sanitize)
	assert.True(t, s.Outcome.Accepted, "%+v", s.Outcome.Findings)
	assert.Equal(t, 100.0, got.Directions.MinPPM, "the directions of the day of mixing")
	assert.Equal(t, "Chlor Five", got.Product)

	quat := Sanitizer{Name: "Chlor FIVE ", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60}
	assert.Equal(t, `sanitizer "Chlor FIVE ": want another name for a product with quat: CHLOR FIVE is on file with hypochlorite, and capital and small letters make no difference`,
		refused(f, &quat))

	// a ledger of before that rule can hold such a record: it is history
	f = f.Apply(inLedger(Step{At: testNow, Recorded: testNow, By: "ab", Body: &quat}))
	b = fromBottle()
	s, err = Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
	require.NoError(t, err)
	got = s.Body.(*Sanitize)
	assert.Equal(t, "hypochlorite", got.Active)
	assert.Equal(t, "hypochlorite", got.Directions.Active)
}

func TestALateEntryNamesADiscardedBottle(t *testing.T) {
	gone := testNow.Add(-time.Hour)
	f := farmStep(t, bench(t), strip(150, 50), gone.Add(-20*time.Minute))
	f = farmStep(t, f, &Discard{Code: bottleCode, Reason: "used up"}, gone)
	late := func(at time.Time) Step {
		b := fromBottle()
		s, err := Admit(testCondition(ToSanitize), f, Step{Mat: testCode, By: "ab", At: at, Body: &b}, testNow)
		require.NoError(t, err)
		return s
	}
	s := late(gone.Add(-time.Minute))
	assert.True(t, s.Outcome.Accepted, "%+v", s.Outcome.Findings)
	assert.Equal(t, 150.0, s.Body.(*Sanitize).StrengthPPM)
	assert.True(t, s.Body.(*Sanitize).Mixed.DiscardedAt.IsZero(), "the solution as it stood then")
	assert.False(t, late(gone).Outcome.Accepted)
	after := late(gone.Add(time.Minute))
	assert.False(t, after.Outcome.Accepted)
	assert.Equal(t, "hypochlorite", after.Body.(*Sanitize).Active, "what went on is known all the same")

	const said = "solution BK7R 2N81 was discarded on 3 Nov 2026 08:00 by ab; mix a fresh one, or give the time at which it was used if that was before"
	assert.Equal(t, said, refused(f, &Discard{Code: bottleCode}))
	assert.Equal(t, said, refused(f, strip(100, 50)))
	_, err := AdmitFarm(f, Step{By: "ab", At: gone.Add(-90 * time.Minute), Body: &Discard{Code: bottleCode}}, testNow)
	assert.EqualError(t, err, said, "one bottle is not discarded twice, whatever the time")
	f = learned(t, f, strip(120, 50), gone.Add(-30*time.Minute), testNow)
	assert.Equal(t, 150.0, late(gone.Add(-time.Minute)).Body.(*Sanitize).StrengthPPM, "a strip written down late does not take the place of a newer one")
	_, err = AdmitFarm(bench(t), Step{By: "ab", At: testNow.AddDate(-1, 0, 0), Body: strip(120, 50)}, testNow)
	assert.ErrorContains(t, err, "want a time after the mixing")

	f = learned(t, f, &Solution{Code: bottleCode, Product: "Chlor Five", StrengthPPM: 180}, gone.Add(30*time.Minute), testNow)
	f = learned(t, f, strip(175, 50), gone.Add(31*time.Minute), testNow)
	assert.Equal(t, 150.0, late(gone.Add(-time.Minute)).Body.(*Sanitize).StrengthPPM, "of the first filling")
	assert.Equal(t, 175.0, late(gone.Add(40*time.Minute)).Body.(*Sanitize).StrengthPPM, "of the second")
	assert.Contains(t, rulesOf(late(gone.Add(10*time.Minute)).Outcome.Findings), "solution-date", "between the two")
	assert.Contains(t, refused(f, &Solution{Code: bottleCode, Product: "Chlor Five", StrengthPPM: 150}), "a code that no solution has")

}

func TestAStripHasAStep(t *testing.T) {
	assert.Contains(t, refused(bench(t), strip(150, 0)), `step of the strip "0 ppm": want the distance between the color blocks`)
	assert.Empty(t, refused(bench(t), strip(150, 1)))
}

func TestACardIsWithinTheDirections(t *testing.T) {
	f := bench(t)
	card := Card{Code: "XK7R2N81", Action: ActSanitize, Product: "chlor five", StrengthPPM: 9000, ContactS: 120, Method: "spray"}
	assert.Equal(t, `strength on a card "9000 ppm": want 100 to 200 ppm; the directions of Chlor Five ask for 100 to 200 ppm and 2 min wet, and no step with this card would be accepted`, refused(f, &card))
	card.StrengthPPM = 150
	assert.Empty(t, refused(f, &card))
	card.ContactS = 30
	assert.Contains(t, refused(f, &card), `contact time on a card "30 s": want at least 2 min;`)
	card.Withdrawn = true
	assert.Empty(t, refused(f, &card), "an old card can always be withdrawn")
}

func TestAStatementIsNotOfTheFuture(t *testing.T) {
	m := testMat()
	for date, fine := range map[string]bool{"2026-11-02": true, "2026-11-03": true, "2026-11-04": false, "2030-01-01": false} {
		m.ContactDate = date
		_, err := Admit(Condition{}, testFarm(), testStep(&Add{Mat: m}), testNow)
		assert.Equal(t, fine, err == nil, "add %s: %v", date, err)
		_, err = Admit(testCondition(Ready), testFarm(), testStep(&Document{ContactStatement: "x", ContactDate: date}), testNow)
		assert.Equal(t, fine, err == nil, "document %s: %v", date, err)
	}
}

func rulesOf(findings []Finding) (rules []string) {
	for _, f := range findings {
		rules = append(rules, f.Rule)
	}
	return rules
}

// Care that was taken of a step stays on the verdict, until the next one.
func TestFindingsOfASanitizeStepStandOnTheVerdict(t *testing.T) {
	f := bench(t, strip(100, 50))
	c := testCondition(ToSanitize)
	do := func(b Body, at time.Time) {
		s, err := Admit(c, f, Step{Mat: testCode, By: "ab", At: at, Body: b}, at)
		require.NoError(t, err)
		require.True(t, s.Outcome.Accepted, "%+v", s.Outcome.Findings)
		c = c.Apply(s)
	}
	plain := rulesOf(Judge(testCondition(Ready), Farm{}, testNow).Findings)
	cold := fromBottle()
	cold.TempC, cold.PH = ptr(5), ptr(10)
	at := testNow
	do(&cold, at)
	at = at.Add(8 * time.Hour)
	do(&Dry{Where: DryAir, DurationS: 8 * 3600}, at)
	v := Judge(c, Farm{}, at)
	assert.Equal(t, SowWithCare, v.Word)
	rules := rulesOf(v.Findings)
	assert.Subset(t, rules, []string{"strength-unsure", "chlorine-temperature", "chlorine-ph"})
	for _, f := range v.Findings {
		if f.Rule == "chlorine-ph" {
			assert.Contains(t, f.Text, "at the last sanitizing: at pH 10 and 5 C only")
		}
	}
	var text string
	for _, f := range v.Findings {
		text += f.Text + "\n"
	}
	assert.Contains(t, text, "at the last sanitizing: the strip can't tell: 100 ppm")

	b := fromBottle()
	b.Solution, b.Product, b.StrengthPPM = "", "Oxy One", 800
	do(&Rinse{Debris: DebrisNone}, at)
	at = at.Add(3 * time.Hour)
	do(&Dry{Where: DryAir}, at)
	at = at.Add(10 * time.Minute)
	do(&b, at)
	at = at.Add(5 * time.Hour)
	do(&Dry{Where: DryAir}, at)
	assert.Equal(t, plain, rulesOf(Judge(c, Farm{}, at).Findings), "the next accepted step ends it")
}

func TestADryingStandsOnTheVerdictUntilALook(t *testing.T) {
	wet := testCondition(Airing)
	after := func(c Condition, b Body, at time.Time) Condition {
		s, err := Admit(c, testFarm(), Step{Mat: testCode, By: "ab", At: at, Body: b}, at)
		require.NoError(t, err)
		return c.Apply(s)
	}
	last := func(c Condition) string {
		v := Judge(c, Farm{}, c.Last)
		for _, f := range v.Findings {
			if f.Rule == "wet-hours" {
				assert.Equal(t, Care, f.Severity)
				return f.Text
			}
		}
		return ""
	}
	long := after(wet, &Dry{Where: DryAir}, testSince.Add(192*time.Hour))
	assert.Equal(t, "at a drying: it was wet for 192 h, the policy allows 24 h: look for mold before it is used", last(long))
	assert.Empty(t, last(after(long, &Inspect{}, long.Last)), "it was looked at")

	washed := after(long, &Rinse{Debris: DebrisNone}, long.Last)
	washed = after(washed, &Dry{Where: DryAir}, washed.Last.Add(3*time.Hour))
	clean := after(washed, goodSanitize(), washed.Last.Add(time.Hour))
	clean = after(clean, &Dry{Where: DryAir}, clean.Last.Add(3*time.Hour))
	assert.NotEmpty(t, last(clean), "a sanitizing is no look")
	assert.Empty(t, last(after(clean, &Inspect{}, clean.Last)))
}

// A slip of the unit is refused; a mat of 250 x 510 mm takes about 40 g.
func TestSeedOfAnotherUnit(t *testing.T) {
	c := testCondition(Ready)
	c.Mat.LengthMM, c.Mat.WidthMM = 250, 510
	sow := func(g float64) error {
		_, err := Admit(c, testFarm(), testStep(&Sow{Crops: []Sown{{Crop: "radish", SeedG: g}}}), testNow)
		return err
	}
	radish, err := testFarm().Crop("radish")
	require.NoError(t, err)
	table := radish.SeedG(c.Mat.AreaM2())
	require.Greater(t, table, 10.0)
	assert.NoError(t, sow(table))
	assert.NoError(t, sow(19*table))
	err = sow(42000)
	require.Error(t, err)
	assert.Contains(t, err.Error(), `seed for each mat "42000 g of radish": want about `)
	assert.Contains(t, err.Error(), "times as much; check the unit")
	assert.NotContains(t, err.Error(), "e+")
}
