package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestDueRules(t *testing.T) {
	hours := func(h int) time.Time { return testSince.Add(time.Duration(h) * time.Hour) }
	for _, k := range []struct {
		name  string
		stage Stage
		set   func(*Condition)
		rule  string
		step  Kind
		at    time.Time
		text  string
		long  Policy // the farm allows twice the time
		twice time.Time
	}{
		{"unwashed", ToWash, nil, "unwashed-hours", KindRinse, hours(4), "not washed since 2 Nov 09:00",
			setting("unwashed-hours", true, 8, 0), hours(8)},
		{"new mat", ToWash, func(c *Condition) { c.Turn, c.Added, c.Inspected = 0, testSince, 0 }, "new-mat-hours", KindRinse, hours(168),
			"new, to be washed before its first crop", setting("new-mat-hours", true, 336, 0), hours(336)},
		{"wet from the rinse", ToDry, nil, "wet-hours", KindDry, hours(24), "wet since 2 Nov 09:00",
			setting("wet-hours", true, 48, 0), hours(48)}, // EPA: 24 to 48 h
		{"wet from the sanitizer", Airing, nil, "wet-hours", KindDry, hours(24), "wet since 2 Nov 09:00",
			setting("wet-hours", true, 48, 0), hours(48)},
		{"to sanitize", ToSanitize, nil, "sanitize-hours", KindSanitize, hours(72), "washed and dry, not sanitized since 2 Nov 09:00",
			setting("sanitize-hours", true, 144, 0), hours(144)},
		{"lapsing", Ready, nil, "sanitize-lapsed", KindSanitize, hours(14 * 24), "sanitizing is good until 16 Nov 09:00; sow on it before that, sanitize again after",
			setting("sanitize-lapsed", true, 28, 0), hours(28 * 24)},
		{"held", OnHold, nil, "hold-hours", KindRelease, hours(48), "on hold since 2 Nov 09:00: dropped on the floor; release it or retire it",
			setting("hold-hours", true, 96, 0), hours(96)},
	} {
		t.Run(k.name, func(t *testing.T) {
			c := testCondition(k.stage)
			if k.set != nil {
				k.set(&c)
			}
			w, ok := WorkOn(c, Farm{}, berlin)
			require.True(t, ok)
			assert.Equal(t, Due{Step: k.step, At: k.at, Rule: k.rule, Text: k.text}, w.Dues[0])
			assert.Equal(t, k.step, w.Step)
			assert.Equal(t, k.at, w.At)
			assert.Equal(t, c.Code, w.Code)
			assert.Equal(t, c.Stage, w.Stage)
			assert.Equal(t, c.Turn, w.Turn)
			assert.Equal(t, c.Stage.Next() == k.step || c.Stage == Ready, true)

			w, ok = WorkOn(c, Farm{Policy: k.long}, berlin)
			require.True(t, ok)
			assert.Equal(t, k.twice, w.At)

			set := k.long.Setting(k.rule)
			off := setting(k.rule, false, set.Limit, 0)
			w, _ = WorkOn(c, Farm{Policy: off}, berlin)
			for _, d := range w.Dues {
				assert.NotEqual(t, k.rule, d.Rule, "switched off")
			}
		})
	}
}

func TestDueToRetire(t *testing.T) {
	c := testCondition(ToDry)
	c.CutsThrough = 2
	c.Holes = 1
	w, ok := WorkOn(c, Farm{}, berlin)
	require.True(t, ok)
	assert.Equal(t, KindRetire, w.Step, "a mat to retire is not dried first")
	assert.Equal(t, c.Last, w.At)
	require.Len(t, w.Dues, 2)
	assert.Equal(t, "2 cuts through the mesh", w.Dues[0].Text)

	c.Stage = Growing
	w, _ = WorkOn(c, Farm{}, berlin)
	assert.Equal(t, KindHarvest, w.Step, "its crop comes off first")
}

func TestDueByAge(t *testing.T) {
	w, _ := WorkOn(testCondition(ToDry), Farm{}, berlin)
	last := w.Dues[len(w.Dues)-1]
	assert.Equal(t, "max-age", last.Rule)
	assert.Equal(t, local(time.March, 1, 9).UTC().Add(730*24*time.Hour), last.At)
	assert.Equal(t, "730 days old", last.Text)
	w, _ = WorkOn(testCondition(ToDry), Farm{Policy: setting("max-age", false, 730, 0)}, berlin)
	require.Len(t, w.Dues, 1)
}

func TestDueInspection(t *testing.T) {
	for _, s := range Stages {
		c := testCondition(s)
		c.Inspected = 1
		w, _ := WorkOn(c, Farm{}, berlin)
		inspect := false
		for _, d := range w.Dues {
			inspect = inspect || d.Step == KindInspect && d.At.Equal(c.Since) && d.Text == "5 turns since the last inspection"
		}
		assert.Equal(t, s == ToDry || s == ToSanitize || s == Airing || s == Ready, inspect, "%s: an inspection is a look at a washed mat", s)
		c.Inspected = 2
		w, _ = WorkOn(c, Farm{}, berlin)
		for _, d := range w.Dues {
			assert.NotEqual(t, KindInspect, d.Step, "four turns")
		}
	}
}

func TestNothingDue(t *testing.T) {
	c := testCondition(Retired)
	c.CutsThrough = 3
	_, ok := WorkOn(c, Farm{}, berlin)
	assert.False(t, ok)
	_, ok = WorkOn(Condition{}, Farm{}, berlin)
	assert.False(t, ok)
	c = testCondition(Growing)
	c.Crops = []Sown{{Crop: "own"}}
	w, ok := WorkOn(c, Farm{}, berlin)
	assert.False(t, ok, "days to harvest not on file: %+v", w)
}

