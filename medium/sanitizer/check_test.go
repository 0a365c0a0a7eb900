package sanitizer

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// label is a plausible bleach label for food-contact surfaces.
func label() *Directions {
	return &Directions{Kind: KindLabel, StrengthPPM: Window{100, 200}, ContactS: 120, TempC: Window{13, 49}, PH: Window{6, 8},
		GoodMixedH: 24, GoodOpenedDays: 90, Registration: "000-00", WrittenBy: "AB"}
}

// good is a step that meets the label.
func good() Applied {
	return Applied{StrengthPPM: Window{150, 150}, ContactS: 120, TempC: Read(20), PH: Read(7), Sides: 2,
		AgeH: Read(2), Cleaned: Yes, Debris: No}
}

func TestGoodStepHasNoFindings(t *testing.T) {
	if list := CheckStep(Hypochlorite, label(), good(), Limits{}); len(list) != 0 {
		t.Errorf("a good step: %+v", list)
	}
}

func TestEachFailureIsOneFinding(t *testing.T) {
	farm := func(d *Directions) { d.Kind = KindFarm }
	for _, r := range []struct {
		rule   string
		step   func(*Applied)
		paper  func(*Directions)
		limits Limits
		figure string
		text   string // a figure or word that the person needs
	}{
		{"strength-low", func(a *Applied) { a.StrengthPPM, a.TempC = Window{60, 60}, Read(25) }, nil, Limits{}, "label_min_ppm", "60 mg/L"},
		{"contact-short", func(a *Applied) { a.ContactS = 45 }, nil, Limits{}, "label_contact_s", "75 s short"},
		{"one-side", func(a *Applied) { a.Sides = 1 }, nil, Limits{}, "sides", "1 of 2"},
		{"temperature", func(a *Applied) { a.TempC = Read(52) }, func(d *Directions) { d.TempC.Max = 49 }, Limits{}, "measured", "52"},
		{"temperature-missing", func(a *Applied) { a.TempC = Reading{} }, nil, Limits{NeedTemp: true}, "label_min", "13 to 49 C"},
		{"ph", func(a *Applied) { a.PH = Read(7.9) }, func(d *Directions) { d.PH = Window{6, 7.5} }, Limits{}, "measured", "7.9"},
		{"ph-missing", func(a *Applied) { a.PH = Reading{} }, nil, Limits{NeedPH: true}, "label_min", "6 to 8"},
		{"rinse-missing", nil, func(d *Directions) { d.RinseRequired = true }, Limits{}, "", "potable"},
		{"solution-age", func(a *Applied) { a.AgeH = Read(30) }, nil, Limits{}, "age_h", "30 hours"},
		{"solution-age", func(a *Applied) { a.AgeH = Read(30) }, func(d *Directions) { d.GoodMixedH = 0 }, Limits{MaxAgeH: 8}, "max_age_h", "good for 8"},
		{"solution-age-missing", func(a *Applied) { a.AgeH = Reading{} }, nil, Limits{}, "max_age_h", "24"},
		{"not-cleaned", func(a *Applied) { a.Cleaned = No }, nil, Limits{}, "", "washed"},
		{"not-cleaned", func(a *Applied) { a.Cleaned = Unknown }, nil, Limits{}, "", "washed"},
		{"debris", func(a *Applied) { a.Debris = Yes }, nil, Limits{}, "", "Roots"},
		{"not-dried", func(a *Applied) { a.FinalDry = No }, nil, Limits{}, "", "dried"},
		{"farm-procedure", nil, farm, Limits{}, "", "labelled products only"},
	} {
		step, d := good(), label()
		if r.step != nil {
			r.step(&step)
		}
		if r.paper != nil {
			r.paper(d)
		}
		list := CheckStep(Hypochlorite, d, step, r.limits)
		if len(list) != 1 || list[0].Rule != r.rule || list[0].Severity != Fail {
			t.Errorf("%s: %+v", r.rule, list)
			continue
		}
		f := list[0]
		if _, has := f.Figures[r.figure]; r.figure != "" && !has {
			t.Errorf("%s: figure %q is missing in %v", r.rule, r.figure, f.Figures)
		}
		if !strings.Contains(f.Text, r.text) || f.Source == "" {
			t.Errorf("%s: %q from %q", r.rule, f.Text, f.Source)
		}
	}
}

