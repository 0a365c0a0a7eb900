package farm

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"resow/medium"
)

func field(t *testing.T, k medium.Kind, name string) medium.Field {
	row, ok := medium.KindNamed(k)
	require.True(t, ok)
	f, ok := row.Field(name)
	require.True(t, ok, "%s %s", k, name)
	return f
}

// TestFieldsAreRead: what a person says of a field, on a face that shows the unit
// beside it and on one that does not.
func TestFieldsAreRead(t *testing.T) {
	us := medium.Farm{Settings: medium.FarmSettings{Units: medium.US}}
	metric := medium.Farm{Sanitizers: []medium.Sanitizer{{Name: "drum", Active: "hypochlorite"}}}
	for _, k := range []struct {
		kind       medium.Kind
		name, said string
		reader     Reader
		want       any // nil: refused
	}{
		{medium.KindMist, "water", "200mL", Reader{}, 200.0},
		{medium.KindMist, "water", "200", Reader{}, nil},
		{medium.KindMist, "water", "200", Reader{Beside: true}, 200.0},
		// US fluid ounce: NIST Handbook 44, appendix C.
		{medium.KindMist, "water", "1", Reader{Beside: true, Farm: us}, 29.5735295625},
		{medium.KindMist, "water", "200mL", Reader{Beside: true, Farm: us}, 200.0},
		// Ounce: 28.349523125 g, NIST Handbook 44, appendix C.
		{medium.KindHarvest, "yield", "11oz", Reader{}, 11 * 28.349523125},
		{medium.KindHarvest, "cut_height", "1", Reader{Beside: true, Farm: us}, 25.4},
		{medium.KindInspect, "aperture", "0.5", Reader{Beside: true, Farm: us}, 0.5}, // an opening is in mm everywhere
		{medium.KindInspect, "holes", "2", Reader{}, 2.0},
		{medium.KindInspect, "holes", "2.5", Reader{}, nil},
		{medium.KindSanitize, "contact", "2", Reader{Beside: true}, 120.0},
		{medium.KindSanitize, "contact", "2", Reader{}, nil},
		{medium.KindDry, "for", "3", Reader{Beside: true}, 10800.0},
		{medium.KindSanitize, "temp", "68F", Reader{}, 20.0},
		{medium.KindSanitize, "ph", "7.2", Reader{}, 7.2},
		{medium.KindSanitize, "sides", "Both", Reader{}, "both"},
		{medium.KindSanitize, "sides", "2", Reader{}, nil},
		{medium.KindSanitize, "active", "bleach", Reader{}, "hypochlorite"},
		{medium.KindSanitize, "strength", "100ppm", Reader{Farm: metric}, 100.0},
		{medium.KindMold, "share", "5%", Reader{}, 5.0},
		{medium.KindMold, "area", "20x10mm", Reader{}, 200.0},
		{medium.KindTrim, "size", "250x240mm", Reader{}, medium.Size{LengthMM: 250, WidthMM: 240}},
		{medium.KindRelabel, "mark", " two notches ", Reader{}, "two notches"},
	} {
		f := field(t, k.kind, k.name)
		row, _ := medium.KindNamed(k.kind)
		b := row.New()
		err := k.reader.set(b, f, k.said)
		if k.want == nil {
			assert.Error(t, err, "%s %s %q", k.kind, k.name, k.said)
			continue
		}
		require.NoError(t, err, "%s %s %q", k.kind, k.name, k.said)
		got, said := f.Value(b)
		assert.True(t, said)
		if v, ok := k.want.(float64); ok {
			assert.InDelta(t, v, got, v*1e-9, "%s %s %q", k.kind, k.name, k.said)
		} else {
			assert.Equal(t, k.want, got)
		}
	}
}

