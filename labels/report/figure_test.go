package report

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Nothing is read as minus nought or with an exponent.
func TestFiguresForPeople(t *testing.T) {
	require.Equal(t, "0", short(-0.04))
	require.Equal(t, "\u22120.1", minus(short(-0.06)))
	require.Equal(t, keep("0 %"), percentOf(-0.0001))
	require.Equal(t, "0.00", hundredths(-0.001))
	require.Equal(t, keep("0.00 EUR"), money(-0.001, "EUR"))
	require.Equal(t, "0", signed(-0.004))
	require.Equal(t, "+0.05", signed(0.05))
	require.Equal(t, "\u22120.05", signed(-0.05))
	require.Equal(t, "20000000", short(2e7))
	require.Equal(t, "1500", short(1500))
}
