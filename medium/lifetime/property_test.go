package lifetime

import (
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// mats draws records as they occur: whole and broken turns, ties, mats taken
// over in mid-life.
func mats(least int) *rapid.Generator[[]Observation] {
	one := rapid.Custom(func(t *rapid.T) Observation {
		o := Observation{
			Turns:   float64(rapid.IntRange(1, 25).Draw(t, "turns")),
			Retired: rapid.Bool().Draw(t, "retired"),
			Cause:   rapid.SampledFrom([]string{"cut", "mold", "wear", ""}).Draw(t, "cause"),
		}
		if rapid.IntRange(0, 3).Draw(t, "broken") == 0 {
			o.Turns += rapid.Float64Range(0, 1).Draw(t, "part")
		}
		if rapid.IntRange(0, 4).Draw(t, "late") == 0 {
			o.From = o.Turns * rapid.Float64Range(0, .9).Draw(t, "from")
		}
		return o
	})
	return rapid.SliceOfN(one, least, 40)
}

// noNaN walks a result and fails on any float that is not finite.
func noNaN(t interface{ Fatalf(string, ...any) }, what string, v any) {
	walk(reflect.ValueOf(v), func(f float64) {
		if !finite(f) {
			t.Fatalf("%s holds %v: %+v", what, f, v)
		}
	})
}

func walk(v reflect.Value, visit func(float64)) {
	switch v.Kind() {
	case reflect.Float64:
		visit(v.Float())
	case reflect.Struct:
		for i := range v.NumField() {
			walk(v.Field(i), visit)
		}
	case reflect.Slice:
		for i := range v.Len() {
			walk(v.Index(i), visit)
		}
	}
}

func TestCurveProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		obs := mats(1).Draw(t, "mats")
		band := rapid.SampledFrom([]Band{LogLog, Log, Plain}).Draw(t, "band")
		c, err := KaplanMeier(obs, .95, band)
		if err != nil {
			t.Fatalf("%v", err)
		}
		noNaN(t, "curve", c)
		last, lastH := 1.0, 0.0
		for _, p := range c.Points {
			if p.S > last || p.S < 0 || p.Low > p.S || p.High < p.S || p.Low < 0 || p.High > 1 || p.H < lastH {
				t.Fatalf("point %+v after S %g H %g", p, last, lastH)
			}
			if p.AtRisk < p.Retired+p.Censored {
				t.Fatalf("more mats leave than are at risk: %+v", p)
			}
			last, lastH = p.S, p.H
		}
		turns := -1.0
		for _, share := range []float64{.05, .25, .5, .75, .95} {
			q, err := c.Quantile(share)
			if err != nil {
				t.Fatalf("%v", err)
			}
			if q.At.Reached && q.At.Turns < turns {
				t.Fatalf("quantiles fall: %g at %g", q.At.Turns, share)
			}
			if q.At.Reached {
				turns = q.At.Turns
			}
			if q.Low.Reached && q.At.Reached && q.Low.Turns > q.At.Turns+1e-9 {
				t.Fatalf("interval out of order: %+v", q)
			}
			if q.High.Reached && (!q.At.Reached || q.High.Turns < q.At.Turns-1e-9) {
				t.Fatalf("interval out of order: %+v", q)
			}
		}
		m, err := c.RestrictedMean(0)
		if err != nil {
			t.Fatalf("%v", err)
		}
		if m.Value < 0 || m.Value > m.Until+1e-9 || m.Low > m.Value || m.High < m.Value-1e-9 {
			t.Fatalf("restricted mean %+v", m)
		}

		curves, err := CumulativeIncidence(obs, .95)
		if err != nil {
			t.Fatalf("%v", err)
		}
		noNaN(t, "incidence", curves)
		for i := range curves {
			for j, p := range curves[i].Points {
				if p.Low > p.F || p.High < p.F || (j > 0 && p.F < curves[i].Points[j-1].F) {
					t.Fatalf("incidence %+v", p)
				}
			}
		}
		if len(curves) > 0 {
			for j, p := range curves[0].Points {
				sum := 0.0
				for i := range curves {
					sum += curves[i].Points[j].F
				}
				if s, _ := c.At(p.Turns); math.Abs(sum+s.S-1) > 1e-9 {
					t.Fatalf("causes add up to %g, survival is %g", sum, s.S)
				}
			}
		}
	})
}

func TestOrderDoesNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		obs := mats(2).Draw(t, "mats")
		mixed := slices.Clone(obs)
		rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0)).Shuffle(len(mixed), func(i, j int) {
			mixed[i], mixed[j] = mixed[j], mixed[i]
		})
		same := func(a, b any, errA, errB error) {
			if (errA == nil) != (errB == nil) || !reflect.DeepEqual(a, b) {
				t.Fatalf("%+v (%v)\n%+v (%v)", a, errA, b, errB)
			}
		}
		c1, e1 := KaplanMeier(obs, .95, LogLog)
		c2, e2 := KaplanMeier(mixed, .95, LogLog)
		same(c1, c2, e1, e2)
		i1, e1 := CumulativeIncidence(obs, .95)
		i2, e2 := CumulativeIncidence(mixed, .95)
		same(i1, i2, e1, e2)
		f1, e1 := FitWeibull(obs, .95)
		f2, e2 := FitWeibull(mixed, .95)
		same(f1, f2, e1, e2)
	})
}

func TestFitIsTheMaximum(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		obs := mats(2).Draw(t, "mats")
		f, err := FitWeibull(obs, .95)
		if err != nil {
			if !errors.As(err, new(*NoEstimate)) && !errors.As(err, new(*TooLittle)) {
				t.Fatalf("%v", err)
			}
			return
		}
		noNaN(t, "fit", f)
		logLik := func(w Weibull) float64 {
			sum := 0.0
			for _, o := range obs {
				sum -= math.Pow(o.Turns/w.Scale, w.Shape) - math.Pow(o.From/w.Scale, w.Shape)
				if o.Retired {
					sum += math.Log(w.Shape/w.Scale) + (w.Shape-1)*math.Log(o.Turns/w.Scale)
				}
			}
			return sum
		}
		best := logLik(f.Weibull)
		if math.Abs(best-f.LogLik) > 1e-6*(1+math.Abs(best)) {
			t.Fatalf("log likelihood %g, by definition %g", f.LogLik, best)
		}
		for _, step := range [][2]float64{{1e-3, 0}, {-1e-3, 0}, {0, 1e-3}, {0, -1e-3}, {1e-3, 1e-3}, {-1e-3, 1e-3}} {
			near := Weibull{f.Shape * math.Exp(step[0]), f.Scale * math.Exp(step[1])}
			if logLik(near) > best+1e-7*(1+math.Abs(best)) {
				t.Fatalf("%+v is better than %+v", near, f.Weibull)
			}
		}
		for _, age := range []float64{0, 1, 7, 30, 300} {
			w := f.Weibull
			for _, v := range []float64{w.MeanRemaining(age), w.MedianRemaining(age), w.ChanceRetired(age, 3), w.Survival(age)} {
				if !finite(v) || v < 0 {
					t.Fatalf("age %g of %+v: %g", age, w, v)
				}
			}
			if e, err := f.MedianRemainingTurns(age); err == nil {
				noNaN(t, "median remaining", e)
				if e.Low > e.Value || e.High < e.Value {
					t.Fatalf("%+v", e)
				}
			}
		}
	})
}

func TestFitScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		obs := mats(3).Draw(t, "mats")
		for i := range obs {
			obs[i].From = 0
		}
		f, err := FitWeibull(obs, .95)
		if err != nil {
			return
		}
		for i := range obs {
			obs[i].Turns *= 7
		}
		g, err := FitWeibull(obs, .95)
		if err != nil {
			t.Fatalf("%v", err)
		}
		if math.Abs(g.Shape/f.Shape-1) > 1e-9 || math.Abs(g.Scale/f.Scale/7-1) > 1e-9 {
			t.Fatalf("%+v, seven times as long %+v", f.Weibull, g.Weibull)
		}
	})
}

func TestLogRankProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		groups := []Group{{"a", mats(1).Draw(t, "a")}, {"b", mats(1).Draw(t, "b")}, {"c", mats(1).Draw(t, "c")}}
		r, err := LogRank(groups)
		if err != nil {
			if !errors.As(err, new(*NoEstimate)) {
				t.Fatalf("%v", err)
			}
			return
		}
		noNaN(t, "log-rank", r)
		observed, expected := 0, 0.0
		for _, g := range r.Groups {
			observed += g.Observed
			expected += g.Expected
		}
		if math.Abs(float64(observed)-expected) > 1e-9*float64(1+observed) || r.P < 0 || r.P > 1 {
			t.Fatalf("%+v", r)
		}
		turned, err := LogRank([]Group{groups[2], groups[0], groups[1]})
		if err != nil || math.Abs(turned.ChiSquare-r.ChiSquare) > 1e-6*(1+r.ChiSquare) || turned.DF != r.DF {
			t.Fatalf("order of groups: %g on %d, %g on %d (%v)", r.ChiSquare, r.DF, turned.ChiSquare, turned.DF, err)
		}
	})
}

func counts(name string) *rapid.Generator[Count] {
	return rapid.Custom(func(t *rapid.T) Count {
		n := rapid.IntRange(1, 60).Draw(t, "trials")
		return Count{Name: name, Hits: rapid.IntRange(0, n).Draw(t, "hits"), Trials: n}
	})
}

func TestProportionProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := counts("a").Draw(t, "count")
		level := rapid.Float64Range(.5, .999).Draw(t, "level")
		flipped := Count{Hits: c.Trials - c.Hits, Trials: c.Trials}
		for _, f := range []func(Count) (Interval, error){
			func(c Count) (Interval, error) { return c.Wilson(level) },
			func(c Count) (Interval, error) { return c.ClopperPearson(level) },
		} {
			a, err := f(c)
			b, err2 := f(flipped)
			if err != nil || err2 != nil {
				t.Fatalf("%v %v", err, err2)
			}
			noNaN(t, "interval", a)
			if !(0 <= a.Low && a.Low <= c.Share() && c.Share() <= a.High && a.High <= 1 && a.Low < a.High) {
				t.Fatalf("%+v", a)
			}
			if math.Abs(a.Low-(1-b.High)) > 1e-9 || math.Abs(a.High-(1-b.Low)) > 1e-9 {
				t.Fatalf("hits and misses do not mirror: %+v %+v", a, b)
			}
		}
	})
}

// exactFisher sums the tables in whole numbers.
func exactFisher(a, b Count) (two, greater, less float64) {
	hits := a.Hits + b.Hits
	ways := func(x int) *big.Int {
		w := new(big.Int).Binomial(int64(a.Trials), int64(x))
		return w.Mul(w, new(big.Int).Binomial(int64(b.Trials), int64(hits-x)))
	}
	total := new(big.Int).Binomial(int64(a.Trials+b.Trials), int64(hits))
	sums := [3]*big.Int{new(big.Int), new(big.Int), new(big.Int)}
	for x := max(0, hits-b.Trials); x <= min(hits, a.Trials); x++ {
		w := ways(x)
		if w.Cmp(ways(a.Hits)) <= 0 {
			sums[0].Add(sums[0], w)
		}
		if x >= a.Hits {
			sums[1].Add(sums[1], w)
		}
		if x <= a.Hits {
			sums[2].Add(sums[2], w)
		}
	}
	share := func(s *big.Int) float64 {
		f, _ := new(big.Rat).SetFrac(s, total).Float64()
		return f
	}
	return share(sums[0]), share(sums[1]), share(sums[2])
}

func TestFisherAgainstWholeNumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := counts("a").Draw(t, "a"), counts("b").Draw(t, "b")
		c, err := Compare(a, b, .95)
		if err != nil {
			if !errors.As(err, new(*NoEstimate)) {
				t.Fatalf("%v", err)
			}
			return
		}
		noNaN(t, "comparison", c)
		two, greater, less := exactFisher(a, b)
		if math.Abs(c.P-two) > 1e-10 || math.Abs(c.Greater-greater) > 1e-10 || math.Abs(c.Less-less) > 1e-10 {
			t.Fatalf("%g %g %g, exactly %g %g %g", c.P, c.Greater, c.Less, two, greater, less)
		}
		if c.Difference.Low > a.Share()-b.Share() || c.Difference.High < a.Share()-b.Share() {
			t.Fatalf("%+v", c)
		}
	})
}

func TestTrendAgainstPairs(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s Series
		for range rapid.IntRange(2, 30).Draw(t, "n") {
			s.Points = append(s.Points, Reading{float64(rapid.IntRange(0, 12).Draw(t, "turn")), float64(rapid.IntRange(0, 9).Draw(t, "value"))})
		}
		var sum int64
		var slopes []float64
		for i, p := range s.Points {
			for _, q := range s.Points[i+1:] {
				dx, dy := q.Turn-p.Turn, q.Value-p.Value
				switch {
				case dx*dy > 0:
					sum++
				case dx*dy < 0:
					sum--
				}
				if dx != 0 {
					slopes = append(slopes, dy/dx)
				}
			}
		}
		got, err := FindTrend([]Series{s}, .95)
		if len(slopes) == 0 {
			if err == nil {
				t.Fatalf("a trend from one turn")
			}
			return
		}
		if err != nil {
			t.Fatalf("%v", err)
		}
		noNaN(t, "trend", got)
		slices.Sort(slopes)
		if got.S != sum || math.Abs(got.Slope.Value-median(slopes)) > 1e-12 {
			t.Fatalf("S %d slope %g, by pairs %d %g", got.S, got.Slope.Value, sum, median(slopes))
		}
		if got.P < 0 || got.P > 1 || got.Slope.Low > got.Slope.Value || got.Slope.High < got.Slope.Value {
			t.Fatalf("%+v", got)
		}
	})
}

func TestHolmProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := rapid.SliceOfN(rapid.Float64Range(0, 1), 0, 12).Draw(t, "p")
		adjusted, err := Holm(p)
		if err != nil {
			t.Fatalf("%v", err)
		}
		for i := range p {
			if adjusted[i] < p[i] || adjusted[i] > 1 || adjusted[i] > p[i]*float64(len(p))+1e-15 {
				t.Fatalf("%v %v", p, adjusted)
			}
			for j := range p {
				if p[i] < p[j] && adjusted[i] > adjusted[j] {
					t.Fatalf("order changed: %v %v", p, adjusted)
				}
			}
		}
	})
}

func TestChartProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var weeks []Week
		for range rapid.IntRange(0, 40).Draw(t, "weeks") {
			n := rapid.IntRange(0, 80).Draw(t, "turns")
			weeks = append(weeks, Week{Turns: n, Moldy: rapid.IntRange(0, n).Draw(t, "moldy")})
		}
		kind := rapid.SampledFrom([]ChartKind{PChart, LaneyChart}).Draw(t, "kind")
		c, err := ControlChart(weeks, rapid.IntRange(0, len(weeks)).Draw(t, "baseline"), kind)
		if err != nil {
			if !errors.As(err, new(*TooLittle)) {
				t.Fatalf("%v", err)
			}
			return
		}
		noNaN(t, "chart", c)
		for _, w := range c.Weeks {
			if !w.Plotted {
				continue
			}
			if w.Low > c.Centre || w.High < c.Centre || w.FalseAlarm < 0 || w.FalseAlarm > 1 {
				t.Fatalf("%+v, centre %g", w, c.Centre)
			}
		}
		if c.FalseAlarmChance < 0 || c.FalseAlarmChance > 1 {
			t.Fatalf("%g", c.FalseAlarmChance)
		}
	})
}

func TestCostProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		money := rapid.Float64Range(0, 50)
		mat := MatCost{Mesh: money.Draw(t, "mesh"), Label: money.Draw(t, "label"), SanitizerPerTurn: money.Draw(t, "sanitizer"),
			Minutes: Estimate{Value: 2, Low: money.Draw(t, "low"), High: money.Draw(t, "high")}, LaborPerHour: money.Draw(t, "wage")}
		life := Estimate{Value: 1 + money.Draw(t, "life"), Low: money.Draw(t, "shortest"), High: money.Draw(t, "longest")}
		c, err := CostPerTurn(mat, life, Medium{PerSowing: money.Draw(t, "medium")})
		if err != nil {
			t.Fatalf("%v", err)
		}
		noNaN(t, "costs", c)
		if c.PerTurn.Low > c.PerTurn.Value+1e-9 || c.PerTurn.High < c.PerTurn.Value-1e-9 {
			t.Fatalf("%+v", c)
		}
		if !c.Latest.Never && (c.BreakEven.Never || c.Earliest.Turns > c.BreakEven.Turns || c.BreakEven.Turns > c.Latest.Turns) {
			t.Fatalf("%+v", c)
		}
		if !c.BreakEven.Never && c.BreakEven.Turns > 0 {
			spent := c.UpFront.Value + float64(c.BreakEven.Turns)*(c.Running.Value-c.Medium)
			if spent > 1e-6*float64(c.BreakEven.Turns)+1e-6 {
				t.Fatalf("not yet paid back: %g left of %+v", spent, c)
			}
		}
	})
}

func TestRefusals(t *testing.T) {
	l := DefaultLimits()
	few := parseMats(t, "5 6 7+ 8+")
	var little *TooLittle
	require.ErrorAs(t, l.Curve(few), &little)
	require.Equal(t, 3, little.Missing())
	require.Equal(t, "too little data for the life of these mats: 2 retired mats, at least 5 needed; until then give the retirements per turn with their exact interval (RetirementRate)", little.Error())
	require.ErrorAs(t, l.Fit(few), &little)
	require.NoError(t, l.Curve(parseMats(t, sixMP)))
	require.NoError(t, l.Fit(parseMats(t, sixMP)))
	require.ErrorAs(t, l.Rate(Count{Hits: 0, Trials: 3}), &little)
	require.ErrorAs(t, l.Chart(make([]Week, 30), 0), &little, "weeks without harvests do not count")
	require.ErrorAs(t, l.Trend([]Series{{Points: make([]Reading, 1)}, {Points: make([]Reading, 1)}}), &little)
	r, err := LogRank([]Group{{"polyester", few}, {"nylon", parseMats(t, "3 4 5+")}})
	require.NoError(t, err)
	require.ErrorAs(t, l.Comparison(r), &little)
	for _, err := range []error{
		errOf(KaplanMeier(nil, .95, LogLog)), errOf(RetirementRate(nil, .95)), errOf(LogRank(nil)),
		errOf(Count{}.Wilson(.95)), errOf(Count{}.ClopperPearson(.95)), errOf(ControlChart(nil, 0, PChart)),
	} {
		require.ErrorAs(t, err, &little)
		require.NotEmpty(t, little.Advice)
	}
	for _, err := range []error{
		errOf(KaplanMeier(few, 1, LogLog)), errOf(KaplanMeier(few, math.NaN(), LogLog)), errOf(KaplanMeier(few, .95, 9)),
		errOf(KaplanMeier([]Observation{{Turns: math.NaN()}}, .95, LogLog)), errOf(KaplanMeier([]Observation{{Turns: -1}}, .95, LogLog)),
		errOf(KaplanMeier([]Observation{{Turns: 3, From: 3}}, .95, LogLog)), errOf(Count{Hits: 3, Trials: 2}.Wilson(.95)),
		errOf(ControlChart([]Week{{Turns: 1, Moldy: 2}}, 0, PChart)), errOf(ControlChart(nil, 1, PChart)),
		errOf(CompareYields([]Harvest{{PerSeed: -1}})), errOf(TurnsPerMat([]int{1}, 0)),
	} {
		require.ErrorAs(t, err, new(*Invalid))
	}
}

func errOf[T any](_ T, err error) error { return err }
