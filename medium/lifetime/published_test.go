package lifetime

import (
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// parseMats reads "6 6+ 500+x10 3@7": turns, + for still in use, xN or N@ for
// several like it.
func parseMats(t testing.TB, text string) []Observation {
	t.Helper()
	var obs []Observation
	for _, word := range strings.Fields(text) {
		count := 1
		if n, rest, ok := strings.Cut(word, "@"); ok {
			count, word = atoi(t, n), rest
		}
		if rest, n, ok := strings.Cut(word, "x"); ok {
			count, word = atoi(t, n), rest
		}
		turns, err := strconv.ParseFloat(strings.TrimSuffix(word, "+"), 64)
		require.NoError(t, err)
		for range count {
			obs = append(obs, Observation{Turns: turns, Retired: !strings.HasSuffix(word, "+")})
		}
	}
	return obs
}

func atoi(t testing.TB, s string) int {
	t.Helper()
	n, err := strconv.Atoi(s)
	require.NoError(t, err)
	return n
}

func numbers(t testing.TB, text string) []float64 {
	t.Helper()
	var xs []float64
	for _, word := range strings.Fields(text) {
		x, err := strconv.ParseFloat(word, 64)
		require.NoError(t, err)
		xs = append(xs, x)
	}
	return xs
}

// near compares to a relative tolerance.
func near(t testing.TB, want, got, rel float64, what string) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Max(math.Abs(want), 1e-300) {
		t.Errorf("%s: want %.12g, got %.12g", what, want, got)
	}
}

// printed compares to half a unit of the last printed digit.
func printed(t testing.TB, want string, got float64, what string) {
	t.Helper()
	w, err := strconv.ParseFloat(want, 64)
	require.NoError(t, err)
	digits := 0
	if _, frac, ok := strings.Cut(want, "."); ok {
		digits = len(frac)
	}
	if math.Abs(got-w) > 0.5000001*math.Pow(10, -float64(digits)) {
		t.Errorf("%s: printed %s, got %.12g", what, want, got)
	}
}

const (
	// Freireich et al., Blood 21:699-716 (1963): remission in weeks.
	sixMP   = "6 6 6 7 10 13 16 22 23 6+ 9+ 10+ 11+ 17+ 19+ 20+ 25+ 32+ 32+ 34+ 35+"
	placebo = "1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23"
	// Miller 1997 (R survival::aml).
	amlMaintained = "9 13 13+ 18 23 28+ 31 34 45+ 48 161+"
	amlNot        = "5 5 8 8 12 16+ 23 27 30 33 43 45"
	// NIST/SEMATECH e-Handbook 8.4.1.3 (apr413).
	nistWeibull = "54 187 216 240 244 335 361 373 375 386 500+x10"
	// Meeker & Escobar 1998, table C.5: bearing cages.
	bearingCages = `288@50+ 148@150+ 1@230 124@250+ 1@334 111@350+ 1@423 106@450+ 99@550+ 110@650+ 114@750+ 119@850+
 127@950+ 1@990 1@1009 123@1050+ 93@1150+ 47@1250+ 41@1350+ 27@1450+ 1@1510 11@1550+ 6@1650+ 1@1850+ 2@2050+`
	// R genfan, SAS documentation: Nelson 1982, fans.
	fans = `450 460+ 1150 1150 1560+ 1600 1660+ 1850+x5 2030+x3 2070 2070 2080 2200+ 3000+x4 3100 3200+ 3450
 3750+x2 4150+x4 4300+x4 4600 4850+x4 5000+x3 6100+ 6100 6100+x2 6300+ 6450+x2 6700+ 7450+ 7800+x2 8100+x2
 8200+ 8500+x3 8750+ 8750 8750+ 9400+ 9900+ 10100+x3 11500+`
)

