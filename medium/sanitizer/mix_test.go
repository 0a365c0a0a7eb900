package sanitizer

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestDiluteBleachToTwoHundred(t *testing.T) {
	m := must2(t, "200 ppm")(Dilute(bleach("5.25%wv"), strength(t, "200ppm"), GallonML, Use{}))
	// 5.25 % w/v is 50,006 mg/L available chlorine: 3785.41*200/50006.
	near(t, "stock", m.StockML, 15.14, 0.01)
	near(t, "strength", m.StrengthPPM, 200, 1e-9)
	near(t, "kitchen strength", m.Kitchen.StrengthPPM, 190.5, 0.1)
	near(t, "kitchen error", m.Kitchen.ErrorPercent, -4.75, 0.05)
	for _, r := range m.Recipes {
		if r.StrengthPPM > 200*(1+1e-6) {
			t.Errorf("%s recipe is over the ceiling: %+v", r.System, r)
		}
	}
	if len(m.Recipes) != 2 || !strings.Contains(m.Recipes[1].Text, "1 tbsp") {
		t.Errorf("recipes %+v", m.Recipes)
	}
	if m.RinseNeeded {
		t.Error("200 ppm is at the ceiling, not above")
	}
}

func TestMixJSONNames(t *testing.T) {
	m := must2(t, "mix")(Dilute(bleach("6%"), strength(t, "100ppm"), 1000, Use{}))
	data, err := json.Marshal(m)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{`"stock_ml":`, `"water_ml":`, `"strength_ppm":`, `"strength_percent_ww":`, `"cautions":[`} {
		if !strings.Contains(string(data), name) {
			t.Errorf("%s is missing in %s", name, data)
		}
	}
}

func TestMixRefusals(t *testing.T) {
	ppm := func(v float64) Strength { return Strength{v, MgPerL} }
	nan, inf := math.NaN(), math.Inf(1)
	first := func(_ Mix, err error) error { return err }
	for name, r := range map[string]struct {
		err  error
		kind any
	}{
		"stronger than stock":       {first(Dilute(peroxide("3%"), strength(t, "6%"), 1000, Use{RinseDeclared: true})), new(*TooStrongError)},
		"beyond the density table":  {first(Dilute(peroxide("35%"), strength(t, "90%"), 1000, Use{RinseDeclared: true})), new(*TooStrongError)},
		"over ceiling, no rinse":    {first(Dilute(bleach("6%"), ppm(201), 1000, Use{})), new(*CeilingError)},
		"over ceiling from stock":   {first(FromStock(bleach("6%"), ppm(400), 10, Use{})), new(*CeilingError)},
		"zero volume":               {first(Dilute(bleach("6%"), ppm(100), 0, Use{})), new(*AmountError)},
		"negative volume":           {first(Dilute(bleach("6%"), ppm(100), -5, Use{})), new(*AmountError)},
		"NaN volume":                {first(Dilute(bleach("6%"), ppm(100), nan, Use{})), new(*AmountError)},
		"infinite volume":           {first(Dilute(bleach("6%"), ppm(100), inf, Use{})), new(*AmountError)},
		"NaN target":                {first(Dilute(bleach("6%"), ppm(nan), 1000, Use{})), new(*AmountError)},
		"infinite target":           {first(Dilute(bleach("6%"), ppm(inf), 1000, Use{})), new(*AmountError)},
		"NaN stock":                 {first(Reverse(Stock{Active: Peroxide, Strength: Strength{nan, PercentWW}}, 1, 1, Use{})), new(*AmountError)},
		"a drop of a drop":          {first(Dilute(bleach("6%"), ppm(1), 100, Use{})), new(*TooSmallError)},
		"a grain of granules":       {first(Dilute(Stock{Active: CalciumHypochlorite, Strength: Strength{65, PercentAvail}}, ppm(50), 500, Use{})), new(*TooSmallError)},
		"granules by volume":        {first(Dilute(Stock{Active: CalciumHypochlorite, Strength: Strength{65, PercentWV}}, ppm(50), 5000, Use{})), new(*BasisError)},
		"bleach and peroxide":       {first(Blend(bleach("6%"), 1, peroxide("3%"), 1, Use{})), new(*MixedActivesError)},
		"peroxide and vinegar":      {first(Blend(peroxide("3%"), 1, Stock{Active: Acid, Strength: Strength{5, PercentWV}}, 1, Use{})), new(*MixedActivesError)},
		"quat and iodine":           {first(BlendTo(Stock{Active: Quat, Strength: Strength{5, PercentWV}}, Stock{Active: Iodophor, Strength: Strength{1, PercentWV}}, ppm(10), 1000, Use{})), new(*MixedActivesError)},
		"blend below both":          {first(BlendTo(peroxide("3%"), peroxide("35%"), strength(t, "1%"), 1000, Use{RinseDeclared: true})), new(*TooWeakError)},
		"blend above both":          {first(BlendTo(peroxide("3%"), peroxide("35%"), strength(t, "40%"), 1000, Use{RinseDeclared: true})), new(*TooStrongError)},
		"strip above the stock":     {first(Adjust(bleach("1%"), 50_000, 1000, ppm(100), Use{})), new(*ReadingError)},
		"strip of NaN":              {first(Adjust(bleach("6%"), nan, 1000, ppm(100), Use{})), new(*AmountError)},
		"no such active":            {first(Dilute(Stock{Active: "soap", Strength: Strength{5, PercentWW}}, ppm(100), 1000, Use{})), new(*UnknownActiveError)},
		"no density":                {first(Dilute(Stock{Active: Quat, Strength: Strength{10, PercentWW}}, ppm(100), 1000, Use{})), new(*NoDensityError)},
		"strength and density odds": {first(Dilute(Stock{Active: Quat, Strength: Strength{150, PercentWV}, DensityGPerML: 0.9}, ppm(100), 1000, Use{})), new(*RangeError)},
	} {
		if r.err == nil || !errors.As(r.err, r.kind) {
			t.Errorf("%s: got %v, want %T", name, r.err, r.kind)
			continue
		}
		if text := r.err.Error(); !strings.ContainsAny(text, ";:") {
			t.Errorf("%s: no way out in %q", name, text)
		}
	}
}

