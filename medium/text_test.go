package medium

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// What could move a cursor, turn text round or stand unseen is shown; names in
// any script stay as they are.
func TestVisible(t *testing.T) {
	for text, want := range map[string]string{
		"radish, R-12": "radish, R-12", "Füße 大根 №7 — «é»": "Füße 大根 №7 — «é»", "می\u200cخواهم": "می\u200cخواهم", "👩\u200d🌾": "👩\u200d🌾", "Łódź e\u0301": "Łódź e\u0301",
		"a\x1b[2Jb": `a\u001b[2Jb`, "a\nb\tc\rd": `a\u000ab\u0009c\u000dd`, "x\u202egpj.exe": `x\u202egpj.exe`, "\u2066a\u2069": `\u2066a\u2069`, "a\u200bb": `a\u200bb`,
		"a\u200db": `a\u200db`, "\u009b2J": `\u009b2J`, "bad\xff": `bad\xff`, "\ufeffa": `\ufeffa`, "a\u2028b": `a\u2028b`, "t\U000e0041": `t\udb40\udc41`, "\ufdd0": `\ufdd0`,
		"lone \xed\xa0\x80": `lone \xed\xa0\x80`,
	} {
		require.Equal(t, want, Visible(text), "%q", text)
		require.Equal(t, want == text, checkText("note", text) == nil, "what is not shown as it is can't be typed: %q", text)
		require.Equal(t, want, Visible(want), "once is enough")
	}
}