func TestKaplanMeierFreireich(t *testing.T) {
	// Freireich 1963, arm 6-MP. S is an exact fraction; the other digits were
	// recomputed in R survival 3.5-3 and in plain Python and agree.
	rows := []struct {
		turns, s, se, h, varH                               float64
		logLow, logHigh, llLow, llHigh, plainLow, plainHigh float64
	}{
		{6, 6. / 7, .0763603548, 1. / 7, .0068027211, .7198171, 1, .6197180, .9515517, .7074793, 1},
		{7, 96. / 119, .0869352852, 24. / 119, .0102629287, .6531242, .9964437, .5631466, .9228090, .6363327, .9771127},
		{10, 64. / 85, .0963496530, 479. / 1785, .0147073731, .5859190, .9675748, .5031995, .8893618, .5640993, .9417830},
		{13, 176. / 255, .1068147078, 837. / 2380, .0216518176, .5096131, .9347692, .4316102, .8490660, .4808431, .8995491},
		{16, 32. / 51, .1140538653, 11587. / 26180, .0299162804, .4393939, .8959949, .3675109, .8049122, .4039095, .8509924},
		{22, 64. / 119, .1282337517, 15327. / 26180, .0503244437, .3370366, .8582008, .2677789, .7467907, .2864816, .7891487},
		{23, 160. / 357, .1345914568, 59071. / 78540, .0781022214, .2487882, .8073720, .1880520, .6801426, .1843849, .7119737},
	}
	curves := map[Band]Curve{}
	for _, band := range []Band{LogLog, Log, Plain} {
		c, err := KaplanMeier(parseMats(t, sixMP), 0.95, band)
		require.NoError(t, err)
		curves[band] = c
	}
	for _, r := range rows {
		p, ok := curves[LogLog].At(r.turns)
		require.True(t, ok)
		require.True(t, p.Known)
		near(t, r.s, p.S, 1e-12, "S")
		near(t, r.se, p.SE, 1e-9, "Greenwood standard error")
		near(t, r.h, p.H, 1e-12, "Nelson-Aalen hazard")
		near(t, r.varH, p.HSE*p.HSE, 1e-8, "Nelson-Aalen variance")
		near(t, r.llLow, p.Low, 1e-6, "log-log lower")
		near(t, r.llHigh, p.High, 1e-6, "log-log upper")
		l, _ := curves[Log].At(r.turns)
		near(t, r.logLow, l.Low, 1e-6, "log lower (R default)")
		near(t, r.logHigh, l.High, 1e-6, "log upper (R default)")
		pl, _ := curves[Plain].At(r.turns)
		near(t, r.plainLow, pl.Low, 1e-6, "plain lower")
		near(t, r.plainHigh, pl.High, 1e-6, "plain upper")
	}
	assert.Equal(t, 21, curves[LogLog].Mats)
	assert.Equal(t, 9, curves[LogLog].Retired)

	// R print: 6MP 21 9 median 23, 0.95LCL 16, 0.95UCL NA (log); 13 with log-log and plain.
	assert.Equal(t, Quantile{At: Crossing{23, true}, Low: Crossing{16, true}}, curves[Log].Median())
	assert.Equal(t, Quantile{At: Crossing{23, true}, Low: Crossing{13, true}}, curves[LogLog].Median())
	assert.Equal(t, Quantile{At: Crossing{23, true}, Low: Crossing{13, true}}, curves[Plain].Median())
	q, err := curves[LogLog].Quantile(.25)
	require.NoError(t, err)
	assert.Equal(t, Crossing{13, true}, q.At)
	q, err = curves[LogLog].Quantile(.75)
	require.NoError(t, err)
	assert.False(t, q.At.Reached)

	// R placebo 21 21 median 8 (4, 12); S(8) standard error printed .106.
	pc, err := KaplanMeier(parseMats(t, placebo), 0.95, Log)
	require.NoError(t, err)
	assert.Equal(t, Quantile{Crossing{8, true}, Crossing{4, true}, Crossing{12, true}}, pc.Median())
	p8, _ := pc.At(8)
	near(t, 8./21, p8.S, 1e-12, "placebo S(8)")
	printed(t, "0.106", p8.SE, "placebo standard error at 8")
	end, ok := pc.At(23)
	require.True(t, ok)
	assert.Zero(t, end.S)
	assert.False(t, end.Known, "no standard error once S is 0")

	// Restricted means, R survival 3.5-3.
	m, err := curves[LogLog].RestrictedMean(35)
	require.NoError(t, err)
	printed(t, "23.28739", m.Value, "restricted mean to 35")
	printed(t, "2.82747", m.SE, "its standard error")
	m, err = curves[LogLog].RestrictedMean(23)
	require.NoError(t, err)
	printed(t, "17.90924", m.Value, "restricted mean to 23")
	printed(t, "1.55319", m.SE, "its standard error")
	m, err = pc.RestrictedMean(35)
	require.NoError(t, err)
	printed(t, "8.66667", m.Value, "placebo restricted mean")
	printed(t, "1.37739", m.SE, "its standard error")
}

