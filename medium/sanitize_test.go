package medium

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// label is a made-up label that names every figure which a label can name.
func label() Sanitizer {
	return Sanitizer{Name: "Chlor Five", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 100, MaxPPM: 200, ContactS: 120,
		MinTempC: 15, MaxTempC: 35, MinPH: 6, MaxPH: 8}
}

func byLabel() Sanitize {
	return Sanitize{Product: "Chlor Five", StrengthPPM: 150, ContactS: 120, TempC: ptr(20), PH: ptr(7), Sides: 2, Method: "soak"}
}

// TestWhySanitizingIsNotAccepted has a row for every reason, each just short of
// the figure, and rows at the figure, which are accepted.
func TestWhySanitizingIsNotAccepted(t *testing.T) {
	for _, k := range []struct {
		name   string
		stage  Stage
		change func(*Sanitize, *Farm)
		rules  []string // none: accepted
		text   string   // of the first
		source string
	}{
		{"by the label", ToSanitize, nil, nil, "", ""},
		{"once more", Ready, nil, nil, "", ""},
		{"another product while airing", Airing, nil, []string{"two-products"}, "the mat was still wet with quat when hypochlorite went on; rinse it with potable water and let it dry before another product, two can give off gas",
			"bleach and other cleaners are never mixed: CDC bleach advice"},
		{"unwashed", ToWash, nil, []string{"unwashed"}, "the mat was not washed; rinse it first, soil uses up the sanitizer",
			"clean before you sanitize: Oregon State PNW 752, Produce Safety Alliance"},
		{"wet", ToDry, nil, []string{"wet"}, "the mat was still wet from the rinse; dry it first, or allow wet sanitizing in the policy",
			"common practice, no source: water left on the mat thins the solution"},
		{"one side", ToSanitize, func(b *Sanitize, f *Farm) { b.Sides = 1 }, []string{"one-side"},
			"one side only; an incomplete step: do both sides", "a mat touches food with both sides"},
		{"unknown product", ToSanitize, func(b *Sanitize, f *Farm) { b.Product = "Pink Stuff" }, []string{"no-directions", "over-ceiling"},
			"no directions on file for Pink Stuff; copy them from its label", "the product's label is the rule"},
		{"unknown active", ToSanitize, func(b *Sanitize, f *Farm) { b.Product, b.Active, b.StrengthPPM = "", "iodophor", 20 }, []string{"no-directions"},
			"no directions on file for iodophor; copy them from its label", "the product's label is the rule"},
		{"product without directions", ToSanitize, func(b *Sanitize, f *Farm) { f.Sanitizers[0].Directions = "" }, []string{"no-directions"},
			"no directions on file for Chlor Five; copy them from its label", "the product's label is the rule"},
		{"just too weak", ToSanitize, func(b *Sanitize, f *Farm) { b.StrengthPPM = 99.9 }, []string{"strength-low"},
			"99.9 ppm is under the directions' 100 ppm; make a fresh solution", "the label of Chlor Five"},
		{"weak enough to count", ToSanitize, func(b *Sanitize, f *Farm) { b.StrengthPPM = 100 }, nil, "", ""},
		{"strong enough to count", ToSanitize, func(b *Sanitize, f *Farm) { b.StrengthPPM = 200 }, nil, "", ""},
		{"just too strong, rinsed", ToSanitize, func(b *Sanitize, f *Farm) { b.StrengthPPM, b.Rinsed = 200.5, true }, []string{"strength-high"},
			"200.5 ppm is over the directions' 200 ppm; dilute it and do it again", "the label of Chlor Five"},
		{"too strong, left on", ToSanitize, func(b *Sanitize, f *Farm) { b.StrengthPPM = 600 }, []string{"strength-high", "over-ceiling"},
			"600 ppm is over the directions' 200 ppm; dilute it and do it again", "the label of Chlor Five"},
		{"just too short", ToSanitize, func(b *Sanitize, f *Farm) { b.ContactS = 119 }, []string{"contact-short"},
			"wet for 119 s, the directions ask for 2 min; keep it wet for the whole time", "the label of Chlor Five"},
		{"not rinsed", ToSanitize, func(b *Sanitize, f *Farm) { f.Sanitizers[0].Rinse = true }, []string{"not-rinsed"},
			"the directions ask for a rinse with potable water after the contact time", "the label of Chlor Five"},
		{"rinsed", ToSanitize, func(b *Sanitize, f *Farm) { f.Sanitizers[0].Rinse, b.Rinsed = true, true }, nil, "", ""},
		{"temperature not taken", ToSanitize, func(b *Sanitize, f *Farm) { b.TempC = nil }, []string{"temperature-unknown"},
			"the directions ask for 15 to 35 C and no temperature was recorded", "the label of Chlor Five"},
		{"temperature not taken, upper limit only", ToSanitize, func(b *Sanitize, f *Farm) { b.TempC, f.Sanitizers[0].MinTempC = nil, 0 },
			[]string{"temperature-unknown"}, "the directions ask for at most 35 C and no temperature was recorded", "the label of Chlor Five"},
		{"just too cold", ToSanitize, func(b *Sanitize, f *Farm) { b.TempC = ptr(14.9) }, []string{"temperature-low"},
			"14.9 C is under the directions' 15 C", "the label of Chlor Five"},
		{"just too hot", ToSanitize, func(b *Sanitize, f *Farm) { b.TempC = ptr(35.1) }, []string{"temperature-high"},
			"35.1 C is over the directions' 35 C", "the label of Chlor Five"},
		{"pH not taken", ToSanitize, func(b *Sanitize, f *Farm) { b.PH = nil }, []string{"ph-unknown"},
			"the directions ask for pH 6 to 8 and no pH was recorded", "the label of Chlor Five"},
		{"pH too low", ToSanitize, func(b *Sanitize, f *Farm) { b.PH = ptr(5.9) }, []string{"ph"},
			"pH 5.9 is outside the directions' 6 to 8; make a fresh solution with other water, never add acid to chlorine", "the label of Chlor Five"},
		{"pH too high", ToSanitize, func(b *Sanitize, f *Farm) { b.PH = ptr(8.1) }, []string{"ph"},
			"pH 8.1 is outside the directions' 6 to 8; make a fresh solution with other water, never add acid to chlorine", "the label of Chlor Five"},
		{"pH too low, lower limit only", ToSanitize, func(b *Sanitize, f *Farm) { b.PH, f.Sanitizers[0].MaxPH = ptr(5.9), 0 }, []string{"ph"},
			"pH 5.9 is outside the directions' at least 6; make a fresh solution with other water, never add acid to chlorine", "the label of Chlor Five"},
		{"farm procedure not allowed", ToSanitize, func(b *Sanitize, f *Farm) {
			f.Sanitizers[0].Directions = DirectionsFarm
			f.Policy = setting("farm-procedure", false, 1, 0)
		}, []string{"farm-procedure"}, "Chlor Five has no label directions for food-contact surfaces and the policy accepts no farm procedure",
			"the farm's own procedure for Chlor Five"},
		{"everything wrong", ToWash, func(b *Sanitize, f *Farm) {
			b.StrengthPPM, b.ContactS, b.Sides, b.TempC, b.PH = 10, 1, 1, ptr(5), ptr(10)
		}, []string{"unwashed", "one-side", "strength-low", "contact-short", "temperature-low", "ph"}, "the mat was not washed; rinse it first, soil uses up the sanitizer",
			"clean before you sanitize: Oregon State PNW 752, Produce Safety Alliance"},
	} {
		t.Run(k.name, func(t *testing.T) {
			f := Farm{Sanitizers: []Sanitizer{label()}}
			b := byLabel()
			if k.change != nil {
				k.change(&b, &f)
			}
			asked := b
			c := testCondition(k.stage)
			if k.stage == Airing {
				c.WetWith = []string{"quat"}
			}
			s, err := Admit(c, f, testStep(&b), testNow)
			require.NoError(t, err, "what happened is recorded, whatever it misses")
			assert.Equal(t, asked, b, "the caller's body is left alone")
			var rules []string
			for _, f := range s.Outcome.Findings {
				require.Equal(t, StepRule, f.Severity)
				assert.NotEmpty(t, f.Source)
				assert.NotContains(t, f.Text, "%!")
				rules = append(rules, f.Rule)
			}
			require.Equal(t, k.rules, rules)
			after := c.Apply(s)
			assert.Equal(t, len(k.rules) == 0, s.Outcome.Accepted)
			assert.Equal(t, len(k.rules) == 0, after.Sanitized.Accepted)
			if len(k.rules) == 0 {
				assert.Equal(t, Airing, after.Stage)
				return
			}
			assert.Equal(t, k.stage, after.Stage, "it does not move the mat")
			assert.Equal(t, c.Cleared, after.Cleared)
			assert.Equal(t, k.text, s.Outcome.Findings[0].Text)
			assert.Equal(t, k.source, s.Outcome.Findings[0].Source)
		})
	}
}