func TestStrengthAboveLabel(t *testing.T) {
	step := good()
	step.StrengthPPM = Window{300, 300}
	got := rules(CheckStep(Hypochlorite, label(), step, Limits{}))
	if !slices.Contains(got, "strength-high") || !slices.Contains(got, "ceiling-no-rinse") {
		t.Errorf("300 ppm unrinsed: %v", got)
	}
	step.Rinsed = Yes
	got = rules(CheckStep(Hypochlorite, label(), step, Limits{}))
	if !slices.Contains(got, "strength-high") || slices.Contains(got, "ceiling-no-rinse") {
		t.Errorf("300 ppm rinsed: %v", got)
	}
}

func TestNoDirectionsAlwaysFails(t *testing.T) {
	list := CheckStep(Peroxide, nil, good(), Limits{AllowFarm: true})
	if !slices.Equal(rules(list), []string{"no-directions"}) || !Failed(list) {
		t.Errorf("no directions: %+v", list)
	}
}

func TestFarmProcedureWithDrugstorePeroxide(t *testing.T) {
	d := &Directions{Kind: KindFarm, StrengthPPM: Window{25_000, 35_000}, ContactS: 600, RinseRequired: true, WrittenBy: "AB"}
	if err := d.Validate(Peroxide); err != nil {
		t.Fatal(err)
	}
	step := Applied{StrengthPPM: Window{30_283, 30_283}, ContactS: 600, Sides: 2, Rinsed: Yes, Cleaned: Yes}
	list := CheckStep(Peroxide, d, step, Limits{AllowFarm: true})
	if Failed(list) || !slices.Equal(rules(list), []string{"farm-procedure"}) {
		t.Errorf("rinsed farm procedure: %+v", list)
	}
	step.Rinsed = Unknown
	got := rules(CheckStep(Peroxide, d, step, Limits{AllowFarm: true}))
	if !slices.Contains(got, "rinse-missing") || !slices.Contains(got, "ceiling-no-rinse") {
		t.Errorf("unrinsed farm procedure: %v", got)
	}
	if notes := strings.Join(d.Notes(Peroxide), " "); !strings.Contains(notes, "27 times") || !strings.Contains(notes, "not a label") {
		t.Errorf("notes: %s", notes)
	}
}

func TestStripUncertainty(t *testing.T) {
	step := good()
	step.TempC = Read(49) // warm enough for any strength of the retail table
	// Blocks 50 apart, label 100 to 200: 100 may be 75.
	step.StrengthPPM = StripInterval(100, 50)
	list := CheckStep(Hypochlorite, label(), step, Limits{})
	if Failed(list) || !slices.Equal(rules(list), []string{"strength-unsure"}) {
		t.Errorf("reading at the edge: %+v", list)
	}
	step.StrengthPPM = StripInterval(50, 50)
	if list = CheckStep(Hypochlorite, label(), step, Limits{}); !slices.Equal(rules(list), []string{"strength-low"}) {
		t.Errorf("below even at the upper edge: %+v", list)
	}
	if w := StripInterval(10, 50); w.Min != 0 {
		t.Errorf("a strip below zero: %v", w)
	}
}

