package sanitizer

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestTonightSprayed(t *testing.T) {
	mats := []MatArea{
		{"M1", "bleach", 0.125, 2, 120}, {"M2", "bleach", 0.125, 2, 120}, {"M3", "peroxide", 0.125, 2, 600}, {"M4", "bleach", 0.25, 1, 60},
	}
	lines, err := Tonight(mats, BenchSetup{SprayMLPerM2: 200, MarginPercent: 10, BottleML: 100, HandlingS: 30})
	if err != nil {
		t.Fatal(err)
	}
	if len(lines) != 2 || lines[0].Product != "bleach" || len(lines[0].Mats) != 3 {
		t.Fatalf("%+v", lines)
	}
	near(t, "area", lines[0].AreaM2, 0.75, 1e-12)
	near(t, "need", lines[0].NeedML, 150, 1e-9)
	near(t, "make", lines[0].MakeML, 165, 1e-9)
	near(t, "bottles", float64(lines[0].Bottles), 2, 0)
	near(t, "minutes", lines[0].Minutes, (3*30+120)/60.0, 1e-12)
	near(t, "peroxide minutes", lines[1].Minutes, (30+600)/60.0, 1e-12)
}

func TestTonightDipped(t *testing.T) {
	mats := []MatArea{}
	for range 7 {
		mats = append(mats, MatArea{"M", "quat", 0.1, 2, 60})
	}
	lines, err := Tonight(mats, BenchSetup{DipML: 20_000, DipMats: 3, HandlingS: 10})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "bath", lines[0].MakeML, 20_000, 0)
	near(t, "three loads", lines[0].Minutes, (70+3*60)/60.0, 1e-12)
}

func TestTonightRefuses(t *testing.T) {
	ok := BenchSetup{SprayMLPerM2: 200}
	mat := MatArea{"M1", "bleach", 0.125, 2, 60}
	nan := math.NaN()
	with := func(change func(*MatArea, *BenchSetup)) error {
		m, s := mat, ok
		change(&m, &s)
		_, err := Tonight([]MatArea{m}, s)
		return err
	}
	for name, change := range map[string]func(*MatArea, *BenchSetup){
		"area":      func(m *MatArea, _ *BenchSetup) { m.AreaM2 = nan },
		"sides":     func(m *MatArea, _ *BenchSetup) { m.Sides = 3 },
		"contact":   func(m *MatArea, _ *BenchSetup) { m.ContactS = math.Inf(1) },
		"rate":      func(_ *MatArea, s *BenchSetup) { s.SprayMLPerM2 = 0 },
		"dip mats":  func(_ *MatArea, s *BenchSetup) { s.DipML = 1000 },
		"dip":       func(_ *MatArea, s *BenchSetup) { s.DipML, s.DipMats = nan, 1 },
		"margin":    func(_ *MatArea, s *BenchSetup) { s.MarginPercent = -1 },
		"bottle":    func(_ *MatArea, s *BenchSetup) { s.BottleML = nan },
		"handling":  func(_ *MatArea, s *BenchSetup) { s.HandlingS = nan },
		"bottle 1e": func(_ *MatArea, s *BenchSetup) { s.BottleML = 1e-9 },
	} {
		var bad *AmountError
		if err := with(change); !errors.As(err, &bad) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if lines, err := Tonight(nil, ok); err != nil || len(lines) != 0 {
		t.Errorf("nothing to do: %v %v", lines, err)
	}
}

func TestTonightLosesNoMat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mats := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) MatArea {
			return MatArea{
				Code: "M", Product: rapid.SampledFrom([]string{"", "a", "b"}).Draw(t, "product"),
				AreaM2: rapid.Float64Range(0.01, 2).Draw(t, "area"), Sides: rapid.IntRange(1, 2).Draw(t, "sides"), ContactS: 60,
			}
		}), 0, 40).Draw(t, "mats")
		lines, err := Tonight(mats, BenchSetup{SprayMLPerM2: 150, MarginPercent: 5, BottleML: 500})
		if err != nil {
			t.Fatal(err)
		}
		count, area, want := 0, 0.0, 0.0
		for _, l := range lines {
			count += len(l.Mats)
			area += l.AreaM2
			if float64(l.Bottles)*500 < l.MakeML {
				t.Fatalf("bottles too few: %+v", l)
			}
		}
		for _, m := range mats {
			want += m.AreaM2 * float64(m.Sides)
		}
		if count != len(mats) || math.Abs(area-want) > 1e-9 {
			t.Fatalf("%d mats and %v m2 of %d and %v", count, area, len(mats), want)
		}
	})
}

