package medium

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// TestSeedWidth: seed sizes as published, and the width with which such a seed
// meets a square opening, worked by hand as sqrt((W^2+T^2)/2).
func TestSeedWidth(t *testing.T) {
	for _, k := range []struct {
		seed    string
		l, w, t float64
		want    float64
		source  string
	}{
		{"chia, dark", 2.11, 1.32, 0.81, 1.10, "USDA PubAg 736260"},
		{"chia, white", 2.15, 1.40, 0.83, 1.15, "USDA PubAg 736260"},
		{"alfalfa, driest", 2.36, 1.39, 1.07, 1.24, "JBAH article 43338, 8 % moisture"},
		{"alfalfa, wettest", 2.72, 1.47, 1.35, 1.41, "JBAH article 43338, 22 % moisture"},
		{"amaranth, smallest", 1.27, 1.10, 0.85, 0.98, "Ogrodowska et al., width; thickness from memory"},
		{"sunflower", 7.79, 7.12, 4.18, 5.84, "physical-properties paper, 10 % moisture"},
		{"beet cluster, smallest", 4.61, 3.82, 2.20, 3.12, "sugar beet clusters 4.61-5.30 x 3.82-4.36 x 2.20-2.38 mm"},
		{"fennel, point put right", 5.89, 1.90, 1.56, 1.74, "published abstract, 58.87 x 18.96 x 15.64 with the point slipped"},
		{"flax, smallest", 4.20, 1.99, 0.91, 1.55, "engineering paper, 4.20-4.44 x 1.99-2.13 x 0.91-0.95 mm"},
	} {
		c := Crop{Name: k.seed, LengthMM: k.l, WidthMM: k.w, ThicknessMM: k.t}
		require.NoError(t, c.Check())
		assert.InDelta(t, k.want, c.SeedMM(), 0.005, "%s: %s", k.seed, k.source)
		assert.LessOrEqual(t, c.SeedMM(), k.w, "never over the width")
		assert.GreaterOrEqual(t, c.SeedMM(), k.t, "never under the thickness")
	}
}

// TestSphereFromMass: 1.20 x TSW^(1/3) against published diameters.
func TestSphereFromMass(t *testing.T) {
	for _, k := range []struct {
		seed       string
		tsw        float64
		min, max   float64 // mm
		sourceSize string
	}{
		{"chia", 1.32, 1.31 - 0.02, 1.31 + 0.02, "USDA PubAg 736260: geometric mean of 2.11 x 1.32 x 0.81 mm is 1.31 mm"},
		{"alfalfa", 1.80, 1.52 * 0.95, 1.52 * 1.05, "JBAH article 43338: geometric mean of 2.36 x 1.39 x 1.07 mm is 1.52 mm"},
		{"canola, 5.3 % moisture", 3.06, 1.475, 1.925, "canola B. napus: 3.06 g, between its diameter of 1.475 and its length of 1.925 mm"},
		{"canola, 23.7 % moisture", 4.84, 1.911, 2.262, "canola B. napus: 4.84 g, between its diameter of 1.911 and its length of 2.262 mm"},
	} {
		d := Crop{TSWG: k.tsw}.SeedMM()
		assert.GreaterOrEqual(t, d, k.min, "%s: %s", k.seed, k.sourceSize)
		assert.LessOrEqual(t, d, k.max, "%s: %s", k.seed, k.sourceSize)
	}
	assert.InDelta(t, math.Cbrt(6e3/(math.Pi*1.1e3)), Crop{TSWG: 1}.SeedMM(), 0.005, "the factor 1.20: 1 mg at 1.1 g/cm3")
	assert.InDelta(t, 1.10, Crop{TSWG: 1.32, WidthMM: 1.32, ThicknessMM: 0.81}.SeedMM(), 0.005, "a size goes before the mass, which overstates flat seed")
	assert.Zero(t, Crop{WidthMM: 2}.SeedMM())
}

func TestFitBands(t *testing.T) {
	for _, k := range []struct {
		seed, aperture float64
		layers         int
		want           Fit
	}{
		{1, 0.5, 1, FitHolds}, {1, 0.8, 1, FitHolds}, {1, 0.81, 1, FitNear}, {1, 0.99, 1, FitNear}, {1, 1, 1, FitFalls}, {1, 2, 1, FitFalls},
		{1, 0.81, 2, FitHolds}, // a second layer catches the tail of a lot
		{1, 1, 2, FitFalls},    // but openings can lie one over the other
		{0, 1, 1, FitUnknown}, {1, 0, 1, FitUnknown}, {math.NaN(), 1, 1, FitUnknown}, {1, math.NaN(), 1, FitUnknown},
	} {
		assert.Equal(t, k.want, FitSeed(k.seed, k.aperture, k.layers), "%+v", k)
	}
}

func TestFinerMeshNeverHoldsLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seed := rapid.Float64Range(0.1, 10).Draw(t, "seed")
		fine := rapid.Float64Range(0.02, 20).Draw(t, "fine")
		coarse := rapid.Float64Range(fine, 20).Draw(t, "coarse")
		layers := rapid.IntRange(1, 3).Draw(t, "layers")
		if FitSeed(seed, fine, layers) > FitSeed(seed, coarse, layers) {
			t.Fatal("a finer mesh holds less")
		}
		if FitSeed(seed, fine, layers+1) > FitSeed(seed, fine, layers) {
			t.Fatal("one more layer holds less")
		}
	})
}

// TestTrayOfSeed: grams of seed for a 1020 tray and days to harvest as Utah
// State University Extension gives them ("Grow your own microgreens").
func TestTrayOfSeed(t *testing.T) {
	tray := Mat{LengthMM: 508, WidthMM: 254}
	for _, k := range []struct {
		crop     string
		grams    float64
		min, max int
	}{
		{"arugula", 10, 6, 8}, {"basil", 28, 12, 16}, {"broccoli", 28, 8, 12}, {"cilantro", 28, 21, 28},
		{"kale", 28, 8, 12}, {"pea", 150, 8, 10}, {"radish", 42, 8, 12},
	} {
		c, err := Farm{}.Crop(k.crop)
		require.NoError(t, err)
		assert.InDelta(t, k.grams, c.SeedG(tray.AreaM2()), 0.1, k.crop)
		assert.Equal(t, k.min, c.DaysMin, k.crop)
		assert.Equal(t, k.max, c.DaysMax, k.crop)
		assert.Contains(t, c.SowSource, "Utah State University Extension")
		assert.InDelta(t, k.grams/2, c.SeedG(tray.AreaM2()/2), 0.05, "half a tray")
	}
}

// TestShippedCropsAgainstPublishedSizes: the middle that is shipped lies within
// the range that was published.
func TestShippedCropsAgainstPublishedSizes(t *testing.T) {
	for _, k := range []struct {
		crop     string
		figure   func(Crop) float64
		min, max float64
		source   string
	}{
		{"chia", func(c Crop) float64 { return c.TSWG }, 1.30, 1.32, "USDA PubAg 736260"},
		{"amaranth", func(c Crop) float64 { return c.LengthMM }, 1.27, 1.39, "Ogrodowska et al."},
		{"amaranth", func(c Crop) float64 { return c.WidthMM }, 1.10, 1.20, "Ogrodowska et al."},
		{"amaranth", func(c Crop) float64 { return c.TSWG }, 0, 0.79, "Ogrodowska et al."},
		{"alfalfa", func(c Crop) float64 { return c.WidthMM }, 1.39, 1.47, "JBAH article 43338"},
		{"alfalfa", func(c Crop) float64 { return c.ThicknessMM }, 1.07, 1.35, "JBAH article 43338"},
		{"alfalfa", func(c Crop) float64 { return c.TSWG }, 1.80, 2.30, "JBAH article 43338"},
		{"basil", func(c Crop) float64 { return c.TSWG }, 1.73, 2.05, "dergipark azd 62964"},
		{"beet", func(c Crop) float64 { return c.TSWG }, 12.6, 13.4, "sugar beet clusters"},
		{"beet", func(c Crop) float64 { return c.WidthMM }, 3.82, 4.36, "sugar beet clusters"},
		{"sunflower", func(c Crop) float64 { return c.TSWG }, 66, 70, "physical-properties paper, 10 % moisture"},
		{"fennel", func(c Crop) float64 { return c.TSWG }, 5.5, 9.2, "published abstract"},
		{"cabbage", func(c Crop) float64 { return 1000 / c.TSWG }, 220, 390, "content page: 220-390 seeds a gram"},
		{"onion", func(c Crop) float64 { return 1000 / c.TSWG }, 229, 231, "content page: 230 seeds a gram"},
	} {
		c, err := Farm{}.Crop(k.crop)
		require.NoError(t, err)
		assert.GreaterOrEqual(t, k.figure(c), k.min-1e-9, "%s: %s", k.crop, k.source)
		assert.LessOrEqual(t, k.figure(c), k.max+1e-9, "%s: %s", k.crop, k.source)
	}
}

