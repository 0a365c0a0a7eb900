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
	"resow/store"
)

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

	wrong, err := sanitizerOf(url.Values{"name": {"green jug"}, "active": {"quat"}, "least": {"160"}, "corrects": {"typed 150 for 160"}, "as_printed": {"on"}}, farm)
	require.NoError(t, err)
	require.Equal(t, "typed 150 for 160", wrong.Corrects)
	require.True(t, wrong.Confirmed)
	three, err := sanitizerOf(url.Values{"name": {"oxy"}, "active": {"peroxide"}, "least": {"3%"}, "most": {"3 %"}}, medium.Farm{})
	require.NoError(t, err)
	require.Equal(t, []float64{30000, 30400}, []float64{three.MinPPM, three.MaxPPM}, "any honest reading of 3 %")

	other, err := sanitizerOf(url.Values{"name": {"green jug"}, "active": {"quat"}, "stock": {"20%"}}, farm)
	require.NoError(t, err)
	require.Zero(t, other.DensityGPML, "another strength has another density")

	for _, bad := range []string{"10", "10vol", "<b>"} {
		_, err := sanitizerOf(url.Values{"name": {"x"}, "active": {"quat"}, "stock": {bad}, "least": {"1"}, "most": {"2"}}, medium.Farm{})
		require.Error(t, err, bad)
	}
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
	require.Contains(t, s.said(r, 503, &BusyError{}), "0 requests are waiting; try again")
	err := &store.WriteError{Path: "/home/farm/x", Err: errors.New("no space left")}
	require.Equal(t, english["way.disk"], s.said(r, statusOf(err), err))
	require.Contains(t, log.String(), "no space left")
}
