package medium

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNamesThatAreTheSame(t *testing.T) {
	for _, k := range []struct {
		a, b string
		same bool
	}{{"Blue Drum", " blue drum\n", true}, {"BÄR", "bär", true}, {"Kelvin", "\u212aelvin", true}, {"blue drum", "blue  drum", false}, {"", " ", true}, {"ab", "ac", false}} {
		require.Equal(t, k.same, SameName(k.a, k.b), "%q %q", k.a, k.b)
		require.Equal(t, k.same, FoldName(k.a) == FoldName(k.b), "%q %q", k.a, k.b)
	}
}
