package medium

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// day is a farm and one washed mat, with the ledger that both are written into.
type day struct {
	t   *testing.T
	f   Farm
	c   Condition
	now time.Time
	seq uint64
}

func clock(hour, minute int) time.Time { return time.Date(2026, 11, 3, hour, minute, 0, 0, berlin) }

// newDay is a farm with two labels since the day before, and a bottle of either
// product, mixed at 12:00.
func newDay(t *testing.T) *day {
	d := &day{t: t, f: Farm{Settings: FarmSettings{Zone: "Europe/Berlin"}}, c: testCondition(ToSanitize), now: clock(0, 0).Add(-12 * time.Hour)}
	d.farm(d.now, &Sanitizer{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60, MixedHours: 12})
	d.farm(d.now, &Sanitizer{Name: "jug", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60})
	d.mix("BDRUM000", "drum", clock(12, 0), clock(12, 0))
	d.mix("BJUG0000", "jug", clock(12, 0), clock(12, 0))
	return d
}

func (d *day) mix(code Code, product string, at, recorded time.Time) {
	d.t.Helper()
	d.now = recorded
	d.farm(at, &Solution{Code: code, Product: product, StrengthPPM: 150, TempC: ptr(20), PH: ptr(7)})
}

// farm records something of the farm's now.
func (d *day) farm(at time.Time, b Body) {
	d.t.Helper()
	s, err := AdmitFarm(d.f, Step{By: "AB", At: at, Body: b}, d.now)
	require.NoError(d.t, err)
	d.seq++
	s.Seq = d.seq
	d.f = d.f.Apply(s)
}

// mat records a step of the mat now, and gives the rules that were missed.
func (d *day) mat(at time.Time, b Body) string {
	d.t.Helper()
	s, err := Admit(d.c, d.f, Step{Mat: testCode, By: "MK", At: at, Body: b}, d.now)
	require.NoError(d.t, err)
	d.seq++
	s.Seq = d.seq
	d.c = d.c.Apply(s)
	var missed []string
	for _, f := range s.Outcome.Findings {
		if f.Severity == StepRule {
			missed = append(missed, f.Rule)
		}
	}
	return strings.Join(missed, " ")
}

func (d *day) use(at time.Time, bottle Code) string {
	return d.mat(at, &Sanitize{Solution: bottle, ContactS: 60, Sides: 2, Method: "soak"})
}

func (d *day) rested() string {
	v := Judge(d.c, d.f, d.now.In(berlin))
	f, _ := find(v, "rested-on")
	return f.Text
}

func at(hour, minute int, bottle Code, ppm float64) func(*day) {
	return func(d *day) {
		d.farm(clock(hour, minute), &Strip{Code: bottle, ReadPPM: ppm, StepPPM: 10})
	}
}

// The strip of 20 ppm at 14:00, the one of 100 ppm at 15:00 and the use at 14:30,
// in each order in which they can be recorded: the use is judged by the strip that
// was read before it, and a reading that comes to light later stops the mat.
func TestTheStripThatCountsWasReadBeforeTheUse(t *testing.T) {
	const low, never = "strength-low chlorine-temperature", "solution-measured"
	weak, strong := at(14, 0, "BDRUM000", 20), at(15, 0, "BDRUM000", 100)
	first := at(13, 0, "BDRUM000", 100)
	var missed string
	use := func(d *day) { missed = d.use(clock(14, 30), "BDRUM000") }
	for _, k := range []struct {
		name   string
		order  []func(*day)
		missed string
		rested string
	}{
		{"as it happened", []func(*day){weak, use, strong}, low, ""},
		{"the use late", []func(*day){weak, strong, use}, low, ""},
		{"the use late, the strips the wrong way round", []func(*day){strong, weak, use}, low, ""},
		{"before any strip", []func(*day){use, weak, strong}, never, ""},
		{"a first strip after the use is no measurement", []func(*day){strong, use, weak}, never, ""},
		{"no strip but after it", []func(*day){strong, use}, never, ""},
		{"a good one before", []func(*day){first, use, strong}, "", ""},
		{"a weak one learned later", []func(*day){first, use, weak}, "",
			"the sanitizing of 3 Nov 14:30 rested on solution BDRU M000, of which a reading of 3 Nov 14:00 by AB was recorded later, on 3 Nov 16:00 by AB: 20 ppm (by the strip 15 to 25) is under the directions' 50 ppm; make a fresh solution; sanitize it again"},
		{"a strong one learned later", []func(*day){first, use, at(14, 0, "BDRUM000", 400)}, "",
			"the sanitizing of 3 Nov 14:30 rested on solution BDRU M000, of which a reading of 3 Nov 14:00 by AB was recorded later, on 3 Nov 16:00 by AB: 400 ppm (by the strip 395 to 405) is over the directions' 200 ppm; dilute it and do it again; sanitize it again"},
		{"another good one learned later", []func(*day){first, use, at(14, 0, "BDRUM000", 120)}, "", ""},
		{"a weak one of after the use learned later", []func(*day){first, use, at(14, 31, "BDRUM000", 20)}, "", ""},
		{"a weak one of before the one that counted", []func(*day){first, use, at(12, 30, "BDRUM000", 20)}, "", ""},
	} {
		t.Run(k.name, func(t *testing.T) {
			d := newDay(t)
			d.now = clock(16, 0)
			for _, do := range k.order {
				do(d)
			}
			assert.Equal(t, k.missed, missed)
			assert.Equal(t, k.rested, d.rested())
			if k.missed == "" {
				assert.Equal(t, 100.0, d.c.Sanitized.StrengthPPM, "the step is not rewritten")
			}
			work, _ := WorkOn(d.c, d.f, berlin)
			due := slices.ContainsFunc(work.Dues, func(d Due) bool { return d.Rule == "rested-on" })
			assert.Equal(t, k.rested != "", due)
		})
	}
}

