package medium

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The fixtures of this package's tests: an invented farm in a zone with
// daylight saving, and a mat of its sixth turn.

const testCode Code = "TK7R2N81"

var berlin = func() *time.Location {
	loc, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		panic(err)
	}
	return loc
}()

func local(month time.Month, day, hour int) time.Time {
	return time.Date(2026, month, day, hour, 0, 0, 0, berlin)
}

var (
	testSince = local(time.November, 2, 9).UTC()
	testNow   = local(time.November, 3, 9)
)

func testMat() Mat {
	return Mat{Form: FormMat, LengthMM: 510, WidthMM: 250, Material: "PP", ApertureMM: 0.6, ThreadMM: 0.4, Layers: 1,
		ContactStatement: "complies with 21 CFR 177.1520", ContactDate: "2025-03-01"}
}

func testFarm() Farm {
	return Farm{
		Settings: FarmSettings{Name: "Hollow Lane Greens", Zone: "Europe/Berlin", Units: Metric, Currency: "EUR", Paper: "a4"},
		Sanitizers: []Sanitizer{
			{Name: "Quat Ten", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60},
			{Name: "Drugstore peroxide", Active: "peroxide", Directions: DirectionsFarm, MinPPM: 25000, MaxPPM: 32000, ContactS: 600, Rinse: true},
		},
	}
}

// testCondition is a consistent condition in each stage, of turn 6, since
// 2 November 09:00.
func testCondition(s Stage) Condition {
	if s == "" {
		return Condition{}
	}
	c := Condition{Code: testCode, Mat: testMat(), Stage: s, Since: testSince, Turn: 6, Added: local(time.March, 1, 9).UTC(), Last: testSince, Settled: testSince, Handled: testSince,
		Crops: []Sown{{Crop: "kale", SizeMM: 1.85, DaysMin: 8, DaysMax: 12}}, SownAt: local(time.October, 24, 9).UTC(), Inspected: 5, Debris: DebrisNone}
	done := &LastSanitized{At: testSince, Product: "Quat Ten", Active: "quat", StrengthPPM: 200, ContactS: 60, Accepted: true, AcceptedAt: testSince}
	switch s {
	case ToDry:
		c.WetSince = testSince
	case Airing:
		c.Cleared, c.Sanitized, c.WetSince = true, done, testSince
	case Ready:
		c.Cleared, c.Sanitized = true, done
	case OnHold:
		c.HeldIn, c.HeldFor, c.HeldSince = Ready, "dropped on the floor", c.Since.Add(-48*time.Hour)
		c.Cleared, c.Sanitized = true, done
	case Retired:
		c.RetiredAt, c.Cause = testSince, CauseCut
	}
	return c
}

func goodSanitize() *Sanitize {
	return &Sanitize{Product: "Quat Ten", StrengthPPM: 200, ContactS: 60, Sides: 2, Method: "soak"}
}

func testStep(b Body) Step { return Step{Mat: testCode, By: "ab", Body: b} }

// setting changes one rule of a policy.
func setting(rule string, on bool, limit, window float64) Policy {
	return Policy{}.with(Setting{Rule: rule, On: on, Limit: limit, Window: window})
}

func ptr(v float64) *float64 { return &v }