func TestDirectionsAreKeptWithTheStep(t *testing.T) {
	f := Farm{Sanitizers: []Sanitizer{label()}}
	b := byLabel()
	b.Product, b.Active = "", "hypochlorite"
	s, err := Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
	require.NoError(t, err)
	got := s.Body.(*Sanitize)
	require.NotNil(t, got.Directions)
	assert.Equal(t, label(), *got.Directions)
	assert.Equal(t, "Chlor Five", got.Product)
	f.Sanitizers[0].MinPPM = 180 // a later label does not restate the past
	assert.Equal(t, 100.0, got.Directions.MinPPM)
}

// TestNoRinseCeilings holds the shipped ceilings to what was published for
// solutions that are drained and not rinsed off.
func TestNoRinseCeilings(t *testing.T) {
	for _, k := range []struct {
		active string
		ppm    float64
		source string
	}{
		{"hypochlorite", 200, "40 CFR 180.940: 200 ppm total available chlorine"},
		{"calcium-hypochlorite", 200, "40 CFR 180.940: 200 ppm total available chlorine"},
		{"peroxide", 1100, "65 FR 75174 (2000-12-01): 1,100 ppm"},
		{"peroxyacetic", 500, "65 FR 75168 (2000-12-01): 500 ppm"},
		{"quat", 200, "EPA letter of 2007 citing 40 CFR 180.940: 200 ppm active"},
		{"iodophor", 25, "FDA Food Code 4-501.114: 12.5 to 25 mg/L; 21 CFR 178.1010(c) from memory"},
	} {
		t.Run(k.active, func(t *testing.T) {
			d := Sanitizer{Name: "X", Active: k.active, Directions: DirectionsLabel, MinPPM: 1, MaxPPM: 400000, ContactS: 1}
			require.NoError(t, d.Check())
			said := func(ppm float64, rinsed bool, p Policy) Finding {
				b := Sanitize{Product: "X", StrengthPPM: ppm, ContactS: 60, Sides: 2, Method: "soak", Rinsed: rinsed}
				s, err := Admit(testCondition(ToSanitize), Farm{Policy: p, Sanitizers: []Sanitizer{d}}, testStep(&b), testNow)
				require.NoError(t, err)
				for _, f := range s.Outcome.Findings {
					if f.Rule == "over-ceiling" {
						c := testCondition(ToSanitize).Apply(s)
						assert.Equal(t, f.Severity == StepRule, c.Residue != nil)
						return f
					}
				}
				return Finding{}
			}
			over := func(ppm float64, rinsed bool, p Policy) bool { return said(ppm, rinsed, p).Severity == StepRule }
			assert.False(t, over(k.ppm, false, Policy{}), k.source)
			assert.True(t, over(k.ppm+0.1, false, Policy{}), k.source)
			assert.False(t, over(k.ppm+0.1, true, Policy{}), "a rinse with potable water takes it off")
			rule := Actives[k.active]
			assert.True(t, over(k.ppm/2+0.1, false, setting(rule, true, k.ppm/2, 0)), "the farm's own, lower ceiling")
			off := said(k.ppm+0.1, false, setting(rule, false, k.ppm, 0))
			assert.Equal(t, Care, off.Severity)
			assert.Contains(t, off.Text, "; the farm has switched this rule off")
			if r, _ := RuleNamed(rule); k.active != "quat" { // 400 ppm for some quats, by their label
				assert.Equal(t, k.ppm, r.Max, "a farm can't raise a published ceiling")
			}
		})
	}
	// 3 % drugstore peroxide, about 30,000 ppm, is far over what may stay on
	b := Sanitize{Product: "Drugstore peroxide", StrengthPPM: 30000, ContactS: 600, Sides: 2, Method: "spray"}
	s, err := Admit(testCondition(ToSanitize), testFarm(), testStep(&b), testNow)
	require.NoError(t, err)
	last := s.Outcome.Findings[len(s.Outcome.Findings)-1]
	assert.Equal(t, "30000 ppm is 27.3 times the ceiling of 1100 ppm for what may stay on a food-contact surface; rinse with potable water after the contact time, or use it weaker", last.Text)
}