func TestKaplanMeierAML(t *testing.T) {
	// R survival, tests/doaml.Rout.save: printed survival, std.err and default (log) limits.
	arms := map[string]struct {
		data string
		rows [][5]string
	}{
		"maintained": {amlMaintained, [][5]string{{"9", ".909", ".0867", ".7541", "1"}, {"13", ".818", ".1163", ".6192", "1"},
			{"18", ".716", ".1397", ".4884", "1"}, {"23", ".614", ".1526", ".3769", ".999"}, {"31", ".491", ".1642", ".2549", ".946"},
			{"34", ".368", ".1627", ".1549", ".875"}, {"48", ".184", ".1535", ".0359", ".944"}}},
		"not": {amlNot, [][5]string{{"5", ".8333", ".1076", ".6470", "1"}, {"8", ".6667", ".1361", ".4468", ".995"},
			{"12", ".5833", ".1423", ".3616", ".941"}, {"23", ".4861", ".1481", ".2675", ".883"}, {"27", ".3889", ".1470", ".1854", ".816"},
			{"30", ".2917", ".1387", ".1148", ".741"}, {"33", ".1944", ".1219", ".0569", ".664"}, {"43", ".0972", ".0919", ".0153", ".620"}}},
	}
	for name, arm := range arms {
		c, err := KaplanMeier(parseMats(t, arm.data), .95, Log)
		require.NoError(t, err)
		for _, r := range arm.rows {
			p, ok := c.At(numbers(t, r[0])[0])
			require.True(t, ok)
			printed(t, r[1], p.S, name+" S "+r[0])
			printed(t, r[2], p.SE, name+" se "+r[0])
			printed(t, r[3], p.Low, name+" lower "+r[0])
			printed(t, r[4], p.High, name+" upper "+r[0])
		}
	}
	// Median limits by transform: R prints 31 (18, NA) and 23 (8, NA) with log.
	type limits struct {
		low, high float64 // 0 for not reached
	}
	for _, c := range []struct {
		data string
		band Band
		at   float64
		want limits
	}{
		{amlMaintained, Log, 31, limits{18, 0}}, {amlMaintained, LogLog, 31, limits{13, 0}}, {amlMaintained, Plain, 31, limits{18, 48}},
		{amlNot, Log, 23, limits{8, 0}}, {amlNot, LogLog, 23, limits{5, 33}}, {amlNot, Plain, 23, limits{8, 33}},
	} {
		curve, err := KaplanMeier(parseMats(t, c.data), .95, c.band)
		require.NoError(t, err)
		m := curve.Median()
		assert.Equal(t, c.at, m.At.Turns)
		assert.Equal(t, c.want, limits{m.Low.Turns, m.High.Turns}, "%s band %d", c.data, c.band)
	}
}

func TestKaplanMeierNIST(t *testing.T) {
	// NIST/SEMATECH e-Handbook 8.2.1.5 (apr215): R(10) = 19/20, R(32) = 19/20 x 18/19.
	c, err := KaplanMeier(parseMats(t, "10 32 50+ 56 98 100+ 122 125+ 150+ 181 200+x10"), .95, LogLog)
	require.NoError(t, err)
	s := numbers(t, ".95 .90 .8470588235 .7941176471 .7373949580 .6703590527")
	se := numbers(t, ".0487339717 .0670820393 .0813883199 .0919212798 .1013568034 .1121406859")
	h := numbers(t, ".05 .1026315789 .1614551084 .2239551084 .2953836798 .3862927707")
	risk := []int{20, 19, 17, 16, 14, 11}
	for i, turns := range numbers(t, "10 32 56 98 122 181") {
		p, ok := c.At(turns)
		require.True(t, ok)
		near(t, s[i], p.S, 1e-9, "S")
		near(t, se[i], p.SE, 1e-8, "se")
		near(t, h[i], p.H, 1e-9, "H")
		assert.Equal(t, risk[i], p.AtRisk)
	}
	assert.False(t, c.Median().At.Reached)
}

