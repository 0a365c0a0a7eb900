package main

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/cmd/resow/station"
	"resow/labels"
	"resow/medium"
	"resow/medium/sanitizer"
)

// onFile are two products whose recipe hangs on the density on file;
// mix_density.txtar asks `resow mix` the same.
var onFile = []struct {
	product                  medium.Sanitizer
	strength                 string
	wantML                   float64
	density, gramsPerMLStock float64
}{
	{medium.Sanitizer{Name: "green jug", Active: "quat", Stock: "10%ww", DensityGPML: 0.99}, "200ppm", 4.0404, 0.99, 0.1 * 0.99},
	{medium.Sanitizer{Name: "tall drum", Active: "peroxide", Stock: "35%ww", DensityGPML: 1.2}, "1000ppm", 4.7619, 1.2, 0.35 * 1.2},
}

func pageFarm(p medium.Sanitizer) *farm {
	return &farm{Farm: medium.Farm{Sanitizers: []medium.Sanitizer{p}}, loc: time.UTC}
}

func TestPageMixTakesTheDensityOnFile(t *testing.T) {
	for _, tt := range onFile {
		mix, err := mixOnPage(pageFarm(tt.product), station.Mixing{Product: tt.product.Name, Strength: tt.strength, Volume: "2L", Exact: true})
		require.NoError(t, err, tt.product.Name)
		require.InEpsilon(t, tt.wantML, mix.StockML, 1e-4, tt.product.Name)
		require.InDelta(t, tt.density, mix.StockDensity, 1e-9)
		// 2 L at the wanted mg/L hold this mass, and the stock so much in each mL
		grams := mix.FinalML * mix.Mix.StrengthPPM * 1e-6
		require.InEpsilon(t, grams/tt.gramsPerMLStock, mix.StockML, 1e-6)
		require.InEpsilon(t, mix.StockML, mix.Solution.StockML, 1e-3, "what is recorded is what is shown")
	}
}

func TestPageMixKeepsTheRules(t *testing.T) {
	p := onFile[1].product
	f := pageFarm(p)
	f.Policy = medium.Policy{Settings: []medium.Setting{{Rule: medium.Actives["peroxide"], On: true, Limit: 500}}}
	_, err := mixOnPage(f, station.Mixing{Product: p.Name, Strength: "1000ppm", Volume: "2L"})
	require.True(t, as[*sanitizer.CeilingError](err), "%v", err)

	p = onFile[0].product
	p.Directions, p.MinPPM, p.MaxPPM = medium.DirectionsLabel, 150, 250
	mix, err := mixOnPage(pageFarm(p), station.Mixing{Product: p.Name, Volume: "2L"})
	require.NoError(t, err)
	require.InEpsilon(t, 200, mix.Mix.StrengthPPM, 1e-6, "the middle of the directions, as `resow mix` takes it")
	require.NotNil(t, mix.Recipe)
	require.InEpsilon(t, mix.Recipe.MeasureML, mix.Solution.StockML, 1e-3, "the rounded recipe is recorded")
	require.InEpsilon(t, mix.Recipe.StrengthPPM, mix.Solution.StrengthPPM, 1e-2)

	for _, bad := range []station.Mixing{
		{Product: p.Name},
		{Product: p.Name, Volume: "2L", Strength: "400ppm"},
		{Product: p.Name, Volume: "2L", Opened: "yesterday"},
		{Product: p.Name, Volume: "much"},
		{Product: onFile[1].product.Name, Volume: "2L"},
	} {
		_, err := mixOnPage(pageFarm(p), bad)
		require.Error(t, err, "%+v", bad)
		require.NotContains(t, err.Error(), " --", "a page has no flags")
		require.False(t, as[*usageError](err), "%v", err)
	}
	bare := p
	bare.Directions, bare.Stock = "", ""
	for _, ask := range []station.Mixing{{Product: bare.Name, Volume: "2L"}, {Product: bare.Name, Volume: "2L", Strength: "100ppm"}} {
		_, err := mixOnPage(pageFarm(bare), ask)
		require.True(t, as[*medium.InputError](err) || as[*sanitizer.NoStockError](err), "%v", err)
		require.NotContains(t, err.Error(), " --")
	}
}

func TestPageStripAndTag(t *testing.T) {
	s, err := stripOnPage("100", " 50ppm", "", "")
	require.NoError(t, err)
	require.Equal(t, medium.Strip{ReadPPM: 100, StepPPM: 50}, s)
	s, err = stripOnPage("0", "10", "", "")
	require.NoError(t, err)
	require.Zero(t, s.ReadPPM)
	s, err = stripOnPage("", "", "20C", "7.2")
	require.NoError(t, err)
	require.Equal(t, []float64{0, 0, 20, 7.2}, []float64{s.ReadPPM, s.StepPPM, *s.TempC, *s.PH}, "a thermometer alone")
	for _, bad := range [][2]string{{"", "10"}, {"3%", "10"}, {"100", "x"}} {
		_, err := stripOnPage(bad[0], bad[1], "", "")
		require.Error(t, err, bad)
	}
	f := pageFarm(onFile[0].product)
	f.Settings.Paper, f.Settings.Name = "a4", "Reed End Greens"
	code, err := labels.NewCode(labels.Bottle, &seeded{seed: "tag"})
	require.NoError(t, err)
	b := medium.Bottle{Solution: medium.Solution{Code: medium.Code(code), Product: "green jug", Active: "quat", StrengthPPM: 200}, MadeBy: "MK"}
	var pdf bytes.Buffer
	require.NoError(t, (&app{}).stationBench().Tag(&pdf, f.Farm, b, time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)))
	require.True(t, bytes.HasPrefix(pdf.Bytes(), []byte("%PDF-")))
}
