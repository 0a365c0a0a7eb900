package lettering

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestJoinAndDrawn(t *testing.T) {
	require.Equal(t, "Hollow Lane", Drawn(Join("Hollow Lane")))
	require.Equal(t, "םולש", Drawn(Join("שלום")))
	require.Equal(t, "12 (ןופצ) תווח", Drawn(Join("חוות (צפון) 12")))
	// A number after Hebrew belongs to it: UAX 9, rules W7 and N1.
	require.Equal(t, "Farm 7 תוח", Drawn(Join("Farm חות 7")))
	// Beh between two letters takes its medial form, at the end the final one:
	// Unicode, Arabic Presentation Forms-B, U+FE8F to U+FE92.
	require.Equal(t, "\ufe91\ufe92\ufe90", Join("ببب"))
	require.Equal(t, "\ufe8f", Join("ب"))
	require.Equal(t, "\ufefb", Join("لا")) // the ligature lam with alef
	require.Equal(t, "\ufeb3\ufefc\ufee1", Join("سلام"))
}

func FuzzLettering(f *testing.F) {
	f.Add("חוות (צפון) 12 سلام")
	f.Fuzz(func(t *testing.T, s string) { Drawn(Join(s)) })
}