func TestChlorineFindings(t *testing.T) {
	d := label()
	d.PH, d.TempC = Window{}, Window{}
	step := good()
	for _, r := range []struct {
		ph, temp float64
		want     []string
	}{
		{7, 20, []string{}}, {8.5, 20, []string{"ph-high"}}, {5.5, 20, []string{"ph-low"}},
		{7, 10, []string{"chlorine-cold"}}, {10.5, 20, []string{"ph-high", "chlorine-table"}}, {99, 20, []string{"chlorine-reading"}},
	} {
		step.PH, step.TempC = Read(r.ph), Read(r.temp)
		if got := rules(CheckStep(Hypochlorite, d, step, Limits{})); !slices.Equal(got, r.want) {
			t.Errorf("pH %v at %v C: %v, want %v", r.ph, r.temp, got, r.want)
		}
	}
}

// No text may lead a person to pour acid into chlorine.
func TestNobodyIsToldToAcidify(t *testing.T) {
	for ph := 0.0; ph <= 14; ph += 0.25 {
		list, err := ChlorineWarnings(ph, 20)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range list {
			if !strings.Contains(f.Text, "Do not add acid") {
				t.Errorf("pH %v: %q", ph, f.Text)
			}
			for _, bad := range []string{"lower the pH", "acidify", "add vinegar"} {
				if strings.Contains(f.Text, bad) {
					t.Errorf("pH %v says %q", ph, bad)
				}
			}
		}
	}
}

func TestNonsenseFiguresNeverPass(t *testing.T) {
	nan := math.NaN()
	for name, spoil := range map[string]func(*Applied){
		"strength": func(a *Applied) { a.StrengthPPM = Window{nan, nan} },
		"infinite": func(a *Applied) { a.StrengthPPM = Window{150, math.Inf(1)} },
		"contact":  func(a *Applied) { a.ContactS = nan },
		"temp":     func(a *Applied) { a.TempC = Read(nan) },
		"ph":       func(a *Applied) { a.PH = Read(nan) },
		"age":      func(a *Applied) { a.AgeH = Read(nan) },
		"sides":    func(a *Applied) { a.Sides = -2 },
	} {
		step := good()
		spoil(&step)
		if !Failed(CheckStep(Hypochlorite, label(), step, Limits{})) {
			t.Errorf("%s of NaN passes", name)
		}
	}
}

// Wetting longer, at the same strength, never turns a good step bad.
func TestLongerContactNeverFails(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := good()
		step.ContactS = rapid.Float64Range(120, 7200).Draw(t, "contact")
		step.StrengthPPM = Window{rapid.Float64Range(100, 200).Draw(t, "ppm"), 200}
		if Failed(CheckStep(Hypochlorite, label(), step, Limits{})) {
			t.Fatalf("%+v fails", step)
		}
	})
}

func TestDirectionsValidate(t *testing.T) {
	if err := label().Validate(Hypochlorite); err != nil {
		t.Fatal(err)
	}
	nan := math.NaN()
	for name, spoil := range map[string]func(*Directions){
		"kind":            func(d *Directions) { d.Kind = "hearsay" },
		"farm, no author": func(d *Directions) { d.Kind, d.WrittenBy = KindFarm, " " },
		"farm, over the ceiling, no rinse": func(d *Directions) {
			d.Kind, d.StrengthPPM.Max = KindFarm, 400
		},
		"strength backwards": func(d *Directions) { d.StrengthPPM = Window{200, 100} },
		"strength zero":      func(d *Directions) { d.StrengthPPM = Window{} },
		"strength NaN":       func(d *Directions) { d.StrengthPPM = Window{nan, nan} },
		"contact zero":       func(d *Directions) { d.ContactS = 0 },
		"contact in days":    func(d *Directions) { d.ContactS = 86_400 },
		"temperature":        func(d *Directions) { d.TempC = Window{120, 55} },
		"pH":                 func(d *Directions) { d.PH = Window{7, 15} },
		"mixed":              func(d *Directions) { d.GoodMixedH = -1 },
		"opened":             func(d *Directions) { d.GoodOpenedDays = nan },
	} {
		d := label()
		spoil(d)
		if err := d.Validate(Hypochlorite); err == nil {
			t.Errorf("%s accepted", name)
		}
	}
	d := label()
	d.StrengthPPM.Max = 400
	if err := d.Validate(Quat); err != nil {
		t.Errorf("a label is the rule even above the published figure: %v", err)
	}
	if notes := strings.Join(d.Notes(Quat), " "); !strings.Contains(notes, "400") {
		t.Errorf("but it is noted: %q", notes)
	}
}

