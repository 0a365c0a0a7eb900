package labels

import (
	"bytes"
	"crypto/rand"
	"errors"
	mrand "math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestCheckCharacterAgainstPublishedValues(t *testing.T) {
	for _, c := range []struct {
		body   string
		check  byte
		source string
	}{
		{"G123498654321", 'H', "UK JPAC Guidelines (Red Book), annex 2: worked example of the donation number check"},
		{"G123489654321", 'Y', "python-stdnum, doctest of stdnum/iso7064/mod_37_2.py"},
		// Not published; two implementations written apart agreed on them.
		{"K7R2M9", 'F', "own"}, {"000000", '1', "own"}, {"MK7R2M9", 'B', "own"}, {"TK7R2N8", '1', "own"}, {"TK7R2N9", '*', "own"},
	} {
		require.Equal(t, string(c.check), string(checkCharacter(c.body)), "%s: %s", c.body, c.source)
	}
	require.Zero(t, checkCharacter("ab"), "lower case has no value")
}

// The share of codes that can be issued, counted over all bodies of a shorter
// length: three draws in ten have a check outside the 26 characters (11 of 37).
func TestShareOfUsableCodes(t *testing.T) {
	usable, all := 0, 0
	for a := range Alphabet {
		for b := range Alphabet {
			for c := range Alphabet {
				all++
				if strings.IndexByte(Alphabet, checkCharacter("T000"+Alphabet[a:a+1]+Alphabet[b:b+1]+Alphabet[c:c+1])) >= 0 {
					usable++
				}
			}
		}
	}
	require.InDelta(t, 26.0/37, float64(usable)/float64(all), 0.005)
}

func TestNewCode(t *testing.T) {
	random := chacha(4)
	seen := map[string]bool{}
	for _, kind := range []byte{Mat, Bottle, Person, Card} {
		for range 2000 {
			code, err := NewCode(kind, random)
			require.NoError(t, err)
			require.False(t, seen[code], "among 200 million codes 2000 are all different, and among 7 million cards so with this seed")
			seen[code] = true
			parsed, err := Parse(code)
			require.NoError(t, err)
			require.Equal(t, code, parsed)
			require.Equal(t, kind, code[0])
			if kind == Card {
				require.Empty(t, strings.Trim(code, CardAlphabet), code)
			}
		}
	}
}

// Every character of the alphabet is drawn about equally often: chi-square with
// 25 degrees of freedom stays under 52.6 with a chance of 0.999 (NIST/SEMATECH
// e-Handbook, table of critical values: 52.620).
func TestNewCodeIsEven(t *testing.T) {
	source := chacha(7)
	counts := map[rune]int{}
	n := 0
	for range 20000 {
		// The check character selects bodies but no single place among them.
		body, err := draw(Alphabet, 6, source)
		require.NoError(t, err)
		for _, r := range body {
			counts[r]++
			n++
		}
	}
	chi, want := 0.0, float64(n)/26
	for _, r := range Alphabet {
		d := float64(counts[r]) - want
		chi += d * d / want
	}
	require.Less(t, chi, 52.62)
}

func TestNewCodeRefuses(t *testing.T) {
	_, err := NewCode('Q', rand.Reader)
	require.Equal(t, ReasonKind, reasonOf(t, err))
	var randomErr *RandomError
	_, err = NewCode(Mat, bytes.NewReader(nil))
	require.ErrorAs(t, err, &randomErr)
	_, err = NewCode(Mat, stuck(255))
	require.ErrorAs(t, err, &randomErr, "a byte that is always thrown away must not hang")
	// With this byte every draw gives the same unusable check.
	for b := range 256 {
		if code, err := NewCode(Mat, stuck(b)); err == nil {
			_, err = Parse(code)
			require.NoError(t, err)
		} else {
			require.ErrorAs(t, err, &randomErr)
		}
	}
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		input, want string
		reason      Reason
	}{
		{"TK7R2N81", "TK7R2N81", ""},
		{"tk7r 2n81", "TK7R2N81", ""},
		{" TK7R-2N81\r\n", "TK7R2N81", ""},
		{"TK7R–2N81", "TK7R2N81", ""}, // a phone's dash
		{"tk7r2n8l", "TK7R2N81", ""},
		{"TK7R2N8I\t", "TK7R2N81", ""},
		{"]Q1TK7R2N81", "TK7R2N81", ""},
		{"]q3tk7r2n81", "TK7R2N81", ""},
		{"XKRBVJCS", "XKRBVJCS", ""},
		{"", "", ReasonEmpty},
		{" \r\n", "", ReasonEmpty},
		{"TK7R2N8", "", ReasonLength},
		{"TK7R2N811", "", ReasonLength},
		{strings.Repeat("T", 65), "", ReasonLength},
		{"TK7R2N8U", "", ReasonAlphabet},
		{"TK7R2N8Ж", "", ReasonAlphabet},
		{"TK7R2N82", "", ReasonCheck},
		{"TK7R2N9*", "", ReasonAlphabet},
		{"TKR72N81", "", ReasonCheck},
		{"KK7R2N8" + string(checkCharacter("KK7R2N8")), "", ReasonKind},
	} {
		code, err := Parse(c.input)
		require.Equal(t, c.want, code, "%q", c.input)
		if c.reason == "" {
			require.NoError(t, err)
			continue
		}
		require.Equal(t, c.reason, reasonOf(t, err), "%q: %v", c.input, err)
		require.Contains(t, err.Error(), ";", "the message has to say what to do: %v", err)
	}
}

