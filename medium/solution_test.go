package medium

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

const bottleCode Code = "BK7R2N81"

// bench is a farm with a chlorine label, good for 12 h mixed and 90 days
// opened, and a bottle of 150 ppm mixed two hours ago.
func bench(t *testing.T, change ...Body) Farm {
	t.Helper()
	f := Farm{Settings: FarmSettings{Zone: "Europe/Berlin"}}
	for _, s := range []Sanitizer{
		{Name: "Chlor Five", Active: "hypochlorite", Stock: "5.25%ww", Directions: DirectionsLabel, MinPPM: 100, MaxPPM: 200, ContactS: 120, MixedHours: 12, OpenedDays: 90},
		{Name: "Oxy One", Active: "peroxide", Directions: DirectionsLabel, MinPPM: 500, MaxPPM: 1000, ContactS: 120},
	} {
		f = farmStep(t, f, &s, testNow.Add(-48*time.Hour))
	}
	f = farmStep(t, f, &Solution{Code: bottleCode, Product: "chlor five", Stock: "5.25%ww", StockML: 3, WaterML: 997, StrengthPPM: 150}, testNow.Add(-2*time.Hour))
	for _, b := range change {
		f = farmStep(t, f, b, testNow.Add(-time.Hour))
	}
	return f
}

func farmStep(t *testing.T, f Farm, b Body, at time.Time) Farm {
	t.Helper()
	return learned(t, f, b, at, at)
}

// learned records something of the farm's later than it happened.
func learned(t *testing.T, f Farm, b Body, at, now time.Time) Farm {
	t.Helper()
	s, err := AdmitFarm(f, Step{By: "ab", At: at, Body: b}, now)
	require.NoError(t, err)
	return f.Apply(inLedger(s))
}

var ledgerSeq uint64

// inLedger gives a step the next place in the ledger.
func inLedger(s Step) Step {
	ledgerSeq++
	s.Seq = ledgerSeq
	return s
}

func fromBottle() Sanitize {
	return Sanitize{Solution: bottleCode, ContactS: 120, Sides: 2, Method: "spray"}
}

func strip(ppm, step float64) *Strip {
	return &Strip{Code: bottleCode, ReadPPM: ppm, StepPPM: step, TempC: ptr(50), PH: ptr(7)}
}

// dry is a strip alone, without a thermometer.
func dry(ppm, step float64) *Strip { return &Strip{Code: bottleCode, ReadPPM: ppm, StepPPM: step} }

func TestASolutionGivesProductAndStrength(t *testing.T) {
	b := fromBottle()
	s, err := Admit(testCondition(ToSanitize), bench(t, strip(140, 50)), testStep(&b), testNow)
	require.NoError(t, err)
	require.True(t, s.Outcome.Accepted, "%+v", s.Outcome.Findings)
	got := s.Body.(*Sanitize)
	assert.Equal(t, "Chlor Five", got.Product)
	assert.Equal(t, "hypochlorite", got.Active)
	assert.Equal(t, 140.0, got.StrengthPPM, "the strip's, not the computed one")
	require.NotNil(t, got.Mixed)
	assert.Equal(t, 150.0, got.Mixed.Solution.StrengthPPM)
	assert.Equal(t, "ab", got.Mixed.MadeBy)
	require.NotNil(t, got.Directions)
	after := testCondition(ToSanitize).Apply(s)
	assert.Equal(t, bottleCode, after.Sanitized.Solution)
	assert.Equal(t, Airing, after.Stage)
}