func TestMixedActivesSayWhatHappens(t *testing.T) {
	for _, r := range []struct {
		a, b Active
		word string
	}{{Hypochlorite, Acid, "chlorine gas"}, {Acid, CalciumHypochlorite, "chlorine gas"}, {Peroxide, Acid, "peracetic"}, {Peroxide, Hypochlorite, "heat"}} {
		if text, known := Danger(r.a, r.b); !known || !strings.Contains(text, r.word) {
			t.Errorf("%s with %s: %q", r.a, r.b, text)
		}
	}
	if _, known := Danger(Acid, Quat); known {
		t.Error("an invented reaction")
	}
}

func TestAdjust(t *testing.T) {
	stock := bleach("5.25%wv")
	// Reads 120, wanted 200, 3785 mL: (200-120)/(50006-200)*3785 = 6.08 mL by
	// volumes; the mass balance differs in the third digit.
	m := must2(t, "up")(Adjust(stock, 120, GallonML, strength(t, "200ppm"), Use{}))
	near(t, "stock to add", m.StockML, 6.08, 0.02)
	near(t, "water to add", m.WaterML, 0, 0)
	for _, r := range m.Recipes {
		if r.StrengthPPM > 200.001 {
			t.Errorf("over the ceiling: %+v", r)
		}
	}
	// Reads 200, wanted 100: as much water again.
	m = must2(t, "down")(Adjust(stock, 200, 1000, strength(t, "100ppm"), Use{}))
	near(t, "water to add", m.WaterML, 1000, 1)
	near(t, "stock to add", m.StockML, 0, 0)
	near(t, "strength", m.StrengthPPM, 100, 1e-9)
	// Already right.
	m = must2(t, "right")(Adjust(stock, 100, 1000, strength(t, "100ppm"), Use{}))
	if m.StockML > 1e-9 || m.WaterML > 1e-9 || len(m.Notes) == 0 {
		t.Errorf("nothing to add: %+v", m)
	}
	// A dead solution is plain water.
	dead := must2(t, "dead")(Adjust(stock, 0, 1000, strength(t, "100ppm"), Use{}))
	fresh := must2(t, "fresh")(Dilute(stock, strength(t, "100ppm"), dead.FinalML, Use{}))
	near(t, "stock into a dead solution", dead.StockML, fresh.StockML, 1e-6)
}