func TestActionCardsHaveNoDigits(t *testing.T) {
	for a := range Alphabet {
		body := "XKRBVJ" + Alphabet[a:a+1]
		code := body + string(checkCharacter(body))
		if strings.Trim(code, Alphabet) != "" {
			continue
		}
		_, err := Parse(code)
		require.Equal(t, strings.ContainsAny(code, "0123456789"), err != nil, code)
	}
}

// ISO/IEC 7064 promises that all single substitutions are caught; that all
// swaps are, at any distance, follows from 37 being prime and 2 a primitive
// root of it.
func TestEveryWrongCharacterAndSwapIsCaught(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		code := anyCode(t)
		for i := range code {
			for _, a := range Alphabet {
				if wrong := code[:i] + string(a) + code[i+1:]; wrong != code {
					_, err := Parse(wrong)
					require.Error(t, err, wrong)
				}
			}
			for j := range i {
				b := []byte(code)
				b[i], b[j] = b[j], b[i]
				if string(b) != code {
					_, err := Parse(string(b))
					require.Error(t, err, string(b))
				}
			}
		}
	})
}

func TestNearFindsTheCodeBehindASlip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		code := anyCode(t)
		at := rapid.IntRange(0, CodeLength-1).Draw(t, "at")
		char := string(rapid.SampledFrom([]rune("ABCDEFGHJKMNPQRSTUVWXYZ0123456789")).Draw(t, "char"))
		slip := map[string]string{
			"wrong":   code[:at] + char + code[at+1:],
			"missing": code[:at] + code[at+1:],
			"extra":   code[:at] + char + code[at:],
			"swapped": swapAt(code, at),
		}[rapid.SampledFrom([]string{"wrong", "missing", "extra", "swapped"}).Draw(t, "slip")]
		if slip == code {
			return
		}
		asked := 0
		found := Near(strings.ToLower(slip), func(s string) bool { asked++; return s == code })
		require.Equal(t, []string{code}, found, slip)
		require.LessOrEqual(t, asked, 40)
	})
	require.Empty(t, Near("TK7R2N82", func(string) bool { return false }))
	require.Empty(t, Near(strings.Repeat("T", 100000), func(string) bool { return true }))
}

func TestPrint(t *testing.T) {
	require.Equal(t, "TK7R 2N81", Print("TK7R2N81"))
	require.Equal(t, "odd", Print("odd"))
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"TK7R2N81", "]Q1tk7r 2n81\r", "TK7R-2N8l", "", "tkèré,ç&", "\xff\xfe", "Ť", "XKRBVJCS"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		code, err := Parse(s)
		if err != nil {
			reasonOf(t, err)
			return
		}
		if len(code) != CodeLength || KindName(code) == "" || strings.Trim(code, Alphabet) != "" {
			t.Fatalf("%q gave %q", s, code)
		}
		if again, err := Parse(Print(code)); err != nil || again != code {
			t.Fatalf("%q is not read back: %q %v", code, again, err)
		}
	})
}

func reasonOf(t testing.TB, err error) Reason {
	t.Helper()
	var codeErr *CodeError
	if !errors.As(err, &codeErr) {
		t.Fatalf("want a *CodeError, got %T: %v", err, err)
	}
	return codeErr.Reason
}

func anyCode(t *rapid.T) string {
	kind := rapid.SampledFrom([]byte{Mat, Bottle, Person, Card}).Draw(t, "kind")
	code, err := NewCode(kind, chacha(rapid.Uint64().Draw(t, "seed")))
	require.NoError(t, err)
	return code
}

func swapAt(s string, at int) string {
	b := []byte(s)
	if at > 0 {
		b[at], b[at-1] = b[at-1], b[at]
	}
	return string(b)
}

func chacha(seed uint64) *mrand.ChaCha8 {
	var key [32]byte
	for i := range 8 {
		key[i] = byte(seed >> (8 * i))
	}
	return mrand.NewChaCha8(key)
}

type stuck byte

func (s stuck) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = byte(s)
	}
	return len(p), nil
}
