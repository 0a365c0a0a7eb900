package store

import (
	"bytes"
	"crypto/sha256"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"resow/medium"
)

func TestNextHead(t *testing.T) {
	var h, r hash
	h[0], r[0] = 1, 2
	for _, n := range []int{0, 100, 5000} {
		record := bytes.Repeat(r[:], n)
		require.Equal(t, hash(sha256.Sum256(append(h[:], record...))), h.next(record))
	}
}

func drawAnchor(t *rapid.T) Anchor {
	a := Anchor{Count: rapid.Uint64().Draw(t, "count")}
	copy(a.Head[:], rapid.SliceOfN(rapid.Byte(), 10, 10).Draw(t, "head"))
	return a
}

func TestAnchorIsReadAsItIsTyped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := drawAnchor(t)
		text := a.String()
		for _, typed := range []string{text, strings.ToLower(text), " " + strings.ReplaceAll(text, "-", "  ") + "\n",
			strings.ReplaceAll(text, "0", "o"), strings.ReplaceAll(text, "1", "l")} {
			got, err := ParseAnchor(typed)
			if err != nil || got != a {
				t.Fatalf("%q: %v %v", typed, got, err)
			}
		}
		count, rest, _ := strings.Cut(text, "-")
		got, err := ParseAnchor(count + " " + strings.ReplaceAll(rest, "-", ""))
		if err != nil || got != a {
			t.Fatalf("unbroken: %v %v", got, err)
		}
		var back Anchor
		b, _ := a.MarshalText()
		if err := back.UnmarshalText(b); err != nil || back != a {
			t.Fatalf("%v %v", back, err)
		}
	})
}

func TestAnchorMistyped(t *testing.T) {
	a := anchorOf(1234, sha256.Sum256([]byte("x")))
	text := a.String()
	require.Regexp(t, `^1234(-[0-9A-HJKMNP-TV-Z]{4}){4}-[0-9A-HJKMNP-TV-Z]{2}$`, text)
	tried, passed := 0, 0
	for i := range text {
		for _, c := range anchorDigits {
			typed := text[:i] + string(c) + text[i+1:]
			if typed == text || text[i] == '-' {
				continue
			}
			tried++
			got, err := ParseAnchor(typed)
			var anchorErr *AnchorError
			if err == nil {
				passed++
				require.NotEqual(t, a, got)
			} else {
				require.ErrorAs(t, err, &anchorErr)
			}
		}
	}
	require.LessOrEqual(t, passed, tried/100, "one in 1,024 is expected")
	for _, bad := range []string{"", "-", "12", "x-ABCD-ABCD-ABCD-ABCD-AB", text + "0", text[:len(text)-1], "99999999999999999999999-ABCD-ABCD-ABCD-ABCD-AB",
		strings.Replace(text, "-", "-U", 1), strings.Repeat("9", 100)} {
		_, err := ParseAnchor(bad)
		require.Error(t, err, bad)
	}
}

func FuzzParseAnchor(f *testing.F) {
	f.Add(anchorOf(7, hash{1}).String())
	f.Add("0-0000-0000-0000-0000-00")
	f.Fuzz(func(t *testing.T, text string) {
		a, err := ParseAnchor(text)
		if err != nil {
			return
		}
		again, err := ParseAnchor(a.String())
		if err != nil || again != a {
			t.Fatalf("%q: %v, %v", text, again, err)
		}
	})
}

func TestFold(t *testing.T) {
	require.Equal(t, "lot 7 ü", fold("  LOT\t\x007  Ü "))
	require.NotEqual(t, Lots.key("A", "TK7R2N81"), SeedLots.key("A", "TK7R2N81"))
	require.Equal(t, codeLen, len(medium.FarmThread))
}
