package medium

import (
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestATurnTakesItsTime: a whole wash recorded at once gives no sowing. What
// says how long it took must fit behind the step before it, with what people
// round; a drying that was too short is kept and does not dry the mat.
func TestATurnTakesItsTime(t *testing.T) {
	ten := goodSanitize()
	ten.ContactS = 600
	for _, k := range []struct {
		stage Stage
		body  Body
		after time.Duration
		want  string // the finding; "" accepted without one, "refused"
	}{
		{ToSanitize, ten, time.Second, "refused"},
		{ToSanitize, ten, 9*time.Minute - time.Second, "refused"},
		{ToSanitize, ten, 9 * time.Minute, ""}, // times are said to the minute
		{ToSanitize, ten, time.Hour, ""},
		{ToSanitize, goodSanitize(), 29 * time.Second, "refused"}, // nobody rounds by more than half
		{ToSanitize, goodSanitize(), 30 * time.Second, ""},
		{ToDry, &Dry{Where: DryAir}, 0, "dry-least"},
		{ToDry, &Dry{Where: DryAir}, 30*time.Minute - time.Second, "dry-least"},
		{ToDry, &Dry{Where: DryAir}, 30 * time.Minute, ""},
		{Airing, &Dry{Where: DryAir}, time.Second, "dry-least"},
		{Airing, &Dry{Where: DryAir, DurationS: 1800}, time.Second, "refused"},
		{Airing, &Dry{Where: DryAir, DurationS: 1800}, 20 * time.Minute, "dry-least"},
		{Airing, &Dry{Where: DrySun, DurationS: 1200}, 8 * time.Hour, "dry-least"},
		{Airing, &Dry{Where: DrySun, DurationS: 1800}, 8 * time.Hour, ""},
		{Airing, &Dry{Where: DryAir, DurationS: 8 * 3600}, 7*time.Hour + 29*time.Minute, "refused"},
		{Airing, &Dry{Where: DryAir, DurationS: 8 * 3600}, 7*time.Hour + 30*time.Minute, ""},
		{Ready, &Dry{Where: DryAir}, 0, ""}, // it was dry before
	} {
		c := testCondition(k.stage)
		at := testSince.Add(k.after)
		s, err := Admit(c, testFarm(), testStep(k.body), at)
		if k.want == "refused" {
			var fit *FitError
			require.ErrorAs(t, err, &fit, "%T %s after", k.body, k.after)
			assert.Equal(t, took(k.body), fit.Took)
			assert.True(t, fit.Last.Equal(testSince))
			continue
		}
		require.NoError(t, err, "%T %s after", k.body, k.after)
		if k.want == "" {
			assert.Empty(t, s.Outcome.Findings, "%T %s after", k.body, k.after)
			continue
		}
		assert.Equal(t, []string{k.want}, rulesOf(s.Outcome.Findings))
		assert.False(t, s.Outcome.Accepted)
		assert.Equal(t, k.stage, s.Outcome.To, "it does not move the mat")
	}
}

// TestADryingThatWasTooShortGoesOn: it leaves the mat as wet as before, and what
// dries it in the end counts from when it was wetted.
func TestADryingThatWasTooShortGoesOn(t *testing.T) {
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()})
	w.do(&Rinse{Debris: DebrisNone}, ToDry)
	w.do(&Dry{Where: DryAir, DurationS: 600}, ToDry)
	w.do(&Dry{Where: DryAir, DurationS: 2 * 3600}, ToSanitize)
	w.do(goodSanitize(), Airing)
	w.do(&Dry{Where: DryAir, DurationS: 60}, Airing)
	assert.Equal(t, []string{"quat"}, w.c.WetWith, "still wet with it")

	w.f.Policy = setting("dry-least", false, 30, 0)
	s := w.do(&Dry{Where: DryAir, DurationS: 60}, Ready)
	assert.True(t, s.Outcome.Accepted)
	f, ok := find(w.verdict(), "dry-least")
	require.True(t, ok)
	assert.Equal(t, "at a drying: 60 s of drying, the policy asks for at least 30 min of it; the farm has switched this rule off", f.Text)
}