// TestWhatIsSaidTogether: what a step says only with another field, and what it does
// not know.
func TestWhatIsSaidTogether(t *testing.T) {
	f := medium.Farm{Sanitizers: []medium.Sanitizer{{Name: "drum", Active: "hypochlorite"}}}
	at := time.Date(2026, 6, 21, 14, 0, 0, 0, time.UTC)
	for _, k := range []struct {
		kind medium.Kind
		said map[string]string
		want string // of the error; empty: taken
	}{
		{medium.KindMist, map[string]string{"wasser": "1L"}, `field of a mist step "wasser": want one that it has`},
		{medium.KindAdd, nil, "want a step that is recorded by its fields"},
		{medium.KindSow, map[string]string{"crop": "kale", "seed": "12g"}, ""},
		{medium.KindSow, map[string]string{"crop": "kale, radish", "seed": "12g"}, "nothing for a mix"},
		{medium.KindSow, map[string]string{"crop": "kale=3g", "seed": "12g"}, "nothing for a mix"},
		{medium.KindSwab, map[string]string{"test": "ATP"}, "pass or fail"},
		{medium.KindSwab, map[string]string{"test": "ATP", "reading": "31", "limit": "30"}, ""},
		{medium.KindDry, map[string]string{"where": "sun"}, "how long"},
		{medium.KindDry, map[string]string{"where": "air", "uv": "6"}, "want the sun"},
		{medium.KindDry, map[string]string{"where": "sun", "for": "3h", "sky": "broken"}, "place on file"},
		{medium.KindSanitize, map[string]string{"product": "barrel", "strength": "100ppm"}, "barrel"},
		{medium.KindSanitize, map[string]string{"product": "drum"}, "how strong"},
		{medium.KindSanitize, map[string]string{"product": "drum", "solution": "BF8EKX8R"}, ""},
		{medium.KindMold, map[string]string{"where": "edge", "share": "a lot"}, ""},
		{medium.KindMold, map[string]string{"where": "edge", "share": "5%", "area": "large"}, ""},
	} {
		_, err := Reader{Farm: f, At: at}.Body(k.kind, k.said)
		if k.want == "" {
			assert.NoError(t, err, "%v", k.said)
		} else {
			assert.ErrorContains(t, err, k.want, "%v", k.said)
		}
	}
	b, err := Reader{}.Body(medium.KindSwab, map[string]string{"test": "ATP", "reading": "31", "limit": "30"})
	require.NoError(t, err)
	require.False(t, b.(*medium.Swab).Pass, "over the limit")
	b, err = Reader{}.Body(medium.KindMold, map[string]string{"where": "edge", "share": "a lot"})
	require.NoError(t, err)
	require.Equal(t, "edge, share a lot", b.(*medium.Mold).Where)
	for said, want := range map[*map[string]string]medium.Body{
		{"length": "huge", "where": "middle"}: &medium.Cut{LengthMM: 5000,
			Where: "middle, cut length huge"},
		{"test": "ATP", "result": "fail", "reading": "-5"}: &medium.Swab{Test: "ATP, reading -5"},
		{"mold": "yes", "holes": "a few", "aperture": "wide"}: &medium.Inspect{Mold: true,
			Note: "holes a few, aperture wide"},
		{"where": "edge", "share": "200%", "area": "5", "treated": "cut"}: &medium.Mold{Where: "edge, share 200%, area 5",
			Treated: "cut"},
	} {
		b, err := Reader{}.Body(medium.KindOf(want), *said)
		require.NoError(t, err)
		require.Equal(t, want, b)
	}
	_, err = Reader{}.Body(medium.KindInspect, map[string]string{"holes": "a few"})
	require.Error(t, err, "no danger")
	for _, said := range []map[string]string{
		{"test": "ATP", "reading": "eighty", "limit": "30"},
		{"test": "ATP", "reading": "8", "limit": "thirty"},
		{"test": "ATP", "reading": "1e400", "limit": "30", "unit": "RLU"},
	} {
		_, err = Reader{}.Body(medium.KindSwab, said)
		require.Error(t, err, "%v: neither a pass nor a failure", said)
	}
}