// TestChlorineTemperature is the table of FDA Food Code 4-501.114 (A), as
// adopted in La. Admin. Code 51 X-117 and 410 IAC 7-24-294: least temperature by
// strength and pH. 120 F = 49 C, 100 F = 38 C, 75 F = 24 C, 55 F = 13 C.
func TestChlorineTemperature(t *testing.T) {
	for _, k := range []struct {
		ppm  float64
		pH   *float64
		want float64
		ok   bool
	}{
		{25, ptr(10), 49, true}, {25, ptr(8), 49, true}, {49.9, ptr(8), 49, true},
		{50, ptr(10), 38, true}, {50, ptr(8.1), 38, true}, {50, ptr(8), 24, true}, {99.9, ptr(7), 24, true}, {99.9, ptr(9), 38, true},
		{100, ptr(10), 13, true}, {100, ptr(8), 13, true}, {200, ptr(6), 13, true},
		{50, nil, 38, true},                                  // an unknown pH is taken as the worse column
		{24.9, ptr(7), 0, false}, {100, ptr(10.1), 0, false}, // no row
	} {
		got, ok := ChlorineMinTempC(k.ppm, k.pH)
		assert.Equal(t, k.ok, ok, "%+v", k)
		assert.Equal(t, k.want, got, "%+v", k)
	}
	for _, k := range []struct {
		f, c float64
	}{{120, 49}, {100, 38}, {75, 24}, {55, 13}} {
		assert.InDelta(t, (k.f-32)/1.8, k.c, 0.5)
	}
}