var noon = time.Date(2026, 5, 4, 12, 0, 0, 0, time.UTC)

func batchAt(made time.Time) Solution {
	return Solution{Code: "S1", Product: "bleach", Active: Hypochlorite, ComputedPPM: 150, MeasuredPPM: 150, Measured: true, StripStepPPM: 50,
		MadeAt: made, GoodUntil: GoodUntil(made, time.Time{}, *label())}
}

func TestGoodUntil(t *testing.T) {
	d := *label() // 24 h after mixing, 90 days after opening
	if got := GoodUntil(noon, time.Time{}, d); !got.Equal(noon.Add(24 * time.Hour)) {
		t.Errorf("after mixing: %v", got)
	}
	opened := noon.Add(-90*24*time.Hour + time.Hour)
	if got := GoodUntil(noon, opened, d); !got.Equal(noon.Add(time.Hour)) {
		t.Errorf("old bottle: %v", got)
	}
	if got := GoodUntil(noon, opened, Directions{}); !got.IsZero() {
		t.Errorf("nothing stated: %v", got)
	}
}

func TestSolutionCheck(t *testing.T) {
	strict := SolutionRules{NeedStrip: true, MaxAgeH: 8, MaxGapPercent: 20}
	for _, r := range []struct {
		name  string
		spoil func(*Solution)
		at    time.Duration
		want  []string
		fails bool
	}{
		{"fresh", nil, time.Hour, []string{}, false},
		{"expired", nil, 25 * time.Hour, []string{"solution-expired"}, true},
		{"last minute", nil, 24 * time.Hour, []string{}, false},
		{"farm age", func(s *Solution) { s.GoodUntil = time.Time{} }, 9 * time.Hour, []string{"solution-age"}, true},
		{"future", nil, -time.Hour, []string{"solution-future"}, true},
		{"never measured", func(s *Solution) { s.Measured = false }, 0, []string{"solution-unmeasured"}, true},
		{"weak", func(s *Solution) { s.MeasuredPPM = 50 }, 0, []string{"strip-differs", "strength-low"}, true},
		{"dead", func(s *Solution) { s.MeasuredPPM, s.StripStepPPM = 0, 10 }, 0, []string{"strip-differs", "strength-low"}, true},
		{"strong", func(s *Solution) { s.MeasuredPPM = 400 }, 0, []string{"strip-differs", "strength-high"}, true},
		{"on the edge", func(s *Solution) { s.MeasuredPPM, s.ComputedPPM = 200, 200 }, 0, []string{"strength-unsure"}, false},
		{"no number", func(s *Solution) { s.MeasuredPPM, s.ComputedPPM = math.NaN(), 0 }, 0, []string{"strength-low"}, true},
	} {
		s := batchAt(noon)
		if r.spoil != nil {
			r.spoil(&s)
		}
		list := s.Check(noon.Add(r.at), label(), strict)
		if !slices.Equal(rules(list), r.want) || Failed(list) != r.fails {
			t.Errorf("%s: %+v, want %v", r.name, list, r.want)
		}
	}
	s := batchAt(noon)
	s.Measured = false
	if list := s.Check(noon, label(), SolutionRules{}); Failed(list) || len(list) != 1 {
		t.Errorf("a lenient policy only takes note: %+v", list)
	}
	if list := s.Check(noon, nil, strict); !slices.Contains(rules(list), "no-directions") {
		t.Errorf("no directions: %+v", list)
	}
}
