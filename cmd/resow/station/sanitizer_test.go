package station

import (
	"errors"
	"io/fs"
	stdlog "log"
	"net/http"
	"net/http/httptest"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/medium/sanitizer"
	"resow/store"
)

// onFile are two products whose recipe hangs on the density on file; mix.txtar
// asks `resow mix` the same.
var onFile = []struct {
	product                  medium.Sanitizer
	strength, volume         string
	wantML                   float64
	density, gramsPerMLStock float64
}{
	{medium.Sanitizer{Name: "green jug", Active: "quat", Stock: "10%ww", DensityGPML: 0.99}, "200ppm", "2L", 4.0404, 0.99, 0.1 * 0.99},
	{medium.Sanitizer{Name: "tall drum", Active: "peroxide", Stock: "35%ww", DensityGPML: 1.2}, "1000ppm", "2L", 4.7619, 1.2, 0.35 * 1.2},
}

func TestMixTakesTheDensityOnFile(t *testing.T) {
	for _, tt := range onFile {
		mix, err := mixOf(tt.product, medium.Policy{}, "", tt.strength, tt.volume)
		require.NoError(t, err, tt.product.Name)
		require.InEpsilon(t, tt.wantML, mix.StockML, 1e-4, tt.product.Name)
		require.InDelta(t, tt.density, mix.StockDensity, 1e-9)
		// 2 L at the wanted mg/L hold this mass, and the stock so much in each mL
		grams := mix.FinalML * mix.StrengthPPM * 1e-6
		require.InEpsilon(t, grams/tt.gramsPerMLStock, mix.StockML, 1e-6)
	}
}

func TestMixHeedsTheFarmsCeiling(t *testing.T) {
	p := onFile[1].product
	policy := medium.Policy{Settings: []medium.Setting{{Rule: medium.Actives["peroxide"], On: true, Limit: 500}}}
	_, err := mixOf(p, policy, "", "1000ppm", "2L")
	var high *sanitizer.CeilingError
	require.True(t, errors.As(err, &high), "%v", err)
}

func TestMixToOneStrengthOnTheLabel(t *testing.T) {
	p := onFile[0].product
	p.Directions, p.MinPPM, p.MaxPPM = medium.DirectionsLabel, 200, 200
	mix, err := mixOf(p, medium.Policy{}, "", "", "2L")
	require.NoError(t, err)
	require.InEpsilon(t, 200, mix.StrengthPPM, 1e-6)
	require.NotEmpty(t, sanitizer.UseOf(p, medium.Policy{}, false, true).LabelPPM)
	require.InDelta(t, 199, sanitizer.UseOf(p, medium.Policy{}, false, true).LabelPPM.Min, 1e-9)
}

func TestSanitizerForm(t *testing.T) {
	form := url.Values{"name": {"green jug"}, "active": {"quat"}, "stock": {"10 %"}, "density": {"0,99"}, "directions": {"label"}, "least": {"149.96"}, "most": {"200"},
		"contact": {"1"}, "rinse": {"on"}, "min_temp": {"24"}, "opened_days": {"90"}, "registration": {"R 1"}, "note": {"hard surfaces"}}
	first, err := sanitizerOf(form, medium.Farm{})
	require.NoError(t, err)
	require.Equal(t, medium.Sanitizer{Name: "green jug", Active: "quat", Stock: "10%ww", DensityGPML: 0.99, Directions: "label", MinPPM: 149.96, MaxPPM: 200,
		ContactS: 60, Rinse: true, MinTempC: 24, OpenedDays: 90, Registration: "R 1", Note: "hard surfaces"}, *first)

	farm := medium.Farm{Sanitizers: []medium.Sanitizer{*first}}
	again, err := sanitizerOf(url.Values{"name": {"green jug"}, "active": {"quat"}, "contact": {"2"}}, farm)
	require.NoError(t, err)
	want := *first
	want.ContactS = 120
	require.Equal(t, want, *again, "what was left empty stays")

	other, err := sanitizerOf(url.Values{"name": {"green jug"}, "active": {"quat"}, "stock": {"20%"}}, farm)
	require.NoError(t, err)
	require.Zero(t, other.DensityGPML, "another strength has another density")

	for _, bad := range []string{"10", "10vol", "<b>"} {
		_, err := sanitizerOf(url.Values{"name": {"x"}, "active": {"quat"}, "stock": {bad}, "least": {"1"}, "most": {"2"}}, medium.Farm{})
		require.Error(t, err, bad)
	}
}

func TestMeasuredIsNotRounded(t *testing.T) {
	v := &values{Values: url.Values{"temp": {"75F"}, "cold": {"-5"}}}
	got := v.measured("temp", "C", func(string, string) (float64, error) { return 23.888889, nil })
	require.Equal(t, 23.888889, *got)
	got = v.measured("cold", "C", func(string, string) (float64, error) { return -5.26, nil })
	require.Equal(t, -5.26, *got)
}

// What went wrong inside goes to the terminal; a phone is told to look there.
func TestInsidesStayInside(t *testing.T) {
	var log safeBuffer
	s := &Station{t: english, log: stdlog.New(&log, "", 0)}
	r := httptest.NewRequest(http.MethodGet, "/", nil)
	for _, err := range []error{&fs.PathError{Op: "open", Path: "/home/farm/x", Err: fs.ErrPermission}, &panicError{what: "/home/farm/x nil map"}} {
		require.Equal(t, english["guard.failed"], s.said(r, statusOf(err), err))
		require.Contains(t, log.String(), "/home/farm/x")
		log.b.Reset()
	}
	for _, err := range []error{&BusyError{}, &store.WriteError{Err: errors.New("no space left")}} {
		require.Equal(t, err.Error(), s.said(r, statusOf(err), err), "503 and 507 say what to do")
	}
}