func codes(list []Caution) string {
	names := []string{}
	for _, c := range list {
		names = append(names, c.Code)
	}
	return strings.Join(names, " ")
}

func TestCautionsByActiveAndStrength(t *testing.T) {
	for _, r := range []struct {
		work      Work
		has, lack string
	}{
		{Work{Active: Peroxide, StockPPM: 396_000, UsePPM: 30_000}, "strong-peroxide", "no-acid-no-ammonia"},
		{Work{Active: Peroxide, StockPPM: 30_000, UsePPM: 1000}, "no-vinegar", "strong-peroxide"},
		{Work{Active: Peroxide, StockPPM: 30_000, UsePPM: 1000}, "peroxide-air", "misting"},
		{Work{Active: Hypochlorite, StockPPM: 54_000, UsePPM: 200}, "strong-chlorine", "no-vinegar"},
		{Work{Active: Hypochlorite, UsePPM: 200}, "no-acid-no-ammonia", "strong-chlorine"},
		{Work{Active: Hypochlorite, UsePPM: 200, Misting: true}, "misting", "water-first"},
		{Work{Active: PeroxyaceticAcid, StockPPM: 50_000}, "paa", "quat"},
		{Work{Active: Other, UsePPM: 1}, "label", "misting"},
	} {
		got := codes(Cautions(r.work))
		if !strings.Contains(got, r.has) || strings.Contains(got, r.lack) {
			t.Errorf("%+v: %s; want %s and no %s", r.work, got, r.has, r.lack)
		}
		if !strings.HasSuffix(got, "label") {
			t.Errorf("%+v does not end with the label: %s", r.work, got)
		}
	}
}

func TestEveryCautionHasASource(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range allCautions() {
		if c.Code == "" || c.Text == "" || c.Source == "" || seen[c.Code] {
			t.Errorf("caution %+v", c)
		}
		seen[c.Code] = true
		if strings.Contains(c.Text, " safe") {
			t.Errorf("%s says safe", c.Code)
		}
	}
	for _, a := range Actives() {
		for _, c := range Cautions(Work{Active: a, StockPPM: 4e5, Misting: true}) {
			if !seen[c.Code] {
				t.Errorf("%s is not in allCautions", c.Code)
			}
		}
	}
}

func TestActives(t *testing.T) {
	for text, want := range map[string]Active{"peroxide": Peroxide, " Bleach ": Hypochlorite, "PAA": PeroxyaceticAcid, "other": Other, "calcium-hypochlorite": CalciumHypochlorite} {
		if got, err := ParseActive(text); err != nil || got != want {
			t.Errorf("%q = %v, %v", text, got, err)
		}
	}
	var unknown *UnknownActiveError
	if _, err := ParseActive("vodka"); !errors.As(err, &unknown) || !strings.Contains(err.Error(), "peroxyacetic") {
		t.Errorf("vodka: %v", err)
	}
	if len(Actives()) != len(facts) {
		t.Error("an active is not listed")
	}
	for _, a := range Actives() {
		if a.Title() == "" || a.CountedAs() == "" || a.countedShare() <= 0 {
			t.Errorf("%s lacks facts", a)
		}
	}
	if words := strings.Join(Hypochlorite.NeverWith(), "; "); !strings.Contains(words, "ammonia") || !strings.Contains(words, "acid") {
		t.Errorf("bleach never with: %s", words)
	}
}
