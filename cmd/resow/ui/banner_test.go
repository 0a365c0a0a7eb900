package ui

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"resow/labels"
)

func TestGlyphsDiffer(t *testing.T) {
	seen := map[[7]byte]rune{}
	for r, g := range glyphs {
		other, twice := seen[g]
		require.False(t, twice, "%c is drawn like %c", r, other)
		seen[g] = r
		for _, row := range g {
			require.Less(t, row, byte(1<<glyphWide))
		}
	}
	for _, r := range labels.Alphabet + "TBPX" {
		require.Contains(t, glyphs, r)
	}
	require.Equal(t, []string{"Ünal"}, BigText("Ünal", 80), "a letter without a drawing: plain text")
	require.Equal(t, "█   █", strings.Split(strings.Join(MiddleText("H", 80), "\n"), "\n")[0])
}