// TestWhatIsSeenMeanwhileDoesNotStopTheDrying: a cut noted while a mat dries is
// no end of anything.
func TestWhatIsSeenMeanwhileDoesNotStopTheDrying(t *testing.T) {
	w := newWalk(t, testFarm())
	w.do(&Add{Mat: testMat()})
	w.do(&Rinse{Debris: DebrisNone}, ToDry)
	for _, b := range []Body{&Cut{LengthMM: 2}, &Inspect{}, &Hold{Reason: "doubt"}, &Release{Reason: "fine", AsWas: true}, &Document{ContactStatement: "x", ContactDate: "2026-01-01"}} {
		w.do(b)
	}
	w.at = w.at.Add(-time.Hour)
	w.do(&Dry{Where: DryAir, DurationS: 5 * 3600}, ToSanitize) // began at the rinse
}

// TestADateAloneIsAnInterval: refused only where no times in it fit.
func TestADateAloneIsAnInterval(t *testing.T) {
	now := local(time.November, 20, 9)
	day := func(d int) time.Time { return local(time.November, d, 12) }
	dry := func(h int) Body { return &Dry{Where: DryAir, DurationS: h * 3600} }
	do := func(c Condition, b Body, at time.Time, dayOnly bool) (Condition, error) {
		s := testStep(b)
		s.At, s.Day = at, dayOnly
		s, err := Admit(c, testFarm(), s, now)
		if err != nil {
			return c, err
		}
		require.True(t, s.Outcome.Accepted, "%+v", s.Outcome.Findings)
		return c.Apply(s), nil
	}
	whole := func(c Condition, bodies []Body, at time.Time) (Condition, error) {
		var err error
		for _, b := range bodies {
			if c, err = do(c, b, at, true); err != nil {
				return c, err
			}
		}
		return c, nil
	}
	turn := []Body{&Rinse{Debris: DebrisNone}, dry(8), goodSanitize(), dry(8)}
	c, err := whole(Condition{}, append([]Body{&Add{Mat: testMat()}}, turn...), day(3))
	require.NoError(t, err, "a turn of sixteen hours fits into a day")
	assert.Equal(t, Ready, c.Stage)
	assert.Equal(t, local(time.November, 3, 15).Add(30*time.Second).UTC(), c.Last, "the earliest time that fits: said to the half hour, and to half a minute")

	_, err = whole(c, turn, day(3))
	var fit *FitError
	require.ErrorAs(t, err, &fit, "thirty-two do not")
	_, err = whole(c, turn, day(4))
	require.NoError(t, err)
	_, err = do(c, &Rinse{Debris: DebrisNone}, day(2), true)
	var when *TimeError
	require.ErrorAs(t, err, &when, "a day before")

	c, err = do(c, &Rinse{Debris: DebrisNone}, local(time.November, 5, 20), false)
	require.NoError(t, err)
	_, err = do(c, dry(8), day(5), true)
	require.ErrorAs(t, err, &fit, "from eight in the evening no eight hours are left of the day")
	_, err = do(c, dry(4), day(5), true)
	require.NoError(t, err)
	_, err = do(c, &Dry{Where: DryAir}, day(5), true)
	require.NoError(t, err, "how long it took was not said, and four hours are left")
	_, err = do(c, dry(8), now, true)
	require.NoError(t, err, "today is an interval up to now")
	_, err = do(c, dry(8), day(21), true)
	require.ErrorAs(t, err, &when, "tomorrow is not")
}