// What is learned later of a solution or a label stops the mats whose last
// sanitizing rested on it and would not have been accepted, until the next one.
func TestWhatIsLearnedLaterStopsTheMat(t *testing.T) {
	corrected := func(change func(*Sanitizer)) func(*day) {
		return func(d *day) {
			s := Sanitizer{Name: "Drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200, ContactS: 60, MixedHours: 12, Corrects: "typed wrong"}
			change(&s)
			d.farm(d.now, &s)
		}
	}
	for _, k := range []struct {
		name  string
		later func(*day)
		want  string // part of the sentence; empty: the mat stands
	}{
		{"discarded before the use", func(d *day) { d.farm(clock(14, 0), &Discard{Code: "BDRUM000"}) }, "the discarding at 3 Nov 14:00 was recorded later, on 3 Nov 17:00 by AB: solution BDRU M000 was discarded on 3 Nov 2026 14:00 by AB"},
		{"discarded at the use", func(d *day) { d.farm(clock(14, 30), &Discard{Code: "BDRUM000"}) }, "was discarded"},
		{"discarded after the use", func(d *day) { d.farm(clock(14, 31), &Discard{Code: "BDRUM000"}) }, ""},
		{"discarded now", func(d *day) { d.farm(d.now, &Discard{Code: "BDRUM000"}) }, ""},
		{"filled again before the use", func(d *day) {
			d.farm(clock(13, 30), &Discard{Code: "BDRUM000"})
			d.mix("BDRUM000", "drum", clock(13, 40), d.now)
			at(13, 45, "BDRUM000", 150)(d)
		}, "another filling, mixed 3 Nov 13:40 and not 3 Nov 12:00"},
		{"filled again after the use", func(d *day) {
			d.farm(clock(14, 40), &Discard{Code: "BDRUM000"})
			d.mix("BDRUM000", "drum", clock(14, 45), d.now)
		}, ""},
		{"the label asks for more", corrected(func(s *Sanitizer) { s.MinPPM = 140 }), "a correction of the directions (typed wrong) was recorded later, on 3 Nov 17:00 by AB: 100 ppm (by the strip 95 to 105) is under the directions' 140 ppm"},
		{"the label asks for longer", corrected(func(s *Sanitizer) { s.ContactS = 120 }), "wet for 1 min, the directions ask for 2 min"},
		{"the label asks for a rinse", corrected(func(s *Sanitizer) { s.Rinse = true }), "a rinse with potable water"},
		{"good for two hours only", corrected(func(s *Sanitizer) { s.MixedHours = 2 }), "was good until 3 Nov 14:00"},
		{"a warmth that was measured too low", corrected(func(s *Sanitizer) { s.MinTempC = 24 }), "20 C is under the directions' 24 C"},
		{"nothing that matters", corrected(func(s *Sanitizer) { s.MinPPM = 60 }), ""},
		{"a new label from now on", func(d *day) {
			d.farm(d.now, &Sanitizer{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 140, MaxPPM: 200, ContactS: 60})
		}, ""},
		{"a new label since the morning", func(d *day) {
			d.farm(clock(8, 0), &Sanitizer{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 140, MaxPPM: 200, ContactS: 60})
		}, "a newer label, in force since 3 Nov 08:00, was recorded later"},
		{"a policy of that time", func(d *day) {
			d.farm(clock(8, 0), &PolicyChange{Setting: Setting{Rule: "both-sides", On: true, Limit: 2}, Reason: "x"})
			d.farm(clock(8, 0), &PolicyChange{Setting: Setting{Rule: "ceiling-chlorine", On: true, Limit: 60}, Reason: "a limit is not a fact"})
		}, ""},
		{"the other solution", func(d *day) { d.farm(clock(14, 0), &Discard{Code: "BJUG0000"}) }, ""},
	} {
		t.Run(k.name, func(t *testing.T) {
			d := newDay(t)
			d.now = clock(13, 0)
			at(13, 0, "BDRUM000", 100)(d)
			d.now = clock(14, 30)
			require.Empty(t, d.use(clock(14, 30), "BDRUM000"))
			before := d.c
			d.now = clock(17, 0)
			k.later(d)
			if k.want == "" {
				assert.Empty(t, d.rested())
				return
			}
			assert.Contains(t, d.rested(), k.want)
			assert.Equal(t, before, d.c, "the step is not rewritten")
			assert.Equal(t, DoNotSow, Judge(d.c, d.f, d.now).Word)
			v := d.c
			v.Stage = Growing
			work, _ := WorkOn(v, d.f, berlin)
			assert.Equal(t, KindHold, work.Step, "a crop on it is held and decided on")
			d.mat(d.now, &Rinse{Debris: DebrisNone})
			d.now = clock(22, 0)
			d.mat(d.now, &Dry{Where: DryAir})
			assert.NotEmpty(t, d.rested(), "no rinse settles it")
			d.mix("BDRUM999", "jug", clock(22, 0), clock(22, 0))
			d.now = clock(22, 5)
			at(22, 5, "BDRUM999", 175)(d)
			require.Empty(t, d.use(d.now, "BDRUM999"))
			assert.Empty(t, d.rested(), "the next accepted sanitizing does")
		})
	}
}

// Late entries are judged by the directions, policy and solutions of their time.
func TestLateEntriesByWhatWasInForce(t *testing.T) {
	by := func(product string, ppm float64) *Sanitize {
		return &Sanitize{Product: product, StrengthPPM: ppm, ContactS: 60, Sides: 2, Method: "soak", TempC: ptr(20), PH: ptr(7)}
	}
	d := newDay(t)
	d.now = clock(15, 0)
	d.farm(d.now, &Sanitizer{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 140, MaxPPM: 200, ContactS: 60})
	d.farm(d.now, &Sanitizer{Name: "new", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60})
	d.farm(d.now, &PolicyChange{Setting: Setting{Rule: "ceiling-quat", On: true, Limit: 150}, Reason: "buyer"})
	assert.Empty(t, d.mat(clock(14, 0), by("drum", 100)), "by the label of that time")
	assert.Empty(t, d.mat(clock(14, 1), by("drum", 100)))
	assert.Equal(t, "strength-low", d.mat(clock(15, 0), by("drum", 100)), "from then on by the new one")

	d = newDay(t)
	d.now = clock(15, 0)
	d.farm(d.now, &PolicyChange{Setting: Setting{Rule: "ceiling-quat", On: true, Limit: 150}, Reason: "buyer"})
	assert.Empty(t, d.mat(clock(14, 0), by("jug", 180)), "by the policy of that time")
	assert.Equal(t, "over-ceiling", d.mat(clock(15, 0), by("jug", 180)))

	d = newDay(t)
	d.now = clock(15, 0)
	d.farm(d.now, &Sanitizer{Name: "new", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60})
	d.now = clock(15, 10)
	d.farm(d.now, &Sanitizer{Name: "new", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 90})
	s, err := Admit(d.c, d.f, Step{Mat: testCode, By: "MK", At: clock(14, 0), Body: by("new", 180)}, d.now)
	require.NoError(t, err)
	assert.Equal(t, "no directions on file for new; the label has been on file only since 3 Nov 2026 15:00; if it was in use before, copy it once more with the time from which it was, void this step and record it again", s.Outcome.Findings[0].Text)
	_, err = AdmitFarm(d.f, Step{By: "AB", At: clock(14, 0), Body: &Solution{Code: "BNEW0000", Product: "new", StrengthPPM: 180}}, d.now)
	assert.EqualError(t, err, `no sanitizer "new" on file; the label has been on file only since 3 Nov 2026 15:00; if it was in use before, copy it once more with the time from which it was`)
	d.farm(clock(9, 0), &Sanitizer{Name: "new", Active: "quat"})
	s, err = Admit(d.c, d.f, Step{Mat: testCode, By: "MK", At: clock(14, 0), Body: by("new", 180)}, d.now)
	require.NoError(t, err)
	assert.Contains(t, s.Outcome.Findings[0].Text, "on file only since 3 Nov 2026 15:00", "without directions it says nothing")
	d.farm(clock(9, 0), &Sanitizer{Name: "new", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60})
	assert.Empty(t, d.mat(clock(14, 0), by("new", 180)))
	s, err = Admit(d.c, d.f, Step{Mat: testCode, By: "MK", At: clock(15, 0), Body: by("never", 180)}, d.now)
	require.NoError(t, err)
	assert.True(t, slices.ContainsFunc(s.Outcome.Findings, func(f Finding) bool {
		return f.Text == "no directions on file for never; copy them from its label"
	}))
	require.Len(t, d.f.Sanitizers, 3)

	d = newDay(t) // good until 24:00
	d.now = clock(15, 0).Add(24 * time.Hour)
	at(13, 0, "BDRUM000", 100)(d)
	d.farm(clock(12, 5), &Strip{Code: "BDRUM000", TempC: ptr(20), PH: ptr(7)})
	assert.Empty(t, d.use(clock(13, 30), "BDRUM000"), "it was good at the use")
	d.now = d.now.Add(time.Minute)
	assert.Contains(t, d.use(d.now, "BDRUM000"), "solution-expired")
}

// A sowing that is written down late is judged by the policy of its time, and a
// change of a rule counts from when it was written down, whatever time is given.
func TestALateSowingByThePolicyOfItsTime(t *testing.T) {
	f := Farm{}
	n := uint64(0)
	change := func(limit float64, at, now time.Time) {
		s, err := AdmitFarm(f, Step{By: "AB", At: at, Body: &PolicyChange{Setting: Setting{Rule: "max-turns", On: true, Limit: limit}, Reason: "x"}}, now)
		require.NoError(t, err)
		n++
		s.Seq = n
		f = f.Apply(s)
	}
	c := testCondition(Ready) // turn 6, since 2 Nov 09:00
	change(20, local(time.October, 1, 9), local(time.October, 1, 9))
	change(5, testNow, testNow)
	sow := func(at time.Time) error {
		_, err := Admit(c, f, Step{Mat: testCode, By: "ab", At: at, Body: &Sow{Crops: []Sown{{Crop: "kale"}}}}, testNow)
		return err
	}
	assert.NoError(t, sow(testNow.Add(-time.Hour)))
	assert.Error(t, sow(testNow))
	change(6, testNow.Add(-2*time.Hour), testNow)
	assert.NoError(t, sow(testNow.Add(-time.Hour)), "nobody knew of six then")
	assert.Error(t, sow(testNow))
	assert.Equal(t, 6.0, f.Policy.Setting("max-turns").Limit)
	assert.Equal(t, 3, f.Policy.Version)
}

// Whatever may stay on a mat, another product takes nothing off it.
func TestResidueStandsUntilARinse(t *testing.T) {
	acid := Sanitizer{Name: "sour", Active: "acid", Directions: DirectionsLabel, MinPPM: 500, MaxPPM: 2000, ContactS: 60}
	for _, k := range []struct {
		name string
		put  Sanitize
		want string
	}{
		{"quat", Sanitize{Product: "Quat Ten", StrengthPPM: 5000}, "5000 ppm of Quat Ten was put on it on 1 Nov, 06:11 and not rinsed off; rinse the mat with potable water, then dry and sanitize it"},
		{"peroxide, otherwise as its directions ask", Sanitize{Product: "Drugstore peroxide", StrengthPPM: 30000}, "30000 ppm of Drugstore peroxide"},
		{"no directions", Sanitize{Active: "iodophor", StrengthPPM: 5000}, "5000 ppm of iodophor"},
		{"no ceiling, over its directions", Sanitize{Product: "sour", StrengthPPM: 5000}, "5000 ppm of sour"},
		{"no ceiling, nothing on file", Sanitize{Active: "other", StrengthPPM: 5000}, "5000 ppm of other"},
		{"no ceiling, by its directions", Sanitize{Product: "sour", StrengthPPM: 2000}, ""},
		{"at the ceiling", Sanitize{Product: "Quat Ten", StrengthPPM: 200}, ""},
		{"rinsed", Sanitize{Product: "Quat Ten", StrengthPPM: 5000, Rinsed: true}, ""},
	} {
		t.Run(k.name, func(t *testing.T) {
			f := testFarm()
			f.Sanitizers = append(f.Sanitizers, acid)
			w := ready(t)
			w.f = f
			b := k.put
			b.ContactS, b.Sides, b.Method = 600, 2, "soak"
			w.do(&b)
			stop := func() string {
				f, _ := find(w.verdict(), "residue")
				return f.Text
			}
			if k.want == "" {
				assert.Empty(t, stop())
				return
			}
			assert.Contains(t, stop(), k.want)
			assert.Equal(t, KindRinse, w.verdict().NextStep)
			work, _ := WorkOn(w.c, f, berlin)
			assert.Equal(t, KindRinse, work.Step)
			w.c.WetWith = nil // it has dried
			w.do(goodSanitize(), Airing)
			w.do(&Dry{Where: DryAir, DurationS: 0}, Ready)
			assert.NotEmpty(t, stop(), "the next accepted sanitizing takes nothing off")
			assert.Equal(t, DoNotSow, w.verdict().Word)
			rinsed := *w
			rinsed.do(&Rinse{Debris: DebrisNone}, ToDry)
			_, left := find(rinsed.verdict(), "residue")
			assert.False(t, left, "a rinse does")
			quat := goodSanitize()
			quat.Rinsed = true
			w.do(quat, Airing)
			assert.Empty(t, stop(), "and so does the rinse of a sanitizing")
		})
	}
}

// Leaving a measurement out never helps: without the temperature, the pH, the
// strip or the rinse no step is accepted that was not, and no verdict is better.
func TestLeavingAMeasurementOutNeverHelps(t *testing.T) {
	actives := []string{"hypochlorite", "hypochlorite", "calcium-hypochlorite", "peroxide", "peroxyacetic", "quat", "iodophor", "acid", "other"}
	rank := map[Word]int{SowIt: 0, SowWithCare: 1, DoNotSow: 2, RetireMat: 3}
	rapid.Check(t, func(rt *rapid.T) {
		some := func(name string, values ...float64) float64 { return rapid.SampledFrom(values).Draw(rt, name) }
		maybe := func(name string, values ...float64) *float64 {
			if rapid.IntRange(0, 3).Draw(rt, name+" taken") > 0 {
				return ptr(some(name, values...))
			}
			return nil
		}
		d := Sanitizer{Name: "X", Active: rapid.SampledFrom(actives).Draw(rt, "active"), Directions: rapid.SampledFrom([]string{DirectionsLabel, DirectionsFarm}).Draw(rt, "kind"),
			MinPPM: some("least", 0.5, 20, 50), MaxPPM: some("most", 200, 1100, 40000), ContactS: 60, Rinse: rapid.IntRange(0, 3).Draw(rt, "rinse") == 0,
			MinTempC: some("least C", 0, 0, 0, 20), MaxTempC: some("most C", 0, 0, 0, 40), MinPH: some("least pH", 0, 0, 0, 6), MaxPH: some("most pH", 0, 0, 0, 8), MixedHours: 12}
		if rapid.IntRange(0, 9).Draw(rt, "directions") == 0 {
			d.Directions = ""
		}
		judge := func(temp, pH *float64, strip *Strip, rinsed bool, inBottle, typed bool, ppm float64) (bool, Word, []Finding) {
			f := Farm{}.Apply(Step{At: testNow.Add(-48 * time.Hour), Seq: 1, Body: &d})
			f = f.Apply(Step{At: testNow.Add(-3 * time.Hour), Seq: 2, Body: &Solution{Code: bottleCode, Product: "X", Active: d.Active, StrengthPPM: ppm, GoodUntil: testNow.Add(time.Hour)}})
			b := &Sanitize{Solution: bottleCode, ContactS: 60, Sides: 2, Method: "soak", Rinsed: rinsed}
			if typed {
				b.Solution, b.Product, b.StrengthPPM = "", "X", ppm
			}
			if strip != nil {
				f = f.Apply(Step{At: testNow.Add(-time.Hour), Seq: 3, Body: strip})
			}
			if inBottle && !typed && (temp != nil || pH != nil) {
				f = f.Apply(Step{At: testNow.Add(-time.Hour), Seq: 4, Body: &Strip{Code: bottleCode, TempC: temp, PH: pH}})
			} else {
				b.TempC, b.PH = temp, pH
			}
			s, err := Admit(testCondition(ToSanitize), f, testStep(b), testNow)
			if err != nil {
				rt.Fatal(err)
			}
			c := testCondition(ToSanitize).Apply(s)
			c.Stage = Ready
			return s.Outcome.Accepted, Judge(c, f, testNow).Word, s.Outcome.Findings
		}
		temp, pH := maybe("temperature", 5, 20, 30, 50), maybe("pH", 4, 7, 8, 9, 10.5)
		var strip *Strip
		if rapid.Bool().Draw(rt, "strip") {
			strip = &Strip{Code: bottleCode, ReadPPM: some("reads", 0, 10, 30, 50, 100, 150, 250, 1000, 30000), StepPPM: some("blocks", 10, 10, 50)}
		}
		rinsed, inBottle, typed := rapid.Bool().Draw(rt, "rinsed"), rapid.Bool().Draw(rt, "in the bottle"), rapid.Bool().Draw(rt, "typed")
		ppm := some("ppm", 0.5, 10, 30, 50, 100, 150, 250, 1000, 30000)
		if typed && ppm < 1 {
			ppm = 100
		}
		ok, word, found := judge(temp, pH, strip, rinsed, inBottle, typed, ppm)
		for what, without := range map[string]func() (bool, Word, []Finding){
			"temperature": func() (bool, Word, []Finding) { return judge(nil, pH, strip, rinsed, inBottle, typed, ppm) },
			"pH":          func() (bool, Word, []Finding) { return judge(temp, nil, strip, rinsed, inBottle, typed, ppm) },
			"strip":       func() (bool, Word, []Finding) { return judge(temp, pH, nil, rinsed, inBottle, typed, ppm) },
			"rinse":       func() (bool, Word, []Finding) { return judge(temp, pH, strip, false, inBottle, typed, ppm) },
			"all":         func() (bool, Word, []Finding) { return judge(nil, nil, nil, false, inBottle, typed, ppm) },
		} {
			ok2, word2, found2 := without()
			if ok2 && !ok || rank[word2] < rank[word] {
				rt.Fatalf("without %s: accepted %v, %s; with it %v, %s\nwith: %+v\nwithout: %+v", what, ok2, word2, ok, word, found, found2)
			}
		}
	})
}

func TestDirectionsOutsideEveryPublishedRange(t *testing.T) {
	for _, k := range []struct {
		active   string
		min, max float64
		contact  int
		want     string
	}{
		{"hypochlorite", 0.5, 0.5, 1, "0.5 ppm at most, the weakest published is 25 ppm; 1 s wet, the shortest published is 7 s"},
		{"hypochlorite", 50, 200, 60, ""},
		{"hypochlorite", 10, 25, 7, ""},
		{"calcium-hypochlorite", 5000, 6000, 60, "5000 ppm at least, the strongest published is 1071 ppm"},
		{"quat", 150, 200, 60, ""},
		{"quat", 15, 20, 60, "20 ppm at most, the weakest published is 150 ppm"},
		{"iodophor", 12.5, 25, 29, "29 s wet, the shortest published is 30 s"},
		{"peroxide", 25000, 32000, 600, ""},
		{"peroxide", 1, 1, 10, "10 s wet, the shortest published is 30 s"},
		{"peroxyacetic", 600, 700, 60, "600 ppm at least, the strongest published is 500 ppm"},
		{"other", 1, 1, 1, ""},
	} {
		s := Sanitizer{Name: "X", Active: k.active, Directions: DirectionsLabel, MinPPM: k.min, MaxPPM: k.max, ContactS: k.contact}
		_, err := AdmitFarm(Farm{}, Step{By: "ab", Body: &s}, testNow)
		if k.want == "" {
			assert.NoError(t, err, "%+v", k)
			continue
		}
		var unlikely *UnlikelyError
		require.ErrorAs(t, err, &unlikely, "%+v", k)
		assert.Equal(t, k.want, unlikely.What)
		s.Confirmed = true
		done, err := AdmitFarm(Farm{}, Step{By: "ab", Body: &s}, testNow)
		require.NoError(t, err, "the label does say so")
		f := Farm{}.Apply(done)
		b := Sanitize{Product: "X", StrengthPPM: k.max, ContactS: 60, Sides: 2, Method: "soak", Rinsed: true, TempC: ptr(50), PH: ptr(7)}
		step, err := Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
		require.NoError(t, err)
		found, ok := find(Verdict{Findings: step.Outcome.Findings}, "directions-range")
		require.True(t, ok, "%+v", k)
		assert.Equal(t, Care, found.Severity)
		if step.Outcome.Accepted {
			stands, _ := find(Judge(testCondition(ToSanitize).Apply(step), f, testNow), "directions-range")
			assert.Equal(t, fmt.Sprintf("at the last sanitizing: the directions of X lie outside every published range: %s; read the label again", k.want), stands.Text)
		}
	}
}

// What a step could know is told apart from what was learned later, to the second.
func TestWhatCountsAsLearnedLater(t *testing.T) {
	used := func(t *testing.T) *day {
		d := newDay(t)
		d.now = clock(13, 0)
		at(13, 0, "BDRUM000", 100)(d)
		d.now = clock(14, 30)
		require.Empty(t, d.use(d.now, "BDRUM000"))
		return d
	}
	harmless := func(d *day) { at(13, 30, "BDRUM000", 120)(d) }

	d := used(t)
	at(14, 30, "BDRUM000", 20)(d) // in the same second, and after it
	d.now = clock(15, 0)
	harmless(d)
	assert.Empty(t, d.rested())

	d = used(t)
	d.now = clock(15, 0)
	d.farm(clock(8, 0), &PolicyChange{Setting: Setting{Rule: "ceiling-chlorine", On: true, Limit: 60}, Reason: "a limit is not a fact"})
	harmless(d)
	assert.Empty(t, d.rested())

	at(14, 0, "BDRUM000", 20)(d)
	require.NotEmpty(t, d.rested())
	d.c.CutsThrough = 1
	work, _ := WorkOn(d.c, d.f, berlin)
	assert.Equal(t, KindRetire, work.Step)
	assert.False(t, slices.ContainsFunc(work.Dues, func(d Due) bool { return d.Step == KindSanitize }), "it is not washed any more")

	d = used(t) // a solution whose directions were wrong is kept, for it stops mats
	d.farm(d.now, &Discard{Code: "BDRUM000"})
	d.now = clock(15, 0)
	d.farm(d.now, &Sanitizer{Name: "drum", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 50, MaxPPM: 200,
		ContactS: 60, MixedHours: 2, Corrects: "typed 12 for 2"})
	require.NotEmpty(t, d.rested())
	d.f = d.f.Apply(Step{At: d.now.AddDate(5, 0, 0), Recorded: d.now.AddDate(5, 0, 0), Body: &Prices{}})
	assert.NotEmpty(t, d.rested())
}

// Nothing is done after it was written down: a time that another clock gave a little
// ahead is that of the record, so a strip recorded after a use was read after it, and
// one by a clock that was ahead before it.
func TestAUseStandsAmongTheStripsWhereItWasRecorded(t *testing.T) {
	d := newDay(t)
	d.now = clock(12, 10)
	at(12, 10, "BDRUM000", 100)(d)
	d.now = clock(12, 20)
	require.Empty(t, d.use(clock(12, 24), "BDRUM000"))
	assert.True(t, d.c.Sanitized.At.Equal(clock(12, 20)), d.c.Sanitized.At)
	d.now = clock(12, 24)
	at(12, 21, "BDRUM000", 400)(d)
	assert.Empty(t, d.rested(), "read after it")
	at(12, 15, "BDRUM000", 400)(d)
	assert.NotEmpty(t, d.rested(), "read before it")

	d = newDay(t)
	d.now = clock(12, 24)
	at(12, 24, "BDRUM000", 100)(d)
	d.now = clock(12, 20)
	require.Empty(t, d.use(time.Time{}, "BDRUM000"))
	assert.True(t, d.c.Sanitized.At.Equal(clock(12, 24)), "after all that is on record")
}

// A reading serves the uses of its solution up to the policy's hours, and one that
// is learned later counts as a strip does.
func TestAReadingServesForItsHours(t *testing.T) {
	d := newDay(t)
	d.farm(clock(11, 0), &Sanitizer{Name: "warm", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60, MinTempC: 24})
	d.now = clock(12, 0)
	d.farm(d.now, &Solution{Code: "BWARM000", Product: "warm", StrengthPPM: 175, TempC: ptr(30)})
	at(12, 0, "BWARM000", 175)(d)
	d.now = clock(16, 1)
	assert.Equal(t, "temperature-unknown", d.use(d.now.Add(-59*time.Second), "BWARM000"))
	d = newDay(t)
	d.farm(clock(11, 0), &Sanitizer{Name: "warm", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60, MinTempC: 24})
	d.now = clock(12, 0)
	d.farm(d.now, &Solution{Code: "BWARM000", Product: "warm", StrengthPPM: 175, TempC: ptr(30)})
	at(12, 0, "BWARM000", 175)(d)
	d.now = clock(16, 0)
	assert.Empty(t, d.use(d.now, "BWARM000"), "four hours are within four hours")
	assert.Empty(t, d.c.Care)
	d.now = clock(17, 0)
	d.farm(clock(14, 0), &Strip{Code: "BWARM000", TempC: ptr(10)})
	assert.Contains(t, d.rested(), "10 C is under the directions' 24 C")
}

// A residue that is learned of later stands until a rinse, whatever was put on
// since, and the due list and the next step ask for that rinse.
func TestAResidueLearnedLaterAsksForARinse(t *testing.T) {
	d := newDay(t)
	d.now = clock(15, 0)
	at(13, 0, "BDRUM000", 20)(d)
	require.NotEmpty(t, d.use(clock(14, 0), "BDRUM000"), "not accepted")
	at(13, 0, "BJUG0000", 180)(d)
	d.mat(clock(14, 10), &Rinse{Debris: DebrisNone})
	d.mat(clock(15, 0), &Dry{Where: DryAir})
	d.now = clock(15, 10)
	require.Empty(t, d.use(clock(15, 10), "BJUG0000"))
	d.now = clock(16, 0)
	require.Empty(t, d.use(clock(16, 0), "BJUG0000"))
	d.now = clock(18, 0)
	d.mat(clock(18, 0), &Dry{Where: DryAir})
	at(13, 30, "BDRUM000", 5000)(d)
	_, left := find(Judge(d.c, d.f, d.now), "residue")
	assert.False(t, left, "that use was rinsed off")

	d.now = clock(19, 0)
	at(15, 30, "BJUG0000", 5000)(d)
	v := Judge(d.c, d.f, d.now.In(berlin))
	f, _ := find(v, "residue")
	assert.Equal(t, Stop, f.Severity)
	assert.Equal(t, "5000 ppm of jug was put on it on 3 Nov, 16:00 and not rinsed off, by a reading of 3 Nov 15:30 by AB, recorded later, on 3 Nov 19:00 by AB; rinse the mat with potable water, then dry and sanitize it", f.Text)
	assert.Equal(t, KindRinse, v.NextStep)
	w, ok := WorkOn(d.c, d.f, berlin)
	require.True(t, ok)
	assert.Equal(t, KindRinse, w.Step)
	assert.True(t, w.At.Equal(clock(19, 0)), "%s", w.At)

	d.f.Policy = setting("max-turns", false, 1, 0)
	w, _ = WorkOn(d.c, d.f, berlin)
	assert.Equal(t, KindRinse, w.Step, "a rule that is switched off retires no mat")
	c := d.c
	c.CutsThrough = 1
	w, _ = WorkOn(c, d.f, berlin)
	assert.Equal(t, KindRetire, w.Step)
	c.Stage = Growing
	w, _ = WorkOn(c, d.f, berlin)
	assert.True(t, slices.ContainsFunc(w.Dues, func(due Due) bool { return due.Step == KindHold && due.Rule == "residue" }), "%+v", w.Dues)
	d.mat(clock(19, 0), &Rinse{Debris: DebrisNone})
	_, left = find(Judge(d.c, d.f, d.now), "residue")
	assert.False(t, left)
}

// What is learned later of the last sanitizing speaks through its care notes too.
func TestCareNotesAreOfWhatIsKnownNow(t *testing.T) {
	d := newDay(t)
	d.now = clock(15, 0)
	at(13, 0, "BJUG0000", 155)(d)
	require.Empty(t, d.use(clock(14, 0), "BJUG0000"))
	f, ok := find(Judge(d.c, d.f, d.now), "strength-unsure")
	require.False(t, ok, f.Text)
	d.now = clock(16, 0)
	at(13, 30, "BJUG0000", 152)(d)
	f, _ = find(Judge(d.c, d.f, d.now), "strength-unsure")
	assert.Contains(t, f.Text, "at the last sanitizing: the strip can't tell: 152 ppm")

	own, _ := d.f.Sanitizer("jug", "")
	own.Directions, own.Corrects = DirectionsFarm, "it was no label"
	d.farm(d.now, &own)
	v := Judge(d.c, d.f, d.now)
	_, ok = find(v, "farm-procedure")
	assert.True(t, ok)
	assert.True(t, v.LastSanitized.FarmProcedure)
	assert.False(t, d.c.Sanitized.FarmProcedure, "the record keeps what was known then")
}