// TestTheSunOfADrying: by place and time where they are known, by a forecast where
// one is said, and by the hours alone otherwise; the sun's height is not checked here
// (see medium/sunlight), but that more cloud gives less.
func TestTheSunOfADrying(t *testing.T) {
	lat, lon := 53.3, -6.3
	f := medium.Farm{Settings: medium.FarmSettings{Lat: &lat, Lon: &lon}}
	at := time.Date(2026, 6, 21, 14, 0, 0, 0, time.UTC)
	dry := func(r Reader, said map[string]string) *medium.Dry {
		said["where"], said["for"] = "sun", "3h"
		b, err := r.Body(medium.KindDry, said)
		require.NoError(t, err)
		return b.(*medium.Dry)
	}
	clear := dry(Reader{Farm: f, At: at}, map[string]string{})
	broken := dry(Reader{Farm: f, At: at}, map[string]string{"sky": "broken"})
	require.Greater(t, clear.KLy, broken.KLy)
	require.Greater(t, broken.KLy, 0.0)
	forecast := dry(Reader{Farm: f, At: at}, map[string]string{"uv": "6"})
	require.Equal(t, 6.0, forecast.UVIndex)
	require.Equal(t, clear.KLy, forecast.KLy, "a forecast says nothing of the total sun")
	require.Zero(t, dry(Reader{At: at}, map[string]string{}).KLy)
	_, err := Reader{Farm: f, At: time.Date(2026, 12, 21, 4, 0, 0, 0, time.UTC)}.Body(medium.KindDry,
		map[string]string{"where": "sun", "for": "3h"})
	require.ErrorContains(t, err, "hours of daylight")
}

// FuzzCrops: a mix that can be read is written so that it reads back as it was.
func FuzzCrops(f *testing.F) {
	for _, said := range []string{"radish", "broccoli=18g, radish=10g", "broccoli 18 g + radish 10 g", "pea; kale=1oz",
		"a=", ",", "=3g"} {
		f.Add(said)
	}
	crop := field(&testing.T{}, medium.KindSow, "crop")
	f.Fuzz(func(t *testing.T, said string) {
		crops, err := Crops(said)
		if err != nil {
			return
		}
		for i, c := range crops {
			crops[i].SeedG = math.Round(c.SeedG*1000) / 1000
			if strings.ContainsAny(c.Crop, "=") || c.Crop == "" {
				t.Fatalf("%q: crop %q", said, c.Crop)
			}
			if words := strings.Fields(c.Crop); len(words) > 1 || c.SeedG > 1e5 || strings.Join(words, " ") != c.Crop {
				return // a name that itself ends in a mass reads otherwise, and is no crop's
			}
		}
		again, err := Crops(Says(crop, crops))
		if err != nil || len(again) != len(crops) {
			t.Fatalf("%q: %v, then %v, %v", said, crops, again, err)
		}
		for i := range again {
			if again[i].Crop != crops[i].Crop || math.Abs(again[i].SeedG-crops[i].SeedG) > 1e-9 {
				t.Fatalf("%q: %v, then %v", said, crops, again)
			}
		}
	})
}

// TestEveryActionHasAFace: a card without a word is a card that nobody can use.
func TestEveryActionHasAFace(t *testing.T) {
	steers := map[medium.Action]bool{medium.ActSame: true, medium.ActEnd: true, medium.ActUndo: true, medium.ActConfirm: true}
	for _, a := range medium.Actions {
		face := FaceOf(a)
		require.NotContains(t, face.Detail, " .", a)
		require.NotEmpty(t, face.Detail, a)
		require.Equal(t, a != medium.ActOperator && !steers[a], face.Done != "", a)
		require.Equal(t, a == medium.ActOperator, face.Word == "", "%s: an operator's card has initials", a)
	}
}