// TestTheStepsOfADayFitTogether: nobody says how long a drying took, and still no
// four turns fit into a day.
func TestTheStepsOfADayFitTogether(t *testing.T) {
	c, f, now := testCondition(ToWash), testFarm(), local(time.November, 20, 9)
	f.Policy = setting("dry-least", true, 480, 0)
	do := func(b Body, day int) error {
		s := testStep(b)
		s.At, s.Day = local(time.November, day, 0), true
		s, err := Admit(c, f, s, now)
		if err == nil {
			c = c.Apply(s)
		}
		return err
	}
	sow, harvest := &Sow{Crops: []Sown{{Crop: "kale", SeedG: 20}}}, &Harvest{YieldG: 300}
	for _, b := range []Body{&Rinse{Debris: DebrisNone}, &Dry{Where: DryAir}, goodSanitize(), &Dry{Where: DryAir}, sow} {
		require.NoError(t, do(b, 4), "%T", b)
	}
	assert.EqualError(t, do(harvest, 7), "mat TK7R 2N81: a crop sown on 4 Nov 2026 can't be harvested on 7 Nov 2026: its table says 8 days at least; give the right day, or put your own days on file")
	require.NoError(t, do(harvest, 8), "half of the table's days: people cut early")
	require.NoError(t, do(&Rinse{Debris: DebrisNone}, 8))
	var fit *FitError
	require.ErrorAs(t, do(&Dry{Where: DryAir}, 8), &fit, "from four in the afternoon eight hours are not left")
	assert.Equal(t, 8*time.Hour, fit.Took)
	require.NoError(t, do(&Dry{Where: DryAir}, 9))
	f.Policy = setting("dry-least", false, 480, 0)
	require.NoError(t, do(goodSanitize(), 9))
	require.NoError(t, do(&Dry{Where: DryAir}, 9), "switched off, a drying takes no time")
}

// TestTimesThatFitAreTaken: of any turn with its real times all steps are taken,
// also where only their days were written down.
func TestTimesThatFitAreTaken(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		at := local(time.March, 1, 8)
		c, now := Condition{}, at.Add(1000*time.Hour)
		for _, b := range []Body{&Add{Mat: testMat()}, &Rinse{Debris: DebrisNone}, &Dry{Where: DryAir}, goodSanitize(), &Dry{Where: DryAir}} {
			at = at.Add(time.Duration(rapid.IntRange(0, 40*3600).Draw(t, "idle")) * time.Second)
			if d, ok := b.(*Dry); ok {
				d.DurationS = rapid.IntRange(1800, 30*3600).Draw(t, "drying")
			}
			if s, ok := b.(*Sanitize); ok {
				s.ContactS = rapid.IntRange(60, 3600).Draw(t, "contact")
			}
			at = at.Add(took(b))
			s := testStep(b)
			s.At, s.Day = at, rapid.Bool().Draw(t, "day only")
			s, err := Admit(c, testFarm(), s, now)
			require.NoError(t, err)
			require.True(t, s.Outcome.Accepted, "%+v", s.Outcome.Findings)
			require.False(t, s.At.After(at), "the earliest time that fits")
			c = c.Apply(s)
		}
		require.Equal(t, Ready, c.Stage)
	})
}