func TestQuantileConvention(t *testing.T) {
	// Therneau, R survival tests/quantile: level stretches give their middle.
	c, err := KaplanMeier(parseMats(t, "1 1+ 6 6 8+ 9 10+"), .95, LogLog)
	require.NoError(t, err)
	for _, r := range []struct{ target, want float64 }{
		{6. / 7, 3.5}, {.5, 9}, {9. / 35, 9.5}, {13. / 14, 1}, {2. / 3, 6}, {.1, 0},
	} {
		q, err := c.Quantile(1 - r.target)
		require.NoError(t, err)
		assert.InDelta(t, r.want, q.At.Turns, 1e-12, "S = %g", r.target)
		assert.Equal(t, r.want > 0, q.At.Reached)
	}
	c, err = KaplanMeier(parseMats(t, "1 2 3 4"), .95, LogLog)
	require.NoError(t, err)
	assert.Equal(t, 2.5, c.Median().At.Turns)
}

func TestCurveEdges(t *testing.T) {
	at := func(data string, turns float64) Point {
		c, err := KaplanMeier(parseMats(t, data), .95, LogLog)
		require.NoError(t, err)
		p, ok := c.At(turns)
		require.True(t, ok)
		return p
	}
	// R survival on each: a retirement comes before a censoring at the same turn.
	p := at("4 4+ 7 9+", 4)
	assert.Equal(t, 4, p.AtRisk)
	near(t, .75, p.S, 1e-12, "S")
	near(t, .2165063509, p.SE, 1e-9, "se")
	p = at("4 4+ 7 9+", 7)
	near(t, .375, p.S, 1e-12, "S")
	near(t, .2864109810, p.SE, 1e-9, "se")
	near(t, .75, p.H, 1e-12, "H")
	p = at("5 5 5+ 7+ 9", 5)
	near(t, .6, p.S, 1e-12, "S")
	near(t, .2190890230, p.SE, 1e-9, "se")
	assert.InDelta(t, 1.4, at("5 5 5+ 7+ 9", 9).H, 1e-12)
	p = at("4 4 4", 4)
	assert.Zero(t, p.S)
	assert.InDelta(t, 1, p.H, 1e-12, "the hazard stays finite")
	assert.InDelta(t, 2./3, at("0 2 3+", 0).S, 1e-12, "a mat may fail in no turn")
	assert.InDelta(t, 1./3, at("0 2 3+", 2).S, 1e-12)
	// No mat retired: the exact one-sided bound .05^(1/n), not [1, 1].
	p = at("3+ 5+ 7+", 3)
	assert.Equal(t, 1., p.S)
	assert.False(t, p.Known)
	near(t, math.Pow(.05, 1./3), p.Low, 1e-12, "lower bound without a retirement")
	// Rounding must not part one turn in two (R's timefix).
	c, err := KaplanMeier([]Observation{{Turns: .1 + .2, Retired: true}, {Turns: .3, Retired: true}, {Turns: 1}}, .95, LogLog)
	require.NoError(t, err)
	assert.Len(t, c.Points, 2)
	// Past the last turn the curve is not known.
	_, ok := c.At(1.5)
	assert.False(t, ok)
	_, err = c.RestrictedMean(1.5)
	assert.ErrorAs(t, err, new(*Invalid))
	// R survfit with (start, stop]: n 3, 2, 1; S 2/3, 1/3, 0; se .2721655270.
	late := []Observation{{Turns: 4, Retired: true}, {Turns: 6}, {From: 3, Turns: 8, Retired: true}, {From: 5, Turns: 9, Retired: true}}
	c, err = KaplanMeier(late, .95, LogLog)
	require.NoError(t, err)
	for i, want := range []struct {
		turns, s float64
		n        int
	}{{4, 2. / 3, 3}, {8, 1. / 3, 2}, {9, 0, 1}} {
		p, ok := c.At(want.turns)
		require.True(t, ok)
		assert.InDelta(t, want.s, p.S, 1e-12)
		assert.Equal(t, want.n, p.AtRisk, "row %d", i)
		if want.s > 0 {
			near(t, .2721655270, p.SE, 1e-9, "se")
		}
	}
	// One mat in use, one mat retired.
	m, err := mustCurve(t, "5+").RestrictedMean(5)
	require.NoError(t, err)
	assert.Equal(t, 5., m.Value)
	assert.Equal(t, Quantile{At: Crossing{5, true}}, mustCurve(t, "5").Median())
}