func TestWhyASolutionIsNotAccepted(t *testing.T) {
	peroxide := func(f *Farm) {
		s := &f.Bottles[0].Solution
		s.Product, s.Active, s.StrengthPPM = "Oxy One", "peroxide", 800
	}
	for _, k := range []struct {
		name   string
		strips []Body
		change func(*Farm, *Sanitize)
		rules  []string
		fails  bool
		text   string
	}{
		{"fresh and measured", []Body{strip(150, 50)}, nil, nil, false, ""},
		{"no thermometer", []Body{dry(150, 50)}, func(_ *Farm, b *Sanitize) { b.TempC = nil }, []string{"temperature-unmeasured"}, true,
			"temperature not measured; the table asks for at least 13 C at 125 ppm (pH 7): read it in the bottle, or give it with the step"},
		{"no pH strip", []Body{dry(150, 50)}, func(_ *Farm, b *Sanitize) { b.PH = nil }, []string{"ph-unmeasured"}, true,
			"pH not measured; over pH 8 chlorine is nearly useless, over pH 10 the table has no row: read it in the bottle, or give it with the step"},
		{"neither", []Body{dry(150, 50)}, func(_ *Farm, b *Sanitize) { b.TempC, b.PH = nil, nil }, []string{"temperature-unmeasured", "ph-unmeasured"}, true, ""},
		{"both read in the bottle", []Body{strip(150, 50)}, func(_ *Farm, b *Sanitize) { b.TempC, b.PH = nil, nil }, nil, false, ""},
		{"read too long ago", []Body{strip(150, 50)}, func(f *Farm, b *Sanitize) { b.TempC, f.Policy = nil, setting("reading-hours", true, 0.5, 0) }, []string{"reading-hours", "temperature-unmeasured"}, true,
			"the temperature of BK7R 2N81 was last read 1.0 hours before, the policy allows 0.5 h; read it again"},
		{"read too long ago, rule off", []Body{strip(150, 50)}, func(f *Farm, b *Sanitize) { b.TempC, f.Policy = nil, setting("reading-hours", false, 0.5, 0) }, []string{"reading-hours"}, false,
			"the temperature of BK7R 2N81 was last read 1.0 hours before, the policy allows 0.5 h; read it again; the farm has switched this rule off"},
		{"measured and dead", []Body{strip(0, 50)}, nil, []string{"strength-low", "chlorine-temperature"}, true, "0 ppm (by the strip 0 to 25) is under the directions' 100 ppm; make a fresh solution"},
		{"too weak whatever the strip's step", []Body{strip(50, 50)}, nil, []string{"strength-low"}, true, "50 ppm (by the strip 25 to 75) is under the directions' 100 ppm; make a fresh solution"},
		{"at the edge", []Body{strip(100, 50)}, nil, []string{"strength-unsure"}, false,
			"the strip can't tell: 100 ppm (by the strip 75 to 125), and the directions ask for 100 to 200 ppm; aim for the middle"},
		{"over strength", []Body{strip(400, 100)}, nil, []string{"strength-high", "over-ceiling"}, true, "400 ppm (by the strip 350 to 450) is over the directions' 200 ppm; dilute it and do it again"},
		{"read again after thinning", []Body{strip(400, 100), strip(150, 50)}, nil, nil, false, ""},
		{"never measured", nil, nil, []string{"solution-measured"}, true, "solution BK7R 2N81 was never measured; its 150 ppm is only computed; read a test strip in it and record it"},
		{"never measured, rule off", nil, func(f *Farm, _ *Sanitize) { f.Policy = setting("solution-measured", false, 1, 0) }, []string{"solution-measured"}, false, ""},
		{"never measured peroxide", nil, func(f *Farm, _ *Sanitize) { peroxide(f) }, []string{"solution-measured"}, true, ""},
		{"never measured peroxide, chlorine only by the policy", nil, func(f *Farm, _ *Sanitize) { peroxide(f); f.Policy = setting("solution-measured", true, 1, 0) },
			[]string{"solution-measured"}, false, ""},
		{"out of date", []Body{strip(150, 50)}, func(f *Farm, _ *Sanitize) { f.Bottles[0].Solution.GoodUntil = testNow.Add(-90 * time.Minute) },
			[]string{"solution-expired"}, true, "solution BK7R 2N81 was good until 3 Nov 07:30 and was used 1.5 hours later (mixed 3 Nov 07:00); discard it and mix a fresh one"},
		{"mixed after the step", []Body{strip(150, 50)}, func(f *Farm, _ *Sanitize) { f.Bottles[0].MadeAt = testNow.Add(time.Minute) }, []string{"solution-date"}, true, ""},
		{"unknown", nil, func(_ *Farm, b *Sanitize) { b.Solution = "BXXXXXXX" }, []string{"solution-unknown", "no-directions", "over-ceiling"}, true, ""},
		{"discarded", []Body{strip(150, 50), &Discard{Code: bottleCode, Reason: "used up"}}, nil, []string{"solution-discarded"}, true,
			"solution BK7R 2N81 was discarded on 3 Nov 2026 08:00 by ab; mix a fresh one, or give the time at which it was used if that was before"},
	} {
		t.Run(k.name, func(t *testing.T) {
			f := bench(t, k.strips...)
			b := fromBottle()
			b.TempC, b.PH = ptr(50), ptr(7)
			if k.change != nil {
				k.change(&f, &b)
			}
			s, err := Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
			require.NoError(t, err)
			var rules []string
			for _, f := range s.Outcome.Findings {
				rules = append(rules, f.Rule)
				assert.NotEmpty(t, f.Source)
			}
			assert.Equal(t, k.rules, rules)
			assert.Equal(t, k.fails, !s.Outcome.Accepted)
			if k.text != "" {
				assert.Equal(t, k.text, s.Outcome.Findings[0].Text)
			}
		})
	}
}

