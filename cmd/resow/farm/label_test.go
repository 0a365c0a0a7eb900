package farm

import (
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/medium"
)

func TestReadLabel(t *testing.T) {
	form := url.Values{"name": {"green jug"}, "active": {"quat"}, "stock": {"10 %"}, "density": {"0,99"}, "directions": {"label"}, "least": {"149.96"}, "most": {"200"},
		"contact": {"1"}, "rinse": {"on"}, "min_temp": {"24"}, "opened_days": {"90"}, "registration": {"R 1"}, "note": {"hard surfaces"}}
	first, err := ReadLabel(form.Get, medium.Farm{})
	require.NoError(t, err)
	require.Equal(t, medium.Sanitizer{Name: "green jug", Active: "quat", Stock: "10%ww", DensityGPML: 0.99, Directions: "label", MinPPM: 149.96, MaxPPM: 200,
		ContactS: 60, Rinse: true, MinTempC: 24, OpenedDays: 90, Registration: "R 1", Note: "hard surfaces"}, *first)

	farm := medium.Farm{Sanitizers: []medium.Sanitizer{*first}}
	again, err := ReadLabel(url.Values{"name": {"green jug"}, "active": {"quat"}, "contact": {"2"}}.Get, farm)
	require.NoError(t, err)
	want := *first
	want.ContactS = 120
	require.Equal(t, want, *again, "what was left empty stays")

	wrong, err := ReadLabel(url.Values{"name": {"green jug"}, "active": {"quat"}, "least": {"160"}, "corrects": {"typed 150 for 160"}, "as_printed": {"on"}}.Get, farm)
	require.NoError(t, err)
	require.Equal(t, "typed 150 for 160", wrong.Corrects)
	require.True(t, wrong.Confirmed)
	three, err := ReadLabel(url.Values{"name": {"oxy"}, "active": {"peroxide"}, "least": {"3%"}, "most": {"3 %"}}.Get, medium.Farm{})
	require.NoError(t, err)
	require.Equal(t, []float64{30000, 30400}, []float64{three.MinPPM, three.MaxPPM}, "any honest reading of 3 %")

	other, err := ReadLabel(url.Values{"name": {"green jug"}, "active": {"quat"}, "stock": {"20%"}}.Get, farm)
	require.NoError(t, err)
	require.Zero(t, other.DensityGPML, "another strength has another density")

	for _, bad := range []string{"10", "10vol", "<b>"} {
		_, err := ReadLabel(url.Values{"name": {"x"}, "active": {"quat"}, "stock": {bad}, "least": {"1"}, "most": {"2"}}.Get, medium.Farm{})
		require.Error(t, err, bad)
	}
}