func TestChlorineTemperatureInASanitizeStep(t *testing.T) {
	for _, k := range []struct {
		name string
		ppm  float64
		temp *float64
		pH   *float64
		min  float64 // of the label
		want string
	}{
		{"cold", 60, ptr(20), ptr(7.5), 0, "20 C is under the 24 C that the table asks for at 60 ppm (pH 7.5): warm it, or mix it stronger within the label"},
		{"warm", 60, ptr(24), ptr(7.5), 0, ""},
		{"warm, pH not known", 60, ptr(24), nil, 0, "24 C is under the 38 C that the table asks for at 60 ppm (pH not measured, taken as up to 10): warm it, mix it stronger within the label, or measure the pH"},
		{"no row", 60, ptr(24), ptr(10.5), 0, "chlorine of 60 ppm (pH 10.5) is in no row of the table; check strength and pH with strips"},
		{"the label's own temperature goes first", 60, ptr(20), ptr(7.5), 20, ""},
		{"not taken", 60, nil, ptr(7.5), 0, "temperature not measured; the table asks for at least 24 C at 60 ppm (pH 7.5): read it in the bottle, or give it with the step"},
		{"pH not taken", 100, ptr(24), nil, 0, "pH not measured; over pH 8 chlorine is nearly useless, over pH 10 the table has no row: read it in the bottle, or give it with the step"},
		{"10 ppm, and nothing measured", 10, nil, nil, 0, "chlorine of 10 ppm (pH not measured, taken as up to 10) is in no row of the table; check strength and pH with strips"},
		{"10 ppm, and all measured", 10, ptr(60), ptr(7.5), 0, "chlorine of 10 ppm (pH 7.5) is in no row of the table; check strength and pH with strips"},
	} {
		t.Run(k.name, func(t *testing.T) {
			f := Farm{Sanitizers: []Sanitizer{{Name: "C", Active: "hypochlorite", Directions: DirectionsLabel, MinPPM: 10, MaxPPM: 200, ContactS: 60, MinTempC: k.min}}}
			b := Sanitize{Product: "C", StrengthPPM: k.ppm, ContactS: 60, TempC: k.temp, PH: k.pH, Sides: 2, Method: "soak"}
			s, err := Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
			require.NoError(t, err)
			cold := strings.Contains(k.want, "is under")
			assert.Equal(t, k.pH != nil && (cold || k.want == ""), s.Outcome.Accepted, "the label is the rule: cold gives care; no row, or not measured, is a miss")
			if k.want != "" {
				require.NotEmpty(t, s.Outcome.Findings)
				assert.Equal(t, k.want, s.Outcome.Findings[0].Text)
			}
			f.Policy = setting("chlorine-temperature", false, 1, 0)
			s, err = Admit(testCondition(ToSanitize), f, testStep(&b), testNow)
			require.NoError(t, err)
			assert.True(t, s.Outcome.Accepted, "switched off")
		})
	}
}

func TestOneSideByPolicy(t *testing.T) {
	f := testFarm()
	f.Policy = setting("both-sides", true, 1, 0)
	b := goodSanitize()
	b.Sides = 1
	got, _, err := answer(testCondition(ToSanitize), f, b)
	require.NoError(t, err)
	assert.Equal(t, "airing", got)
}

func TestSeconds(t *testing.T) {
	for s, want := range map[int]string{0: "0 s", 59: "59 s", 60: "1 min", 90: "90 s", 600: "10 min"} {
		assert.Equal(t, want, Seconds(s))
	}
}

// TestOneSideWhereTheRuleIsOff: it is accepted, and the verdict says so until the
// next sanitizing.
func TestOneSideWhereTheRuleIsOff(t *testing.T) {
	w := newWalk(t, testFarm())
	w.f.Policy = setting("both-sides", false, 2, 0)
	w.do(&Add{Mat: testMat()})
	w.do(&Rinse{Debris: DebrisNone})
	w.do(&Dry{Where: DryAir})
	b := goodSanitize()
	b.Sides = 1
	w.do(b, Airing)
	w.do(&Dry{Where: DryAir}, Ready)
	f, ok := find(w.verdict(), "one-side")
	require.True(t, ok)
	assert.Equal(t, "at the last sanitizing: one side only; an incomplete step: do both sides; the farm has switched this rule off", f.Text)
	assert.Equal(t, SowWithCare, w.verdict().Word)
}