// TestDangerIsNeverRefused: not for its time, the clock, or the mat's stage.
func TestDangerIsNeverRefused(t *testing.T) {
	reports := []Body{&Mold{Where: "edge"}, &Cut{LengthMM: 8}, &Swab{Test: "ATP"}, &Hold{Reason: "doubt"}, &Inspect{Mold: true},
		&Retire{Cause: CauseMold}, &Retire{Cause: CauseCut}}
	for _, stage := range Stages {
		for _, b := range reports {
			for _, k := range []struct {
				name    string
				at, now time.Time
				rule    string
			}{
				{"now", time.Time{}, testNow, ""},
				{"late", testNow.Add(-2 * time.Hour), testNow, ""},
				{"before the last step", testSince.Add(-3 * 24 * time.Hour), testNow, "seen-before"},
				{"a clock at 1970", time.Time{}, time.Unix(600, 0).In(berlin), "clock-wrong"},
				{"a clock at 1970, the time said", testSince.Add(-time.Hour), time.Unix(600, 0), "clock-wrong"},
				{"a clock at 2350", time.Time{}, testNow.AddDate(324, 0, 0), "clock-wrong"},
				{"a clock gone back", time.Time{}, testSince.Add(-time.Hour), "clock-wrong"},
				{"a year ahead", testNow.AddDate(1, 0, 0), testNow, "clock-wrong"},
				{"before it was registered", time.Unix(600, 0), testNow, "clock-wrong"},
			} {
				c := testCondition(stage)
				s := testStep(b)
				s.At, s.SeenTurn = k.at, 5
				s, err := Admit(c, testFarm(), s, k.now)
				require.NoError(t, err, "%T in %s, %s", b, stage, k.name)
				notes := rulesOf(s.Outcome.Findings)
				assert.Equal(t, k.rule != "", len(notes) > 0 && notes[len(notes)-1] == k.rule, "%T in %s, %s: %v", b, stage, k.name, notes)
				assert.False(t, s.At.Before(c.Last), "its stop begins at the end of the thread")
				assert.Equal(t, k.rule != "", !s.Seen.IsZero(), "when it was seen is kept")
				after := c.Apply(s)
				assert.False(t, sowable(Judge(after, Farm{}, testNow)) && KindOf(b) != KindCut, "%T in %s, %s", b, stage, k.name)

				_, err = Admit(after, testFarm(), testStep(&Document{ContactStatement: "x", ContactDate: "2026-01-01"}), testNow.Add(time.Hour))
				if after.Stage != Retired {
					require.NoError(t, err, "what comes later is not kept out by %s", k.name)
				}
			}
		}
	}
	for _, b := range []Body{&Swab{Test: "ATP", Pass: true}, &Inspect{}, &Retire{Cause: CauseAge}, &Release{Reason: "x"}} {
		c := testCondition(Ready)
		s := testStep(b)
		s.At = testSince.Add(-time.Hour)
		_, err := Admit(c, testFarm(), s, testNow)
		assert.Error(t, err, "%T is no report of danger", b)
		var clock *ClockError
		_, err = Admit(c, testFarm(), testStep(b), time.Unix(600, 0))
		assert.ErrorAs(t, err, &clock)
	}
	_, err := AdmitFarm(Farm{}, Step{By: "ab", Body: &Crop{Name: "shiso"}}, time.Unix(600, 0))
	var clock *ClockError
	assert.ErrorAs(t, err, &clock)
	held := testStep(&Retire{Cause: CauseOther})
	held.At = testSince.Add(-time.Hour)
	_, err = Admit(testCondition(OnHold), testFarm(), held, testNow)
	assert.NoError(t, err, "whatever a held mat is retired for")
}

// TestMoldCountsForTheTurnInWhichItWasSeen, and the stop begins now.
func TestMoldCountsForTheTurnInWhichItWasSeen(t *testing.T) {
	w := ready(t)
	var sown []time.Time
	for range 3 {
		w.do(&Sow{Crops: []Sown{{Crop: "kale"}}}, Growing)
		sown = append(sown, w.at)
		w.do(&Harvest{YieldG: 100}, ToWash)
		w.wash()
	}
	require.Equal(t, 3, w.c.Turn)
	seen := func(at time.Time) Step {
		s := testStep(&Mold{Where: "crop"})
		s.At = at
		_, before := w.c.SeenBefore(s)
		require.True(t, before)
		s.SeenTurn = TurnAt(w.thread, at)
		done, err := Admit(w.c, w.f, s, w.at.Add(time.Hour))
		require.NoError(t, err)
		return done
	}
	s := seen(sown[1].Add(time.Minute))
	assert.Equal(t, 2, s.SeenTurn)
	c := w.c.Apply(s)
	assert.Equal(t, []int{2}, c.MoldTurns)
	assert.Equal(t, OnHold, c.Stage)
	assert.Equal(t, w.at.Add(time.Hour).UTC(), c.Since, "the stop begins now")
	assert.Equal(t, sown[1].Add(time.Minute).UTC(), s.Seen)
	assert.Equal(t, "seen 1 Nov 2026 12:03, before later steps: it counts for that time (turn 2), and the stop begins now", s.Outcome.Findings[0].Text)
	assert.Equal(t, 0, seen(sown[0].Add(-time.Minute)).SeenTurn)
	assert.Equal(t, 1, seen(sown[1].Add(-time.Minute)).SeenTurn)

	w.c = c
	assert.Equal(t, []int{2, 3}, c.Apply(seen(sown[2])).MoldTurns)
	assert.Equal(t, []int{2}, c.Apply(seen(sown[1])).MoldTurns, "the same mold, told twice")
	assert.Equal(t, []int{1, 2}, c.Apply(seen(sown[0])).MoldTurns)
	w.void(2) // the rinse before the first turn: no turn less
	assert.Equal(t, 2, TurnAt(w.thread, sown[1]))
}