func TestShippedCrops(t *testing.T) {
	crops, err := ShippedCrops()
	require.NoError(t, err)
	assert.GreaterOrEqual(t, len(crops), 20)
	seen := map[string]bool{}
	for _, c := range crops {
		assert.NoError(t, c.Check(), c.Name)
		assert.False(t, seen[c.Name], "twice: %s", c.Name)
		seen[c.Name] = true
		assert.Equal(t, strings.ToLower(strings.TrimSpace(c.Name)), c.Name)
		assert.NotEmpty(t, c.SizeSource, c.Name)
		assert.NotEmpty(t, c.SowSource, c.Name)
		assert.Positive(t, c.SeedMM(), c.Name)
		assert.Positive(t, c.DensityGM2, c.Name)
		assert.Positive(t, c.DaysMin, c.Name)
		assert.Positive(t, c.RootMM, c.Name)
		assert.Less(t, c.DarkDays, c.DaysMin, c.Name)
		if strings.Contains(c.SowSource, "3-5 seeds/cm2") { // Bari 2024, Horticulturae 10(3):274
			perCM2 := c.DensityGM2 / c.TSWG * 1000 / 1e4
			assert.GreaterOrEqual(t, perCM2, 3.0, c.Name)
			assert.LessOrEqual(t, perCM2, 5.0, c.Name)
		}
	}
	_, err = cropRow(strings.Split("kale,x,1,1,1,1,1,1,1,1,a,b", ","))
	assert.Error(t, err)
}

// TestSlippedDecimalPoint: the published abstract on fennel prints 58.87 x
// 18.96 x 15.64 mm for a seed of 5.5 to 9.2 g per thousand.
func TestSlippedDecimalPoint(t *testing.T) {
	slipped := Crop{Name: "fennel", LengthMM: 58.87, WidthMM: 18.96, ThicknessMM: 15.64, TSWG: 7.3}
	assert.EqualError(t, slipped.Check(), `seed length "58.87": want 0.2 to 30 mm`)
	right := Crop{Name: "fennel", LengthMM: 5.887, WidthMM: 1.896, ThicknessMM: 1.564, TSWG: 7.3}
	assert.NoError(t, right.Check())
	one := right
	one.WidthMM = 18.96
	assert.EqualError(t, one.Check(), `seed size "5.887 x 18.96 x 1.564 mm at 7.3 g per thousand": want a size that goes with the mass (this size gives about 101 g)`)
	mass := right
	mass.TSWG = 0.73
	assert.Error(t, mass.Check())
	small := Crop{Name: "chia", LengthMM: 21.1, WidthMM: 1.32, ThicknessMM: 0.81, TSWG: 1.32}
	assert.Error(t, small.Check())
	assert.EqualError(t, Crop{Name: "x", DaysMin: 12, DaysMax: 8}.Check(), `days to harvest "12-8": want the shorter first`)
	assert.EqualError(t, Crop{}.Check(), `crop "": want a name`)
}

func shipped(t *testing.T, names ...string) []Crop {
	t.Helper()
	var out []Crop
	for _, n := range names {
		c, err := Farm{}.Crop(n)
		require.NoError(t, err)
		out = append(out, c)
	}
	return out
}