func mustCurve(t testing.TB, data string) Curve {
	t.Helper()
	c, err := KaplanMeier(parseMats(t, data), .95, LogLog)
	require.NoError(t, err)
	return c
}

// R survival::lung (NCCTG).
const (
	lung1 = "306 455 1010+ 210 883 1022+ 218 166 170 71 567 144 613 707 88 301 624 371 394 574 118 390 12 26 533 53 814 93 460 583 303 519 643 189 53 246 689 65 132 223 175 163 65 428 230 840+ 11 132 11 176 791 95 196+ 806+ 284 147 163 655 239 88 30 179 310 477 364 107 177 156 11 429 15 181 283 13 212 524 288 363 442 54 558 207 92 60 202 353 267 387 457 337 404+ 222 458+ 353 163 31 229 444+ 156 329 291 179 292+ 142 413+ 320 181 285 301+ 197 303+ 180 300+ 284+ 259+ 110 286 270 81 131 225+ 269 225+ 279+ 135 59 105 237+ 221+ 185+ 13 222+ 183 197+ 116 188+ 191+ 174+"
	lung2 = "310 361 654 728 61 81 520 473 107 122 965+ 731 153 433 145 95 765 735 5 687 345 444 60 208 821+ 305 226 426 705 363 167 641 740+ 245 588+ 166 559+ 450 529+ 351 201 524 199 550 551+ 543+ 293 511+ 511+ 371 201 62 356+ 340 315+ 182 364+ 376+ 384+ 268 266+ 194 348 382+ 296+ 186 145 269+ 350 272+ 292+ 332+ 285 243+ 276+ 79 240+ 202+ 235+ 224+ 239 173+ 252+ 92+ 192+ 211+ 175+ 203+ 105+ 177+"
)

func TestKaplanMeierLung(t *testing.T) {
	// R survival 3.5-3 on its lung data; medians, S(365) and log-rank also in plain Python.
	c, err := KaplanMeier(parseMats(t, lung1+" "+lung2), .95, Log)
	require.NoError(t, err)
	assert.Equal(t, []int{228, 165}, []int{c.Mats, c.Retired})
	assert.Equal(t, Quantile{Crossing{310, true}, Crossing{285, true}, Crossing{363, true}}, c.Median())
	for _, r := range [][3]string{{"90", ".881579", ".0213982"}, {"180", ".721671", ".0298124"}, {"365", ".409242", ".0358236"}, {"730", ".115693", ".0282982"}} {
		p, ok := c.At(numbers(t, r[0])[0])
		require.True(t, ok)
		printed(t, r[1], p.S, "S "+r[0])
		printed(t, r[2], p.SE, "se "+r[0])
	}
	m, err := c.RestrictedMean(1022)
	require.NoError(t, err)
	printed(t, "376.275", m.Value, "restricted mean")
	printed(t, "19.7078", m.SE, "its standard error")
	fit, err := FitWeibull(parseMats(t, lung1+" "+lung2), .95)
	require.NoError(t, err)
	printed(t, "1.316840172", fit.Shape, "shape")
	printed(t, "417.7586654", fit.Scale, "scale")
	printed(t, "-1153.851188", fit.LogLik, "log likelihood")
}