// TestMoldAfterAWashCountsInWhateverOrderItIsTold, also in a turn that is over and
// by a clock that went back.
func TestMoldAfterAWashCountsInWhateverOrderItIsTold(t *testing.T) {
	w := ready(t)
	w.do(&Sow{Crops: []Sown{{Crop: "kale"}}})
	w.do(&Harvest{YieldG: 100})
	grown := w.at
	w.wash()
	washed := w.at
	w.do(&Sow{Crops: []Sown{{Crop: "kale"}}})
	w.do(&Harvest{YieldG: 100})
	later := w.at.Add(time.Hour)
	told := func(c Condition, at, now time.Time) Condition {
		s := testStep(&Mold{Where: "edge"})
		s.At = at
		if !at.IsZero() {
			s.SeenTurn = TurnAt(w.thread, at)
		}
		s, err := Admit(c, w.f, s, now)
		require.NoError(t, err)
		return c.Apply(s)
	}
	once := told(w.c, grown, later)
	assert.Equal(t, []int{1, 1}, told(once, washed, later).MoldTurns)
	assert.Equal(t, []int{1, 1}, told(told(told(w.c, washed, later), grown, later), washed, later).MoldTurns)
	assert.Equal(t, []int{1}, told(once, grown.Add(time.Minute), later).MoldTurns, "the same mold")

	c := told(w.c, time.Time{}, later)
	w.c = c
	w.at = later
	w.do(&Release{Reason: "to the wash"})
	w.do(&Rinse{Debris: DebrisNone})
	assert.Equal(t, []int{2, 2}, told(w.c, time.Time{}, grown).MoldTurns, "the clock went back")
}

// TestMoldIsBeforeOrAfterAWashByTheOrderOfTheRecords, also where the times are of
// one minute, or the mold before it by a clock that was a year ahead.
func TestMoldIsBeforeOrAfterAWashByTheOrderOfTheRecords(t *testing.T) {
	for _, ahead := range []time.Duration{0, 365 * 24 * time.Hour} {
		w := ready(t)
		c, now := w.c, w.at.Add(time.Hour)
		for i, b := range []Body{&Mold{Where: "edge"}, &Release{Reason: "to the wash"}, &Rinse{Debris: DebrisNone}, &Mold{Where: "edge"}} {
			at := now
			if i == 0 {
				at = now.Add(ahead)
			}
			s := testStep(b)
			s.At = time.Time{}
			s, err := Admit(c, w.f, s, at)
			require.NoError(t, err)
			c = c.Apply(s)
		}
		assert.Equal(t, []int{0, 0}, c.MoldTurns, ahead)
		assert.Equal(t, RetireMat, Judge(c, w.f, now.Add(ahead)).Word)
	}
}