func TestDebrisBeforeSanitizing(t *testing.T) {
	c := testCondition(ToWash)
	c.Debris = DebrisRoots
	b := fromBottle()
	s, err := Admit(c, bench(t, strip(150, 50)), testStep(&b), testNow)
	require.NoError(t, err)
	require.Len(t, s.Outcome.Findings, 1)
	assert.Equal(t, "debris", s.Outcome.Findings[0].Rule)
	assert.Contains(t, s.Outcome.Findings[0].Text, "roots were left")
	assert.Equal(t, ToWash, c.Apply(s).Stage)
}

func TestGoodUntil(t *testing.T) {
	d := Sanitizer{MixedHours: 12, OpenedDays: 90}
	var p Policy
	assert.Equal(t, testNow.Add(12*time.Hour), d.goodUntil(p, testNow, time.Time{}))
	opened := testNow.Add(-90*24*time.Hour + time.Hour)
	assert.Equal(t, testNow.Add(time.Hour), d.goodUntil(p, testNow, opened), "an old bottle of stock")
	assert.Equal(t, testNow.Add(24*time.Hour), Sanitizer{}.goodUntil(p, testNow, opened), "CDC bleach advice: 24 hours")
	assert.Equal(t, testNow.Add(8*time.Hour), Sanitizer{}.goodUntil(setting("solution-hours", true, 8, 0), testNow, opened))
}

func TestSolutionsThatCantBe(t *testing.T) {
	f := bench(t)
	for _, k := range []struct {
		name string
		body Body
	}{
		{"a mat's code", &Solution{Code: "TK7R2N82", Product: "Chlor Five", StrengthPPM: 150}},
		{"a code in use", &Solution{Code: bottleCode, Product: "Chlor Five", StrengthPPM: 150}},
		{"no such product", &Solution{Code: "BK7R2N82", Product: "Pink", StrengthPPM: 150}},
		{"no strength", &Solution{Code: "BK7R2N82", Product: "Chlor Five"}},
		{"opened tomorrow", &Solution{Code: "BK7R2N82", Product: "Chlor Five", StrengthPPM: 150, OpenedAt: testNow.Add(24 * time.Hour)}},
		{"negative water", &Solution{Code: "BK7R2N82", Product: "Chlor Five", StrengthPPM: 150, WaterML: -1}},
		{"strip of no bottle", &Strip{Code: "BK7R2N82", ReadPPM: 100, StepPPM: 50}},
		{"strip under zero", strip(-1, 50)},
		{"discard of no bottle", &Discard{Code: "BK7R2N82"}},
	} {
		_, err := AdmitFarm(f, Step{By: "ab", Body: k.body}, testNow)
		assert.Error(t, err, k.name)
	}
}

// No count drops a solution, nor any age one of which something was learned
// later. One that is long out of date is no longer named, and who names it is told.
func TestWhatTheFarmKeepsOfItsSolutions(t *testing.T) {
	f := bench(t)
	until := f.Bottles[0].Solution.GoodUntil
	at := func(f Farm, at time.Time) Farm {
		crop := Step{At: at, Recorded: at, Body: &Crop{Name: "kale"}}
		return f.Apply(crop).Apply(crop)
	}
	ahead := until.Add(2 * solutionKept)
	assert.Len(t, f.Apply(Step{At: ahead, Recorded: ahead, Body: &Crop{Name: "kale"}}).Bottles, 1, "by a clock that was ahead")
	assert.Len(t, at(f, until.Add(solutionKept)).Bottles, 1)
	long := at(f, until.Add(solutionKept+time.Second))
	assert.Empty(t, long.Bottles)
	_, err := AdmitFarm(long, Step{By: "ab", Body: &Discard{Code: bottleCode}}, until.Add(solutionKept+time.Hour))
	assert.ErrorContains(t, err, "went out of date in the last 400 days")
	for i := range 600 {
		f = f.Apply(Step{At: testNow, Body: &Solution{Code: Code(fmt.Sprintf("B%07d", i)), GoodUntil: testNow}})
	}
	_, oldest := f.Bottle(bottleCode)
	assert.True(t, oldest)
	assert.Len(t, f.Bottles, 601)

	gone := farmStep(t, bench(t, strip(150, 50)), &Discard{Code: bottleCode}, testNow)
	assert.Len(t, at(gone, testNow.Add(solutionKept)).Discarded, 1)
	assert.Empty(t, at(gone, testNow.Add(solutionKept+time.Second)).Discarded)
	doubted := gone.Apply(inLedger(Step{At: testNow.Add(-time.Minute), Recorded: testNow, By: "ab", Body: strip(20, 50)}))
	assert.Len(t, at(doubted, testNow.AddDate(9, 0, 0)).Discarded, 1)
}