func TestLogRank(t *testing.T) {
	cases := []struct {
		name               string
		a, b               string
		observed           int
		expected, variance float64
		chi, p             float64
	}{
		// Library test citing a lecture prints 16.8 and 4.17e-05; textbooks 16.793.
		{"Freireich 1963", sixMP, placebo, 9, 19.2505009480, 6.2569605737, 16.7929409892, 4.16880911e-05},
		// R survival doaml.Rout.save: E 10.69, chisq 3.4, p .07.
		{"Miller 1997 AML", amlNot, amlMaintained, 11, 18 - 10.6893359923, 0, 3.3963886990, .0653393220},
		// R survival::lung by sex.
		{"lung", lung1, lung2, 112, 91.581739, 0, 10.326741955, .001311164525},
		// Printed .254237 and .614107, then .384615 and .535143 (public library tests).
		{"three against three", "10 20 30", "10 20 50", 3, 2.5, .9833333333, 15. / 59, .6141071501},
		{"with censoring", "10 20+ 30", "10 20+ 50", 2, 1.5, .65, 5. / 13, .5351434524},
		{"one against one", "1", "2", 1, .5, 0, 1, .3173105079},
	}
	for _, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			r, err := LogRank([]Group{{"a", parseMats(t, c.a)}, {"b", parseMats(t, c.b)}})
			require.NoError(t, err)
			assert.Equal(t, c.observed, r.Groups[0].Observed)
			near(t, c.expected, r.Groups[0].Expected, 1e-7, "expected")
			if c.variance > 0 {
				near(t, c.variance, r.Groups[0].Variance, 1e-9, "variance")
			}
			near(t, c.chi, r.ChiSquare, 1e-9, "chi-square")
			near(t, c.p, r.P, 1e-8, "p")
			assert.Equal(t, 1, r.DF)
		})
	}
	// R survival doaml.Rout.save: a third group that is never at risk at a
	// retirement leaves 3.4 on one degree of freedom.
	r, err := LogRank([]Group{{"new", parseMats(t, "1+ 2+ 2+ 3+ 3+ 3+ 4+")}, {"m", parseMats(t, amlMaintained)}, {"n", parseMats(t, amlNot)}})
	require.NoError(t, err)
	assert.Equal(t, 1, r.DF)
	assert.True(t, r.Groups[0].Dropped)
	near(t, 3.3963886990, r.ChiSquare, 1e-9, "chi-square")
	_, err = LogRank([]Group{{"a", parseMats(t, "3+ 4+")}, {"b", parseMats(t, "5+ 6+")}})
	assert.ErrorAs(t, err, new(*NoEstimate), "no retirement: not testable, not p = NaN")
}

func TestLogRankOvarian(t *testing.T) {
	// R survival::ovarian by rx: chisq 1.1, p .3 printed; 1.0627398613, .302591117 recomputed.
	data := `59/1/1 115/1/1 156/1/1 421/0/2 431/1/1 448/0/1 464/1/2 475/1/2 477/0/1 563/1/2 638/1/1 744/0/2 769/0/2 770/0/2
 803/0/1 855/0/1 1040/0/1 1106/0/1 1129/0/2 1206/0/2 1227/0/2 268/1/1 329/1/1 353/1/2 365/1/2 377/0/2`
	groups := []Group{{Name: "1"}, {Name: "2"}}
	for _, row := range strings.Fields(data) {
		f := strings.Split(row, "/")
		g := &groups[atoi(t, f[2])-1]
		g.Observations = append(g.Observations, Observation{Turns: float64(atoi(t, f[0])), Retired: f[1] == "1"})
	}
	r, err := LogRank(groups)
	require.NoError(t, err)
	printed(t, "1.0627398613", r.ChiSquare, "chi-square")
	printed(t, "0.302591117", r.P, "p")
	near(t, 5.233531, r.Groups[0].Expected, 1e-6, "expected")
}

