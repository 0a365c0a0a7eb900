package lifetime

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestProportionPublished(t *testing.T) {
	// Newcombe 1998, Stat. Med. 17:857, table I prints the first four Wilson
	// intervals to four places; all digits as R prop.test(correct=FALSE) and
	// binom.test.
	for _, r := range []struct {
		x, n                       int
		wLow, wHigh, cpLow, cpHigh float64
		printedLow, printedHigh    string
	}{
		{81, 263, .2552885199, .3662095770, .2527367456, .3676219226, ".2553", ".3662"},
		{15, 148, .0623863995, .1604872417, .0578440101, .1616504903, ".0624", ".1605"},
		{0, 20, 0, .1611251581, 0, .1684334710, "0.0000", ".1611"},
		{1, 29, .0061132143, .1717552188, .0008726469, .1776442955, ".0061", ".1718"},
		{29, 29, .8830302015, 1, .8805551309, 1, "", ""},
		{0, 1, 0, .7934506856, 0, .975, "", ""},
		{1, 1, .2065493144, 1, .025, 1, "", ""},
		{0, 10, 0, .2775327999, 0, .3084971078, "", ""},
		{10, 10, .7224672001, 1, .6915028922, 1, "", ""},
		{2, 30, .0184770238, .2132345836, .0081781345, .2207354015, "", ""},
		{8, 30, .1418266332, .4444796170, .1227948099, .4588936514, "", ""},
		{4, 20, .0806576626, .4160174323, .0573339971, .4366140030, "", ""},
		{682, 925, .7079959876, .7646358010, .7076682641, .7654065582, "", ""},
		{1, 1000, .0001765464, .0056425586, .0000253175, .0055589243, "", ""},
		{0, 365, 0, .0104149323, 0, .0100556198, "", ""},
	} {
		t.Run(fmt.Sprintf("%d of %d", r.x, r.n), func(t *testing.T) {
			c := Count{Hits: r.x, Trials: r.n}
			w, err := c.Wilson(.95)
			require.NoError(t, err)
			cp, err := c.ClopperPearson(.95)
			require.NoError(t, err)
			assert.InDelta(t, r.wLow, w.Low, 6e-11)
			assert.InDelta(t, r.wHigh, w.High, 6e-11)
			assert.InDelta(t, r.cpLow, cp.Low, 6e-11)
			assert.InDelta(t, r.cpHigh, cp.High, 6e-11)
			if r.printedHigh != "" {
				printed(t, r.printedLow, w.Low, "Newcombe")
				printed(t, r.printedHigh, w.High, "Newcombe")
			}
		})
	}
	// NIST/SEMATECH e-Handbook 7.2.4.1: 26 of 200, one-sided 95 % lower limit
	// .09577, which is the lower end at 90 %; 4 of 20 exact at 90 %: .071354,
	// .401029 (the last digit there is off by one: exactly .4010281).
	w, err := Count{Hits: 26, Trials: 200}.Wilson(.90)
	require.NoError(t, err)
	printed(t, ".09577", w.Low, "NIST one-sided")
	cp, err := Count{Hits: 4, Trials: 20}.ClopperPearson(.90)
	require.NoError(t, err)
	printed(t, ".071354", cp.Low, "NIST")
	assert.InDelta(t, .401029, cp.High, 1e-5)
	near(t, .4010281173, cp.High, 1e-9, "exact")
	one, err := Count{Hits: 0, Trials: 365}.ClopperPearson(.90)
	require.NoError(t, err)
	near(t, .0081738962, one.High, 1e-8, "one-sided 95 % for a clean year")
}