func TestSeedFindings(t *testing.T) {
	mesh := func(aperture float64, layers int) Mat {
		m := testMat()
		m.ApertureMM, m.Layers = aperture, layers
		return m
	}
	own := Crop{Name: "mystery", RootMM: 0.3}
	for _, k := range []struct {
		name  string
		mat   Mat
		crops []Crop
		texts []string // rule: text
	}{
		{"no crop asked", mesh(1, 1), nil, nil},
		{"held", mesh(0.85, 1), shipped(t, "chia"), nil},
		{"the tail may fall", mesh(1, 1), shipped(t, "chia"), []string{
			"fine-seed: chia seed is about 1.10 mm across, the opening 1.00 mm: the smaller seeds of a lot may fall through (held to the last when the opening is at most 0.88 mm)"}},
		{"two layers", mesh(1, 2), shipped(t, "chia"), nil},
		{"falls", mesh(1.18, 2), shipped(t, "chia"), []string{
			"fine-seed: chia seed is about 1.10 mm across, the opening 1.18 mm: it will fall through; use a finer mesh, or sow on a misted mat and do not shake it"}},
		{"a mix: the finest and the thickest both speak", mesh(1, 1), shipped(t, "pea", "amaranth", "kale"), []string{
			"fine-seed: amaranth seed is about 1.01 mm across, the opening 1.00 mm: the smaller seeds of a lot may fall through (held to the last when the opening is at most 0.81 mm)",
			"coarse-root: pea roots grow to about 2.0 mm, wider than the opening of 1.00 mm: pull them while fresh, they lock as they thicken"}},
		{"the coarsest seed is not the thickest root", mesh(0.9, 1), shipped(t, "cilantro", "radish"), []string{
			"coarse-root: radish roots grow to about 1.0 mm, wider than the opening of 0.90 mm: pull them while fresh, they lock as they thicken"}},
		{"a mix with seed of unknown size", mesh(1.2, 1), append([]Crop{own}, shipped(t, "chia")...), []string{
			"seed-size: the size of mystery seed is not on file; compare it with the mesh by eye",
			"fine-seed: chia seed is about 1.10 mm across, the opening 1.20 mm: it will fall through; use a finer mesh, or sow on a misted mat and do not shake it"}},
		{"only seed of unknown size", mesh(0.2, 1), []Crop{own}, []string{
			"seed-size: the size of mystery seed is not on file; compare it with the mesh by eye",
			"coarse-root: mystery roots grow to about 0.3 mm, wider than the opening of 0.20 mm: pull them while fresh, they lock as they thicken"}},
		{"unknown mesh", mesh(0, 1), shipped(t, "chia"), []string{
			"seed-size: the mat's opening is not on file, so no seed can be compared with it; measure it and record it with a look"}},
	} {
		t.Run(k.name, func(t *testing.T) {
			c := testCondition(Ready)
			c.Mat = k.mat
			v := Judge(c, Farm{}, testNow, k.crops...)
			var texts []string
			p := Policy{}
			for _, f := range v.Findings {
				assert.Equal(t, Care, f.Severity)
				assert.NotEmpty(t, f.Source)
				texts = append(texts, f.Rule+": "+f.Text)
				r, _ := RuleNamed(f.Rule)
				p = p.with(Setting{Rule: f.Rule, On: false, Limit: r.Default})
			}
			assert.Equal(t, k.texts, texts)
			assert.Equal(t, len(texts) > 0, v.Word == SowWithCare)
			off := Judge(c, Farm{Policy: p}, testNow, k.crops...)
			require.Len(t, off.Findings, len(v.Findings), "switched off")
			for i, f := range off.Findings {
				assert.Equal(t, v.Findings[i].Text+"; the farm has switched this rule off", f.Text)
			}
		})
	}
}

// TestSowKeepsItsFigures: the step carries the crop table's figures of the day.
// TestSeedLotsAreSaidForAllOrForEach: what names no crop is one lot, as it was said.
func TestSeedLotsAreSaidForAllOrForEach(t *testing.T) {
	for _, k := range []struct {
		said, all, kale, chia string
	}{
		{"S88", "S88", "", ""},
		{"S88,S89", "S88,S89", "", ""},
		{"A = B", "A = B", "", ""},
		{"kale=B7, chia=S88", "", "B7", "S88"},
		{"Kale=B7", "", "B7", ""},
	} {
		b := &Sow{Crops: []Sown{{Crop: "kale"}, {Crop: "chia"}}}
		b.saySeedLots(k.said)
		assert.Equal(t, []string{k.all, k.kale, k.chia}, []string{b.SeedLot, b.Crops[0].SeedLot, b.Crops[1].SeedLot}, k.said)
	}
}

func TestSowKeepsItsFigures(t *testing.T) {
	f := testFarm()
	s, err := Admit(testCondition(Ready), f, testStep(&Sow{Crops: []Sown{{Crop: " Kale", SeedG: 28}, {Crop: "CHIA"}}, Lot: "K-7", SeedLot: "S1"}), testNow)
	require.NoError(t, err)
	c := testCondition(Ready).Apply(s)
	assert.Equal(t, "chia + kale", CropName(c.Crops))
	assert.Equal(t, 28.0, c.Crops[0].SeedG)
	assert.InDelta(t, 1.85, c.Crops[0].SizeMM, 1e-9)
	assert.Equal(t, Sown{Crop: "kale", SeedG: 28, SizeMM: c.Crops[0].SizeMM, DaysMin: 8, DaysMax: 12, DarkDays: 2, MistDark: 2,
		MistLight: 1, Weighted: true}, c.Crops[0])
	assert.Equal(t, "K-7", c.Lot)
	assert.Equal(t, "S1", c.SeedLot)
	assert.False(t, c.Cleared)
	assert.Equal(t, 7, c.Turn)
}
