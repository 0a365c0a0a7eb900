package ui

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestWrapBreaksLongWords(t *testing.T) {
	require.Equal(t, "a bb\n  ccc\n  ccc\n  c\n", Wrap("a bb ccccccc", 5, "  "))
	require.Equal(t, "日本\n語\n", Wrap("日本語", 5, "")) // two columns each: Unicode Standard Annex 11
	require.Equal(t, "日…", Cut("日本語", 4))
	require.Equal(t, "abc…", Cut("abcdef", 4))
	require.Equal(t, "abcd", Cut("abcd", 4))
}

func TestWrapStaysInsideAndLosesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(rapid.RuneFrom([]rune("ab日 é")), 0, 60, -1).Draw(t, "text")
		most := rapid.IntRange(4, 30).Draw(t, "most")
		text = strings.TrimSpace(text)
		got := Wrap(text, most, "  ")
		for line := range strings.Lines(got) {
			require.LessOrEqual(t, Columns(strings.TrimSuffix(line, "\n")), most)
		}
		bare := func(s string) string { return strings.Join(strings.Fields(s), "") }
		require.Equal(t, bare(text), bare(got))
	})
}