func TestStripRange(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		read, step := rapid.Float64Range(0, 1000).Draw(t, "read"), rapid.Float64Range(0, 500).Draw(t, "step")
		least, most := Bottle{Strip: &Strip{ReadPPM: read, StepPPM: step}}.Range()
		if least < 0 || least > read || most < read || most-read > step/2+1e-9 {
			t.Fatalf("%v by steps of %v: %v to %v", read, step, least, most)
		}
	})
}

func TestFarmProcedureOverTheCeilingNeedsARinse(t *testing.T) {
	// 65 FR 75174: 1,100 ppm; 3 % is about 30,000 ppm
	s := Sanitizer{Name: "drugstore peroxide", Active: "peroxide", Directions: DirectionsFarm, MinPPM: 30000, MaxPPM: 30000, ContactS: 600}
	err := s.Check()
	require.Error(t, err)
	assert.Contains(t, err.Error(), "27 times the published ceiling")
	s.Rinse = true
	require.NoError(t, s.Check())
	s.Rinse, s.Directions = false, DirectionsLabel
	require.NoError(t, s.Check(), "a label is the rule")
}

// The farm's own hours of a solution can be switched off as any rule: then they leave
// a note, which names the policy. The hours of a label can't.
func TestAnOldSolutionWhereTheFarmsHoursAreOff(t *testing.T) {
	for _, k := range []struct {
		hours float64 // of the label of the jug
		want  Severity
	}{{0, Care}, {24, StepRule}} {
		d := newDay(t)
		d.farm(d.now, &Sanitizer{Name: "jug", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60, MixedHours: k.hours})
		d.farm(d.now, &PolicyChange{Setting: Setting{Rule: "solution-hours", Limit: 24}, Reason: "ours"})
		d.mix("BJUG0001", "jug", d.now, d.now)
		at(12, 0, "BJUG0001", 180)(d)
		d.now = d.now.Add(25 * time.Hour)
		s, err := Admit(d.c, d.f, Step{Mat: testCode, By: "MK", Body: &Sanitize{Solution: "BJUG0001", ContactS: 60, Sides: 2, Method: "soak"}}, d.now)
		require.NoError(t, err)
		f, _ := find(Verdict{Findings: s.Outcome.Findings}, "solution-expired")
		assert.Equal(t, k.want, f.Severity)
		assert.Equal(t, k.want == Care, strings.Contains(f.Source, "the farm's policy"), f.Source)
	}
}

// By a clock that was a year ahead a solution is mixed before what is given a time.
func TestAStripInASolutionThatWasMixedByAClockAhead(t *testing.T) {
	d := newDay(t)
	ahead := d.now.AddDate(1, 0, 0)
	today := d.now
	d.mix("BJUG0001", "jug", ahead, ahead)
	d.now = today.Add(10 * time.Minute)
	d.farm(today.Add(9*time.Minute), &Strip{Code: "BJUG0001", ReadPPM: 180, StepPPM: 10})
	b, _ := d.f.Bottle("BJUG0001")
	assert.Equal(t, 180.0, b.Strength())
	_, err := AdmitFarm(d.f, Step{By: "AB", At: today.AddDate(0, 0, -1), Body: &Strip{Code: "BJUG0000", ReadPPM: 180, StepPPM: 10}}, d.now)
	assert.ErrorContains(t, err, "want a time after the mixing, 3 Nov 2026 12:00")
}