func TestRecordsAboutTheFarm(t *testing.T) {
	good := []Body{
		&FarmSettings{Name: "Hollow Lane Greens", Zone: "America/Chicago", Units: US, Currency: "USD", Paper: "letter"},
		&PolicyChange{Setting: Setting{Rule: "max-turns", On: true, Limit: 12}, Reason: "trial"},
		&PolicyChange{Setting: Setting{Rule: "mold-repeat", On: false, Limit: 2, Window: 5}, Reason: "trial"},
		&Crop{Name: "shiso", LengthMM: 1.6, WidthMM: 1.5, ThicknessMM: 1.4, DaysMin: 14, DaysMax: 21},
		&Sanitizer{Name: "Quat Ten", Active: "quat"},
	}
	for _, b := range good {
		s, err := Admit(Condition{}, Farm{}, Step{Mat: FarmThread, By: "ab", Body: b}, testNow)
		require.NoError(t, err, "%T", b)
		assert.True(t, s.Outcome.Accepted)
		assert.Equal(t, KindOf(b), s.Kind)
	}
	bad := []Body{
		&FarmSettings{Name: " ", Zone: "Europe/Berlin", Units: US, Currency: "USD", Paper: "letter"},
		&FarmSettings{Name: "x", Zone: "Local", Units: US, Currency: "USD", Paper: "letter"},
		&FarmSettings{Name: "x", Zone: "Mars/Base", Units: US, Currency: "USD", Paper: "letter"},
		&FarmSettings{Name: "x", Zone: "UTC", Units: "ells", Currency: "USD", Paper: "letter"},
		&FarmSettings{Name: "x", Zone: "UTC", Units: US, Currency: "usd", Paper: "letter"},
		&FarmSettings{Name: "x", Zone: "UTC", Units: US, Currency: "USD", Paper: "napkin"},
		&PolicyChange{Setting: Setting{Rule: "stage", Limit: 1}, Reason: "faster"},
		&PolicyChange{Setting: Setting{Rule: "max-turns", On: true, Limit: 1001}, Reason: "x"},
		&PolicyChange{Setting: Setting{Rule: "max-turns", On: true, Limit: 12, Window: 3}, Reason: "x"},
		&PolicyChange{Setting: Setting{Rule: "mold-repeat", On: true, Limit: 2}, Reason: "x"},
		&PolicyChange{Setting: Setting{Rule: "max-turns", On: true, Limit: 12}, Reason: "  "},
		&Sanitizer{Name: "x", Active: "unicorn"},
		&Sanitizer{Name: "x", Active: "quat", Directions: DirectionsLabel},
		&Sanitizer{Name: "x", Active: "quat", Directions: "guess", MinPPM: 1, MaxPPM: 2, ContactS: 60},
		&Sanitizer{Name: "x", Active: "quat", Directions: DirectionsLabel, MinPPM: 200, MaxPPM: 100, ContactS: 60},
		&Sanitizer{Name: "x", Active: "quat", Directions: DirectionsLabel, MinPPM: 100, MaxPPM: 200},
		&Sanitizer{Name: "x", Active: "quat", Directions: DirectionsLabel, MinPPM: 100, MaxPPM: 200, ContactS: 60, MinTempC: 40, MaxTempC: 20},
		&Sanitizer{Name: "x", Active: "quat", Directions: DirectionsLabel, MinPPM: 100, MaxPPM: 200, ContactS: 60, MinPH: 8, MaxPH: 6},
		&Sanitizer{Name: "x", Active: "quat", Directions: DirectionsLabel, MinPPM: 100, MaxPPM: 200, ContactS: 60, MaxPH: 15},
		&Sow{Crops: []Sown{{Crop: "kale"}}},
	}
	for _, b := range bad {
		s, err := Admit(Condition{}, Farm{}, Step{Mat: FarmThread, By: "ab", Body: b}, testNow)
		assert.Error(t, err, "%T %+v", b, b)
		assert.False(t, s.Outcome.Accepted)
	}
}

func TestFarmApplyKeepsOneOfAName(t *testing.T) {
	var f Farm
	add := func(b Body) { f = f.Apply(Step{Body: b}) }
	add(&Sanitizer{Name: "Quat Ten", Active: "quat", Directions: DirectionsLabel, MinPPM: 1, MaxPPM: 2, ContactS: 1})
	// the label was read again, and typed in another case: the old directions are gone
	add(&Sanitizer{Name: "quat ten", Active: "quat", Directions: DirectionsLabel, MinPPM: 150, MaxPPM: 200, ContactS: 60})
	require.Len(t, f.Sanitizers, 1)
	got, ok := f.Sanitizer("QUAT TEN", "")
	require.True(t, ok)
	assert.Equal(t, 150.0, got.MinPPM)

	add(&Crop{Name: "Kale", TSWG: 3})
	add(&Crop{Name: "kale ", TSWG: 4})
	crop, err := f.Crop(" KALE")
	require.NoError(t, err)
	assert.Equal(t, 4.0, crop.TSWG, "the farm's own crop goes before the shipped one, the newest before the older")

	add(&PolicyChange{Setting: Setting{Rule: "max-turns", On: true, Limit: 12}})
	add(&PolicyChange{Setting: Setting{Rule: "max-turns", On: false, Limit: 13}})
	assert.Equal(t, 2, f.Policy.Version)
	assert.Equal(t, Setting{Rule: "max-turns", On: false, Limit: 13}, f.Policy.Setting("max-turns"))
	before := f
	add(&Hold{Reason: "about a mat"})
	assert.Equal(t, before, f)
}

func TestSanitizerByActiveNeedsOneProduct(t *testing.T) {
	f := testFarm()
	_, ok := f.Sanitizer("", "quat")
	assert.True(t, ok)
	f.Sanitizers = append(f.Sanitizers, Sanitizer{Name: "Another quat", Active: "quat"})
	_, ok = f.Sanitizer("", "quat")
	assert.False(t, ok, "two products of one active: which label?")
	_, ok = f.Sanitizer("Unheard of", "quat")
	assert.False(t, ok, "a product by a name that is not on file is not another product")
}

func TestLocation(t *testing.T) {
	assert.Equal(t, "Europe/Berlin", testFarm().Location().String())
	assert.Equal(t, time.UTC, Farm{Settings: FarmSettings{Zone: "Mars/Base"}}.Location())
}
