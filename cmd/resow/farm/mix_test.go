package farm

import (
	"bytes"
	"crypto/rand"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

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
	{medium.Sanitizer{Name: "green jug", Active: "quat", Stock: "10%ww", DensityGPML: 0.99}, "200ppm", 4.0404, 0.99,
		0.1 * 0.99},
	{medium.Sanitizer{Name: "tall drum", Active: "peroxide", Stock: "35%ww", DensityGPML: 1.2}, "1000ppm", 4.7619, 1.2,
		0.35 * 1.2},
}

func pageFarm(p medium.Sanitizer) *Farm {
	clock := func() time.Time { return time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC) }
	return Of(nil, medium.Farm{Sanitizers: []medium.Sanitizer{p}}, clock, rand.Reader)
}

// bottled is what a page shows of a mix, and what it records.
func bottled(f *Farm, ask Mixing) (Mixed, medium.Solution, error) {
	mix, err := f.Mix(ask)
	if err != nil {
		return mix, medium.Solution{}, err
	}
	s, err := f.Solution(ask, mix)
	return mix, s, err
}

func TestMixTakesTheDensityOnFile(t *testing.T) {
	for _, tt := range onFile {
		mix, solution, err := bottled(pageFarm(tt.product),
			Mixing{Product: tt.product.Name, Strength: tt.strength, Volume: "2L", Exact: true})
		require.NoError(t, err, tt.product.Name)
		require.InEpsilon(t, tt.wantML, mix.StockML, 1e-4, tt.product.Name)
		require.InDelta(t, tt.density, mix.StockDensity, 1e-9)
		// 2 L at the wanted mg/L hold this mass, and the stock so much in each mL
		grams := mix.FinalML * mix.Mix.StrengthPPM * 1e-6
		require.InEpsilon(t, grams/tt.gramsPerMLStock, mix.StockML, 1e-6)
		require.InEpsilon(t, mix.StockML, solution.StockML, 1e-3, "what is recorded is what is shown")
	}
}

func TestMixKeepsTheRules(t *testing.T) {
	p := onFile[1].product
	f := pageFarm(p)
	f.Policy = medium.Policy{Settings: []medium.Setting{{Rule: medium.Actives["peroxide"], On: true, Limit: 500}}}
	_, _, err := bottled(f, Mixing{Product: p.Name, Strength: "1000ppm", Volume: "2L"})
	require.ErrorAs(t, err, new(*sanitizer.CeilingError))

	p = onFile[0].product
	p.Directions, p.MinPPM, p.MaxPPM = medium.DirectionsLabel, 150, 250
	mix, solution, err := bottled(pageFarm(p), Mixing{Product: p.Name, Volume: "2L"})
	require.NoError(t, err)
	require.InEpsilon(t, 200, mix.Mix.StrengthPPM, 1e-6, "the middle of the directions, as `resow mix` takes it")
	require.NotNil(t, mix.Recipe)
	require.InEpsilon(t, mix.Recipe.MeasureML, solution.StockML, 1e-3, "the rounded recipe is recorded")
	require.InEpsilon(t, mix.Recipe.StrengthPPM, solution.StrengthPPM, 1e-2)

	for _, bad := range []Mixing{
		{Product: p.Name},
		{Product: p.Name, Volume: "2L", Strength: "400ppm"},
		{Product: p.Name, Volume: "2L", Opened: "yesterday"},
		{Product: p.Name, Volume: "much"},
		{Product: onFile[1].product.Name, Volume: "2L"},
	} {
		_, _, err := bottled(pageFarm(p), bad)
		require.Error(t, err, "%+v", bad)
	}
	bare := p
	bare.Directions, bare.Stock = "", ""
	for _, ask := range []Mixing{{Product: bare.Name, Volume: "2L"},
		{Product: bare.Name, Volume: "2L", Strength: "100ppm"}} {
		_, _, err := bottled(pageFarm(bare), ask)
		require.Error(t, err)
		require.NotContains(t, err.Error(), " --")
	}
}

func TestStripAndTag(t *testing.T) {
	s, err := ReadStrip("100ppm", "50ppm", "", "")
	require.NoError(t, err)
	require.Equal(t, medium.Strip{ReadPPM: 100, StepPPM: 50}, s)
	s, err = ReadStrip("0ppm", "10ppm", "", "")
	require.NoError(t, err)
	require.Zero(t, s.ReadPPM)
	s, err = ReadStrip("", "", "20C", "7.2")
	require.NoError(t, err)
	require.Equal(t, []float64{0, 0, 20, 7.2}, []float64{s.ReadPPM, s.StepPPM, *s.TempC, *s.PH}, "a thermometer alone")
	for _, bad := range [][2]string{{"", "10ppm"}, {"3%", "10ppm"}, {"100ppm", "x"}, {"100", "50ppm"}} {
		_, err := ReadStrip(bad[0], bad[1], "", "")
		require.Error(t, err, bad)
	}
	f := pageFarm(onFile[0].product)
	f.Settings.Paper, f.Settings.Name = "a4", "Reed End Greens"
	code, err := f.FreshBottle()
	require.NoError(t, err)
	b := medium.Bottle{Solution: medium.Solution{Code: code, Product: "green jug", Active: "quat", StrengthPPM: 200},
		MadeBy: "MK"}
	paper, err := f.TagPaper("")
	require.NoError(t, err)
	var pdf bytes.Buffer
	require.NoError(t, f.DrawTags(&pdf, labels.BottleTags{Stock: paper}, b))
	require.True(t, bytes.HasPrefix(pdf.Bytes(), []byte("%PDF-")))
}
