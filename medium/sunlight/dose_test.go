package sunlight

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestUVIndexFormula(t *testing.T) {
	for _, c := range []struct {
		zenith, ozone, want, tol float64
		source                   string
	}{
		{0, 300, 12.5, 1e-9, "Madronich 2007, overhead sun at 300 DU is the constant itself"},
		{30, 300, 8.825, 6e-4, "hand calculation 12.5*0.866025^2.42"},
		{50, 300, 4.290, 6e-4, "hand calculation 12.5*0.642788^2.42"},
		{60, 300, 2.336, 6e-4, "hand calculation 12.5*0.5^2.42"},
		{70, 300, 0.932, 6e-4, "hand calculation 12.5*0.342020^2.42"},
		{0, 250, 15.64, 6e-3, "hand calculation 12.5*(250/300)^-1.23"},
		{0, 350, 10.34, 6e-3, "hand calculation 12.5*(350/300)^-1.23"},
		{90.0001, 300, 0, 0, "sun below the horizon"},
		{180, 300, 0, 0, "sun below the horizon"},
	} {
		got, err := ClearSkyUVIndex(c.zenith, c.ozone)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.source, got, c.want, c.tol)
	}
}

func TestUVDefinitions(t *testing.T) {
	// SMHI STRANG, units conversion: 75 mW/m2 is index 3; 1 SED is 100 J/m2;
	// their 2.5 MED of 210 J/m2 is 0.1458 Wh/m2 (four printed digits).
	near(t, "75 mW/m2 as index", 0.075/WattPerUVIndex, 3, 1e-12)
	d, err := DoseFromForecast(3, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "index 3 for an hour in J/m2", d.ErythemalJPerM2, 0.075*3600, 1e-9)
	near(t, "the same in SED", d.SED, 2.7, 1e-12)
	near(t, "2.5 MED in Wh/m2", 2.5*210/3600, 0.1458, 5e-5)
	// and that dose is reached at index 3 after 0.1458/0.075 hours
	d, _ = DoseFromForecast(3, 0.1458/0.075)
	near(t, "2.5 MED at index 3", d.ErythemalJPerM2, 2.5*210, 0.5)
}

func TestBands(t *testing.T) {
	// WHO/SDE/OEH/02.2: 0-2, 3-5, 6-7, 8-10, 11+
	for index, want := range map[float64]string{0: "low", 2.4: "low", 2.5: "moderate", 5: "moderate", 6: "high", 7.4: "high", 8: "very high", 10.4: "very high", 11: "extreme", 20: "extreme", -3: ""} {
		if got := Band(index); got != want {
			t.Errorf("band of %v = %q, want %q", index, got, want)
		}
	}
	if Band(math.NaN()) != "" {
		t.Error("NaN has a band")
	}
}

func TestTotalSun(t *testing.T) {
	// test_haurwitz of the public pvlib project
	for elevation, want := range map[float64]float64{-20: 0, -0.05: 0, -0.001: 0, 5: 48.6298687941956, 10: 135.741748091813, 30: 487.894132885425, 50: 778.766689344363, 90: 1035.09203253450} {
		near(t, "total sun", ClearSkyTotalW(elevation), want, 1e-9)
	}
	// Definition: 1 kLy = 1000 cal/cm2 = 41.84 MJ/m2.
	near(t, "kLy definition", MJPerKLy, 1000*4.184*1e4/1e6, 1e-9)
}

func TestCloudFactors(t *testing.T) {
	// EPA, Calculating the UV Index, as quoted by others
	for sky, want := range map[Sky]float64{Clear: 1, Scattered: 0.89, Broken: 0.73, Overcast: 0.31} {
		near(t, string(sky), sky.UVFactor(), want, 0)
	}
	// Kasten and Czeplak 1980: a full cover leaves a quarter (from memory)
	near(t, "overcast total", Overcast.TotalFactor(), 0.25, 1e-12)
	if _, err := ParseSky("drizzle"); err == nil {
		t.Error("drizzle accepted")
	}
	if s, err := ParseSky(" Broken "); err != nil || s != Broken {
		t.Errorf("got %v %v", s, err)
	}
}