// TestAVoidedReportOfMoldAsksForALook, and so does mold itself, over the next
// sowing and sanitizing.
func TestAVoidedReportOfMoldAsksForALook(t *testing.T) {
	w := ready(t)
	mold := w.do(&Mold{Where: "edge"}, OnHold)
	w.void(mold.MatSeq)
	f, ok := find(w.verdict(), "report-voided")
	require.True(t, ok)
	assert.Equal(t, SowWithCare, w.verdict().Word)
	assert.Equal(t, "a report of mold on this mat was voided; look at it against the light before you sow", f.Text)
	w.do(&Sow{Crops: []Sown{{Crop: "kale"}}})
	w.do(&Harvest{YieldG: 100})
	w.wash()
	_, ok = find(w.verdict(), "report-voided")
	assert.True(t, ok, "nobody has looked")
	w.do(&Inspect{})
	assert.Equal(t, SowIt, w.verdict().Word)

	w.do(&Mold{Where: "edge"}, OnHold)
	w.do(&Release{Reason: "to the wash"}, ToWash)
	w.do(&Inspect{}, ToWash) // no look at a washed mat
	w.wash()
	for range 2 {
		w.do(&Sow{Crops: []Sown{{Crop: "kale"}}})
		w.do(&Harvest{YieldG: 100})
		w.wash()
	}
	f, ok = find(w.verdict(), "mold-last-turn")
	require.True(t, ok, "two turns ago, and nobody has looked")
	assert.Equal(t, "mold in turn 1; look at it against the light before you sow", f.Text)
	w.do(&Inspect{})
	assert.Equal(t, SowIt, w.verdict().Word)
}

// TestTheKnifeAsksForAnInspection, and a fall for the wash.
func TestTheKnifeAsksForAnInspection(t *testing.T) {
	w := ready(t)
	w.do(&Sow{Crops: []Sown{{Crop: "kale"}}})
	w.do(&Harvest{YieldG: 100, KnifeTouched: true}, ToWash)
	w.do(&Inspect{}, ToWash) // not washed
	w.wash()
	v := w.verdict()
	assert.Equal(t, DoNotSow, v.Word)
	assert.Equal(t, KindInspect, v.NextStep)
	work, _ := WorkOn(w.c, Farm{}, berlin)
	assert.Equal(t, KindInspect, work.Step)
	w.do(&Inspect{}, Ready)
	assert.Equal(t, SowIt, w.verdict().Word)

	w.do(&Hold{Reason: "fell on the floor", Dropped: true}, OnHold)
	refuse(t, w, &Release{Reason: "looks clean", AsWas: true})
	w.do(&Release{Reason: "to the wash"}, ToWash)
}

// A clock a year ahead takes a hold and, set right again, lets the mat go on:
// nobody voids a report of danger to go on working.
func TestAClockThatWasAheadKeepsNobodyOff(t *testing.T) {
	c := testCondition(ToWash)
	ahead := testNow.AddDate(1, 0, 0)
	held, err := Admit(c, testFarm(), testStep(&Hold{Reason: "doubt"}), ahead)
	require.NoError(t, err)
	c = c.Apply(held)
	require.Equal(t, OnHold, c.Stage)
	for _, b := range []Body{&Release{Reason: "looked at"}, &Rinse{Debris: DebrisNone}} {
		s, err := Admit(c, testFarm(), testStep(b), testNow)
		require.NoError(t, err, KindOf(b))
		rules := []string{}
		for _, f := range s.Outcome.Findings {
			rules = append(rules, f.Rule)
		}
		require.Equal(t, KindOf(b) == KindRelease, slices.Contains(rules, "clock-wrong"), "%s: %v", KindOf(b), rules)
		c = c.Apply(s)
	}
	require.Equal(t, ToDry, c.Stage)
	require.Equal(t, testNow.UTC(), c.Last)

	// Ten minutes ahead are enough, and the note names both times.
	c = testCondition(ToWash)
	held, err = Admit(c, testFarm(), testStep(&Cut{LengthMM: 8}), testNow.Add(10*time.Minute))
	require.NoError(t, err)
	s, err := Admit(c.Apply(held), testFarm(), testStep(&Rinse{Debris: DebrisNone}), testNow)
	require.NoError(t, err)
	require.Equal(t, "the record before it is dated 3 Nov 2026 09:10, and the clock says 3 Nov 2026 09:00; one of the two is wrong", s.Outcome.Findings[0].Text)

	// A real step of that clock can't be told from one of today: it is voided.
	c = testCondition(ToWash)
	rinsed, err := Admit(c, testFarm(), testStep(&Rinse{Debris: DebrisNone}), ahead)
	require.NoError(t, err)
	var at *TimeError
	_, err = Admit(c.Apply(rinsed), testFarm(), testStep(&Dry{Where: DryAir, DurationS: 3600}), testNow)
	require.ErrorAs(t, err, &at)
	require.EqualError(t, err, "mat TK7R 2N81: its last step is dated 3 Nov 2027 09:00, and the clock says 3 Nov 2026 09:00; set the clock, or, if it was ahead then, void that step and record it again")
}

