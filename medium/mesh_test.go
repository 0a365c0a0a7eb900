package medium

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// TestSieveCloth: apertures of the US sieves (ASTM E11), wires as preferred by
// ISO 3310-1 (from memory); count and open area follow by the terms of ISO
// 9044, p = w + d, rounded as sieve tables print them.
func TestSieveCloth(t *testing.T) {
	for _, k := range []struct {
		sieve          string
		aperture, wire float64
		count, open    float64
	}{
		{"No. 10", 2.00, 0.90, 8.8, 48},
		{"No. 12", 1.70, 0.80, 10.2, 46},
		{"No. 14", 1.40, 0.71, 12.0, 44},
		{"No. 16", 1.18, 0.63, 14.0, 43},
		{"No. 18", 1.00, 0.56, 16.3, 41},
		{"No. 20", 0.85, 0.50, 18.8, 40},
		{"No. 25", 0.71, 0.45, 21.9, 37},
		{"No. 30", 0.60, 0.40, 25.4, 36},
	} {
		m := Mat{ApertureMM: k.aperture, ThreadMM: k.wire}
		assert.InDelta(t, k.count, m.MeshCount(), 0.05, k.sieve)
		assert.InDelta(t, k.open, m.OpenArea(), 0.5, k.sieve)
	}
}

// TestTwentyMeshIsNotAnOpening: four cloths that are all sold as 20 mesh. By
// w = 25.4/N - d (ISO 9044) their openings run from 1.07 to 0.77 mm.
func TestTwentyMeshIsNotAnOpening(t *testing.T) {
	const chia = 1.10 // D_eff of the dark seed, USDA PubAg 736260
	for _, k := range []struct {
		filament, aperture, open float64
		fit                      Fit
	}{
		{0.20, 1.07, 71, FitNear},
		{0.30, 0.97, 58, FitNear},
		{0.40, 0.87, 47, FitHolds},
		{0.50, 0.77, 37, FitHolds},
	} {
		m := Mat{ApertureMM: 25.4/20 - k.filament, ThreadMM: k.filament}
		assert.InDelta(t, k.aperture, m.ApertureMM, 0.005)
		assert.InDelta(t, k.open, m.OpenArea(), 0.5)
		assert.InDelta(t, 20, m.MeshCount(), 1e-9)
		assert.Equal(t, k.fit, FitSeed(chia, m.ApertureMM, 1), "filament %g mm", k.filament)
	}
}

func TestUnknownMesh(t *testing.T) {
	for _, m := range []Mat{{}, {ApertureMM: 0.6}, {ThreadMM: 0.4}} {
		assert.Zero(t, m.OpenArea(), "an opening without its thread tells no open area")
		assert.Zero(t, m.MeshCount())
	}
}

func TestMatSizes(t *testing.T) {
	m := Mat{LengthMM: 508, WidthMM: 254} // a 1020 tray, 20 x 10 in
	assert.InDelta(t, 0.1290, m.AreaM2(), 0.00005)
	assert.Equal(t, "508 x 254 mm", m.Size())
	assert.Equal(t, "248.9 x 254 mm", Mat{LengthMM: 248.92, WidthMM: 254}.Size())
}

func TestMatCheck(t *testing.T) {
	require.NoError(t, testMat().Check())
	screen := Mat{Form: FormScreen, LengthMM: 510, WidthMM: 250, Layers: 1}
	require.NoError(t, screen.Check(), "mesh not known")
	for _, k := range []struct {
		change func(*Mat)
		text   string
	}{
		{func(m *Mat) { m.LengthMM = 0 }, `length "0": want 10 to 5000 mm`},
		{func(m *Mat) { m.WidthMM = -250 }, `width "-250": want 10 to 5000 mm`},
		{func(m *Mat) { m.ApertureMM = 60 }, `aperture "60": want 0.02 to 20 mm`},
		{func(m *Mat) { m.ThreadMM = 0 }, `mesh "one of aperture and thread": want both the aperture and the thread in mm (a mesh count alone does not tell the opening)`},
		{func(m *Mat) { m.Layers = 0 }, `layers "0": want a whole number from 1 to 10`},
		{func(m *Mat) { m.Form = "rug" }, `form "rug": want mat or screen`},
		{func(m *Mat) { m.Cost = -1 }, `cost "-1": want 0 to 1000000`},
		{func(m *Mat) { m.ContactDate = "1.3.2025" }, `date of the food-contact statement "1.3.2025": want a date as YYYY-MM-DD`},
		{func(m *Mat) { m.ContactDate = "2025-02-29" }, `date of the food-contact statement "2025-02-29": want a date as YYYY-MM-DD`},
		{func(m *Mat) { m.SunRatingKLy = 9999 }, `sun rating "9999": want 1 to 2000 kLy`},
	} {
		m := testMat()
		k.change(&m)
		assert.EqualError(t, m.Check(), k.text)
	}
	assert.False(t, Mat{ContactStatement: "complies"}.ContactDocumented(), "a statement without its date")
}