func TestRecipesKeepTheLabelRange(t *testing.T) {
	m := must2(t, "tight")(Dilute(bleach("8.25%"), strength(t, "100ppm"), 1000, Use{LabelPPM: Window{99.5, 100.5}}))
	for _, r := range m.Recipes {
		if r.StrengthPPM < 99.5 || r.StrengthPPM > 100.5 {
			t.Errorf("recipe outside the label: %+v", r)
		}
	}
}

func TestFromStockMeasuresTheWater(t *testing.T) {
	m := must2(t, "100 mL")(FromStock(peroxide("35%"), strength(t, "3%"), 100, Use{RinseDeclared: true}))
	// 100 mL of 35 % make 1309 mL of 3 % (hand calculation 39.645/3.0283).
	near(t, "final", m.FinalML, 1309, 0.5)
	if len(m.Recipes) != 2 || !strings.Contains(m.Recipes[0].Text, "1.2 L water") {
		t.Fatalf("%+v", m.Recipes)
	}
	for _, r := range m.Recipes {
		back := must2(t, "back")(Reverse(peroxide("35%"), 100, r.MeasureML, Use{}))
		near(t, "recipe strength", back.StrengthPPM, r.StrengthPPM, 1e-6)
	}
}

func TestReverseNotesTheCeiling(t *testing.T) {
	m := must2(t, "2 tbsp")(Reverse(bleach("6%"), 2*TablespoonML, GallonML, Use{}))
	if !m.RinseNeeded || !strings.Contains(strings.Join(m.Notes, " "), "200") {
		t.Errorf("2 tbsp of 6 %% in a gallon: %+v", m)
	}
}

// genStock draws a stock that the handbook or a given density can carry.
func genStock(t *rapid.T) Stock {
	a := rapid.SampledFrom([]Active{Peroxide, Hypochlorite, PeroxyaceticAcid, Quat, Iodophor}).Draw(t, "active")
	s := Stock{Active: a}
	switch a {
	case Peroxide:
		s.Strength = Strength{rapid.Float64Range(2, 60).Draw(t, "percent"), rapid.SampledFrom([]Basis{PercentWW, PercentWV}).Draw(t, "basis")}
	case Hypochlorite:
		s.Strength = Strength{rapid.Float64Range(2, 11).Draw(t, "percent"), rapid.SampledFrom([]Basis{PercentWW, PercentWV, PercentTrade, PercentAvail}).Draw(t, "basis")}
	default:
		s.Strength = Strength{rapid.Float64Range(2, 20).Draw(t, "percent"), PercentWW}
		s.DensityGPerML = rapid.Float64Range(0.9, 1.3).Draw(t, "density")
	}
	return s
}

func TestMixAndUnmix(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stock := genStock(t)
		use := Use{RinseDeclared: true}
		full, err := stock.Strength.PPM(stock.Active, stock.DensityGPerML)
		if err != nil {
			t.Fatal(err)
		}
		target := Strength{full * rapid.Float64Range(0.001, 0.99).Draw(t, "share"), MgPerL}
		volume := rapid.Float64Range(500, 1e5).Draw(t, "volume")
		m, err := Dilute(stock, target, volume, use)
		if err != nil {
			t.Fatal(err)
		}
		back, err := Reverse(stock, m.StockML, m.WaterML, use)
		if err != nil {
			t.Fatal(err)
		}
		close := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-6*want {
				t.Fatalf("%s came back as %v, not %v", what, got, want)
			}
		}
		close("strength", back.StrengthPPM, target.Value)
		close("volume", back.FinalML, volume)
		same, err := FromStock(stock, target, m.StockML, use)
		if err != nil {
			t.Fatal(err)
		}
		close("water from stock", same.WaterML, m.WaterML)
		// Un-mix a reading: the diluted solution strengthened back to the
		// stock's half lands on the same amounts as mixing it at once.
		up, err := Adjust(stock, target.Value/2, volume, target, use)
		if err != nil {
			t.Fatal(err)
		}
		down, err := Adjust(stock, target.Value, up.FinalML, Strength{target.Value / 2, MgPerL}, use)
		if err != nil {
			t.Fatal(err)
		}
		if down.WaterML <= 0 || up.StockML <= 0 {
			t.Fatalf("nothing added: %+v %+v", up, down)
		}
	})
}