func TestCumulativeIncidencePublished(t *testing.T) {
	// Satagopan et al., Br J Cancer 91:1229 (2004), table 2: 305 patients, the
	// first nine by month, the others beyond month 27. Printed in percent.
	obs := []Observation{{Turns: 7}, {Turns: 10, Retired: true, Cause: "breast cancer"}, {Turns: 14},
		{Turns: 16, Retired: true, Cause: "breast cancer"}, {Turns: 18, Retired: true, Cause: "other"},
		{Turns: 23, Retired: true, Cause: "breast cancer"}, {Turns: 24}, {Turns: 26, Retired: true, Cause: "other"},
		{Turns: 27, Retired: true, Cause: "breast cancer"}}
	for len(obs) < 305 {
		obs = append(obs, Observation{Turns: 28})
	}
	curves, err := CumulativeIncidence(obs, .95)
	require.NoError(t, err)
	require.Len(t, curves, 2)
	want := map[float64]string{10: "0.3", 16: "0.7", 18: "0.7", 23: "1.0", 26: "1.0", 27: "1.3"}
	risk := map[float64]int{10: 304, 16: 302, 18: 301, 23: 300, 26: 298, 27: 297}
	survival := map[float64]string{10: "99.7", 16: "99.3", 18: "99.0", 23: "98.7", 26: "98.3", 27: "98.0"}
	km, err := KaplanMeier(obs, .95, LogLog)
	require.NoError(t, err)
	for i, p := range curves[0].Points {
		// The paper adds up steps already rounded to 0.3 %, so it prints 0.6, 0.9
		// and 1.2 where the sums are 0.7, 1.0 and 1.3; the single steps agree.
		printed(t, want[p.Turns], 100*p.F, "incidence")
		assert.Equal(t, risk[p.Turns], p.AtRisk)
		if p.Retired > 0 {
			before := 0.0
			if i > 0 {
				before = curves[0].Points[i-1].F
			}
			printed(t, "0.3", 100*(p.F-before), "step of the incidence")
		}
		s, ok := km.At(p.Turns)
		require.True(t, ok)
		printed(t, survival[p.Turns], 100*s.S, "overall survival")
		assert.InDelta(t, 1, s.S+p.F+curves[1].Points[i].F, 1e-12, "causes and survival add up")
	}
}

func TestCumulativeIncidenceOneCauseIsGreenwood(t *testing.T) {
	plain := parseMats(t, sixMP)
	late := parseMats(t, sixMP)
	for i := range late {
		if i%3 == 2 {
			late[i].From = late[i].Turns / 2
		}
	}
	for _, obs := range [][]Observation{plain, late} {
		curves, err := CumulativeIncidence(obs, .95)
		require.NoError(t, err)
		require.Len(t, curves, 1)
		c, err := KaplanMeier(obs, .95, LogLog)
		require.NoError(t, err)
		for _, p := range curves[0].Points {
			s, _ := c.At(p.Turns)
			near(t, 1-s.S, p.F, 1e-12, "1-S")
			near(t, s.SE, p.SE, 1e-10, "Greenwood")
		}
	}
}

func TestLifeRatio(t *testing.T) {
	// Freireich 1963: restricted means to 23 weeks 17.90924 and 8.66667 (R
	// survival), so 2.0664 times as long.
	a, b := mustCurve(t, sixMP), mustCurve(t, placebo)
	r, err := LifeRatio(a, b, 23)
	require.NoError(t, err)
	near(t, 17.90924/8.66667, r.Value, 1e-6, "ratio")
	near(t, r.Value*math.Hypot(1.55319/17.90924, 1.37739/8.66667), r.SE, 1e-5, "delta method")
	assert.Greater(t, r.Low, 1.)
	back, err := LifeRatio(b, a, 23)
	require.NoError(t, err)
	near(t, 1/r.Value, back.Value, 1e-12, "the other way round")
	near(t, 1/r.High, back.Low, 1e-12, "limits turn with it")
	// The placebo curve has reached 0, so the 6-MP follow-up sets the limit.
	r, err = LifeRatio(a, b, 0)
	require.NoError(t, err)
	assert.Equal(t, 35., r.Until)
	_, err = LifeRatio(mustCurve(t, "5+ 6+"), mustCurve(t, "5+ 7+"), 0)
	assert.ErrorAs(t, err, new(*NoEstimate))
}
