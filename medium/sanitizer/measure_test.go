package sanitizer

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestParseVolumeRefuses(t *testing.T) {
	for _, text := range []string{
		"", "2", "tbsp", "2oz", "-1gal", "0mL", "1/0 tsp", "1 3/2 tsp", "1.5 1/2 tsp", "1/2/3 cup", "1 2 tsp",
		"1e3mL", "NaN mL", "99999999999gal", "2 spoons", "1/1.5 tsp", "1.5/2 tsp", "0/4 cup",
	} {
		var bad *InputError
		if got, err := ParseVolume(text); !errors.As(err, &bad) {
			t.Errorf("%q accepted as %v", text, got)
		}
	}
}

func FuzzParseVolume(f *testing.F) {
	for _, seed := range []string{"2tbsp", "1gal", "1 1/2 tsp", "500mL", "1/0cup", "3.5 fl oz", "NaNmL", "1e300L", "9999999/1 gal"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		ml, err := ParseVolume(text)
		if err != nil {
			return
		}
		if !(ml > 0 && ml <= MaxML) {
			t.Fatalf("%q gave %v mL", text, ml)
		}
		for _, system := range []System{Metric, US} {
			rounded, words := RoundVolume(ml, system)
			if rounded < 0 || math.IsNaN(rounded) || (rounded > 0) != (words != "") {
				t.Fatalf("%v mL rounds to %v %q", ml, rounded, words)
			}
		}
	})
}

func TestRoundVolumeText(t *testing.T) {
	for _, r := range []struct {
		ml     float64
		system System
		want   string
	}{
		{2*TablespoonML + 0.5*TeaspoonML, US, "2 tbsp + 1/2 tsp"},
		{GallonML, US, "1 gal"}, {0.5 * GallonML, US, "8 cup"}, {CupML * 0.75, US, "3/4 cup"},
		{CupML + TablespoonML, US, "1 cup + 1 tbsp"}, {1.5 * TeaspoonML, US, "1 1/2 tsp"},
		{14.4, US, "2 7/8 tsp"}, {TeaspoonML / 8, US, "1/8 tsp"}, {TeaspoonML / 20, US, ""},
		{GallonML + 2.5*CupML, US, "1 gal + 3 cup"},
		{14.42, Metric, "14 mL"}, {0.42, Metric, "0.4 mL"}, {3.31, Metric, "3.4 mL"},
		{444, Metric, "440 mL"}, {3785.4, Metric, "3.8 L"}, {20_240, Metric, "20 L"}, {0.02, Metric, ""},
		{math.NaN(), US, ""}, {math.Inf(1), Metric, ""}, {-3, US, ""},
	} {
		if _, got := RoundVolume(r.ml, r.system); got != r.want {
			t.Errorf("%v mL %s = %q, want %q", r.ml, r.system, got, r.want)
		}
	}
}

// A rounded US text, read part by part, is the rounded volume: no spoon gets
// lost between the units.
func TestTextMeansTheVolume(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ml := math.Exp(rapid.Float64Range(math.Log(0.5), math.Log(1e5)).Draw(t, "log ml"))
		for _, system := range []System{Metric, US} {
			rounded, text := RoundVolume(ml, system)
			if math.Abs(rounded-ml) > MarkML(ml, system)/2*(1+1e-9) {
				t.Fatalf("%v mL rounded to %v", ml, rounded)
			}
			if rounded == 0 {
				continue
			}
			sum := 0.0
			for _, part := range splitPlus(text) {
				v, err := ParseVolume(part)
				if err != nil {
					t.Fatalf("%q: %v", text, err)
				}
				sum += v
			}
			if math.Abs(sum-rounded) > rounded*2e-3 {
				t.Fatalf("%q is %v mL, not %v", text, sum, rounded)
			}
			if system == US && math.Abs(sum-rounded) > 1e-6 {
				t.Fatalf("%q is %v mL, not %v", text, sum, rounded)
			}
		}
	})
}