func TestStrengthGrowsWithStock(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stock := genStock(t)
		water := rapid.Float64Range(100, 1e5).Draw(t, "water")
		less := rapid.Float64Range(0.1, 1e4).Draw(t, "less")
		more := less * rapid.Float64Range(1.001, 10).Draw(t, "factor")
		weak, err := Reverse(stock, less, water, Use{})
		if err != nil {
			t.Fatal(err)
		}
		strong, err := Reverse(stock, more, water, Use{})
		if err != nil {
			t.Fatal(err)
		}
		if strong.StrengthPPM <= weak.StrengthPPM || strong.StrengthPercentWW <= weak.StrengthPercentWW {
			t.Fatalf("%v mL gives %v, %v mL gives %v", less, weak.StrengthPPM, more, strong.StrengthPPM)
		}
	})
}

func TestBlendAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := peroxide("35%"), peroxide("3%")
		a.Strength.Value = rapid.Float64Range(20, 60).Draw(t, "strong")
		b.Strength.Value = rapid.Float64Range(1, 15).Draw(t, "weak")
		target := Strength{b.Strength.Value + (a.Strength.Value-b.Strength.Value)*rapid.Float64Range(0.01, 0.99).Draw(t, "share"), PercentWW}
		m, err := BlendTo(a, b, target, 1000, Use{RinseDeclared: true})
		if err != nil {
			t.Fatal(err)
		}
		back, err := Blend(a, m.StockML, b, m.Stock2ML, Use{RinseDeclared: true})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(back.StrengthPercentWW-target.Value) > 1e-9*target.Value || math.Abs(back.FinalML-1000) > 1e-6 {
			t.Fatalf("%v in 1000 mL came back as %v in %v", target, back.StrengthPercentWW, back.FinalML)
		}
	})
}

func checkNoNonsense(t *testing.T, m Mix) {
	t.Helper()
	figures := map[string]float64{"stock": m.StockML, "grams": m.StockG, "second": m.Stock2ML, "water": m.WaterML, "final": m.FinalML, "ppm": m.StrengthPPM, "percent": m.StrengthPercentWW}
	if m.Kitchen != nil {
		figures["kitchen"], figures["kitchen ppm"] = m.Kitchen.StockML, m.Kitchen.StrengthPPM
	}
	for _, r := range m.Recipes {
		figures["recipe "+string(r.System)], figures["recipe ppm "+string(r.System)] = r.MeasureML, r.StrengthPPM
	}
	for name, v := range figures {
		if !(v >= 0) || math.IsInf(v, 0) {
			t.Fatalf("%s is %v in %+v", name, v, m)
		}
	}
	if len(m.Cautions) == 0 {
		t.Fatal("a number without cautions")
	}
}

func FuzzMix(f *testing.F) {
	f.Add(uint8(0), uint8(0), 35.0, 0.0, uint8(0), 3.0, 1000.0, 50.0, true)
	f.Add(uint8(1), uint8(0), 5.25, 1.07, uint8(5), 200.0, 3785.0, 15.0, false)
	f.Add(uint8(4), uint8(1), 10.0, 0.0, uint8(5), 200.0, 1e8, 1e-9, false)
	f.Add(uint8(2), uint8(3), 65.0, 0.0, uint8(5), 100.0, 1e-300, math.Inf(1), true)
	f.Add(uint8(7), uint8(7), math.NaN(), math.NaN(), uint8(2), math.SmallestNonzeroFloat64, math.MaxFloat64, math.Copysign(0, -1), true)
	bases := []Basis{PercentWW, PercentWV, PercentTrade, PercentAvail, GramPerL, MgPerL, MgPerKg, Volumes}
	f.Fuzz(func(t *testing.T, active, basis uint8, value, density float64, basis2 uint8, value2, ml, ml2 float64, rinse bool) {
		stock := Stock{Active: Actives()[int(active)%len(Actives())], Strength: Strength{value, bases[int(basis)%len(bases)]}, DensityGPerML: density}
		target := Strength{value2, bases[int(basis2)%len(bases)]}
		use := Use{RinseDeclared: rinse}
		try := func(m Mix, err error) {
			t.Helper()
			if err == nil {
				checkNoNonsense(t, m)
			}
		}
		try(Dilute(stock, target, ml, use))
		try(FromStock(stock, target, ml, use))
		try(Reverse(stock, ml, ml2, use))
		try(Adjust(stock, value2, ml, Strength{ml2, target.Basis}, use))
		other := stock
		other.Strength = target
		try(Blend(stock, ml, other, ml2, use))
		try(BlendTo(stock, other, Strength{(value + value2) / 2, stock.Strength.Basis}, ml, use))
	})
}