func TestDoseOfADay(t *testing.T) {
	// At the equator at equinox the sun crosses the zenith: mu = cos(hour
	// angle), and the day's dose is 12.5*0.025 times the integral of
	// cos^2.42 over half a turn, 43200/pi s per radian, here summed by an
	// independent midpoint rule over the angle.
	start := time.Date(2026, 3, 20, 0, 0, 0, 0, time.UTC)
	d, err := DoseUnderSky(Place{0, 0}, start, start.Add(24*time.Hour), 300, Clear)
	if err != nil {
		t.Fatal(err)
	}
	sum, n := 0.0, 20000
	for i := range n {
		angle := -math.Pi/2 + (float64(i)+0.5)*math.Pi/float64(n)
		sum += math.Pow(math.Cos(angle), 2.42) * math.Pi / float64(n)
	}
	near(t, "day's dose in SED", d.SED, 12.5*0.025*sum*43200/math.Pi/100, 0.1)
	near(t, "peak index", d.PeakUVIndex, 12.5, 0.01)
	// Clear tropical days bring about 25 MJ/m2 (common textbook magnitude,
	// from memory): a guard against a wrong unit only.
	near(t, "total sun", d.TotalMJPerM2, 25, 5)
	near(t, "kLy", d.KLy, d.TotalMJPerM2/41.84, 1e-12)
}

func TestDoseAddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		place := Place{rapid.Float64Range(-70, 70).Draw(t, "lat"), rapid.Float64Range(-180, 180).Draw(t, "lon")}
		start := time.Unix(rapid.Int64Range(1.6e9, 1.9e9).Draw(t, "unix"), 0)
		a := time.Duration(rapid.IntRange(1, 300).Draw(t, "a")) * time.Minute
		b := time.Duration(rapid.IntRange(1, 300).Draw(t, "b")) * time.Minute
		sky := rapid.SampledFrom([]Sky{Clear, Scattered, Broken, Overcast}).Draw(t, "sky")
		dose := func(from time.Time, span time.Duration) Dose {
			d, err := DoseUnderSky(place, from, from.Add(span), 300, sky)
			if err != nil {
				t.Fatal(err)
			}
			return d
		}
		first, second, all := dose(start, a), dose(start.Add(a), b), dose(start, a+b)
		if sum := first.SED + second.SED; math.Abs(sum-all.SED) > 1e-6*(1+all.SED) {
			t.Fatalf("%v + %v is not %v", first.SED, second.SED, all.SED)
		}
		if all.SED < 0 || all.KLy < 0 || all.PeakUVIndex > 12.6 {
			t.Fatalf("impossible dose %+v", all)
		}
	})
}

func TestRefusals(t *testing.T) {
	noon := time.Date(2026, 6, 21, 12, 0, 0, 0, time.UTC)
	var w *WindowError
	for _, end := range []time.Time{noon, noon.Add(-time.Hour), noon.Add(25 * time.Hour)} {
		if _, err := DoseUnderSky(Place{40, 0}, noon, end, 300, Clear); !errors.As(err, &w) {
			t.Errorf("window to %v accepted: %v", end, err)
		}
	}
	var sky *UnknownSkyError
	if _, err := DoseUnderSky(Place{40, 0}, noon, noon.Add(time.Hour), 300, "fog"); !errors.As(err, &sky) {
		t.Errorf("fog accepted: %v", err)
	}
	var r *RangeError
	nan := math.NaN()
	for name, err := range map[string]error{
		"ozone":   second(ClearSkyUVIndex(30, nan)),
		"zenith":  second(ClearSkyUVIndex(nan, 300)),
		"index":   second(DoseFromForecast(nan, 1)),
		"hours":   second(DoseFromForecast(3, 0)),
		"forever": second(DoseFromForecast(3, math.Inf(1))),
	} {
		if !errors.As(err, &r) {
			t.Errorf("%s accepted: %v", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

func TestSunEarnsNoCredit(t *testing.T) {
	if !strings.Contains(NoSanitizingCredit, "no sanitizing credit") {
		t.Error("the sentence is gone")
	}
}