func TestFisherPublished(t *testing.T) {
	for _, r := range []struct {
		name               string
		a, b               Count
		two, greater, less float64
	}{
		{"Fisher's tea (R fisher.test: p = 0.4857, greater .2429)", Count{"", 3, 4}, Count{"", 1, 4}, 17. / 35, 17. / 70, 69. / 70},
		{"Fisher 1962, convictions of twins", Count{"", 2, 17}, Count{"", 10, 13}, 3571. / 6653325, .9999845190, 619. / 1330665},
		{"2 of 30 against 9 of 28 (exact fractions)", Count{"", 2, 30}, Count{"", 9, 28}, .0189534602, .9981766291, .0150188179},
		{"0 of 10 against 5 of 10", Count{"", 0, 10}, Count{"", 5, 10}, 21. / 646, 1, 21. / 1292},
		{"4 of 15 against 16 of 25", Count{"", 4, 15}, Count{"", 16, 25}, .0483720651, .9960441532, .0241860325},
		{"one mat each", Count{"", 1, 1}, Count{"", 0, 1}, 1, .5, 1},
	} {
		t.Run(r.name, func(t *testing.T) {
			c, err := Compare(r.a, r.b, .95)
			require.NoError(t, err)
			near(t, r.two, c.P, 5e-9, "two-sided")
			near(t, r.greater, c.Greater, 5e-9, "greater")
			near(t, r.less, c.Less, 5e-9, "less")
		})
	}
	_, err := Compare(Count{"", 0, 20}, Count{"", 0, 30}, .95)
	assert.ErrorAs(t, err, new(*NoEstimate), "no mold at all: no test, not p = 1")
}

func TestCompareIntervalsPublished(t *testing.T) {
	// Newcombe 1998, Stat. Med. 17:873, table II, method 10 (quoted by the tests
	// of the R package propint).
	c, err := Compare(Count{"", 56, 70}, Count{"", 48, 80}, .95)
	require.NoError(t, err)
	printed(t, "0.0524", c.Difference.Low, "difference")
	printed(t, "0.3339", c.Difference.High, "difference")
	c, err = Compare(Count{"", 9, 10}, Count{"", 3, 10}, .95)
	require.NoError(t, err)
	printed(t, "0.1705", c.Difference.Low, "difference")
	printed(t, "0.8090", c.Difference.High, "difference")
	// Agresti, Categorical Data Analysis, 2nd ed., section 3.1: aspirin trial,
	// 189/11034 against 104/11037: 1.82, 95 % interval 1.43 to 2.30 (from memory).
	c, err = Compare(Count{"", 189, 11034}, Count{"", 104, 11037}, .95)
	require.NoError(t, err)
	require.True(t, c.RatioKnown)
	printed(t, "1.82", c.Ratio.Value, "risk ratio")
	printed(t, "1.43", c.Ratio.Low, "lower")
	assert.InDelta(t, 2.30, c.Ratio.High, .0107, "Agresti rounds 2.306 from rounded logarithms")
	// A clean side has no ratio, and still a difference.
	c, err = Compare(Count{"", 0, 10}, Count{"", 5, 10}, .95)
	require.NoError(t, err)
	assert.False(t, c.RatioKnown)
	assert.Less(t, c.Difference.High, 0.)
}

func TestFisherLarge(t *testing.T) {
	c, err := Compare(Count{"", 500000, 1000000}, Count{"", 499000, 1000000}, .95)
	require.NoError(t, err)
	// Against the normal approximation, good to 1e-3 at this size.
	assert.InDelta(t, .1573, c.P, .002)
	c, err = Compare(Count{"", 100000, 100000}, Count{"", 0, 100000}, .95)
	require.NoError(t, err)
	assert.Zero(t, c.P)
}

func TestHolmPublished(t *testing.T) {
	// Four p-values .01 .04 .03 .005 (a standard lecture example, from memory):
	// Holm .03 .06 .06 .02.
	got, err := Holm([]float64{.01, .04, .03, .005})
	require.NoError(t, err)
	assert.InDeltaSlice(t, []float64{.03, .06, .06, .02}, got, 1e-12)
	_, err = Holm([]float64{1.5})
	assert.ErrorAs(t, err, new(*Invalid))
}

func TestComparePairs(t *testing.T) {
	pairs, err := ComparePairs([]Count{{"a", 2, 30}, {"b", 9, 28}, {"c", 0, 20}, {"d", 0, 40}}, .95)
	require.NoError(t, err)
	require.Len(t, pairs, 5, "c against d has nothing to compare")
	for _, p := range pairs {
		assert.GreaterOrEqual(t, p.Adjusted, p.P)
	}
}