// A step's own findings do not take away the mark of a clock that was wrong before it.
func TestAWrongClockIsMarkedBesideOtherFindings(t *testing.T) {
	for _, k := range []struct {
		stage Stage
		body  Body
	}{
		{ToWash, &Rinse{Debris: DebrisRoots}},
		{ToDry, &Dry{Where: DryAir, DurationS: 60}},
		{ToSanitize, &Sanitize{Product: "drum", StrengthPPM: 20, ContactS: 120, Sides: 2, Method: "spray"}},
		{ToWash, &Trim{LengthMM: 200, WidthMM: 200}},
	} {
		c := testCondition(k.stage)
		c.Last = testNow.AddDate(1, 0, 0) // of a report of danger
		s, err := Admit(c, testFarm(), testStep(k.body), testNow)
		require.NoError(t, err, "%T", k.body)
		require.Contains(t, rulesOf(s.Outcome.Findings), "clock-wrong", "%T", k.body)
	}
}

// TestARegistrationByAClockAheadKeepsNoStepOff, nor does a relabelling: neither can
// be voided, so there would be no way out for a year.
func TestARegistrationByAClockAheadKeepsNoStepOff(t *testing.T) {
	ahead := testNow.AddDate(1, 0, 0)
	w := newWalk(t, testFarm())
	for _, b := range []Body{&Add{Mat: testMat()}, &Relabel{Reason: "faded"}} {
		c, err := Admit(w.c, w.f, Step{Mat: testCode, By: "ab", Body: b}, ahead)
		require.NoError(t, err)
		w.c = w.c.Apply(c)
		_, note := find(Judge(w.c, w.f, testNow), "clock-wrong")
		assert.True(t, note)
		rinsed, err := Admit(w.c, w.f, Step{Mat: testCode, By: "ab", Body: &Rinse{Debris: DebrisNone}}, testNow)
		require.NoError(t, err, "%T", b)
		require.Contains(t, rulesOf(rinsed.Outcome.Findings), "clock-wrong")
		w.c = w.c.Apply(rinsed)
		assert.True(t, w.c.Added.Equal(testNow.Truncate(time.Second)))
		_, err = Admit(w.c, w.f, Step{Mat: testCode, By: "ab", Body: &Retire{Cause: CauseOther}}, testNow)
		require.NoError(t, err)
	}
}

// TestTheFarmsClock: by a clock that is behind, nothing of the farm's is recorded
// that would not count. Who gives the time says that the other clock was ahead.
func TestTheFarmsClock(t *testing.T) {
	ahead := testNow.AddDate(1, 0, 0)
	policy := func(limit float64) Body {
		return &PolicyChange{Setting: Setting{Rule: "max-turns", On: true, Limit: limit}, Reason: "x"}
	}
	f := farmStep(t, bench(t), policy(5), ahead)
	_, err := AdmitFarm(f, Step{By: "ab", Body: policy(20)}, testNow)
	var clock *ClockError
	require.ErrorAs(t, err, &clock)
	assert.True(t, clock.Now.Equal(testNow) && clock.Last.Equal(ahead))
	assert.EqualError(t, err, "the clock of this machine says 3 Nov 2026 09:00, and the farm's last record was written down at 3 Nov 2027 09:00; set the clock, or, if that record's clock was ahead, give the time at which this was done")
	c := testCondition(Ready) // turn 6
	_, err = Admit(c, f, Step{Mat: testCode, By: "ab", At: testNow.Add(-time.Minute), Body: &Sow{Crops: []Sown{{Crop: "kale"}}}}, testNow)
	assert.NoError(t, err, "the time was given, and nobody knew of the limit then")

	f = learned(t, f, policy(20), testNow.Add(-time.Minute), testNow)
	assert.Equal(t, 20.0, f.Policy.Setting("max-turns").Limit)
	assert.Equal(t, 20.0, f.AsOf(testNow).Policy.Setting("max-turns").Limit)
	f = farmStep(t, f, policy(25), testNow.Add(time.Minute))
	assert.Equal(t, 25.0, f.AsOf(testNow.Add(time.Minute)).Policy.Setting("max-turns").Limit, "it is not blocked")

	s, err := AdmitFarm(f, Step{By: "ab", Body: policy(26)}, testNow)
	require.NoError(t, err, "clocks differ by minutes")
	assert.True(t, s.At.Equal(testNow.Add(time.Minute)), "after the last one")
}

