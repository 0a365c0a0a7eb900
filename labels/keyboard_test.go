package labels

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// typed is what a computer set to the layout shows when a scanner set to US
// sends s; false when a dead accent is among it.
func (k keyboard) typed(s string) (string, bool) {
	us, out := []rune(usPlain+usShift), []rune(k.plain+k.shift)
	at := map[rune]rune{' ': ' '}
	for i, r := range us {
		at[r] = out[i]
	}
	ok := true
	typed := strings.Map(func(r rune) rune {
		ok = ok && at[r] != unknownKey
		return at[r]
	}, s)
	return typed, ok
}

func TestKeyboardTablesAreWhole(t *testing.T) {
	keys := len([]rune(usPlain))
	require.Equal(t, 47, keys)
	require.Len(t, []rune(usShift), keys)
	for _, k := range keyboards() {
		require.Len(t, []rune(k.plain), keys, k.name)
		require.Len(t, []rune(k.shift), keys, k.name)
		for _, r := range Alphabet {
			_, ok := k.typed(string(r) + strings.ToLower(string(r)))
			require.True(t, ok, "%s cannot type %c", k.name, r)
		}
	}
}

func TestScansThroughForeignLayouts(t *testing.T) {
	random := chacha(1)
	right, refused := 0, 0
	for i := range 500 {
		code, err := NewCode([]byte{Mat, Bottle, Person, Card}[i%4], random)
		require.NoError(t, err)
		for _, k := range keyboards() {
			for _, sent := range []string{code, strings.ToLower(code)} {
				typed, ok := k.typed(sent)
				require.True(t, ok)
				got, err := Parse(typed)
				if err != nil {
					require.Equal(t, ReasonLayout, reasonOf(t, err), "%s: %q", k.name, typed)
					refused++
					continue
				}
				require.Equal(t, code, got, "%s typed %q", k.name, typed)
				right++
			}
		}
	}
	share := float64(right) / float64(right+refused)
	t.Logf("%d scans right, %d refused as ambiguous, none read wrongly", right, refused)
	require.Greater(t, share, 0.999)
}

func TestWholeAddressesThroughForeignLayouts(t *testing.T) {
	const code = "TK7R2N81"
	web, err := WebPayload("http://192.168.1.10:8080", code)
	require.NoError(t, err)
	grai, err := GRAIPayload("https://id.example.com", "9521234", "00001", code)
	require.NoError(t, err)
	done := 0
	for _, k := range keyboards() {
		for _, sent := range []string{web, grai, "]Q1" + web, "]Q3" + code, "]Q1" + code} {
			typed, ok := k.typed(sent)
			if !ok {
				continue // a dead accent swallows the next key: nothing to undo
			}
			done++
			got, err := Read(typed + "\r")
			require.NoError(t, err, "%s typed %q", k.name, typed)
			require.Equal(t, code, got)
		}
	}
	require.Greater(t, done, 80)
}

// Known images of a scanner's output, typed by hand from the layouts' charts.
func TestScansOnAFrenchAndACzechKeyboard(t *testing.T) {
	for typed, want := range map[string]string{
		"TKèRéN_&":  "TK7R2N81", // 7 2 8 1 on AZERTY
		"TKÈRÉN_&":  "TK7R2N81", // the same after upper-casing elsewhere
		"tkýrěná+":  "TK7R2N81", // 7 2 8 1 on a Czech layout
		"ТКЖ":       "",
		"XKRBVJCS ": "XKRBVJCS",
	} {
		got, err := Parse(typed)
		if want == "" {
			require.Error(t, err, typed)
			continue
		}
		require.NoError(t, err, typed)
		require.Equal(t, want, got)
	}
}

// A mistyped code must not be "rescued" into another one.
func TestTypingSlipsAreNotRescued(t *testing.T) {
	random := chacha(3)
	for range 80 {
		code, err := NewCode(Mat, random)
		require.NoError(t, err)
		for i := range code {
			for _, r := range "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789" {
				wrong := code[:i] + string(r) + code[i+1:]
				if foldLetters.Replace(wrong) == code {
					continue
				}
				got, err := Parse(wrong)
				require.Error(t, err, "%s for %s gave %s", wrong, code, got)
			}
		}
	}
}