// TestDueCrop: a crop's days are days of the farm's calendar. In Europe the
// clocks went back on 25 October 2026 and go forward on 28 March 2027; 2028 is
// a leap year.
func TestDueCrop(t *testing.T) {
	newYork, err := time.LoadLocation("America/New_York")
	require.NoError(t, err)
	for _, k := range []struct {
		name string
		sown time.Time
		days int
		want string
		text string
	}{
		{"plain", time.Date(2026, 11, 2, 7, 30, 0, 0, berlin), 12, "2026-11-14T07:30:00+01:00", "kale sown 2 Nov 07:30, at most 12 days"},
		{"clocks go back", time.Date(2026, 10, 24, 7, 30, 0, 0, berlin), 12, "2026-11-05T07:30:00+01:00", "kale sown 24 Oct 07:30, at most 12 days"},
		{"clocks go forward", time.Date(2027, 3, 20, 23, 30, 0, 0, berlin), 12, "2027-04-01T23:30:00+02:00", "kale sown 20 Mar 23:30, at most 12 days"},
		{"sown in the hour that is there twice", time.Date(2026, 10, 25, 2, 30, 0, 0, berlin), 1, "2026-10-26T02:30:00+01:00", "kale sown 25 Oct 02:30, at most 1 day"},
		{"due in the hour that is missing", time.Date(2027, 3, 27, 2, 30, 0, 0, berlin), 1, "2027-03-28T03:30:00+02:00", "kale sown 27 Mar 02:30, at most 1 day"},
		{"leap day", time.Date(2028, 2, 20, 8, 0, 0, 0, berlin), 10, "2028-03-01T08:00:00+01:00", "kale sown 20 Feb 08:00, at most 10 days"},
		{"no leap day", time.Date(2027, 2, 20, 8, 0, 0, 0, berlin), 10, "2027-03-02T08:00:00+01:00", "kale sown 20 Feb 08:00, at most 10 days"},
		{"sown on a leap day", time.Date(2028, 2, 29, 8, 0, 0, 0, berlin), 1, "2028-03-01T08:00:00+01:00", "kale sown 29 Feb 08:00, at most 1 day"},
		{"another zone", time.Date(2026, 11, 2, 23, 30, 0, 0, newYork), 8, "2026-11-10T23:30:00-05:00", "kale sown 2 Nov 23:30, at most 8 days"},
	} {
		t.Run(k.name, func(t *testing.T) {
			c := testCondition(Growing)
			c.SownAt, c.Crops[0].DaysMin, c.Crops[0].DaysMax = k.sown.UTC(), 0, k.days
			w, ok := WorkOn(c, Farm{}, k.sown.Location())
			require.True(t, ok)
			assert.Equal(t, k.want, w.At.In(k.sown.Location()).Format(time.RFC3339))
			assert.Equal(t, k.text, w.Dues[0].Text)
			assert.Equal(t, "crop-days", w.Dues[0].Rule)
		})
	}
}

// TestDueAndVerdictAgree: what lapses on the due list stops a sowing from the
// same second on.
func TestDueAndVerdictAgree(t *testing.T) {
	for _, at := range []time.Time{local(time.October, 20, 9), local(time.March, 25, 9)} { // over both changes of the clocks
		c := testCondition(Ready)
		c.Since, c.Sanitized.AcceptedAt = at.UTC(), at.UTC()
		w, _ := WorkOn(c, Farm{}, berlin)
		_, fired := find(Judge(c, Farm{}, w.At.Add(-time.Second)), "sanitize-lapsed")
		assert.False(t, fired)
		_, fired = find(Judge(c, Farm{}, w.At), "sanitize-lapsed")
		assert.True(t, fired)
	}
}

func TestWorklistOrder(t *testing.T) {
	at := func(h int, code Code) Work { return Work{Code: code, At: testSince.Add(time.Duration(h) * time.Hour)} }
	work := []Work{at(5, "TB"), at(1, "TC"), at(5, "TA"), at(-30, "TZ")}
	Worklist(work)
	assert.Equal(t, []Work{at(-30, "TZ"), at(1, "TC"), at(5, "TA"), at(5, "TB")}, work, "most overdue first, then by code")
	assert.InDelta(t, 31.0, work[0].OverdueH(testSince.Add(time.Hour)), 1e-9)
	assert.InDelta(t, -4.0, work[3].OverdueH(testSince.Add(time.Hour)), 1e-9)
}

// TestDuesAreInOrder: the first due is the one that the line stands under.
func TestDuesAreInOrder(t *testing.T) {
	c := testCondition(Ready)
	c.Inspected = 0
	w, _ := WorkOn(c, Farm{}, berlin)
	require.Len(t, w.Dues, 3)
	assert.Equal(t, KindInspect, w.Step)
	for i := 1; i < len(w.Dues); i++ {
		assert.False(t, w.Dues[i].At.Before(w.Dues[i-1].At))
	}
}

func TestADueListByAClockThatIsBehindSaysSo(t *testing.T) {
	f, wrong := DueByClock(testNow, testNow.AddDate(-1, 0, 0))
	assert.True(t, wrong)
	assert.Equal(t, "the clock says 3 Nov 2025 09:00, and the last record is of 3 Nov 2026 09:00; one of the two is wrong, so it can't tell what is due: set the clock", f.Text)
	_, wrong = DueByClock(testNow, testNow.Add(-ClockDrift))
	assert.False(t, wrong, "clocks differ by minutes")
}
