package sanitizer

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseStrength(t *testing.T) {
	for text, want := range map[string]Strength{
		"3%": {3, PercentWW}, "3%ww": {3, PercentWW}, "3 % w/w": {3, PercentWW}, "5.25%ww": {5.25, PercentWW},
		"3%wv": {3, PercentWV}, "10%trade": {10, PercentTrade}, "65%avail": {65, PercentAvail},
		"120g/L": {120, GramPerL}, "120gpl": {120, GramPerL}, "200ppm": {200, MgPerL}, "200 PPM": {200, MgPerL},
		"1100mg/L": {1100, MgPerL}, "500mg/kg": {500, MgPerKg}, "10vol": {10, Volumes}, ".5%": {0.5, PercentWW}, "3,5%": {3.5, PercentWW},
	} {
		got, err := ParseStrength(text)
		if err != nil || got != want {
			t.Errorf("%q = %v, %v; want %v", text, got, err, want)
		}
	}
}

func TestParseStrengthRefuses(t *testing.T) {
	for _, text := range []string{
		"", "3", "200", "%", "-3%", "+3%", "1e3ppm", "0%", "0ppm", "101%", "1000vol", "3 parts", "NaN%", "Inf ppm",
		"1.2.3%", ".%", "3%%", "200 ppm please", "1,000ppm", "3,5,1%", "99999999999999999999ppm",
	} {
		var bad *InputError
		if got, err := ParseStrength(text); !errors.As(err, &bad) {
			t.Errorf("%q accepted as %v", text, got)
		}
	}
	_, err := ParseStrength("200")
	if !strings.Contains(err.Error(), "200") || !strings.Contains(err.Error(), "200ppm") {
		t.Errorf("a bare number deserves its value and a way out: %v", err)
	}
}

func FuzzParseStrength(f *testing.F) {
	for _, seed := range []string{"3%", "5.25%ww", "200ppm", "10vol", "1100mg/L", "1e9%", "NaN%", " .5 % w/v", "0.000000001ppm"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := ParseStrength(text)
		if err != nil {
			return
		}
		if !(s.Value > 0) || math.IsInf(s.Value, 0) {
			t.Fatalf("%q gave %v", text, s)
		}
		back, err := ParseStrength(s.String())
		if len(s.String()) < 20 && (err != nil || back != s) {
			t.Fatalf("%q prints as %q and reads back as %v, %v", text, s.String(), back, err)
		}
		for _, a := range Actives() {
			ppm, err := s.PPM(a, 0)
			if err == nil && !(ppm >= 0 && ppm < 3e6) {
				t.Fatalf("%q of %s is %v ppm", text, a, ppm)
			}
		}
	})
}

func TestBasisMustFitTheActive(t *testing.T) {
	for _, r := range []struct {
		active Active
		text   string
	}{{Hypochlorite, "10vol"}, {Peroxide, "10%trade"}, {Quat, "5%avail"}} {
		var bad *BasisError
		if _, err := strength(t, r.text).PPM(r.active, 1); !errors.As(err, &bad) {
			t.Errorf("%s of %s: %v", r.text, r.active, err)
		}
	}
	var none *NoDensityError
	if _, err := strength(t, "10%").PPM(Quat, 0); !errors.As(err, &none) {
		t.Errorf("10 %% quat by weight needs a density, got %v", err)
	}
	ppm, err := strength(t, "10%wv").PPM(Quat, 0)
	near(t, "10 % w/v quat in ppm", must(t, ppm, err), 1e5, 1e-6)
	var outside *RangeError
	if _, err := strength(t, "90%").PPM(Peroxide, 0); !errors.As(err, &outside) {
		t.Errorf("90 %% peroxide is off the table, got %v", err)
	}
	if _, err := strength(t, "3%").PPM(Peroxide, 12); !errors.As(err, &outside) {
		t.Errorf("density 12 accepted, got %v", err)
	}
}

func basesOf(a Active) []Basis {
	list := []Basis{PercentWW, PercentWV, GramPerL, MgPerL, MgPerKg}
	if a.Chlorine() {
		list = append(list, PercentTrade, PercentAvail)
	}
	if a == Peroxide {
		list = append(list, Volumes)
	}
	return list
}

func TestConversionsInvert(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.SampledFrom(Actives()).Draw(t, "active")
		from := rapid.SampledFrom(basesOf(a)).Draw(t, "from")
		to := rapid.SampledFrom(basesOf(a)).Draw(t, "to")
		density := rapid.Float64Range(0.7, 2).Draw(t, "density")
		s := Strength{rapid.Float64Range(1e-6, 0.3).Draw(t, "share") * mostOf[from], from}
		there, err := s.Convert(to, a, density)
		if err != nil {
			t.Fatal(err)
		}
		if there.Value > mostOf[to] {
			t.Skip("no bottle is that strong")
		}
		back, err := there.Convert(from, a, density)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(back.Value-s.Value) > 1e-9*s.Value {
			t.Fatalf("%v -> %v -> %v", s, there, back)
		}
	})
}

func TestCurveInverts(t *testing.T) {
	curves := map[string]curve{"peroxide": curveOf(peroxideTable), "hypochlorite": curveOf(hypochloriteTable), "water": waterCurve,
		"light": {{0, 1 / WaterDensity20C}, {0.1, 1 / 0.8}}, "heavy": {{0, 1 / WaterDensity20C}, {0.4, 1 / 1.9}}}
	rapid.Check(t, func(t *rapid.T) {
		for name, c := range curves {
			f := rapid.Float64Range(0, 1).Draw(t, name) * c.last()
			back, err := c.fractionAt(f * c.density(f))
			if err != nil || math.Abs(back-f) > 1e-12 {
				t.Fatalf("%s: %v came back as %v, %v", name, f, back, err)
			}
		}
	})
}

// Directions of 3 % accept whatever a person can honestly call 3 %.
func TestAPercentWithoutABasisIsASpan(t *testing.T) {
	for _, k := range []struct {
		active, directions string
		least, most        float64
		same, other        []string
	}{
		{"peroxide", "3%", 30000, 30400, []string{"30000ppm", "3%", "3%wv", "3%ww", "3 % w/v", "10vol", "30g/L"}, []string{"2.9%", "3.1%", "9vol", "29000ppm"}},
		{"peroxide", "3%wv", 30000, 30000, []string{"3%wv", "30g/L"}, []string{"3%ww"}},
		{"peroxide", "6%", 60000, 61200, []string{"20vol", "6%wv", "6%ww"}, []string{"5.9%wv"}},
		{"hypochlorite", "0.02%", 190, 200, []string{"200ppm", "0.02%", "0.02%trade"}, []string{"210ppm"}},
		{"quat", "200ppm", 200, 200, []string{"200ppm"}, []string{"199ppm"}},
	} {
		least, most, err := UseRange(k.active, k.directions)
		if err != nil || least != k.least || most != k.most {
			t.Errorf("%s of %s: %v to %v, %v; want %v to %v", k.directions, k.active, least, most, err, k.least, k.most)
		}
		for i, text := range append(k.same, k.other...) {
			v, err := UsePPM(k.active, text)
			if within := v >= least && v <= most; err != nil || within != (i < len(k.same)) {
				t.Errorf("%s against directions of %s: %v, %v", text, k.directions, v, err)
			}
		}
	}
	if _, _, err := UseRange("quat", "3"); err == nil {
		t.Error("a bare number is no strength")
	}
}