// TestNothingIsClearByAClockThatIsBehind: nobody knows how old a sanitizing is.
func TestNothingIsClearByAClockThatIsBehind(t *testing.T) {
	c, f := testCondition(Ready), testFarm()
	behind := testSince.In(berlin).Add(-2 * ClockDrift)
	v := Judge(c, f, behind)
	assert.Equal(t, DoNotSow, v.Word)
	assert.Empty(t, v.NextStep)
	n, ok := find(v, "clock-wrong")
	require.True(t, ok)
	assert.Equal(t, "the clock says 2 Nov 2026 08:50, and the mat's last record is dated 2 Nov 2026 09:00; set the clock, or, if it was ahead then, void that step and record it again", n.Text)
	assert.Equal(t, SowIt, Judge(c, f, testSince.Add(-ClockDrift)).Word, "clocks differ by minutes")
	c.Recorded = testNow.Add(time.Hour)
	assert.Equal(t, DoNotSow, Judge(c, f, testNow).Word, "a late entry was written down after now")
	c.Recorded, f.Last = time.Time{}, testNow.Add(time.Hour)
	v = Judge(c, f, testNow)
	assert.Equal(t, DoNotSow, v.Word)
	n, _ = find(v, "clock-wrong")
	assert.Contains(t, n.Text, "the farm's last record is dated 3 Nov 2026 10:00")
	assert.Equal(t, RetireMat, Judge(testCondition(Retired), f, testNow).Word)
	var verdict *VerdictError
	_, err := Admit(c, f, testStep(&Sow{Crops: []Sown{{Crop: "kale"}}}), testNow)
	require.ErrorAs(t, err, &verdict)
}

// TestAReportThatIsBroughtKeepsBothTimes: when the danger was seen, and when that
// was reported in the ledger that it comes from.
func TestAReportThatIsBroughtKeepsBothTimes(t *testing.T) {
	c := testCondition(Ready)
	reported := testNow.Add(-2 * time.Hour)
	for _, k := range []struct {
		seen time.Time
		turn int
		rule string
	}{
		{testSince.Add(-3 * 24 * time.Hour), 5, "seen-before"},
		{testNow.AddDate(1, 0, 0), c.Turn, "clock-wrong"},
		{testNow.Add(-time.Hour), c.Turn, "clock-wrong"},
		{time.Unix(600, 0), c.Turn, "clock-wrong"},
	} {
		s := testStep(&Mold{Where: "edge"})
		s.At, s.Seen, s.SeenTurn = reported, k.seen, 5
		seen, before := c.SeenBefore(s)
		require.True(t, before)
		require.Equal(t, k.seen, seen)
		s, err := Admit(c, testFarm(), s, testNow)
		require.NoError(t, err)
		assert.True(t, s.At.Equal(reported), s.At)
		assert.True(t, s.Seen.Equal(k.seen), s.Seen)
		assert.Equal(t, k.turn, s.SeenTurn)
		assert.Contains(t, rulesOf(s.Outcome.Findings), k.rule)
	}
	s := testStep(&Dry{Where: DryAir, DurationS: 3600})
	s.At, s.Seen = testNow, reported
	s, err := Admit(testCondition(ToDry), testFarm(), s, testNow)
	require.NoError(t, err)
	assert.True(t, s.Seen.IsZero(), "only a report of danger has been seen")
}
