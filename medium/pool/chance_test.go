package pool

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestErlangB(t *testing.T) {
	for _, c := range []struct {
		load   float64
		mats   int
		want   float64
		tol    float64
		source string
	}{
		{2, 4, 2.0 / 21, 1e-12, "exact fraction of Erlang's loss formula"},
		{2, 6, 4.0 / 331, 1e-12, "exact fraction of Erlang's loss formula"},
		{3, 5, 81.0 / 736, 1e-12, "exact fraction of Erlang's loss formula"},
		{25, 30, 0.05, 0.005, "textbook table of Erlang B, \"approximately 0.05\""},
		{25, 30, 0.0526031722, 1e-9, "recomputed"},
		{0, 0, 0, 0, "no load"},
		{3, 0, 1, 0, "no mats"},
	} {
		b, err := ErlangB(c.load, c.mats)
		require.NoError(t, err)
		require.InDelta(t, c.want, b, c.tol, c.source)
	}
	// Mats for a loss below 0.01 at load 2.5, from memory: 7.
	six, err := ErlangB(2.5, 6)
	require.NoError(t, err)
	seven, err := ErlangB(2.5, 7)
	require.NoError(t, err)
	require.InDelta(t, .02823, six, 5e-6)
	require.InDelta(t, .00998, seven, 5e-6)
}

func TestPoissonPipeline(t *testing.T) {
	// Poisson tail at mean 4, s = 4..10.
	for i, want := range []float64{.371163, .214870, .110674, .051134, .021363, .008132, .002840} {
		require.InDelta(t, want, PoissonShort(4, 4+i), 5e-7)
	}
	n, err := PoissonMats(4, 0.05)
	require.NoError(t, err)
	require.Equal(t, 8, n) // 7 gives .94887
	require.InDelta(t, .94887, 1-PoissonShort(4, 7), 5e-6)
}

func TestWilson(t *testing.T) {
	// Newcombe 1998, Table I (81/263, 15/148, 0/20, 1/29).
	for _, c := range []struct{ x, n, low, high float64 }{
		{81, 263, .2553, .3662}, {15, 148, .0624, .1605}, {0, 20, 0, .1611}, {1, 29, .0061, .1718},
	} {
		s := wilson(c.x, c.n, 0.95)
		require.InDelta(t, c.low, s.Low, 5e-5)
		require.InDelta(t, c.high, s.High, 5e-5)
	}
	s := wilson(10, 10, 0.95)
	require.Equal(t, 1.0, s.High)
	require.InDelta(t, .7224672001, s.Low, 1e-9)
	require.False(t, math.IsNaN(wilson(0, 0, 0.95).Share))
}

func TestChanceRefusals(t *testing.T) {
	_, err := PoissonMats(math.NaN(), .05)
	require.Error(t, err)
	_, err = PoissonMats(3, 0)
	require.Error(t, err)
	_, err = ErlangB(math.Inf(1), 3)
	require.Error(t, err)
}
