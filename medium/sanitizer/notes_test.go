package sanitizer

import (
	"errors"
	"strings"
	"testing"

	"resow/medium"
)

func TestActivesAreTheDomains(t *testing.T) {
	if len(Actives()) != len(medium.Actives) {
		t.Errorf("%v, medium has %v", Actives(), medium.Actives)
	}
	for _, a := range Actives() {
		if _, known := medium.Actives[string(a)]; !known {
			t.Errorf("medium does not know %s", a)
		}
	}
}

func TestNotes(t *testing.T) {
	procedure := medium.Sanitizer{Name: "x", Active: "peroxide", Directions: medium.DirectionsFarm, MinPPM: 25_000, MaxPPM: 35_000, ContactS: 600, Rinse: true}
	label := medium.Sanitizer{Name: "x", Active: "quat", Directions: medium.DirectionsLabel, MinPPM: 200, MaxPPM: 400, ContactS: 60, Registration: "000-00"}
	for _, r := range []struct {
		name string
		s    medium.Sanitizer
		want []string
		not  string
	}{
		{"drugstore peroxide by a farm procedure", procedure, []string{"27 times", "not a label"}, "registration"},
		{"the stock alone tells it", medium.Sanitizer{Name: "x", Active: "peroxide", Stock: "3%"}, []string{"27 times", "No directions"}, ""},
		{"thin peroxide", medium.Sanitizer{Name: "x", Active: "peroxide", Stock: "0.1%"}, []string{"No directions"}, "27 times"},
		{"a label is the rule even above the published figure, but it is noted", label, []string{"400", "read the label again"}, "registration"},
		{"a label without a number", medium.Sanitizer{Name: "x", Active: "hypochlorite", Directions: medium.DirectionsLabel, MinPPM: 100, MaxPPM: 200}, []string{"registration number"}, "above the published"},
	} {
		text := strings.Join(Notes(r.s), " ")
		for _, want := range r.want {
			if !strings.Contains(text, want) {
				t.Errorf("%s: %q lacks %q", r.name, text, want)
			}
		}
		if r.not != "" && strings.Contains(text, r.not) {
			t.Errorf("%s: %q says %q", r.name, text, r.not)
		}
	}
}

func TestStockOfAProduct(t *testing.T) {
	s, err := StockOf(medium.Sanitizer{Name: "blue drum", Active: "hypochlorite", Stock: "5.25 %", DensityGPML: 1.08})
	if got := must(t, s, err); got != (Stock{Product: "blue drum", Active: Hypochlorite, Strength: Strength{5.25, PercentWW}, DensityGPerML: 1.08}) {
		t.Errorf("%+v", got)
	}
	ppm, err := s.PPM()
	// 5.25 % by weight * 0.9525 available chlorine * 1.08 g/mL (hand calculation)
	near(t, "its strength", must(t, ppm, err), 5.25*1e4*0.9525*1.08, 5)
	var none *NoStockError
	if _, err := StockOf(medium.Sanitizer{Name: "x", Active: "quat"}); !errors.As(err, &none) {
		t.Errorf("no stock: %v", err)
	}
	var unknown *NoDensityError
	if _, err := StockOf(medium.Sanitizer{Name: "x", Active: "quat", Stock: "10%"}); !errors.As(err, &unknown) {
		t.Errorf("no density: %v", err)
	}
}

func TestTheFarmsOwnCeiling(t *testing.T) {
	own := Use{Ceiling: Ceiling{PPM: 100, Source: "the farm's policy"}}
	var over *CeilingError
	if _, err := Dilute(bleach("5.25%"), strength(t, "150ppm"), 1000, own); !errors.As(err, &over) || over.Ceiling.PPM != 100 {
		t.Errorf("150 ppm over the farm's own 100: %v", err)
	}
	if _, err := Dilute(bleach("5.25%"), strength(t, "150ppm"), 1000, Use{}); err != nil {
		t.Error(err)
	}
}

// A person reads a tag at a glance: every caution has a short form.
func TestShortCautions(t *testing.T) {
	for _, c := range allCautions() {
		if c.Short == "" || len(c.Short) > 62 {
			t.Errorf("%s: %d characters: %q", c.Code, len(c.Short), c.Short)
		}
	}
}
